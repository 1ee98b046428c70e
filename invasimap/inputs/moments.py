"""One written date: the days it may mean, its time of day and offset, and what had to be understood for it."""

from __future__ import annotations

import datetime as dt
import re
from typing import Final, NamedTuple

MDY: Final = "month-day-year"
DMY: Final = "day-month-year"
YMD: Final = "year-month-day"


class Day(NamedTuple):
    """What the part of a text without its time says.

    ``readings`` are the days it may mean by the order of its numbers (order "" where there is only one way to read
    it); ``short`` is a year or month alone, as ISO 8601 writes it. Neither: it is not read, ``hint`` may say why.
    """

    readings: tuple[tuple[str, dt.date], ...] = ()
    short: str = ""
    hint: str = ""


class Clock(NamedTuple):
    """A time of day in seconds, and its offset from UTC in seconds (None where none is written)."""

    seconds: float
    offset: int | None = None


class Moment(NamedTuple):
    """A date as read, with its clock (None for a day alone) and what was understood by it ("" for the plain forms)."""

    day: Day
    clock: Clock | None = None
    how: str = ""


_MONTHS: Final = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november",
    "december",
)  # fmt: skip
_WEEKDAYS: Final = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_ZONES: Final = {"z": 0, "utc": 0, "gmt": 0, "ast": -4, "adt": -3, "est": -5, "edt": -4, "cst": -6, "cdt": -5,
                 "mst": -7, "mdt": -6, "pst": -8, "pdt": -7, "akst": -9, "akdt": -8, "hst": -10}  # fmt: skip
_CLOCK: Final = re.compile(
    r"(?<![\d:.])(?:(\d{1,2}):([0-5]\d)(?::([0-5]\d(?:[.,]\d+)?))?\s*([ap]\.?m\b\.?)?|(\d{1,2})\s*([ap]\.?m\b\.?))"
    r"(?:\s*(Z|UTC|GMT|AK[SD]T|HST|[ACEMP][SD]T)\b)?(?:\s*([+-])(\d\d):?(\d\d)?(?!\d))?(?:\s*\([\w ]*\))?",
    re.I,
)
_COMPACT: Final = re.compile(
    r"((?:19|20)\d\d)(\d\d)(\d\d)[T ]?(\d\d)(\d\d)(\d\d(?:\.\d+)?)?\s*(Z|[+-]\d\d(?::?\d\d)?)?", re.I
)
_CAMERA: Final = re.compile(r"(\d{4}):(\d\d):(\d\d)(?!\S)")
_NUMBERS: Final = re.compile(r"(\d{1,4})\s*([-/.])\s*(\d{1,2})\s*\2\s*(\d{4}|\d{1,2})")
_RUN: Final = re.compile(r"(\d\d)(\d\d)(\d{4})")
_YEAR_MONTH: Final = re.compile(r"((?:19|20)\d\d)(?:[-/](\d{1,2}))?|(\d{1,2})[-/]((?:19|20)\d\d)")
_NAMED: Final = re.compile(r"[\da-z\s,./\-'’]+", re.I)  # noqa: RUF001 (typed apostrophes)
_LAST_OF_2000: Final = 68  # two-digit years to 68 are 20xx, later ones 19xx (POSIX, as strptime reads %y)
_SERIAL_DAY_0: Final = dt.date(1899, 12, 30)  # day 0 of spreadsheets as days after February 1900 count from it
_EPOCH: Final = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
_SECONDS_FROM, _SECONDS_TO = 946_684_800, 4_102_444_800  # the years 2000 to 2099
_NOT_READ: Final = Day()


def read_moment(text: str) -> Moment:
    """Read one text.

    Examples
    --------
    >>> read_moment("3 Sept 2024, 4:15 pm").day.readings
    (('', datetime.date(2024, 9, 3)),)
    >>> read_moment("3 Sept 2024, 4:15 pm").clock
    Clock(seconds=58500.0, offset=None)
    """
    text = text.strip()
    if _is_number(text):
        return _of_number(text)
    if compact := _COMPACT.fullmatch(text):
        text = "{}-{}-{} {}:{}:{}{}".format(*(part or "" for part in compact.groups("00")[:6]), compact[7] or "")
    text = _CAMERA.sub(r"\1-\2-\3", text, count=1)
    clock, rest = None, text
    if match := _CLOCK.search(text):
        clock = _clock(match)
        if clock is None:
            return Moment(_NOT_READ)
        before, after = text[: match.start()], text[match.end() :]
        rest = re.sub(r"(?<=\d)T$", "", before.rstrip(" ,"), flags=re.I).rstrip(" ,") + f" {after}"
    return Moment(read_day(rest.strip(" ,")), clock)


def read_day(text: str) -> Day:
    """Read a date without a time.

    Examples
    --------
    >>> [order for order, _ in read_day("03/04/2024").readings]
    ['month-day-year', 'day-month-year']
    >>> read_day("Mar-06").hint
    'it may be a day or a year, and a spreadsheet may have changed it: write it in full, such as "2024-09-03"'
    """
    if match := _YEAR_MONTH.fullmatch(text):
        return _year_month(match)
    if match := _NUMBERS.fullmatch(text):
        return _by_order(match[1], match[3], match[4])
    if _NAMED.fullmatch(text):
        return _named(text)
    return _NOT_READ


def is_full_date(text: str) -> bool:
    """Whether a text can only be a date with its day: bare numbers are none.

    Examples
    --------
    >>> is_full_date("9/4/2024"), is_full_date("45538"), is_full_date("Sept 2024")
    (True, False, False)
    """
    return not _is_number(text.strip()) and bool(read_moment(text).day.readings)


