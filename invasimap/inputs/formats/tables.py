"""Delimited text: comma, semicolon, tab or bar; UTF-8, UTF-16 or Windows-1252; every cell stays text."""

from __future__ import annotations

import csv
import io
import warnings
from pathlib import Path

import pandas as pd

from invasimap.core.errors import Fault, LayerError
from invasimap.inputs.cells import text_column
from invasimap.inputs.fields import DecimalComma
from invasimap.inputs.formats.located import LonLat, has_position, locate, table_layer
from invasimap.inputs.formats.raw import RawLayer, read_bytes, unique_name

DELIMITERS = ",;\t|"
MAX_HEADER = 100_000
HEADER_ROWS = 20  # a title, a date and a legend stand above; a header further down is none


def read_table(path: Path, *, label: str, lonlat: LonLat = (None, None)) -> RawLayer:
    """A delimited text file with a position in each row; ``lonlat`` names the columns where their headers do not.

    Raises
    ------
    LayerError
        When it is empty, is no text or has no columns for the position.
    """
    text, notes = decode(read_bytes(path, label=label), label=label)
    text, above = from_header(text, lonlat=lonlat)
    frame, problem, delimiter = parse(text, label=label)
    comma: DecimalComma = "always" if delimiter == ";" else "never" if delimiter == "," else "unless_thousands"
    located = locate(frame, label=label, lonlat=lonlat, comma=comma)
    if above:
        notes = (*notes, f"{label}: the header is line {above + 1}: the lines above it are not read")
    return table_layer(frame, problem, located, label=label, layer=path.stem, comma=comma, notes=notes)


def from_header(text: str, *, lonlat: LonLat = (None, None)) -> tuple[str, int]:
    """The text from the first of its 20 first lines that names a position, and how many lines stand above it.

    Where none does, or it is the first with anything in it, the text is as it was.

    Examples
    --------
    >>> from_header("Survey; 2024\\n\\nspecies,lon,lat\\nROMU,-80,38")
    ('species,lon,lat\\nROMU,-80,38', 2)
    """
    start = 0
    for number, line in enumerate(text.split("\n", HEADER_ROWS)[:HEADER_ROWS]):
        if line.strip() and len(line) < MAX_HEADER and not line.lower().startswith("sep="):
            cells = next(csv.reader([line.strip()], delimiter=sniff(line)), [])
            if has_position((cell.strip() for cell in cells), lonlat):
                return (text[start:], number) if text[:start].strip() and not _only_sep(text[:start]) else (text, 0)
        start += len(line) + 1
    return text, 0


def _only_sep(text: str) -> bool:
    lines = [line for line in text.splitlines() if line.strip()]
    return len(lines) == 1 and lines[0].lower().startswith("sep=")


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


def _parse_fast(text: str, delimiter: str) -> pd.DataFrame:
    with warnings.catch_warnings():
        warnings.simplefilter("error", pd.errors.ParserWarning)
        rows = pd.read_csv(
            io.StringIO(text), sep=delimiter, header=None, dtype=object, keep_default_na=False, na_filter=False,
            index_col=False,
        )  # fmt: skip
    frame = rows.iloc[1:].reset_index(drop=True).fillna("").astype(object)
    frame.columns = pd.Index(header_names([str(cell) for cell in rows.iloc[0]]))
    return frame.apply(text_column) if len(frame) else frame


def _parse_rows(text: str, delimiter: str, *, label: str) -> tuple[pd.DataFrame, pd.Series[str]]:
    rows = [row for row in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter) if row]
    if not rows:
        raise LayerError(Fault(where=label, what="has no header row", mend="export it again"))
    headers = header_names(rows[0])
    width = len(headers)
    extra = {f"(extra {k})": k for k in range(1, max(map(len, rows)) - width + 1)}
    cells = [[cell.strip() for cell in row] + [""] * (width + len(extra) - len(row)) for row in rows[1:]]
    frame = pd.DataFrame(cells, columns=[*headers, *extra], dtype=object)
    problem = [
        f"the row has {len(row)} cells for {width} columns" if any(c.strip() for c in row[width:]) else ""
        for row in rows[1:]
    ]
    return frame, pd.Series(problem, index=frame.index, dtype=object)


def header_names(cells: list[str]) -> list[str]:
    """Names of columns, none blank and none twice."""
    names: list[str] = []
    for number, cell in enumerate(cells, 1):
        names.append(unique_name(cell.strip() or f"column {number}", names))
    return names
