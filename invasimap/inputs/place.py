"""Records put on the ground: into the working system, and held against the stands' outline."""

from __future__ import annotations

import dataclasses
import warnings
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from pyproj.transformer import AreaOfInterest, TransformerGroup

from invasimap.core.crs import BEYOND, EDGE_DEG, EDGE_M, to_lonlat
from invasimap.core.geometry import whole_bounds
from invasimap.inputs.cells import Cells
from invasimap.inputs.formats.raw import RawLayer
from invasimap.inputs.mend import with_more_points
from invasimap.inputs.misplaced import Causes, find_cause
from invasimap.inputs.site import Site
from invasimap.inputs.stands_box import moves, moving
from invasimap.inputs.which_crs import said_systems, systems_that_fit

DATUM_M: Final = 5.0  # NAD83 against WGS 84 is 4 m by name and 1 to 2 m on the ground: not worth a note
EARTH_M: Final = 6_371_000.0
AROUND_DEG: Final = 0.1
_FITS_M: Final = 10_000.0  # a system that brings a file no nearer than this explains nothing, however large `far` is
_MOST_TRIED: Final = 10_000  # positions of a file that are tried in other systems
_FLAT: Final = "shape is broken: a line without length or a ring without places"
NEAR_M: Final = 1_000.0  # a record further than this outside the stands' bounds is taken for a mistake


@dataclass(frozen=True, kw_only=True)
class Placed:
    """Records in the working system: points (n x 2, m, NaN elsewhere), other shapes (None elsewhere), why a record
    cannot be used ("" where it can) and how its position was put right."""

    xy: NDArray[np.float64]
    shapes: NDArray[np.object_]
    reason: Cells
    how: Cells


def place(raw: RawLayer, *, source: CRS | None, site: Site) -> Placed:
    """The records of a layer on the ground; its shapes are in ``source``.

    A record further from the stands' bounds than ``far_m`` of the intake settings is taken for a mistake. Where only
    one mistake explains it, it is put right (see ``find_cause``), unless the settings forbid it.
    """
    count = len(raw.frame)
    problem = Cells.of(raw.marks["problem"])
    if source is None or not moves(source, site.crs):
        no_way = f"its system {source.name if source else ''} has no way to the tract's: export it in another"
        missing = Cells.same("no CRS: set crs in its [[survey]] block" if source is None else no_way, count)
        blank = Cells.same("", count)
        return Placed(xy=_no_points(count), shapes=_no_shapes(count), reason=problem.or_else(missing), how=blank)
    if raw.points is not None:
        xy, reason, how = _place_points(raw.points, source=source, site=site)
        shapes = _no_shapes(count)
    else:
        shapes, reason, how = _place_shapes(raw.shapes, source=source, site=site)
        single = (shapely.get_type_id(shapes) == 0) & ~shapely.is_empty(shapes)
        xy = _no_points(count)
        xy[single] = np.column_stack([shapely.get_x(shapes[single]), shapely.get_y(shapes[single])])
        shapes[single] = None
    return Placed(xy=xy, shapes=shapes, reason=problem.or_else(reason), how=how)


def place_shapes(
    geometry: NDArray[np.object_], *, source: CRS, crs: CRS, near: shapely.Polygon, far_m: float = NEAR_M
) -> tuple[NDArray[np.object_], Cells]:
    """Shapes in the working system (None where there is none) and why one cannot be used; none is put right.

    Mistakes that are only offered are not named: a correct layer of a whole state has places that fit them by chance.
    """
    placed, outside = _moved_shapes(geometry, source=source, crs=crs, bounds=shapely.box(*near.bounds), far_m=far_m)
    wrong = np.flatnonzero(outside != "")
    has = wrong[~shapely.is_missing(geometry[wrong]) & ~shapely.is_empty(geometry[wrong])]
    if len(has):
        coords, owner = shapely.get_coordinates(geometry[has], return_index=True)
        bounds = shapely.box(*near.bounds)
        x, y = coords.T
        found = find_cause(x, y, owner, source=source, crs=crs, bounds=bounds, near_m=far_m)
        outside[has] += np.where(found.proven, found.reasons(), "")
    return placed, Cells.at(wrong, outside[wrong], len(outside))


