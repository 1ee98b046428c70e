"""What of many shapes comes near others, told from boxes alone: quick, and never too little."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import shapely

from invasimap.core.geometry import parts_of

Geometries = npt.NDArray[np.object_]
Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]
_MOST_SQUARES = 1_000_000
_TOGETHER = 16


class Boxes:
    """Squares that the boxes of some shapes touch, ready to be asked which other boxes touch any of them.

    Boxes are summed up over the squares once (Crow 1984, summed-area tables), so that every question takes the same
    time however many there are.
    """

    def __init__(self, shapes: Any) -> None:
        bounds = shapely.bounds(np.atleast_1d(np.asarray(shapes, object)))
        bounds = bounds[np.isfinite(bounds).all(axis=1)]
        self.any = bool(len(bounds))
        if not self.any:
            return
        self._low = bounds[:, :2].min(axis=0)
        span = bounds[:, 2:].max(axis=0) - self._low
        self._side = max(float(np.sqrt(span.prod() / _MOST_SQUARES)), float(span.max()) / 30_000, 1e-3)
        self._count = (span / self._side).astype(np.intp) + 1
        first, last = self._squares(bounds[:, :2]), self._squares(bounds[:, 2:])
        marks = np.zeros(self._count + 1, np.int64)
        for column, row, sign in (
            (first, first, 1),
            (last + 1, last + 1, 1),
            (first, last + 1, -1),
            (last + 1, first, -1),
        ):
            at = np.ravel_multi_index((column[:, 0], row[:, 1]), marks.shape)
            marks += sign * np.bincount(at, minlength=marks.size).reshape(marks.shape)
        held = marks.cumsum(axis=0).cumsum(axis=1)[:-1, :-1] > 0
        self._sums = np.zeros(self._count + 1, np.int32)
        self._sums[1:, 1:] = held.cumsum(axis=0, dtype=np.int32).cumsum(axis=1, dtype=np.int32)

    def _squares(self, places: Floats) -> Ints:
        return np.floor((places - self._low) / self._side).astype(np.intp).clip(0, self._count - 1)

    def touch(self, low: Floats, high: Floats) -> npt.NDArray[np.bool_]:
        """Whether each box (its lower left and upper right corner, n by 2) comes to a square that is held."""
        if not self.any:
            return np.zeros(len(low), bool)
        first = np.floor((low - self._low) / self._side).clip(0, self._count).astype(np.intp)
        last = np.floor((high - self._low) / self._side + 1).clip(0, self._count).astype(np.intp)
        (left, bottom), (right, top) = first.T, last.T
        sums = self._sums
        found: npt.NDArray[np.bool_] = sums[right, top] - sums[left, top] - sums[right, bottom] + sums[left, bottom] > 0
        return found


def near_parts(shapes: Any, distance_m: Any, near: Any) -> tuple[Geometries, Ints]:
    """The parts of shapes from which ``distance_m`` can reach the others, and the number of the shape each is of.

    Of lines the runs of segments that come near; points and polygons whole. What is left out is farther from the box of
    any of ``near`` than its distance: a buffer of the parts is the buffer of the shapes wherever ``near`` lies.

    Parameters
    ----------
    shapes
        Points, lines and polygons, also multiple.
    distance_m
        One distance, or one a shape.
    near
        Geometries; an array of many small ones leaves out more than one large one.

    Examples
    --------
    >>> import shapely
    >>> stream = shapely.LineString([(0, 0), (100, 0), (200, 0), (300, 0), (400, 0)])
    >>> parts, of = near_parts([stream], 10.0, [shapely.box(120, 5, 130, 8), shapely.box(0, 900, 1, 901)])
    >>> [part.wkt for part in parts], of.tolist()
    (['LINESTRING (100 0, 200 0)'], [0])
    """
    given = np.atleast_1d(np.asarray(shapes, object))
    boxes = Boxes(near)
    parts, of = parts_of(given)
    held = ~shapely.is_empty(parts)
    parts, of = parts[held], of[held]
    reach = np.broadcast_to(np.asarray(distance_m, float), given.shape)[of]
    kind = shapely.get_dimensions(parts)
    box = shapely.bounds(parts)
    close = boxes.touch(box[:, :2] - reach[:, None], box[:, 2:] + reach[:, None])
    whole, line = np.flatnonzero(close & (kind != 1)), np.flatnonzero(close & (kind == 1))
    coords, at = shapely.get_coordinates(parts[line], return_index=True)
    runs, run_of = _runs(coords, at, reach[line], boxes)
    return np.concatenate([parts[whole], runs]), np.concatenate([of[whole], of[line][run_of]])


def _close(coords: Floats, reach: Floats, boxes: Boxes) -> npt.NDArray[np.bool_]:
    """Which of the segments between neighbouring places come near; first asked of many together."""
    first = np.arange(0, len(coords) - 1, _TOGETHER)
    low, high = np.minimum.reduceat(coords, first), np.maximum.reduceat(coords, first)
    onto = coords[np.minimum(first + _TOGETHER, len(coords) - 1)]  # the last segment of each ends in the next
    edge = np.maximum.reduceat(reach, first)[:, None]
    maybe = boxes.touch(np.minimum(low, onto) - edge, np.maximum(high, onto) + edge)
    asked = np.flatnonzero(np.repeat(maybe, _TOGETHER)[: len(coords) - 1])
    a, b, edge = coords[asked], coords[asked + 1], reach[asked, None]
    close = np.zeros(len(coords) - 1, bool)
    close[asked] = boxes.touch(np.minimum(a, b) - edge, np.maximum(a, b) + edge)
    return close


def _runs(coords: Floats, at: Ints, reach: Floats, boxes: Boxes) -> tuple[Geometries, Ints]:
    """Lines of the neighbouring segments that come near, and the number of the line each was cut from."""
    if not len(coords):
        return np.empty(0, object), np.empty(0, np.intp)
    kept = _close(coords, reach[at], boxes) & (at[:-1] == at[1:])
    begins = kept & ~np.concatenate([[False], kept[:-1]])
    run = np.cumsum(begins) - 1
    first = np.flatnonzero(begins)
    ends = np.flatnonzero(kept & ~np.concatenate([kept[1:], [False]])) + 1  # the last place of each run
    held = np.concatenate([np.flatnonzero(kept), ends])
    number = np.concatenate([run[kept], np.arange(len(first))])
    order = np.argsort(held, kind="stable")
    order = order[np.argsort(number[order], kind="stable")]
    lines: Any = shapely.linestrings(coords[held[order]], indices=number[order])
    return lines, at[first]
