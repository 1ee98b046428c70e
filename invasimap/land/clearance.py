"""Where a machine gets, as wide as it is: its middle moves over a grid, never nearer to an edge than half its width."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
from scipy import ndimage, sparse

from invasimap.core.geometry import Geometries, segments
from invasimap.land.raster import Mask, touched
from invasimap.land.terrain import Terrain

FINE = 7  # places tried along each side of a cell near an edge: an odd number has the centre among them
PAIRS = 100_000  # cells and edges taken at once
Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]
Bools = npt.NDArray[np.bool_]
_AROUND = [(down, across) for down in (-1, 0, 1) for across in (-1, 0, 1) if down or across]


@dataclass(frozen=True, kw_only=True)
class Pieces:
    """Cells that a machine's middle can be in, and the number of the connected piece each belongs to (-1 elsewhere)."""

    cells: Mask
    number: npt.NDArray[np.int32]

    def joined_to(self, starts: Mask) -> Mask:
        """The cells of the pieces that hold a start."""
        entered = np.unique(self.number[starts & self.cells])
        joined: Mask = np.isin(self.number, entered) & self.cells
        return joined


@dataclass(frozen=True, kw_only=True)
class Passages:
    """Cells that a middle can be in; of these the ``special`` ones, given or near an edge; and the steps of these.

    ``one`` and ``other`` are the ends of each open step from or to a special cell, as flat numbers, each pair once.
    """

    cells: Mask
    special: Ints
    one: Ints
    other: Ints


def passable_pieces(
    edges: Any, terrain: Terrain, *, room: Mask, given: Mask, radius_m: float, walls: Any = None
) -> Pieces:
    """Where the middle of a machine can be, in pieces within which it can move (see ``passages``)."""
    found = passages(edges, terrain, room=room, given=given, radius_m=radius_m, walls=walls)
    plain = found.cells.copy()
    plain.ravel()[found.special] = False
    labels = np.empty(terrain.shape, np.int32)
    far = int(ndimage.label(plain, output=labels))
    number = labels.ravel() - 1
    number[found.special] = far + np.arange(len(found.special), dtype=np.int32)
    size = far + len(found.special)
    steps = number[found.one], number[found.other]
    links = sparse.coo_matrix((np.ones(len(found.one), bool), steps), shape=(size, size))
    _, piece = sparse.csgraph.connected_components(links, directed=False)
    inside = number >= 0
    number[inside] = piece[number[inside]]
    return Pieces(cells=found.cells, number=number.reshape(terrain.shape))


def passages(
    edges: Any, terrain: Terrain, *, room: Mask, given: Mask, radius_m: float, walls: Any = None
) -> Passages:  # fmt: skip
    """Where the middle of a machine or a person can be, and which steps lead past edges.

    Parameters
    ----------
    edges
        Lines and polygons that the middle stays ``radius_m`` away from (half the width).
    room
        Cells where the machine may be as far as they alone say.
    given
        Cells where it may be whatever is near (ways, gates); among themselves they join by their sides.
    walls
        What the machine's width does not meet on the straight between a given cell's side and the place in a cell with
        room beside it; by default the edges.

    Notes
    -----
    Near an edge a cell counts by the place in it that is farthest from all edges, and a step between two cells is
    taken only where the whole straight between their places keeps its distance. So no gap passes that is narrower than
    the machine, however it lies, and none stays closed that is half a cell wider.
    """
    shapes = np.atleast_1d(np.asarray(edges, object))
    clear = _Clear(
        shapes=shapes, edges=_straight(shapes), areas=_areas(shapes), terrain=terrain, radius_m=radius_m
    )  # fmt: skip
    near = clear.near() & ~given
    cells = np.flatnonzero(room & near)
    place, away_m = clear.best(cells)
    fits = away_m >= radius_m
    usable = given | (room & ~near)
    usable.ravel()[cells[fits]] = True
    special = np.concatenate([np.flatnonzero(given), cells[fits]])
    special_place = np.concatenate([terrain.centres(np.flatnonzero(given)), place[fits]])
    order = np.argsort(special)
    steps = _Steps(
        clear=clear, walls=clear.edges if walls is None else _straight(walls), given=given.ravel(),
        special=special[order], place=special_place[order],
    )  # fmt: skip
    one, other = steps.open_ones(usable)
    return Passages(cells=usable, special=special[order], one=one, other=other)


