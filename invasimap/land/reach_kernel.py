"""The compiled heart of ``hose_reach``: shortest hoses over one tile of a grid, in order of length.

Labels are settled in order of length (Dijkstra 1959). Each keeps the last bend of its hose, so that a hose runs
straight at any angle from there (Theta*: Nash, Daniel, Koenig, Felner 2007); where that is closed it is pulled taut
round the corners in its way. With ``many`` a cell keeps every label whose parking place lies higher than those of all
shorter ones (Hansen 1980).

Points are whole numbers of ``1 / CELL`` of a cell, rows first. Corners are gone round one such part away from them, so
that a line that touches anything closed is closed, nothing passes between two closed cells that meet at a corner, and
no rounding decides. ``ground`` is elevation, open cells, for the others which of their ``PARTS`` by ``PARTS`` parts are
closed, as bits by rows (all of them where that array is empty), and whether any two elevations differ.

One module, importing none of ours: numba keeps what it compiled until the text of that one file changes.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
from numba import njit

CELL, HALF, PARTS = 1024, 512, 8
CHAIN = 10  # most points of a hose that is pulled taut at once
_SHIFT = 10
_WHOLE = np.uint64(2**64 - 1)
_ONE = np.uint64(1)
_NONE: Any = np.int64(0)  # numba compiles what is called with a literal 0 once more
DOWN = np.array([-1, 0, 0, 1, -1, -1, 1, 1, -2, -2, -1, -1, 1, 1, 2, 2])
ACROSS = np.array([0, -1, 1, 0, -1, 1, -1, 1, -1, 1, -2, 2, -2, 2, -1, 1])
SIDE = np.sqrt(DOWN**2 + ACROSS**2)
_compiled = njit(cache=True, nogil=True, error_model="numpy")
_NO_WAY_IN: Any = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True}  # called from compiled functions alone
_part: Callable[[Callable[..., Any]], Any] = njit(nogil=True, error_model="numpy", **_NO_WAY_IN)


@_part
def _corner(ground: Any, cell: int, width: int, line: Any, side: int) -> Any:
    """Of a cell's closed parts that a line touches, the corner farthest to one side: how far (-1 if none), where."""
    mask = ground[2][cell] if len(ground[2]) > 0 else _WHOLE
    down0, across0, down1, across1 = line
    down, across = down1 - down0, across1 - across0
    out_down = 1 if -across * side >= 0 else -1
    out_across = 1 if down * side >= 0 else -1
    far, far_down, far_across = -1, 0, 0
    count = 1 if mask == _WHOLE else PARTS
    size = CELL // count
    for part in range(count * count):
        if count > 1 and (mask >> np.uint64(part)) & _ONE == 0:
            continue
        top, left = cell // width * CELL + part // count * size, cell % width * CELL + part % count * size
        if min(down0, down1) > top + size or max(down0, down1) < top:
            continue
        if min(across0, across1) > left + size or max(across0, across1) < left:
            continue
        at = down * (left - across0) - across * (top - down0)  # to which side the corners lie
        if (
            at + min(down * size, 0) + min(-across * size, 0) > 0
            or at + max(down * size, 0) + max(-across * size, 0) < 0
        ):
            continue
        corner_down = top + (size + 1 if out_down > 0 else -1)
        corner_across = left + (size + 1 if out_across > 0 else -1)
        away = side * (down * (corner_across - across0) - across * (corner_down - down0))
        if away > far:
            far, far_down, far_across = away, corner_down, corner_across
    return far, far_down, far_across


