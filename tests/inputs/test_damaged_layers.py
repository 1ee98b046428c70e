"""Sequences, FlatGeobuf, geodatabases and GeoParquet that are damaged, empty or of another kind."""

from __future__ import annotations

import contextlib
import json
import re
import sqlite3
import sys
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely

from invasimap.core.crs import working_crs
from invasimap.core.survey_settings import IntakeSection, SurveySection
from invasimap.inputs.formats.raw import RawLayer
from invasimap.inputs.formats.vector import padded, read_flatgeobuf
from invasimap.inputs.species import load_catalogue
from invasimap.inputs.survey import read_survey

WORDS = {"species": "ROMU", "cover": 50, "radius_ft": 10}
POINT = {"type": "Point", "coordinates": [-80, 38]}
GOOD = json.dumps({"type": "Feature", "properties": WORDS, "geometry": POINT})
OTHER = json.dumps({"type": "Feature", "properties": WORDS, "geometry": POINT | {"coordinates": [-80.001, 38]}})
THIRD = json.dumps({"type": "Feature", "properties": WORDS, "geometry": POINT | {"coordinates": [-80.002, 38]}})


def _frame(count=3, **columns):
    points = shapely.points(np.column_stack([-80 + np.arange(count) * 1e-5, np.full(count, 38.0)]))
    table = {name: [value] * count for name, value in WORDS.items()} | columns
    return gpd.GeoDataFrame(table, geometry=points, crs=4326)


def test_a_broken_text_of_a_sequence_costs_one_record(write, read):
    write("a.geojsonl", f"{GOOD}\n{GOOD[:50]}\n\n{OTHER}\n{GOOD[:-3]}\n[1]\n")
    survey = read("a.geojsonl")
    assert survey.ledger.iloc[0].tolist() == ["a.geojsonl", 5, 2, 0, 3]
    assert survey.set_aside["record"].tolist() == [2, 4, 5]
    said = [reason[:17] for reason in survey.set_aside["reason"]]
    assert said == ["is not whole JSON", "is not whole JSON", "is no GeoJSON fea"]
    assert json.loads(survey.set_aside["raw"].iloc[0])["text"] == GOOD[:50]


def test_a_sequence_without_any_feature_is_refused(write, refused):
    write("a.jsonl", '{"a": 1}\n{"a": 2}\n')
    assert re.search("is not whole JSON", refused("a.jsonl"))


def test_separated_texts_may_span_lines_and_hold_collections(write, read):
    pretty = json.dumps(json.loads(GOOD), indent=2)
    pair = json.dumps({"type": "FeatureCollection", "features": [json.loads(OTHER), json.loads(THIRD)]})
    write("a.geojsons", f"\x1e{pretty}\n\x1e{pair}\n\x1e{GOOD[:40]}\n")
    assert read("a.geojsons").ledger.iloc[0].tolist() == ["a.geojsons", 4, 3, 0, 1]


def test_one_feature_printed_over_lines_is_read_in_a_sequence_file(write, read):
    write("a.ndjson", json.dumps(json.loads(GOOD), indent=2))
    assert read("a.ndjson").ledger["accepted"].tolist() == [1]


def test_a_collection_cut_short_is_no_sequence(write, refused):
    write("a.geojson", json.dumps({"type": "FeatureCollection", "features": [json.loads(GOOD)]}, indent=1)[:-20])
    assert re.search("is not whole JSON", refused("a.geojson"))


def test_a_line_separator_inside_a_text_does_not_end_it(write, read):
    write("a.geojsonl", f'{OTHER}\n{GOOD[:-1]}, "note": "a\u2028b"}}\n')
    assert read("a.geojsonl").ledger["accepted"].tolist() == [2]


def test_flatgeobuf_gives_as_many_records_as_its_header_counts(tmp_path, read):
    frame = _frame(200, id=np.random.default_rng(1).permutation(200))
    frame.loc[5, "geometry"] = None
    frame.to_file(tmp_path / "a.fgb", SPATIAL_INDEX="NO")
    survey = read("a.fgb")
    assert survey.ledger.iloc[0].tolist() == ["a.fgb", pyogrio.read_info(tmp_path / "a.fgb")["features"], 199, 0, 1]
    assert survey.set_aside["record"].tolist() == [frame["id"][5] + 1]  # ids from 0, records from 1
    raw = read_flatgeobuf(tmp_path / "a.fgb", label="a")[0]
    assert raw.frame["id"].tolist() == list(range(200))
    assert shapely.get_x(raw.geometry[frame["id"][7]]) == pytest.approx(-80 + 7e-5, abs=1e-9)


def test_numbers_that_repeat_do_not_change_the_order(tmp_path):
    _frame(3, id=[2, 1, 1]).to_file(tmp_path / "a.fgb", SPATIAL_INDEX="NO")
    assert read_flatgeobuf(tmp_path / "a.fgb", label="a")[0].frame["id"].tolist() == [2, 1, 1]


