"""The table that chooses techniques: read, checked cell by cell, with its limits in SI."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from typing import Any, Final, get_args

import pandas as pd

from invasimap.core import units
from invasimap.core.errors import Fault, InputError, LayerError
from invasimap.core.season_settings import Technique, TechniqueSection
from invasimap.inputs.formats.raw import read_bytes
from invasimap.inputs.formats.tables import decode, sniff
from invasimap.inputs.species import Catalogue
from invasimap.prescription.bounds import ANY_SIZE, Bound, read_bound
from invasimap.prescription.season import whole_wait
from invasimap.prescription.technique_words import ground_said, length_said, percent_said, stem_said
from invasimap.prescription.traits import LEAVES, UNKNOWN, taxa

SHIPPED: Final = "technique_rules.csv"
TECHNIQUES: Final[tuple[Technique, ...]] = get_args(Technique)
ZONES: Final = ("open", "hand_only", "no_spray")
ACCESS: Final = ("tractor", "atv_hose", "foot", "out_of_reach")
STANDING: Final = frozenset({"foliar_spot", "foliar_broadcast"})  # sprayed on leaves of what has not been cut
# What each zone allows, whatever a table says: no_spray takes nothing from a tank, hand_only nothing from a nozzle.
MAY_DO: Final[dict[str, frozenset[str]]] = {
    "open": frozenset(TECHNIQUES),
    "hand_only": frozenset({"cut_stump", "pull", "mow", "none"}),
    "no_spray": frozenset({"pull", "mow", "none"}),
}
_YES_NO: Final = ("yes", "limited", "no", UNKNOWN)
WORDS: Final[dict[str, tuple[str, ...]]] = {
    "zone": ZONES, "access": ACCESS, "leaves": (*LEAVES, UNKNOWN), "resprouts": _YES_NO, "root_spread": _YES_NO,
}  # fmt: skip
_LIFE_FORMS: Final = frozenset({
    "annual", "biennial", "perennial", "short-lived", "herb", "grass", "fern", "groundcover", "vine", "bramble",
    "shrub", "small", "tree", "woody", UNKNOWN,
})  # fmt: skip
SIZES: Final = ("height", "stem", "cover", "infested", "slope")
CONDITIONS: Final = ("zone", "access", "species", "life_form", "leaves", "resprouts", "root_spread", *SIZES)
COLUMNS: Final = ("rule", *CONDITIONS, "technique", "wait", "reason")
_OF_PIECE: Final = ("species", "life_form", "zone", "access", "height", "stem", "cover", "infested", "slope", "wait")
PLACEHOLDER: Final = re.compile(r"\{(\w+)\}")
_LIMIT_B: Final = 1_000_000


@dataclass(frozen=True, kw_only=True)
class _Limits:
    """The settings that cells may name: by column, name and number in SI; and as they are said."""

    named: dict[str, dict[str, float]]
    said: dict[str, str]
    reach_m: float
    wait_days: tuple[int, int]


@dataclass(kw_only=True)
class _Reading:
    """A table while it is read: where faults lie, and those found."""

    label: str
    limits: _Limits
    catalogue: Catalogue | None
    faults: list[Fault] = field(default_factory=list)

    def fault(self, row: int, column: str, what: str, mend: str) -> None:
        self.faults.append(Fault(where=f"{self.label}, row {row}, column {column}", what=what, mend=mend))


def read_rules(
    path: Path | None = None, *, limits: TechniqueSection | None = None, shown: units.ShownUnits = units.US,
    catalogue: Catalogue | None = None,
) -> pd.DataFrame:  # fmt: skip
    """The rules of a CSV file, checked; without a file those that come with the package.

    Parameters
    ----------
    limits
        The settings that cells may name, such as ``over reach``.
    shown
        The units of reasons.
    catalogue
        Reads the names of plants in the column ``species``; without it they stand as written.

    Returns
    -------
    pandas.DataFrame
        A row a rule, in order: ``rule, row``, the conditions (None for any; else a set of words, or a
        ``bounds.Bound`` in m, mm, %, m2 and %), ``technique, wait_min_days, wait_max_days, reason``.

    Raises
    ------
    LayerError
        Lists one fault for each bad cell, with its row and column as a spreadsheet shows them.
    """
    label = path.name if path else SHIPPED
    read = _Reading(label=label, limits=_limits(limits or TechniqueSection(), shown), catalogue=catalogue)
    rows = _cells(_text(path, label), label)
    made = [_rule(cells, number, read) for number, cells in rows]
    if read.faults:
        raise LayerError(read.faults)
    names = ["rule", "row", *CONDITIONS, "technique", "wait_min_days", "wait_max_days", "reason"]
    return pd.DataFrame(made, columns=names, dtype=object)


def check_allowed(technique: str, zones: Iterable[str]) -> str:
    """A zone that does not allow a technique, or nothing.

    Examples
    --------
    >>> check_allowed("foliar_spot", ["open", "no_spray"]), check_allowed("pull", ["no_spray"])
    ('no_spray', '')
    """
    return next((zone for zone in zones if technique not in MAY_DO[zone]), "")


def _limits(section: TechniqueSection, shown: units.ShownUnits) -> _Limits:
    heights = {"reach": section.reach_m, "pull height": section.pull_height_m}
    basal_mm = section.basal_stem_m * 1000
    return _Limits(
        named={
            "height": heights, "stem": {"basal stem": basal_mm}, "cover": {"dense": section.dense_pct},
            "infested": {"few": section.few_m2}, "slope": {},
        },
        said={
            "reach": length_said(section.reach_m, shown), "pull_height": length_said(section.pull_height_m, shown),
            "basal_stem": stem_said(basal_mm, shown), "dense": percent_said(section.dense_pct),
            "few": ground_said(section.few_m2, shown),
        },
        reach_m=section.reach_m, wait_days=whole_wait(section.wait_days),
    )  # fmt: skip


def _text(path: Path | None, label: str) -> str:
    if path is None:
        return resources.files("invasimap.prescription").joinpath("data", SHIPPED).read_text(encoding="utf-8")
    if not path.is_file():
        raise LayerError(
            Fault(where=label, what="there is no such file", mend="check [technique] rules and its folder")
        )
    try:
        return decode(read_bytes(path, label=label, limit_B=_LIMIT_B), label=label)[0]
    except UnicodeError as error:
        raise LayerError(Fault(where=label, what=f"cannot be read: {error}", mend="export it as CSV")) from error


def _cells(text: str, label: str) -> list[tuple[int, dict[str, str]]]:
    """Each row that is not blank, its number counted as a spreadsheet does, and its cells by column."""
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=sniff(text)))
    except csv.Error as error:
        raise LayerError(Fault(where=label, what=f"cannot be read: {error}", mend="export it as CSV")) from error
    filled = [
        (number, [cell.strip() for cell in row]) for number, row in enumerate(rows, 1) if any(map(str.strip, row))
    ]
    heads = [re.sub(r"\W+", "_", head.casefold()) for head in filled[0][1]] if filled else []
    known = ", ".join(COLUMNS)
    faults = [
        Fault(where=f"{label}, column {head or '(no name)'}", what="is no column of rules", mend=f"there are: {known}")
        for head in heads
        if head not in COLUMNS
    ]
    faults += [
        Fault(where=label, what=f"has no column {name}", mend=f"add it; there are: {known}")
        for name in ("technique", "reason")
        if name not in heads
    ]
    faults += [
        Fault(where=f"{label}, column {name}", what="stands twice", mend="keep one")
        for name in dict.fromkeys(heads)
        if heads.count(name) > 1
    ]
    faults += [
        Fault(
            where=f"{label}, row {number}", what=f"has {len(row)} cells for {len(heads)} columns",
            mend="put quotes round a cell that holds the delimiter",
        )
        for number, row in filled[1:]
        if len(row) > len(heads)
    ]  # fmt: skip
    if faults:
        raise LayerError(faults)
    return [(number, dict(zip(heads, row, strict=False))) for number, row in filled[1:]]


def _rule(cells: dict[str, str], row: int, read: _Reading) -> dict[str, Any]:
    """One row as a rule; what is wrong with it goes to the reading's faults."""
    said = {name: cells.get(name, "") for name in COLUMNS}
    rule: dict[str, Any] = {"rule": said["rule"] or f"row {row}", "row": row}
    rule |= {name: _words(said[name], name, row, read) for name in WORDS}
    rule["species"] = _species(said["species"], row, read)
    rule["life_form"] = _life_form(said["life_form"], row, read)
    rule |= {name: _size(said[name], name, row, read) for name in SIZES}
    rule["technique"] = technique = said["technique"].casefold()
    if technique not in TECHNIQUES:
        what = f"{said['technique']!r} is no technique" if technique else "is blank"
        read.fault(row, "technique", what, f"it may be {', '.join(TECHNIQUES)}")
    else:
        _check_zone(technique, rule["zone"], row, read)
    if technique in STANDING:
        rule["height"] = _within_reach(rule["height"], said["height"], row, read)
    rule["wait_min_days"], rule["wait_max_days"] = _wait(said["wait"], technique, row, read)
    rule["reason"] = _reason(said["reason"], row, read)
    return rule


