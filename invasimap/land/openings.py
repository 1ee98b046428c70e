"""Which cells the crossings open: those in which every one of the things that block is crossed by a crossing there."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely

from invasimap.core.geometry import Geometries
from invasimap.land.raster import Mask, touched
from invasimap.land.terrain import Terrain

FRINGE_CELLS = 1.5  # how far beyond a blocker the cells it touches can reach
SAME_WAY_M = 0.5  # ways, or things to cross, this alike in distance both count as the nearest
GRAZE_M = 0.01
SKEW = 2.0  # a way may cross at an angle that makes the passage this much longer than straight over
Cells = npt.NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class Crossed:
    """What there is to cross: the ground of each blocker, how long a passage over it is, which hold others within.

    Attributes
    ----------
    shapes
        The ground that each blocker takes.
    longest_m
        How long a skew passage over each is: for lines by their width; inf for drawn areas.
    water
        Which are no barriers: where a way leads through one, what of these lies within is crossed with it.
    ways
        The ways that may lead over, noded.
    """

    terrain: Terrain
    shapes: Geometries
    longest_m: npt.NDArray[np.float64]
    water: npt.NDArray[np.bool_]
    ways: shapely.STRtree


@dataclass(frozen=True, kw_only=True)
class _Reach:
    """One crossing: the cells it reaches, what it crosses, and what else is near that it does not."""

    place: Any
    disc: Any
    cells: Cells
    crossed: npt.NDArray[np.intp]
    others: npt.NDArray[np.intp]


def opened_cells(places: Geometries, width_m: npt.NDArray[np.float64], crossed: Crossed) -> Mask:
    """Cells where the crossings lead over all that blocks.

    A crossing crosses what is nearest to it, over its own width and as far as a way leads through. What else lies in
    its disc it does not cross, nor what is crossed where it lies behind that; but of several crossings in one cell each
    may cross its own.
    """
    terrain = crossed.terrain
    opened = np.zeros(terrain.shape, bool)
    tree = shapely.STRtree(crossed.shapes)
    discs = shapely.buffer(places, np.maximum(width_m / 2, terrain.cell_m / 2))
    reaches = [_reach(place, disc, tree, crossed) for place, disc in zip(places, discs, strict=True)]
    if not reaches:
        return opened
    size = opened.size
    blocked = [_pairs(shape, _on(crossed.shapes[[shape]], one.cells, terrain), size)
               for one in reaches for shape in _near(tree, one.cells, terrain)]  # fmt: skip
    over = _joined([_led_over(one, crossed, size) for one in reaches])
    over = _joined([over, *(_behind_what_is_crossed(one, over, crossed) for one in reaches)])
    shut = np.setdiff1d(_joined(blocked), over) % size
    opened.ravel()[np.setdiff1d(_joined([one.cells for one in reaches]), shut)] = True
    return opened


def _reach(place: Any, disc: Any, tree: shapely.STRtree, crossed: Crossed) -> _Reach:
    met = tree.query(disc, predicate="intersects")
    away = shapely.distance(crossed.shapes[met], place)
    own = away <= away.min(initial=np.inf) + SAME_WAY_M
    others = met[~own]
    passages, within = _passages(place, disc, met[own], crossed)
    pieces = np.concatenate([[disc], passages])
    also = tree.query(within, predicate="intersects")[1]
    also = np.setdiff1d(also[crossed.water[also]], others)  # a brook drawn through the pond that the bridge spans
    window, part = crossed.terrain.window(shapely.union_all(pieces).bounds)
    cells = _numbers(touched(pieces, part), window, crossed.terrain)
    return _Reach(place=place, disc=disc, cells=cells, crossed=np.union1d(met[own], also), others=others)


def _passages(place: Any, disc: Any, own: npt.NDArray[np.intp], crossed: Crossed) -> tuple[Geometries, Geometries]:
    """The pieces of ways that lead through what is crossed, no longer than a skew passage is; and those within it."""
    fringe_m = FRINGE_CELLS * crossed.terrain.cell_m
    ways = crossed.ways.geometries[crossed.ways.query(disc, predicate="intersects")]
    beside, within = [np.empty(0, object)], [np.empty(0, object)]
    for shape in own:
        through = _parts_at(shapely.intersection(ways, crossed.shapes[shape]), disc)
        longest = crossed.longest_m[shape]
        longest = shapely.length(through).sum() if np.isinf(longest) else longest
        window = shapely.buffer(place, longest + SKEW * fringe_m)
        around = shapely.intersection(shapely.buffer(_at(crossed.shapes[shape], window), fringe_m), window)
        beside.append(_parts_at(shapely.intersection(ways, around), disc))
        within.append(shapely.intersection(through, window))
    return np.concatenate(beside), np.concatenate(within)


def _led_over(one: _Reach, crossed: Crossed, size: int) -> Cells:
    """The cells in which a crossing leads over each thing it crosses, as pairs."""
    found = []
    for shape in one.crossed:
        hidden = _beyond(crossed.shapes[[shape]], crossed.shapes[one.others], one.disc, one.place)
        found.append(_pairs(shape, np.setdiff1d(one.cells, _on(hidden, one.cells, crossed.terrain)), size))
    return _joined(found)


def _behind_what_is_crossed(one: _Reach, over: Cells, crossed: Crossed) -> Cells:
    """The same where other crossings lead over what lies between, in the cells where they do."""
    size = crossed.terrain.elevation_m.size
    led = [np.isin(one.cells, over[over // size == shape] % size) for shape in one.others]
    found = []
    for way in np.unique(np.array(led, bool).reshape(len(one.others), len(one.cells)), axis=1).T:
        cells = one.cells[np.all([here == there for here, there in zip(led, way, strict=True)], axis=0)]
        if way.any():
            found.append(_led_over(replace(one, cells=cells, others=one.others[~way]), crossed, size))
    return _joined(found)


def _beyond(shapes: Geometries, others: Geometries, disc: Any, place: Any) -> Geometries:
    """The parts of what is crossed that lie behind something else, seen from the crossing."""
    if not len(others):
        return np.empty(0, object)
    near = shapely.buffer(disc, 2 * shapely.minimum_bounding_radius(disc))
    left = shapely.difference(shapely.intersection(shapes, near), shapely.union_all(shapely.buffer(others, GRAZE_M)))
    parts: Geometries = shapely.get_parts(left)
    away = shapely.distance(parts, place)
    return parts[away > away.min(initial=np.inf) + GRAZE_M]


def _at(shape: Any, window: Any) -> Any:
    """What of a shape may matter in a window and round it, so that the whole of it need not be looked at."""
    left, bottom, right, top = window.bounds
    wide = right - left
    return shapely.clip_by_rect(shape, left - wide, bottom - wide, right + wide, top + wide)


def _parts_at(geometry: Any, disc: Any) -> Geometries:
    parts: Geometries = shapely.get_parts(geometry)
    return parts[shapely.intersects(parts, disc)]


def _near(tree: shapely.STRtree, cells: Cells, terrain: Terrain) -> npt.NDArray[np.intp]:
    """What may touch some cells."""
    found: npt.NDArray[np.intp] = tree.query(_box(cells, terrain))
    return found


def _box(cells: Cells, terrain: Terrain) -> Any:
    """The cells' bounds with a cell to spare."""
    if not len(cells):
        return shapely.Polygon()
    places = terrain.centres(cells)
    return shapely.box(*(places.min(axis=0) - 1.5 * terrain.cell_m), *(places.max(axis=0) + 1.5 * terrain.cell_m))


def _on(shapes: Geometries, cells: Cells, terrain: Terrain) -> Cells:
    """Which of some cells the shapes touch."""
    if not len(shapes) or not len(cells):
        return np.empty(0, np.int64)
    around = _box(cells, terrain)
    window, part = terrain.window(around.bounds)
    near = shapely.clip_by_rect(shapes, *shapely.buffer(around, 2 * terrain.cell_m).bounds)
    return np.intersect1d(_numbers(touched(near, part), window, terrain), cells)


def _numbers(mask: Mask, window: tuple[slice, slice], terrain: Terrain) -> Cells:
    """The marked cells of a window by their flat numbers in the grid."""
    row, column = np.nonzero(mask)
    numbers: Cells = (row + window[0].start) * terrain.shape[1] + column + window[1].start
    return numbers


def _pairs(shape: int, cells: Cells, size: int) -> Cells:
    """A thing and some cells as single numbers."""
    pairs: Cells = np.int64(shape) * size + cells
    return pairs


def _joined(found: list[Cells]) -> Cells:
    return np.concatenate([np.empty(0, np.int64), *found])
