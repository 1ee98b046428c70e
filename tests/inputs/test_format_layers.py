"""Shapefiles whose parts do not fit, made after the published layout of their bytes, and GeoPackages that lie."""

from __future__ import annotations

import sqlite3
import struct
import zipfile
from contextlib import closing

import geopandas as gpd
import pyogrio
import pytest
import shapely
from pyproj import CRS

from invasimap.inputs.formats.door import read_file
from invasimap.inputs.formats.gpkg import gpkg_tables
from invasimap.inputs.formats.shapefile import index_size, scan_shapes, table_size, text_encoding

PRJ = CRS.from_epsg(4326).to_wkt("WKT1_ESRI")
NAMES = ["ROMU", "Évier", "LOJA"]


def _shp(count):
    """Main and index file of points at (-80 - k / 100, 38): records of 10 words behind headers of 4."""
    records = [struct.pack(">2i", k + 1, 10) + struct.pack("<i2d", 1, -80 - k / 100, 38) for k in range(count)]
    entries = [struct.pack(">2i", 50 + 14 * k, 10) for k in range(count)]

    def whole(parts):
        size = 50 + sum(map(len, parts)) // 2
        return (
            struct.pack(">7i", 9994, 0, 0, 0, 0, 0, size) + struct.pack("<2i8d", 1000, 1, *[0.0] * 8) + b"".join(parts)
        )

    return {".shp": whole(records), ".shx": whole(entries)}


def _dbf(names, encoding="utf-8", language=0, deleted=()):
    """A dBASE III table of one text column of 12 bytes."""
    head = struct.pack("<4BI2H17xB2x", 3, 124, 1, 1, len(names), 32 + 32 + 1, 13, language)
    field = b"species".ljust(11, b"\0") + b"C" + b"\0" * 4 + bytes([12, 0]) + b"\0" * 14
    rows = b"".join((b"*" if k in deleted else b" ") + name.encode(encoding).ljust(12) for k, name in enumerate(names))
    return head + field + b"\r" + rows + b"\x1a"


PARTS = {**_shp(3), ".dbf": _dbf(NAMES), ".prj": PRJ.encode(), ".cpg": b"UTF-8"}


@pytest.fixture
def shapefile(tmp_path):
    def run(parts, *, names=None, folder="."):
        for kind, data in parts.items():
            path = tmp_path / folder / (names or {}).get(kind, f"a{kind}")
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
        name = (names or {}).get(".shp", "a.shp")
        (raw,) = read_file(tmp_path / folder / name, label="a.shp")
        return raw

    return run


def _without(*kinds, **others):
    return {kind: data for kind, data in PARTS.items() if kind not in kinds} | {f".{k}": v for k, v in others.items()}


def _x(raw):
    return [None if shape is None else round(shape.x, 6) for shape in raw.shapes]


def test_the_hand_made_shapefile_is_one(shapefile, tmp_path):
    raw = shapefile(PARTS)
    other = pyogrio.read_dataframe(tmp_path / "a.shp")
    assert raw.frame["species"].tolist() == other["species"].tolist() == NAMES
    assert _x(raw) == [-80, -80.01, -80.02] == other.geometry.x.round(6).tolist()
    assert raw.crs.to_epsg() == 4326 and raw.notes == () and (raw.marks["problem"] == "").all()
    assert scan_shapes(tmp_path / "a.shp") == 3 == index_size(tmp_path / "a.shp", tmp_path / "a.shx")
    assert table_size(tmp_path / "a.dbf") == (3, 0) and table_size(None) == (0, 0)


@pytest.mark.parametrize("index", [None, b"", b"\0" * 200, PARTS[".shx"][:100], _shp(9)[".shx"]])
def test_an_index_that_is_missing_or_wrong_loses_no_shape(index, shapefile):
    raw = shapefile(_without(".shx") if index is None else _without(shx=index))
    assert raw.frame["species"].tolist()[:3] == NAMES and _x(raw)[:3] == [-80, -80.01, -80.02]
    assert len(raw.frame) == (9 if index == _shp(9)[".shx"] else 3)
    assert (raw.marks["problem"][3:] != "").all()


