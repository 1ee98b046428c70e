"""Delimited text: comma, semicolon, tab or bar; UTF-8, UTF-16 or Windows-1252; every cell stays text."""

from __future__ import annotations

import csv
import io
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import shapely

from invasimap.core.errors import Fault, LayerError
from invasimap.inputs.cells import text_column
from invasimap.inputs.fields import DecimalComma, find_columns, is_lonlat, role_text
from invasimap.inputs.formats.raw import WGS84, RawLayer, marks, read_bytes, unique_name

DELIMITERS = ",;\t|"


def read_table(path: Path, *, label: str, lonlat: tuple[str | None, str | None] = (None, None)) -> RawLayer:
    """A delimited text file as points; ``lonlat`` names the columns where their headers do not.

    Raises
    ------
    LayerError
        When it is empty, is no text or has no columns for the position.
    """
    text, notes = decode(read_bytes(path, label=label), label=label)
    frame, problem, delimiter = parse(text, label=label)
    comma: DecimalComma = "always" if delimiter == ";" else "never" if delimiter == "," else "unless_thousands"
    overrides = {role: name for role, name in zip(("lon", "lat"), lonlat, strict=True) if name}
    found = find_columns(frame.columns, overrides=overrides)
    if "lon" not in found or "lat" not in found:
        raise LayerError(
            Fault(
                where=label,
                what=f"has no columns for longitude and latitude; its columns are {', '.join(frame.columns)}",
                mend='name them lon and lat, or set columns = { lon = "…", lat = "…" }',
            )
        )
    known = is_lonlat(found["lon"][0].name) and is_lonlat(found["lat"][0].name)
    degrees: DecimalComma = "always" if known and comma != "never" else comma  # no thousands among degrees
    lon, lat = (role_text(frame, found[role], decimal_comma=degrees) for role in ("lon", "lat"))
    geometry, why = points(lon, lat)
    problem = problem.where(problem != "", why)
    return RawLayer(
        label=label,
        layer=path.stem,
        frame=frame,
        geometry=geometry,
        marks=marks(len(frame), problem=problem.to_numpy()),
        crs=WGS84 if known else None,
        crs_assumed=True,
        decimal_comma=comma,
        notes=notes,
    )


def decode(data: bytes, *, label: str) -> tuple[str, tuple[str, ...]]:
    """Text of a file and a note where the encoding had to be taken as Windows-1252."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16"), ()
    try:
        text, notes = data.decode("utf-8-sig"), ()
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
        return text, (f"{label}: is not UTF-8: read as Windows-1252",)
    if "\0" in text:
        raise LayerError(Fault(where=label, what="is no text file", mend="export it as CSV"))
    return text, notes


def parse(text: str, *, label: str) -> tuple[pd.DataFrame, pd.Series[str], str]:
    """All cells as text, a problem for each row with more cells than the header, and the delimiter."""
    first, _, rest = text.partition("\n")
    if first.strip().lower().startswith("sep="):
        text = rest
    delimiter = sniff(text)
    try:
        frame = _parse_fast(text, delimiter)
        problem = pd.Series("", index=frame.index, dtype=object)
    except (ValueError, Warning):  # ragged rows: the slow reader says which
        frame, problem = _parse_rows(text, delimiter, label=label)
    blank = (frame == "").all(axis=1) if len(frame.columns) else pd.Series(True, index=frame.index)
    return frame, problem.mask(blank & (problem == ""), "the row is blank"), delimiter


def sniff(text: str) -> str:
    """The delimiter that occurs most often in the header, outside quotes.

    Examples
    --------
    >>> sniff('species;"cover, %";lon;lat')
    ';'
    """
    header = next((line for line in text.splitlines() if line.strip()), "")
    bare = "".join(header.split('"')[::2])
    return max(DELIMITERS, key=bare.count)


def points(lon: pd.Series[str], lat: pd.Series[str]) -> tuple[np.ndarray, pd.Series[str]]:
    """Points of two text columns, and what is wrong with those that are none."""
    x, y = (pd.to_numeric(column, errors="coerce").to_numpy(dtype=float) for column in (lon, lat))
    good = np.isfinite(x) & np.isfinite(y)
    geometry = np.full(len(x), None, dtype=object)
    geometry[good] = shapely.points(x[good], y[good])
    problem = np.full(len(x), "", dtype=object)
    for name, column, value in (("lat", lat, y), ("lon", lon, x)):
        wrong = ~np.isfinite(value)
        problem[wrong] = [position_problem(name, cell) for cell in column[wrong]]
    return geometry, pd.Series(problem, index=lon.index)


def position_problem(name: str, cell: str) -> str:
    """Why a coordinate cannot be used."""
    if cell == "":
        return f"{name} is blank"
    letters = " (letter O for zero?)" if "o" in cell.lower() and any(c.isdigit() for c in cell) else ""
    return f"{name} {cell!r} is no number{letters}"


def _parse_fast(text: str, delimiter: str) -> pd.DataFrame:
    with warnings.catch_warnings():
        warnings.simplefilter("error", pd.errors.ParserWarning)
        rows = pd.read_csv(
            io.StringIO(text), sep=delimiter, header=None, dtype=object, keep_default_na=False, na_filter=False,
            index_col=False,
        )  # fmt: skip
    frame = rows.iloc[1:].reset_index(drop=True).fillna("").astype(object)
    frame.columns = pd.Index(_headers([str(cell) for cell in rows.iloc[0]]))
    return frame.apply(text_column) if len(frame) else frame


def _parse_rows(text: str, delimiter: str, *, label: str) -> tuple[pd.DataFrame, pd.Series[str]]:
    rows = [row for row in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter) if row]
    if not rows:
        raise LayerError(Fault(where=label, what="has no header row", mend="export it again"))
    headers = _headers(rows[0])
    width = len(headers)
    extra = {f"(extra {k})": k for k in range(1, max(map(len, rows)) - width + 1)}
    cells = [[cell.strip() for cell in row] + [""] * (width + len(extra) - len(row)) for row in rows[1:]]
    frame = pd.DataFrame(cells, columns=[*headers, *extra], dtype=object)
    problem = [
        f"the row has {len(row)} cells for {width} columns" if any(c.strip() for c in row[width:]) else ""
        for row in rows[1:]
    ]
    return frame, pd.Series(problem, index=frame.index, dtype=object)


def _headers(cells: list[str]) -> list[str]:
    names: list[str] = []
    for number, cell in enumerate(cells, 1):
        names.append(unique_name(cell.strip() or f"column {number}", names))
    return names
