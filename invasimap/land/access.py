"""How ground is reached: by tractor, by hose from an ATV, on foot, or not at all, and what binds where."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from scipy import ndimage

from invasimap.core.geometry import Geometries
from invasimap.core.settings import AtvSection, FootSection, TractorSection
from invasimap.land.ground import Ground
from invasimap.land.hose import highest_lift_m
from invasimap.land.hose_reach import hose_reach
from invasimap.land.raster import Mask, covered, grid_polygons, touched
from invasimap.land.terrain import Terrain
from invasimap.land.walking import walk_minutes

CLASSES = ("out_of_reach", "foot", "atv_hose", "tractor")  # by code, least capable first
LIMITS = (
    "", "slope", "side_slope", "wet", "barrier", "clearance", "not_connected", "hose_length", "lift", "walk", "unknown",
)  # fmt: skip
_LIMIT = {name: code for code, name in enumerate(LIMITS)}
_OFF_WAY, _ON_WAY = 1, 2  # kinds of ground to walk on
Codes = npt.NDArray[np.int16]
Floats = npt.NDArray[np.floating]
ENTRY_SNAP_M = 30.0  # an entry this near to a way is on it
GAP_M = 25.0  # stands nearer than twice this belong to one tract, whatever lies between them


@dataclass(frozen=True, kw_only=True)
class Access:
    """Access on the grid: class and limit by code, walking minutes and hose metres (inf where none)."""

    terrain: Terrain
    code: Codes
    limit: Codes
    walk_min: Floats
    hose_m: Floats

    def polygons(self, *, limits: bool = True) -> gpd.GeoDataFrame:
        """The grid as polygons: ``access`` and, with ``limits``, ``limit`` (what binds against a better class)."""
        mixed = self.code * len(LIMITS) + self.limit if limits else self.code * len(LIMITS)
        layer = grid_polygons(mixed.astype(np.int16), self.terrain)
        code, limit = np.divmod(layer.pop("code").to_numpy(), len(LIMITS))
        layer.insert(0, "access", np.asarray(CLASSES, object)[code])
        if limits:
            layer.insert(1, "limit", np.asarray(LIMITS, object)[limit])
        return layer


@dataclass(frozen=True, kw_only=True)
class _Means:
    """Where one means gets to, and the code of what stops it elsewhere."""

    reached: Mask
    limit: Codes


def access_classes(
    ground: Ground,
    *,
    tractor: TractorSection | None = None,
    atv: AtvSection | None = None,
    foot: FootSection | None = None,
) -> Access:
    """The most capable means that reaches each cell, and what binds.

    A means left out is not at hand and gets no ground. Ground without elevation is ``out_of_reach`` by ``unknown``.
    Machines start from the entries, or without entries from the ways outside the outline, and go on along ways that
    allow them and over ground within their limits, never through a blocker except at a crossing. Where the direction
    of travel is not known, the slope counts as side slope. The hose is laid along the ground from any place the ATV
    gets to; people walk from any place where a vehicle can stop.
    """
    known = np.isfinite(ground.terrain.elevation_m)
    stops = _vehicle_stops(ground)
    by_tractor = _tractor(ground, tractor) if tractor else None
    drive = _atv(ground, atv) if atv else np.zeros_like(known)
    nowhere = np.full(known.shape, np.inf)
    by_hose, hose_m = _hose(ground, drive, atv) if atv else (None, nowhere)
    stops |= drive | (by_tractor.reached if by_tractor else False)
    by_foot, minutes = _foot(ground, stops, foot) if foot else (None, nowhere)
    code, limit = _best((by_foot, by_hose, by_tractor), known)
    return Access(terrain=ground.terrain, code=code, limit=limit, walk_min=minutes, hose_m=hose_m)


def _best(means: tuple[_Means | None, ...], known: Mask) -> tuple[Codes, Codes]:
    """Class code and the limit of the next better means at hand, over means from least to most capable."""
    code = np.zeros(known.shape, np.int16)
    limit = np.full(known.shape, _LIMIT["not_connected"], np.int16)
    above = np.zeros(known.shape, bool)  # already given the limit of the next better means
    for rank in range(len(means), 0, -1):
        found = means[rank - 1]
        if found is None:
            continue
        gets = found.reached & (code == 0)
        code[gets] = rank
        limit[gets & ~above] = 0
        still = code == 0
        limit[still] = found.limit[still]
        above |= still
    code[~known] = 0
    limit[~known] = _LIMIT["unknown"]
    return code, limit


def _tractor(ground: Ground, rig: TractorSection) -> _Means:
    terrain = ground.terrain
    half = rig.clearance_m / 2
    ways = ground.way_cells("tractor")
    opens = ground.open_ground.geometry.union_all()
    workable, limit = _workable(ground, rig, "tractor")
    middle = opens.buffer(-half, quad_segs=16)  # where the machine's middle can be without its sides leaving
    roomy = covered([middle], terrain)
    swept = covered([middle.buffer(half, quad_segs=16)], terrain)  # what its width then passes over
    limit[workable & ~swept] = _LIMIT["clearance"]
    on_way = ways & ~ground.blocked("tractor")
    centre = _connected((workable & roomy) | on_way, ground, "tractor")
    limit[workable & swept & ~centre] = _LIMIT["not_connected"]
    beside = workable & swept & (_distance_m(centre, terrain) <= half + terrain.cell_m)
    return _Means(reached=_touching(beside | centre, centre), limit=limit)


def _atv(ground: Ground, rig: AtvSection) -> Mask:
    """Where the ATV itself gets to."""
    ways = ground.way_cells("atv") & ~ground.blocked("atv")
    workable, _ = _workable(ground, rig, "atv")
    off_ways = workable if rig.max_slope_pct > 0 else np.zeros_like(workable)
    return _connected(off_ways | ways, ground, "atv")


def _workable(ground: Ground, rig: TractorSection, means: str) -> tuple[Mask, Codes]:
    """Ground off the ways that a machine can work, and what stops it elsewhere (unknown direction counts as across)."""
    slope = ground.terrain.slope_pct()
    limit = np.zeros(slope.shape, np.int16)
    bare = ground.blocked(means)
    tight = ground.blocked(means, clearance_m=rig.clearance_m)
    wet = touched(ground.wet_ground.geometry, ground.terrain)
    for name, where in (
        ("side_slope", slope > min(rig.max_side_slope_pct, rig.max_slope_pct)),
        ("slope", slope > rig.max_slope_pct),
        ("clearance", tight),
        ("wet", wet & ~ground.opened(means, clearance_m=rig.clearance_m)),
        ("barrier", bare),
        ("unknown", ~np.isfinite(slope)),
    ):
        limit[where] = _LIMIT[name]
    return limit == 0, limit


def _hose(ground: Ground, drive: Mask, rig: AtvSection) -> tuple[_Means, Floats]:
    """Ground within the hose of a place the ATV gets to, and within the pump's lift of that same place."""
    terrain = ground.terrain
    free = np.isfinite(terrain.elevation_m) & ~ground.blocked("hose")
    # the ATV stands somewhere in its cell, so up to half a cell's diagonal of hose is spent within it
    length_m = max(rig.hose_length_m * (1 - rig.hose_loss_pct / 100) - terrain.cell_m / np.sqrt(2), 0.0)
    found = hose_reach(
        drive, passable=free, elevation_m=terrain.elevation_m, cell_m=terrain.cell_m, length_m=length_m,
        lift_m=_lift_m(rig),
    )  # fmt: skip
    limit = np.where(free, _LIMIT["hose_length"], _LIMIT["barrier"]).astype(np.int16)
    limit[found.too_high] = _LIMIT["lift"]
    if not drive.any():
        limit[free] = _LIMIT["not_connected"]
    return _Means(reached=drive | found.reached, limit=limit), found.hose_m


