"""A flat tract worked by hand with shapely: circles, a straight stream, a straight road."""

import json
import math

import geopandas as gpd
import pandas as pd
import pytest
import shapely

import invasimap

ACRE = 4046.8564224
FT = 0.3048
E0, N0 = 500_000.0, 4_200_000.0  # on the central meridian, where UTM is 0.9996 of true length
SCALE = 0.9996

SETTINGS = """
[tract]
name = "Flat Tract"
timezone = "America/New_York"
[[survey]]
files = ["survey.geojson"]
gps_accuracy = "5 m"
[stands]
file = "land.gpkg"
layer = "stands"
[[protect]]
kind = "stream"
file = "land.gpkg"
layer = "streams"
width = "12 ft"
no_spray = "25 ft"
hand_only = "75 ft"
rule = "example rule 1"
blocks = ["atv"]
[land]
elevation = "dem.tif"
[ways]
file = "land.gpkg"
layer = "ways"
column = "class"
allows = { trail = ["atv", "foot"] }
[access]
cell = "2 m"
[access.atv]
max_slope = "0 %"
max_side_slope = "0 %"
clearance = "6 ft"
hose_length = "100 m"
hose_loss = "0 %"
[uncertainty]
draws = 100
"""


def at(x, y):
    """A place on the ground in true metres from the origin, in UTM."""
    return shapely.Point(E0 + x * SCALE, N0 + y * SCALE)


def line(*places):
    return shapely.LineString([at(*place).coords[0] for place in places])


def polygon_of_the_same_area(x, y, radius):
    angles = [2 * math.pi * n / 64 for n in range(64)]
    stretched = radius * math.sqrt((2 * math.pi / 64) / math.sin(2 * math.pi / 64))
    return shapely.Polygon([(x + stretched * math.cos(a), y + stretched * math.sin(a)) for a in angles])


@pytest.fixture(scope="module")
def flat(write_shared_tract, utm_layer):
    survey = utm_layer(
        [at(100, 200), at(300, 200), at(300, 430), at(700, 210), at(330, 430)],
        species=["Rosa multiflora", "Lonicera maackii", "Rosa multiflora", "Rosa multiflora", "Lonicera maackii"],
        cover=["40", "60", "80", "20", "10"],
        radius_m=["20", "15", "30", "25", "12"],
        date=["2026-05-01"] * 5,
    ).to_crs(4326)
    stands = utm_layer(
        [shapely.box(E0, N0, E0 + 300 * SCALE, N0 + 600 * SCALE),
         shapely.box(E0 + 300 * SCALE, N0, E0 + 600 * SCALE, N0 + 600 * SCALE)], stand=["west", "east"],
    )  # fmt: skip
    streams = utm_layer([line((-400, 450), (1000, 450))], name=["brook"])
    ways = utm_layer([line((-300, 201), (1000, 201))], **{"class": ["trail"]})
    return write_shared_tract(
        SETTINGS, survey=survey, stands=stands, streams=streams, ways=ways, height=lambda x, y: 300 + 0 * x
    )


@pytest.fixture(scope="module")
def planned(flat):
    return invasimap.plan(flat)


@pytest.fixture(scope="module")
def written(planned):
    return invasimap.write_plan(planned)


