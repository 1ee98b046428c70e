"""What each role of a record says: the cells of its columns, and of descriptions that list them."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final, get_args

import numpy as np
import pandas as pd

from invasimap.core.survey_settings import Role, SurveySection
from invasimap.inputs.cells import Cells
from invasimap.inputs.fields import Column, DecimalComma, find_columns, header_words, plain_number, with_unit
from invasimap.inputs.formats.raw import RawLayer
from invasimap.inputs.species import Catalogue

ROLES: Final = (*get_args(Role), "size", "bearing")
_WORDS: Final = ("species", "date", "observer", "notes")  # no numbers: a comma in them stays one
_PLACE: Final = ("lon", "lat")  # read by the formats
_LABELS: Final = ("type", "name", "title", "cmt", "desc", "description", "sym")
_PAIR: Final = re.compile(r"([^\W\d][\w ()%]*?)\s*[:=]\s*([^;|\n\r<>]+)")
_NO_SPECIES: Final = 'no column names the species: set columns = { species = "…" } in its [[survey]] block'
_TRIED: Final = 200  # names of a label that are looked up before it is taken for the species


@dataclass(frozen=True, kw_only=True)
class Roles:
    """Cells of every role, which columns they come from (column, role, unit), and what is to be said."""

    cells: dict[str, Cells]
    columns: list[tuple[str, str, str]]
    notes: list[str]


def role_cells(raw: RawLayer, section: SurveySection, species: Catalogue) -> Roles:
    """What each role of a layer's records says; the species may have to be found in a label."""
    overrides = {str(role): name for role, name in section.columns.items()}
    found = find_columns(raw.frame.columns, overrides=overrides)
    texts = {
        role: cells_of(raw.frame, found.get(role, ()), decimal_comma="never" if role in _WORDS else raw.decimal_comma)
        for role in ROLES
        if role not in _PLACE
    }
    for column in (c for c in raw.frame.columns if str(c).lower() in ("desc", "cmt", "description")):
        _take_pairs(Cells.of(raw.frame[column]), texts, found)
    notes = list(raw.notes)
    taken = [(column.name, role, column.unit) for role, columns in found.items() for column in columns]
    if "species" not in found and texts["species"].all_blank:
        for column in (c for label in _LABELS for c in raw.frame.columns if str(c).lower() == label):
            cells = Cells.of(raw.frame[column])
            known = [species.match(text).known for text in cells.used()[:_TRIED]]
            if known and np.mean(known) >= 0.5:
                texts["species"] = cells
                taken.append((str(column), "species", ""))
                notes.append(f"{raw.label}: species taken from column {column!r}")
                return Roles(cells=texts, columns=taken, notes=notes)
        notes.append(f"{raw.label}: {_NO_SPECIES}")
    return Roles(cells=texts, columns=taken, notes=notes)


def cells_of(frame: pd.DataFrame, columns: Iterable[Column], *, decimal_comma: DecimalComma = "never") -> Cells:
    """What a role's columns say: the first text that is not blank, with the header's unit where the cell has none."""
    found = Cells.same("", len(frame))
    for column in columns:
        cells = Cells.of(frame[column.name])
        if decimal_comma != "never":
            cells = cells.map(lambda text: plain_number(text, thousands=decimal_comma == "unless_thousands"))
        if column.unit:
            unit = column.unit
            cells = cells.map(lambda text, unit=unit: with_unit(text, unit))  # type: ignore[misc]
        found = cells if found.all_blank else found.or_else(cells)
    return found


def _take_pairs(cells: Cells, texts: dict[str, Cells], found: dict[str, Any]) -> None:
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


def _role_of(header: str) -> tuple[str, str]:
    found = find_columns([header.strip()])
    return next(iter(found), ""), header_words(header.strip())[1]
