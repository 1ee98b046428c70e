"""A real tract kept beside the project: counts by independent readers (csv, json, sqlite3)."""

from __future__ import annotations

import csv
import json
import sqlite3
from collections import Counter
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from invasimap.core.crs import centre_lonlat, working_crs
from invasimap.core.survey_settings import Layer, SurveySection
from invasimap.inputs.layers import read_layer
from invasimap.inputs.species import load_catalogue
from invasimap.inputs.survey import read_survey

TRACT = Path(__file__).resolve().parents[3] / "shared" / "real" / "tract"
pytestmark = [pytest.mark.real, pytest.mark.usefixtures("real")]
FILES = ["survey_2018_woody_points.csv", "survey_2014_cells.gpkg", "survey_2018_herb_cells.geojson"]


@pytest.fixture(scope="module")
def survey():
    stands = read_layer(Layer(file="units.gpkg"), folder=TRACT, name="stands")
    crs = working_crs(*centre_lonlat(stands))
    block = SurveySection.model_validate({"files": FILES})
    return read_survey(
        [block],
        folder=TRACT,
        crs=crs,
        near=stands.to_crs(crs).union_all(),
        timezone=ZoneInfo("America/New_York"),
        species=load_catalogue(),
    )


def _codes():
    with (TRACT / FILES[0]).open(newline="", encoding="utf-8") as stream:
        woody = [row["Code"] for row in csv.DictReader(stream)]
    with sqlite3.connect(f"file:{TRACT / FILES[1]}?immutable=1", uri=True) as database:
        cells = [code for (code,) in database.execute("select Code from cells order by fid")]
    features = json.loads((TRACT / FILES[2]).read_text(encoding="utf-8"))["features"]
    return woody, cells, [feature["properties"]["Code"] for feature in features]


def test_every_record_is_counted(survey):
    assert survey.ledger["file"].tolist() == FILES
    assert survey.ledger["records"].tolist() == [len(codes) for codes in _codes()]
    assert (survey.ledger[["accepted", "repaired", "set_aside"]].sum(axis=1) == survey.ledger["records"]).all()


def test_species_counts_follow_the_codes(survey):
    codes = Counter(code for part in _codes() for code in part)
    species = Counter(survey.patches["species"])
    assert species["Lonicera maackii"] == codes["LOMA"]
    assert species["Persicaria perfoliata"] == codes["POPE"]
    assert species["Glechoma hederacea"] == codes["GLHE"]
    assert len(species) == len(codes)


def test_cells_of_20_m_have_their_ground_and_class_codes_are_no_percent(survey):
    points = survey.patches[survey.patches["file"] == FILES[0]]
    assert points.area.to_numpy() == pytest.approx(np.full(len(points), np.pi * 100), rel=1e-9)
    cells = survey.patches[survey.patches["file"] == FILES[1]]
    assert cells.area.to_numpy() == pytest.approx(np.full(len(cells), 400.0), rel=2e-3)  # UTM scale within 0.1 %
    assert (survey.patches["cover_pct"] == 100).all()
    assert survey.repaired["how"].str.contains("cover not recorded|its limits are not known").all()


def test_land_layers():
    def read(**keys):
        return read_layer(Layer.model_validate(keys), folder=TRACT, name="x")

    with (TRACT / "rare_shrub.csv").open(newline="", encoding="utf-8") as stream:
        assert len(read(file="rare_shrub.csv", crs="EPSG:26917")) == sum(1 for _ in csv.DictReader(stream))
    assert len(read(file="units.gpkg")) == 10
    assert len(read(file="water.gpkg", layer="streams_in_plot")) == 3
    roads = read(file="roads.shp")
    gravel = read(file="roads.shp", where={"ROAD_TYPE": "Gravel"})
    dirt = read(file="roads.shp", where={"ROAD_TYPE": "Dirt"})
    assert len(gravel) + len(dirt) == len(roads) > 0
