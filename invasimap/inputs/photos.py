"""Pictures attached to the patches they show: each to the nearest, or to none with the reason why."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import PurePosixPath
from typing import Any, Final
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer

from invasimap.core.crs import require_same_metres
from invasimap.inputs.cells import map_unique

PHOTO_COLUMNS: Final = (
    "file", "patch", "species", "distance_m", "direction_deg", "direction_ref", "taken", "lon", "lat", "error_m",
    "reason",
)  # fmt: skip
LEDGER_COLUMNS: Final = ("file", "records", "accepted", "repaired", "set_aside")
NO_PATCH: Final = "there is no patch"
TOO_FAR: Final = "the nearest patch is further than the limit"
_LOST: Final = "cannot be placed near the stands"


def attach_photos(
    photos: pd.DataFrame, patches: gpd.GeoDataFrame, *, crs: CRS, within_m: float, timezone: ZoneInfo
) -> pd.DataFrame:
    """Each picture with the patch nearest to where it was taken; one row a picture, in the order given.

    The distance is to the patch's edge, and 0 inside; of patches equally near the newest counts, then the first by id.
    Where the camera faced is told and has no say: it does not tell how far the plant stood.

    Parameters
    ----------
    photos
        As of ``read_photos``.
    patches
        Polygons in ``crs`` with the columns id, species and date (ISO text or "").
    crs
        The working system, in metres.
    within_m
        How far from a patch a picture may be taken to belong to it.
    timezone
        The tract's: times with an offset are told in it, others as the camera's clock said.

    Returns
    -------
    DataFrame
        Columns file, patch ("" when none), species, distance_m (to the nearest patch, also when it is too far),
        direction_deg, direction_ref, taken (ISO local time), lon, lat, error_m and reason (why no patch, or "").

    Raises
    ------
    CRSError
        When the patches are not in ``crs``, or that is not in metres.

    Examples
    --------
    >>> crs = CRS("+proj=laea +lat_0=38 +lon_0=-80 +datum=WGS84 +units=m")
    >>> patch = {"id": ["P0001"], "species": ["Rosa multiflora"], "date": ["2024-09-03"]}
    >>> patches = gpd.GeoDataFrame(patch, geometry=[shapely.box(3, -1, 5, 1)], crs=crs)
    >>> photo = {"file": ["a.jpg"], "lon": [-80.0], "lat": [38.0], "direction_deg": [90.0], "direction_ref": ["true"],
    ...          "time": ["2024-09-03T20:30:00+00:00"], "error_m": [4.0], "problem": [""]}
    >>> made = attach_photos(pd.DataFrame(photo), patches, crs=crs, within_m=10, timezone=ZoneInfo("America/New_York"))
    >>> made[["patch", "distance_m", "taken"]].values.tolist()
    [['P0001', 3.0, '2024-09-03T16:30:00']]
    """
    require_same_metres(patches=patches, tract=gpd.GeoDataFrame(geometry=[], crs=crs))
    x, y = Transformer.from_crs(4326, crs, always_xy=True).transform(photos["lon"], photos["lat"])
    placed = (photos["problem"] == "").to_numpy() & np.isfinite(x) & np.isfinite(y)
    order = _preferred(patches)
    nearest, distance_m = _nearest(shapely.points(np.column_stack([x, y])[placed]), order.geometry.to_numpy())
    row, away_m = np.full(len(photos), -1), np.full(len(photos), np.nan)
    row[placed], away_m[placed] = nearest, distance_m
    close = (row >= 0) & (away_m <= within_m)
    reason = np.where(row >= 0, TOO_FAR, NO_PATCH).astype(object)
    reason[~placed] = photos["problem"].mask(photos["problem"] == "", _LOST)[~placed]
    reason[close] = ""
    found = {name: _taken_from(order[name], row, close) for name in ("id", "species")}
    made = photos.assign(
        patch=found["id"], species=found["species"], distance_m=away_m, reason=reason,
        taken=map_unique(photos["time"], lambda text: _local(text, timezone)),
    )  # fmt: skip
    return made[list(PHOTO_COLUMNS)].reset_index(drop=True)


def photo_ledger(table: pd.DataFrame, *, crs: CRS) -> tuple[pd.DataFrame, gpd.GeoDataFrame]:
    """The account of pictures, one row a folder, and those that belong to no patch.

    Parameters
    ----------
    table
        As of ``attach_photos``.
    crs
        The working system, of the points of those set aside.

    Returns
    -------
    ledger
        Columns file (the folder, ending in "/"), records, accepted (attached), repaired (none) and set_aside.
    set_aside
        Columns file (the picture), record (1), reason, raw (JSON) and the point where it was taken, or None.
    """
    folders = pd.Series(map_unique(table["file"], _folder), index=table.index, dtype=object)
    attached = table["patch"] != ""
    counts = pd.DataFrame({"file": folders, "records": 1, "accepted": attached.astype(int), "repaired": 0})
    ledger = counts.groupby("file", sort=False, as_index=False).sum()
    ledger["set_aside"] = ledger["records"] - ledger["accepted"]
    aside = table[~attached].reset_index(drop=True)
    raw = aside[["lon", "lat", "direction_deg", "taken", "distance_m"]].round({"distance_m": 1})
    points = gpd.GeoSeries(gpd.points_from_xy(aside["lon"], aside["lat"]), crs=4326).to_crs(crs).to_numpy(dtype=object)
    points[~(np.isfinite(shapely.get_x(points)) & np.isfinite(shapely.get_y(points)))] = None
    told = pd.DataFrame({"file": aside["file"], "record": 1, "reason": aside["reason"], "raw": _json_rows(raw)})
    return ledger[list(LEDGER_COLUMNS)], gpd.GeoDataFrame(told, geometry=points, crs=crs)


def _preferred(patches: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Patches with ground, the one that counts first where several are equally near: the newest, then by id."""
    drawn = patches[~(patches.geometry.isna() | patches.geometry.is_empty)]
    by_id = drawn.sort_values("id", kind="stable")
    return by_id.sort_values("date", ascending=False, kind="stable").reset_index(drop=True)


