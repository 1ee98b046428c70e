"""Confidential sites in a whole plan: what is passed on is the same wherever in the disc, and whatever, the site is."""

import dataclasses
import datetime as dt
import json
import pickle
import re
import shutil
import zipfile

import geopandas as gpd
import numpy as np
import openpyxl
import pyogrio
import pytest
import shapely

import invasimap
from invasimap.core.errors import InputError
from invasimap.core.toml_file import read_tract
from invasimap.land.covers import covers
from invasimap.land.features import FEATURE_COLUMNS
from invasimap.land.hidden_place import key_of
from invasimap.reading import look_over

E0, N0 = 500_000.0, 4_200_000.0
WITHIN_M = 45.72  # 150 ft
WORDS = "quiet moss under the third ledge"
STAMP = "INTERNAL - not to be passed on"
SETTINGS = """
[tract]
name = "Small Tract"
[[survey]]
files = ["survey.geojson"]
gps_accuracy = "5 m"
[stands]
file = "land.gpkg"
layer = "stands"
[[protect]]
kind = "brook"
file = "land.gpkg"
layer = "streams"
no_spray = "25 ft"
rule = "open rule"
[[protect]]
kind = "{kind}"
file = "{file}.geojson"
where = {{ what = "{kind}" }}
no_spray = "20 ft"
hand_only = "40 ft"
per_slope = "0.5 ft"
position_error = "6 ft"
rule = "{rule}"
blocks = ["tractor", "atv", "hose"]
confidential = true
[confidential]
words = "{words}"
hide_within = "150 ft"
[land]
elevation = "dem.tif"
[ways]
file = "land.gpkg"
layer = "ways"
column = "class"
allows = {{ trail = ["atv", "foot"] }}
[access]
cell = "4 m"
[access.atv]
max_slope = "20 %"
max_side_slope = "20 %"
clearance = "6 ft"
hose_length = "50 m"
[access.foot]
max_slope = "60 %"
max_walk = "10 min"
[uncertainty]
draws = 100
[season]
native_leaf_drop = "10-20"
killing_freeze = "11-20"
full_leaf = "05-10"
[[mix]]
name = "by hand and by hose"
product = "Example A"
ingredient = "3 lb/gal"
rate = "1 % v/v"
max_per_application = "3 lb/acre"
max_per_year = "3 lb/acre"
species = ["*"]
zones = ["open", "hand_only"]
technique = ["foliar_spot", "cut_then_foliar", "cut_stump"]
[[rig]]
name = "two on foot"
access = "foot"
tank = "4 gal"
output = "0.4 gal/min"
crew = 2
wage = "28 USD/h"
calibration = [
    {{ rate = "20 gal/acre", date = 2026-05-01 }},
    {{ rate = "20 gal/acre", date = 2026-05-01, technique = "cut_stump" }},
]
pace = [{{ technique = "cut_then_foliar", hours = "8 h/acre" }}, {{ technique = "pull", hours = "30 h/acre" }}]
[schedule]
start = 2026-06-01
"""


def hidden_layer(sites, kind):
    rows = {"what": [kind] * len(sites) + ["shy lizard"], "who": ["M. Quell"] * (len(sites) + 1)}
    shapes = [shapely.Point(x, y) for x, y in [*sites, (E0 + 9000, N0)]]
    return gpd.GeoDataFrame(rows, geometry=shapes, crs="EPSG:32617").to_crs(4326)


def covers_at(sites, crs, terrain):
    """The covers of sites under the settings above, and nothing else of a plan."""
    layer = hidden_layer(sites, "x").to_crs(crs)[:-1]
    values = {
        "kind": "x", "rule": "x", "confidential": True, "no_spray_m": 6.096, "hand_only_m": 12.192, "width_m": 0.0,
        "per_slope_m": 0.1524, "position_error_m": 1.8288, "blocks": "atv;hose;tractor",
    }  # fmt: skip
    features = layer.assign(**values)[[*FEATURE_COLUMNS, "geometry"]]
    return covers(features, key=key_of(WORDS), hide_within_m=WITHIN_M, terrain=terrain).geometry.to_numpy()


