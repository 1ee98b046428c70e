"""The files that are damaged: small ones made here in every format, and small real ones where they are at hand."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import numpy as np
import openpyxl
import shapely
from fuzz_mutants import Base, packed
from PIL import Image

ROWS = (
    # species, cover, radius_ft, date, lon, lat
    ("Lonicera maackii", "25-50 %", "10", "2024-09-03", -80.001, 38.001),
    ("Rosa multiflora", "35", "20", "2024-09-04", -80.0, 38.0),
    ("Alliaria petiolata", "75", "30", "2024-09-05", -79.999, 37.999),
)
HEAD = ("species", "cover", "radius_ft", "date", "lon", "lat")
SHAPES = {
    "Point": (-80.001, 38.0),
    "LineString": [[-80, 38], [-79.9995, 38.0004], [-79.999, 38.0]],
    "Polygon": [[[-80, 38], [-79.999, 38], [-79.999, 38.001], [-80, 38.001], [-80, 38]],
                [[-79.9997, 38.0003], [-79.9997, 38.0006], [-79.9994, 38.0006], [-79.9997, 38.0003]]],
    "MultiPolygon": [[[[-80, 38], [-79.9995, 38], [-79.9995, 38.001], [-80, 38]]]],
}  # fmt: skip
REAL = {
    "gpx": (
        "gps/georust_gpx/wikipedia_example.gpx", "gps/georust_gpx/with_accuracy.gpx", "gps/gpsbabel/global.gpx",
        "gps/georust_gpx/viking_with_route_extensions.gpx", "gps/gpsbabel/dop-test.gpx", "gps/gdal/gpx/test.gpx",
        "gps/gpsbabel/gpxpassthrough10.gpx", "gps/togeojson/garmin_extensions.gpx", "gps/gpxpy/unicode_with_bom.gpx",
        "gps/gpxpy/track_with_dilution_errors.gpx", "gps/togeojson/bad.gpx", "gps/fiona/test_gpx.gpx",
        "gps/georust_gpx/badcharacter.xml", "hostile/gpx/github-issue18-regression.gpx",
    ),
    "kml": (
        "gps/libkml/extendeddata.kml", "gps/libkml/schemadata.kml", "gps/togeojson/gxtrack.kml",
        "gps/togeojson/polygon.kml", "gps/togeojson/multigeometry_sibling.kml", "gps/togeojson/timespan.kml",
        "gps/georust_kml/style-merging.kml", "gps/gdal/kml/several_schema_in_layer.kml", "gps/togeojson/simpledata.kml",
        "hostile/kml/non_conformant_multi.kml", "hostile/kml/badcoords.kml", "hostile/kml/truncated.kml",
        "gps/libkml/folder.kml", "hostile/kml/100_nested_folders.kml", "gps/libkml/unknown-elements.kml",
    ),
    "kmz": (
        "gps/libkml/multikml-nodoc.kmz", "gps/georust_kml/polygon.kmz", "gps/libkml/balloon-image-rel.kmz",
        "hostile/kml/bad-pk-data.kmz", "hostile/kml/bad-too-large.kmz", "gps/libkml/nokml.kmz",
    ),
    "csv": (
        "gps/gpsbabel/humantodec1.csv", "gps/gpsbabel/pretty_degree0.csv", "gps/gpsbabel/localgmttime.csv",
        "gps/gpsbabel/testsupplementalplane.csv", "gps/gpsbabel/garmin_txt-uni.csv", "gps/gpsbabel/grapheme.csv",
        "gps/libkml/quotes.csv", "gps/gdal/csv/csv_with_utf8_bom.csv", "tract/rare_shrub.csv",
    ),
    "geojson": (
        "hostile/geojson_invalid/valid/valid_featurecollection_multiple_feature_types.geojson",
        "hostile/geojson_invalid/valid/valid_featurecollection_with_geometrycollection.geojson",
        "hostile/geojson_invalid/problematic_geometries/problematic_holes.geojson", "gps/geopandas/null_geom.geojson",
        "hostile/geojsonhint/good/good-featurecollection-extensions.geojson", "tract/fence.geojson",
        "gps/gdal/geojson/ids_0_1_null_1_null.json", "hostile/geojsonhint/bad/bad-duplicate-properties.geojson",
        "hostile/geojson_invalid/valid/valid_geometry_multipolygon.geojson",
        "hostile/geojsonhint/bad/multipoint-multidimension.geojson", "hostile/geojsonhint/good/issue82.geojson",
    ),
    "shp": (
        "gps/fiona/gre.shp", "gps/fiona/test_tin.shp", "gps/pyshp/latin1.shp", "hostile/shp/pointnan.shp",
        "hostile/shp/mixed_shape_type_non_conformant.shp", "hostile/shp/slightly_overlapping_polygons.shp",
        "hostile/shp/corrupt_too_long.shp", "hostile/shp/buggymultipoly.shp", "hostile/shp/bigoffset.shp",
        "hostile/shp/multipatch.shp", "hostile/shp/nonconformant_shx_ticket5608.shp",
    ),
    "zip": ("gps/pyshp/REL.zip", "hostile/shp/empty_zipfile.zip"),
    "gpkg": (
        "gps/pyogrio/line_zm.gpkg", "gps/pyogrio/curvepolygon.gpkg", "gps/gdal/gpkg/first_geometry_null.gpkg",
        "gps/pyogrio/test_gpkg_nulls.gpkg", "hostile/gpkg/no_envelope.gpkg",
    ),
}  # fmt: skip


def real_bases(folder: Path, kind: str) -> list[Base]:
    """Real files of a format, a shapefile with its parts."""
    found = []
    for name in REAL[kind]:
        path = folder / name
        beside = sorted(path.parent.glob(f"{path.stem}.*")) if kind == "shp" else []
        parts = [path, *(part for part in beside if part != path)]
        suffix = path.suffix.lower() if path.suffix != ".xml" else f".{kind}"
        named = {f"a{suffix if part == path else part.suffix.lower()}": part.read_bytes() for part in parts}
        found.append(Base(name=name, kind=kind, parts=named))
    return found


def made_bases(folder: Path, kind: str) -> list[Base]:
    """Files of a format made on the spot in an empty folder."""
    return [
        Base(name=f"made {number}", kind=kind, parts=parts if isinstance(parts, dict) else {f"a.{kind}": parts})
        for number, parts in enumerate(MADE[kind](folder))
    ]


def _tables(mark: str, encoding: str) -> Callable[[Path], list[bytes]]:
    def make(_: Path) -> list[bytes]:
        plain = "\n".join(mark.join(map(str, row)) for row in (HEAD, *ROWS)) + "\n"
        minutes = [(*row[:4], f"{lat:.0f} 0.0{k} N", "80 0.06 W") for k, (*row, _, lat) in enumerate(ROWS)]
        other = "\n".join(mark.join(map(str, row)) for row in ((*HEAD[:4], "lat", "lon"), *minutes)) + "\n"
        wkt = "\n".join([mark.join((*HEAD[:4], "WKT")), *(mark.join((*r[:4], f"POINT({r[4]} {r[5]})")) for r in ROWS)])
        return [text.encode(encoding) for text in (plain, other, wkt)]

    return make


def _gpx(_: Path) -> list[bytes]:
    said = "<extensions><s:species>{}</s:species><s:cover>{}</s:cover><s:radius_ft>{}</s:radius_ft></extensions>"
    points = "".join(
        f'<wpt lat="{lat}" lon="{lon}"><time>{day}T16:00:00Z</time>{said.format(name, cover, radius)}</wpt>'
        for name, cover, radius, day, lon, lat in ROWS
    )
    way = "".join(f'<trkpt lat="{y}" lon="{x}"><ele>250</ele></trkpt>' for x, y in SHAPES["LineString"])
    ring = "".join(f'<rtept lat="{y}" lon="{x}"/>' for x, y in SHAPES["Polygon"][0])
    body = f"{points}<rte><name>ROMU</name>{ring}</rte><trk><name>LOJA</name><trkseg>{way}</trkseg></trk>"
    text = f'<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1" xmlns:s="urn:s">{body}</gpx>'
    return [text.encode(), text.encode("utf-16")]


def _kml(_: Path) -> list[bytes]:
    def mark(name: str, shape: str) -> str:
        cells = "".join(
            f'<Data name="{key}"><value>{value}</value></Data>'
            for key, value in zip(HEAD, (name, "25 %", "10", "2024-09-03"), strict=False)
        )
        return f"<Placemark><name>{name}</name><ExtendedData>{cells}</ExtendedData>{shape}</Placemark>"

    def ring(places: list) -> str:
        text = " ".join(f"{x},{y},250" for x, y in places)
        return f"<LinearRing><coordinates>{text}</coordinates></LinearRing>"

    outer, inner = map(ring, SHAPES["Polygon"])
    polygon = f"<Polygon><outerBoundaryIs>{outer}</outerBoundaryIs><innerBoundaryIs>{inner}</innerBoundaryIs></Polygon>"
    point = "<Point><coordinates>-80,38,250</coordinates></Point>"
    coords = "<gx:coord>-80 38 0</gx:coord><gx:coord>-80 38.001 0</gx:coord>"
    track = f"<gx:Track><when>2024-09-03T16:00:00Z</when>{coords}</gx:Track>"
    marks = (
        mark("ROMU", point) + mark("LOJA", polygon) + mark("LOMA6", f"<MultiGeometry>{polygon}{point}</MultiGeometry>")
    )
    text = (
        '<kml xmlns="http://www.opengis.net/kml/2.2" xmlns:gx="http://www.google.com/kml/ext/2.2"><Document><Folder>'
        f"<name>A</name>{marks}<Folder><name>B</name>{mark('ALPE4', track)}</Folder></Folder></Document></kml>"
    )
    return [text.encode()]


def _features() -> list[dict]:
    said = dict(zip(HEAD, ("Rosa multiflora", "35", 20, "2024-09-04"), strict=False))
    return [
        {
            "type": "Feature",
            "id": number,
            "properties": {**said, "crew": {"a": [1]}},
            "geometry": {"type": kind, "coordinates": places},
        }
        for number, (kind, places) in enumerate(SHAPES.items())
    ]


def _geojson(_: Path) -> list[bytes]:
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:OGC:1.3:CRS84"}}
    documents = [
        {"type": "FeatureCollection", "features": _features()},
        {"type": "FeatureCollection", "crs": crs, "features": _features()[:2]},
        _features()[2],
    ]
    return [json.dumps(document).encode() for document in documents]


def _frame(kind: str) -> gpd.GeoDataFrame:
    cells = {name: [row[k] for row in ROWS] for k, name in enumerate(HEAD[:4])}
    corners = np.array([[row[4], row[5]] for row in ROWS])
    shapes = shapely.points(corners) if kind == "points" else shapely.box(*corners.T, *(corners + 0.0005).T)
    return gpd.GeoDataFrame(cells, geometry=shapes, crs=4326)


def _written(suffix: str, **options: str) -> Callable[[Path], list[dict[str, bytes]]]:
    """Points and boxes as GDAL or pyarrow writes them, with all the parts of the file."""

    def make(folder: Path) -> list[dict[str, bytes]]:
        found = []
        for kind in ("points", "boxes"):
            home = folder / f"{suffix}_{kind}"
            home.mkdir()
            frame = _frame(kind).to_crs(4326 if kind == "points" else 26917)
            if suffix == "parquet":
                frame.to_parquet(home / "a.parquet")
            else:
                frame.to_file(home / f"a.{suffix}", **options)
            names = sorted((path.name for path in home.iterdir()), key=lambda name: not name.endswith(suffix))
            found.append({name: (home / name).read_bytes() for name in names})
        return found

    return make


def _books(_: Path) -> list[bytes]:
    book = openpyxl.Workbook()
    for row in (HEAD, *ROWS):
        book.active.append(row)
    book.create_sheet("species list").append(["code", "name"])
    stream = io.BytesIO()
    book.save(stream)
    return [stream.getvalue()]


def _archives(folder: Path) -> list[bytes]:
    shapefile = _written("shp")(folder)[1]
    table = _tables(",", "utf-8")(folder)[0]
    return [
        packed([(f"day 1/{name}", data) for name, data in shapefile.items()]),
        packed([("day 2/a.csv", table), ("read me.txt", b"hello"), ("a.gpx", _gpx(folder)[0])]),
    ]


def _pictures(_: Path) -> list[bytes]:
    exif = Image.Exif()
    exif[0x8825] = {1: "N", 2: (38.0, 0.0, 3.6), 3: "W", 4: (80.0, 0.0, 3.6), 7: (20.0, 31.0, 7.0), 16: "T", 17: 90.0,
                    29: "2024:09:03", 31: 4.75}  # fmt: skip
    exif[0x8769] = {0x9003: "2024:09:03 16:30:05", 0x9011: "-04:00"}
    found = []
    for kind in ("JPEG", "PNG", "TIFF"):
        stream = io.BytesIO()
        Image.new("RGB", (4, 4), "green").save(stream, kind, exif=exif.tobytes())
        found.append(stream.getvalue())
    return found


MADE: dict[str, Callable[[Path], list]] = {
    "csv": _tables(",", "utf-8"), "tsv": _tables("\t", "utf-16"), "gpx": _gpx, "kml": _kml,
    "kmz": lambda folder: [packed([("doc.kml", _kml(folder)[0]), ("files/a.png", b"x")])], "geojson": _geojson,
    "geojsonl": lambda _: ["\n".join(map(json.dumps, _features())).encode()], "shp": _written("shp"),
    "gpkg": _written("gpkg", SPATIAL_INDEX="NO"), "fgb": _written("fgb"), "parquet": _written("parquet"),
    "xlsx": _books, "zip": _archives, "jpg": _pictures,
}  # fmt: skip
