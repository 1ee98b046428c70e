"""What more would be reached by a longer hose, a longer walk, or one more opening in what stops people and machines."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy import ndimage

from invasimap.core.settings import AccessSection, TractorSection
from invasimap.land.access import Access, access_classes, class_codes, sprayed_beside
from invasimap.land.cell_areas import CellAreas
from invasimap.land.ground import Ground
from invasimap.land.limits import CLASSES, Codes
from invasimap.land.machines import lay_hose
from invasimap.land.raster import Mask
from invasimap.land.ways_shut import missing_crossings, narrow_places
from invasimap.land.words import WIDEST_GAP_M

NEXT_OPENINGS = 4  # how many are tried
NOTHING_M2 = 1e-6  # a gain of less is what adding up leaves over
LEAST_M2 = 0.5  # an opening that changes no more is not worth a row
OPENING_M = 6.096  # 20 ft, as a crossing that does not say
LONGER_WALK_MIN = 10.0
GAINS = tuple(f"{name}_gain_m2" for name in ("treatable", "tractor", "atv_hose", "foot"))


@dataclass(frozen=True, kw_only=True)
class _Opening:
    """A place where an opening would let some means through, and the worth of what lies behind."""

    x: float
    y: float
    means: frozenset[str]
    worth_m2: float
    on_way: bool = False


def reach_gain(
    ground: Ground, access: Access, rigs: AccessSection, *, worth: CellAreas, longer_hose_m: float
) -> pd.DataFrame:
    """How much more of some ground each change would reach.

    Parameters
    ----------
    ground, access, rigs
        The land, what is reached on it (``access_classes``) and by what means.
    worth
        The ground that counts (``cell_areas``): infested, open to spray and in a stand.
    longer_hose_m
        By how much a hose is longer; with a pump its friction grows and its lift shrinks. A machine without a hose
        has no row for it.

    Returns
    -------
    DataFrame
        ``change`` (``hose``, ``walk`` or ``opening``), ``means``, ``x, y`` of an opening (else NaN), and in square
        metres what the change adds: ``treatable_gain_m2`` in all, and for each class (less than nothing where a class
        gives ground up to a better one). Openings are tried where a way meets something without a mapped crossing, and
        where a barrier alone keeps a means from ground that counts; those with most behind them first.
    """
    now = worth.sums(access.code, len(CLASSES))
    asked = np.zeros(access.code.shape, bool)
    asked.ravel()[worth.cell] = True
    rows: list[dict[str, Any]] = []

    def add(change: str, means: str, codes: Codes, x: float = np.nan, y: float = np.nan) -> None:
        more = worth.sums(codes, len(CLASSES)) - now
        gains = np.array([more[1:].sum(), more[3], more[2], more[1]])
        gains[np.abs(gains) < NOTHING_M2] = 0.0
        rows.append({"change": change, "means": means, "x": x, "y": y, **dict(zip(GAINS, gains, strict=True))})

    for name, rig in (("tractor", rigs.tractor), ("atv_hose", rigs.atv)):
        if rig is not None and rig.hose_length_m:  # no hose, none to be longer
            add("hose", name, _with_longer_hose(ground, access, name, rig, longer_hose_m, asked))
    if rigs.foot is not None:
        farther = access.walk_min <= rigs.foot.max_walk_min + LONGER_WALK_MIN
        add("walk", "foot", class_codes(_known({**access.reached, "foot": farther}, access), access.terrain))
    for opening in _openings(ground, access, worth, rigs.clearances_m):
        codes = access_classes(
            _opened(ground, opening), tractor=rigs.tractor, atv=rigs.atv, foot=rigs.foot, asked=asked
        ).code  # fmt: skip
        add("opening", ";".join(sorted(opening.means)), codes, opening.x, opening.y)
    helps = [row for row in rows if row["change"] != "opening" or any(abs(row[name]) > LEAST_M2 for name in GAINS)]
    return pd.DataFrame(helps, columns=["change", "means", "x", "y", *GAINS])


def _with_longer_hose(
    ground: Ground, access: Access, name: str, rig: TractorSection, longer_m: float, asked: Mask
) -> Codes:  # fmt: skip
    hose = access.hoses[name]
    longer = rig.model_copy(update={"hose_length_m": (rig.hose_length_m or 0.0) + longer_m})
    laid = lay_hose(ground, hose.stops, longer, asked=asked)
    worked = access.worked[name] if name == "tractor" else sprayed_beside(access.worked[name], laid)
    return class_codes(_known({**access.reached, name: worked | laid.found.reached}, access), access.terrain)


def _known(reached: Mapping[str, Mask], access: Access) -> dict[str, Mask]:
    known = np.isfinite(access.terrain.elevation_m)
    return {name: mask & known for name, mask in reached.items()}


def _opened(ground: Ground, opening: _Opening) -> Ground:
    new = gpd.GeoDataFrame(
        {"width_m": [OPENING_M]}, geometry=[shapely.Point(opening.x, opening.y)], crs=ground.terrain.crs
    )
    crossings = new if ground.crossings.empty else pd.concat([ground.crossings, new], ignore_index=True)
    return dataclasses.replace(ground, crossings=crossings)


def _openings(
    ground: Ground, access: Access, worth: CellAreas, clearances_m: Mapping[str, float]
) -> list[_Opening]:  # fmt: skip
    """Where one more opening may pay, the best first; no two within a crossing's width of one another."""
    behind = {means: _pieces_behind(mask, worth, means=means, access=access) for means, mask in access.cut_off.items()}
    found = [
        _Opening(
            x=x, y=y, means=frozenset(means & behind.keys()), on_way=True,
            worth_m2=sum(_beside(x, y, behind[m], access) for m in means & behind.keys()),
        )
        for (x, y), means in [
            *missing_crossings(ground, clearances_m).items(), *narrow_places(ground, clearances_m).items()
        ]
    ]  # fmt: skip
    for means, pieces in behind.items():
        found += _nearest_gaps(ground, access, means, pieces)
    chosen: list[_Opening] = []
    for one in sorted(found, key=lambda o: (-round(o.worth_m2, 3), not o.on_way, o.x, o.y)):
        apart = all(np.hypot(one.x - other.x, one.y - other.y) > WIDEST_GAP_M for other in chosen)
        if one.worth_m2 > 0 and apart and len(chosen) < NEXT_OPENINGS:
            chosen.append(one)
    return chosen


