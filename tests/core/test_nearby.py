"""Parts near others: nothing that matters is left out, and what is far away is."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from invasimap.core.nearby import Boxes, near_parts

PLACE = st.tuples(st.integers(-50, 50), st.integers(-50, 50))
LINES = st.lists(PLACE, min_size=2, max_size=8, unique=True).map(shapely.LineString)
SHAPES = st.lists(
    st.one_of(
        LINES,
        PLACE.map(shapely.Point),
        PLACE.map(lambda place: shapely.Point(place).buffer(4, quad_segs=2)),
        st.lists(LINES, min_size=1, max_size=2).map(shapely.MultiLineString),
    ),
    min_size=1,
    max_size=5,
)


@settings(max_examples=30, deadline=None)
@given(SHAPES, st.lists(PLACE, min_size=1, max_size=4), st.sampled_from([0.5, 3.0, 11.0]))
def test_buffers_of_the_parts_are_those_of_the_shapes_wherever_the_others_lie(shapes, places, distance):
    near = [shapely.Point(place).buffer(2, quad_segs=3) for place in places]
    parts, of = near_parts(shapes, distance, near)
    for number, shape in enumerate(shapes):
        ours = shapely.union_all(shapely.buffer(parts[of == number], distance, quad_segs=64))
        whole = shapely.buffer(shape, distance, quad_segs=64)
        for other in near:
            lost = shapely.difference(shapely.intersection(whole, other), ours)
            assert lost.area < 0.01 * distance**2  # arcs of a buffer begin elsewhere; a lost part is far larger
        assert all(shapely.distance(shape, part) == 0 for part in parts[of == number])


def test_far_segments_are_left_out_and_runs_kept_together():
    line = shapely.LineString([(x, 0) for x in range(0, 1001, 10)])
    near = [shapely.box(201, 3, 209, 4), shapely.box(221, 3, 222, 4), shapely.box(700, 3, 701, 4)]
    parts, of = near_parts([shapely.Point(-5, 0), line], [1.0, 5.0], near)
    spans = sorted((part.bounds[0], part.bounds[2]) for part in parts)
    assert of.tolist() == [1] * len(parts)
    assert spans[0][0] in (190, 200) and spans[-1][1] in (700, 710, 720)
    assert sum(part.length for part in parts) <= 100
    assert len(parts) == 2


@pytest.mark.parametrize("near", [[], [shapely.Point()]])
def test_near_nothing_nothing_is_left(near):
    parts, of = near_parts([shapely.LineString([(0, 0), (1, 1)]), shapely.Point(0, 0)], 5.0, near)
    assert len(parts) == len(of) == 0


def test_shapes_of_nothing_come_near_nothing():
    shapes = [shapely.LineString(), shapely.Polygon(), shapely.LineString([(0, 0), (1, 1)]), shapely.MultiPoint()]
    parts, of = near_parts(shapes, 5.0, [shapely.Point(0, 0)])
    assert of.tolist() == [2] and parts[0].length == pytest.approx(2**0.5)


def test_boxes_know_which_touch_them():
    boxes = Boxes([shapely.box(0, 0, 10, 10), shapely.box(1e5, 1e5, 1e5 + 1, 1e5 + 1)])
    low = np.array([[5.0, 5.0], [-20.0, -20.0], [5e4, 5e4], [1e5 - 9, 1e5 - 9], [-5.0, 5e4]])
    assert boxes.touch(low, low + 10).tolist() == [True, False, False, True, False]
