"""Between which dates a technique fits a plant here."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Final

from invasimap.core.season_settings import Technique
from invasimap.prescription.season import ON_LEAVES, WORDS, DayOfYear, OwnWindow, Season
from invasimap.prescription.traits import Leaves, Traits

_LATE: Final[frozenset[Leaves]] = frozenset({"late-leaf", "evergreen", "winter green"})
_LONGEST_GROWING_DAYS: Final = 330  # what is longer is a first day after the last one, seen a year too early
_YEAR_DAYS: Final = 365
_LEAF_DROP: Final = "native_leaf_drop"
_OWN: Final = "own"


@dataclass(frozen=True, kw_only=True)
class _Ends:
    """Signs that a window runs between: ``last`` are those of which one must be known, ``caps`` may end it sooner."""

    first: str
    last: tuple[str, ...]
    caps: tuple[str, ...] = ()


_DROPS: Final = _Ends(first="full_leaf", last=("leaf_colour", _LEAF_DROP), caps=("killing_freeze",))
_DIES_BACK: Final = _Ends(first="full_leaf", last=("leaf_colour", "killing_freeze"))


@dataclass(frozen=True, kw_only=True)
class Window:
    """First and last day, both in it; None and None where there is none. ``said`` tells where they come from.

    Examples
    --------
    >>> found = Window(first=dt.date(2025, 10, 28), last=dt.date(2025, 11, 20))
    >>> found.days, round(found.spray_days(0.45), 6)
    (24, 10.8)
    """

    first: dt.date | None = None
    last: dt.date | None = None
    estimated: bool = False
    said: str = ""

    @property
    def days(self) -> int:
        """Calendar days in it, both ends counted; never below zero."""
        return (self.last - self.first).days + 1 if self.first is not None and self.last is not None else 0

    def spray_days(self, share: float) -> float:
        """How many of them can be expected to be fit for spraying."""
        return self.days * share


def earliest_after(day: dt.date, wait_days: int) -> dt.date:
    """The first day after a wait.

    Examples
    --------
    >>> earliest_after(dt.date(2025, 6, 5), 8 * 7)
    datetime.date(2025, 7, 31)
    """
    return day + dt.timedelta(days=wait_days)


def window_of(species: str, technique: Technique, *, traits: Traits, season: Season) -> Window:
    """The next window of a plant for a technique that is done in one visit, from the season's start on.

    For ``cut_then_foliar`` it is that of the spraying, as if nothing had to be cut before (see ``cut_and_spray``).
    """
    if technique == "none":
        return Window(said="nothing is done")
    own = season.own_days(species, technique)
    if technique in ON_LEAVES:
        return _next(_leaf_windows(traits.leaves, own, season), season.start)
    if own.first and own.last:
        return _next([_typed(own.first, own.last, year) for year in _years(season)], season.start)
    if own.first or own.last:
        return Window(said=f"no window: of [[window]] for {technique} type both first and last")
    if technique == "mow":
        return Window(
            said='no window: type first and last, before seed ripens, in a [[window]] with technique = ["mow"]'
        )
    return _any_day(technique, season)


def cut_and_spray(
    species: str, *, traits: Traits, wait_days: tuple[int, int], season: Season
) -> tuple[Window, Window]:  # fmt: skip
    """The next windows for cutting and for spraying what sprouts again, no sooner and no later than the wait.

    Nothing is cut before leaves are full, where that day is known: there would be nothing to draw on the roots.
    """
    least, most = wait_days
    said = f"{least} to {most} days before its spraying" if most > least else f"{least} days before its spraying"
    problem = Window()
    for spray in _leaf_windows(traits.leaves, season.own_days(species, "cut_then_foliar"), season):
        if spray.first is None or spray.last is None:
            problem = problem if problem.said else spray
            continue
        first, last = spray.first - dt.timedelta(days=most), spray.last - dt.timedelta(days=least)
        if full := season.signs.get("full_leaf"):
            first = max(first, full.before(spray.last, rounding="later"))
        if first > last:
            said_none = f"no window: what is cut in full leaf would sprout too late to be sprayed ({spray.said})"
            problem = Window(said=said_none, estimated=spray.estimated)
            continue
        first = max(first, season.start)
        if first <= last:
            cut = Window(first=first, last=last, estimated=spray.estimated, said=said)
            sprayed = max(spray.first, earliest_after(first, least))
            return cut, Window(first=sprayed, last=spray.last, estimated=spray.estimated, said=spray.said)
    return problem, problem


def _years(season: Season) -> range:
    return range(season.start.year - 1, season.start.year + 3)


def _next(windows: list[Window], start: dt.date) -> Window:
    """The first window that is not over on a day, without the days that are gone; else why there is none."""
    for window in windows:
        if window.first is not None and window.last is not None and window.last >= start:
            first = max(window.first, start)
            return Window(first=first, last=window.last, estimated=window.estimated, said=window.said)
    ahead = [window for window in windows if window.first is None]
    return ahead[-1] if ahead else Window(said="no window")


def _typed(first: DayOfYear, last: DayOfYear, year: int) -> Window:
    """The user's own window that ends in a year; it may run over the turn of the year."""
    end = last.on(year, rounding="earlier")
    return Window(first=first.before(end, rounding="later"), last=end, said="your own window")


