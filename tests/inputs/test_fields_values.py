"""What headers and sizes mean."""

from __future__ import annotations

import math

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from invasimap.inputs.cells import Cells
from invasimap.inputs.fields import find_columns, header_words, is_lonlat, set_apart, with_unit
from invasimap.inputs.outlines import read_sizes
from invasimap.inputs.values import parse_count, parse_size, parse_upper, read_sized, split_by

FOOT_M = 0.3048
ACRE_M2 = 43_560 * FOOT_M**2


@pytest.mark.parametrize(
    ("header", "role", "unit"),
    [
        ("SPP", "species", ""), ("Scientific Name", "species", ""), ("SCIENTIFIC", "species", ""),
        ("COMMON_NAM", "species", ""), ("SPECIES_NA", "species", ""), ("TARGET_SPE", "species", ""),
        ("PCT_COV", "cover", "%"), ("PCT_COVER", "cover", "%"), ("Cover %", "cover", "%"), ("CANOPY_COV", "cover", ""),
        ("PERCENT_CO", "cover", "%"), ("PctCover", "cover", "%"), ("PERCENTCOVER", "cover", "%"),
        ("cover (fraction)", "cover", "fraction"), ("CoverClass", "cover", "class"), ("cov_cl", "cover", "class"),
        ("cover code", "cover", "class"), ("COVER_CLAS", "cover", "class"), ("Daubenmire", "cover", "class"),
        ("cover_BB", "cover", "class"), ("Braun-Blanquet", "cover", "class"), ("Cover Class (%)", "cover", "class"),
        ("Radius (ft)", "radius", "ft"), ("radius_ft", "radius", "ft"), ("RADIUSFT", "radius", "ft"),
        ("Ht_ft", "height", "ft"), ("HEIGHTFT", "height", "ft"), ("DIAM_M", "diameter", "m"),
        ("DBH_in", "stem_diameter", "in"), ("stem diameter", "stem_diameter", ""), ("STEM_MM", "stem_diameter", "mm"),
        ("StemDiamet", "stem_diameter", ""), ("LargestStem (cm)", "stem_diameter", "cm"),
        ("Size_m", "size", "m"), ("gross acres", "area", "acre"), ("Area (sq ft)", "area", "sq ft"),
        ("Hectares", "area", "ha"),
        ("EST_AREA", "area", ""), ("est_ac", "area", "acre"), ("Patch (ac)", "area", "acre"),
        ("UTM.X", "lon", ""), ("Longitude", "lon", ""), ("_location_longitude", "lon", ""),
        ("coordinateUncertaintyInMeters", "accuracy", "m"), ("GPS_ACC", "accuracy", ""), ("HORZ_PREC", "accuracy", ""),
        ("GPS_ACCURA", "accuracy", ""),
        # cut by a DBF to ten signs: Percent_Cover, PercentCover, Percent_Infested, Cover_Percent, PatchDiameter, …
        ("Percent_Co", "cover", "%"), ("PercentCov", "cover", "%"), ("Percent_In", "cover", "%"),
        ("Pct_Infest", "cover", "%"), ("Cover_Perc", "cover", "%"), ("CoverPerce", "cover", "%"),
        ("CanopyCove", "cover", ""), ("PatchDiame", "diameter", ""), ("PatchRadiu", "radius", ""),
        ("Radius_Fee", "radius", "ft"), ("Radius_Met", "radius", "m"), ("Height_Fee", "height", "ft"),
        ("Diameter_F", "diameter", "ft"), ("TargetSpec", "species", ""), ("DateObserv", "date", ""),
        ("surveyDate", "date", ""), ("DATE_OBSER", "date", ""), ("SURVEY_DAT", "date", ""), ("observed_on", "date", ""),
        ("Surveyors", "observer", ""), ("OBSERVER_N", "observer", ""),
    ],
)  # fmt: skip
def test_header_is_recognised(header, role, unit):
    assert [(r, c[0].unit) for r, c in find_columns([header]).items()] == [(role, unit)]


