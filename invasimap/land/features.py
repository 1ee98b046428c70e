"""Protected features as they lie on the ground."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely

from invasimap.core.geometry import Geometries

FEATURE_COLUMNS = (
    "kind", "rule", "confidential", "no_spray_m", "hand_only_m", "width_m", "per_slope_m", "position_error_m", "blocks",
)  # fmt: skip


def half_width_m(features: gpd.GeoDataFrame) -> npt.NDArray[np.float64]:
    """Half the width that lines and points stand for; nothing for polygons, which are as wide as drawn."""
    drawn_wide = shapely.get_dimensions(features.geometry.to_numpy()) == 2
    return np.where(drawn_wide, 0.0, features["width_m"].to_numpy(float) / 2)


def feature_ground(features: gpd.GeoDataFrame) -> Geometries:
    """The ground each feature itself takes: lines and points widened to ``width_m``, polygons as they are."""
    shapes, half = features.geometry.to_numpy(), half_width_m(features)
    ground: Geometries = shapes.copy()
    wide = half > 0
    ground[wide] = shapely.buffer(shapes[wide], half[wide])
    return ground
