"""The compiled heart of ``areas``: what lies on what, summed over square tiles without building any topology.

Polygons are edges. A tile that holds a patch gets the edges that touch it and, from the crossings of its row's lower
line, the winding numbers at its lower left corner. Inside a tile the ground is cut at the height of every end and
crossing into slabs; across a slab the edges stand in order and every trapezoid between two of them carries one label.
Widths add up to the tile's whatever rounding does, so slivers, shared edges and edges that nearly meet cannot fail.

Method: the slab decomposition of Bentley and Ottmann's sweep (1979), one tile at a time; a point is inside where its
winding number is above zero, of the land where it is not zero. Which side of a tile's corner an edge passes is decided
in one place, ``_left``, for the rows and for the tile's left side alike: that makes both tell the same winding number,
also where edges run through corners.

One module, importing none of ours: numba keeps what it compiled until the text of that one file changes.

``frame`` is the left and lower border of the squares, their side, and how many columns there are. ``tile`` gives the
number of each square, -1 where it does not count. A ring's ``way`` is 1 where its inside lies on the
left of its edges, else -1. An item is a thing that ground can lie in: a patch, a stand, a zone, an access polygon.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numba import njit

_compiled = njit(cache=True, nogil=True, error_model="numpy")
_NO_WAY_IN: Any = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True}  # called from compiled functions alone
_part: Callable[[Callable[..., Any]], Any] = njit(nogil=True, error_model="numpy", **_NO_WAY_IN)
_TYPED: Any = np.arange(13)  # numba would compile for every plain number anew
NONE, OPEN = _TYPED[0], _TYPED[2]
# What is known of the items and lines of one tile, a column each: whole numbers, by item, then by line or event ...
OWN, ITEM, LABEL, WINDING, BASE, STANDING, NAME, LINE_OWN, LINE_TURN, EVENT_OWN, EVENT_TURN, ORDER, ODD = _TYPED
# ... and places: the lines' lower x, y and upper x, y, their slope; heights of events; where lines are in a slab.
X0, Y0, X1, Y1, SLOPE, EVENT, LOW, HIGH, MIDDLE, BELOW, ABOVE = _TYPED[:11]
# What dealing places into bins needs: the bin of each, where the next one of each bin goes, and the order.
BIN, HEAD, DEALT = _TYPED[:3]


@_part
def _cell(value: float, low: float, side: float) -> int:
    """Number of the row or column that holds a place: its own lower border counts, the next one's does not."""
    found = int(np.floor((value - low) / side))
    while value < low + found * side:
        found -= 1
    while value >= low + (found + 1) * side:
        found += 1
    return found


@_part
def _in_square(x: float, y: float, row: int, column: int, frame: Any) -> bool:
    """Whether a square holds a place, as ``_cell`` has it: most places lie where the one before does."""
    left, bottom, side, _ = frame
    across = x >= left + column * side and x < left + (column + 1) * side
    return across and y >= bottom + row * side and y < bottom + (row + 1) * side


@_part
def _left(x0: float, y0: float, x1: float, y1: float, x: float, y: float) -> bool:
    """Whether an edge that spans the height ``y`` passes to the left of the corner at ``x, y``.

    Ends decide where they can, else the side of the line, reckoned from its lower end whichever way it runs.
    """
    if x0 < x and x1 < x:
        return True
    if x0 >= x and x1 >= x:
        return False
    if y0 > y1:
        x0, y0, x1, y1 = x1, y1, x0, y0
    return (x1 - x0) * (y - y0) < (y1 - y0) * (x - x0)


@_part
def _above(x0: float, y0: float, x1: float, y1: float, x: float, y: float) -> bool:
    """Whether an edge that spans the place ``x`` passes above the corner at ``x, y``."""
    if y0 < y and y1 < y:
        return False
    if y0 >= y and y1 >= y:
        return True
    return _left(x0, y0, x1, y1, x, y) == ((x1 > x0) == (y1 > y0))


@_part
def _columns(x0: float, y0: float, x1: float, y1: float, row: int, frame: Any) -> Any:
    """First and last column that an edge over several rows and columns can touch in one of them, within the frame."""
    left, bottom, side, columns = frame
    low, high, first_y, last_y = min(x0, x1), max(x0, x1), min(y0, y1), max(y0, y1)
    below, above = bottom + row * side, bottom + (row + 1) * side
    run = (x1 - x0) / (y1 - y0)
    a, b = x0 + (max(below, first_y) - y0) * run, x0 + (min(above, last_y) - y0) * run
    slack = side * 1e-3
    low, high = max(low, min(a, b) - slack), min(high, max(a, b) + slack)
    return max(_cell(low, left, side), 0), min(_cell(high, left, side), columns - 1)


