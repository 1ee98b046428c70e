"""Which applications count together: those of one day's work, and those of one year as the label reckons it."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pandas as pd

WHOLE_YEAR_DAYS = 365


def applied_together(one: Any, other: Any) -> bool:
    """Whether two jobs may be one application: their days meet, or are not known."""
    first, second = _days(one), _days(other)
    return first is None or second is None or (first[0] <= second[1] and second[0] <= first[1])


def same_year(limit_year: str | tuple[int, int], one: Any, other: Any) -> bool:
    """Whether two jobs may fall in one year of a label; where days are not known they may.

    Parameters
    ----------
    limit_year
        "calendar", "365 days" (any that follow one another), or the month and day on which a year begins.
    one, other
        Jobs with ``first`` and perhaps ``last``.

    Examples
    --------
    >>> new_years_eve, new_year = {"first": dt.date(2025, 12, 31)}, {"first": dt.date(2026, 1, 1)}
    >>> same_year("calendar", new_years_eve, new_year), same_year("365 days", new_years_eve, new_year)
    (False, True)
    """
    first, second = _days(one), _days(other)
    if first is None or second is None:
        return True
    if limit_year == "365 days":
        apart = max(first[0] - second[1], second[0] - first[1])
        return apart.days < WHOLE_YEAR_DAYS
    start = (1, 1) if isinstance(limit_year, str) else limit_year
    years = [{_year(day, start) for day in range_of} for range_of in (first, second)]
    return min(years[0]) <= max(years[1]) and min(years[1]) <= max(years[0])


def _year(day: dt.date, start: tuple[int, int]) -> int:
    """The calendar year in which the label's year of a day begins."""
    return day.year if (day.month, day.day) >= start else day.year - 1


def _days(job: Any) -> tuple[dt.date, dt.date] | None:
    first = job.get("first")
    if first is None or pd.isna(first):
        return None
    last = job.get("last")
    begins = pd.Timestamp(first).date()
    return begins, begins if last is None or pd.isna(last) else pd.Timestamp(last).date()
