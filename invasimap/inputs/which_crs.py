"""Which reference systems would bring a file's numbers to the stands."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from pyproj.aoi import AreaOfInterest
from pyproj.database import query_crs_info
from pyproj.enums import PJType
from pyproj.exceptions import ProjError

from invasimap.inputs.stands_box import StandsBox, moving

FITS_SHARE: Final = 0.9  # of the coordinates must come near the stands
ALIKE_M: Final = 2.0  # systems that put the file this close together are told in one breath
MOST_SYSTEMS: Final = 5
_SAMPLE: Final = 2_000  # coordinates that are tried, evenly over the file
_STEP_DEG: Final = 0.25  # the stands' bounds are widened to multiples of it, so that the list is made once
_FAMILIES: Final = ("NAD83", "WGS 84")  # best first
_OUT_OF_USE: Final = "WGS 72"
# NAD83(2011) / UTM zone 17N, or a name with its order of axes: only where the plain system is not there
_VARIANT: Final = re.compile(r"(?<=^NAD83)\([^)]*\)|(?<=^ETRS89)/\S+|\s*\((?:N-E|E-N)\)$")

_Axis = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class _Fit:
    """A system that fits: its label, how much of the file lies inside the stands' bounds, and places (m)."""

    label: str
    rank: tuple[int, float, int]
    x_m: _Axis
    y_m: _Axis


def systems_that_fit(x: _Axis, y: _Axis, *, crs: CRS, bounds: shapely.Polygon, near_m: float) -> list[str]:
    """The systems in which at least 90 % of a file's coordinates come near the stands, best first, at most five.

    Tried are degrees (WGS 84) and every projected EPSG system in force whose area of use touches the stands. Systems
    that put the file within 2 m of each other make one entry. Nothing is chosen: the entries are for a message.

    Parameters
    ----------
    x, y
        Coordinates as they stand in the file.
    crs, bounds, near_m
        The working system in metres, the box round the stands in it, and how far from it still counts as near.

    Examples
    --------
    >>> from invasimap.core.crs import working_crs
    >>> box = shapely.box(-500, -500, 500, 500)
    >>> systems_that_fit(np.array([-80.0]), np.array([38.0]), crs=working_crs(-80, 38), bounds=box, near_m=1000)
    ['EPSG:4326 (WGS 84)']
    """
    stands = StandsBox(crs=crs, bounds=bounds, near_m=near_m)
    x, y = _sample(np.asarray(x, dtype=float), np.asarray(y, dtype=float))
    if not len(x):
        return []
    sieved = [system for system in (CRS.from_epsg(4326), *_systems_at(stands)) if _may_fit(x, y, system, stands)]
    fits = [fit for system in _plain_first(sieved) if (fit := _fit(x, y, system, stands))]
    fits.sort(key=lambda fit: fit.rank)
    return [_said(group) for group in _alike(fits)[:MOST_SYSTEMS]]


def said_systems(found: list[str]) -> str:
    """The tail of a message on a file without a system, "" where none fits.

    Examples
    --------
    >>> said_systems(["EPSG:4326 (WGS 84)"])
    'its numbers would come to the stands as EPSG:4326 (WGS 84)'
    """
    return f"its numbers would come to the stands as {'; or as '.join(found)}" if found else ""


def _sample(x: _Axis, y: _Axis) -> tuple[_Axis, _Axis]:
    """Coordinates spread over the file; those that are no numbers or 0, 0 say nothing."""
    rows = np.flatnonzero(np.isfinite(x) & np.isfinite(y) & ~((x == 0) & (y == 0)))
    rows = rows[np.linspace(0, len(rows) - 1, min(len(rows), _SAMPLE)).astype(int)] if len(rows) else rows
    return x[rows], y[rows]


def _systems_at(stands: StandsBox) -> tuple[CRS, ...]:
    lon, lat = stands.lonlat.T
    west, south = (np.floor(side.min() / _STEP_DEG) * _STEP_DEG for side in (lon, lat))
    east, north = (np.ceil(side.max() / _STEP_DEG) * _STEP_DEG for side in (lon, lat))
    return _systems_in(float(west), float(max(south, -90)), float(east), float(min(north, 90)))


@lru_cache(maxsize=16)
def _systems_in(west: float, south: float, east: float, north: float) -> tuple[CRS, ...]:
    """Projected systems in force whose area of use touches a box of degrees."""
    listed = query_crs_info(
        auth_name="EPSG",
        pj_types=[PJType.PROJECTED_CRS],
        area_of_interest=AreaOfInterest(west, south, east, north),
    )
    found = []
    for info in listed:
        system = CRS.from_epsg(info.code)
        if len(system.axis_info) == 2 and system.geodetic_crs is not None:
            found.append(system)
    return tuple(found)


def _may_fit(x: _Axis, y: _Axis, system: CRS, stands: StandsBox) -> bool:
    """Whether enough numbers lie between those that the system has at the stands: a sieve without datum shifts."""
    left, bottom, right, top = stands.numbers_in(system)
    inside = (x >= left) & (x <= right) & (y >= bottom) & (y <= top)
    return bool(inside.mean() >= FITS_SHARE)


def _plain_first(systems: Iterable[CRS]) -> list[CRS]:
    """Systems without the variants (realisations of a datum, orders of axes) of one that is there: under 2 m apart."""
    listed = list(systems)
    names = {system.name for system in listed}
    return [s for s in listed if (plain := _VARIANT.sub("", s.name)) == s.name or plain not in names]


def _fit(x: _Axis, y: _Axis, system: CRS, stands: StandsBox) -> _Fit | None:
    try:
        x_m, y_m = moving(system, stands.crs).transform(x, y)
    except ProjError:  # a system that only names a family of others
        return None
    away_m = stands.away_m(x_m, y_m)
    if np.mean(away_m <= stands.near_m) < FITS_SHARE:
        return None
    family = next((n for n, name in enumerate(_FAMILIES) if system.name.startswith(name)), len(_FAMILIES))
    old = system.name.startswith(_OUT_OF_USE)
    rank = (int(old), -round(float(np.mean(away_m == 0)), 1), family)
    return _Fit(label=f"EPSG:{system.to_authority('EPSG')[1]} ({system.name})", rank=rank, x_m=x_m, y_m=y_m)


def _alike(fits: list[_Fit]) -> list[list[_Fit]]:
    """Systems in groups that put the file at one place, each group where its best was."""
    groups: list[list[_Fit]] = []
    for fit in fits:
        near = (group for group in groups if _apart_m(group[0], fit) <= ALIKE_M)
        group = next(near, None)
        if group is None:
            groups.append([fit])
        else:
            group.append(fit)
    return groups


def _apart_m(one: _Fit, other: _Fit) -> float:
    finite = np.isfinite(one.x_m) & np.isfinite(other.x_m)
    return float(np.hypot(one.x_m - other.x_m, one.y_m - other.y_m)[finite].max(initial=0.0))


def _said(group: list[_Fit]) -> str:
    """The best of a group and the next of it, if it has one."""
    alike = f", or within {ALIKE_M:g} m of it {group[1].label}" if len(group) > 1 else ""
    return group[0].label + alike
