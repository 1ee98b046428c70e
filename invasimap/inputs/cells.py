"""Cells as text: one way to read a value of any type, worked once for each distinct text."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import repeat
from operator import is_
from typing import Any, Self

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Codes = NDArray[np.int32]  # half the memory of rows' numbers; no file has so many texts


@dataclass(frozen=True)
class Cells:
    """A column of text as its distinct texts and, for each record, the number of its text.

    What is worked out for the distinct texts is worked out for all records: a survey of a million has few of them.

    Examples
    --------
    >>> cells = Cells.of(pd.Series(["ROMU", "LOJA", None, "ROMU "]))
    >>> cells.texts, cells.codes.tolist(), cells.blank.tolist()
    (['ROMU', 'LOJA', ''], [0, 1, 2, 0], [False, False, True, False])
    """

    texts: list[str]
    codes: Codes

    @classmethod
    def of(cls, column: pd.Series[Any]) -> Self:
        """The cells of a column of any type, as ``cell_text`` reads them."""
        if isinstance(column.dtype, pd.CategoricalDtype):
            known = [*map(cell_text, column.cat.categories.tolist()), ""]
            return cls._distinct(known, column.cat.codes.to_numpy().astype(np.int32) % len(known))
        if pd.api.types.is_bool_dtype(column) or pd.api.types.is_numeric_dtype(column):
            codes, uniques = pd.factorize(column, use_na_sentinel=True)
            return cls._distinct([*map(cell_text, uniques.tolist()), ""], codes % (len(uniques) + 1))
        values: Any = column.to_numpy(dtype=object)
        if pd.api.types.infer_dtype(values, skipna=False) != "string":
            values = np.array([*map(cell_text, values), ""], dtype=object)[:-1]
        numbers, texts = pd.factorize(values)
        return cls._distinct([text.strip() for text in texts], numbers)

    @classmethod
    def same(cls, text: str, count: int) -> Self:
        """One text for every record."""
        return cls([text], _zeros(count))

    @classmethod
    def at(cls, rows: NDArray[Any], texts: Iterable[str], count: int) -> Self:
        """A text for each of some rows of ``count``, nothing for the others."""
        codes = np.zeros(count, dtype=np.int32)
        numbers: dict[str, int] = {"": 0}
        codes[rows] = [numbers.setdefault(text, len(numbers)) for text in texts]
        return cls(list(numbers), codes)

    @classmethod
    def seldom(cls, texts: NDArray[np.object_]) -> Self:
        """The texts of a column in which nearly all are blank."""
        rows = np.flatnonzero(texts)
        return cls.at(rows, texts[rows], len(texts))

    @classmethod
    def chosen(cls, texts: Iterable[str], codes: NDArray[Any]) -> Self:
        """The texts with these numbers."""
        return cls._distinct(list(texts), codes)

    @classmethod
    def _distinct(cls, values: list[str], codes: NDArray[Any]) -> Self:
        numbers: dict[str, int] = {}
        moved = np.array([numbers.setdefault(text, len(numbers)) for text in values], dtype=np.int32)
        if len(numbers) == 1:
            return cls(list(numbers), _zeros(len(codes)))
        whole = len(numbers) == len(values)
        return cls(list(numbers), codes.astype(np.int32, copy=False) if whole else moved[codes])

    def __len__(self) -> int:
        return len(self.codes)

    @property
    def blank(self) -> NDArray[np.bool_]:
        """Which records have no text."""
        return self.each([text == "" for text in self.texts], dtype=bool)

    @property
    def all_blank(self) -> bool:
        """Whether no record has a text."""
        return self.texts in ([], [""]) or bool(self.blank.all())

    def used(self) -> list[str]:
        """The distinct texts that records have, without the blank one."""
        found = np.zeros(len(self.texts), dtype=bool)
        found[self.codes] = True
        return [text for text, there in zip(self.texts, found, strict=True) if there and text]

    def each(self, values: Sequence[Any], *, dtype: Any = float) -> NDArray[Any]:
        """An array with, for each record, the value of its text; it may only be read."""
        if len(values) == 1:
            return _repeated(values[0], len(self), dtype)
        known = np.empty(len(values), dtype=dtype)
        known[:] = values
        return known[self.codes] if len(known) else known

    def map(self, function: Callable[[str], str]) -> Self:
        """The cells with every text changed."""
        return self._distinct([function(text) for text in self.texts], self.codes)

    def with_texts(self, texts: Sequence[str]) -> Self:
        """The cells with other texts in place of the distinct ones, in their order."""
        return self._distinct(list(texts), self.codes)

    def or_else(self, other: Cells) -> Self:
        """Another column's text where this one is blank."""
        if other.texts == [""] or not self.blank.any():
            return self
        codes = np.where(self.blank, other.codes + len(self.texts), self.codes)
        return self._distinct([*self.texts, *other.texts], codes)

    def where(self, keep: NDArray[np.bool_]) -> Self:
        """The cells with nothing where ``keep`` is false."""
        return self if keep.all() else self._distinct([*self.texts, ""], np.where(keep, self.codes, len(self.texts)))

    def take(self, rows: NDArray[Any]) -> Self:
        """The cells of some records."""
        alike = len(self.texts) == 1
        count = int(np.count_nonzero(rows)) if rows.dtype == bool else len(rows)
        return type(self)(self.texts, _zeros(count) if alike else self.codes[rows])

    def to_numpy(self) -> NDArray[np.object_]:
        """One text a record, which may be written to."""
        return np.array(self.each(self.texts, dtype=object))

    def to_categories(self) -> pd.Categorical:
        """A column of pandas that keeps each distinct text once."""
        return pd.Categorical.from_codes(self.codes, categories=pd.Index(self.texts, dtype=object))

    def to_series(self) -> pd.Series[Any]:
        """One text a record as a column of pandas' own kind for text, without a Python object for each."""
        texts = pd.Series(self.texts)
        return texts.take(self.codes).reset_index(drop=True) if len(texts) else pd.Series(self.to_numpy())


