"""A column of dates: ISO texts out, with what was understood and what cannot be told."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from typing import Final, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from invasimap.core.survey_settings import DateOrder
from invasimap.inputs.moments import DMY, MDY, YMD, Day, Moment, read_moment

_FIRST_YEAR: Final = 1900
_OUT_OF_REACH: Final = "taken as undated"
_NAIVE_HOW: Final = "its time has no offset, unlike others of the column: taken as {zone}"
_MIDNIGHT_HOW: Final = "midnight UTC in all the column: taken as a day without a time"
_CLOCK: Final = re.compile(
    r"([^:]*\d)(?:[ ,]+|[ ,]*T)(\d{1,2}):([0-5]\d)(?::([0-5]\d(?:\.\d+)?))?(?: ?([AaPp])\.?[Mm]\.?)?"
)
_LETTER: Final = re.compile(r"\d[oO]|[oO]\d")


class Dates(NamedTuple):
    """Object arrays, one entry a text: the ISO date ("" for none), what was changed, why its record is set aside."""

    date: NDArray[np.object_]
    how: NDArray[np.object_]
    reason: NDArray[np.object_]


class _Stamps(NamedTuple):
    """Times in UTC where ``aware``, else as written; ``timed`` has a time of day. Entries are NaT where not read."""

    at: NDArray[np.datetime64]
    timed: NDArray[np.bool_]
    aware: NDArray[np.bool_]


def read_dates(
    texts: Sequence[str], *, timezone: ZoneInfo, utc: bool, today: dt.date, order: DateOrder | None = None
) -> Dates:
    """Read the distinct texts of one column; together they tell whether day or month stands first.

    Parameters
    ----------
    texts
        Distinct texts of the column; blank ones stay blank.
    timezone
        Of the tract: a time with an offset becomes its date there.
    utc
        Whether times without an offset are UTC (GPX); else they are local.
    today
        A later date is a slip of the pen or of a clock: it is left blank, or it would win as the newest.
    order
        How dates of numbers alone are written, where the user says so.

    Returns
    -------
    Dates
        A text that is not read, or is before 1900, costs the date; one that may mean two days costs the record.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> options = {"timezone": ZoneInfo("America/Chicago"), "utc": False, "today": dt.date(2025, 6, 1)}
    >>> read_dates(["9/4/2024", "9/25/2024", "2024-09-04T02:30:00Z"], **options).date.tolist()
    ['2024-09-04', '2024-09-25', '2024-09-03']
    >>> print(read_dates(["03/04/2024"], **options).reason[0])
    date '03/04/2024' may be March 4 or 3 April: set date_order = "month-day-year" or "day-month-year" in its \
