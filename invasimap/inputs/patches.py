"""Records into patches: points by their size, lines by their width, polygons and walked tracks as they are."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from invasimap.core.survey_settings import Defaults, IntakeSection
from invasimap.inputs.cells import Cells, join_cells
from invasimap.inputs.mend import TANGLED, drawn_area, mend_polygons, single_parts, tangled
from invasimap.inputs.outlines import Axes, Sizes, Widths, axes_of_points, width_of_lines
from invasimap.inputs.place import Placed

MOST_SIDES: Final = 64
_LEAST_SIDES: Final = 16
_CORNER_M: Final = 0.01  # beyond the true curve; no tape in the field shows more
_AT_ONCE: Final = 1_000  # shapes drawn in one go, which stay in the processor's cache
CLOSING_SHARE: Final = 0.1
_NOT_WALKED_SHARE: Final = 0.5  # a gap over half the way is a line that ends near its start, not an outline
_MOST_PARTS: Final = 5_000  # of one mixed record or one with several points: all of them are drawn and joined
_MOST_SHARING: Final = 500  # points that share an area: they are drawn and joined forty times
_KINDS: Final = ("", "point", "line", "polygon")
_POLYGON: Final = shapely.GeometryType.POLYGON


@dataclass(frozen=True, kw_only=True)
class Footprints:
    """The ground of each record: polygons (m; None where there is none, and for points, which are drawn from
    their place and axes), the shape as mapped, why a record has none and what was taken.

    The b_m of a line is half its width.
    """

    geometry: NDArray[np.object_]
    axes: Axes
    shape: Cells
    reason: Cells
    how: Cells


@dataclass(kw_only=True)
class _Work:
    """Columns being filled, one entry a record."""

    geometry: NDArray[np.object_]
    reason: NDArray[np.object_]
    how: NDArray[np.object_]

    @classmethod
    def on(cls, geometry: NDArray[np.object_]) -> _Work:
        """Work on shapes, with nothing said yet."""
        texts = (np.full(len(geometry), "", dtype=object) for _ in range(2))
        return cls(geometry=geometry.copy(), reason=next(texts), how=next(texts))


def footprints(
    placed: Placed, *, walked: NDArray[np.bool_], sizes: dict[str, Sizes], defaults: Defaults, intake: IntakeSection
) -> Footprints:
    """The ground that every record covers.

    Parameters
    ----------
    placed
        Points and shapes in metres; those with a reason are left out.
    walked
        Tracks: one whose ends meet within ``intake.closing_gap_m`` or a tenth of its length is an outline.
    sizes
        What ``read_sizes`` gave.
    defaults
        Taken where a record has no size; said in ``how``.
    """
    usable = placed.reason.blank
    points = usable & ~np.isnan(placed.xy).any(axis=1)
    axes = axes_of_points(sizes, defaults)
    rows = np.flatnonzero(usable & ~shapely.is_missing(placed.shapes))
    kinds = points.astype(np.intp)
    geometry = np.full(len(points), None, dtype=object)
    reason, how = axes.reason.where(points), axes.how.where(points)
    if len(rows):
        work = _Work.on(placed.shapes[rows])
        _close_walks(work, walked[rows], gap_m=intake.closing_gap_m)
        kinds[rows] = shapely.get_dimensions(work.geometry) + 1
        widths = width_of_lines(sizes, defaults)
        _draw_shapes(work, rows, axes, widths, mend_limit=intake.mend_limit_pct / 100)
        half_m = np.where(kinds == _KINDS.index("line"), widths.width_m / 2, np.nan)
        axes = dataclasses.replace(axes, b_m=np.where(np.isnan(half_m), axes.b_m, half_m))
        geometry[rows] = work.geometry
        reason, how = (
            reason.or_else(Cells.at(rows, work.reason, len(points))),
            how.or_else(Cells.at(rows, work.how, len(points))),
        )
    return Footprints(geometry=geometry, axes=axes, shape=Cells.chosen(_KINDS, kinds), reason=reason, how=how)


def _draw_shapes(
    work: _Work, rows: NDArray[np.intp], axes: Axes, widths: Widths, *, mend_limit: float
) -> None:  # fmt: skip
    """Lines, polygons and collections as ground; ``rows`` are their records."""
    kinds = shapely.get_dimensions(work.geometry)
    mixed = np.array([_needs_parts(shape) for shape in work.geometry], dtype=bool)
    _from_lines(work, np.flatnonzero(~mixed & (kinds == 1)), rows, widths)
    _from_polygons(work, np.flatnonzero(~mixed & (kinds == 2)), mend_limit=mend_limit)
    for row in np.flatnonzero(mixed):
        _from_parts(work, int(row), int(rows[row]), axes, widths, mend_limit=mend_limit)


def ellipses(
    x: NDArray[np.float64], y: NDArray[np.float64], *, a_m: Any, b_m: Any, bearing_deg: Any = 90.0
) -> NDArray[np.object_]:
    """Polygons of exactly the area (pi a b) of ellipses of semi-axes ``a_m`` along the bearing and ``b_m`` across.

    A polygon drawn through the curve would be too small; its radius is scaled instead, so that corners lie outside and
    the middles of sides inside. It has as many sides as keep its corners within a centimetre of the curve, at most 64.
    """
    a_m, b_m, bearing_deg = (np.broadcast_to(np.asarray(of, dtype=float), x.shape) for of in (a_m, b_m, bearing_deg))
    found = np.empty(len(x), dtype=object)
    count = _sides(np.maximum(a_m, b_m))
    for sides in np.unique(count).tolist():
        rows = np.flatnonzero(count == sides)
        for start in range(0, len(rows), _AT_ONCE):
            some = rows[start : start + _AT_ONCE]
            axes = {"a_m": a_m[some], "b_m": b_m[some], "bearing_deg": bearing_deg[some]}
            found[some] = _ellipses(x[some], y[some], **axes, sides=sides)
    return found


def _sides(radius_m: NDArray[np.float64]) -> NDArray[np.intp]:
    """How many sides an outline has: its corners lie the radius times (2 pi / sides)^2 / 12 outside the curve."""
    wanted = 2 * np.pi * np.sqrt(radius_m / (12 * _CORNER_M))
    return np.clip(8 * np.ceil(wanted / 8), _LEAST_SIDES, MOST_SIDES).astype(np.intp)


def _ellipses(
    x: NDArray[np.float64], y: NDArray[np.float64], *, a_m: NDArray[np.float64], b_m: NDArray[np.float64],
    bearing_deg: NDArray[np.float64], sides: int,
) -> Any:  # fmt: skip
    step = 2 * np.pi / sides
    scale = np.sqrt(step / np.sin(step))
    t = np.append(np.arange(sides), 0) * step  # (sides + 1,): closed here, which is quicker than in shapely
    turn = np.radians(90.0 - bearing_deg)
    a_m, b_m = scale * a_m, scale * b_m
    halves = ((x, a_m * np.cos(turn), -b_m * np.sin(turn)), (y, a_m * np.sin(turn), b_m * np.cos(turn)))
    drawn = np.empty((len(x), len(t), 2))
    for k, (middle, along, across) in enumerate(halves):
        np.multiply.outer(along, np.cos(t), out=drawn[:, :, k])
        drawn[:, :, k] += np.multiply.outer(across, np.sin(t))
        drawn[:, :, k] += middle[:, None]
    rings = np.arange(len(x) + 1)
    return shapely.from_ragged_array(_POLYGON, drawn.reshape(-1, 2), (rings * len(t), rings))


def _from_lines(work: _Work, rows: NDArray[np.intp], records: NDArray[np.intp], widths: Widths) -> None:
    if not len(rows):
        return
    work.reason[rows] = widths.reason.take(records[rows]).to_numpy()
    work.reason[rows[tangled(work.geometry[rows])]] = f"line {TANGLED}; draw it again"
    good = rows[work.reason[rows] == ""]
    used = records[good]
    work.how[good] = join_cells(_as_cells(work.how[good]), widths.how.take(used)).to_numpy()
    work.geometry[good] = shapely.buffer(work.geometry[good], widths.width_m[used] / 2, cap_style="flat")
    empty = good[shapely.is_empty(work.geometry[good])]
    work.reason[empty] = "line has no length"


def _as_cells(texts: NDArray[np.object_]) -> Cells:
    return Cells.of(pd.Series(texts, dtype=object))


def _from_polygons(work: _Work, rows: NDArray[np.intp], *, mend_limit: float) -> None:
    if not len(rows):
        return
    drawn = work.geometry[rows]
    bad = rows[~shapely.is_valid(drawn)]
    lost = tangled(work.geometry[bad])
    work.reason[bad[lost]] = f"outline {TANGLED}; draw it again"
    bad = bad[~lost]
    for row in bad:
        polygon = work.geometry[row]
        fixed = mend_polygons(np.array([polygon], dtype=object))[0]
        change, fault = _change(polygon, fixed), shapely.is_valid_reason(polygon).partition("[")[0].lower()
        said = f"{fault.strip()}: mending changes its area by {100 * change:{'.0f' if change > 0.1 else '.2g'}} %"
        if change > mend_limit:
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


def _from_parts(
    work: _Work, row: int, record: int, axes: Axes, widths: Widths, *, mend_limit: float
) -> None:  # fmt: skip
    """A multipoint or mixed collection: the union of what its parts give."""
    parts = np.array([p for p in single_parts(work.geometry[row]) if not p.is_empty], dtype=object)
    most = _MOST_SHARING if axes.by_area[record] else _MOST_PARTS
    if len(parts) > most:
        work.reason[row] = f"has {len(parts):,} parts; the limit is {most:,}: make them records of their own"
        return
    inner = _Work.on(parts)
    kinds = shapely.get_dimensions(parts)
    points = np.flatnonzero(kinds == 0)
    if len(points):
        _from_points(inner, points, record, axes)
    _from_lines(inner, np.flatnonzero(kinds == 1), np.full(len(parts), record), widths)
    _from_polygons(inner, np.flatnonzero(kinds == 2), mend_limit=mend_limit)
    work.reason[row] = next(filter(None, inner.reason), "")
    work.how[row] = "; ".join(dict.fromkeys(filter(None, inner.how)))
    work.geometry[row] = shapely.union_all(inner.geometry[inner.reason == ""])


def _from_points(work: _Work, points: NDArray[np.intp], record: int, axes: Axes) -> None:
    """The points of one record, each of its size, or sharing its area."""
    reason, how = (cells.take(np.array([record])).to_numpy()[0] for cells in (axes.reason, axes.how))
    work.reason[points] = reason
    if reason:
        return
    a_m, b_m = axes.a_m[record], axes.b_m[record]
    if len(points) > 1 and axes.by_area[record]:
        a_m = b_m = _shared_radius(work.geometry[points], area_m2=np.pi * float(a_m) ** 2)
        how = "; ".join(filter(None, (how, f"area shared by {len(points)} points")))
    work.how[points] = how
    x, y = shapely.get_x(work.geometry[points]), shapely.get_y(work.geometry[points])
    work.geometry[points] = ellipses(x, y, a_m=a_m, b_m=b_m, bearing_deg=axes.bearing_deg[record])


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


def _close_walks(work: _Work, walked: NDArray[np.bool_], *, gap_m: float) -> None:
    if gap_m == 0:
        return
    kinds = shapely.get_type_id(work.geometry)
    for row in np.flatnonzero(walked & np.isin(kinds, (1, 5))):
        segments = [shapely.get_coordinates(part) for part in shapely.get_parts(work.geometry[row])]
        gaps = [_closing_gap(xy, gap_m) for xy in segments]
        if all(gap is not None for gap in gaps):
            rings = [shapely.Polygon(xy) for xy in segments]
            work.geometry[row] = rings[0] if len(rings) == 1 else shapely.MultiPolygon(rings)
        else:
            joined = np.concatenate(segments)
            gaps = [_closing_gap(joined, gap_m)]
            if gaps[0] is None:
                continue
            work.geometry[row] = shapely.Polygon(joined)
        widest = max(gap for gap in gaps if gap is not None)
        if widest > 0:
            work.how[row] = f"walk closed over a gap of {widest:.1f} m"


def _closing_gap(xy: NDArray[np.float64], most_m: float) -> float | None:
    """Metres between the ends of a walk that is an outline; None when it is a line."""
    length_m = float(np.hypot(*np.diff(xy, axis=0).T).sum())
    gap_m = float(np.hypot(*(xy[0] - xy[-1])))
    meets = gap_m <= max(most_m, CLOSING_SHARE * length_m)
    outline = meets and gap_m < _NOT_WALKED_SHARE * length_m and len(np.unique(xy, axis=0)) > 2
    return gap_m if outline else None
