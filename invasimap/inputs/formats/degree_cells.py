"""Cells of degrees as bytes into numbers: plain ones all at once, the others one by one."""

from __future__ import annotations

from math import isfinite
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

_TIMES: Final = np.ones(256)  # what a number is multiplied by at each sign, and what is added then
_TIMES[list(b"0123456789")] = 10.0
_PLUS: Final = np.zeros(256)
_PLUS[list(b"0123456789")] = np.arange(10.0)
_MOST_DIGITS: Final = 15  # a float holds every whole number of so many
_TENS: Final = np.array([float(10**power) for power in range(_MOST_DIGITS + 1)])
_LONGEST: Final = 24  # signs of a plain number
_AT_ONCE: Final = 16_384  # cells, which stay in the processor's cache


def degree_column(cells: NDArray[np.bytes_]) -> pd.Series[Any]:
    """The numbers of a column, with what is none as text among them; blank is NaN where all others are numbers.

    Raises
    ------
    ValueError
        When a cell fills the whole width, and so may have been cut.

    Examples
    --------
    >>> degree_column(np.array([b"-80.5", b"80 30 W", b""], dtype="S9")).tolist()
    [-80.5, '80 30 W', '']
    """
    if not len(cells):
        return pd.Series([], dtype=float)
    signs = np.ascontiguousarray(cells).view(np.uint8).reshape(len(cells), -1)
    if signs[:, -1].any():
        raise ValueError("a cell may have been cut")
    filled = signs[:, 0] != 0
    values = np.empty(len(cells))
    for start in range(0, len(cells), _AT_ONCE):
        some = slice(start, start + _AT_ONCE)
        values[some] = _plain_numbers(signs[some])
    rest = np.flatnonzero(filled & np.isnan(values))
    read = [as_number(cell.decode("utf-8", "surrogatepass")) for cell in cells[rest].tolist()]
    if all(isinstance(value, float) for value in read):
        values[rest] = read
        return pd.Series(values)
    mixed = values.astype(object)
    mixed[~filled] = ""
    mixed[rest] = read
    return pd.Series(mixed, dtype=object)


def _plain_numbers(signs: NDArray[np.uint8]) -> NDArray[np.float64]:
    """Cells such as -80.5, a row of signs each (filled up with zero bytes), as numbers; NaN for any other.

    All digits as a whole number, divided by a power of ten: both are exact, so the result is the nearest float.
    """
    columns = np.array(signs[:, :_LONGEST].T, order="C")  # (signs, cells), a copy
    minus = columns[0] == ord("-")
    signed = minus | (columns[0] == ord("+"))
    columns[0, signed] = ord("0")
    whole, digits, decimals = (np.zeros(len(signs), dtype=of) for of in (float, np.uint8, np.uint8))
    behind, ended, bad = (np.zeros(len(signs), dtype=bool) for _ in range(3))  # behind the point, the last sign
    for column in columns:
        ended |= column == 0
        digit, point = (column - np.uint8(ord("0"))) < 10, column == ord(".")
        whole *= _TIMES[column]
        whole += _PLUS[column]
        digits += digit
        decimals += digit & behind
        bad |= ~(digit | point | ended) | ((digit | point) & ended) | (point & behind)
        behind |= point
        if ended.all():
            break
    digits -= signed
    bad |= (digits > _MOST_DIGITS) | (digits == 0) | signs[:, _LONGEST:].any(axis=1)
    return np.where(bad, np.nan, np.where(minus, -whole, whole) / _TENS[np.minimum(decimals, _MOST_DIGITS)])


def as_number(cell: str) -> float | str:
    """A cell as a number, as stripped text where it is no plain one: Python also reads 1_0 and digits of other scripts.

    Examples
    --------
    >>> as_number(" 38.5"), as_number("38.O5 "), as_number("nan")
    (38.5, '38.O5', 'nan')
    """
    try:
        value = float(cell)
    except ValueError:
        return cell.strip()
    return value if isfinite(value) and cell.isascii() and "_" not in cell else cell.strip()
