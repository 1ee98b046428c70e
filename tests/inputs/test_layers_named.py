"""``layers`` of a ``[[survey]]`` block: which layers of a file are read, and that the others are said."""

from __future__ import annotations

import geopandas as gpd
import pytest
import shapely

from invasimap.core.errors import LayerError

SIZE = {"radius": "10 ft", "cover": "50 %"}


@pytest.fixture
def package(tmp_path):
    points = shapely.points([[-80.0, 38.0], [-80.001, 38.0]])
    for layer, names in (("patches", ["ROMU", "LOJA"]), ("stations", ["a", "b"])):
        gpd.GeoDataFrame({"species": names}, geometry=points, crs=4326).to_file(tmp_path / "a.gpkg", layer=layer)


def test_only_the_named_layer_is_read_and_the_other_said(package, read):
    survey = read("a.gpkg", layers=["patches"], defaults=SIZE)
    assert survey.ledger.to_numpy().tolist() == [["a.gpkg", 2, 0, 2, 0]]
    assert any("not read: stations" in note for note in survey.notes)


def test_all_layers_are_read_where_none_is_named(package, read):
    assert read("a.gpkg", defaults=SIZE).ledger["records"].tolist() == [2, 2]


def test_a_layer_that_no_file_has_is_a_fault(package, read):
    with pytest.raises(LayerError, match="has a layer 'patch'"):
        read("a.gpkg", layers=["patch"], defaults=SIZE)


def test_parts_of_a_receivers_file_are_layers(write, read):
    body = "<wpt lat='38' lon='-80'><name>ROMU</name></wpt><rte><name>x</name><rtept lat='38' lon='-80'/></rte>"
    write("a.gpx", f'<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">{body}</gpx>')
    assert read("a.gpx", layers=["waypoints"], defaults=SIZE).ledger.to_numpy().tolist() == [["a.gpx", 1, 0, 1, 0]]
