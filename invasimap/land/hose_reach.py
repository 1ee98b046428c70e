"""Where a hose gets to over a grid, laid along the ground and round what stops it."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import product

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from invasimap.core.second_process import processors
from invasimap.land.cells import ALL_PARTS, ClosedParts, Mask

TILE_CELLS = 400
TOO_HIGH = -2
LABELS_A_CELL = 5  # room for as many; where a tile takes more it is worked once more, with twice the room
# a hose passed on to the next cell grows at least so many times the step. Open ground always has a step that gains more
# (two of the eight gain 1/sqrt(2) in any direction), and nothing farther than the hose over PACE can change an answer
PACE = 0.7
PACE_IN_PARTS = 0.25  # round a wall thinner than a cell a step of two gains little
_Floats = npt.NDArray[np.float64]
_Cells = npt.NDArray[np.int32]
_Parts = npt.NDArray[np.uint64]
_Box = tuple[slice, ...]
_Laid = tuple[_Floats, _Cells, Mask]


@dataclass(frozen=True, kw_only=True)
class HoseReach:
    """Hoses to each cell.

    Attributes
    ----------
    hose_m
        Length of the shortest hose that reaches the cell and lifts no more than allowed; inf where none does.
    parking
        Flat number of the cell it is laid from; -1 where no hose is long enough, -2 where one is but lifts too high.
    """

    hose_m: npt.NDArray[np.float32]
    parking: _Cells

    @property
    def reached(self) -> Mask:
        """Cells that a hose reaches."""
        return self.parking >= 0

    @property
    def too_high(self) -> Mask:
        """Cells within the hose's length, but only from places that lie too far below."""
        return self.parking == TOO_HIGH

    def lift_m(self, elevation_m: npt.NDArray[np.floating]) -> npt.NDArray[np.float32]:
        """How far each cell lies above the parking place of its hose; NaN where none reaches it."""
        lift = np.full(self.parking.shape, np.nan, np.float32)
        at = self.reached
        lift[at] = elevation_m[at] - elevation_m.ravel()[self.parking[at]]
        return lift


def hose_reach(  # noqa: PLR0913 - what lies on the ground is one mask more than seven
    sources: Mask,
    *,
    passable: Mask,
    elevation_m: npt.NDArray[np.floating],
    cell_m: float,
    length_m: float,
    lift_m: float = np.inf,
    closed_parts: ClosedParts | None = None,
    asked: Mask | None = None,
    tile_cells: int = TILE_CELLS,
) -> HoseReach:
    """Which cells a hose of ``length_m`` reaches from a source cell that lies at most ``lift_m`` below them.

    Length and lift hold for one and the same parking place. A hose runs along the ground, straight at any angle and
    taut round the corners of cells that are not passable or whose elevation is not known (NaN), touching none. Lengths
    are never understated, and exact on open level ground. Sources count where they are passable.

    A cell is not passable where anything closed touches it, so that a hose is up to two cells too long at each end of a
    wall that it goes round. ``closed_parts`` says what of such cells is closed: hoses then go as near as an eighth of a
    cell. They still end in passable cells only and need one, side by side or at a knight's move, all along their way.

    Where only some cells matter, ``asked`` says which: elsewhere no longer hose from a higher place is looked for where
    the nearest lies too low, and such cells count as not reached.

    Notes
    -----
    Tiles are worked apart, each with a margin wide enough that none changes an answer; ``tile_cells`` is their side.
    """
    hose, parking = np.empty(sources.shape, np.float32), np.empty(sources.shape, np.int32)
    pace = PACE if closed_parts is None else PACE_IN_PARTS
    margin = int(np.ceil(length_m / cell_m / pace)) + 2
    whole = _Whole(
        sources=sources, passable=passable, elevation_m=elevation_m, closed_parts=closed_parts,
        asked=asked, bounds=(cell_m, length_m, lift_m, pace),
    )  # fmt: skip

    def work(core: _Box) -> None:
        whole.lay(core, margin, hose, parking)

    tiles = list(_tiles(sources.shape, max(tile_cells, 1)))
    if len(tiles) == 1:
        work(tiles[0])
    else:
        with ThreadPoolExecutor(processors()) as threads:
            for _ in threads.map(work, tiles):
                pass
    return HoseReach(hose_m=hose, parking=parking)


def _tiles(shape: tuple[int, ...], side: int) -> Iterator[_Box]:
    for row, column in product(range(0, shape[0], side), range(0, shape[1], side)):
        yield slice(row, min(row + side, shape[0])), slice(column, min(column + side, shape[1]))


