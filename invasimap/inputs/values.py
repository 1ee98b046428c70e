"""Cells into sizes and counts: lengths, areas and stems, each with what is wrong or was taken."""

from __future__ import annotations

import math
import re
from typing import Final, Literal, NamedTuple

from invasimap.inputs.written import Dimension, read_written, tidy

_EXAMPLE: Final = 'write it in the header, such as "{role} (ft)", or in the cell, such as "{number} ft"'
_BY: Final = re.compile(r"\s*(?:\bby\b|(?<=\d)by(?=\d)|[x*])\s*")
_SIZE_WORDS: Final = re.compile(
    r"(?P<before>radius|rad|r|diameter|diam|dia|d|ø)\s*[:=]?\s*(?P<first>[\d.<>~].*)"
    r"|(?P<last>[\d.<>~].*?)\s*\b(?P<after>radius|rad|diameter|diam|dia|across)"
)


# m that none exceeds (no tree of eastern North America is taller), whose size it is, how one that is not known counts
_MOST: Final = {
    "height": (60.0, "a plant's", "tall"),
    "stem_diameter": (3.0, "a stem's", "thick"),
}
_OPEN: Final = 1e6  # makes an open end unlike every size, and alike only to the same open end
_UNREAD: Final = 1e12  # what words such as "head-high" state is not known, but is no size


class Size(NamedTuple):
    """A length in metres or an area in square metres (NaN where blank or unusable), what is wrong, what was taken."""

    value: float
    problem: str = ""
    how: str = ""


class Upper(NamedTuple):
    """The upper end of a size in metres (NaN where blank, open or unusable), and what was taken.

    ``stated`` tells records apart: as ``value``, but an open end has a figure of its own.
    """

    value: float
    stated: float
    how: str = ""


class Count(NamedTuple):
    """Stems: the middle, low and high (infinite for "over 50", NaN where blank or not read), and what was taken."""

    value: float
    low: float
    high: float
    how: str = ""


class Sized(NamedTuple):
    """The role and text of a size that says what it is; ``other`` is the width of a pair, ``odd`` why it is none."""

    role: str = ""
    text: str = ""
    other: str = ""
    odd: str = ""


def parse_size(text: str, *, role: str, dimension: Dimension) -> Size:
    """A positive length (m) or area (m2) with its unit; blank gives NaN and no problem, a range its middle.

    "<3 ft" and ">3 ft" both count as 3 ft, and ``how`` says so.

    Examples
    --------
    >>> parse_size("10 ft", role="radius", dimension="length")
    Size(value=3.048, problem='', how='')
    >>> parse_size("> 2 m", role="height", dimension="length")
    Size(value=2.0, problem='', how='height > 2 m counted as 2 m')
    >>> parse_size("10", role="radius", dimension="length").problem[:22]
    'radius 10 has no unit:'
    """
    if not text:
        return Size(math.nan)
    found = read_written(text, dimension)
    if found is None:
        return Size(math.nan, f"{role} {text!r} is not read")
    if not found.unit:
        example = _EXAMPLE.format(role=role, number=tidy(text)) if dimension == "length" else 'such as "0.5 acre"'
        return Size(math.nan, f"{role} {text} has no unit: {example}")
    value = (found.low + found.high) / 2
    if not 0 < value < math.inf or found.low < 0:
        return Size(math.nan, f"{role} {text} is not above zero")
    return Size(value, how=f"{role} {text} counted as {_without_sign(text)}" if found.sign else "")


def parse_upper(text: str, *, role: Literal["height", "stem_diameter"]) -> Upper:
    """How tall a plant or thick its thickest stem may be: the upper end of a range; "over 6 ft" does not say.

    What is wrong with the cell costs the value, not the record.

    Examples
    --------
    >>> parse_upper("4-10 ft", role="height").value == 10 * 0.3048
    True
    >>> parse_upper("> 6 ft", role="height").how
    "height '> 6 ft' has no upper end: counted as not known, tall"
    """
    size, found = parse_size(text, role=role, dimension="length"), read_written(text, "length")
    if found is None or math.isnan(size.value):
        return Upper(
            math.nan,
            math.nan if found or not text else _UNREAD,
            f"{size.problem.partition(':')[0]}: not used" if size.problem else "",
        )
    most_m, whose, counts = _MOST[role]
    if found.high > most_m:
        return Upper(math.nan, math.nan, f"{role} {text} is more than {whose}: not used")
    if found.sign == ">":
        how = f"{role} {text!r} has no upper end: counted as not known, {counts}"
        return Upper(math.nan, found.high * _OPEN, how)
    return Upper(found.high, found.high, size.how)


def split_by(text: str) -> tuple[str, str] | None:
    """Length and width of "20 x 20 m", each with the unit; None when the text is no such pair.

    Examples
    --------
    >>> split_by("40 x 24 ft"), split_by("10' by 30'")
    (('40 ft', '24 ft'), ("30'", "10'"))
    """
    parts = _BY.split(tidy(text))
    read = [read_written(part, "length") for part in parts]
    if len(parts) != 2 or read[0] is None or read[1] is None:
        return None
    unit = read[1].unit or read[0].unit
    one, two = (part if found.unit or not unit else f"{part} {unit}" for part, found in zip(parts, read) if found)  # noqa: B905
    big = [parse_size(part, role="size", dimension="length").value for part in (one, two)]
    return (two, one) if big[1] > big[0] else (one, two)


def read_sized(text: str) -> Sized:
    """What a size says it is: "20 x 20 m" (length and width), "10 ft radius", "diam. 30 ft" or "0.1 acre".

    Examples
    --------
    >>> read_sized("10 ft radius")
    Sized(role='radius', text='10 ft', other='', odd='')
    >>> read_sized("0.1 acre").role, read_sized("10 ft").odd
    ('area', "size '10 ft' does not say whether it is a radius, a diameter or an area")
    """
    if not text:
        return Sized()
    if pair := split_by(text):
        return Sized("length", *pair)
    if match := _SIZE_WORDS.fullmatch(tidy(text)):
        word = match["before"] or match["after"]
        return Sized("radius" if word.startswith("r") else "diameter", match["first"] or match["last"])
    found = read_written(text, "area")
    if found is not None and found.unit:
        return Sized("area", text)
    return Sized(odd=f"size {text!r} does not say whether it is a radius, a diameter or an area")


def parse_count(text: str, *, role: str = "stems") -> Count:
    """A whole number of stems, a range or an open range; blank gives NaN, and so does what is not read, which is said.

    Examples
    --------
    >>> parse_count("10-20"), parse_count(">50").low, parse_count("many").how
    (Count(value=15.0, low=10.0, high=20.0, how=''), 50.0, "stems 'many' not read: not used")
    """
    if not text:
        return Count(math.nan, math.nan, math.nan)
    found = read_written(text, "count")
    if found is None or found.low < 0 or found.low % 1 or found.high % 1 or found.high == math.inf:
        return Count(math.nan, math.nan, math.nan, f"{role} {text!r} not read: not used")
    how = f"{role} {text} counted as {_without_sign(text)}" if found.sign else ""
    low = 0.0 if found.sign == "<" else found.low
    high = math.inf if found.sign == ">" else found.high
    return Count((found.low + found.high) / 2, low, high, how)


def _without_sign(text: str) -> str:
    return re.sub(r"^\D*?(?=\.?\d)|\+", "", text.strip()).strip()
