"""Access on ground worked by hand: a straight road, a wall with a gate, a ramp, a gap, a hole in the elevation."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage

from invasimap.core.settings import AtvSection, FootSection, TractorSection
from invasimap.land.access import access_classes
from invasimap.land.covers import covers
from invasimap.land.ground import make_ground
from invasimap.land.limits import CLASSES, LIMITS
from invasimap.land.raster import covered, touched
from invasimap.land.terrain import Terrain
from invasimap.land.ways_shut import crossing_notes

CRS = "EPSG:32617"
CELL = 2.0
TRACTOR = TractorSection(max_slope="15 %", max_side_slope="10 %", clearance="3 m")
FOOT = FootSection(max_slope="60 %", max_walk="30 min")


def atv(hose="100 m", **more):
    given_values = {"max_slope": "0 %", "max_side_slope": "0 %", "clearance": "1 m", "hose_loss": "0 %"}
    return AtvSection(**given_values | {"hose_length": hose} | more)


def terrain(height=lambda x, y: 0 * x, size=300):
    """A square of 2 m cells, 0 to ``2 * size`` m both ways, with a height for each cell centre."""
    centre = (np.arange(size) + 0.5) * CELL
    x, y = np.meshgrid(centre, centre[::-1])
    elevation = np.broadcast_to(height(x, y), (size, size)).astype(np.float32)
    return Terrain(elevation_m=elevation, transform=Affine(CELL, 0, 0, 0, -CELL, size * CELL), crs=CRS)


def layer(*shapes, **columns):
    return gpd.GeoDataFrame(columns, geometry=list(shapes), crs=CRS)


ROAD = layer(shapely.LineString([(0, 301), (600, 301)]), **{"class": ["road"], "allows": ["atv;foot;tractor"]})
TRAIL = layer(shapely.LineString([(0, 301), (600, 301)]), **{"class": ["trail"], "allows": ["atv;foot"]})
INSIDE = shapely.box(10, 10, 590, 590)


def at(access, x, y):
    """Class and limit at a place."""
    row, column = int((access.terrain.transform.f - y) / CELL), int(x / CELL)
    return CLASSES[access.code[row, column]], LIMITS[access.limit[row, column]]


def ground(height=None, **layers):
    return make_ground(height or terrain(), outline=INSIDE, **layers)


def test_hose_reaches_its_length_on_both_sides_of_a_straight_road():
    access = access_classes(ground(ways=TRAIL), atv=atv("100 m"))
    rows = np.flatnonzero(access.code[:, 150] == CLASSES.index("atv_hose"))
    y = 600 - (rows + 0.5) * CELL
    assert abs(y - 301).max() <= 100  # never more than the hose
    assert abs(y - 301).max() >= 100 - 2 * CELL and len(rows) == len(range(rows.min(), rows.max() + 1))
    assert at(access, 300, 301 + 97) == ("atv_hose", "")
    assert at(access, 300, 301 + 101) == ("out_of_reach", "hose_length")


@pytest.mark.parametrize("y", [300.1, 301.0, 301.9, 302.0])
def test_wherever_the_way_runs_in_its_cell_the_reach_is_never_more_than_the_hose(y):
    way = layer(shapely.LineString([(0, y), (600, y)]), **{"class": ["trail"], "allows": ["atv;foot"]})
    access = access_classes(ground(ways=way), atv=atv("100 m"))
    rows, _ = np.nonzero(access.code == CLASSES.index("atv_hose"))
    assert abs(600 - (rows + 0.5) * CELL - y).max() <= 100


def test_hose_loss_shortens_it():
    access = access_classes(ground(ways=TRAIL), atv=atv("100 m", hose_loss="10 %"))
    assert at(access, 300, 301 + 87)[0] == "atv_hose" and at(access, 300, 301 + 93)[0] == "out_of_reach"


def test_reach_is_the_circle_less_half_a_cell():
    end = layer(shapely.LineString([(0, 301), (301, 301)]), **{"class": ["trail"], "allows": ["atv;foot"]})
    access = access_classes(ground(ways=end), atv=atv("150 m"))
    rows, columns = np.nonzero(access.code == CLASSES.index("atv_hose"))
    x, y = (columns + 0.5) * CELL, 600 - (rows + 0.5) * CELL
    beyond = x > 301
    away = np.hypot(x[beyond] - 301, y[beyond] - 301)
    assert away.max() <= 150 + 1e-6
    half_disc = np.pi * 150**2 / 2
    assert 0.97 * half_disc < len(away) * CELL**2 <= half_disc * 1.01


def test_hose_is_measured_along_the_slope():
    steep = terrain(lambda x, y: 0.75 * np.maximum(y - 301, 0))  # 3-4-5: 100 m of hose lies over 80 m of map
    access = access_classes(ground(height=steep, ways=TRAIL), atv=atv("100 m"))
    assert at(access, 300, 301 + 77)[0] == "atv_hose" and at(access, 300, 301 + 83)[0] == "out_of_reach"


def test_a_strip_along_a_road_on_a_slope_is_the_trades_worked_figure():
    """Hose of 300 ft less 15 ft, road of 1000 ft, 30 % away from it all round: 272.98 ft of map, 17.908 acres."""
    foot, half_m = 0.3048, 500 * 0.3048
    road = shapely.LineString([(300 - half_m, 301), (300 + half_m, 301)])
    slope = terrain(lambda x, y: 0.3 * np.hypot(np.maximum(abs(x - 300) - half_m, 0), y - 301))
    way = layer(road, **{"class": ["trail"], "allows": ["atv;foot"]})
    here = ground(height=slope, ways=way, entries=layer(shapely.Point(300, 301)))
    access = access_classes(here, atv=atv("300 ft", hose_loss="5 %"))
    rows = np.flatnonzero(access.code[:, 150])
    away_m = abs(600 - (rows + 0.5) * CELL - 301).max()
    assert 272.980491288 * foot - 2 * CELL <= away_m <= 272.980491288 * foot
    acres = (access.code > 0).sum() * CELL**2 / (43_560 * foot**2)
    assert 0.955 * 17.9078806054 <= acres <= 17.9078806054  # short by half a cell's diagonal all round: 3.3 %


def test_hose_goes_round_a_wall_not_through_it():
    wall = layer(shapely.LineString([(200, 331), (600, 331)]))
    access = access_classes(ground(ways=TRAIL, barriers=wall), atv=atv("100 m"))
    assert at(access, 450, 320)[0] == "atv_hose"
    assert at(access, 450, 345)[0] == "out_of_reach"
    assert at(access, 190, 345)[0] == "atv_hose"
    assert at(access, 205, 345)[0] == "atv_hose"  # round the end of the wall


def test_a_diagonal_wall_does_not_leak():
    wall = layer(shapely.LineString([(0, 310), (290, 600)]), shapely.LineString([(0, 310), (-5, 310)]))
    access = access_classes(ground(ways=TRAIL, barriers=wall), atv=atv("90 m"))
    assert at(access, 8, 330)[0] == "out_of_reach"


def test_pump_lift_binds_uphill_only():
    pump = {"hose_diameter": "0.5 in", "flow": "3 gal/min", "hose_roughness": 140, "nozzle_pressure": "40 psi"}
    hill = terrain(lambda x, y: 0.5 * (y - 301))
    # 300 ft of hose loses 32.4 psi; 9.1 psi are left, which lift water 21 ft = 6.4 m, 12.8 m up this slope
    rig = atv("300 ft", pump_pressure="81.5 psi", **pump)
    access = access_classes(ground(height=hill, ways=TRAIL), atv=rig)
    assert at(access, 300, 301 + 10)[0] == "atv_hose"
    assert at(access, 300, 301 + 17) == ("out_of_reach", "lift")
    assert at(access, 300, 301 - 70)[0] == "atv_hose"


def test_an_atv_whose_pump_cannot_push_the_hose_sprays_nothing_on_the_level():
    pump = {"hose_diameter": "0.5 in", "flow": "3 gal/min", "hose_roughness": 140, "nozzle_pressure": "40 psi"}
    weak, able = (atv("300 ft", pump_pressure=pressure, **pump) for pressure in ("72 psi", "73 psi"))  # 72.4 psi needed
    assert (access_classes(ground(ways=TRAIL), atv=weak).code == 0).all()
    assert at(access_classes(ground(ways=TRAIL), atv=weak), 300, 301) == ("out_of_reach", "lift")
    assert at(access_classes(ground(ways=TRAIL), atv=able), 300, 301) == ("atv_hose", "")


def test_a_longer_hose_from_a_higher_trail_does_what_the_pump_cannot_from_the_nearest():
    terrace = terrain(lambda x, y: np.where(y > 311, 10.0, 0.0))
    pump = {"hose_diameter": "0.5 in", "flow": "3 gal/min", "hose_roughness": 140, "nozzle_pressure": "40 psi"}
    rig = atv("300 ft", pump_pressure="81.5 psi", **pump)  # lifts 6.4 m
    upper = shapely.LineString([(0, 361), (600, 361)])
    both = layer(*TRAIL.geometry, upper, **{"class": ["trail"] * 2, "allows": ["atv;foot"] * 2})
    assert at(access_classes(ground(height=terrace, ways=TRAIL), atv=rig), 300, 321) == ("out_of_reach", "lift")
    assert at(access_classes(ground(height=terrace, ways=both), atv=rig), 300, 321) == ("atv_hose", "")


def test_tractor_works_open_ground_joined_to_the_road_within_its_slope():
    fields = layer(shapely.box(100, 250, 200, 400), shapely.box(300, 400, 400, 500))
    access = access_classes(ground(ways=ROAD, open_ground=fields), tractor=TRACTOR)
    assert at(access, 150, 380)[0] == "tractor"
    assert at(access, 350, 450) == ("out_of_reach", "not_connected")
    assert at(access, 250, 380) == ("out_of_reach", "clearance")
    area = (access.code == CLASSES.index("tractor")).sum() * CELL**2
    assert area == pytest.approx(100 * 150 + 500 * CELL, rel=0.02)  # the field, and the road outside it


@pytest.mark.parametrize(("percent", "limit"), [(9, None), (12, "side_slope"), (18, "slope")])
def test_tractor_slope_limits(percent, limit):
    field = layer(shapely.box(100, 250, 200, 400))
    tilted = terrain(lambda x, y: percent / 100 * y)
    access = access_classes(ground(height=tilted, ways=ROAD, open_ground=field), tractor=TRACTOR)
    assert at(access, 150, 380) == (("out_of_reach", limit) if limit else ("tractor", ""))


def test_wet_ground_stops_machines_but_not_people():
    field, bog = layer(shapely.box(100, 250, 200, 400)), layer(shapely.box(100, 340, 200, 360))
    access = access_classes(ground(ways=ROAD, open_ground=field, wet_ground=bog), tractor=TRACTOR, foot=FOOT)
    assert at(access, 150, 350) == ("foot", "wet")
    assert at(access, 150, 380) == ("foot", "not_connected")
    assert at(access, 150, 320)[0] == "tractor"


def fence_with_gap(gap, y=350):
    return layer(
        shapely.LineString([(-50, y), (301 - gap / 2, y)]),
        shapely.LineString([(301 + gap / 2, y), (700, y)]),
    )


@pytest.mark.parametrize(("gap", "through"), [(2.0, False), (2.9, False), (2.99, False), (4.0, True), (9.0, True)])
def test_a_gap_narrower_than_the_clearance_does_not_pass(gap, through):
    rig = atv("1 m", max_slope="10 %", max_side_slope="10 %", clearance="3 m")
    access = access_classes(ground(ways=TRAIL, barriers=fence_with_gap(gap)), atv=rig)
    assert (at(access, 301, 450)[0] == "atv_hose") is through


@pytest.mark.parametrize("offset", [0.0, 0.7, 1.5, 2.2])
def test_ten_foot_cells_pass_no_gap_a_little_too_narrow(offset):
    fine = terrain()
    coarse = Terrain(
        elevation_m=np.zeros((200, 200), np.float32), transform=Affine(3.048, 0, -offset, 0, -3.048, 609), crs=fine.crs
    )
    rig = atv("0 ft", max_slope="10 %", max_side_slope="10 %", clearance="12 ft")
    access = access_classes(ground(height=coarse, ways=TRAIL, barriers=fence_with_gap(11.9 * 0.3048)), atv=rig)
    row = int((609 - 450) / 3.048)
    assert (access.code[row] == 0).all()
    wider = access_classes(ground(height=coarse, ways=TRAIL, barriers=fence_with_gap(17.0 * 0.3048)), atv=rig)
    assert (wider.code[row] > 0).any()  # five feet more than the machine is wide, half a cell


@pytest.mark.parametrize("away", [1.2, 2.0, 2.6])
@pytest.mark.parametrize(("gap", "through"), [(0.6, False), (1.7, False), (4.0, True)])
def test_a_gap_beside_the_way_is_as_wide_as_one_far_from_it(away, gap, through):
    """A fence along the trail, in its cell's neighbour: the ATV is 1.83 m wide."""
    rig = atv("0 m", max_slope="10 %", max_side_slope="10 %", clearance="1.83 m")
    access = access_classes(ground(ways=TRAIL, barriers=fence_with_gap(gap, y=301 + away)), atv=rig)
    assert (at(access, 301, 350)[0] == "atv_hose") is through
    assert at(access, 301, 250)[0] == "atv_hose"  # the other side is open


