"""What each role of a record says: the cells of its columns, and of descriptions that list them."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Final, get_args

import pandas as pd

from invasimap.core.survey_settings import Role, SurveySection
from invasimap.inputs.cells import Cells
from invasimap.inputs.decimal_marks import settle_marks
from invasimap.inputs.fields import (
    Column,
    DecimalComma,
    find_columns,
    header_words,
    of_stems,
    set_apart,
    with_unit,
)
from invasimap.inputs.formats.raw import RawLayer
from invasimap.inputs.recognise import MOST_TEXTS, Recognised, as_columns, recognise
from invasimap.inputs.species import NONE_FOUND, Catalogue

ROLES: Final = (*get_args(Role), "size", "bearing")
_WORDS: Final = ("species", "date", "observer", "notes")  # no numbers: a comma in them stays one
_PLACE: Final = ("lon", "lat")  # read by the formats
_LONGEST: Final = 200  # signs of a cell that is a number: patterns take the cube of what they look through
_LONGEST_WORDS: Final = 1_000
_PAIR: Final = re.compile(r"([^\W\d][\w ()%]{0,60}?)\s{0,9}[:=]\s*([^;|\n\r<>]+)")
# parts of a receiver's comment that can mean one thing alone: a percent and nothing else, a size with its unit
_PART: Final = re.compile(r"[;|\n\r]|,\s|\.\s")
_BARE: Final = {
    "cover": re.compile(r"(\d{1,3}(?:[.,]\d+)?\s?%)"),
    "radius": re.compile(r"radius\s(\d{1,4}(?:[.,]\d+)?\s?(?:m|ft|feet|yd|metres?|meters?|yards?))", re.I),
    "diameter": re.compile(r"diameter\s(\d{1,4}(?:[.,]\d+)?\s?(?:m|ft|feet|yd|metres?|meters?|yards?))", re.I),
}
_ANOTHER_PLANT: Final = re.compile(
    r"(?:second(?:ary)?|third|other|additional|also|2nd|3rd)?(?:invasive|target|weed|plant)?(?:species|spp|sp|plant|weed)s?\d?"
)
_STEM: Final = re.compile(r"[^'ft]*\d\s*(?:cm|mm|in|inch|inches|\")\.?", re.I)
_NOT_SAID: Final = frozenset({"n/a", "na", "nan", "null", "#n/a", "-", "--", "no data", "not recorded"})
_PRESENCE: Final = frozenset({
    "occurrencestatus", "presence", "present", "presenceabsence", "presentabsent", "presabs", "detected", "detection",
    "speciespresent", "plantpresent", "invasivepresent", "invasivespresent",
})  # fmt: skip
_ABSENT: Final = frozenset({"absent", "absence", "no", "n", "0", "false", "none", "not detected", "not found"})
_NO_SPECIES: Final = 'no column names the species: set columns = { species = "…" } in its [[survey]] block'


@dataclass(frozen=True, kw_only=True)
class Roles:
    """Cells of every role, what each column was taken for, the headers of the cover, and what is to be said."""

    cells: dict[str, Cells]
    columns: list[Recognised]
    notes: list[str]

    @property
    def cover_header(self) -> str:
        """The names of the columns that the cover is taken from."""
        return ", ".join(one.column for one in self.columns if one.role == "cover")


@dataclass(kw_only=True)
class _Marks:
    """Decimal and thousands signs of a layer's columns of numbers, and what was said of them."""

    comma: DecimalComma
    elsewhere: Callable[[], Iterable[str]]
    said: list[str] = field(default_factory=list)

    def settled(self, name: str, cells: Cells) -> Cells:
        """The cells of a column with points for decimals."""
        found = settle_marks(cells.texts, comma=self.comma, elsewhere=self.elsewhere)
        self.said += [f"column {name!r}: {found.said}, by its other numbers"] if found.said else []
        return cells if found.texts == cells.texts else cells.with_texts(found.texts)