def _pieces_behind(cut_off: Mask, worth: CellAreas, *, means: str, access: Access) -> tuple[Any, Any]:
    """The pieces of ground that a means does not get to, and how much that counts lies in each.

    Of a machine with a hose also what lies within a straight hose of it; nowhere what is served as well already.
    """
    number, count = ndimage.label(cut_off)
    name = "atv_hose" if means == "atv" else means
    near = number
    if count and name in access.hoses:
        away, nearest = ndimage.distance_transform_edt(~cut_off, return_indices=True)
        within = away <= access.hoses[name].length_m / access.terrain.cell_m
        near = np.where(within, number[tuple(nearest)], 0)
    return number, worth.sums(np.where(access.code < CLASSES.index(name), near, 0), count + 1)


def _beside(x: float, y: float, behind: tuple[Any, Any], access: Access) -> float:
    """What counts in the pieces within a gap's width of a place."""
    number, worth_m2 = behind
    terrain, around = access.terrain, int(np.ceil(WIDEST_GAP_M / access.terrain.cell_m))
    row, column = int((terrain.transform.f - y) / terrain.cell_m), int((x - terrain.transform.c) / terrain.cell_m)
    near = number[max(row - around, 0) : row + around + 1, max(column - around, 0) : column + around + 1]
    return float(sum(worth_m2[piece] for piece in np.unique(near) if piece))


def _nearest_gaps(ground: Ground, access: Access, means: str, behind: tuple[Any, Any]) -> list[_Opening]:
    """For the pieces with most behind them, the shortest way in over something that stops the means."""
    number, worth_m2 = behind
    gets = access.gets[means]
    pieces = [p for p in np.argsort(-worth_m2, kind="stable")[: NEXT_OPENINGS + 1] if p and worth_m2[p] > 0]
    if not pieces or not gets.any():
        return []
    away, nearest = ndimage.distance_transform_edt(~gets, sampling=access.terrain.cell_m, return_indices=True)
    blockers = shapely.STRtree(ground.blockers(means))
    found = []
    for piece in pieces:
        cells = np.flatnonzero(number == piece)
        at = cells[np.argmin(away.ravel()[cells])]
        if away.ravel()[at] > WIDEST_GAP_M:
            continue
        start = np.ravel_multi_index(tuple(nearest.reshape(2, -1)[:, at]), gets.shape)
        line = shapely.LineString(access.terrain.centres(np.array([start, at])))
        met = blockers.geometries[blockers.query(line, predicate="intersects")]
        if len(met):
            place = shapely.centroid(shapely.intersection(shapely.union_all(met), line))
            found.append(_Opening(x=place.x, y=place.y, means=frozenset([means]), worth_m2=float(worth_m2[piece])))
    return found
