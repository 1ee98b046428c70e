"""Covers: ground closed in place of confidential features, wide and shifted, so that nothing in it can be placed.

A cover holds whatever the feature's own distances close, wherever within ``hide_within`` of the cover's middle the
feature lies; so its outline depends on that middle (``hidden_place``) and on rounded sizes, never on the place itself.
Features that lie near one another share a cover. One that is small beside the distance gets a rounded shape of no form
of its own; a larger one keeps its rough form, moved.
"""

from __future__ import annotations

import math
from typing import Any, Final

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from invasimap.core.crs import require_same_metres, to_lonlat
from invasimap.core.geometry import Geometries, empty_layer
from invasimap.land.features import FEATURE_COLUMNS, half_width_m
from invasimap.land.hidden_place import hidden_place, numbers
from invasimap.land.protection import require_slope, steepest_near
from invasimap.land.terrain import Terrain
from invasimap.land.words import RESTRICTED

Floats = npt.NDArray[np.float64]
TOGETHER: Final = 2.0  # times the distance: sites no farther apart share a cover, so that no two middles tell of one
CORNERS: Final = 48
KNOTS: Final = 12
LEAST_MARGIN, MOST_MARGIN = 0.03, 0.5  # of the distance: how far an outline wanders outside what it must hold
SIZE_STEP: Final = 0.25  # of the distance: sizes are rounded up to it, else a size tells which feature it is
NODE_STEP: Final = 0.5  # of the distance: how finely the form of a large feature is kept
ARCS: Final = 1.001  # a drawn setback may be wider than typed by a little (geometry.setback)


def confidential_rows(layer: pd.DataFrame) -> npt.NDArray[np.bool_]:
    """Which rows of a layer are confidential."""
    return layer["confidential"].fillna(False).to_numpy(bool)


def covers(
    features: gpd.GeoDataFrame, *, key: bytes, hide_within_m: float, terrain: Terrain | None = None
) -> gpd.GeoDataFrame:
    """What takes the place of the confidential features among some features.

    Parameters
    ----------
    features
        As ``protection_zones`` takes them, with ``blocks``.
    key
        ``hidden_place.key_of`` the owner's words.
    hide_within_m
        How near nobody shall place a feature.
    terrain
        Elevation, needed where ``per_slope_m`` of a confidential feature is above zero.

    Returns
    -------
    GeoDataFrame
        One polygon a group of features, with the columns of features: no spray in all of it, nothing beyond it, and it
        stops whoever any of its features stops.

    Raises
    ------
    LayerError
        When slope is asked for and no elevation is known.
    """
    crs = require_same_metres(features=features)
    hidden: Any = features[confidential_rows(features)]
    require_slope(hidden, terrain)
    if hidden.empty:
        return empty_layer(crs, *FEATURE_COLUMNS)
    rows = [
        {"blocks": _all_blocks(group["blocks"]), "geometry": _cover(group, key, hide_within_m, terrain)}
        for _, group in hidden.groupby(_groups(hidden.geometry.to_numpy(), TOGETHER * hide_within_m))
    ]
    same: dict[str, Any] = {
        "kind": RESTRICTED, "rule": RESTRICTED, "confidential": True, "no_spray_m": 0.0, "hand_only_m": np.nan,
        "width_m": 0.0, "per_slope_m": 0.0, "position_error_m": 0.0,
    }  # fmt: skip
    table = pd.DataFrame(rows, columns=["blocks", "geometry"]).assign(**same)
    return gpd.GeoDataFrame(table[[*FEATURE_COLUMNS, "geometry"]], geometry="geometry", crs=crs)


def _all_blocks(texts: pd.Series) -> str:
    return ";".join(sorted({name for text in texts for name in text.split(";")} - {""}))


def _groups(shapes: Geometries, apart_m: float) -> Any:
    """The number of the group of each shape: those no farther apart, one after another, are one."""
    first, second = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=apart_m)
    near = coo_array((np.ones(len(first), bool), (first, second)), shape=(len(shapes), len(shapes)))
    return connected_components(near, directed=False)[1]