@pytest.mark.parametrize("between", ["wet", "bank", "hole", "fence"])
def test_no_lane_leads_to_a_field_over_what_stops_the_tractor(between):
    field = layer(shapely.box(100, 311, 300, 400))
    strip = shapely.box(-50, 303.5, 700, 308.5)
    height = {"bank": lambda x, y: np.clip(y - 304, 0, 5), "hole": lambda x, y: np.where(abs(y - 306) < 2, np.nan, 0)}
    over = {"wet": {"wet_ground": layer(strip)}, "fence": {"barriers": fence_with_gap(2.2, y=306)}}.get(between, {})
    here = ground(height=terrain(height.get(between, lambda x, y: 0 * x)), ways=ROAD, open_ground=field, **over)
    assert at(access_classes(here, tractor=TRACTOR), 200, 380) == ("out_of_reach", "not_connected")


def test_a_gate_on_a_fence_beside_a_stream_opens_no_stream():
    """A trail over a stream without a crossing, and a gate in a fence 7 m beside the trail and near the stream."""
    stream = layer(
        shapely.LineString([(401, 0), (401, 600)]), kind=["stream"], rule=[""], confidential=[False], no_spray_m=[5.0],
        hand_only_m=[np.nan], width_m=[2.0], per_slope_m=[0.0], position_error_m=[0.0], blocks=["atv;foot;hose"],
    )  # fmt: skip
    fence = layer(shapely.LineString([(-10, 308), (399, 308)]))
    gate = layer(shapely.Point(396, 308), width_m=[6.0])
    start = layer(shapely.Point(1, 301))
    here = ground(ways=TRAIL, features=stream, barriers=fence, crossings=gate, entries=start)
    rig = atv("0 m", max_slope="10 %", max_side_slope="10 %", clearance="1 m")
    access = access_classes(here, atv=rig, foot=FOOT)
    assert at(access, 450, 301)[0] == "out_of_reach" and at(access, 300, 340)[0] == "atv_hose"