[[survey]] block
    """
    stamps = _plain_iso(texts)
    rows = [i for i in np.flatnonzero(np.isnat(stamps.at)).tolist() if texts[i].strip()]
    out = Dates(*(np.full(len(texts), "", dtype=object) for _ in Dates._fields))
    split = [_without_clock(texts[i].strip()) for i in rows]
    codes, heads = pd.factorize(np.array([head for head, _ in split], dtype=object))
    told, marks = _read_heads([str(head) for head in heads], order=order, today=today)
    seconds = np.array([after for _, after in split], dtype=float)
    clocked = np.isfinite(seconds)
    for whole, part in zip(out, told, strict=True):
        whole[rows] = part[codes]
    stamps.at[rows] = marks.at[codes] + (np.where(clocked, seconds, 0.0) * 1e6).astype("m8[us]")
    stamps.timed[rows] = marks.timed[codes] | clocked
    stamps.aware[rows] = marks.aware[codes]
    _to_dates(stamps, out, timezone=timezone, utc=utc, today=today)
    return out


def _plain_iso(texts: Sequence[str]) -> _Stamps:
    """All texts that begin as 2024-09-03 and are ISO 8601 to their end, at once; NaT for the others."""
    count = len(texts)
    stamps = _Stamps(np.full(count, "NaT", dtype="M8[us]"), np.zeros(count, dtype=bool), np.zeros(count, dtype=bool))
    rows = [i for i, text in enumerate(texts) if len(text) >= 10 and text[4] == "-" == text[7]]
    if not rows:
        return stamps
    chosen = [texts[i] for i in rows]
    found = pd.to_datetime(pd.Series(chosen, dtype=object), format="ISO8601", utc=True, errors="coerce")
    stamps.at[rows] = found.dt.tz_localize(None).to_numpy().astype("M8[us]")
    stamps.timed[rows] = [len(text) > 10 for text in chosen]
    stamps.aware[rows] = [len(t) > 10 and (t[-1] in "Zz" or "+" in t or "-" in t[10:]) for t in chosen]
    return stamps


def _without_clock(text: str) -> tuple[str, float]:
    """A text without the time at its end, and that time in seconds (NaN without one): days repeat, times do not."""
    match = _CLOCK.fullmatch(text)
    if match is None:
        return text, float("nan")
    head, hour, minute, second, half = match.groups()
    hours = int(hour)
    if half and hours <= 12:
        hours = hours % 12 + (12 if half in "Pp" else 0)
    return (head, hours * 3600.0 + int(minute) * 60 + float(second or 0)) if hours < 24 else (text, float("nan"))


def _read_heads(texts: list[str], *, order: str | None, today: dt.date) -> tuple[Dates, _Stamps]:
    """Each distinct text read by itself, then settled by what all of them tell together."""
    count = len(texts)
    out = Dates(*(np.full(count, "", dtype=object) for _ in Dates._fields))
    stamps = _Stamps(np.full(count, "NaT", dtype="M8[us]"), np.zeros(count, dtype=bool), np.zeros(count, dtype=bool))
    moments = [read_moment(text) for text in texts]
    order = order or _order_of(moments, today=today)
    at_odds = len({_only_past_order(moment.day, today=today) for moment in moments} - {""}) > 1
    for i, (text, moment) in enumerate(zip(texts, moments, strict=True)):
        latest = dt.date.max if at_odds and moment.day.readings else today
        _take(i, text, moment, out=out, stamps=stamps, order=order, today=latest)
    return out, stamps


def _only_past_order(day: Day, *, today: dt.date) -> str:
    """The order of the one day of several that is not to come; two such orders in a column cannot both be right."""
    readings = _readings(day, today=today)
    past = [order for order, d in readings if d <= today]
    return past[0] if len(past) == 1 and len({d for _, d in readings}) > 1 else ""


def _order_of(moments: Sequence[Moment], *, today: dt.date) -> str | None:
    """The one order in which all dates of numbers alone are days; None when there are several or none."""
    left = {MDY, DMY, YMD}
    for moment in moments:
        readings = _readings(moment.day, today=today)
        if readings and readings[0][0]:
            left &= {order for order, _ in readings}
    return next(iter(left)) if len(left) == 1 else None


def _readings(day: Day, *, today: dt.date) -> tuple[tuple[str, dt.date], ...]:
    """What a day may mean when nothing says that its year stands first: a year of two digits must be over 12 for it."""
    return tuple((order, d) for order, d in day.readings if order != YMD or (d.year % 100 > 12 and d <= today))


def _take(i: int, text: str, moment: Moment, *, out: Dates, stamps: _Stamps, order: str | None, today: dt.date) -> None:
    """Settle one text: its stamp, or why there is none."""
    if moment.day.short:
        future = moment.day.short > today.isoformat()[: len(moment.day.short)]
        out.how[i] = f"date {moment.day.short} is in the future: {_OUT_OF_REACH}" if future else ""
        out.date[i] = "" if future else moment.day.short
        return
    if not moment.day.readings:
        out.how[i] = _not_read(text, moment.day.hint)
        return
    day, problem = _settle(text, moment.day, order=order, today=today)
    if day is None:
        side = out.reason if " may be " in problem else out.how
        side[i] = problem
        return
    out.how[i] = moment.how
    at = np.datetime64(day, "us")
    if moment.clock is not None:
        at = at + np.timedelta64(int((moment.clock.seconds - (moment.clock.offset or 0)) * 1e6), "us")
        stamps.timed[i], stamps.aware[i] = True, moment.clock.offset is not None
    stamps.at[i] = at


def _settle(text: str, day: Day, *, order: str | None, today: dt.date) -> tuple[dt.date | None, str]:
    """The day that is meant, or None and what is wrong."""
    by_order = dict(day.readings)
    if order in by_order or "" in by_order:
        return by_order.get("", by_order.get(order or "")), ""
    readings = _readings(day, today=today)
    if order in (MDY, DMY) and all(known != order for known, _ in readings):
        return None, f"date {text!r} is no {order} date: {_OUT_OF_REACH}"
    meant = {d for _, d in readings}
    past = {d for d in meant if d <= today}
    if len(past) > 1:
        return None, _may_be(text, readings)
    if len(meant) > 1 and not past:
        return None, f"date {text!r} is in the future: {_OUT_OF_REACH}"
    return (min(past or meant), "") if meant else (None, _not_read(text, ""))


def _may_be(text: str, readings: tuple[tuple[str, dt.date], ...]) -> str:
    said = {
        MDY: lambda d: f"{d:%B} {d.day}",
        DMY: lambda d: f"{d.day} {d:%B}",
        YMD: lambda d: f"{d.year} {d:%B} {d.day}",
    }
    days = " or ".join(said[order](day) for order, day in readings)
    orders = " or ".join(f'"{order}"' for order, _ in readings)
    return f"date {text!r} may be {days}: set date_order = {orders} in its [[survey]] block"


def _not_read(text: str, hint: str) -> str:
    if not hint and _LETTER.search(text):
        hint = "it has the letter O where a zero is meant"
    return f"date {text!r} not read" + (f": {hint}" if hint else "")


def _to_dates(stamps: _Stamps, out: Dates, *, timezone: ZoneInfo, utc: bool, today: dt.date) -> None:
    """Bring all times to the tract's clock and write the days that can be."""
    read = ~np.isnat(stamps.at)
    naive = read & stamps.timed & ~stamps.aware
    if (read & stamps.aware).any():
        _say(out.how, naive, _NAIVE_HOW.format(zone="UTC" if utc else "local"))
    moving = read & (stamps.aware | naive if utc else stamps.aware)
    days = stamps.at.astype("M8[D]")
    if moving.any() and (stamps.at[moving] == days[moving]).all():
        _say(out.how, moving, _MIDNIGHT_HOW)  # how programs write a day alone: moved, it would be the day before
    elif moving.any():
        moved = pd.Series(stamps.at[moving]).dt.tz_localize("UTC").dt.tz_convert(timezone).dt.tz_localize(None)
        days[moving] = moved.to_numpy().astype("M8[D]")
    early = read & (days < np.datetime64(f"{_FIRST_YEAR}-01-01", "D"))
    late = read & (days > np.datetime64(today, "D"))
    iso = np.datetime_as_string(days).astype(object)
    good = read & ~early & ~late
    out.date[good] = iso[good]
    for rows, what in ((early, f"is before {_FIRST_YEAR}"), (late, "is in the future")):
        for i in np.flatnonzero(rows).tolist():
            out.how[i] = "; ".join(filter(None, (out.how[i], f"date {iso[i]} {what}: {_OUT_OF_REACH}")))


def _say(how: NDArray[np.object_], rows: NDArray[np.bool_], what: str) -> None:
    how[rows] = [f"{text}; {what}" if text else what for text in how[rows]]
