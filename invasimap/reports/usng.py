"""The grid of a printed sheet: UTM lines, and the same as US National Grid (MGRS) for whoever is called for help."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import mgrs
import numpy as np
import numpy.typing as npt
import shapely
from pyproj import CRS, Transformer

from invasimap.core.crs import to_lonlat

Box = tuple[float, float, float, float]
SPACINGS_M = ((6_000, 100), (15_000, 500))  # up to a scale's denominator; 1,000 m beyond
SQUARE_M = 100_000
BEND_PARTS = 8  # a grid line is bent by less than a hair over a sheet


@dataclass(frozen=True, kw_only=True)
class GridLine:
    """One line: its UTM value in metres, whether it counts eastings, and its course within the frame (map metres)."""

    value_m: int
    counts: Literal["easting", "northing"]
    course: npt.NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Grid:
    """The grid over a frame.

    Attributes
    ----------
    zone
        UTM zone and latitude band, such as ``16S``.
    squares
        The 100 km squares the frame touches in its own zone, such as ``EJ``.
    other_zones
        UTM zones that the frame reaches into beside its own.
    """

    crs: CRS
    zone: str
    squares: tuple[str, ...]
    spacing_m: int
    lines: tuple[GridLine, ...]
    other_zones: tuple[int, ...]


def grid_over(frame: Box, crs: CRS, *, scale: int) -> Grid | None:
    """The grid over a frame in metres of ``crs``, in the zone of its middle; None where there is none (the poles)."""
    middle = ((frame[0] + frame[2]) / 2, (frame[1] + frame[3]) / 2)
    lon, lat = to_lonlat(crs).transform(*middle)
    name = usng(lat, lon, digits=5)
    if not name[:1].isdigit():
        return None
    zone = name.split()[0]
    utm = utm_crs(int(zone[:-1]), south=lat < 0)
    corners = outline(frame)
    lons, lats = to_lonlat(crs).transform(*corners.T)
    names = {usng(y, x, digits=5) for x, y in zip(lons, lats, strict=True)}
    others = sorted({int(text.split()[0][:-1]) for text in names} - {int(zone[:-1])})
    squares = sorted({text.split()[1] for text in names if text.split()[0][:-1] == zone[:-1]})
    spacing = next((step for most, step in SPACINGS_M if scale <= most), 1000)
    return Grid(
        crs=utm, zone=zone, squares=tuple(squares), spacing_m=spacing, other_zones=tuple(others),
        lines=tuple(_lines(frame, crs, utm, spacing)),
    )  # fmt: skip


def usng(lat: float, lon: float, *, digits: int = 4) -> str:
    """A place in the US National Grid, cut (never rounded) to ``digits`` for each of easting and northing.

    FGDC-STD-011-2001: a shorter reading names the square that holds the place.

    Examples
    --------
    >>> usng(39.0, -86.5, digits=5), usng(39.0, -86.5)
    ('16S EJ 43295 16895', '16S EJ 4329 1689')
    """
    text = str(mgrs.MGRS().toMGRS(lat, lon, MGRSPrecision=5))
    head, figures = text[:-10], text[-10:]
    east, north = figures[:5][:digits], figures[5:][:digits]
    return f"{head[:-2]} {head[-2:]} {east} {north}"


def line_digits(line: GridLine, spacing_m: int) -> str:
    """A line's figures within its square, as many as its spacing needs.

    Examples
    --------
    >>> line_digits(GridLine(value_m=4_316_800, counts="northing", course=np.empty((0, 2))), 100)
    '168'
    """
    figures = 2 if spacing_m >= 1000 else 3
    return f"{line.value_m % SQUARE_M:05d}"[:figures]


def outline(frame: Box, parts: int = 4) -> npt.NDArray[np.float64]:
    """Points round a frame, corners among them, (n, 2)."""
    ring = shapely.segmentize(shapely.box(*frame).exterior, max(frame[2] - frame[0], frame[3] - frame[1]) / parts)
    found: npt.NDArray[np.float64] = shapely.get_coordinates(ring)
    return found


@lru_cache(maxsize=8)
def utm_crs(zone: int, *, south: bool) -> CRS:
    """The UTM system of a zone (WGS 84)."""
    return CRS.from_epsg((32700 if south else 32600) + zone)


@lru_cache(maxsize=8)
def _between(crs: CRS, utm: CRS) -> Transformer:
    return Transformer.from_crs(crs, utm, always_xy=True)


def _lines(frame: Box, crs: CRS, utm: CRS, spacing_m: int) -> list[GridLine]:
    there = _between(crs, utm)
    east, north = (np.asarray(values) for values in there.transform(*outline(frame).T))
    found = []
    axes = (("easting", east, north), ("northing", north, east))
    for counts, values, across in axes:
        along = np.linspace(across.min(), across.max(), BEND_PARTS + 1)
        for value in np.arange(np.ceil(values.min() / spacing_m), np.floor(values.max() / spacing_m) + 1) * spacing_m:
            fixed = np.full_like(along, value)
            pair = (fixed, along) if counts == "easting" else (along, fixed)
            course = shapely.LineString(np.column_stack(there.transform(*pair, direction="INVERSE")))
            inside = shapely.clip_by_rect(course, *frame)
            if inside.geom_type == "LineString" and not inside.is_empty:
                found.append(
                    GridLine(value_m=int(value), counts=counts, course=shapely.get_coordinates(inside))  # type: ignore[arg-type]
                )
    return found
