"""True, grid and magnetic north at a place and on a day."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import pygeomag
from pyproj import CRS, Proj

MODEL, MODEL_FILE = "WMM2025", "wmm/WMM_2025.COF"
VALID_FROM, VALID_TO = 2025.0, 2030.0  # what the model says of itself; the field drifts away from it after that
STEP_DEG: Final = 0.5  # iron and local rock turn a needle by more than what is finer


@dataclass(frozen=True, kw_only=True)
class Norths:
    """Degrees from true north, clockwise (east) above zero; the declination is None where it is not known."""

    declination_deg: float | None
    convergence_deg: float
    day: dt.date

    @property
    def grid_magnetic_deg(self) -> float | None:
        """Magnetic north from grid north: the declination less the convergence."""
        return None if self.declination_deg is None else self.declination_deg - self.convergence_deg


def norths(lon: float, lat: float, *, grid: CRS, day: dt.date, height_km: float = 0.0) -> Norths:
    """The three norths at a place (WGS 84 degrees), grid north by the system ``grid``."""
    declination = declination_deg(lon, lat, year=decimal_year(day), height_km=height_km)
    return Norths(declination_deg=declination, convergence_deg=convergence_deg(lon, lat, grid=grid), day=day)


def declination_deg(lon: float, lat: float, *, year: float, height_km: float = 0.0) -> float | None:
    """Magnetic north from true north by the World Magnetic Model 2025, east above zero.

    None outside the model's years, and next to the magnetic poles, where the model itself says that no compass serves.
    """
    if not VALID_FROM <= year < VALID_TO:
        return None
    found = _model().calculate(glat=lat, glon=lon, alt=height_km, time=year)
    return None if found.in_blackout_zone else float(found.d)


def convergence_deg(lon: float, lat: float, *, grid: CRS) -> float:
    """Grid north from true north at a place, east above zero."""
    return float(Proj(grid).get_factors(lon, lat).meridian_convergence)


def decimal_year(day: dt.date) -> float:
    """A day as a year with decimals.

    Examples
    --------
    >>> decimal_year(dt.date(2025, 7, 2))
    2025.4986301369863
    """
    first, next_first = dt.date(day.year, 1, 1), dt.date(day.year + 1, 1, 1)
    return day.year + (day - first).days / (next_first - first).days


def half_degrees(value_deg: float) -> str:
    """An angle to half a degree with its side.

    Examples
    --------
    >>> half_degrees(-10.06), half_degrees(0.31), half_degrees(0.1)
    ('10° W', '0.5° E', '0°')
    """
    rounded = abs(round(value_deg / STEP_DEG) * STEP_DEG)
    return f"{rounded:g}°" + ("" if rounded == 0 else " E" if value_deg > 0 else " W")


def north_lines(found: Norths) -> list[str]:
    """The norths in words, for under the scale."""
    grid = f"grid north: {half_degrees(found.convergence_deg)} of true north"
    magnetic = found.grid_magnetic_deg
    if found.declination_deg is None or magnetic is None:
        return [f"magnetic north on {found.day}: not known", f"({MODEL} holds for 2025 to 2029 only)", grid]
    return [
        f"magnetic: {half_degrees(found.declination_deg)} of true, {half_degrees(magnetic)} of grid north",
        f"({MODEL}, {found.day}, to half a degree)",
        grid,
    ]


@lru_cache(maxsize=1)
def _model() -> pygeomag.GeoMag:
    return pygeomag.GeoMag(coefficients_file=MODEL_FILE)
