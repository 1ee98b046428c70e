"""Records that came twice, as when a receiver is emptied into two files: one stays, the others name it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from invasimap.inputs.near_pairs import NearPairs, Strip, mixed, strips, with_neighbours
from invasimap.inputs.sameness import UNKNOWN_M, Records, Sameness

COPY: Final = "the same record as"  # how the reason of a copy begins
_MOST_CENTRES: Final = 5_000  # records of piles that are held against all others there
_MOST_IN_PILES: Final = 10_000_000  # comparisons in piles
_OUTLINE: Final = 25  # how many comparisons of points one of outlines stands for
_MOST_NOTES: Final = 20

_Rows = NDArray[np.intp]
_Mask = NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class Copies:
    """Which records are copies, of which row (-1 for those that stay), and what a person should look at."""

    of: _Rows
    notes: list[str]

    @property
    def copy(self) -> _Mask:
        """Which records are left out."""
        return self.of >= 0

    def reasons(self, records: Records) -> list[str]:
        """The reason for leaving out each copy, in order."""
        rows = np.flatnonzero(self.copy)
        kept = self.of[rows]
        away_m = records.away_m(rows, kept)
        # what rounding does not explain, a person should see
        far = [f" ({away:.1f} m off)" if away > UNKNOWN_M else "" for away in away_m.tolist()]
        return [f"{COPY} {records.name(row)}{off}, which is kept" for row, off in zip(kept.tolist(), far, strict=True)]


def find_copies(records: Records) -> Copies:
    """Records that another one holds already.

    A copy has the same kind, species and date, no stated value or observer that differs, and the same place: within
    0.5 m in one file, between files within 1 m (0.5 m where both are more accurate); outlines differ by at most 1 % of
    the area, lines by that distance. Records that a file itself tells apart are never copies of one: between two files
    each must be the other's nearest. Of copies the one with more stated values stays, then the earlier; a chain of
    records is not drawn together. Two records that are alike but for their observers, or that lie farther apart but
    within the smaller accuracy (to 10 m), both stay and are noted.

    Examples
    --------
    >>> code, blank = np.zeros(2, dtype=np.int64), np.full(2, np.nan)
    >>> twice = Records(file=np.array([0, 1]), record=np.array([1, 7]), files=["a.csv", "b.gpx"], kind=code,
    ...     x_m=np.array([0.0, 0.3]), y_m=np.zeros(2), accuracy_m=blank, species=code, date=code, observer=code,
    ...     words=[], values=[], outlines=np.array([None, None]).__getitem__)
    >>> find_copies(twice).reasons(twice)
    ['the same record as a.csv record 1, which is kept']
    """
    of = np.full(len(records), -1, dtype=np.intp)
    notes: list[str] = []
    for across in (False, True):
        test = Sameness(records=records, across=across)
        rows = np.flatnonzero(of < 0)
        if len(rows) < 2 or (across and (records.file == records.file[0]).all()):
            break
        near = with_neighbours(*_sides(test, rows), reach_m=test.reach_m)
        if not across:
            of[near] = _same_in_all(records, near)
            near = near[of[near] < 0]
        if not len(near):
            continue
        found, said = _stay(test, strips(*_sides(test, near), reach_m=test.reach_m))
        of = np.where(of < 0, found, of)
        of = np.where((of >= 0) & (of[of] >= 0), of[of], of)  # what a copy was kept for may be a copy itself
        notes += said
    return Copies(of=of, notes=notes)


def _sides(test: Sameness, rows: _Rows) -> tuple[_Rows, NDArray[np.uint64], NDArray[np.float64], NDArray[np.float64]]:
    """Rows, their group and where they lie, as ``strips`` takes them."""
    r = test.records
    alike = [column[rows] for column in (r.species, r.date, r.kind, *(() if test.across else (r.file,)))]
    return rows, mixed(alike), r.x_m[rows], r.y_m[rows]


def _same_in_all(records: Records, rows: _Rows) -> _Rows:
    """For each row the first one that equals it in everything, file and outline too; -1 where there is none."""
    numbers = [records.x_m, records.y_m, *(np.nan_to_num(v, nan=-1.0) for v in (*records.values, records.accuracy_m))]
    codes = (records.file, records.species, records.date, records.kind, records.observer, *records.words)
    columns = [column[rows] for column in (*codes, *numbers)]
    _, at, back = np.unique(mixed(columns), return_index=True, return_inverse=True)
    first = at[back]
    equal = first != np.arange(len(rows))
    for column in columns:  # equal bits are not yet equal columns
        equal &= column == column[first]
    shaped = np.flatnonzero(equal & (records.kind[rows] > 0))
    if len(shaped):
        equal[shaped] = shapely.equals_exact(records.outlines(rows[shaped]), records.outlines(rows[first[shaped]]))
    return np.where(equal, rows[first], -1)


def _stay(test: Sameness, sorted_strips: tuple[Strip, Strip]) -> tuple[_Rows, list[str]]:
    """For each row the row that stays for it, -1 for those that stay, and notes."""
    count = len(test.records)
    near = NearPairs(strips=sorted_strips, count=count)
    found = [np.stack(test.alike(*pair)) for pair in near]
    p, q = np.concatenate([np.empty((2, 0), dtype=np.intp), *found], axis=1)
    if not len(p) and not near.crowded.any():
        return np.full(count, -1, dtype=np.intp), _left_notes(test, near.crowded)
    same = test.same_observer(p, q)
    pairs = _nearest(test, p[same], q[same]) if test.across else (p[same], q[same])
    sure = test.sure(*pairs)
    doubtful, pairs = (pairs[0][~sure], pairs[1][~sure]), (pairs[0][sure], pairs[1][sure])
    _, labels = connected_components(coo_array((np.ones(len(pairs[0])), pairs), shape=(count, count)), directed=False)
    part = labels.astype(np.intp)
    rank = _ranks(test.records, part, pairs)
    in_pile = np.zeros(count, dtype=bool)
    in_pile[part[near.crowded]] = True
    pile = in_pile[part]
    of, left = _settle_piles(test, sorted_strips, rank=rank, pile=pile)
    open_ = (of < 0) & (~pile | left)
    both = open_[pairs[0]] & open_[pairs[1]]
    of = np.where(of < 0, _by_rank(rank, pairs[0][both], pairs[1][both]), of)
    apart = ~same & (of[p] < 0) & (of[q] < 0)
    said = _pair_notes(test.records, p[apart], q[apart], why="by different observers")
    both_stay = (of[doubtful[0]] < 0) & (of[doubtful[1]] < 0)
    said += _pair_notes(test.records, *(rows[both_stay] for rows in doubtful), why="as near as their accuracy allows")
    return of, [*_left_notes(test, left), *said]


def _nearest(test: Sameness, p: _Rows, q: _Rows) -> tuple[_Rows, _Rows]:
    """The pairs of which each row is the other's nearest in its file."""
    one, other = np.concatenate([p, q]), np.concatenate([q, p])
    file = test.records.file[other]
    order = np.lexsort((_shuffled(test.records)[other], test.records.away_m(one, other), file, one))
    one_, file_ = one[order], file[order]
    first = np.ones(len(order), dtype=bool)
    first[1:] = (one_[1:] != one_[:-1]) | (file_[1:] != file_[:-1])
    best = np.empty(len(order), dtype=bool)
    best[order] = first
    mutual = best[: len(p)] & best[len(p) :]
    return p[mutual], q[mutual]


