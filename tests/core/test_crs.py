"""The working system: true areas, and no layer without a system gets in."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from pyproj import CRS, Geod

from invasimap.core.crs import require_same_metres, to_working, working_crs
from invasimap.core.errors import CRSError

ACRE = 4046.8564224


def test_block_of_a_hundredth_degree_is_237_6216_acres():
    block = shapely.Polygon([(-86.5, 39.0), (-86.49, 39.0), (-86.49, 39.01), (-86.5, 39.01)])
    layer = gpd.GeoDataFrame(geometry=[block], crs=4326)
    moved = to_working(layer, working_crs(-86.495, 39.005), name="block")
    assert moved.area.sum() / ACRE == pytest.approx(237.621557881, rel=1e-6)


@pytest.mark.parametrize("lat", [25.0, 45.0, 65.0])
@pytest.mark.parametrize("side_m", [1_000.0, 10_000.0, 50_000.0])
def test_area_is_geodesic_area(lat, side_m):
    step = side_m / 111_000
    ring = [(-80, lat), (-80 + step, lat), (-80 + step, lat + step), (-80, lat + step)]
    layer = gpd.GeoDataFrame(geometry=[shapely.segmentize(shapely.Polygon(ring), 0.001)], crs=4326)
    area, _ = Geod(ellps="WGS84").geometry_area_perimeter(layer.geometry[0])
    moved = to_working(layer, working_crs(-80 + step / 2, lat + step / 2), name="tract")
    assert moved.area.sum() == pytest.approx(area, rel=1e-6)


def test_heights_are_dropped_and_long_edges_bend():
    line = gpd.GeoDataFrame(geometry=[shapely.LineString([(300_000, 4.3e6, 5), (310_000, 4.3e6, 9)])], crs=26917)
    moved = to_working(line, working_crs(-83.0, 38.8), name="road").geometry[0]
    assert not moved.has_z
    assert len(moved.coords) == 21


def test_layers_of_two_systems_are_named():
    a = gpd.GeoDataFrame(geometry=[shapely.Point(0, 0)], crs=26916)
    b = gpd.GeoDataFrame(geometry=[shapely.Point(0, 0)], crs=4326)
    with pytest.raises(CRSError, match=r"stands is .*metre.* survey is WGS 84 \(degree\)"):
        require_same_metres(stands=a, survey=b)
    with pytest.raises(CRSError, match=r'as with survey.to_crs\("EPSG:26916"\)'):
        require_same_metres(survey=b, stands=a)
    with pytest.raises(CRSError, match="one system in metres, such as the UTM zone, with to_crs"):
        require_same_metres(survey=b)
    with pytest.raises(CRSError, match="survey: has no coordinate reference system"):
        require_same_metres(survey=gpd.GeoDataFrame(geometry=[shapely.Point(0, 0)]))


def test_working_crs_survives_its_own_text():
    crs = working_crs(-78.14, 38.89)
    assert CRS.from_wkt(crs.to_wkt()) == crs
    assert "38.890, -78.140" in crs.name
    assert np.isclose(crs.axis_info[0].unit_conversion_factor, 1.0)
