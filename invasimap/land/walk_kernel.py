"""The compiled heart of ``walk_minutes``: quickest walks over a grid stored in square blocks, by a bucket queue.

Places are taken in order of time (Dijkstra 1959) from buckets as wide as the quickest step (Dial 1969). Within a window
of some buckets one parcel of blocks is worked after another, and again where a neighbour brings something sooner (Meyer
and Sanders 2003), so that what is worked on stays near in memory. The least time of each cell comes out all the same.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit

BLOCK = 32
EDGE = 2  # cells of margin on every side, never walked
RING = 1024  # windows of time kept at hand; what comes later waits
SPAN = 32  # buckets in a window
PARCEL = 4  # blocks along each side of a parcel
HEADS = RING + 1 + SPAN  # windows, what comes later, and the buckets of the window at hand
_SHIFT, _LOW = 5, 31
_LATEST = 2**62
_KIND = np.uint8(127)
_DONE = np.uint8(128)  # set in a kind of ground: nothing has changed here since its neighbours were looked at
_compiled = njit(cache=True, nogil=True, error_model="numpy")
# each step: rows and columns, then the two cells it passes between
STEPS = np.array(
    [(0, b, 0, 0, 0, 0) for b in (1, -1)]
    + [(a, 0, 0, 0, 0, 0) for a in (1, -1)]
    + [(a, b, a, 0, 0, b) for a in (1, -1) for b in (1, -1)]
    + [(a, 2 * b, 0, b, a, b) for a in (1, -1) for b in (1, -1)]
    + [(2 * a, b, a, 0, a, b) for a in (1, -1) for b in (1, -1)]
)
DOWN, ACROSS, BETWEEN = STEPS[:, 0].copy(), STEPS[:, 1].copy(), STEPS[:, 2:].copy()


def parcel_count(shape: tuple[int, int]) -> int:
    """How many parcels cover a padded grid."""
    return -(-shape[0] // (BLOCK * PARCEL)) * -(-shape[1] // (BLOCK * PARCEL))


def padded(shape: tuple[int, int]) -> tuple[int, int]:
    """Rows and columns with the margin, up to whole blocks."""
    rows, columns = (-(-(side + 2 * EDGE) // BLOCK) * BLOCK for side in shape)
    return rows, columns


@_compiled
def _block_at(row: int, column: int, blocks: int) -> int:
    within = ((row & _LOW) << _SHIFT) | (column & _LOW)
    return (((row >> _SHIFT) * blocks + (column >> _SHIFT)) << (2 * _SHIFT)) | within


@_compiled
def _due(minutes: float, bucket_min: float) -> int:
    """The bucket of a time, however absurd the cliff that it takes to climb."""
    return int(min(minutes / bucket_min, 4.0e18))


@_compiled
def walk(z: Any, ground: Any, open_steps: Any, sources: Any, factors: Any, state: Any, limits: Any) -> None:
    """Fill ``state`` by walks from the sources: minutes (-1), source (its number, -1), elevation, kind of ground (0).

    These are flat, padded by ``EDGE`` and up to whole blocks (see ``padded``). Two sets of heads of lists (-1) follow:
    ``HEADS``, and one for each parcel. Minutes and source come back in rows, with inf minutes where nobody gets.
    ``ground`` is 0 where nobody walks, else the place in ``factors``, counted from 1 to 127; their second row is for
    the way back along the same steps, 0 where only the way out counts. ``open_steps`` says by bits which of ``STEPS``
    lead from each cell; empty for all that stay on ground that is walked and off its corners. ``limits``: cell size,
    longest walk, minutes of the quickest step.
    """
    rows, columns = z.shape
    minutes, origin, height, kind, heads, by_parcel = state
    cell_m, longest, bucket_min = limits
    blocks = (columns + 2 * EDGE + _LOW) >> _SHIFT
    cell, after = np.empty(1024, np.int32), np.empty(1024, np.int32)
    used, spare, near, far = 0, -1, 0, 0  # how many wait in the ring and beyond it
    per_minute = 1000.0 / 60.0
    now = 0
    guided = open_steps.size > 0
    leads = np.zeros(len(minutes) if guided else 1, np.uint16)
    parcels, turn = np.empty(len(minutes) >> (2 * _SHIFT), np.int32), np.empty(len(by_parcel), np.int32)
    wide, first, turns, home = -(-blocks // PARCEL), 0, 0, -1
    for block in range(len(parcels)):
        parcels[block] = block // blocks // PARCEL * wide + block % blocks // PARCEL
    for row in range(rows):
        for column in range(columns):
            at = _block_at(row + EDGE, column + EDGE, blocks)
            if ground[row, column] > 0 and not math.isnan(z[row, column]):
                height[at], kind[at], minutes[at] = z[row, column], ground[row, column], np.inf
                if guided:
                    leads[at] = open_steps[row, column]
                if sources[row, column]:
                    minutes[at], origin[at] = 0.0, row * columns + column
                    if used == len(cell):
                        cell, after = _longer(cell), _longer(after)
                    cell[used], after[used], heads[0] = at, heads[0], used
                    used += 1
                    near += 1
    while near + far > 0:
        if far > 0 and (near == 0 or now % RING == 0):
            node, heads[RING], earliest = heads[RING], -1, _LATEST
            while node >= 0:  # drop those that came sooner another way
                following, due = after[node], _due(minutes[cell[node]], bucket_min) // SPAN
                if due < now:
                    after[node], spare = spare, node
                    far -= 1
                else:
                    after[node], heads[RING] = heads[RING], node
                    earliest = min(earliest, due)
                node = following
            if near == 0:
                now = max(now, earliest)
            node, heads[RING] = heads[RING], -1
            while node >= 0:
                following, due = after[node], _due(minutes[cell[node]], bucket_min) // SPAN
                slot = RING if due >= now + RING else due % RING
                if slot < RING:
                    far -= 1
                    near += 1
                after[node], heads[slot] = heads[slot], node
                node = following
        node, heads[now % RING] = heads[now % RING], -1
        while node >= 0:  # what is due goes to its parcel
            following, parcel = after[node], parcels[cell[node] >> (2 * _SHIFT)]
            if by_parcel[parcel] < 0:
                turn[(first + turns) % len(turn)] = parcel
                turns += 1
            after[node], by_parcel[parcel] = by_parcel[parcel], node
            node = following
        node, bucket = -1, SPAN
        while turns > 0 or bucket < SPAN:
            if bucket == SPAN:
                home, bucket = turn[first], 0
                first, turns = (first + 1) % len(turn), turns - 1
                node, by_parcel[home] = by_parcel[home], -1
                while node >= 0:
                    following, due = after[node], _due(minutes[cell[node]], bucket_min) - now * SPAN
                    if due < 0 or due >= SPAN:
                        after[node], spare = spare, node
                        near -= 1
                    else:
                        after[node], heads[RING + 1 + due] = heads[RING + 1 + due], node
                    node = following
            node = heads[RING + 1 + bucket]
            if node < 0:
                bucket += 1
                continue
            heads[RING + 1 + bucket], here = after[node], cell[node]
            after[node], spare = spare, node
            near -= 1
            so_far = minutes[here]
            if _due(so_far, bucket_min) != now * SPAN + bucket or kind[here] & _DONE:
                continue
            from_m, pace, pace_back = np.float64(height[here]), factors[0, kind[here] - 1], factors[1, kind[here] - 1]
            kind[here] |= _DONE
            inside = here & (BLOCK * BLOCK - 1)
            row, column = inside >> _SHIFT, inside & _LOW
            whole = EDGE <= row < BLOCK - EDGE and EDGE <= column < BLOCK - EDGE
            if not whole:
                row += ((here >> (2 * _SHIFT)) // blocks) << _SHIFT
                column += ((here >> (2 * _SHIFT)) % blocks) << _SHIFT
            for move in range(16):
                down, across = DOWN[move], ACROSS[move]
                there = here + down * BLOCK + across
                if not whole:
                    there = _block_at(row + down, column + across, blocks)
                before = minutes[there]  # negative where closed
                run_m = cell_m * (1.0 if move < 4 else (math.sqrt(2.0) if move < 8 else math.sqrt(5.0)))
                if before < so_far or before < so_far + 0.999 * bucket_min * run_m / cell_m:
                    continue
                if guided:
                    if not (leads[here] >> move) & 1:
                        continue
                elif move >= 4:
                    d1, a1, d2, a2 = BETWEEN[move, 0], BETWEEN[move, 1], BETWEEN[move, 2], BETWEEN[move, 3]
                    if whole:
                        beside, other = here + d1 * BLOCK + a1, here + d2 * BLOCK + a2
                    else:
                        beside = _block_at(row + d1, column + a1, blocks)
                        other = _block_at(row + d2, column + a2, blocks)
                    if minutes[beside] < 0 or minutes[other] < 0:
                        continue
                factor = min(pace, factors[0, (kind[there] & _KIND) - 1])
                slope = (np.float64(height[there]) - from_m) / run_m
                found = so_far + run_m / (6.0 * math.exp(-3.5 * abs(slope + 0.05)) * factor * per_minute)
                if pace_back > 0:
                    factor = min(pace_back, factors[1, (kind[there] & _KIND) - 1])
                    found += run_m / (6.0 * math.exp(-3.5 * abs(0.05 - slope)) * factor * per_minute)
                if found > longest or found > before:
                    continue
                if found == before and origin[there] <= origin[here]:
                    continue
                minutes[there], origin[there] = found, origin[here]
                kind[there] &= _KIND
                due = _due(found, bucket_min)
                window, parcel = due // SPAN, parcels[there >> (2 * _SHIFT)]
                far += window >= now + RING
                near += window < now + RING
                if spare >= 0:
                    fresh, spare = spare, after[spare]
                else:
                    if used == len(cell):
                        cell, after = _longer(cell), _longer(after)
                    fresh = used
                    used += 1
                cell[fresh] = there
                if window == now and parcel != home:
                    if by_parcel[parcel] < 0:
                        turn[(first + turns) % len(turn)] = parcel
                        turns += 1
                    after[fresh], by_parcel[parcel] = by_parcel[parcel], fresh
                    continue
                put = RING if window >= now + RING else window % RING
                if window == now:
                    put = RING + 1 + due - now * SPAN
                after[fresh], heads[put] = heads[put], fresh
        now += 1
    for at in range(len(minutes)):
        if minutes[at] < 0:
            minutes[at] = np.inf
    _unblock(minutes, blocks)
    _unblock(origin, blocks)


@_compiled
def _longer(array: Any) -> Any:
    longer = np.empty(2 * len(array), array.dtype)
    for at in range(len(array)):
        longer[at] = array[at]
    return longer


@_compiled
def _unblock(array: Any, blocks: int) -> None:
    """Turn blocks into rows, in place: a row of blocks takes the same room either way."""
    strip = blocks * BLOCK * BLOCK
    kept = np.empty(strip, array.dtype)
    for first in range(0, len(array), strip):
        for at in range(strip):
            kept[at] = array[first + at]
        for row in range(BLOCK):
            for column in range(blocks * BLOCK):
                array[first + row * blocks * BLOCK + column] = kept[_block_at(row, column, blocks)]
