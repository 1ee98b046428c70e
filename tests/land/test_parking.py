"""Where to park, on ground worked by hand: a straight trail, a zone beside it, a ramp, a hill with walls."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from affine import Affine

from invasimap.core.settings import AtvSection, FootSection
from invasimap.land.access import access_classes
from invasimap.land.ground import make_ground
from invasimap.land.parking import COLUMNS, parking_notes, parking_places
from invasimap.land.terrain import Terrain

CRS = "EPSG:32617"
CELL = 2.0
PUMP = {"hose_diameter": "0.5 in", "flow": "3 gal/min", "hose_roughness": 140, "nozzle_pressure": "40 psi",
        "pump_pressure": "81.5 psi"}  # fmt: skip
LIFT_M = (81.5 - 40 - 32.4050893782) / 0.433 * 0.3048  # 300 ft of that hose: 6.4 m


def layer(*shapes, **columns):
    return gpd.GeoDataFrame(columns, geometry=list(shapes), crs=CRS)


TRAIL = layer(shapely.LineString([(0, 101), (600, 101)]), **{"class": ["trail"], "allows": ["atv;foot"]})


def atv(hose="100 m", **more):
    given = {"max_slope": "0 %", "max_side_slope": "0 %", "clearance": "1 m", "hose_loss": "10 %", "hose_length": hose}
    return AtvSection(**given | more)


def access(rig, height=lambda x, y: 0 * x, **layers):
    """600 m from west to east, 300 m from south to north, the trail 101 m from the south."""
    x, y = np.meshgrid((np.arange(300) + 0.5) * CELL, (np.arange(150)[::-1] + 0.5) * CELL)
    elevation = np.broadcast_to(height(x, y), x.shape).astype(np.float32)
    terrain = Terrain(elevation_m=elevation, transform=Affine(CELL, 0, 0, 0, -CELL, 300), crs=CRS)
    ground = make_ground(terrain, ways=TRAIL, outline=shapely.box(4, 4, 596, 296), **layers)
    return access_classes(ground, atv=rig, foot=FootSection(max_slope="90 %", max_walk="30 min"))


def zones(*shapes, **columns):
    return layer(
        *shapes, **{"id": [f"z{n}" for n in range(len(shapes))], "access": ["atv_hose"] * len(shapes)} | columns
    )


def centres(shape):
    """Centres of the cells whose inside the shape meets."""
    x, y = (grid.ravel() for grid in np.meshgrid(np.arange(1, 600, CELL), np.arange(1, 300, CELL)))
    met = shapely.area(shapely.intersection(shapely.box(x - 1, y - 1, x + 1, y + 1), shape)) > 0
    return np.stack([x[met], y[met]], axis=-1)


def test_a_zone_within_one_hose_has_one_stop_and_its_hose_is_by_pythagoras():
    spot = shapely.box(300, 150, 320, 160)
    stops = parking_places(zones(spot), access(atv("100 m")))
    assert stops[["zone_id", "stop", "access"]].to_numpy().tolist() == [["z0", 1, "atv_hose"]]
    (stop,) = stops.geometry
    assert stop.y == 101 and abs(stop.x - 310) <= 45 / 2  # on the trail, and places tried are half a hose apart
    longest = np.hypot(*(centres(spot) - (stop.x, stop.y)).T).max()
    assert stops["hose_m"][0] == pytest.approx((longest + CELL * np.sqrt(0.5)) / 0.9, rel=1e-6)
    assert stops["served_m2"][0] == pytest.approx(200, rel=1e-9) and stops["share_pct"][0] == pytest.approx(100)
    assert stops["lift_m"][0] == 0 and stops["drop_m"][0] == 0


def test_lift_and_drop_are_the_ramps():
    ramp = access(atv("100 m"), lambda x, y: 0.25 * y)
    up, down = shapely.box(300, 140, 310, 150), shapely.box(300, 40, 310, 50)
    stops = parking_places(zones(up, down), ramp).set_index("zone_id")
    assert stops.loc["z0", ["lift_m", "drop_m"]].tolist() == pytest.approx([0.25 * (149 - 101), 0], abs=1e-4)
    assert stops.loc["z1", ["lift_m", "drop_m"]].tolist() == pytest.approx([0, 0.25 * (101 - 41)], abs=1e-4)
    along = np.hypot(centres(up)[:, 0] - stops.geometry["z0"].x, (centres(up)[:, 1] - 101) * np.hypot(1, 0.25))
    straight = np.sqrt((centres(up)[:, 0] - stops.geometry["z0"].x) ** 2 + 48**2 * (1 + 0.25**2)).max()
    assert along.max() == pytest.approx(straight)  # the ramp rises to the north alone
    assert stops["hose_m"]["z0"] == pytest.approx((straight + CELL * np.sqrt(0.5)) / 0.9, rel=0.01)


@pytest.mark.parametrize(("length", "fewest"), [(100, 1), (250, 2), (400, 3), (580, 4)])
def test_a_long_zone_takes_as_many_stops_as_hoses_fit_along_it(length, fewest):
    strip = shapely.box(10, 140, 10 + length, 144)
    rig = atv("100 m")
    stops = parking_places(zones(strip), access(rig))
    half = np.sqrt((100 * 0.9 - CELL * np.sqrt(0.5)) ** 2 - (143 - 101) ** 2)  # of the strip that a hose serves
    assert fewest == np.ceil(0.99 * length / (2 * half + CELL))
    assert len(stops) == fewest
    assert stops["served_m2"].sum() >= 0.99 * strip.area and stops["share_pct"].sum() <= 100 + 1e-9
    assert (stops["hose_m"] <= 100).all() and stops["stop"].tolist() == [*range(1, fewest + 1)]
    assert (np.diff(stops["served_m2"]) <= 1e-6).all()


@pytest.mark.parametrize("seed", range(2))
def test_on_a_hill_with_walls_no_stop_serves_beyond_its_hose_or_its_lift(seed):
    rng = np.random.default_rng(seed)
    waves = rng.uniform(0.01, 0.05, 3)
    walls = layer(
        *[shapely.LineString(rng.uniform((0, 0), (300, 200)) + rng.uniform(-60, 60, (2, 2))) for _ in range(9)]
    )
    rig = atv("300 ft", **PUMP)
    hill = access(
        rig, lambda x, y: 9 * np.sin(waves[0] * x) * np.cos(waves[1] * y) + 4 * np.sin(waves[2] * y), barriers=walls
    )
    strip = shapely.box(20, 70, 240, 130)
    stops = parking_places(zones(strip), hill)
    assert (stops["hose_m"] <= 300 * 0.3048 + 1e-6).all() and (stops["lift_m"] <= LIFT_M + 1e-4).all()
    served = hill.reached["atv_hose"] & hill.hoses["atv_hose"].found.reached
    rows, columns = ((300 - centres(strip)[:, 1]) // CELL).astype(int), (centres(strip)[:, 0] // CELL).astype(int)
    servable = served[rows, columns].sum() * CELL**2
    assert 0.99 * servable <= stops["served_m2"].sum() <= servable * (1 + 1e-9)
    assert stops["share_pct"].sum() == pytest.approx(100 * stops["served_m2"].sum() / servable)
    assert (np.diff(stops["served_m2"]) <= 1e-3).all() and (stops["served_m2"] > 0).all()
    for stop in stops.itertuples():  # a hose is no shorter than the straight between its ends
        assert stop.geometry.distance(strip) <= stop.hose_m


def test_the_best_place_serves_the_most_ground_whatever_its_hose_and_the_next_the_most_of_what_is_left():
    large, small, smaller = (
        shapely.box(*b) for b in ((450, 150, 480, 170), (100, 104, 106, 110), (280, 120, 284, 124))
    )
    stops = parking_places(zones(shapely.MultiPolygon([small, smaller, large])), access(atv("100 m")))
    assert stops["served_m2"].tolist() == pytest.approx([600, 36, 16])  # no two within one hose of a place
    assert stops["share_pct"].tolist() == pytest.approx([100 * area / 652 for area in (600, 36, 16)])
    assert stops["hose_m"].idxmax() == 0  # the best place takes the longest hose of the three
    assert [abs(place.x - x) < 45 for place, x in zip(stops.geometry, (465, 103, 282), strict=True)] == [True] * 3


def test_a_place_found_last_stands_where_it_belongs_by_what_it_serves():
    """Between two lines that stop a hose lies no place of those tried, one in each 44 m, so it is found last."""
    lines = layer(
        *[shapely.LineString([(x, -20), (x, 320)]) for x in (29, 43)], kind=["pipe"] * 2, rule=[""] * 2,
        confidential=[False] * 2, no_spray_m=[0.0] * 2, hand_only_m=[np.nan] * 2, width_m=[0.0] * 2,
        per_slope_m=[0.0] * 2, position_error_m=[0.0] * 2, blocks=["hose"] * 2,
    )  # fmt: skip
    between, wide, small = (shapely.box(*b) for b in ((32, 120, 40, 180), (300, 120, 310, 130), (500, 104, 506, 110)))
    stops = parking_places(zones(shapely.MultiPolygon([small, wide, between])), access(atv("100 m"), features=lines))
    assert stops["served_m2"].tolist() == pytest.approx([480, 100, 36]) and stops["stop"].tolist() == [1, 2, 3]
    assert 30 < stops.geometry[0].x < 42


@pytest.mark.parametrize("hose", ["0 m", "1 m", "3 m"])
def test_a_machine_that_sprays_only_where_it_stands_has_no_place_to_park(hose):
    """Of 3 m a tenth is slack and 1.41 m is half a cell's diagonal: 1.29 m do not reach the next cell of 2 m."""
    strip = zones(shapely.box(100, 100, 500, 102))
    bare = access(atv(hose))
    assert bare.reached["atv_hose"][99, 60:240].all()
    assert parking_places(strip, bare).empty and len(parking_places(strip, access(atv("5 m"))))


