"""Files that common drivers read wrongly without a word."""

from __future__ import annotations

import json
import zipfile

import pytest

from invasimap.core.errors import LayerError

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
    assert _reasons(survey) == ["lat 'abc' is no number"]
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
def test_vrt_under_another_name_is_refused(name, write, read):
    write(name, VRT)
    with pytest.raises(LayerError, match=rf"{name}: is no"):
        read(name)


def test_xml_entities_are_refused(write, read):
    write("a.gpx", '<!DOCTYPE g [<!ENTITY x SYSTEM "file:///etc/passwd">]>' + GPX.split("?>")[1].format("&x;"))
    with pytest.raises(LayerError, match="entities"):
        read("a.gpx")


def test_zip_that_unpacks_to_too_much_is_refused(write, read, tmp_path):
    with zipfile.ZipFile(tmp_path / "a.kmz", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("doc.kml", b" " * (201 * 1024 * 1024))
    with pytest.raises(LayerError, match="limit is 200 MB"):
        read("a.kmz")


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
    assert _reasons(read("a.csv")) == ["lon '-8O.0' is no number (letter O for zero?)"]


@pytest.mark.parametrize(
    ("lon", "lat", "cause"),
    [
        ("38.0", "-80.0", "swapping longitude and latitude"),
        ("80.0", "38.0", "a minus sign before the longitude"),
        ("280.0", "38.0", "taking 360 from the longitude"),
    ],
)
def test_likely_cause_of_a_far_position_is_said_not_mended(lon, lat, cause, write, read):
    write("a.csv", HEAD + f"ROMU,50,10,{lon},{lat}\n")
    survey = read("a.csv")
    assert cause in _reasons(survey)[0]
    assert len(survey.patches) == 0


def test_far_record_says_its_distance(write, read):
    write("a.csv", HEAD + "ROMU,50,10,-80,38.1\nROMU,50,10,-80,38.013\n")
    survey = read("a.csv")
    # 0.1 degree of latitude is 11.10 km; the outline reaches 0.5 km north: 10.6 km. 0.013 degree: 943 m outside, kept
    assert _reasons(survey) == ["lies 10.6 km from the stands"]
    assert survey.patches["record"].tolist() == [2]


def test_zero_zero_and_beyond_the_globe(write, read):
    write("a.csv", HEAD + "ROMU,50,10,0,0\nROMU,50,10,-80,138.9\nROMU,50,10,,38\n,,,,\n")
    assert _reasons(read("a.csv")) == [
        "coordinates are 0, 0: no position was recorded",
        "latitude 138.9 is beyond 90 degrees",
        "lon is blank",
        "the row is blank",
    ]


def test_ragged_row_is_set_aside_and_others_kept(write, read):
    write("a.csv", HEAD + "ROMU,50,10,-80,38\nROMU,50,10,-80,38,extra,cells\n")
    survey = read("a.csv")
    assert _reasons(survey) == ["the row has 7 cells for 5 columns"]
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


def test_all_file_faults_come_together(write, read):
    write("a.gpx", "")
    write("b.csv", "species,notes\nROMU,x\n")
    with pytest.raises(LayerError) as caught:
        read("a.gpx", "b.csv", "none/*.kml", columns={"cover": "COVV"})
    said = str(caught.value)
    assert "a.gpx: is empty" in said
    assert "b.csv: has no columns for longitude and latitude" in said
    assert "none/*.kml: matches no file" in said


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


def test_file_named_in_two_blocks_is_a_fault(write, tmp_path):
    from zoneinfo import ZoneInfo

    import shapely

    from invasimap.core.crs import working_crs
    from invasimap.core.settings import SurveySection
    from invasimap.inputs.species import load_catalogue
    from invasimap.inputs.survey import read_survey

    write("a.csv", HEAD + "ROMU,50,10,-80,38\n")
    block = SurveySection.model_validate({"files": ["a.csv"]})
    with pytest.raises(LayerError, match="records would count twice"):
        read_survey(
            [block, block], folder=tmp_path, crs=working_crs(-80, 38), near=shapely.box(-500, -500, 500, 500),
            timezone=ZoneInfo("UTC"), species=load_catalogue(),
        )  # fmt: skip
