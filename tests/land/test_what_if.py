"""What one change would add, on ground worked by hand: a strip along a trail, a fenced field, water over a trail."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from affine import Affine

from invasimap.core.settings import AccessSection, AtvSection, FootSection, TractorSection
from invasimap.land.access import access_classes
from invasimap.land.cell_areas import cell_areas
from invasimap.land.ground import make_ground
from invasimap.land.terrain import Terrain
from invasimap.land.what_if import GAINS, reach_gain

CRS = "EPSG:32617"
CELL = 2.0
FOOT = FootSection(max_slope="60 %", max_walk="5 min")
TRACTOR = TractorSection(max_slope="15 %", max_side_slope="10 %", clearance="3 m")
PUMP = {"hose_diameter": "0.5 in", "flow": "3 gal/min", "hose_roughness": 140, "nozzle_pressure": "40 psi"}
COLUMNS = ["change", "means", "x", "y", *GAINS]


def layer(*shapes, **columns):
    return gpd.GeoDataFrame(columns, geometry=list(shapes), crs=CRS)


TRAIL = layer(shapely.LineString([(0, 301), (600, 301)]), **{"class": ["trail"], "allows": ["atv;foot"]})
ROAD = TRAIL.assign(allows="atv;foot;tractor")


def atv(hose="100 m", **more):
    given = {"max_slope": "0 %", "max_side_slope": "0 %", "clearance": "1 m", "hose_loss": "0 %", "hose_length": hose}
    return AtvSection(**given | more)


def gains(infested, *, height=lambda x, y: 0 * x, longer_m=30.0, means=None, **layers):
    """The table for some infested ground of a square of 600 m."""
    x, y = np.meshgrid((np.arange(300) + 0.5) * CELL, (np.arange(300)[::-1] + 0.5) * CELL)
    elevation = np.broadcast_to(height(x, y), x.shape).astype(np.float32)
    terrain = Terrain(elevation_m=elevation, transform=Affine(CELL, 0, 0, 0, -CELL, 600), crs=CRS)
    ground = make_ground(terrain, **{"ways": TRAIL, "outline": shapely.box(4, 4, 596, 596)} | layers)
    means = means or {}
    access = access_classes(ground, **means)
    worth = cell_areas(np.asarray(infested, object), terrain)
    return reach_gain(ground, access, AccessSection().model_copy(update=means), worth=worth, longer_hose_m=longer_m)


def test_a_longer_hose_along_a_straight_trail_adds_a_strip_on_both_sides():
    found = gains([shapely.box(200, 0, 300, 600)], means={"atv": atv("100 m")})
    assert found[["change", "means"]].to_numpy().tolist() == [["hose", "atv_hose"]]
    (more,) = found["atv_hose_gain_m2"]
    assert more == pytest.approx(2 * 30 * 100, abs=2 * CELL * 100)  # a cell's row on either side
    assert found[["treatable_gain_m2", "tractor_gain_m2", "foot_gain_m2"]].to_numpy().tolist() == [[more, 0, 0]]
    walked = gains([shapely.box(200, 0, 300, 600)], means={"atv": atv("100 m"), "foot": FOOT})
    hose = walked[walked["change"] == "hose"].iloc[0]
    assert hose["atv_hose_gain_m2"] == more and hose["foot_gain_m2"] == -more + hose["treatable_gain_m2"]


def test_a_longer_walk_adds_the_strip_of_ten_more_minutes():
    found = gains([shapely.box(300, 0, 310, 600)], means={"foot": FOOT.model_copy(update={"max_walk_min": 2.0})})
    walked_m = 5036.74212462 * 0.6 * 0.7 / 60  # a minute on the level
    more = found.loc[found["change"] == "walk", "treatable_gain_m2"].item()
    assert more == pytest.approx(10 * (min(12 * walked_m, 301) + min(12 * walked_m, 299) - 4 * walked_m), rel=0.02)


def test_an_opening_is_found_at_the_fence_and_adds_just_the_fenced_field():
    field = shapely.box(100, 309, 300, 420)
    fence = layer(shapely.LineString([(-20, 330), (620, 330)]))
    infested = [shapely.box(150, 340, 200, 380), shapely.box(120, 312, 160, 320)]
    tractor = {"tractor": TRACTOR}
    found = gains(infested, ways=ROAD, barriers=fence, open_ground=layer(field), means=tractor)
    assert found["change"].tolist() == ["opening"] and found["means"].tolist() == ["tractor"]
    at = found.iloc[0]
    assert at["y"] == pytest.approx(330, abs=CELL) and 100 - 2 * CELL <= at["x"] <= 300 + 2 * CELL
    assert at["tractor_gain_m2"] == pytest.approx(50 * 40) and at["treatable_gain_m2"] == pytest.approx(50 * 40)
    assert gains([infested[1]], ways=ROAD, barriers=fence, open_ground=layer(field), means=tractor).empty


def test_an_opening_for_an_atv_counts_what_its_hose_reaches_from_beyond():
    stub = layer(
        *TRAIL.geometry, shapely.LineString([(200, 301), (200, 420)]),
        **{"class": ["trail"] * 2, "allows": ["atv;foot"] * 2},
    )  # fmt: skip
    fence = layer(shapely.LineString([(-20, 350), (620, 350)]))
    found = gains([shapely.box(220, 400, 260, 420)], ways=stub, barriers=fence, means={"atv": atv("60 m")})
    opening = found[found["change"] == "opening"]
    assert opening[["x", "y"]].to_numpy().tolist() == [[200, 350]]
    assert opening["means"].tolist() == ["atv"]  # the way allows feet too, but nobody on foot is at hand
    assert opening["atv_hose_gain_m2"].tolist() == pytest.approx([40 * 20])


@pytest.mark.parametrize("infested", [(450, 290, 500, 315), (450, 320, 500, 340)])
def test_blocked_water_over_a_way_is_offered_as_a_crossing(infested):
    stream = layer(
        shapely.LineString([(401, -20), (401, 620)]), kind=["stream"], rule=[""], confidential=[False],
        no_spray_m=[5.0], hand_only_m=[np.nan], width_m=[8.0], per_slope_m=[0.0], position_error_m=[0.0],
        blocks=["atv;tractor;hose"],
    )  # fmt: skip
    gate = layer(shapely.Point(1, 301))
    found = gains([shapely.box(*infested)], features=stream, entries=gate, means={"atv": atv("60 m")})
    opening = found[found["change"] == "opening"]
    assert opening[["x", "y"]].to_numpy().tolist() == [[401, 301]] and opening["means"].tolist() == ["atv"]
    assert opening["atv_hose_gain_m2"].tolist() == pytest.approx([shapely.box(*infested).area])
    narrow = layer(shapely.Point(401, 301), width_m=[0.9])  # the ATV needs a metre
    widened = gains(
        [shapely.box(*infested)], features=stream, entries=gate, crossings=narrow, means={"atv": atv("0 m")}
    )
    assert widened.loc[widened["change"] == "opening", ["x", "y"]].to_numpy().tolist() == (
        [[401, 301]] if infested[1] < 301 else []
    )
    bridge = layer(shapely.Point(401, 301), width_m=[6.0])
    bridged = gains(
        [shapely.box(*infested)], features=stream, entries=gate, crossings=bridge, means={"atv": atv("60 m")}
    )
    assert "opening" not in set(bridged["change"])


def test_with_a_pump_a_longer_hose_loses_ground_uphill_and_says_so():
    hill = {"height": lambda x, y: 0.5 * (y - 301), "longer_m": 100 * 0.3048}
    rig = atv("300 ft", pump_pressure="81.5 psi", **PUMP)  # lifts 6.4 m now, 3.2 m with the friction of 400 ft
    uphill = gains([shapely.box(200, 311, 300, 601)], means={"atv": rig}, **hill)["treatable_gain_m2"].item()
    now, then = (
        (81.5 - 40 - 32.4050893782 * feet / 300) / 0.433 * 0.3048 for feet in (300, 400)
    )  # heights in metres, twice as far on the map
    kept_m = max(2 * then - 10, 0)
    assert uphill == pytest.approx(-100 * (2 * now - 10 - kept_m), abs=100 * CELL) and uphill < 0
    assert gains([shapely.box(200, 1, 300, 290)], means={"atv": rig}, **hill)["treatable_gain_m2"].item() > 0


def test_what_a_tractor_drives_over_is_not_lost_with_a_hose_that_the_pump_no_longer_fills():
    hosed = TRACTOR.model_copy(update=dict(TractorSection(
        max_slope="15 %", max_side_slope="10 %", clearance="3 m", hose_length="300 ft", pump_pressure="73 psi", **PUMP
    )))  # fmt: skip
    field = shapely.box(100, 309, 300, 400)
    found = gains([field], ways=ROAD, open_ground=layer(field), means={"tractor": hosed}, longer_m=60.0)
    assert found["tractor_gain_m2"].tolist() == pytest.approx([0], abs=CELL**2)


def test_a_machine_without_a_hose_has_none_to_be_longer():
    strip = [shapely.box(200, 250, 300, 350)]
    assert gains(strip, means={"atv": atv("0 m"), "foot": FOOT})["change"].tolist() == ["walk"]
    assert gains(strip, means={"atv": atv("1 m")})["atv_hose_gain_m2"].item() > 100 * 2 * (31 - 1 - 3 * CELL)


def test_ground_that_goes_from_feet_to_a_hose_adds_exactly_nothing_to_what_is_treatable():
    spots = [shapely.box(200 + x / 7, 310 + x / 3, 200.1 + x / 7, 312 + x / 3) for x in range(300)]
    found = gains(spots, means={"atv": atv("40 m"), "foot": FOOT.model_copy(update={"max_walk_min": 30.0})})
    hose = found[found["change"] == "hose"].iloc[0]
    assert hose["atv_hose_gain_m2"] == pytest.approx(-hose["foot_gain_m2"]) and hose["foot_gain_m2"] < -1
    assert hose["treatable_gain_m2"] == 0 and not np.signbit(hose["treatable_gain_m2"])


def test_without_means_or_ground_that_counts_the_table_keeps_its_columns():
    nothing = gains([shapely.box(200, 200, 300, 300)])
    assert list(nothing.columns) == COLUMNS and nothing.empty
    empty = gains([], means={"atv": atv(), "foot": FOOT}, barriers=layer(shapely.LineString([(0, 320), (600, 320)])))
    assert empty["change"].tolist() == ["hose", "walk"] and (empty[list(GAINS)] == 0).all(axis=None)
