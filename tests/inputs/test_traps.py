"""Files that common drivers read wrongly without a word."""

from __future__ import annotations

import json
import re
import warnings
import zipfile

import geopandas as gpd
import pytest
import shapely

from invasimap.core.errors import LayerError
from invasimap.core.survey_settings import SurveySection
from invasimap.inputs.survey import find_files

HEAD = "species,cover,radius_ft,lon,lat\n"
GPX = '<?xml version="1.0"?><gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">{}</gpx>'
VRT = (
    '<OGRVRTDataSource><OGRVRTLayer name="x"><SrcDataSource>/etc/passwd</SrcDataSource></OGRVRTLayer>'
    "</OGRVRTDataSource>"
)
SIZE = {"radius": "10 ft", "width": "12 ft", "cover": "50 %"}


def _reasons(survey):
    return survey.set_aside["reason"].tolist()


def test_gpx_latitude_abc_is_set_aside_not_zero(write, read):
    write("a.gpx", GPX.format('<wpt lat="abc" lon="-80"><name>ROMU</name></wpt>'))
    survey = read("a.gpx", defaults=SIZE)
    assert _reasons(survey) == ["lat 'abc' is no number: type degrees such as 38.0123"]
    assert json.loads(survey.set_aside["raw"][0]) == {"name": "ROMU"}
    assert survey.ledger.iloc[0].tolist() == ["a.gpx", 1, 0, 0, 1]


def test_gpx_one_point_track_costs_one_record_only(write, read):
    write(
        "a.gpx",
        GPX.format(
            "<trk><name>ROMU</name><trkseg><trkpt lat='38' lon='-80'/></trkseg></trk>"
            "<trk><name>ROMU</name><trkseg><trkpt lat='38' lon='-80'/><trkpt lat='38.001' lon='-80'/></trkseg></trk>"
            "<wpt lat='38' lon='-80'><name>LOJA</name></wpt>"
        ),
    )
    survey = read("a.gpx", defaults=SIZE)
    assert survey.patches["shape"].tolist() == ["point", "line"]
    assert survey.patches["record"].tolist() == [1, 3]  # waypoints first, then tracks
    assert survey.set_aside["record"].tolist() == [2]
    assert "one place only" in _reasons(survey)[0]


def test_gpx_text_stays_text(write, read):
    write(
        "a.gpx",
        GPX.format(
            "<wpt lat='abc' lon='-80'><extensions><x><tag>007</tag></x><species>ROMU</species></extensions></wpt>"
        ),
    )
    assert json.loads(read("a.gpx").set_aside["raw"][0]) == {"tag": "007", "species": "ROMU"}


@pytest.mark.parametrize("name", ["a.gpx", "a.kml", "a.geojson", "a.gpkg", "a.shp"])
def test_vrt_under_another_name_is_refused(name, write, refused):
    write(name, VRT)
    assert refused(name).startswith("file not read: is no ")


def test_xml_entities_are_refused(write, refused):
    write("a.gpx", '<!DOCTYPE g [<!ENTITY x SYSTEM "file:///etc/passwd">]>' + GPX.split("?>")[1].format("&x;"))
    assert re.search("entities", refused("a.gpx"))


