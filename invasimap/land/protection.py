"""Where spray must not go: no-spray and hand-only zones round protected features."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely
from scipy import ndimage

from invasimap.core.crs import require_same_metres
from invasimap.core.errors import Fault, LayerError
from invasimap.core.geometry import Geometries, polygons_only, segments, setback_parts
from invasimap.land.terrain import Terrain

Floats = npt.NDArray[np.float64]
STRICTEST_FIRST = ("no_spray", "hand_only")


def protection_zones(
    features: gpd.GeoDataFrame, *, terrain: Terrain | None = None, within: Any = None
) -> gpd.GeoDataFrame:
    """No-spray and hand-only ground round protected features, as polygons that do not overlap.

    Parameters
    ----------
    features
        Points, lines and polygons in metres with ``kind``, ``rule``, ``confidential``, ``no_spray_m``, ``hand_only_m``
        (NaN for none), ``width_m`` (full width where lines or points stand for something wide), ``per_slope_m`` (both
        distances grow by this much per percent of slope at the feature) and ``position_error_m`` (added to both).
        Distances run along the map from the feature's edge.
    terrain
        Elevation, needed where ``per_slope_m`` is above zero.
    within
        The ground that counts, a polygon; zones are clipped to it and features too far to matter are passed over.

    Returns
    -------
    GeoDataFrame
        ``zone, kind, rule, confidential``. Where rules meet the stricter zone wins; within one zone the widest
        rule names it.

    Raises
    ------
    LayerError
        When slope is asked for and no elevation is known.
    """
    require_same_metres(features=features)
    slope_wanted = bool((features["per_slope_m"] > 0).any())
    if slope_wanted and (terrain is None or terrain.flat or not np.isfinite(terrain.elevation_m).any()):
        kinds = ", ".join(sorted(set(features.loc[features["per_slope_m"] > 0, "kind"])))
        raise LayerError(
            Fault(where=f"protect: {kinds}", what="per_slope needs elevation", mend="set elevation in [land]")
        )
    steepest = steepest_near(terrain) if slope_wanted and terrain is not None else None
    if within is not None:
        features = _near(features, within, 0.0 if steepest is None else float(steepest.max()))
    pieces: list[dict[str, Any]] = []
    taken: Any = shapely.Polygon()
    for zone in STRICTEST_FIRST:
        column = f"{zone}_m"
        rules = features[features[column].notna()]
        keys = ["kind", "rule", "confidential"]
        groups = [(rows[column].max(), name, rows) for name, rows in rules.groupby(keys, sort=True)]
        for _, name, rows in sorted(groups, key=lambda group: -group[0]):
            ground = shapely.union_all(_zones_of(rows, column, terrain, steepest))
            ground = ground if within is None else shapely.intersection(ground, within)
            own = polygons_only(shapely.difference(ground, taken))
            taken = shapely.union(taken, ground)
            if not own.is_empty:
                pieces.append({"zone": zone, **dict(zip(keys, name, strict=True)), "geometry": own})
    columns = ["zone", "kind", "rule", "confidential", "geometry"]
    return gpd.GeoDataFrame(pd.DataFrame(pieces, columns=columns), geometry="geometry", crs=features.crs)


def steepest_near(terrain: Terrain) -> Floats:
    """Steepest slope in percent within one cell of each cell; where none is known, the steepest of the whole grid.

    Unknown is not level: a strip whose slope cannot be read gets the widest setback the tract asks for.
    """
    slope = terrain.slope_pct().astype(float)
    known = np.isfinite(slope)
    near: Floats = ndimage.maximum_filter(np.where(known, slope, -1.0), size=3, mode="nearest")
    return np.where(near < 0, slope[known].max(initial=0.0), near)


def _near(features: gpd.GeoDataFrame, within: Any, steepest_pct: float) -> gpd.GeoDataFrame:
    """The parts of the features from which a zone can reach the ground that counts."""
    farthest = np.fmax(features["no_spray_m"].to_numpy(float), features["hand_only_m"].to_numpy(float))
    reach = farthest + features[["width_m", "position_error_m"]].sum(axis=1).to_numpy(float)
    reach = reach + features["per_slope_m"].to_numpy(float) * steepest_pct + 1.0
    shapes = features.geometry.to_numpy()
    kept = shapely.distance(shapes, within) <= reach
    lines = shapely.get_dimensions(shapes) == 1
    left, bottom, right, top = shapely.bounds(within)
    cut = shapes.copy()
    for row in np.flatnonzero(kept & lines):
        edge = reach[row]
        cut[row] = shapely.clip_by_rect(shapes[row], left - edge, bottom - edge, right + edge, top + edge)
    return features.set_geometry(cut, crs=features.crs)[kept]


def _zones_of(rows: Any, column: str, terrain: Terrain | None, steepest: Floats | None) -> Geometries:
    shapes = rows.geometry.to_numpy()
    half = np.where(shapely.get_dimensions(shapes) < 2, rows["width_m"].to_numpy(float) / 2, 0.0)
    distance = rows[column].to_numpy(float) + rows["position_error_m"].to_numpy(float) + half
    zones = [setback_parts(shapes, distance)[0]]
    sloped = rows["per_slope_m"].to_numpy(float) > 0
    if sloped.any() and terrain is not None and steepest is not None:
        for shape, base, per_slope in zip(
            shapes[sloped], distance[sloped], rows["per_slope_m"].to_numpy(float)[sloped], strict=True
        ):
            zones.append(_grown(shape, base, per_slope, terrain, steepest))
    return np.concatenate(zones)


def _grown(shape: Any, base_m: float, per_slope_m: float, terrain: Terrain, steepest: Floats) -> Geometries:
    """Setbacks of the feature cut into pieces of a cell's length, each by the steepest slope at the piece."""
    pieces = (
        segments(shapely.segmentize(shape, terrain.cell_m))
        if shapely.get_dimensions(shape) > 0
        else shapely.get_parts(shape)
    )
    slope = np.max(
        [_sample(steepest, terrain, shapely.get_coordinates(shapely.centroid(pieces)))]
        + [_sample(steepest, terrain, shapely.get_coordinates(shapely.get_point(pieces, n))) for n in (0, -1)]
        if shapely.get_dimensions(shape) > 0
        else [_sample(steepest, terrain, shapely.get_coordinates(pieces))],
        axis=0,
    )
    return setback_parts(pieces, base_m + per_slope_m * slope)[0]


def _sample(values: Floats, terrain: Terrain, coords: Floats) -> Floats:
    columns = np.floor((coords[:, 0] - terrain.transform.c) / terrain.cell_m).astype(int)
    rows = np.floor((terrain.transform.f - coords[:, 1]) / terrain.cell_m).astype(int)
    inside = (rows >= 0) & (rows < values.shape[0]) & (columns >= 0) & (columns < values.shape[1])
    found = np.full(len(coords), values.max())  # outside the elevation: unknown, so the steepest
    found[inside] = values[rows[inside], columns[inside]]
    return found