def test_a_flatgeobuf_cut_short_is_said(tmp_path, read):
    _frame(50).to_file(tmp_path / "a.fgb", SPATIAL_INDEX="NO")
    whole = (tmp_path / "a.fgb").read_bytes()
    (tmp_path / "a.fgb").write_bytes(whole[: len(whole) // 2])
    survey = read("a.fgb")
    whole_file_aside = survey.set_aside["record"].tolist() == [0]
    if whole_file_aside:
        assert "cannot be read" in survey.set_aside["reason"][0]
    else:
        assert survey.ledger["records"].tolist() == [50]


def test_records_that_the_file_counts_but_does_not_give_are_set_aside(tmp_path):
    _frame(2).to_file(tmp_path / "a.fgb", SPATIAL_INDEX="NO")
    raw: RawLayer = padded(read_flatgeobuf(tmp_path / "a.fgb", label="a")[0], 4)
    assert len(raw.frame) == len(raw.geometry) == len(raw.marks) == 4
    assert [why[:14] for why in raw.marks["problem"]] == ["", "", "cannot be read", "cannot be read"]


@pytest.mark.parametrize("name", ["a.fgb", "a.parquet", "a.geoparquet"])
@pytest.mark.parametrize("content", [b"", b"<OGRVRTDataSource/>", b"species,lon,lat\n"])
def test_another_format_under_the_name_is_refused(write, refused, name, content):
    write(name, content)
    assert re.search("first bytes are another format's", refused(name))


def test_a_folder_that_is_no_geodatabase_is_refused(tmp_path, refused):
    (tmp_path / "a.gdb").mkdir()
    assert re.search("no whole file geodatabase", refused("a.gdb"))


def test_geoparquet_without_its_reader_says_what_to_install(tmp_path, refused, monkeypatch):
    _frame().to_parquet(tmp_path / "a.parquet")
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    assert re.search(r"pip install 'invasimap\[cluster\]'", refused("a.parquet"))


def test_geoparquet_without_a_system_is_set_aside_unless_set(tmp_path, read):
    _frame().set_crs(None, allow_override=True).to_parquet(tmp_path / "a.parquet")
    assert read("a.parquet").ledger["set_aside"].tolist() == [3]
    assert read("a.parquet", crs="EPSG:4326").ledger["accepted"].tolist() == [3]


def test_geoparquet_with_bytes_that_are_no_text_loses_no_record(tmp_path, read):
    frame = _frame().assign(remarks="sassafras")
    frame.to_parquet(tmp_path / "a.parquet", compression=None)
    data = (tmp_path / "a.parquet").read_bytes()
    assert b"sassafras" in data
    (tmp_path / "a.parquet").write_bytes(data.replace(b"sassafras", b"sass\xfffras"))
    survey = read("a.parquet")
    assert survey.ledger["accepted"].tolist() == [3]
    assert any("remarks has signs that are not UTF-8" in note for note in survey.notes)


def test_plain_parquet_is_refused(tmp_path, refused):
    _frame().drop(columns="geometry").to_parquet(tmp_path / "a.parquet")
    assert re.search("cannot be read", refused("a.parquet"))


def test_a_system_that_leaves_a_file_far_away_explains_nothing(tmp_path):
    far_off = gpd.GeoDataFrame({"species": ["ROMU"]}, geometry=[shapely.Point(-100, 45)])  # 1,900 km from the stands
    with pytest.warns(UserWarning, match="crs"):
        far_off.to_file(tmp_path / "a.shp")
    survey = read_survey(
        [SurveySection.model_validate({"files": ["a.shp"]})],
        folder=tmp_path,
        crs=working_crs(-80, 38),
        near=shapely.box(-500, -500, 500, 500),
        timezone=ZoneInfo("UTC"),
        species=load_catalogue(),
        intake=IntakeSection.model_validate({"far": "3000 km"}),
    )
    assert [note for note in survey.notes if "no CRS" in note] == [
        "a.shp: no CRS: all 1 records are set aside; set crs in its [[survey]] block"
    ]


def test_two_columns_of_one_name_are_one_and_said(tmp_path, read):
    _frame(2, covfr=[30, 40]).to_file(tmp_path / "a.shp")
    whole = (tmp_path / "a.dbf").read_bytes()
    (tmp_path / "a.dbf").write_bytes(whole.replace(b"covfr\0", b"cover\0", 1))
    survey = read("a.shp")
    assert survey.patches["cover_pct"].tolist() == [30, 40]
    assert any("several columns of one name" in note and "cover" in note for note in survey.notes)


def test_a_column_named_as_the_geometry_keeps_the_places(tmp_path, read):
    frame = _frame(2)
    frame.to_file(tmp_path / "a.gpkg")
    with sqlite3.connect(tmp_path / "a.gpkg") as db:
        db.execute("alter table a add column geometry text default 'here'")
    db.close()
    assert read("a.gpkg").ledger["accepted"].tolist() == [2]


def test_a_geopackage_of_an_unknown_kind_shows_no_folder_of_ours(tmp_path, read):
    gpd.GeoDataFrame({"species": ["ROMU"]}, geometry=[shapely.Point(-80, 38)], crs=4326).to_file(tmp_path / "a.gpkg")
    with contextlib.closing(sqlite3.connect(tmp_path / "a.gpkg")) as database:
        database.execute("UPDATE gpkg_contents SET data_type = '0'")
        database.commit()
    survey = read("a.gpkg")
    said = [*survey.set_aside["reason"], *survey.notes]
    assert survey.ledger["records"].item() >= 1 and not any("/" in text.replace("a.gpkg:", "") for text in said)
