"""Records that came twice, as when a receiver is emptied into two files: one stays, the others name it."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from invasimap.inputs.near_pairs import NearPairs, Strip, mixed, strips, with_neighbours

SAME_FILE_M: Final = 0.5
LEAST_M, UNKNOWN_M, MOST_M = 0.5, 1.0, 10.0  # of an accuracy, between different files
SAME_OUTLINE: Final = 0.01  # share of the smaller area by which two outlines of one patch may differ
_SAME_VALUE: Final = 1e-6
_MOST_CENTRES: Final = 5_000  # records of piles that are held against all others there
_MOST_IN_PILES: Final = 20_000_000  # comparisons in piles
_OUTLINE: Final = 25  # how many comparisons of points one of outlines stands for
_MOST_DRAWN: Final = 100_000  # outlines of which the difference is drawn
_MOST_NOTES: Final = 20

_Axis = NDArray[np.float64]
_Rows = NDArray[np.intp]
_Mask = NDArray[np.bool_]
_Codes = NDArray[np.int64]


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
        0 point, 1 line, 2 polygon.
    species, date, observer, time
        Codes. A time of day tells apart only records of one file: files keep time in different zones.
    cover_low_pct, cover_high_pct, a_m, b_m, height_m
        NaN where not stated by the record itself.
    outlines
        Gives the shapes (working system) of rows that are lines or polygons; asked only for rows that may be copies.
        ``shapes.__getitem__`` serves. Without it lines and polygons are never copies.
    """

    file: _Codes
    record: _Codes
    files: Sequence[str]
    x_m: _Axis
    y_m: _Axis
    kind: _Codes
    species: _Codes
    date: _Codes
    observer: _Codes
    cover_low_pct: _Axis
    cover_high_pct: _Axis
    a_m: _Axis
    b_m: _Axis
    height_m: _Axis
    accuracy_m: _Axis
    time: _Codes | None = None
    outlines: Callable[[_Rows], NDArray[np.object_]] | None = None

    def name(self, row: int) -> str:
        """A record as it is named in messages."""
        return f"{self.files[int(self.file[row])]} record {int(self.record[row])}"


@dataclass(frozen=True, kw_only=True)
class Copies:
    """Which records are copies, of which row (-1 for those that stay), and what a person should look at."""

    copy: _Mask
    of: _Rows
    notes: list[str]

    def reasons(self, records: Records) -> NDArray[np.object_]:
        """The reason for leaving out each copy, "" for those that stay."""
        said = np.full(len(self.copy), "", dtype=object)
        rows = np.flatnonzero(self.copy)
        said[rows] = [f"the same record as {records.name(row)}, which is kept" for row in self.of[rows].tolist()]
        return said


def find_copies(records: Records) -> Copies:
    """Records that another one holds already.

    A copy has the same kind, species and date, no stated cover, size, height or observer that differs, and the same
    place: within 0.5 m in one file, between files within the smaller accuracy (0.5 to 10 m; 1 m where not stated);
    outlines differ by at most 1 % of the area, lines by that distance. Of copies the one with more stated fields
    stays, then the earlier. Each copy is within the distance of the very record that stays for it: a chain of records
    is not drawn together. Alike but for their observers, two records are noted and both stay.

    Examples
    --------
    >>> code, blank = np.zeros(2, dtype=np.int64), np.full(2, np.nan)
    >>> twice = Records(file=np.array([0, 1]), record=np.array([1, 7]), files=["a.csv", "b.gpx"], kind=code,
    ...     x_m=np.array([0.0, 0.3]), y_m=np.zeros(2), species=code, date=code, observer=code, cover_low_pct=blank,
    ...     cover_high_pct=blank, a_m=blank, b_m=blank, height_m=blank, accuracy_m=blank)
    >>> find_copies(twice).reasons(twice).tolist()
    ['', 'the same record as a.csv record 1, which is kept']
    """
    of = np.full(len(records.x_m), -1, dtype=np.intp)
    if len(of) < 2:
        return Copies(copy=of >= 0, of=of, notes=[])
    own_m = np.clip(np.nan_to_num(records.accuracy_m, nan=UNKNOWN_M), LEAST_M, MOST_M)
    several = bool((records.file != records.file[0]).any())
    reach_m = float(own_m.max()) if several else SAME_FILE_M
    group = mixed([records.species, records.date, records.kind])
    rows = with_neighbours(strips(group, records.x_m, records.y_m, reach_m=reach_m))
    if not len(rows):
        return Copies(copy=of >= 0, of=of, notes=[])
    first = _same_in_all(records, rows)
    single = rows[first == rows]
    sorted_strips = strips(group[single], records.x_m[single], records.y_m[single], reach_m=reach_m)
    test = _Test(records=_taken(records, single), own_m=own_m[single])
    kept_for, notes = _stay(test, sorted_strips)
    of[single] = np.where(kept_for >= 0, single[kept_for], -1)
    copied = first != rows
    stays = np.where(of[first] >= 0, of[first], first)
    of[rows[copied]] = stays[copied]
    return Copies(copy=of >= 0, of=of, notes=notes)


