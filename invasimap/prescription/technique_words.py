"""Figures of techniques in words, in the units that the tract is shown in."""

from __future__ import annotations

import math
from typing import Final

from invasimap.core.units import M_PER_FT, ShownUnits

NOT_KNOWN: Final = "not known"


def length_said(metres: float, shown: ShownUnits) -> str:
    """A height such as ``6 ft`` or ``1.83 m``.

    Examples
    --------
    >>> from invasimap.core.units import METRIC, US
    >>> length_said(1.8288, US), length_said(1.8288, METRIC), length_said(float("nan"), US)
    ('6 ft', '1.83 m', 'not known')
    """
    return _said(shown.length_of(metres), shown.length)


def stem_said(millimetres: float, shown: ShownUnits) -> str:
    """The size of a stem in inches or centimetres."""
    inches = shown.length == "ft"
    return _said(millimetres / (M_PER_FT / 12 * 1000) if inches else millimetres / 10, "in" if inches else "cm")


def ground_said(square_metres: float, shown: ShownUnits) -> str:
    """Little ground in square feet or square metres, much in acres or hectares.

    Examples
    --------
    >>> from invasimap.core.units import US
    >>> ground_said(46.4515, US), ground_said(40468.564224, US)
    ('500 sq ft', '10 ac')
    """
    if shown.area_of(square_metres) >= 1:
        return _said(shown.area_of(square_metres), shown.area)
    small = square_metres / shown.m**2
    return _said(float(f"{small:.3g}") if math.isfinite(small) else small, "sq ft" if shown.length == "ft" else "m2")


def percent_said(percent: float) -> str:
    """A cover or slope in percent."""
    return _said(percent, "%")


def wait_said(least_days: int, most_days: int) -> str:
    """A wait in weeks where it is whole ones, else in days.

    Examples
    --------
    >>> wait_said(56, 70), wait_said(56, 56), wait_said(10, 14)
    ('8-10 weeks', '8 weeks', '10-14 days')
    """
    size, unit = (7, "weeks") if least_days % 7 == most_days % 7 == 0 else (1, "days")
    least, most = least_days // size, most_days // size
    return f"{least} {unit}" if least == most else f"{least}-{most} {unit}"


def _said(value: float, unit: str) -> str:
    """A number with three figures that are not zero, plain, and its unit."""
    if not math.isfinite(value):
        return NOT_KNOWN
    text = f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.3g}"
    return f"{text} {unit}"
