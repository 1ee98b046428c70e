"""Cells into numbers: cover, lengths, areas and dates, each with what is wrong or was changed."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any, Final, NamedTuple
from zoneinfo import ZoneInfo

import pandas as pd

from invasimap.core import units
from invasimap.inputs.cells import map_unique

NUMBER: Final = r"[-+]?(?:\d+(?:\.\d*)?|\.\d+)"
_DASH: Final = r"\s*(?:-|–|—|to)\s*"  # noqa: RUF001 (crews type all dashes)
_COVER: Final = re.compile(rf"([<>≤≥]=?)?\s*({NUMBER})\s*(%?)(?:{_DASH}({NUMBER}))?\s*(%|percent|pct|fraction)?", re.I)
_BY: Final = re.compile(rf"({NUMBER})\s*(\D*?)\s*(?:x|×|\*|by)\s*({NUMBER})\s*(\S.*)?", re.I)  # noqa: RUF001
_THOUSANDS: Final = re.compile(r"(?<=\d),(?=\d{3}(?!\d))")
_EXAMPLE: Final = 'write it in the header, such as "{role} (ft)", or in the cell, such as "{number} ft"'


class Cover(NamedTuple):
    """Canopy cover of a record in percent: midpoint, low and high; ``reason`` sets the record aside."""

    mid_pct: float
    low_pct: float
    high_pct: float
    reason: str = ""


class Size(NamedTuple):
    """A length in metres or an area in square metres (NaN where blank or unusable) and what is wrong with it."""

    value: float
    problem: str = ""


_NO_COVER: Final = Cover(float("nan"), float("nan"), float("nan"))


def parse_cover(text: str) -> Cover:
    """Cover in percent from "35", "35 %", "25-50 %", "<5 %" or "0.35 fraction"; blank gives NaN and no reason.

    Examples
    --------
    >>> parse_cover("25-50 %")
    Cover(mid_pct=37.5, low_pct=25.0, high_pct=50.0, reason='')
    >>> parse_cover("120").reason
    'cover 120 is outside 0-100 %'
    """
    if not text:
        return _NO_COVER
    match = _COVER.fullmatch(text.strip())
    if match is None:
        return _NO_COVER._replace(reason=f'cover {text!r} is not read: write a percent such as "35" or "25-50 %"')
    factor = 100.0 if (match[5] or "").lower() == "fraction" else 1.0
    first = float(match[2]) * factor
    low, high = (first, float(match[4]) * factor) if match[4] else _open_range(match[1] or "", first)
    if not 0 <= low <= 100 or not 0 <= high <= 100:
        return _NO_COVER._replace(reason=f"cover {text} is outside 0-100 %")
    if low > high:
        return _NO_COVER._replace(reason=f"cover {text} runs from high to low")
    if high == 0:
        return _NO_COVER._replace(reason="cover 0: recorded as not found")
    return Cover((low + high) / 2, low, high)


def _open_range(sign: str, value: float) -> tuple[float, float]:
    if sign.startswith(("<", "≤")):
        return (0.0, value) if value > 0 else (-1.0, value)
    return (value, 100.0) if sign else (value, value)


def parse_size(text: str, *, role: str, dimension: str) -> Size:
    """A positive length (m) or area (m2) with its unit; blank gives NaN and no problem.

    Examples
    --------
    >>> parse_size("10 ft", role="radius", dimension="length")
    Size(value=3.048, problem='')
    >>> parse_size("10", role="radius", dimension="length").problem[:22]
    'radius 10 has no unit:'
    """
    if not text:
        return Size(float("nan"))
    plain = _THOUSANDS.sub("", text)
    if re.fullmatch(NUMBER, plain):
        example = _EXAMPLE.format(role=role, number=plain) if dimension == "length" else 'such as "0.5 acre"'
        return Size(float("nan"), f"{role} {text} has no unit: {example}")
    try:
        low, high = units.quantity_range(plain, dimension)
    except ValueError:
        return Size(float("nan"), f"{role} {text!r} is not read")
    value = (low + high) / 2
    if not 0 < value < float("inf"):
        return Size(float("nan"), f"{role} {text} is not above zero")
    return Size(value)


def split_by(text: str) -> tuple[str, str] | None:
    """Length and width of "20 x 20 m", each with the unit; None when the text is no such pair.

    Examples
    --------
    >>> split_by("40 x 24 ft")
    ('40 ft', '24 ft')
    """
    match = _BY.fullmatch(text.strip())
    if match is None:
        return None
    unit = (match[4] or match[2] or "").strip()
    one, two = f"{match[1]} {match[2].strip() or unit}".strip(), f"{match[3]} {unit}".strip()
    big = (
        parse_size(one, role="size", dimension="length").value,
        parse_size(two, role="size", dimension="length").value,
    )
    return (two, one) if big[1] > big[0] else (one, two)


def size_column(cells: pd.Series[Any], *, role: str) -> pd.DataFrame:
    """Columns value (m or m2) and problem of a column of sizes."""
    dimension = "area" if role == "area" else "length"
    sizes = map_unique(cells, lambda text: parse_size(text, role=role, dimension=dimension))
    return pd.DataFrame(
        {
            "value": pd.Series([s.value for s in sizes], index=cells.index, dtype=float),
            "problem": pd.Series([s.problem for s in sizes], index=cells.index, dtype=object),
        }
    )


_LAST_OF_2000: Final = 68  # two-digit years to 68 are 20xx, later ones 19xx (POSIX, as strptime reads %y)
_DAY_FIRST: Final = re.compile(r"\s*(\d{1,2})[/.\-](\d{1,2})[/.\-](\d{4}|\d{2})(?:[ T,].*)?")
_FORMATS: Final = (
    "%Y/%m/%d",
    "%Y%m%d",
    "%d %b %Y",
    "%d %B %Y",
    "%b %d %Y",
    "%B %d %Y",
    "%d-%b-%Y",
    "%d-%b-%y",
)


def read_dates(cells: pd.Series[Any], *, timezone: ZoneInfo, utc: bool, today: dt.date) -> pd.DataFrame:
    """Columns date (ISO text or "") and how (what was not read or cannot be).

    A date after ``today`` is a slip of the pen or of a clock: it is left blank, or it would win as the newest.

    Times with an offset, and with ``utc`` also those without one (GPX), are brought to the tract's ``timezone``.
    One date of the column with a day over 12 in first place makes day/month of all that could be either.
    """
    texts = [str(text) for text in pd.unique(cells)]
    matches = [match for text in texts if (match := _DAY_FIRST.fullmatch(text))]
    day_first = any(int(match[1]) > 12 for match in matches)
    found = map_unique(
        cells, lambda text: _one_date(text, timezone=timezone, utc=utc, day_first=day_first, today=today)
    )
    return pd.DataFrame(found, columns=["date", "how"], index=cells.index, dtype=object)


def _one_date(text: str, *, timezone: ZoneInfo, utc: bool, day_first: bool, today: dt.date) -> tuple[str, str]:
    if not text:
        return "", ""
    if re.fullmatch(r"(?:19|20)\d\d(?:-(?:0[1-9]|1[0-2]))?", text):  # a year or a month alone, as ISO 8601 writes it
        future = text > today.isoformat()[: len(text)]
        return ("", f"date {text} is in the future: taken as undated") if future else (text, "")
    day = _iso_date(text, timezone=timezone, utc=utc) or _slash_date(text, day_first=day_first)
    day = day or _named_date(text)
    if day is None or day.year < 1900:
        return "", f"date {text!r} not read"
    if day > today:
        return "", f"date {day.isoformat()} is in the future: taken as undated"
    return day.isoformat(), ""


def _iso_date(text: str, *, timezone: ZoneInfo, utc: bool) -> dt.date | None:
    if not re.match(r"\d{4}-\d{1,2}-\d{1,2}(?:[T ]|$)", text):
        return None
    try:
        moment = dt.datetime.fromisoformat(text.strip())
    except ValueError:
        return None
    if len(text.strip()) <= 10:
        return moment.date()
    if moment.tzinfo is None and utc:
        moment = moment.replace(tzinfo=dt.UTC)
    return (moment.astimezone(timezone) if moment.tzinfo else moment).date()


def _slash_date(text: str, *, day_first: bool) -> dt.date | None:
    match = _DAY_FIRST.fullmatch(text)
    if match is None:
        return None
    first, second, year = int(match[1]), int(match[2]), int(match[3])
    if len(match[3]) == 2:
        year += 2000 if year <= _LAST_OF_2000 else 1900
    day, month = (first, second) if day_first else (second, first)
    try:
        return dt.date(year, month, day)
    except ValueError:
        return None


def _named_date(text: str) -> dt.date | None:
    plain = " ".join(text.replace(",", " ").split())
    for pattern in _FORMATS:
        try:
            return dt.datetime.strptime(plain, pattern).date()
        except ValueError:
            continue
    return None
