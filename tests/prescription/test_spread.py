"""Spread and waiting, against figures of the trade handbook worked by hand."""

import math

import pytest

from invasimap.prescription import spread

HA = 10_000.0


def test_25_satellites_gain_4_times_the_ground_of_one_patch_of_their_area():
    big = spread.radial_area_m2(1 * HA, rate_m_per_year=2.0, years=10)
    satellites = spread.radial_area_m2(400, rate_m_per_year=2.0, years=10, patches=25)
    assert big / HA == pytest.approx(1.83464524651, rel=1e-6)
    assert satellites / HA == pytest.approx(7.6865003554, rel=1e-6)
    assert satellites / big == pytest.approx(4.18963849825, rel=1e-6)


def test_two_acres_of_fifty_in_five_years():
    assert spread.logistic_area(2, most=50, growth_per_year=0.3, years=5) == pytest.approx(7.8676672919, rel=1e-6)
    assert spread.exponential_area(2, growth_per_year=0.3, years=5) == pytest.approx(8.96337814068, rel=1e-6)
    middle = spread.fastest_year(2, most=50, growth_per_year=0.3)
    assert middle == pytest.approx(10.5935127678, rel=1e-6)
    assert spread.logistic_area(2, most=50, growth_per_year=0.3, years=middle) == pytest.approx(25)


def test_269_plots_to_404_in_six_years():
    rate = spread.yearly_rate_pct(269, 404, years=6)
    assert rate == pytest.approx(7.01340450694, rel=1e-6)
    assert spread.doubling_years(rate) == pytest.approx(10.2258355292, rel=1e-6)
    assert spread.doubling_years(0) == math.inf


def test_145_000_acres_a_year_of_19_million():
    assert spread.yearly_share_pct(145_000, occupied=19e6) == pytest.approx(0.763157894737, rel=1e-6)


def test_waiting_three_years_doubles_the_cost():
    later = spread.present_cost_of_waiting(300 * 2, growth_per_year=0.3, discount_pct=5, years=3)
    assert later == pytest.approx(1274.81858693, rel=1e-6)
    assert later / 600 == pytest.approx(2.12469764488, rel=1e-6)


def test_follow_up_of_five_acres():
    areas = spread.follow_up_areas(5, kill_pct=90, regrowth=1.5, years=4)
    assert areas == pytest.approx([5.0, 0.75, 0.1125, 0.016875, 0.00253125], rel=1e-6)
    assert sum(areas) == pytest.approx(5.879375 + 0.00253125, rel=1e-6)  # the first four are the 5.879375 treated


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: spread.radial_area_m2(-1, rate_m_per_year=2, years=1),
        lambda: spread.logistic_area(0, most=50, growth_per_year=0.3, years=5),
        lambda: spread.logistic_area(51, most=50, growth_per_year=0.3, years=5),
        lambda: spread.exponential_area(1, growth_per_year=math.nan, years=1),
        lambda: spread.fastest_year(2, most=50, growth_per_year=0),
        lambda: spread.yearly_rate_pct(0, 404, years=6),
        lambda: spread.doubling_years(-1),
        lambda: spread.yearly_share_pct(1, occupied=0),
        lambda: spread.present_cost_of_waiting(1, growth_per_year=0.1, discount_pct=-1, years=1),
        lambda: spread.follow_up_areas(5, kill_pct=101, regrowth=1.5, years=4),
    ],
)
def test_figures_that_cannot_be_are_refused(wrong):
    with pytest.raises(ValueError, match=r"must be|only below|from above|lies from|at most"):
        wrong()