def _check_zone(technique: str, zones: frozenset[str] | None, row: int, read: _Reading) -> None:
    refused = check_allowed(technique, [zone for zone in ZONES if zones is None or zone in zones])
    if not refused:
        return
    blank = " (a blank cell is every zone)" if zones is None else ""
    allowed = ", ".join(sorted(MAY_DO[refused]))
    fitting = "; ".join(zone for zone in ZONES if technique in MAY_DO[zone])
    read.fault(row, "zone", f"{technique} is never done in {refused}{blank}: there {allowed}", f"write {fitting}")


def _list(cell: str) -> list[str]:
    return [" ".join(word.split()) for word in cell.split(";") if word.strip()]


def _words(cell: str, column: str, row: int, read: _Reading) -> frozenset[str] | None:
    found = [word.casefold() for word in _list(cell)]
    for word in found:
        if word not in WORDS[column]:
            read.fault(row, column, f"{word!r} is not known", f"it may be {'; '.join(WORDS[column])}, or blank for any")
    return frozenset(found) if found else None


def _species(cell: str, row: int, read: _Reading) -> frozenset[str] | None:
    names = _list(cell)
    if read.catalogue is None or not names:
        return frozenset(names) or None
    try:
        return taxa(names, read.catalogue, where=f"{read.label}, row {row}, column species")
    except InputError as error:
        read.faults += error.faults
        return None


