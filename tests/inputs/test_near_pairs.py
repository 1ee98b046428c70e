"""Every pair within reach is found, held against all pairs measured one by one."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from invasimap.inputs import near_pairs
from invasimap.inputs.near_pairs import NearPairs, mixed, strips, with_neighbours


def measured(group, x, y, reach_m):
    """All pairs of a group within reach, by measuring every one."""
    away = np.hypot(x[:, None] - x, y[:, None] - y)
    one, other = np.nonzero((away <= reach_m) & (group[:, None] == group))
    return {(int(p), int(q)) for p, q in zip(one, other, strict=True) if p < q}


def found(group, x, y, reach_m, rows=None):
    rows = np.arange(len(x)) if rows is None else rows
    near = NearPairs(strips=strips(rows, mixed([group]), x, y, reach_m=reach_m), count=int(rows.max()) + 1)
    pairs = [tuple(sorted(pair)) for p, q in near for pair in zip(p.tolist(), q.tolist(), strict=True)]
    assert len(set(pairs)) == len(pairs)
    return set(pairs), near.crowded


@settings(max_examples=70, deadline=None)
@given(st.data())
def test_no_pair_within_reach_is_missed_near_any_border_of_strips(data):
    """Places on multiples of half the reach fall on borders of strips and at just the reach from each other."""
    reach_m = data.draw(st.sampled_from([0.5, 1.0, 7.3, 10.0]))
    count = data.draw(st.integers(2, 40))
    steps = st.lists(st.integers(-8, 8), min_size=count, max_size=count)
    off = st.lists(st.sampled_from([0.0, 1e-9, -1e-9, 1e-3, 0.3]), min_size=count, max_size=count)
    far = data.draw(st.sampled_from([0.0, 1e3, 3e6]))
    x, y = (far + (np.array(data.draw(steps)) / 2 + np.array(data.draw(off))) * reach_m for _ in range(2))
    group = np.array(data.draw(st.lists(st.integers(0, 2), min_size=count, max_size=count)))
    pairs, crowded = found(group, x, y, reach_m)
    assert measured(group, x, y, reach_m) <= pairs
    assert not crowded.any()
    neighbours = with_neighbours(np.arange(count), mixed([group]), x, y, reach_m=reach_m)
    assert {row for pair in measured(group, x, y, reach_m) for row in pair} <= set(neighbours.tolist())
    assert neighbours.tolist() == sorted(set(neighbours.tolist()))


@pytest.mark.parametrize("seed", range(4))
def test_pairs_are_few_more_than_those_within_reach(seed):
    rng = np.random.default_rng(seed)
    x, y, group = rng.uniform(0, 200, 2000), rng.uniform(0, 200, 2000), rng.integers(0, 3, 2000)
    true = measured(group, x, y, 2.0)
    pairs, _ = found(group, x, y, 2.0)
    assert true <= pairs
    assert len(pairs) < 4 * len(true)


def test_rows_keep_their_numbers_when_some_are_left_out():
    rows = np.array([4, 7, 9])
    pairs, _ = found(np.zeros(3, dtype=int), np.array([0.0, 50.0, 0.4]), np.zeros(3), 1.0, rows=rows)
    assert pairs == {(4, 9)}


def test_in_a_pile_a_pair_that_did_not_come_has_both_rows_marked(monkeypatch):
    monkeypatch.setattr(near_pairs, "MOST_PAIRS", 300)
    rng = np.random.default_rng(7)
    x = np.concatenate([rng.uniform(0, 1, 80), np.arange(10, 110, 10.0), np.arange(10, 110, 10.0) + 0.5])
    y, group = np.zeros(len(x)), np.zeros(len(x), dtype=int)
    pairs, crowded = found(group, x, y, 1.0)
    missed = measured(group, x, y, 1.0) - pairs
    assert missed and all(crowded[p] and crowded[q] for p, q in missed)
    assert not crowded[80:].any()


def test_window_holds_every_row_within_reach():
    rng = np.random.default_rng(2)
    x, y = rng.uniform(0, 20, 300), rng.uniform(0, 20, 300)
    both = strips(np.arange(300), mixed([np.zeros(300, dtype=int)]), x, y, reach_m=1.5)
    at = [strip.positions(300) for strip in both]
    away = np.hypot(x[:, None] - x, y[:, None] - y)
    for row in range(300):
        seen = {int(r) for strip, position in zip(both, at, strict=True) for r in strip.window(int(position[row]))}
        assert set(np.flatnonzero(away[row] <= 1.5).tolist()) <= seen


def test_equal_rows_have_equal_bits_and_others_do_not():
    rng = np.random.default_rng(1)
    whole, real = rng.integers(-1, 50, 5000), rng.choice([0.0, -0.0, 0.5, 1e-300, 1e300], 5000)
    bits = mixed([whole, real])
    rows = list(zip(whole.tolist(), (real + 0.0).tolist(), strict=True))
    assert len(set(bits.tolist())) == len(set(rows))
    assert all(len(set(bits[[r == row for r in rows]].tolist())) == 1 for row in set(rows[:20]))