def _cover(group: Any, key: bytes, within_m: float, terrain: Terrain | None) -> Any:
    shapes = group.geometry.to_numpy()
    coords = shapely.get_coordinates(shapes)
    middle = _middle(coords)
    size_m = float(np.hypot(*(coords - middle).T).max())
    lonlat = to_lonlat(group.crs)
    lon, lat = hidden_place(*lonlat.transform(*middle), key=key, within_m=within_m)
    moved_to = np.array(lonlat.transform(lon, lat, direction="INVERSE"))
    label = f"{lon:.7f} {lat:.7f}"
    near = np.concatenate([coords.min(axis=0), coords.max(axis=0)]) + np.tile(moved_to - middle, 2)
    reach_m = _reach_m(group, terrain, near + np.array([-1, -1, 1, 1]) * within_m)
    step_m = SIZE_STEP * within_m
    if size_m <= within_m:
        radius_m = within_m + step_m * math.ceil((size_m + reach_m) / step_m)
        return _blob(moved_to, radius_m, within_m, key=key, label=label)
    cell_m = NODE_STEP * within_m
    drawn = shapely.get_coordinates(shapely.segmentize(shapes, cell_m / 4)) - middle
    nodes = np.unique(np.floor(drawn / cell_m), axis=0)
    radius_m = within_m + step_m * math.ceil((cell_m * (math.sqrt(0.5) + 0.125) + reach_m) / step_m)
    blobs = [
        _blob(moved_to + (node + 0.5) * cell_m, radius_m, within_m, key=key, label=f"{label} {node}") for node in nodes
    ]
    parts = shapely.get_parts(shapes)
    inner = shapely.transform(parts[shapely.get_dimensions(parts) == 2], lambda xy: xy + (moved_to - middle))
    return shapely.union_all([*blobs, *inner])


def _middle(coords: Floats) -> Floats:
    """The middle of the smallest circle round some places, to a millimetre: of places in one spot it is there."""
    spots = np.unique(coords.round(3), axis=0)
    if len(spots) == 1:
        return spots[0]
    circle = shapely.minimum_bounding_circle(shapely.multipoints(spots))
    found: Floats = shapely.get_coordinates(shapely.centroid(circle))[0]
    return found


def _reach_m(group: gpd.GeoDataFrame, terrain: Terrain | None, bounds: Floats) -> float:
    """How far the group's zones may reach from where its features are drawn, if these lie anywhere in some bounds.

    Slope counts by the steepest there, not by that at the feature, which a map of slopes would tell.
    """
    widest = np.fmax(group["no_spray_m"].to_numpy(float), group["hand_only_m"].to_numpy(float))
    reach = widest + half_width_m(group) + group["position_error_m"].to_numpy(float)
    per_slope = group["per_slope_m"].to_numpy(float)
    if terrain is not None and (per_slope > 0).any():
        reach = reach + per_slope * _steepest_in(terrain, bounds)
    return ARCS * float(reach.max())


def _steepest_in(terrain: Terrain, bounds: Floats) -> float:
    """Steepest slope in percent within some bounds; of all the ground where they reach beyond it."""
    steepest = steepest_near(terrain)
    left, bottom, right, top = terrain.bounds
    if bounds[0] < left or bounds[1] < bottom or bounds[2] > right or bounds[3] > top:
        return float(steepest.max())
    window, _ = terrain.window((bounds[0], bounds[1], bounds[2], bounds[3]))
    return float(steepest[window].max())


def _blob(middle: Floats, radius_m: float, within_m: float, *, key: bytes, label: str) -> Any:
    """An uneven round shape that holds the whole circle: its corners lie outside it by what no chord cuts off."""
    turn, *knots = numbers(key, label, KNOTS + 1)
    at = np.arange(CORNERS) * KNOTS / CORNERS
    before, part = np.divmod(at, 1.0)
    ease = (1 - np.cos(np.pi * part)) / 2
    low, high = np.take(knots, before.astype(int)), np.take(knots, (before.astype(int) + 1) % KNOTS)
    margin = LEAST_MARGIN + (MOST_MARGIN - LEAST_MARGIN) * (low + (high - low) * ease)
    away = (radius_m + within_m * margin) / math.cos(math.pi / CORNERS)
    angle = 2 * np.pi * (np.arange(CORNERS) / CORNERS + turn)
    return shapely.Polygon(middle + np.stack([np.cos(angle), np.sin(angle)], axis=1) * away[:, None])
