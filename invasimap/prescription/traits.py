"""Traits of plants as rules and windows ask for them, read from the catalogue's words."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import Final, Literal

import pandas as pd

from invasimap.core.errors import Fault, SettingsError
from invasimap.inputs.species import Catalogue

Leaves = Literal["late-leaf", "evergreen", "winter green", "deciduous", "dies back", "annual", "spring only", "unknown"]
YesNo = Literal["yes", "limited", "no", "unknown"]
UNKNOWN: Final = "unknown"
LEAVES: Final = ("late-leaf", "evergreen", "winter green", "deciduous", "dies back", "annual", "spring only")
# Words of the catalogue -> habit, the narrower window first: what holds leaves only in the south counts as deciduous.
_HABITS: Final[tuple[tuple[str, Leaves], ...]] = (
    ("spring only", "spring only"), ("deciduous", "deciduous"), ("south", "deciduous"), ("dies back", "dies back"),
    ("semi-evergreen", "late-leaf"), ("late-leaf", "late-leaf"), ("evergreen", "evergreen"),
    ("winter", "winter green"), ("rosette", "winter green"), ("early and late", "late-leaf"), ("annual", "annual"),
)  # fmt: skip
_FROM_ROOTS: Final = (
    "root sucker", "suckers", "root sprout", "rhizome", "creeping root", "root fragment", "tuber", "stolon",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Traits:
    """What is known of a plant: words of its life form, its leaves, and whether it comes again when cut."""

    life_form: str = ""
    leaves: Leaves = "unknown"
    resprouts: YesNo = "unknown"
    root_spread: YesNo = "unknown"


NOTHING_KNOWN: Final = Traits()


def leaf_habit(text: str) -> Leaves:
    """How long leaves stay green, from ``leaf_persistence``.

    Examples
    --------
    >>> leaf_habit("late-leaf"), leaf_habit("semi-evergreen in the south, deciduous in the north"), leaf_habit("")
    ('late-leaf', 'deciduous', 'unknown')
    """
    words = text.casefold()
    return next((habit for part, habit in _HABITS if part in words), "unknown")


def resprouts(text: str) -> YesNo:
    """Whether a plant sprouts when cut, from the first word of ``resprouts_after_cut``.

    Examples
    --------
    >>> resprouts("yes, strongly"), resprouts("no (bolted stems may reflower)"), resprouts("")
    ('yes', 'no', 'unknown')
    """
    first = text.casefold().replace(",", " ").split()[:1]
    known: dict[str, YesNo] = {"yes": "yes", "limited": "limited", "no": "no"}
    return known.get(first[0], "unknown") if first else "unknown"


def root_spread(text: str) -> YesNo:
    """Whether a plant comes up from roots and rhizomes left in the ground, from ``spreads_vegetatively``.

    Examples
    --------
    >>> root_spread("layering and root sprouts"), root_spread("tip rooting"), root_spread("")
    ('yes', 'no', 'unknown')
    """
    words = text.casefold().strip()
    if not words:
        return "unknown"
    return "yes" if any(part in words for part in _FROM_ROOTS) else "no"


def read_traits(table: pd.DataFrame, names: Iterable[str]) -> dict[str, Traits]:
    """Traits by scientific name, from the catalogue's table; of a plant that is not in it nothing is known."""
    found = {}
    for name in names:
        if name not in table.index:
            found[name] = NOTHING_KNOWN
            continue
        cells = {column: _cell(table.at[name, column]) if column in table.columns else "" for column in _COLUMNS}
        found[name] = Traits(
            life_form=cells["life_form"],
            leaves=leaf_habit(cells["leaf_persistence"]),
            resprouts=resprouts(cells["resprouts_after_cut"]),
            root_spread=root_spread(cells["spreads_vegetatively"]),
        )
    return found


_COLUMNS: Final = ("life_form", "leaf_persistence", "resprouts_after_cut", "spreads_vegetatively")


def _cell(value: object) -> str:
    return value.strip() if isinstance(value, str) else ""


def taxa(names: Iterable[str], catalogue: Catalogue, *, where: str) -> frozenset[str]:
    """Scientific names that the catalogue reads in names as written.

    Raises
    ------
    SettingsError
        Lists every name that is no known invasive plant: a setting for it would be without effect, and not said.
    """
    found, faults = set(), []
    for name in names:
        match = catalogue.match(name)
        if match.known and not match.reason:
            found.add(match.scientific_name)
            continue
        near = _near(match.suggestions)
        mend = f"did you mean {near}?" if near else "correct it, or add it to your own plant file"
        faults.append(Fault(where=where, what=f"{name!r} is no plant of the catalogue that is treated", mend=mend))
    if faults:
        raise SettingsError(faults)
    return frozenset(found)


def _near(suggestions: Collection[str]) -> str:
    return " or ".join(list(suggestions)[:3])
