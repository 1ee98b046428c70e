"""The season of a tract: its signs, seen or estimated, and the user's own windows; what ``window`` works from."""

from __future__ import annotations

import calendar
import datetime as dt
from dataclasses import dataclass
from typing import Final

from invasimap.core import units
from invasimap.core.errors import Fault, SettingsError
from invasimap.core.season_settings import SIGNS, SeasonSection, Technique, WindowSection
from invasimap.core.settings import Tract
from invasimap.inputs.species import Catalogue
from invasimap.prescription.hopkins import Place, Rounding, hopkins_days, moved
from invasimap.prescription.traits import taxa

ON_LEAVES: Final[tuple[Technique, ...]] = ("foliar_spot", "foliar_broadcast", "cut_then_foliar")
_SAYS: Final = {"first": "", "last": "", "wait": "_days"}
_SPRING: Final = frozenset({"full_leaf"})
WORDS: Final = {
    "native_leaf_drop": "native leaf drop",
    "killing_freeze": "killing freeze",
    "full_leaf": "full leaf",
    "leaf_colour": "leaf colour",
}


@dataclass(frozen=True, kw_only=True)
class DayOfYear:
    """A date that comes every year: seen, or another place's ``moved_days`` (later above zero), and so estimated."""

    month: int
    day: int
    moved_days: float = 0.0
    estimated: bool = False

    def on(self, year: int, *, rounding: Rounding) -> dt.date:
        """The date in a year; 29 February is the day after or before it where there is none, as the rounding says."""
        if (self.month, self.day) == (2, 29) and not calendar.isleap(year):
            seen = dt.date(year, 2, 28) if rounding == "earlier" else dt.date(year, 3, 1)
        else:
            seen = dt.date(year, self.month, self.day)
        return moved(seen, self.moved_days, rounding=rounding)

    def nearest(self, day: dt.date, *, rounding: Rounding) -> dt.date:
        """The date that lies nearest to a day, in its year or one beside it."""
        return min(self._around(day, rounding), key=lambda found: abs((found - day).days))

    def before(self, day: dt.date, *, rounding: Rounding) -> dt.date:
        """The last date on or before a day."""
        return max(found for found in self._around(day, rounding) if found <= day)

    def _around(self, day: dt.date, rounding: Rounding) -> list[dt.date]:
        return [self.on(day.year + step, rounding=rounding) for step in (-2, -1, 0, 1)]


@dataclass(frozen=True, kw_only=True)
class OwnWindow:
    """A ``[[window]]`` block; no ``species`` means every one, no ``technique`` all that is sprayed on leaves."""

    species: frozenset[str] = frozenset()
    technique: frozenset[Technique] = frozenset()
    first: DayOfYear | None = None
    last: DayOfYear | None = None
    wait_days: tuple[int, int] | None = None

    def serves(self, species: str, technique: Technique) -> int:
        """How closely the block is meant for a plant and technique; 0 where it is not."""
        if self.species and species not in self.species:
            return 0
        if technique not in (self.technique or ON_LEAVES):
            return 0
        return 1 + 2 * bool(self.species) + bool(self.technique)


@dataclass(frozen=True, kw_only=True)
class Season:
    """What windows are worked out from; ``start`` is the first day that work can be planned for.

    ``signs`` lacks what is neither seen nor estimated.
    """

    start: dt.date
    signs: dict[str, DayOfYear]
    after_leaf_drop_days: int = 3
    after_freeze_days: int = 0
    sap_flow: tuple[DayOfYear, DayOfYear] | None = None
    own: tuple[OwnWindow, ...] = ()
    shown: units.ShownUnits = units.US

    def own_days(self, species: str, technique: Technique) -> OwnWindow:
        """What the user's own blocks say of a plant and technique, of each date the closest block that says it."""
        blocks = sorted(
            (b for b in self.own if b.serves(species, technique)), key=lambda b: -b.serves(species, technique)
        )
        return OwnWindow(
            first=next((block.first for block in blocks if block.first), None),
            last=next((block.last for block in blocks if block.last), None),
            wait_days=next((block.wait_days for block in blocks if block.wait_days), None),
        )


