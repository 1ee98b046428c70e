"""When the season comes at a place: estimated from another by Hopkins' law, or summed as degree days."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from invasimap.core.errors import Fault, InputError
from invasimap.core.units import M_PER_FT

DAYS_PER_DEG_LATITUDE: Final = 4.0
DAYS_PER_DEG_LONGITUDE: Final = 0.8
DAYS_PER_M: Final = 1 / (100 * M_PER_FT)
Rounding = Literal["nearest", "later", "earlier"]
Method = Literal["average", "limited average", "single sine"]
_CLOSE: Final = 1e-9  # days: less than that is no other day


@dataclass(frozen=True, kw_only=True)
class Place:
    """A place on the globe: degrees, north and east above zero, and its height in metres."""

    latitude: float
    longitude: float
    elevation_m: float


def hopkins_days(known: Place, wanted: Place) -> float:
    """How many days later spring, and earlier autumn, comes to a place than to one that is known.

    Four days for each degree of latitude, five degrees of longitude eastward and 400 ft upward (Hopkins 1918, for
    eastern North America). Toward the pole counts in either hemisphere. It is a first guess: towns, lakes and cold
    hollows break it.

    Raises
    ------
    InputError
        When the places lie in different hemispheres, or a figure is not known.

    Examples
    --------
    >>> south = Place(latitude=38.0, longitude=-86.0, elevation_m=152.4)
    >>> round(hopkins_days(south, Place(latitude=41.5, longitude=-83.0, elevation_m=274.32)), 6)
    20.4
    """
    if not all(
        math.isfinite(figure) for at in (known, wanted) for figure in (at.latitude, at.longitude, at.elevation_m)
    ):
        raise InputError(Fault(where="season", what="a latitude, longitude or elevation is not known", mend="type it"))
    if known.latitude * wanted.latitude < 0:
        what = "the reference place lies in the other hemisphere, where autumn is spring"
        raise InputError(Fault(where="season.reference", what=what, mend="take a place in the tract's own"))
    poleward = abs(wanted.latitude) - abs(known.latitude)
    eastward = (wanted.longitude - known.longitude + 180) % 360 - 180
    upward_m = wanted.elevation_m - known.elevation_m
    return DAYS_PER_DEG_LATITUDE * poleward + DAYS_PER_DEG_LONGITUDE * eastward + DAYS_PER_M * upward_m


def moved(day: dt.date, days: float, *, rounding: Rounding = "nearest") -> dt.date:
    """A date moved by days and parts of days; a part makes it the nearest, the later or the earlier whole day.

    Examples
    --------
    >>> moved(dt.date(2025, 11, 12), -20.4), moved(dt.date(2025, 11, 12), -20.4, rounding="earlier")
    (datetime.date(2025, 10, 23), datetime.date(2025, 10, 22))
    """
    whole = {
        "nearest": math.floor(days + 0.5),
        "later": math.ceil(days - _CLOSE),
        "earlier": math.floor(days + _CLOSE),
    }
    return day + dt.timedelta(days=whole[rounding])


def degree_days(
    lowest: ArrayLike, highest: ArrayLike, *, base: float, upper: float | None = None, method: Method = "single sine"
) -> NDArray[np.float64]:
    """Degree days of each day, in the degrees of the temperatures; NaN where a temperature is not known.

    Parameters
    ----------
    lowest, highest
        Temperatures of each day, all in one scale.
    base, upper
        Between which heat counts, in the same scale; ``upper`` cuts off level, and ``average`` does not use it.
    method
        ``average`` of the two less the base; ``limited average`` brings both within base and upper first (the 86/50
        rule); ``single sine`` (Baskerville and Emin 1969; Zalom et al. 1983).

    Raises
    ------
    InputError
        When a day's lowest is above its highest, or upper is not above base.

    Examples
    --------
    >>> float(degree_days(56, 82, base=50, method="average"))
    19.0
    """
    low, high = np.broadcast_arrays(np.asarray(lowest, float), np.asarray(highest, float))
    if (wrong := np.flatnonzero(low > high)).size:
        days = ", ".join(str(day + 1) for day in wrong[:5])
        what = f"the lowest temperature is above the highest on {wrong.size} days, such as day {days}"
        raise InputError(Fault(where="temperatures", what=what, mend="check which column is which, and their units"))
    if upper is not None and upper <= base:
        raise InputError(Fault(where="degree days", what=f"upper {upper:g} is not above base {base:g}", mend="set it"))
    if method == "average":
        return np.asarray(np.maximum(0.0, (low + high) / 2 - base))
    if method == "limited average":
        limits = (base, np.inf if upper is None else upper)
        return np.asarray((np.clip(low, *limits) + np.clip(high, *limits)) / 2 - base)
    above = _sine_above(low, high, base)
    return above if upper is None else above - _sine_above(low, high, upper)


def _sine_above(low: NDArray[Any], high: NDArray[Any], limit: float) -> NDArray[np.float64]:
    """Area of a sine day above a limit, in degree days."""
    mean, half = (high + low) / 2, (high - low) / 2
    crosses = (low < limit) & (high > limit)
    part = np.where(crosses, (limit - mean) / np.where(crosses, half, 1.0), 0.0)
    angle = np.arcsin(np.clip(part, -1.0, 1.0))
    cut = ((mean - limit) * (np.pi / 2 - angle) + half * np.cos(angle)) / np.pi
    whole = np.where(low >= limit, mean - limit, 0.0)
    return np.asarray(np.where(np.isnan(mean), np.nan, np.where(crosses, cut, whole)))


def celsius_days(fahrenheit_days: float) -> float:
    """Degree days of Fahrenheit in those of Celsius: five ninths, without the 32 of a temperature.

    Examples
    --------
    >>> celsius_days(90)
    50.0
    """
    return fahrenheit_days * 5 / 9


def day_reached(days: Sequence[dt.date], daily: ArrayLike, *, target: float) -> dt.date | None:
    """The first day on which summed degree days reach a target; None where they never do.

    Raises
    ------
    InputError
        When a day before that is not known: a gap is no day without heat.
    """
    total = np.cumsum(np.asarray(daily, float))
    unknown = np.flatnonzero(np.isnan(total))
    reached = np.flatnonzero(total >= target)
    if reached.size:
        return days[int(reached[0])]
    if unknown.size:
        what = f"the temperature of {days[int(unknown[0])]} is not known, before {target:g} degree days"
        raise InputError(Fault(where="temperatures", what=what, mend="fill the gap from a station near by"))
    return None
