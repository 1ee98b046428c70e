"""Files made to hang the reader or to fill the memory: one reason, one row of the account, little time."""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
import shutil
import sqlite3
import struct
import tempfile
import zipfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import openpyxl
import pyarrow.parquet as pq
import pytest
import shapely

from invasimap.core.errors import InputError, LayerError
from invasimap.core.survey_settings import Layer
from invasimap.core.toml_file import read_tract
from invasimap.inputs.formats import xml
from invasimap.inputs.formats.archive import read_members
from invasimap.inputs.formats.raw import unique_name
from invasimap.inputs.layers import read_layer
from invasimap.inputs.mend import tangled
from invasimap.land.layers import read_land

HEAD = "species,cover,radius_ft,lon,lat\n"
ROW = "ROMU,50,10,-80,38\n"
SIZE = {"radius": "10 ft", "width": "12 ft", "cover": "50 %"}
GPX = '<?xml version="1.0"?>{}<gpx version="1.1">{}</gpx>'
SHEET = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"


def _star(count):
    """A ring through random places: nearly every side crosses every third other one."""
    xy = np.random.default_rng(1).uniform(-1, 1, (count, 2)) * 3e-4 + [-80, 38]
    return np.vstack([xy, xy[:1]])


def _comb(count):
    """Long zigzags east to west and north to south over one another: each tooth of one crosses all of the other."""
    step = np.arange(count // 2) / count * 2e-4
    side = np.where(np.arange(count // 2) % 2, 1e-4, 0)
    xy = np.vstack([np.column_stack([side, step]), np.column_stack([step, side])]) + [-80, 38]
    return np.vstack([xy, xy[:1]])


def _noisy(count):
    """A ring of which every fourth pair of places is swapped: many small crossings, none that tangles."""
    turn = np.linspace(0, 2 * np.pi, count, endpoint=False)
    xy = np.column_stack([-80 + 3e-4 * np.cos(turn), 38 + 3e-4 * np.sin(turn)])
    xy[1::4], xy[2::4] = xy[2::4].copy(), xy[1::4].copy()
    return np.vstack([xy, xy[:1]])


def _write_shape(write, kind, coordinates):
    geometry = {"type": kind, "coordinates": coordinates}
    feature = {"type": "Feature", "properties": {"species": "ROMU", "area": "100 m2"}, "geometry": geometry}
    write("a.geojson", json.dumps({"type": "FeatureCollection", "features": [feature]}))


def _reasons(survey):
    return survey.set_aside["reason"].tolist()


@pytest.mark.parametrize("ring", [_star(1_500), _star(20_000), _comb(20_000)], ids=["star", "large star", "comb"])
@pytest.mark.parametrize("kind", ["Polygon", "LineString"])
def test_a_tangle_is_set_aside_not_mended_for_minutes(ring, kind, write, read):
    _write_shape(write, kind, [ring.tolist()] if kind == "Polygon" else ring.tolist())
    survey = read("a.geojson", defaults=SIZE)
    assert survey.ledger.iloc[0].tolist() == ["a.geojson", 1, 0, 0, 1]
    assert "crosses itself at too many places to be mended" in _reasons(survey)[0]


@pytest.mark.parametrize("count", [1_500, 20_000])
def test_a_land_layer_that_is_a_tangle_says_so(count, write, tmp_path):
    _write_shape(write, "Polygon", [_star(count).tolist()])
    lost = read_layer(Layer(file="a.geojson"), folder=tmp_path, name="[stands]").attrs["lost"]
    assert len(lost) == 1 and "crosses itself at too many places" in lost[0]


def test_an_outline_with_thousands_of_small_crossings_is_mended(write, read):
    ring = _noisy(40_000)
    assert not shapely.is_valid(shapely.Polygon(ring))
    _write_shape(write, "Polygon", [ring.tolist()])
    survey = read("a.geojson", defaults=SIZE)
    assert survey.ledger["repaired"].tolist() == [1]
    # 3e-4 degree: 26.34 m east and 33.30 m north at 38 N, of an ellipse pi a b
    assert survey.patches.area.item() == pytest.approx(np.pi * 26.34 * 33.30, rel=2e-3)


def test_whether_shapes_are_tangles_is_told_one_by_one():
    shapes = np.array([shapely.Polygon(_star(1_500)), None, shapely.Point(0, 0), shapely.Polygon(_noisy(4_000))])
    assert tangled(shapes).tolist() == [True, False, False, False]
    many = np.array([shapely.Polygon(_star(350))] * 20, dtype=object)  # about 27,000 meetings each
    assert tangled(many)[0] == np.False_ and tangled(many)[-1] == np.True_


def test_a_record_of_too_many_parts_is_set_aside(write, read):
    side = 1e-8
    parts = [
        [[[-80 + n * side, 38], [-80 + n * side, 38 + side], [-80, 38], [-80 + n * side, 38]]] for n in range(50_001)
    ]
    _write_shape(write, "MultiPolygon", parts)
    assert "has 50,001 parts; the limit is 50,000" in _reasons(read("a.geojson"))[0]
    _write_shape(write, "MultiPoint", [[-80 + n * 1e-7, 38] for n in range(501)])
    assert "has 501 parts; the limit is 500" in _reasons(read("a.geojson"))[0]


def test_how_many_parts_and_columns_are_too_many_can_be_set(write, read):
    square = [[0, 0], [1e-5, 0], [1e-5, 1e-5], [0, 1e-5], [0, 0]]
    _write_shape(write, "MultiPolygon", [[[[-80 + 2e-5 * n + x, 38 + y] for x, y in square]] for n in range(3)])
    write("a.csv", f"{HEAD.strip()},a\n{ROW.strip()},1\n")
    assert read("a.geojson", "a.csv", intake={"limits": {"parts": 3, "columns": 6}}).ledger["set_aside"].sum() == 0
    for limits in ({"parts": 2, "columns": 6}, {"parts": 3, "columns": 5}):
        (reason,) = _reasons(read("a.geojson", "a.csv", intake={"limits": limits}))
        assert re.search(r"has [36] (parts|columns); the limit is [25]: ?.*in \[intake\.limits\]|columns", reason)


def test_what_is_too_large_is_set_for_land_layers_too(write, tmp_path):
    square = [[-80, 38], [-79.999, 38], [-79.999, 38.001], [-80, 38.001], [-80, 38]]
    _write_shape(write, "Polygon", [square])
    text = """[tract]\nname = "A"\n[stands]\nfile = "a.geojson"\nid = "species"\n[[survey]]\nfiles = ["b.csv"]\n"""
    write("tract.toml", text)
    assert len(read_land(read_tract(tmp_path)).stands) == 1
    write("tract.toml", f"{text}[intake.limits]\nvertices = 4\n")
    with pytest.raises(InputError, match="has 5 vertices; the limit is 4"):
        read_land(read_tract(tmp_path))


def test_huge_shapes_after_others_are_set_aside(write, read, monkeypatch):
    """Squares of five vertices where one may have twenty: forty are read together, those of eight squares."""
    monkeypatch.setattr("invasimap.inputs.formats.door._HUGE", 4)
    square = [[-80, 38], [-79.999, 38], [-79.999, 38.001], [-80, 38.001], [-80, 38]]
    shape = {"type": "Feature", "properties": {"species": "ROMU"}, "geometry": {"type": "Polygon"}}
    for count, kept in ((8, 8), (9, 8)):
        parts = [shape | {"geometry": {"type": "Polygon", "coordinates": [square]}} for _ in range(count)]
        write("a.geojson", json.dumps({"type": "FeatureCollection", "features": parts}))
        survey = read("a.geojson", intake={"limits": {"vertices": 20}, "merge_copies": False})
        assert len(survey.patches) == kept
        assert all("over 40 vertices" in reason for reason in _reasons(survey))


def _zip(*members, method=zipfile.ZIP_DEFLATED):
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", method) as archive:
        for name, content in members:
            archive.writestr(name, content)
    return held.getvalue()


@pytest.mark.parametrize("method", [zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2])
@pytest.mark.parametrize(("name", "member"), [("a.zip", "a.csv"), ("a.kmz", "a.kml"), ("a.xlsx", "xl/workbook.xml")])
def test_a_member_larger_than_it_says_is_not_unpacked(name, member, method, write, refused, monkeypatch):
    size = 30_000_000
    packed = _zip((member, b" " * size), method=method)
    write(name, packed.replace(struct.pack("<I", size), struct.pack("<I", 1_000)))
    taken = []
    read = zipfile.ZipExtFile.read
    monkeypatch.setattr(zipfile.ZipExtFile, "read", lambda self, n=-1: taken.append(n) or read(self, n))
    assert re.search("is no whole (zip archive|workbook): Bad CRC-32", refused(name))
    assert taken and all(0 < n <= 65_536 for n in taken)  # of all that is in it, a piece at a time


def test_members_are_read_whole(tmp_path):
    content = np.random.default_rng(1).bytes(100_000)
    (tmp_path / "a.zip").write_bytes(_zip(("a.csv", content), ("b.csv", b"")))
    assert read_members(tmp_path / "a.zip", label="a", suffixes=(".csv",)) == {"a.csv": content, "b.csv": b""}


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
@pytest.mark.parametrize(
    "part", ["xl/workbook.xml", "xl/sharedStrings.xml", "xl/_rels/workbook.xml.rels", "docProps/app.xml"]
)
def test_a_workbook_that_declares_entities_is_refused(part, encoding, write, refused):
    laughs = "".join(f'<!ENTITY {chr(98 + n)} "{("&" + chr(97 + n) + ";") * 10}">' for n in range(9))
    bomb = f'<?xml version="1.0" encoding="{encoding}"?>{" " * 4090}<!DOCTYPE x [<!ENTITY a "ha">{laughs}]><x>&j;</x>'
    parts = {"xl/workbook.xml": f'<workbook xmlns="{SHEET}"/>'} | {part: bomb.encode(encoding)}
    write("a.xlsx", _zip(*parts.items()))
    assert f"declares XML entities, which are refused ({part})" in refused("a.xlsx")


@pytest.mark.parametrize("place", ["lon", "species", "cover", "radius", "date", "height", "accuracy", "notes"])
@pytest.mark.parametrize(
    "cell", ["1" + " " * 50_000 + "x", "1" * 50_000, "°" * 50_000, "38° " * 12_000, "1.,-/" * 10_000, "(" * 50_000]
)
def test_a_cell_of_megabytes_costs_one_record_at_most(place, cell, write, read):
    columns = {"species": "ROMU", "cover": "50", "radius": "10 ft", "lon": "-80", "lat": "38", place: f'"{cell}"'}
    write(
        "a.csv",
        f"{','.join(columns)}\n{','.join(columns.values())}\nROMU,50,10 ft,-80.0001,38{',' * (len(columns) - 5)}\n",
    )
    survey = read("a.csv")
    assert survey.ledger["records"].tolist() == [2]
    assert 2 in survey.patches["record"].tolist()
    said = [*_reasons(survey), *survey.repaired["how"]]
    assert place == "notes" or len(said) == 1


def test_a_description_without_end_is_read_in_little_time(write, read):
    wpt = f"<wpt lat='38' lon='-80'><name>ROMU</name><desc>{'a' * 50_000}; cover: 25 %</desc></wpt>"
    write("a.gpx", GPX.format("", wpt))
    assert read("a.gpx", defaults=SIZE).patches["cover_pct"].tolist() == [25]


def test_a_table_of_too_many_columns_is_refused(write, refused):
    write("a.csv", f"{HEAD.strip()}{',a' * 100_000}\n{ROW.strip()}{',1' * 100_000}\n")
    assert "has 100,005 columns; the limit is 5,000" in refused("a.csv")
    write("a.csv", f"{HEAD}{ROW}{ROW.strip()}{',1' * 6_000}\n")
    assert "has 6,005 columns; the limit is 5,000" in refused("a.csv")


@pytest.mark.parametrize("line", ["," * 2_000_000, "x" * 51_000_000], ids=["commas", "one cell"])
def test_a_line_without_end_is_refused(line, write, refused):
    write("a.csv", f"{HEAD}{ROW}{line}")
    assert re.search("line 3 has over [0-9,]+ signs: it is no table", refused("a.csv"))


def test_a_name_that_comes_often_is_numbered_in_order():
    taken = {"a": None}
    for _ in range(2_000):
        taken[unique_name("a", taken)] = None
    assert list(taken) == ["a", *(f"a_{n}" for n in range(2, 2_002))]


def test_a_waypoint_with_one_name_many_times_keeps_every_value(write, read):
    values = "".join(f"<t>{n}</t>" for n in range(20_000))
    wpt = f"<wpt lat='0' lon='0'><name>ROMU</name><extensions>{values}</extensions></wpt>"
    write("a.gpx", GPX.format("", wpt))
    raw = json.loads(read("a.gpx").set_aside["raw"][0])
    kept = [*raw.values(), *json.loads(raw.pop("other values")).values()]
    assert {str(n) for n in range(20_000)} <= set(kept)


STRANGE = {
    "a folder": lambda path: path.mkdir(),
    "a pipe": os.mkfifo,
    "a device": lambda path: path.symlink_to("/dev/zero"),
    "a loop": lambda path: path.symlink_to(path.name),
    "a dangling link": lambda path: path.symlink_to("nowhere"),
}


@pytest.mark.parametrize("kind", STRANGE)
def test_what_is_no_plain_file_is_refused(kind, tmp_path):
    STRANGE[kind](tmp_path / "a.geojson")
    with pytest.raises(LayerError, match=r"\[stands\]: a\.geojson: (is|cannot)"):
        read_layer(Layer(file="a.geojson"), folder=tmp_path, name="[stands]")


@pytest.mark.parametrize(("kind", "said"), [
    ("a folder", "is a folder, not a file"),
    ("a pipe", "is no plain file"),
    ("a device", "is no plain file"),
    ("a loop", "is a link to a file that is not there"),
    ("a dangling link", "is a link to a file that is not there"),
])  # fmt: skip
def test_a_survey_named_by_its_path_that_is_no_plain_file_is_said_to_be_none(kind, said, read, tmp_path):
    STRANGE[kind](tmp_path / "a[1].csv")
    with pytest.raises(LayerError, match=rf"\[\[survey\]\] 1: a\[1\]\.csv: {said}"):
        read("a[1].csv")
    with pytest.raises(LayerError, match=r"a\*\.csv: matches no file"):
        read("a*.csv")


@pytest.fixture
def locked(read):
    """A folder with a table that may be read, one that may not, and a folder that may not be entered; not as root."""
    home = Path(tempfile.mkdtemp())
    home.chmod(0o755)
    for name in ("good.csv", "shut.csv", "cellar/a.csv"):
        (home / name).parent.mkdir(exist_ok=True)
        (home / name).write_text(HEAD + ROW, encoding="utf-8")
    read(str(home / "good.csv"))  # with all that is loaded when first used
    (home / "shut.csv").chmod(0)
    (home / "cellar").chmod(0)
    user = os.geteuid()
    if user == 0:
        os.seteuid(65_534)
    yield home
    os.seteuid(user)
    (home / "cellar").chmod(0o755)
    shutil.rmtree(home)


def test_files_that_may_not_be_read_say_so(locked, read):
    survey = read(f"{locked}/*.csv", f"{locked}/good.csv")
    assert dict(zip(survey.ledger["file"].map(os.path.basename), survey.ledger["set_aside"], strict=True)) == {
        "good.csv": 0, "shut.csv": 1,
    }  # fmt: skip
    assert "may not be read: you have no permission" in _reasons(survey)[0]
    with pytest.raises(LayerError, match=r"\[stands\]: shut\.csv: may not be read"):
        read_layer(Layer(file="shut.csv"), folder=locked, name="[stands]")
    with pytest.raises(LayerError, match=r"cellar/a\.csv: (may not be read|cannot be read)"):
        read_layer(Layer(file="cellar/a.csv"), folder=locked, name="[stands]")
    for pattern in ("cellar/a.csv", "cellar/*.csv", "cellar/**/*.csv"):
        with pytest.raises(LayerError, match=r"cellar/.*: may not be read: you have no permission for its folder"):
            read(f"{locked}/{pattern}")


def test_a_pattern_goes_round_no_loop_of_links(write, read, tmp_path):
    for name in ("a.csv", "one/b.csv", "one/two/c.csv", ".hidden/d.csv"):
        write(name, HEAD + ROW.replace("-80", f"-80.00{len(name):02}"))
    for number in range(12):
        (tmp_path / "one" / f"link{number}").symlink_to("..")
    assert read("**/*.csv").ledger["file"].tolist() == ["a.csv", "one/b.csv", "one/two/c.csv"]
    assert read("one/**/*.csv").ledger["file"].tolist() == ["one/b.csv", "one/two/c.csv"]


def test_wkt_without_end_costs_one_record(write, read):
    deep = "GEOMETRYCOLLECTION(" * 60_000 + "POINT(-80 38)" + ")" * 60_000
    write("a.csv", f'species,wkt\nROMU,"{deep}"\nROMU,POINT(-80 38)\n')
    survey = read("a.csv", defaults=SIZE)
    assert survey.patches["record"].tolist() == [2]
    assert "is nested too deep" in _reasons(survey)[0]


@pytest.mark.parametrize(("order", "code"), [("<", 7), (">", 7), ("<", 1007), ("<", 0x80000007)])
@pytest.mark.parametrize("first", [b"", struct.pack("<BIdd", 1, 1, -80, 38)], ids=["alone", "after a point"])
def test_a_shape_without_end_refuses_its_parquet(order, code, first, tmp_path, refused):
    level = struct.pack(f"{order}BII", order == "<", code, 1 + bool(first)) + first
    deep = level * 100_000 + struct.pack("<BIdd", 1, 1, -80, 38)
    frame = gpd.GeoDataFrame({"species": ["ROMU"]}, geometry=[shapely.Point(-80, 38)], crs=4326)
    frame.to_parquet(tmp_path / "b.parquet")
    table = pq.read_table(tmp_path / "b.parquet")
    place = table.column_names.index("geometry")
    pq.write_table(table.set_column(place, table.schema.field("geometry"), [[deep]]), tmp_path / "a.parquet")
    assert "has a shape that is nested too deep" in refused("a.parquet")


def _with_view(path, column):
    """A GeoPackage of a point, with a view of it a hundred times and a column that is worked out."""
    frame = gpd.GeoDataFrame({"species": ["ROMU"]}, geometry=[shapely.Point(-80, 38)], crs=4326)
    frame.to_file(path, layer="a")
    with contextlib.closing(sqlite3.connect(path)) as database:
        count = "WITH RECURSIVE r(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM r WHERE n < 100)"
        database.execute(
            f"CREATE VIEW v AS {count} SELECT n AS fid, (SELECT geom FROM a) AS geom, {column} AS x FROM r"
        )
        database.execute("INSERT INTO gpkg_contents (table_name, data_type, srs_id) VALUES ('v', 'features', 4326)")
        database.execute("INSERT INTO gpkg_geometry_columns VALUES ('v', 'geom', 'POINT', 4326, 0, 0)")
        database.commit()


@pytest.mark.parametrize(("column", "said"), [
    ("hex(zeroblob(200000000))", "string or blob too big"),
    ("zeroblob(3000000)", "its view 'v' gives over 200 MB"),
])  # fmt: skip
def test_a_view_that_fills_the_memory_refuses_its_geopackage(column, said, tmp_path, refused):
    _with_view(tmp_path / "a.gpkg", column)
    assert said in refused("a.gpkg")


def test_a_view_of_a_geopackage_is_read(tmp_path, read):
    _with_view(tmp_path / "a.gpkg", "'ROMU'")
    assert read("a.gpkg", layers=["v"], columns={"species": "x"}, defaults=SIZE).ledger["records"].tolist() == [100]


@pytest.mark.parametrize("kind", ["dbf", "shx", "prj"])
def test_a_part_of_a_shapefile_that_is_too_large_refuses_it(kind, tmp_path, refused):
    frame = gpd.GeoDataFrame({"species": ["ROMU"]}, geometry=[shapely.Point(-80, 38)], crs=4326)
    frame.to_file(tmp_path / "a.shp")
    os.truncate(tmp_path / f"a.{kind}", 3_000_000_000)  # sparse
    assert "is 3,000 MB; the limit is 200 MB" in refused("a.shp")


def test_a_row_far_below_the_end_of_any_sheet_is_refused(tmp_path, refused):
    book = openpyxl.Workbook()
    book.active.append(HEAD.strip().split(","))
    book.active.append(ROW.strip().split(","))
    book.save(tmp_path / "b.xlsx")
    with zipfile.ZipFile(tmp_path / "b.xlsx") as source, zipfile.ZipFile(tmp_path / "a.xlsx", "w") as target:
        for name in source.namelist():
            target.writestr(name, source.read(name).replace(b'r="2"', b'r="2000000000"'))
    assert "has over 10,000,000 cells or 1,048,576 rows" in refused("a.xlsx")


def test_a_value_that_parquet_keeps_once_for_every_row_counts_in_every_row(tmp_path, read):
    count = 20_000
    frame = gpd.GeoDataFrame({"notes": ["x" * 1_000] * count}, geometry=[shapely.Point(-80, 38)] * count, crs=4326)
    frame.to_parquet(tmp_path / "a.parquet")
    assert (tmp_path / "a.parquet").stat().st_size < 1_000_000
    survey = read("a.parquet", intake={"limits": {"unpacked": "5 MB"}})
    assert survey.set_aside["record"].tolist() == [0]
    assert "unpacks to over 5 MB" in survey.set_aside["reason"][0]


GPX_POINTS = "<trk><trkseg>{}</trkseg></trk>"
KML = "<kml><Document>{}</Document></kml>"
PLACEMARK = "<Placemark><name>ROMU</name><Point><coordinates>-80,38</coordinates></Point></Placemark>"


@pytest.mark.parametrize(("name", "text"), [
    ("a.gpx", GPX.format("", '<wpt lat="38" lon="-80"/><rte/><trk><trkseg><trkpt lat="38" lon="-80"/></trkseg></trk>')),
    ("a.kml", KML.format(PLACEMARK * 3)),
])  # fmt: skip
def test_records_of_xml_are_counted_before_they_are_read(name, text, write, read, refused):
    write(name, text)
    assert "has 3 records; the limit is 2" in refused(name, intake={"limits": {"xml_records": 2}})
    assert read(name, intake={"limits": {"xml_records": 3}}).ledger["records"].sum() == 3


def test_points_of_a_track_are_counted_before_they_are_read(write, refused):
    write("a.gpx", GPX.format("", GPX_POINTS.format('<trkpt lat="38" lon="-80"/>' * 100_009)))
    assert "has 100,009 points; the limit is 100,008" in refused("a.gpx", intake={"limits": {"vertices": 4}})


def test_tags_of_any_name_are_counted_before_they_are_read(write, refused, monkeypatch):
    monkeypatch.setattr(xml, "MOST_TAGS", 20)
    write("a.gpx", GPX.format("", "<x:wpt></x:wpt>" * 10))
    assert "has 23 tags; the limit is 20" in refused("a.gpx")


def test_cells_and_rows_of_a_workbook_are_counted_before_they_are_read(tmp_path, read, refused):
    book = openpyxl.Workbook()
    book.active.append(HEAD.strip().split(","))
    book.active.append(["ROMU", "50", "10", -80, 38])
    book.save(tmp_path / "a.xlsx")  # 2 rows of 5 cells
    assert "has over 11 cells and rows" in refused("a.xlsx", intake={"limits": {"cells": 11}})
    assert read("a.xlsx", intake={"limits": {"cells": 12}}).ledger["records"].tolist() == [1]


def test_binary_columns_are_left_unread_and_said(tmp_path, read):
    frame = gpd.GeoDataFrame({"species": ["ROMU"]}, geometry=[shapely.Point(-80, 38)], crs=4326)
    frame.to_file(tmp_path / "a.gpkg")
    with contextlib.closing(sqlite3.connect(tmp_path / "a.gpkg")) as database:
        database.execute("ALTER TABLE a ADD COLUMN picture BLOB")
        database.commit()
    survey = read("a.gpkg", defaults=SIZE)
    assert "a.gpkg: columns of binary data are not read: picture" in survey.notes
    assert survey.patches["species"].tolist() == ["Rosa multiflora"] and survey.patches["other"].tolist() == [""]
