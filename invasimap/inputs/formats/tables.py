"""Delimited text: comma, semicolon, tab or bar; UTF-8, UTF-16 or Windows-1252; every cell stays text."""

from __future__ import annotations

import csv
import io
import re
import warnings
from pathlib import Path
from typing import Any, Final

import pandas as pd

from invasimap.core.errors import Fault, LayerError
from invasimap.core.survey_settings import LIMITS, LimitsSection
from invasimap.inputs.cells import Cells, text_column
from invasimap.inputs.fields import DecimalComma
from invasimap.inputs.formats.located import LonLat, degree_columns, has_position, locate, table_layer
from invasimap.inputs.formats.raw import RawLayer, read_bytes, unique_name

DELIMITERS: Final = ",;\t|"
MAX_HEADER: Final = 100_000
_SAMPLE_B: Final = 4096
_CONTROLS: Final = re.compile("[\x01-\x08\x0e-\x19]")  # no text has them; a binary file does
LONG: Final = 1_000_000  # characters, from which a table is read by the look of its first half million
HEADER_ROWS: Final = 20  # a title, a date and a legend stand above; a header further down is none


def read_table(path: Path, *, label: str, lonlat: LonLat = (None, None), limits: LimitsSection = LIMITS) -> RawLayer:
    """A delimited text file with a position in each row; ``lonlat`` names the columns where their headers do not.

    Raises
    ------
    LayerError
        When it is empty, is no text or has no columns for the position.
    """
    data = read_bytes(path, label=label, limit_B=limits.file_B)
    text, notes = decode(data, label=label)
    text, above = from_header(text, lonlat=lonlat)
    frame, problem, delimiter = parse(text, label=label, lonlat=lonlat)
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
    notes: tuple[str, ...] = ()
    if wide := _wide(data[:_SAMPLE_B]):
        text = data.decode(wide, errors="replace").removeprefix("\ufeff")
    else:
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError:
            text, notes = data.decode("cp1252", errors="replace"), (f"{label}: is not UTF-8: read as Windows-1252",)
    if "\0" in text:
        text, count = text.replace("\0", ""), text.count("\0")
        if not text or _CONTROLS.search(text):
            raise LayerError(Fault(where=label, what="is no text file", mend="export it as CSV"))
        notes = (*notes, f"{label}: {count:,} NUL signs, as a write that was cut off leaves, are dropped")
    return (text if "\n" in text else text.replace("\r", "\n")), notes


def _wide(start: bytes) -> str:
    """The encoding of a text of 2 or 4 bytes a sign, by its mark or by the zeros of its plain letters; else ""."""
    marks = {b"\xff\xfe\0\0": "utf-32", b"\0\0\xfe\xff": "utf-32", b"\xff\xfe": "utf-16", b"\xfe\xff": "utf-16"}
    if mark := next((name for mark, name in marks.items() if start.startswith(mark)), ""):
        return mark
    first, second = start[::2].count(0), start[1::2].count(0)
    most = len(start) // 4
    return "utf-16-le" if second > most and not first else "utf-16-be" if first > most and not second else ""


def parse(
    text: str, *, label: str, lonlat: LonLat = (None, None)
) -> tuple[pd.DataFrame, pd.Series[str], str]:  # fmt: skip
    """All cells as text, a problem for each row with more cells than the header, and the delimiter.

    Of a long table the degrees are numbers, and columns that repeat themselves are categories.
    """
    first, _, rest = text.partition("\n")
    if first.strip().lower().startswith("sep="):
        text = rest
    delimiter = sniff(text)
    try:
        frame = _parse_long(text, delimiter, lonlat) if len(text) > LONG else _parse_fast(text, delimiter)
        problem = pd.Series("", index=frame.index, dtype=object)
    except (ValueError, Warning):  # ragged rows: the slow reader says which
        frame, problem = _parse_rows(text, delimiter, label=label)
    return frame, problem.mask(_blank_rows(frame) & (problem == ""), "the row is blank"), delimiter


def _blank_rows(frame: pd.DataFrame) -> pd.Series[bool]:
    blank = pd.Series(True, index=frame.index)
    for name in frame.columns:
        if not blank.any():
            break
        column = frame[name]
        blank &= column.isna() if pd.api.types.is_float_dtype(column) else column == ""
    return blank


def sniff(text: str) -> str:
    """The delimiter that occurs most often in the header, outside quotes.

    Examples
    --------
    >>> sniff('species;"cover, %";lon;lat')
    ';'
    """
    header = next((line for line in text[:MAX_HEADER].splitlines() if line.strip()), "")
    bare = "".join(header.split('"')[::2])
    return max(DELIMITERS, key=bare.count)


def _parse_long(text: str, delimiter: str, lonlat: LonLat) -> pd.DataFrame:
    """A long table by the look of its first rows; raises where the rest is otherwise."""
    head = _parse_fast(text[: text.index("\n", LONG // 2)], delimiter)
    degrees = [name for name in degree_columns(head.columns, lonlat) if _are_numbers(head[name])]
    repeated = [name for name in head.columns if name not in degrees and head[name].nunique() < len(head) / 2]
    types: dict[str, str] = dict.fromkeys(degrees, "float64") | dict.fromkeys(repeated, "category")
    names = list(head.columns)
    frame = _read_csv(
        text, sep=delimiter, header=0, names=names, dtype={name: types.get(name, "object") for name in names},
        keep_default_na=False, na_values={name: [""] for name in degrees},
    )  # fmt: skip
    for name in names:
        if name not in degrees:
            frame[name] = _stripped(frame[name])
    return frame


def _read_csv(text: str, **options: Any) -> pd.DataFrame:
    with warnings.catch_warnings():
        warnings.simplefilter("error", pd.errors.ParserWarning)
        data = io.BytesIO(text.encode("utf-8", "surrogatepass"))
        return pd.read_csv(data, index_col=False, low_memory=False, **options)


def _are_numbers(cells: pd.Series[Any]) -> bool:
    return bool(pd.to_numeric(cells[cells != ""], errors="coerce").notna().all())


def _stripped(column: pd.Series[Any]) -> pd.Series[Any]:
    """Text without spaces round it; a column of categories stays one."""
    if not isinstance(column.dtype, pd.CategoricalDtype):
        return text_column(column)
    cells = Cells.of(column)
    return pd.Series(pd.Categorical.from_codes(cells.codes, categories=pd.Index(cells.texts)), index=column.index)


def _parse_fast(text: str, delimiter: str) -> pd.DataFrame:
    rows = _read_csv(text, sep=delimiter, header=None, dtype=object, keep_default_na=False, na_filter=False)
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