@pytest.mark.parametrize(
    "header",
    ["Infested_ac", "INFEST_AC", "Plot", "DBH_ft", "DBH", "cover_photo", "m", "fid", "Shape_Area", "Shape_Leng",
     "SHAPE__Length", "PERIMETER", "GIS_ACRES", "st_area(shape)", "patch", "infestation", "total", "last_edited_date",
     "COLLECTION", "OBSERVATIO", "SPECIES_CO", "htclass", "hdop", "rubber", "treated_ac",
     "Diameter (cm)", "diam_in", "DIAMETERCM", "stem diameter (ft)", "Diameter_C", "tree canopy", "Tree Canopy Cover",
     "Percent_Sl", "Percent_Ca"],
)  # fmt: skip
def test_header_that_says_something_else_is_left_alone(header):
    assert find_columns([header]) == {}


def test_a_programs_own_area_and_length_are_no_size_of_the_patch():
    drawn = ["AREA", "PERIMETER", "LENGTH"]
    assert find_columns(drawn) == {} and {name for name, _ in set_apart(drawn)} == {*drawn}
    assert set(find_columns(["AREA", "species"])) == {"area", "species"}  # a crew's own
    assert find_columns(["AREA (ft2)", "PERIMETER"])["area"][0].unit == "sq ft"
    infested = set_apart(["INFEST_AC", "infested_area", "species", "cover"])
    assert infested == [(name, "infested ground is not the whole patch") for name in ("INFEST_AC", "infested_area")]


def test_the_forests_canopy_never_stands_beside_the_plants_own_cover():
    for own in ("Infested %", "Percent_Co", "cover", "Pct_Infest"):
        assert [c.name for c in find_columns(["canopy cover", own, "tree canopy"])["cover"]] == [own]
    assert [c.name for c in find_columns(["canopy cover", "tree canopy"])["cover"]] == ["canopy cover"]


def test_only_names_of_degrees_mean_degrees():
    assert [is_lonlat(h) for h in ("lon", "Latitude", "X", "UTM.Y", "easting", "plateau")] == [True, True, *[False] * 4]
    assert header_words("Ht in") == ("ht", "in")


def test_the_headers_unit_goes_to_every_bare_value():
    cells = ["3", "<3", "3-6", "1/2", "1 1/2", "10+", "20 x 20", "6'", "3 m", "", "tall", "over 6", "up to 3",
             "At least 6"]  # fmt: skip
    assert [with_unit(cell, "ft") for cell in cells] == [
        "3 ft", "<3 ft", "3-6 ft", "1/2 ft", "1 1/2 ft", "10+ ft", "20 x 20 ft", "6'", "3 m", "", "tall",
        "over 6 ft", "up to 3 ft", "At least 6 ft",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("cell", "feet"),
    [("10'", 10), ("10 ft.", 10), ("10 FEET", 10), ("6'4\"", 76 / 12),
     ("6\u20324\u2033", 76 / 12), ("6\u20194\u201d", 76 / 12),
     ("6'4", 76 / 12), ("6'-4\"", 76 / 12), ("5 ft 6 in", 5.5), ("5ft 6in.", 5.5), ("6-7 ft", 6.5),
     ("6 \u2013 7 ft", 6.5),
     ("6' - 8'", 7), ("3ft-6ft", 4.5), ("6 in - 1 ft", 0.75), ("3 to 6 ft", 4.5), ("1 1/2 ft", 1.5), ("½ ft", 0.5),
     ("1,200 ft", 1200), ("1,200.5 ft", 1200.5), ("10''", 10 / 12), ("2 yd", 6), ("0-3 ft", 1.5)],
)  # fmt: skip
def test_lengths_as_crews_write_them(cell, feet):
    size = parse_size(cell, role="height", dimension="length")
    assert size.value == pytest.approx(feet * FOOT_M) and size.problem == size.how == ""


