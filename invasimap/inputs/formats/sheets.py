"""XLSX workbooks: every sheet that has positions; every cell as the text that a person reads in it."""

from __future__ import annotations

import datetime as dt
import warnings
import zipfile
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pandas as pd

from invasimap.core.errors import Fault, LayerError
from invasimap.inputs.cells import cell_text, text_column
from invasimap.inputs.formats.located import LonLat, has_position, locate, table_layer
from invasimap.inputs.formats.raw import MAX_BYTES, RawLayer
from invasimap.inputs.formats.tables import HEADER_ROWS, header_names

Row = list[str]


def read_xlsx(path: Path, *, label: str, lonlat: LonLat = (None, None)) -> list[RawLayer]:
    """The sheets of a workbook that have columns for the position, hidden ones too.

    Formulas count by the values that were saved with them. Blank rows are records, but not those after the last filled
    one.

    Raises
    ------
    LayerError
        When it is no workbook, unpacks to over 200 MB or has no sheet with positions.
    """
    _check_archive(path, label=label)
    sheets = {name: rows for name, rows in _read(path).items() if rows}
    tables = {name: (at, rows) for name, rows in sheets.items() if (at := _header_row(rows, lonlat)) is not None}
    if not tables:
        columns = "; ".join(f"{name}: {', '.join(filter(None, rows[0]))}" for name, rows in sheets.items())
        what = f"has no sheet with columns for longitude and latitude ({columns[:300] or 'all are empty'})"
        mend = 'name them lon and lat, or set columns = { lon = "…", lat = "…" }'
        raise LayerError(Fault(where=label, what=what, mend=mend))
    others = [name for name in sheets if name not in tables]
    notes = [f"{label}: sheets without positions are not read: {', '.join(others)}"] if others else []
    layers = []
    for name, (at, rows) in tables.items():
        own = label if len(tables) == 1 else f"{label}:{name}"
        if at:
            notes.append(f"{own}: the header is row {at + 1}: the rows above it are not read")
        layers.append(_layer(rows[at:], label=own, name=name, lonlat=lonlat, notes=notes))
        notes = []
    return layers


def _check_archive(path: Path, *, label: str) -> None:
    if not zipfile.is_zipfile(path):
        raise LayerError(Fault(where=label, what="is no workbook", mend="save it as .xlsx again, or as CSV"))
    with zipfile.ZipFile(path) as archive:
        size = sum(member.file_size for member in archive.infolist())
    if size > MAX_BYTES:
        raise LayerError(
            Fault(where=label, what=f"unpacks to {size / 2**20:,.0f} MB; the limit is {MAX_BYTES >> 20} MB")
        )


def _read(path: Path) -> dict[str, list[Row]]:
    """Rows of every sheet as text, without the blank ones at the end."""
    import openpyxl

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of styles and menus that are not read
        book = openpyxl.load_workbook(path, read_only=True, data_only=True)
        try:
            found = {}
            for sheet in book.worksheets:
                sheet.reset_dimensions()  # what the file says of its size may be wrong
                found[str(sheet.title)] = _filled([_shown(cell) for cell in row] for row in sheet.iter_rows())
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


def _filled(rows: Iterable[Row]) -> list[Row]:
    kept = list(rows)
    while kept and not any(kept[-1]):
        kept.pop()
    return kept


def _header_row(rows: list[Row], lonlat: LonLat) -> int | None:
    return next((k for k, row in enumerate(rows[:HEADER_ROWS]) if has_position(row, lonlat)), None)


def _layer(rows: list[Row], *, label: str, name: str, lonlat: LonLat, notes: Iterable[str]) -> RawLayer:
    width = max(map(len, rows))
    padded = [row + [""] * (width - len(row)) for row in rows]
    filled = [k for k in range(width) if any(row[k] for row in padded)]
    headers = header_names([padded[0][k] for k in filled])
    cells = [[row[k] for k in filled] for row in padded[1:]]
    frame = pd.DataFrame(cells, columns=headers, dtype=object).apply(text_column) if cells else _none(headers)
    problem = pd.Series("", index=frame.index, dtype=object).mask((frame == "").all(axis=1), "the row is blank")
    located = locate(frame, label=label, lonlat=lonlat, comma="unless_thousands")
    return table_layer(frame, problem, located, label=label, layer=name, comma="unless_thousands", notes=notes)


def _none(headers: list[str]) -> pd.DataFrame:
    return pd.DataFrame({header: pd.Series([], dtype=object) for header in headers})