@dataclass(frozen=True, kw_only=True)
class _Clear:
    """What to stay away from and how far: the shapes, their straight pieces and the areas among them."""

    shapes: Geometries
    edges: Geometries
    areas: Geometries
    terrain: Terrain
    radius_m: float

    def near(self) -> Mask:
        """Cells that a shape may matter to, and some more."""
        on = touched(self.shapes, self.terrain)
        around = 2 * (int(np.ceil(self.radius_m / self.terrain.cell_m)) + 2) + 1
        for axis in (0, 1):
            on = ndimage.maximum_filter1d(on.view(np.uint8), around, axis=axis).view(bool)
        return on

    def best(self, cells: Ints) -> tuple[Floats, Floats]:
        """The place in each cell that is farthest from the shapes, and how far; the centre where that is plain."""
        place = self.terrain.centres(cells)
        away_m = self._away_m(place[:, None])[:, 0]
        unsure = abs(away_m - self.radius_m) < self.terrain.cell_m * np.sqrt(0.5)
        tried = ((np.arange(FINE) + 0.5) / FINE - 0.5) * self.terrain.cell_m
        shifts = np.stack(np.meshgrid(tried, tried), axis=-1).reshape(-1, 2)
        shifts = shifts[np.argsort(np.hypot(*shifts.T), kind="stable")]  # of places as far, the nearest to the centre
        places = place[unsure][:, None] + shifts
        found = self._away_m(places)
        best = (np.argmax(found.round(9), axis=1), np.arange(len(found)))[::-1]
        place[unsure], away_m[unsure] = places[best], found[best]
        return place, away_m

    def _away_m(self, places: Floats) -> Floats:
        """Distance of places (cells x places x 2) from the nearest shape; 0 inside an area, inf where none is near."""
        away = np.full(places.shape[:2], np.inf)
        if not places.size:
            return away
        reach_m = self.radius_m + 2 * self.terrain.cell_m
        cell, edge = shapely.STRtree(self.edges).query(
            shapely.points(places[:, 0]), predicate="dwithin", distance=reach_m
        )  # fmt: skip
        ends, owner = shapely.get_coordinates(self.edges, return_index=True)
        first, last = (np.searchsorted(owner, np.arange(len(self.edges)), side=side) for side in ("left", "right"))
        for group in np.array_split(np.arange(len(cell)), len(cell) // PAIRS + 1):
            one, other = ends[first[edge[group]]], ends[last[edge[group]] - 1]
            np.minimum.at(away, cell[group], _from_straight(places[cell[group]], one, other))
        away[self._within(places)] = 0.0
        return away

    def _within(self, places: Floats) -> Bools:
        """Which places (cells x places x 2, the centre first) lie in an area or on its edge."""
        half = self.terrain.cell_m / 2
        (left, bottom), (right, top) = (places[:, 0] - half).T, (places[:, 0] + half).T
        tree = shapely.STRtree(shapely.box(left, bottom, right, top))
        found = np.zeros(places.shape[:2], bool)
        found[tree.query(self.areas, predicate="contains")[1]] = True
        area, cell = tree.query(self.areas, predicate="intersects")
        cut = ~found[cell, 0]
        area, cell = area[cut], cell[cut]
        shapely.prepare(self.areas)
        inside = shapely.intersects_xy(self.areas[area][:, None], places[cell, :, 0], places[cell, :, 1])
        np.logical_or.at(found, cell, inside)
        return found


@dataclass(frozen=True, kw_only=True)
class _Steps:
    """Steps from and to the cells that are not plainly free: the given ones and those near an edge, in order."""

    clear: _Clear
    walls: Geometries
    given: Bools
    special: Ints
    place: Floats

    def open_ones(self, usable: Mask) -> tuple[Ints, Ints]:
        """The steps that can be taken."""
        one, other, aside = self._all(usable)
        ways = self.given[one].astype(int) + self.given[other]
        can = (ways == 2) & aside
        straight = np.flatnonzero(ways == 0)
        lines = _lines(self._places(one[straight]), self._places(other[straight]))
        can[straight] = ~_meet(self.clear.edges, lines, self.clear.radius_m * (1 - 1e-9))
        onto = np.flatnonzero((ways == 1) & aside)
        way = np.where(self.given[one[onto]], one[onto], other[onto])
        off = self._places(np.where(self.given[one[onto]], other[onto], one[onto]))
        middle, half = self.clear.terrain.centres(way), self.clear.terrain.cell_m / 2
        onto_way = middle + np.clip(off - middle, -half, half)
        can[onto] = ~_meet(self.walls, _swaths(off, onto_way, self.clear.radius_m), 0.0)
        return one[can], other[can]

    def _all(self, usable: Mask) -> tuple[Ints, Ints, Bools]:
        """Pairs of neighbouring cells, each once, and whether they lie side by side."""
        rows, columns = usable.shape
        row, column = np.divmod(self.special, columns)
        found = []
        for down, across in _AROUND:
            inside = (row + down >= 0) & (row + down < rows) & (column + across >= 0) & (column + across < columns)
            one = self.special[inside]
            other = one + down * columns + across
            wanted = usable.ravel()[other] & ((one < other) | ~self._is_special(other))
            found.append((one[wanted], other[wanted], np.full(wanted.sum(), not (down and across))))
        one, other, aside = (np.concatenate(part) for part in zip(*found, strict=True))
        return one, other, aside

    def _is_special(self, cells: Ints) -> Bools:
        if not len(self.special):
            return np.zeros(len(cells), bool)
        at = np.minimum(np.searchsorted(self.special, cells), len(self.special) - 1)
        found: Bools = self.special[at] == cells
        return found

    def _places(self, cells: Ints) -> Floats:
        """The place that stands for each cell."""
        place = self.clear.terrain.centres(cells)
        known = self._is_special(cells)
        place[known] = self.place[np.searchsorted(self.special, cells[known])]
        return place


def _from_straight(places: Floats, one: Floats, other: Floats) -> Floats:
    """Distance of places (pairs x places x 2) from straight pieces (ends: pairs x 2)."""
    run = (other - one)[:, None]
    length2 = np.maximum((run**2).sum(axis=-1), 1e-300)
    along = np.clip(((places - one[:, None]) * run).sum(axis=-1) / length2, 0.0, 1.0)
    found: Floats = np.hypot(*np.moveaxis(places - one[:, None] - along[..., None] * run, -1, 0))
    return found


def _lines(one: Floats, other: Floats) -> Any:
    return shapely.linestrings(np.stack([one, other], axis=1))


def _swaths(one: Floats, other: Floats, radius_m: float) -> Any:
    """The ground that a machine's width passes over between two places, squarely ended; a line where it has none."""
    run = other - one
    length = np.hypot(*run.T)
    straight = _lines(one, other)
    wide = (length > 0) & (radius_m > 0)
    side = np.stack([-run[wide, 1], run[wide, 0]], axis=1) / length[wide, None] * radius_m * (1 - 1e-9)
    a, b = one[wide], other[wide]
    straight[wide] = shapely.polygons(np.stack([a + side, b + side, b - side, a - side], axis=1))
    return straight


def _meet(edges: Geometries, lines: Any, within_m: float) -> Bools:
    found = np.zeros(len(lines), bool)
    if len(edges) and len(lines):
        found[np.unique(shapely.STRtree(edges).query(lines, predicate="dwithin", distance=within_m)[0])] = True
    return found


def _straight(shapes: Any) -> Geometries:
    """Lines and rings as straight pieces, and the points."""
    parts = shapely.get_parts(np.atleast_1d(np.asarray(shapes, object)))
    return np.concatenate([segments(parts), parts[shapely.get_dimensions(parts) == 0]])


def _areas(shapes: Any) -> Geometries:
    parts: Geometries = shapely.get_parts(np.atleast_1d(np.asarray(shapes, object)))
    return parts[shapely.get_dimensions(parts) == 2]
