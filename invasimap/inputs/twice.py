"""Records of the whole survey that came twice: all but one of each are set aside, and name the one that stays."""

from __future__ import annotations

import dataclasses

import numpy as np
import shapely
from numpy.typing import NDArray

from invasimap.inputs import sameness
from invasimap.inputs.cells import Cells, join_cells
from invasimap.inputs.copies import find_copies
from invasimap.inputs.near_pairs import mixed, with_neighbours
from invasimap.inputs.records import Records

_KINDS = {"point": 0, "line": 1, "polygon": 2}
_SEVERAL_POINTS = 3


def without_copies(records: Records) -> tuple[Records, list[str]]:
    """The records with the reason of every copy, and what a person should look at (see ``find_copies``)."""
    rows = _beside_others(records, np.flatnonzero(records.reason.blank))
    told = _told(records, rows)
    found = find_copies(told)
    if not found.copy.any():
        return records, found.notes
    copied = rows[found.copy]
    reason = Cells.at(copied, found.reasons(told), len(records))
    return dataclasses.replace(records, reason=join_cells(records.reason, reason)), found.notes


def _beside_others(records: Records, rows: NDArray[np.intp]) -> NDArray[np.intp]:
    """Those of some rows near which another one of their species, date and kind lies: no other can be a copy."""
    if len(rows) < 2:
        return rows
    text, several = records.text, len(records.text["file"].texts) > 1
    alike = mixed([text[name].codes[rows] for name in ("species", "date", "shape")])
    reach_m = sameness.MOST_M if several else sameness.SAME_FILE_M
    return with_neighbours(rows, alike, *_middles(records, rows), reach_m=reach_m)


def _told(records: Records, rows: NDArray[np.intp]) -> sameness.Records:
    """The records that are used, as the search for copies takes them."""
    text, number = records.text, {name: values[rows] for name, values in records.number.items()}
    kind = text["shape"].each([_KINDS[shape or "point"] for shape in text["shape"].texts], dtype=np.int64)[rows]
    kind[(kind == _KINDS["point"]) & ~shapely.is_missing(records.placed[rows])] = _SEVERAL_POINTS
    said = {name: np.where(number[f"own_{name}"] > 0, 0.0, np.nan) for name in ("cover", "size")}
    long = np.where(number["a_m"] != number["b_m"], 0.0, np.nan)  # others have no bearing
    x_m, y_m = _middles(records, rows)
    return sameness.Records(
        file=text["file"].codes[rows].astype(np.int64),
        record=number["record"].astype(np.int64),
        files=text["file"].texts,
        x_m=x_m,
        y_m=y_m,
        accuracy_m=number["accuracy_m"],
        kind=kind,
        species=text["species"].codes[rows].astype(np.int64),
        date=_codes(text["date"], rows),
        observer=_codes(text["observer"], rows),
        words=[_codes(text["stems"], rows)],
        values=[
            number["cover_low_pct"] + said["cover"],
            number["cover_high_pct"] + said["cover"],
            number["a_m"] + said["size"],
            number["b_m"] + said["size"],
            number["bearing_deg"] % 180 + said["size"] + long,
            number["said_height"],
            *([number["said_stem"]] if np.isfinite(number["said_stem"]).any() else []),
        ],
        outlines=lambda at: _outlines(records, rows[at], kind[at]),
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
    """Lines and points as mapped, polygons as drawn."""
    return np.where(kind == _KINDS["polygon"], records.geometry[rows], records.placed[rows])