def test_zip_that_unpacks_to_too_much_is_refused(write, refused, tmp_path):
    with zipfile.ZipFile(tmp_path / "a.kmz", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("doc.kml", b" " * (201 * 1024 * 1024))
    assert re.search("limit is 200 MB", refused("a.kmz"))


def test_member_with_dots_is_not_written_outside(write, read, tmp_path):
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as archive:
        archive.writestr("../../evil.csv", HEAD + "ROMU,50,10,-80,38\n")
    assert read("a.zip").ledger["records"].tolist() == [1]
    assert not list(tmp_path.parent.parent.glob("evil.csv"))


def test_kml_bad_coordinates_are_set_aside_not_zero(write, read):
    point = "<Placemark><name>ROMU</name><Point><coordinates>{}</coordinates></Point></Placemark>"
    body = point.format("-78;38 x") + point.format("-80, 38")
    write("a.kml", f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{body}</Document></kml>')
    survey = read("a.kml", defaults=SIZE)
    assert _reasons(survey) == ["coordinates '-78;38' are not read"]
    assert survey.patches["record"].tolist() == [2]


def test_geojson_bad_feature_costs_one_record(write, read):
    def feature(coordinates):
        geometry = {"type": "Point", "coordinates": coordinates}
        return {"type": "Feature", "properties": {"species": "ROMU"}, "geometry": geometry}

    features = [feature([float("nan"), 38]), feature(["a", 38]), None, feature([]), feature([-80, 38, 5])]
    write("a.geojson", json.dumps({"type": "FeatureCollection", "features": features}))
    survey = read("a.geojson", defaults=SIZE)
    assert survey.patches["record"].tolist() == [5]
    assert survey.ledger.iloc[0].tolist() == ["a.geojson", 5, 0, 1, 4]


def test_letter_o_for_zero_is_named(write, read):
    write("a.csv", HEAD + "ROMU,50,10,-8O.0,38\n")
    assert _reasons(read("a.csv")) == ["lon '-8O.0' is no number (letter O for zero?): type degrees such as 38.0123"]


@pytest.mark.parametrize(
    ("lon", "lat", "cause"),
    [
        ("38.0", "-80.0", "swapping longitude and latitude"),
        ("80.0", "38.0", "a minus sign before the longitude"),
        ("280.0", "38.0", "taking 360 from the longitude"),
    ],
)
def test_the_one_mistake_that_explains_a_far_position_is_mended_and_said(lon, lat, cause, write, read):
    write("a.csv", HEAD + f"ROMU,50,10,{lon},{lat}\n")
    survey = read("a.csv")
    assert cause in survey.repaired["how"].item()
    middle = survey.patches.geometry.centroid.item()  # the system is centred on 80 W, 38 N
    assert abs(middle.x) < 1e-6 and abs(middle.y) < 1e-6


def test_a_far_position_stays_aside_where_repairs_are_turned_off(write, read):
    write("a.csv", HEAD + "ROMU,50,10,80.0,38.0\n")
    survey = read("a.csv", intake={"repair_positions": False})
    assert "a minus sign before the longitude" in _reasons(survey)[0]
    assert len(survey.patches) == 0


def test_far_record_says_its_distance(write, read):
    write("a.csv", HEAD + "ROMU,50,10,-80,38.1\nROMU,50,10,-80,38.013\n")
    survey = read("a.csv")
    # 0.1 degree of latitude is 11.10 km; the outline reaches 0.5 km north: 10.6 km. 0.013 degree: 943 m outside, kept
    assert _reasons(survey) == ["lies 10.6 km from the stands: check its position"]
    assert survey.patches["record"].tolist() == [2]


def test_zero_zero_and_beyond_the_globe(write, read):
    write("a.csv", HEAD + "ROMU,50,10,0,0\nROMU,50,10,-80,138.9\nROMU,50,10,,38\n,,,,\n")
    assert _reasons(read("a.csv")) == [
        "coordinates are 0, 0: no position was recorded, type it",
        "latitude 138.9 is beyond 90 degrees: check its position",
        "lon is blank: type it",
        "the row is blank: delete it",
    ]


def test_ragged_row_is_set_aside_and_others_kept(write, read):
    write("a.csv", HEAD + "ROMU,50,10,-80,38\nROMU,50,10,-80,38,extra,cells\n")
    survey = read("a.csv")
    assert _reasons(survey) == ["the row has 7 cells for 5 columns: put text with commas in quotes"]
    assert len(survey.patches) == 1


def test_windows_text_is_read_and_said(write, read):
    write("a.csv", ("species,notes,radius_ft,lon,lat\nROMU,près du ruisseau,10,-80,38\n").encode("cp1252"))
    survey = read("a.csv")
    assert survey.patches["notes"].tolist() == ["près du ruisseau"]
    assert any("Windows-1252" in note for note in survey.notes)


def test_decimal_comma_in_a_semicolon_file(write, read):
    write("a.csv", "species;radius_m;lon;lat\nROMU;2,5;-80,0;38,0\n")
    assert read("a.csv").patches.area.tolist() == pytest.approx([3.141592653589793 * 6.25])


def test_table_in_metres_without_crs_is_set_aside_whole(write, read):
    write("a.csv", "species,radius_ft,X,Y\nROMU,10,587821.0,4206200.0\n")
    survey = read("a.csv")
    assert _reasons(survey) == ["no CRS: set crs in its [[survey]] block"]
    assert any("no CRS" in note for note in survey.notes)
    # EPSG:26917 of 38 N, 80 W by hand: zone 17 is centred on 81 W, so the easting lies 87.8 km east of 500 km
    assert len(read("a.csv", crs="EPSG:26917").patches) == 1


def test_all_faults_of_the_settings_come_together(write, read):
    write("c.csv", HEAD + "ROMU,50,10,-80,38\n")
    with pytest.raises(LayerError) as caught:
        read("c.csv", "none/*.kml", columns={"cover": "COVV"})
    said = str(caught.value)
    assert "no file of this block has a column 'COVV'" in said
    assert "none/*.kml: matches no file" in said


def test_files_that_cannot_be_read_stay_in_the_account_beside_good_ones(write, read):
    write("a.gpx", "")
    write("b.csv", "species,notes\nROMU,x\n")
    write("c.csv", HEAD + "ROMU,50,10,-80,38\n")
    survey = read("a.gpx", "b.csv", "c.csv")
    assert survey.ledger["set_aside"].tolist() == [1, 1, 0]
    assert "is empty" in _reasons(survey)[0]
    assert "has no columns for longitude and latitude" in _reasons(survey)[1]


def test_column_override_that_is_in_no_file_lists_the_columns(write, read):
    write("a.csv", HEAD + "ROMU,50,10,-80,38\n")
    with pytest.raises(LayerError, match=r"no file of this block has a column 'SPPX'") as caught:
        read("a.csv", columns={"species": "SPPX"})
    assert "species, cover, radius_ft, lon, lat" in str(caught.value)


def test_receiver_notes_with_names_and_values_are_read(write, read):
    desc = "cover: 25-50 %; radius = 10 ft; found by the creek"
    wpt = f"<wpt lat='38' lon='-80'><name>LOMA6</name><desc>{desc}</desc></wpt>"
    write("a.gpx", GPX.format(wpt))
    survey = read("a.gpx")
    assert survey.patches["species"].tolist() == ["Lonicera maackii"]
    assert survey.patches["cover_pct"].tolist() == [37.5]
    assert survey.patches.area.item() == pytest.approx(3.141592653589793 * 3.048**2)
    assert survey.notes == ["a.gpx: species taken from column 'name'"]


def test_a_bare_percent_and_a_size_with_its_unit_in_a_receivers_comment_are_read_and_said(write, read):
    said = [
        ("30%", "radius 10 m"), ("20% to 40%", "radius 10 m"), ("5 %; 60 %", "slope 30%; radius 10 m"),
        ("", "dense, 75 %, radius 10 m"), ("30%", "radius about ten"),
    ]  # fmt: skip
    points = "".join(
        f"<wpt lat='{38 + at / 1000}' lon='-80'><name>LOMA6</name><cmt>{cmt}</cmt><desc>{desc}</desc></wpt>"
        for at, (cmt, desc) in enumerate(said)
    )
    write("a.gpx", GPX.format(points))
    survey = read("a.gpx")
    assert survey.patches["cover_pct"].tolist() == [30.0, 100.0, 100.0, 75.0]  # none or two said: as where it is blank
    assert survey.patches.area.to_numpy() == pytest.approx([3.141592653589793 * 100] * 4)
    assert survey.notes[:3] == [
        "a.gpx: cover of 2 records read from column 'cmt'", "a.gpx: cover of 1 record read from column 'desc'",
        "a.gpx: radius of 4 records read from column 'desc'",
    ]  # fmt: skip


def test_file_named_in_two_blocks_is_a_fault(write, tmp_path):
    from zoneinfo import ZoneInfo

    import shapely

    from invasimap.core.crs import working_crs
    from invasimap.core.survey_settings import SurveySection
    from invasimap.inputs.species import load_catalogue
    from invasimap.inputs.survey import read_survey

    write("a.csv", HEAD + "ROMU,50,10,-80,38\n")
    block = SurveySection.model_validate({"files": ["a.csv"]})
    with pytest.raises(LayerError, match="records would count twice"):
        read_survey(
            [block, block], folder=tmp_path, crs=working_crs(-80, 38), near=shapely.box(-500, -500, 500, 500),
            timezone=ZoneInfo("UTC"), species=load_catalogue(),
        )  # fmt: skip


@pytest.mark.parametrize(
    ("mark", "cell", "square_feet"),
    [("\t", "1,200 sq ft", 1200), ("|", "1,200 sq ft", 1200), ("\t", "1,200.5 sq ft", 1200.5),
     ("\t", "0,500 sq ft", 0.5), ("\t", "1,25 sq ft", 1.25), ("|", "1200,5 sq ft", 1200.5),
     ("\t", "1,200", 1200), (";", "1,200 sq ft", 1.2),
     (";", "1,2 sq ft", 1.2)],
)  # fmt: skip
def test_a_comma_parts_thousands_or_decimals(mark, cell, square_feet, read, write):
    write("a.tsv", f"species~lon~lat~area (sq ft)\nRosa multiflora~-80~38~{cell}\n".replace("~", mark))
    assert read("a.tsv").patches.area.item() == pytest.approx(square_feet * 0.09290304, rel=1e-9)


def test_a_tab_file_may_mix_thousands_and_decimal_commas(read, write):
    write("a.tsv", "species\tlon\tlat\tarea\tnotes\nROMU\t-80,001\t38,0\t1,200 sq ft\tplots 1,2\n")
    patches = read("a.tsv").patches
    assert patches.area.item() == pytest.approx(1200 * 0.09290304, rel=1e-9)
    assert patches.centroid.x.item() == pytest.approx(-87.8, abs=0.1)  # 0.001 degree at 38 N
    assert patches["notes"].item() == "plots 1,2"


def test_one_area_for_several_points_is_shared(read, write):
    points = [[-80 + n * 0.0005, 38] for n in range(5)]
    feature = {
        "type": "Feature", "properties": {"species": "Rosa multiflora", "area": "100 m2", "cover": "50"},
        "geometry": {"type": "MultiPoint", "coordinates": points},
    }  # fmt: skip
    write("a.geojson", json.dumps({"type": "FeatureCollection", "features": [feature]}))
    survey = read("a.geojson")
    assert survey.patches.area.sum() == pytest.approx(100, rel=1e-6)
    assert survey.repaired["how"].tolist() == ["area shared by 5 points"]
    assert [part.area for part in survey.patches.geometry[0].geoms] == pytest.approx([20] * 5, rel=1e-6)


@pytest.mark.parametrize("step", [0.0, 0.00001, 0.00005])  # all on one spot, 0.9 m and 4.4 m apart: circles overlap
def test_a_shared_area_is_the_said_area_though_circles_overlap(step, read, write):
    points = [[-80 + n * step, 38] for n in range(5)]
    feature = {
        "type": "Feature", "properties": {"species": "ROMU"}, "geometry": {"type": "MultiPoint", "coordinates": points}
    }  # fmt: skip
    write("a.geojson", json.dumps({"type": "FeatureCollection", "features": [feature]}))
    survey = read("a.geojson", defaults={"area": "100 m2", "cover": "50 %"})
    assert survey.patches.area.item() == pytest.approx(100, rel=1e-8)
    assert survey.repaired["how"].item() == (
        "cover from defaults: 50 %; area from defaults: 100 m2; area shared by 5 points"
    )


def test_everything_in_a_zip_is_read_or_named(read, write, tmp_path):
    table = "species,lon,lat,radius_m\nRosa multiflora,-80.00012,38.00034,5\n"
    with zipfile.ZipFile(tmp_path / "crew.zip", "w") as archive:
        archive.writestr("a.csv", table)
        archive.writestr("b.txt", table)
        archive.writestr("readme.txt", "thank you for the cake")
        archive.writestr("notes.docx", b"PK")
    survey = read("crew.zip")
    assert survey.ledger["records"].tolist() == [1, 1]
    assert survey.ledger["file"].tolist() == ["crew.zip:a.csv", "crew.zip:b.txt"]
    unread = "notes.docx, readme.txt (has no columns for longitude and latitude)"
    assert survey.notes == [f"crew.zip: not read: {unread}"]


def _zip(path, *members):
    with zipfile.ZipFile(path, "w") as archive, warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # duplicate names are the point
        for name, content in members:
            archive.writestr(name, content)


def test_members_of_one_name_are_kept_apart(read, tmp_path):
    row = "ROMU,50,10,-80,38\n"
    _zip(tmp_path / "a.zip", ("a.csv", HEAD + row), ("a.csv", HEAD + 2 * row), ("../a.csv", HEAD + 3 * row))
    survey = read("a.zip")
    assert survey.ledger["file"].tolist() == ["a.zip:a.csv", "a.zip:a (2).csv", "a.zip:a (3).csv"]
    assert survey.ledger["records"].tolist() == [1, 2, 3]


def test_shapefiles_of_one_name_keep_their_own_parts(read, tmp_path):
    for rows, lat in ((1, 38), (2, 38.001)):
        spots = shapely.points([[-80, lat], [-80.001, lat]][:rows])
        frame = gpd.GeoDataFrame({"species": ["ROMU"] * rows}, geometry=spots, crs=4326)
        (tmp_path / str(rows)).mkdir()
        frame.to_file(tmp_path / str(rows) / "a.shp")
    parts = [
        (f"a.{kind}", (tmp_path / n / f"a.{kind}").read_bytes()) for n in "12" for kind in ("shp", "shx", "dbf", "prj")
    ]
    _zip(tmp_path / "a.zip", *parts, ("a.shp.xml", "<x/>"), ("b.dbf", b""))
    survey = read("a.zip", defaults=SIZE)
    assert survey.ledger["records"].tolist() == survey.ledger["repaired"].tolist() == [1, 2]
    assert survey.notes == ["a.zip: not read: b.dbf"]


def test_archives_in_archives_are_named_not_read(read, refused, tmp_path):
    _zip(tmp_path / "a.zip", ("inner.zip", b"PK"), ("a.csv", HEAD + "ROMU,50,10,-80.00012,38.00034\n"))
    assert read("a.zip").notes == ["a.zip: not read: inner.zip"]
    _zip(tmp_path / "b.zip", ("readme.txt", "hello"), ("inner.zip", b"PK"))
    assert re.search(r"holds no file that is read: inner.zip, readme.txt", refused("b.zip"))


def test_each_unreadable_file_of_an_archive_has_its_own_line(read, tmp_path):
    _zip(tmp_path / "a.zip", ("a.gpx", "x"), ("b.csv", "species,notes\nROMU,x\n"))
    survey = read("a.zip")
    assert survey.ledger["file"].tolist() == ["a.zip:a.gpx", "a.zip:b.csv"]
    assert survey.ledger["set_aside"].tolist() == [1, 1]


def test_the_joiner_of_names_is_taken_out_of_a_name(read, write):
    write("a.csv", "species,lon,lat,radius_m,cover\nFoo bar; Baz qux,-80,38,5,50\n")
    survey = read("a.csv")
    assert survey.patches["species"].tolist() == ["Foo bar, Baz qux"]
    assert survey.repaired["how"].tolist() == ["species 'Foo bar; Baz qux' written as 'Foo bar, Baz qux'"]


def test_two_known_names_in_one_cell_are_not_read_as_the_first(read, write):
    write("a.csv", HEAD + "Rosa multiflora; Lonicera maackii,50,10,-80,38\n")
    survey = read("a.csv")
    assert len(survey.patches) == 0
    assert "names more than one plant (Lonicera maackii, Rosa multiflora)" in _reasons(survey)[0]


@pytest.mark.parametrize(
    ("written", "kept"),
    [("Foo\nbar", "Foo bar"), ("Foo\u200b\x07bar", "Foo bar"), ("ROMU;", "Rosa multiflora"),
     ("Rosa\r\nmultiflora", "Rosa multiflora")],
)  # fmt: skip
def test_signs_that_break_files_are_taken_out_of_a_name(written, kept, read, write):
    geometry = {"type": "Point", "coordinates": [-80, 38]}
    properties = {"species": written, "radius": "10 ft", "cover": 50}
    feature = {"type": "Feature", "properties": properties, "geometry": geometry}
    write("a.geojson", json.dumps({"type": "FeatureCollection", "features": [feature]}))
    survey = read("a.geojson")
    assert survey.patches["species"].tolist() == [kept]
    assert survey.repaired["how"].item() == f"species {written!r} written as {kept!r}"


def test_a_name_of_joiners_alone_is_set_aside(read, write):
    write("a.csv", HEAD + " ;; ,50,10,-80,38\n")
    assert _reasons(read("a.csv")) == ["species ';;' is no name: type a plant's name"]


def test_a_date_to_come_does_not_win_over_a_real_one(read, write):
    rows = "Rosa multiflora,-80,38,5,80,2025-06-01\nRosa multiflora,-80,38,5,5,2062-06-01\n"
    write("a.csv", "species,lon,lat,radius_m,cover,date\n" + rows)
    assert read("a.csv").patches["date"].tolist() == ["2025-06-01", ""]


def test_patterns_without_a_file_and_files_named_twice_are_found_without_reading_any(write, tmp_path):
    write("a.csv", HEAD)
    (tmp_path / "again").mkdir()
    blocks = [{"files": ["a.csv", "none/*.kml"]}, {"files": ["again/../a.csv"]}]
    faults = find_files([SurveySection.model_validate(block) for block in blocks], folder=tmp_path)[1]
    assert [fault.what.partition(":")[0] for fault in faults] == ["matches no file", "is named in [[survey]] 1 and 2"]
    assert find_files([SurveySection.model_validate({"files": ["a.csv"]})], folder=tmp_path)[1] == []


def test_a_system_of_a_block_that_is_not_known_is_a_fault(read, write):
    write("a.csv", HEAD)
    with pytest.raises(LayerError, match="EPSG:0"):
        read("a.csv", crs="EPSG:0")


def test_a_datum_without_its_grid_is_said_once_with_its_files(write, read):
    write("a.csv", HEAD + "ROMU,50,10,-80.00012,38.00034\n")
    write("b.csv", HEAD + "ROMU,50,10,-80.00012,38.00034\n")
    survey = read("a.csv", "b.csv", crs="EPSG:4267")
    (note,) = survey.notes
    # EPSG 1173, NAD27 to WGS 84 (4), is the operation for the conterminous US without a grid: 10 m
    assert note.startswith("a.csv, b.csv: positions moved from NAD27 are true to 10 m only")
    assert read("a.csv", crs="EPSG:4326").notes == read("a.csv", crs="EPSG:6318").notes == []


@pytest.mark.parametrize("name", ["a.gpkg", "a.shp", "a.geojson"])
def test_a_missing_value_is_missing_in_every_format(read, tmp_path, name):
    import geopandas as gpd
    import shapely

    rows = {
        "species": ["Rosa multiflora", None, "Lonicera maackii"], "cover": ["40", None, "90"],
        "radius_ft": ["10", "12", None], "date": ["2025-06-01", None, "2024-01-01"],
    }  # fmt: skip
    points = shapely.points([[-80.0, 38.0], [-80.001, 38.0], [-80.002, 38.0]])
    gpd.GeoDataFrame(rows, geometry=points, crs=4326).to_file(tmp_path / name)
    survey = read(name)
    assert survey.patches["species"].tolist() == ["Rosa multiflora"]
    reasons = dict(zip(survey.set_aside["record"], survey.set_aside["reason"], strict=True))
    assert "species is blank" in reasons[2] and "no size" in reasons[3]


@pytest.mark.parametrize(
    ("mark", "cells", "square_metres"),
    [  # what a person reads in each column; None where two readings stand
        (";", ["12,5", "1.200"], [12.5, 1200]), (";", ["12.5", "1,200"], [12.5, 1200]),
        (";", ["1.200,5", "1.200"], [1200.5, 1200]), (";", ["12,5", "12.5", "1.200"], [12.5, 12.5, None]),
        (",", ['"12,5"', "1.200"], [12.5, None]), (",", ['"1,200"', "12.5"], [1200, 12.5]),
        (",", ['"1,200"', "1.200"], [None, None]), ("\t", ["12,5", "1.200", "7"], [12.5, None, 7]),
        (",", ["1.200", "2"], [1.2, 2]), ("\t", ["1.200", "2.5"], [1.2, 2.5]),
    ],
)  # fmt: skip
def test_a_number_that_reads_in_two_ways_is_told_by_its_column_or_set_aside(mark, cells, square_metres, read, write):
    rows = "".join(f"ROMU{mark}-80{mark}38.00{k}{mark}{cell}\n" for k, cell in enumerate(cells))
    write("a.csv", f"species{mark}lon{mark}lat{mark}area_m2\n{rows}")
    survey = read("a.csv")
    assert survey.patches.area.tolist() == pytest.approx([area for area in square_metres if area is not None])
    assert survey.set_aside["record"].tolist() == [k + 1 for k, area in enumerate(square_metres) if area is None]
    for reason, cell in zip(
        survey.set_aside["reason"], [c for c, a in zip(cells, square_metres, strict=True) if a is None], strict=True
    ):
        assert "(1.2 or 1200?)" in reason and cell.strip('"') in reason


def test_a_point_in_a_semicolon_file_is_told_by_the_files_other_numbers(read, write):
    head = "species;lon;lat;area_m2\n"
    for lat, area in (("38,01", 1200.0), ("38.01", 1.2)):
        write("a.csv", f"{head}ROMU;-80;{lat};1.200\n")
        assert read("a.csv").patches.area.item() == pytest.approx(area)
    write("a.csv", f"{head}ROMU;-80;38;1.200\n")
    assert "1.200 (1.2 or 1200?)" in read("a.csv").set_aside["reason"].item()