def _taken(records: Records, rows: _Rows) -> Records:
    """Some of the records."""
    columns: dict[str, Any] = {
        name: value[rows] for name, value in vars(records).items() if isinstance(value, np.ndarray)
    }
    outlines = records.outlines
    shapes = None if outlines is None else lambda at: outlines(rows[at])
    return dataclasses.replace(records, **columns, outlines=shapes)


def _values(records: Records) -> list[_Axis]:
    """What a record says in numbers, its place left out."""
    return [
        records.cover_low_pct, records.cover_high_pct, records.a_m, records.b_m, records.height_m, records.accuracy_m
    ]  # fmt: skip


def _same_in_all(records: Records, rows: _Rows) -> _Rows:
    """For each row the first one that equals it in everything, file and outline too: itself where there is none."""
    codes = [records.file, records.species, records.date, records.kind, records.observer]
    codes += [] if records.time is None else [records.time]
    numbers = [records.x_m, records.y_m, *(np.nan_to_num(value, nan=-1.0) for value in _values(records))]
    columns = [column[rows] for column in (*codes, *numbers)]
    _, at, back = np.unique(mixed(columns), return_index=True, return_inverse=True)
    first = at[back]
    equal = np.ones(len(rows), dtype=bool)
    for column in columns:  # equal bits are not yet equal columns
        equal &= column == column[first]
    shaped = np.flatnonzero(equal & (records.kind[rows] > 0) & (first != np.arange(len(rows))))
    if records.outlines is None:
        equal[shaped] = False
    elif len(shaped):
        equal[shaped] = shapely.equals_exact(records.outlines(rows[shaped]), records.outlines(rows[first[shaped]]))
    return np.where(equal, rows[first], rows)


