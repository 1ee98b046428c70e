"""The hose over a grid: by hand, against a visibility graph, and between two plain searches over the same cells."""

import heapq
from itertools import product

import numpy as np
import pyproj
import pytest
import shapely
import shapely.affinity
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage
from scipy.sparse import csgraph, csr_array

from invasimap.land.hose_reach import hose_reach
from invasimap.land.raster import closed_parts, touched
from invasimap.land.terrain import Terrain


def reach(sources, *, length, lift=np.inf, z=None, closed=(), cell=1.0, shape=(41, 41), tile=512):
    """Reach from cells given as pairs; ``closed`` is a mask or indices of one."""
    start, passable = np.zeros(shape, bool), np.ones(shape, bool)
    start[tuple(np.transpose(sources))] = True
    if len(closed):
        passable[closed] = False
    z = np.zeros(shape, np.float32) if z is None else z
    given_values = {"passable": passable, "elevation_m": z, "cell_m": cell, "length_m": length}
    return hose_reach(start, lift_m=lift, tile_cells=tile, **given_values)


def test_front_on_open_level_ground_is_the_circle():
    found = reach([(60, 60)], length=150.0, cell=3.0, shape=(121, 121))
    rows, columns = np.mgrid[:121, :121] - 60
    away = 3.0 * np.hypot(rows, columns)
    assert (found.reached == (away <= 150.0)).all()
    assert found.hose_m[found.reached] == pytest.approx(away[found.reached], rel=1e-6)
    assert (found.parking[found.reached] == 60 * 121 + 60).all() and (found.parking[~found.reached] == -1).all()


def test_nearest_of_many_parking_places_on_open_ground():
    track = [(20, column) for column in range(5, 30)] + [(35, 11)]
    found = reach(track, length=15.0)
    mask = np.zeros((41, 41), bool)
    mask[tuple(np.transpose(track))] = True
    away = ndimage.distance_transform_edt(~mask)
    assert (found.reached == (away <= 15.0)).all()
    assert found.hose_m[found.reached] == pytest.approx(away[found.reached], rel=1e-6)


def test_a_hose_is_as_long_as_the_slope_in_any_direction():
    rows, columns = np.mgrid[:41, :41]
    found = reach([(20, 20)], length=30.0, z=0.75 * columns + 0.4 * rows)
    rise = 0.75 * (columns - 20) + 0.4 * (rows - 20)
    along = np.sqrt((columns - 20) ** 2 + (rows - 20) ** 2 + rise**2)
    assert (found.reached == (along <= 30.0)).all()
    assert found.hose_m[20, 36] == pytest.approx(16 * 1.25)  # 3-4-5
    assert found.lift_m(0.75 * columns + 0.4 * rows)[20, 36] == pytest.approx(12.0)


def test_over_a_ridge_up_and_down_both_count():
    columns = np.mgrid[:41, :41][1]
    z = 0.75 * np.minimum(np.abs(columns - 5), np.abs(columns - 25)).astype(float)  # a ridge midway, at column 15
    found = reach([(20, 5)], length=25.0, z=z)
    assert found.hose_m[20, 25] == pytest.approx(20 * 1.25)
    assert found.hose_m[20, 26] == np.inf


def wall_with_slit(slit):
    closed = np.zeros((41, 41), bool)
    closed[20] = True
    closed[20, slit] = False
    return closed


def test_a_wall_is_passed_through_its_slit_only():
    found = reach([(10, 10)], length=60.0, closed=wall_with_slit([30]))
    # straight to the corner of the slit, past it, and straight on
    to_slit, beyond = np.hypot(9.5, 19.5), np.hypot(9.5, 9.5)
    assert found.hose_m[30, 20] == pytest.approx(to_slit + 1 + beyond, rel=1e-4)
    assert not reach([(10, 10)], length=60.0, closed=wall_with_slit([])).reached[21:].any()


def test_nothing_passes_between_two_closed_cells_that_meet_at_a_corner():
    row, column = np.mgrid[:41, :41]
    found = reach([(5, 30)], length=200.0, closed=row == column)
    assert found.reached[row < column].all() and not found.reached[row >= column].any()


