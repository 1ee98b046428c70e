"""Where a tractor and an ATV get to, and where a hose from them does."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from scipy import ndimage

from invasimap.core.geometry import Geometries
from invasimap.core.settings import AccessSection, AtvSection, HoseSection, TractorSection
from invasimap.core.units import M_PER_FT
from invasimap.land.cells import ClosedParts
from invasimap.land.clearance import Pieces, passable_pieces
from invasimap.land.ground import Ground
from invasimap.land.hose import highest_lift_m
from invasimap.land.hose_reach import HoseReach, hose_reach
from invasimap.land.limits import LIMIT, Codes, last_reason
from invasimap.land.raster import Mask, closed_parts, covered, touched
from invasimap.land.terrain import Terrain

ENTRY_SNAP_M = 30.0  # an entry this near to a way is on it
FIELD_SNAP_M = 10.0  # open ground this near to a way is reached from it, as well as both are drawn
LEAVES_M = 10.0  # a way that comes no farther out of the stands is no way in, unless it leads off the grid
FAR_TOO_LONG_M = 600 * M_PER_FT  # twice the longest reel usual on small rigs: feet typed as metres come out longer
NARROWEST_M = 4 * M_PER_FT  # no vehicle that brings a sprayer passes a narrower gate
GAP_M = 25.0  # stands nearer than twice this belong to one tract, whatever lies between them


@dataclass(frozen=True, kw_only=True)
class Driven:
    """Where a machine's middle gets to and could be but does not, what it works, and what stops it elsewhere."""

    stops: Mask
    cut_off: Mask
    worked: Mask
    limit: Codes


@dataclass(frozen=True, kw_only=True)
class LaidHose:
    """A hose from wherever its machine gets to: ground it can lie on, usable length, lift, and what it reaches."""

    stops: Mask
    free: Mask
    closed: ClosedParts
    length_m: float
    lift_m: float
    hose_m: float
    lost_m: float
    lost_share: float
    found: HoseReach
    limit: Codes

    def needed_m(self, laid_m: float) -> float:
        """The hose that takes so much along the ground, with what is spent in the machine's cell and lost to slack."""
        return min((laid_m + self.lost_m) / (1 - self.lost_share), self.hose_m)


def drive_tractor(ground: Ground, rig: TractorSection) -> Driven:
    """Open ground and ways that a tractor gets to, and the open ground its width passes over."""
    terrain, half = ground.terrain, rig.clearance_m / 2
    opens = shapely.union_all(ground.open_ground.geometry.to_numpy())
    middle = shapely.buffer(opens, -half, quad_segs=16)  # where its middle can be without its sides leaving
    swept = covered([shapely.buffer(middle, half, quad_segs=16)], terrain)  # what its width then passes over
    workable, limit = _workable(ground, rig, "tractor")
    outside = shapely.difference(shapely.box(*terrain.bounds).buffer(2 * terrain.cell_m), opens)
    lanes = touched(_lanes(ground, middle, rig, workable), terrain) & ~ground.blocked("tractor", clearance_m=2 * half)
    pieces = passable_pieces(
        np.concatenate([ground.blockers("tractor"), [outside]]),
        terrain,
        room=workable & covered([opens], terrain),
        given=_on_ways(ground, "tractor", 2 * half)
        | (ground.opened("tractor", clearance_m=2 * half) & workable)
        | lanes,
        radius_m=half,
        walls=ground.blockers("tractor"),
    )
    stops, cut_off = _got_to(pieces, ground, "tractor", 2 * half)
    roomy = workable & swept & (limit == 0)
    limit[limit == 0] = LIMIT["clearance"]
    limit[roomy & (_distance_m(pieces.cells, terrain) <= half + terrain.cell_m)] = LIMIT["not_connected"]
    beside = roomy & (_distance_m(stops, terrain) <= half + terrain.cell_m)
    return Driven(stops=stops, cut_off=cut_off, worked=_touching(beside | stops, stops), limit=limit)


def drive_atv(ground: Ground, rig: AtvSection) -> Driven:
    """Ways and ground within its limits that an ATV gets to; without a slope limit for leaving them, ways alone."""
    workable, limit = _workable(ground, rig, "atv")
    off_ways = workable if rig.max_slope_pct > 0 else np.zeros_like(workable)
    pieces = passable_pieces(
        ground.blockers("atv"),
        ground.terrain,
        room=off_ways,
        given=_on_ways(ground, "atv", rig.clearance_m) | (ground.opened("atv", clearance_m=rig.clearance_m) & off_ways),
        radius_m=rig.clearance_m / 2,
    )
    stops, cut_off = _got_to(pieces, ground, "atv", rig.clearance_m)
    return Driven(stops=stops, cut_off=cut_off, worked=stops, limit=limit)