@pytest.mark.parametrize("off", [1.0, 2.0, 3.0])
def test_a_gate_near_where_two_fences_meet_opens_its_own_fence_alone(off):
    """Fences in a T: the gate in the bar leads to the paddock west of the stem, not to the one east of it."""
    fences = layer(shapely.LineString([(-50, 350), (700, 350)]), shapely.LineString([(300, 350), (300, 700)]))
    gate = layer(shapely.Point(300 - off, 350), width_m=[6.0])
    rig = atv("0 m", max_slope="10 %", max_side_slope="10 %", clearance="1 m")
    access = access_classes(ground(ways=TRAIL, barriers=fences, crossings=gate), atv=rig, foot=FOOT)
    assert at(access, 250, 450)[0] == "atv_hose"
    assert at(access, 350, 450)[0] == "out_of_reach"


@given(st.integers(0, 10_000), st.sampled_from([1.0, 2.0, 0.5]))
@settings(max_examples=60, deadline=None)
def test_a_fence_drawn_through_the_corners_of_cells_does_not_leak(seed, step):
    rng = np.random.default_rng(seed)
    corners = np.round(rng.uniform(20, 60, (6, 2)) / step) * step
    ring = shapely.convex_hull(shapely.MultiPoint(corners)).boundary
    small = Terrain(elevation_m=np.zeros((40, 40), np.float32), transform=Affine(CELL, 0, 0, 0, -CELL, 80), crs=CRS)
    shut = touched([ring], small)
    inside = covered([shapely.polygonize([ring])], small) & ~shut
    number, _ = ndimage.label(~shut, structure=np.ones((3, 3)))  # corners join: a walk may pass between two
    number4, _ = ndimage.label(~shut)
    outside = number4[0, 0]
    assert not (number4[inside] == outside).any()
    assert inside.sum() == 0 or number.max() >= 1


