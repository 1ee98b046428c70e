"""What a file is by its first bytes, whatever its name says."""

from __future__ import annotations

import re
import zipfile
from pathlib import Path
from typing import Final

from invasimap.core.errors import Fault, LayerError
from invasimap.core.survey_settings import LimitsSection
from invasimap.inputs.formats.archive import check_directory
from invasimap.inputs.formats.texts import find_encoding

_HEAD_B: Final = 4096
_MAGIC: Final = {
    b"SQLite format 3\0": ".gpkg", b"fgb\x03fgb": ".fgb", b"PAR1": ".parquet", b"\0\0\x27\x0a": ".shp",
    b"PK\x03\x04": ".zip", b"PK\x05\x06": ".zip",
}  # fmt: skip
_ROOT: Final = re.compile(r"<(?:[\w.-]{1,40}:)?([A-Za-z][\w.-]{0,40})")
_MISC: Final = re.compile(r"\s*(?:<\?[^>]*>|<!--.*?-->|<![^>\[]*>)", re.S)
_REFUSED: Final = {
    b"\xd0\xcf\x11\xe0": ("an old Excel workbook (or another Office file)", "save it as .xlsx or CSV"),
    b"\x1f\x8b": ("a gzip archive", "unpack it"),
    b"7z\xbc\xaf": ("a 7-Zip archive", "unpack it, or make a zip"),
    b"Rar!": ("a RAR archive", "unpack it, or make a zip"),
    b"%PDF": ("a PDF", "export the data, not the map"),
}
_PAGES: Final = {
    "html": ("a web page", "save it as .xlsx or CSV in a spreadsheet program"),
    "table": ("a web page", "save it as .xlsx or CSV in a spreadsheet program"),
    "workbook": ("an XML spreadsheet", "save it as .xlsx or CSV"),
}
_TYPES: Final = "[Content_Types].xml"  # in every workbook
NAMES: Final = {
    ".gpx": "GPX", ".kml": "KML", ".kmz": "KMZ", ".geojson": "GeoJSON", ".gpkg": "GeoPackage", ".fgb": "FlatGeobuf",
    ".parquet": "GeoParquet", ".zip": "a zip archive", ".xlsx": "an Excel workbook", ".csv": "a table of text",
}  # fmt: skip
SPREADSHEETS: Final = (".xls", ".xlsx", ".xlsm", ".xlsb", ".ods")


def read_head(path: Path, *, label: str) -> bytes:
    """The first bytes of a plain file.

    Raises
    ------
    LayerError
        When it is missing, no plain file (a folder, a pipe, a device) or may not be read.
    """
    try:
        if not path.is_file():
            raise not_a_file(path, label)
        with path.open("rb") as stream:
            return stream.read(_HEAD_B)
    except OSError as error:
        what, mend = f"cannot be read: {error.strerror or error}", "check the name and its folder"
        if isinstance(error, PermissionError):
            what, mend = "may not be read: you have no permission", "ask for the right to read it, or copy it"
        raise LayerError(Fault(where=label, what=what, mend=mend)) from error


def not_a_file(path: Path, label: str) -> LayerError:
    """What is there, or not, where a plain file should be."""
    if path.is_dir():
        return LayerError(Fault(where=label, what="is a folder, not a file", mend="name the files in it"))
    if path.is_symlink() and not path.exists():
        return LayerError(Fault(where=label, what="is a link to a file that is not there", mend="copy the file itself"))
    if path.exists():
        return LayerError(Fault(where=label, what="is no plain file (a pipe or a device)", mend="name a file"))
    return LayerError(Fault(where=label, what="there is no such file", mend="check the name and its folder"))


def kind_of(path: Path, head: bytes, *, suffix: str, label: str) -> str:
    """The suffix of the format that the content is; ``suffix`` where the content does not say.

    Raises
    ------
    LayerError
        When it is a format that is not read, such as an old Excel workbook or a web page.
    """
    for start, (name, mend) in _REFUSED.items():
        if head.startswith(start):
            raise LayerError(Fault(where=label, what=f"is {name}, which is not read", mend=mend))
    magic = next((kind for start, kind in _MAGIC.items() if head.startswith(start)), "")
    if magic == ".zip":
        return _zip_kind(path, suffix, label=label)
    return magic or _text_kind(head, suffix=suffix, label=label)


def _zip_kind(path: Path, suffix: str, *, label: str) -> str:
    own = suffix if suffix in (".zip", ".kmz", ".xlsx", ".xlsm") else ".zip"
    try:
        with path.open("rb") as stream:
            check_directory(stream, label=label, limits=LimitsSection())
            with zipfile.ZipFile(stream) as archive:
                names = archive.namelist()
    except (LayerError, zipfile.BadZipFile, OSError, ValueError, NotImplementedError):
        return own  # its reader says what is wrong with it
    if own in (".zip", ".kmz") and _TYPES in names and any(name.startswith("xl/") for name in names):
        return ".xlsx"
    drawn = [name.lower().endswith(".kml") for name in names]
    if own == ".kmz":
        return ".kmz" if any(drawn) else ".zip"
    return ".kmz" if own != suffix and drawn and all(drawn) else own


def _text_kind(head: bytes, *, suffix: str, label: str) -> str:
    text = head.decode(find_encoding(head)[0], errors="replace").lstrip("\ufeff\x1e \t\r\n\0")
    if text.startswith("<"):
        root = _root(text)
        if root in _PAGES:
            name, mend = _PAGES[root]
            raise LayerError(Fault(where=label, what=f"is {name}, which is not read", mend=mend))
        return f".{root}" if root in ("gpx", "kml") else suffix
    if text.startswith("{") and '"type"' in text:
        return ".geojson"
    table = suffix in SPREADSHEETS and "\0" not in text and head.strip()
    return ".csv" if table and any(mark in text for mark in ",;\t|") else suffix


def _root(text: str) -> str:
    at = 0
    if re.match(r"<!doctype\s+html", text, re.I):
        return "html"
    while found := _MISC.match(text, at):
        at = found.end()
    start = _ROOT.match(text[at:].lstrip())
    return start[1].lower() if start else ""