def role_cells(raw: RawLayer, section: SurveySection, species: Catalogue) -> Roles:
    """What each role of a layer's records says, of columns recognised by a setting, their names or their values."""
    overrides = {str(role): name for role, name in section.columns.items()}
    read = cache(lambda name: Cells.of(raw.frame.loc[:, name]))
    wordy = dict.fromkeys(str(name) for name in raw.frame.columns if raw.frame[name].dtype.kind != "f")
    known = recognise(
        raw.frame.columns,
        lambda name: _shortened(read(name)).texts if name in wordy else (),
        overrides=overrides,
        is_known_species=lambda text: (match := species.match(text)).known or match.native,
    )
    nameless = [one for one in known if one.role == "area" and one.how == "name" and _has_no_number(read(one.column))]
    stems = [one for one in known if one.role == "diameter" and one.how == "name" and _is_of_stems(read(one.column))]
    known = [one for one in known if one not in (*nameless, *stems)]
    found = as_columns(known)
    if section.cover_scale is not None:  # a unit of the header would make percents of classes
        found["cover"] = [replace(column, unit="") for column in found.get("cover", ())]
    numbers = [one.column for one in known if one.role not in _WORDS and one.column in wordy]
    marked = _Marks(comma=raw.decimal_comma, elsewhere=lambda: (t for n in numbers for t in read(n).texts[:MOST_TEXTS]))
    texts = {
        role: _first_said(
            [(column, _shortened(read(column.name), _longest(role))) for column in found.get(role, ())],
            role=role,
            count=len(raw.frame),
            marks=None if role in _WORDS else marked,
        )
        for role in ROLES
        if role not in _PLACE
    }
    texts["notes"] = _all_said([(column, read(column.name)) for column in found.get("notes", ())], count=len(raw.frame))
    for name in (name for name in wordy if name.lower() in ("desc", "cmt", "description")):
        _take_pairs(read(name), texts, found)
    bare = [_take_bare(name, read(name), texts, found) for name in wordy if name.lower() in ("desc", "cmt")]
    notes = [*raw.notes, *(f"{raw.label}: {said}" for one in bare for said in one)]
    notes += [*(f"{raw.label}: column {name!r} is not used: {why}" for name, why in set_apart(wordy))]
    notes += [f"{raw.label}: {said}" for said in marked.said]
    notes += [f"{raw.label}: {one.role} taken from column {one.column!r}" for one in known if one.how == "values"]
    notes += [f"{raw.label}: column {one.column!r} is not used as an area: no cell has a number" for one in nameless]
    notes += _stem_notes(raw, stems, {one.column for one in known})
    notes += _more_plants(raw.label, wordy, read, known=known, species=species)
    if texts["species"].all_blank and len(raw.frame) and len(raw.frame.columns):
        notes.append(f"{raw.label}: {_NO_SPECIES}")
    return Roles(cells=texts, columns=known, notes=notes)


def _stem_notes(raw: RawLayer, stems: list[Recognised], taken: set[str]) -> list[str]:
    """What to say of columns of diameters that are in a stem's unit, by their header or in every cell."""
    names = [*of_stems(map(str, raw.frame.columns)), *(one.column for one in stems)]
    why = "in its unit a stem's diameter is written, not a patch's"
    return [f"{raw.label}: column {name!r} is not used: {why}" for name in names if name not in taken]


def said_absent(raw: RawLayer) -> Cells:
    """Why a record is none: a column of presence, such as Darwin Core's occurrenceStatus, says that it is absent."""
    reason = Cells.same("", len(raw.frame))
    for name in raw.frame.columns:
        if header_words(str(name))[0] in _PRESENCE:
            cells = Cells.of(raw.frame[name])
            said = [f"{name} {text}: {NONE_FOUND}" if text.casefold() in _ABSENT else "" for text in cells.texts]
            reason = reason.or_else(cells.with_texts(said))
    return reason


def _has_no_number(cells: Cells) -> bool:
    """Whether a column holds words only, as one of places does: "North Woods"."""
    return not cells.all_blank and not any(sign.isdigit() for text in cells.texts for sign in text)


def _is_of_stems(cells: Cells) -> bool:
    """Whether every cell of a diameter is in centimetres or inches, as a stem's is."""
    return not cells.all_blank and all(map(_STEM.fullmatch, cells.used()))