@pytest.mark.parametrize(
    ("cell", "square_metres"),
    [("1/2 ac", ACRE_M2 / 2), ("1/4 acre", ACRE_M2 / 4), ("2 ac.", 2 * ACRE_M2), ("0,5 ha", 5000), ("0.5 ha", 5000),
     ("0,125 ha", 1250), ("1,200 sq ft", 1200 * FOOT_M**2), ("1200 sq. ft.", 1200 * FOOT_M**2), ("100 m²", 100),
     ("100m2", 100), ("100 m^2", 100), ("20 square meters", 20), ("1/2-1 ac", 0.75 * ACRE_M2), ("100-200 m2", 150)],
)  # fmt: skip
def test_areas_as_crews_write_them(cell, square_metres):
    size = parse_size(cell, role="area", dimension="area")
    assert size.value == pytest.approx(square_metres) and size.problem == size.how == ""


@pytest.mark.parametrize(
    ("cell", "metres", "how"),
    [("<3 ft", 3 * FOOT_M, "height <3 ft counted as 3 ft"), ("> 2 m", 2, "height > 2 m counted as 2 m"),
     ("10+ ft", 10 * FOOT_M, "height 10+ ft counted as 10 ft"), ("~3 m", 3, "height ~3 m counted as 3 m"),
     ("about 3 m", 3, "height about 3 m counted as 3 m")],
)  # fmt: skip
def test_an_open_size_counts_as_its_limit_and_that_is_said(cell, metres, how):
    size = parse_size(cell, role="height", dimension="length")
    assert (size.value, size.problem, size.how) == (pytest.approx(metres), "", how)


@pytest.mark.parametrize(
    ("cell", "problem"),
    [("6", "has no unit"), ("3-6", "has no unit"), ("<3", "has no unit"), ("ankle-high", "is not read"),
     ("1.2k", "is not read"), ("7-6 ft", "is not read"), ("3 ft 14 in", "is not read"), ("1/0 ft", "is not read"),
     ("3 acre", "is not read"), ("2 m2", "is not read"), ("3 ft tall", "is not read"), ("0 ft", "not above zero"),
     ("-5 ft", "not above zero"), ("<3-6 ft", "is not read"), ("1,20 0 ft", "is not read")],
)  # fmt: skip
def test_a_length_that_cannot_be_used(cell, problem):
    size = parse_size(cell, role="height", dimension="length")
    assert math.isnan(size.value) and problem in size.problem


@pytest.mark.parametrize(
    ("cell", "feet", "how"),
    [("4-10 ft", 10, ""), ("4' - 10'", 10, ""), ("6 in to 1 ft", 1, ""), ("0-3 ft", 3, ""), ("6 ft", 6, ""),
     ("< 3 ft", 3, "height < 3 ft counted as 3 ft"), ("up to 3 ft", 3, "height up to 3 ft counted as 3 ft"),
     ("~6 ft", 6, "height ~6 ft counted as 6 ft")],
)  # fmt: skip
def test_a_height_is_the_upper_end_of_what_is_written(cell, feet, how):
    found = parse_upper(cell, role="height")
    assert found.value == pytest.approx(feet * FOOT_M) and found.how == how


@pytest.mark.parametrize(
    "cell", ["> 6 ft", ">=6 ft", "6+ ft", "6 ft +", "over 6 ft", "at least 6 ft", "More than 6 ft"]
)
@pytest.mark.parametrize(("role", "counts"), [("height", "tall"), ("stem_diameter", "thick")])
def test_a_height_or_stem_without_an_upper_end_is_not_known(cell, role, counts):
    found = parse_upper(cell, role=role)
    assert math.isnan(found.value)
    assert found.how == f"{role} {cell!r} has no upper end: counted as not known, {counts}"


