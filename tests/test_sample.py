"""The sample tract: what it holds, read by other means, and what planning it gives."""

import csv
import io
import json
import xml.etree.ElementTree as ET
import zipfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely

SAMPLE = Path(__file__).parents[1] / "sample_geodata"
ACRE = 4046.8564224


def test_files_together_are_under_6_mb():
    assert sum(path.stat().st_size for path in SAMPLE.rglob("*") if path.is_file()) < 6_000_000


def test_about_600_acres_in_12_to_20_stands_without_gap_or_overlap():
    stands = gpd.read_file(SAMPLE / "stands.gpkg", layer="stands")
    assert 12 <= len(stands) <= 20
    whole = stands.geometry.union_all()
    assert 550 < whole.area / ACRE < 650
    assert whole.area == pytest.approx(stands.area.sum(), rel=1e-9)
    assert shapely.get_num_interior_rings(whole) == 0


def test_streams_lie_in_the_hollows_of_the_elevation():
    streams = gpd.read_file(SAMPLE / "water.gpkg", layer="streams")
    with rasterio.open(SAMPLE / "dem.tif") as dem:
        assert dem.res == (3.0, 3.0) and not dem.crs.is_geographic
        points = shapely.get_coordinates(shapely.segmentize(streams.geometry.to_numpy(), 10.0))
        sides = [points + np.array([30 * np.cos(a), 30 * np.sin(a)]) for a in np.linspace(0, 2 * np.pi, 9)[:-1]]
        left, bottom, right, top = dem.bounds
        inside = ((points > [left + 40, bottom + 40]) & (points < [right - 40, top - 40])).all(axis=1)
        z = np.array([v[0] for v in dem.sample(points[inside])])
        around = np.array([[v[0] for v in dem.sample(side[inside])] for side in sides])
    assert np.mean(z < np.median(around, axis=0)) > 0.95


def test_survey_is_counted_alike_by_other_readers_and_every_record_kept_or_explained(sample_plan):
    plan, _ = sample_plan
    gpx = ET.parse(SAMPLE / "survey" / "north_crew.gpx").getroot()
    with (SAMPLE / "survey" / "creek_crew.csv").open(newline="", encoding="utf-8-sig") as stream:
        rows = sum(1 for _ in csv.DictReader(stream))
    with zipfile.ZipFile(SAMPLE / "survey" / "ridge_crew.kmz") as kmz:
        placemarks = kmz.read("doc.kml").count(b"<Placemark")
    thickets = len(gpd.read_file(SAMPLE / "survey" / "thickets.zip"))
    expected = {
        "north_crew.gpx": sum(1 for child in gpx if child.tag.rpartition("}")[2] in ("wpt", "trk")),
        "creek_crew.csv": rows,
        "ridge_crew.kmz": placemarks,
        "thickets.zip": thickets,
    }
    ledger = plan.ledger.set_index(plan.ledger["file"].str.split("/").str[-1].str.split(":").str[0])
    assert ledger["records"].to_dict() == expected
    assert 280 <= sum(expected.values()) <= 340
    assert len(plan.patches) + len(plan.set_aside) == sum(expected.values())
    assert plan.set_aside["reason"].str.len().min() > 5


def test_planted_mistakes_are_met_with_their_reason(sample_plan):
    plan, _ = sample_plan
    aside = {(r.file.split("/")[-1], r.record): r.reason for r in plan.set_aside.itertuples()}
    mended = {(r.file.split("/")[-1], r.record): r.how for r in plan.repaired.itertuples()}
    for key, said in {
        ("north_crew.gpx", 12): "species", ("north_crew.gpx", 21): "0, 0", ("north_crew.gpx", 34): "120",
        ("north_crew.gpx", 47): "size", ("north_crew.gpx", 55): "native",
        ("creek_crew.csv", 7): "lat", ("creek_crew.csv", 31): "abc", ("creek_crew.csv", 50): "not found",
        ("north_crew.gpx", 61): "the same record as survey/north_crew.gpx record 60",
    }.items():  # fmt: skip
        assert said in aside[key].lower(), (key, aside[key])
    for key, said in {
        ("north_crew.gpx", 28): "Lonicera maackii", ("north_crew.gpx", 40): "100 %",
        ("creek_crew.csv", 41): "Elaeagnus umbellata", ("creek_crew.csv", 13): "swapping",
        ("creek_crew.csv", 20): "minus sign before the longitude",
    }.items():  # fmt: skip
        assert said in mended[key], (key, mended[key])


def test_all_zones_and_all_means_occur_and_checks_pass(sample_plan):
    plan, out = sample_plan
    assert set(plan.ground["zone"]) == {"open", "hand_only", "no_spray"}
    assert set(plan.ground["access"]) == {"tractor", "atv_hose", "foot", "out_of_reach"}
    run = json.loads((out / "run.json").read_text(encoding="utf-8"))
    assert [check["passed"] for check in run["checks"]] == [True] * 12


def test_rare_plants_are_named_nowhere(sample_plan):
    _, out = sample_plan
    sites = gpd.read_file(SAMPLE / "rare_plants.geojson")["site"]
    texts = [path.read_text(encoding="utf-8") for path in out.rglob("*") if path.suffix in (".html", ".csv", ".json")]
    texts.append((out / "plan.gpkg").read_bytes().decode("latin-1"))
    with zipfile.ZipFile(out / "tables.xlsx") as book:
        texts += [io.TextIOWrapper(book.open(name), "utf-8").read() for name in book.namelist()]
    for text in texts:
        assert "rare_plants" not in text
        for site in sites:
            assert str(site) not in text


def test_its_settings_are_those_its_maker_writes():
    assert (SAMPLE / "tract.toml").read_text(encoding="utf-8") in (SAMPLE / "sample_settings.py").read_text("utf-8")


def test_a_season_of_work_is_planned_within_budget_and_rigs(sample_plan):
    made = sample_plan[0].treatment
    assert made.schedule["money"].sum() <= 16_000
    days = made.rig_days
    assert (days["days"] <= days["available_days"] + 1e-9).all()
    assert made.days.groupby("rig")["day"].nunique().to_dict() == days["whole_days"].to_dict()
    kinds = {"foliar_spot", "foliar_broadcast", "cut_then_foliar", "cut_stump", "pull", "mow"}
    assert set(made.work["technique"]) == kinds
    assert made.unplanned["reason"].str.contains("limit of 2.9 lb/acre").any()  # patches on one another
    sprayed = made.work[made.work["sprays"]]
    assert set(sprayed.loc[sprayed["zone"] == "hand_only", "technique"]) == {"cut_stump"}
    assert not (sprayed["zone"] == "no_spray").any()