@_compiled
def close(xy: Any, start: Any, rings: Any) -> Any:
    """Places of every ring of polygons whose places start at ``start``: it goes on to where its first place returns.

    ``rings`` says how many each should have, 0 where that is not known. Gives those of the polygons where that comes
    out, and which they are: a ring may also pass its first place before it ends.
    """
    size, known, many = np.empty(rings.sum(), np.int64), np.zeros(len(rings), np.bool_), NONE
    for polygon in range(len(rings)):
        first, end, found = start[polygon], start[polygon + 1], NONE
        while first < end and found < rings[polygon]:
            last = end - 1 if rings[polygon] == 1 else first + 1
            while last < end and not (xy[last, 0] == xy[first, 0] and xy[last, 1] == xy[first, 1]):
                last += 1
            if last >= end:
                break
            size[many + found] = last + 1 - first
            found += 1
            first = last + 1
        if first == end and found == rings[polygon]:
            known[polygon] = True
            many += found
    return size[:many], known


@_compiled
def prepare(xy: Any, start: Any, hole: Any) -> Any:
    """The ``way`` of every ring, from the sign of its area (shoelace) and whether it bounds a hole; and its box."""
    rings = len(start) - 1
    way, box = np.empty(rings, np.int8), np.empty((rings, 4))
    for ring in range(rings):
        first = start[ring]
        x, y = xy[first, 0], xy[first, 1]
        left, bottom, right, top = x, y, x, y
        twice = 0.0
        for i in range(first, start[ring + 1] - 1):
            twice += (xy[i, 0] - x) * (xy[i + 1, 1] - y) - (xy[i + 1, 0] - x) * (xy[i, 1] - y)
            left, right = min(left, xy[i, 0]), max(right, xy[i, 0])
            bottom, top = min(bottom, xy[i, 1]), max(top, xy[i, 1])
        way[ring] = 1 if (twice > 0) != hole[ring] else -1
        box[ring, 0], box[ring, 1], box[ring, 2], box[ring, 3] = left, bottom, right, top
    return way, box


@_compiled
def mark(xy: Any, start: Any, frame: Any, active: Any) -> None:
    """Mark the squares that edges touch."""
    left, bottom, side, columns = frame
    rows = active.shape[0]
    for ring in range(len(start) - 1):
        first = start[ring]
        row, column = _cell(xy[first, 1], bottom, side), _cell(xy[first, 0], left, side)
        for i in range(first, start[ring + 1] - 1):
            before, there = row, column
            if not _in_square(xy[i + 1, 0], xy[i + 1, 1], row, column, frame):
                row, column = _cell(xy[i + 1, 1], bottom, side), _cell(xy[i + 1, 0], left, side)
            elif i > first:
                continue
            for now in range(max(min(before, row), 0), min(max(before, row), rows - 1) + 1):
                a, b = max(min(there, column), 0), min(max(there, column), columns - 1)
                if before != row and there != column:
                    a, b = _columns(xy[i, 0], xy[i, 1], xy[i + 1, 0], xy[i + 1, 1], now, frame)
                for k in range(a, b + 1):
                    active[now, k] = 1


@_part
def _right_of(x0: float, y0: float, x1: float, y1: float, y: float, frame: Any) -> int:
    """First column whose corner at the height ``y`` an edge that spans it does not lie right of."""
    left, _, side, columns = frame
    column = min(max(_cell(x0 + (y - y0) / (y1 - y0) * (x1 - x0), left, side), 0), columns)
    while column > 0 and _left(x0, y0, x1, y1, left + (column - 1) * side, y):
        column -= 1
    while column < columns and not _left(x0, y0, x1, y1, left + column * side, y):
        column += 1
    return column


@_part
def _longer(values: Any) -> Any:
    """The same rows with room for as many again."""
    more = np.empty((2 * len(values), values.shape[1]), values.dtype)
    for i in range(len(values)):
        for k in range(values.shape[1]):
            more[i, k] = values[i, k]
    return more


