"""XLSX workbooks: every sheet that has positions; every cell as the text that a person reads in it."""

from __future__ import annotations

import datetime as dt
import re
import warnings
import zipfile
import zlib
from collections.abc import Iterable
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from invasimap.core.errors import Fault, LayerError
from invasimap.core.survey_settings import LimitsSection
from invasimap.inputs.cells import Cells, cell_text, text_column
from invasimap.inputs.formats.archive import check_archive, member_pieces
from invasimap.inputs.formats.bounds import first_lines
from invasimap.inputs.formats.located import LonLat, has_position, locate, table_layer
from invasimap.inputs.formats.raw import RawLayer
from invasimap.inputs.formats.tables import HEADER_ROWS, header_names, refuse_wide

Row = list[str]
BOOK: Final = "xl/"
_CELL_END: Final = b"</c>"
_UNSAVED: Final = re.compile(rb"(?:</f>|<f\b[^<>]{0,300}/>)\s{0,9}(?:<v\s{0,9}/>|<v>\s{0,9}</v>)?\s{0,9}</c>")
_MERGED: Final = re.compile(rb"""<mergeCell ref=["']([A-Z]{1,3}(\d{1,7}):[A-Z]{1,3}(\d{1,7}))["']""")
_MOST_CELLS: Final = 10_000_000
_MOST_ROWS: Final = 1_048_576  # of a sheet of Excel; a cell that says it stands further down is a lie
_MOST_PARTS: Final = 30_000_000  # tags of one sheet


def read_xlsx(
    path: Path, *, label: str, lonlat: LonLat = (None, None), limits: LimitsSection | None = None
) -> list[RawLayer]:
    """The sheets of a workbook that have columns for the position, hidden ones too.

    Formulas count by the values that were saved with them. Blank rows are records, but not those after the last filled
    one.

    Raises
    ------
    LayerError
        When it is no workbook, unpacks to more than ``limits`` allow or has no sheet with positions.
    """
    limits = limits or LimitsSection()
    _check(path, label=label, limits=limits)
    sheets = {name: rows for name, rows in _read(path, label=label).items() if rows}
    tables = {name: (at, rows) for name, rows in sheets.items() if (at := _header_row(rows, lonlat)) is not None}
    if not tables:
        columns = "; ".join(f"{name}: {', '.join(filter(None, rows[0]))}" for name, rows in sheets.items())
        what = f"has no sheet with columns for longitude and latitude ({columns[:300] or 'all are empty'})"
        mend = 'name them lon and lat, or set columns = { lon = "…", lat = "…" }'
        raise LayerError(Fault(where=label, what=what, mend=mend))
    others = [name for name in sheets if name not in tables]
    notes = [f"{label}: sheets without positions are not read: {', '.join(others)}"] if others else []
    notes += _blank_to_us(path, label=label)
    layers = []
    for name, (at, rows) in tables.items():
        own = label if len(tables) == 1 else f"{label}:{name}"
        if at:
            notes.append(f"{own}: the header is row {at + 1}: the rows above it are not read")
        layers.append(_layer(rows[at:], label=own, name=name, lonlat=lonlat, notes=notes, columns=limits.columns))
        notes = []
    return layers


def _check(path: Path, *, label: str, limits: LimitsSection) -> None:
    if not zipfile.is_zipfile(path):
        raise LayerError(Fault(where=label, what="is no workbook", mend="save it as .xlsx again, or as CSV"))
    names = check_archive(path, label=label, limits=limits)
    if not any(name.startswith(BOOK) for name in names):
        what = "is no workbook: it is another kind of zip"
        raise LayerError(Fault(where=label, what=what, mend="save it as .xlsx again, or as CSV"))
    cells = 0
    try:
        with zipfile.ZipFile(path) as archive:
            for member in archive.infolist():
                cells += _check_part(member_pieces(archive, member), member.filename, label=label, most=limits.cells)
                if cells > limits.cells:
                    raise _too_many_cells(label, limits.cells)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError) as error:
        what = f"is no whole workbook: {error}"
        raise LayerError(Fault(where=label, what=what, mend="save it as .xlsx again, or as CSV")) from error


def _check_part(pieces: Iterable[bytes], name: str, *, label: str, most: int) -> int:
    """The cells and rows of a part, as far as there are not too many.

    One with too many tags, or that declares entities, is refused: the library that reads it would expand them.
    """
    count, cells, before = 0, 0, b""
    is_xml = name.endswith((".xml", ".rels", ".vml"))
    for piece in pieces:
        text = piece.replace(b"\0", b"")  # UTF-16 too
        count += text.count(b"<")
        if is_xml and (b"<!DOCTYPE" in before + text or b"<!ENTITY" in before + text):
            what = f"declares XML entities, which are refused ({name})"
            raise LayerError(Fault(where=label, what=what, mend="save it as .xlsx again, or as CSV"))
        cells += text.count(b"<c ") + text.count(b"<row") if name.startswith(f"{BOOK}worksheets/") else 0
        if cells > most:
            break
        before = text[-9:]
        if is_xml and count > _MOST_PARTS:
            what = f"has too many cells ({name})"
            raise LayerError(Fault(where=label, what=what, mend="save its sheets as CSV"))
    return cells


