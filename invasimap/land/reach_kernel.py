"""The compiled heart of ``hose_reach``: shortest hoses over one tile of a grid, in order of length.

Labels are settled in order of length (Dijkstra 1959). Each keeps the last bend of its hose, so that a hose runs
straight at any angle from there (Theta*: Nash, Daniel, Koenig, Felner 2007). With ``many`` a cell keeps every label
whose parking place lies higher than those of all shorter ones (Hansen 1980).
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit

from invasimap.land.hose_reach import PACE

DOWN = np.array([-1, 0, 0, 1, -1, -1, 1, 1, -2, -2, -1, -1, 1, 1, 2, 2])
ACROSS = np.array([0, -1, 1, 0, -1, 1, -1, 1, -1, 1, -2, 2, -2, 2, -1, 1])
SIDE = np.sqrt(DOWN**2 + ACROSS**2)
_compiled = njit(cache=True, nogil=True, error_model="numpy")


@_compiled
def _line_m(z: Any, free: Any, width: int, start: int, down: int, across: int, cell_m: float) -> float:
    """Length along the ground of the straight line to the cell so far off; inf where it touches a closed cell."""
    long, short = abs(down), abs(across)
    along, aside = (width if down > 0 else -width), (1 if across > 0 else -1)
    if short > long:
        long, short, along, aside = short, long, aside, along
    level = math.sqrt(float(long * long + short * short)) * cell_m
    step = level / long
    total, before, risen, here, left = 0.0, z[start], False, start, 0  # the line is left / long above here
    for column in range(long + 1):
        if 2 * left - short - long > 0:
            open_ = free[here + aside]
        else:
            open_ = free[here]
            if 2 * left + short >= long and column < long:
                open_ = open_ and free[here + aside]
            if left == 0 and short == long and column > 0:
                open_ = open_ and free[here - aside]
        if not open_:
            return np.inf
        height = z[here]
        if left > 0:
            other = z[here + aside]
            if math.isnan(height):
                height = other
            elif not math.isnan(other):
                height += (other - height) * (left / long)
        rise = height - before
        risen = risen or rise != 0.0
        if column > 0:
            total += math.sqrt(step * step + rise * rise)
        before = height
        here += along
        left += short
        if left >= long:
            left -= long
            here += aside
    return total if risen else level


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
def spread(grid: Any, width: int, starts: Any, state: Any, labels: Any, bounds: Any, many: bool) -> bool:
    """Fill ``state`` with the shortest hoses over a tile whose outermost cells are closed; False where room runs out.

    Arrays are flat. ``grid``: elevation, open cells, how far each is from those asked for; ``bounds``: cell size,
    longest hose, highest lift. Labels that cannot come to a cell asked for within the hose are dropped. ``state``
    begins with what is asked: the length of the shortest hose that lifts no more (inf), its parking place (-1), and
    whether any hose is long enough.
    """
    z, free, away_m = grid
    hose, parking, within, top, wait_value, wait_high, wait_park, seen_m, seen_from = state
    value, high, cell, bend, park, heap = labels
    cell_m, longest, lift = bounds
    size, room = len(z), len(value)
    used, count = 0, 0
    for start in starts:
        if PACE * (away_m[start] - cell_m) <= longest:
            value[used], high[used] = 0.0, z[start]
            cell[used], bend[used], park[used] = start, used, start
            _rise(heap, count, used, value, cell, high, park)
            used += 1
            count += 1
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
        so_far, place, last = value[label], park[label], bend[label]
        corner, to_corner, before = cell[last], value[last], bend[last]
        corner_down, corner_across = here // width - corner // width, here % width - corner % width
        steps = 8
        for move in range(8):
            if not free[here + DOWN[move] * width + ACROSS[move]]:
                steps = 16
        for move in range(steps):
            down, across = DOWN[move], ACROSS[move]
            there = here + down * width + across
            if move >= 8 and (there < 0 or there >= size):
                continue
            if not free[there] or (top[there] > -np.inf and not (many and height > top[there])):
                continue
            settled = not many or height <= wait_high[there]
            least = so_far + PACE * cell_m * SIDE[move]
            onward = max(PACE * (away_m[there] - cell_m), 0.0)
            if (settled and least > wait_value[there]) or least + onward > longest:
                continue
            rows, columns = corner_down + down, corner_across + across
            chord = math.sqrt(cell_m * cell_m * (rows * rows + columns * columns) + (z[there] - z[corner]) ** 2)
            found = max(least, to_corner + chord)
            if (settled and found > wait_value[there]) or found + onward > longest:
                continue
            if seen_from[there] != corner:
                seen_from[there] = corner
                seen_m[there] = _line_m(z, free, width, corner, rows, columns, cell_m)
            found, via = max(least, to_corner + seen_m[there]), last
            if so_far + math.sqrt((cell_m * SIDE[move]) ** 2 + (z[there] - z[here]) ** 2) < found:
                bent = so_far + _line_m(z, free, width, here, down, across, cell_m)
                if bent < found:
                    found, via = bent, label
                if before != last:
                    first = cell[before]
                    rows, columns = there // width - first // width, there % width - first % width
                    chord = math.sqrt(cell_m * cell_m * (rows * rows + columns * columns) + (z[there] - z[first]) ** 2)
                    if max(least, value[before] + chord) < found:
                        straight = value[before] + _line_m(z, free, width, first, rows, columns, cell_m)
                        if max(least, straight) < found:
                            found, via = max(least, straight), before
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
