"""Least-cost ways over a grid: sixteen neighbours, and no step through or past the corner of a blocked cell.

Sixteen directions keep a path within 2.8 % of the straight line, always on the long side, so a reach is never
overstated. (Warntz 1965 on least-cost routes over surfaces; Dijkstra 1959.)
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import sparse
from scipy.sparse import csgraph

from invasimap.land.raster import Mask

Ints = npt.NDArray[np.intp]
Floats = npt.NDArray[np.float64]
# cost of steps: (from cell, to cell, cells between as two rows, level length in cells) -> cost of each
StepCost = Callable[[Ints, Ints, Ints, float], Floats]


@dataclass(frozen=True, kw_only=True)
class Reach:
    """Least cost to every cell from the nearest source (inf where none reaches), and which source (-1)."""

    cost: Floats
    source: Ints


def least_cost(sources: Mask, *, passable: Mask, step_cost: StepCost, limit: float = np.inf) -> Reach:
    """Least cost from any source cell to each passable cell, up to ``limit``.

    Sources count as passable. ``source`` holds flat cell numbers.
    """
    passable = passable | sources
    number = np.full(passable.size, -1, np.intp)
    cells = np.flatnonzero(passable)
    number[cells] = np.arange(len(cells))
    cost = np.full(passable.size, np.inf)
    source = np.full(passable.size, -1, np.intp)
    if sources.any():
        graph = _graph(passable, number, step_cost)
        starts = number[np.flatnonzero(sources)]
        found, _, origin = csgraph.dijkstra(graph, indices=starts, min_only=True, return_predecessors=True, limit=limit)
        reached = np.isfinite(found)
        cost[cells[reached]] = found[reached]
        source[cells[reached]] = cells[origin[reached]]
    return Reach(cost=cost.reshape(passable.shape), source=source.reshape(passable.shape))


def _graph(passable: Mask, number: Ints, step_cost: StepCost) -> sparse.csr_array:
    starts, ends, costs = [], [], []
    for rows, columns, between in _MOVES:
        a, b, middle = _steps(passable, rows, columns, between)
        starts.append(number[a])
        ends.append(number[b])
        costs.append(step_cost(a, b, middle, float(np.hypot(rows, columns))))
    count = int(passable.sum())
    entries = (np.concatenate(costs), (np.concatenate(starts), np.concatenate(ends)))
    return sparse.csr_array(entries, shape=(count, count))


def _steps(passable: Mask, rows: int, columns: int, between: list[tuple[int, int]]) -> tuple[Ints, Ints, Ints]:
    """Flat cell numbers of every allowed step of one kind: from, to, and the two cells it passes between."""
    height, width = passable.shape
    r = slice(max(0, -rows), height - max(0, rows))
    c = slice(max(0, -columns), width - max(0, columns))
    grid = np.arange(passable.size, dtype=np.intp).reshape(passable.shape)
    start = grid[r, c].ravel()
    allowed = passable.ravel()[start] & passable.ravel()[start + rows * width + columns]
    for dr, dc in between:
        allowed &= passable.ravel()[start + dr * width + dc]
    start = start[allowed]
    middle = np.stack([start + dr * width + dc for dr, dc in between]) if between else np.stack([start, start])
    return start, start + rows * width + columns, middle


def _moves() -> list[tuple[int, int, list[tuple[int, int]]]]:
    moves: list[tuple[int, int, list[tuple[int, int]]]] = []
    for a, b in ((1, 0), (-1, 0)):
        moves += [(a, b, []), (b, a, [])]
    for a in (-1, 1):
        for b in (-1, 1):
            moves.append((a, b, [(a, 0), (0, b)]))
            moves.append((a, 2 * b, [(0, b), (a, b)]))
            moves.append((2 * a, b, [(a, 0), (a, b)]))
    return moves


_MOVES = _moves()