def _nearest(points: NDArray[np.object_], shapes: NDArray[np.object_]) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """For each point the first of the nearest shapes and its distance; -1 and NaN without shapes."""
    row, away_m = np.full(len(points), -1), np.full(len(points), np.nan)
    if len(points) and len(shapes):
        (point, shape), distance_m = shapely.STRtree(shapes).query_nearest(points, return_distance=True)
        best = pd.DataFrame({"point": point, "shape": shape, "m": distance_m}).groupby("point").min()
        row[best.index], away_m[best.index] = best["shape"], best["m"]
    return row, away_m


def _taken_from(values: pd.Series[Any], row: NDArray[np.int64], close: NDArray[np.bool_]) -> NDArray[np.object_]:
    found = np.full(len(row), "", dtype=object)
    found[close] = values.to_numpy(dtype=object)[row[close]]
    return found


def _local(text: str, timezone: ZoneInfo) -> str:
    """A time with an offset as the clocks of the tract showed it; one without, or at the end of all years, as it is."""
    if not text:
        return ""
    moment = dt.datetime.fromisoformat(text)
    try:
        return (moment.astimezone(timezone) if moment.tzinfo else moment).replace(tzinfo=None).isoformat()
    except OverflowError:  # a camera whose clock was never set
        return moment.replace(tzinfo=None).isoformat()


def _folder(label: str) -> str:
    return f"{PurePosixPath(label).parent}/"


def _json_rows(table: pd.DataFrame) -> list[str]:
    """Rows as JSON; what is not known is null."""
    rows = table.astype(object).where(table.notna() & (table != ""), None).to_dict("records")
    return [json.dumps(row, ensure_ascii=False) for row in rows]
