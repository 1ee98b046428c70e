"""No record is lost: in = accepted + repaired + set aside, whatever is in the file."""

from __future__ import annotations

import csv
import io
import json
import tempfile
from pathlib import Path
from zoneinfo import ZoneInfo

import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from invasimap.core.crs import working_crs
from invasimap.core.survey_settings import SurveySection
from invasimap.inputs.species import load_catalogue
from invasimap.inputs.survey import read_survey

CELL = st.one_of(
    st.sampled_from(
        ["", "ROMU", "honeysuckle", "38", "-80", "10 ft", "50 %", "0", "120", "abc", "2024-02-30", "20 x 30 ft"]
    ),
    st.text(st.characters(exclude_categories=("Cs", "Cc")), max_size=8),
)
ROW = st.tuples(
    st.one_of(st.just("LOMA6"), CELL),
    st.one_of(st.just("40"), CELL),
    st.one_of(st.just("12"), CELL),
    st.one_of(st.just("2024-05-05"), CELL),
    st.one_of(st.just("-80.0001"), CELL),
    st.one_of(st.just("38.0001"), CELL),
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(ROW, max_size=8))
def test_ledger_adds_up_for_random_tables(rows):
    stream = io.StringIO()
    csv.writer(stream).writerows([("species", "cover", "radius_ft", "date", "lon", "lat"), *rows])
    with tempfile.TemporaryDirectory() as name:
        (Path(name) / "a.csv").write_text(stream.getvalue(), encoding="utf-8", newline="")
        survey = read_survey(
            [SurveySection.model_validate({"files": ["a.csv"]})],
            folder=Path(name),
            crs=working_crs(-80, 38),
            near=shapely.box(-500, -500, 500, 500),
            timezone=ZoneInfo("UTC"),
            species=load_catalogue(),
        )
    line = survey.ledger.iloc[0]
    assert line["records"] == len(rows)
    assert line["accepted"] + line["repaired"] + line["set_aside"] == len(rows)
    assert len(survey.patches) == line["accepted"] + line["repaired"]
    assert len(survey.set_aside) == line["set_aside"]
    assert len(survey.repaired) == line["repaired"]
    assert sorted([*survey.patches["record"], *survey.set_aside["record"]]) == list(range(1, len(rows) + 1))
    assert (survey.set_aside["reason"] != "").all()
    for record, raw in zip(survey.set_aside["record"], survey.set_aside["raw"], strict=True):
        assert json.loads(raw)["species"] == rows[record - 1][0].strip()
    assert survey.patches.geom_type.isin(["Polygon", "MultiPolygon"]).all()
    assert survey.patches.is_valid.all()
    assert (survey.patches["cover_pct"].between(0, 100, inclusive="right")).all()


def test_header_alone_gives_an_empty_ledger_row_and_a_note(write, read):
    write("a.csv", "species,cover,radius_ft,lon,lat\n")
    survey = read("a.csv")
    assert survey.ledger.iloc[0].tolist() == ["a.csv", 0, 0, 0, 0]
    assert survey.notes == ["a.csv: holds no record"]
