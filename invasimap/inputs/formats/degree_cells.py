"""Cells of degrees as bytes into numbers: plain ones all at once, the others one by one."""

from __future__ import annotations

from math import isfinite
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray


def _are(signs: bytes) -> NDArray[np.bool_]:
    found = np.zeros(256, dtype=bool)
    found[list(signs)] = True
    return found


_FIRST: Final = _are(b"0123456789.-+")
_LATER: Final = _are(b"0123456789.\0")  # numpy fills short cells up with zero bytes


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
    plain = _FIRST[signs[:, 0]] & _LATER[signs[:, 1:]].all(axis=1)
    values = np.full(len(cells), np.nan)
    try:
        values[plain] = cells[plain].astype(float)
    except ValueError:  # such as 38.1.2
        plain[:] = False
    rest = np.flatnonzero(filled & ~plain)
    read = [as_number(cell.decode("utf-8", "surrogatepass")) for cell in cells[rest].tolist()]
    if all(isinstance(value, float) for value in read):
        values[rest] = read
        return pd.Series(values)
    mixed = values.astype(object)
    mixed[~filled] = ""
    mixed[rest] = read
    return pd.Series(mixed, dtype=object)


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
