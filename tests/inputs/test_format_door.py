"""What a file is by its content, files of any name, and what archives hold."""

from __future__ import annotations

import io
import json
import zipfile

import geopandas as gpd
import openpyxl
import pytest
import shapely

from invasimap.core.errors import LayerError
from invasimap.core.survey_settings import LimitsSection
from invasimap.inputs.formats.bounds import first_lines, missing
from invasimap.inputs.formats.content import kind_of
from invasimap.inputs.formats.door import read_file
from invasimap.inputs.formats.gdal_files import plainly_named, side_parts

CSV = "name,lon,lat\nROMU,-80,38\n"
GPX = '<gpx version="1.1"><wpt lat="38" lon="-80"><name>ROMU</name></wpt></gpx>'
KML = "<kml><Placemark><name>ROMU</name><Point><coordinates>-80,38</coordinates></Point></Placemark></kml>"
GEOJSON = json.dumps(
    {"type": "Feature", "properties": {"name": "ROMU"}, "geometry": {"type": "Point", "coordinates": [-80, 38]}}
)


def _frame():
    return gpd.GeoDataFrame({"name": ["ROMU"]}, geometry=shapely.points([[-80, 38]]), crs=4326)


def _zipped(*members):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, content in members:
            archive.writestr(name, content)
    return out.getvalue()


@pytest.fixture(scope="session")
def content(tmp_path_factory):
    """The same record as bytes of every format."""
    folder = tmp_path_factory.mktemp("content")
    made = {".csv": CSV, ".gpx": GPX, ".kml": KML, ".geojson": GEOJSON, ".zip": _zipped(("a.csv", CSV))}
    made[".kmz"] = _zipped(("doc.kml", KML))
    book = openpyxl.Workbook()
    for row in (["name", "lon", "lat"], ["ROMU", -80, 38]):
        book.active.append(row)
    book.save(folder / "a.xlsx")
    _frame().to_file(folder / "a.gpkg")
    _frame().to_file(folder / "a.fgb")
    _frame().to_parquet(folder / "a.parquet")
    made |= {path.suffix: path.read_bytes() for path in folder.iterdir()}
    return {kind: data.encode() if isinstance(data, str) else data for kind, data in made.items()}


def _is_the_record(layers):
    (raw,) = layers
    assert raw.frame["name"].tolist() == ["ROMU"]
    assert shapely.equals_exact(raw.shapes[0], shapely.Point(-80, 38), 1e-9) and raw.crs.to_epsg() == 4326
    return raw


SAID = [".gpx", ".kml", ".geojson", ".gpkg", ".fgb", ".parquet", ".xlsx", ".zip", ".kmz"]


@pytest.mark.parametrize("name", ["a.csv", "a.gpx", "a.gpkg", "a.zip", "a"])
@pytest.mark.parametrize("kind", SAID)
def test_a_file_of_another_name_is_read_by_its_content(kind, name, content, write):
    raw = _is_the_record(read_file(write(name, content[kind]), label=name))
    same = name.endswith(kind) or (kind, name) == (".kmz", "a.zip")
    said = [note for note in raw.notes if "not what its name says" in note]
    assert len(said) == (0 if same else 1) and len(raw.notes) == len(said)


NAMES = [
    "a!b", "a#b? 100%", "%41&b=c", "Säge 東 ", "x.csv", "zip!x", "a|layername=b", "a[1]*", "'a' \"b\"", "-x$HOME;b",
]  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_no_sign_of_a_name_is_a_command(name, content, tmp_path):
    for kind, data in content.items():
        path = tmp_path / f"{name}{kind}"
        path.write_bytes(data)
        raw = _is_the_record(read_file(path, label=path.name))
        assert raw.label == path.name and raw.notes == ()


def test_suffixes_may_be_in_capitals(content, write):
    for kind, data in content.items():
        assert _is_the_record(read_file(write(f"A{kind.upper()}", data), label="a")).notes == ()


@pytest.mark.parametrize("name", NAMES)
def test_a_shapefile_of_any_name_is_read_with_its_parts(name, tmp_path, read):
    _frame().to_file(tmp_path / "plain.shp")
    for part in tmp_path.glob("plain.*"):
        part.rename(part.with_name(name + part.suffix))
    path = tmp_path / f"{name}.shp"
    assert _is_the_record(read_file(path, label="a")).notes == ()
    assert sorted(side_parts(path).values()) == [".cpg", ".dbf", ".prj", ".shx"]
    survey = read(path.name, defaults={"radius": "5 m", "cover": "50 %"})
    assert {part.suffix for part in survey.files} == {".cpg", ".dbf", ".prj", ".shp", ".shx"}


def test_a_plain_name_is_one_without_signs(write):
    with plainly_named(write("a!b.dat", "x"), suffix=".gpkg") as plain:
        assert plain.name == "layer.gpkg" and plain.read_text() == "x"


@pytest.mark.parametrize(
    ("start", "said"),
    [
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "old Excel"), (b"\x1f\x8b\x08", "gzip"), (b"7z\xbc\xaf\x27\x1c", "7-Zip"),
        (b"Rar!\x1a\x07", "RAR"), (b"%PDF-1.7", "PDF"), (b"<!DOCTYPE html><html>", "web page"),
        (b"<table><tr><td>lon</td></tr></table>", "web page"), (b"<?xml version='1.0'?><Workbook/>", "XML spreadsheet"),
    ],
)  # fmt: skip
def test_formats_that_are_not_read_are_named(start, said, write):
    with pytest.raises(LayerError, match=said):
        read_file(write("a.csv", start), label="a.csv")