def test_ground_without_elevation_closes_and_sources_there_do_not_count():
    z = np.zeros((41, 41))
    z[20] = np.nan
    found = reach([(10, 10), (20, 20)], length=100.0, z=z)
    assert found.reached[:20].all() and not found.reached[20:].any()


def test_within_length_of_the_low_place_and_within_lift_of_the_far_one_is_not_reached():
    z = np.zeros((5, 41))
    z[:, 10:] = 10.0  # a terrace; the far place is upon it
    low, far, target = (2, 4), (2, 40), (2, 14)
    both = {"sources": [low, far], "length": 23.0, "z": z, "shape": (5, 41)}
    found = reach(**both, lift=6.0)
    to_target = 5 + np.hypot(1, 10) + 4  # within length of the low place only
    assert reach(**both).hose_m[target] == pytest.approx(to_target)
    assert found.parking[target] == -2 and found.too_high[target] and found.hose_m[target] == np.inf
    assert found.reached[2, 17] and found.parking[2, 17] == 2 * 41 + 40  # 23 m from the far one


def test_a_longer_hose_from_a_higher_place_is_found_behind_a_shorter_one_that_lifts_too_high():
    z = np.tile(np.where(np.arange(41) < 12, 0.0, 5.0), (5, 1))
    found = reach([(2, 10), (2, 30)], length=25.0, lift=3.0, z=z, shape=(5, 41))
    assert found.parking[2, 14] == 2 * 41 + 30 and found.hose_m[2, 14] == pytest.approx(16.0)
    assert found.parking[2, 8] == 2 * 41 + 10


def test_a_nozzle_that_must_stand_lower_is_reached_downhill_only():
    z = np.tile(np.arange(41.0), (5, 1))
    found = reach([(2, 20)], length=20.0, lift=-3.0, z=z, shape=(5, 41))
    assert found.reached[2, :18].sum() == 12 and not found.reached[2, 18:].any()  # 14 columns of sqrt(2) each, less two


def around(start, ends, obstacle, corners):
    """Exact shortest ways between points: lines over corners that touch no obstacle, by Dijkstra."""
    shapely.prepare(obstacle)
    places = np.vstack([[start], corners, ends])
    a, b = np.meshgrid(np.arange(len(corners) + 1), np.arange(len(places)), indexing="ij")
    a, b = a[a < b], b[a < b]
    clear = ~shapely.intersects(obstacle, shapely.linestrings(np.stack([places[a], places[b]], 1)))
    lengths = np.hypot(*(places[a] - places[b]).T)
    graph = csr_array((lengths[clear], (a[clear], b[clear])), shape=(len(places),) * 2)
    return csgraph.dijkstra(graph, directed=False, indices=0)[len(corners) + 1 :]


def corners_of(closed):
    """Corners of closed cells, x and y, a thousandth of a cell off so that what leads past them touches nothing."""
    rows, columns = np.nonzero(closed)
    found = []
    for down, across in product((-1, 1), (-1, 1)):
        inside = (rows + down >= 0) & (rows + down < closed.shape[0])
        inside &= (columns + across >= 0) & (columns + across < closed.shape[1])
        row, column = rows[inside], columns[inside]
        free = ~closed[row + down, column + across]
        away = 0.5 + 1 / 1024
        found.append(np.stack([column + 0.5 + across * away, row + 0.5 + down * away], 1)[free])
    return np.concatenate(found)


def blocks(closed):
    """Closed cells as one shape, and all round the grid."""
    rows, columns = np.nonzero(closed)
    height, width = closed.shape
    outside = shapely.difference(shapely.box(-9, -9, width + 9, height + 9), shapely.box(0, 0, width, height))
    return shapely.union_all([outside, *shapely.box(columns, rows, columns + 1, rows + 1)])


def rectangle(x, y, width, height, degrees):
    return shapely.affinity.rotate(
        shapely.box(x - width / 2, y - height / 2, x + width / 2, y + height / 2), degrees, "center"
    )


def rectangles(seed):
    """Rectangles at any angle, four cells or more from each other, the start and the edge."""
    rng = np.random.default_rng(seed)
    kept = []
    for _ in range(60):
        one = rectangle(*rng.uniform(8, 82, 2), *rng.uniform(2, 24, 2), rng.uniform(0, 90))
        far = [one.distance(shapely.Point(45.5, 45.5)), one.distance(shapely.box(0, 0, 90, 90).exterior)]
        if min(far + [one.distance(other) for other in kept]) >= 4:
            kept.append(one)
    assert len(kept) >= 8
    return kept


