"""``where``: which features of a layer count, with every listed value held against what the column holds."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from invasimap.core.errors import Fault, LayerError
from invasimap.inputs.cells import cell_text, text_column
from invasimap.inputs.fields import match_name

LeftOut = dict[str, dict[str, int]]
_LISTED: Final = 12
_NEAR: Final = 0.6  # likeness from which a value is suggested


def select(frame: pd.DataFrame, where_is: Mapping[str, Any], *, where: str) -> tuple[NDArray[np.bool_], LeftOut]:
    """The rows whose attributes match, and of each column named the values that were not wanted, with their counts.

    Raises
    ------
    LayerError
        Lists every column that is not there, every listed value without a match, every one that the column also spells
        with other capitals or spaces, and a choice that together fits nothing.
    """
    keep = np.ones(len(frame), dtype=bool)
    left_out: LeftOut = {}
    faults: list[Fault] = []
    for key, value in where_is.items():
        column = match_name(key, [str(c) for c in frame.columns])
        if not column:
            listed = ", ".join(str(c) for c in frame.columns)
            faults.append(Fault(where=where, what=f"where: no column {key!r}", mend=f"columns: {listed}"))
            continue
        wanted = list(dict.fromkeys(cell_text(item) for item in (value if isinstance(value, list) else [value])))
        cells = text_column(frame[column])
        counts = {str(text): int(count) for text, count in cells.value_counts().sort_index().items()}
        faults += _value_faults(key, wanted, list(counts), where=where) if len(frame) else []
        left_out[column] = {text: count for text, count in counts.items() if text not in wanted}
        keep &= cells.isin(wanted).to_numpy()
    if not faults and len(frame) and not keep.any():
        what = f"where: no feature fits {' and '.join(map(str, where_is))} together"
        faults.append(Fault(where=where, what=what, mend="each fits some features, none fits all: check the values"))
    if faults:
        raise LayerError(faults)
    return keep, left_out


def _value_faults(key: str, wanted: list[str], there: list[str], *, where: str) -> list[Fault]:
    faults = []
    for text in wanted:
        variants = [other for other in there if other not in wanted and _plain(other) == _plain(text)]
        if text not in there:
            what, mend = (
                f"where: no feature has {key} = {text!r}",
                f"{_nearest(text, there)}values there: {_list(there)}",
            )
        elif variants:
            what = f"where: {key} is spelt {_list([text, *variants])}: the same but for capitals or spaces"
            mend = f"list all that are meant: {key} = [{', '.join(_quoted(t) for t in (*wanted, *variants))}]"
        else:
            continue
        faults.append(Fault(where=where, what=what, mend=mend))
    return faults


def _nearest(text: str, there: list[str]) -> str:
    plain: dict[str, list[str]] = {}
    for other in there:
        plain.setdefault(_plain(other), []).append(other)
    near = difflib.get_close_matches(_plain(text), plain, n=1, cutoff=_NEAR)
    return f"did you mean {' and '.join(map(repr, plain[near[0]]))}? " if near else ""


def _plain(text: str) -> str:
    return " ".join(text.split()).casefold()


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _list(texts: list[str]) -> str:
    return ", ".join(map(repr, texts[:_LISTED])) + (" …" if len(texts) > _LISTED else "")
