"""The mosaic on squares worked by hand, and its laws on layouts meant to break it."""

import tracemalloc

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from invasimap.core.errors import CRSError
from invasimap.mosaic import faces as rooms
from invasimap.mosaic.acreage import acreage, ground_area, species_area
from invasimap.mosaic.checks import area_error, protection_overlap, records_lost
from invasimap.mosaic.faces import cut_faces
from invasimap.mosaic.zones import mosaic_layer, treatment_zones

CRS = "EPSG:32617"
ACRE = 4046.8564224


def layer(shapes, **columns):
    return gpd.GeoDataFrame(columns, geometry=list(shapes), crs=CRS)


def patches(*rows):
    """Rows of (species, date, cover, shape)."""
    species, dates, covers, shapes = zip(*rows, strict=True)
    return layer(shapes, species=list(species), date=list(dates), cover_pct=list(covers))


EVERYWHERE = shapely.box(-1000, -1000, 1000, 1000)
NO_ZONES = layer([], zone=[])
ONE_STAND = layer([EVERYWHERE], stand=["1"])
ON_FOOT = layer([EVERYWHERE], access=["foot"])


def cut(found, *, stands=ONE_STAND, protection=NO_ZONES, access=ON_FOOT):
    return cut_faces(found, stands=stands, protection=protection, access=access)


def test_two_species_overlap_counts_twice_by_species_and_once_as_ground():
    a, b = shapely.box(0, 0, 100, 100), shapely.box(60, 40, 160, 140)
    faces = cut(patches(("A", "2026-01-01", 50.0, a), ("B", "2026-01-01", 20.0, b)))
    table = species_area(faces)
    assert table["gross_m2"].sum() / ACRE == pytest.approx(4.94210762934, rel=1e-9)
    assert ground_area(faces)["ground_m2"].sum() / ACRE == pytest.approx(4.34905471382, rel=1e-9)
    assert table["infested_m2"].tolist() == pytest.approx([5000, 2000])


def test_newest_record_wins_then_the_higher_cover_then_the_first():
    whole, right = shapely.box(0, 0, 10, 10), shapely.box(5, 0, 10, 10)
    newer = cut(patches(("A", "2025-05-01", 80.0, whole), ("A", "2026-05-01", 10.0, right)))
    assert species_area(newer)["infested_m2"].sum() == pytest.approx(50 * 0.8 + 50 * 0.1)
    same_day = cut(patches(("A", "2026-05-01", 80.0, whole), ("A", "2026-05-01", 10.0, right)))
    assert species_area(same_day)["infested_m2"].sum() == pytest.approx(80)
    undated = cut(patches(("A", "", 80.0, whole), ("A", "2020-01-01", 10.0, whole)))
    assert species_area(undated)["infested_m2"].sum() == pytest.approx(10)
    assert species_area(undated)["patches"].tolist() == [1]


def test_every_cut_by_hand():
    stands = layer([shapely.box(0, 0, 50, 100), shapely.box(50, 0, 90, 100)], stand=["west", "east"])
    protection = layer([shapely.box(0, 0, 100, 10), shapely.box(0, 0, 100, 25)], zone=["no_spray", "hand_only"])
    access = layer([shapely.box(-10, -10, 70, 110), shapely.box(70, -10, 110, 60)], access=["tractor", "foot"])
    table = acreage(
        patches(("A", "", 100.0, shapely.box(0, 0, 100, 100))), stands=stands, protection=protection, access=access
    )
    found = {(r.stand, r.zone, r.access): r.gross_m2 for r in table.itertuples()}
    assert found == pytest.approx(
        {
            ("west", "no_spray", "tractor"): 500, ("west", "hand_only", "tractor"): 750,
            ("west", "open", "tractor"): 3750, ("east", "no_spray", "tractor"): 200,
            ("east", "hand_only", "tractor"): 300, ("east", "open", "tractor"): 1500,
            ("east", "no_spray", "foot"): 200, ("east", "hand_only", "foot"): 300, ("east", "open", "foot"): 700,
            ("east", "open", "out_of_reach"): 800,
            ("(outside)", "no_spray", "foot"): 100, ("(outside)", "hand_only", "foot"): 150,
            ("(outside)", "open", "foot"): 350, ("(outside)", "open", "out_of_reach"): 400,
        }
    )  # fmt: skip


def test_overlapping_stands_count_for_the_first():
    stands = layer([shapely.box(0, 0, 60, 10), shapely.box(40, 0, 100, 10)], stand=["1", "2"])
    table = species_area(cut(patches(("A", "", 50.0, shapely.box(0, 0, 100, 10))), stands=stands))
    assert dict(zip(table["stand"], table["gross_m2"], strict=True)) == pytest.approx({"1": 600, "2": 400})