SCENES = {
    "a slit wall": [shapely.box(4.3, 60.3, 60.2, 60.9), shapely.box(66.6, 60.3, 85.4, 60.9)],
    "a wall drawn at an angle": [rectangle(45, 38, 50, 0.2, 31)],
    "a U": [shapely.box(30.4, 30, 33, 64), shapely.box(30.4, 61, 62.6, 64), shapely.box(59.2, 30, 62.6, 64)],
    "a triangle and a square": [shapely.Polygon([(50, 50.5), (75, 60), (55, 80)]), rectangle(25, 30, 20, 20, 45)],
    "rectangles 1": rectangles(1), "rectangles 2": rectangles(2), "rectangles 3": rectangles(3),
}  # fmt: skip
START = (45.5, 45.5)


def laid_round(drawn, *, in_part, shape=(90, 90)):
    """Lengths laid to all open cells, their middles, and the closed cells."""
    ground = Terrain(elevation_m=np.zeros(shape, np.float32), transform=Affine.identity(), crs=pyproj.CRS(32616))
    closed = touched(drawn, ground)
    start = np.zeros(shape, bool)
    start[45, 45] = True
    found = hose_reach(
        start, passable=~closed, elevation_m=ground.elevation_m, cell_m=1.0, length_m=1e3,
        closed_parts=closed_parts(drawn, ground) if in_part else None,
    )  # fmt: skip
    rows, columns = np.nonzero(~closed)
    assert found.reached[~closed].all() and not found.reached[closed].any()
    return found.hose_m[rows, columns], np.stack([columns, rows], 1) + 0.5, closed


@pytest.mark.parametrize("name", SCENES)
def test_round_drawn_polygons_within_two_percent_of_the_visibility_graph_and_never_under(name):
    laid, ends, _ = laid_round(SCENES[name], in_part=True)
    drawn = shapely.union_all(SCENES[name])
    exact = around(START, ends, shapely.buffer(drawn, -1e-6), shapely.get_coordinates(drawn))
    hidden = exact > 1.001 * np.hypot(*(ends - START).T)
    far = exact > 10
    assert (hidden & far).sum() > 250
    assert (laid >= exact * (1 - 1e-6)).all()
    assert (laid <= exact + 1.5).all() and (laid[far] <= 1.02 * exact[far]).all()


@pytest.mark.parametrize("name", list(SCENES)[:5])
def test_round_closed_cells_within_half_a_percent_of_the_visibility_graph_and_never_under(name):
    laid, ends, closed = laid_round(SCENES[name], in_part=False)
    some = np.random.default_rng(3).choice(len(ends), 100, replace=False)
    exact = around(START, ends[some], blocks(closed), corners_of(closed))
    assert (laid[some] >= exact * (1 - 1e-6)).all() and (laid[some] <= 1.005 * exact).all()


def test_through_a_gap_narrower_than_a_cell_in_a_wall_and_through_no_corner_where_two_closed_ones_meet():
    start = np.zeros((90, 90), bool)
    start[45, 45] = True
    ground = Terrain(elevation_m=np.zeros((90, 90), np.float32), transform=Affine.identity(), crs=pyproj.CRS(32616))
    given_values = {"elevation_m": ground.elevation_m, "cell_m": 1.0, "length_m": 200.0}
    gap = [shapely.box(0, 48.2, 45.3, 48.9), shapely.box(45.7, 48.2, 90, 48.9)]
    found = hose_reach(start, passable=~touched(gap, ground), closed_parts=closed_parts(gap, ground), **given_values)
    assert found.hose_m[60, 45] == pytest.approx(15.0) and found.hose_m[49, 30] > 15.8
    row, column = np.mgrid[:90, :90]
    small = [shapely.box(i + 0.01, i + 0.01, i + 0.99, i + 0.99) for i in range(90)]
    shut = hose_reach(
        np.roll(start, 9, 1), passable=row != column, closed_parts=closed_parts(small, ground), **given_values
    )
    assert shut.reached[row < column].all() and not shut.reached[row > column].any()