@_compiled
def gather(xy: Any, start: Any, marked: Any, frame: Any, tile: Any, wanted: Any, room: Any) -> Any:
    """Edges that touch numbered tiles, and crossings of the lower lines of ``wanted`` rows.

    ``marked`` is the way and the item of every ring, and what to add to the number of an edge; ``room`` holds about
    as many rows as there will be of both. Gives tile, edge (the number of its first place), item and way of each touch;
    and row, first column whose corner does not lie left of it, item and turn of each crossing: what it adds to the
    winding number of everything right of it.
    """
    left, bottom, side, columns = frame
    rows = tile.shape[0]
    way, item, offset = marked
    touch, cross = room
    touches, crossings = NONE, NONE
    for ring in range(len(start) - 1):
        first = start[ring]
        row, column = _cell(xy[first, 1], bottom, side), _cell(xy[first, 0], left, side)
        here = tile[row, column] if 0 <= row < rows and 0 <= column < columns else -1
        for i in range(first, start[ring + 1] - 1):
            if _in_square(xy[i + 1, 0], xy[i + 1, 1], row, column, frame):  # as most edges do, it stays where it is
                if here >= 0:
                    if touches == len(touch):
                        touch = _longer(touch)
                    touch[touches, 0], touch[touches, 1] = here, i + offset
                    touch[touches, 2], touch[touches, 3] = item[ring], way[ring]
                    touches += 1
                continue
            before, there = row, column
            row, column = _cell(xy[i + 1, 1], bottom, side), _cell(xy[i + 1, 0], left, side)
            here = tile[row, column] if 0 <= row < rows and 0 <= column < columns else -1
            low, high = min(before, row), max(before, row)
            for now in range(max(low, 0), min(high, rows - 1) + 1):
                if not wanted[now]:
                    continue
                a, b = max(min(there, column), 0), min(max(there, column), columns - 1)
                if before != row and there != column:
                    a, b = _columns(xy[i, 0], xy[i, 1], xy[i + 1, 0], xy[i + 1, 1], now, frame)
                for k in range(a, b + 1):
                    if tile[now, k] >= 0:
                        if touches == len(touch):
                            touch = _longer(touch)
                        touch[touches, 0], touch[touches, 1] = tile[now, k], i + offset
                        touch[touches, 2], touch[touches, 3] = item[ring], way[ring]
                        touches += 1
                if now > low:
                    y = bottom + now * side
                    if crossings == len(cross):
                        cross = _longer(cross)
                    cross[crossings, 0] = now
                    cross[crossings, 1] = _right_of(xy[i, 0], xy[i, 1], xy[i + 1, 0], xy[i + 1, 1], y, frame)
                    cross[crossings, 2] = item[ring]
                    cross[crossings, 3] = way[ring] if row < before else -way[ring]
                    crossings += 1
    return touch[:touches], cross[:crossings]


@_compiled
def count(part: Any, held: Any) -> None:
    """How many rows of a part each first number has, into ``held``."""
    for i in range(len(part)):
        held[part[i, 0]] += 1


@_compiled
def deal(part: Any, head: Any, dealt: Any) -> None:
    """The rest of every row of a part to where the next one of its first number goes."""
    for i in range(len(part)):
        at = head[part[i, 0]]
        dealt[at, 0], dealt[at, 1], dealt[at, 2] = part[i, 1], part[i, 2], part[i, 3]
        head[part[i, 0]] += 1


@_part
def _by_column(cross: Any, first: int, last: int, head: Any, order: Any) -> None:
    """Numbers of a row's crossings in order of columns; equal ones stay as they are (counting sort)."""
    for column in range(len(head)):
        head[column] = 0
    for i in range(first, last):
        head[cross[i, 0] + 1] += 1
    for column in range(1, len(head)):
        head[column] += head[column - 1]
    for i in range(first, last):
        order[head[cross[i, 0]]] = i
        head[cross[i, 0]] += 1


