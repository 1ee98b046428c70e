"""What is done to each patch: the first rule that fits, with its reason, its visits and their windows."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Mapping
from functools import cache
from typing import Any, Final, Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from invasimap.core.errors import InvariantError
from invasimap.core.season_settings import TechniqueSection
from invasimap.core.units import ShownUnits
from invasimap.prescription.bounds import Bound
from invasimap.prescription.piece_facts import Facts, Mask, check_pieces
from invasimap.prescription.season import Season
from invasimap.prescription.technique_rules import MAY_DO, PLACEHOLDER, STANDING
from invasimap.prescription.technique_words import (
    NOT_KNOWN,
    ground_said,
    length_said,
    percent_said,
    stem_said,
    wait_said,
)  # fmt: skip
from invasimap.prescription.traits import read_traits
from invasimap.prescription.window import Window, cut_and_spray, window_of

SPRAYS: Final = frozenset({"foliar_spot", "foliar_broadcast", "cut_then_foliar", "cut_stump", "basal_bark"})
OLD_DAYS: Final = 365  # a height measured longer ago may be outgrown
COLUMNS: Final = (
    "technique", "rule", "reason", "visit", "visits", "sprays", "after", "wait_min_days", "wait_max_days", "first",
    "last", "estimated", "window",
)  # fmt: skip
_NO_RULE: Final = -1
_SAID_OF: Final[dict[str, Callable[[float, ShownUnits], str]]] = {
    "height": length_said,
    "stem": stem_said,
    "infested": ground_said,
    "cover": lambda value, _: percent_said(value),
    "slope": lambda value, _: percent_said(value),
}
_NO_RULE_SAID: Final = "no rule fits {species} in {zone} ground reached by {access}, height {height}, cover {cover}"


def within_reach(height_m: ArrayLike, *, reach_m: float) -> NDArray[np.bool_]:
    """Which plants' leaves can be sprayed from the ground; never one whose height is not known.

    Examples
    --------
    >>> within_reach([0.9, 3.0, float("nan")], reach_m=1.8).tolist()
    [True, False, False]
    """
    return Bound(high=reach_m).fits(np.asarray(height_m, float))


def foliar_volume(height_m: float, stems_per_m2: float, *, limits: TechniqueSection) -> Literal["low", "high"]:
    """Whether leaves take a low or a high volume; high where either figure is not known.

    The split is a setting (``low_volume_height``, ``low_volume_stems``) that starts from a manufacturer's page.

    Examples
    --------
    >>> foliar_volume(1.5, 0.2, limits=TechniqueSection()), foliar_volume(1.5, float("nan"), limits=TechniqueSection())
    ('low', 'high')
    """
    below = height_m < limits.low_volume_height_m * (1 - 1e-9)
    few = stems_per_m2 <= limits.low_volume_stems_per_m2 * (1 + 1e-9)
    return "low" if below and few else "high"


def choose_techniques(
    pieces: pd.DataFrame, *, traits: pd.DataFrame, rules: pd.DataFrame, season: Season
) -> pd.DataFrame:  # fmt: skip
    """What is done to each piece of ground, and when.

    Parameters
    ----------
    pieces
        A row a patch and treatment zone, its index unique: ``species, zone, access, gross_m2, cover_pct, height_m,
        stem_mm, slope_pct`` (NaN where not known) and ``date`` of the survey (text or date; blank where not known).
    traits
        The catalogue's table (``inputs.species.Catalogue.table``).
    rules
        As ``technique_rules.read_rules`` gives them.

    Returns
    -------
    pandas.DataFrame
        In the order of the pieces, under their index, a row a visit: ``technique, rule, reason, visit`` (of
        ``visits``), ``sprays`` (whether anything is sprayed at this visit), ``after`` (the visit before, with
        ``wait_min_days`` and ``wait_max_days`` between; NA at a first one), ``first`` and ``last`` day (NaT without a
        window), ``estimated`` and ``window`` (where the dates come from). Only
        ``cut_then_foliar`` has two rows, and ``none`` has no window.

    Raises
    ------
    InputError
        When a column is missing, a figure cannot be, a zone or means is not known, or the index has twins.
    InvariantError
        When the rules, not read by ``read_rules``, would do what a zone forbids.
    """
    check_pieces(pieces)
    facts = Facts(pieces, read_traits(traits, pieces["species"].unique()))
    chosen, unknown = _first_that_fits(facts, rules)
    _check_allowed(facts, rules, chosen)
    reasons = _Reasons(facts, unknown, season)
    rows = list(_visits(rules, chosen, reasons))
    made = pd.DataFrame([row for _, row in rows], columns=list(COLUMNS), dtype=object)
    made.index = pieces.index.take([place for place, _ in rows])
    return made.astype({
        "visit": "int64", "visits": "int64", "sprays": bool, "after": "Int64", "wait_min_days": "Int64",
        "wait_max_days": "Int64", "first": "datetime64[s]", "last": "datetime64[s]", "estimated": bool,
    })  # fmt: skip


def _first_that_fits(facts: Facts, rules: pd.DataFrame) -> tuple[NDArray[np.int64], dict[str, Mask]]:
    """The number of the first rule that fits each piece, and what would have mattered had it been known."""
    chosen, nobody = np.full(len(facts), _NO_RULE), np.zeros(len(facts), dtype=bool)
    unknown: dict[str, Mask] = {}
    for number, rule in enumerate(rules.to_dict("records")):
        still = chosen == _NO_RULE
        fits, blank = facts.fits({str(name): cell for name, cell in rule.items()})
        for name, mask in blank.items():
            unknown[name] = (still & mask) | unknown.get(name, nobody)
        chosen[still & fits] = number
    return chosen, unknown


def _check_allowed(facts: Facts, rules: pd.DataFrame, chosen: NDArray[np.int64]) -> None:
    """What a zone forbids is in no plan, whoever made the rules."""
    zones = facts.pieces["zone"].to_numpy()
    tall = ~np.isfinite(facts.known["height"])
    for number, technique in enumerate(rules["technique"]):
        mine = chosen == number
        for zone in np.unique(zones[mine].astype(str)):
            if technique not in MAY_DO[zone]:
                raise InvariantError(f"rule {rules['rule'].iloc[number]!r} would do {technique} in {zone}")
        if technique in STANDING and (mine & tall).any():
            raise InvariantError(f"rule {rules['rule'].iloc[number]!r} would spray leaves of a height not known")


class _Reasons:
    """Reasons and windows of pieces, by their place."""

    def __init__(self, facts: Facts, unknown: dict[str, Mask], season: Season) -> None:
        self.facts, self.unknown, self.season = facts, unknown, season
        self._species = facts.pieces["species"].astype(str).to_numpy()
        self._zone = facts.pieces["zone"].astype(str).to_numpy()
        self._access = facts.pieces["access"].astype(str).to_numpy()
        self._date = pd.to_datetime(facts.pieces["date"].astype(str), errors="coerce", format="ISO8601").to_numpy()
        self.windows = cache(self._windows)

    def reason(self, place: int, rule: Mapping[str, Any] | None, wait_days: tuple[int, int] = (0, 0)) -> str:
        """Why a rule, or none, fits a piece, with what of it is not known."""
        text = (_NO_RULE_SAID if rule is None else str(rule["reason"])).replace("{wait}", wait_said(*wait_days))
        parts = [PLACEHOLDER.sub(lambda found: self._figure(found[1], place), text)]
        unknown = {name.partition(" (")[0]: name for name in reversed(self.unknown) if self.unknown[name][place]}
        if unknown:
            parts.append(f"not known: {', '.join(reversed(unknown.values()))}")
        if rule is not None and rule["technique"] in STANDING and self._is_old(place):
            parts.append(f"height is of {str(self._date[place])[:10]}: look whether it is still within reach")
        return "; ".join(parts)

    def _figure(self, name: str, place: int) -> str:
        """What a rule's reason calls by a name, of a piece."""
        if name in _SAID_OF:
            return _SAID_OF[name](self.facts.known[name][place], self.season.shown)
        if name == "life_form":
            return self.facts.traits[self._species[place]].life_form or NOT_KNOWN
        return str({"species": self._species, "zone": self._zone, "access": self._access}[name][place])

    def _is_old(self, place: int) -> bool:
        age = np.datetime64(self.season.start, "D") - self._date[place]
        return bool(age > np.timedelta64(OLD_DAYS, "D"))

    def of(self, place: int, rule: Mapping[str, Any]) -> tuple[tuple[Window, ...], tuple[int, int]]:
        """The windows of a piece's visits, and the wait between them in days."""
        return self.windows(self._species[place], rule["technique"], rule["wait_min_days"], rule["wait_max_days"])

    def _windows(
        self, species: str, technique: Any, least: int, most: int
    ) -> tuple[tuple[Window, ...], tuple[int, int]]:
        traits = self.facts.traits[species]
        if technique != "cut_then_foliar":
            return (window_of(species, technique, traits=traits, season=self.season),), (0, 0)
        wait = self.season.own_days(species, technique).wait_days or (least, most)
        return cut_and_spray(species, traits=traits, wait_days=wait, season=self.season), wait


