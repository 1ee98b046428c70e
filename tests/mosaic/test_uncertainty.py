"""Ranges of acreages: nothing to doubt far from every edge, wide where an edge runs through a small patch."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from scipy.stats import norm

from invasimap.mosaic.acreage import ground_area, species_area
from invasimap.mosaic.faces import cut_faces
from invasimap.mosaic.scene import Scene
from invasimap.mosaic.simulation import Doubt, Simulation
from invasimap.mosaic.uncertainty import with_ranges

CRS = "EPSG:32617"
BIG = shapely.box(0, 0, 1000, 1000)
Z = 1.6448536269514722


def layer(shapes, **columns):
    return gpd.GeoDataFrame(columns, geometry=list(shapes), crs=CRS)


def survey(*shapes, accuracy_m=5.0, shape="point", species="A", cover=(50.0, 50.0), date=""):
    count = len(shapes)
    return layer(
        shapes, species=[species] * count if isinstance(species, str) else species, date=[date] * count,
        cover_pct=[sum(cover) / 2] * count, cover_low_pct=[cover[0]] * count, cover_high_pct=[cover[1]] * count,
        accuracy_m=np.broadcast_to(accuracy_m, count).astype(float), shape=np.broadcast_to(shape, count).astype(object),
    )  # fmt: skip


def land(*, no_spray=None, access=None):
    return {
        "stands": layer([BIG], stand=["1"]),
        "protection": layer([], zone=[]) if no_spray is None else layer([no_spray], zone=["no_spray"]),
        "access": layer([BIG], access=["foot"]) if access is None else access,
    }


def ranges(patches, *, draws=400, size_error=0.0, cell_m=0.0, **on):
    ground = land(**on)
    faces = cut_faces(patches, **ground)
    doubt = Doubt(draws=draws, cell_m=cell_m, size_error=size_error, cover_error_pct=0.0)
    return with_ranges(species_area(faces), ground_area(faces), patches, doubt=doubt, **ground)


def test_patch_far_from_every_edge_is_certain_however_poor_its_fix():
    row = ranges(survey(shapely.Point(500, 500).buffer(10), accuracy_m=8.0), draws=100).acreage.loc[0]
    assert row["gross_low_m2"] == pytest.approx(row["gross_m2"]) == pytest.approx(row["gross_high_m2"])
    assert row["infested_low_m2"] == pytest.approx(row["infested_m2"]) == pytest.approx(row["infested_high_m2"])


def test_square_across_a_straight_edge_shifts_by_the_fix_error():
    # 100 m square half in a strip: the open part is 50 m plus a normal shift times 100 m
    found = ranges(
        survey(shapely.box(450, 450, 550, 550), accuracy_m=6.0), no_spray=shapely.box(0, 0, 500, 1000), draws=1000
    )
    expected = 5000 + 100 * 6.0 * 0.66243056 * norm.ppf([0.05, 0.95])
    for table, figure in ((found.acreage, "gross"), (found.ground, "ground")):
        row = table.set_index("zone").loc["open"]
        assert (row[f"{figure}_low_m2"], row[f"{figure}_high_m2"]) == pytest.approx(tuple(expected), abs=100)
    whole = found.totals.set_index("species").loc["A"]
    assert whole["gross_high_m2"] == pytest.approx(10_000) == pytest.approx(whole["gross_low_m2"])
    assert whole["treatable_gross_high_m2"] == pytest.approx(expected[1], abs=100)


def test_total_has_an_interval_of_its_own_narrower_than_its_rows_together():
    found = ranges(survey(shapely.box(450, 450, 550, 550)), no_spray=shapely.box(0, 0, 500, 1000), draws=100)
    rows = found.acreage["gross_high_m2"].sum() - found.acreage["gross_low_m2"].sum()
    assert rows > 500 and found.totals["gross_high_m2"].max() - found.totals["gross_low_m2"].min() < 1e-3


def test_missing_accuracy_is_the_usual_one_under_leaves():
    square, strip = shapely.box(450, 450, 550, 550), shapely.box(0, 0, 500, 1000)
    missing = ranges(survey(square, accuracy_m=np.nan), no_spray=strip, draws=100).acreage
    said = ranges(survey(square, accuracy_m=5 * 1.509592), no_spray=strip, draws=100).acreage
    pd.testing.assert_frame_equal(missing, said, rtol=1e-5)


def test_many_misjudged_discs_are_together_too_large_and_the_range_says_so():
    # 400 equal discs, radius 20 % off: together 4 % too large on average, deviation 2 sqrt(log 1.04) / 20 of that
    discs = shapely.buffer(shapely.points(np.mgrid[50:950:20j, 50:950:20j].reshape(2, -1).T), 8.0, quad_segs=3)
    row = ranges(survey(*discs), size_error=0.2, draws=200).totals.set_index("species").loc["A"]
    log_deviation = 2 * np.sqrt(np.log(1.04)) / 20
    lowest = row["gross_m2"] / 1.04 * (1 - Z * log_deviation)
    assert row["gross_low_m2"] == pytest.approx(lowest, rel=0.01)
    assert row["gross_m2"] <= row["gross_high_m2"] <= row["gross_m2"] * 1.005


def test_one_misjudged_disc_has_the_interval_of_its_lognormal_in_the_tables():
    # the truth is measured * exp(v -/+ 2 z sqrt(v)), v = log(1 + s^2)
    found = ranges(survey(shapely.Point(500, 500).buffer(10)), size_error=0.3, draws=5000)
    v = np.log1p(0.3**2)
    row = found.acreage.loc[0]
    expected = row["gross_m2"] * np.exp(v + 2 * np.sqrt(v) * np.array([-Z, Z]))
    assert (row["gross_low_m2"], row["gross_high_m2"]) == pytest.approx(tuple(expected), rel=0.08)
    assert found.drivers["size_pct"].to_numpy() == pytest.approx(100)


def test_cover_class_alone_makes_the_infested_area_uniform_in_it():
    found = ranges(survey(shapely.Point(500, 500).buffer(10, quad_segs=64), cover=(25.0, 50.0)), draws=500)
    row = found.acreage.loc[0]
    ends = row["gross_m2"] * np.array([0.2625, 0.4875])
    assert (row["infested_low_m2"], row["infested_high_m2"]) == pytest.approx(tuple(ends), abs=0.012 * row["gross_m2"])
    share = found.drivers.set_index(["species", "part"]).loc[("A", "all")]
    assert share["cover_pct"] == pytest.approx(100)


def test_cover_of_one_figure_may_be_off_by_the_error_as_far_as_both_sides_have_room():
    patches = survey(*shapely.buffer(shapely.points([[200, 200], [500, 500], [800, 800]]), 10), species=["A", "B", "C"])
    patches = patches.assign(
        cover_pct=[40.0, 2.0, 100.0], cover_low_pct=[40, np.nan, 100], cover_high_pct=[40, np.nan, 100]
    )
    given = land()
    faces = cut_faces(patches, **given)
    tables = species_area(faces), ground_area(faces)
    found = with_ranges(
        *tables, patches, doubt=Doubt(draws=500, cell_m=0.0, size_error=0.0, cover_error_pct=5.0), **given
    )
    row = found.acreage.set_index("species")
    ends = row[["infested_low_m2", "infested_high_m2"]].div(row["gross_m2"], axis=0) * 100
    expected = [[35.5, 44.5], [0.2, 3.8], [100, 100]]  # the middle nine tenths of 35-45, 0-4 and 100
    assert ends.to_numpy() == pytest.approx(np.array(expected), abs=0.5)


def test_sources_share_the_variance_as_worked_by_hand():
    # 100 m square across an edge of no_spray and, the other way, of access: shifts of a fix of 3 m and of a 12 m cell
    patches = survey(shapely.box(450, 450, 550, 550), accuracy_m=3 * 1.509592, cover=(40.0, 60.0))
    access = layer([shapely.box(0, 0, 1000, 500)], access=["foot"])
    drivers = ranges(
        patches, no_spray=shapely.box(0, 0, 500, 1000), access=access, cell_m=12.0, draws=2000
    ).drivers.set_index(["species", "part"])
    # treatable quarter, 50 m by 50 m: both sides shift by 3 m, the cell by 12 / sqrt(12) m; cover +/- 20 / sqrt(12) %
    variance = np.array([2 * (50 * 3 * 0.5) ** 2, 0, (2500 * 0.2) ** 2 / 12, (50 * 0.5) ** 2 * 12])
    found = drivers.loc[("A", "treatable"), ["position_pct", "size_pct", "cover_pct", "cell_pct"]].to_numpy(float)
    assert found == pytest.approx(100 * variance / variance.sum(), abs=6)
    assert drivers.loc[("A", "all"), "cover_pct"] == pytest.approx(100)  # the whole square: nothing else changes it


def test_what_each_means_treats_has_a_range_of_its_own():
    # 100 m square, half in reach of a tractor, half on foot; a fix of 3 m shifts 300 m2 from one to the other
    patches = survey(shapely.box(450, 450, 550, 550), accuracy_m=3 * 1.509592, cover=(40.0, 40.0))
    access = layer([shapely.box(0, 0, 500, 1000), shapely.box(500, 0, 1000, 1000)], access=["tractor", "foot"])
    found = ranges(patches, access=access, draws=2000)
    table = found.by_means.set_index(["access", "species"])
    assert list(table.index) == [("tractor", "A"), ("tractor", ""), ("foot", "A"), ("foot", "")]
    assert table["gross_m2"].tolist() == pytest.approx([5_000] * 4)
    half = (table["gross_high_m2"] - table["gross_low_m2"]) / 2
    assert half.to_numpy() == pytest.approx(1.645 * 300, rel=0.08)
    assert (
        table.loc[("foot", "A"), "infested_m2"] == pytest.approx(2_000)
        and table.xs("", level=1)["infested_m2"].isna().all()
    )
    total = found.totals.set_index("species").loc["", ["treatable_gross_low_m2", "treatable_gross_high_m2"]]
    assert total.tolist() == pytest.approx([10_000] * 2)  # the square keeps its form wherever it lies


def test_without_draws_the_columns_stay_empty():
    patches = survey(shapely.Point(500, 500).buffer(10))
    without, with_draws = ranges(patches, draws=0), ranges(patches, draws=100)
    assert list(without.acreage) == list(with_draws.acreage) and list(without.totals) == list(with_draws.totals)
    limits = [name for name in without.totals if "_low_" in name or "_high_" in name]
    assert len(limits) == 8 and without.totals[limits].isna().all(axis=None)
    assert without.acreage[["gross_low_m2", "infested_high_m2"]].isna().all(axis=None)
    assert without.totals["gross_m2"].tolist() == with_draws.totals["gross_m2"].tolist()
    assert without.drivers.empty and without.ground["ground_low_m2"].isna().all()


def test_survey_of_nothing_has_no_ranges():
    found = ranges(survey(shapely.Point(500, 500).buffer(10)).iloc[:0])
    assert found.acreage.empty and found.totals.empty


def test_same_input_gives_the_same_ranges():
    patches = survey(shapely.Point(500, 500).buffer(10), shapely.box(480, 400, 520, 430), shape=["point", "polygon"])
    one, two = (ranges(patches, no_spray=shapely.box(0, 0, 500, 1000), size_error=0.2, draws=100) for _ in range(2))
    for name in ("acreage", "ground", "totals", "by_means", "drivers"):
        pd.testing.assert_frame_equal(getattr(one, name), getattr(two, name), check_exact=True)


def test_one_draw_is_the_acreage_of_its_outlines_cut_by_geos():
    rng = np.random.default_rng(9)
    discs = shapely.buffer(shapely.points(rng.uniform(100, 300, (40, 2))), rng.uniform(3, 25, 40))
    patches = survey(*discs, species=list(rng.choice(["A", "B"], 40)))
    patches["date"] = rng.choice(["2025-01-01", "2026-01-01"], 40)
    patches["cover_pct"] = rng.choice([10.0, 30.0, 60.0], 40)
    ground = land(no_spray=shapely.box(0, 0, 180, 220), access=layer([shapely.box(0, 150, 250, 400)], access=["foot"]))
    ground["stands"] = layer([shapely.box(0, 0, 200, 400), shapely.box(150, 0, 280, 400)], stand=["1", "2"])
    moved = patches.set_geometry(patches.geometry.translate(7.0, -4.0))
    faces = cut_faces(moved, **ground)
    rows, whole = species_area(faces), ground_area(faces)
    scene = Scene.of(patches, **ground)
    doubt = Doubt(draws=1, cell_m=0.0, cover_error_pct=0.0)
    simulation = Simulation.of(scene, patches, acreage=rows, ground=whole, doubt=doubt)
    areas = scene.areas(scene.patches.xy + [7.0, -4.0], access_shift_m=np.zeros(2))
    gross, infested = simulation.tally.sums(areas, moved["cover_pct"].to_numpy())
    assert gross[: len(rows)] == pytest.approx(rows["gross_m2"].to_numpy(), rel=1e-6, abs=1e-6)
    assert infested[: len(rows)] == pytest.approx(rows["infested_m2"].to_numpy(), rel=1e-6, abs=1e-6)
    totals = gross[len(rows) + len(whole) :]
    assert gross[len(rows) : -len(totals)] == pytest.approx(whole["ground_m2"].to_numpy(), rel=1e-6, abs=1e-6)
    open_reached = (rows["zone"] == "open") & (rows["access"] == "foot") & (rows["stand"] != "(outside)")
    by_hand = [
        *rows.groupby("species")["gross_m2"].sum(), whole["ground_m2"].sum(),
        *rows[open_reached].groupby("species")["gross_m2"].sum(),
    ]  # fmt: skip
    assert totals[: len(by_hand)] == pytest.approx(by_hand, rel=1e-6)
    by_means = totals[2 * 3 :].reshape(3, 3)  # tractor, hose and foot; A, B and the ground
    assert by_means[:2].tolist() == [[0] * 3] * 2 and by_means[2] == pytest.approx(totals[3:6])