@_compiled
def cover(span: Any, rows_of: Any, active: Any, items: int) -> None:
    """Mark the squares of some rows whose lower left corner any item winds round.

    ``rows_of`` is where each row's crossings start, and column, item and turn of each.
    """
    start, cross = rows_of
    columns = active.shape[1]
    winding, now = np.zeros(items, np.int32), np.empty(items, np.int32)
    head, order = np.empty(columns + 2, np.int64), np.empty(len(cross), np.int64)
    for row in range(span[0], span[1]):
        many, here = NONE, start[row + 1] - start[row]
        _by_column(cross, start[row], start[row + 1], head, order)
        for i in range(here):
            one = order[i]
            many = _turned(cross[one, 1], cross[one, 2], winding, now, many)
            if many > 0:
                for column in range(cross[one, 0], cross[order[i + 1], 0] if i + 1 < here else columns):
                    active[row, column] = 1
        for k in range(many):
            winding[now[k]] = 0


@_compiled
def corners(span: Any, rows_of: Any, tile: Any, held_of: Any, items: int) -> Any:
    """Winding numbers that are not zero at the lower left corner of every tile of some rows.

    Gives item and winding number of each; ``held_of`` gets where each tile's entries start and end.
    """
    start, cross = rows_of
    winding, now = np.zeros(items, np.int32), np.empty(items, np.int32)
    head, order = np.empty(tile.shape[1] + 2, np.int64), np.empty(len(cross), np.int64)
    held, total = np.empty((1024, 2), np.int32), NONE
    for row in range(span[0], span[1]):
        many, i, here = NONE, NONE, start[row + 1] - start[row]
        _by_column(cross, start[row], start[row + 1], head, order)
        for column in range(tile.shape[1]):
            while i < here and cross[order[i], 0] <= column:
                many = _turned(cross[order[i], 1], cross[order[i], 2], winding, now, many)
                i += 1
            if tile[row, column] < 0:
                continue
            held_of[tile[row, column], 0] = total
            for k in range(many):
                if total == len(held):
                    held = _longer(held)
                held[total, 0], held[total, 1] = now[k], winding[now[k]]
                total += 1
            held_of[tile[row, column], 1] = total
        for k in range(many):
            winding[now[k]] = 0
    return held[:total]


@_part
def _turned(item: int, turn: int, winding: Any, now: Any, many: int) -> int:
    """Add a turn to an item's winding number; ``now`` lists those that are not zero; gives how many there are."""
    before = winding[item]
    winding[item] += turn
    if before == 0:
        now[many] = item
        return many + 1
    if winding[item] == 0:
        k = 0
        while now[k] != item:
            k += 1
        now[k] = now[many - 1]
        return many - 1
    return many


@_part
def _pieces(places: Any, touch: Any, box: Any, whole: Any, real: Any) -> Any:
    """What of the edges lies in a tile, each from its lower to its upper end, and where they cross its left side.

    The layers' places are numbered through.
    Gives how many lines and how many crossings; a crossing changes the winding number of all ground above it there.
    """
    left, bottom, right, top = box
    first, second, third, fourth = places  # taken apart once: to count who holds an array is dear
    to_second, to_third = len(first), len(first) + len(second)
    to_fourth = to_third + len(third)
    many, events = NONE, NONE
    for k in range(len(touch)):
        edge = touch[k, 0]
        if edge < to_second:
            x0, y0, x1, y1 = first[edge, 0], first[edge, 1], first[edge + 1, 0], first[edge + 1, 1]
        elif edge < to_third:
            edge -= to_second
            x0, y0, x1, y1 = second[edge, 0], second[edge, 1], second[edge + 1, 0], second[edge + 1, 1]
        elif edge < to_fourth:
            edge -= to_third
            x0, y0, x1, y1 = third[edge, 0], third[edge, 1], third[edge + 1, 0], third[edge + 1, 1]
        else:
            edge -= to_fourth
            x0, y0, x1, y1 = fourth[edge, 0], fourth[edge, 1], fourth[edge + 1, 0], fourth[edge + 1, 1]
        way = touch[k, 2]
        turn = way if y1 < y0 else -way
        if min(x0, x1) >= left and max(x0, x1) < right and min(y0, y1) >= bottom and max(y0, y1) <= top:
            if y0 != y1:  # wholly inside, as most are
                up = y0 < y1
                real[many, X0], real[many, Y0] = x0 if up else x1, y0 if up else y1
                real[many, X1], real[many, Y1] = x1 if up else x0, y1 if up else y0
                real[many, SLOPE] = (real[many, X1] - real[many, X0]) / (real[many, Y1] - real[many, Y0])
                whole[many, LINE_OWN], whole[many, LINE_TURN] = whole[k, OWN], turn
                many += 1
            continue
        over = way if x0 < left else -way
        spans = (x0 < left) != (x1 < left)
        if not spans and x0 < left:
            continue
        if y0 > y1:
            x0, y0, x1, y1 = x1, y1, x0, y0
        run = (x1 - x0) / (y1 - y0) if y1 > y0 else 0.0
        low, low_x = (y0, x0) if y0 >= bottom else (bottom, x0 + (bottom - y0) * run)
        high, high_x = (y1, x1) if y1 <= top else (top, x0 + (top - y0) * run)
        if spans:
            at = min(max(y0 + (left - x0) * ((y1 - y0) / (x1 - x0)), low), high)
            if not _above(x0, y0, x1, y1, left, bottom):
                at = bottom
            elif _above(x0, y0, x1, y1, left, top):
                at = top
            else:
                real[events, EVENT], whole[events, EVENT_OWN], whole[events, EVENT_TURN] = at, whole[k, OWN], over
                events += 1
            if x1 > x0 and at > low:
                low, low_x = at, left
            elif x1 < x0 and at < high:
                high, high_x = at, left
        if (x0 < right) != (x1 < right):
            at = y0 + (right - x0) * ((y1 - y0) / (x1 - x0))
            if x1 > x0 and at < high:
                high, high_x = at, right
            elif x1 < x0 and at > low:
                low, low_x = at, right
        if high <= low or (x0 >= right and x1 >= right):
            continue
        real[many, X0], real[many, Y0] = min(max(low_x, left), right), low
        real[many, X1], real[many, Y1] = min(max(high_x, left), right), high
        real[many, SLOPE] = (real[many, X1] - real[many, X0]) / (high - low)
        whole[many, LINE_OWN], whole[many, LINE_TURN] = whole[k, OWN], turn
        many += 1
    return many, events


