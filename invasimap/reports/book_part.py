"""What one sheet of the map book shows: the layers of a plan cut to its frame, once made ready for cutting."""

from __future__ import annotations

import dataclasses
from typing import Any, Final

import geopandas as gpd
import numpy as np
import shapely

from invasimap.prescription.plan import Plan

Box = tuple[float, float, float, float]
CUT: Final = ("treatment_zones", "protection", "access", "ways", "barriers", "open_ground", "wet_ground")
WHOLE: Final = ("stands", "patches", "entries", "crossings", "parking")
SPARE = 0.02  # of the frame, so that the cut edges lie outside it
SHADE_CELLS = 3  # the rounding of contours and shade at the edge of a grid


def ready(plan: Plan) -> Plan:
    """The plan with the layers that are cut in single valid pieces, so that each sheet takes only those it needs."""
    pieces: dict[str, Any] = {name: _pieces(getattr(plan, name)) for name in CUT}
    return dataclasses.replace(plan, **pieces)


def part(plan: Plan, frame: Box, *, stand: str | None = None) -> Plan:
    """A plan that holds what lies in a frame (metres), and the figures of one stand; of all without ``stand``.

    Features keep every row, empty where they lie elsewhere, so that a kind has the same mark on every sheet.
    """
    room = SPARE * max(frame[2] - frame[0], frame[3] - frame[1])
    box = (frame[0] - room, frame[1] - room, frame[2] + room, frame[3] + room)
    layers: dict[str, Any] = {name: _cut(getattr(plan, name), box) for name in CUT}
    layers |= {name: _within(getattr(plan, name), box) for name in WHOLE}
    features = plan.features.set_geometry(_clipped(plan.features, box), crs=plan.crs)
    spare = SHADE_CELLS * plan.terrain.cell_m
    _, terrain = plan.terrain.window((box[0] - spare, box[1] - spare, box[2] + spare, box[3] + spare))
    if min(terrain.shape) < 2:  # the frame lies beyond the elevation
        terrain = plan.terrain
    if stand is not None:
        layers["ground"] = plan.ground[plan.ground["stand"].astype(str) == stand]
    return dataclasses.replace(plan, terrain=terrain, features=features, **layers)


def _pieces(layer: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    sound = layer.set_geometry(shapely.make_valid(layer.geometry.to_numpy()), crs=layer.crs)
    return sound.explode(ignore_index=True) if len(sound) else sound


def _within(layer: gpd.GeoDataFrame, box: Box) -> gpd.GeoDataFrame:
    if not len(layer):
        return layer
    return layer.iloc[np.sort(layer.sindex.query(shapely.box(*box), predicate="intersects"))]


def _cut(layer: gpd.GeoDataFrame, box: Box) -> gpd.GeoDataFrame:
    near = _within(layer, box)
    if not len(near):
        return near
    cut = near.set_geometry(_clipped(near, box), crs=layer.crs)
    return cut[~shapely.is_empty(cut.geometry.to_numpy())]


def _clipped(layer: gpd.GeoDataFrame, box: Box) -> Any:
    return shapely.clip_by_rect(layer.geometry.to_numpy(), *box)