@_part
def _look(ground: Any, width: int, line: Any, ends_z: Any, side: int, cell_m: float) -> Any:
    """Length along the ground of a straight line, inf where it touches what is closed, then the corner in its way.

    That is the farthest to one side (1 or -1); with ``side`` 0 none is sought.
    """
    z, free, _, hilly = ground
    down0, across0, down1, across1 = line
    begin, onto, run, over = down0, across0, down1 - down0, across1 - across0
    along, aside = width, 1
    if abs(over) > abs(run):
        begin, onto, run, over, along, aside = across0, down0, over, run, 1, width
    if run < 0:
        begin, run, along = -begin, -run, -along
    if over < 0:
        onto, over, aside = -onto, -over, -aside
    here = (down0 >> _SHIFT) * width + (across0 >> _SHIFT)
    strip, last = begin >> _SHIFT, (begin + run) >> _SHIFT
    lane, last_lane = onto >> _SHIFT, (onto + over) >> _SHIFT
    whole, step = CELL * run, CELL * over
    left = (onto - lane * CELL) * run + over * ((strip + 1) * CELL - begin)  # left / whole above its cell, leaving it
    share, low = left - HALF * (over + run), here  # and in the middle of the strip, from the centre below
    if share < 0:
        share, low = share + whole, low - aside
    elif share >= whole:
        share, low = share - whole, low + aside
    level = math.sqrt(float(run * run + over * over)) * (cell_m / CELL)
    onward, part = level / run, 1.0 / whole
    step_m2 = (onward * CELL) ** 2
    middle = strip * CELL + HALF
    total, before, reached, risen, on_edge = 0.0, ends_z[0], begin, False, False
    far, far_down, far_across = -1, 0, 0
    while True:
        crosses = lane < last_lane if strip == last else left >= whole
        if not (free[here] and (not crosses or free[here + aside]) and (not on_edge or free[here - aside])):
            for beside in range(-1 if on_edge else 0, 2 if crosses else 1):
                if free[here + beside * aside]:
                    continue
                corner = _corner(ground, here + beside * aside, width, line, side)
                if corner[0] >= 0 and side == 0:
                    return np.inf, 0, 0
                if corner[0] > far:
                    far, far_down, far_across = corner
        if hilly and begin < middle < begin + run:
            height = z[low]
            if share > 0:
                other = z[low + aside]
                if math.isnan(height):
                    height = other
                elif not math.isnan(other):
                    height += (other - height) * (share * part)
            rise = height - before
            risen = risen or rise != 0.0
            run_m2 = step_m2 if middle - reached == CELL else (onward * (middle - reached)) ** 2
            total += math.sqrt(run_m2 + rise * rise)
            before, reached = height, middle
        if strip == last:
            break
        on_edge = False
        if crosses:
            left -= whole
            lane += 1
            here += aside
            on_edge = left == 0
        strip += 1
        middle += CELL
        here += along
        left += step
        share += step
        low += along
        if share >= whole:
            share -= whole
            low += aside
    if far >= 0:
        return np.inf, far_down, far_across
    rise = ends_z[1] - before
    if not (risen or rise != 0.0):
        return level, 0, 0
    return total + math.sqrt((onward * (begin + run - reached)) ** 2 + rise * rise), 0, 0


