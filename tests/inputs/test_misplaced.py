"""Positions far from the stands: each mistake is made by pyproj or by hand, and must be undone or only named."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS, Transformer

from invasimap.core.crs import working_crs
from invasimap.inputs.misplaced import Causes, find_cause

BOX = shapely.box(-500, -500, 500, 500)
NEAR_M = 1000.0
TRUE_X, TRUE_Y = np.array([123.25]), np.array([-321.5])  # m from the middle of the stands
HILLS = (-80.25, 38.3)  # zone 17
WEB, DEGREES = 3857, 4326


_system, _working = lru_cache(CRS.from_user_input), lru_cache(working_crs)


def _cause(x, y, *, source, stands=HILLS, owner=None, box=BOX):
    x, y = np.atleast_1d(x), np.atleast_1d(y)
    owner = np.arange(len(x)) if owner is None else owner
    return find_cause(x, y, owner, source=_system(source), crs=_working(*stands), bounds=box, near_m=NEAR_M)


@lru_cache
def _move(source, target):
    return Transformer.from_crs(source, target, always_xy=True)


def _place(stands=HILLS, x=TRUE_X, y=TRUE_Y):
    """Longitude and latitude of the true place, and its metres from the middle of the stands, by pyproj alone."""
    home = f"+proj=laea +lat_0={stands[1]} +lon_0={stands[0]} +datum=WGS84 +units=m"
    lon, lat = _move(home, DEGREES).transform(x, y)
    return lon, lat, *_move(DEGREES, home).transform(lon, lat)


def _numbers(system, **where):
    """The true place as numbers of a system."""
    return _move(DEGREES, system).transform(*_place(**where)[:2])


def _off_m(found: Causes, **where):
    x, y = _place(**where)[2:]
    return float(np.hypot(found.x_m - x, found.y_m - y).max())


def _run_together(value):
    """38.2654 as 3815.924."""
    whole = np.trunc(value)
    return whole * 100 + (value - whole) * 60


def _minutes_as_decimals(value):
    """38.2654 as 38.15924."""
    whole = np.trunc(value)
    return whole + (value - whole) * 0.6


IN_DEGREES = {
    "swapping longitude and latitude": lambda x, y: (y, x),
    "a minus sign before the longitude": lambda x, y: (-x, y),
    "a minus sign before the latitude": lambda x, y: (x, -y),
    "a minus sign before both": lambda x, y: (-x, -y),
    "taking 360 from the longitude": lambda x, y: (x + 360, y),
    "adding 360 to the longitude": lambda x, y: (x - 360, y),
    "swapping them and a minus sign before the longitude": lambda x, y: (y, -x),
    "swapping them and a minus sign before the latitude": lambda x, y: (-y, x),
    "swapping them and a minus sign before both": lambda x, y: (-y, -x),
    "reading 3815.924 as 38 degrees 15.924 minutes": lambda x, y: (_run_together(x), _run_together(y)),
    "reading 3815.924 as 38 degrees 15.924 minutes, with a minus sign before the longitude": lambda x, y: (
        -_run_together(x),
        _run_together(y),
    ),
}


@pytest.mark.parametrize("mistake", IN_DEGREES)
@pytest.mark.parametrize("datum", [DEGREES, 4269])
def test_a_mistake_of_degrees_is_undone_to_the_micrometre(mistake, datum):
    found = _cause(*IN_DEGREES[mistake](*_numbers(datum)), source=datum)
    assert found.cause.tolist() == [mistake]
    assert found.certain.tolist() == [True]
    assert _off_m(found) < 1e-6
    lon, lat = _numbers(DEGREES)
    assert (found.lon[0], found.lat[0]) == pytest.approx((lon[0], lat[0]), abs=1e-7)


def _swap(x, y):
    return y, x


def _same(x, y):
    return x, y


@pytest.mark.parametrize(
    ("said", "were", "made", "name"),
    [
        (32617, 32617, _swap, "swapping easting and northing"),
        (32616, 32617, _same, "reading them in UTM zone 17N"),
        (32615, 32617, _same, "reading them in UTM zone 17N"),
        (32619, 32617, _swap, "reading them in UTM zone 17N, northing first"),
        (32717, 32617, _same, "reading them in UTM zone 17N"),
        (26918, 26917, _same, "reading them in UTM zone 17N"),
        ("EPSG:26918+5703", 26917, _same, "reading them in UTM zone 17N"),
        (32618, DEGREES, _same, "reading them as degrees"),
        (32618, DEGREES, _swap, "reading them as degrees, latitude first"),
        (32617, DEGREES, lambda x, y: (-x, y), "reading them as degrees with a minus sign before the longitude"),
        (WEB, DEGREES, _same, "reading them as degrees"),
        (WEB, 32617, _same, "reading them in UTM zone 17N"),
        (32617, WEB, _same, "reading them as web Mercator metres"),
        (DEGREES, WEB, _same, "reading them as web Mercator metres"),
        (DEGREES, 32617, _same, "reading them in UTM zone 17N"),
        (DEGREES, 32617, _swap, "reading them in UTM zone 17N, northing first"),
        (4269, 26917, _same, "reading them in UTM zone 17N"),
        (2264, 32119, _same, "reading them as metres"),
    ],
)
def test_numbers_of_another_system_are_read_in_it_to_the_micrometre(said, were, made, name):
    found = _cause(*made(*_numbers(were)), source=said)
    assert found.cause.tolist() == [name]
    assert found.certain.tolist() == [True]
    assert _off_m(found) < (1e-6 if said != 2264 else 1e-3)  # its origin is rounded to whole feet: 0.8 mm


@pytest.mark.parametrize(
    ("stands", "said", "were"),
    [((146.3, -37.8), 32655, 32755), ((146.3, -37.8), 32753, 32755), ((179.9, -17), 32701, 32760)],
)  # fmt: skip
def test_zones_of_the_southern_half_and_across_the_date_line_are_found(stands, said, were):
    found = _cause(*_numbers(were, stands=stands), source=said, stands=stands)
    assert found.certain.tolist() == [True]
    assert _off_m(found, stands=stands) < 1e-6


def test_a_zone_wrong_on_nad27_keeps_its_datum():
    # NAD27 lies over 10 m from NAD83 here: by the wrong datum the place would not be the true one
    found = _cause(*_numbers(26717), source=26718)
    assert found.certain.tolist() == [True]
    assert _off_m(found) < 1e-3
    assert _off_m(_cause(*_numbers(26717), source=26918)) > 10


def test_feet_of_two_kinds_8_m_apart_are_named_and_not_applied():
    # at a northing of 4,200 km two parts in a million are 8 m
    x, y = _numbers(32617)
    found = _cause(x / 0.3048, y / 0.3048, source=32617)
    assert found.cause.tolist() == ["reading them as feet, or reading them as US survey feet"]
    assert found.certain.tolist() == [False]


def test_feet_of_two_kinds_that_agree_within_a_metre_are_applied():
    florida = (-81.0, 27.0)  # in EPSG:26958 under 400 km from the origin: the two feet are 0.7 m apart there
    for foot_m in (0.3048, 1200 / 3937):
        x, y = _numbers(26958, stands=florida)
        found = _cause(x / foot_m, y / foot_m, source=26958, stands=florida)
        assert found.certain.tolist() == [True]
        assert _off_m(found, stands=florida) < 1


def test_the_other_foot_is_no_mistake_that_is_searched_for():
    # 2 parts in a million of some hundred kilometres are under 2 m: the record is at the stands as read
    x, y = _numbers(2264)
    found = _cause(x * (1200 / 3937) / 0.3048, y * (1200 / 3937) / 0.3048, source=2264)
    assert (found.cause.tolist(), found.certain.tolist()) == ([""], [False])


@pytest.mark.parametrize(
    ("said", "numbers", "words"),
    [
        (DEGREES, lambda: [_minutes_as_decimals(axis) for axis in _numbers(DEGREES)], "38 degrees 15.924 minutes"),
        (32617, lambda: [_numbers(32617)[0] - 500_000, _numbers(32617)[1]], "first digit of the easting"),
        (32617, lambda: [_numbers(32617)[0], _numbers(32617)[1] - 4_000_000], "first digit of the northing"),
    ],
)
def test_what_proves_little_is_offered_and_never_applied(said, numbers, words):
    found = _cause(*numbers(), source=said)
    assert words in found.cause[0]
    assert found.certain.tolist() == [False] and found.proven.tolist() == [False]


def test_two_mistakes_that_lead_to_two_places_in_the_stands_are_never_applied():
    # stands where longitude is minus latitude: a lost sign and a swap both come back to them, 157 m apart
    found = _cause(45.001, 45.0, source=DEGREES, stands=(-45.0, 45.0))
    assert found.cause[0].split(", or ") == [
        "a minus sign before the longitude", "swapping them and a minus sign before the longitude",
    ]  # fmt: skip
    assert found.certain.tolist() == [False] and found.proven.tolist() == [True]


def test_two_mistakes_that_lead_to_one_place_are_applied():
    found = _cause(45.0, 45.0, source=DEGREES, stands=(-45.0, 45.0))
    assert " or " in found.cause[0]
    assert found.certain.tolist() == [True]
    assert _off_m(found, stands=(-45.0, 45.0), x=0.0, y=0.0) < 1e-6


@pytest.mark.parametrize(("lon", "certain"), [(-0.04, False), (-0.07, True)])
def test_a_place_under_10_km_from_the_stands_is_never_moved(lon, certain):
    # a degree of longitude is 110.9 km at 5 N; the stands lie at -lon, so as read the place is 8.4 km or 15 km off them
    found = _cause(lon, 5.0, source=DEGREES, stands=(-lon, 5.0))
    assert found.cause.tolist() == ["a minus sign before the longitude"]
    assert found.certain.tolist() == [certain]


def test_an_explanation_that_leads_over_100_m_outside_the_stands_is_only_named():
    for off_m, certain in ((590.0, True), (610.0, False)):
        lon, lat = _numbers(DEGREES, x=np.array([off_m]), y=np.array([0.0]))
        found = _cause(-lon, lat, source=DEGREES)
        assert found.cause.tolist() == ["a minus sign before the longitude"]
        assert found.certain.tolist() == [certain]


@pytest.mark.parametrize("source", [DEGREES, 32617, WEB, 2264])
def test_no_numbers_and_0_0_are_left_alone(source):
    found = _cause([np.nan, 0.0, np.inf, 5.0], [38.0, 0.0, 38.0, -np.inf], source=source)
    assert found.cause.tolist() == [""] * 4
    assert not found.certain.any()


@pytest.mark.parametrize("source", [DEGREES, 32617, 2264, WEB])
@pytest.mark.parametrize("stands", [HILLS, (-78.001, 36.2), (146.3, -37.8)])
def test_places_over_the_globe_and_round_the_stands_are_not_moved(source, stands):
    # some twenty readings of 1.4 km2 each out of 5e8 km2: one place in ten million on the globe
    chance, (lon, lat) = np.random.default_rng(4), stands
    globe = chance.uniform([-180, -80], [180, 80], (10_000, 2))
    county = chance.uniform([lon - 2, lat - 2], [lon + 2, lat + 2], (10_000, 2))
    lonlat = np.round(np.vstack([globe, county]), 6)
    xy = np.column_stack(Transformer.from_crs(DEGREES, source, always_xy=True).transform(*lonlat.T))
    xy = xy[np.isfinite(xy).all(axis=1)]
    assert not _cause(*xy.T, source=source, stands=stands).certain.any()


STANDS = [HILLS, (-45.0, 45.0), (146.3, -37.8), (36.8, -0.3)]


@settings(max_examples=60, deadline=None)
@given(
    stands=st.sampled_from(STANDS), mistake=st.sampled_from(sorted(IN_DEGREES)),
    x=st.floats(-500, 500), y=st.floats(-500, 500),
)  # fmt: skip
def test_what_is_applied_is_the_truth_and_what_is_not_is_named(stands, mistake, x, y):
    found = _cause(*IN_DEGREES[mistake](*_numbers(DEGREES, stands=stands, x=x, y=y)), source=DEGREES, stands=stands)
    if found.certain[0]:
        assert _off_m(found, stands=stands, x=x, y=y) < 1.0
    else:
        assert not found.cause[0] or mistake in found.cause[0]
    assert found.certain[0] or stands in ((-45.0, 45.0), (146.3, -37.8), (36.8, -0.3)) or "3815" in mistake


@settings(max_examples=40, deadline=None)
@given(
    east=st.floats(-10_400, 10_400), north=st.floats(-10_400, 10_400), source=st.sampled_from([DEGREES, 32617, 2264])
)
def test_nothing_within_10_km_is_ever_moved(east, north, source):
    away_m = np.hypot(max(abs(east) - 500, 0), max(abs(north) - 500, 0))
    found = _cause(*_numbers(source, x=np.array([east]), y=np.array([north])), source=source)
    assert away_m > 10_000 or not found.certain[0]


def _ring(*offsets):
    x, y = np.array(offsets, dtype=float).T
    return _numbers(DEGREES, x=x, y=y)


def test_a_shape_is_explained_whole_or_not_at_all():
    lon, lat = _ring((0, 0), (100, 0), (100, 50), (0, 0))
    owner = np.zeros(4, dtype=np.intp)
    whole = _cause(lat, lon, source=DEGREES, owner=owner)
    assert whole.certain.tolist() == [True]
    assert shapely.Polygon(np.column_stack([whole.x_m, whole.y_m])).area == pytest.approx(2500, abs=1e-4)
    half = _cause(np.r_[lon[0], lat[1:]], np.r_[lat[0], lon[1:]], source=DEGREES, owner=owner)
    assert (half.cause.tolist(), half.certain.tolist()) == ([""], [False])
    far = _cause(np.r_[-lon[0], lat[1:]], np.r_[lat[0], lon[1:]], source=DEGREES, owner=owner)
    assert (far.cause.tolist(), far.certain.tolist()) == ([""], [False])


def test_shapes_of_one_layer_are_judged_each_by_itself():
    lon, lat = _ring((0, 0), (100, 0), (50, 50), (60, 60), (10, 10))
    x, y = np.r_[lat[:2], -lon[2:4], 10.0], np.r_[lon[:2], lat[2:4], 10.0]
    found = _cause(x, y, source=DEGREES, owner=np.array([0, 0, 1, 1, 2]))
    assert found.cause.tolist() == ["swapping longitude and latitude", "a minus sign before the longitude", ""]
    assert found.certain.tolist() == [True, True, False]
    said = found.repairs(np.array([0, 0, 1, 1, 2]))
    assert said[1] == f"position put right by a minus sign before the longitude: now {lat[2]:.5f}, {lon[2]:.5f}"
