"""Scales of canopy cover: the published ones, those of the settings, and which one a column is written in."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Final, Literal, NamedTuple

from invasimap.core.errors import Fault, SettingsError
from invasimap.inputs.fields import CLASS_UNIT

Own = Mapping[str, Mapping[str, tuple[float, float]]]  # [intake.cover_scales]: low and high percent by class
_NOT_KNOWN: Final = "its limits are not known: counted as 100 %; name them in [intake.cover_scales]"
_PERCENT_OR_CLASS: Final = (
    'it may be percent or a class: counted as 100 %; set cover_scale = "percent", "daubenmire", "braun-blanquet" or '
    "one of your own in its [[survey]] block"
)
_ARE_THEY: Final = "all covers are whole and under 8: percent or classes? They count as 100 %; set cover_scale"
_SAID_CLASS: Final = re.compile(r"class\b\s*(?=\S)", re.I)
_ENDS: Final = re.compile(r"(?<=[\d.])\s*(?:-|–|—|to)\s*")  # noqa: RUF001 (crews type all dashes)
_WHOLE_OF_CLASSES: Final = 7  # no published scale has higher numbers


@dataclass(frozen=True, kw_only=True)
class Scale:
    """How the cells of a column are to be read.

    ``classes`` has low, mid and high percent by the name of the class in lower case. ``marked`` says that only cells
    which ``fields.role_text`` marked as classes are read by it; ``how`` is what is said of a cell read by it.
    """

    name: str
    kind: Literal["percent", "fraction", "classes", "unknown"] = "classes"
    classes: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)
    marked: bool = False
    how: str = ""


class Choice(NamedTuple):
    """The scale of a column (None: percent) and a note to be said of the file ("" for none)."""

    scale: Scale | None = None
    note: str = ""


def class_key(name: str) -> str:
    """The name of a class or scale for comparing: lower case, single spaces."""
    return " ".join(name.casefold().split())


def _by_limits(limits: Mapping[str, tuple[float, float]]) -> dict[str, tuple[float, float, float]]:
    return {class_key(name): (low, (low + high) / 2, high) for name, (low, high) in limits.items()}


PERCENT: Final = Scale(name="percent", kind="percent")
FRACTION: Final = Scale(name="fraction", kind="fraction")
# Daubenmire (1959), six classes. Limits touch: a class includes its lower one, except the first: 0 is absent.
DAUBENMIRE: Final = Scale(
    name="daubenmire",
    classes=_by_limits(
        {"1": (0.0, 5.0), "2": (5.0, 25.0), "3": (25.0, 50.0), "4": (50.0, 75.0), "5": (75.0, 95.0), "6": (95.0, 100.0)}
    ),
)
# Braun-Blanquet (1964), with the midpoints commonly tabulated. For r (a single plant) and + (a few) no limits are
# published, only that they are tiny: 0 to 1 % is taken. Class 1 is "up to 5 %" and counts as 3 %.
BRAUN_BLANQUET: Final = Scale(
    name="braun-blanquet",
    classes={
        "r": (0.0, 0.1, 1.0), "+": (0.0, 0.5, 1.0), "1": (0.0, 3.0, 5.0), "2": (5.0, 15.0, 25.0),
        "3": (25.0, 37.5, 50.0), "4": (50.0, 62.5, 75.0), "5": (75.0, 87.5, 100.0),
    },
)  # fmt: skip
UNKNOWN: Final = Scale(name="", kind="unknown", marked=True, how=_NOT_KNOWN)
_PUBLISHED: Final = {scale.name: scale for scale in (PERCENT, FRACTION, DAUBENMIRE, BRAUN_BLANQUET)}


def scale_for(name: str, own: Own) -> Scale:
    """A scale by its name: the user's own first (``[intake.cover_scales]``), then the published ones.

    Raises
    ------
    SettingsError
        When there is none of that name; it names those there are.

    Examples
    --------
    >>> scale_for("Daubenmire", {}).classes["3"]
    (25.0, 37.5, 50.0)
    >>> scale_for("county", {"county": {"trace": (0.0, 1.0)}}).classes["trace"]
    (0.0, 0.5, 1.0)
    """
    for known, limits in own.items():
        if class_key(known) == class_key(name):
            return Scale(name=known, classes=_by_limits(limits))
    found = _PUBLISHED.get(class_key(name).replace(" ", "-"))
    if found is None:
        there = ", ".join([*own, *_PUBLISHED])
        raise SettingsError(
            Fault(where=f"cover_scale = {name!r}", what="no scale has this name", mend=f"there are: {there}")
        )
    return found


def choose_scale(
    header: str, texts: Iterable[str], *, own: Own, wanted: str | None = None, filled: int | None = None
) -> Choice:
    """How a whole column of cover is written: as the setting says, as its header says, or as only its cells can mean.

    Parameters
    ----------
    header
        Names of the columns the cells are taken from, joined with ", ".
    texts
        The distinct texts as ``fields.role_text`` gives them.
    own
        ``[intake.cover_scales]``.
    wanted
        ``cover_scale`` of the ``[[survey]]`` block.
    filled
        How many cells are not blank, where ``texts`` are distinct; the number of texts when not given.

    Examples
    --------
    >>> choose_scale("cover", ["+", "1", "4"], own={}).scale.name
    'braun-blanquet'
    >>> choose_scale("cover", ["0.35", "0.5", "1"], own={}).scale.name
    'fraction'
    >>> choose_scale("CoverClass", ["3 class", "1 class"], own={}).scale.kind
    'unknown'
    """
    if wanted is not None:
        return Choice(scale_for(wanted, own))
    filled_texts = [text for text in texts if text]
    marked = any(is_marked(text) for text in filled_texts)
    if scale := _named_by(header, own):
        return Choice(replace(scale, marked=marked))
    cells = [bare_cell(text) for text in filled_texts if is_marked(text) or not marked]
    fitting = _fitting(cells, own)
    if len(fitting) == 1:
        return Choice(replace(fitting[0], marked=marked), f"cover is read as classes of the scale {fitting[0].name!r}")
    if fitting:
        names = " or ".join(repr(scale.name) for scale in fitting)
        how = f"it may be of the scale {names}: counted as 100 %; set cover_scale in its [[survey]] block"
        return Choice(replace(UNKNOWN, marked=marked, how=how))
    return Choice(UNKNOWN) if marked else _of_numbers(cells, filled=len(cells) if filled is None else filled)


def is_marked(text: str) -> bool:
    """Whether a text comes from a column of classes, or says itself that it is a class."""
    return text.endswith(f" {CLASS_UNIT}") or bool(_SAID_CLASS.match(text))


def bare_cell(text: str) -> str:
    """A cell without the mark of its column and without the word class before its name."""
    return _SAID_CLASS.sub("", text.removesuffix(f" {CLASS_UNIT}").strip())


def _named_by(header: str, own: Own) -> Scale | None:
    """The scale that a header names: an own one, or a published one by its usual short forms."""
    words = re.findall(r"[^\W_]+", re.sub(r"(?<=[a-z])(?=[A-Z])", " ", header).lower())
    run = " ".join("".join(re.findall(r"[^\W_]+", part.lower())) for part in header.split(","))
    for name in own:
        key = "".join(re.findall(r"[^\W_]+", name.lower()))
        if key in words or (len(key) > 3 and key in run):
            return scale_for(name, own)
    if "daub" in run:
        return DAUBENMIRE
    if "bb" in words or "braunbl" in run:
        return BRAUN_BLANQUET
    return FRACTION if any(word.startswith(("frac", "proport")) for word in words) or "fraction" in run else None


def _fitting(cells: list[str], own: Own) -> list[Scale]:
    """The scales that have all cells as names; r or + among numbers are no percents."""
    keys = {class_key(cell) for cell in cells}
    fitting = [scale for name in own if keys and keys <= set((scale := scale_for(name, own)).classes)]
    codes = keys & {"r", "+"} and keys - {"r", "+"}
    return fitting or ([BRAUN_BLANQUET] if codes and keys <= set(BRAUN_BLANQUET.classes) else [])


def _of_numbers(cells: list[str], *, filled: int) -> Choice:
    """Whether numbers without a unit are fractions; a note where they, or percents, leave a doubt."""
    percents = [cell.endswith("%") for cell in cells]
    ends = [_ENDS.split(cell.removesuffix("%")) for cell in cells]
    try:
        numbers = [float(end) for pair in ends for end in pair]
    except ValueError:
        return Choice()
    ranges = len(numbers) > len(cells)
    whole = all(number % 1 == 0 for number in numbers)
    if not whole and min(numbers) >= 0 and max(numbers) <= 1:
        if filled >= 3 and not any(percents) and not ranges:
            return Choice(replace(FRACTION, how="read as a fraction"))
        return Choice(note='no cover is above 1 %: are they fractions? Then set cover_scale = "fraction"')
    if (
        filled >= 5
        and whole
        and len(set(numbers)) >= 3
        and max(numbers) <= _WHOLE_OF_CLASSES
        and not (ranges or any(percents))
    ):
        return Choice(replace(UNKNOWN, marked=False, how=_PERCENT_OR_CLASS), note=_ARE_THEY)
    return Choice()