def test_wet_ground_is_crossed_at_a_culvert_though_nothing_else_stops_the_tractor():
    field, bog = layer(shapely.box(100, 250, 200, 400)), layer(shapely.box(90, 340, 210, 350))
    dry = access_classes(ground(ways=ROAD, open_ground=field, wet_ground=bog), tractor=TRACTOR)
    culvert = layer(shapely.Point(150, 345), width_m=[16.0])
    over = access_classes(ground(ways=ROAD, open_ground=field, wet_ground=bog, crossings=culvert), tractor=TRACTOR)
    assert at(dry, 150, 380)[0] == "out_of_reach" and at(over, 150, 380)[0] == "tractor"


def test_a_trail_that_pokes_out_of_the_stands_by_a_cell_is_no_way_in():
    loop = layer(shapely.LineString([(300, 300), (300, 593), (320, 593)]), **{"class": ["t"], "allows": ["atv;foot"]})
    assert (access_classes(ground(ways=loop), atv=atv("20 m"), foot=FOOT).code == 0).all()


STREAM = layer(
    shapely.LineString([(401, 0), (401, 600)]), kind=["stream"], rule=[""], confidential=[False], no_spray_m=[5.0],
    hand_only_m=[np.nan], width_m=[8.0], per_slope_m=[0.0], position_error_m=[0.0], blocks=["atv;tractor"],
)  # fmt: skip