@pytest.mark.parametrize("lift", [1.0, np.inf])
def test_tiles_give_the_same_as_the_whole_round_what_is_closed_in_part(lift):
    rng = np.random.default_rng(2)
    z = (ndimage.gaussian_filter(rng.standard_normal((90, 90)), 3) * 60).astype(np.float32)
    z[20:24, 20:24] = np.nan
    ground = Terrain(elevation_m=z, transform=Affine.identity(), crs=pyproj.CRS(32616))
    drawn = SCENES["rectangles 1"]
    known = {"passable": ~touched(drawn, ground), "elevation_m": z, "cell_m": 1.0, "length_m": 11.0, "lift_m": lift}
    known |= {"closed_parts": closed_parts(drawn, ground)}
    start = rng.random((90, 90)) < 0.002
    whole, tiled = hose_reach(start, **known), hose_reach(start, tile_cells=17, **known)
    assert (whole.parking == tiled.parking).all() and (whole.hose_m == tiled.hose_m).all()
    assert whole.reached.sum() > 500 and not whole.reached[np.isnan(z)].any()


def cells_and_lines(closed, z):
    """Open cells, and the ground length of each straight line between them and corners that touches no closed cell."""
    cells = np.argwhere(~closed)
    places = np.vstack([cells, corners_of(closed)[:, ::-1] - 0.5])
    a, b = np.triu_indices(len(places), 1)
    ways = shapely.linestrings(np.stack([places[a], places[b]], 1)[:, :, ::-1] + 0.5)
    clear = ~shapely.intersects(blocks(closed), ways)
    start, run = places[a[clear]], (places[b] - places[a])[clear]
    longer = np.abs(run).argmax(axis=1)[:, None]
    at = np.arange(max(z.shape)) - np.take_along_axis(start, longer, 1)  # heights where cells' middle lines are crossed
    at = np.sort(np.clip(np.c_[at, 0 * at[:, :1], 0 * at[:, :1] + np.inf] / np.take_along_axis(run, longer, 1), 0, 1))
    heights = ndimage.map_coordinates(z, (start[:, None] + at[:, :, None] * run[:, None]).T, order=1, mode="nearest").T
    lengths = np.zeros((len(places), len(places)))
    lengths[a[clear], b[clear]] = np.hypot(np.diff(at) * np.hypot(*run.T)[:, None], np.diff(heights)).sum(axis=1)
    return cells, lengths + lengths.T


def plain_pareto(closed, z, sources, lift):
    """Shortest hose that lifts no more, by steps to eight neighbours: every length and height of the parking place."""
    best, highest = np.full(z.shape, np.inf), np.full(z.shape, -np.inf)
    queue = [(0.0, -z[cell], cell) for cell in sources]
    heapq.heapify(queue)
    while queue:
        length, low, (row, column) = heapq.heappop(queue)
        if -low <= highest[row, column]:
            continue
        highest[row, column] = -low
        if z[row, column] + low <= lift:
            best[row, column] = min(best[row, column], length)
        for down in (-1, 0, 1):
            for across in (-1, 0, 1):
                there = row + down, column + across
                inside = 0 <= there[0] < z.shape[0] and 0 <= there[1] < z.shape[1]
                if not inside or closed[row, there[1]] or closed[there[0], column] or closed[there]:
                    continue
                step = np.hypot(np.hypot(down, across), z[there] - z[row, column])
                heapq.heappush(queue, (length + step, low, there))
    return best


