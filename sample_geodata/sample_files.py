"""Writing the sample's files so that the same seed gives the same content (geopandas, rasterio, zipfile)."""

from __future__ import annotations

import csv
import io
import tempfile
import zipfile
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import geopandas as gpd
import numpy as np
import pyogrio
import rasterio
import shapely
from pyproj import Transformer
from rasterio.transform import from_origin
from sample_layout import Layout
from sample_mistakes import CSV, GPX, KMZ, ZIP, Row, plant
from sample_survey import CREWS, SPECIES, TO_UTC, Record
from sample_terrain import Raster
from sample_water import CRS
from shapely.geometry import Point, Polygon
from shapely.geometry.base import BaseGeometry

TO_DEGREES = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
FEET_CRS = "EPSG:2283"  # state plane, US survey feet
STAMP = "2025-10-06T12:00:00.000Z"
WALK_SPACE = "https://example.org/walk/1"


def degrees(shape: BaseGeometry) -> BaseGeometry:
    """The shape in longitude and latitude."""
    return shapely.transform(shape, lambda xy: np.column_stack(TO_DEGREES.transform(xy[:, 0], xy[:, 1])))


def write_dem(path: Path, ground: Raster) -> None:
    """Elevations in metres to the nearest 0.05 m, as a tiled and deflated GeoTIFF."""
    rows, cols = ground.z.shape
    profile = {
        "driver": "GTiff", "dtype": "float32", "count": 1, "height": rows, "width": cols, "crs": CRS,
        "transform": from_origin(ground.west, ground.north, ground.cell, ground.cell), "nodata": -9999.0,
        "compress": "deflate", "predictor": 3, "zlevel": 9, "tiled": True, "blockxsize": 256, "blockysize": 256,
    }  # fmt: skip
    with rasterio.open(path, "w", **profile) as sink:
        sink.write((np.round(ground.z / 0.05) * 0.05).astype(np.float32), 1)
        sink.units = ("metre",)


def write_layers(path: Path, layers: dict[str, gpd.GeoDataFrame]) -> None:
    """Several layers of one GeoPackage, with a fixed time stamp."""
    path.unlink(missing_ok=True)
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": STAMP})
    for name, frame in layers.items():
        mixed = frame.geom_type.nunique() > 1
        pyogrio.write_dataframe(
            frame, path, layer=name, driver="GPKG", **({"geometry_type": "Unknown"} if mixed else {})
        )


def write_points(path: Path, points: dict[str, Point]) -> None:
    """Named points as a CSV file with columns name, lon, lat."""
    with path.open("w", newline="", encoding="utf-8") as sink:
        writer = csv.writer(sink, lineterminator="\r\n")
        writer.writerow(("name", "lon", "lat"))
        for name, point in points.items():
            there = degrees(point)
            writer.writerow((name, f"{there.x:.7f}", f"{there.y:.7f}"))


def write_land(folder: Path, ground: Raster, layout: Layout) -> None:
    """Everything that is not survey."""
    write_dem(folder / "dem.tif", ground)
    write_layers(folder / "stands.gpkg", {"stands": layout.stands})
    write_layers(folder / "water.gpkg", {"streams": layout.streams, "wetlands": layout.wetlands})
    write_layers(folder / "ways.gpkg", {"ways": layout.ways})
    write_layers(folder / "land.gpkg", {
        "open": layout.open_ground, "barriers": layout.barriers, "wet": layout.wet, "crossings": layout.crossings,
    })  # fmt: skip
    write_points(folder / "gates.csv", dict(zip(layout.gates["name"], layout.gates.geometry, strict=True)))
    write_points(folder / "wells.csv", {"old house well": layout.well})
    rounded = shapely.set_precision(layout.rare.to_crs("EPSG:4326").geometry, 1e-7)
    rare = layout.rare.set_geometry(gpd.GeoSeries(rounded, crs="EPSG:4326")).to_json(drop_id=True)
    (folder / "rare_plants.geojson").write_text(rare + "\n", encoding="utf-8")
    (folder / "neighbours.kml").write_text(_neighbour_kml(layout.organic), encoding="utf-8")


def _neighbour_kml(field: Polygon) -> str:
    """The neighbour's field as a KML document."""
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<kml xmlns="http://www.opengis.net/kml/2.2"><Document>\n'
        "<name>neighbours</name>\n<Placemark><name>organic vegetable field</name>"
        f"{kml_shape(degrees(field))}</Placemark>\n</Document></kml>\n"
    )


def _ring(shape: Any) -> str:
    """Coordinates as KML text."""
    return " ".join(f"{x:.7f},{y:.7f},0" for x, y in shape.coords)


