"""A real tract planned from its own files: three surveys, units, streams, roads, a fence, coarse terrain."""

import csv
import json
import sqlite3

import geopandas as gpd
import pandas as pd
import pytest
import shapely

import invasimap

SETTINGS = """
[tract]
name = "Foothill wood"
units = "metric"
timezone = "America/New_York"
[[survey]]
files = ["{real}/survey_2018_woody_points.csv"]
gps_accuracy = "5 m"
columns = {{ species = "Code" }}
[[survey]]
files = ["{real}/survey_2018_herb_cells.geojson", "{real}/survey_2014_cells.gpkg"]
[stands]
file = "{real}/units.gpkg"
layer = "units"
id = "unit"
[[protect]]
kind = "stream"
file = "{real}/water.gpkg"
layer = "streams_in_plot"
width = "2 m"
no_spray = "25 ft"
hand_only = "50 ft"
per_slope = "0.5 ft"
rule = "example"
[[protect]]
kind = "rare shrub"
file = "{real}/rare_shrub.csv"
crs = "EPSG:26917"
no_spray = "10 m"
rule = "example"
confidential = true
[confidential]
words = "no plant here is told to you"
hide_within = "100 ft"
[land]
elevation = "{real}/dem_10m.tif"
elevation_unit = "m"
open_ground = {{ file = "{real}/open_ground.gpkg", layer = "open" }}
barriers = {{ file = "{real}/fence_line.geojson" }}
[ways]
file = "{real}/roads.shp"
column = "ROAD_TYPE"
allows = {{ Dirt = ["atv", "foot"], Gravel = ["tractor", "atv", "foot"] }}
[access]
cell = "3 m"
[access.tractor]
max_slope = "15 %"
max_side_slope = "10 %"
clearance = "12 ft"
[access.atv]
max_slope = "20 %"
max_side_slope = "12 %"
clearance = "6 ft"
hose_length = "300 ft"
[access.foot]
max_slope = "60 %"
max_walk = "30 min"
[uncertainty]
draws = 100
"""


@pytest.fixture(scope="module")
def planned(real, tmp_path_factory):
    folder = tmp_path_factory.mktemp("real")
    place = real / "tract"
    fence = gpd.read_file(place / "fence.geojson")
    fence.geometry = fence.boundary  # the fence is a line that nothing crosses, not the ground inside it
    fence.to_file(folder / "fence_line.geojson", driver="GeoJSON")
    text = SETTINGS.replace("{real}/fence_line", "fence_line").format(real=place.as_posix())
    (folder / "tract.toml").write_text(text, encoding="utf-8")
    plan = invasimap.plan(folder)
    return plan, invasimap.write_plan(plan)


@pytest.mark.real
def test_every_record_of_every_file_is_accounted_for(planned, real):
    plan, _ = planned
    place = real / "tract"
    with (place / "survey_2018_woody_points.csv").open(newline="", encoding="utf-8") as stream:
        points = sum(1 for _ in csv.DictReader(stream))
    herbs = len(json.loads((place / "survey_2018_herb_cells.geojson").read_text(encoding="utf-8"))["features"])
    with sqlite3.connect(place / "survey_2014_cells.gpkg") as base:
        (cells,) = base.execute("select count(*) from cells").fetchone()
    ledger = plan.ledger
    assert sorted(ledger["records"]) == sorted([points, herbs, cells])
    assert (ledger["records"] == ledger["accepted"] + ledger["repaired"] + ledger["set_aside"]).all()


@pytest.mark.real
def test_all_checks_hold_and_the_ground_is_the_wood(planned, real):
    _, out = planned
    run = json.loads((out / "run.json").read_text(encoding="utf-8"))
    assert len(run["checks"]) == 12 and all(check["passed"] for check in run["checks"])
    units = gpd.read_file(real / "tract" / "units.gpkg", layer="units")
    ground = pd.read_csv(out / "tables" / "ground.csv")
    in_stands = ground.loc[ground["stand"] != "(outside)", "ground_ha"].sum()
    assert in_stands <= units.area.sum() / 10_000 * 1.001
    assert in_stands > 0.5 * units.area.sum() / 10_000  # the survey found something in most cells


@pytest.mark.real
def test_codes_are_read_as_their_species(planned):
    plan, _ = planned
    found = set(plan.acreage["species"])
    assert {"Berberis thunbergii", "Celastrus orbiculatus", "Rubus phoenicolasius", "Alliaria petiolata"} <= found
    assert not {"BETH", "CEOR", "RUPH"} & found


@pytest.mark.real
def test_no_treatable_ground_within_the_typed_distance_of_water(planned, real):
    plan, _ = planned
    streams = gpd.read_file(real / "tract" / "water.gpkg", layer="streams_in_plot").to_crs(plan.crs)
    zones = plan.treatment_zones
    treatable = zones[(zones["zone"] == "open") & (zones["access"] != "out_of_reach")].geometry.to_numpy()
    assert shapely.distance(treatable, streams.geometry.union_all()).min() >= 50 * 0.3048 + 1.0 - 0.01
