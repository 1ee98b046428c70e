"""Walks over a grid: by hand, and against scipy's Dijkstra over the same steps written out anew."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import csgraph, csr_array

from invasimap.land.walk_kernel import STEPS as KERNEL_STEPS
from invasimap.land.walking import walk_minutes

LEVEL_M_PER_MIN = 5.03674212462 * 1000 / 60


def walks(sources, *, z=None, ground=None, cell=1.0, shape=(41, 41), factors=(1.0,), longest=np.inf):
    start = np.zeros(shape, bool)
    start[tuple(np.transpose(sources))] = True
    ground = np.ones(shape, np.uint8) if ground is None else ground.astype(np.uint8)
    z = np.zeros(shape, np.float32) if z is None else z.astype(np.float32)
    return walk_minutes(start, ground=ground, factors=factors, elevation_m=z, cell_m=cell, max_min=longest)


STEPS = [(d, a) for d in range(-2, 3) for a in range(-2, 3) if 0 < d * d + a * a <= 2 or d * d + a * a == 5]


def swept(row, column, down, across):
    """The cells that a straight step touches besides where it starts."""
    if abs(down) == 2:
        return [(row + down // 2, column), (row + down // 2, column + across), (row + down, column + across)]
    if abs(across) == 2:
        return [(row, column + across // 2), (row + down, column + across // 2), (row + down, column + across)]
    return [(row + down, column), (row, column + across), (row + down, column + across)]


def by_scipy(sources, *, z, ground, cell, factors):
    """Minutes and source by scipy, over steps that touch open cells only."""
    z, pace = z.astype(np.float32).astype(float), np.array([0.0, *factors])
    kind = {place: pace[k] for place, k in np.ndenumerate(ground)}
    columns = z.shape[1]
    steps = []
    for (row, column), (down, across) in product(np.ndindex(*z.shape), STEPS):
        end = row + down, column + across
        if kind[row, column] and all(kind.get(place) for place in swept(row, column, down, across)):
            run = np.hypot(down, across) * cell
            slope = (z[end] - z[row, column]) / run
            km_per_h = 6 * np.exp(-3.5 * abs(slope + 0.05)) * min(kind[row, column], kind[end])
            steps.append((row * columns + column, end[0] * columns + end[1], run / (km_per_h * 1000 / 60)))
    starts, ends, minutes = np.array(steps).reshape(-1, 3).T
    graph = csr_array((minutes, (starts.astype(int), ends.astype(int))), shape=(z.size, z.size))
    open_sources = [row * columns + column for row, column in sources if ground[row, column]]
    if not open_sources:
        return np.full(z.shape, np.inf), np.full(z.shape, -1)
    apart = csgraph.dijkstra(graph, indices=open_sources)
    least = apart.min(axis=0)
    nearest = np.where(np.isfinite(least), np.asarray(open_sources)[apart.argmin(axis=0)], -1)
    return least.reshape(z.shape), nearest.reshape(z.shape)


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10**6), shut=st.sampled_from([0.0, 0.2, 0.4]), rough=st.sampled_from([0.0, 1.0, 8.0]))
def test_as_scipy_finds_over_the_same_steps(seed, shut, rough):
    rng = np.random.default_rng(seed)
    shape = tuple(rng.integers(1, 14, 2))
    z = rng.random(shape) * rough
    ground = np.where(rng.random(shape) < shut, 0, rng.integers(1, 3, shape))
    sources = [tuple(rng.integers(0, shape)) for _ in range(3)]
    found = walks(sources, z=z, ground=ground, cell=2.0, shape=shape, factors=(0.42, 0.7))
    minutes, source = by_scipy(sources, z=z, ground=ground, cell=2.0, factors=(0.42, 0.7))
    assert found.minutes == pytest.approx(minutes, rel=1e-12)
    if rough:  # on level ground sources tie
        assert (found.source == source).all()


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10**6), share=st.sampled_from([0.2, 0.5, 0.8]))
def test_steps_that_are_given_are_taken_and_no_others(seed, share):
    rng = np.random.default_rng(seed)
    rows, columns = shape = (9, 37)
    bits = rng.random((16, *shape)) < share
    leads = sum(bit.astype(np.uint16) << np.uint16(move) for move, bit in enumerate(bits))
    pace = LEVEL_M_PER_MIN * 0.42
    starts, ends, minutes = [], [], []
    for move, (down, across, *_) in enumerate(KERNEL_STEPS.tolist()):
        for row, column in np.argwhere(bits[move]).tolist():
            if 0 <= row + down < rows and 0 <= column + across < columns:
                starts.append(row * columns + column)
                ends.append((row + down) * columns + column + across)
                minutes.append(2.0 * np.hypot(down, across) / pace)
    graph = csr_array((minutes, (starts, ends)), shape=(rows * columns, rows * columns))
    least = csgraph.dijkstra(graph, indices=[3, 200]).min(axis=0).reshape(shape)
    sources = np.isin(np.arange(rows * columns), (3, 200)).reshape(shape)
    found = walk_minutes(
        sources, ground=np.ones(shape, np.uint8), factors=(0.42,), elevation_m=np.zeros(shape, np.float32), cell_m=2.0,
        open_steps=leads.astype(np.uint16),
    )  # fmt: skip
    assert found.minutes == pytest.approx(least, rel=1e-9)


@pytest.mark.parametrize("shape", [(50, 40), (6, 290), (290, 6)])
def test_over_more_than_one_block_and_parcel_of_the_store(shape):
    rng = np.random.default_rng(5)
    z, ground = rng.random(shape) * 2, np.where(rng.random(shape) < 0.15, 0, 1)
    given_values = {"z": z, "ground": ground, "cell": 3.0, "factors": (0.42,)}
    sources = [(2, 3), (shape[0] - 2, shape[1] - 2)]
    found = walks(sources, shape=shape, **given_values)
    minutes, source = by_scipy(sources, **given_values)
    assert np.isfinite(minutes).mean() > 0.7
    assert found.minutes == pytest.approx(minutes, rel=1e-12) and (found.source == source).all()


def test_level_walk_along_rows_diagonals_and_knights_moves_is_straight():
    found = walks([(20, 20)])
    for down, across in ((0, 15), (-15, 0), (12, 12), (8, 16), (-16, 8)):
        assert found.minutes[20 + down, 20 + across] == pytest.approx(np.hypot(down, across) / LEVEL_M_PER_MIN)
    rows, columns = np.mgrid[:41, :41] - 20
    away = np.hypot(rows, columns)[rows**2 + columns**2 > 0]
    walked = found.minutes[rows**2 + columns**2 > 0] * LEVEL_M_PER_MIN
    assert (walked >= away * (1 - 1e-9)).all() and (walked <= 1.028 * away).all()


def test_four_hundred_metres_up_a_quarter_and_down_again():
    z = np.tile(np.arange(41) * 2.5, (5, 1))  # 25 % over cells of 10 m, 400 m across
    up = walks([(2, 0)], z=z, cell=10.0, shape=(5, 41), factors=(0.6,))
    down = walks([(2, 40)], z=z, cell=10.0, shape=(5, 41), factors=(0.6,))
    assert up.minutes[2, 40] == pytest.approx(19.0510074538) and down.minutes[2, 0] == pytest.approx(13.4250180498)


def test_a_step_between_two_kinds_of_ground_goes_by_the_slower():
    ground = np.where(np.arange(5)[:, None] == 2, 2, 1) * np.ones((5, 41), int)
    ground[:2] = ground[3:] = 0
    ground[2, 20] = 1
    found = walks([(2, 0)], ground=ground, shape=(5, 41), factors=(0.5, 1.0))
    assert found.minutes[2, 19] == pytest.approx(19 / LEVEL_M_PER_MIN)
    assert found.minutes[2, 40] == pytest.approx((38 + 2 / 0.5) / LEVEL_M_PER_MIN)


def test_nobody_walks_between_two_closed_cells_that_meet_at_a_corner_or_over_unknown_ground():
    row, column = np.mgrid[:41, :41]
    found = walks([(5, 30)], ground=row != column)
    assert np.isfinite(found.minutes[row < column]).all() and np.isinf(found.minutes[row >= column]).all()
    holed = walks([(5, 30)], z=np.where(row == 20, np.nan, 0.0))
    assert np.isfinite(holed.minutes[:20]).all() and np.isinf(holed.minutes[20:]).all()
    assert (holed.source[20:] == -1).all()


@pytest.mark.parametrize("longest", [0.0, 0.05, 0.1, 0.3])
def test_a_bound_cuts_the_unbounded_walk_and_changes_nothing_else(longest):
    rng = np.random.default_rng(1)
    z, ground = rng.random((41, 41)), rng.random((41, 41)) > 0.2
    ground[20, 20] = True
    whole = walks([(20, 20)], z=z, ground=ground)
    cut = walks([(20, 20)], z=z, ground=ground, longest=longest)
    kept = whole.minutes <= longest
    assert (cut.minutes[kept] == whole.minutes[kept]).all() and np.isinf(cut.minutes[~kept]).all()
    assert (cut.source[kept] == whole.source[kept]).all() and 0 < kept.sum() < 41 * 41


def test_of_two_sources_as_near_the_first_is_given():
    found = walks([(0, 0), (0, 40)], shape=(1, 41))
    assert found.source[0].tolist() == [0] * 21 + [40] * 20


def test_a_cliff_takes_ages_but_ends():
    z = np.where(np.arange(41) < 20, 0.0, 60.0) * np.ones((3, 1))
    found = walks([(0, 0)], z=z, shape=(3, 41))
    assert np.isfinite(found.minutes).all() and found.minutes[0, 20] > 1e35
    assert found.minutes[0, 19] == pytest.approx(19 / LEVEL_M_PER_MIN)


def test_sources_on_closed_ground_do_not_count():
    ground = np.ones((41, 41))
    ground[20, 20] = 0
    assert np.isinf(walks([(20, 20)], ground=ground).minutes).all()
