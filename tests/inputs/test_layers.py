"""One layer of land data."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely

from invasimap.core.errors import CRSError, LayerError
from invasimap.core.survey_settings import Layer
from invasimap.inputs.formats.door import read_file
from invasimap.inputs.layers import read_layer
from invasimap.inputs.mend import mend_polygons


@pytest.fixture
def water(tmp_path):
    lines = [shapely.LineString([(0, k), (10, k)]) for k in range(3)]
    frame = gpd.GeoDataFrame(
        {"class": ["perennial", "dry", "perennial"], "order": [1, 2, None]}, geometry=lines, crs=26917
    )
    frame.to_file(tmp_path / "water.gpkg", layer="streams")
    return tmp_path


def _layer(**keys):
    return Layer.model_validate(keys)


def test_where_compares_as_text(water):
    def count(**where):
        return len(read_layer(_layer(file="water.gpkg", where=where), folder=water, name="water"))

    assert count(**{"class": "perennial"}) == 2
    assert count(order="1") == count(order=1) == 1
    assert count(order=[1, "2"]) == 2
    assert count(**{"class": "perennial", "order": 1}) == 1


def test_where_that_fits_nothing_is_an_error_because_it_would_free_ground(water):
    with pytest.raises(
        LayerError,
        match=r"no feature has class = 'perenial'\n    did you mean 'perennial'\? values there: 'dry', 'perennial'",
    ):
        read_layer(_layer(file="water.gpkg", where={"class": "perenial"}), folder=water, name="water")
    with pytest.raises(LayerError, match=r"no column 'klass'\n    columns: class, order"):
        read_layer(_layer(file="water.gpkg", where={"klass": 1}), folder=water, name="water")


def test_every_listed_value_needs_a_match(water):
    with pytest.raises(LayerError) as caught:
        wanted = {"class": ["perennial", "intermitent", "dyr"], "order": 9, "klass": 1}
        read_layer(_layer(file="water.gpkg", where=wanted), folder=water, name="water")
    assert [fault.what for fault in caught.value.faults] == [
        "where: no feature has class = 'intermitent'",
        "where: no feature has class = 'dyr'",
        "where: no feature has order = '9'",
        "where: no column 'klass'",
    ]
    assert caught.value.faults[1].mend == "did you mean 'dry'? values there: 'dry', 'perennial'"


def _streams(folder, *classes):
    lines = [shapely.LineString([(0, k), (10, k)]) for k in range(len(classes))]
    gpd.GeoDataFrame({"cls": classes}, geometry=lines, crs=26917).to_file(folder / "s.gpkg")


@pytest.mark.parametrize("other", ["Perennial", "PERENNIAL", "perennial "])
def test_other_spellings_of_a_wanted_value_are_never_dropped_silently(tmp_path, other):
    _streams(tmp_path, "perennial", f"  {other}", "dry")

    def read(*wanted):
        return read_layer(_layer(file="s.gpkg", where={"cls": list(wanted)}), folder=tmp_path, name="water")

    if other.strip() == "perennial":  # spaces around a value never count
        assert len(read("perennial")) == 2
        return
    with pytest.raises(LayerError, match=f"cls is spelt 'perennial', '{other}'") as caught:
        read("perennial")
    assert caught.value.faults[0].mend == f'list all that are meant: cls = ["perennial", "{other}"]'
    assert len(read("perennial", other)) == 2


def test_inner_spaces_are_a_spelling_too(tmp_path):
    _streams(tmp_path, "large  creek", "large creek", "dry")
    with pytest.raises(LayerError, match="list all that are meant"):
        read_layer(_layer(file="s.gpkg", where={"cls": "large creek"}), folder=tmp_path, name="water")
    with pytest.raises(LayerError, match="did you mean 'large  creek' and 'large creek'"):
        read_layer(_layer(file="s.gpkg", where={"cls": "Large Creek"}), folder=tmp_path, name="water")


def test_values_that_were_not_wanted_are_counted(water):
    found = read_layer(_layer(file="water.gpkg", where={"CLASS": "dry"}), folder=water, name="water")
    assert found.attrs["left_out"] == {"class": {"perennial": 2}}
    found = read_layer(_layer(file="water.gpkg", where={"order": 1}), folder=water, name="water")
    assert found.attrs["left_out"] == {"order": {"": 1, "2": 1}}
    assert read_layer(_layer(file="water.gpkg"), folder=water, name="water").attrs["left_out"] == {}


def test_values_that_never_meet_in_one_feature_are_a_fault(water):
    with pytest.raises(LayerError, match="no feature fits class and order together"):
        read_layer(_layer(file="water.gpkg", where={"class": "dry", "order": 1}), folder=water, name="water")


def test_layer_is_named_when_there_are_several(water):
    other = gpd.GeoDataFrame({"a": [1]}, geometry=[shapely.Point(0, 0)], crs=26917)
    other.to_file(water / "water.gpkg", layer="springs")
    with pytest.raises(LayerError, match="layers: streams, springs"):
        read_layer(_layer(file="water.gpkg"), folder=water, name="water")
    with pytest.raises(LayerError, match="did you mean 'springs'"):
        read_layer(_layer(file="water.gpkg", layer="spring"), folder=water, name="water")
    assert len(read_layer(_layer(file="water.gpkg", layer="springs"), folder=water, name="water")) == 1


@pytest.mark.parametrize("name", ["water.gpkg", "water.gdb"])
def test_of_a_file_with_several_layers_the_named_one_alone_is_read(water, name):
    for layer in ("streams", "springs", "ponds"):
        frame = gpd.GeoDataFrame({"a": [layer]}, geometry=[shapely.Point(0, 0)], crs=26917)
        frame.to_file(water / name, layer=layer, driver="GPKG" if name.endswith("gpkg") else "OpenFileGDB")
    (found,) = read_file(water / name, label="w", only="springs")
    assert (found.layer, found.label, found.frame["a"].tolist()) == ("springs", "w:springs", ["springs"])
    assert len(read_file(water / name, label="w", only="spring")) == 3  # no such layer: whoever asks is told of all


def test_only_layer_with_geometry_needs_no_name(water):
    empty = gpd.GeoDataFrame({"a": [1]}, geometry=gpd.GeoSeries([None], crs=26917))
    empty.to_file(water / "water.gpkg", layer="empty", geometry_type="Point")
    assert len(read_layer(_layer(file="water.gpkg"), folder=water, name="water")) == 3


def test_crs_setting_is_used_only_where_the_file_does_not_say(tmp_path, water):
    assert read_layer(_layer(file="water.gpkg", crs="EPSG:4326"), folder=water, name="water").crs.to_epsg() == 26917
    (tmp_path / "wells.csv").write_text("id,X,Y\n007,500000,4200000\n")
    with pytest.raises(CRSError, match='set crs = "EPSG:…" for wells'):
        read_layer(_layer(file="wells.csv"), folder=tmp_path, name="wells")
    wells = read_layer(_layer(file="wells.csv", crs="EPSG:26917"), folder=tmp_path, name="wells")
    assert wells.crs.to_epsg() == 26917
    assert wells["id"].tolist() == ["007"]
    (tmp_path / "gates.csv").write_text("id,lon,lat\n1,-80,38\n")
    assert read_layer(_layer(file="gates.csv"), folder=tmp_path, name="gates").crs.to_epsg() == 4326


def test_missing_file_and_missing_geometry(tmp_path):
    with pytest.raises(LayerError, match=r"wells: nope.csv: there is no such file"):
        read_layer(_layer(file="nope.csv"), folder=tmp_path, name="wells")
    (tmp_path / "gates.csv").write_text("id,lon,lat\n1,-80,38\n2,,38\n")
    gates = read_layer(_layer(file="gates.csv"), folder=tmp_path, name="gates")
    assert gates["id"].tolist() == ["1"]
    assert gates.attrs["notes"] == [
        "gates: gates.csv: 1 features without usable geometry left out (records 2): lon is blank"
    ]


def test_bow_tie_stand_is_mended_to_its_two_lobes(tmp_path):
    bow = shapely.Polygon([(0, 0), (2, 2), (2, 0), (0, 2)])
    gpd.GeoDataFrame({"stand": ["A"]}, geometry=[bow], crs=26917).to_file(tmp_path / "stands.gpkg")
    stands = read_layer(_layer(file="stands.gpkg"), folder=tmp_path, name="stands")
    assert stands.is_valid.all()
    assert stands.area.item() == pytest.approx(2.0)  # two triangles of base 2 and height 1
    assert "1 outlines that cross themselves were mended" in stands.attrs["notes"][0]


def test_gpx_and_kml_parts_are_layers(tmp_path):
    (tmp_path / "ways.gpx").write_text(
        '<gpx xmlns="http://www.topografix.com/GPX/1/1"><wpt lat="38" lon="-80">'
        "<name>gate</name></wpt><trk><name>road</name>"
        '<trkseg><trkpt lat="38" lon="-80"/><trkpt lat="38.1" lon="-80"/></trkseg></trk></gpx>'
    )
    with pytest.raises(LayerError, match="layers: waypoints, tracks"):
        read_layer(_layer(file="ways.gpx"), folder=tmp_path, name="ways")
    ways = read_layer(_layer(file="ways.gpx", layer="tracks"), folder=tmp_path, name="ways")
    assert ways.geom_type.tolist() == ["LineString"]
    assert ways["name"].tolist() == ["road"]
    marks = "".join(
        f"<Folder><name>{f}</name><Placemark><name>{f}1</name>"
        "<Point><coordinates>-80,38</coordinates></Point></Placemark></Folder>"
        for f in ("wells", "gates")
    )
    (tmp_path / "a.kml").write_text(f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{marks}</Document></kml>')
    assert read_layer(_layer(file="a.kml", layer="gates"), folder=tmp_path, name="x")["name"].tolist() == ["gates1"]


def test_line_without_length_is_kept_as_a_point(tmp_path):
    line = '{"type":"Feature","properties":{},"geometry":{"type":"LineString","coordinates":[[-80,38],[-80,38]]}}'
    (tmp_path / "a.geojson").write_text('{"type":"FeatureCollection","features":[' + line + "]}")
    springs = read_layer(_layer(file="a.geojson"), folder=tmp_path, name="springs")
    assert springs.geometry.tolist() == [shapely.Point(-80, 38)]
    assert "1 lines without length" in springs.attrs["notes"][0]


def test_mending_keeps_polygons_only_however_deep_they_lie(tmp_path):
    # a bow tie of two triangles of 1 m2 in a collection in a collection, beside a line and a point
    bow = shapely.Polygon([(0, 0), (2, 2), (2, 0), (0, 2)])
    inner = shapely.GeometryCollection([bow, shapely.LineString([(5, 5), (6, 6)])])
    (found,) = mend_polygons(np.array([shapely.GeometryCollection([inner, shapely.Point(9, 9)])], dtype=object))
    assert found.geom_type == "MultiPolygon"
    assert found.area == pytest.approx(2.0, rel=1e-12)
