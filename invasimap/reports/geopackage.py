"""The plan as one GeoPackage: every layer in the tract's working system, areas in the shown unit."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pyogrio.raw
import shapely

from invasimap.core.geometry import polygons_only
from invasimap.prescription.plan import Plan
from invasimap.reports.tables import parking_table, raw_text, shown_table
from invasimap.reports.wording import shown_date

UNDATED = "2000-01-01"
LAYERS = {
    "patches": (
        "id", "species", "date", "cover_pct", "height_m", "file", "record", "gross_m2", "stems", "observer", "notes",
        "other",
    ),
    "mosaic": ("stand", "zone", "access", "species", "cover_pct", "area_m2"),
    "treatment_zones": (
        "id", "stand", "zone", "access", "species", "tractor_m2", "atv_hose_m2", "foot_m2", "gross_m2",
    ),
    "protection": ("zone", "kind", "rule"),
    "access": ("access", "reached_by", "limit", "hose_only"),
    "stands": ("stand",),
    "set_aside": ("file", "record", "reason", "raw"),
}  # fmt: skip
ABOUT = {
    "patches": "Mapped patches, one species each; what else the crew wrote stands as JSON in other.",
    "mosaic": "Every spot of infested ground once, with all species on it; the tables are sums over these faces.",
    "treatment_zones": "Infested ground by stand, zone and access class.",
    "protection": "Ground where spray may not go (no_spray) or only work by hand is allowed (hand_only), and the rule.",
    "access": "How ground is reached, what keeps it from a better class, and where its machine brings the hose alone.",
    "stands": "Stands.",
    "set_aside": "Records that were not used, and why; without geometry where the record had none.",
    "parking": "Where to park for each treatment zone that a hose serves, the best stop first.",
    "photos": "Pictures, where they were taken, and the patch nearest to each.",
}


def write_geopackage(plan: Plan, path: Path) -> None:
    """Write ``plan.gpkg``; the same plan gives the same bytes."""
    with _stamped(f"{data_date(plan)}T00:00:00.000Z"):
        for name in LAYERS:
            kind = "Unknown" if name == "set_aside" else "MultiPolygon"
            _write(plan_layer(plan, name), path, plan, name=name, kind=kind)
        if len(plan.parking):
            _write(_parking(plan), path, plan, name="parking", kind="Point")
        if len(plan.photos):
            _write(_pictures(plan), path, plan, name="photos", kind="Point")


def _write(layer: gpd.GeoDataFrame, path: Path, plan: Plan, *, name: str, kind: str) -> None:
    """Add a layer to the file, in the system's own words: looking for a code of it takes longer than writing."""
    table = pd.DataFrame(layer.drop(columns="geometry"))
    columns = [np.asarray(table[column]) for column in table]
    pyogrio.raw.write(
        path, shapely.to_wkb(layer.geometry.to_numpy()), columns, table.columns.tolist(), layer=name,
        field_mask=[table[column].isna().to_numpy() for column in table],
        driver="GPKG", geometry_type=kind, crs=plan.crs.to_wkt("WKT1_GDAL"), promote_to_multi=kind == "MultiPolygon",
        append=path.exists(), layer_options={"DESCRIPTION": ABOUT[name]},
        layer_metadata={
            "cautions": " ".join(plan.cautions),
            "units": f"areas in {plan.shown.area}, lengths in {plan.shown.length}",
        },
    )  # fmt: skip


def _parking(plan: Plan) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(parking_table(plan).drop(columns="geometry"), geometry=plan.parking.geometry)


def _pictures(plan: Plan) -> gpd.GeoDataFrame:
    """Where pictures were taken; of one without a position the row alone."""
    photos = plan.photos.drop(columns=["lon", "lat"])
    points = gpd.GeoSeries(gpd.points_from_xy(plan.photos["lon"], plan.photos["lat"]), crs=4326)
    points[plan.photos["lon"].isna()] = None
    return gpd.GeoDataFrame(shown_table(photos, plan.shown), geometry=points).to_crs(plan.crs)


def plan_layer(plan: Plan, name: str) -> gpd.GeoDataFrame:
    """One layer of the GeoPackage with the contract's columns, in shown units."""
    source = getattr(plan, name)
    columns = pd.DataFrame(source)[list(LAYERS[name])]
    table = shown_table(columns, plan.shown)
    for column in ("date", "raw"):
        if column in table:
            write = shown_date if column == "date" else raw_text
            table[column] = pd.Series([write(value) for value in table[column]], index=table.index, dtype=object)
            table[column] = table[column].where(table[column] != "not known", None)
    return gpd.GeoDataFrame(table, geometry=_areas_only(source, name), crs=plan.crs)


def data_date(plan: Plan) -> str:
    """Date of the newest patch, for the file's own time stamps: the file changes when the data do."""
    known = [text for text in map(shown_date, plan.patches["date"]) if text != "not known"]
    return max(known, default=UNDATED)


def _areas_only(source: gpd.GeoDataFrame, name: str) -> gpd.GeoSeries:
    """Geometry of a layer; collections keep their polygons only (``set_aside`` keeps whatever there was)."""
    shapes = source.geometry.to_numpy()
    mixed = shapely.get_type_id(shapes) == shapely.GeometryType.GEOMETRYCOLLECTION
    if name != "set_aside" and mixed.any():
        shapes = shapes.copy()
        shapes[mixed] = [polygons_only(shape) for shape in shapes[mixed]]
    return gpd.GeoSeries(shapes, index=source.index, crs=source.crs)


@contextmanager
def _stamped(moment: str) -> Iterator[None]:
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": moment})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})