def system_notes(raw: RawLayer, placed: Placed, *, source: CRS | None, site: Site) -> list[str]:
    """What to say of a layer that names no system, or of which no record comes to the stands."""
    far = [text.startswith("lies ") or text == "" for text in placed.reason.texts]
    at_home = placed.reason.each([text == "" for text in placed.reason.texts], dtype=bool).any()
    if not len(raw.frame) or (source is not None and (at_home or not any(far))):
        return []
    xy = shapely.get_coordinates(raw.shapes[:_MOST_TRIED]) if raw.points is None else raw.points[:_MOST_TRIED]
    xy = xy[np.isfinite(xy).all(axis=1) & (xy != 0).any(axis=1)]
    near_m = min(site.intake.far_m, _FITS_M)
    fits = systems_that_fit(*xy.T, crs=site.crs, bounds=site.bounds, near_m=near_m) if len(xy) else []
    said = f"; {said_systems(fits)}" if fits else ""
    if source is None:
        return [
            f"{raw.label}: no CRS: all {len(raw.frame)} records are set aside{said}; set crs in its [[survey]] block"
        ]
    return [f"{raw.label}: none of its records comes to the stands in {source.name}{said}"] if fits else []


def _no_points(count: int) -> NDArray[np.float64]:
    return np.full((count, 2), np.nan)


def _no_shapes(count: int) -> NDArray[np.object_]:
    return np.full(count, None, dtype=object)


def _place_points(points: NDArray[np.float64], *, source: CRS, site: Site) -> tuple[NDArray[np.float64], Cells, Cells]:
    """Points in the working system, why a record has none, and how it was put right."""
    x, y = points[:, 0], points[:, 1]
    good = _possible(x, y, source)
    move = moving(source, site.crs)
    xy = _no_points(len(points))
    if good.all():
        xy[:, 0], xy[:, 1] = move.transform(x, y)
    else:
        xy[good, 0], xy[good, 1] = move.transform(x[good], y[good])
    lost = good & ~(np.isfinite(xy[:, 0]) & np.isfinite(xy[:, 1]))
    xy[lost] = np.nan
    away_m = np.where(good & ~lost, _distance_m(xy, site.bounds), 0.0)
    wrong = np.flatnonzero(~good | lost | (away_m > site.intake.far_m))
    if not len(wrong):
        return xy, Cells.same("", len(points)), Cells.same("", len(points))
    told = points[wrong]
    has = ~np.isnan(told).all(axis=1)
    outside = _range_problem(np.hstack([told, told]), has, np.isfinite(told).all(axis=1), source)
    outside[~has] = "has no geometry"
    outside[lost[wrong]] = "cannot be placed near the stands"
    _say_far(outside, away_m[wrong], site.intake.far_m)
    found = _causes(told[has], np.arange(int(has.sum())), source=source, site=site)
    sure = np.flatnonzero(has)[found.certain]
    xy[wrong[sure]] = np.column_stack([found.x_m, found.y_m])[found.certain]
    outside[has] += found.reasons()
    outside[sure] = ""
    how = Cells.at(wrong[has], found.repairs(np.arange(int(has.sum()))), len(points))
    return xy, Cells.at(wrong, outside, len(points)), how


def _causes(coords: NDArray[np.float64], owner: NDArray[np.intp], *, source: CRS, site: Site) -> Causes:
    """What explains wrong positions; nothing is certain where the settings forbid to put them right."""
    found = find_cause(
        coords[:, 0], coords[:, 1], owner, source=source, crs=site.crs, bounds=site.bounds, near_m=site.intake.far_m
    )
    if site.intake.repair_positions:
        return found
    return dataclasses.replace(found, certain=np.zeros(len(found.certain), dtype=bool))


def _place_shapes(
    geometry: NDArray[np.object_], *, source: CRS, site: Site
) -> tuple[NDArray[np.object_], Cells, Cells]:
    """Shapes in the working system, why a record has none, and how it was put right."""
    placed, outside = _moved_shapes(geometry, source=source, crs=site.crs, bounds=site.bounds, far_m=site.intake.far_m)
    how = np.full(len(geometry), "", dtype=object)
    blank = shapely.is_missing(geometry) | shapely.is_empty(geometry)
    wrong = np.flatnonzero((outside != "") & (outside != _FLAT) & ~blank)
    if len(wrong):
        coords, owner = shapely.get_coordinates(geometry[wrong], return_index=True)
        found = _causes(coords, owner, source=source, site=site)
        sure = found.certain
        outside[wrong] = np.where(sure, "", outside[wrong] + found.reasons())
        how[wrong] = found.repairs(owner)
        meant = np.column_stack([found.x_m, found.y_m])[sure[owner]]
        placed[wrong[sure]] = shapely.set_coordinates(shapely.force_2d(geometry[wrong[sure]]), meant)
    said, repaired = np.flatnonzero(outside != ""), np.flatnonzero(how != "")
    count = len(geometry)
    return placed, Cells.at(said, outside[said], count), Cells.at(repaired, how[repaired], count)


