"""The same three patches written by hand in every format give the same ground."""

from __future__ import annotations

import datetime as dt
import json
import zipfile

import geopandas as gpd
import numpy as np
import openpyxl
import pandas as pd
import pyogrio
import pytest
import shapely
from pyproj import Transformer

ROWS = [
    # species, cover, radius_ft, date, lon, lat
    ("Lonicera maackii", "25-50 %", "10", "2024-09-03", -80.001, 38.001),
    ("Rosa multiflora", "35", "20", "2024-09-04", -80.0, 38.0),
    ("Alliaria petiolata", "75", "30", "2024-09-05", -79.999, 37.999),
]
EXPECTED_M2 = [np.pi * (r * 0.3048) ** 2 for r in (10, 20, 30)]


def _csv(path, delimiter=",", encoding="utf-8"):
    head = ["species", "cover", "radius_ft", "date", "lon", "lat"]
    lines = [delimiter.join(head)] + [delimiter.join(map(str, row)) for row in ROWS]
    path.write_text("\n".join(lines) + "\n", encoding=encoding)


def _gpx(path):
    wpts = "".join(
        f'<wpt lat="{lat}" lon="{lon}"><time>{day}T16:00:00Z</time><extensions><s:species>{name}</s:species>'
        f"<s:cover>{cover}</s:cover><s:radius_ft>{radius}</s:radius_ft></extensions></wpt>"
        for name, cover, radius, day, lon, lat in ROWS
    )
    path.write_text(
        '<?xml version="1.0"?><gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1" xmlns:s="urn:s">'
        f"{wpts}</gpx>"
    )


def _kml_text(typed):
    def data(name, cover, radius, day):
        cells = {"species": name, "cover": cover, "radius_ft": radius, "date": day}
        if typed:
            inside = "".join(f'<SimpleData name="{k}">{v}</SimpleData>' for k, v in cells.items())
            return f'<SchemaData schemaUrl="#s">{inside}</SchemaData>'
        return "".join(f'<Data name="{k}"><value>{v}</value></Data>' for k, v in cells.items())

    marks = "".join(
        f"<Placemark><name>{k}</name><ExtendedData>{data(name, cover, radius, day)}</ExtendedData>"
        f"<Point><coordinates>{lon},{lat},250</coordinates></Point></Placemark>"
        for k, (name, cover, radius, day, lon, lat) in enumerate(ROWS)
    )
    fields = "".join(
        f'<SimpleField type="{t}" name="{n}"/>'
        for n, t in (("species", "string"), ("cover", "string"), ("radius_ft", "int"), ("date", "string"))
    )
    schema = f'<Schema name="s" id="s">{fields}</Schema>' if typed else ""
    return (
        '<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document>'
        f"{schema}<Folder><name>A</name><Folder><name>B</name>{marks}</Folder></Folder></Document></kml>"
    )


def _geojson(path):
    features = [
        {
            "type": "Feature",
            "properties": {"species": name, "cover": cover, "radius_ft": int(radius), "date": day},
            "geometry": {"type": "Point", "coordinates": [lon, lat]},
        }
        for name, cover, radius, day, lon, lat in ROWS
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))


def _frame():
    names = ["species", "cover", "radius_ft", "date"]
    table = {name: [row[k] for row in ROWS] for k, name in enumerate(names)}
    points = shapely.points([[row[4], row[5]] for row in ROWS])
    return gpd.GeoDataFrame(table, geometry=points, crs=4326)


def _shp_zip(path):
    folder = path.parent / "shp"
    folder.mkdir()
    _frame().to_crs(26917).to_file(folder / "patches.shp")
    with zipfile.ZipFile(path, "w") as archive:
        for part in folder.iterdir():
            archive.write(part, f"export/day 1/{part.name}")


def _table(path, head, places, delimiter=";", above=""):
    lines = [delimiter.join(["species", "cover", "radius_ft", "date", *head])]
    lines += [delimiter.join([*row[:4], *place]) for row, place in zip(ROWS, places, strict=True)]
    path.write_text(above + "\n".join(lines) + "\n", encoding="utf-8")


