"""The words and numbers shown to people: what each code means, and figures with sensible decimals."""

from __future__ import annotations

import datetime as dt
from typing import Any, Final

import numpy as np
import pandas as pd

from invasimap.core.units import ShownUnits
from invasimap.land.words import OUTSIDE

OUTCOMES: Final = ("tractor", "atv_hose", "foot", "hand_only", "out_of_reach", "outside", "no_spray")
WEEKDAYS: Final = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
TREATABLE: Final = ("tractor", "atv_hose", "foot")

ACCESS_WORDS: Final = {
    "tractor": "tractor",
    "atv_hose": "hose from an ATV",
    "foot": "on foot",
    "out_of_reach": "out of reach",
}
ZONE_WORDS: Final = {"open": "open", "hand_only": "hand only", "no_spray": "no spray"}
OUTCOME_WORDS: Final = {
    "tractor": "tractor",
    "atv_hose": "hose from an ATV",
    "foot": "on foot",
    "hand_only": "hand work only",
    "out_of_reach": "out of reach",
    "outside": "outside every stand",
    "no_spray": "no spray",
}
OUTCOME_NOTES: Final = {
    "tractor": "no protected zone; within the tractor's limits",
    "atv_hose": "no protected zone; hose reaches it from where the ATV can stand",
    "foot": "no protected zone; a person can carry a sprayer there",
    "hand_only": "reachable, but no spray from a nozzle held off the plant: cut-stump, wick, pull",
    "out_of_reach": "outside the limits typed for every means at hand, or elevation not known",
    "outside": "surveyed, but in no stand of the tract: what holds there is not known",
    "no_spray": "inside a no-spray distance",
}
WAY_WORDS: Final = {
    "tractor": "way for tractor, ATV, foot",
    "atv": "way for ATV, foot",
    "foot": "way on foot only",
    "none": "way, nothing allowed on it",
}
LIMIT_WORDS: Final = {  # what keeps ground from being reached better
    "": "nothing: no better means",
    "slope": "too steep to drive up or down",
    "side_slope": "too steep to drive across",
    "wet": "wet ground",
    "barrier": "a barrier or water in the way",
    "clearance": "no room among trees",
    "not_connected": "no way in",
    "hose_length": "farther than the hose",
    "lift": "within the hose, but too high for its pump",
    "walk": "longer than the walk",
    "unknown": "elevation not known",
}
TECHNIQUE_WORDS: Final = {
    "foliar_spot": "spot spray leaves",
    "foliar_broadcast": "spray leaves all over",
    "cut_then_foliar": "cut, then spray the resprouts",
    "cut_stump": "cut and treat the stump",
    "basal_bark": "treat the bark at the base",
    "pull": "pull",
    "mow": "mow",
    "none": "nothing",
}
UNIT_WORDS: Final = {"ac": "acres", "ha": "hectares", "ft": "feet", "m": "metres"}


def limit_words(limit: str, access: str) -> str:
    """What keeps ground of a class from a better one, in words.

    Examples
    --------
    >>> limit_words("slope", "foot"), limit_words("slope", "out_of_reach")
    ('too steep to drive up or down', 'too steep')
    """
    if limit == "slope" and access == "out_of_reach":
        return "too steep"  # for a person, whichever way
    return LIMIT_WORDS.get(limit, limit)


def outcome(ground: pd.DataFrame) -> pd.Series:
    """What can be done on each piece of ground (``stand, zone, access``): one of ``OUTCOMES``.

    No-spray ground comes first, then what lies in no stand, then what nothing reaches, then hand-only; the rest is
    named by its access class.

    Examples
    --------
    >>> ground = pd.DataFrame({"stand": ["1", "1"], "zone": ["open", "hand_only"], "access": ["foot", "out_of_reach"]})
    >>> outcome(ground).tolist()
    ['foot', 'out_of_reach']
    """
    zone, access = ground["zone"], ground["access"]
    picked = np.select(
        [zone == "no_spray", ground["stand"] == OUTSIDE, access == "out_of_reach", zone == "hand_only"],
        ["no_spray", "outside", "out_of_reach", "hand_only"],
        default=access.astype(str),
    )
    return pd.Series(picked, index=ground.index, dtype=object, name="outcome")


def shown_number(value: float, *, decimals: int = 2) -> str:
    """A figure for reading: fixed decimals, thousands apart, and ``<0.01`` for what is above nothing but rounds to it.

    Examples
    --------
    >>> shown_number(1234.567), shown_number(0.0004), shown_number(0.0), shown_number(float("nan"))
    ('1,234.57', '<0.01', '0', 'not known')
    """
    if value is None or np.isnan(value):
        return "not known"
    if value == 0:
        return "0"
    least = 10.0**-decimals
    if 0 < value < least / 2:
        return f"<{least:.{decimals}f}"
    return f"{value:,.{decimals}f}"


def shown_share(part: float, whole: float) -> str:
    """A part in whole percent; ``<1 %`` for what is above nothing but rounds to it, empty text without a whole.

    Examples
    --------
    >>> shown_share(1, 3), shown_share(1, 1000), shown_share(0, 3)
    ('33 %', '<1 %', '0 %')
    """
    if not whole > 0:
        return ""
    percent = 100 * part / whole
    return "<1 %" if 0 < percent < 0.5 else f"{percent:.0f} %"


