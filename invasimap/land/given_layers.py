"""Layers handed in by a caller: each with the columns and shapes that access asks of it, every fault at once."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from invasimap.core.crs import require_crs
from invasimap.core.errors import Fault, LayerError
from invasimap.core.settings import CrossingsLayer

NAMES = ("ways", "entries", "barriers", "wet_ground", "open_ground", "crossings", "features", "outline")
AREAS = ("outline", "open_ground", "wet_ground")
WORDS = {
    "ways": ("allows", ("tractor", "atv", "foot")),
    "features": ("blocks", ("tractor", "atv", "hose", "foot")),
}  # fmt: skip
WIDTHS_M = {"crossings": float(CrossingsLayer.model_fields["width_m"].default), "features": 0.0}  # where none is given
Layers = dict[str, gpd.GeoDataFrame]


def given_layers(layers: Mapping[str, Any]) -> Layers:
    """The layers that there are, by name, with what a default gives.

    Raises
    ------
    TypeError
        When there is no layer of a name.
    LayerError
        Lists every layer that is no GeoDataFrame, lacks a column, or has rows without a shape or with unknown words.
    CRSError
        When one has no system.
    """
    if unknown := sorted(set(layers) - set(NAMES)):
        raise TypeError(f"unknown layers: {unknown}; there are {', '.join(NAMES)}")
    found: Layers = {}
    faults: list[Fault] = []
    for name, layer in layers.items():
        if layer is None:
            continue
        if not isinstance(layer, gpd.GeoDataFrame | gpd.GeoSeries):
            faults.append(Fault(where=name, what=f"is a {type(layer).__name__}, not a GeoDataFrame"))
            continue
        frame = layer if isinstance(layer, gpd.GeoDataFrame) else gpd.GeoDataFrame(geometry=layer)
        require_crs(frame, name)
        found[name] = _with_width(name, frame)
        faults += [*_shape_faults(name, frame), *_word_faults(name, frame), *_width_faults(name, found[name])]
    if faults:
        raise LayerError(faults)
    return found


def _shape_faults(name: str, frame: gpd.GeoDataFrame) -> list[Fault]:
    shapes = frame.geometry.to_numpy()
    none = shapely.is_missing(shapes) | shapely.is_empty(shapes)
    flat = ~none & (shapely.get_dimensions(shapes) < 2) & (name in AREAS)
    crossed = ~none & ~shapely.is_valid(shapes)
    faults = []
    if crossed.any():
        mend = "mend them, such as with make_valid"
        faults.append(Fault(where=name, what=f"rows {_rows(crossed)} are not valid shapes", mend=mend))
    if none.any():
        faults.append(Fault(where=name, what=f"rows {_rows(none)} have no shape", mend="mend them or take them out"))
    if flat.any():
        faults.append(
            Fault(where=name, what=f"rows {_rows(flat)} are no polygons", mend="it is an area: give polygons")
        )
    return faults


def _word_faults(name: str, frame: gpd.GeoDataFrame) -> list[Fault]:
    if name not in WORDS:
        return []
    column, words = WORDS[name]
    mend = f"give text of {', '.join(words)}, joined by semicolons; empty for none"
    if column not in frame:
        return [Fault(where=name, what=f"has no column {column!r}", mend=mend)]
    wrong = np.array([not isinstance(t, str) or not set(t.split(";")) <= {"", *words} for t in frame[column]], bool)
    if not wrong.any():
        return []
    said = ", ".join(repr(text) for text in frame.loc[wrong, column].iloc[:3])
    return [Fault(where=name, what=f"{column} is {said} in rows {_rows(wrong)}", mend=mend)]


def _with_width(name: str, frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    if name not in WIDTHS_M:
        return frame
    width = np.asarray(frame.get("width_m", np.nan), float)
    known = {"confidential": False} if name == "features" and "confidential" not in frame else {}
    return frame.assign(width_m=np.where(np.isnan(width), WIDTHS_M[name], width), **known)


def _width_faults(name: str, frame: gpd.GeoDataFrame) -> list[Fault]:
    width = frame["width_m"].to_numpy() if name in WIDTHS_M else np.zeros(0)
    wrong = ~np.isfinite(width) | (width < 0)
    return (
        [Fault(where=name, what=f"width_m is below zero or without end in rows {_rows(wrong)}")] if wrong.any() else []
    )


def _rows(wrong: Any) -> str:
    return ", ".join(str(row + 1) for row in np.flatnonzero(wrong)[:8])
