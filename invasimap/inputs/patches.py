"""Records into patches: points by their size, lines by their width, polygons and walked tracks as they are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from invasimap.core.survey_settings import Defaults
from invasimap.inputs.mend import drawn_area, mend_polygons, single_parts
from invasimap.inputs.outlines import axes_of_points, width_of_lines

SIDES: Final = 64
CLOSING_GAP_M: Final = 20.0
CLOSING_SHARE: Final = 0.1
MEND_LIMIT: Final = 0.01  # share of the area that mending may change
_NOT_WALKED_SHARE: Final = 0.5  # a gap over half the way is a line that ends near its start, not an outline


@dataclass(kw_only=True)
class _Work:
    """Columns being filled, one entry a record."""

    geometry: NDArray[np.object_]
    shape: NDArray[np.object_]
    reason: NDArray[np.object_]
    how: NDArray[np.object_]


def footprints(
    placed: pd.Series[Any], *, walked: NDArray[np.bool_], sizes: dict[str, pd.DataFrame], defaults: Defaults
) -> pd.DataFrame:
    """Columns geometry (polygon, m), shape (point, line, polygon), reason and how of every record.

    Parameters
    ----------
    placed
        Shapes in metres, None where a record has none.
    walked
        Tracks: one whose ends meet within 20 m or a tenth of its length is an outline.
    sizes
        For each of radius, diameter, area, length, width and bearing: columns value and problem.
    defaults
        Taken where a record has no size; said in ``how``.
    """
    count = len(placed)
    work = _Work(
        geometry=placed.to_numpy(dtype=object).copy(),
        shape=np.full(count, "", dtype=object),
        reason=np.full(count, "", dtype=object),
        how=np.full(count, "", dtype=object),
    )
    _close_walks(work, walked)
    kinds = shapely.get_dimensions(work.geometry)
    single = shapely.get_type_id(work.geometry) < 4
    for dimension, name in enumerate(("point", "line", "polygon")):
        work.shape[kinds == dimension] = name
    axes = axes_of_points(sizes, defaults)
    widths = width_of_lines(sizes, defaults)
    mixed = [row for row in np.flatnonzero(~single & (kinds >= 0)) if _needs_parts(work.geometry[row])]
    whole = np.ones(count, dtype=bool)
    whole[mixed] = False
    _from_points(work, np.flatnonzero(whole & (kinds == 0)), axes)
    _from_lines(work, np.flatnonzero(whole & (kinds == 1)), widths)
    _from_polygons(work, np.flatnonzero(whole & (kinds == 2)))
    for row in mixed:
        _from_parts(work, int(row), axes, widths)
    return pd.DataFrame(vars(work), index=placed.index)


def ellipses(
    x: NDArray[np.float64], y: NDArray[np.float64], *, a_m: Any, b_m: Any, bearing_deg: Any = 90.0
) -> NDArray[np.object_]:
    """Polygons of exactly the area (pi a b) of ellipses of semi-axes ``a_m`` along the bearing and ``b_m`` across.

    A regular polygon of 64 sides drawn through the curve would be 0.16 % too small; its radius is scaled instead.
    """
    step = 2 * np.pi / SIDES
    scale = np.sqrt(step / np.sin(step))
    t = np.arange(SIDES) * step  # (sides,)
    turn = np.radians(90.0 - np.broadcast_to(np.asarray(bearing_deg, dtype=float), x.shape))[:, None]
    along = scale * np.broadcast_to(a_m, x.shape)[:, None] * np.cos(t)  # (records, sides)
    across = scale * np.broadcast_to(b_m, x.shape)[:, None] * np.sin(t)
    east = x[:, None] + along * np.cos(turn) - across * np.sin(turn)
    north = y[:, None] + along * np.sin(turn) + across * np.cos(turn)
    found: Any = shapely.polygons(np.stack([east, north], axis=-1))
    return found


def _from_points(work: _Work, rows: NDArray[np.intp], axes: pd.DataFrame) -> None:
    if not len(rows):
        return
    chosen = axes.iloc[rows]
    work.reason[rows] = chosen["reason"]
    good = rows[(chosen["reason"] == "").to_numpy()]
    used = axes.iloc[good]
    work.how[good] = _joined(work.how[good], used["how"].to_numpy())
    points = work.geometry[good]
    x, y = shapely.get_x(points), shapely.get_y(points)
    work.geometry[good] = ellipses(x, y, a_m=used["a_m"], b_m=used["b_m"], bearing_deg=used["bearing_deg"])


def _from_lines(work: _Work, rows: NDArray[np.intp], widths: pd.DataFrame) -> None:
    if not len(rows):
        return
    chosen = widths.iloc[rows]
    work.reason[rows] = chosen["reason"]
    good = rows[(chosen["reason"] == "").to_numpy()]
    used = widths.iloc[good]
    work.how[good] = _joined(work.how[good], used["how"].to_numpy())
    work.geometry[good] = shapely.buffer(work.geometry[good], used["width_m"] / 2, cap_style="flat")
    empty = good[shapely.is_empty(work.geometry[good])]
    work.reason[empty] = "line has no length"


def _from_polygons(work: _Work, rows: NDArray[np.intp]) -> None:
    if not len(rows):
        return
    drawn = work.geometry[rows]
    bad = rows[~shapely.is_valid(drawn)]
    for row in bad:
        polygon = work.geometry[row]
        fixed = mend_polygons(np.array([polygon], dtype=object))[0]
        change, fault = _change(polygon, fixed), shapely.is_valid_reason(polygon).partition("[")[0].lower()
        said = f"{fault.strip()}: mending changes its area by {100 * change:{'.0f' if change > 0.1 else '.2g'}} %"
        if change > MEND_LIMIT:
            work.reason[row] = f"outline crosses itself or is broken ({said}); draw it again"
        else:
            work.how[row] = "; ".join(filter(None, (work.how[row], f"outline mended ({said})")))
            work.geometry[row] = fixed
    flat = rows[(shapely.area(work.geometry[rows]) <= 0) & (work.reason[rows] == "")]
    work.reason[flat] = "outline encloses no ground"


def _change(polygon: BaseGeometry, fixed: BaseGeometry) -> float:
    drawn = drawn_area(polygon)
    if drawn <= 0:
        return 1.0
    return float(abs(fixed.area - drawn) / max(drawn, fixed.area))


def _needs_parts(geometry: BaseGeometry) -> bool:
    return geometry.geom_type in ("MultiPoint", "GeometryCollection")


def _from_parts(work: _Work, row: int, axes: pd.DataFrame, widths: pd.DataFrame) -> None:
    """A multipoint or mixed collection: the union of what its parts give."""
    parts = [p for p in single_parts(work.geometry[row]) if not p.is_empty]
    inner = _Work(
        geometry=np.array(parts, dtype=object),
        shape=np.full(len(parts), "", dtype=object),
        reason=np.full(len(parts), "", dtype=object),
        how=np.full(len(parts), "", dtype=object),
    )
    kinds = shapely.get_dimensions(inner.geometry)
    same_axes = axes.iloc[[row] * len(parts)].reset_index(drop=True)
    points = np.flatnonzero(kinds == 0)
    if len(points) > 1 and axes["by_area"].iloc[row]:
        radius_m = _shared_radius(inner.geometry[points], area_m2=np.pi * float(axes["a_m"].iloc[row]) ** 2)
        said = "; ".join(filter(None, (str(axes["how"].iloc[row]), f"area shared by {len(points)} points")))
        same_axes = same_axes.assign(a_m=radius_m, b_m=radius_m, how=said)
    same_widths = widths.iloc[[row] * len(parts)].reset_index(drop=True)
    _from_points(inner, points, same_axes)
    _from_lines(inner, np.flatnonzero(kinds == 1), same_widths)
    _from_polygons(inner, np.flatnonzero(kinds == 2))
    work.reason[row] = next(filter(None, inner.reason), "")
    work.how[row] = "; ".join(dict.fromkeys(filter(None, inner.how)))
    work.geometry[row] = shapely.union_all(inner.geometry[inner.reason == ""])


def _shared_radius(points: NDArray[np.object_], *, area_m2: float) -> float:
    """The one radius (m) with which circles round all points cover ``area_m2`` together, overlaps counted once."""
    xy = np.unique(shapely.get_coordinates(points), axis=0)

    def covered_m2(radius_m: float) -> float:
        return float(shapely.union_all(ellipses(xy[:, 0], xy[:, 1], a_m=radius_m, b_m=radius_m)).area)

    low, high = np.sqrt(area_m2 / np.pi / len(xy)), np.sqrt(area_m2 / np.pi)  # far apart, all on one spot
    if covered_m2(low) >= area_m2 * (1 - 1e-9):
        return float(low)
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if covered_m2(middle) < area_m2 else (low, middle)
    return float(high)


def _close_walks(work: _Work, walked: NDArray[np.bool_]) -> None:
    kinds = shapely.get_type_id(work.geometry)
    for row in np.flatnonzero(walked & np.isin(kinds, (1, 5))):
        segments = [shapely.get_coordinates(part) for part in shapely.get_parts(work.geometry[row])]
        gaps = [_closing_gap(xy) for xy in segments]
        if all(gap is not None for gap in gaps):
            rings = [shapely.Polygon(xy) for xy in segments]
            work.geometry[row] = rings[0] if len(rings) == 1 else shapely.MultiPolygon(rings)
        else:
            joined = np.concatenate(segments)
            gaps = [_closing_gap(joined)]
            if gaps[0] is None:
                continue
            work.geometry[row] = shapely.Polygon(joined)
        widest = max(gap for gap in gaps if gap is not None)
        if widest > 0:
            work.how[row] = f"walk closed over a gap of {widest:.1f} m"


def _closing_gap(xy: NDArray[np.float64]) -> float | None:
    """Metres between the ends of a walk that is an outline; None when it is a line."""
    length_m = float(np.hypot(*np.diff(xy, axis=0).T).sum())
    gap_m = float(np.hypot(*(xy[0] - xy[-1])))
    meets = gap_m <= max(CLOSING_GAP_M, CLOSING_SHARE * length_m)
    outline = meets and gap_m < _NOT_WALKED_SHARE * length_m and len(np.unique(xy, axis=0)) > 2
    return gap_m if outline else None


def _joined(old: NDArray[np.object_], new: NDArray[np.object_]) -> list[str]:
    return ["; ".join(filter(None, pair)) for pair in zip(old, new, strict=True)]