@_part
def _switched(own: int, stands: bool, whole: Any, listed: int, many: int) -> int:
    """Take a patch into or out of a column that keeps those that hold a place in order; gives how many there are."""
    k = NONE
    while k < many and whole[k, listed] < own:
        k += 1
    if stands:
        for j in range(many, k, -1):
            whole[j, listed] = whole[j - 1, listed]
        whole[k, listed] = own
        return many + 1
    for j in range(k, many - 1):
        whole[j, listed] = whole[j + 1, listed]
    return many - 1


@_part
def _turn_item(own: int, turn: int, whole: Any, many: int, patches: int) -> int:
    """Add a turn to an item's winding number on the left of a tile; gives how many patches hold the place now."""
    before = whole[own, WINDING]
    after = before + turn
    whole[own, WINDING] = after
    if own >= patches:
        return many
    whole[own, ODD] |= after < 0 or after > 1
    if (before > 0) == (after > 0):
        return many
    return _switched(own, after > 0, whole, BASE, many)


@_part
def _label(whole: Any, kinds: Any) -> int:
    """Number of the stand, zone and access class of a place from the winding numbers there.

    A stand or access outline that winds round the place, but not once, is marked as odd: it crosses itself.
    """
    patches, stands, zones, count, means = kinds
    stand, zone, access = 0, OPEN, 0
    for k in range(patches, stands):
        if whole[k, WINDING] != 0:
            whole[k, ODD] |= whole[k, WINDING] != 1
            stand = whole[k, LABEL]
            break
    for k in range(stands, zones):
        if whole[k, WINDING] != 0 and whole[k, LABEL] < zone:
            zone = whole[k, LABEL]
    for k in range(zones, count):
        if whole[k, WINDING] != 0:
            whole[k, ODD] |= whole[k, WINDING] != 1
            access = whole[k, LABEL]
            break
    return (stand * 3 + zone) * means + access


