"""Where people walk with a sprayer from where their vehicle stops."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from invasimap.core.settings import FootSection
from invasimap.land.clearance import passages
from invasimap.land.ground import Ground
from invasimap.land.limits import Codes, last_reason
from invasimap.land.raster import Mask
from invasimap.land.walking import ALL_STEPS, past_edges, walk_minutes

PERSON_M = 0.5  # the narrowest gap that a person with a sprayer squeezes through
_OFF_WAY, _ON_WAY = 1, 2  # kinds of ground to walk on
Floats = npt.NDArray[np.floating]


@dataclass(frozen=True, kw_only=True)
class Walked:
    """What people reach, what stops them elsewhere, their minutes, and where they could walk."""

    reached: Mask
    limit: Codes
    minutes: Floats
    there_and_back: Floats
    walkable: Mask


def walk_out(ground: Ground, stops: Mask, rig: FootSection) -> Walked:
    """Ground within the longest loaded walk of a place where a vehicle can stop.

    A walk leads past what stops people with half a person's width to spare. Cells that it touches are walked through
    where there is room, but not counted as reached. Beside them steps lead to eight neighbours only: round drawn
    polygons walks were at most 5.7 % longer than the shortest path in cells of 3 m (DEVELOPERS.md, "Access").
    """
    terrain = ground.terrain
    slope = terrain.slope_pct()
    blocked = ground.blocked("foot")
    ways = ground.way_cells("foot") & ~blocked
    known = np.isfinite(terrain.elevation_m)
    steep = ~(slope <= rig.max_slope_pct) & ~ways  # also where the slope is not known
    starts = stops & known & ~blocked
    walked = (~steep & known) | starts
    through, open_steps = _past_barriers(ground, walked)
    kind = np.where(ways, _ON_WAY, _OFF_WAY).astype(np.uint8)
    kind[~walked | (blocked & ~through)] = 0
    by_kind = (rig.off_way, 1.0)
    loaded = [factor * rig.load for factor in by_kind]
    options: dict[str, Any] = {
        "ground": kind, "elevation_m": terrain.elevation_m, "cell_m": terrain.cell_m, "open_steps": open_steps,
    }  # fmt: skip
    there = walk_minutes(starts, factors=loaded, **options).minutes
    both_ways = walk_minutes(starts, factors=loaded, factors_back=by_kind, **options).minutes
    there[blocked] = both_ways[blocked] = np.inf
    limit = last_reason(
        terrain.shape,
        ("walk", np.isfinite(there)),
        ("not_connected", ~np.isfinite(there)),
        ("slope", steep),
        ("unknown", steep & ~np.isfinite(slope)),
        ("barrier", blocked),
    )
    return Walked(
        reached=(there <= rig.max_walk_min) & known,
        limit=limit,
        minutes=there,
        there_and_back=both_ways,
        walkable=(kind > 0) & ~blocked,
    )


def _past_barriers(ground: Ground, walked: Mask) -> tuple[Mask, npt.NDArray[np.uint16]]:
    """Cells that a barrier touches and that are walked through, and the steps that lead from each cell."""
    barriers, blocked = ground.blockers("foot"), ground.blocked("foot")
    if not len(barriers):
        return blocked, ALL_STEPS
    found = passages(
        barriers, ground.terrain, room=walked, given=ground.opened("foot") & walked, radius_m=PERSON_M / 2
    )  # fmt: skip
    return blocked & found.cells, past_edges(~blocked, found, walked=walked)
