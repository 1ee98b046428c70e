"""A machine of a width and a fence with a gap, however the gap lies on the grid: the disc passes or it does not."""

import numpy as np
import pytest
import shapely
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st

from invasimap.land.clearance import passable_pieces
from invasimap.land.terrain import Terrain

CELL = 2.0
SIZE = 60
TERRAIN = Terrain(
    elevation_m=np.zeros((SIZE, SIZE), np.float32),
    transform=Affine(CELL, 0, 0, 0, -CELL, SIZE * CELL),
    crs="EPSG:32617",
)
EVERYWHERE, NOWHERE = np.ones((SIZE, SIZE), bool), np.zeros((SIZE, SIZE), bool)
WIDTH = 3.0


def fence(gap, *, angle=0.0, shift=0.0, thick=0.0):
    """A long fence through the middle of the grid with a gap in it."""
    middle = SIZE * CELL / 2
    ends = [shapely.LineString([(-200, 0), (-gap / 2, 0)]), shapely.LineString([(gap / 2, 0), (200, 0)])]
    shapes = [shapely.buffer(end, thick, cap_style="flat") if thick else end for end in ends]
    return [
        shapely.affinity.translate(shapely.affinity.rotate(s, angle, (0, 0)), middle + shift, middle + shift / 3)
        for s in shapes
    ]


def passes(edges, angle=0.0):
    """Whether one can get from one side of the fence to the other."""
    pieces = passable_pieces(edges, TERRAIN, room=EVERYWHERE, given=NOWHERE, radius_m=WIDTH / 2)
    away = np.radians(angle) + np.pi / 2
    one, other = ((int(SIZE / 2 - k * 22 * np.sin(away)), int(SIZE / 2 + k * 22 * np.cos(away))) for k in (1, -1))
    assert pieces.number[one] >= 0 and pieces.number[other] >= 0
    return pieces.number[one] == pieces.number[other]


@given(st.floats(0, 180), st.floats(-4, 4), st.sampled_from([0.0, 0.7, 3.0]))
@settings(max_examples=60, deadline=None)
def test_a_gap_passes_when_the_disc_does(angle, shift, thick):
    narrow, wide = (fence(gap, angle=angle, shift=shift, thick=thick) for gap in (0.999 * WIDTH, WIDTH + CELL / 2))
    assert not passes(narrow, angle)
    assert passes(wide, angle)


@pytest.mark.parametrize("angle", [0, 30, 45, 90])
def test_a_fence_without_a_gap_is_not_passed(angle):
    assert not passes(fence(0.0, angle=angle), angle)


def test_two_posts_are_a_gap_too():
    def gate(width):
        middle = SIZE * CELL / 2
        posts = [shapely.Point(middle - width / 2, middle), shapely.Point(middle + width / 2, middle)]
        walls = [
            shapely.LineString([(-9, middle), (middle - width / 2 - 1, middle)]),
            shapely.LineString([(middle + width / 2 + 1, middle), (200, middle)]),
        ]
        return [*posts, *walls]

    assert not passes(gate(2.9)) and passes(gate(4.0))


def test_cells_within_half_the_width_of_an_edge_are_out_and_farther_ones_in():
    pond = shapely.box(50, 50, 70, 70)
    pieces = passable_pieces([pond], TERRAIN, room=EVERYWHERE, given=NOWHERE, radius_m=10.0)
    rows, columns = np.indices(pieces.cells.shape)
    centre = np.stack([(columns + 0.5) * CELL, (SIZE - rows - 0.5) * CELL], axis=-1)
    away = shapely.distance(shapely.points(centre), pond)
    half_diagonal = CELL / np.sqrt(2)
    assert pieces.cells[away >= 10].all() and not pieces.cells[away < 10 - half_diagonal].any()


def test_a_way_through_the_gap_is_given_and_joins_both_sides():
    closed = fence(1.0)
    lane = NOWHERE.copy()
    lane[:, SIZE // 2] = True
    room = EVERYWHERE.copy()
    pieces = passable_pieces(closed, TERRAIN, room=room, given=lane, radius_m=WIDTH / 2)
    assert pieces.number[5, 5] == pieces.number[-5, 5] >= 0


def test_a_given_cell_is_not_joined_through_a_wall_between():
    wall = shapely.LineString([(60, -10), (60, 200)])  # along a side of the cells
    lane = NOWHERE.copy()
    lane[:, SIZE // 2] = True  # just east of it
    pieces = passable_pieces([wall], TERRAIN, room=EVERYWHERE, given=lane, radius_m=0.5)
    assert pieces.number[30, 5] != pieces.number[30, SIZE // 2]
    assert pieces.number[30, 50] == pieces.number[30, SIZE // 2]


def test_without_edges_all_that_has_room_is_one_piece_a_side():
    room = EVERYWHERE.copy()
    room[30] = False
    pieces = passable_pieces([], TERRAIN, room=room, given=NOWHERE, radius_m=2.0)
    assert pieces.number[3, 3] == pieces.number[29, 59] != pieces.number[31, 3]
    assert (pieces.number[30] == -1).all()
