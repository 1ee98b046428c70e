"""Protected features as they lie on the ground."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from invasimap.core.geometry import Geometries, setback

FEATURE_COLUMNS = (
    "kind", "rule", "confidential", "no_spray_m", "hand_only_m", "width_m", "per_slope_m", "position_error_m", "blocks",
)  # fmt: skip


def feature_ground(features: gpd.GeoDataFrame) -> Geometries:
    """The ground each feature itself takes: lines and points widened to ``width_m``, polygons as they are."""
    shapes = features.geometry.to_numpy()
    half = np.where(shapely.get_dimensions(shapes) < 2, features["width_m"].to_numpy(float) / 2, 0.0)
    ground: Geometries = np.where(half > 0, setback(shapes, half), shapes)
    return ground
