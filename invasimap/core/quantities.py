"""Quantities of the settings file as types: text with a unit in, a number in SI out; and the base of every section."""

from __future__ import annotations

import datetime as dt
import math
from functools import partial
from typing import Annotated, Final

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

from invasimap.core import units


def _at_least_zero(value: object, dimension: str) -> float:
    number = units.quantity(value, dimension)
    if number < 0:
        raise ValueError(f"{value!r} is below zero")
    return number


def _above_zero(value: object, dimension: str) -> float:
    number = units.quantity(value, dimension)
    if number <= 0:
        raise ValueError(f"{value!r} must be above zero")
    return number


def _percent(value: tuple[float, float]) -> tuple[float, float]:
    if not 0 <= value[0] <= value[1] <= 100:
        raise ValueError("cover lies from 0 to 100 %")
    return value


def _from_zero(dimension: str) -> BeforeValidator:
    return BeforeValidator(partial(_at_least_zero, dimension=dimension))


def _positive(dimension: str) -> BeforeValidator:
    return BeforeValidator(partial(_above_zero, dimension=dimension))


Length = Annotated[float, _from_zero("length")]
PositiveLength = Annotated[float, _positive("length")]
PositiveArea = Annotated[float, _positive("area")]
CoverRange = Annotated[
    tuple[float, float],
    BeforeValidator(partial(units.quantity_range, dimension="percent")),
    AfterValidator(_percent),
]
Minutes = Annotated[float, _from_zero("duration")]
Days = Annotated[float, _from_zero("days")]
Volume = Annotated[float, _positive("volume")]
Flow = Annotated[float, _positive("flow")]
Pressure = Annotated[float, _positive("pressure")]
DataSize = Annotated[float, _positive("data")]
Strength = Annotated[float, _positive("strength")]
Dose = Annotated[float, _positive("dose")]
Pace = Annotated[float, _positive("pace")]
Spread = Annotated[float, _positive("spread")]
Speed = Annotated[float, _positive("speed")]
Slope = Annotated[float, BeforeValidator(units.slope_pct)]
Share = Annotated[float, _from_zero("percent"), Field(le=100)]
Percent = Annotated[float, _from_zero("percent")]  # may be over 100
Factor = Annotated[float, Field(gt=0, le=1)]
SpeedRange = Annotated[tuple[float, float], BeforeValidator(partial(units.quantity_range, dimension="speed"))]
TemperatureRange = Annotated[tuple[float, float], BeforeValidator(units.temperature_range_c)]
Rate = Annotated[units.Rate, BeforeValidator(units.rate)]
Money = Annotated[units.Money, BeforeValidator(units.money)]
HourlyMoney = Annotated[units.Money, BeforeValidator(partial(units.money, per_hour=True))]
Price = Annotated[units.Money, BeforeValidator(partial(units.price, dimension="volume"))]
DailyMoney = Annotated[units.Money, BeforeValidator(partial(units.price, dimension="days"))]

NO_LIMIT: Final = "none on the label"


def _dose_limit(value: object) -> float:
    """A dose, or no limit where the user says that the label states none; silence stays "not typed"."""
    if isinstance(value, str) and " ".join(value.casefold().split()) == NO_LIMIT:
        return math.inf
    try:
        return _above_zero(value, "dose")
    except ValueError as error:
        raise ValueError(f'{error}; where the label states no limit, write "{NO_LIMIT}"') from None


DoseLimit = Annotated[float, BeforeValidator(_dose_limit)]


def _date(value: object) -> dt.date:
    if isinstance(value, dt.date) and not isinstance(value, dt.datetime):
        return value
    try:
        return dt.date.fromisoformat(str(value))
    except ValueError:
        raise ValueError(f'{value!r} is no date: write year, month and day such as "2026-09-01"') from None


Date = Annotated[dt.date, BeforeValidator(_date)]


def _month_day(value: object) -> tuple[int, int]:
    try:
        day = dt.datetime.strptime(f"2000-{value}", "%Y-%m-%d")
    except ValueError:
        raise ValueError(f'{value!r} is no day of the year: write month and day such as "10-20"') from None
    return day.month, day.day


MonthDay = Annotated[tuple[int, int], BeforeValidator(_month_day)]


def _year_start(value: object) -> object:
    return value if value in ("calendar", "365 days") else _month_day(value)


YearStart = Annotated[str | tuple[int, int], BeforeValidator(_year_start)]  # the calendar's, any 365 days, or a day


class Section(BaseModel):
    """Base of every section: frozen, and an unknown key is an error."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True, populate_by_name=False)