@_part
def _in_order(values: Any, count: int, low: float, high: float, deal: Any) -> None:
    """Put numbers of values between two bounds in order: dealt into as many bins as there are, then put right."""
    share = (count - 1) / (high - low)
    for i in range(count + 1):
        deal[i, HEAD] = 0
    for i in range(count):
        found = min(max(int((values[i] - low) * share), 0), count - 1)
        deal[i, BIN] = found
        deal[found + 1, HEAD] += 1
    fullest = NONE
    for i in range(count):
        fullest = max(fullest, deal[i + 1, HEAD])
        deal[i + 1, HEAD] += deal[i, HEAD]
    for i in range(count):
        found = deal[i, BIN]
        deal[deal[found, HEAD], DEALT] = i
        deal[found, HEAD] += 1
    gap = fullest if fullest > 8 else min(fullest, 1)
    while gap > 0:  # Shell's sort, from the farthest that one can be out of place
        for i in range(gap, count):
            one = deal[i, DEALT]
            k = i
            while k >= gap and values[deal[k - gap, DEALT]] > values[one]:
                deal[k, DEALT] = deal[k - gap, DEALT]
                k -= gap
            deal[k, DEALT] = one
        gap = gap // 3 if gap > 3 else gap - 1


@_part
def _crossings(whole: Any, real: Any, many: int, shares: Any) -> Any:
    """Where lines in order of their lower places cross within a slab, as shares of its thickness; and how many do."""
    found = NONE
    for i in range(many):
        a = whole[i, ORDER]
        for k in range(i + 1, many):
            b = whole[k, ORDER]
            apart, past = real[b, LOW] - real[a, LOW], real[a, HIGH] - real[b, HIGH]
            if past > 0.0 and apart > 0.0:
                if found < len(shares):
                    shares[found] = apart / (apart + past)
                found += 1
    return found


@_part
def _cuts(whole: Any, real: Any, many: int, found: int) -> Any:
    """The shares of ``_crossings`` in order."""
    shares, deal, cuts = np.empty(found), np.empty((found + 1, 3), np.int32), np.empty(found)
    _crossings(whole, real, many, shares)
    _in_order(shares, found, 0.0, 1.0, deal)
    for i in range(found):
        cuts[i] = shares[deal[i, DEALT]]
    return cuts


@_part
def _layer(whole: Any, real: Any, many: int, before: float, after: float) -> None:
    """Where lines are in a layer of a slab, and their order in it."""
    for i in range(many):
        one = whole[i, ORDER]
        real[one, BELOW] = real[one, LOW] + before * (real[one, HIGH] - real[one, LOW])
        real[one, ABOVE] = real[one, LOW] + after * (real[one, HIGH] - real[one, LOW])
        real[one, MIDDLE] = real[one, BELOW] + real[one, ABOVE]
    for i in range(1, many):
        one = whole[i, ORDER]
        k = i
        while k > 0 and real[whole[k - 1, ORDER], MIDDLE] > real[one, MIDDLE]:
            whole[k, ORDER] = whole[k - 1, ORDER]
            k -= 1
        whole[k, ORDER] = one


@_part
def _heights(real: Any, many: int, events: int, top: float, heights: Any) -> int:
    """Lower ends of the lines, events, upper ends where no neighbour has them, and the top; gives how many."""
    for i in range(many):
        heights[i] = real[i, Y0]
    for i in range(events):
        heights[many + i] = real[i, EVENT]
    count = many + events
    for i in range(many):
        end = real[i, Y1]
        if i + 1 < many and (end == real[i + 1, Y0] or end == real[i + 1, Y1]):
            continue
        if i > 0 and end == real[i - 1, Y0]:
            continue
        heights[count] = end
        count += 1
    heights[count] = top
    return count + 1