def _visits(rules: pd.DataFrame, chosen: NDArray[np.int64], reasons: _Reasons) -> Iterator[tuple[int, tuple[Any, ...]]]:
    """Place and cells of each visit, in the order of ``COLUMNS``."""
    records = rules.to_dict("records")
    for place, number in enumerate(chosen):
        if number == _NO_RULE:
            yield place, ("none", "", reasons.reason(place, None), *_nothing())
            continue
        rule: Any = records[number]
        if rule["technique"] == "none":
            yield place, ("none", rule["rule"], reasons.reason(place, rule), *_nothing())
            continue
        windows, wait = reasons.of(place, rule)
        head = (rule["technique"], rule["rule"], reasons.reason(place, rule, wait))
        for visit, window in enumerate(windows, 1):
            sprays = rule["technique"] in SPRAYS and visit == len(windows)
            between = (visit - 1, *wait) if visit > 1 else (pd.NA, pd.NA, pd.NA)
            dates = (_day(window.first), _day(window.last), window.estimated, window.said)
            yield place, (*head, visit, len(windows), sprays, *between, *dates)


def _nothing() -> tuple[Any, ...]:
    """The visit that is none."""
    return 1, 0, False, pd.NA, pd.NA, pd.NA, pd.NaT, pd.NaT, False, ""


def _day(day: dt.date | None) -> Any:
    return pd.NaT if day is None else pd.Timestamp(day)