def kml_shape(shape: BaseGeometry) -> str:
    """A point, line or polygon without holes as KML."""
    if shape.geom_type == "Point":
        return f"<Point><coordinates>{_ring(shape)}</coordinates></Point>"
    if shape.geom_type == "LineString":
        return f"<LineString><tessellate>1</tessellate><coordinates>{_ring(shape)}</coordinates></LineString>"
    ring = f"<LinearRing><coordinates>{_ring(shape.exterior)}</coordinates></LinearRing>"
    return f"<Polygon><outerBoundaryIs>{ring}</outerBoundaryIs></Polygon>"


def _zulu(record: Record) -> str:
    return record.when.strftime("%Y-%m-%dT%H:%M:%SZ")


def _gpx_rows(records: list[Record], prefix: str) -> list[Row]:
    """What a waypoint or track of the north crew holds."""
    rows = []
    for n, r in enumerate(records, 1):
        common = SPECIES[r.species][0]
        text = f"{common}, about {r.height_ft} ft" + (f", {r.notes}" if r.notes else "")
        row = {
            "name": f"{prefix}{n:03d}",
            "time": _zulu(r),
            "desc": text,
            "species": r.species,
            "cover": r.cover,
        }
        row |= {"radius_ft": r.size_ft, "height_ft": r.height_ft, "geometry": degrees(r.shape)}
        if r.shape.geom_type == "Point":
            row |= {"lat": f"{row['geometry'].y:.7f}", "lon": f"{row['geometry'].x:.7f}"}
        rows.append(row)
    return rows


def _gpx_extras(row: Row) -> str:
    """The crew's own fields as GPX extensions; a blank field is left out."""
    names = ("species", "cover", "radius_ft", "height_ft")
    return "".join(f"<walk:{n}>{escape(row[n])}</walk:{n}>" for n in names if row[n])


def write_gpx(path: Path, points: list[Record], walks: list[Record]) -> int:
    """The north crew's waypoints and walked loops; returns the number of records."""
    waypoints = plant(_gpx_rows(points, "N"), file=GPX, kind="wpt")
    tracks = plant(_gpx_rows(walks, "WALK"), file=GPX, kind="trk")
    out = ['<?xml version="1.0" encoding="UTF-8"?>', '<gpx version="1.1" creator="field receiver" '
           f'xmlns="http://www.topografix.com/GPX/1/1" xmlns:walk="{WALK_SPACE}">',
           f"<metadata><name>north crew</name><time>{STAMP[:19]}Z</time></metadata>"]  # fmt: skip
    out += [_gpx_waypoint(row) for row in waypoints]
    out += [_gpx_track(row) for row in tracks]
    path.write_text("\n".join([*out, "</gpx>"]) + "\n", encoding="utf-8")
    return len(waypoints) + len(tracks)


def _gpx_waypoint(row: Row) -> str:
    """One waypoint."""
    return (
        f'<wpt lat="{row["lat"]}" lon="{row["lon"]}"><time>{row["time"]}</time><name>{row["name"]}</name>'
        f"<desc>{escape(row['desc'])}</desc><extensions>{_gpx_extras(row)}</extensions></wpt>"
    )


def _gpx_track(row: Row) -> str:
    """One walked loop; a list of points is a walk that was cut short."""
    shape = row["geometry"]
    xy = [p.coords[0] for p in shape] if isinstance(shape, list) else list(shape.exterior.coords)
    start = np.datetime64(row["time"].rstrip("Z"))
    points = "".join(
        f'<trkpt lat="{y:.7f}" lon="{x:.7f}"><time>{start + np.timedelta64(6 * i, "s")}Z</time></trkpt>'
        for i, (x, y) in enumerate(xy)
    )
    return (
        f"<trk><name>{row['name']}</name><desc>{escape(row['desc'])}</desc>"
        f"<extensions>{_gpx_extras(row)}</extensions><trkseg>{points}</trkseg></trk>"
    )