def test_mosaic_layer_lists_species_and_covers_in_one_order():
    a, b = shapely.box(0, 0, 2, 1), shapely.box(1, 0, 3, 1)
    mosaic = mosaic_layer(cut(patches(("Zea", "", 12.5, a), ("Acer", "", 37.5, b))))
    both = mosaic[mosaic["species"].str.contains(";")].iloc[0]
    assert (both["species"], both["cover_pct"], both["area_m2"]) == ("Acer;Zea", "37.5;12.5", 1.0)


def test_treatment_zones_count_ground_once_and_name_every_species():
    a, b = shapely.box(0, 0, 2, 1), shapely.box(1, 0, 3, 1)
    zones = treatment_zones(cut(patches(("B", "", 10.0, a), ("A", "", 10.0, b))))
    assert len(zones) == 1
    assert (zones["species"][0], zones["gross_m2"][0], zones["id"][0]) == ("A;B", pytest.approx(3.0), "Z001")


@pytest.mark.parametrize("at_once", [1, 10**6])
def test_patches_far_apart_may_be_cut_apart_or_together(monkeypatch, at_once):
    monkeypatch.setattr(rooms, "PLACES_AT_ONCE", at_once)
    squares = [shapely.box(x, 0, x + 10, 10) for x in (0, 5, 100, 200)]
    found = patches(*(("A", "", 50.0, square) for square in squares))
    ring = shapely.box(-50, -50, 205, 50).difference(shapely.box(-40, -40, 105, 40))  # its faces hold other patches
    faces = cut(found, protection=layer([ring], zone=["no_spray"]))
    assert ground_area(faces).set_index("zone")["ground_m2"].to_dict() == pytest.approx({"no_spray": 100, "open": 250})
    assert len(faces.ground) == 7
    assert faces.growth.groupby("patch")["face"].count().tolist() == [2, 1, 2, 2]
    for row in faces.growth.itertuples():
        assert found.geometry[row.patch].contains(faces.ground.geometry[row.face].centroid)


@given(st.integers(0, 10_000), st.sampled_from([1, 3, 10**6]))
@settings(max_examples=40, deadline=None)
def test_groups_of_boxes_are_those_that_a_walk_from_box_to_box_finds(seed, few):
    rng = np.random.default_rng(seed)
    low, size = rng.integers(0, 60, (40, 2)), rng.integers(0, 9, (40, 2))
    boxes = shapely.box(*low.T, *(low + size).T)
    touch = (low[:, None] <= low + size).all(axis=2) & (low <= (low + size)[:, None]).all(axis=2)
    first = np.arange(40)  # of all that a walk gets to
    for _ in range(40):
        first = np.where(touch, first, 40).min(axis=1)
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(rooms, "FEW_BOXES", few)
        patched.setattr(rooms, "PAIRS_AT_ONCE", few)
        assert rooms._touching(boxes).tolist() == np.unique(first, return_inverse=True)[1].tolist()


def test_boxes_over_one_another_are_never_paired_all_at_once(monkeypatch):
    """Two heaps of 1,500: 4.5 million pairs, of sixteen bytes each."""
    monkeypatch.setattr(rooms, "PAIRS_AT_ONCE", 100_000)
    left = np.random.default_rng(1).uniform(0, 20, 3000) + np.arange(3000) % 2 * 1000
    tracemalloc.start()
    group = rooms._touching(shapely.box(left, left, left + 100, left + 100))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert group.tolist() == [0, 1] * 1500
    assert peak < 30e6


def test_patches_thousands_of_kilometres_apart_are_cut_as_finely_as_one():
    """Noded together they would come to a grid of 1e-7 m."""
    sizes = np.array([10 + 3e-8, 10 + 4e-8])
    shapes = [shapely.box(0, 0, sizes[0], 10), shapely.box(1e7, 0, 1e7 + 10, 10), shapely.box(0, 20, sizes[1], 30)]
    given = {"stands": layer([], stand=[]), "protection": NO_ZONES, "access": layer([], access=[])}
    faces = rooms.cut_given(patches(*(("A", "", 50.0, shape) for shape in shapes)), **given)
    width_m = np.sort(shapely.area(faces.ground.geometry.to_numpy())) / 10
    assert width_m[1:] == pytest.approx(sizes, abs=4e-9)


def test_no_patches_no_faces():
    empty = patches(("A", "", 10.0, shapely.box(0, 0, 1, 1))).iloc[:0]
    faces = cut(empty)
    assert species_area(faces).empty and ground_area(faces).empty and treatment_zones(faces).empty
    assert mosaic_layer(faces).empty and area_error(empty, faces) == 0


