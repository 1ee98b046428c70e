"""The shape of the ground as a picture for the field map."""

from __future__ import annotations

import io
import math
from typing import Any

import numpy as np
from affine import Affine
from PIL import Image
from pyproj import Transformer
from rasterio.warp import Resampling, reproject

from invasimap.prescription.plan import Plan
from invasimap.reports.offline import data_uri
from invasimap.reports.relief import hillshade, shade_light

LONGEST_SIDE_PX = 1400


def shade_image(plan: Plan) -> tuple[str, list[list[float]]] | None:
    """Hillshade as a JPEG address in web Mercator with its corners (lat, lon), or None without elevation."""
    if plan.terrain.flat:
        return None
    shade = shade_light(hillshade(plan.terrain)) * 255
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
    return data_uri(stream.getvalue(), "image/jpeg")