def _leaf_windows(leaves: Leaves, own: OwnWindow, season: Season) -> list[Window]:
    """When leaves can be sprayed, a window a year, or one that says why there is none."""
    if own.first and own.last:
        return [_typed(own.first, own.last, year) for year in _years(season)]
    if leaves in _LATE:
        return _each_year(season, own, _Ends(first=_LEAF_DROP, last=("killing_freeze",)))
    if leaves == "spring only":
        return [Window(said="no window: green in spring only, before others: type first and last in a [[window]]")]
    if leaves == "annual":
        if own.last is None:
            return [Window(said="no window: type the last day before its seed ripens in a [[window]]")]
        return _each_year(season, own, _Ends(first="full_leaf", last=()))
    found = _each_year(season, own, _DIES_BACK if leaves == "dies back" else _DROPS)
    return [_doubted(window, leaves, colour=bool(own.last) or "leaf_colour" in season.signs) for window in found]


def _doubted(window: Window, leaves: Leaves, *, colour: bool) -> Window:
    """A window marked an estimate where its end is not the plant's own: leaves turn before they drop or freeze."""
    doubts = ["how long its leaves last is not known: counted as deciduous"] if leaves == "unknown" else []
    if not colour:
        doubts.append("leaves turn before that: stop when they are no longer green")
    if not doubts or window.first is None:
        return window
    return Window(first=window.first, last=window.last, estimated=True, said="; ".join([window.said, *doubts]))


def _each_year(season: Season, own: OwnWindow, ends: _Ends) -> list[Window]:
    """Windows from one sign to the earliest of others, either end overruled by the user's own day."""
    begins = own.first or season.signs.get(ends.first)
    lasts = {_OWN: own.last} if own.last else {sign: season.signs[sign] for sign in ends.last if sign in season.signs}
    if begins is None or not lasts:
        lacking = [ends.first] * (begins is None) + [" or ".join(ends.last)] * (not lasts)
        said = f"type {' and '.join(lacking)} under [season], or under [season.reference] to have it estimated"
        return [Window(said=f"no window: {said}")]
    if not own.last:
        lasts |= {sign: season.signs[sign] for sign in ends.caps if sign in season.signs}
    begin = {_OWN if own.first else ends.first: begins}
    return [_of_year(begin, lasts, year, season) for year in _years(season)]


def _of_year(first: dict[str, DayOfYear], lasts: dict[str, DayOfYear], year: int, season: Season) -> Window:
    """The window of a year from its first sign to the earliest of the last ones."""
    ((sign, begins),) = first.items()
    late = sign == _LEAF_DROP
    anchor = begins.on(year, rounding="later") if late else next(iter(lasts.values())).on(year, rounding="earlier")
    dates = {name: day.nearest(anchor, rounding="earlier") for name, day in lasts.items()}
    until = min(dates, key=lambda name: dates[name])
    begin = anchor if late else begins.before(dates[until], rounding="later")
    after = season.after_leaf_drop_days if late else 0
    grace = season.after_freeze_days if late and until == "killing_freeze" else 0
    begin, end = begin + dt.timedelta(days=after), dates[until] + dt.timedelta(days=grace)
    words = f"{_words(begins, sign, after)} to {_words(lasts[until], until, grace)}"
    estimated = begins.estimated or lasts[until].estimated
    if begin > end or (end - begin).days > _LONGEST_GROWING_DAYS:
        return Window(estimated=estimated, said=f"no window: its first day is after its last one ({words})")
    return Window(first=begin, last=end, estimated=estimated, said=words)


def _words(day: DayOfYear, sign: str, days: int) -> str:
    if sign == _OWN:
        return f"your own {day.month:02d}-{day.day:02d}"
    plus = f" + {days} days" if days else ""
    return f"{WORDS[sign]}{plus}{' (an estimate)' if day.estimated else ''}"


def _any_day(technique: Technique, season: Season) -> Window:
    """A year from the start on, for stumps as far as the next strong flow of sap."""
    first, last = season.start, season.start + dt.timedelta(days=_YEAR_DAYS - 1)
    if technique != "cut_stump":
        return Window(first=first, last=last, said="any day of the year")
    if season.sap_flow is None:
        return Window(
            first=first, last=last, said="any day without strong sap flow, whose dates are not typed (sap_flow)"
        )
    flow, ebb = season.sap_flow
    for year in _years(season):
        end = ebb.on(year, rounding="later")
        begin = flow.before(end, rounding="earlier")
        if begin <= first <= end:
            first = end + dt.timedelta(days=1)
        elif begin > first:
            last = min(begin - dt.timedelta(days=1), first + dt.timedelta(days=_YEAR_DAYS - 1))
            break
    return Window(first=first, last=last, said="outside strong sap flow")
