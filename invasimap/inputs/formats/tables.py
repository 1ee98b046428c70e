"""Delimited text: comma, semicolon, tab or bar; UTF-8, UTF-16 or Windows-1252; every cell stays text."""

from __future__ import annotations

import csv
import io
import itertools
import re
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from invasimap.core.errors import Fault, LayerError
from invasimap.core.survey_settings import LIMITS, LimitsSection
from invasimap.inputs.cells import Cells, text_column
from invasimap.inputs.fields import DecimalComma
from invasimap.inputs.formats.degree_cells import degree_column
from invasimap.inputs.formats.located import LonLat, degree_columns, has_position, locate, table_layer
from invasimap.inputs.formats.raw import RawLayer, read_bytes, unique_name

DELIMITERS: Final = ",;\t|"
MAX_HEADER: Final = 100_000
_SAMPLE_B: Final = 4096
_CONTROLS: Final = re.compile("[\x01-\x08\x0e-\x19]")  # no text has them; a binary file does
LONG: Final = 1_000_000  # characters, from which a table is read by the look of its first half million
_STRETCH: Final = 500_000  # signs without the end of a line
_MOST_STRETCHES: Final = 100
_Parsed = tuple[pd.DataFrame, Cells]  # the cells, and the problem of each row
_SPARE_B: Final = 8  # by which a later cell of degrees may be longer than those at the start
_NEW_SHARE: Final = 0.03  # of texts that were not seen before: with more, a text for each row is quicker
HEADER_ROWS: Final = 20  # a title, a date and a legend stand above; a header further down is none


def read_table(path: Path, *, label: str, lonlat: LonLat = (None, None), limits: LimitsSection = LIMITS) -> RawLayer:
    """A delimited text file with a position in each row; ``lonlat`` names the columns where their headers do not.

    Raises
    ------
    LayerError
        When it is empty, is no text or has no columns for the position.
    """
    text, notes = decode(read_bytes(path, label=label, limit_B=limits.file_B), label=label)
    text, above = from_header(text, lonlat=lonlat)
    frame, problem, delimiter = parse(text, label=label, lonlat=lonlat, columns=limits.columns)
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
    for number, line in enumerate(_first_lines(text)):
        if line.strip() and len(line) < MAX_HEADER and not line.lower().startswith("sep="):
            cells = next(csv.reader([line.strip()], delimiter=sniff(line)), [])
            if has_position((cell.strip() for cell in cells), lonlat):
                return (text[start:], number) if text[:start].strip() and not _only_sep(text[:start]) else (text, 0)
        start += len(line) + 1
    return text, 0


def _first_lines(text: str) -> Iterator[str]:
    start = 0
    for _ in range(HEADER_ROWS):
        stop = text.find("\n", start)
        yield text[start : stop if stop >= 0 else None]
        if stop < 0:
            return
        start = stop + 1


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
            text, other = _decode_lines(data)
            which = f"{other} of its lines are" if other else "is"
            notes = (f"{label}: {which} not UTF-8: read as Windows-1252",)
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


def _decode_lines(data: bytes) -> tuple[str, int]:
    """Text of lines in two encodings, and how many are not UTF-8; 0 where no sign beyond ASCII is."""
    lines: list[str] = []
    other, wide = 0, False
    for line in data.split(b"\n"):
        try:
            lines.append(line.decode("utf-8-sig" if not lines else "utf-8"))
            wide = wide or not line.isascii()
        except UnicodeDecodeError:
            lines.append(line.decode("cp1252", errors="replace"))
            other += 1
    return "\n".join(lines), other if wide else 0


