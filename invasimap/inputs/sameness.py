"""Whether two records of a survey are one: the same plant, day and ground, and nothing stated that differs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

SAME_FILE_M: Final = 0.5
LEAST_M, UNKNOWN_M, MOST_M = 0.5, 1.0, 10.0  # of an accuracy, between different files
SURE_M: Final = 1.0  # between files: what lies farther apart may be two patches that each crew told apart
SAME_OUTLINE: Final = 0.01  # share of the smaller area by which two outlines of one patch may differ
MOST_DRAWN: Final = 1_500_000  # points of outlines whose difference is drawn
_POLYGON: Final = 2
_SAME_VALUE: Final = 1e-6
_DISTANCES: Final = 100  # between points of two lines take as long as one point of a drawn outline

_Axis = NDArray[np.float64]
_Rows = NDArray[np.intp]
_Mask = NDArray[np.bool_]
_Codes = NDArray[np.int64]
_Shapes = NDArray[np.object_]


@dataclass(frozen=True, kw_only=True)
class Records:
    """All accepted records of a survey in input order, a column each; codes are whole numbers, -1 where blank.

    Attributes
    ----------
    file, record, files
        Code of the file, number of the record in it, and the files' names by their codes.
    x_m, y_m, accuracy_m
        A point that stands for the record (its centroid), in the working system; accuracy NaN where not stated.
    kind
        0 point, 1 line, 2 polygon, 3 several points.
    species, date, observer
        Codes.
    words, values
        What else the record itself states of the patch: columns of codes, and of numbers (NaN where not stated).
    outlines
        Gives the valid shapes (working system) of rows of kinds above 0; asked only for rows that may be copies.
    """

    file: _Codes
    record: _Codes
    files: Sequence[str]
    x_m: _Axis
    y_m: _Axis
    accuracy_m: _Axis
    kind: _Codes
    species: _Codes
    date: _Codes
    observer: _Codes
    words: Sequence[_Codes]
    values: Sequence[_Axis]
    outlines: Callable[[_Rows], _Shapes]

    def __len__(self) -> int:
        return len(self.x_m)

    def name(self, row: int) -> str:
        """A record as it is named in messages."""
        return f"{self.files[int(self.file[row])]} record {int(self.record[row])}"

    def away_m(self, p: _Rows, q: _Rows) -> _Axis:
        """How far apart records lie."""
        found: _Axis = np.hypot(self.x_m[p] - self.x_m[q], self.y_m[p] - self.y_m[q])
        return found


@dataclass(kw_only=True)
class Sameness:
    """Whether two records are one: ``across`` files, else within a file.

    Where too many doubtful outlines would have to be drawn the others count as different, and in ``undrawn``.
    """

    records: Records
    across: bool
    drawn: float = 0.0
    undrawn: int = 0
    own_m: _Axis = field(init=False)
    _tidy: _Shapes = field(init=False)  # outlines with rings turned and started in one way
    _area_m2: _Axis = field(init=False)
    _length_m: _Axis = field(init=False)
    _corners: _Axis = field(init=False)
    _bounds: _Axis = field(init=False)  # (records, 4)

    def __post_init__(self) -> None:
        self.own_m = np.clip(np.nan_to_num(self.records.accuracy_m, nan=UNKNOWN_M), LEAST_M, MOST_M)
        count = len(self.records)
        self._tidy = np.full(count, None, dtype=object)
        self._area_m2, self._length_m, self._corners = np.empty(count), np.empty(count), np.empty(count)
        self._bounds = np.empty((count, 4))

    @property
    def reach_m(self) -> float:
        """How far apart two records may lie at most."""
        return float(self.own_m.max()) if self.across else SAME_FILE_M

    def alike(self, p: _Rows, q: _Rows) -> tuple[_Rows, _Rows]:
        """The pairs that are one record but for their observers."""
        for keep in (self._near, self._same_codes, self._same_values, self._same_outline):
            good = keep(p, q)
            p, q = p[good], q[good]
        return p, q

    def same_observer(self, p: _Rows, q: _Rows) -> _Mask:
        """Whether the observers do not contradict each other."""
        return _same_or_blank(self.records.observer, p, q)

    def sure(self, p: _Rows, q: _Rows) -> _Mask:
        """Which alike pairs lie as good as on the same place; the others are to be looked at by a person."""
        if not self.across:
            return np.ones(len(p), dtype=bool)
        kind = self.records.kind[p]
        found: _Mask = (kind == _POLYGON) | (self.records.away_m(p, q) <= SURE_M)  # polygons share their ground
        at = np.flatnonzero(found & (kind != 0) & (kind != _POLYGON))
        if len(at):
            found[at] = self._beside(p[at], q[at], most_m=SURE_M)
        return found

    def tolerance_m(self, p: _Rows, q: _Rows) -> _Axis:
        """How far apart two records may lie."""
        return np.minimum(self.own_m[p], self.own_m[q]) if self.across else np.full(len(p), SAME_FILE_M)

    def _near(self, p: _Rows, q: _Rows) -> _Mask:
        file = self.records.file
        near: _Mask = (self.records.away_m(p, q) <= self.tolerance_m(p, q)) & ((file[p] != file[q]) == self.across)
        return near

    def _same_codes(self, p: _Rows, q: _Rows) -> _Mask:
        r = self.records
        same: _Mask = (r.species[p] == r.species[q]) & (r.date[p] == r.date[q]) & (r.kind[p] == r.kind[q])
        for word in r.words:
            same &= _same_or_blank(word, p, q)
        return same

    def _same_values(self, p: _Rows, q: _Rows) -> _Mask:
        same = np.ones(len(p), dtype=bool)
        for value in self.records.values:
            one, other = value[p], value[q]
            near = np.abs(one - other) <= _SAME_VALUE * np.maximum(np.abs(one), np.abs(other))
            same &= near | np.isnan(one) | np.isnan(other)
        return same

    def _same_outline(self, p: _Rows, q: _Rows) -> _Mask:
        """Polygons differ by at most 1 % of the smaller area, lines and several points lie within the tolerance."""
        kind = self.records.kind[p]
        same = kind == 0
        for shaped, compare in (
            (kind == _POLYGON, self._same_ground),
            ((kind != 0) & (kind != _POLYGON), self._beside),
        ):
            at = np.flatnonzero(shaped)
            if len(at):
                self._measure(p[at], q[at])
                same[at] = compare(p[at], q[at])
        return same

    def _measure(self, *rows: _Rows) -> None:
        """Measure outlines once each: a record may come in many pairs."""
        new = np.zeros(len(self.records), dtype=bool)
        for some in rows:
            new[some] = True
        at = np.flatnonzero(new & shapely.is_missing(self._tidy))
        shapes = self.records.outlines(at)
        self._tidy[at] = shapely.normalize(shapes)
        self._area_m2[at], self._length_m[at] = shapely.area(shapes), shapely.length(shapes)
        self._corners[at], self._bounds[at] = shapely.get_num_coordinates(shapes), shapely.bounds(shapes)

    def _beside(self, p: _Rows, q: _Rows, *, most_m: float = MOST_M) -> _Mask:
        """Shapes of which no corner lies off the other by more than the tolerance, and ``most_m``."""
        allowed_m = np.minimum(self.tolerance_m(p, q), most_m)
        # shapes within a distance have bounds within it
        may = np.abs(self._bounds[p] - self._bounds[q]).max(axis=1) <= allowed_m
        same, ask = self._same_corners(p, q, may=may, corner_m=allowed_m)
        ask = ask[self._afford(self._corners[p[ask]] * self._corners[q[ask]] / _DISTANCES)]
        same[ask] = shapely.hausdorff_distance(self._tidy[p[ask]], self._tidy[q[ask]]) <= allowed_m[ask]
        return same

    def _same_ground(self, p: _Rows, q: _Rows) -> _Mask:
        allowed_m2 = SAME_OUTLINE * np.minimum(self._area_m2[p], self._area_m2[q])
        may = np.abs(self._area_m2[p] - self._area_m2[q]) <= allowed_m2
        may &= self._moments_agree(p, q, allowed_m2)
        # corners that move by d sweep about d times the outline's length: half the allowance leaves room for the rest
        corner_m = allowed_m2 / 2 / np.maximum(self._length_m[p], 1e-9)
        same, ask = self._same_corners(p, q, may=may, corner_m=corner_m)
        ask = ask[self._afford(self._corners[p[ask]] + self._corners[q[ask]])]
        differ_m2 = shapely.area(shapely.symmetric_difference(self._tidy[p[ask]], self._tidy[q[ask]]))
        same[ask] = differ_m2 <= allowed_m2[ask]
        return same

    def _moments_agree(self, p: _Rows, q: _Rows, allowed_m2: _Axis) -> _Mask:
        """Whether two polygons may differ by so little ground.

        Ground added or taken within a circle of radius R changes the moment about its middle by at most R times its
        area: where the moments differ by more, the difference need not be drawn.
        """
        r = self.records
        low = np.minimum(self._bounds[p, :2], self._bounds[q, :2])
        high = np.maximum(self._bounds[p, 2:], self._bounds[q, 2:])
        middle = (low + high) / 2
        moments = [
            self._area_m2[rows, None] * (np.column_stack([r.x_m[rows], r.y_m[rows]]) - middle) for rows in (p, q)
        ]
        farthest_m = np.hypot(*(high - low).T) / 2
        found: _Mask = np.hypot(*(moments[0] - moments[1]).T) <= allowed_m2 * farthest_m * (1 + 1e-6) + 1e-9
        return found

    def _same_corners(self, p: _Rows, q: _Rows, *, may: _Mask, corner_m: _Axis) -> tuple[_Mask, _Rows]:
        """Pairs whose corners agree one by one, and those of the others that may be the same all the same."""
        same = may.copy()  # of tidied shapes: formats turn rings round
        same[may] = shapely.equals_exact(self._tidy[p[may]], self._tidy[q[may]], tolerance=corner_m[may])
        return same, np.flatnonzero(may & ~same)

    def _afford(self, points: NDArray[np.number]) -> _Mask:
        """Which pairs can still be drawn."""
        total = self.drawn + np.cumsum(points)
        good: _Mask = total <= MOST_DRAWN
        self.drawn = float(total[good][-1]) if good.any() else self.drawn
        self.undrawn += int((~good).sum())
        return good


def _same_or_blank(code: _Codes, p: _Rows, q: _Rows) -> _Mask:
    one, other = code[p], code[q]
    same: _Mask = (one == other) | (one < 0) | (other < 0)
    return same
