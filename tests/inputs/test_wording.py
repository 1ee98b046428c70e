"""Reasons and notes as a person gets them: what to do, and lengths in the tract's units."""

from __future__ import annotations

import json

import pytest
import shapely

from invasimap.core.toml_file import read_tract
from invasimap.inputs.what_to_do import with_what_to_do
from invasimap.inputs.wording import in_feet, in_units
from invasimap.reading import look_over

HEAD = "species,cover,radius_ft,lon,lat\n"


@pytest.mark.parametrize(
    ("said", "wanted"),
    [  # a mile is 1.609344 km, a foot 0.3048 m
        ("has cells of 10.0 m, larger than the cells of 3.0 m", "has cells of 33 ft, larger than the cells of 10 ft"),
        ("lie over 30 m from any way (the nearest at 150 m)", "lie over 98 ft from any way (the nearest at 492 ft)"),
        ("lies 10.6 km from the stands", "lies 6.6 mi from the stands"),
        ("nothing of it lies within 10 km of the stands (the nearest is 1,609 km away)",
         "nothing of it lies within 6.2 mi of the stands (the nearest is 999.8 mi away)"),
        ("walk closed over a gap of 3.2 m", "walk closed over a gap of 10 ft"),
        ("true to 30.48 m only", "true to 100 ft only"),
        # what a file says keeps its unit
        ("radius '3 km' is not read", None), ("height > 2 m counted as 2 m", None),
        ("area '12 m (3 m)' is not read", None),
    ],
)  # fmt: skip
def test_lengths_of_ours_in_miles_and_feet(said, wanted):
    assert in_feet(said) == (wanted or said)


def test_a_survey_without_faults_keeps_its_columns(write, read):
    write("a.csv", HEAD + "ROMU,50,10,-80,38\n")
    survey = read("a.csv")
    shown = in_units(survey, "us")
    assert len(shown.set_aside) == len(shown.repaired) == 0 and shown.set_aside["reason"].dtype == object
    assert in_units(survey, "metric") is survey


@pytest.mark.parametrize(("units", "away"), [("us", "6.9 mi"), ("metric", "11.1 km")])
def test_a_tract_reads_in_its_units(units, away, write, tmp_path):
    """0.1 degree of latitude at 38 degrees north is 11.1 km, 6.9 miles."""
    write("a.csv", HEAD + "ROMU,50,10,-80,38\nROMU,50,10,-80,38.1005\n")
    ring = shapely.geometry.mapping(shapely.box(-80.001, 37.9995, -79.999, 38.0005))
    stand = {"type": "Feature", "properties": {"stand": "1"}, "geometry": ring}
    write("s.geojson", json.dumps({"type": "FeatureCollection", "features": [stand]}))
    text = f'[tract]\nname = "A"\nunits = "{units}"\n[[survey]]\nfiles = ["a.csv"]\n[stands]\nfile = "s.geojson"\n'
    write("tract.toml", text)
    found = look_over(read_tract(tmp_path))
    assert found.set_aside["reason"].tolist() == [f"lies {away} from the stands: check its position"]


def test_every_part_of_a_reason_says_what_to_do():
    assert with_what_to_do("species is blank; radius 0 ft is not above zero") == (
        "species is blank: type it; radius 0 ft is not above zero: type its size, or leave it blank"
    )
    told = 'no width: a line needs one, or defaults = { width = "…" }'
    assert with_what_to_do(told) == told  # it says so itself
