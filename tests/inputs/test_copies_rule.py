"""What stays of records that came twice, held against the rule written out record by record."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from invasimap.inputs import copies, near_pairs, sameness
from invasimap.inputs.copies import find_copies
from invasimap.inputs.sameness import Records

NAN = float("nan")
FILES = ["a.csv", "b.csv", "c.csv"]


def records(rows, *, outlines=None, kind=0):
    """Records of (file, x, y, species, cover, accuracy, observer); numbers count up within a file."""
    file, x, y, species, cover, accuracy, observer = (np.array(column) for column in zip(*rows, strict=True))
    number = np.array([np.sum(file[: k + 1] == file[k]) for k in range(len(file))])
    return Records(
        file=file, record=number, files=FILES, x_m=x.astype(float), y_m=y.astype(float),
        accuracy_m=accuracy.astype(float), kind=np.full(len(file), kind), species=species,
        date=np.zeros(len(file), dtype=int), observer=observer, words=[], values=[cover.astype(float)],
        outlines=(np.full(len(file), None) if outlines is None else outlines).__getitem__,
    )  # fmt: skip


def agree(one, other, blank):
    return one == other or blank in (one, other)


def is_one(a, b):
    """The rule for two records."""
    (file, x, y, species, cover, accuracy, observer), (file_, x_, y_, species_, cover_, accuracy_, observer_) = a, b
    accuracies = [min(max(1.0 if np.isnan(m) else m, 0.5), 1.0) for m in (accuracy, accuracy_)]
    reach = 0.5 if file == file_ else min(accuracies)
    covers = np.isnan(cover) or np.isnan(cover_) or cover == cover_
    return species == species_ and covers and agree(observer, observer_, -1) and np.hypot(x - x_, y - y_) <= reach


def away(a, b):
    return float(np.hypot(a[1] - b[1], a[2] - b[2]))


def check(rows, of):
    """Every copy names a record that stays and is one with it; what stays apart has a reason to."""
    of = of.tolist()
    stays = [k for k, kept in enumerate(of) if kept < 0]
    for copy, kept in enumerate(of):
        if kept < 0:
            continue
        assert of[kept] < 0
        by_way_of = [m for m, to in enumerate(of) if to == kept and is_one(rows[copy], rows[m]) and m != copy]
        assert is_one(rows[copy], rows[kept]) or any(is_one(rows[m], rows[kept]) for m in by_way_of)
    for p, q in itertools.combinations([k for k, kept in enumerate(of) if kept >= 0], 2):
        if of[p] == of[q] and rows[p][0] == rows[q][0] != rows[of[p]][0]:
            assert away(rows[p], rows[q]) <= 1  # both within 0.5 m of the one of their file that is the copy
    for p, q in itertools.combinations(stays, 2):
        if not is_one(rows[p], rows[q]):
            continue
        assert rows[p][0] != rows[q][0]
        nearer = [
            r for one, other in ((p, q), (q, p)) for r in range(len(rows))
            if r not in (p, q) and rows[r][0] == rows[other][0]
            and is_one(rows[r], rows[one]) and away(rows[r], rows[one]) <= away(rows[p], rows[q])
        ]  # fmt: skip
        assert nearer


ROW = st.tuples(
    st.integers(0, 2),
    st.integers(0, 24).map(lambda k: 0.3 * k),
    st.sampled_from([0.0, 0.2]),
    st.sampled_from([0, 0, 0, 1]),
    st.sampled_from([NAN, 40.0, 50.0]),
    st.sampled_from([NAN, 0.1, 2.0, 5.0, 40.0]),
    st.sampled_from([-1, -1, 0, 1]),
)


@settings(max_examples=50, deadline=None)
@given(st.lists(ROW, min_size=1, max_size=14))
def test_rule_holds_for_any_records(rows):
    check(rows, find_copies(records(rows)).of)


@settings(max_examples=60, deadline=None)
@given(st.lists(ROW.map(lambda row: (*row[:6], -1)), min_size=2, max_size=12), st.permutations(range(3)))
def test_order_of_files_does_not_change_how_many_stay(rows, order):
    rows = sorted(rows, key=lambda row: row[0])
    moved = sorted(((order[row[0]], *row[1:]) for row in rows), key=lambda row: row[0])
    assert find_copies(records(rows)).copy.sum() == find_copies(records(moved)).copy.sum()


@settings(max_examples=50, deadline=None)
@given(st.lists(ROW.map(lambda row: (0, *row[1:])), min_size=2, max_size=14))
def test_within_a_file_merging_twice_changes_nothing(rows):
    stays = [row for row, copy in zip(rows, find_copies(records(rows)).copy, strict=True) if not copy]
    assert not find_copies(records(stays)).copy.any()


@settings(max_examples=50, deadline=None)
@given(st.lists(ROW.map(lambda row: (0, *row[1:])), min_size=1, max_size=12))
def test_file_given_twice_counts_as_once(rows):
    alone = [row for row, copy in zip(rows, find_copies(records(rows)).copy, strict=True) if not copy]
    assert find_copies(records([*alone, *((1, *row[1:]) for row in alone)])).copy.sum() == len(alone)


@pytest.mark.parametrize("seed", range(6))
def test_rule_holds_in_piles(seed, monkeypatch):
    """Piles are settled in another way once pairs are too many: here from the first."""
    monkeypatch.setattr(near_pairs, "MOST_PAIRS", 0)
    monkeypatch.setattr(near_pairs, "MOST_EACH", 0)
    rng = np.random.default_rng(seed)
    rows = [
        (int(rng.integers(3)), float(rng.uniform(0, 6)), 0.0, 0, float(rng.choice([NAN, 40.0])), 5.0, -1)
        for _ in range(30)
    ]
    found = find_copies(records(rows))
    of = found.of.tolist()
    assert found.copy.any()
    for copy, kept in enumerate(of):
        assert kept < 0 or (of[kept] < 0 and away(rows[copy], rows[kept]) <= 1.5)
    for p, q in itertools.combinations([k for k, kept in enumerate(of) if kept >= 0], 2):
        if of[p] == of[q] and rows[p][0] == rows[q][0] != rows[of[p]][0]:
            assert away(rows[p], rows[q]) <= 1


def test_pile_that_takes_too_long_is_said_and_stays(monkeypatch):
    monkeypatch.setattr(near_pairs, "MOST_PAIRS", 0)
    monkeypatch.setattr(near_pairs, "MOST_EACH", 0)
    monkeypatch.setattr(copies, "_MOST_CENTRES", 3)
    rows = [(0, 0.001 * k, 0.0, 0, float(k), NAN, -1) for k in range(40)]
    found = find_copies(records(rows))
    assert not found.copy.any()
    said = "37 records that lie close together, such as a.csv record 4, were not all compared"
    assert found.notes == [f"{said}: copies may be left among them"]


def test_of_many_pairs_by_two_observers_the_first_are_named_and_the_rest_counted():
    rows = [(0, 100.0 * k, 0.0, 0, 40.0, NAN, who) for k in range(25) for who in (0, 1)]
    notes = find_copies(records(rows)).notes
    assert (
        len(notes) == 21
        and notes[0] == "may be the same patch: a.csv record 1 and a.csv record 2, by different observers"
    )
    assert notes[-1] == "may be the same patch: 5 pairs of records more, by different observers"


SIDE = st.floats(5, 60)


@settings(max_examples=60, deadline=None)
@given(SIDE, SIDE, st.floats(0, 0.6), st.floats(0.98, 1.02), st.integers(0, 3), st.booleans())
def test_rectangles_are_one_while_the_ground_they_do_not_share_is_under_one_percent(
    wide, high, off, grow, start, turned
):
    """The ground not shared, by hand: both areas less twice the overlap."""
    corners = np.array([(0, 0), (wide, 0), (wide, high), (0, high)])
    moved = np.roll(corners * (grow, 1) + (off, 0), start, axis=0)[:: -1 if turned else 1]
    overlap = max(min(wide, off + wide * grow) - off, 0) * high
    share = (wide * high * (1 + grow) - 2 * overlap) / (wide * high * min(1, grow))
    shapes = shapely.polygons([corners, moved])
    middles = shapely.get_coordinates(shapely.centroid(shapes))
    rows = [(k, *middle, 0, NAN, 5.0, -1) for k, middle in enumerate(middles.tolist())]
    if abs(share - 0.01) > 1e-6:
        assert find_copies(records(rows, outlines=shapes, kind=2)).copy.any() == (share < 0.01)


def test_doubtful_outlines_that_are_not_drawn_stay_and_are_said(monkeypatch):
    monkeypatch.setattr(sameness, "MOST_DRAWN", 15)
    square = shapely.box(0, 0, 20, 20)
    shapes = np.array([square, shapely.segmentize(square, 3), shapely.segmentize(square, 4)], dtype=object)
    found = find_copies(records([(k, 10.0, 10.0, 0, NAN, 5.0, -1) for k in range(3)], outlines=shapes, kind=2))
    assert not found.copy.any()
    assert found.notes == [
        "3 pairs of outlines that lie on one another were not all compared: copies may be left among them"
    ]


def test_identical_records_are_settled_at_once_however_many():
    many = [(0, 0.0, 0.0, 0, 40.0, NAN, -1)] * 3000
    found = find_copies(records(many))
    assert found.of.tolist() == [-1, *[0] * 2999] and not found.notes