@pytest.fixture(scope="module")
def folders(write_shared_tract, utm_layer):
    """The same tract twice: two sites of an orchid, and two of a cave elsewhere under the very same covers."""
    rng = np.random.default_rng(2)
    box = shapely.box(E0, N0, E0 + 600, N0 + 500)
    spots = rng.uniform([20, 20], [580, 480], (25, 2)) + [E0, N0]
    survey = utm_layer(
        shapely.buffer(shapely.points(spots), rng.uniform(3, 15, 25)),
        species=["Rosa multiflora"] * 25, date=["2026-05-01"] * 25, cover=[40.0] * 25,
    ).to_crs(4326)  # fmt: skip
    layers = {
        "stands": utm_layer([box], stand=["1"]),
        "streams": utm_layer([shapely.LineString([(E0 + 560, N0), (E0 + 540, N0 + 500)])]),
        "ways": utm_layer([shapely.LineString([(E0 - 100, N0 + 230), (E0 + 600, N0 + 260)])], **{"class": ["trail"]}),
    }

    def height(x, y):
        return 0.1 * (x - E0) + 8 * np.sin(x / 40) * np.cos(y / 60)

    def write(name, *, kind, rule, file, sites):
        text = SETTINGS.format(kind=kind, rule=rule, file=file, words=WORDS)
        home = write_shared_tract(text, survey=survey, height=height, folder=name, **layers)
        hidden_layer(sites, kind).to_file(home / f"{file}.geojson", driver="GeoJSON", COORDINATE_PRECISION=12)
        return home

    orchid = [(E0 + 220, N0 + 240), (E0 + 430, N0 + 150)]
    first = write("orchid", kind="ghost orchid", rule="pact 4711", file="orchids_of_quell", sites=orchid)
    found = look_over(read_tract(first))
    crs, terrain = found.land.crs, found.terrain
    want = covers_at(orchid, crs, terrain)
    cave = []
    for site, cover in zip(orchid, want, strict=True):  # another place with the same cover, as far off as is found
        turns = [(away, turn) for away in range(40, 4, -4) for turn in np.linspace(0, 2 * np.pi, 12)]
        tried = [(site[0] + away * np.cos(turn), site[1] + away * np.sin(turn)) for away, turn in turns]
        cave.append(next(at for at in tried if shapely.equals_exact(covers_at([at], crs, terrain)[0], cover, 1e-9)))
    assert min(np.hypot(*(np.array(orchid) - np.array(cave)).T)) > 8
    second = write("cave", kind="bat cave", rule="treaty kx815", file="caverns", sites=cave)
    for name in ("land.gpkg", "survey.geojson", "dem.tif"):  # else they differ by the time they were written
        shutil.copyfile(first / name, second / name)
    return {first: orchid, second: cave}


@pytest.fixture(scope="module")
def planned(folders):
    made = [invasimap.plan(home) for home in folders]
    made = [dataclasses.replace(plan, made=dt.datetime(2026, 6, 1, tzinfo=dt.UTC)) for plan in made]
    return [(plan, invasimap.write_plan(plan)) for plan in made]


def contents(folder):
    """Every file by name, as bytes; of workbooks each part."""
    found = {}
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        name = path.relative_to(folder).as_posix()
        found[name] = path.read_bytes()
        if path.suffix == ".xlsx":
            with zipfile.ZipFile(path) as book:
                found |= {f"{name}/{part}": book.read(part) for part in book.namelist()}
    return found


def test_every_file_is_the_same_byte_for_byte_wherever_under_its_cover_and_whatever_the_site_is(planned):
    """The strongest there is: all figures, shapes, names and hashes hang on the cover alone."""
    one, other = (contents(out) for _, out in planned)
    assert one.keys() == other.keys() and len(one) > 20
    assert all(len(plan.treatment.work) and len(plan.treatment.loads) for plan, _ in planned)
    assert any("day_2026" in name for name in one) and any("load" in name for name in one)
    runs = [json.loads(files.pop("run.json")) for files in (one, other)]
    for run in runs:
        del run["seconds"]
    assert runs[0] == runs[1]
    assert [name for name in one if one[name] != other[name]] == []


