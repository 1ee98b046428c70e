"""Records of the whole survey that came twice: all but one of each are set aside, and name the one that stays."""

from __future__ import annotations

import dataclasses

import numpy as np
import shapely
from numpy.typing import NDArray

from invasimap.inputs import copies
from invasimap.inputs.cells import Cells, join_cells
from invasimap.inputs.records import Records

_KINDS = {"point": 0, "line": 1, "polygon": 2}


def without_copies(records: Records) -> tuple[Records, list[str]]:
    """The records with the reason of every copy, and what a person should look at (see ``copies.find_copies``)."""
    rows = np.flatnonzero(records.reason.blank)
    told = _told(records, rows)
    found = copies.find_copies(told)
    if not found.copy.any():
        return records, found.notes
    copied = rows[found.copy]
    reason = Cells.at(copied, found.reasons(told)[found.copy], len(records))
    return dataclasses.replace(records, reason=join_cells(records.reason, reason)), found.notes


def _told(records: Records, rows: NDArray[np.intp]) -> copies.Records:
    """The records that are used, as the search for copies takes them."""
    number = {name: values[rows] for name, values in records.number.items()}
    kind = records.text["shape"].each([_KINDS.get(text, -1) for text in records.text["shape"].texts], dtype=np.int64)
    own_cover, own_size = number["own_cover"] > 0, number["own_size"] > 0
    x_m, y_m = _middles(records, rows)
    return copies.Records(
        file=records.text["file"].codes[rows].astype(np.int64),
        record=number["record"].astype(np.int64),
        files=records.text["file"].texts,
        x_m=x_m,
        y_m=y_m,
        kind=kind[rows],
        species=records.text["species"].codes[rows].astype(np.int64),
        date=_codes(records.text["date"], rows),
        observer=_codes(records.text["observer"], rows),
        cover_low_pct=np.where(own_cover, number["cover_low_pct"], np.nan),
        cover_high_pct=np.where(own_cover, number["cover_high_pct"], np.nan),
        a_m=np.where(own_size, number["a_m"], np.nan),
        b_m=np.where(own_size, number["b_m"], np.nan),
        height_m=np.where(number["own_height"] > 0, number["height_m"], np.nan),
        accuracy_m=number["accuracy_m"],
        outlines=lambda at: _outlines(records, rows[at], kind),
    )


def _codes(cells: Cells, rows: NDArray[np.intp]) -> NDArray[np.int64]:
    """Numbers of texts, -1 where blank."""
    codes = cells.each([-1 if text == "" else number for number, text in enumerate(cells.texts)], dtype=np.int64)
    return codes[rows]


def _middles(records: Records, rows: NDArray[np.intp]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    xy = records.xy[rows]
    drawn = np.flatnonzero(~shapely.is_missing(records.geometry[rows]))
    if len(drawn):
        middle = shapely.centroid(records.geometry[rows[drawn]])
        xy[drawn] = np.column_stack([shapely.get_x(middle), shapely.get_y(middle)])
    return xy[:, 0], xy[:, 1]


def _outlines(records: Records, rows: NDArray[np.intp], kind: NDArray[np.int64]) -> NDArray[np.object_]:
    """Lines as mapped, polygons as drawn."""
    shapes = records.geometry[rows]
    lines = kind[rows] == _KINDS["line"]
    shapes[lines] = records.placed[rows[lines]]
    return shapes