def shown_area(square_metres: float, shown: ShownUnits, *, unit: bool = True) -> str:
    """An area in the shown unit.

    Examples
    --------
    >>> from invasimap.core.units import US
    >>> shown_area(4046.8564224, US)
    '1.00 ac'
    """
    figure = shown_number(shown.area_of(square_metres))
    return f"{figure} {shown.area}" if unit else figure


def shown_length(metres: float, shown: ShownUnits) -> str:
    """A length in the shown unit, to a tenth where that says more.

    Examples
    --------
    >>> from invasimap.core.units import US
    >>> shown_length(7.62, US), shown_length(1.0, US)
    ('25 ft', '3.3 ft')
    """
    value = shown.length_of(metres)
    figure = f"{value:,.0f}" if abs(value - round(value)) < 0.05 or value >= 100 else f"{value:,.1f}"
    return f"{figure} {shown.length}"


def whole_length(metres: float, shown: ShownUnits, *, unit: bool = True) -> str:
    """A length that something takes: whole feet or metres, rounded up (a millionth over is the whole one).

    Examples
    --------
    >>> from invasimap.core.units import US
    >>> whole_length(91.44, US), whole_length(91.5, US), whole_length(0.0, US)
    ('300 ft', '301 ft', '0 ft')
    """
    figure = f"{max(np.ceil(shown.length_of(metres) - 1e-6), 0) + 0.0:,.0f}"
    return f"{figure} {shown.length}" if unit else figure


def rounded(numbers: Any, *, decimals: int, up: bool) -> Any:
    """Numbers to so many decimals, all to one side, but for what arithmetic itself adds.

    Examples
    --------
    >>> rounded(np.array([2.341, 2.34]), decimals=2, up=True).tolist(), float(rounded(2.349, decimals=2, up=False))
    ([2.35, 2.34], 2.34)
    """
    by = 10**decimals
    return (np.ceil(numbers * by - 1e-6) if up else np.floor(numbers * by + 1e-6)) / by + 0.0  # so that no 0 is -0


def shown_money(amount: float, currency: str) -> str:
    """Money in whole units; ``not known`` where it is not.

    Examples
    --------
    >>> shown_money(8835.4, "USD"), shown_money(0.2, "USD"), shown_money(float("nan"), "USD")
    ('8,835 USD', '<1 USD', 'not known')
    """
    figure = shown_number(amount, decimals=0)
    return figure if figure == "not known" else f"{figure} {currency}".rstrip()


def shown_hours(hours: float) -> str:
    """Hours to a tenth, rounded up: on every page, sheet and chart alike.

    Examples
    --------
    >>> shown_hours(12.345), shown_hours(12.3), shown_hours(0.01), shown_hours(0.0), shown_hours(float("nan"))
    ('12.4', '12.3', '0.1', '0.0', 'not known')
    """
    return "not known" if np.isnan(hours) else f"{rounded(hours, decimals=1, up=True):,.1f}"


def technique_words(technique: str, *, visit: int = 1, visits: int = 1) -> str:
    """A technique in words, with which of its visits it is where it takes several.

    Examples
    --------
    >>> technique_words("pull"), technique_words("cut_then_foliar", visit=2, visits=2)
    ('pull', 'cut, then spray the resprouts (visit 2)')
    """
    words = TECHNIQUE_WORDS[technique]
    return f"{words} (visit {visit})" if visits > 1 else words


def headed(text: str) -> str:
    """A text with a capital first and the rest as it is.

    Examples
    --------
    >>> headed("hose from an ATV")
    'Hose from an ATV'
    """
    return text[:1].upper() + text[1:]


def rows_of(frame: pd.DataFrame) -> list[Any]:
    """A frame's rows, each with its columns as attributes (and ``Index``)."""
    return list(frame.itertuples())


def shown_date(value: object) -> str:
    """A date as ``2025-06-14``, or ``not known``."""
    if value is None or value is pd.NaT or pd.isna(value):  # type: ignore[call-overload]
        return "not known"
    return str(value)[:10] or "not known"


def day_words(day: object) -> str:
    """A day of work with its name.

    Examples
    --------
    >>> day_words("2026-08-03")
    'Monday 2026-08-03'
    """
    said = shown_date(day)
    return f"{WEEKDAYS[dt.date.fromisoformat(said).weekday()]} {said}"


def part_words(work: Any) -> str:
    """Which part of a work is done on a day, led by a comma; empty text where it is done in one.

    Examples
    --------
    >>> part_words(pd.Series({"part": 1, "parts": 2})), part_words(pd.Series({"part": 1, "parts": 1}))
    (', part 1 of 2', '')
    """
    return f", part {work.part} of {work.parts}" if work.parts > 1 else ""


def ordinal(number: int) -> str:
    """A place in an order.

    Examples
    --------
    >>> [ordinal(number) for number in (1, 2, 3, 4, 11, 12, 21, 103)]
    ['1st', '2nd', '3rd', '4th', '11th', '12th', '21st', '103rd']
    """
    ending = {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{'th' if number % 100 in (11, 12, 13) else ending}"
