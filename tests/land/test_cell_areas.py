"""Areas of polygons by cell, against shapely's overlay of every cell with every polygon."""

import numpy as np
import pytest
import shapely
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st

from invasimap.land.cell_areas import cell_areas
from invasimap.land.raster import grid_polygons, joined_polygons
from invasimap.land.terrain import Terrain

CELL, ROWS, COLUMNS = 3.048, 9, 12
LEFT, TOP = 500_000.3, 4_200_000.7
GRID = Terrain(
    elevation_m=np.zeros((ROWS, COLUMNS), np.float32), transform=Affine(CELL, 0, LEFT, 0, -CELL, TOP), crs="EPSG:32617"
)
BOXES = np.array(
    [
        shapely.box(LEFT + c * CELL, TOP - (r + 1) * CELL, LEFT + (c + 1) * CELL, TOP - r * CELL)
        for r in range(ROWS)
        for c in range(COLUMNS)
    ]
)


def blob(rng):
    """A crooked polygon, now and then with a hole, in and round the grid."""
    middle = (LEFT, TOP) + rng.uniform((-8, -36), (45, 8))
    turns = np.sort(rng.uniform(0, 2 * np.pi, 9))
    ring = middle + (np.stack([np.cos(turns), np.sin(turns)]) * rng.uniform(0.2, 15, 9)).T
    shape = shapely.make_valid(shapely.Polygon(ring))
    return shape.difference(shapely.Point(middle).buffer(rng.uniform(0, 4)))


@given(st.integers(0, 10_000))
@settings(max_examples=25, deadline=None)
def test_area_in_each_cell_is_that_of_the_overlay_and_adds_up_to_what_lies_in_the_grid(seed):
    rng = np.random.default_rng(seed)
    shapes = [*(blob(rng) for _ in range(3)), BOXES[17], shapely.union_all(BOXES[[30, 31, 42]])]
    found = cell_areas(shapes, GRID)
    by_hand = np.array([[shapely.area(shapely.intersection(shape, box)) for box in BOXES] for shape in shapes])
    table = np.zeros_like(by_hand)
    np.add.at(table, (found.polygon, found.cell), found.area_m2)
    assert table == pytest.approx(by_hand, abs=1e-6)
    within = shapely.area(shapely.intersection(shapes, shapely.box(*GRID.bounds)))
    assert table.sum(axis=1) == pytest.approx(within, rel=1e-9, abs=1e-6)


def test_areas_are_summed_by_the_codes_of_a_grid():
    codes = np.zeros(GRID.shape, np.int16)
    codes[:, COLUMNS // 2 :] = 2
    whole = shapely.box(*GRID.bounds).buffer(50)
    left_half = ROWS * COLUMNS * CELL**2 / 2
    assert cell_areas([whole], GRID).sums(codes, 4) == pytest.approx([left_half, 0, left_half, 0])
    assert cell_areas([whole, BOXES[0]], GRID).sums(codes, 4)[0] == pytest.approx(left_half + CELL**2)


@pytest.mark.parametrize("shapes", [[], [shapely.Polygon()], [shapely.box(0, 0, 1, 1)]])
def test_nothing_in_the_grid_is_no_area(shapes):
    found = cell_areas(shapes, GRID)
    assert len(found.cell) == 0 and found.sums(np.zeros(GRID.shape, np.int16), 3).tolist() == [0, 0, 0]


def test_polygons_of_cells_joined_anew_are_the_same_ground():
    codes = np.array([[1, 1, 2, 2], [3, 1, 1, 2], [3, 3, 0, 2], [0, 3, 2, 2]], np.int16)
    grid = Terrain(elevation_m=np.zeros((4, 4), np.float32), transform=Affine(5, 0, 100, 0, -5, 220), crs="EPSG:32617")
    apart = grid_polygons(codes, grid)
    both = apart[apart["code"].isin([1, 3])]
    (joined,) = joined_polygons(both.geometry.to_numpy(), [7] * len(both), grid).geometry  # they touch along sides
    assert shapely.equals(joined, shapely.union_all(both.geometry.to_numpy()))
    assert joined.area == 8 * 25.0
    assert joined_polygons(apart.geometry.to_numpy()[:0], [], grid).empty
