"""Positions in cells against places worked out by hand or published."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import shapely

from invasimap.inputs.formats.positions import parse_degrees, parse_mgrs, parse_texts, parse_utm, parse_wkt

# the CN Tower: 43 deg 38' 33.24" N, 79 deg 23' 13.7" W is 17T 630084 4833438, a common worked example of UTM;
# its square: easting 6 in zone 17 (J to R) is P, northing 833438 above 4,000,000 in an odd zone is row J
TOWER = (-(79 + 23 / 60 + 13.7 / 3600), 43 + 38 / 60 + 33.24 / 3600)
METRE = 1 / 80_000  # a degree of longitude is 80 km at 44 N


def _cells(*values):
    return pd.Series(values, dtype=object)


@pytest.mark.parametrize(
    "text",
    [
        "38 15.924 N", "N38 15.924", "N 38° 15.924'", "38°15'55.44\"N", "38°15′55.44″ N", "38 15 55.44",  # noqa: RUF001
        "38:15:55.44 n", "+38 15 55.44", "38º15’55.44”N", "38 deg 15.924 min N".replace(" min", ""),  # noqa: RUF001
        "38°15,924'N", "38.2654 N", "38.2654°", "  38.2654  ", "38\u00a015.924\u00a0N", "38° 15' 55.44'' N",
    ],
)  # fmt: skip
def test_degrees_and_minutes_are_read_in_every_usual_form(text):
    values, why = parse_degrees(_cells(text), axis="lat")
    assert why.tolist() == [""]
    assert values[0] == pytest.approx(38.2654, abs=1e-12)


def test_west_is_negative_however_it_is_said():
    values, why = parse_degrees(_cells("78 30 W", "-78 30", "W78.5", "-78.5 W", "-78.5", "78 30 E"), axis="lon")
    assert why.tolist() == [""] * 6
    assert values.tolist() == [-78.5] * 5 + [78.5]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("38 60.0 N", "60 or more"), ("38 15 60", "60 or more"), ("38°75'N", "60 or more"),
        ("38 15.9 E", "letter of the other axis"), ("N38 15.9 N", "two hemisphere letters"), ("-38 N", "minus sign"),
        ("38.5 15.9 N", "only the last part"), ("38 15 20 10", "no number"), ("", "is blank"), ("3B", "no number"),
        ("38 1O.5 N", "letter O for zero"), ("nan", "no number"), ("inf", "no number"),
    ],
)  # fmt: skip
def test_a_bad_cell_says_why(text, said):
    values, why = parse_degrees(_cells(text), axis="lat")
    assert np.isnan(values[0])
    assert said in why[0]


def test_a_blank_cell_between_good_ones_costs_only_itself():
    values, _ = parse_degrees(_cells("38", "", "38 30"), axis="lat")
    assert values.tolist() == pytest.approx([38.0, np.nan, 38.5], nan_ok=True)


@pytest.mark.parametrize("zone", ["17T", "17", "17N", "17 north", "UTM 17T", "Zone 17 T"])
def test_utm_of_a_published_place(zone):
    found = parse_utm(_cells("630084"), _cells("4833438 mN"), _cells(zone))
    assert found.problem.tolist() == [""]
    assert (found.lon[0], found.lat[0]) == pytest.approx(TOWER, abs=METRE)


def test_s_is_the_band_of_virginia_or_the_southern_half_by_the_northing():
    # the central meridian of zone 17 is 81 W; 38 N is 4,206 km from the equator, 25 S is 10,000 - 2,766 km
    found = parse_utm(_cells("500000", "500000"), _cells("4205815", "7234186"), _cells("17S", "17S"))
    assert found.lon.tolist() == pytest.approx([-81, -81])
    assert found.lat.tolist() == pytest.approx([38, -25], abs=0.02)


def test_a_place_on_the_edge_of_two_zones_is_one_in_both():
    # 78 W is 3 degrees east of 81 W and 3 west of 75 W: eastings mirror each other about 500,000
    found = parse_utm(_cells("763000", "237000"), _cells("4210000", "4210000"), _cells("17", "18"))
    assert found.lat[0] == pytest.approx(found.lat[1], abs=1e-9)
    assert found.lon[0] + 81 == pytest.approx(-(found.lon[1] + 75), abs=1e-9)
    assert found.lon[0] == pytest.approx(-78, abs=0.01)


@pytest.mark.parametrize(
    ("row", "said"),
    [
        (("630084", "4833438", ""), "zone is blank"), (("630084", "4833438", "61T"), "'61T' is none"),
        (("630084", "4833438", "17I"), "'17I' is none"), (("630084", "4833438", "17Q"), "does not fit"),
        (("4833438", "630084", "17T"), "easting '4833438'"), (("630084", "x", "17T"), "northing 'x'"),
        (("630084", "-5", "17T"), "northing '-5'"),
    ],
)  # fmt: skip
def test_a_wrong_utm_says_why(row, said):
    found = parse_utm(*(_cells(cell) for cell in row))
    assert said in found.problem[0]
    assert np.isnan(found.lon[0])


@pytest.mark.parametrize(
    ("text", "metres"), [("17TPJ3008433438", 1), ("17T PJ 30084 33438", 1), ("17tpj30083343", 10), ("17TPJ3033", 800)]
)
def test_mgrs_of_the_same_place(text, metres):
    found = parse_mgrs(_cells(text))
    assert found.problem.tolist() == [""]
    assert (found.lon[0], found.lat[0]) == pytest.approx(TOWER, abs=metres * METRE)


def test_a_coarse_mgrs_counts_by_the_middle_of_its_square_and_says_so():
    corner, middle = parse_mgrs(_cells("17TPJ3050033500")), parse_mgrs(_cells("17TPJ3033"))
    assert (middle.lon[0], middle.lat[0]) == pytest.approx((corner.lon[0], corner.lat[0]), abs=1e-9)
    assert corner.repair.tolist() == [""]
    assert "1,000 m" in middle.repair[0]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("18SUJ", "too coarse"), ("18SUJ23", "too coarse"), ("18SUJ234", "3 digits"), ("18SUJ23480647012", "11 digits"),
        ("18IUJ2348064701", "no square"), ("61SUJ2348064701", "no square"), ("18SIJ2348064701", "no square"),
        ("17RNC8779806286", "no square"), ("hello", "is none"), ("", "is blank"),
    ],
)  # fmt: skip
def test_a_wrong_mgrs_says_why(text, said):
    assert said in parse_mgrs(_cells(text)).problem[0]


def test_one_column_may_mix_every_kind_of_text():
    found = parse_texts(
        _cells(
            "17T 630084 4833438", "17TPJ3008433438", "43°38'33.24\"N 79°23'13.7\"W", "79°23'13.7\"W, 43°38'33.24\"N",
            "N43 38 33.24 W79 23 13.7", f"{TOWER[1]}, {TOWER[0]}", f"{TOWER[1]} {TOWER[0]}", "by the gate", "",
        )
    )  # fmt: skip
    assert found.lon[:7].tolist() == pytest.approx([TOWER[0]] * 7, abs=METRE)
    assert found.lat[:7].tolist() == pytest.approx([TOWER[1]] * 7, abs=METRE)
    assert found.problem.tolist() == [""] * 7 + ["position 'by the gate' is not read", "position is blank"]


@pytest.mark.parametrize("text", ["38" + " " * 300_000 + "x", "1" * 300_000 + "x", "1 " * 100_000, "N" * 300_000])
def test_an_endless_cell_is_no_position_and_takes_no_time(text):
    cells = _cells(text)
    assert parse_degrees(cells, axis="lat")[1][0] != ""
    assert all(found.problem[0] for found in (parse_texts(cells), parse_mgrs(cells), parse_utm(cells, cells, cells)))


def test_wkt_keeps_lines_and_polygons_and_drops_heights():
    shapes, why = parse_wkt(_cells("LINESTRING Z (0 0 5, 1 1 5)", "SRID=4326;polygon((0 0,1 0,1 1,0 0))"))
    assert why.tolist() == ["", ""]
    assert [shape.geom_type for shape in shapes] == ["LineString", "Polygon"]
    assert not shapely.has_z(shapes).any()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("POLYGON((0 0,1 0,1 1))", "is not read"), ("POINT(0", "is not read"), ("POINT EMPTY", "no geometry"),
        ("here", "is none"), ("", "is blank"), ("POINT(nan 1)", "no number"), ("SRID=26917;POINT(0 0)", "EPSG:26917"),
    ],
)  # fmt: skip
def test_a_wrong_wkt_says_why(text, said):
    shapes, why = parse_wkt(_cells(text))
    assert shapes.tolist() == [None]
    assert said in why[0]


HEAD = "species;cover;radius_ft;"


def test_bad_positions_are_set_aside_with_their_reason_and_counted(write, read):
    rows = ["38 0.06 N;80 0 W", "38 75 N;80 0 W", "38 0 W;80 0 W", "3B;80", ";"]
    write("a.csv", f"{HEAD}lat;lon\n" + "".join(f"ROMU;50;10;{row}\n" for row in rows))
    survey = read("a.csv")
    assert survey.ledger.iloc[0].tolist() == ["a.csv", 5, 1, 0, 4]
    assert survey.set_aside["record"].tolist() == [2, 3, 4, 5]
    reasons = survey.set_aside["reason"].tolist()
    assert "60 or more" in reasons[0] and "other axis" in reasons[1]
    assert "no number" in reasons[2] and "blank" in reasons[3]


def test_mgrs_column_places_records_within_a_metre(write, read):
    # 38 N, 80 W in UTM zone 17: easting 587,798, northing 4,206,286 (pyproj), so its square is NC
    write("a.csv", f"{HEAD}MGRS\nROMU;50;10;17SNC8779806286\nROMU;50;10;17S NC\nROMU;50;10;17SNC877062\n")
    survey = read("a.csv")
    assert survey.ledger.iloc[0].tolist() == ["a.csv", 3, 1, 1, 1]
    assert "too coarse" in survey.set_aside["reason"].iloc[0]
    assert survey.patches.centroid.iloc[0].distance(shapely.Point(0, 0)) < 2
    assert survey.patches.centroid.iloc[1].distance(shapely.Point(0, 0)) < 71  # the middle of 100 m


def test_wkt_polygon_keeps_its_area_and_a_line_its_width(write, read):
    # 0.001 degree of latitude is 111.0 m and of longitude 87.8 m at 38 N
    ring = "POLYGON((-80 38,-79.999 38,-79.999 38.001,-80 38.001,-80 38))"
    write("a.csv", f'species;cover;width_m;wkt\nROMU;50;;{ring}\nROMU;50;10;"LINESTRING(-80 38,-80 38.001)"\n')
    survey = read("a.csv")
    assert survey.ledger.iloc[0].tolist() == ["a.csv", 2, 2, 0, 0]
    assert survey.patches.area.iloc[0] == pytest.approx(111.0 * 87.8, rel=1e-3)
    assert survey.patches.area.iloc[1] == pytest.approx(1110, rel=0.08)  # and the rounded ends at most


def test_wkt_in_metres_needs_the_setting(write, read):
    write("a.csv", f"{HEAD}wkt\nROMU;50;10;POINT(587798 4206286)\n")
    assert read("a.csv").ledger["set_aside"].tolist() == [1]
    assert read("a.csv", crs="EPSG:32617").ledger["accepted"].tolist() == [1]


def test_easting_without_a_zone_needs_the_setting(write, read):
    write("a.csv", f"{HEAD}easting;northing;zone\nROMU;50;10;587798;4206286;\n")
    assert "no CRS" in read("a.csv").set_aside["reason"].iloc[0]
    assert read("a.csv", crs="EPSG:32617").ledger["accepted"].tolist() == [1]


def test_a_header_below_a_title_is_found_and_said(write, read):
    write("a.csv", "North wood, 2024\nby A and B\n\nspecies,cover,radius_ft,lon,lat\nROMU,50,10,-80,38\n")
    survey = read("a.csv")
    assert survey.ledger.iloc[0].tolist() == ["a.csv", 1, 1, 0, 0]
    assert any("header is line 4" in note for note in survey.notes)
