"""Crossings by hand: two in one cell, what is told of ways without one, and ways that narrow at one."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st

from invasimap.core.settings import AtvSection, FootSection, TractorSection
from invasimap.land.access import access_classes
from invasimap.land.ground import make_ground
from invasimap.land.limits import CLASSES
from invasimap.land.terrain import Terrain
from invasimap.land.ways_shut import crossing_notes, missing_crossings

CRS, CELL, SIZE = "EPSG:32617", 2.0, 60
TERRAIN = Terrain(
    elevation_m=np.zeros((SIZE, SIZE), np.float32), transform=Affine(CELL, 0, 0, 0, -CELL, SIZE * CELL), crs=CRS
)
FOOT = FootSection(max_slope="60 %", max_walk="30 min")
TRACTOR = TractorSection(max_slope="15 %", max_side_slope="10 %", clearance="3 m")
BY_WAY = {"class": ["road"], "allows": ["atv;foot;tractor"]}


def layer(*shapes, **columns):
    return gpd.GeoDataFrame(columns, geometry=list(shapes), crs=CRS)


def gates(*places, width=3.0):
    return layer(*map(shapely.Point, places), width_m=[width] * len(places))


def line(*corners):
    return shapely.LineString(corners)


def ground(**layers):
    return make_ground(TERRAIN, outline=shapely.box(8, 8, 112, 112), **layers)


def walked(place, **layers):
    """Whether people get from the south-west corner to a place."""
    access = access_classes(ground(entries=layer(shapely.Point(5, 5)), **layers), foot=FOOT)
    return bool(access.gets["foot"][int((SIZE * CELL - place[1]) / CELL), int(place[0] / CELL)])


@pytest.mark.parametrize("width", [1.0, 3.0])
def test_two_fences_in_one_row_of_cells_are_passed_by_a_gate_in_each_and_not_by_one(width):
    """Fences 1.2 m apart, both in the cells from y = 60 to 62; the gates stand behind one another."""
    fences = layer(line((-9, 60.4), (130, 60.4)), line((-9, 61.6), (130, 61.6)))
    south, north = (50.6, 60.4), (51.4, 61.6)
    assert walked((50, 80), barriers=fences, crossings=gates(south, north, width=width))
    for one in (south, north):
        assert not walked((50, 80), barriers=fences, crossings=gates(one, width=width))


def test_a_brook_and_a_fence_in_one_cell_are_passed_by_a_bridge_and_a_gate():
    fence = layer(line((-9, 60.3), (130, 60.3)))
    brook = layer(
        line((-9, 61.5), (130, 61.5)), kind=["brook"], rule=[""], confidential=[False], no_spray_m=[5.0],
        hand_only_m=[np.nan], width_m=[0.4], per_slope_m=[0.0], position_error_m=[0.0], blocks=["foot"],
    )  # fmt: skip
    gate, bridge = (51.0, 60.3), (51.0, 61.5)
    assert walked((50, 80), barriers=fence, features=brook, crossings=gates(gate, bridge))
    for one in (gate, bridge):
        assert not walked((50, 80), barriers=fence, features=brook, crossings=gates(one))


def test_gates_in_the_bar_and_the_stem_of_a_t_within_one_cell_open_both_paddocks():
    """The fences meet in the middle of a cell, at (61, 61); the stem parts the ground north of the bar."""
    bar, stem = line((-9, 61), (130, 61)), line((61, 61), (61, 130))
    west, east = (40, 90), (80, 90)
    in_bar, in_stem = (60.4, 61), (61, 61.6)
    got = {
        name: [walked(place, barriers=layer(bar, stem), crossings=gates(*which, width=1.0)) for place in (west, east)]
        for name, which in {"bar": [in_bar], "stem": [in_stem], "both": [in_bar, in_stem]}.items()
    }
    assert got == {"bar": [True, False], "stem": [False, False], "both": [True, True]}


@given(st.integers(0, 10_000))
@settings(max_examples=25, deadline=None)
def test_one_more_crossing_shuts_nothing_and_nothing_opens_away_from_them(seed):
    rng = np.random.default_rng(seed)
    middle = rng.uniform(40, 80, 2)
    fences = layer(*[line(*(middle + rng.uniform(-9, 9, (2, 2)))) for _ in range(4)])
    places = [fence.interpolate(rng.uniform(0, fence.length)) for fence in fences.geometry for _ in range(2)]
    way = layer(line(middle - 30, middle + 30), **BY_WAY)
    before = np.zeros(TERRAIN.shape, bool)
    for count in range(1, len(places) + 1):
        crossings = layer(*places[:count], width_m=[1.5] * count)
        opened = ground(barriers=fences, crossings=crossings, ways=way).opened("foot")
        assert not (before & ~opened).any()
        before = opened
    assert before.any()
    far = shapely.distance(shapely.points(TERRAIN.centres(np.flatnonzero(before))), shapely.MultiPoint(places))
    assert far.max() <= 10 + 3 * CELL  # a crossing is moved 10 m at most, and a passage is three cells long


def test_a_way_round_a_bend_of_water_is_told_at_a_place_on_both():
    """A pond like a U, 4 m wide: the way along its legs' foot meets it once, in a bend; its centroid lies off it."""
    bend = line((30, 90), (30, 40), (90, 40), (90, 90))
    pond = layer(
        bend.buffer(2.0), kind=["pond"], rule=[""], confidential=[False], no_spray_m=[5.0], hand_only_m=[np.nan],
        width_m=[0.0], per_slope_m=[0.0], position_error_m=[0.0], blocks=["atv"],
    )  # fmt: skip
    way = line((10, 90), (30, 85), (30, 40), (90, 40), (90, 85), (110, 90))
    here = ground(features=pond, ways=layer(way, **{"class": ["t"], "allows": ["atv"]}))
    ((x, y),) = missing_crossings(here)
    assert (x, y) == (pytest.approx(60, abs=0.5), pytest.approx(40))  # half way along, by symmetry
    assert len(crossing_notes(here)) == 1