@settings(max_examples=12, deadline=None)
@given(seed=st.integers(0, 10**6), shut=st.sampled_from([0.1, 0.25, 0.4]), rough=st.sampled_from([0, 1, 3]))
def test_between_the_exact_shortest_and_steps_to_eight_neighbours(seed, shut, rough):
    rng = np.random.default_rng(seed)
    shape = (8, 9)
    closed = rng.random(shape) < shut
    closed[0, 0] = False
    z = np.cumsum(rng.integers(-rough, rough + 1, shape), axis=0).astype(float)
    cells, lengths = cells_and_lines(closed, z)
    picked = np.unique(rng.integers(0, len(cells), 4))
    sources = [tuple(cells[i]) for i in picked]
    exact = csgraph.dijkstra(lengths, indices=picked)[:, : len(cells)]
    height = z[tuple(cells.T)]
    for lift in (np.inf, 1.0, 0.0, -1.0):
        within = height[None] - height[picked][:, None] <= lift
        shortest = np.where(within, exact, np.inf).min(axis=0)
        stepped = plain_pareto(closed, z, sources, lift)[tuple(cells.T)]
        for length in (4.0, 9.0, 1e3):
            found = reach(sources, length=length, lift=lift, z=z, closed=closed, shape=shape)
            laid, parking = (array[tuple(cells.T)] for array in (found.hose_m, found.parking))
            assert (laid >= shortest * (1 - 1e-6)).all()
            assert (laid[stepped <= length * (1 - 1e-9)] <= stepped[stepped <= length * (1 - 1e-9)] * (1 + 1e-6)).all()
            assert (parking[np.isfinite(stepped) & (length == 1e3)] >= 0).all()
            place = np.searchsorted(cells[:, 0] * shape[1] + cells[:, 1], parking)
            for cell in np.flatnonzero(parking >= 0):  # length and lift of the very place that is named
                assert height[cell] - height[place[cell]] <= lift
                assert exact[np.flatnonzero(picked == place[cell])[0], cell] <= laid[cell] * (1 + 1e-6)
            short = (exact.min(axis=0) <= length * (1 - 1e-9)) & (shortest > length)
            assert (parking[short] < 0).all() and (parking[exact.min(axis=0) > length * (1 + 1e-9)] == -1).all()


def rough_country(seed, size=70):
    rng = np.random.default_rng(seed)
    z = ndimage.gaussian_filter(rng.standard_normal((size, size)), 3) * 60
    closed = ndimage.gaussian_filter(rng.standard_normal((size, size)), 1.5) > 0.05
    sources = np.argwhere((rng.random((size, size)) < 0.01) & ~closed)
    return {"sources": sources, "z": z, "closed": closed, "shape": (size, size)}


@pytest.mark.parametrize("seed", range(3))
def test_a_longer_hose_or_a_higher_lift_never_reaches_less(seed):
    here = rough_country(seed)
    lengths, lifts = (5.0, 8.0, 8.5, 13.0), (-1.0, 0.0, 0.7, 3.0, np.inf)
    reached = np.array([[reach(**here, length=length, lift=lift).reached for lift in lifts] for length in lengths])
    assert (reached[1:] >= reached[:-1]).all() and (reached[:, 1:] >= reached[:, :-1]).all()
    assert reached[0, 0].sum() < reached[0, -1].sum() < reached[-1, -1].sum()


@pytest.mark.parametrize("lift", [1.0, np.inf])
@pytest.mark.parametrize("tile", [7, 16, 33])
def test_tiles_give_the_same_as_the_whole(tile, lift):
    for seed in range(3):
        here = rough_country(seed) | {"length": 9.0, "lift": lift}
        whole, tiled = reach(**here), reach(**here, tile=tile)
        assert (whole.parking == tiled.parking).all() and (whole.hose_m == tiled.hose_m).all()
        assert whole.reached.sum() > 500


def test_no_source_or_no_hose_reaches_nothing_more():
    assert not reach(np.empty((0, 2), int), length=50.0).reached.any()
    assert reach([(3, 4)], length=0.0).reached.sum() == 1


@pytest.mark.parametrize("seed", range(4))
def test_cells_that_are_asked_for_are_answered_as_if_all_were(seed):
    rng = np.random.default_rng(seed)
    rows, columns = np.indices((70, 90))
    z = 9 * np.sin(rows / rng.uniform(5, 9)) * np.cos(columns / rng.uniform(5, 9))
    sources, free = rng.random(z.shape) < 0.004, rng.random(z.shape) < 0.93
    asked = rng.random(z.shape) < 0.1
    given = {"passable": free, "elevation_m": z, "cell_m": 2.0, "length_m": 40.0, "lift_m": 3.0, "tile_cells": 40}
    whole, some = hose_reach(sources, **given), hose_reach(sources, **given, asked=asked)
    assert (whole.reached[asked] == some.reached[asked]).all()
    assert (whole.hose_m[asked] == some.hose_m[asked]).all()
    assert (whole.too_high & asked).any() and not (some.reached & ~whole.reached).any()
