"""Curves, heights and measures of geometry: read as ground in the plane, and said where a curve becomes chords."""

from __future__ import annotations

import json
import struct

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely

from invasimap.core.crs import to_lonlat, working_crs

WORDS = {"species": "ROMU", "cover": "50", "radius_ft": "10"}
POINTS = shapely.points([[-80, 38, 120.5], [-80.001, 38, -3.0]])
UTM = 32617


def _square(lon: float, lat: float, *extra: float) -> list[list[float]]:
    corners = [(lon, lat), (lon + 0.001, lat), (lon + 0.001, lat + 0.001), (lon, lat + 0.001), (lon, lat)]
    return [[*corner, *extra] for corner in corners]


@pytest.mark.parametrize("name", ["a.gpkg", "a.shp", "a.fgb", "a.parquet"])
def test_heights_of_points_change_nothing(name, tmp_path, read):
    frame = gpd.GeoDataFrame({k: [v] * 2 for k, v in WORDS.items()}, geometry=POINTS, crs=4326)
    if name.endswith("parquet"):
        frame.to_parquet(tmp_path / name)
    else:
        frame.to_file(tmp_path / name)
    survey = read(name)
    assert survey.ledger["accepted"].tolist() == [2]
    assert not shapely.has_z(survey.patches.geometry).any()
    assert survey.patches.area.tolist() == pytest.approx([np.pi * 3.048**2] * 2)


def test_a_measured_shapefile_is_read_by_its_places(tmp_path, read):
    # PointM (21) by hand after the format's published description: a measure that is no number is allowed
    content = struct.pack("<iddd", 21, -80.0, 38.0, -1e39)
    header = struct.pack(">7i", 9994, 0, 0, 0, 0, 0, (100 + 8 + len(content)) // 2)
    header += struct.pack("<2i8d", 1000, 21, -80, 38, -80, 38, 0, 0, 0, 0)
    (tmp_path / "a.shp").write_bytes(header + struct.pack(">2i", 1, len(content) // 2) + content)
    index = header[:24] + struct.pack(">i", (100 + 8) // 2) + header[28:]
    (tmp_path / "a.shx").write_bytes(index + struct.pack(">2i", 50, len(content) // 2))
    pyogrio.write_dataframe(gpd.GeoDataFrame([WORDS], geometry=[shapely.Point(0, 0)], crs=4326), tmp_path / "b.shp")
    for part in ("dbf", "prj", "cpg"):
        (tmp_path / f"a.{part}").write_bytes((tmp_path / f"b.{part}").read_bytes())
    survey = read("a.shp")
    assert survey.ledger["accepted"].tolist() == [1]
    middle = survey.patches.geometry.centroid[0]
    assert abs(middle.x) < 1e-6 and abs(middle.y) < 1e-6  # the system is centred on 80 W, 38 N


def test_fourth_numbers_of_geojson_are_passed_over(write, read):
    shape = {"type": "Polygon", "coordinates": [_square(-80, 38, 250.0, 7.0)]}
    write("a.geojson", json.dumps({"type": "Feature", "properties": WORDS, "geometry": shape}))
    survey = read("a.geojson")
    # one thousandth of a degree at 38 N on WGS 84: 110.99 m north, 87.84 m east
    assert survey.patches.area[0] == pytest.approx(110.99 * 87.84, rel=1e-3)


@pytest.mark.parametrize("text", ["POINT ZM (-80 38 250 7)", "POINT M (-80 38 7)", "POINT Z (-80 38 250)"])
def test_wkt_of_more_dimensions_is_a_place(text, write, read):
    write("a.csv", f'species,cover,radius_ft,wkt\nROMU,50,10,"{text}"\n')
    survey = read("a.csv", crs="EPSG:4326")
    assert len(survey.patches) == 1
    assert abs(survey.patches.geometry.centroid[0].x) < 1e-6


def test_a_circle_drawn_as_arcs_covers_its_ground_and_is_said(tmp_path, read):
    crs = working_crs(-80, 38)
    x, y = to_lonlat(crs).transform(0, 0)
    assert (x, y) == pytest.approx((-80, 38))
    east, north = gpd.GeoSeries([shapely.Point(-80, 38)], crs=4326).to_crs(UTM)[0].coords[0]
    frame = gpd.GeoDataFrame([WORDS], geometry=[shapely.box(east, north, east + 1, north + 1)], crs=UTM)
    pyogrio.write_dataframe(frame, tmp_path / "a.gpkg", geometry_type="Unknown", layer="a")
    _replace_geometry(tmp_path / "a.gpkg", _circle(east, north, radius=50.0))
    survey = read("a.gpkg")
    assert any("curves are drawn as chords" in note for note in survey.notes)
    assert survey.patches.area[0] == pytest.approx(np.pi * 50**2, rel=2e-3)


def _circle(east: float, north: float, *, radius: float) -> bytes:
    """A CURVEPOLYGON of one CIRCULARSTRING of two half circles, as ISO WKB in a GeoPackage blob without envelope."""
    ends = [(east - radius, north), (east, north + radius), (east + radius, north), (east, north - radius)]
    ring = struct.pack("<BII", 1, 8, 5) + b"".join(struct.pack("<dd", *xy) for xy in [*ends, ends[0]])
    return struct.pack("<2sBBi", b"GP", 0, 1, UTM) + struct.pack("<BII", 1, 10, 1) + ring


def _replace_geometry(path, blob: bytes) -> None:
    import sqlite3

    with sqlite3.connect(path) as db:
        for (trigger,) in db.execute("select name from sqlite_master where type = 'trigger'").fetchall():
            db.execute(f'drop trigger "{trigger}"')
        db.execute("update a set geom = ?", (blob,))
    db.close()
