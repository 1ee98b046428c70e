"""Intervals from draws whose truth can be worked out: shifts across an edge, lopsided factors."""

import numpy as np
import pytest
from scipy.stats import lognorm, norm

from invasimap.mosaic.intervals import interval, z0_of_skewness

Z = 1.6448536269514722
NORMAL = norm.ppf(np.arange(1, 20_000) / 20_000)[:, None]  # draws that are quantiles themselves


def limits(drawn, *, shown, z0=0.0):
    return interval(drawn, z0=np.array([z0]), shown=np.array([shown])).ravel()


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
    z0 = z0_of_skewness(lognorm(s=2 * np.sqrt(v)).stats("s"))
    found = limits(drawn, shown=100.0, z0=float(z0))
    assert found == pytest.approx(100 * np.exp(v + 2 * np.sqrt(v) * np.array([-Z, Z])), rel=2e-3)


def test_few_draws_leave_a_twentieth_beyond_each_end():
    assert limits(np.arange(1.0, 20)[:, None], shown=10.0) == pytest.approx([1, 19])  # of 20 gaps one on each side
    assert limits(np.arange(1.0, 200)[:, None], shown=100.0) == pytest.approx([10, 190])


def test_interval_holds_the_figure_shown_and_never_goes_below_nothing():
    drawn = 50 + NORMAL
    assert limits(drawn, shown=60.0)[1] == 60
    assert limits(drawn, shown=40.0)[0] == 40
    assert limits(NORMAL, shown=0.5)[0] == 0
    assert limits(np.full((500, 1), 42.0), shown=42.0).tolist() == [42.0, 42.0]
