"""The sweep against hand geometry and against the polygons' own answer, on layouts meant to break either."""

from itertools import pairwise

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from invasimap.core.errors import LayerError
from invasimap.mosaic import acreage as rooms
from invasimap.mosaic import sweep
from invasimap.mosaic.acreage import acreage, species_area
from invasimap.mosaic.faces import cut_faces
from invasimap.mosaic.sweep import Layer, areas, rings_of
from invasimap.mosaic.swept import Labels, swept_growth

CRS = "EPSG:32617"
KEYS = ["stand", "species", "zone", "access"]


def layer(shapes, **columns):
    return gpd.GeoDataFrame(columns, geometry=list(shapes), crs=CRS)


def survey(*rows):
    """Patches from rows of (species, date, cover, shape)."""
    species, dates, covers, shapes = zip(*rows, strict=True)
    return layer(shapes, species=list(species), date=list(dates), cover_pct=list(covers))


EVERYWHERE = shapely.box(-1000, -1000, 1000, 1000)
LAND = {
    "stands": layer([EVERYWHERE], stand=["1"]),
    "protection": layer([], zone=[]),
    "access": layer([EVERYWHERE], access=["foot"]),
}


def swept(patches, **land):
    growth, ground = swept_growth(patches, **(LAND | land))
    return growth, ground


def by_rows(growth):
    return growth.groupby(KEYS)["area_m2"].sum()


def assert_same(patches, *, within_m2=1e-7, **land):
    """The sweep's rows are those of GEOS; what only one of them has is next to nothing."""
    growth, ground = swept(patches, **land)
    faces = cut_faces(patches, **(LAND | land))
    theirs = species_area(faces).set_index(KEYS)["gross_m2"]
    both = pd.concat([by_rows(growth), theirs], axis=1).fillna(0).to_numpy()
    np.testing.assert_allclose(both[:, 0], both[:, 1], rtol=1e-9, atol=within_m2)
    assert ground["area_m2"].sum() == pytest.approx(faces.ground["area_m2"].sum(), rel=1e-9, abs=within_m2)


def test_two_species_and_every_kind_of_label_by_hand():
    patches = survey(
        ("A", "2026-01-01", 50.0, shapely.box(0, 0, 100, 100)), ("B", "2026-01-01", 20.0, shapely.box(60, 40, 160, 140))
    )
    growth, ground = swept(
        patches,
        stands=layer([shapely.box(0, 0, 50, 200), shapely.box(40, 0, 120, 200)], stand=["w", "e"]),
        protection=layer([shapely.box(0, 90, 200, 200), shapely.box(0, 80, 200, 95)], zone=["no_spray", "hand_only"]),
        access=layer([shapely.box(0, 0, 200, 60)], access=["tractor"]),
    )
    assert by_rows(growth).to_dict() == pytest.approx(
        {
            ("w", "A", "open", "tractor"): 50 * 60, ("w", "A", "open", "out_of_reach"): 50 * 20,
            ("w", "A", "hand_only", "out_of_reach"): 50 * 10, ("w", "A", "no_spray", "out_of_reach"): 50 * 10,
            ("e", "A", "open", "tractor"): 50 * 60, ("e", "A", "open", "out_of_reach"): 50 * 20,
            ("e", "A", "hand_only", "out_of_reach"): 50 * 10, ("e", "A", "no_spray", "out_of_reach"): 50 * 10,
            ("e", "B", "open", "tractor"): 60 * 20, ("e", "B", "open", "out_of_reach"): 60 * 20,
            ("e", "B", "hand_only", "out_of_reach"): 60 * 10, ("e", "B", "no_spray", "out_of_reach"): 60 * 50,
            ("(outside)", "B", "open", "tractor"): 40 * 20, ("(outside)", "B", "open", "out_of_reach"): 40 * 20,
            ("(outside)", "B", "hand_only", "out_of_reach"): 40 * 10,
            ("(outside)", "B", "no_spray", "out_of_reach"): 40 * 50,
        }
    )  # fmt: skip
    assert ground["area_m2"].sum() == pytest.approx(2 * 100**2 - 40 * 60)


def test_the_newest_then_the_higher_cover_then_the_first_decides():
    whole, right, low = shapely.box(0, 0, 10, 10), shapely.box(5, 0, 10, 10), shapely.box(0, 0, 10, 2)
    patches = survey(
        ("A", "2025-05-01", 80.0, whole), ("A", "2026-05-01", 10.0, right), ("A", "2026-05-01", 30.0, low),
        ("A", "", 99.0, whole),
    )  # fmt: skip
    growth, _ = swept(patches.set_index(pd.Index(["p", "q", "r", "s"])))
    assert growth.set_index("patch")["area_m2"].to_dict() == pytest.approx({"p": 5 * 8, "q": 5 * 8, "r": 20})
    assert growth.set_index("patch")["cover_pct"].to_dict() == {"p": 80, "q": 10, "r": 30}


