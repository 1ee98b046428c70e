"""Cells as text: one way to read a value of any type, worked once for each distinct text."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd


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
    if pd.api.types.infer_dtype(column, skipna=False) in ("string", "empty") and not column.isna().any():
        values = map_unique(column, str.strip)
    else:
        values = [cell_text(value) for value in column.tolist()]
    return pd.Series(values, index=column.index, dtype=object, name=column.name)


def map_unique(column: pd.Series[Any], function: Callable[[str], Any]) -> list[Any]:
    """``function`` of every cell, worked once for each distinct text; a missing value is no text at all."""
    codes, texts = pd.factorize(column.astype(object).where(column.notna(), ""))
    values = [function(str(text)) for text in texts]
    return [values[code] for code in codes]


def join_reasons(*columns: pd.Series[Any]) -> pd.Series[Any]:
    """Texts of several columns joined with "; ", blanks left out."""
    joined = columns[0]
    for column in columns[1:]:
        both = (joined != "") & (column != "")
        joined = joined.where(~both, joined + "; " + column).where(joined != "", column)
    return joined