@_part
def _tile(whole: Any, real: Any, counts: Any, box: Any, kinds: Any, sums: Any, scratch: Any) -> None:
    """Sum up one tile, slab by slab: trapezoids between neighbouring lines, to the patches that decide there.

    One function: each call would count anew who holds the arrays, which takes longer than a slab.
    """
    many, events, base = counts
    left, bottom, right, top = box
    heights, deal, one_cut = scratch
    cuts = one_cut
    patches = kinds[0]
    count = _heights(real, many, events, top, heights)
    _in_order(heights, count, bottom, top, deal)
    standing, low = NONE, bottom
    number = _label(whole, kinds)
    for at in range(count):
        step = deal[at, DEALT]
        high = heights[step]
        if high > low and (standing > 0 or base > 0):
            # Lines that reach into the slab, in order of where they enter it (where they left the one below), then
            # leave it; others are let go of.
            kept = NONE
            for i in range(standing):
                one = whole[i, ORDER]
                end = real[one, Y1]
                if end <= low:
                    continue
                enters = real[one, HIGH]
                leaves = real[one, X1] if end == high else real[one, X0] + (high - real[one, Y0]) * real[one, SLOPE]
                real[one, LOW], real[one, HIGH] = enters, leaves
                k = kept
                while k > 0:
                    other = whole[k - 1, ORDER]
                    if real[other, LOW] < enters or (real[other, LOW] == enters and real[other, HIGH] <= leaves):
                        break
                    whole[k, ORDER] = other
                    k -= 1
                whole[k, ORDER] = one
                kept += 1
            standing = kept
            crossed = False
            for i in range(1, standing):
                crossed = crossed or real[whole[i - 1, ORDER], HIGH] > real[whole[i, ORDER], HIGH]
            found = _crossings(whole, real, standing, one_cut) if crossed else NONE
            if found > 1:
                cuts = _cuts(whole, real, standing, found)
            below, above, share = LOW, HIGH, 0.0
            for cut in range(found + 1):
                thick = high - low
                if crossed:
                    before, share = share, 1.0
                    if cut < found:
                        share = cuts[cut] if found > 1 else one_cut[0]
                    if share <= before:
                        continue
                    below, above, thick = BELOW, ABOVE, (share - before) * thick
                    _layer(whole, real, standing, before, share)
                there, name, changed, place = base, number, False, 2 * left
                for k in range(base):
                    whole[k, STANDING] = whole[k, BASE]
                for i in range(standing + 1):
                    one = whole[i, ORDER] if i < standing else 0
                    after = real[one, below] + real[one, above] if i < standing else 2 * right
                    area = (after - place) * 0.5 * thick
                    if there > 0 and area != 0.0:
                        if changed:
                            name, changed = _label(whole, kinds), False
                        sums[patches, name] += area
                        last = -1
                        for k in range(there):
                            patch = whole[k, STANDING]
                            if whole[patch, LABEL] != last:
                                last = whole[patch, LABEL]
                                sums[patch, name] += area
                    if i < standing:
                        own = whole[one, LINE_OWN]
                        was = whole[own, WINDING]
                        now = was + whole[one, LINE_TURN]
                        whole[own, WINDING] = now
                        if own >= patches:
                            changed = True
                        else:
                            whole[own, ODD] |= now < 0 or now > 1
                            if (was > 0) != (now > 0):
                                there = _switched(own, now > 0, whole, STANDING, there)
                        place = after
                for i in range(standing):
                    one = whole[i, ORDER]
                    whole[whole[one, LINE_OWN], WINDING] -= whole[one, LINE_TURN]
        low = max(low, high)
        if step < many:
            whole[standing, ORDER], real[step, HIGH] = step, real[step, X0]
            standing += 1
        elif step < many + events:
            own = whole[step - many, EVENT_OWN]
            base = _turn_item(own, whole[step - many, EVENT_TURN], whole, base, patches)
            if own >= patches:
                number = _label(whole, kinds)


@_part
def _own_numbers(touch: Any, held: Any, seen: Any, whole: Any) -> int:
    """Number the items of a tile in their order; ``seen`` gives each its number."""
    many = 0
    for k in range(len(touch) + len(held)):
        item = touch[k, 1] if k < len(touch) else held[k - len(touch), 0]
        if seen[item] < 0:
            seen[item] = 0
            j = many
            while j > 0 and whole[j - 1, ITEM] > item:
                whole[j, ITEM] = whole[j - 1, ITEM]
                j -= 1
            whole[j, ITEM] = item
            many += 1
    for k in range(many):
        seen[whole[k, ITEM]] = k
        whole[k, WINDING], whole[k, ODD] = 0, 0
    for k in range(len(touch)):
        whole[k, OWN] = seen[touch[k, 1]]
    return many


@_part
def _first_from(whole: Any, count: int, item: int) -> int:
    """The first of a tile's items whose number is not below ``item``."""
    k = 0
    while k < count and whole[k, ITEM] < item:
        k += 1
    return k


@_part
def _own_labels(whole: Any, first: int, last: int, item_label: Any) -> int:
    """Number the labels of some of a tile's items from 1, keeping each one's own; gives how many, with none at all."""
    many = 1
    for k in range(first, last):
        name = item_label[whole[k, ITEM]]
        at = 0
        for j in range(first, k):
            if whole[j, NAME] == name:
                at = whole[j, LABEL]
        if at == 0:
            at = many
            many += 1
        whole[k, NAME], whole[k, LABEL] = name, at
    return many