def _life_form(cell: str, row: int, read: _Reading) -> frozenset[frozenset[str]] | None:
    """Life forms asked for, each as the words that a plant's must hold: "tree" is also a "small tree"."""
    found = [frozenset(phrase.casefold().split()) for phrase in _list(cell)]
    for word in sorted(frozenset().union(*found) - _LIFE_FORMS):
        read.fault(row, "life_form", f"{word!r} is not known", f"its words may be {', '.join(sorted(_LIFE_FORMS))}")
    return frozenset(found) or None


_QUANTITIES: Final[dict[str, Callable[[str], float]]] = {
    "height": lambda text: units.quantity(text, "length"),
    "stem": lambda text: 1000 * units.quantity(text, "length"),
    "cover": lambda text: units.quantity(text, "percent"),
    "infested": lambda text: units.quantity(text, "area"),
    "slope": units.slope_pct,
}
_SUCH_AS: Final = {
    "height": "over 6 ft", "stem": "up to 4 in", "cover": "25-50 %", "infested": "up to 0.1 acre", "slope": "over 30 %",
}  # fmt: skip


def _size(cell: str, column: str, row: int, read: _Reading) -> Bound | None:
    if not cell:
        return None
    names = read.limits.named[column]
    try:
        return read_bound(_list(cell), names=names, quantity=_QUANTITIES[column])
    except ValueError as error:
        named = f", or a setting: over {', over '.join(names)}" if names else ""
        read.fault(row, column, str(error), f"write one such as {_SUCH_AS[column]}{named}")
        return None


def _within_reach(bound: Bound | None, cell: str, row: int, read: _Reading) -> Bound:
    """The heights of a rule that sprays standing leaves, which end at reach: nobody sprays overhead."""
    reach_m = read.limits.reach_m
    bound = bound or ANY_SIZE
    over = bound.low >= reach_m or reach_m * (1 + 1e-9) < bound.high < math.inf
    if bound.unknown or over:
        what = (
            f"{cell!r}: standing leaves are sprayed up to reach ({read.limits.said['reach']}), and known heights only"
        )
        read.fault(row, "height", what, "write within reach, set reach in [technique], or cut first: cut_then_foliar")
    return bound.up_to(reach_m)


def _wait(cell: str, technique: str, row: int, read: _Reading) -> tuple[int, int]:
    if technique != "cut_then_foliar":
        if cell:
            read.fault(row, "wait", f"{technique or 'no technique'} has no wait", "leave it blank")
        return 0, 0
    if cell.casefold() in ("", "wait"):
        return read.limits.wait_days
    try:
        low, high = units.quantity_range(cell, "days")
    except ValueError as error:
        read.fault(row, "wait", str(error), "write one such as 8-10 weeks, or wait for the setting of that name")
        return 0, 0
    if low < 0:
        read.fault(row, "wait", f"{cell!r} is below zero", "write one such as 8-10 weeks")
    return whole_wait((low, high))


def _reason(cell: str, row: int, read: _Reading) -> str:
    """The reason with the limits filled in; what is the piece's own stays to be filled."""
    said = read.limits.said
    if not cell:
        read.fault(row, "reason", "is blank", "say in words why, such as over {reach}: cut first")
    if wrong := [name for name in PLACEHOLDER.findall(cell) if name not in said and name not in _OF_PIECE]:
        mend = f"there are {', '.join(f'{{{name}}}' for name in (*said, *_OF_PIECE))}"
        read.fault(row, "reason", f"{{{wrong[0]}}} is not known", mend)
    elif set("{}") & set(PLACEHOLDER.sub("", cell)):
        read.fault(row, "reason", "a brace stands alone", "write a name in braces, such as {reach}, or take it out")
    return PLACEHOLDER.sub(lambda found: said.get(found[1], found[0]), cell)