def test_of_stands_and_access_polygons_over_one_another_the_first_counts():
    patches = survey(("A", "", 50.0, shapely.box(0, 0, 10, 10)))
    both = [shapely.box(0, 0, 6, 10), shapely.box(4, 0, 10, 10), shapely.box(0, 0, 10, 1)]
    growth, _ = swept(patches, stands=layer(both, stand=["x", "y", "x"]), access=layer(both, access=["q", "p", "q"]))
    assert growth.groupby(["stand", "access"])["area_m2"].sum().to_dict() == pytest.approx(
        {("x", "q"): 60.0, ("y", "p"): 40.0}
    )


def test_a_patch_that_fills_many_squares_is_counted_inside_them_too():
    dots = [shapely.Point(x * 7.3, 3.1).buffer(0.5) for x in range(40)]
    hollow = shapely.box(-500, -500, 500, 500).difference(shapely.box(-300, -300, -200, -200))
    patches = survey(("A", "", 50.0, hollow), *(("B", "", 50.0, dot) for dot in dots))
    growth, ground = swept(patches)
    assert by_rows(growth).to_numpy() == pytest.approx([1000**2 - 100**2, sum(dot.area for dot in dots)], rel=1e-12)
    assert ground["area_m2"].sum() == pytest.approx(1000**2 - 100**2, rel=1e-12)


def test_an_outline_that_crosses_itself_counts_what_it_winds_round():
    turned_twice = [(0, 0), (10, 0), (10, 10), (0, 10), (0, 0), (4, 0), (4, 4), (0, 4), (0, 0)]
    patches = survey(("A", "", 50.0, shapely.Polygon(turned_twice)))
    assert swept(patches)[0]["area_m2"].sum() == pytest.approx(100)


@pytest.mark.parametrize("far_m", [0.0, 5e6])
def test_patches_a_world_apart_take_no_more_than_those_nearby(far_m):
    squares = [shapely.box(x, y, x + 10, y + 10) for x, y in ((0, 0), (far_m + 20, 0), (0, far_m + 20))]
    growth, _ = swept(survey(*(("A", "", 50.0, square) for square in squares)))
    assert growth["area_m2"].tolist() == pytest.approx([100, 100, 100], rel=1e-8)


def test_no_patch_has_no_ground():
    none = rings_of([])
    empty = Layer(rings=none, label=np.empty(0, int))
    found = areas(none, species=none.item, rank=none.item, stands=empty, zones=empty, access=empty)
    assert len(found.patch) == len(found.area_m2) == 0


COORDINATE = st.integers(0, 12)
LATTICE = st.tuples(COORDINATE, COORDINATE, st.integers(1, 8), st.integers(1, 8))
GAPS = st.sampled_from([0.0, 1e-7, -1e-7, 1e-10, 0.25, 1 / 3])


@st.composite
def layouts(draw):
    """Shapes that share edges and corners, are the same twice, nest, or miss one another by a hair."""
    shapes = []
    for left, low, wide, high in draw(st.lists(LATTICE, min_size=1, max_size=7)):
        gap = draw(GAPS)
        box = shapely.box(left + gap, low, left + wide + gap, low + high)
        kind = draw(st.sampled_from(["box", "ring", "triangle", "diamond", "disc", "twice"]))
        inner = shapely.box(left + gap, low, left + wide / 2 + gap, low + high / 2)
        hole = shapely.box(left + gap + wide / 4, low + high / 4, left + gap + wide / 2, low + high / 2)
        shapes += {
            "box": [box],
            "ring": [box.difference(hole)],
            "triangle": [shapely.Polygon([(left, low), (left + wide, low + gap), (left, low + high)])],
            "diamond": [shapely.Polygon([(left + 1, low), (left + 2, low + 1), (left + 1, low + 2), (left, low + 1)])],
            "disc": [shapely.Point(left, low).buffer(wide / 2, quad_segs=4)],
            "twice": [box, inner, box],
        }[kind]
    return shapes


def _named(draw, shapes, names):
    return [draw(st.sampled_from(names)) for _ in shapes]


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_it_agrees_with_the_polygons_on_layouts_that_share_all_they_can(data):
    found, stands, zones, access = (data.draw(layouts()) for _ in range(4))
    count = len(found)
    patches = layer(
        found,
        species=_named(data.draw, found, ["A", "B", "C"]),
        date=_named(data.draw, found, ["", "2025-01-01", "2026-01-01"]),
        cover_pct=data.draw(st.lists(st.sampled_from([10.0, 50.0]), min_size=count, max_size=count)),
    )
    assert_same(
        patches,
        stands=layer(stands, stand=_named(data.draw, stands, ["s", "t"])),
        protection=layer(zones, zone=_named(data.draw, zones, ["no_spray", "hand_only"])),
        access=layer(access, access=_named(data.draw, access, ["foot", "tractor"])),
    )


