"""What if: settings changed for one run, on the command line, without a change to the file."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from invasimap.core.errors import Fault
from invasimap.core.legible import visible
from invasimap.core.settings import Tract

Loc = tuple[str | int, ...]
GONE: Final = "none"
SECRET: Final = re.compile("postgres|postgis|PG:|://|passw|pwd|secret|token", re.I)  # what is typed may be a password
_NAMES: Final = ("name", "kind", "file")  # what an entry of a list may be called by
_SUCH_AS: Final = 'write it as "access.foot.max_walk=20 min"'
# Where sites are hidden, only what no cover follows from is tried: two results with other covers tell more than one.
_NO_COVER_IN: Final = (
    "access", "tract", "season", "window", "technique", "mix", "spray", "rig", "labour", "budget", "schedule",
    "uncertainty", "mapbook", "emergency", "crew", "map",
)  # fmt: skip
_OF_OPEN_BLOCKS: Final = ("no_spray", "hand_only", "width", "rule", "blocks", "per_slope", "position_error")


@dataclass(frozen=True, kw_only=True)
class Change:
    """One setting as it was typed, and where it stands in the file (entries of lists from 0)."""

    typed: str
    loc: Loc = ()

    @property
    def shown(self) -> str:
        """What was typed, unless it may hold what is told to nobody."""
        key = _parted(self.typed)[0]
        secret = SECRET.search(self.typed) or key.strip(" \"'").startswith("confidential")
        return "(not shown)" if secret else visible(self.typed)


@dataclass(frozen=True, kw_only=True)
class Trial:
    """The changes, and of lists that lost entries which numbers the others had in the file."""

    changes: tuple[Change, ...] = ()
    kept: Mapping[Loc, list[int]]

    def as_written(self, loc: Loc) -> Loc:
        """A place in the changed settings as it is in the file."""
        found: Loc = ()
        for part in loc:
            held = self.kept.get(found)
            found = (*found, held[part] if held is not None and isinstance(part, int) and part < len(held) else part)
        return found

    def at(self, loc: Loc, *, in_file: bool) -> Change | None:
        """The change that a fault comes from: it made the place, or the section, that the file does not have."""
        section = loc[:-1]
        for change in self.changes:
            beside = bool(section) and change.loc[: len(section)] == section
            made = not in_file and (beside or change.loc[: len(loc)] == loc)
            if made or loc[: len(change.loc)] == change.loc:
                return change
        return None


@dataclass(frozen=True, kw_only=True)
class _Step:
    change: Change
    holder: Any
    at: Any
    value: str


def changed(table: dict[str, Any], typed: Iterable[str]) -> tuple[Trial, list[Fault]]:
    """Change settings in place, each written ``key=value``; with faults, nothing that is left may be used.

    Parameters
    ----------
    table
        What the settings file holds.
    typed
        Such as ``access.foot.max_walk=20 min``; an entry of a list by its number from 1 in the file, or by its name,
        quoted where it has a space or a dot: ``rig."backpack pair".crew=3``. ``none`` takes what is there out.

    Examples
    --------
    >>> table = {"access": {"foot": {"max_walk": "30 min"}}, "rig": [{"name": "a b", "crew": 2}]}
    >>> _ = changed(table, ["access.foot.max_walk=20 min", 'rig."a b".crew=3'])
    >>> table
    {'access': {'foot': {'max_walk': '20 min'}}, 'rig': [{'name': 'a b', 'crew': 3}]}
    """
    blocks = table.get("protect")
    hidden = [_is_hidden(block) for block in blocks] if isinstance(blocks, list) else []
    steps: list[_Step] = []
    faults = []
    for text in typed:
        try:
            step = _read(table, text)
            _refuse_hidden(step, hidden)
            _refuse_twice(step, steps)
            steps.append(step)
        except ValueError as error:
            said, _, mend = str(error).partition("\n")
            faults.append(Fault(where=f"--set {Change(typed=text).shown}", what=said, mend=mend))
    kept = {} if faults else _applied(steps)
    return Trial(changes=tuple(step.change for step in steps), kept=kept), faults


def _read(table: dict[str, Any], text: str) -> _Step:
    """What is meant by a change, and where it goes; sections that are not there yet are made."""
    key, equals, value = _parted(text)
    parts = _parts(key) if equals else []
    if not parts:
        raise ValueError(f"is no key=value\n{_SUCH_AS}")
    holder: Any = table
    loc: Loc = ()
    for part in parts[:-1]:
        at: Any = _place(holder, part)
        holder = holder.setdefault(part, {}) if isinstance(holder, dict) else holder[at]
        loc = (*loc, at)
    at = _place(holder, parts[-1])
    value = value.strip()
    if isinstance(holder, list) and value != GONE:
        raise ValueError(f"names a whole entry\nname a key of it, or write {GONE} to take it out")
    if isinstance(holder, dict) and value == GONE and at not in holder:
        raise ValueError("takes out what is not there")
    return _Step(change=Change(typed=text, loc=(*loc, at)), holder=holder, at=at, value=value)


def _applied(steps: Iterable[_Step]) -> dict[Loc, list[int]]:
    """Make the changes, and take entries out at last, so that numbers are those of the file; gives what lists keep."""
    out: dict[Loc, tuple[Any, set[int]]] = {}
    for step in steps:
        if step.value != GONE:
            step.holder[step.at] = _value(step.value)
        elif isinstance(step.holder, dict):
            del step.holder[step.at]
        else:
            out.setdefault(step.change.loc[:-1], (step.holder, set()))[1].add(step.at)
    kept = {}
    for loc, (holder, gone) in out.items():
        kept[loc] = [number for number in range(len(holder)) if number not in gone]
        holder[:] = [holder[number] for number in kept[loc]]
    return kept


def _parted(text: str) -> tuple[str, str, str]:
    """Key, equals sign and value: the first such sign that is not in quotes."""
    quote = ""
    for place, letter in enumerate(text):
        if letter == "=" and not quote:
            return text[:place], letter, text[place + 1 :]
        if letter in "\"'" and quote in ("", letter):
            quote = "" if quote else letter
    return text, "", ""


def _parts(key: str) -> list[str]:
    """The parts of a key with dots, as TOML has them; none where it is no key."""
    try:
        found: Any = tomllib.loads(f"{key.strip()} = 0")
    except tomllib.TOMLDecodeError:
        return []
    parts = []
    while isinstance(found, dict):
        if len(found) != 1:
            return []
        ((part, found),) = found.items()
        parts.append(part)
    return parts


def _place(holder: Any, part: str) -> str | int:
    """The key, or of a list the number from 0 of the entry that is meant."""
    if isinstance(holder, dict):
        return part
    if not isinstance(holder, list):
        raise ValueError(f"{visible(part)!r} would lie within a plain value")
    if part.isdecimal() and 1 <= int(part) <= len(holder):
        return int(part) - 1
    called = [[entry.get(name) for name in _NAMES] if isinstance(entry, dict) else [] for entry in holder]
    held = [place for place, names in enumerate(called) if part in names]
    if len(held) != 1:
        which = "several of" if held else "none of"
        part = "it" if SECRET.search(part) else repr(visible(part))
        raise ValueError(f"{part} is {which} the {len(holder)} entries\nwrite its number, 1 to {len(holder)}")
    return held[0]


def _is_hidden(block: Any) -> bool:
    return isinstance(block, dict) and block.get("confidential") is True


def _refuse_hidden(step: _Step, hidden: list[bool]) -> None:
    """No trial moves, makes or lifts a cover."""
    section, *rest = step.change.loc
    if section not in Tract.model_fields:
        return  # refused as unknown, with the name that was meant
    if section == "confidential" or (section == "protect" and "confidential" in f"{rest}{step.value}"):
        raise ValueError("what is confidential is not tried")
    if not any(hidden):
        return
    number = rest[0] if rest else None
    free = section in _NO_COVER_IN and (section != "access" or bool(rest and rest[0] != "cell"))
    if section == "protect" and isinstance(number, int) and not hidden[number]:
        free = len(rest) > 1 and rest[1] in _OF_OPEN_BLOCKS
    if not free:
        raise ValueError(
            "is not tried where confidential sites are hidden: their covers could follow from it\n"
            "change the settings file, for every plan"
        )


def _refuse_twice(step: _Step, others: Iterable[_Step]) -> None:
    for other in others:
        short, long = sorted((step.change.loc, other.change.loc), key=len)
        if long[: len(short)] == short:
            raise ValueError(f"changes what {other.change.shown} changes too")


def _value(text: str) -> Any:
    """A number, a switch, a list or a table as TOML writes them; else the text itself."""
    try:
        value = tomllib.loads(f"v = {text}")["v"]
    except tomllib.TOMLDecodeError:
        return text
    return value if isinstance(value, (bool, int, float, str, list, dict)) else text
