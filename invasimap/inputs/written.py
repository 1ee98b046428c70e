"""Lengths, areas and counts as crews write them: 6'4", 1/2 ac, 3-6 ft, <10 m."""

from __future__ import annotations

import re
from typing import Final, Literal, NamedTuple

from invasimap.core import units

Dimension = Literal["length", "area", "count"]

# every way a unit is written -> the unit as core.units names it
_LENGTHS: Final = {
    "'": "ft", "ft": "ft", "feet": "ft", "foot": "ft", '"': "in", "in": "in", "inch": "in", "inches": "in", "yd": "yd",
    "yds": "yd", "yard": "yd", "yards": "yd", "m": "m", "meter": "m", "meters": "m", "metre": "m", "metres": "m",
    "mtr": "m", "mtrs": "m", "cm": "cm", "centimeter": "cm", "centimeters": "cm", "centimetre": "cm",
    "centimetres": "cm", "mm": "mm", "km": "km", "kilometer": "km", "kilometers": "km", "kilometre": "km",
    "kilometres": "km", "mi": "mi", "mile": "mi", "miles": "mi",
}  # fmt: skip
_SQUARED: Final = {unit: f"{short}2" for unit, short in _LENGTHS.items() if short in ("m", "ft", "yd") and unit != "'"}
_AREAS: Final = {
    "acre": "acre", "acres": "acre", "ac": "acre", "ha": "ha", "hectare": "ha", "hectares": "ha", "sf": "ft2",
    **{f"{unit}2": square for unit, square in _SQUARED.items()},
    **{f"{word}{unit}": square for word in ("sq", "sq ", "square ") for unit, square in _SQUARED.items()},
}  # fmt: skip
_SPELLINGS: Final[dict[str, dict[str, str]]] = {"length": _LENGTHS, "area": _AREAS, "count": {}}
_NUMBER: Final = r"(?:(?:\d+\s+)?\d+\s*/\s*\d+|\d+(?:\.\d*)?|\.\d+)"
_FEET_INCHES: Final = re.compile(
    rf"(\d+)\s*(?:'\s*-?|(?:ft|feet|foot)\b\s*-?)\s*({_NUMBER})\s*(?:\"|in\b|inch\b|inches\b)|(\d+)\s*'\s*(\d+)"
)
_QUANTITY: Final = re.compile(rf"([-+]?{_NUMBER})\s*(\D*)")
_SIGN: Final = re.compile(
    r"(?:(?P<below><=?|≤|less than|under|below|up to|at most)|(?P<above>>=?|≥|more than|over|above|at least)"
    r"|~|≈|about|approx|ca|circa)\s*(?=[\d.])"
)
_DASH: Final = re.compile(r"(?<=[^\s-])\s*-\s*|\s+(?:to|thru|through)\s+|(?<=\d)to(?=\d)")
_SIGNS: Final = {"½": " 1/2", "¼": " 1/4", "¾": " 3/4", "⅓": " 1/3", "⅔": " 2/3", "⅛": " 1/8", "²": "2", "^2": "2",
                 "''": '"'}  # fmt: skip
_ALIKE: Final = str.maketrans(
    {**dict.fromkeys("′’‘ʹ´`", "'"), **dict.fromkeys("″”“ʺ", '"'), **dict.fromkeys("–—‒−‐", "-"), "×": "x"}  # noqa: RUF001
)


class Written(NamedTuple):
    """Low and high as read (m, m2 or a plain number), the unit written ("" for none), and the sign: <, >, ~ or ""."""

    low: float
    high: float
    unit: str
    sign: str = ""


def tidy(text: str) -> str:
    """A text in lower case with one way to write primes, dashes, squares and decimal marks, and no thousands signs.

    Examples
    --------
    >>> tidy("1,200 sq. ft."), tidy("0,5 ha"), tidy("6-7 FT.")
    ('1200 sq ft', '0.5 ha', '6-7 ft')
    """
    plain = text.strip().lower().translate(_ALIKE)
    for sign, said in _SIGNS.items():
        plain = plain.replace(sign, said)
    plain = re.sub(r"(?<!\d)(?!0)(\d{1,3}(?:,\d{3})+)(?![\d,])", lambda match: match[1].replace(",", ""), plain)
    plain = re.sub(r"(?<![\d,.])(\d+),(\d+)(?![\d,.])", r"\1.\2", plain)
    return " ".join(re.sub(r"(?<=[a-z])\.", "", plain).split())


def read_written(text: str, dimension: Dimension) -> Written | None:
    """A single value, a range or an open range; None when the text is none.

    Examples
    --------
    >>> read_written("6-7 ft", "length")
    Written(low=1.8288000000000002, high=2.1336, unit='ft', sign='')
    >>> read_written("1/2 km", "length"), read_written("ankle-high", "length")
    (Written(low=500.0, high=500.0, unit='km', sign=''), None)
    """
    plain = tidy(text)
    match = _SIGN.match(plain)
    sign = "" if match is None else "<" if match["below"] else ">" if match["above"] else "~"
    plain = plain[match.end() :] if match else plain
    body = re.sub(r"(?<=[\w'\"])\s*\+(?=\s*(?:[a-z'\"]|$))", "", plain)
    if body != plain:
        sign = sign or ">"
    found = _one(body, dimension) or _range(body, dimension)
    open_range = sign in ("<", ">")
    if found is None or (open_range and found.low != found.high):
        return None
    return found._replace(sign=sign)


def _range(plain: str, dimension: Dimension) -> Written | None:
    """Two values with a dash between them; the first takes the unit of the second."""
    for dash in _DASH.finditer(plain):
        high = _one(plain[dash.end() :], dimension)
        low = _one(plain[: dash.start()], dimension)
        if low is None or high is None:
            continue
        if high.unit and not low.unit:
            low = _one(f"{plain[: dash.start()]} {high.unit}", dimension)
        if low is not None and bool(low.unit) == bool(high.unit) and low.low <= high.low:
            return Written(low.low, high.low, high.unit)
    return None


def _one(plain: str, dimension: Dimension) -> Written | None:
    feet = _FEET_INCHES.fullmatch(plain) if dimension == "length" else None
    if feet:
        inches = _number(feet[2] or feet[4])
        metres = (float(feet[1] or feet[3]) + (inches or 0.0) / 12) * units.M_PER_FT
        return Written(metres, metres, "ft") if inches is not None and inches < 12 else None
    match = _QUANTITY.fullmatch(plain)
    number, unit = (_number(match[1]), match[2].strip()) if match else (None, "")
    if number is None:
        squared = re.fullmatch(rf"([-+]?{_NUMBER})\s*((?:sq|square)?\s*[a-z]+2)", plain)
        number, unit = (_number(squared[1]), squared[2].strip()) if squared else (None, "")
    if number is None or (unit and unit not in _SPELLINGS[dimension]):
        return None
    value = number * units.DIMENSIONS[dimension][2][_SPELLINGS[dimension][unit]] if unit else number
    return Written(value, value, unit)


def _number(text: str) -> float | None:
    """The value of "12", "1/2" or "1 1/2"; None for a fraction over zero."""
    if "/" not in text:
        return float(text)
    top, bottom = text.split("/")
    whole, _, part = top.strip().rpartition(" ")
    return float(whole or 0) + float(part) / float(bottom) if float(bottom) else None
