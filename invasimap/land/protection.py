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
from invasimap.land.features import half_width_m
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
    slope_wanted = require_slope(features, terrain)
    steepest = steepest_near(terrain) if slope_wanted and terrain is not None else None
    if within is not None:
        features = _near(features, within, 0.0 if steepest is None else float(steepest.max()))
    pieces: list[dict[str, Any]] = []
    taken: Any = shapely.Polygon()
    for zone in STRICTEST_FIRST:
        column = f"{zone}_m"
        rules = features[features[column].notna()]
        keys = ["kind", "rule", "confidential"]
        groups = [(*_zones_of(rows, column, terrain, steepest), name) for name, rows in rules.groupby(keys, sort=True)]
        for parts, _, name in sorted(groups, key=lambda group: -group[1]):
            ground = shapely.union_all(parts)
            ground = ground if within is None else shapely.intersection(ground, within)
            own = polygons_only(shapely.difference(ground, taken))
            taken = shapely.union(taken, ground)
            if not own.is_empty:
                pieces.append({"zone": zone, **dict(zip(keys, name, strict=True)), "geometry": own})
    columns = ["zone", "kind", "rule", "confidential", "geometry"]
    return gpd.GeoDataFrame(pd.DataFrame(pieces, columns=columns), geometry="geometry", crs=features.crs)


def require_slope(features: gpd.GeoDataFrame, terrain: Terrain | None) -> bool:
    """Whether any setback grows with slope.

    Raises
    ------
    LayerError
        When one does and no elevation is known.
    """
    wanted = features[features["per_slope_m"] > 0]
    if len(wanted) and (terrain is None or terrain.flat or not np.isfinite(terrain.elevation_m).any()):
        kinds = ", ".join(sorted(set(wanted["kind"])))
        raise LayerError(
            Fault(where=f"protect: {kinds}", what="per_slope needs elevation", mend="set elevation in [land]")
        )
    return len(wanted) > 0


def steepest_near(terrain: Terrain) -> Floats:
    """Steepest slope in percent within one cell of each cell; where any of it is not known, the steepest of all.

    Unknown is not level: a strip whose slope cannot be read gets the widest setback known in the tract.
    """
    slope = terrain.slope_pct().astype(float)
    highest = slope[np.isfinite(slope)].max(initial=0.0)
    near: Floats = ndimage.maximum_filter(np.where(np.isfinite(slope), slope, highest), size=3, mode="nearest")
    return near


def slope_notes(features: gpd.GeoDataFrame, terrain: Terrain, *, within: Any) -> list[str]:
    """How much of the features whose setbacks grow with slope lies where the slope is not known, in words."""
    sloped = features[features["per_slope_m"] > 0]
    slope = terrain.slope_pct()
    unknown = np.where(np.isfinite(slope), 0.0, 1.0)
    highest = float(slope[np.isfinite(slope)].max(initial=0.0))
    notes = []
    for kind, rows in sloped.groupby("kind", sort=True):
        near = shapely.intersection(rows.geometry.to_numpy(), within)
        pieces = np.concatenate([_pieces(shape, terrain.cell_m) for shape in near] or [np.empty(0, object)])
        blind = _over(unknown, terrain, pieces) > 0
        if blind.any():
            share = max(100 * blind.sum() / len(pieces), 1.0)
            notes.append(
                f"{kind}: the slope is not known along {share:.0f} % of it in the stands; its setback grows there by "
                f"the steepest slope known in the tract ({highest:.0f} %). Look at the ground before relying on it."
            )
    return notes


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


def _zones_of(rows: Any, column: str, terrain: Terrain | None, steepest: Floats | None) -> tuple[Geometries, float]:
    """Pieces of the zones of one rule, and the widest distance they reach from where the features are drawn."""
    shapes = rows.geometry.to_numpy()
    distance = rows[column].to_numpy(float) + rows["position_error_m"].to_numpy(float) + half_width_m(rows)
    sloped = rows["per_slope_m"].to_numpy(float) > 0
    alike = ~sloped | (shapely.get_type_id(shapes) == shapely.GeometryType.GEOMETRYCOLLECTION)
    areas = shapely.get_parts(shapes[~alike])  # what grows with slope covers all else of its feature
    zones = [setback_parts(shapes[alike], distance[alike], together=True)[0], areas[shapely.get_dimensions(areas) == 2]]
    widest = [float(distance.max())]
    if sloped.any() and terrain is not None and steepest is not None:
        for shape, base, per_slope in zip(
            shapes[sloped], distance[sloped], rows["per_slope_m"].to_numpy(float)[sloped], strict=True
        ):
            grown, reach_m = _grown(shape, base, per_slope, terrain, steepest)
            zones.append(grown)
            widest.append(reach_m)
    return np.concatenate(zones), max(widest)


def _grown(
    shape: Any, base_m: float, per_slope_m: float, terrain: Terrain, steepest: Floats
) -> tuple[Geometries, float]:
    """Setbacks of the feature cut into pieces of a cell's length, each by the steepest slope at the piece."""
    pieces = _pieces(shape, terrain.cell_m)
    slope = _over(steepest, terrain, pieces)
    distance = base_m + per_slope_m * slope
    return setback_parts(pieces, distance, together=True)[0], float(distance.max())


def _pieces(shape: Any, longest_m: float) -> Geometries:
    """A feature cut into short straight pieces; points stay points."""
    if shapely.get_dimensions(shape) == 0:
        return shapely.get_parts(shape)
    return segments(shapely.segmentize(shape, longest_m))


def _over(values: Floats, terrain: Terrain, pieces: Geometries) -> Floats:
    """Largest value under the ends and the middle of each piece."""
    if not len(pieces):
        return np.empty(0)
    spots = [shapely.centroid(pieces)]
    if (shapely.get_dimensions(pieces) == 1).all():
        spots += [shapely.get_point(pieces, 0), shapely.get_point(pieces, -1)]
    found: Floats = np.max([_sample(values, terrain, shapely.get_coordinates(spot)) for spot in spots], axis=0)
    return found


def _sample(values: Floats, terrain: Terrain, coords: Floats) -> Floats:
    columns = np.floor((coords[:, 0] - terrain.transform.c) / terrain.cell_m).astype(int)
    rows = np.floor((terrain.transform.f - coords[:, 1]) / terrain.cell_m).astype(int)
    inside = (rows >= 0) & (rows < values.shape[0]) & (columns >= 0) & (columns < values.shape[1])
    found = np.full(len(coords), values.max())  # outside the elevation: unknown, so the steepest
    found[inside] = values[rows[inside], columns[inside]]
    return found