def test_without_its_table_the_shapes_have_no_values_and_that_is_said(shapefile):
    raw = shapefile(_without(".dbf"))
    assert _x(raw) == [-80, -80.01, -80.02] and raw.frame.shape == (3, 0)
    assert raw.notes == ("a.shp: its .dbf file is missing: the shapes have no values; copy all files of the shapefile",)


@pytest.mark.parametrize("rows", [2, 5])
def test_a_table_longer_or_shorter_than_the_shapes_sets_the_rest_aside(rows, shapefile):
    raw = shapefile(_without(dbf=_dbf([f"S{k}" for k in range(rows)])))
    both = min(rows, 3)
    assert raw.frame["species"].tolist()[:both] == [f"S{k}" for k in range(both)]
    assert _x(raw)[:both] == [-80, -80.01, -80.02][:both]
    assert len(raw.frame) == max(rows, 3) and (raw.marks["problem"][both:] != "").all()


def test_rows_marked_as_deleted_go_with_their_shapes(shapefile):
    raw = shapefile(_without(dbf=_dbf(NAMES, deleted=[1])))
    assert raw.frame["species"].tolist() == ["ROMU", "LOJA"] and _x(raw) == [-80, -80.02]
    assert raw.notes == ("a.shp: 1 rows marked as deleted are not read",)


@pytest.mark.parametrize(
    ("encoding", "language", "mark", "said"),
    [
        ("utf-8", 0, "UTF-8", ""), ("cp1252", 0, "1252", ""), ("iso-8859-1", 0, "ISO-8859-1", ""),
        ("cp850", 0, "850", ""), ("utf-8", 0, None, "UTF-8"), ("cp1252", 0, None, "CP1252"),
        ("cp1252", 0x57, None, "CP1252"), ("cp1252", 0x03, None, ""), ("cp850", 0x02, None, ""),
    ],
)  # fmt: skip
def test_text_of_any_code_page_is_the_same(encoding, language, mark, said, shapefile, tmp_path):
    names = ["Évier", "Müller", "plain"] if encoding in ("cp850", "iso-8859-1") else ["Évier", "œuf, 5 €", "plain"]
    raw = shapefile(_without(".cpg", dbf=_dbf(names, encoding, language), **({"cpg": mark.encode()} if mark else {})))
    assert raw.frame["species"].tolist() == names
    assert raw.notes == ((f"a.shp: its .cpg file is missing: its text is read as {said}",) if said else ())
    assert mark or text_encoding(tmp_path / "a.dbf") == said


def test_parts_of_another_case_are_its_parts_and_those_of_another_name_are_not(shapefile):
    names = {".shp": "PATCH.SHP", ".shx": "PATCH.SHX", ".dbf": "patch.dbf", ".prj": "Patch.prj", ".cpg": "patch.CPG"}
    raw = shapefile(PARTS, names=names)
    assert raw.frame["species"].tolist() == NAMES and raw.crs.to_epsg() == 4326 and raw.notes == ()
    raw = shapefile(PARTS, names={".dbf": "b.dbf"}, folder="other")
    assert raw.frame.shape == (3, 0)


def test_a_part_of_its_own_case_goes_before_another(shapefile, tmp_path):
    (tmp_path / "A.dbf").write_bytes(_dbf(["x", "y", "z"]))
    assert shapefile(PARTS).frame["species"].tolist() == NAMES


def test_without_a_system_all_is_set_aside_unless_the_block_names_one(shapefile, read):
    shapefile(_without(".prj"))
    survey = read("a.shp", defaults={"radius": "5 m", "cover": "50 %"})
    assert survey.ledger.iloc[0].tolist() == ["a.shp", 3, 0, 0, 3]
    assert set(survey.set_aside["reason"]) == {"no CRS: set crs in its [[survey]] block"}
    survey = read("a.shp", defaults={"radius": "5 m", "cover": "50 %"}, crs="EPSG:4326")
    assert survey.set_aside["record"].tolist() == [3]  # 1.76 km from the centre of a square of 1 km: over 1 km off it