def test_every_meeting_of_a_way_and_a_fence_is_told_where_it_is():
    fences = layer(*[line((x, 0), (x, 120)) for x in (21, 51, 81)])
    here = ground(barriers=fences, ways=layer(line((0, 61), (120, 61)), **BY_WAY), crossings=gates((51, 61)))
    assert missing_crossings(here) == {(x, 61.0): {"tractor", "atv", "foot"} for x in (21.0, 81.0)}


def test_a_way_along_a_fence_with_a_gate_at_its_middle_is_shut_on_either_side():
    """A fence from x = 20 to 100 on the way; the gate opens some cells round (60, 61), no longer than a few."""
    fence = layer(line((20, 61), (100, 61)))
    road = layer(line((0, 61), (120, 61)), **BY_WAY)
    ((x, y),) = missing_crossings(ground(barriers=fence, ways=road, crossings=gates((60, 61))))
    assert y == pytest.approx(61) and abs(x - 60) == pytest.approx((40 + 3) / 2, abs=2 * CELL)
    pond = layer(
        shapely.box(40, 55, 80, 67), kind=["pond"], rule=[""], confidential=[False], no_spray_m=[5.0],
        hand_only_m=[np.nan], width_m=[0.0], per_slope_m=[0.0], position_error_m=[0.0], blocks=["tractor;atv;foot"],
    )  # fmt: skip
    assert missing_crossings(ground(features=pond, ways=road, crossings=gates((60, 61)))) == {}  # bridged all along


ROAD = layer(line((0, 61), (120, 61)), **BY_WAY)


