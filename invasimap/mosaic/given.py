"""Layers handed in by a caller: each with the columns and shapes that areas ask of it, every fault at once."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Mapping
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS, Proj

from invasimap.core.at_once import in_pieces
from invasimap.core.crs import require_same_metres, to_lonlat
from invasimap.core.errors import CRSError, Fault, LayerError
from invasimap.inputs.mend import mend_polygons
from invasimap.land.words import CLASSES, ZONES

COLUMNS: Final = {
    "patches": ("species", "date", "cover_pct"), "stands": ("stand",), "protection": ("zone",), "access": ("access",),
}  # fmt: skip
ISO_DATE: Final = re.compile(r"(?!0000)\d{4}(?:-(?:0[1-9]|1[0-2]))?", re.ASCII)  # a year alone, or with its month
ISO_DAY: Final = re.compile(
    r"(\d{4}-\d\d-\d\d)(?:[T ](\d\d(?::\d\d(?::\d\d(?:\.\d+)?)?)?)(Z|[+-]\d\d(?::?\d\d)?)?)?", re.ASCII
)  # a day, its clock, how far that is from UTC
WORDS: Final = {"zone": (ZONES, "in no zone"), "access": (CLASSES[::-1], "in no class")}
FARTHEST_M: Final = 1e8  # of any system in metres
MOST_STRETCHED: Final = 0.02  # of an area: UTM is off by 0.2 % within its zone, web Mercator by 61 % at 38 degrees
Layers = dict[str, gpd.GeoDataFrame]


def given_layers(layers: Mapping[str, Any]) -> Layers:
    """Layers ``patches, stands, protection, access`` as areas are worked of: whole outlines, dates as ISO text.

    An outline that crosses itself counts with all that it winds round, in either sense and once: both lobes of a
    figure eight. A layer without rows needs no columns.

    Raises
    ------
    LayerError
        Lists every layer that is no GeoDataFrame, lacks a column or has it twice, or has rows without a polygon, a name
        or a cover, or with a value that is not understood.
    CRSError
        When they do not share one system in metres, or its metres are not those of the ground.
    """
    faults = [Fault(where=name, what=f"is a {type(layer).__name__}, not a GeoDataFrame with shapes")
              for name, layer in layers.items() if not _has_shapes(layer)]  # fmt: skip
    faults = faults or [
        fault
        for name, layer in layers.items()
        for fault in (*_column_faults(name, layer), *_shape_faults(name, layer.geometry.to_numpy()))
    ]
    if faults:
        raise LayerError(faults)
    require_same_metres(**layers)
    _require_true_metres(layers)
    return {name: _whole(name, layer) for name, layer in layers.items()}


def _has_shapes(layer: Any) -> bool:
    return isinstance(layer, gpd.GeoDataFrame) and layer.active_geometry_name is not None


def _column_faults(name: str, layer: gpd.GeoDataFrame) -> Iterator[Fault]:
    for column in COLUMNS[name] if len(layer) else ():
        if column not in layer:
            there = ", ".join(str(other) for other in layer.columns)
            yield Fault(where=name, what=f"has no column {column!r}", mend=f"its columns are {there}")
            continue
        values = layer[column]
        if isinstance(values, pd.DataFrame):
            yield Fault(where=name, what=f"has {values.shape[1]} columns {column!r}", mend="leave one of them")
            continue
        values = values.astype(object) if isinstance(values.dtype, pd.CategoricalDtype) else values
        listed = values.map(pd.api.types.is_list_like).to_numpy(bool) if values.dtype == object else np.zeros(1, bool)
        if listed.any():
            yield _of_rows(name, layer, listed, f"{column} is a list", "write one value in each row")
            continue
        missing = values.isna() & (column != "date") | _blank(column, values)
        if missing.any():
            yield _of_rows(name, layer, missing, f"{column} is missing", "fill it in")
        what, mend, wrong = _misread(column, values)
        if (wrong & ~missing).any():
            yield _of_rows(name, layer, wrong & ~missing, f"{column} {what}", mend)


def _blank(column: str, values: pd.Series) -> Any:
    """Which names have nothing to read: tables keep the empty one for all of them together."""
    if column not in ("species", "stand") or values.dtype.kind in "fiu":
        return np.zeros(len(values), bool)
    return values.isin([value for value in values.unique() if isinstance(value, str) and not value.strip()])


def _misread(column: str, values: pd.Series) -> tuple[str, str, Any]:
    """What is wrong with values of a column, how to mend it, and which they are."""
    if column == "cover_pct":
        switches: Any = np.zeros(len(values), bool)
        if values.dtype.kind not in "fiu":
            switches = values.map(lambda value: isinstance(value, (bool, np.bool_))).to_numpy(bool)
        wrong = ~pd.to_numeric(values, errors="coerce").between(0, 100) | switches
        return "is no percent from 0 to 100", "write a number such as 40", wrong
    if column == "date":
        return "is not understood", 'write it as "2026-05-31", or leave it blank', _iso(values).isna()
    if column in WORDS:
        words, none = WORDS[column]
        return f"is none of {', '.join(words)}", f"ground that is {none} needs no row", ~values.isin(words)
    odd = [name for name in values.unique() if not isinstance(name, str) and column != "stand"]
    return "is not text", "write names, not numbers", values.isin(odd)


def _of_rows(name: str, layer: gpd.GeoDataFrame, wrong: Any, what: str, mend: str) -> Fault:
    """A fault of some rows, which are named as the index does, or by number where it names rows alike."""
    rows = layer.index[np.asarray(wrong)] if layer.index.is_unique else np.flatnonzero(wrong)
    more = f" and {len(rows) - 3} more" if len(rows) > 3 else ""
    return Fault(where=name, what=f"{what} in row {', '.join(repr(row) for row in rows[:3].tolist())}{more}", mend=mend)


def _shape_faults(name: str, shapes: Any) -> Iterator[Fault]:
    none, flat, far = in_pieces(_amiss, shapes).T
    for wrong, what, mend in (
        (none, "have no shape", "draw them or take them out"),
        (flat, "are no polygons", "areas are of polygons: buffer points and lines by what they cover"),
        (far, f"have coordinates that are not finite or beyond {FARTHEST_M:g} m", "check the shapes and their system"),
    ):
        if wrong.any():
            rows = ", ".join(str(row) for row in np.flatnonzero(wrong)[:8])
            yield Fault(where=name, what=f"rows {rows} (counted from 0) {what}", mend=mend)


def _amiss(shapes: Any) -> Any:
    """Of each shape whether it has none, is no polygon, lies where no system reaches: n by 3."""
    none = shapely.is_missing(shapes) | shapely.is_empty(shapes)
    flat = ~none & ~np.isin(
        shapely.get_type_id(shapes), (shapely.GeometryType.POLYGON, shapely.GeometryType.MULTIPOLYGON)
    )
    with np.errstate(invalid="ignore", over="ignore"):
        far = ~none & ~((np.abs(shapely.bounds(shapes)) <= FARTHEST_M).all(axis=1) & np.isfinite(shapely.area(shapes)))
    return np.stack([none, flat, far], axis=1)


def _require_true_metres(layers: Mapping[str, gpd.GeoDataFrame]) -> None:
    """That an acre in the layers' system is about an acre of ground."""
    held = [layer for layer in layers.values() if len(layer)]
    crs = CRS(layers["patches"].crs)
    if not held or not crs.is_projected:
        return
    left, bottom, right, top = held[0].total_bounds
    place = to_lonlat(crs).transform((left + right) / 2, (bottom + top) / 2)
    stretched = Proj(crs).get_factors(*place).areal_scale
    if not abs(stretched - 1) <= MOST_STRETCHED:
        what = f"an acre of ground here is {stretched:.3g} acres in {crs.name}"
        raise CRSError(Fault(where="layers", what=what, mend="bring them to the UTM zone or an equal-area system"))


