"""What each column of a file was taken for, and by what: its name, its values or a setting."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import islice
from typing import Final, Literal

from invasimap.inputs.fields import NAMES, Column, column_of, find_columns, header_words, match_name
from invasimap.inputs.moments import is_full_date

MOST_TEXTS: Final = 200  # looked at in a column
_KNOWN_SHARE: Final = 0.5  # of its texts that are known plants make a column that of the species
_ANSWERS: Final = frozenset({"yes", "no", "y", "n", "true", "false"})
_VAGUE: Final = frozenset({"symbol", "code", "target", "subject", "invasive", "common"})
_NUMBER: Final = re.compile(r"[-+]?[\d.,]+")
_COVER: Final = re.compile(r"[<>≤≥~]?=?\s*\d+(?:\.\d+)?\s*%?\s*(?:(?:-|–|—|to)\s*\d+(?:\.\d+)?\s*)?%\s*\+?", re.I)  # noqa: RUF001
# percents of other things than the plant, and days of other things than the visit
_OTHER_PCT: Final = re.compile(
    r"slope|grade|shade|light|sun|mort|kill|control|effic|treat|humid|moist|soil|litter|bare|native|tree|overst|crown|"
    r"dead|done|compl|batt|conf|prob|qual|slp|rock|water|likel|certain|chance|freq|surviv|reduc|canopy|closure|"
    r"forest|stand",
    re.I,
)
_OTHER_DAY: Final = re.compile(
    r"edit|modif|updat|upload|sync|export|import|treat|spray|due|next|plan|expir|valid|birth|purch|enter|entry|burn|"
    r"harvest|prior|previous",
    re.I,
)


@dataclass(frozen=True)
class Recognised:
    """A column that fills a role, the unit its header gives and how it was recognised."""

    role: str
    column: str
    unit: str
    how: Literal["name", "values", "setting"]


def recognise(
    columns: Iterable[str],
    distinct_texts_of: Callable[[str], Iterable[str]],
    *,
    overrides: Mapping[str, str] | None = None,
    is_known_species: Callable[[str], bool],
) -> list[Recognised]:
    """The columns that fill each role, roles in the order of ``fields.NAMES``, the surest column of a role first.

    A setting stands alone for its role. A name comes next, for the species not that of a column which only answers yes
    or no. Only for species, cover and date, where no column has the name (or only a vague one such as "symbol", over
    texts that are no plants), do values tell: plants the catalogue knows, full dates, or percents in every cell. Two
    columns of dates or percents leave it open, and bare numbers say nothing.

    Parameters
    ----------
    columns
        Headers in file order.
    distinct_texts_of
        Distinct texts of a column; at most 200 that are not blank are looked at.
    overrides
        ``columns`` of the ``[[survey]]`` block: role to header.
    is_known_species
        Whether the catalogue knows a name.

    Examples
    --------
    >>> cells = {"What": ["Rosa multiflora", "?"], "How much": ["5 %", "25-50 %"], "Ht_ft": ["3"]}
    >>> for found in recognise(cells, cells.get, is_known_species={"Rosa multiflora"}.__contains__):
    ...     print(found.role, found.column, found.how)
    species What values
    cover How much values
    height Ht_ft name
    """
    columns = list(columns)
    named = find_columns(columns, overrides=overrides)
    settled = {role for role, wanted in (overrides or {}).items() if match_name(wanted, columns)}
    found = [
        Recognised(role, column.name, column.unit, "setting" if role in settled else "name")
        for role, those in named.items()
        for column in those
    ]
    texts = cache(lambda name: _some(distinct_texts_of(name)))
    if "species" not in settled:
        found = [one for one in found if one.role != "species" or not _says_yes_or_no(texts(one.column))]
    for role in ("species", "date", "cover"):
        said = [one for one in found if one.role == role and texts(one.column)]
        if role in settled or (said and not (role == "species" and _is_of_signs(said, texts, is_known_species))):
            continue
        taken = {one.column for one in found}
        free = {name: texts(name) for name in columns if name not in taken and texts(name)}
        if role == "species":
            # free text may be where the plant is written, as in the comment of a waypoint; it stays a note as well
            notes = {one.column: texts(one.column) for one in found if one.role == "notes" and texts(one.column)}
            name = _species_column(free, is_known_species) or _species_column(notes, is_known_species)
        else:
            name = _only(free, *_TOLD_BY[role])
        if name:
            found = [one for one in found if one not in said]
            found.append(Recognised(role, name, column_of(name, role).unit, "values"))
    order = {role: number for number, role in enumerate(NAMES)}
    return sorted(found, key=lambda one: order.get(one.role, len(order)))


def as_columns(found: Iterable[Recognised]) -> dict[str, list[Column]]:
    """The columns of each role, as ``fields.role_text`` takes them.

    Examples
    --------
    >>> as_columns([Recognised("height", "Ht_ft", "ft", "name")])
    {'height': [Column(name='Ht_ft', unit='ft')]}
    """
    columns: dict[str, list[Column]] = {}
    for one in found:
        columns.setdefault(one.role, []).append(Column(name=one.column, unit=one.unit))
    return columns


def _some(texts: Iterable[str]) -> list[str]:
    return list(islice((" ".join(text.split()) for text in texts if text.strip()), MOST_TEXTS))


def _species_column(columns: Mapping[str, Sequence[str]], is_known: Callable[[str], bool]) -> str:
    """The column with the largest share of known plants, if that is half of its texts or more; "" for none."""
    best, best_share = "", 0.0
    for name, texts in columns.items():
        share = 0.0 if all(map(_NUMBER.fullmatch, texts)) else sum(map(is_known, texts)) / len(texts)
        if share >= _KNOWN_SHARE and share > best_share:
            best, best_share = name, share
    return best


def _says_yes_or_no(texts: Sequence[str]) -> bool:
    """Whether a column only answers a question, such as whether the plant is invasive or a target."""
    return bool(texts) and all(text.casefold() in _ANSWERS for text in texts)


def _is_of_signs(
    said: Iterable[Recognised], texts: Callable[[str], list[str]], is_known: Callable[[str], bool]
) -> bool:  # fmt: skip
    """Whether the columns named for the species may be of other things, such as signs on a map, and name no plant."""
    return all(header_words(one.column)[0] in _VAGUE and not any(map(is_known, texts(one.column))) for one in said)


def _only(columns: Mapping[str, Sequence[str]], fits: Callable[[str], object], other: re.Pattern[str]) -> str:
    """The one column whose every text fits and whose header names nothing else; "" when there are several or none."""
    fitting = [name for name, texts in columns.items() if not other.search(name) and all(map(fits, texts))]
    return fitting[0] if len(fitting) == 1 else ""


_TOLD_BY: Final[dict[str, tuple[Callable[[str], object], re.Pattern[str]]]] = {
    "date": (is_full_date, _OTHER_DAY),
    "cover": (_COVER.fullmatch, _OTHER_PCT),
}
