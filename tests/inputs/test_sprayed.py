"""The log of what was sprayed before: read from every format, and refused with every fault where it cannot count."""

import datetime as dt
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from invasimap.core.crs import working_crs
from invasimap.core.errors import InputError
from invasimap.core.survey_settings import Layer
from invasimap.inputs.sprayed import SPRAYED_COLUMNS, read_sprayed

UTM, X, Y = "EPSG:32617", 588_000.0, 4_206_000.0  # 80 W, 38 N
LB_PER_ACRE = 0.45359237 / 0.40468564224  # kg/ha, of the exact pound and acre
USUAL = {"date": "2026-05-04", "product": "Example Product A", "ingredient_name": "example acid"}


@pytest.fixture
def read(tmp_path):
    """Writes a log of squares of a hectare, one a row, and reads it."""

    def run(*rows, shapes=None, file="log.gpkg", timezone=None, **said):
        boxes = [shapely.box(X + 200 * n, Y, X + 200 * n + 100, Y + 100) for n in range(len(rows))]
        table = gpd.GeoDataFrame(pd.DataFrame(rows), geometry=shapes or boxes, crs=UTM)
        if file.endswith("shp"):
            table = table.rename(columns={name: name[:10] for name in table.columns})  # as the format cuts them
        (table.to_crs(4326) if file.endswith("json") else table).to_file(tmp_path / file)
        section = Layer.model_validate({"file": file, **said})
        return read_sprayed(section, folder=tmp_path, crs=working_crs(-80, 38), timezone=timezone)

    return run


@pytest.fixture
def refused(read):
    def run(*rows, **options):
        with pytest.raises(InputError) as caught:
            read(*rows, **options)
        return "\n".join(map(str, caught.value.faults))

    return run


@pytest.mark.parametrize("file", ["log.gpkg", "log.shp", "log.geojson"])
@pytest.mark.parametrize(
    ("dose", "kg_per_ha"),
    [({"dose_lb_per_acre": 2.0}, 2 * LB_PER_ACRE), ({"dose_kg_per_ha": 1.5}, 1.5), ({"dose_kg_per_ha": 0}, 0.0),
     ({"dose": "2.1 lb/acre"}, 2.1 * LB_PER_ACRE), ({"dose": "900 g/ha"}, 0.9)],
)  # fmt: skip
def test_the_dose_is_read_in_its_unit_from_every_format(file, dose, kg_per_ha, read):
    log, notes = read(USUAL | dose, file=file)
    row = log.iloc[0]
    assert tuple(log.columns) == (*SPRAYED_COLUMNS, "geometry")
    assert (row["date"], row["product"], row["ingredient_name"]) == (dt.date(2026, 5, 4), *list(USUAL.values())[1:])
    assert row["kg_per_ha"] == pytest.approx(kg_per_ha) and notes == []
    assert log.crs == working_crs(-80, 38) and log.area.item() == pytest.approx(1e4, rel=2e-3)
    assert shapely.distance(log.geometry[0], shapely.Point(0, 0)) < 1_000


def test_a_dose_that_is_missing_is_not_zero_and_is_said(read):
    log, notes = read(USUAL | {"dose": "1 kg/ha"}, USUAL | {"dose": None}, {**USUAL, "ingredient_name": None})
    assert np.isnan(log["kg_per_ha"]).tolist() == [False, True, True]
    assert log["ingredient_name"].tolist() == ["example acid", "example acid", ""]
    assert len(notes) == 2
    assert notes[0].startswith("[log]: log.gpkg: 2 of 3 applications have no dose: ")
    assert notes[1].startswith("[log]: log.gpkg: 1 of 3 applications have no ingredient_name: ")


def test_each_application_may_state_its_dose_in_a_column_of_its_own(read):
    log, _ = read(USUAL | {"dose_kg_per_ha": 2.0}, USUAL | {"dose_lb_per_acre": 1.0})
    assert log["kg_per_ha"].tolist() == pytest.approx([2.0, LB_PER_ACRE])


def test_a_time_with_an_offset_is_its_day_on_the_tract(read):
    late = USUAL | {"DATE": "2026-05-05T01:30:00Z"}
    del late["date"]
    log, _ = read(late, timezone=ZoneInfo("America/New_York"))
    assert log["date"].tolist() == [dt.date(2026, 5, 4)]


@pytest.mark.parametrize(
    ("rows", "what", "mend"),
    [
        ([{"product": "A"}], "no column 'date'", "its columns are: product"),
        ([{"date": "2026-05-04"}], "no column 'product'", "its columns are: date"),
        ([USUAL, USUAL | {"date": None}], "no date: feature 2", "enter the day"),
        ([USUAL | {"date": "soon"}], "date 'soon' not read: feature 1", "write year, month and day"),
        ([USUAL | {"date": "2026-05"}], "date '2026-05' is no day: feature 1", "write year, month and day"),
        ([USUAL | {"date": "2126-05-04"}], "is in the future: feature 1", "write year, month and day"),
        ([USUAL | {"date": "3/4/2026"}], "may be March 4 or 3 April: feature 1", "write year, month and day"),
        ([USUAL, USUAL, USUAL | {"product": " "}], "no product: feature 3", "name what was sprayed"),
        ([USUAL | {"dose_kg_per_ha": -1.0}], "dose_kg_per_ha '-1' is below zero: feature 1", "correct it"),
        ([USUAL | {"dose": "-1 lb/acre"}], "'-1 lb/acre' is below zero: feature 1", "correct it"),
        ([USUAL | {"dose": "2.1"}], "dose '2.1' has no unit: feature 1", '"2.9 lb/acre"'),
        ([USUAL | {"dose": "2 gal/acre"}], "feature 1", "lb/acre"),
        ([USUAL | {"dose_lb_per_acre": "2 lb"}], "dose_lb_per_acre '2 lb' is no number: feature 1", 'column "dose"'),
        ([USUAL | {"dose_kg_per_ha": "inf"}], "'inf' is no number: feature 1", "leave it blank"),
        ([USUAL | {"dose": "1 kg/ha", "dose_kg_per_ha": 1.0}], "in more than one column: feature 1", "leave one of"),
    ],
)  # fmt: skip
def test_what_cannot_count_is_refused_with_its_feature_and_how_to_mend_it(rows, what, mend, refused):
    text = refused(*rows)
    assert text.startswith("[log]: log.gpkg: ") and what in text and mend in text


@pytest.mark.parametrize("shape", [shapely.Point(X, Y), shapely.LineString([(X, Y), (X + 9, Y)])])
def test_only_ground_was_sprayed(shape, refused):
    text = refused(USUAL, USUAL, shapes=[shapely.box(X, Y, X + 9, Y + 9), shape])
    assert "not a polygon: feature 2" in text and "a track needs its width" in text


def test_every_fault_is_told_at_once_and_alike_ones_together(refused):
    text = refused(*[USUAL | {"product": ""}] * 10, USUAL | {"date": "", "dose": "much"})
    assert "no product: features 1, 2, 3, 4, 5, 6, 7, 8 and 2 more" in text
    assert "no date: feature 11" in text and "'much'" in text


def test_an_application_without_a_shape_stops_the_plan(refused):
    text = refused(USUAL, USUAL, shapes=[shapely.box(X, Y, X + 9, Y + 9), None])
    assert "without usable geometry" in text and "would not be counted" in text


def test_only_the_applications_that_where_takes_count(read):
    log, _ = read(USUAL | {"crew": "a"}, USUAL | {"crew": "b", "product": "B"}, where={"crew": "b"})
    assert log["product"].tolist() == ["B"]
