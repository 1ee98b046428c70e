"""How a survey errs, against closed forms: variances of walked areas, discs, covers and cells."""

import dataclasses

import geopandas as gpd
import numpy as np
import pytest
import shapely

from invasimap.mosaic.errors import Outlines, WalkError, draw_cell_shifts, draw_covers, sigma_m
from invasimap.mosaic.sweep import Layer, areas, rings_of

EACH_ITS_OWN = WalkError(common=0.0, own=1.0)


def outlines(*shapes, shape="polygon", sigma=3.0, size_error=0.0, error=None):
    return Outlines.of(
        rings_of(np.array(shapes, object)), shape=np.full(len(shapes), shape, object),
        sigma_m=np.full(len(shapes), sigma), size_error=size_error, error=error or WalkError(),
    )  # fmt: skip


def drawn_areas(of, *, draws=10_000, **only):
    """Shoelace areas (draws,) of the one ring of ``of``."""
    rng = np.random.default_rng(1)
    found = []
    for _ in range(draws // 500):
        x, y = np.moveaxis(of.draw(rng, 500, **only) - of.rings.xy[0], -1, 0)
        found.append(np.abs((x[:, :-1] * y[:, 1:] - x[:, 1:] * y[:, :-1]).sum(axis=1)) / 2)
    return np.concatenate(found)


def ring(radius_m, corners):
    turn = np.arange(corners) / corners * 2 * np.pi
    return radius_m * np.column_stack([np.cos(turn), np.sin(turn)])


def area_sd(xy, error, sigma):
    """Standard deviation of a walked area from the covariance of its fixes, both orders of the shoelace sum."""
    faded = np.exp(-np.hypot(*(xy[:, None] - xy).transpose(2, 0, 1)) / error.drift_m)
    covariance = sigma**2 * (error.common + error.drift * faded + error.own * np.eye(len(xy)))
    chord = np.roll(xy, -1, axis=0) - np.roll(xy, 1, axis=0)
    following = np.roll(np.eye(len(xy)), 1, axis=1)
    both = following - following.T
    first = (covariance * (chord @ chord.T)).sum() / 4
    return np.sqrt(first + np.trace(both @ covariance @ both.T @ covariance) / 4)


def test_accuracies_of_three_kinds_become_the_worked_sigmas():
    found = [sigma_m(np.array([4.0])), sigma_m(np.array([4.0]), means="rms"), sigma_m(np.array([8.0]), means="95 %")]
    assert np.concatenate(found) == pytest.approx([2.64972224853, 2.82842712475, 3.26831186123], rel=1e-9)


@pytest.mark.parametrize(
    ("xy", "expected_m2"),
    [(np.array([[0, 0], [100, 0], [100, 100], [0, 100.0]]), 424.454944605), (ring(56.4189583548, 60), 145.639121643)],
)
def test_hectare_of_independent_fixes_has_the_worked_deviation(xy, expected_m2):
    # sqrt(sigma^2 / 4 * sum |P(i+1) - P(i-1)|^2 + n sigma^4 / 2), after Bondesson, Stahl and Holm 1998
    areas = drawn_areas(outlines(shapely.Polygon(xy), error=EACH_ITS_OWN))
    assert areas.std() == pytest.approx(expected_m2, rel=0.03)
    assert areas.mean() == pytest.approx(1e4, abs=4 * expected_m2 / np.sqrt(len(areas)) + 20)  # 60 corners: 18 m2 less


@pytest.mark.parametrize(("radius_m", "corners"), [(10.0, 12), (56.4, 60), (196.0, 120)])
def test_walked_area_deviates_as_the_covariance_of_its_fixes_says(radius_m, corners):
    xy = ring(radius_m, corners)
    areas = drawn_areas(outlines(shapely.Polygon(xy), sigma=5.0), draws=5000)
    assert areas.std() == pytest.approx(area_sd(xy, WalkError(), 5.0), rel=0.04)


def test_common_shift_moves_an_outline_and_leaves_its_area():
    of = outlines(shapely.Polygon(ring(20, 30), [ring(5, 12)]), error=WalkError(common=1.0, own=0.0))
    moved = of.draw(np.random.default_rng(2), 200) - of.rings.xy
    assert moved.std(axis=1).max() < 1e-9  # every vertex alike
    assert moved[:, 0].std(axis=0) == pytest.approx([3, 3], rel=0.2)


def test_drift_fades_with_the_ground_between_whatever_ring_or_way():
    x = np.cumsum([0, 1, 4, 10, 25, 100, 40, 900.0])
    there = np.column_stack([np.append(x, x[::-1]), np.append(0 * x, 0 * x + 3)])
    of = outlines(shapely.MultiPolygon([shapely.Polygon(there), shapely.box(0, 20, 30, 50)]),
                  sigma=1.0, error=WalkError(common=0.0, own=0.0))  # fmt: skip
    moved = of.draw(np.random.default_rng(3), 20_000) - of.rings.xy
    expected = np.exp(-np.hypot(*(of.rings.xy[:, None] - of.rings.xy).transpose(2, 0, 1)) / 40)
    for axis in (0, 1):
        assert np.abs(np.cov(moved[:, :, axis].T) - expected).max() < 0.04  # more than five standard errors


@pytest.mark.parametrize("sigma", [3.0, 5.0])
@pytest.mark.parametrize("width_m", [2.0, 5.0, 10.0, 20.0])
def test_walked_strip_is_drawn_no_larger_than_it_was_walked(width_m, sigma):
    # 100 m up one side and down the other, a fix every 5 m
    x = np.arange(0, 101, 5.0)
    middle, half = np.column_stack([x, 8 * np.sin(x / 25)]), np.array([0, width_m / 2])
    strip = shapely.Polygon(np.concatenate([middle - half, (middle + half)[::-1]]))
    of = outlines(strip, sigma=sigma)
    land = {name: Layer(rings=rings_of([]), label=np.empty(0, int)) for name in ("stands", "zones", "access")}
    one = {"species": np.zeros(1, int), "rank": np.zeros(1, int), "threads": 1}
    drawn = [areas(dataclasses.replace(of.rings, xy=xy), **one, **land).area_m2[0]
             for xy in of.draw(np.random.default_rng(9), 600)]  # fmt: skip
    assert np.mean(drawn) == pytest.approx(strip.area, rel=0.05)


def test_variances_along_a_walk_add_up_however_narrow_it_is():
    of = outlines(shapely.box(0, 0, 90, 1), shapely.box(0, 0, 90, 80), sigma=5.0)
    moved = (of.draw(np.random.default_rng(10), 8000) - of.rings.xy).std(axis=0)
    assert moved == pytest.approx(np.full(moved.shape, 5.0), rel=0.04)


def test_rings_stay_closed():
    of = outlines(shapely.box(0, 0, 30, 20), shapely.Point(50, 50).buffer(5).union(shapely.Point(90, 9).buffer(3)))
    drawn = of.draw(np.random.default_rng(4), 20)
    assert (drawn[:, of.rings.start[1:] - 1] == drawn[:, of.rings.start[:-1]]).all()


def test_disc_is_drawn_round_what_its_radius_says_of_the_truth():
    # a radius right on average gives areas too large by 1 + s^2: 36 % for 3 m of 5 m; the truth lies that much below
    disc = shapely.Polygon(ring(5, 64))
    of = outlines(disc, shape="point", size_error=3 / 5)
    assert shapely.Polygon(of.expected()).area == pytest.approx(disc.area * 78.5398163397 / 106.814150222)
    areas = drawn_areas(of, draws=20_000)
    assert areas.mean() == pytest.approx(disc.area / 1.36, rel=0.05)
    assert np.log(areas).std() == pytest.approx(2 * np.sqrt(np.log(1.36)), rel=0.02)


def test_errors_that_are_not_drawn_leave_everything_where_it_was():
    of = outlines(shapely.Point(3, 4).buffer(5), shape="point", size_error=0.2)
    drawn = of.draw(np.random.default_rng(5), 3, position=False, size=False)
    assert (drawn == of.rings.xy).all()


def test_line_keeps_its_width_when_moved_and_changes_it_when_resized():
    strip = shapely.LineString([(0, 0), (60, 0)]).buffer(2.5, cap_style="flat")
    wandering = drawn_areas(outlines(strip, shape="line", sigma=5.0), draws=3000)
    assert wandering.mean() == pytest.approx(300, rel=0.02) and wandering.std() < 0.12 * 300
    of = outlines(strip, shape="line", size_error=0.2)
    rng = np.random.default_rng(6)
    corners = of.draw(rng, 400, position=False)
    width, length = (np.ptp(corners[:, :, axis], axis=1) for axis in (1, 0))
    assert width.mean() == pytest.approx(5, rel=0.04) and width.std() == pytest.approx(1, rel=0.15)
    assert length == pytest.approx(60 + (width - 5))  # the ends go out with the sides
    bent = shapely.LineString([(0, 0), (60, 0), (60, 60)]).buffer(2.5, cap_style="flat")
    of = outlines(bent, shape="line", size_error=0.2)
    drawn = shapely.Polygon(of.draw(rng, 1, position=False)[0])
    same = shapely.LineString([(0, 0), (60, 0), (60, 60)]).buffer(drawn.bounds[1] * -1, cap_style="flat")
    assert drawn.area == pytest.approx(same.area, rel=0.05)


def test_covers_are_uniform_in_their_class_and_cells_within_half():
    rng = np.random.default_rng(7)
    covers = draw_covers(rng, 20_000, low_pct=np.array([25.0, 40.0]), high_pct=np.array([50.0, 40.0]))
    assert (covers[:, 1] == 40).all() and covers[:, 0].min() >= 25 and covers[:, 0].max() <= 50
    assert covers[:, 0].mean() == pytest.approx(37.5, abs=0.2)
    assert covers[:, 0].std() == pytest.approx(25 / np.sqrt(12), rel=0.03)
    shifts = draw_cell_shifts(rng, 20_000, cell_m=3.0)
    assert np.abs(shifts).max() <= 1.5 and shifts.std(axis=0) == pytest.approx(3 / np.sqrt(12), rel=0.03)


def test_same_seed_same_draws():
    shapes = gpd.GeoSeries([shapely.box(0, 0, 9, 9), shapely.box(20, 0, 40, 9)])
    one, two = (outlines(*shapes).draw(np.random.default_rng(8), 5) for _ in range(2))
    assert (one == two).all()


def test_a_survey_without_outlines_has_nothing_to_draw():
    for shapes in ([], [shapely.Polygon()], [None]):
        of = outlines(*shapes)
        assert of.draw(np.random.default_rng(1), 3).shape == (3, 0, 2) and len(of.own) == len(shapes)