@dataclass(kw_only=True)
class _Test:
    """Whether two records are one."""

    records: Records
    own_m: _Axis
    drawn: int = 0  # differences of outlines drawn so far
    undrawn: int = 0  # pairs of outlines left out because there were too many: they count as two patches

    def alike(self, p: _Rows, q: _Rows) -> tuple[_Rows, _Rows]:
        """The pairs that are one record but for their observers."""
        for keep in (self._near, self._same_codes, self._same_values):
            good = keep(p, q)
            p, q = p[good], q[good]
        shaped = np.flatnonzero(self.records.kind[p] > 0)
        if len(shaped):
            good = np.ones(len(p), dtype=bool)
            good[shaped] = self._same_outline(p[shaped], q[shaped])
            p, q = p[good], q[good]
        return p, q

    def same_observer(self, p: _Rows, q: _Rows) -> _Mask:
        """Whether the observers do not contradict each other."""
        one, other = self.records.observer[p], self.records.observer[q]
        return (one == other) | (one < 0) | (other < 0)

    def tolerance_m(self, p: _Rows, q: _Rows) -> _Axis:
        """How far apart two records may lie."""
        same_file = self.records.file[p] == self.records.file[q]
        return np.where(same_file, SAME_FILE_M, np.minimum(self.own_m[p], self.own_m[q]))

    def _near(self, p: _Rows, q: _Rows) -> _Mask:
        r = self.records
        away_m = np.hypot(r.x_m[p] - r.x_m[q], r.y_m[p] - r.y_m[q])
        near = away_m <= MOST_M
        near[near] = away_m[near] <= self.tolerance_m(p[near], q[near])
        return near

    def _same_codes(self, p: _Rows, q: _Rows) -> _Mask:
        r = self.records
        same: _Mask = (r.species[p] == r.species[q]) & (r.date[p] == r.date[q]) & (r.kind[p] == r.kind[q])
        if r.time is not None:
            one, other = r.time[p], r.time[q]
            same &= (one == other) | (one < 0) | (other < 0) | (r.file[p] != r.file[q])
        return same

    def _same_values(self, p: _Rows, q: _Rows) -> _Mask:
        same = np.ones(len(p), dtype=bool)
        for value in _values(self.records)[:-1]:  # an accuracy says nothing of the patch
            one, other = value[p], value[q]
            near = np.abs(one - other) <= _SAME_VALUE * np.maximum(np.abs(one), np.abs(other))
            same &= near | np.isnan(one) | np.isnan(other)
        return same

    def _same_outline(self, p: _Rows, q: _Rows) -> _Mask:
        if self.records.outlines is None:
            return np.zeros(len(p), dtype=bool)
        one, other = self.records.outlines(p), self.records.outlines(q)
        lines = self.records.kind[p] == 1
        same = np.zeros(len(p), dtype=bool)
        same[lines] = shapely.hausdorff_distance(one[lines], other[lines]) <= self.tolerance_m(p, q)[lines]
        same[~lines] = self._same_ground(one[~lines], other[~lines])
        return same

    def _same_ground(self, one: NDArray[np.object_], other: NDArray[np.object_]) -> _Mask:
        """Polygons that differ by at most 1 % of the smaller area; differences are drawn for doubtful ones only."""
        allowed_m2 = SAME_OUTLINE * np.minimum(shapely.area(one), shapely.area(other))
        may = np.abs(shapely.area(one) - shapely.area(other)) <= allowed_m2
        # corners that move by d sweep about d times the outline's length: half the allowance leaves room for the rest
        corner_m = allowed_m2 / 2 / np.maximum(shapely.length(one), 1e-9)
        same = may & shapely.equals_exact(one, other, tolerance=corner_m)
        ask = np.flatnonzero(may & ~same)
        room = max(_MOST_DRAWN - self.drawn, 0)
        self.undrawn += len(ask[room:])
        ask = ask[:room]
        self.drawn += len(ask)
        # formats turn rings round
        same[ask] = shapely.equals_exact(shapely.normalize(one[ask]), shapely.normalize(other[ask]), corner_m[ask])
        ask = ask[~same[ask]]
        differ = shapely.symmetric_difference(_valid(one[ask]), _valid(other[ask]))
        same[ask] = shapely.area(differ) <= allowed_m2[ask]
        return same


def _valid(shapes: NDArray[np.object_]) -> NDArray[np.object_]:
    bad = ~shapely.is_valid(shapes)
    found = shapes.copy()
    found[bad] = shapely.make_valid(shapes[bad])
    return found


def _stay(test: _Test, sorted_strips: tuple[Strip, Strip]) -> tuple[_Rows, list[str]]:
    """For each row the row that stays for it, -1 for those that stay, and notes."""
    near = NearPairs(strips=sorted_strips)
    found = [test.alike(*pair) for pair in near]
    p, q = _once(np.concatenate([f[0] for f in found]), np.concatenate([f[1] for f in found])) if found else _NO_PAIRS
    same = test.same_observer(p, q)
    pairs = p[same], q[same]
    count = len(test.own_m)
    _, labels = connected_components(coo_array((np.ones(len(pairs[0])), pairs), shape=(count, count)), directed=False)
    part = labels.astype(np.intp)
    rank = _ranks(test, part, pairs)
    of = np.full(count, -1, dtype=np.intp)
    in_pile = np.zeros(count, dtype=bool)
    in_pile[part[near.crowded]] = True
    pile = in_pile[part]
    left = _settle_piles(test, sorted_strips, rank=rank, pile=pile, of=of)
    open_ = (~pile | left)[pairs[0]] & (of[pairs[0]] < 0) & (~pile | left)[pairs[1]] & (of[pairs[1]] < 0)
    by_rank = _by_rank(rank, pairs[0][open_], pairs[1][open_])
    of = np.where(of < 0, by_rank, of)
    both = ~same & (of[p] < 0) & (of[q] < 0)
    return of, [*_left_notes(test, left), *_observer_notes(test, p[both], q[both])]


_NO_PAIRS: Final = (np.empty(0, dtype=np.intp), np.empty(0, dtype=np.intp))


def _once(p: _Rows, q: _Rows) -> tuple[_Rows, _Rows]:
    """Each pair once, the smaller row first."""
    pairs = np.sort(np.minimum(p, q) << 32 | np.maximum(p, q))
    pairs = pairs[np.append(True, pairs[1:] != pairs[:-1])] if len(pairs) else pairs
    return pairs >> 32, pairs & 0xFFFFFFFF