def on_road(x, *, open_ground=None, ways=ROAD, **means):
    """The class at a place of the road that is entered from the west."""
    layers = {} if open_ground is None else {"open_ground": layer(open_ground)}
    crossings = means.pop("crossings")
    here = ground(ways=ways, entries=layer(shapely.Point(1, 61)), crossings=crossings, **layers)
    return CLASSES[access_classes(here, **means).code[(120 - 61) // 2, int(x / 2)]]


@pytest.mark.parametrize(("width", "off", "through"), [
    (1.5, 0.0, False), (2.9, 0.0, False), (3.0, 0.0, True), (1.5, 0.9, False), (1.5, 6.0, True),
])  # fmt: skip
def test_a_gate_on_a_road_without_a_fence_stops_a_machine_wider_than_it(width, off, through):
    """5 ft of gate stop a tractor on that road; a gate beside the road leads elsewhere. People pass either."""
    gate = gates((61, 61 + off), width=width)
    assert on_road(30, crossings=gate, tractor=TRACTOR, foot=FOOT) == "tractor"
    assert on_road(90, crossings=gate, tractor=TRACTOR, foot=FOOT) == ("tractor" if through else "foot")
    notes = crossing_notes(ground(ways=ROAD, crossings=gate), {"tractor": 3.0})
    assert [("tractor" in note and "narrow" in note) for note in notes] == ([] if through else [True])
    assert crossing_notes(ground(ways=ROAD, crossings=gate)) == []  # no machine at hand


def test_only_the_machine_that_is_too_wide_is_stopped():
    atv = AtvSection(max_slope="0 %", max_side_slope="0 %", clearance="1.2 m", hose_length="0 m")
    gate = gates((61, 61), width=1.5)
    assert on_road(90, crossings=gate, tractor=TRACTOR, atv=atv) == "atv_hose"


def test_a_narrow_gate_beside_a_wide_one_or_on_a_path_beside_the_road_stops_nothing():
    both = layer(shapely.Point(61, 61), shapely.Point(61, 64), width_m=[1.2, 4.0])
    assert on_road(90, crossings=both, tractor=TRACTOR) == "tractor"
    path = layer(line((0, 61), (120, 61)), line((0, 62.4), (120, 62.4)), **{
        "class": ["road", "path"], "allows": ["tractor", "foot"],
    })  # fmt: skip
    assert on_road(90, ways=path, crossings=gates((61, 62.4), width=2.5), tractor=TRACTOR) == "tractor"


@pytest.mark.parametrize(("second", "wide", "through"), [
    ([(0, 69), (120, 69)], (61, 69), False),  # on another road, 8 m off
    ([(0, 69), (120, 69)], (61, 64), True),  # beside its own road
    ([(120, 69), (120, 61)], (64, 61), True),  # both on the road, which the other meets elsewhere
])  # fmt: skip
def test_a_wide_gate_lifts_a_narrow_one_only_on_the_same_way(second, wide, through):
    roads = layer(line((0, 61), (120, 61)), line(*second), **{"class": ["a", "b"], "allows": ["tractor"] * 2})
    gate = layer(shapely.Point(61, 61), shapely.Point(wide), width_m=[1.5, 4.0])
    assert on_road(90, ways=roads, crossings=gate, tractor=TRACTOR) == ("tractor" if through else "out_of_reach")


def test_a_road_drawn_in_two_lines_is_one_way():
    roads = layer(line((0, 61), (62, 61)), line((62, 61), (120, 61)), **{"class": ["a"] * 2, "allows": ["tractor"] * 2})
    gate = layer(shapely.Point(60, 61), shapely.Point(64, 61), width_m=[1.5, 4.0])
    assert on_road(90, ways=roads, crossings=gate, tractor=TRACTOR) == "tractor"


def test_a_gate_of_unknown_width_is_narrow():
    assert on_road(90, crossings=gates((61, 61), width=np.nan), tractor=TRACTOR) == "out_of_reach"


def test_a_machine_goes_round_a_gate_over_open_ground_where_no_fence_is_drawn():
    gate = gates((61, 61), width=1.5)
    assert on_road(90, crossings=gate, tractor=TRACTOR, open_ground=shapely.box(40, 50, 80, 90)) == "tractor"