def test_water_that_blocks_machines_is_passed_only_at_a_mapped_crossing():
    gate = layer(shapely.Point(1, 301))
    without = access_classes(ground(ways=TRAIL, features=STREAM, entries=gate), atv=atv("20 m"))
    bridge = layer(shapely.Point(401, 301), width_m=[4.0])
    over = access_classes(ground(ways=TRAIL, features=STREAM, entries=gate, crossings=bridge), atv=atv("20 m"))
    assert at(without, 350, 305)[0] == "atv_hose" and at(without, 450, 305)[0] == "out_of_reach"
    assert at(over, 450, 305)[0] == "atv_hose"


@pytest.mark.parametrize("off", [0.0, 1.5, 4.0])
def test_a_footbridge_on_a_path_carries_no_atv_however_well_it_was_placed(off):
    path = layer(
        shapely.LineString([(0, 301), (380, 301)]), shapely.LineString([(380, 301), (420, 301)]),
        shapely.LineString([(420, 301), (600, 301)]),
        **{"class": ["trail", "path", "trail"], "allows": ["atv;foot", "foot", "atv;foot"]},
    )  # fmt: skip
    stream = STREAM.assign(blocks="atv;foot;tractor")
    bridge = layer(shapely.Point(401, 301 + off), width_m=[6.0])
    rig = atv("5 m", max_slope="10 %", max_side_slope="10 %")
    here = ground(ways=path, features=stream, entries=layer(shapely.Point(1, 301)), crossings=bridge)
    access = access_classes(here, atv=rig, foot=FOOT)
    assert at(access, 300, 305)[0] == "atv_hose" and at(access, 500, 301)[0] == "foot"


@pytest.mark.parametrize(("width", "through"), [(2.5, False), (4.0, True)])
def test_a_gate_off_the_ways_passes_a_machine_only_when_wide_enough(width, through):
    fence = layer(shapely.LineString([(-10, 350), (610, 350)]))
    gate = layer(shapely.Point(300, 350), width_m=[width])
    rig = atv("1 m", max_slope="10 %", max_side_slope="10 %", clearance="3 m")
    access = access_classes(ground(ways=TRAIL, barriers=fence, crossings=gate), atv=rig, foot=FOOT)
    assert (at(access, 300, 450)[0] == "atv_hose") is through
    assert at(access, 300, 360)[0] in ("foot", "atv_hose")