def lay_hose(ground: Ground, stops: Mask, rig: HoseSection, *, asked: Mask | None = None) -> LaidHose:
    """Ground within the hose of a place its machine gets to, and within the pump's lift of that same place.

    ``asked``: the cells that matter, where not all do (see ``hose_reach``).
    """
    terrain = ground.terrain
    free = np.isfinite(terrain.elevation_m) & ~ground.blocked("hose")
    # the machine stands somewhere in its cell, so up to half a cell's diagonal of hose is spent within it
    lost_m, lost_share = terrain.cell_m * np.sqrt(0.5), rig.hose_loss_pct / 100
    length_m, lift_m = _usable_m(rig, terrain.cell_m), pump_lift_m(rig)
    closed = closed_parts(ground.blockers("hose"), terrain)
    found = hose_reach(
        stops, passable=free, elevation_m=terrain.elevation_m, cell_m=terrain.cell_m, length_m=length_m, lift_m=lift_m,
        closed_parts=closed, asked=asked,
    )  # fmt: skip
    nowhere = np.broadcast_to(not stops.any(), free.shape)
    limit = last_reason(
        terrain.shape, ("hose_length", free), ("lift", found.too_high), ("not_connected", nowhere & free),
        ("barrier", ~free),
    )  # fmt: skip
    return LaidHose(
        stops=stops, free=free, closed=closed, length_m=length_m, lift_m=lift_m, hose_m=rig.hose_length_m or 0.0,
        lost_m=lost_m, lost_share=lost_share, found=found, limit=limit,
    )  # fmt: skip


def _usable_m(rig: HoseSection, cell_m: float) -> float:
    """The hose that is left to lay, after slack and half a cell's diagonal."""
    return max((rig.hose_length_m or 0.0) * (1 - rig.hose_loss_pct / 100) - cell_m * float(np.sqrt(0.5)), 0.0)


def pump_lift_m(rig: HoseSection) -> float:
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
        length_m=rig.hose_length_m or 0.0,
        diameter_m=rig.hose_diameter_m,
        flow_L_per_min=rig.flow_L_per_min,
        roughness=rig.hose_roughness,
    )


def hose_notes(means: AccessSection, *, cell_m: float) -> list[str]:
    """What must be known of the hoses of ``[access]`` before their ground is used."""
    notes = []
    for name, rig in (("tractor", means.tractor), ("atv", means.atv)):
        if rig is None or not rig.hose_length_m:
            continue
        if rig.hose_length_m > FAR_TOO_LONG_M:
            notes.append(
                f"[access.{name}]: a hose of {rig.hose_length_m / M_PER_FT:,.0f} ft ({rig.hose_length_m:,.0f} m) is "
                "far longer than the 100 to 300 ft that are usual on small rigs. Check its unit."
            )
        if _usable_m(rig, cell_m) == 0:
            notes.append(
                f"[access.{name}]: the cells of {cell_m:.1f} m are too large for its hose, which is used up in the one "
                "that the machine stands in and reaches nothing more: set a smaller cell in [access]."
            )
        lift_m = pump_lift_m(rig)
        if lift_m == np.inf:
            notes.append(f"[access.{name}] has no pump settings: how high its hose lifts was not checked.")
        elif lift_m < 0:
            notes.append(
                f"[access.{name}]: THE PUMP IS TOO WEAK for its hose: friction takes more than it gives, so the "
                f"nozzle has its pressure only {-lift_m / M_PER_FT:,.0f} ft ({-lift_m:,.0f} m) or more below it."
            )
        if name == "tractor":
            notes.append(
                "Ground that only the tractor's hose reaches counts as tractor: the tractor is not driven there."
            )
    return notes


def vehicle_stops(ground: Ground, *, clearance_m: float = NARROWEST_M) -> Mask:
    """Where a vehicle so wide can stop: entries, and ways for machines that are joined to them."""
    stops = touched(ground.entries.geometry, ground.terrain)
    for means in ("tractor", "atv"):
        ways = _on_ways(ground, means, clearance_m)
        number, _ = ndimage.label(ways)
        entered = np.unique(number[starts(ground, means) & ways])
        stops |= np.isin(number, entered[entered > 0])
    return stops


