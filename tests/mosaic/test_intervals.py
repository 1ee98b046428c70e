"""Intervals from draws whose truth can be worked out: shifts across an edge, lopsided factors."""

import numpy as np
import pytest
from scipy.stats import norm

from invasimap.mosaic.intervals import SizeLean, interval

Z = 1.6448536269514722
NORMAL = norm.ppf(np.arange(1, 20_000) / 20_000)[:, None]  # draws that are quantiles themselves


def limits(drawn, *, shown, weights=None):
    return interval(drawn, weights=np.ones_like(drawn) if weights is None else weights, shown=np.array([shown])).ravel()


def lean_of(*areas, deviation):
    """The lean of one quantity that discs of such areas add up to."""
    count = len(areas)
    return SizeLean.of(
        np.zeros(count, int), np.arange(count), np.array([areas, areas]), deviation=np.full(count, deviation), count=1
    )


def test_normal_draws_give_1_645_deviations():
    assert limits(100 + 7 * NORMAL, shown=100.0) == pytest.approx([100 - 7 * Z, 100 + 7 * Z], rel=1e-3)


@pytest.mark.parametrize("middle_m", [1.0, 9.0])
def test_patch_across_an_edge_keeps_the_quantiles_of_its_shift_to_the_ends(middle_m):
    # 10 m square, the first middle_m m of it inside: 10 times the normal shift of 3 m, between nothing and all
    drawn = 10 * np.clip(middle_m + 3 * NORMAL, 0, 10)
    found = limits(drawn, shown=10 * middle_m)
    assert found == pytest.approx(10 * np.clip([middle_m - 3 * Z, middle_m + 3 * Z], 0, 10), rel=1e-3)


@pytest.mark.parametrize("size_error", [0.1, 0.2, 0.3])
def test_disc_of_a_misjudged_radius_has_its_exact_interval(size_error):
    # measured = truth * m^2, log m normal with mean -v / 2: the truth is measured * exp(v -/+ 2 z sqrt(v))
    v = np.log1p(size_error**2)
    drawn = 100 * np.exp(-v) * np.exp(2 * np.sqrt(v) * NORMAL - 2 * v)  # as mosaic.errors draws discs
    lean = lean_of(100 * np.exp(-v), deviation=2 * np.sqrt(v))
    found = limits(drawn, shown=100.0, weights=lean.weights(lean.scores(NORMAL))[0])
    assert found == pytest.approx(100 * np.exp(v + 2 * np.sqrt(v) * np.array([-Z, Z])), rel=2e-3)


def test_misjudged_radius_leaves_what_position_does_as_it_is():
    # half the figure is a shift of 30 m2 either way, to which the size adds nothing: weights by size change no quantile
    rng = np.random.default_rng(1)
    sizes, shifts = rng.standard_normal((2, 20_000, 1))
    lean = lean_of(50.0, deviation=0.4)
    found = limits(100 + 30 * shifts, shown=100.0, weights=lean.weights(lean.scores(sizes))[0])
    assert found == pytest.approx([100 - 30 * Z, 100 + 30 * Z], rel=0.02)


@pytest.mark.parametrize(("count", "size_error"), [(2, 0.2), (30, 0.3)])
def test_sum_of_misjudged_discs_holds_its_truth_nine_times_in_ten(count, size_error):
    # plain quantiles of these draws held 92 to 94 % of thirty discs: a disc measured too large is drawn too wide
    rng = np.random.default_rng(count)
    v = np.log1p(size_error**2)
    truth = np.exp(rng.normal(4, 0.5, count))
    held = []
    for _ in range(600):
        measured = truth * np.exp(2 * rng.normal(-v / 2, np.sqrt(v), count))
        expected, scores = measured * np.exp(-v), rng.standard_normal((300, count))
        drawn = (expected * np.exp(2 * np.sqrt(v) * scores - 2 * v)).sum(axis=1, keepdims=True)
        lean = lean_of(*expected, deviation=2 * np.sqrt(v))
        low, high = limits(drawn, shown=measured.sum(), weights=lean.weights(lean.scores(scores))[0])
        held.append(low <= truth.sum() <= high)
    assert 0.88 <= np.mean(held) <= 0.92


def test_few_draws_leave_a_twentieth_beyond_each_end():
    assert limits(np.arange(1.0, 20)[:, None], shown=10.0) == pytest.approx([1, 19])  # of 20 gaps one on each side
    assert limits(np.arange(1.0, 200)[:, None], shown=100.0) == pytest.approx([10, 190])


def test_interval_holds_the_figure_shown_and_never_goes_below_nothing():
    drawn = 50 + NORMAL
    assert limits(drawn, shown=60.0)[1] == 60
    assert limits(drawn, shown=40.0)[0] == 40
    assert limits(NORMAL, shown=0.5)[0] == 0
    assert limits(np.full((500, 1), 42.0), shown=42.0).tolist() == [42.0, 42.0]