def test_layers_of_another_system_are_refused():
    with pytest.raises(CRSError, match="share one CRS"):
        cut(patches(("A", "", 10.0, shapely.box(0, 0, 1, 1))), stands=ONE_STAND.to_crs(32618))


def test_checks_see_a_lost_record_a_lost_acre_and_a_sprayed_stream():
    import pandas as pd

    ledger = pd.DataFrame({"records": [5], "accepted": [3], "repaired": [1], "set_aside": [1]})
    assert records_lost(ledger, patches=4, set_aside=1) == 0
    assert records_lost(ledger, patches=3, set_aside=1) == 1
    assert records_lost(ledger.assign(set_aside=0), patches=4, set_aside=0) == 1
    found = patches(("A", "", 10.0, shapely.box(0, 0, 10, 10)))
    faces = cut(found)
    faces.ground.loc[0, "area_m2"] -= 1
    assert area_error(found, faces) == pytest.approx(0.01)
    zones = treatment_zones(cut(found))
    assert protection_overlap(zones, layer([shapely.box(0, 0, 1, 10)], zone=["no_spray"])) == pytest.approx(0.1)


# adversarial layouts: shared edges, identical and nested rings, touching corners, hair-thin gaps and slivers
steps = st.integers(0, 6).map(lambda n: n * 10.0)
nudges = st.sampled_from([0.0, 0.0, 0.0, 1e-7, -1e-7, 1e-9, 3e-12, 1e-4, 3.3333333])


@st.composite
def shapes(draw):
    x, y, dx, dy = draw(steps), draw(steps), draw(nudges), draw(nudges)
    kind = draw(st.sampled_from(["box", "disc", "ring", "star"]))
    if kind == "box":
        return shapely.box(x + dx, y + dy, x + dx + 10 * draw(st.integers(1, 4)), y + dy + 10)
    if kind == "disc":
        return shapely.Point(x + dx, y + dy).buffer(draw(st.sampled_from([5.0, 10.0, 14.142135623730951])))
    if kind == "ring":
        outer = shapely.box(x + dx, y + dy, x + dx + 30, y + dy + 30)
        return outer.difference(shapely.box(x + 10, y + 10, x + 20, y + 20))
    angle = np.linspace(0, 2 * np.pi, 11)[:-1]
    radius = np.where(np.arange(10) % 2, 4.0, 15.0)
    return shapely.Polygon(np.c_[x + dx + radius * np.cos(angle), y + dy + radius * np.sin(angle)])


@st.composite
def layouts(draw):
    found = draw(
        st.lists(
            st.tuples(st.sampled_from("AB"), st.sampled_from(["", "2025-01-01"]), shapes()), min_size=1, max_size=9
        )
    )
    survey = patches(*[(species, date, 10.0 * (n + 1), shape) for n, (species, date, shape) in enumerate(found)])
    stands = layer([shapely.box(0, 0, 35, 70), shapely.box(35, 0, 70, 70)], stand=["1", "2"])
    protect = draw(st.lists(shapes(), max_size=4))
    protection = layer(protect, zone=[("no_spray", "hand_only")[n % 2] for n in range(len(protect))])
    access = layer([shapely.box(-20, -20, 30, 90), shapely.box(30, -20, 90, 90)], access=["tractor", "foot"])
    return survey, stands, protection, access


@given(layouts())
@settings(max_examples=35, deadline=None)
def test_area_is_conserved_and_no_treatable_ground_is_protected(layout):
    survey, stands, protection, access = layout
    faces = cut_faces(survey, stands=stands, protection=protection, access=access)
    assert area_error(survey, faces) <= 1e-9
    assert shapely.coverage_is_valid(faces.ground.geometry.to_numpy())
    zones, mosaic = treatment_zones(faces), mosaic_layer(faces)
    assert protection_overlap(zones, protection) <= 1e-6
    footprint = survey.union_all().area
    assert zones["gross_m2"].sum() == pytest.approx(footprint, rel=1e-9)
    assert mosaic.area.sum() == pytest.approx(footprint, rel=1e-9)
    assert mosaic["area_m2"].to_numpy() == pytest.approx(mosaic.area.to_numpy(), rel=1e-9)
    open_m2 = survey.union_all().difference(protection.geometry.union_all()).area if len(protection) else footprint
    assert zones.loc[zones["zone"] == "open", "gross_m2"].sum() == pytest.approx(open_m2, rel=1e-6, abs=1e-5)