def _lift_m(rig: AtvSection) -> float:
    """How high the pump lifts; without pump settings no height stops it."""
    if (
        rig.pump_pressure_kPa is None
        or rig.nozzle_pressure_kPa is None
        or rig.hose_diameter_m is None
        or rig.flow_L_per_min is None
    ):
        return np.inf
    return highest_lift_m(
        pump_pressure_kPa=rig.pump_pressure_kPa,
        nozzle_pressure_kPa=rig.nozzle_pressure_kPa,
        length_m=rig.hose_length_m,
        diameter_m=rig.hose_diameter_m,
        flow_L_per_min=rig.flow_L_per_min,
        roughness=rig.hose_roughness,
    )


def _foot(ground: Ground, stops: Mask, rig: FootSection) -> tuple[_Means, Floats]:
    """Ground within the longest loaded walk of a place where a vehicle can stop."""
    terrain = ground.terrain
    slope = terrain.slope_pct()
    blocked = ground.blocked("foot")
    ways = ground.way_cells("foot") & ~blocked
    known = np.isfinite(terrain.elevation_m)
    steep = ~(slope <= rig.max_slope_pct) & ~ways  # also where the slope is not known
    starts = stops & known & ~blocked
    kind = np.where(ways, _ON_WAY, _OFF_WAY).astype(np.uint8)
    kind[(blocked | steep | ~known) & ~starts] = 0
    found = walk_minutes(
        starts, ground=kind, factors=(rig.off_way * rig.load, rig.load), elevation_m=terrain.elevation_m,
        cell_m=terrain.cell_m,
    )  # fmt: skip
    reached = found.minutes <= rig.max_walk_min
    limit = np.full(terrain.shape, _LIMIT["walk"], np.int16)
    limit[~np.isfinite(found.minutes)] = _LIMIT["not_connected"]
    limit[steep] = _LIMIT["slope"]
    limit[steep & ~np.isfinite(slope)] = _LIMIT["unknown"]
    limit[blocked] = _LIMIT["barrier"]
    return _Means(reached=reached, limit=limit), found.minutes


