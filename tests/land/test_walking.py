"""Walking times, against the trade's worked figures."""

import pytest

from invasimap.land.walking import tobler_km_per_h, walk_min


def test_speed_by_slope():
    slopes = [-0.3, -0.05, 0, 0.1, 0.25, 0.4]
    speeds = [2.50117211807, 6.0, 5.03674212462, 3.5493321862, 2.09962649467, 1.24204531609]
    assert tobler_km_per_h(slopes) == pytest.approx(speeds, rel=1e-9)


def test_off_the_path_it_is_0_6_of_that():
    speeds = [1.50070327084, 3.6, 3.02204527477, 2.12959931172, 1.2597758968, 0.745227189652]
    for slope, speed in zip([-0.3, -0.05, 0, 0.1, 0.25, 0.4], speeds, strict=True):
        assert walk_min(1000.0, rise_m=1000 * slope, factor=0.6) == pytest.approx(60 / speed, rel=1e-6)


def test_in_uphill_takes_longer_than_out():
    assert walk_min(400.0, rise_m=100.0, factor=0.6) == pytest.approx(19.0510074538, rel=1e-9)
    assert walk_min(400.0, rise_m=-100.0, factor=0.6) == pytest.approx(13.4250180498, rel=1e-9)
