"""What a hostile or broken file may not do: the bounds every reader keeps, and the words that say so."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any, Final

import numpy as np
import pandas as pd

from invasimap.core.errors import Fault, InputError, LayerError
from invasimap.inputs.formats.raw import WGS84, RawLayer, Record, marks

MAX_RECORDS: Final = 1_000_000  # of one file; more is no field survey, and fills the memory
MAX_COLUMNS: Final = 500  # more are kept in one column, as JSON
NOT_READ: Final = "file not read"
OTHERS: Final = "other values"
_MAX_PADDED: Final = 10_000


def over_size(what: str, *, where: str, setting: str, limit_B: float) -> LayerError:
    """The error of a file or archive that is over a limit, which names the setting that raises it.

    Examples
    --------
    >>> print(over_size("is 300 MB", where="a.kml", setting="file", limit_B=200e6))
    a.kml: is 300 MB; the limit is 200 MB
        if it is meant to be so large, set file = "…" in [intake.limits]
    """
    mend = f'if it is meant to be so large, set {setting} = "…" in [intake.limits]'
    return LayerError(Fault(where=where, what=f"{what}; the limit is {limit_B / 1e6:,.0f} MB", mend=mend))


def over_vertices(limit: int, found: int | None = None) -> str:
    """Why a shape with too many vertices is set aside."""
    has = f"has {found:,} vertices" if found else "has too many vertices"
    return f"{has}; the limit is {limit:,}: draw it simpler, or set vertices in [intake.limits]"


def over_together(limit: int) -> str:
    """Why a huge shape is set aside that comes after others."""
    return (
        f"the file's large shapes have over {limit:,} vertices: draw them simpler, or set vertices in [intake.limits]"
    )


def over_parts(limit: int, found: int) -> str:
    """Why a shape of too many parts is set aside."""
    return f"has {found:,} parts; the limit is {limit:,}: make them records, or set parts in [intake.limits]"


def broken_off(line: int) -> str:
    """Why the record stands in the ledger that takes the place of all that a broken file lost.

    Examples
    --------
    >>> broken_off(12)
    'the file breaks off here (line 12): what follows is lost; export it again'
    """
    return f"the file breaks off here (line {line}): what follows is lost; export it again"


def too_many(line: int) -> str:
    """Why the record stands in the ledger that takes the place of all records over the limit."""
    return f"the file has over {MAX_RECORDS:,} records: those from line {line} on are not read; split it"


def few_columns(records: Sequence[Record]) -> list[Record]:
    """Records of which the values beyond the first 500 columns stand in one column, so that no table is too wide.

    Examples
    --------
    >>> few_columns([Record(values={"a": 1})])[0].values
    {'a': 1}
    """
    columns = dict.fromkeys(key for record in records for key in record.values)
    if len(columns) <= MAX_COLUMNS:
        return list(records)
    kept = set(list(columns)[: MAX_COLUMNS - 1])
    return [replace(record, values=_folded(record.values, kept)) for record in records]


def _folded(values: dict[str, Any], kept: set[str]) -> dict[str, Any]:
    others = {key: value for key, value in values.items() if key not in kept}
    inside = {key: value for key, value in values.items() if key in kept}
    return {**inside, OTHERS: json.dumps(others, ensure_ascii=False, default=str)} if others else inside


def unread_layer(error: InputError, *, label: str, layer: str) -> RawLayer:
    """One record, set aside and without values, in place of a file that cannot be read."""
    why = "; ".join(f"{fault.what}{f' ({fault.mend})' if fault.mend else ''}" for fault in error.faults)
    return RawLayer(
        label=label,
        layer=layer,
        frame=pd.DataFrame(index=pd.RangeIndex(1)),
        geometry=np.array([None], dtype=object),
        marks=marks(1, problem=[f"{NOT_READ}: {why}"]),
        crs=WGS84,
    )


def missing(counted: int, read: int) -> list[str]:
    """One reason for each record that a file counts and does not give; a count that cannot be true is one record.

    Examples
    --------
    >>> len(missing(5, 3)), len(missing(10**12, 3)), missing(3, 3)
    (2, 1, [])
    """
    lost = max(counted - read, 0)
    why = f"cannot be read: the file counts {counted:,} records and gives {read:,}"
    return [why] * (lost if lost <= _MAX_PADDED else 1)


def first_lines(names: Iterable[str], *, most: int = 12) -> str:
    """Names in a row, the first dozen of them.

    Examples
    --------
    >>> first_lines(["a", "b", "c"], most=2)
    'a, b and 1 more'
    """
    names = list(names)
    return ", ".join(names[:most]) + (f" and {len(names) - most:,} more" if len(names) > most else "")