@pytest.mark.parametrize("edges_per_tile", [1, 4, 1000])
@pytest.mark.parametrize("seed", range(3))
def test_the_size_of_the_squares_and_the_processors_do_not_matter(monkeypatch, edges_per_tile, seed):
    rng = np.random.default_rng(seed)
    places = rng.integers(0, 40, (60, 2)) / rng.choice([1, 2, 3])
    shapes = shapely.buffer(shapely.points(places), rng.integers(1, 8, 60), quad_segs=rng.integers(1, 5))
    patches = layer(shapes, species=rng.choice(["A", "B"], 60), date=[""] * 60, cover_pct=[50.0] * 60)
    grid = [shapely.box(x, y, x + 5, y + 5) for x in range(-10, 50, 5) for y in range(-10, 50, 5)]
    land = {
        "stands": layer(grid, stand=[f"{i % 7}" for i in range(len(grid))]),
        "protection": layer(shapely.buffer(shapely.points(places[:9]), 3), zone=["no_spray", "hand_only", "open"] * 3),
        "access": layer(grid[::2], access=["foot", "tractor"] * (len(grid) // 4)),
    }
    usual, _ = swept(patches, **land)
    monkeypatch.setattr(sweep, "EDGES_PER_TILE", edges_per_tile)
    other, _ = swept(patches, **land)
    np.testing.assert_allclose(other["area_m2"], usual["area_m2"], rtol=1e-9, atol=1e-9)
    monkeypatch.setattr(sweep, "processors", lambda: 1)
    alone, _ = swept(patches, **land)
    assert alone["area_m2"].tolist() == other["area_m2"].tolist()
    assert_same(patches, **land)


def test_squares_whose_borders_lie_on_the_edges_lose_nothing(monkeypatch):
    monkeypatch.setattr(sweep, "_frame", lambda _edges, _box: ((0.0, 0.0, 1.0, 14), (14, 14)))
    rng = np.random.default_rng(5)
    shapes = [shapely.box(x, y, x + w, y + h) for x, y, w, h in rng.integers(1, 6, (30, 4))]
    shapes += [shapely.Polygon([(x, y), (x + w, y + w), (x, y + 2 * w)]) for x, y, w in rng.integers(1, 5, (30, 3))]
    patches = layer(shapes, species=["A", "B", "C"] * 20, date=[""] * 60, cover_pct=[50.0] * 60)
    assert_same(patches, stands=layer(shapes[:20], stand=[str(i) for i in range(20)]))


def test_the_public_table_is_the_same_whichever_way_it_is_worked(monkeypatch):
    patches = survey(
        ("A", "2026-01-01", 50.0, shapely.box(0, 0, 100, 100)), ("A", "2025-01-01", 20.0, shapely.box(60, 40, 160, 140))
    )
    small = acreage(patches, **LAND)
    monkeypatch.setattr(rooms, "FEW_PLACES", 0)
    large = acreage(patches, **LAND)
    pd.testing.assert_frame_equal(small, large)
    assert small[["gross_m2", "infested_m2"]].to_numpy().ravel().tolist() == pytest.approx(
        [17_600, 5_000 + 0.2 * 7_600]
    )


def test_a_lobe_turned_the_other_way_takes_nothing_from_another_patch():
    step = np.linspace(0, 1, 200, endpoint=False)[:, None]
    corners = np.array([(0.0, 0.0), (4000, 4000), (4000, 0), (0, 3900), (0, 0)])
    bow_tie = np.concatenate([a + (b - a) * step for a, b in pairwise(corners)])
    square = shapely.box(0, 0, 4000, 4000)
    growth, ground = swept(survey(("A", "", 50.0, shapely.Polygon(bow_tie)), ("B", "", 50.0, square)))
    assert growth.loc[growth["species"] == "B", "area_m2"].sum() == pytest.approx(4000**2)
    assert ground["area_m2"].sum() == pytest.approx(4000**2)


@pytest.mark.parametrize("few", [0, 20_000])
@pytest.mark.parametrize(
    ("broken", "said"),
    [
        ({"protection": layer([EVERYWHERE], zone=["nospray"])}, "zone is none of no_spray, hand_only, open in row 0"),
        ({"stands": layer([EVERYWHERE], stand=[None])}, "stands: stand is missing in row 0"),
        ({"patches": survey((None, "", 50.0, EVERYWHERE))}, "patches: species is missing"),
        ({"patches": survey(("A", "", np.nan, EVERYWHERE))}, "patches: cover_pct is missing"),
    ],
)
def test_what_is_not_understood_is_refused_whichever_way_it_is_worked(monkeypatch, few, broken, said):
    monkeypatch.setattr(rooms, "FEW_PLACES", few)
    given = {"patches": survey(("A", "", 50.0, shapely.box(0, 0, 1, 1)))} | LAND | broken
    with pytest.raises(LayerError, match=said):
        acreage(given.pop("patches"), **given)


@pytest.mark.parametrize("far", [np.inf, 1e21])
def test_coordinates_that_no_system_has_are_refused(far):
    with pytest.raises(ValueError, match="polygon 1 "):
        rings_of([EVERYWHERE, shapely.Polygon([(0, 0), (1, far), (1, 0)])])


def test_rings_keep_their_polygons_and_holes_whatever_stands_beside_them():
    square = shapely.box(0, 0, 9, 9)
    holed = square.difference(shapely.box(1, 1, 2, 2))
    several = shapely.MultiPolygon([holed, shapely.box(20, 0, 21, 1)])
    empty_hole = shapely.from_wkt("POLYGON ((0 0, 1 0, 1 1, 0 0), EMPTY)")
    rings = rings_of([square, several, None, empty_hole, shapely.Polygon(), holed, square])
    assert rings.item.tolist() == [0, 1, 1, 1, 3, 5, 5, 6]
    assert rings.hole.tolist() == [False, False, True, False, False, False, True, False]
    assert np.diff(rings.start).tolist() == [5, 5, 5, 5, 4, 5, 5, 5]
    assert (rings.xy[rings.start[:-1]] == rings.xy[rings.start[1:] - 1]).all()


def test_what_is_no_polygon_has_no_rings():
    with pytest.raises(ValueError, match="LineString is no polygon"):
        rings_of([EVERYWHERE, shapely.LineString([(0, 0), (1, 1)])])


def test_a_patch_without_area_has_no_row():
    growth, ground = swept(survey(("A", "", 50.0, shapely.Polygon([(0, 0), (10, 0), (20, 0)]))))
    assert growth.empty and ground.empty


def test_labels_keep_the_names_that_numbers_stand_for():
    labels = Labels.of(
        stands=layer([EVERYWHERE] * 3, stand=["b", "a", "b"]), protection=layer([EVERYWHERE], zone=["open"]),
        access=LAND["access"],
    )  # fmt: skip
    assert labels.stands.label.tolist() == [0, 1, 0] and labels.stand_names == ["b", "a", "(outside)"]
    assert len(labels.zones.label) == 0 and labels.access_names == ["foot", "out_of_reach"]


def test_rings_end_where_shapely_says_whatever_their_places_repeat():
    """Rings that pass their first place, holes that begin at it, empty rings, parts of parts: none is cut wrongly."""
    shapes = [shapely.from_wkt(text) for text in (
        "POLYGON ((0 0, 9 0, 9 9, 0 9, 0 0), (1 1, 2 1, 2 2, 1 1), (3 3, 4 3, 4 4, 3 3))",
        "POLYGON ((0 0, 4 0, 4 4, 0 0, -4 0, -4 -4, 0 0), (1 .2, 2 .2, 2 .4, 1 .2))",
        "POLYGON ((0 0, 0 0, 4 0, 4 4, 0 0), (1 .2, 2 .2, 2 .4, 1 .2))",
        "POLYGON ((0 0, 4 0, 4 4, 0 0), (0 0, 2 .2, 2 .4, 0 0))",
        "POLYGON ((0 0, 4 0, 4 4, 0 0, 2 2, 0 0))", "POLYGON ((0 0, 4 0, 4 4, 0 0), EMPTY)", "POLYGON EMPTY",
        "MULTIPOLYGON (((0 0, 4 0, 4 4, 0 0), (1 .2, 2 .2, 2 .4, 1 .2)), ((9 9, 10 9, 10 10, 9 9)))",
    )]  # fmt: skip
    for some in (shapes, shapes[::-1], *([shape] for shape in shapes)):
        made = rings_of(some)
        parts, owner = shapely.get_parts(np.array(some, object), return_index=True)
        rings, part = shapely.get_rings(parts, return_index=True)
        size = shapely.get_num_coordinates(rings)
        assert np.diff(made.start).tolist() == size[size > 0].tolist()
        assert made.item.tolist() == owner[part][size > 0].tolist()
        assert made.hole.tolist() == (np.diff(part, prepend=-1) == 0)[size > 0].tolist()