# 0.001 degree is 0.06 minute or 3.6 seconds
MINUTES = [("38 0.06 N", "80 0.06 W"), ("N38 0", "W80 0.0"), ("37°59.94'N", "79°59.94′W")]  # noqa: RUF001
SECONDS = [("38°0'3.6\"N", "80°0'3.6\"W"), ("38:00:00", "-80:00:00"), ("37° 59' 56.4'' N", "W79 59 56.4")]


def _utm(letter="S"):
    """Each place in zone 17, the second in zone 18 as from another receiver, to the millimetre."""
    zones = (17, 18, 17)
    moved = [
        Transformer.from_crs(4326, 32600 + z, always_xy=True).transform(*r[4:])
        for z, r in zip(zones, ROWS, strict=True)
    ]
    return [(f"{x:.3f}", f"{y:.3f}", f"{z}{letter}") for z, (x, y) in zip(zones, moved, strict=True)]


def _wkt():
    return [(f"SRID=4326;POINT Z ({lon} {lat} 250)",) if k else (f"POINT({lon} {lat})",)
            for k, (*_, lon, lat) in enumerate(ROWS)]  # fmt: skip


def _xlsx(path, typed=False):
    book = openpyxl.Workbook()
    sheet = book.active
    for above in (["North wood"], [], ["", "species", "cover", "radius_ft", "date", "lat", "lon"]):
        sheet.append(above)
    for (name, cover, radius, day, lon, lat), place in zip(ROWS, MINUTES, strict=True):
        when = dt.datetime.fromisoformat(day)
        sheet.append(
            ["", name, cover, float(radius), when, lat, lon] if typed else ["", name, cover, radius, day, *place]
        )
    book.create_sheet("species list").append(["code", "name"])
    book.save(path)


def _sequence(path, before="", after="\n"):
    _geojson(path)
    features = json.loads(path.read_text())["features"]
    for number, feature in enumerate(features):
        feature.update({"id": number, "bbox": [0, 0, 1, 1], "style": {"color": "red"}})
    path.write_text("".join(before + json.dumps(feature) + after for feature in features))


def _foreign(path):
    _geojson(path)
    document = json.loads(path.read_text()) | {"name": "x", "timeStamp": "2020-01-01", "links": [{"href": "a"}]}
    path.write_text(json.dumps(document))


def _numbered(path):
    """Given to the writer back to front, so that only the column of numbers tells the order."""
    frame = _frame().assign(id=[1, 2, 3]).iloc[::-1]
    frame.to_file(path)


TITLE = "North wood; walked by A, B\n;;\n\n"
WRITERS = {
    "minutes.csv": lambda path: _table(path, ("lat", "lon"), MINUTES),
    "seconds.csv": lambda path: _table(path, ("Latitude", "Longitude"), SECONDS, "\t"),
    "one_cell.csv": lambda path: _table(path, ("coordinates",), [(f"{a}, {b}",) for a, b in MINUTES]),
    "utm_band.csv": lambda path: _table(path, ("Easting", "Northing", "Zone"), _utm()),
    "utm_north.csv": lambda path: _table(path, ("utm_e", "utm_n", "utm zone"), _utm("N"), ","),
    "utm_text.csv": lambda path: _table(path, ("UTM",), [(f"{z} {x} {y}",) for x, y, z in _utm()]),
    "wkt.csv": lambda path: _table(path, ("WKT",), _wkt(), "\t"),
    "lines.geojsonl": _sequence,
    "lines.geojson": _sequence,
    "separated.geojsons": lambda path: _sequence(path, before="\x1e"),
    "separated.json": lambda path: _sequence(path, before="\x1e", after=""),
    "foreign.geojson": _foreign,
    "numbered.fgb": _numbered,
    "unsorted.fgb": lambda path: _frame().to_file(path, SPATIAL_INDEX="NO"),
    "points.gdb": lambda path: _frame().to_file(path, layer="patches", driver="OpenFileGDB"),
    "points.parquet": lambda path: _frame().to_parquet(path),
    "utm.geoparquet": lambda path: _frame().to_crs(26917).to_parquet(path),
    "text.xlsx": _xlsx,
    "typed.xlsx": lambda path: _xlsx(path, typed=True),
    "header_below.csv": lambda path: _table(path, ("lat", "lon"), MINUTES, above=TITLE),
    "comma.csv": _csv,
    "semicolon.csv": lambda path: _csv(path, ";", "utf-8-sig"),
    "tab.tsv": lambda path: _csv(path, "\t", "utf-16"),
    "points.gpx": _gpx,
    "plain.kml": lambda path: path.write_text(_kml_text(typed=False)),
    "typed.kml": lambda path: path.write_text(_kml_text(typed=True)),
    "points.geojson": _geojson,
    "points.gpkg": lambda path: _frame().to_file(path, layer="patches"),
    "plain.shp": lambda path: _frame().to_file(path),
    "nested.zip": _shp_zip,
}