@pytest.mark.parametrize("cell", ["4-10+ ft", "6 ft or more", "head-high", "3 - >6 ft", "6", "0 ft"])
def test_a_height_that_cannot_be_used_is_not_known(cell):
    found = parse_upper(cell, role="height")
    assert math.isnan(found.value) and found.how.endswith(": not used")


@settings(deadline=None)
@given(
    st.decimals(min_value="0.01", max_value="99999", places=2),
    st.sampled_from(
        [("ft", FOOT_M), ("'", FOOT_M), (" feet", FOOT_M), (" m", 1.0), ("cm", 0.01), (" in.", FOOT_M / 12)]
    ),
)
def test_a_written_length_is_the_length(number, unit):
    spelling, metres = unit
    for cell in (f"{number}{spelling}", f"{number:,}{spelling}", f"{str(number).replace('.', ',')}{spelling}"):
        assert parse_size(cell, role="x", dimension="length").value == pytest.approx(float(number) * metres)


@given(st.text(max_size=20))
def test_any_cell_gives_a_size_or_a_problem(cell):
    size = parse_size(cell, role="radius", dimension="length")
    assert bool(size.problem) or not cell or 0 < size.value < math.inf
    read_sized(cell)
    count = parse_count(cell)
    assert bool(count.how) or not cell or 0 <= count.low <= count.value <= count.high


def test_pairs():
    assert split_by("20 x 20 m") == ("20 m", "20 m")
    assert split_by("10 ft by 30 ft") == ("30 ft", "10 ft")
    assert split_by("40' \u00d7 24'") == ("40'", "24'")
    assert split_by("1,200 x 30 ft") == ("1200 ft", "30 ft")
    assert split_by("20 m") is None and split_by("3 x 4 x 5 ft") is None


def test_a_size_says_which_size_it_is():
    cells = Cells.of(pd.Series(["10 ft radius", "diam. 30 ft", "0.5 ha", "20 x 10 m", "10 ft", "", "r = 3 m"]))
    roles = ("radius", "diameter", "area", "length", "width", "bearing")
    sizes = read_sizes({"size": cells, **dict.fromkeys(roles, Cells.same("", 7))})
    values = {role: {k: v for k, v in enumerate(sizes[role].value) if v == v} for role in roles[:5]}
    assert values["radius"] == {0: pytest.approx(3.048), 6: 3.0} and values["diameter"] == {1: pytest.approx(9.144)}
    assert (values["area"], values["length"], values["width"]) == ({2: 5000.0}, {3: 20.0}, {3: 10.0})
    assert (~sizes["size"].problem.blank).nonzero()[0].tolist() == [4]


@pytest.mark.parametrize(
    ("cell", "value", "low", "high"),
    [("12", 12, 12, 12), ("10-20", 15, 10, 20), ("1,200", 1200, 1200, 1200), ("0", 0, 0, 0), (">50", 50, 50, math.inf),
     ("50+", 50, 50, math.inf), ("<10", 10, 0, 10), ("~30", 30, 30, 30)],
)  # fmt: skip
def test_stems(cell, value, low, high):
    count = parse_count(cell)
    assert count[:3] == (value, low, high) and bool(count.how) == (not cell[0].isdigit() or cell[-1] == "+")


@pytest.mark.parametrize("cell", ["many", "12.5", "-3", "10 ft"])
def test_stems_that_are_no_count_are_not_used_and_said(cell):
    count = parse_count(cell)
    assert math.isnan(count.value) and count.how == f"stems {cell!r} not read: not used"


def test_a_date_to_come_does_not_hide_the_newest_record(write, read):
    write("a.csv", "species,cover,radius_ft,date,lon,lat\nROMU,50,10,2062-06-01,-80,38\nROMU,5,10,2024-06-01,-80,38\n")
    survey = read("a.csv")
    assert survey.patches["date"].tolist() == ["", "2024-06-01"]
    assert survey.repaired[["record", "how"]].to_numpy().tolist() == [
        [1, "date 2062-06-01 is in the future: taken as undated"]
    ]
