"""Setbacks are never narrower than the distance typed."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from invasimap.core.geometry import polygons_only, segments, setback, setback_parts

coordinate = st.floats(-200, 200, allow_nan=False).map(lambda value: round(value, 3))
paths = st.lists(st.tuples(coordinate, coordinate), min_size=2, max_size=12, unique=True)


@given(paths, st.floats(0.5, 80))
@settings(max_examples=80, deadline=None)
def test_every_place_on_the_edge_of_a_setback_is_at_least_the_distance_away(path, distance):
    line = shapely.LineString(path)
    edge = shapely.segmentize(shapely.boundary(setback([line], distance)[0]), distance / 20)
    away = shapely.distance(shapely.points(shapely.get_coordinates(edge)), line)
    assert away.min() >= distance * (1 - 1e-9)


def test_a_circle_drawn_inside_would_fall_short_and_ours_does_not():
    inside = shapely.buffer(shapely.Point(0, 0), 50, quad_segs=8)
    short = 50 - shapely.distance(inside.exterior, shapely.Point(0, 0))
    assert short == pytest.approx(0.24076366639, rel=1e-6)  # the trade's worked figure for 8 segments a quarter
    (ours,) = setback([shapely.Point(0, 0)], 50)
    assert shapely.distance(ours.exterior, shapely.Point(0, 0)) >= 50 * (1 - 1e-12)
    assert ours.area <= math.pi * 50**2 * 1.0025


def test_straight_runs_are_exact():
    (strip,) = setback([shapely.LineString([(0, -100), (0, 100)])], 7.62)
    assert strip.intersection(shapely.box(-50, -50, 50, 50)).area == pytest.approx(2 * 7.62 * 100, rel=1e-12)


def test_two_circles_thirty_feet_apart_cover_3367_87_square_feet():
    union = shapely.union_all(setback(shapely.points([[0, 0], [30, 0]]), 25))
    assert 3367.87179449 <= union.area <= 3367.87179449 * 1.0025


def test_segments_of_a_square_with_a_hole_and_a_line():
    square = shapely.Polygon([(0, 0), (4, 0), (4, 4), (0, 4)], [[(1, 1), (2, 1), (2, 2)]])
    pieces = segments([square, shapely.LineString([(9, 9), (9, 8), (8, 8)]), shapely.Point(0, 0)])
    assert len(pieces) == 4 + 3 + 2
    assert shapely.length(pieces).sum() == pytest.approx(16 + 2 + math.sqrt(2) + 2)
    assert len(segments(np.empty(0, object))) == 0


def test_only_the_polygons_of_a_mixed_geometry_are_kept():
    mixed = shapely.GeometryCollection([shapely.box(0, 0, 1, 1), shapely.LineString([(5, 5), (6, 6)])])
    assert polygons_only(mixed).equals(shapely.box(0, 0, 1, 1))


def test_a_place_shared_by_pieces_needs_its_widest_disc_alone():
    pieces = shapely.linestrings([[(0, 0), (40, 0)], [(40, 0), (40, 30)], [(40, 30), (0, 0)]])
    all_parts, _ = setback_parts(pieces, [5.0, 9.0, 7.0])
    parts, owner = setback_parts(pieces, [5.0, 9.0, 7.0], together=True)
    assert (len(all_parts), len(parts)) == (9, 6)  # three corners, three straights
    assert sorted(owner[:3].tolist()) == [1, 1, 2]  # 9 m at both ends of the second, 7 m at the origin
    whole = shapely.union_all(all_parts)
    assert shapely.area(shapely.symmetric_difference(whole, shapely.union_all(parts))) <= 1e-9 * whole.area
