"""Land layers put on the ground: a layer in the wrong place protects and blocks nothing, so it is refused."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS

from invasimap.core.crs import centre_lonlat, require_crs, working_crs
from invasimap.core.errors import Fault, LayerError
from invasimap.inputs.place import NEAR_M, datum_note, place_shapes

TORN_M = 100_000.0  # no edge of a feature is this long
WRONG_PLACE_M = 10_000.0  # a layer with nothing nearer than this is not in this county, let alone this tract


def crs_of_stands(stands: gpd.GeoDataFrame, where: str) -> CRS:
    """The working system centred on the stands.

    Raises
    ------
    LayerError
        When their coordinates cannot be places on the globe in the system they are said to be in.
    """
    bounds = stands.to_crs(4326).total_bounds
    if not np.isfinite(bounds).all() or abs(bounds[[0, 2]]).max() > 180 or abs(bounds[[1, 3]]).max() > 90:
        what = f"coordinates are no places in {require_crs(stands, where).name}"
        raise LayerError(Fault(where=where, what=what, mend="check the layer's coordinate reference system"))
    return working_crs(*centre_lonlat(stands))


def placed(frame: gpd.GeoDataFrame, *, crs: CRS, outline: Any, where: str) -> gpd.GeoDataFrame:
    """A layer in the working system; ``attrs["notes"]`` gains what is to be said of its place.

    Raises
    ------
    LayerError
        When features have impossible coordinates, would come to the stands if their coordinates were swapped or signed
        otherwise, or when nothing of the layer lies within 10 km of the stands.
    """
    source = require_crs(frame, where)
    shapes, why = place_shapes(frame.geometry.to_numpy(dtype=object), source=source, crs=crs, near=outline)
    reason = why.to_numpy()
    torn = (reason == "") & (_longest_step_m(frame.geometry.to_crs(crs).to_numpy()) > TORN_M)
    reason[torn] = "a step between two of its places is over 100 km long: one of them is wrong"
    wrong = np.array([_is_mistake(text) for text in reason], bool)
    if wrong.any():
        rows = ", ".join(str(row + 1) for row in np.flatnonzero(wrong)[:8])
        what = (
            f"{int(wrong.sum())} of {len(frame)} features are in the wrong place (features {rows}): {reason[wrong][0]}"
        )
        raise LayerError(
            Fault(where=where, what=what, mend="mend their coordinates: left so, they would count for nothing")
        )
    moved = frame.set_geometry(gpd.GeoSeries(shapes, index=frame.index, crs=crs))
    moved.attrs["notes"] = [*frame.attrs.get("notes", ()), *filter(None, [datum_note(source, crs, where)])]
    if not frame.empty:
        moved.attrs["notes"] += _distance_notes(moved, outline, where)
    return moved


def _is_mistake(reason: str) -> bool:
    """Whether a reason is more than that the feature lies far off, as in a layer of a whole state."""
    return bool(reason) and (not reason.startswith("lies ") or "would bring it" in reason)


def _distance_notes(frame: gpd.GeoDataFrame, outline: Any, where: str) -> list[str]:
    nearest_m = float(shapely.distance(frame.geometry.to_numpy(), shapely.box(*outline.bounds)).min())
    if nearest_m > WRONG_PLACE_M:
        what = f"nothing of it lies within 10 km of the stands (the nearest is {nearest_m / 1000:,.0f} km away)"
        raise LayerError(Fault(where=where, what=what, mend="check its coordinates and its crs"))
    if nearest_m > NEAR_M:
        return [f"{where}: nothing of it lies within 1 km of the stands."]
    away_m = shapely.distance(frame.geometry.to_numpy(), shapely.box(*outline.bounds))
    far = int((away_m > WRONG_PLACE_M).sum())
    if far:
        return [f"{where}: {far} of {len(frame)} features lie over 10 km from the stands. Are they meant to?"]
    return []


def _longest_step_m(shapes: Any) -> Any:
    """The longest distance between two places that follow one another in each shape."""
    coords, owner = shapely.get_coordinates(shapes, return_index=True)
    longest = np.zeros(len(shapes))
    same = owner[1:] == owner[:-1]
    with np.errstate(invalid="ignore"):
        np.maximum.at(longest, owner[1:][same], np.hypot(*np.diff(coords, axis=0)[same].T))
    return longest