def season_of(tract: Tract, *, start: dt.date, place: Place | None, catalogue: Catalogue) -> Season:
    """The season of a tract from its settings.

    Parameters
    ----------
    start
        First day that work can be planned for.
    place
        Where the tract lies; None where its elevation is not known, and then nothing is estimated.

    Raises
    ------
    SettingsError
        When a block names a plant that is not known, or two blocks say different dates of the same plant and technique.
    """
    section = tract.season
    own = _own_windows(tract.window, catalogue)
    flow = section.sap_flow
    return Season(
        start=start, signs=_signs(section, place), own=own, shown=tract.shown,
        after_leaf_drop_days=units.whole_days_up(section.after_leaf_drop_days),
        after_freeze_days=int(section.after_freeze_days),
        sap_flow=(_day(flow[0]), _day(flow[1])) if flow else None,
    )  # fmt: skip


def _day(month_day: tuple[int, int]) -> DayOfYear:
    return DayOfYear(month=month_day[0], day=month_day[1])


def _signs(section: SeasonSection, place: Place | None) -> dict[str, DayOfYear]:
    """Each sign as it was seen on the tract; only what was not seen is estimated, so that no estimate stretches a
    window past a date that was."""
    seen: dict[str, DayOfYear] = {name: _day(found) for name in SIGNS if (found := getattr(section, name))}
    reference = section.reference
    if reference is None or place is None:
        return seen
    known = Place(latitude=reference.latitude, longitude=reference.longitude, elevation_m=reference.elevation_m)
    later = hopkins_days(known, place)
    for name in SIGNS:
        if name not in seen and (found := getattr(reference, name)):
            shift = later if name in _SPRING else -later
            seen[name] = DayOfYear(month=found[0], day=found[1], moved_days=shift, estimated=True)
    return seen


def _own_windows(blocks: list[WindowSection], catalogue: Catalogue) -> tuple[OwnWindow, ...]:
    own: list[OwnWindow] = []
    faults: list[Fault] = []
    for number, block in enumerate(blocks, 1):
        try:
            names = [] if "*" in block.species else block.species
            species = taxa(names, catalogue, where=f"[[window]] {number}: species")
        except SettingsError as error:
            faults += error.faults
            continue
        own.append(
            OwnWindow(
                species=species,
                technique=frozenset(block.technique),
                first=_day(block.first) if block.first else None,
                last=_day(block.last) if block.last else None,
                wait_days=whole_wait(block.wait_days) if block.wait_days else None,
            )
        )
    faults += [] if faults else _contradictions(own)
    if faults:
        raise SettingsError(faults)
    return tuple(own)


def _contradictions(own: list[OwnWindow]) -> list[Fault]:
    faults = []
    for number, block in enumerate(own, 1):
        for earlier, other in enumerate(own[: number - 1], 1):
            alike = bool(block.species) == bool(other.species) and bool(block.technique) == bool(other.technique)
            if not alike or not _meet(block.species, other.species) or not _meet(block.technique, other.technique):
                continue
            pairs = {key: (getattr(block, f"{key}{end}"), getattr(other, f"{key}{end}")) for key, end in _SAYS.items()}
            if differ := [key for key, (mine, theirs) in pairs.items() if mine and theirs and mine != theirs]:
                what = f"says another {' and '.join(differ)} than [[window]] {earlier} of the same plant and technique"
                faults.append(Fault(where=f"[[window]] {number}", what=what, mend="keep one of them"))
    return faults


def _meet(some: frozenset[str] | frozenset[Technique], others: frozenset[str] | frozenset[Technique]) -> bool:
    return not some or bool(some & others)


def whole_wait(wait_days: tuple[float, float]) -> tuple[int, int]:
    """A wait in whole days: the least one up, and the longest one down, but never below the least.

    Examples
    --------
    >>> whole_wait((10.5, 14.2)), whole_wait((10.5, 10.5))
    ((11, 14), (11, 11))
    """
    least = units.whole_days_up(wait_days[0])
    return least, max(least, int(wait_days[1] + 1e-9))
