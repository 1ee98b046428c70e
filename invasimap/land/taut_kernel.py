"""Lines over a grid, and hoses pulled taut round what is closed: the compiled geometry of ``reach_kernel``.

Points are whole numbers of ``1 / CELL`` of a cell, rows first. Corners are gone round one such part away from them, so
that a line that touches anything closed is closed, nothing passes between two closed cells that meet at a corner, and
no rounding decides. ``ground`` is elevation, open cells, for the others which of their ``PARTS`` by ``PARTS`` parts are
closed, as bits by rows (all of them where that array is empty), and whether any two elevations differ.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit

CELL, HALF, PARTS = 1024, 512, 8
CHAIN = 10  # most points of a hose that is pulled taut at once
_SHIFT = 10
_WHOLE = np.uint64(2**64 - 1)
_ONE = np.uint64(1)
_compiled = njit(cache=True, nogil=True, error_model="numpy")


@_compiled
def _corner(ground: Any, cell: int, width: int, line: Any, side: int) -> Any:
    """Of the closed parts of a cell that a line touches, the corner farthest to one side: how far (-1 if none), where."""
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


@_compiled
def look(ground: Any, width: int, line: Any, ends_z: Any, side: int, cell_m: float) -> Any:
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


@_compiled
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


@_compiled
def _convex(chain: Any, at: int, side: int) -> bool:
    """Whether the hose bends round something on its inner side there."""
    down, across = chain[0], chain[1]
    onto = (down[at] - down[at - 1]) * (across[at + 1] - across[at])
    return side * (onto - (across[at] - across[at - 1]) * (down[at + 1] - down[at])) < 0


@_compiled
def _remove(chain: Any, at: int, points: int) -> None:
    down, across, height, _ = chain
    for point in range(at, points - 1):
        down[point], across[point], height[point] = down[point + 1], across[point + 1], height[point + 1]


@_compiled
def taut(ground: Any, width: int, line: Any, ends_z: Any, side: int, cell_m: float, chain: Any) -> int:
    """Pull a hose taut that lies to one side of a line: how many points it has, 0 where it is not found.

    Fills ``chain``: rows, columns and elevations of its points, and lengths from each to the next.
    """
    down, across, height, length = chain
    down[0], across[0], down[1], across[1] = line
    height[0], height[1] = ends_z
    points, at = 2, 0
    for _ in range(3 * CHAIN):
        part = down[at], across[at], down[at + 1], across[at + 1]
        found, row, column = look(ground, width, part, (height[at], height[at + 1]), side, cell_m)
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