def _vehicle_stops(ground: Ground) -> Mask:
    """Where any vehicle can stop: entries, and ways for machines that are joined to them."""
    stops = touched(ground.entries.geometry, ground.terrain)
    for means in ("tractor", "atv"):
        ways = ground.way_cells(means) & ~ground.blocked(means)
        stops |= _connected(ways, ground, means)
    return stops


def _connected(drivable: Mask, ground: Ground, means: str) -> Mask:
    """The drivable cells joined, side by side, to where the means enters."""
    pieces, _ = ndimage.label(drivable)
    entered = np.unique(pieces[_starts(ground, means) & drivable])
    joined: Mask = np.isin(pieces, entered[entered > 0])
    return joined


def _starts(ground: Ground, means: str) -> Mask:
    """Where a means comes in: at the entries, or without any, on the ways outside the tract's outer edge."""
    terrain = ground.terrain
    if ground.entries.empty:
        return ground.way_cells(means) & ~covered([_without_gaps(ground.outline)], terrain)
    return touched(np.concatenate([ground.entries.geometry.to_numpy(), _links(ground, means)]), terrain)


def _without_gaps(outline: Any) -> Any:
    """The outline with holes filled and gaps between stands closed: ground inside is not reached from outside."""
    closed = shapely.get_parts(shapely.buffer(shapely.buffer(outline, GAP_M), -GAP_M))
    return shapely.union_all(shapely.polygons(shapely.get_exterior_ring(closed)))


def _links(ground: Ground, means: str) -> Geometries:
    """The shortest line from each entry to the nearest way of a means, where it is short and nothing stops it."""
    ways = ground.ways_for(means).geometry.to_numpy()
    entries = ground.entries.geometry.to_numpy()
    if not len(ways):
        return np.empty(0, object)
    entry, way = shapely.STRtree(ways).query_nearest(entries, max_distance=ENTRY_SNAP_M, all_matches=False)
    lines = shapely.shortest_line(entries[entry], ways[way])
    stopped = shapely.STRtree(ground.blockers(means)).query(lines, predicate="intersects")[0]
    found: Geometries = np.delete(lines, np.unique(stopped))
    return found


def _touching(mask: Mask, seeds: Mask) -> Mask:
    pieces, _ = ndimage.label(mask)
    found = np.unique(pieces[seeds])
    joined: Mask = np.isin(pieces, found[found > 0])
    return joined


def _distance_m(mask: Mask, terrain: Terrain) -> Floats:
    if not mask.any():
        return np.full(mask.shape, np.inf)
    distance: Floats = ndimage.distance_transform_edt(~mask, sampling=terrain.cell_m)
    return distance