def parse(
    text: str, *, label: str, lonlat: LonLat = (None, None), columns: int = LIMITS.columns
) -> tuple[pd.DataFrame, Cells, str]:  # fmt: skip
    """All cells as text, a problem for each row with more cells than the header, and the delimiter.

    Of a long table the degrees are numbers, and columns that repeat themselves are categories.
    """
    if next(_first_lines(text)).strip().lower().startswith("sep="):
        text = text.partition("\n")[2]
    delimiter = sniff(text)
    _refuse_long_lines(text, delimiter, label=label)
    refuse_wide(text[:_STRETCH].partition("\n")[0].count(delimiter) + 1, columns, label=label)
    before = csv.field_size_limit(_STRETCH * _MOST_STRETCHES)  # an outline written as text is long
    try:
        read = _parse_long(text, delimiter, lonlat) if len(text) > LONG else _parse_fast(text, delimiter)
    except (ValueError, Warning):  # the slow reader takes what the fast ones refuse
        read = _parse_rows(text, delimiter, label=label, columns=columns)
    finally:
        csv.field_size_limit(before)
    frame, problem = read
    blank = _blank_rows(frame, np.flatnonzero(problem.blank))
    said = Cells.at(blank, itertools.repeat("the row is blank", len(blank)), len(frame))
    return frame, problem.or_else(said), delimiter


def _blank_rows(frame: pd.DataFrame, rows: NDArray[np.intp]) -> NDArray[np.intp]:
    """Those of some rows in which no cell has anything."""
    for name in frame.columns:
        if not len(rows):
            break
        cells = frame[name].iloc[rows]
        rows = rows[(cells.isna() if pd.api.types.is_float_dtype(cells) else cells == "").to_numpy()]
    return rows


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


def _parse_long(text: str, delimiter: str, lonlat: LonLat) -> _Parsed:
    """A long table by the look of its first rows; raises where it cannot be read so."""
    types = _types(text[:LONG], delimiter, lonlat)
    try:
        frame = _read_csv(text, sep=delimiter, header=0, names=list(types), dtype=types, na_filter=False)
        problem = Cells.same("", len(frame))
    except pd.errors.ParserError:
        frame, problem = _parse_ragged(text, delimiter, types)
    return pd.DataFrame({name: _read_column(frame[name]) for name in frame.columns}, copy=False), problem


def _types(text: str, delimiter: str, lonlat: LonLat) -> dict[Any, str]:
    """How each column is read, by the start of a table: degrees as bytes, words that come again as categories.

    pandas takes long over categories that are many: a column to whose texts new ones are added all along is none.
    """
    rows = [row for row in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter) if row]
    names = header_names(rows[0])
    degrees = degree_columns(names, lonlat)
    types: dict[Any, str] = {}
    columns = itertools.zip_longest(*rows[1:-1], fillvalue="")  # the last row may be cut
    for name, cells in zip(names, itertools.chain(columns, itertools.repeat(())), strict=False):
        if name in degrees:
            types[name] = f"S{max(map(len, cells), default=0) + _SPARE_B}"
        else:
            half = len(cells) // 2
            new = set(map(str.strip, set(cells[half:]))).difference(map(str.strip, set(cells[:half])))
            types[name] = "category" if len(new) <= _NEW_SHARE * half else "object"
    return types


def _parse_ragged(text: str, delimiter: str, types: dict[Any, str]) -> _Parsed:
    """A long table of which rows have more cells than the header: these stand in columns of their own."""
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    counts = np.array([len(row) for row in rows if row][1:])
    width = len(types)
    extra = [f"(extra {k})" for k in range(1, int(counts.max()) - width + 1)]
    types = types | dict.fromkeys(extra, "category")
    frame = _read_csv(text, sep=delimiter, header=None, names=list(types), dtype=types, na_filter=False)
    frame = frame.iloc[1:].reset_index(drop=True)
    if len(frame) != len(counts):
        raise ValueError("the two readers do not see the same rows")
    for name in frame.select_dtypes("category"):
        frame[name] = frame[name].cat.remove_unused_categories()  # the header's
    over = np.flatnonzero(counts > width)
    over = over[(frame[extra].iloc[over].astype(object).map(str.strip) != "").any(axis=1).to_numpy()]
    return frame, Cells.at(over, (_ragged(count, width) for count in counts[over]), len(frame))