def _moved_shapes(
    geometry: NDArray[np.object_], *, source: CRS, crs: CRS, bounds: shapely.Polygon, far_m: float
) -> tuple[NDArray[np.object_], NDArray[np.object_]]:
    """Shapes in the working system as read and what is wrong with their places."""
    placed = _no_shapes(len(geometry))
    has = ~shapely.is_missing(geometry) & ~shapely.is_empty(geometry)
    outside = _range_problem(whole_bounds(geometry), has, _finite(geometry, has), source)
    outside[~has] = "has no geometry"
    outside[_is_flat(geometry, has)] = _FLAT
    good = outside == ""
    if good.any():
        placed[good] = _move(geometry[good], source=source, crs=crs)
    flat = good & shapely.is_missing(placed)
    outside[flat] = _FLAT
    good &= ~flat
    lost = good & ~_finite(placed, good)
    placed[lost] = None
    outside[lost] = "cannot be placed near the stands"
    _say_far(outside, np.where(good & ~lost, shapely.distance(placed, bounds), 0.0), far_m)
    return placed, outside


def _is_flat(geometry: NDArray[np.object_], has: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which lines and polygons are all at one place (other than 0, 0)."""
    at_zero = (shapely.bounds(geometry) == 0).all(axis=1)
    with np.errstate(over="ignore", invalid="ignore"):  # places beyond the globe are told elsewhere
        no_length = shapely.length(geometry) == 0
    return has & (shapely.get_dimensions(geometry) > 0) & no_length & ~at_zero


def _possible(x: NDArray[np.float64], y: NDArray[np.float64], source: CRS) -> NDArray[np.bool_]:
    """Which coordinates can be a place: finite, not 0 0, degrees on the globe."""
    if source.is_geographic:
        return (np.abs(x) <= 180) & (np.abs(y) <= 90) & ((x != 0) | (y != 0))
    return np.isfinite(x) & np.isfinite(y) & ((x != 0) | (y != 0))


def _say_far(outside: NDArray[np.object_], away_m: NDArray[np.float64], far_m: float) -> None:
    far = away_m > far_m
    ground_m = 2 * EARTH_M * np.arcsin(np.minimum(away_m[far] / (2 * EARTH_M), 1))  # the working system shows chords
    outside[far] = [f"lies {away / 1000:,.1f} km from the stands" for away in ground_m]


def _distance_m(xy: NDArray[np.float64], bounds: shapely.Polygon) -> NDArray[np.float64]:
    """Metres from each point to a box."""
    left, bottom, right, top = bounds.bounds
    dx = np.maximum(np.maximum(left - xy[:, 0], xy[:, 0] - right), 0)
    dy = np.maximum(np.maximum(bottom - xy[:, 1], xy[:, 1] - top), 0)
    return np.hypot(dx, dy)


def datum_note(source: CRS, crs: CRS, name: str) -> str:
    """What to say when positions may be over 5 m off, since no better way between two datums is at hand; else nothing.

    A file that says its own shift (a bound system) is taken at its word.

    Parameters
    ----------
    source
        The system positions come in.
    crs
        The working system, centred on the tract: which way is used depends on where the tract lies.
    name
        The file or layer, for the note.
    """
    if not moves(source, crs):
        return ""
    best_missing, accuracy_m = _best_move(source, crs)
    if source.is_bound or accuracy_m is None or 0 <= accuracy_m <= DATUM_M:
        return ""
    said = f"true to {accuracy_m:g} m" if accuracy_m >= 0 else "true to a distance that is not known"
    why = "the grid for a better move is not installed" if best_missing else "no better move to WGS 84 is known here"
    return f"{name}: positions moved from {source.name} are {said} only: {why}."


@lru_cache(maxsize=256)
def _best_move(source: CRS, crs: CRS) -> tuple[bool, float | None]:
    """Whether the best move is not at hand, and how true (m) the one used here is; PROJ takes long to list them."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # it is said in the note
        best_missing = not TransformerGroup(source, crs, always_xy=True).best_available
        here = TransformerGroup(source, crs, always_xy=True, area_of_interest=_round_centre(crs)).transformers
    return best_missing, here[0].accuracy if here else None


def _round_centre(crs: CRS) -> AreaOfInterest:
    lon, lat = to_lonlat(crs).transform(0.0, 0.0)
    return AreaOfInterest(lon - AROUND_DEG, lat - AROUND_DEG, lon + AROUND_DEG, lat + AROUND_DEG)


def _move(geometry: NDArray[np.object_], *, source: CRS, crs: CRS) -> NDArray[np.object_]:
    """Shapes in the working system; an outline that crosses itself keeps its course (densifying would drop a lobe)."""
    moved = np.full(len(geometry), None, dtype=object)
    broken = (shapely.get_dimensions(geometry) == 2) & ~shapely.is_valid(geometry)
    if broken.any():
        drawn = [with_more_points(outline, _edge(source)) for outline in geometry[broken]]
        moved[broken] = _moved(np.array(drawn, dtype=object), source=source, crs=crs)
    if not broken.all():
        moved[~broken] = _move_whole(geometry[~broken], source=source, crs=crs)
    return moved


def _edge(source: CRS) -> float:
    """The longest edge, in a system's own unit, that is moved without points between."""
    return EDGE_DEG if source.is_geographic else EDGE_M / (source.axis_info[0].unit_conversion_factor or 1.0)


def _moved(geometry: NDArray[np.object_], *, source: CRS, crs: CRS) -> NDArray[np.object_]:
    """Shapes with every vertex in the working system."""
    move = moving(source, crs)
    return shapely.transform(geometry, lambda xy: np.column_stack(move.transform(xy[:, 0], xy[:, 1])))


def _move_whole(geometry: NDArray[np.object_], *, source: CRS, crs: CRS) -> NDArray[np.object_]:
    """Shapes in the working system, None for those that GEOS refuses (a line without length)."""
    try:
        dense = shapely.segmentize(shapely.force_2d(geometry), _edge(source))
        return _moved(dense, source=source, crs=crs)
    except shapely.errors.GEOSException:
        if len(geometry) == 1:
            return np.array([None], dtype=object)
        half = len(geometry) // 2
        return np.concatenate([_move_whole(part, source=source, crs=crs) for part in np.split(geometry, [half])])


def _range_problem(bounds: NDArray[np.float64], has: Any, finite: Any, source: CRS) -> NDArray[np.object_]:
    """What no position can be: not finite, 0 0, or degrees beyond the globe."""
    found = np.full(len(bounds), "", dtype=object)
    finite = np.isfinite(bounds).all(axis=1) & finite
    found[has & ~finite] = "coordinates are not finite"
    zero = has & finite & (bounds == 0).all(axis=1)
    found[zero] = "coordinates are 0, 0: no position was recorded"
    if not source.is_geographic:
        with np.errstate(invalid="ignore"):
            found[has & finite & (np.abs(bounds) > BEYOND).any(axis=1)] = "coordinates are beyond the globe"
        return found
    with np.errstate(invalid="ignore"):
        lat = has & finite & ((bounds[:, 1] < -90) | (bounds[:, 3] > 90))
        lon = has & finite & ~lat & ((bounds[:, 0] < -180) | (bounds[:, 2] > 180))
    for name, rows, low, high, limit in (("latitude", lat, 1, 3, 90), ("longitude", lon, 0, 2, 180)):
        worst = np.where(bounds[:, high] > limit, bounds[:, high], bounds[:, low])
        found[rows] = [f"{name} {value:g} is beyond {limit} degrees" for value in worst[rows]]
    return found


def _finite(geometry: NDArray[np.object_], has: NDArray[np.bool_]) -> NDArray[np.bool_]:
    coords, index = shapely.get_coordinates(geometry, return_index=True)
    good = has.copy()
    good[index[~np.isfinite(coords).all(axis=1)]] = False
    return good