@_part
def _height(z: Any, width: int, down: int, across: int) -> float:
    """Elevation between the cells' centres, of those that are known."""
    row, column = (down - HALF) >> _SHIFT, (across - HALF) >> _SHIFT
    low, right = ((down - HALF) & (CELL - 1)) / CELL, ((across - HALF) & (CELL - 1)) / CELL
    total, weights = 0.0, 0.0
    for part in range(4):
        weight = (low if part // 2 else 1 - low) * (right if part % 2 else 1 - right)
        height = z[(row + part // 2) * width + column + part % 2]
        if weight > 0 and not math.isnan(height):
            total += weight * height
            weights += weight
    return total / weights


@_part
def _convex(chain: Any, at: int, side: int) -> bool:
    """Whether the hose bends round something on its inner side there."""
    down, across = chain[0], chain[1]
    onto = (down[at] - down[at - 1]) * (across[at + 1] - across[at])
    return side * (onto - (across[at] - across[at - 1]) * (down[at + 1] - down[at])) < 0


@_part
def _remove(chain: Any, at: int, points: int) -> None:
    down, across, height, _ = chain
    for point in range(at, points - 1):
        down[point], across[point], height[point] = down[point + 1], across[point + 1], height[point + 1]


@_part
def _taut(ground: Any, width: int, line: Any, ends_z: Any, side: int, cell_m: float, chain: Any) -> int:
    """Pull a hose taut that lies to one side of a line: how many points it has, 0 where it is not found.

    Fills ``chain``: rows, columns and elevations of its points, and lengths from each to the next.
    """
    down, across, height, length = chain
    down[0], across[0], down[1], across[1] = line
    height[0], height[1] = ends_z
    points, at = 2, _NONE
    for _ in range(3 * CHAIN):
        part = down[at], across[at], down[at + 1], across[at + 1]
        found, row, column = _look(ground, width, part, (height[at], height[at + 1]), side, cell_m)
        if found < np.inf:
            length[at] = found
            at += 1
            if at == points - 1:
                return points
            continue
        if points == CHAIN or (row == part[2] and column == part[3]) or (row == part[0] and column == part[1]):
            return 0
        for point in range(points, at + 1, -1):
            down[point], across[point], height[point] = down[point - 1], across[point - 1], height[point - 1]
        down[at + 1], across[at + 1], height[at + 1] = row, column, _height(ground[0], width, row, column)
        points += 1
        while at + 3 < points and not _convex(chain, at + 2, side):
            _remove(chain, at + 2, points)
            points -= 1
        while at > 0 and not _convex(chain, at, side):
            _remove(chain, at, points)
            points, at = points - 1, at - 1
    return 0


@_part
def _first(value: Any, cell: Any, high: Any, park: Any, a: int, b: int) -> bool:
    """Whether label a is settled before b: shorter, and of equals at one cell from the higher parking place."""
    if value[a] != value[b]:
        return value[a] < value[b]
    if cell[a] != cell[b]:
        return cell[a] < cell[b]
    if high[a] != high[b]:
        return high[a] > high[b]
    return park[a] < park[b]


@_part
def _rise(heap: Any, count: int, label: int, value: Any, cell: Any, high: Any, park: Any) -> None:
    at = count
    heap[at] = label
    label = heap[at]  # of the heap's own kind: numba compiles what is called with another once more
    while at > 0:
        above = (at - 1) // 2
        if not _first(value, cell, high, park, label, heap[above]):
            break
        heap[at] = heap[above]
        at = above
    heap[at] = label


@_part
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


@_part
def _chord_m(down: int, across: int, rise: float, cell_m: float) -> float:
    return math.sqrt((cell_m / CELL) ** 2 * float(down * down + across * across) + rise * rise)


@_compiled
def spread(grid: Any, width: int, starts: Any, state: Any, labels: Any, bounds: Any, many: bool) -> bool:
    """Fill ``state`` with the shortest hoses over a tile whose outermost cells are closed; False where room runs out.

    Arrays are flat. ``grid``: the ground, and how far each cell is from those asked for; ``bounds``: cell size, longest
    hose, highest lift, and the least that a hose grows for a step of one. Labels that cannot come to a cell asked for
    within the hose are dropped. ``state`` begins with what is asked: the length of the shortest hose that lifts no more
    (inf), its parking place (-1), and whether any hose is long enough.
    """
    ground, away_m = grid
    z, free = ground[0], ground[1]
    hose, parking, within, top, wait_value, wait_high, wait_park, seen_m, seen_from, pull_m, pull_from, pull_via = state
    value, high, cell, bend, park, heap, bend_down, bend_across, bend_z, bend_m, bend_before = labels
    cell_m, longest, lift, pace = bounds
    size, room = len(z), len(value)
    used, count, bent = _NONE, _NONE, _NONE
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
                seen_m[there] = _look(ground, width, line, (from_z, z[there]), _NONE, cell_m)[0]
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
                    points = _taut(ground, width, line, (from_z, z[there]), side, cell_m, chain)
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
                stepped = so_far + _look(ground, width, line, (z[here], z[there]), _NONE, cell_m)[0]
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
                        straight = _look(ground, width, line, (bend_z[before], z[there]), _NONE, cell_m)[0]
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