@pytest.mark.parametrize("name", [*WRITERS, "typed.kmz"])
def test_every_format_gives_the_same_patches(name, tmp_path, read):
    if name == "typed.kmz":
        with zipfile.ZipFile(tmp_path / name, "w") as archive:
            archive.writestr("doc.kml", _kml_text(typed=True))
    else:
        WRITERS[name](tmp_path / name)
    survey = read(name)
    patches = survey.patches
    assert patches["species"].tolist() == [row[0] for row in ROWS]
    assert patches["common_name"].tolist() == ["Amur honeysuckle", "multiflora rose", "garlic mustard"]
    assert patches["cover_pct"].tolist() == [37.5, 35.0, 75.0]
    assert patches["cover_low_pct"].tolist() == [25.0, 35.0, 75.0]
    assert patches["date"].tolist() == ["2024-09-03", "2024-09-04", "2024-09-05"]
    assert patches["record"].tolist() == [1, 2, 3]
    assert patches["id"].tolist() == ["P0001", "P0002", "P0003"]
    assert set(patches["file"]) == {name}
    assert patches.area.tolist() == pytest.approx(EXPECTED_M2, rel=1e-12)
    # 0.001 degree of latitude is 111.0 m near 38 N (WGS 84 meridian), so the first lies 111 m north of the second
    north = patches.centroid.y.to_numpy()
    assert north[0] - north[1] == pytest.approx(111.0, abs=0.1)
    assert survey.ledger.iloc[0].tolist() == [name, 3, 3, 0, 0]


def test_a_sorted_flatgeobuf_keeps_its_rows_together(tmp_path, read):
    _frame().to_file(tmp_path / "a.fgb")  # its index may change the order of the rows
    survey = read("a.fgb")
    assert survey.ledger.iloc[0].tolist() == ["a.fgb", 3, 3, 0, 0]
    area = dict(zip(survey.patches["species"], survey.patches.area, strict=True))
    assert [area[row[0]] for row in ROWS] == pytest.approx(EXPECTED_M2, rel=1e-12)


def test_a_geodatabase_is_one_file_to_a_glob_and_each_layer_has_a_row(tmp_path, read):
    (tmp_path / "survey").mkdir()
    folder = tmp_path / "survey" / "crew.gdb"
    for layer in ("east", "west"):
        _frame().to_file(folder, layer=layer, driver="OpenFileGDB")
    names = pd.DataFrame({"code": ["A"]})
    pyogrio.write_dataframe(names, folder, layer="names", driver="OpenFileGDB", append=True)
    for pattern in ("survey/*", "survey/**", "survey/crew.gdb"):
        survey = read(pattern)
        assert survey.ledger["file"].tolist() == ["survey/crew.gdb:east", "survey/crew.gdb:west"]
        assert survey.ledger["records"].tolist() == [3, 3]
        assert any("tables without geometry are not read: names" in note for note in survey.notes)
        assert {path.parent for path in survey.files} == {folder}


def test_several_layers_each_have_a_ledger_row(tmp_path, read):
    for layer in ("east", "west"):
        _frame().to_file(tmp_path / "two.gpkg", layer=layer)
    survey = read("two.gpkg")
    assert survey.ledger["file"].tolist() == ["two.gpkg:east", "two.gpkg:west"]
    assert survey.ledger["records"].tolist() == [3, 3]


def test_glob_reads_files_in_name_order_and_skips_side_files(tmp_path, read):
    (tmp_path / "survey").mkdir()
    _frame().to_file(tmp_path / "survey" / "b.shp")
    _csv(tmp_path / "survey" / "a.csv")
    survey = read("survey/*")
    assert survey.ledger["file"].tolist() == ["survey/a.csv", "survey/b.shp"]
    assert [path.name for path in survey.files] == ["a.csv", "b.cpg", "b.dbf", "b.prj", "b.shp", "b.shx"]
