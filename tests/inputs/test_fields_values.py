"""What headers and cells mean."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from invasimap.inputs.fields import find_columns, header_words, is_lonlat
from invasimap.inputs.values import parse_cover, parse_size, read_dates, split_by

TODAY = dt.date(2025, 6, 1)


@pytest.mark.parametrize(
    ("header", "role", "unit"),
    [
        ("SPP", "species", ""), ("Scientific Name", "species", ""), ("PCT_COV", "cover", "%"),
        ("Cover %", "cover", "%"),
        ("Radius (ft)", "radius", "ft"), ("radius_ft", "radius", "ft"), ("Ht_ft", "height", "ft"),
        ("DIAM_M", "diameter", "m"),
        ("Size_m", "size", "m"), ("gross acres", "area", "acre"), ("Area (sq ft)", "area", "sq ft"),
        ("Hectares", "area", "ha"),
        ("UTM.X", "lon", ""), ("Longitude", "lon", ""), ("cover (fraction)", "cover", "fraction"),
        ("coordinateUncertaintyInMeters", "accuracy", "m"), ("surveyDate", "date", ""), ("Surveyors", "observer", ""),
    ],
)  # fmt: skip
def test_header_is_recognised(header, role, unit):
    assert [(r, c[0].unit) for r, c in find_columns([header]).items()] == [(role, unit)]


@pytest.mark.parametrize("header", ["CoverClass", "Infested_ac", "Plot", "DBH_in", "cover_photo", "m", "fid"])
def test_header_that_says_something_else_is_left_alone(header):
    assert find_columns([header]) == {}


def test_only_names_of_degrees_mean_degrees():
    assert [is_lonlat(h) for h in ("lon", "Latitude", "X", "UTM.Y", "easting", "plateau")] == [True, True, *[False] * 4]
    assert header_words("Ht in") == ("ht", "in")


@pytest.mark.parametrize(
    ("cell", "low", "high"),
    [("35", 35, 35), ("35 %", 35, 35), ("0.35 fraction", 35, 35), ("0.35 %", 0.35, 0.35), ("25-50 %", 25, 50),
     ("25%-50%", 25, 50), ("50 to 75", 50, 75), ("<5 %", 0, 5), (">75", 75, 100), ("100", 100, 100)],
)  # fmt: skip
def test_cover_is_read(cell, low, high):
    cover = parse_cover(cell)
    assert (cover.low_pct, cover.high_pct, cover.reason) == (pytest.approx(low), pytest.approx(high), "")
    assert cover.mid_pct == pytest.approx((low + high) / 2)


@pytest.mark.parametrize(
    ("cell", "reason"),
    [("120", "outside 0-100"), ("-5", "outside 0-100"), ("0", "recorded as not found"), ("dense", "is not read"),
     ("50-25", "from high to low"), ("3O", "is not read"), ("nan", "is not read")],
)  # fmt: skip
def test_cover_that_cannot_be_used(cell, reason):
    assert reason in parse_cover(cell).reason


def test_sizes():
    assert parse_size("1,200 ft", role="length", dimension="length").value == pytest.approx(365.76)
    assert parse_size("3-6 ft", role="height", dimension="length").value == pytest.approx(4.5 * 0.3048)
    assert split_by("20 x 20 m") == ("20 m", "20 m")
    assert split_by("10 ft by 30 ft") == ("30 ft", "10 ft")
    assert split_by("20 m") is None


def _dates(*cells, zone="America/Chicago", utc=False):
    frame = read_dates(pd.Series(cells, dtype=object), timezone=ZoneInfo(zone), utc=utc, today=TODAY)
    return frame["date"].tolist(), frame["how"].tolist()


def test_utc_evening_is_the_day_before_in_chicago():
    assert _dates("2024-09-04T02:30:00Z")[0] == ["2024-09-03"]
    assert _dates("2024-09-04T02:30:00", utc=True)[0] == ["2024-09-03"]  # GPX: a time without offset is UTC
    assert _dates("2024-09-04T02:30:00", utc=False)[0] == ["2024-09-04"]  # a table: the crew's own clock
    assert _dates("2024-09-04T02:30:00+02:00", "2024-09-04")[0] == ["2024-09-03", "2024-09-04"]


def test_one_day_over_12_in_first_place_decides_the_file():
    assert _dates("9/4/2024", "9/3/24")[0] == ["2024-09-04", "2024-09-03"]
    assert _dates("9/4/2024", "25/4/2024")[0] == ["2024-04-09", "2024-04-25"]


@pytest.mark.parametrize("cell", ["4 Sep 2024", "September 4, 2024", "2024/09/04", "20240904", "04-Sep-2024"])
def test_named_dates(cell):
    assert _dates(cell)[0] == ["2024-09-04"]


def test_dates_not_read_and_dates_to_come_are_said():
    dates, how = _dates("13/13/2024", "2023-02-29", "2014-13", "2030-01-01", "")
    assert dates == ["", "", "", "", ""]
    assert how == [
        "date '13/13/2024' not read", "date '2023-02-29' not read", "date '2014-13' not read",
        "date 2030-01-01 is in the future: taken as undated", "",
    ]  # fmt: skip


@given(st.text(max_size=20))
def test_any_cell_gives_a_value_or_a_reason(cell):
    cover = parse_cover(cell)
    assert bool(cover.reason) or not cell or 0 <= cover.low_pct <= cover.mid_pct <= cover.high_pct <= 100
    size = parse_size(cell, role="radius", dimension="length")
    assert bool(size.problem) or not cell or size.value > 0
    _dates(cell)


def test_a_year_or_month_alone_is_kept_as_written_and_sorts_before_its_days():
    dates, how = _dates("2014", "2014-06", "2014-06-01")
    assert dates == ["2014", "2014-06", "2014-06-01"] == sorted(dates) and how == ["", "", ""]


@pytest.mark.parametrize(
    ("cell", "said"),
    [("2062-06-01", "2062-06-01"), ("2026", "2026"), ("2025-07", "2025-07"), ("6/1/62", "2062-06-01"),
     ("01-Jun-62", "2062-06-01"), ("6/1/26", "2026-06-01"), ("June 2, 2025", "2025-06-02"),
     ("2025-06-03T01:00:00Z", "2025-06-02")],
)  # fmt: skip
def test_a_date_to_come_is_undated_and_said(cell, said):
    assert _dates(cell) == ([""], [f"date {said} is in the future: taken as undated"])


def test_today_this_month_and_this_year_are_no_dates_to_come():
    dates, how = _dates("2025-06-01", "2025-06", "2025", "6/1/25", "2025-06-02T02:00:00Z", "4/9/99")
    assert dates == ["2025-06-01", "2025-06", "2025", "2025-06-01", "2025-06-01", "1999-04-09"]
    assert set(how) == {""}


def test_a_date_to_come_does_not_hide_the_newest_record(write, read):
    write("a.csv", "species,cover,radius_ft,date,lon,lat\nROMU,50,10,2062-06-01,-80,38\nROMU,5,10,2024-06-01,-80,38\n")
    survey = read("a.csv")
    assert survey.patches["date"].tolist() == ["", "2024-06-01"]
    assert survey.repaired[["record", "how"]].to_numpy().tolist() == [
        [1, "date 2062-06-01 is in the future: taken as undated"]
    ]