def test_nothing_written_says_a_word_of_the_site(planned, folders):
    secrets = (
        "orchid", "pact", "quell", "bat cave", "treaty", "kx815", "caverns", "shy lizard", WORDS, "third ledge",
    )  # fmt: skip
    for (plan, out), sites in zip(planned, folders.values(), strict=True):
        true = gpd.GeoSeries(shapely.points(sites), crs=32617)
        places = [(true.to_crs(crs).get_coordinates().to_numpy(), n) for crs, n in ((4326, 5), (plan.crs, 1))]
        beside = [
            rf"{x:.{n}f}\d*[^\d.]{{1,9}}{y:.{n}f}|{y:.{n}f}\d*[^\d.]{{1,9}}{x:.{n}f}" for xy, n in places for x, y in xy
        ]
        for name, data in contents(out).items():
            if not name.endswith((".xlsx", ".png")):
                told = re.sub(r"data:image/png;base64,[^\"']*", "", data.decode("utf-8", "replace")).lower()
                assert [secret for secret in secrets if secret in told] == [], name
                assert [pair for pair in beside if re.search(pair, told)] == [], name
        assert not [secret for secret in ("pact 4711", "treaty kx815", WORDS) if secret.encode() in pickle.dumps(plan)]
        assert plan.features["kind"].tolist() == ["brook"] and not plan.internal


def test_no_treatable_ground_comes_to_the_true_site_and_the_check_prints_nothing_of_it(planned, folders):
    for (plan, _), sites in zip(planned, folders.values(), strict=True):
        zones = plan.treatment_zones
        open_ground = zones[(zones["zone"] == "open") & (zones["access"] != "out_of_reach")].union_all()
        true = gpd.GeoSeries(shapely.points(sites), crs=32617).to_crs(plan.crs)
        assert true.distance(open_ground).min() > 12.192 + 1.8288  # and what slope adds
        (short,) = [check.value for check in plan.checks if check.name == "typed distances cut short, m"]
        assert short < 1e-6
        rows = plan.protection[plan.protection["kind"] == "restricted"]
        assert set(rows["zone"]) == {"no_spray"} and set(rows["rule"]) == {"restricted"}


def test_notes_of_a_confidential_layer_are_for_the_owner_alone(planned, folders, command_here):
    (plan, _), home = planned[0], next(iter(folders))
    assert any("invasimap check" in note for note in plan.notes)
    told = command_here("check", home)
    assert told.returncode == 0 and "shy lizard" in told.stderr


def test_a_new_survey_leaves_the_covers_where_they_are(folders, tmp_path):
    home = next(iter(folders))
    before = look_over(read_tract(home)).land.covers
    survey = gpd.read_file(home / "survey.geojson")
    for path in home.glob("*.*"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    survey[:9].to_file(tmp_path / "survey.geojson", driver="GeoJSON")
    after = look_over(read_tract(tmp_path)).land.covers
    assert shapely.equals_exact(before.geometry.to_numpy(), after.geometry.to_numpy()).all() and len(after) == 2


@pytest.fixture(scope="module")
def internal(folders):
    home = next(iter(folders))
    plan = invasimap.plan(read_tract(home).with_draws(0), internal=True)
    return plan, invasimap.write_plan(plan)


def test_an_internal_plan_holds_the_sites_and_bears_its_stamp_everywhere(internal, folders):
    plan, out = internal
    assert out.name == "out_internal" and plan.internal
    sites = gpd.GeoSeries(shapely.points(next(iter(folders.values()))), crs=32617).to_crs(plan.crs)
    true = plan.features[plan.features["kind"] == "ghost orchid"]
    assert true.distance(sites, align=False).max() < 1e-3
    assert set(plan.protection["kind"]) == {"brook", "ghost orchid"}
    files = [path for path in out.rglob("*") if path.is_file()]
    assert {path.name.startswith("INTERNAL_") for path in files if path.name != "run.json"} == {True}
    for name in ("INTERNAL_report.html", "INTERNAL_map.html", "run.json"):
        text = (out / name).read_text(encoding="utf-8")
        assert STAMP in text and WORDS not in text
    book = openpyxl.load_workbook(out / "INTERNAL_tables.xlsx")
    assert any(STAMP in str(cell.value) for row in book.worksheets[0]["A1:B9"] for cell in row)
    for name, _ in pyogrio.list_layers(out / "INTERNAL_plan.gpkg"):
        assert STAMP in pyogrio.read_info(out / "INTERNAL_plan.gpkg", layer=name)["layer_metadata"]["cautions"]


def test_no_internal_plan_goes_into_a_folder_that_is_passed_on(internal, planned, tmp_path):
    (plan, _), (_, common) = internal, planned[1]
    for place in (plan.settings.folder / "out", common, common / "maps" / "mine"):
        with pytest.raises(InputError, match="no internal plan goes there"):
            invasimap.write_plan(plan, place)
    assert not list(common.rglob("INTERNAL*"))
    again = invasimap.write_plan(plan, tmp_path / "mine")
    assert invasimap.write_plan(plan, again) == again  # over its own earlier result