def _read_column(column: pd.Series[Any]) -> pd.Series[Any]:
    """Numbers of degrees, text without spaces round it: categories where texts come again."""
    if column.dtype.kind == "S":
        return degree_column(column.to_numpy())
    if isinstance(column.dtype, pd.CategoricalDtype) and all(c == c.strip() for c in column.cat.categories.tolist()):
        return column
    cells = Cells.of(column)
    if len(cells.texts) > len(column) / 2:
        return pd.Series(cells.to_numpy(), dtype=object)
    return pd.Series(cells.to_categories())


def _ragged(cells: int, columns: int) -> str:
    return f"the row has {cells} cells for {columns} columns"


def _read_csv(text: str, **options: Any) -> pd.DataFrame:
    with warnings.catch_warnings():
        warnings.simplefilter("error", pd.errors.ParserWarning)
        source: Any = _Pieces(text)
        return pd.read_csv(source, index_col=False, low_memory=False, encoding_errors="surrogatepass", **options)


class _Pieces:
    """A text that pandas reads piece by piece: another copy of a long one costs more than its cells."""

    def __init__(self, text: str) -> None:
        self._text, self._at = text, 0

    def read(self, count: int) -> str:
        """The next so many signs."""
        self._at += count
        return self._text[self._at - count : self._at]

    def __iter__(self) -> Iterator[str]:
        return iter(self._text.split("\n"))


def _parse_fast(text: str, delimiter: str) -> _Parsed:
    rows = _read_csv(text, sep=delimiter, header=None, dtype=object, keep_default_na=False, na_filter=False)
    frame = rows.iloc[1:].reset_index(drop=True).fillna("").astype(object)
    frame.columns = pd.Index(header_names([str(cell) for cell in rows.iloc[0]]))
    frame = frame.apply(text_column) if len(frame) else frame
    return frame, Cells.same("", len(frame))


def _parse_rows(text: str, delimiter: str, *, label: str, columns: int) -> _Parsed:
    rows = [row for row in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter) if row]
    if not rows:
        raise LayerError(Fault(where=label, what="has no header row", mend="export it again"))
    headers = header_names(rows[0])
    width = len(headers)
    refuse_wide(max(map(len, rows)), columns, label=label)
    extra = {f"(extra {k})": k for k in range(1, max(map(len, rows)) - width + 1)}
    cells = [[cell.strip() for cell in row] + [""] * (width + len(extra) - len(row)) for row in rows[1:]]
    frame = pd.DataFrame(cells, columns=[*headers, *extra], dtype=object)
    over = [k for k, row in enumerate(rows[1:]) if any(cell.strip() for cell in row[width:])]
    return frame, Cells.at(np.array(over, dtype=np.intp), (_ragged(len(rows[k + 1]), width) for k in over), len(frame))


def header_names(cells: list[str]) -> list[str]:
    """Names of columns, none blank and none twice."""
    names: dict[str, None] = {}
    for number, cell in enumerate(cells, 1):
        names[unique_name(cell.strip() or f"column {number}", names)] = None
    return list(names)


def refuse_wide(found: int, limit: int, *, label: str) -> None:
    """Refuse a table of more columns than any survey has.

    Raises
    ------
    LayerError
        When it has over ``limit``.
    """
    if found > limit:
        what = f"has {found:,} columns; the limit is {limit:,}"
        mend = "take out the columns that are not needed, or set columns in [intake.limits]"
        raise LayerError(Fault(where=label, what=what, mend=mend))


def _refuse_long_lines(text: str, delimiter: str, *, label: str) -> None:
    """Refuse a line of 50 million signs, or one that is cut into cells a million signs long."""
    alone = 0
    for at in range(0, len(text), _STRETCH):
        if text.find("\n", at, at + _STRETCH) >= 0:
            alone = 0
            continue
        alone += 1
        if alone > _MOST_STRETCHES or text.count(delimiter, at, at + _STRETCH) > _STRETCH // 4:
            line = text.count("\n", 0, at) + 1
            what = f"line {line:,} has over {alone * _STRETCH:,} signs: it is no table"
            raise LayerError(Fault(where=label, what=what, mend="export it again"))
