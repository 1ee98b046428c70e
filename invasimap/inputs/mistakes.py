"""The mistakes by which a position comes to lie far from the stands, each with the numbers that were meant."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS
from pyproj.crs import ProjectedCRS
from pyproj.crs.coordinate_operation import UTMConversion

from invasimap.core.units import M_PER_FT, M_PER_SURVEY_FT
from invasimap.inputs.stands_box import StandsBox

Axis = NDArray[np.float64]
Meant = Callable[[Axis, Axis], tuple[Axis, Axis]]

ZONES_APART: Final = 2  # of UTM, either way, that a file may be wrong by
_EQUATOR_DEG: Final = 1.0  # nearer to it both halves of a zone are in use
_WEB_MERCATOR: Final = 3857
_UNIT_SLIP: Final = 0.01  # units closer than this share are one: the two feet are 2 parts in a million apart
_EASTING_DIGIT: Final = 100_000.0  # what the first digit of an easting, and of a northing, stands for
_NORTHING_DIGIT: Final = 1_000_000.0


@dataclass(frozen=True, kw_only=True)
class Mistake:
    """How numbers are to be read if this mistake was made.

    ``meant`` gives the numbers in ``system`` from those in the file; ``sure`` is False where a fit proves little,
    so that it is offered and never applied.
    """

    name: str
    meant: Meant
    system: CRS
    sure: bool = True
    made: bool = False  # ``system`` was put together here: the registered one moves positions (see ``registered``)


def mistakes_in(source: CRS, stands: StandsBox) -> list[Mistake]:
    """Every mistake that a file said to be in ``source`` is searched for, the plainest first.

    Examples
    --------
    >>> import shapely
    >>> from invasimap.core.crs import working_crs
    >>> stands = StandsBox(crs=working_crs(-80, 38), bounds=shapely.box(-500, -500, 500, 500), near_m=1000)
    >>> mistakes_in(CRS.from_epsg(4326), stands)[0].name
    'swapping longitude and latitude'
    """
    geographic = source.geodetic_crs
    if geographic is None or not (source.is_geographic or source.is_projected):
        return []
    if source.is_geographic:
        return [
            *(Mistake(name=name, meant=meant, system=source) for name, meant in _IN_DEGREES.items()),
            *(Mistake(name=name, meant=meant, system=source) for name, meant in _RUN_TOGETHER.items()),
            *(Mistake(name=name, meant=meant, system=source, sure=False) for name, meant in _AS_DECIMALS.items()),
            *_in_utm(geographic, stands, without=None),
            Mistake(name="reading them as web Mercator metres", meant=_as_is, system=CRS.from_epsg(_WEB_MERCATOR)),
        ]
    return [
        Mistake(name="swapping easting and northing", meant=_swapped, system=source),
        *_in_other_units(source),
        *_in_utm(geographic, stands, without=source),
        *_as_degrees(geographic),
        *_as_mercator(source),
        *_digit_lost(source, stands),
    ]


def utm_zone(system: CRS) -> tuple[int, bool] | None:
    """Zone and whether it is of the southern half, by a system's own figures; None where it is no UTM in metres.

    Examples
    --------
    >>> utm_zone(CRS.from_epsg(26917)), utm_zone(CRS.from_epsg(32756)), utm_zone(CRS.from_epsg(2264))
    ((17, False), (56, True), None)
    """
    system = _flat(system)
    made = system.coordinate_operation
    if made is None or made.method_name != "Transverse Mercator" or system.axis_info[0].unit_name != "metre":
        return None
    figures = {item.name: float(item.value) * item.unit_conversion_factor for item in made.params}
    meridian = np.degrees(figures.get("Longitude of natural origin", np.nan))
    zone = (meridian + 183) / 6
    north_m = figures.get("False northing")
    usual = (
        abs(figures.get("Scale factor at natural origin", 0.0) - 0.9996) < 1e-9
        and figures.get("False easting") == 500_000
        and figures.get("Latitude of natural origin") == 0
        and north_m in (0, 10_000_000)
    )
    if not usual or abs(zone - round(zone)) > 1e-6:
        return None
    return round(zone), north_m == 10_000_000


@lru_cache(maxsize=64)
def utm_system(geographic: CRS, zone: int, *, south: bool) -> CRS:
    """A zone of UTM on a datum."""
    return CRS(ProjectedCRS(conversion=UTMConversion(str(zone), "S" if south else "N"), geodetic_crs=geographic))


@lru_cache(maxsize=64)
def registered(system: CRS) -> CRS:
    """The registered system with the same figures, since a datum shift is chosen by it; else the one given."""
    code = system.to_epsg()
    return CRS.from_epsg(code) if code else system


def _flat(system: CRS) -> CRS:
    """A system without its heights and without a shift of its own."""
    inner = system.source_crs if system.is_bound else next(iter(system.sub_crs_list), None)
    return system if inner is None else _flat(inner)


def _as_is(x: Axis, y: Axis) -> tuple[Axis, Axis]:
    return x, y


def _swapped(x: Axis, y: Axis) -> tuple[Axis, Axis]:
    return y, x


def _in_utm(geographic: CRS, stands: StandsBox, *, without: CRS | None) -> Iterator[Mistake]:
    """Numbers of a zone of UTM: the zones at the stands, and those next to the one the file says."""
    lon, lat = stands.centre_lonlat
    here = int((lon + 180) // 6) % 60 + 1
    said = utm_zone(without) if without is not None else None
    halves = (False, True) if abs(lat) < _EQUATOR_DEG else (lat < 0,)
    zones = {(_round_zone(here + step), south) for step in (-1, 0, 1) for south in halves}
    if said is not None:
        steps = range(-ZONES_APART, ZONES_APART + 1)
        zones |= {(_round_zone(said[0] + step), south) for step in steps for south in (False, True)}
    for zone, south in sorted(zones - {said}):
        name = f"reading them in UTM zone {zone}{'S' if south else 'N'}"
        system = utm_system(geographic, zone, south=south)
        yield Mistake(name=name, meant=_as_is, system=system, made=True)
        yield Mistake(name=f"{name}, northing first", meant=_swapped, system=system, made=True)


def _round_zone(zone: int) -> int:
    return (zone - 1) % 60 + 1


def _in_other_units(source: CRS) -> Iterator[Mistake]:
    """Feet in a system in metres and the reverse; the two feet are not told apart by where they lead."""
    own_m = source.axis_info[0].unit_conversion_factor or 1.0
    units = {"feet": M_PER_FT, "US survey feet": M_PER_SURVEY_FT, "metres": 1.0}
    for name, unit_m in units.items():
        if abs(unit_m / own_m - 1) > _UNIT_SLIP:
            yield Mistake(name=f"reading them as {name}", meant=_scaled(unit_m / own_m), system=source)


def _scaled(factor: float) -> Meant:
    return lambda x, y: (x * factor, y * factor)


def _as_degrees(geographic: CRS) -> Iterator[Mistake]:
    tails = {
        "": _as_is,
        ", latitude first": _swapped,
        " with a minus sign before the longitude": lambda x, y: (-x, y),
        ", latitude first, with a minus sign before the longitude": lambda x, y: (-y, x),
    }
    for tail, meant in tails.items():
        yield Mistake(name=f"reading them as degrees{tail}", meant=meant, system=geographic)


def _as_mercator(source: CRS) -> Iterator[Mistake]:
    mercator = CRS.from_epsg(_WEB_MERCATOR)
    if source != mercator:
        yield Mistake(name="reading them as web Mercator metres", meant=_as_is, system=mercator)


def _digit_lost(source: CRS, stands: StandsBox) -> Iterator[Mistake]:
    """The first digit of an easting or northing put back so that it comes near the stands: offered only."""
    left, bottom, right, top = stands.numbers_in(source)
    if not np.isfinite([left, bottom, right, top]).all():
        return
    x_mid, y_mid = (left + right) / 2, (bottom + top) / 2
    yield Mistake(
        name="the first digit of the easting, which is missing,",
        meant=lambda x, y: (_with_digit(x, x_mid, _EASTING_DIGIT), y),
        system=source,
        sure=False,
    )
    yield Mistake(
        name="the first digit of the northing, which is missing,",
        meant=lambda x, y: (x, _with_digit(y, y_mid, _NORTHING_DIGIT)),
        system=source,
        sure=False,
    )


def _with_digit(value: Axis, middle: float, place: float) -> Axis:
    digit = np.round((middle - value) / place)
    fits = (value >= 0) & (value < place) & (digit >= 1) & (digit <= 9)
    return np.where(fits, value + digit * place, np.nan)


def _minutes(value: Axis) -> Axis:
    """38.15924, typed for 38 15.924, as degrees."""
    whole = np.floor(np.abs(value))
    minutes = (np.abs(value) - whole) * 100
    return _signed(value, whole, minutes)


def _seconds(value: Axis) -> Axis:
    """38.155544, typed for 38 15 55.44, as degrees."""
    whole = np.floor(np.abs(value))
    rest = (np.abs(value) - whole) * 100
    minutes = np.floor(rest + 1e-9)
    seconds = np.maximum((rest - minutes) * 100, 0.0)
    return _signed(value, whole, np.where(seconds < 60, minutes + seconds / 60, np.nan))


def _gapless(value: Axis) -> Axis:
    """3815.924, typed for 38 15.924, as degrees."""
    whole = np.floor(np.abs(value) / 100)
    return _signed(value, whole, np.abs(value) - 100 * whole)


def _signed(value: Axis, whole: Axis, minutes: Axis) -> Axis:
    return np.where(minutes < 60, np.copysign(whole + minutes / 60, value), np.nan)


_IN_DEGREES: Final[dict[str, Meant]] = {
    "swapping longitude and latitude": _swapped,
    "a minus sign before the longitude": lambda x, y: (-x, y),
    "a minus sign before the latitude": lambda x, y: (x, -y),
    "a minus sign before both": lambda x, y: (-x, -y),
    "taking 360 from the longitude": lambda x, y: (x - 360, y),
    "adding 360 to the longitude": lambda x, y: (x + 360, y),
    "swapping them and a minus sign before the longitude": lambda x, y: (-y, x),
    "swapping them and a minus sign before the latitude": lambda x, y: (y, -x),
    "swapping them and a minus sign before both": lambda x, y: (-y, -x),
}
_RUN_TOGETHER: Final[dict[str, Meant]] = {
    "reading 3815.924 as 38 degrees 15.924 minutes": lambda x, y: (_gapless(x), _gapless(y)),
    "reading 3815.924 as 38 degrees 15.924 minutes, with a minus sign before the longitude": lambda x, y: (
        -_gapless(x),
        _gapless(y),
    ),
}
_AS_DECIMALS: Final[dict[str, Meant]] = {
    "reading 38.15924 as 38 degrees 15.924 minutes": lambda x, y: (_minutes(x), _minutes(y)),
    "reading 38.155544 as 38 degrees 15 minutes 55.44 seconds": lambda x, y: (_seconds(x), _seconds(y)),
}
