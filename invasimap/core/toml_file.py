"""Reads a ``tract.toml`` and reports every fault in it with its line."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from invasimap.core.errors import Fault, InputError, SettingsError
from invasimap.core.settings import Tract, words_needed
from invasimap.core.survey_settings import COVER_SCALES, Role

_TABLE = re.compile(r"\s*\[(\[?)\s*([\w.\-\"' ]+?)\s*\]\]?\s*(?:#.*)?")
_SECRET = re.compile("postgres|postgis|PG:|password", re.I)  # of what is typed, it may hold a password
_NO_KEYS = ("where", "columns", "allows", "cover_scales")  # what stands in them is named as in the files
_KEY = re.compile(r"\s*([\w\-]+|\"[^\"]+\")\s*=")


def read_tract(path: str | Path) -> Tract:
    """Read and check a settings file.

    Parameters
    ----------
    path
        A ``tract.toml`` or the folder that holds it.

    Raises
    ------
    SettingsError
        Lists every unknown key (with the nearest known one), missing key and bad value, with file and line.
    """
    tract, faults = read_settings(path)
    if tract is None or faults:
        raise SettingsError(faults)
    return tract


def read_settings(path: str | Path) -> tuple[Tract | None, list[Fault]]:
    """The settings as far as they are right, with every fault in them.

    A block or section with a fault is left out, so that the files which the others name can still be looked at; nothing
    is left where the rest cannot stand without it.

    Raises
    ------
    SettingsError
        When the file cannot be read or is not TOML.
    """
    file = Path(path)
    if file.is_dir():
        file = file / "tract.toml"
    text = _text_of(file)
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        mend = (
            "in a path write / or use single quotes: 'C:\\data'"
            if "\\" in text
            else "check quotes, commas and brackets"
        )
        raise SettingsError(Fault(where=str(file), what=f"is not valid TOML: {error}", mend=mend)) from error
    lines = line_map(text)
    faults: list[Fault] = []
    left_out: set[str] = set()
    while True:
        tract, wrong = _checked(table)
        in_order = sorted(wrong, key=lambda detail: _line(lines, detail["loc"]))
        faults = faults or [_fault(file, lines, detail) for detail in in_order]
        if tract is not None:
            tract._file = file.resolve()
            tract._left_out = frozenset(left_out)
            return tract, faults
        left_out |= {str(detail["loc"][0]) for detail in wrong if detail["loc"]}
        if not _take_out(table, wrong):
            return None, faults


def _checked(table: dict[str, Any]) -> tuple[Tract | None, list[Any]]:
    """The settings, or every fault that their types, and names known elsewhere, show."""
    unknown = _unknown_names(table)
    try:
        tract = Tract.model_validate(table)
    except ValidationError as error:
        return None, [*error.errors(), *unknown]
    unknown += _without_words(tract)
    return (None, unknown) if unknown else (tract, [])


def _without_words(tract: Tract) -> list[dict[str, Any]]:
    """A fault for each confidential block where no words hide it."""
    if tract.confidential is not None:
        return []
    rows = [row for row, block in enumerate(tract.protect) if block.confidential]
    what = f"nothing hides its place: {words_needed()}" if rows else ""
    return [
        {"loc": ("protect", row, "confidential"), "type": "value_error", "msg": what, "input": None} for row in rows
    ]


def _unknown_names(table: dict[str, Any]) -> list[dict[str, Any]]:
    """Faults of systems and cover scales that are named and not known, as pydantic tells its own."""
    from invasimap.core.crs import read_crs  # takes a second, and few settings name a system

    found = []
    for loc, text in _named(table, ("crs", "elevation_crs")):
        try:
            read_crs(text, where="")
        except InputError as error:
            found.append((loc, f"{error.faults[0].what}: {error.faults[0].mend}"))
    intake = table.get("intake")
    own = intake.get("cover_scales") if isinstance(intake, dict) else None
    known = [*COVER_SCALES, *(own if isinstance(own, dict) else ())]
    for loc, text in _named(table, ("cover_scale",)):
        if _plain(text) not in map(_plain, known):
            found.append((loc, f"cover_scale {text!r} is not known: there are {', '.join(known)}"))
    return [{"loc": loc, "type": "value_error", "msg": what, "input": None} for loc, what in found]


def _named(holder: Any, keys: tuple[str, ...], at: tuple[str | int, ...] = ()) -> Iterator[tuple[Any, str]]:
    """Texts of some keys anywhere in the settings, with their paths; names of columns and values are no keys."""
    pairs = holder.items() if isinstance(holder, dict) else enumerate(holder) if isinstance(holder, list) else ()
    for key, value in pairs:
        if key in keys and isinstance(value, str):
            yield (*at, key), value
        elif key not in _NO_KEYS:
            yield from _named(value, keys, (*at, key))


def _plain(name: str) -> str:
    """The name of a scale for comparing."""
    return "-".join(name.casefold().split())


def _take_out(table: dict[str, Any], wrong: list[Any]) -> bool:
    """Take every block with a fault out of the settings; whether any was there to take."""
    places = {_block_of(detail["loc"], unknown=detail["type"] == "extra_forbidden") for detail in wrong}
    taken = 0
    for place in sorted(places, key=_order, reverse=True):  # of a list the last first, so that numbers stay true
        holder: Any = table
        for part in place[:-1]:
            holder = holder[part] if _holds(holder, part) else None
        if place and _holds(holder, place[-1]):
            del holder[place[-1]]
            taken += 1
    return taken > 0


def _block_of(loc: tuple[str | int, ...], *, unknown: bool) -> tuple[str | int, ...]:
    """The block of ``[[...]]`` or section that a fault lies in; of an unknown key the key alone."""
    if unknown:
        return loc
    numbers = [place for place, part in enumerate(loc) if isinstance(part, int)]
    return loc[: numbers[0] + 1] if numbers and numbers[0] == 1 else loc[:1] if len(loc) < 3 else loc[:2]


def _order(place: tuple[str | int, ...]) -> list[tuple[int, str]]:
    return [(part, "") if isinstance(part, int) else (-1, part) for part in place]


def _holds(holder: Any, part: str | int) -> bool:
    if isinstance(part, int):
        return isinstance(holder, list) and part < len(holder)
    return isinstance(holder, dict) and part in holder


def line_map(text: str) -> dict[tuple[str | int, ...], int]:
    """Line number of every table and key of a TOML text, by its path; inline tables count as their key's line.

    Examples
    --------
    >>> line_map('[tract]\\nname = "A"\\n[[mix]]\\nrate = "1 % v/v"')[("mix", 0, "rate")]
    4
    """
    found: dict[tuple[str | int, ...], int] = {}
    counts: dict[tuple[str | int, ...], int] = {}
    table: tuple[str | int, ...] = ()
    for number, line in enumerate(text.splitlines(), 1):
        if match := _TABLE.fullmatch(line):
            path: tuple[str | int, ...] = tuple(part.strip().strip("\"'") for part in match[2].split("."))
            if match[1]:
                index = counts.get(path, -1) + 1
                counts[path] = index
                found.setdefault(path, number)
                path = (*path, index)
            table = path
            found[table] = number
        elif match := _KEY.match(line):
            found.setdefault((*table, match[1].strip('"')), number)
    return found


def _text_of(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise SettingsError(
            Fault(where=str(file), what="there is no such settings file", mend="name a tract.toml or its folder")
        ) from None
    except UnicodeDecodeError as error:
        raise SettingsError(
            Fault(
                where=str(file),
                what=f"is not UTF-8 text ({error.reason} at byte {error.start})",
                mend="save it as UTF-8",
            )
        ) from error
    except OSError as error:
        raise SettingsError(Fault(where=str(file), what=f"cannot be read: {error.strerror}")) from error


def _fault(file: Path, lines: dict[tuple[str | int, ...], int], detail: Any) -> Fault:
    loc: tuple[str | int, ...] = tuple(part for part in detail["loc"] if part != "[key]")
    where = f"{file}:{_line(lines, loc)}: {_dotted(loc)}"
    if detail["type"] == "extra_forbidden":
        return Fault(where=where, what=f"unknown key {loc[-1]!r}", mend=_nearest(loc))
    if detail["type"] == "missing":
        return Fault(where=where, what="is missing", mend=_why_needed(loc))
    if detail["loc"][-1:] == ("[key]",) and "columns" in loc:
        near = difflib.get_close_matches(str(loc[-1]), get_args(Role), n=1, cutoff=0.5)
        mend = f"did you mean {near[0]!r}?" if near else f"there are: {', '.join(get_args(Role))}"
        return Fault(where=where, what=f"columns has no {loc[-1]!r}", mend=mend)
    message = str(detail["msg"]).removeprefix("Value error, ")
    secret = loc[-1:] == ("words",) or _SECRET.search(repr(detail["input"]))
    if not detail["type"].startswith("value_error") and not secret:
        message += f" (it is {detail['input']!r})"
    return Fault(where=where, what=message)


def _line(lines: dict[tuple[str | int, ...], int], loc: tuple[str | int, ...]) -> int:
    """The line of a setting, else of the nearest that holds it."""
    return next((lines[loc[:n]] for n in range(len(loc), 0, -1) if loc[:n] in lines), 1)


def _dotted(loc: tuple[str | int, ...]) -> str:
    return "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in loc).lstrip(".") or "tract"


def _nearest(loc: tuple[str | int, ...]) -> str:
    known = _known_keys(loc[:-1])
    near = difflib.get_close_matches(str(loc[-1]), known, n=1, cutoff=0.5)
    return f"did you mean {near[0]!r}?" if near else f"known here: {', '.join(known)}"


def _known_keys(loc: tuple[str | int, ...]) -> list[str]:
    model: Any = Tract
    for part in loc:
        if not isinstance(part, int):
            fields = {field.alias or name: field for name, field in model.model_fields.items()}
            model = _model_in(fields[part].annotation) if part in fields else None
        if model is None:
            return []
    return sorted(field.alias or name for name, field in model.model_fields.items())


def _model_in(annotation: Any) -> type[BaseModel] | None:
    for candidate in (annotation, *get_args(annotation)):
        if isinstance(candidate, type) and issubclass(candidate, BaseModel):
            return candidate
    return None


def _why_needed(loc: tuple[str | int, ...]) -> str:
    if loc[-1] == "no_spray":
        return "type the distance from your label or rule; there is no default"
    if loc[-2:] == ("atv", "hose_length"):
        return 'type the length of the hose on the ATV; "0 ft" where it has none'
    if loc == ("confidential", "words"):
        return words_needed()
    if loc[0] == "mix":
        return "type this from the label"
    return "see the settings in README.md"
