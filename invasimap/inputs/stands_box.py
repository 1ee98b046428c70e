"""The box round the stands, and which numbers positions near it have in any reference system."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from pyproj.exceptions import ProjError

from invasimap.core.crs import to_lonlat

Numbers = tuple[float, float, float, float]  # least x, least y, greatest x, greatest y

_DATUMS_APART_M: Final = 3_000.0  # no two datums in use put a place further apart
_SPARE: Final = 0.05  # of the box's size: edges bow in other systems
_SAMPLES: Final = 9
_ANY: Final[Numbers] = (-np.inf, -np.inf, np.inf, np.inf)


@dataclass(frozen=True)
class StandsBox:
    """Bounds of the stands in the working system (metres), and how far from them still counts as near.

    Examples
    --------
    >>> from invasimap.core.crs import working_crs
    >>> near = StandsBox(crs=working_crs(-80, 38), bounds=shapely.box(-500, -500, 500, 500), near_m=1000)
    >>> near.away_m(np.array([0.0, 800.0, 500.0]), np.array([0.0, 900.0, 1500.0])).tolist()
    [0.0, 500.0, 1000.0]
    """

    crs: CRS
    bounds: shapely.Polygon
    near_m: float

    def away_m(self, x_m: NDArray[np.float64], y_m: NDArray[np.float64]) -> NDArray[np.float64]:
        """Distance (m) of places from the box; infinite where they are no places."""
        left, bottom, right, top = self.bounds.bounds
        with np.errstate(invalid="ignore"):
            x_off = np.maximum(np.maximum(left - x_m, x_m - right), 0.0)
            y_off = np.maximum(np.maximum(bottom - y_m, y_m - top), 0.0)
            away = np.hypot(x_off, y_off)
        return np.where(np.isfinite(x_m) & np.isfinite(y_m), away, np.inf)

    def numbers_in(self, system: CRS) -> Numbers:
        """Between which numbers every position near the box lies in a system, a little wide.

        A sieve that costs no datum shift. No bounds at all where a system counts from another meridian than
        Greenwich, in other units than degrees, or cannot show the place.
        """
        geographic = system.geodetic_crs
        if geographic is None or _is_unusual(geographic):
            return _ANY
        x, y = self.lonlat.T
        if not system.is_geographic:
            try:
                x, y = projection(system).transform(x, y)
            except ProjError:
                return _ANY
        if not (np.isfinite(x).all() and np.isfinite(y).all()):
            return _ANY
        return float(x.min()), float(y.min()), float(x.max()), float(y.max())

    @cached_property
    def lonlat(self) -> NDArray[np.float64]:
        """Longitude and latitude of a lattice over the box and what is near it, shape (81, 2)."""
        left, bottom, right, top = self.bounds.bounds
        grown = self.near_m + _DATUMS_APART_M + _SPARE * max(right - left, top - bottom)
        east = np.linspace(left - grown, right + grown, _SAMPLES)
        north = np.linspace(bottom - grown, top + grown, _SAMPLES)
        x, y = (side.ravel() for side in np.meshgrid(east, north))
        return np.column_stack(to_lonlat(self.crs).transform(x, y))

    @property
    def centre_lonlat(self) -> tuple[float, float]:
        """Longitude and latitude of the middle of the box."""
        lon, lat = self.lonlat[len(self.lonlat) // 2]
        return float(lon), float(lat)


@lru_cache(maxsize=128)
def moving(source: CRS, target: CRS) -> Transformer:
    """The transformer between two systems, x before y, made once (it takes up to a tenth of a second)."""
    return Transformer.from_crs(source, target, always_xy=True)


def moves(source: CRS, target: CRS) -> bool:
    """Whether places can be brought from one system to another: not from another planet's, say."""
    try:
        moving(source, target)
    except ProjError:
        return False
    return True


@lru_cache(maxsize=256)
def projection(system: CRS) -> Transformer:
    """From longitude and latitude of a projected system's own datum to its numbers."""
    return Transformer.from_crs(system.geodetic_crs, system, always_xy=True)


def _is_unusual(geographic: CRS) -> bool:
    """Degrees that are not counted from Greenwich, or no degrees."""
    meridian = geographic.prime_meridian
    return meridian is None or meridian.longitude != 0 or geographic.axis_info[0].unit_name != "degree"