def test_the_root_of_xml_is_found_behind_comments_and_in_any_encoding(tmp_path):
    text = f"<?xml version='1.0'?>\n<!-- a > b -->\n<!DOCTYPE gpx>\n<?x y?>\n{GPX}"
    for encoding in ("utf-8", "utf-8-sig", "utf-16", "utf-16-le"):
        assert kind_of(tmp_path, text.encode(encoding), suffix=".txt", label="a") == ".gpx"
    assert kind_of(tmp_path, b"<x:kml xmlns:x='u'/>", suffix=".xml", label="a") == ".kml"
    assert kind_of(tmp_path, b"<wfs/>", suffix=".xml", label="a") == ".xml"


@pytest.fixture(scope="session")
def gdb(tmp_path_factory):
    """The files of a geodatabase with two layers, by name."""
    folder = tmp_path_factory.mktemp("gdb") / "crew.gdb"
    for layer in ("east", "west"):
        _frame().assign(name=layer).to_file(folder, layer=layer, driver="OpenFileGDB")
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def _inside(folder, gdb):
    return [(f"{folder}{name}", data) for name, data in gdb.items()]


def _names(layers):
    return {raw.label: raw.frame["name"].tolist() for raw in layers}


@pytest.mark.parametrize(
    ("folder", "inside"),
    [("crew.gdb/", "crew.gdb"), ("day 1/Crew#A.GDB/", "day 1/Crew#A.GDB"), ("", "a.gdb"), ("crew/", "crew.gdb"),
     ("../../crew.gdb/", "crew.gdb"), ("/abs\\crew.gdb\\", "abs/crew.gdb")],
)  # fmt: skip
def test_a_zipped_geodatabase_is_read(folder, inside, gdb, write):
    lock = (f"{folder}_gdb.HOST.1.2.sr.lock", b"")
    layers = read_file(write("a.zip", _zipped(*_inside(folder, gdb), lock)), label="a.zip")
    assert _names(layers) == {f"a.zip:{inside}:east": ["east"], f"a.zip:{inside}:west": ["west"]}
    assert all(raw.notes == () for raw in layers)


def test_geodatabases_of_one_name_and_files_beside_them_are_kept_apart(gdb, write):
    members = [*_inside("x.gdb/", gdb), *_inside("../x.gdb/", gdb), ("x.gdb/spots.csv", CSV), ("x.gdb/readme.pdf", "")]
    layers = read_file(write("a.zip", _zipped(*members)), label="a.zip")
    assert _names(layers) == {
        "a.zip:x.gdb:east": ["east"], "a.zip:x.gdb:west": ["west"], "a.zip:x (2).gdb:east": ["east"],
        "a.zip:x (2).gdb:west": ["west"], "a.zip:x.gdb/spots.csv": ["ROMU"],
    }  # fmt: skip
    assert layers[0].notes == ("a.zip: not read: x.gdb/readme.pdf",)


def test_a_zipped_geodatabase_that_is_not_whole_is_one_record_set_aside(gdb, write):
    rest = {name: data for name, data in gdb.items() if name != "a00000001.gdbtable"}
    good, lost = read_file(write("a.zip", _zipped(("a.csv", CSV), *_inside("x.gdb/", rest))), label="a.zip")
    assert good.frame["name"].tolist() == ["ROMU"] and lost.label == "a.zip:x.gdb"
    assert "lacks a00000001.gdbtable" in lost.marks["problem"][0]


def test_links_in_a_zipped_geodatabase_are_not_followed(gdb, write):
    link = zipfile.ZipInfo("x.gdb/a00000042.gdbtable")
    link.external_attr = 0o120777 << 16
    layers = read_file(write("a.zip", _zipped(*_inside("x.gdb/", gdb), (link, "/etc/passwd"))), label="a.zip")
    assert len(layers) == 2
    assert layers[0].notes == ("a.zip: not read: x.gdb/a00000042.gdbtable (a link)",)


def test_limits_hold_for_a_zipped_geodatabase(gdb, write):
    path = write("a.zip", _zipped(*_inside("x.gdb/", gdb)))
    assert sum(map(len, gdb.values())) > 50_000
    for limits in (LimitsSection(members=len(gdb) - 1), LimitsSection(unpacked="0.05 MB")):
        with pytest.raises(LayerError, match="limit"):
            read_file(path, label="a.zip", limits=limits)


def test_hidden_surveys_are_said_and_what_systems_leave_is_not(gdb, write):
    left = [("._a.csv", b"\0\5\x16\7"), ("__MACOSX/._a.csv", b"\0\5\x16\7"), (".DS_Store", b""), (".git/config", "x")]
    (raw,) = read_file(write("a.zip", _zipped(("a.csv", CSV), *left)), label="a.zip")
    assert raw.notes == ()
    hidden = [(".b.gpx", GPX), (".old/c.shp", b""), (".old/c.dbf", b""), *_inside(".old/x.gdb/", gdb)]
    (raw,) = read_file(write("a.zip", _zipped(("a.csv", CSV), *left, *hidden)), label="a.zip")
    assert raw.notes == ("a.zip: not read: 3 hidden files (.b.gpx, .old/c.shp, .old/x.gdb/a00000001.gdbtable)",)
    with pytest.raises(LayerError, match=r"holds no file that is read: a hidden file \(.b.gpx\)"):
        read_file(write("a.zip", _zipped((".b.gpx", GPX))), label="a.zip")


def test_an_empty_zip_is_said(write):
    with pytest.raises(LayerError, match=r"a\.zip: holds no file that is read\n"):
        read_file(write("a.zip", _zipped()), label="a.zip")


def test_names_in_a_row_and_records_that_lack_are_counted():
    assert first_lines(map(str, range(14))).endswith("10, 11 and 2 more")
    assert missing(3, 5) == [] and len(missing(10_003, 3)) == 10_000 and len(missing(10_004, 3)) == 1