def _is_number(text: str) -> bool:
    return text.replace(".", "", 1).isdecimal() and text.isascii()


def _of_number(text: str) -> Moment:
    """A year, a day number of a spreadsheet, digits run together, or seconds or milliseconds since 1970."""
    whole, point, _ = text.partition(".")
    if len(whole) == 5:
        value = float(text)
        day = _SERIAL_DAY_0 + dt.timedelta(days=int(value))
        clock = Clock(round((value % 1) * 86400)) if point else None
        return Moment(Day((("", day),)), clock, f"date {text} taken as a spreadsheet's day number")
    if len(whole) in (10, 13):
        return _since_1970(text, seconds=float(text) / (1 if len(whole) == 10 else 1000))
    if point:
        return Moment(_NOT_READ)
    if len(whole) == 8:
        return Moment(_of_eight(whole))
    if match := _COMPACT.fullmatch(whole):
        return read_moment("{}-{}-{} {}:{}:{}".format(*match.groups("00")[:6]))
    return Moment(_year_month(match)) if (match := _YEAR_MONTH.fullmatch(whole)) else Moment(_NOT_READ)


def _since_1970(text: str, *, seconds: float) -> Moment:
    if not _SECONDS_FROM <= seconds < _SECONDS_TO:
        return Moment(_NOT_READ)
    moment = _EPOCH + dt.timedelta(seconds=seconds)
    clock = Clock(moment.hour * 3600 + moment.minute * 60 + moment.second, 0)
    unit = "seconds" if len(text.partition(".")[0]) == 10 else "milliseconds"
    return Moment(Day((("", moment.date()),)), clock, f"date {text} taken as {unit} since 1970")


def _of_eight(digits: str) -> Day:
    """20240903, else 09032024 or 03092024."""
    first = _date(digits[:4], digits[4:6], digits[6:]) if digits[:2] in ("19", "20") else None
    if first:
        return Day((("", first),))
    match = _RUN.fullmatch(digits)
    return _by_order(match[1], match[2], match[3]) if match else _NOT_READ


def _by_order(first: str, second: str, third: str) -> Day:
    """The days that three numbers may mean; a year of two digits stands first only where no month or day can."""
    if len(first) >= 3:
        day = _date(first, second, third) if len(first) == 4 and len(third) <= 2 else None
        return Day((("", day),)) if day else _NOT_READ
    found = [(MDY, _date(third, first, second)), (DMY, _date(third, second, first))]
    if len(first) == 2 and len(third) <= 2:
        found.append((YMD, _date(first, second, third)))
    return Day(tuple((order, day) for order, day in found if day))


def _date(year: str, month: str, day: str) -> dt.date | None:
    number = int(year)
    if len(year) == 1 or len(year) == 3:
        return None
    if len(year) == 2:
        number += 2000 if number <= _LAST_OF_2000 else 1900
    try:
        return dt.date(number, int(month), int(day))
    except ValueError:
        return None


def _year_month(match: re.Match[str]) -> Day:
    year, month = match[1] or match[4], match[2] or match[3]
    if month is None:
        return Day(short=year)
    return Day(short=f"{year}-{int(month):02d}") if 1 <= int(month) <= 12 else _NOT_READ


def _named(text: str) -> Day:
    """A date with the month's name: "3 Sept 2024", "Tuesday, September 3rd, 2024", "03-SEP-24", "Sep 2024"."""
    plain = re.sub(r"(?<=\d)(?:st|nd|rd|th)\b", "", text.lower())
    plain = re.sub(r"\b(?:of|the)\b", " ", plain)
    parts = [part for part in re.findall(r"\d+|[a-z]+", plain) if not _index(part, _WEEKDAYS)]
    named = [number for part in parts if (number := _index(part, _MONTHS))]
    if len(named) != 1 or sum(part.isdigit() for part in parts) != len(parts) - 1:
        return _NOT_READ
    month, numbers = str(named[0]), [part for part in parts if part.isdigit()]
    if len(numbers) == 1:
        return _month_and(month, numbers[0])
    if len(numbers) != 2:
        return _NOT_READ
    first, second = numbers
    turned = len(first) == 4 and parts[0] == first
    day = _date(first, month, second) if turned else _date(second, month, first)
    return Day((("", day),)) if day else _NOT_READ


def _month_and(month: str, number: str) -> Day:
    if len(number) == 4:
        return Day(short=f"{number}-{int(month):02d}") if number[:2] in ("19", "20") else _NOT_READ
    return Day(
        hint='it may be a day or a year, and a spreadsheet may have changed it: write it in full, such as "2024-09-03"'
    )


def _index(word: str, names: tuple[str, ...]) -> int:
    """1 for the first name that the word is or begins with three letters or more; 0 for none."""
    if len(word) < 3:
        return 0
    return next((number for number, name in enumerate(names, 1) if name.startswith(word)), 0)


def _clock(match: re.Match[str]) -> Clock | None:
    half = (match[4] or match[6] or "").lower()
    hour, minute, second = int(match[1] or match[5]), int(match[2] or 0), (match[3] or "0").replace(",", ".")
    if half and hour <= 12:
        hour = hour % 12 + (12 if half[0] == "p" else 0)
    if hour > 23:
        return None
    offset = _ZONES[match[7].lower()] * 3600 if match[7] else None
    if match[8]:
        offset = (int(match[9]) * 3600 + int(match[10] or 0) * 60) * (-1 if match[8] == "-" else 1)
    return Clock(hour * 3600 + minute * 60 + float(second), offset)