def _blank_to_us(path: Path, *, label: str) -> list[str]:
    """Notes on cells in which a person sees something and that are blank here."""
    merged: dict[str, None] = {}
    unsaved = 0
    with zipfile.ZipFile(path) as archive:
        for name in archive.namelist():
            if not (name.startswith(f"{BOOK}worksheets/") and name.endswith(".xml")):
                continue
            with archive.open(name) as stream:
                rest = b""
                while piece := stream.read(1 << 20):
                    text = rest + piece
                    cut = text.rfind(_CELL_END) + len(_CELL_END) if _CELL_END in text else max(len(text) - 200, 0)
                    unsaved += len(_UNSAVED.findall(text, 0, cut))
                    merged |= {found[0].decode(): None for found in _MERGED.findall(text) if found[1] != found[2]}
                    rest = text[cut:]
    notes = []
    if merged:
        notes.append(f"{label}: of merged cells only the first row has the value: {first_lines(merged, most=5)}")
    if unsaved:
        mend = "open it in a spreadsheet program and save it"
        notes.append(f"{label}: {unsaved:,} formulas have no value saved with them and are blank: {mend}")
    return notes


def _read(path: Path, *, label: str) -> dict[str, list[Row]]:
    """Rows of every sheet as text, without the blank ones at the end."""
    import openpyxl

    with warnings.catch_warnings(), path.open("rb") as stream:
        warnings.simplefilter("ignore")  # of styles and menus that are not read
        book = openpyxl.load_workbook(stream, read_only=True, data_only=True)
        try:
            found = {}
            for sheet in book.worksheets:
                sheet.reset_dimensions()  # what the file says of its size may be wrong
                found[str(sheet.title)] = _filled(sheet.iter_rows(), label=f"{label}:{sheet.title}")
            return found
        finally:
            book.close()


def _shown(cell: Any) -> str:
    """A cell as it is shown: 0.35 formatted as a percentage is "35 %", a date without a time is one."""
    value = cell.value
    if isinstance(value, dt.datetime) and value.time() == dt.time():
        return value.date().isoformat()
    if isinstance(value, int | float) and not isinstance(value, bool) and "%" in (cell.number_format or ""):
        return f"{round(value * 100, 10):g} %"
    return cell_text(value)


def _filled(rows: Iterable[Any], *, label: str) -> list[Row]:
    """The rows as text without the blank ones at the end, each without the blank cells at its end."""
    kept: list[Row] = []
    count = filled = 0
    for row in rows:
        shown = ["" if cell.value is None else _shown(cell) for cell in row]
        while shown and not shown[-1]:
            shown.pop()
        kept.append(shown)
        filled = len(kept) if shown else filled
        count += len(row)
        if count > _MOST_CELLS or len(kept) > _MOST_ROWS:
            raise _too_many_cells(label)
    return kept[:filled]


def _too_many_cells(label: str, limit: int | None = None) -> LayerError:
    if limit is not None:
        mend = "save it as CSV, take out what is blank, or set cells in [intake.limits]"
        return LayerError(Fault(where=label, what=f"has over {limit:,} cells and rows", mend=mend))
    mend = "save it as CSV, or take out what is far to the right"
    return LayerError(Fault(where=label, what=f"has over {_MOST_CELLS:,} cells or {_MOST_ROWS:,} rows", mend=mend))


def _header_row(rows: list[Row], lonlat: LonLat) -> int | None:
    return next((k for k, row in enumerate(rows[:HEADER_ROWS]) if has_position(row, lonlat)), None)


def _layer(rows: list[Row], *, label: str, name: str, lonlat: LonLat, notes: Iterable[str], columns: int) -> RawLayer:
    filled = sorted({k for row in rows for k, cell in enumerate(row) if cell})
    if len(filled) * len(rows) > _MOST_CELLS:
        raise _too_many_cells(label)
    cells = [[row[k] if k < len(row) else "" for k in filled] for row in rows]
    refuse_wide(len(filled), columns, label=label)
    headers, cells = header_names(cells[0]), cells[1:]
    frame = pd.DataFrame(cells, columns=headers, dtype=object).apply(text_column) if cells else _none(headers)
    problem = Cells.chosen(["", "the row is blank"], (frame == "").all(axis=1).to_numpy().astype(np.intp))
    located = locate(frame, label=label, lonlat=lonlat, comma="unless_thousands")
    return table_layer(frame, problem, located, label=label, layer=name, comma="unless_thousands", notes=notes)


def _none(headers: list[str]) -> pd.DataFrame:
    return pd.DataFrame({header: pd.Series([], dtype=object) for header in headers})
