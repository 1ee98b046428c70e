"""Which records of a survey lie near each other and belong to one group, found by sorting alone."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

MOST_PAIRS: Final = 1_000_000  # and MOST_EACH for every row: given out along a set of strips before rows are crowded
MOST_EACH: Final = 4

_Bits = NDArray[np.uint64]
_Rows = NDArray[np.intp]
_Axis = NDArray[np.float64]

_PLACE_BITS: Final = np.uint64(24)  # of a key, for the place along a strip; the rest is for the group and the strip
_TOP_BITS: Final = 20
_LEAST_STEP_M: Final = 0.01
_SPREAD: Final = (np.uint64(0x9E3779B97F4A7C15), np.uint64(0xC2B2AE3D27D4EB4F), np.uint64(0x165667B19E3779F9))


@dataclass(frozen=True, kw_only=True)
class Strip:
    """Rows sorted by group, strip of ground and place along it: near ones of a strip stand close together."""

    order: _Rows
    key: _Bits  # sorted
    reach: np.uint64  # keys of rows that are near differ by this at most

    def window(self, position: int) -> _Rows:
        """Rows that may be near the row at a position, itself among them."""
        middle = self.key[position]
        low = np.searchsorted(self.key, middle - min(middle, self.reach))
        return self.order[low : np.searchsorted(self.key, middle + self.reach, side="right")]

    def positions(self, count: int) -> _Rows:
        """Where each of ``count`` rows stands; 0 for those that are not sorted here."""
        found = np.zeros(count, dtype=np.intp)
        found[self.order] = np.arange(len(self.order))
        return found


def mixed(columns: Sequence[NDArray[np.number[Any]]]) -> _Bits:
    """Columns of whole numbers or floats as one column of 64 well-mixed bits: equal rows have equal bits."""
    found = np.zeros(len(columns[0]), dtype=np.uint64)
    for column in columns:
        bits = (column + 0.0).view(np.uint64) if column.dtype.kind == "f" else column.astype(np.int64).view(np.uint64)
        found += bits
        found *= _SPREAD[0]
        found ^= found >> np.uint64(29)
    return found


def strips(rows: _Rows, group: _Bits, x_m: _Axis, y_m: _Axis, *, reach_m: float) -> tuple[Strip, Strip]:
    """Rows sorted along strips of twice the reach, and again with the strips moved by half their width.

    ``group`` and place are those of the rows. Two of a group within reach lie in one strip of the first or the second.
    """
    keys, reach = _keys(group, x_m, y_m, reach_m=reach_m)
    found = []
    for key in keys:
        order = np.argsort(key)
        found.append(Strip(order=rows[order], key=key[order], reach=reach))
    return found[0], found[1]


def with_neighbours(rows: _Rows, group: _Bits, x_m: _Axis, y_m: _Axis, *, reach_m: float) -> _Rows:
    """Rows that may have another one of their group within reach, in their order; sorts keys alone, which is quick."""
    keys, reach = _keys(group, x_m, y_m, reach_m=reach_m)
    found = np.zeros(len(rows), dtype=bool)
    for key in keys:
        sorted_ = np.sort(key)
        close = sorted_[1:] - sorted_[:-1] <= reach
        near = sorted_[np.append(close, False) | np.append(False, close)]
        if len(near):
            may_be = np.flatnonzero(_share_top(near, key))
            wanted = key[may_be]
            found[may_be] |= near[np.minimum(np.searchsorted(near, wanted), len(near) - 1)] == wanted
    return rows[found]


def _share_top(some: _Bits, key: _Bits) -> NDArray[np.bool_]:
    """Keys whose first bits are those of one of some keys: a quick sieve."""
    there = np.zeros(1 << _TOP_BITS, dtype=bool)
    down = np.uint64(64 - _TOP_BITS)
    there[some >> down] = True
    found: NDArray[np.bool_] = there[key >> down]
    return found


def _keys(group: _Bits, x_m: _Axis, y_m: _Axis, *, reach_m: float) -> tuple[tuple[_Bits, _Bits], np.uint64]:
    """For each row the key of its strip and place, also with the strips moved, and how far near ones are apart."""
    x_off = x_m - x_m.min()
    step_m = max(_LEAST_STEP_M, float(x_off.max()) / 2 ** (int(_PLACE_BITS) - 1))
    place = (x_off / step_m).astype(np.uint64)
    across = (y_m - y_m.min()) / (2 * reach_m)
    found = []
    for shift in (0.0, 0.5):
        key = (across + shift).astype(np.uint64)
        key *= _SPREAD[1]
        key += group
        key ^= key >> np.uint64(32)
        key *= _SPREAD[2]
        key >>= _PLACE_BITS
        key <<= _PLACE_BITS
        key |= place
        found.append(key)
    return (found[0], found[1]), np.uint64(np.ceil(reach_m / step_m) + 1)


@dataclass(kw_only=True)
class NearPairs:
    """Pairs of rows that may be within reach, in batches, each pair once.

    After the pairs are used up ``crowded`` holds rows of piles: a pair of two of them may not have come.
    """

    strips: tuple[Strip, Strip]
    count: int  # of all rows, sorted here or not
    crowded: NDArray[np.bool_] = field(init=False)

    def __post_init__(self) -> None:
        self.crowded = np.zeros(self.count, dtype=bool)

    def __iter__(self) -> Iterator[tuple[_Rows, _Rows]]:
        first, second = self.strips
        yield from self._along(first)
        key = np.zeros(self.count, dtype=np.uint64)
        key[first.order] = first.key
        for p, q in self._along(second):
            new = np.maximum(key[p], key[q]) - np.minimum(key[p], key[q]) > first.reach
            yield p[new], q[new]

    def _along(self, strip: Strip) -> Iterator[tuple[_Rows, _Rows]]:
        """Each row with the next one, the next but one and so on, while they are within reach."""
        order, key = strip.order, strip.key
        at, step, given = np.arange(len(order)), 0, 0
        while True:
            step += 1
            at = at[at + step < len(order)]
            at = at[key[at + step] - key[at] <= strip.reach]
            given += len(at)
            if given > MOST_PAIRS + MOST_EACH * len(order):
                # of every pair still to come both rows are marked: the keys between theirs lie closer still
                self.crowded[order[at]] = True
                self.crowded[order[at + step]] = True
                return
            if not len(at):
                return
            yield order[at], order[at + step]