def _shuffled(records: Records) -> NDArray[np.uint64]:
    """A shuffled order of records that the order of the input does not change."""
    return mixed(
        [records.x_m, records.y_m, *(np.nan_to_num(v, nan=-1.0) for v in (*records.values, records.accuracy_m))]
    )


def _ranks(records: Records, part: _Rows, pairs: tuple[_Rows, _Rows]) -> _Rows:
    """Who stays before whom: more stated values first, then the earlier record.

    Where the records of a part are not all alike (a chain), an order that the input's order does not change decides
    in place of the earlier record, so that the number of copies does not depend on which file comes first. It is a
    shuffled one: a long chain then falls apart at once, not link by link.
    """
    stated = np.sum([~np.isnan(value) for value in (*records.values, records.accuracy_m)], axis=0)
    stated += np.sum([code >= 0 for code in (*records.words, records.observer)], axis=0)
    sizes = np.bincount(part)
    links = np.bincount(part[pairs[0]], minlength=len(sizes))
    all_alike = (links == sizes * (sizes - 1) // 2)[part]
    order = np.lexsort((np.where(all_alike, np.uint64(0), _shuffled(records)), -stated))  # stable: the earlier first
    rank = np.empty(len(part), dtype=np.intp)
    rank[order] = np.arange(len(part))
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


def _settle_piles(
    test: Sameness, sorted_strips: tuple[Strip, Strip], *, rank: _Rows, pile: _Mask
) -> tuple[_Rows, _Mask]:  # fmt: skip
    """Rows of piles one after the other by rank, each that stays held against all near it.

    Gives for each row the one that stays for it, and the rows for which that would have taken too long.
    """
    of, left = np.full(len(rank), -1, dtype=np.intp), pile.copy()
    position = [strip.positions(len(rank)) for strip in sorted_strips] if pile.any() else []
    rows = np.flatnonzero(pile)
    centres, compared = 0, 0
    for row in rows[np.argsort(rank[rows])].tolist():
        if not left[row]:
            continue
        if centres >= _MOST_CENTRES or compared >= _MOST_IN_PILES:
            break
        left[row] = False
        near = np.concatenate([s.window(int(at[row])) for at, s in zip(position, sorted_strips, strict=True)])
        near = near[left[near]]
        centres, compared = centres + 1, compared + len(near) * (_OUTLINE if test.records.kind[row] else 1)
        centre, copies = test.alike(np.full(len(near), row, dtype=np.intp), near)
        same = test.same_observer(centre, copies)
        copies = copies[same][test.sure(centre[same], copies[same])]
        if test.across:
            by_distance = copies[np.argsort(test.records.away_m(np.full(len(copies), row), copies), kind="stable")]
            copies = by_distance[np.unique(test.records.file[by_distance], return_index=True)[1]]
        of[copies], left[copies] = row, False
    return of, left


def _left_notes(test: Sameness, left: _Mask) -> list[str]:
    said = "were not all compared: copies may be left among them"
    notes = []
    if left.any():
        first = test.records.name(int(left.argmax()))
        notes.append(f"{int(left.sum()):,} records that lie close together, such as {first}, {said}")
    if test.undrawn:
        notes.append(f"{test.undrawn:,} pairs of outlines that lie on one another {said}")
    return notes


def _pair_notes(records: Records, p: _Rows, q: _Rows, *, why: str) -> list[str]:
    """Pairs of records that both stay and that a person should look at."""
    rows = sorted(sorted(pair) for pair in zip(p.tolist(), q.tolist(), strict=True))
    said = "may be the same patch"
    notes = [f"{said}: {records.name(one)} and {records.name(two)}, {why}" for one, two in rows[:_MOST_NOTES]]
    more = len(rows) - len(notes)
    return [*notes, *([f"{said}: {more:,} pairs of records more, {why}"] if more > 0 else [])]
