"""What rules ask of pieces of ground: sizes and words, with what is not known counted to the protective side."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import reduce
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from invasimap.core.errors import Fault, InputError
from invasimap.prescription.bounds import Bound
from invasimap.prescription.technique_rules import ACCESS, CONDITIONS, SIZES, ZONES
from invasimap.prescription.traits import UNKNOWN, Traits

NEEDED: Final = ("species", "zone", "access", "gross_m2", "cover_pct", "height_m", "stem_mm", "slope_pct", "date")
# What is not known is never short, thin, level or "no"; and a cover that is not known fits no rule on cover.
NOT_KNOWN_SAID: Final[dict[str, tuple[str, str]]] = {
    "height": ("height", " (counted as tall)"),
    "stem": ("stem size", " (counted as thick)"),
    "slope": ("slope", " (counted as steep)"),
    "cover": ("cover", " (no rule on it fits)"),
    "infested": ("infested ground", " (all of the patch counted)"),
    "resprouts": ("whether it sprouts when cut", " (counted as yes)"),
    "root_spread": ("whether it comes up from its roots", " (counted as yes)"),
    "life_form": ("life form", " (no rule on it fits)"),
    "leaves": ("how long its leaves last", " (no rule on it fits)"),
}
_TRAITS: Final = ("life_form", "leaves", "resprouts", "root_spread")
_COUNTED_AS_YES: Final = frozenset({"resprouts", "root_spread"})
_COUNTED_AS_MOST: Final = ("height", "stem", "slope")

Mask = NDArray[np.bool_]


def check_pieces(pieces: pd.DataFrame) -> None:
    """Look over pieces as a caller hands them in.

    Raises
    ------
    InputError
        When a column is missing, a figure cannot be, a zone or means is not known, or the index has twins.
    """
    if lacking := [name for name in NEEDED if name not in pieces.columns]:
        raise InputError(Fault(where="pieces", what=f"lack columns: {', '.join(lacking)}", mend="add them"))
    faults = []
    if not pieces.index.is_unique:
        faults.append(Fault(where="pieces", what="two rows share an index", mend="number them"))
    for name, words in (("zone", ZONES), ("access", ACCESS)):
        if len(wrong := pieces.loc[~pieces[name].isin(words), name].astype(str).unique()):
            known = f"there are {', '.join(words)}"
            faults.append(Fault(where="pieces", what=f"{name} {', '.join(wrong[:5])} is not known", mend=known))
    for name in ("gross_m2", "cover_pct", "height_m", "stem_mm", "slope_pct"):
        values, most = pieces[name].astype(float), 100.0 if name == "cover_pct" else np.inf
        if (rows := pieces.index[(values < 0) | (values > most)]).size:
            named = ", ".join(map(str, rows[:5]))
            what = f"{name} outside 0-{most:g}: {rows.size} rows ({named})"
            faults.append(Fault(where="pieces", what=what, mend="correct it, or leave it blank where it is not known"))
    if faults:
        raise InputError(faults)


class Facts:
    """The pieces' sizes (``known``, NaN where they are not; m, mm, %, m2, %) and words, column by column.

    ``traits`` holds those of every species of the pieces.
    """

    def __init__(self, pieces: pd.DataFrame, traits: Mapping[str, Traits]) -> None:
        column = {
            name: pieces[name].to_numpy(dtype=float) for name in NEEDED if name.endswith(("_m", "_mm", "_m2", "_pct"))
        }
        cover = column["cover_pct"]
        self.pieces, self.traits = pieces, traits
        self.known: dict[str, NDArray[np.float64]] = {
            "height": column["height_m"], "stem": column["stem_mm"], "cover": cover, "slope": column["slope_pct"],
            "infested": column["gross_m2"] * cover / 100,
        }  # fmt: skip
        self._counted = dict(self.known)
        for name in _COUNTED_AS_MOST:
            self._counted[name] = np.where(np.isnan(self.known[name]), np.inf, self.known[name])
        self._counted["infested"] = np.where(np.isnan(cover), column["gross_m2"], self.known["infested"])
        self._species, names = pd.factorize(pieces["species"])
        self._names = [str(name) for name in names]

    def __len__(self) -> int:
        return len(self.pieces)

    def fits(self, rule: Mapping[str, Any]) -> tuple[Mask, dict[str, Mask]]:
        """Which pieces a rule fits, and by what is not known, as it is said, those whose fit hangs on it."""
        fits: dict[str, Mask] = {}
        unknown: dict[str, Mask] = {}
        counted: dict[str, str] = {}
        for column in CONDITIONS:
            wanted = rule[column]
            if column == "access" and wanted is None and rule["technique"] != "none":
                wanted = frozenset(ACCESS) - {
                    "out_of_reach"
                }  # what nothing reaches is treated only where a rule says so
            if wanted is not None:
                fits[column], blank = self._condition(column, wanted)
                if blank is not None:
                    unknown[column], counted[column] = blank, _said_unknown(column, wanted)
        everything = np.ones(len(self), dtype=bool)
        may = [fit | unknown[column] if column in unknown else fit for column, fit in fits.items()]
        possible = reduce(np.logical_and, may, everything)
        return reduce(np.logical_and, fits.values(), everything), {
            counted[column]: blank & possible for column, blank in unknown.items()
        }

    def _condition(self, column: str, wanted: Any) -> tuple[Mask, Mask | None]:
        """Whether a condition fits each piece, and where what it asks is not known."""
        if column in SIZES:
            return self._size(column, wanted)
        if column in _TRAITS:
            return self._trait(column, wanted)
        if column == "species":
            return self._by_species(lambda name: name in wanted), None
        return self.pieces[column].isin(wanted).to_numpy(), None

    def _size(self, column: str, wanted: Bound) -> tuple[Mask, Mask | None]:
        blank = np.isnan(self.known[column])
        fits = wanted.fits(self._counted[column])
        return (fits | blank if wanted.unknown else fits), blank

    def _trait(self, column: str, wanted: frozenset[Any]) -> tuple[Mask, Mask | None]:
        blank = self._by_species(lambda name: getattr(self.traits[name], column) in ("", UNKNOWN))
        if column == "life_form":
            fits = self._by_species(lambda name: _holds(self.traits[name].life_form, wanted))
        else:
            fits = self._by_species(lambda name: getattr(self.traits[name], column) in wanted)
        counts = _by_name(wanted) or (column in _COUNTED_AS_YES and "yes" in wanted)
        return (fits | blank if counts else fits), blank

    def _by_species(self, holds: Callable[[str], bool]) -> Mask:
        return np.array([holds(name) for name in self._names], dtype=bool)[self._species]


def _holds(life_form: str, wanted: frozenset[frozenset[str]]) -> bool:
    """Whether a life form has all words of one that is asked for; a vine by itself is woody, a perennial one is not."""
    words = set(life_form.casefold().replace(",", " ").split())
    return any(phrase <= words for phrase in wanted)


def _by_name(wanted: Any) -> bool:
    """Whether a cell says "unknown"."""
    if isinstance(wanted, Bound):
        return wanted.unknown
    return UNKNOWN in wanted or frozenset({UNKNOWN}) in wanted


def _said_unknown(column: str, wanted: Any) -> str:
    """What is not known, and how it is counted where the cell does not name it; nothing for zones, means and names."""
    name, counted = NOT_KNOWN_SAID.get(column, ("", ""))
    return name if _by_name(wanted) else name + counted