def _more_plants(
    label: str, columns: Iterable[str], read: Callable[[str], Cells], *, known: list[Recognised], species: Catalogue
) -> list[str]:  # fmt: skip
    """What to say of columns such as "Species 2" that name plants and are not read."""
    taken = {one.column for one in known}
    found = [
        name
        for name in columns
        if name not in taken and _ANOTHER_PLANT.fullmatch(header_words(name)[0])
        and any(species.match(text).known for text in _shortened(read(name)).texts[:MOST_TEXTS] if text)
    ]  # fmt: skip
    return [
        f"{label}: column {name!r} names invasive plants and is not read: write one record for each plant"
        for name in found
    ]


def _first_said(
    columns: Iterable[tuple[Column, Cells]], *, role: str, count: int, marks: _Marks | None
) -> Cells:  # fmt: skip
    """What a role's columns say: the first text that is not blank, with the header's unit where the cell has none."""
    found = Cells.same("", count)
    for column, read in columns:
        cells = read
        if role not in _WORDS:
            cells = cells.map(lambda text: "" if text.casefold() in _NOT_SAID else text)
        if marks is not None:
            cells = marks.settled(column.name, cells)
        if column.unit:
            unit = column.unit
            cells = cells.map(lambda text, unit=unit: with_unit(text, unit))  # type: ignore[misc]
        found = cells if found.all_blank else found.or_else(cells)
    return found


def _all_said(columns: Iterable[tuple[Column, Cells]], *, count: int) -> Cells:
    """What several columns say, one after the other; what was said before is not said again."""
    parts = [cells for _, cells in columns]
    if len(parts) < 2:
        return parts[0] if parts else Cells.same("", count)
    rows = zip(*(cells.to_numpy().tolist() for cells in parts), strict=True)
    return Cells.of(pd.Series(["; ".join(dict.fromkeys(filter(None, row))) for row in rows], dtype=object))


def _longest(role: str) -> int:
    """How many signs of a cell count: notes are kept whole."""
    if role == "notes":
        return sys.maxsize
    return _LONGEST_WORDS if role in _WORDS else _LONGEST


def _shortened(cells: Cells, longest: int = _LONGEST) -> Cells:
    """The cells with texts over ``longest`` signs cut."""
    if max(map(len, cells.texts), default=0) <= longest:
        return cells
    return cells.map(lambda text: text if len(text) <= longest else f"{text[:longest]}…")


def _take_pairs(cells: Cells, texts: dict[str, Cells], found: dict[str, list[Column]]) -> None:
    """Read "cover: 25 %; radius = 10 ft" in a description into the roles that have no column."""
    said: dict[str, list[str]] = {}
    for number, cell in enumerate(cells.texts):
        for header, value in _PAIR.findall(cell):
            role, unit = _role_of(header)
            if role in texts and role not in found:
                values = said.setdefault(role, [""] * len(cells.texts))
                values[number] = values[number] or with_unit(value.strip(), unit)
    for role, values in said.items():
        texts[role] = texts[role].or_else(cells.with_texts(values))


def _take_bare(name: str, cells: Cells, texts: dict[str, Cells], found: dict[str, list[Column]]) -> list[str]:
    """Read "30%" and "radius 10 m" of a receiver's comment into the roles that have no column; gives what to say of it.

    A cell that says two percents, or two radii, says none.
    """
    notes = []
    for role in (role for role in _BARE if role in texts and role not in found):
        said = [_only(_BARE[role], cell) for cell in cells.texts]
        if any(said):
            before = texts[role]
            texts[role] = before.or_else(cells.with_texts(said))
            count = int((before.blank & ~texts[role].blank).sum())
            records = "record" if count == 1 else "records"
            notes += [f"{role} of {count} {records} read from column {name!r}"] if count else []
    return notes


def _only(pattern: re.Pattern[str], cell: str) -> str:
    """The one part of a comment that is of a pattern, or an empty text."""
    hits = [match[1] for part in _PART.split(cell[:_LONGEST_WORDS]) if (match := pattern.fullmatch(part.strip(" .")))]
    return hits[0] if len(hits) == 1 else ""


def _role_of(header: str) -> tuple[str, str]:
    found = find_columns([header.strip()])
    return next(iter(found), ""), header_words(header.strip())[1]
