"""What if: settings changed for one run, on the command line, without a change to the file."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from invasimap.core.errors import Fault

Loc = tuple[str | int, ...]
GONE: Final = "none"
SECRET: Final = re.compile("postgres|postgis|PG:|password", re.I)  # of what is typed, it may hold a password
_NAMES: Final = ("name", "kind", "file")  # what an entry of a list may be called by


@dataclass(frozen=True, kw_only=True)
class Change:
    """One setting as it was typed, and where it stands."""

    typed: str
    loc: Loc

    @property
    def shown(self) -> str:
        """What was typed, without an address of a database."""
        return f"{_parted(self.typed)[0]}=..." if SECRET.search(self.typed) else self.typed


def changed(table: dict[str, Any], typed: Iterable[str]) -> tuple[list[Change], list[Fault]]:
    """Change settings in place, each written ``key=value``.

    Parameters
    ----------
    table
        What the settings file holds.
    typed
        Such as ``access.foot.max_walk=20 min``; an entry of a list by its number from 1, or by its name, which is
        quoted where it has a space or a dot: ``rig."backpack pair".crew=3``. ``none`` takes a section or entry out.

    Examples
    --------
    >>> table = {"access": {"foot": {"max_walk": "30 min"}}, "rig": [{"name": "a b", "crew": 2}]}
    >>> _ = changed(table, ["access.foot.max_walk=20 min", 'rig."a b".crew=3'])
    >>> table
    {'access': {'foot': {'max_walk': '20 min'}}, 'rig': [{'name': 'a b', 'crew': 3}]}
    """
    changes, faults = [], []
    for text in typed:
        key, equals, value = _parted(text)
        parts = _parts(key)
        try:
            if not equals or parts is None:
                raise ValueError('is no "key=value"')
            changes.append(Change(typed=text, loc=_set(table, parts, value.strip())))
        except ValueError as error:
            faults.append(
                Fault(
                    where=f"--set {Change(typed=text, loc=()).shown}",
                    what=str(error),
                    mend="such as access.foot.max_walk=20 min",
                )
            )
    return changes, faults


def _parted(text: str) -> tuple[str, str, str]:
    """Key, equals sign and value: the first such sign that is not in quotes."""
    quoted = False
    for place, letter in enumerate(text):
        quoted ^= letter == '"'
        if letter == "=" and not quoted:
            return text[:place], letter, text[place + 1 :]
    return text, "", ""


def _parts(key: str) -> list[str] | None:
    """The parts of a key with dots, as TOML has them."""
    try:
        found: Any = tomllib.loads(f"{key.strip()} = 0")
    except tomllib.TOMLDecodeError:
        return None
    parts = []
    while isinstance(found, dict):
        ((part, found),) = found.items()
        parts.append(part)
    return parts


def _set(table: dict[str, Any], parts: list[str], text: str) -> Loc:
    holder: Any = table
    loc: Loc = ()
    for part in parts[:-1]:
        holder, at = _entered(holder, part)
        loc = (*loc, at)
        _refuse_hidden(loc, holder if isinstance(holder, dict) else None)
    at = _place(holder, parts[-1])
    _refuse_hidden((*loc, at), holder[at] if isinstance(at, int) else holder.get(at))
    if text == GONE and _is_block(holder, at):
        del holder[at]
    elif isinstance(holder, list):
        raise ValueError("names a whole entry: name a key of it, or write none to take it out")
    else:
        holder[at] = _value(text)
    return (*loc, at)


def _entered(holder: Any, part: str) -> tuple[Any, str | int]:
    """What a part of a key stands for, made where there is none yet."""
    if isinstance(holder, list):
        place: Any = _place(holder, part)
        return holder[place], place
    if not isinstance(holder, dict):
        raise ValueError(f"{part!r} is within a plain value")
    return holder.setdefault(part, {}), part


def _place(holder: Any, part: str) -> str | int:
    """The key, or of a list the number from 0 of the entry that is meant."""
    if not isinstance(holder, list):
        if not isinstance(holder, dict):
            raise ValueError(f"{part!r} is within a plain value")
        return part
    if part.isdecimal() and 1 <= int(part) <= len(holder):
        return int(part) - 1
    called = [[entry.get(name) for name in _NAMES if isinstance(entry, dict)] for entry in holder]
    held = [place for place, names in enumerate(called) if part in names]
    if len(held) != 1:
        number = "is none of" if not held else "is several of"
        raise ValueError(f"{part!r} {number} the {len(holder)} entries: write its number, 1 to {len(holder)}")
    return held[0]


def _refuse_hidden(loc: Loc, there: Any) -> None:
    """No trial moves a cover: two results with other covers of one site could be laid over one another."""
    blocks = there if isinstance(there, list) else [there]
    hidden = any(isinstance(block, dict) and block.get("confidential") is True for block in blocks)
    if loc[0] == "confidential" or (loc[0] == "protect" and hidden):
        raise ValueError("is not tried: covers of confidential sites are alike in every plan, or they tell the site")


def _is_block(holder: Any, at: str | int) -> bool:
    """Whether a section or an entry of a list stands there."""
    return isinstance(holder, list) or isinstance(holder.get(at), (dict, list))


def _value(text: str) -> Any:
    """A number, a switch, a list or a table as TOML writes them; else the text itself."""
    try:
        value = tomllib.loads(f"v = {text}")["v"]
    except tomllib.TOMLDecodeError:
        return text
    return value if isinstance(value, (bool, int, float, str, list, dict)) else text