def _zeros(count: int) -> Codes:
    """Zeros that take no memory; they may only be read."""
    found: Codes = _repeated(0, count, np.int32)
    return found


def _repeated(value: Any, count: int, dtype: Any) -> NDArray[Any]:
    """One value for every record, which takes no memory; it may only be read."""
    one = np.empty(1, dtype=dtype)
    one[0] = value
    return np.broadcast_to(one, count)


def join_cells(*columns: Cells) -> Cells:
    """Texts of several columns joined with "; ", blanks left out.

    Examples
    --------
    >>> join_cells(Cells(["a", ""], np.array([0, 1, 1])), Cells(["b", ""], np.array([0, 0, 1]))).to_numpy().tolist()
    ['a; b', 'b', '']
    """
    joined = columns[0]
    for column in columns[1:]:
        if column.all_blank:
            continue
        if joined.all_blank:
            joined = column
            continue
        width, rows = len(column.texts), np.flatnonzero(~column.blank)
        numbers, pairs = pd.factorize(joined.codes[rows].astype(np.int64) * width + column.codes[rows])
        texts = ["; ".join(filter(None, (joined.texts[p // width], column.texts[p % width]))) for p in pairs]
        codes = joined.codes.copy()
        codes[rows] = numbers + len(joined.texts)
        joined = Cells.chosen([*joined.texts, *texts], codes)
    return joined


def stack_cells(columns: Sequence[Cells]) -> Cells:
    """The cells of several columns under one another."""
    if len(columns) == 1:
        return columns[0]
    starts = np.cumsum([0, *(len(column.texts) for column in columns)])
    codes = [column.codes + start for column, start in zip(columns, starts[:-1], strict=True)]
    texts = [text for column in columns for text in column.texts]
    return Cells.chosen(texts, np.concatenate(codes)) if codes else Cells([], np.empty(0, dtype=np.int32))


def floats_among(values: NDArray[np.object_]) -> NDArray[np.float64]:
    """The floats of a column of anything; NaN for what is none.

    Examples
    --------
    >>> floats_among(np.array([-80.5, "80 W", 7, None], dtype=object)).tolist()
    [-80.5, nan, nan, nan]
    """
    is_float = np.fromiter(map(is_, map(type, values), repeat(float)), dtype=bool, count=len(values))
    found = np.full(len(values), np.nan)
    found[is_float] = values[is_float].astype(float)
    return found


def cell_text(value: Any) -> str:
    """A cell as a person would type it: whole floats without ".0", dates in ISO form, nothing for a missing value.

    Examples
    --------
    >>> cell_text(1.0), cell_text("007"), cell_text(None)
    ('1', '007', '')
    """
    if value is None or value is pd.NaT or value is pd.NA:
        return ""
    if isinstance(value, str):
        return value.strip()
    if isinstance(value, bool | np.bool_):
        return "true" if value else "false"
    if isinstance(value, float | np.floating):
        number = float(value)
        return "" if np.isnan(number) else str(int(number)) if number.is_integer() else repr(number)
    if isinstance(value, pd.Timestamp | dt.datetime | dt.date):
        return value.isoformat()
    return json.dumps(value, default=str) if isinstance(value, dict | list) else str(value).strip()


def text_column(column: pd.Series[Any]) -> pd.Series[Any]:
    """A column as text, cell by cell (see ``cell_text``)."""
    return pd.Series(Cells.of(column).to_numpy(), index=column.index, dtype=object, name=column.name)


def map_unique(column: pd.Series[Any], function: Callable[[str], Any]) -> list[Any]:
    """``function`` of every cell, worked once for each distinct text; a missing value is no text at all."""
    codes, texts = pd.factorize(column.astype(object).where(column.notna(), ""))
    values = [function(str(text)) for text in texts]
    return [values[code] for code in codes]
