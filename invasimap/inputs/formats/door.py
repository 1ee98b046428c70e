"""The one door to a field file: picks the reader by suffix; what goes wrong inside comes out as one clear error."""

from __future__ import annotations

import dataclasses
import tempfile
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Final

from invasimap.core.errors import Fault, InputError, LayerError
from invasimap.core.files import GDB, is_gdb
from invasimap.inputs.formats.archive import other_members, unpack
from invasimap.inputs.formats.geojson import SEQUENCES, read_geojson
from invasimap.inputs.formats.gpx import read_gpx
from invasimap.inputs.formats.kml import read_kml, read_kmz
from invasimap.inputs.formats.located import LonLat
from invasimap.inputs.formats.raw import RawLayer
from invasimap.inputs.formats.sheets import read_xlsx
from invasimap.inputs.formats.tables import read_table
from invasimap.inputs.formats.vector import read_flatgeobuf, read_gdb, read_gpkg, read_parquet, read_shapefile

TABLES: Final[dict[str, Callable[..., RawLayer | list[RawLayer]]]] = {
    ".csv": read_table, ".tsv": read_table, ".txt": read_table, ".xlsx": read_xlsx, ".xlsm": read_xlsx,
}  # fmt: skip
_READERS: Final[dict[str, Callable[..., RawLayer | list[RawLayer]]]] = {
    ".gpx": read_gpx, ".kml": read_kml, ".kmz": read_kmz, ".geojson": read_geojson, ".json": read_geojson,
    **dict.fromkeys(SEQUENCES, read_geojson), ".gpkg": read_gpkg, ".shp": read_shapefile, ".fgb": read_flatgeobuf,
    ".parquet": read_parquet, ".geoparquet": read_parquet, GDB: read_gdb,
}  # fmt: skip
SIDE_FILES: Final = (".shx", ".dbf", ".prj", ".cpg", ".sbn", ".sbx", ".qix", ".qmd", ".qpj", ".xml", ".csvt")
_MAX_NAMED: Final = 12
SUFFIXES: Final = (*TABLES, *_READERS, ".zip")


def read_file(path: Path, *, label: str, lonlat: LonLat = (None, None)) -> list[RawLayer]:
    """Every layer with geometry in a file.

    Parameters
    ----------
    path
        CSV, XLSX, GPX, KML, KMZ, GeoJSON (also a sequence), GeoPackage, shapefile, FlatGeobuf, GeoParquet, a file
        geodatabase's folder, or a zip that holds any of the others in any sub-folder.
    label
        The file's name in messages and tables.
    lonlat
        Columns of a table that hold the position, where their headers do not say so.

    Raises
    ------
    LayerError
        When it is missing, of an unknown kind or cannot be read.
    """
    if not (path.is_file() or is_gdb(path)):
        raise LayerError(Fault(where=label, what="there is no such file", mend="check the name and its folder"))
    suffix = path.suffix.lower()
    try:
        if suffix == ".zip":
            return _read_zip(path, label=label, lonlat=lonlat)
        if suffix in TABLES:
            return _listed(TABLES[suffix](path, label=label, lonlat=lonlat))
        if suffix in _READERS:
            return _listed(_READERS[suffix](path, label=label))
    except InputError:
        raise
    except Exception as error:  # the format door: readers raise many kinds for damaged files
        raise LayerError(
            Fault(
                where=label,
                what=f"cannot be read: {error}",
                mend="open it in the program it came from and export it again",
            )
        ) from error
    raise LayerError(
        Fault(
            where=label,
            what=f"{suffix or 'no suffix'!r} is no kind of file that is read",
            mend=f"read are: {', '.join(SUFFIXES)}",
        )
    )


def _listed(layers: RawLayer | list[RawLayer]) -> list[RawLayer]:
    return layers if isinstance(layers, list) else [layers]


def _read_zip(path: Path, *, label: str, lonlat: LonLat) -> list[RawLayer]:
    wanted = (*(s for s in SUFFIXES if s not in (".zip", GDB)), *SIDE_FILES)
    unread = other_members(path, suffixes=wanted) if zipfile.is_zipfile(path) else []
    with tempfile.TemporaryDirectory(prefix="invasimap-") as name:
        folder = Path(name)
        written = unpack(path, folder, label=label, suffixes=wanted)
        files = [file for file in written if file.suffix.lower() in SUFFIXES]
        unread += [_inside(file, folder) for file in written if file not in files and not _belongs(file, files)]
        found: list[RawLayer] = []
        faults: list[Fault] = []
        for file in files:
            try:
                found += read_file(file, label=f"{label}:{_inside(file, folder)}", lonlat=lonlat)
            except InputError as error:
                if file.suffix.lower() != ".txt":  # a text may be a table, or a word to whoever opens the archive
                    faults += error.faults
                unread.append(f"{_inside(file, folder)} ({error.faults[0].what.partition(';')[0]})")
    if faults:
        raise LayerError(faults)
    listed = ", ".join(unread[:_MAX_NAMED]) + (
        f" and {len(unread) - _MAX_NAMED} more" if len(unread) > _MAX_NAMED else ""
    )
    if not found:
        what = f"holds no file that is read: {listed}"
        raise LayerError(Fault(where=label, what=what, mend=f"read are: {', '.join(SUFFIXES)}"))
    notes = (f"{label}: not read: {listed}",) if unread else ()
    found = [dataclasses.replace(layer, notes=(*layer.notes, *notes)) for layer in found]
    return [dataclasses.replace(found[0], label=label)] if len(found) == 1 else found


def _inside(file: Path, folder: Path) -> str:
    return file.relative_to(folder).as_posix()


def _belongs(side: Path, files: list[Path]) -> bool:
    """Whether a side file such as roads.dbf or roads.shp.xml stands beside a file of its name."""
    return any(
        side.parent == file.parent and side.name.lower().startswith(f"{file.stem.lower()}.")
        for file in files
        if file.suffix.lower() not in (".txt", ".zip")
    )