def _iso(dates: pd.Series) -> pd.Series:
    """Dates as ISO text, empty where there is none; missing where one is not understood."""
    number, named = pd.factorize(dates)  # each distinct one is read once
    text = [at.isoformat() if hasattr(at, "isoformat") else at for at in named]
    read = [_one_form(at) if isinstance(at, str) else None for at in text]
    return pd.Series(np.array([*read, ""], object)[number], index=dates.index)


def _one_form(text: str) -> str | None:
    """A date in the one form in which dates sort as text; None where it is not understood.

    ``2026``, ``2026-05``, ``2026-05-31`` (also for midnight), ``2026-05-31T08:00:00``; in UTC where an offset is said.

    Examples
    --------
    >>> [_one_form(text) for text in ("2026-05-31 08:00", "2026-05-31T00:00", "2026-05-31T23:30-05:00", "2026-02-30")]
    ['2026-05-31T08:00:00', '2026-05-31', '2026-06-01T04:30:00', None]
    """
    if not text or ISO_DATE.fullmatch(text):
        return text
    written = ISO_DAY.fullmatch(text)
    if written is None:
        return None
    day, clock, offset = written.groups(default="")
    try:
        moment = dt.datetime.fromisoformat(f"{day}T{clock or '00'}{offset}")
        moment = moment.astimezone(dt.UTC) if moment.tzinfo else moment
    except (ValueError, OverflowError):  # no such day or time
        return None
    return day if not clock else _without_midnight(moment.replace(tzinfo=None))


def _without_midnight(moment: dt.datetime) -> str:
    return moment.date().isoformat() if moment.time() == dt.time() else moment.isoformat()


def _whole(name: str, layer: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The layer, flat, protection with mended outlines; names as plain values."""
    if not len(layer):
        return layer.reindex(columns=[*dict.fromkeys([*COLUMNS[name], *layer.columns])])
    plain = {column: layer[column].astype(object) for column in COLUMNS[name] if column != "cover_pct"}
    if name == "patches":
        plain |= {"date": _iso(layer["date"]), "cover_pct": pd.to_numeric(layer["cover_pct"])}
    shapes = layer.geometry.to_numpy()
    shapes = shapely.force_2d(shapes) if shapely.has_z(shapes).any() else shapes
    found = layer.assign(**plain).set_geometry(gpd.GeoSeries(shapes, index=layer.index, crs=layer.crs))
    return mended(found) if name == "protection" else found


def mended(layer: gpd.GeoDataFrame, *, only: Any = slice(None)) -> gpd.GeoDataFrame:
    """The layer with whole outlines in place of those that cross themselves, of all rows or of some.

    The sweep needs this of protection, which it takes for one outline where several overlap. Of the others it finds out
    itself which are odd (``sweep.Areas``): to ask a county's access, millions of corners in one polygon, takes several
    times as long as the areas.
    """
    shapes = layer.geometry.to_numpy().copy()
    shapes[only] = mend_polygons(shapes[only])
    return layer.set_geometry(gpd.GeoSeries(shapes, index=layer.index, crs=layer.crs))
