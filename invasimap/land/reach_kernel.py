"""The compiled heart of ``hose_reach``: shortest hoses over one tile of a grid, in order of length.

Labels are settled in order of length (Dijkstra 1959). Each keeps the last bend of its hose, so that a hose runs
straight at any angle from there (Theta*: Nash, Daniel, Koenig, Felner 2007); where that is closed it is pulled taut
round the corners in its way (``taut_kernel``). With ``many`` a cell keeps every label whose parking place lies higher
than those of all shorter ones (Hansen 1980).
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit

from invasimap.land.taut_kernel import CELL, CHAIN, HALF, look, taut

DOWN = np.array([-1, 0, 0, 1, -1, -1, 1, 1, -2, -2, -1, -1, 1, 1, 2, 2])
ACROSS = np.array([0, -1, 1, 0, -1, 1, -1, 1, -1, 1, -2, 2, -2, 2, -1, 1])
SIDE = np.sqrt(DOWN**2 + ACROSS**2)
_compiled = njit(cache=True, nogil=True, error_model="numpy")


@_compiled
def _first(value: Any, cell: Any, high: Any, park: Any, a: int, b: int) -> bool:
    """Whether label a is settled before b: shorter, and of equals at one cell from the higher parking place."""
    if value[a] != value[b]:
        return value[a] < value[b]
    if cell[a] != cell[b]:
        return cell[a] < cell[b]
    if high[a] != high[b]:
        return high[a] > high[b]
    return park[a] < park[b]


@_compiled
def _rise(heap: Any, count: int, label: int, value: Any, cell: Any, high: Any, park: Any) -> None:
    at = count
    while at > 0:
        above = (at - 1) // 2
        if not _first(value, cell, high, park, label, heap[above]):
            break
        heap[at] = heap[above]
        at = above
    heap[at] = label


@_compiled
def _sink(heap: Any, count: int, value: Any, cell: Any, high: Any, park: Any) -> None:
    """Close the gap at the top with the last of ``count`` labels."""
    label = heap[count]
    at = 0
    while True:
        below = 2 * at + 1
        if below >= count:
            break
        if below + 1 < count and _first(value, cell, high, park, heap[below + 1], heap[below]):
            below += 1
        if not _first(value, cell, high, park, heap[below], label):
            break
        heap[at] = heap[below]
        at = below
    heap[at] = label


@_compiled
def _chord_m(down: int, across: int, rise: float, cell_m: float) -> float:
    return math.sqrt((cell_m / CELL) ** 2 * float(down * down + across * across) + rise * rise)


@_compiled
def spread(grid: Any, width: int, starts: Any, state: Any, labels: Any, bends: Any, bounds: Any, many: bool) -> bool:
    """Fill ``state`` with the shortest hoses over a tile whose outermost cells are closed; False where room runs out.

    Arrays are flat. ``grid``: the ground (see ``taut_kernel``) and how far each cell is from those asked for;
    ``bounds``: cell size, longest hose, highest lift, and the least that a hose grows for a step of one. Labels that cannot come to a cell asked for
    within the hose are dropped. ``state`` begins with what is asked: the length of the shortest hose that lifts no more
    (inf), its parking place (-1), and whether any hose is long enough.
    """
    ground, away_m = grid
    z, free = ground[0], ground[1]
    hose, parking, within, top, wait_value, wait_high, wait_park, seen_m, seen_from, pull_m, pull_from, pull_via = state
    value, high, cell, bend, park, heap = labels
    bend_down, bend_across, bend_z, bend_m, bend_before = bends
    cell_m, longest, lift, pace = bounds
    size, room = len(z), len(value)
    none = room - room  # numba compiles what is called with a literal 0 once more
    used, count, bent = none, none, none
    chain = np.empty(CHAIN, np.int64), np.empty(CHAIN, np.int64), np.empty(CHAIN), np.empty(CHAIN)
    for start in starts:
        if pace * (away_m[start] - cell_m) <= longest:
            bend_down[bent], bend_across[bent] = start // width * CELL + HALF, start % width * CELL + HALF
            bend_z[bent], bend_m[bent], bend_before[bent] = z[start], 0.0, bent
            value[used], high[used] = 0.0, z[start]
            cell[used], bend[used], park[used] = start, bent, start
            _rise(heap, count, used, value, cell, high, park)
            used, count, bent = used + 1, count + 1, bent + 1
    while count > 0:
        label = heap[0]
        count -= 1
        _sink(heap, count, value, cell, high, park)
        here, height = cell[label], high[label]
        if top[here] > -np.inf and not (many and height > top[here]):
            continue
        top[here] = height
        within[here] = True
        if parking[here] < 0 and z[here] - height <= lift:
            hose[here], parking[here] = value[label], park[label]
        so_far, place, last, own = value[label], park[label], bend[label], -1
        from_down, from_across, from_z = np.int64(bend_down[last]), np.int64(bend_across[last]), bend_z[last]
        to_corner, before = bend_m[last], bend_before[last]
        here_down, here_across = here // width * CELL + HALF, here % width * CELL + HALF
        steps = 8
        for move in range(8):
            if not free[here + DOWN[move] * width + ACROSS[move]]:
                steps = 16
        for move in range(steps):
            there = here + DOWN[move] * width + ACROSS[move]
            if move >= 8 and (there < 0 or there >= size):
                continue
            if not free[there] or (top[there] > -np.inf and not (many and height > top[there])):
                continue
            settled = not many or height <= wait_high[there]
            least = so_far + pace * cell_m * SIDE[move]
            onward = max(pace * (away_m[there] - cell_m), 0.0)
            if (settled and least > wait_value[there]) or least + onward > longest:
                continue
            down, across = here_down + DOWN[move] * CELL, here_across + ACROSS[move] * CELL
            found = to_corner + _chord_m(down - from_down, across - from_across, z[there] - from_z, cell_m)
            found = max(least, found)
            if (settled and found > wait_value[there]) or found + onward > longest:
                continue
            line = from_down, from_across, down, across
            if seen_from[there] != last:
                seen_from[there] = last
                seen_m[there] = look(ground, width, line, (from_z, z[there]), none, cell_m)[0]
            found, via = max(least, to_corner + seen_m[there]), last
            if seen_m[there] == np.inf:
                turn = (down - from_down) * (here_across - from_across) - (across - from_across) * (
                    here_down - from_down
                )
                side = 1 if turn >= 0 else -1
                if pull_from[there] != 2 * last + (side > 0):
                    pull_from[there], pull_m[there] = 2 * last + (side > 0), np.inf
                    if bent + CHAIN >= room:
                        return False
                    points = taut(ground, width, line, (from_z, z[there]), side, cell_m, chain)
                    pulled, follows = to_corner, last
                    for point in range(1, points):
                        pulled += chain[3][point - 1]
                        if point < points - 1:
                            bend_down[bent], bend_across[bent] = chain[0][point], chain[1][point]
                            bend_z[bent], bend_m[bent], bend_before[bent] = chain[2][point], pulled, follows
                            follows = bent
                            bent += 1
                    if points > 0:
                        pull_m[there], pull_via[there] = pulled, follows
                found, via = max(least, pull_m[there]), pull_via[there]
            if so_far + _chord_m(CELL * DOWN[move], CELL * ACROSS[move], z[there] - z[here], cell_m) < found:
                line = here_down, here_across, down, across
                stepped = so_far + look(ground, width, line, (z[here], z[there]), none, cell_m)[0]
                if stepped < found:
                    if own < 0:
                        if bent == room:
                            return False
                        own = bent
                        bend_down[bent], bend_across[bent] = here_down, here_across
                        bend_z[bent], bend_m[bent], bend_before[bent] = z[here], so_far, last
                        bent += 1
                    found, via = stepped, own
                if before != last:
                    line = np.int64(bend_down[before]), np.int64(bend_across[before]), down, across
                    chord = _chord_m(down - line[0], across - line[1], z[there] - bend_z[before], cell_m)
                    if max(least, bend_m[before] + chord) < found:
                        straight = look(ground, width, line, (bend_z[before], z[there]), none, cell_m)[0]
                        straight = max(least, bend_m[before] + straight)
                        if straight < found:
                            found, via = straight, before
            if (settled and found > wait_value[there]) or found + onward > longest:
                continue
            higher = height > wait_high[there] or (height == wait_high[there] and place < wait_park[there])
            if settled and found == wait_value[there] and not higher:
                continue
            wait_value[there], wait_high[there], wait_park[there] = found, height, place
            if used == room:
                return False
            value[used], high[used] = found, height
            cell[used], bend[used], park[used] = there, via, place
            _rise(heap, count, used, value, cell, high, park)
            used += 1
            count += 1
    return True