def test_acres_where_only_vectors_decide_agree_to_a_millionth(planned):
    acreage = planned.acreage
    rose, bush = (acreage[acreage["species"] == name] for name in ("Rosa multiflora", "Lonicera maackii"))
    discs = math.pi * 20**2 + math.pi * 30**2 + math.pi * 25**2
    assert rose["gross_m2"].sum() == pytest.approx(discs, rel=1e-6)
    assert bush["gross_m2"].sum() == pytest.approx(math.pi * (15**2 + 12**2), rel=1e-6)
    infested = math.pi * (0.4 * 20**2 + 0.8 * 30**2 + 0.2 * 25**2)
    assert rose["infested_m2"].sum() == pytest.approx(infested, rel=1e-6)

    # the disc of 30 m at (300, 430) is cut by the strips of a stream 12 ft wide along y = 450, and by the stands;
    # a disc is drawn as a regular 64-gon of the same area, a vertex to the east
    disc = polygon_of_the_same_area(300, 430, 30)
    west = shapely.box(0, 0, 300, 600)
    edge, middle = 6 * FT, 450
    no_spray = shapely.box(0, middle - edge - 25 * FT, 600, middle + edge + 25 * FT)
    hand_only = shapely.box(0, middle - edge - 75 * FT, 600, middle + edge + 75 * FT)
    half = disc.intersection(west)
    expected = {
        "no_spray": half.intersection(no_spray).area,
        "hand_only": half.intersection(hand_only).difference(no_spray).area,
        "open": half.difference(hand_only).area + math.pi * 20**2,
    }
    by_zone = rose[rose["stand"] == "west"].groupby("zone")["gross_m2"].sum()
    assert by_zone.to_dict() == pytest.approx(expected, rel=1e-6)
    assert rose[rose["stand"] == "(outside)"]["gross_m2"].sum() == pytest.approx(math.pi * 25**2, rel=1e-6)


def test_acres_where_access_decides_agree_to_the_cell(flat, planned):
    table = planned.ground.groupby("access")["ground_m2"].sum()
    # the trail at y = 201 with 100 m of hose reaches every disc at y = 200, and none at y = 430
    near = math.pi * (20**2 + 15**2 + 25**2)
    assert table["atv_hose"] == pytest.approx(near, rel=1e-6)
    cut = invasimap.plan(_with_hose(flat, "215 m").with_draws(0)).ground
    reached = cut.loc[cut["access"] == "atv_hose", "ground_m2"].sum() - near
    # the reach ends at y = 416: the parts of the two discs below it, their overlap once
    both = shapely.union_all(shapely.buffer(shapely.points([[300, 430], [330, 430]]), [30, 12], quad_segs=64))
    expected = both.intersection(shapely.box(0, 0, 600, 416)).area
    edge = shapely.intersection(both, shapely.LineString([(0, 416), (600, 416)])).length
    assert abs(reached - expected) <= edge * 2.0 * 1.5  # a cell and a half of 2 m along the front


def _with_hose(folder, length):
    text = (folder / "tract.toml").read_text().replace('hose_length = "100 m"', f'hose_length = "{length}"')
    (folder / "longer.toml").write_text(text)
    return invasimap.read_tract(folder / "longer.toml")


def test_files_hold_the_contract(flat, written):
    out = written
    assert out == flat / "out"
    names = {str(path.relative_to(out)) for path in out.rglob("*") if path.is_file()}
    assert names >= {
        "report.html", "map.html", "mapbook.pdf", "loadsheet.pdf", "maps/overview.png", "maps/access.png",
        "maps/species.png", "maps/access_limits.png", "tables/techniques.csv", "tables/loads.csv",
        "tables/money_curve.csv",
        "plan.gpkg", "tables.xlsx", "set_aside.csv", "run.json",
        "tables/acreage.csv", "tables/ground.csv", "tables/ledger.csv",
    }  # fmt: skip
    acreage = pd.read_csv(out / "tables" / "acreage.csv")
    assert list(acreage.columns) == [
        "stand", "species", "zone", "access", "patches", "gross_ac", "infested_ac", "gross_low_ac", "gross_high_ac",
        "infested_low_ac", "infested_high_ac",
    ]  # fmt: skip
    ground = pd.read_csv(out / "tables" / "ground.csv")
    assert list(ground.columns) == ["stand", "zone", "access", "ground_ac", "ground_low_ac", "ground_high_ac"]
    assert list(pd.read_csv(out / "tables" / "ledger.csv").columns) == [
        "file", "records", "accepted", "repaired", "set_aside",
    ]  # fmt: skip
    mosaic = gpd.read_file(out / "plan.gpkg", layer="mosaic")
    assert mosaic.area.sum() / ACRE == pytest.approx(ground["ground_ac"].sum(), rel=1e-6)
    assert mosaic["area_ac"].to_numpy() == pytest.approx((mosaic.area / ACRE).to_numpy(), rel=1e-6)
    layers = set(gpd.list_layers(out / "plan.gpkg")["name"])
    assert layers == {
        "patches", "mosaic", "treatment_zones", "protection", "access", "parking", "stands", "set_aside",
    }  # fmt: skip
    run = json.loads((out / "run.json").read_text())
    assert len(run["checks"]) == 12 and all(check["passed"] for check in run["checks"])
    assert {entry["path"] for entry in run["inputs"]} >= {"tract.toml", "survey.geojson", "land.gpkg", "dem.tif"}
    assert all(len(entry["sha256"]) == 64 for entry in run["inputs"])


