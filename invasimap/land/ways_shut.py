"""Where ways are shut to what they allow: they meet something without a crossing, or narrow at one."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np
import numpy.typing as npt
import shapely

from invasimap.core.crs import PLACE_DECIMALS, shown_place, to_lonlat
from invasimap.core.geometry import Geometries
from invasimap.land.ground import Ground
from invasimap.land.raster import Mask, marked_at
from invasimap.land.terrain import Terrain

NONE_AT_HAND: Mapping[str, float] = MappingProxyType({})  # clearances of no machine
Places = dict[tuple[float, float], set[str]]  # x and y, and the means that a way is shut to there


def missing_crossings(ground: Ground, clearances_m: Mapping[str, float] = NONE_AT_HAND) -> Places:
    """Where ways meet what stops their means and no crossing as wide as its clearance is mapped: place and means.

    The place is half way along what of the way lies in the blocker, or along the longest of it that no crossing opens.
    """
    found: Places = {}
    for means in ("tractor", "atv", "foot"):
        clearance_m = clearances_m.get(means, 0.0)
        closed = ground.blocked(means, clearance_m=clearance_m)
        ways, shapes = ground.ways_for(means).geometry.to_numpy(), ground.blockers(means)
        way, shape = shapely.STRtree(shapes).query(ways, predicate="intersects")
        met = shapely.get_parts(shapely.intersection(ways[way], shapes[shape]))
        shut = marked_at(_middles(met), closed, ground.terrain)
        left = _longest_left(met[~shut], ground.opened(means, clearance_m=clearance_m), ground.terrain)
        places = np.concatenate([_middles(met[shut]), _middles(left)])
        for x, y in places[marked_at(places, closed, ground.terrain)].tolist():
            found.setdefault((x, y), set()).add(means)
    return found


def narrow_places(ground: Ground, clearances_m: Mapping[str, float]) -> Places:
    """Where a way is too narrow for a machine at a crossing that leads through nothing drawn: place and means."""
    found: Places = {}
    for means, clearance_m in clearances_m.items():
        for x, y in shapely.get_coordinates(ground.narrows(means, clearance_m)).tolist():
            found.setdefault((x, y), set()).add(means)
    return found


def crossing_notes(ground: Ground, clearances_m: Mapping[str, float] = NONE_AT_HAND) -> list[str]:
    """Where a way is shut to its means for want of a crossing as wide, in words for the user.

    A crossing narrower than the clearance of a machine at hand is none for it.
    """
    return [
        *(
            f"A way for {means} meets a barrier, water or other protected ground at {place} and no crossing wide "
            "enough for it is mapped there: it counts as impassable. If it can be crossed, add it to crossings."
            for place, means in _told(missing_crossings(ground, clearances_m), ground)
        ),
        *(
            f"A way for {means} narrows at a crossing at {place}: it is narrower than the clearance, and nothing is "
            "drawn that it leads through. The way counts as shut to it there, the ground beside it as open: give the "
            "crossing its true width, and draw the fence or water beside it."
            for place, means in _told(narrow_places(ground, clearances_m), ground)
        ),
    ]


def _told(found: Places, ground: Ground) -> list[tuple[str, str]]:
    """Places and means in words."""
    lonlat = to_lonlat(ground.terrain.crs)
    shown: Places = {}
    for (x, y), means in found.items():
        lon, lat = lonlat.transform(x, y)
        shown.setdefault((round(lat, PLACE_DECIMALS), round(lon, PLACE_DECIMALS)), set()).update(means)
    return [(shown_place(*place), ", ".join(sorted(means))) for place, means in sorted(shown.items())]


def _longest_left(met: Geometries, opened: Mask, terrain: Terrain) -> Geometries:
    """The longest piece of each line that lies in no opened cell, where it is longer than a cell."""
    lines = met[shapely.length(met) > terrain.cell_m]
    half_m = terrain.cell_m / 2
    centres = terrain.centres(np.flatnonzero(opened))
    cells: Geometries = np.asarray(shapely.box(*(centres - half_m).T, *(centres + half_m).T))
    line, cell = shapely.STRtree(cells).query(lines, predicate="intersects")
    found = [np.empty(0, object)]
    for number in np.unique(line):
        left = shapely.get_parts(shapely.difference(lines[number], shapely.union_all(cells[cell[line == number]])))
        found.append(left[np.argsort(-shapely.length(left), kind="stable")[:1]])
    longest: Geometries = np.concatenate(found)
    return longest[shapely.length(longest) > terrain.cell_m]


def _middles(shapes: Geometries) -> npt.NDArray[np.float64]:
    """A place on each shape, of a line half way along it: x and y."""
    on = shapely.point_on_surface(shapes)
    lines = shapely.get_dimensions(shapes) == 1
    on[lines] = shapely.line_interpolate_point(shapes[lines], 0.5, normalized=True)
    places: npt.NDArray[np.float64] = shapely.get_coordinates(on)
    return places
