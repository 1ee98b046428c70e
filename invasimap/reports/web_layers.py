"""The layers of the web map as GeoJSON with ready, escaped texts."""

from __future__ import annotations

import base64
import io
import math
from collections.abc import Iterable, Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from affine import Affine
from PIL import Image
from pyproj import Transformer
from rasterio.warp import Resampling, reproject

from invasimap.core.crs import shown_place
from invasimap.land.raster import joined_polygons
from invasimap.prescription.plan import Plan
from invasimap.reports.offline import safe_html
from invasimap.reports.relief import hillshade
from invasimap.reports.wording import (
    ACCESS_WORDS,
    OUTCOME_WORDS,
    limit_words,
    outcome,
    rows_of,
    shown_area,
    shown_date,
    shown_number,
    whole_length,
)

TOLERANCE_M = 0.1
DECIMALS = 6  # of shapes that are drawn, as fine as they are simplified
LONGEST_SIDE_PX = 1400
LEAST_SHARE = 0.005  # parts of a patch smaller than this share are slivers of drawing, not work


def geojson(layer: gpd.GeoDataFrame, *, names: Iterable[str] = (), popups: Iterable[str] = ()) -> dict[str, Any]:
    """A layer as GeoJSON in longitude and latitude (1e-6 degrees, simplified to 0.1 m).

    ``names`` (tooltips) and ``popups`` are HTML, one a row, already escaped.
    """
    shapes = shapely.force_2d(layer.geometry.to_numpy())
    kept = ~(shapely.is_missing(shapes) | shapely.is_empty(shapes))
    table = {"name": list(names) or [""] * len(layer), "popup": list(popups) or [""] * len(layer)}
    found = gpd.GeoDataFrame(table, geometry=shapely.simplify(shapes, TOLERANCE_M), crs=layer.crs)[kept].to_crs(4326)
    rounded = shapely.transform(found.geometry.to_numpy(), lambda xy: np.round(xy, DECIMALS))
    document: dict[str, Any] = found.set_geometry(rounded, crs=4326).to_geo_dict(drop_id=True)
    return document


def access_ground(plan: Plan, access: str) -> gpd.GeoDataFrame:
    """Ground of one access class in and just round the stands, the steps of the grid smoothed.

    One row for each ``limit`` and ``reached_by`` that occur together.
    """
    rows = _whether_driven_or_not(plan, plan.access[plan.access["access"] == access])
    stands = shapely.union_all(plan.stands.geometry.to_numpy())
    around = shapely.buffer(shapely.simplify(stands, plan.terrain.cell_m), 2 * plan.terrain.cell_m)
    found: dict[str, Any] = {"limit": [], "reached_by": [], "geometry": []}
    for (limit, reached_by), alike in rows.groupby(["limit", "reached_by"], sort=True):
        shapes = shapely.simplify(alike.geometry.to_numpy(), 1.0 * plan.terrain.cell_m)
        touching = shapes[shapely.intersects(shapes, around)]
        if len(touching):
            found["limit"].append(limit)
            found["reached_by"].append(reached_by)
            found["geometry"].append(shapely.multipolygons(_areas(shapely.make_valid(touching))))
    return gpd.GeoDataFrame(found, geometry="geometry", crs=plan.crs)