def write_csv(path: Path, points: list[Record]) -> int:
    """The creek crew's sheet, with a spreadsheet's byte-order mark; returns the number of records."""
    rows = []
    for n, r in enumerate(points, 1):
        p, day = degrees(r.shape), r.when - TO_UTC
        rows.append({
            "ID": f"C-{n}", "Lat": f"{p.y:.6f}", "Lon": f"{p.x:.6f}", "SPP": SPECIES[r.species][1], "PCT_COV": r.cover,
            "Radius (ft)": r.size_ft, "Ht_ft": r.height_ft, "Date": f"{day.month}/{day.day}/{day.year}",
            "Observer": CREWS[r.crew][0], "Notes": r.notes,
        })  # fmt: skip
    rows = plant(rows, file=CSV, kind="row")
    buffer = io.StringIO()
    writer = csv.DictWriter(buffer, list(rows[0]), lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    path.write_bytes(buffer.getvalue().encode("utf-8-sig"))
    return len(rows)


KMZ_SCHEMA = (
    '<Schema name="patch" id="patch"><SimpleField type="string" name="Species"/>'
    '<SimpleField type="string" name="Cover %"/><SimpleField type="string" name="Width_ft"/>'
    '<SimpleField type="string" name="Diameter_ft"/>'
    '<SimpleField type="string" name="Height_ft"/><SimpleField type="string" name="Date"/></Schema>'
)


def write_kmz(path: Path, folders: dict[str, list[Record]]) -> int:
    """The ridge crew's placemarks in folders; returns the number of records."""
    records = [(folder, r) for folder, rs in folders.items() for r in rs]
    rows = []
    for n, (folder, r) in enumerate(records, 1):
        values = {"Species": SPECIES[r.species][0], "Cover %": r.cover, "Height_ft": r.height_ft}
        if r.shape.geom_type == "Point":
            values |= {"Width_ft": "", "Diameter_ft": str(2 * int(r.size_ft))}
        else:
            values |= {"Width_ft": r.size_ft, "Diameter_ft": ""}
        values |= {"Date": (r.when - TO_UTC).strftime("%Y-%m-%d")}
        rows.append(values | {"name": f"Q{n}", "folder": folder, "notes": r.notes, "geometry": degrees(r.shape)})
    rows = plant(rows, file=KMZ, kind="placemark")
    body = "".join(
        f"<Folder><name>{name}</name>\n{''.join(_placemark(row) for row in rows if row['folder'] == name)}</Folder>\n"
        for name in folders
    )
    text = (
        '<?xml version="1.0" encoding="UTF-8"?>\n<kml xmlns="http://www.opengis.net/kml/2.2"><Document>'
        f"<name>ridge crew</name>\n{KMZ_SCHEMA}\n{body}</Document></kml>\n"
    )
    write_zip(path, {"doc.kml": text.encode()})
    return len(rows)


def _placemark(row: Row) -> str:
    """One placemark; blank fields are left out, as the crew's program does."""
    names = ("Species", "Cover %", "Width_ft", "Diameter_ft", "Height_ft", "Date")
    data = "".join(f'<SimpleData name="{n}">{escape(row[n])}</SimpleData>' for n in names if row[n])
    note = f"<description>{escape(row['notes'])}</description>" if row["notes"] else ""
    return (
        f'<Placemark><name>{row["name"]}</name>{note}<ExtendedData><SchemaData schemaUrl="#patch">{data}'
        f"</SchemaData></ExtendedData>{kml_shape(row['geometry'])}</Placemark>\n"
    )


def write_thickets(path: Path, walks: list[Record]) -> int:
    """The creek crew's thickets as a zipped shapefile in state plane feet; returns the number of records."""
    rows: list[Row] = []
    for n, r in enumerate(walks, 1):
        values = {"id": n, "species": r.species, "cover_pct": r.cover, "height_ft": r.height_ft}
        values |= {
            "survey_dt": (r.when - TO_UTC).strftime("%Y-%m-%d"),
            "observer": CREWS[r.crew][0],
            "notes": r.notes,
        }
        rows.append(values | {"geometry": r.shape})
    rows = plant(rows, file=ZIP, kind="feature")
    frame = gpd.GeoDataFrame(rows, geometry="geometry", crs=CRS).to_crs(FEET_CRS)
    with tempfile.TemporaryDirectory() as scratch:
        target = Path(scratch) / "thickets.shp"
        pyogrio.write_dataframe(
            frame, target, driver="ESRI Shapefile", layer_options={"DBF_DATE_LAST_UPDATE": STAMP[:10]}
        )
        write_zip(path, {p.name: p.read_bytes() for p in sorted(Path(scratch).iterdir())})
    return len(rows)


def write_zip(path: Path, members: dict[str, bytes]) -> None:
    """A zip archive whose bytes depend only on its members."""
    with zipfile.ZipFile(path, "w") as sink:
        for name, data in members.items():
            info = zipfile.ZipInfo(name, date_time=(2025, 10, 6, 12, 0, 0))
            info.compress_type = zipfile.ZIP_DEFLATED
            sink.writestr(info, data, compresslevel=9)