def test_two_runs_write_the_same_tables_byte_for_byte(flat, written, without_pages):
    second = invasimap.write_plan(invasimap.plan(flat), flat / "two")
    assert len(sorted((written / "tables").iterdir())) > 5
    for path in sorted((written / "tables").iterdir()):
        assert path.read_bytes() == (second / "tables" / path.name).read_bytes()
    assert (written / "plan.gpkg").read_bytes() == (second / "plan.gpkg").read_bytes()


def test_metric_tables_are_the_same_ground_in_hectares(flat, written, without_pages):
    text = (flat / "tract.toml").read_text().replace('name = "Flat Tract"', 'name = "Flat Tract"\nunits = "metric"')
    (flat / "metric.toml").write_text(text)
    tract = invasimap.read_tract(flat / "metric.toml").with_draws(0)
    metric = invasimap.write_plan(invasimap.plan(tract), flat / "metric")
    acres = pd.read_csv(written / "tables" / "acreage.csv")["gross_ac"]
    hectares = pd.read_csv(metric / "tables" / "acreage.csv")["gross_ha"]
    assert (hectares * 2.47105381467).to_numpy() == pytest.approx(acres.to_numpy(), rel=1e-8, abs=3e-9)


WORK = """
[[window]]
species = ["*"]
first = "06-01"
last = "08-31"
[[mix]]
name = "m"
product = "Example Product A"
ingredient = "4 lb/gal"
rate = "1 % v/v"
max_per_application = "4 lb/acre"
max_per_year = "6 lb/acre"
species = ["*"]
zones = ["open"]
technique = ["foliar_spot", "foliar_broadcast"]
[[rig]]
name = "r"
access = "atv_hose"
tank = "25 gal"
output = "3 gal/min"
crew = 2
wage = "30 USD/h"
machine = "0 USD/h"
refill_trip = "5 min"
calibration = [{ rate = "40 gal/acre", date = 2026-05-20 }]
[schedule]
start = 2026-06-01
weeks = 12
[log]
file = "log.gpkg"
"""


def test_ground_that_the_log_says_was_sprayed_is_sprayed_no_more(flat):
    """40 gal/acre of 0.04 lb/gal is 1.6 lb on an acre of leaves; 5.9 of 6 lb are on the ground of the first patch."""
    settings = SETTINGS.replace('"5 m"', '"5 m"\ndefaults = { height = "3 ft" }')
    (flat / "work.toml").write_text(settings + WORK, encoding="utf-8")
    ground = gpd.GeoDataFrame(
        {"date": ["2026-05-01"], "product": ["Example Product A"], "dose_lb_per_acre": [5.9]},
        geometry=[at(100, 200).buffer(50)], crs="EPSG:32617",
    )  # fmt: skip
    ground.to_file(flat / "log.gpkg")
    made = invasimap.plan(invasimap.read_tract(flat / "work.toml").with_draws(0))
    jobs = made.treatment.jobs.query("zone == 'open' and access == 'atv_hose' and stand != '(outside)'")
    logged = jobs.intersects(ground.to_crs(jobs.crs).geometry[0])
    assert logged.sum() == 1 and (~logged).sum() == 2  # the disc at (300, 200) lies in two stands
    assert jobs.loc[~logged, "work"].notna().all() and jobs.loc[logged, "work"].isna().all()
    assert "in the year (with Example Product A of 2026-05-01" in jobs.loc[logged, "why"].item()
    assert "log.gpkg" in [file.shown for file in made.inputs]
