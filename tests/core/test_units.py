"""Quantities: exact factors from their legal definitions and the trade's worked figures."""

import pytest

from invasimap.core import units


def test_acre_is_4046_8564224_square_metres():
    assert pytest.approx(4046.8564224, rel=1e-15) == units.M2_PER_ACRE


def test_the_us_survey_acre_is_4_parts_in_a_million_larger():
    assert units.US_SURVEY.m2 == pytest.approx(4046.87260987, rel=1e-11)
    assert units.US_SURVEY.m2 / units.US.m2 - 1 == pytest.approx(4.00001199985e-6, rel=1e-9)
    tract_m2 = 10_000 * units.US.m2
    assert 10_000 - units.US_SURVEY.area_of(tract_m2) == pytest.approx(0.0400001199985, rel=1e-4)


def test_hectare_is_2_471_acres():
    assert units.US.area_of(10_000) == pytest.approx(2.47105381467, rel=1e-11)
    assert units.METRIC.area_of(640 * units.M2_PER_ACRE) == pytest.approx(258.998811034, rel=1e-11)


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("75 ft", "length", 22.86),
        ("75ft", "length", 22.86),
        (" 1.5 M ", "length", 1.5),
        ("0.5 in", "length", 0.0127),
        ("0.1 acre", "area", 404.68564224),
        ("25 gal", "volume", 94.6352946),
        ("128 fl oz", "volume", 3.785411784),
        ("3 gal/min", "flow", 11.356235352),
        ("1 gal/acre", "spread", 9.35395622896),
        ("1.51670450675 lb/acre", "dose", 1.7),
        ("10 mph", "speed", 4.4704),
        ("1 psi", "pressure", 6.894757293168361),
        ("90 min", "duration", 90.0),
        ("6 h", "duration", 360.0),
        ("10 %", "percent", 10.0),
    ],
)
def test_quantity_in_si(text, dimension, value):
    assert units.quantity(text, dimension) == pytest.approx(value, rel=1e-9)


@pytest.mark.parametrize("bad", ["75", 75, 75.0, "75 gal", "ft", "", None, True, "nan ft", "seven ft", "75 ft ft"])
def test_quantity_without_its_unit_is_refused(bad):
    with pytest.raises(ValueError, match="write"):
        units.quantity(bad, "length")


def test_range_and_backward_range():
    assert units.quantity_range("3-10 mph", "speed") == pytest.approx((1.34112, 4.4704))
    with pytest.raises(ValueError, match="high to low"):
        units.quantity_range("10-3 mph", "speed")


def test_temperatures_convert_as_temperatures():
    assert units.temperature_range_c("32-212 degF") == pytest.approx((0, 100))
    with pytest.raises(ValueError, match="temperature range"):
        units.temperature_range_c("40-85")


def test_slope_in_degrees_is_not_percent():
    percent = [8.74886635259, 17.6326980708, 26.7949192431, 36.3970234266, 46.6307658155]
    assert [units.slope_pct(f"{degrees} deg") for degrees in (5, 10, 15, 20, 25)] == pytest.approx(percent, rel=1e-9)
    with pytest.raises(ValueError, match="below zero"):
        units.slope_pct("-5 %")


@pytest.mark.parametrize("bad", ["110 % v/v", "0 % v/v", "2 %", "2", "2 kg"])
def test_rate_must_say_share_or_area(bad):
    with pytest.raises(ValueError, match=r"rate|share"):
        units.rate(bad)


def test_money_needs_its_currency_and_hours_only_where_asked():
    assert units.money("12000 usd").currency == "USD"
    assert units.money("28 USD / h", per_hour=True).amount == 28
    for text, hourly in (("28", False), ("28 USD", True), ("28 USD/h", False), ("-1 USD", False)):
        with pytest.raises(ValueError, match=r"money|below zero"):
            units.money(text, per_hour=hourly)