@dataclass(frozen=True, kw_only=True)
class _Whole:
    """The whole grid, and cell size, longest hose, highest lift and least pace."""

    sources: Mask
    passable: Mask
    elevation_m: npt.NDArray[np.floating]
    closed_parts: ClosedParts | None
    asked: Mask | None
    bounds: tuple[float, float, float, float]

    def lay(self, core: _Box, margin: int, hose: npt.NDArray[np.float32], parking: _Cells) -> None:
        """Fill one tile of ``hose`` and ``parking``."""
        hose[core], parking[core] = np.inf, -1
        box = tuple(slice(max(side.start - margin, 0), side.stop + margin) for side in core)
        box = self._around(box, int(self.bounds[1] / self.bounds[0]) + 1)
        core = tuple(slice(max(a.start, b.start), min(a.stop, b.stop)) for a, b in zip(core, box, strict=True))
        if any(side.start >= side.stop for side in core):
            return
        starts = np.pad(self.sources[box], 1)
        z = np.pad(self.elevation_m[box].astype(float), 1, constant_values=np.nan)
        free = np.pad(self.passable[box], 1) & np.isfinite(z)
        parts = self.closed_parts.of(box, self.sources.shape[1]) if self.closed_parts else np.empty(0, np.uint64)
        parts = np.where(np.isfinite(z).ravel(), parts, ALL_PARTS) if len(parts) else parts
        hilly = bool((z[free] != z[free][:1]).any())
        width = z.shape[1]
        inner = tuple(
            slice(side.start - b.start + 1, side.stop - b.start + 1) for side, b in zip(core, box, strict=True)
        )
        near = np.hypot(*np.ix_(*(_outside(n, side) for n, side in zip(z.shape, inner, strict=True)))) * self.bounds[0]

        def spread_over(places: Mask, away_m: _Floats, many: bool) -> _Laid:
            flat = (z.ravel(), free.ravel(), parts, hilly), away_m.ravel()
            hose, parking, within = _spread(flat, width, np.flatnonzero(places), self.bounds, many)
            return hose.reshape(z.shape), parking.reshape(z.shape), within.reshape(z.shape)

        length, place, within = spread_over(starts & free, near, False)
        missed = np.zeros_like(free)
        missed[inner] = within[inner] & (place[inner] < 0)
        if self.asked is not None:
            missed[inner] &= self.asked[core]
        if missed.any():  # a longer hose from a higher place may do
            lowest = z[missed].min() - self.bounds[2]
            away_m = ndimage.distance_transform_edt(~missed, sampling=self.bounds[0])
            longer, higher, _ = spread_over(starts & free & (z >= lowest), away_m, True)
            length[missed], place[missed] = longer[missed], higher[missed]
        rows, columns = np.divmod(place[inner], width)
        number = (rows + (box[0].start - 1)) * self.sources.shape[1] + columns + (box[1].start - 1)
        hose[core] = length[inner]
        parking[core] = np.where(place[inner] >= 0, number, np.where(missed[inner], TOO_HIGH, -1))

    def _around(self, box: tuple[slice, ...], hose_cells: int) -> tuple[slice, ...]:
        """The part of a box that lies within so many cells of the sources in it, both ways."""
        inside = self.sources[box]
        sides = []
        for axis, side in enumerate(box):
            at = np.flatnonzero(inside.any(axis=1 - axis)) + side.start
            first, last = (at[0] - hose_cells, at[-1] + hose_cells + 1) if len(at) else (side.start, side.start)
            sides.append(slice(max(first, side.start), min(last, side.stop, self.sources.shape[axis])))
        return tuple(sides)


def _spread(
    grid: tuple[tuple[_Floats, Mask, _Parts, bool], _Floats], width: int, starts: npt.NDArray[np.intp],
    bounds: tuple[float, float, float, float], many: bool,
) -> _Laid:  # fmt: skip
    """Length, parking place and whether within, of each cell of a tile."""
    from invasimap.land.reach_kernel import spread  # numba takes a second to load

    size, room = len(grid[1]), 1024 + len(starts) + LABELS_A_CELL * int(np.count_nonzero(grid[0][1]))
    while True:
        hose, waiting = np.full(size, np.inf), np.full(size, np.inf)
        parking, waiting_park, seen_from, pull_from = (np.full(size, -1, np.int32) for _ in range(4))
        top, waiting_high = np.full(size, -np.inf), np.full(size, -np.inf)
        within = np.zeros(size, bool)
        seen = np.empty(size), seen_from, np.empty(size), pull_from, np.empty(size, np.int32)
        state = hose, parking, within, top, waiting, waiting_high, waiting_park, *seen
        sides = [np.empty(room, np.int32) for _ in range(7)]  # value, height; cell, bend, parking, heap; then the bends
        labels = (np.empty(room), np.empty(room), *sides[:6], np.empty(room), np.empty(room), sides[6])
        if spread(grid, width, starts, state, labels, bounds, many):
            return hose, parking, within
        room *= 2


def _outside(count: int, side: slice) -> _Floats:
    """How many cells each of ``count`` lies outside ``side``."""
    at = np.arange(count, dtype=float)
    return np.maximum(np.maximum(side.start - at, at - (side.stop - 1)), 0)