def starts(ground: Ground, means: str) -> Mask:
    """Where a means comes in: at the entries, or without any, on the ways outside the tract's outer edge."""
    terrain = ground.terrain
    if ground.entries.empty:
        own = shapely.buffer(_without_gaps(ground.outline), LEAVES_M)
        edge = np.ones(terrain.shape, bool)
        edge[1:-1, 1:-1] = False
        inside = covered([_without_gaps(ground.outline)], terrain)
        return ground.way_cells(means) & (~covered([own], terrain) | (edge & ~inside))
    entries = ground.entries.geometry.to_numpy()
    links = _links(ground, entries, means, ENTRY_SNAP_M)
    return touched(np.concatenate([entries, links]), terrain)


def _got_to(pieces: Pieces, ground: Ground, means: str, clearance_m: float) -> tuple[Mask, Mask]:
    """The cells that a means gets to and those that it could be in but does not get to; none that a blocker touches."""
    joined, free = pieces.joined_to(starts(ground, means)), ~ground.blocked(means, clearance_m=clearance_m)
    return joined & free, pieces.cells & ~joined & free


def _on_ways(ground: Ground, means: str, clearance_m: float) -> Mask:
    shut = ground.blocked(means, clearance_m=clearance_m) | ground.narrowed(means, clearance_m=clearance_m)
    return ground.way_cells(means) & ~shut


def _workable(ground: Ground, rig: TractorSection | AtvSection, means: str) -> tuple[Mask, Codes]:
    """Cells off the ways that a machine can work if there is room, and what stops it elsewhere.

    Direction of travel is not known, so the whole slope counts as side slope too.
    """
    slope = ground.terrain.slope_pct()
    wet = touched(ground.wet_ground.geometry, ground.terrain) & ~ground.opened(means, clearance_m=rig.clearance_m)
    limit = last_reason(
        ground.terrain.shape,
        ("side_slope", slope > min(rig.max_side_slope_pct, rig.max_slope_pct)),
        ("slope", slope > rig.max_slope_pct),
        ("wet", wet),
        ("unknown", ~np.isfinite(slope)),
    )
    workable = limit == 0
    limit[ground.blocked(means, clearance_m=rig.clearance_m) & np.isfinite(slope)] = LIMIT["barrier"]
    return workable, limit


def _lanes(ground: Ground, middle: Any, rig: TractorSection, workable: Mask) -> Geometries:
    """The shortest line from each piece of open ground to a way beside it, over ground that the tractor can drive."""
    parts, half = shapely.get_parts(middle), rig.clearance_m / 2
    lines = _links(ground, parts[~shapely.is_empty(parts)], "tractor", FIELD_SNAP_M + half)
    swaths = shapely.buffer(lines, half, cap_style="flat")
    narrow = shapely.STRtree(ground.blockers("tractor")).query(swaths, predicate="intersects")[0]
    bad = ~workable & ~ground.way_cells("tractor")
    kept = [number not in set(narrow.tolist()) and not _meets(line, bad, ground) for number, line in enumerate(lines)]
    found: Geometries = lines[np.array(kept, bool)]
    return found


def _meets(line: Any, bad: Mask, ground: Ground) -> bool:
    window, part = ground.terrain.window(line.bounds)
    return bool((touched([line], part) & bad[window]).any())


def _links(ground: Ground, places: Geometries, means: str, longest_m: float) -> Geometries:
    """The shortest line from each place to the nearest way of a means, where it is short and nothing stops it."""
    ways = ground.ways_for(means).geometry.to_numpy()
    if not len(ways) or not len(places):
        return np.empty(0, object)
    place, way = shapely.STRtree(ways).query_nearest(places, max_distance=longest_m, all_matches=False)
    lines = shapely.shortest_line(places[place], ways[way])
    stopped = shapely.STRtree(ground.blockers(means)).query(lines, predicate="intersects")[0]
    found: Geometries = np.delete(lines, np.unique(stopped))
    return found


def _without_gaps(outline: Any) -> Any:
    """The outline with holes filled and gaps between stands closed: ground inside is not reached from outside."""
    closed = shapely.get_parts(shapely.buffer(shapely.buffer(outline, GAP_M), -GAP_M))
    return shapely.union_all(shapely.polygons(shapely.get_exterior_ring(closed)))


def _touching(mask: Mask, seeds: Mask) -> Mask:
    pieces, _ = ndimage.label(mask)
    found = np.unique(pieces[seeds])
    joined: Mask = np.isin(pieces, found[found > 0])
    return joined


def _distance_m(mask: Mask, terrain: Terrain) -> Any:
    if not mask.any():
        return np.full(mask.shape, np.inf)
    return ndimage.distance_transform_edt(~mask, sampling=terrain.cell_m)