def test_no_zone_without_a_hose_has_a_stop_and_the_table_keeps_its_columns():
    level = access(atv("60 m"))
    for some in (zones(), zones(shapely.box(0, 110, 9, 119), access=["foot"]), zones(shapely.box(0, 280, 9, 289))):
        stops = parking_places(some, level)
        assert stops.empty and list(stops.columns) == [*COLUMNS, "geometry"] and stops.crs == CRS
    closed = zones(shapely.box(0, 110, 9, 119), zone=["hand_only"])
    assert parking_places(closed, level).empty
    assert len(parking_places(closed.assign(zone="open"), level)) == 1


def test_no_tank_is_parked_where_spray_is_shut_out_and_what_that_costs_is_said():
    # the hose of 90 m reaches the spot from 300 +/- 80 m of the trail; 240 to 420 m are shut, all of it from the east
    spot, rig = zones(shapely.box(300, 130, 310, 140)), access(atv("100 m"))
    free = parking_places(spot, rig)
    shut = shapely.box(240, 80, 420, 125)
    stops = parking_places(spot, rig, away_from=[shut])
    assert free.geometry.intersects(shut).all()
    assert len(stops) and not stops.geometry.intersects(shut).any()
    assert stops["share_pct"].sum() == pytest.approx(100, abs=1) and not parking_notes(stops, spot)
    assert stops["hose_m"].max() > free["hose_m"].max()
    none = parking_places(spot, rig, away_from=[shapely.box(0, 0, 600, 125)])
    assert none.empty and "z0 (100 %)" in parking_notes(none, spot)[0]
