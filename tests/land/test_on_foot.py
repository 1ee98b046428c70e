"""People and fences: gaps as wide as a person pass at any angle, a machine's always, and no fence without one."""

import geopandas as gpd
import numpy as np
import shapely
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st

from invasimap.core.settings import AtvSection, FootSection
from invasimap.land.access import access_classes
from invasimap.land.ground import make_ground
from invasimap.land.raster import touched
from invasimap.land.terrain import Terrain

CRS = "EPSG:32617"
CELL, SIZE = 3.048, 30
MIDDLE = CELL * SIZE / 2
TERRAIN = Terrain(
    elevation_m=np.zeros((SIZE, SIZE), np.float32), transform=Affine(CELL, 0, 0, 0, -CELL, SIZE * CELL), crs=CRS
)
FOOT = FootSection(max_slope="60 %", max_walk="60 min", off_way=0.6, load=0.7)
M_PER_MIN = 5036.74212462 * 0.6 * 0.7 / 60


def layer(*shapes, **columns):
    return gpd.GeoDataFrame(columns, geometry=list(shapes), crs=CRS)


def fence(gap, *, angle=0.0, shift=0.0, thick=0.0):
    """A fence through the middle of the grid with a gap in it, along x before it is turned."""
    ends = [shapely.LineString([(-300, 0), (-gap / 2, 0)]), shapely.LineString([(gap / 2, 0), (300, 0)])]
    drawn = [shapely.buffer(end, thick, cap_style="flat") if thick else end for end in ends]
    turned = shapely.affinity.rotate(shapely.MultiLineString(ends) if not thick else shapely.MultiPolygon(drawn), angle,
                                     (0, 0))  # fmt: skip
    return layer(*shapely.get_parts(shapely.affinity.translate(turned, MIDDLE + shift, MIDDLE + shift / 3)))


def beside(angle, away_m):
    """A place so far to the right of a fence of an angle through the middle."""
    across = np.radians(angle) - np.pi / 2
    return shapely.Point(MIDDLE + away_m * np.cos(across), MIDDLE + away_m * np.sin(across))


def reached(barriers, start, **means):
    """Where people, or another means, get to from a place."""
    ground = make_ground(TERRAIN, barriers=barriers, entries=layer(start))
    return access_classes(ground, **(means or {"foot": FOOT}))


def gets(access, place, means="foot"):
    return access.gets[means][int((SIZE * CELL - place.y) / CELL), int(place.x / CELL)]


ANGLES = st.one_of(st.sampled_from([0.0, 45.0, 90.0, 135.0]), st.floats(0, 180))
SHIFTS = st.one_of(st.sampled_from([0.0, CELL / 2, CELL]), st.floats(-4, 4))


@given(ANGLES, SHIFTS, st.sampled_from([0.0, 0.7, 3.0]))
@settings(max_examples=12, deadline=None)
def test_a_gap_passes_a_person_when_it_is_as_wide_and_never_when_narrower(angle, shift, thick):
    for gap, through in ((0.0, False), (0.49, False), (0.5 + CELL, True)):
        barriers = fence(gap, angle=angle, shift=shift, thick=thick)
        assert gets(reached(barriers, beside(angle, 30)), beside(angle, -30)) == through


@given(ANGLES, SHIFTS, st.sampled_from([0.6, 1.2, 1.83]), st.floats(0, 1))
@settings(max_examples=10, deadline=None)
def test_people_get_wherever_an_atv_gets(angle, shift, clearance, more):
    barriers = fence(clearance + more * CELL / 2, angle=angle, shift=shift)
    atv = AtvSection(max_slope="10 %", max_side_slope="10 %", clearance=f"{clearance} m", hose_length="0 m")
    driven = reached(barriers, beside(angle, 30), atv=atv).gets["atv"]
    assert driven.any() and not (driven & ~reached(barriers, beside(angle, 30)).gets["foot"]).any()


@given(st.integers(0, 10_000))
@settings(max_examples=12, deadline=None)
def test_a_ring_of_fence_lets_nobody_in(seed):
    rng = np.random.default_rng(seed)
    corners = rng.uniform(20, SIZE * CELL - 10, (7, 2))
    ring = shapely.convex_hull(shapely.MultiPoint(corners)).boundary
    inside = shapely.Polygon(ring)
    access = reached(layer(ring), shapely.Point(8, 5))
    rows, columns = np.nonzero(access.reached["foot"])
    places = shapely.points((columns + 0.5) * CELL, (SIZE - rows - 0.5) * CELL)
    assert len(places) and not shapely.within(places, inside).any()
    assert not (access.reached["foot"] & touched([ring], TERRAIN)).any()  # what a fence touches is not counted


def test_the_walk_through_a_gap_is_as_long_as_it_is():
    """A gap of 2 m at the east end of a fence 60 m long: round by the gap, not through the fence."""
    y, gap_x = MIDDLE, 75.0
    barriers = layer(
        shapely.LineString([(-10, y), (gap_x - 1, y)]), shapely.LineString([(gap_x + 1, y), (300, y)])
    )  # fmt: skip
    access = reached(barriers, shapely.Point(8, 5))
    row, column = int((SIZE * CELL - (y + 30)) / CELL), int(20 / CELL)
    x, up = (column + 0.5) * CELL, (SIZE - row - 0.5) * CELL - y
    straight_m = np.hypot(gap_x - 8, y - 5) + np.hypot(gap_x - x, up)
    walked_m = access.walk_min[row, column] * M_PER_MIN
    assert straight_m - 1.5 * CELL <= walked_m <= 1.028 * straight_m + 2 * CELL


def round_convex(start, ends, shape):
    """Exact length from a place to others round one convex shape: the shorter way along the hull of all three."""
    found = []
    for end in map(shapely.Point, ends):
        if not shapely.LineString([start, end]).crosses(shape):
            found.append(start.distance(end))
            continue
        ring = shapely.union_all([start, end, shape]).convex_hull.exterior
        one, other = sorted((ring.project(start), ring.project(end)))
        found.append(min(other - one, ring.length - other + one))
    return np.array(found)


@given(st.floats(0, 90), st.floats(6, 40), st.floats(6, 20))
@settings(max_examples=8, deadline=None)
def test_walks_round_a_block_are_at_most_a_twelfth_too_long_and_a_cell_too_short(angle, wide, deep):
    """Beside barriers steps lead to eight neighbours only: at most 8.3 % too long there, 2.8 % on open ground."""
    block = shapely.affinity.rotate(shapely.box(MIDDLE - wide / 2, MIDDLE - deep / 2, MIDDLE + wide / 2,
                                                MIDDLE + deep / 2), angle)  # fmt: skip
    column, row = int(MIDDLE / CELL), SIZE - 2
    start = shapely.Point((column + 0.5) * CELL, (SIZE - row - 0.5) * CELL)
    access = reached(layer(block), start)
    rows, columns = np.nonzero(access.gets["foot"])
    ends = np.stack([(columns + 0.5) * CELL, (SIZE - rows - 0.5) * CELL], axis=1)
    exact_m = round_convex(start, ends, block)
    walked_m = access.walk_min[rows, columns] * M_PER_MIN
    hidden = exact_m > 1.001 * np.hypot(*(ends - [start.x, start.y]).T)
    assert hidden.sum() > 5
    assert (walked_m >= exact_m - CELL).all()
    assert (walked_m <= 1.083 * exact_m + CELL / 2).all()