def _whether_driven_or_not(plan: Plan, rows: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Rows joined where they differ by ``hose_only`` alone, so that no seam is drawn along what a machine drives."""
    if rows["hose_only"].nunique() < 2:
        return rows
    alike = rows.groupby(["limit", "reached_by"], sort=True)
    facts = alike.first()[[]].reset_index()
    joined = joined_polygons(rows.geometry.to_numpy(), alike.ngroup().to_numpy() + 1, plan.terrain)
    return joined[["geometry"]].join(facts.iloc[joined["code"] - 1].set_index(joined.index))


def access_popups(rows: gpd.GeoDataFrame, access: str) -> list[str]:
    """One popup a row of ``access_ground``: every class that reaches it, and what keeps it from a better one."""
    return [
        facts(
            f"<b>{ACCESS_WORDS[access]}</b>",
            {
                "reached by": ", ".join(ACCESS_WORDS[name] for name in row.reached_by.split(";") if name),
                "not better because": limit_words(row.limit, access) if row.limit else "",
            },
        )
        for row in rows_of(rows)
    ]


def parking_popups(plan: Plan) -> list[str]:
    """One popup a parking place: its zone, its rank there, the hose and the lift it takes (rounded up)."""
    stops, places = plan.parking.groupby("zone_id").size(), plan.parking.geometry.to_crs(4326)
    return [
        facts(
            "<b>park here for a hose</b>",
            {
                "zone": str(row.zone_id),
                "stop": f"{row.stop} of {stops[row.zone_id]}",
                "place": shown_place(y, x),
                "hose": whole_length(row.hose_m, plan.shown),
                "lift": whole_length(row.lift_m, plan.shown),
                "serves": f"{math.floor(row.share_pct)} % of what a hose reaches there",
            },
        )
        for row, (x, y) in zip(rows_of(plan.parking), shapely.get_coordinates(places), strict=True)
    ]


def _areas(shapes: Any) -> Any:
    parts = shapely.get_parts(shapely.get_parts(shapes))
    return parts[shapely.get_dimensions(parts) == 2]


def facts(title: str, pairs: Mapping[str, str]) -> str:
    """A popup: a title (HTML) over terms and values; terms and values are escaped here."""
    rows = "".join(f"<dt>{safe_html(term)}</dt><dd>{safe_html(value)}</dd>" for term, value in pairs.items() if value)
    return f"{title}<dl>{rows}</dl>"


def species_html(latin: str, common: str = "") -> str:
    """A scientific name in italics, then the common name."""
    tail = f" ({safe_html(common)})" if common else ""
    return f"<b><i>{safe_html(latin)}</i></b>{tail}"


def patch_popups(plan: Plan) -> list[str]:
    """One popup a patch: species, size, cover, date, and what can be done where."""
    patches, shown = plan.patches, plan.shown
    common = patches["common_name"].fillna("") if "common_name" in patches else [""] * len(patches)
    work = patch_outcomes(plan)
    pictures = {} if plan.photos.empty else plan.photos.groupby("patch")["file"].agg(list).to_dict()
    repairs = {(str(row.file), int(row.record)): str(row.how) for row in rows_of(plan.repaired)}
    found = []
    for row, name in zip(rows_of(patches), common, strict=True):
        pairs = {
            "patch": str(row.id),
            "area": shown_area(row.gross_m2, shown),
            "cover": _figure(row.cover_pct, "%"),
            "height": _figure(shown.length_of(float(row.height_m)) if pd.notna(row.height_m) else None, shown.length),
            "seen": shown_date(row.date),
            "stand": work.loc[row.Index, "stand"],
            "what can be done": work.loc[row.Index, "work"],
            "from": f"{row.file}, record {row.record}",
            "assumed or put right": repairs.get((str(row.file), int(row.record)), ""),
            "pictures": ", ".join(pictures.get(str(row.id), [])),
        }
        found.append(facts(species_html(str(row.species), str(name)), pairs))
    return found


def patch_outcomes(plan: Plan) -> pd.DataFrame:
    """For each patch ``stand`` and ``work``: what can be done, with the share of each where there are several."""
    pieces = plan.treatment_zones
    names = outcome(pieces).to_numpy()
    shapes, grounds = plan.patches.geometry.to_numpy(), pieces.geometry.to_numpy()
    patch, piece = shapely.STRtree(grounds).query(shapes, predicate="intersects")
    area = shapely.area(shapely.intersection(shapes[patch], grounds[piece])) if len(patch) else np.empty(0)
    long = pd.DataFrame(
        {"patch": patch, "work": names[piece], "stand": pieces["stand"].to_numpy()[piece], "area": area}
    )
    long["share"] = long["area"] / long.groupby("patch")["area"].transform("sum")
    long = long[long["share"] > LEAST_SHARE]
    shares = long.groupby(["patch", "work"])["share"].sum().reset_index()
    shares = shares.sort_values(["patch", "share"], ascending=[True, False], kind="stable")
    stands = long[["patch", "stand"]].astype({"stand": str}).drop_duplicates().sort_values(["patch", "stand"])
    found = {"stand": stands["stand"].groupby(stands["patch"]), "work": _share_words(shares).groupby(shares["patch"])}
    table = pd.DataFrame({name: texts.agg(", ".join) for name, texts in found.items()}, dtype=object)
    return table.reindex(range(len(plan.patches)), fill_value="not known").set_axis(plan.patches.index)


def _share_words(shares: pd.DataFrame) -> pd.Series:
    """What can be done in words, with the share in percent where a patch has several."""
    several = shares["patch"].duplicated(keep=False)
    texts = [
        OUTCOME_WORDS[name] + (f" {share * 100:.0f} %" if more else "")
        for name, share, more in zip(shares["work"], shares["share"], several, strict=True)
    ]
    return pd.Series(texts, index=shares.index, dtype=object)


def _figure(value: float | None, unit: str) -> str:
    if value is None or pd.isna(value):
        return "not known"
    return f"{shown_number(float(value), decimals=0 if float(value) >= 10 else 1)} {unit}"


def shade_image(plan: Plan) -> tuple[str, list[list[float]]] | None:
    """Hillshade as a JPEG address in web Mercator with its corners (lat, lon), or None without elevation."""
    if plan.terrain.flat:
        return None
    shade = np.clip((hillshade(plan.terrain) - 0.35) / 0.55, 0, 1) * 115 + 140
    terrain = plan.terrain
    to_mercator = Transformer.from_crs(plan.crs, 3857, always_xy=True)
    left, bottom, right, top = to_mercator.transform_bounds(*terrain.bounds)
    step = max(right - left, top - bottom) / min(max(terrain.shape), LONGEST_SIDE_PX)
    wide, high = math.ceil((right - left) / step), math.ceil((top - bottom) / step)
    right, bottom = left + wide * step, top - high * step
    moved = np.full((high, wide), np.nan, np.float32)
    reproject(
        shade.astype(np.float32),
        moved,
        src_transform=terrain.transform,
        src_crs=plan.crs.to_wkt(),
        dst_transform=Affine(step, 0.0, left, 0.0, -step, top),
        dst_crs="EPSG:3857",
        src_nodata=np.nan,
        dst_nodata=np.nan,
        resampling=Resampling.bilinear,
    )
    to_degrees = Transformer.from_crs(3857, 4326, always_xy=True)
    (west, south), (east, north) = to_degrees.transform(left, bottom), to_degrees.transform(right, top)
    return _jpeg(moved), [[south, west], [north, east]]


def _jpeg(grey: np.ndarray[Any, Any]) -> str:
    """A grey picture as an address; what is not known is white."""
    stream = io.BytesIO()
    Image.fromarray(np.where(np.isfinite(grey), grey, 255).astype(np.uint8)).save(
        stream, "JPEG", quality=72, optimize=True
    )
    return f"data:image/jpeg;base64,{base64.b64encode(stream.getvalue()).decode('ascii')}"