def _ranks(test: _Test, part: _Rows, pairs: tuple[_Rows, _Rows]) -> _Rows:
    """Who stays before whom: more stated fields first, then the earlier record.

    Where the records of a part are not all alike (a chain), an order that the input's order does not change decides
    in place of the earlier record, so that the number of copies does not depend on which file comes first. It is a
    shuffled one: a long chain then falls apart at once, not link by link.
    """
    r = test.records
    stated = np.sum([~np.isnan(value) for value in _values(r)], axis=0) + (r.observer >= 0)
    stated += 0 if r.time is None else r.time >= 0
    sizes = np.bincount(part)
    links = np.bincount(part[pairs[0]], minlength=len(sizes))
    all_alike = (links == sizes * (sizes - 1) // 2)[part]
    shuffled = mixed([r.x_m, r.y_m, *(np.nan_to_num(value, nan=-1.0) for value in _values(r))])
    count = len(part)
    order = np.lexsort((np.arange(count), np.where(all_alike, np.uint64(0), shuffled), -stated))
    rank = np.empty(count, dtype=np.intp)
    rank[order] = np.arange(count)
    return rank


def _by_rank(rank: _Rows, p: _Rows, q: _Rows) -> _Rows:
    """The row that stays for each: in order of rank, a row stays unless one that it is a copy of does."""
    better, worse = np.where(rank[p] < rank[q], p, q), np.where(rank[p] < rank[q], q, p)
    stays = np.zeros(len(rank), dtype=bool)
    decided = np.ones(len(rank), dtype=bool)
    decided[p] = decided[q] = False
    a, b = better, worse
    while len(a):
        blocked = np.zeros(len(rank), dtype=bool)
        blocked[b[~decided[a]]] = True
        new = ~decided & ~blocked
        stays |= new
        decided |= new
        decided[b[stays[a]]] = True
        a, b = a[~decided[b]], b[~decided[b]]
    took = stays[better] & ~stays[worse]
    best = np.full(len(rank), len(rank), dtype=np.intp)
    np.minimum.at(best, worse[took], rank[better[took]])
    row_of = np.append(np.argsort(rank), -1)  # the row of each rank, and none
    return row_of[best]


def _settle_piles(test: _Test, sorted_strips: tuple[Strip, Strip], *, rank: _Rows, pile: _Mask, of: _Rows) -> _Mask:
    """Rows of piles one after the other by rank, each that stays held against all near it; fills ``of``.

    Gives the rows for which that would have taken too long.
    """
    left = pile.copy()
    position = [np.argsort(strip.order) for strip in sorted_strips] if pile.any() else []
    rows = np.flatnonzero(pile)
    centres, compared = 0, 0
    for row in rows[np.argsort(rank[rows])].tolist():
        if not left[row]:
            continue
        if centres >= _MOST_CENTRES or compared >= _MOST_IN_PILES:
            return left
        left[row] = False
        near = np.concatenate([s.window(int(at[row])) for at, s in zip(position, sorted_strips, strict=True)])
        near = near[left[near]]
        centres, compared = centres + 1, compared + len(near) * (_OUTLINE if test.records.kind[row] else 1)
        centre, copies = test.alike(np.full(len(near), row, dtype=np.intp), near)
        copies = copies[test.same_observer(centre, copies)]
        of[copies], left[copies] = row, False
    return left


def _left_notes(test: _Test, left: _Mask) -> list[str]:
    said = "were not all compared: copies may be left among them"
    notes = []
    if left.any():
        first = test.records.name(int(left.argmax()))
        notes.append(f"{int(left.sum()):,} records that lie close together, such as {first}, {said}")
    if test.undrawn:
        notes.append(f"{test.undrawn:,} pairs of outlines that lie on one another {said}")
    return notes


def _observer_notes(test: _Test, p: _Rows, q: _Rows) -> list[str]:
    rows = sorted(sorted(pair) for pair in zip(p.tolist(), q.tolist(), strict=True))
    name = test.records.name
    notes = [f"may be the same patch: {name(one)} and {name(other)}" for one, other in rows[:_MOST_NOTES]]
    more = len(rows) - len(notes)
    if more > 0:
        notes.append(f"may be the same patch: {more:,} pairs of records more, by different observers")
    return notes