@pytest.mark.parametrize(("width", "through"), [(2.9, False), (3.0, True)])
def test_a_gate_on_a_way_is_asked_for_its_width_by_every_machine(width, through):
    fence, gate = layer(shapely.LineString([(401, -10), (401, 610)])), layer(shapely.Point(401, 301), width_m=[width])
    here = ground(ways=ROAD, barriers=fence, crossings=gate, entries=layer(shapely.Point(1, 301)))
    wide = atv("5 m", clearance="3 m")
    access = access_classes(here, tractor=TRACTOR, atv=wide, foot=FOOT)
    assert at(access, 450, 301)[0] == ("tractor" if through else "foot") and at(access, 300, 301)[0] == "tractor"
    walked_m = 0 if through else 450 - 401  # the nearest place a vehicle can stop is at the gate
    minutes = access.walk_min[(600 - 301) // 2, 225]
    assert minutes == pytest.approx(walked_m / (5036.74212462 * 0.7 / 60), abs=3 * CELL / 58)
    notes = crossing_notes(here, {"tractor": 3.0, "atv": 3.0})
    assert (notes == []) is through and all("tractor" in note and "foot" not in note for note in notes)
    narrow = access_classes(here, atv=atv("5 m", clearance="1.5 m"))
    assert at(narrow, 450, 301)[0] == "atv_hose"


@pytest.mark.parametrize("lane", [1.5, 2.5, 4.0])
def test_a_gate_opens_the_fence_at_the_gate_and_not_along_the_lane_beside_it(lane):
    fence = layer(shapely.LineString([(-10, 301 + lane), (610, 301 + lane)]))
    gate = layer(shapely.Point(100, 301 + lane), width_m=[4.0])
    rig = FootSection(max_slope="60 %", max_walk="1 min", off_way=0.6, load=0.7)
    access = access_classes(ground(ways=TRAIL, barriers=fence, crossings=gate), foot=rig)
    rows, columns = np.nonzero(access.code == CLASSES.index("foot"))
    x, y = (columns + 0.5) * CELL, 600 - (rows + 0.5) * CELL
    beyond = y > 301 + lane + 2 * CELL
    assert beyond.any()
    walk_m = 5036.74212462 * 0.42 / 60
    assert np.hypot(x[beyond] - 100, y[beyond] - 301 - lane).max() <= walk_m + 12


def test_a_way_into_blocked_water_without_a_crossing_is_said():
    notes = crossing_notes(ground(ways=TRAIL, features=STREAM))
    assert len(notes) == 1 and "atv" in notes[0] and "crossings" in notes[0]
    bridged = ground(ways=TRAIL, features=STREAM, crossings=layer(shapely.Point(401, 301), width_m=[4.0]))
    assert crossing_notes(bridged) == []


def test_a_cover_stops_a_way_all_through_it_and_a_crossing_anywhere_on_the_way_opens_it():
    site = layer(
        shapely.Point(300, 320), kind=["bog"], rule=[""], confidential=[True], no_spray_m=[5.0], hand_only_m=[np.nan],
        width_m=[0.0], per_slope_m=[0.0], position_error_m=[0.0], blocks=["atv;hose"],
    )  # fmt: skip
    cover = covers(site, key=b"key", hide_within_m=40.0)
    gate = layer(shapely.Point(1, 301))
    shut = access_classes(ground(ways=TRAIL, features=cover, entries=gate), atv=atv("4 m"))
    (place,) = crossing_notes(ground(ways=TRAIL, features=cover))
    assert "protected ground" in place
    across = shapely.intersection(TRAIL.geometry.iloc[0], cover.geometry.iloc[0])
    (left, _, right, _) = across.bounds
    assert across.length > 40 and at(shut, 550, 301)[0] == "out_of_reach" and at(shut, left - 4, 301)[0] == "atv_hose"
    bridge = layer(shapely.Point(left + 0.3 * (right - left), 301), width_m=[4.0])
    through = access_classes(ground(ways=TRAIL, features=cover, entries=gate, crossings=bridge), atv=atv("4 m"))
    assert at(through, 550, 301)[0] == "atv_hose" and at(through, (left + right) / 2, 301)[0] == "atv_hose"


def test_a_way_along_the_cells_corners_stays_one_way():
    slant = layer(shapely.LineString([(0, 0), (600, 600)]), **{"class": ["trail"], "allows": ["atv;foot"]})
    access = access_classes(ground(ways=slant), atv=atv("4 m"))
    assert at(access, 550, 549)[0] == "atv_hose"


def test_an_entry_does_not_reach_a_way_beyond_a_fence():
    fence = layer(shapely.LineString([(-50, 312), (650, 312)]))
    beyond = layer(shapely.Point(100, 322))
    access = access_classes(ground(ways=TRAIL, barriers=fence, entries=beyond), atv=atv("5 m"))
    assert at(access, 300, 303)[0] == "out_of_reach"
    near = access_classes(ground(ways=TRAIL, barriers=fence, entries=layer(shapely.Point(100, 285))), atv=atv("5 m"))
    assert at(near, 300, 303)[0] == "atv_hose"


@pytest.mark.parametrize("away", [0.0, 0.5, 1.5])
def test_an_entry_hard_by_a_fence_does_not_let_people_through_it(away):
    fence = layer(shapely.LineString([(-50, 350), (650, 350)]))
    gate = layer(shapely.Point(300, 350 - away))
    access = access_classes(ground(barriers=fence, entries=gate), foot=FOOT)
    assert at(access, 300, 360)[0] == "out_of_reach"


def test_a_hose_does_not_start_from_within_what_blocks_it():
    brook = STREAM.set_geometry([shapely.LineString([(0, 303.5), (600, 303.5)])]).assign(blocks="hose", width_m=1.0)
    access = access_classes(ground(ways=TRAIL, features=brook), atv=atv("40 m"))
    assert at(access, 300, 320)[0] == "out_of_reach"


def test_a_trail_in_a_gap_between_stands_is_not_entered_from_outside():
    gap = shapely.union_all([shapely.box(10, 10, 590, 295), shapely.box(10, 307, 590, 590)])
    inner = layer(shapely.LineString([(200, 301), (400, 301)]), **{"class": ["trail"], "allows": ["atv;foot"]})
    access = access_classes(make_ground(terrain(), outline=gap, ways=inner), atv=atv("20 m"))
    assert (access.code == 0).all()


def test_only_ways_joined_to_an_entry_count():
    two = layer(
        shapely.LineString([(0, 101), (600, 101)]), shapely.LineString([(0, 501), (600, 501)]),
        **{"class": ["trail"] * 2, "allows": ["atv;foot"] * 2},
    )  # fmt: skip
    gate = layer(shapely.Point(3, 110))  # within 30 m of its way
    access = access_classes(ground(ways=two, entries=gate), atv=atv("20 m"))
    assert at(access, 300, 105)[0] == "atv_hose" and at(access, 300, 505)[0] == "out_of_reach"
    everywhere = access_classes(ground(ways=two), atv=atv("20 m"))
    assert at(everywhere, 300, 505)[0] == "atv_hose"


def test_walk_of_so_many_minutes_off_the_way():
    rig = FootSection(max_slope="60 %", max_walk="5 min", off_way=0.6, load=0.7)
    access = access_classes(ground(ways=TRAIL), foot=rig)
    reach_m = 5 * 5.03674212462 * 0.6 * 0.7 * 1000 / 60  # Tobler on the level: 176.3 m
    assert at(access, 300, 301 + reach_m - 5)[0] == "foot"
    assert at(access, 300, 301 + reach_m + 5) == ("out_of_reach", "walk")
    row = int((600 - 401) / CELL)
    assert access.walk_min[row, 150] == pytest.approx(100 / (5036.74212462 * 0.42 / 60), rel=0.03)


def test_a_round_trip_is_the_loaded_walk_out_and_the_empty_one_back_by_the_same_way():
    hill = terrain(lambda x, y: 0.25 * np.maximum(y - 301, 0))
    rig = FootSection(max_slope="60 %", max_walk="60 min", off_way=0.6, load=0.7)
    access = access_classes(ground(height=hill, ways=TRAIL), foot=rig)
    row = int((600 - 401) / CELL)
    up, down = (6 * np.exp(-3.5 * abs(slope + 0.05)) * 1000 / 60 for slope in (0.25, -0.25))
    assert access.walk_min[row, 150] == pytest.approx(100 / (up * 0.42), rel=0.03)
    assert access.round_trip_min[row, 150] == pytest.approx(100 / (up * 0.42) + 100 / (down * 0.6), rel=0.03)
    assert np.isinf(access.round_trip_min[np.isinf(access.walk_min)]).all()


def test_too_steep_to_walk_is_out_of_reach_by_slope():
    bank = terrain(lambda x, y: np.where(y > 350, 0.8 * (y - 350), 0))
    access = access_classes(ground(height=bank, ways=TRAIL), foot=FOOT)
    assert at(access, 300, 345)[0] == "foot" and at(access, 300, 370) == ("out_of_reach", "slope")


def test_a_bank_whose_slope_is_not_known_is_not_walked():
    def bank(x, y):
        z = np.where(y > 350, 1.0 * (y - 350), 0)  # 100 % above y = 350
        return np.where((x > 290) & (x < 296) & (y > 340), np.nan, z)

    access = access_classes(ground(height=terrain(bank), ways=TRAIL), foot=FOOT)
    rows, _ = np.nonzero(access.code == CLASSES.index("foot"))
    assert (600 - (rows + 0.5) * CELL).max() <= 352
    assert at(access, 288.5, 380) == ("out_of_reach", "unknown")


def test_ground_without_elevation_is_unknown_never_free():
    holed = terrain(lambda x, y: np.where((x > 200) & (x < 260) & (y > 280) & (y < 340), np.nan, 0))
    access = access_classes(ground(height=holed, ways=ROAD), tractor=TRACTOR, atv=atv(), foot=FOOT)
    assert at(access, 230, 301) == ("out_of_reach", "unknown")
    assert at(access, 300, 301)[0] == "tractor"  # the road itself goes on


def test_means_not_at_hand_get_nothing_and_polygons_cover_the_grid_once():
    access = access_classes(ground(ways=ROAD, open_ground=layer(shapely.box(100, 250, 200, 400))), foot=FOOT)
    assert set(np.unique(access.code)) <= {CLASSES.index("foot"), CLASSES.index("out_of_reach")}
    polygons = access.polygons()
    assert polygons.area.sum() == pytest.approx(600 * 600, rel=1e-12)
    assert polygons.geometry.union_all().area == pytest.approx(600 * 600, rel=1e-12)


def test_a_field_beside_the_road_is_reached_from_it_unless_a_fence_lies_between():
    field = layer(shapely.box(100, 309, 300, 400))  # drawn 8 m off the middle of the road
    assert at(access_classes(ground(ways=ROAD, open_ground=field), tractor=TRACTOR), 200, 380)[0] == "tractor"
    fence = layer(shapely.LineString([(-50, 306), (700, 306)]))
    fenced = access_classes(ground(ways=ROAD, open_ground=field, barriers=fence), tractor=TRACTOR)
    assert at(fenced, 200, 380) == ("out_of_reach", "not_connected")
    far = access_classes(ground(ways=ROAD, open_ground=layer(shapely.box(100, 340, 300, 400))), tractor=TRACTOR)
    assert at(far, 200, 380) == ("out_of_reach", "not_connected")


def test_a_tractors_hose_reaches_from_where_the_tractor_gets_and_counts_as_tractor():
    field = layer(shapely.box(100, 250, 200, 400))
    hosed = TractorSection(
        max_slope="15 %", max_side_slope="10 %", clearance="3 m", hose_length="60 m", hose_loss="0 %"
    )
    access = access_classes(ground(ways=ROAD, open_ground=field), tractor=hosed, foot=FOOT)
    assert at(access, 150, 400 + 50)[0] == "tractor" and at(access, 150, 400 + 62) == ("foot", "hose_length")
    assert [bool(access.hose_only[(600 - y) // 2, 75]) for y in (301, 351, 451, 463)] == [False, False, True, False]
    layered = access.polygons()
    hosed = layered[(layered["access"] == "tractor") & layered["hose_only"]]
    assert hosed.contains(shapely.Point(150, 451)).sum() == 1 and not hosed.contains(shapely.Point(150, 351)).any()
    assert hosed.area.sum() == pytest.approx((access.hose_only & (access.code == 3)).sum() * CELL**2, rel=1e-12)
    assert "hose_only" not in access.polygons(limits=False)
    dry = access_classes(ground(ways=ROAD, open_ground=field), tractor=TRACTOR, foot=FOOT)
    assert not dry.polygons()["hose_only"].any()
    assert at(dry, 150, 400 + 50) == ("foot", "clearance")
    assert access.hoses["tractor"].found.hose_m[(600 - 451) // 2, 75] == pytest.approx(50, abs=4)


def test_every_class_that_reaches_a_place_is_kept_so_that_a_lesser_can_be_taken():
    field = layer(shapely.box(100, 250, 200, 400))
    access = access_classes(ground(ways=ROAD, open_ground=field), tractor=TRACTOR, atv=atv("40 m"), foot=FOOT)
    layered = access.polygons()

    def means(x, y):
        return (
            layered.loc[layered.contains(shapely.Point(x + 0.5, y + 0.5)), ["access", "reached_by"]].to_numpy().tolist()
        )

    assert means(150, 330) == [["tractor", "tractor;atv_hose;foot"]]
    assert means(150, 370) == [["tractor", "tractor;foot"]]
    assert means(300, 330) == [["atv_hose", "atv_hose;foot"]]
    assert means(300, 370) == [["foot", "foot"]]
    near = access_classes(
        ground(ways=ROAD), foot=FootSection(max_slope="60 %", max_walk="5 min", off_way=0.6, load=0.7)
    )
    assert set(near.polygons()["reached_by"]) == {"foot", ""}


def test_no_ways_and_no_entries_reach_nothing():
    access = access_classes(ground(), tractor=TRACTOR, atv=atv(), foot=FOOT)
    assert (access.code == 0).all()
    assert at(access, 300, 300)[1] == "not_connected"


@given(st.integers(0, 10_000))
@settings(max_examples=15, deadline=None)
def test_longer_hose_never_loses_ground_and_a_steeper_limit_never_gives_tractor_less(seed):
    rng = np.random.default_rng(seed)
    bumps = rng.uniform(0.01, 0.06, 4)
    rough = terrain(
        lambda x, y: 20 * np.sin(bumps[0] * x) * np.cos(bumps[1] * y) + 8 * np.sin(bumps[2] * x + bumps[3] * y), 150
    )
    walls = layer(*[shapely.LineString(rng.uniform(0, 300, (2, 2))) for _ in range(4)])
    road = layer(shapely.LineString([(0, 151), (300, 131)]), **{"class": ["r"], "allows": ["atv;foot;tractor"]})
    field = layer(shapely.box(*sorted(rng.uniform(20, 140, 2)), *sorted(rng.uniform(150, 280, 2))))
    here = make_ground(rough, outline=shapely.box(5, 5, 295, 295), ways=road, barriers=walls, open_ground=field)
    short, long = (access_classes(here, atv=atv(hose), foot=FOOT) for hose in ("40 m", "70 m"))
    assert (long.code >= short.code).all()
    strict, lax = (
        access_classes(here, tractor=TractorSection(max_slope=slope, max_side_slope=slope, clearance="3 m"))
        for slope in ("8 %", "14 %")
    )
    assert (lax.code >= strict.code).all()