def test_a_shapefile_in_a_folder_of_a_zip_is_read_with_all_its_parts(tmp_path):
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as archive:
        for kind, data in PARTS.items():
            archive.writestr(f"export/day 1/Säge#1{kind.upper()}", data)
    (raw,) = read_file(tmp_path / "a.zip", label="a.zip")
    assert (raw.label, raw.layer, raw.frame["species"].tolist()) == ("a.zip", "Säge#1", NAMES)
    assert raw.crs.to_epsg() == 4326 and raw.notes == ()


@pytest.fixture
def gpkg(tmp_path):
    def run(*statements, layers=("a",)):
        path = tmp_path / "x.gpkg"
        frame = gpd.GeoDataFrame({"n": [1, 2, 3]}, geometry=shapely.points([[-80, 38], [-81, 38], [-82, 38]]), crs=4326)
        for layer in layers:
            frame.to_file(path, layer=layer, driver="GPKG")
        with closing(sqlite3.connect(path)) as database:
            for statement in statements:
                database.execute(statement)
            database.commit()
        return path

    return run


VIEW = "CREATE VIEW v AS SELECT fid, geom, n FROM a WHERE n > 1"
CONTENT = "INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) VALUES ('{0}', '{1}', '{0}', 4326)"
COLUMN = (
    "INSERT INTO gpkg_geometry_columns SELECT 'v', column_name, geometry_type_name, srs_id, z, m"
    " FROM gpkg_geometry_columns WHERE table_name = 'a'"
)


def test_views_are_layers(gpkg):
    path = gpkg(VIEW, CONTENT.format("v", "features"), COLUMN)
    assert [(raw.label, len(raw.frame)) for raw in read_file(path, label="x")] == [("x:a", 3), ("x:v", 2)]
    tables, listed = gpkg_tables(path, label="x")
    assert {name: table.count for name, table in tables.items()} == {"a": 3, "v": 2} and sorted(listed) == ["a", "v"]


@pytest.mark.parametrize("count", [0, 1, 9, 10**15])
def test_a_count_that_lies_neither_hides_a_record_nor_adds_one(count, gpkg):
    (raw,) = read_file(gpkg(f"UPDATE gpkg_ogr_contents SET feature_count = {count}"), label="x")
    assert raw.frame["n"].tolist() == [1, 2, 3] and (raw.marks["problem"] == "").all()


@pytest.mark.parametrize(
    "statements",
    [
        (VIEW, CONTENT.format("v", "features")), (VIEW, COLUMN),
        ("CREATE TABLE v AS SELECT * FROM a", CONTENT.format("v", "features")),
    ],
)  # fmt: skip
def test_a_layer_that_is_registered_by_half_is_said(statements, gpkg):
    (raw,) = read_file(gpkg(*statements), label="x")
    assert len(raw.frame) == 3
    assert raw.notes == ("x: layers that it registers by half are not read: v; export it again",)


def test_tables_without_geometry_are_said(gpkg):
    path = gpkg("CREATE TABLE notes (words TEXT)", CONTENT.format("notes", "attributes"))
    (raw,) = read_file(path, label="x")
    assert raw.notes == ("x: tables without geometry are not read: notes",)


def test_layers_of_any_name_are_read(gpkg):
    names = ["a b", 'é"x', "o'k", "a!b", "50%?#", "x:y|z"]
    layers = read_file(gpkg(layers=names), label="x")
    assert [raw.layer for raw in layers] == names and {len(raw.frame) for raw in layers} == {3}


def test_one_cell_cut_inside_a_sign_does_not_change_the_others(shapefile, tmp_path):
    table = _dbf(["Évier", "abcdefghijk", "Müller"]).replace(b"abcdefghijk ", "abcdefghijké".encode()[:12])
    raw = shapefile(_without(dbf=table))
    assert raw.frame["species"].tolist() == ["Évier", "abcdefghijk", "Müller"]
    assert raw.notes == ("a.shp: text in it is not UTF-8, as it says",)
    raw = shapefile(_without(dbf=_dbf(["Évier", "abc", "Grü"], "cp1252")))
    assert raw.frame["species"].tolist() == ["Évier", "abc", "Grü"]