@_part
def _named(whole: Any, first: int, last: int, at: int) -> int:
    """The label that was given a number in a tile; 0 for none."""
    for k in range(first, last):
        if whole[k, LABEL] == at:
            return whole[k, NAME]
    return 0


@_part
def _written(whole: Any, kinds: Any, sums: Any, out: Any, rows: int) -> Any:
    """Append what a tile's sums hold: item, stand, zone, access, area; gives the array and how many rows it has.

    Then a row of each odd item, without an area.
    """
    patches, stands, zones, count, means = kinds
    for patch in range(patches + 1):
        for number in range(sums.shape[1]):
            if sums[patch, number] == 0.0:
                continue
            if rows == len(out):
                out = _longer(out)
            out[rows, 0] = whole[patch, ITEM] if patch < patches else -1
            out[rows, 1] = _named(whole, patches, stands, number // means // 3)
            out[rows, 2] = number // means % 3
            out[rows, 3] = _named(whole, zones, count, number % means)
            out[rows, 4] = sums[patch, number]
            rows += 1
    for k in range(count):
        if whole[k, ODD] == 0:
            continue
        if rows == len(out):
            out = _longer(out)
        out[rows, 0], out[rows, 1], out[rows, 2], out[rows, 3], out[rows, 4] = whole[k, ITEM], 0, 0, 0, np.nan
        rows += 1
    return out, rows


@_compiled
def sweep(span: Any, tiles: Any, touches: Any, corners_of: Any, places: Any, items_of: Any, frame: Any) -> Any:
    """Ground of some of the tiles by item, stand, zone and access class.

    Parameters
    ----------
    span
        The first tile and the one after the last.
    tiles
        Row and column of every tile.
    touches, corners_of
        Of every tile, where its touches start and edge, item, way of each; where its corner's items start and end, and
        item and winding number of each.
    places
        Those of the four layers.
    items_of
        Of every item its species, or the number of its stand, zone or access class (0 for none); then where stands,
        zones and access begin among the items. Patches come first, the deciding one of a species before the others.

    Returns
    -------
    array
        Rows of item (-1 for the ground, every spot once), stand, zone, access class (0 for none of them) and area;
        without an area of patch, stand and access items that may wind round some of this ground, but not once.
    """
    first, last = span
    touch_start, touch = touches
    corner_span, corner_held = corners_of
    item_label, first_stand, first_zone, first_access = items_of
    most = 1
    for at in range(first, last):
        most = max(most, touch_start[at + 1] - touch_start[at] + corner_span[at, 1] - corner_span[at, 0])
    seen = np.full(len(item_label), -1, np.int32)
    whole, real = np.empty((most + 1, 13), np.int32), np.empty((most + 1, 11))
    scratch = np.empty(3 * most + 1), np.empty((3 * most + 2, 3), np.int32), np.empty(1)
    out, rows = np.empty((64, 5)), NONE
    for at in range(first, last):
        mine = touch[touch_start[at] : touch_start[at + 1]]
        held = corner_held[corner_span[at, 0] : corner_span[at, 1]]
        count = _own_numbers(mine, held, seen, whole)
        patches = _first_from(whole, count, first_stand)
        stands, zones = _first_from(whole, count, first_zone), _first_from(whole, count, first_access)
        if patches > 0:
            for k in range(count):
                whole[k, LABEL] = item_label[whole[k, ITEM]]
            names = _own_labels(whole, patches, stands, item_label)
            means = _own_labels(whole, zones, count, item_label)
            kinds = (patches, stands, zones, count, means)
            base = NONE
            for k in range(len(held)):
                base = _turn_item(seen[held[k, 0]], held[k, 1], whole, base, patches)
            left, bottom = frame[0] + tiles[at, 1] * frame[2], frame[1] + tiles[at, 0] * frame[2]
            right, top = frame[0] + (tiles[at, 1] + 1) * frame[2], frame[1] + (tiles[at, 0] + 1) * frame[2]
            box = (left, bottom, right, top)
            many, events = _pieces(places, mine, box, whole, real)
            sums = np.zeros((patches + 1, names * 3 * means))
            _tile(whole, real, (many, events, base), box, kinds, sums, scratch)
            out, rows = _written(whole, kinds, sums, out, rows)
        for k in range(count):
            seen[whole[k, ITEM]] = -1
    return out[:rows]
