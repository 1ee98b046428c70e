"""Quantities with units: text in, SI numbers inside, acres and feet at the edge.

Exact factors: the international foot is 0.3048 m and the international acre 43,560 square feet (Federal Register
85 FR 62698); the US gallon is 231 cubic inches; the pound is 0.45359237 kg.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Final

M_PER_FT: Final = 0.3048
M_PER_SURVEY_FT: Final = 1200 / 3937  # deprecated since 2023; kept where a record or an agency still reckons with it
M2_PER_ACRE: Final = 43_560 * M_PER_FT**2
M2_PER_HA: Final = 10_000.0
L_PER_GAL: Final = 3.785411784
KG_PER_LB: Final = 0.45359237
POINTS_PER_INCH: Final = 72.0  # of printed type and lines

_LENGTH = {
    "m": 1.0, "metre": 1.0, "meter": 1.0, "ft": M_PER_FT, "foot": M_PER_FT, "feet": M_PER_FT, "'": M_PER_FT,
    "in": M_PER_FT / 12, "inch": M_PER_FT / 12, "yd": 3 * M_PER_FT, "mm": 1e-3, "cm": 1e-2, "km": 1e3,
    "mi": 5280 * M_PER_FT, "mile": 5280 * M_PER_FT,
}  # fmt: skip
_AREA = {
    "m2": 1.0, "sq m": 1.0, "sqm": 1.0, "ft2": M_PER_FT**2, "sq ft": M_PER_FT**2, "sqft": M_PER_FT**2,
    "acre": M2_PER_ACRE, "acres": M2_PER_ACRE, "ac": M2_PER_ACRE, "ha": M2_PER_HA, "yd2": (3 * M_PER_FT) ** 2,
}  # fmt: skip
_HECTARES = {"acre": M2_PER_ACRE / M2_PER_HA, "ac": M2_PER_ACRE / M2_PER_HA, "ha": 1.0}
_VOLUME = {
    "l": 1.0, "litre": 1.0, "liter": 1.0, "ml": 1e-3, "gal": L_PER_GAL, "qt": L_PER_GAL / 4, "pt": L_PER_GAL / 8,
    "fl oz": L_PER_GAL / 128, "floz": L_PER_GAL / 128,
}  # fmt: skip
_MASS = {"kg": 1.0, "g": 1e-3, "lb": KG_PER_LB, "oz": KG_PER_LB / 16}
_MINUTES = {
    "min": 1.0, "minute": 1.0, "minutes": 1.0, "h": 60.0, "hr": 60.0, "hour": 60.0, "hours": 60.0, "s": 1 / 60,
    "day": 1440.0, "days": 1440.0, "d": 1440.0,
}  # fmt: skip
_DAYS = {"day": 1.0, "days": 1.0, "d": 1.0, "week": 7.0, "weeks": 7.0}


def _per(over: dict[str, float], under: dict[str, float]) -> dict[str, float]:
    return {f"{a}/{b}": over[a] / under[b] for a in over for b in under}


# dimension -> (unit stored inside, example for messages, factors to the unit stored)
DIMENSIONS: Final[dict[str, tuple[str, str, dict[str, float]]]] = {
    "length": ("m", '"75 ft" or "20 m"', _LENGTH),
    "area": ("m2", '"0.5 acre" or "200 m2"', _AREA),
    "volume": ("L", '"4 gal" or "15 l"', _VOLUME),
    "duration": ("min", '"30 min" or "6 h"', _MINUTES),
    "days": ("day", '"20 day"', _DAYS),
    "speed": ("m/s", '"3 mph" or "5 km/h"',
              {"m/s": 1.0, "mph": 0.44704, "km/h": 1 / 3.6, "kph": 1 / 3.6, "kt": 1852 / 3600, "ft/s": M_PER_FT}),
    "flow": ("L/min", '"3 gal/min" or "11 l/min"', {"gpm": L_PER_GAL} | _per(_VOLUME, {"min": 1.0, "h": 60.0})),
    "pressure": ("kPa", '"40 psi" or "3 bar"', {"kpa": 1.0, "bar": 100.0, "psi": 6.894757293168361}),
    "percent": ("%", '"10 %"', {"%": 1.0, "percent": 1.0}),
    "data": ("byte", '"200 MB"', {"byte": 1.0, "kb": 1e3, "mb": 1e6, "gb": 1e9}),
    "strength": ("kg/L", '"3.3 lb/gal" or "480 g/l"', _per(_MASS, _VOLUME)),
    "dose": ("kg/ha", '"2.9 lb/acre" or "3 kg/ha"', _per(_MASS, _HECTARES)),
    "density": ("1/m2", '"1500 stems/acre" or "4000 stems/ha"',
                {f"{word}/{area}": 1 / (M2_PER_HA * hectares)
                 for word in ("stem", "stems", "plant", "plants") for area, hectares in _HECTARES.items()}),
    "pace": ("h/ha", '"5.5 h/acre" or "14 h/ha"', _per({"h": 1.0, "hour": 1.0, "hours": 1.0}, _HECTARES)),
    "spread": ("L/ha", '"20 gal/acre" or "200 l/ha"', _per(_VOLUME, _HECTARES)),
}  # fmt: skip

_NUMBER = r"[-+]?(?:\d+(?:\.\d*)?|\.\d+)"
_QUANTITY = re.compile(rf"\s*({_NUMBER})\s*(\S.*?)?\s*")
_RANGE = re.compile(rf"\s*({_NUMBER})\s*(?:-|to|–)\s*({_NUMBER})\s*(\S.*?)?\s*")  # noqa: RUF001 (crews type en dashes)
_OVER = re.compile(rf"(\S.*?)(?: per |/)({_NUMBER}) (\S+(?: oz)?)")


def quantity(text: object, dimension: str) -> float:
    """A quantity such as ``"75 ft"`` in the unit stored inside (see ``DIMENSIONS``).

    Raises
    ------
    ValueError
        Without a unit, with a unit of another dimension, or when it is no finite number.

    Examples
    --------
    >>> round(quantity("75 ft", "length"), 3)
    22.86
    >>> quantity("75", "length")
    Traceback (most recent call last):
    ValueError: '75' has no unit: write a length such as "75 ft" or "20 m"
    """
    number, unit = _split(text, dimension)
    return number * _factor(unit, text, dimension)


def quantity_range(text: object, dimension: str) -> tuple[float, float]:
    """Low and high of a range such as ``"3-10 mph"``, in the unit stored inside; a single value gives it twice.

    Examples
    --------
    >>> quantity_range("25-50 %", "percent")
    (25.0, 50.0)
    """
    match = _RANGE.fullmatch(text) if isinstance(text, str) else None
    if match is None:
        value = quantity(text, dimension)
        return value, value
    factor = _factor(match[3] or "", text, dimension)
    low, high = float(match[1]) * factor, float(match[2]) * factor
    if low > high:
        raise ValueError(f"{text!r} runs from high to low: write the smaller number first")
    return low, high


def slope_pct(text: object) -> float:
    """A slope in percent from ``"15 %"`` or ``"8.5 deg"``.

    Examples
    --------
    >>> round(slope_pct("15 deg"), 2)
    26.79
    """
    if isinstance(text, str) and (match := _QUANTITY.fullmatch(text)) and (match[2] or "").lower() in ("deg", "°"):
        degrees = float(match[1])
        if not 0 <= degrees < 90:
            raise ValueError(f"{text!r} is no slope: degrees run from 0 to under 90")
        return 100 * math.tan(math.radians(degrees))
    value = quantity(text, "percent")
    if value < 0:
        raise ValueError(f"{text!r} is below zero: a slope limit is the steepness either way")
    return value


def temperature_range_c(text: object) -> tuple[float, float]:
    """Low and high in degrees Celsius from ``"40-85 degF"`` or ``"5-30 degC"``.

    Examples
    --------
    >>> temperature_range_c("41-86 degF")
    (5.0, 30.0)
    """
    match = _RANGE.fullmatch(text) if isinstance(text, str) else None
    unit = ((match[3] if match else "") or "").lower()
    if match is None or unit not in ("degf", "degc", "f", "c", "°f", "°c"):
        raise ValueError(f'{text!r} is no temperature range: write one such as "40-85 degF" or "5-30 degC"')
    low, high = float(match[1]), float(match[2])
    if low > high:
        raise ValueError(f"{text!r} runs from high to low: write the smaller number first")
    if unit.endswith("f"):
        low, high = (low - 32) / 1.8, (high - 32) / 1.8
    return low, high


def temperature_c(text: object) -> float:
    """A temperature in degrees Celsius from ``"50 degF"`` or ``"10 degC"``.

    Examples
    --------
    >>> temperature_c("50 degF"), temperature_c("-2 degC")
    (10.0, -2.0)
    """
    match = _QUANTITY.fullmatch(text) if isinstance(text, str) else None
    unit = ((match[2] if match else "") or "").lower()
    if match is None or unit not in ("degf", "degc", "f", "c", "°f", "°c"):
        raise ValueError(f'{text!r} is no temperature: write one such as "50 degF" or "10 degC"')
    number = float(match[1])
    return (number - 32) / 1.8 if unit.endswith("f") else number


def whole_days_up(days: float) -> int:
    """Days to the next whole one.

    Examples
    --------
    >>> whole_days_up(3.0), whole_days_up(3.2)
    (3, 4)
    """
    return math.ceil(days - 1e-9)


@dataclass(frozen=True, kw_only=True)
class Rate:
    """How much product goes on, as the label states it: a share of the mix, or an amount per area."""

    share_of_mix: float | None = None
    L_per_ha: float | None = None
    text: str = ""


def rate(text: object) -> Rate:
    """A rate as a share of the finished mix (``"1.1 % v/v"``, ``"2 fl oz per 3 gal"``) or per area (``"1 qt/acre"``).

    Examples
    --------
    >>> rate("2 % v/v").share_of_mix
    0.02
    >>> round(rate("2.56 fl oz/gal").share_of_mix, 4)
    0.02
    """
    number, unit = _split(text, "rate")
    if over := _OVER.fullmatch(unit):
        if float(over[2]) <= 0:
            raise ValueError(f"{text!r} is no rate: the amount after the stroke must be above zero")
        number, unit = number / float(over[2]), f"{over[1]}/{over[3]}"
    shares = {"% v/v": 0.01, "%v/v": 0.01} | _per(_VOLUME, _VOLUME)
    if unit in shares:
        share = number * shares[unit]
        if not 0 < share <= 1:
            raise ValueError(f"{text!r} is no share of a mix: it must be above 0 and at most 100 % v/v")
        return Rate(share_of_mix=share, text=str(text))
    if unit in DIMENSIONS["spread"][2] and number > 0:
        return Rate(L_per_ha=number * DIMENSIONS["spread"][2][unit], text=str(text))
    if re.fullmatch(r"oz/.*", unit):
        raise ValueError(f"{text!r} is a weight: write fl oz for a volume; products by weight are not reckoned with")
    raise ValueError(f'{text!r} is no rate: write one such as "1.1 % v/v", "2 fl oz/gal" or "1 qt/acre"')


@dataclass(frozen=True, kw_only=True)
class Money:
    """An amount in one currency, or an amount per hour."""

    amount: float
    currency: str
    per_hour: bool = False


def money(text: object, *, per_hour: bool = False) -> Money:
    """Money such as ``"12000 USD"``, or with ``per_hour`` such as ``"28 USD/h"``.

    Examples
    --------
    >>> money("28 USD/h", per_hour=True).amount
    28.0
    """
    example = '"28 USD/h"' if per_hour else '"12000 USD"'
    match = re.fullmatch(rf"\s*({_NUMBER})\s*([A-Za-z]{{3}})(\s*/\s*h(?:our)?)?\s*", str(text))
    if match is None or bool(match[3]) is not per_hour:
        raise ValueError(f"{text!r} is no amount of money here: write one such as {example}")
    if float(match[1]) < 0:
        raise ValueError(f"{text!r} is below zero")
    return Money(amount=float(match[1]), currency=match[2].upper(), per_hour=per_hour)


def price(text: object, dimension: str) -> Money:
    """Money for one of a dimension's stored units, from such as ``"80 USD/gal"`` (volume) or ``"85 USD/day"`` (days).

    Examples
    --------
    >>> price("85 USD/day", "days").amount, round(price("80 USD/gal", "volume").amount, 4)
    (85.0, 21.1338)
    """
    _, _, factors = DIMENSIONS[dimension]
    match = re.fullmatch(rf"\s*({_NUMBER})\s*([A-Za-z]{{3}})\s*/\s*(\S.*?)\s*", str(text))
    unit = " ".join(match[3].lower().split()) if match else ""
    if match is None or unit not in factors:
        example = '"85 USD/day"' if dimension == "days" else '"80 USD/gal" or "20 EUR/l"'
        raise ValueError(f"{text!r} is no price here: write one such as {example}")
    if float(match[1]) < 0:
        raise ValueError(f"{text!r} is below zero")
    return Money(amount=float(match[1]) / factors[unit], currency=match[2].upper())


def _split(text: object, dimension: str) -> tuple[float, str]:
    example = DIMENSIONS[dimension][1] if dimension in DIMENSIONS else '"1.1 % v/v"'
    match = _QUANTITY.fullmatch(text) if isinstance(text, str) else None
    if isinstance(text, bool) or (match is None and not isinstance(text, int | float)):
        raise ValueError(f"{text!r} is no {dimension}: write one such as {example}")
    if match is None or not match[2]:
        raise ValueError(f"{text!r} has no unit: write a {dimension} such as {example}")
    return float(match[1]), re.sub(r"\s*/\s*", "/", " ".join(match[2].lower().split()))


def _factor(unit: str, text: object, dimension: str) -> float:
    _, example, factors = DIMENSIONS[dimension]
    if not unit:
        raise ValueError(f"{text!r} has no unit: write a {dimension} such as {example}")
    name = " ".join(unit.lower().replace("²", "2").split())
    if name not in factors:
        raise ValueError(f"{text!r}: {unit!r} is no unit of {dimension}: write one such as {example}")
    return factors[name]


@dataclass(frozen=True, kw_only=True)
class ShownUnits:
    """The units a tract is shown in: acres and feet, or hectares and metres."""

    area: str
    m2: float
    length: str
    m: float
    longer_hose: float  # a usual length to join on, in the shown unit
    area_said: str  # the unit of area in words, so exact that it cannot be taken for another

    @property
    def longer_hose_m(self) -> float:
        """The length of hose that is usually joined on, in metres."""
        return self.longer_hose * self.m

    def area_of(self, square_metres: float) -> float:
        """Square metres in the shown unit of area."""
        return square_metres / self.m2

    def length_of(self, metres: float) -> float:
        """Metres in the shown unit of length."""
        return metres / self.m


US: Final = ShownUnits(
    area="ac", m2=M2_PER_ACRE, length="ft", m=M_PER_FT, longer_hose=100,
    area_said="acres (international, 4,046.8564 square metres each)",
)  # fmt: skip
US_SURVEY: Final = ShownUnits(
    area="ac", m2=43_560 * M_PER_SURVEY_FT**2, length="ft", m=M_PER_FT, longer_hose=100,
    area_said="acres (US survey, 4,046.8726 square metres each)",
)  # fmt: skip
METRIC: Final = ShownUnits(area="ha", m2=M2_PER_HA, length="m", m=1.0, longer_hose=30, area_said="hectares")
SHOWN: Final = {"us": US, "metric": METRIC}
