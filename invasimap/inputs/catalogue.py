"""The rows of the plant catalogue: those that come with the package, and over them a file of the user's own."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from importlib import resources
from pathlib import Path
from typing import Final

import pandas as pd

from invasimap.core.errors import Fault, LayerError
from invasimap.inputs.formats.raw import read_bytes
from invasimap.inputs.formats.tables import decode, sniff
from invasimap.inputs.name_index import NameIndex, split_cell
from invasimap.inputs.plant_words import JOINER, is_author, name_key, name_words, plain_name

SHIPPED: Final = {"species.csv": "invasive", "natives.csv": "native", "common_natives.csv": "native"}
STATUSES: Final = ("invasive", "native", "ignore")
COLUMNS: Final = (
    "status", "author", "symbol", "symbol_status", "synonyms", "common_names", "life_form", "leaf_persistence",
    "leaf_surface", "resprouts_after_cut", "spreads_vegetatively", "seedbank_years_low", "seedbank_years_high",
    "monitoring_years_default", "caution", "looks_like", "told_apart", "sources",
)  # fmt: skip
_ALSO: Final = {
    **dict.fromkeys(("species", "latin_name", "taxon", "scientificname"), "scientific_name"),
    **dict.fromkeys(("common_name", "commonname", "commonnames"), "common_names"),
    **dict.fromkeys(("usda_symbol", "plants_symbol", "code"), "symbol"),
    "synonym": "synonyms", "authors": "author", "source": "sources",
}  # fmt: skip
_ROLES: Final = frozenset({"scientific_name", *COLUMNS})
_MOST_NAMED: Final = 4
_OWN_SOURCE: Final = "own plant file"

Cells = dict[str, str]


@dataclass(frozen=True, kw_only=True)
class _Row:
    """A row of a user's file: its line, the plant's name and the cells that are filled."""

    line: int
    name: str
    cells: Cells

    def names(self) -> Iterator[str]:
        """The scientific name and the synonyms."""
        yield self.name
        yield from split_cell(self.cells.get("synonyms", ""))


def catalogue_table(own: Path | None = None) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """The plants, indexed by scientific name with every cell as text, and what a file of the user's own has changed.

    Raises
    ------
    LayerError
        When the file is missing, has no column ``scientific_name``, or lists a name, symbol or status that cannot be.
    """
    table = _shipped()
    if own is None:
        return table, ()
    label = own.name
    read, unread = _read_own(own, label=label)
    index = NameIndex(table)
    rows, notes = _accepted(read, index, label)
    if faults := [
        *_group_faults(rows, index, label),
        *_status_faults(rows, label),
        *_name_faults(rows, label),
        *_symbol_faults(rows, label),
    ]:
        raise LayerError(sorted(faults, key=_line_of))
    table, changes = _laid_over(table, rows, label)
    unread_notes = [f"{label}: columns not read: {', '.join(unread)}"] if unread else []
    return table, (*notes, *changes, *unread_notes)


def _shipped() -> pd.DataFrame:
    """The rows that come with the package."""
    rows = []
    for name, status in SHIPPED.items():
        text = resources.files("invasimap.inputs").joinpath("data", name).read_text(encoding="utf-8")
        rows += [{"status": status, **row} for row in csv.DictReader(io.StringIO(text))]
    return _as_table({row.pop("scientific_name"): row for row in rows})


def _as_table(rows: dict[str, Cells]) -> pd.DataFrame:
    table = pd.DataFrame.from_dict(rows, orient="index", dtype=object).reindex(columns=list(COLUMNS)).fillna("")
    return table.rename_axis("scientific_name")


def _read_own(path: Path, *, label: str) -> tuple[list[_Row], list[str]]:
    """The rows of a user's file, and headers that mean nothing here."""
    if not path.is_file():
        raise LayerError(Fault(where=label, what="there is no such file", mend="check the name and its folder"))
    try:
        text, _ = decode(read_bytes(path, label=label), label=label)
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=sniff(text))
        lines = [(reader.line_num, [cell.strip() for cell in row]) for row in reader if any(map(str.strip, row))]
    except (csv.Error, UnicodeError) as error:
        raise LayerError(Fault(where=label, what=f"cannot be read: {error}", mend="export it as CSV")) from error
    headers = [_role(cell) for cell in lines[0][1]] if lines else []
    if "scientific_name" not in headers:
        shown = ", ".join(lines[0][1]) if lines else "none"
        mend = f"name one column so; its columns are: {shown}"
        raise LayerError(Fault(where=label, what="has no column scientific_name", mend=mend))
    unread = [cell for cell, role in zip(lines[0][1], headers, strict=True) if cell and role not in _ROLES]
    faults = [fault for line, cells in lines[1:] if (fault := _shape_fault(cells, headers, f"{label}, line {line}"))]
    if faults:
        raise LayerError(faults)
    return [_row(line, dict(zip(headers, cells, strict=False))) for line, cells in lines[1:]], unread


def _role(header: str) -> str:
    name = re.sub(r"[^a-z]+", "_", header.lower()).strip("_")
    return _ALSO.get(name, name)


def _shape_fault(cells: list[str], headers: list[str], where: str) -> Fault | None:
    if len(cells) > len(headers):
        return Fault(
            where=where, what=f"has {len(cells)} cells for {len(headers)} columns",
            mend="put quotes round a cell that holds the delimiter",
        )  # fmt: skip
    name = plain_name(dict(zip(headers, cells, strict=False)).get("scientific_name", ""))
    if not name_key(name):
        return Fault(where=where, what="has no scientific name", mend="write one, or take the row out")
    if JOINER in name:
        return Fault(
            where=where, what=f"scientific name {name!r} holds {JOINER!r}", mend="write one row for each plant"
        )
    return None


def _row(line: int, cells: Cells) -> _Row:
    name = " ".join(plain_name(cells["scientific_name"]).split())
    filled = {role: text for role, text in cells.items() if role in COLUMNS and text}
    if "status" in filled:
        filled["status"] = filled["status"].lower()
    if "symbol" in filled:
        filled["symbol"] = filled["symbol"].upper()
    return _Row(line=line, name=name, cells=filled)


def _status_faults(rows: list[_Row], label: str) -> list[Fault]:
    return [
        Fault(
            where=f"{label}, line {row.line}", what=f"status {row.cells['status']!r} is not known",
            mend=f"it may be {', '.join(STATUSES)} or blank",
        )
        for row in rows if row.cells.get("status", STATUSES[0]) not in STATUSES
    ]  # fmt: skip


def _group_faults(rows: list[_Row], index: NameIndex, label: str) -> list[Fault]:
    """Common names of several plants where a scientific name belongs."""
    faults = []
    for row in rows:
        taxa = index.group(row.name)
        if taxa and not any(name_words(taxon)[0] == name_key(row.name) for taxon in taxa):
            what = (
                f"{row.name!r} is a group's name, no scientific one: it is of {', '.join(sorted(taxa)[:_MOST_NAMED])}"
            )
            what += f" and {len(taxa) - _MOST_NAMED} more" * (len(taxa) > _MOST_NAMED)
            mend = "write the scientific name, and the common one under common_names"
            faults.append(Fault(where=f"{label}, line {row.line}", what=what, mend=mend))
    return faults


def _name_faults(rows: list[_Row], label: str) -> list[Fault]:
    """Names that stand in two rows which do not say the same."""
    faults = []
    first: dict[str, _Row] = {}
    for row in rows:
        for name in row.names():
            other = first.setdefault(name_key(name), row)
            same = name_key(other.name) == name_key(row.name)
            differ = sorted(role for role in row.cells if other.cells.get(role, row.cells[role]) != row.cells[role])
            if same and not differ:
                continue
            what = f"also stands in line {other.line} with another {', '.join(differ)}"
            what = what if same else f"stands for {other.name} in line {other.line} and for {row.name} here"
            faults.append(Fault(where=f"{label}, line {row.line}", what=f"{name!r} {what}", mend="keep one of them"))
            break
    return faults


def _symbol_faults(rows: list[_Row], label: str) -> list[Fault]:
    faults = []
    first: dict[str, _Row] = {}
    for row in rows:
        symbol = row.cells.get("symbol", "")
        other = first.setdefault(symbol, row) if symbol else row
        if name_key(other.name) != name_key(row.name):
            what = f"symbol {symbol!r} stands for {other.name} in line {other.line} and for {row.name} here"
            faults.append(Fault(where=f"{label}, line {row.line}", what=what, mend="correct one of them"))
    return faults


def _line_of(fault: Fault) -> int:
    return int(fault.where.rpartition(" ")[2])


def _accepted(rows: list[_Row], index: NameIndex, label: str) -> tuple[list[_Row], list[str]]:
    """The rows under the listed names of their plants, without authors, and a note for each that was a synonym."""
    made, notes = [], []
    for row in rows:
        words = row.name.split()
        found = index.scientific.get(name_key(row.name), frozenset()) or index.authored(row.name)
        name = next(iter(found)) if len(found) == 1 and len(words) > 1 else _without_author(words, index.authors)
        if found and name_key(name) not in name_key(row.name):
            notes.append(f"{label}: {row.name} is listed as {name}: its row there is changed")
        made.append(replace(row, name=name))
    return made, notes


def _without_author(words: list[str], authors: frozenset[str]) -> str:
    """A name as written, without authors behind its first two words."""
    return " ".join([*words[:2], *(w for w in words[2:] if not all(is_author(k, authors) for k in name_words(w)))])


def _laid_over(table: pd.DataFrame, rows: list[_Row], label: str) -> tuple[pd.DataFrame, list[str]]:
    """The table with the user's rows in it, and what they have changed."""
    listed = {str(name): {str(k): str(v) for k, v in cells.items()} for name, cells in table.to_dict("index").items()}
    own: dict[str, Cells] = {}
    for row in rows:
        own[row.name] = {**own.get(row.name, {}), **row.cells}
    taken = {name: _claims(name, cells) for name, cells in own.items()}
    added = [name for name in own if name not in listed]
    notes = _give_way(listed, own, taken, label)
    for name, cells in own.items():
        base = listed.get(name, {"status": "invasive", "sources": _OWN_SOURCE})
        listed[name] = _laid_on(base, cells)
    notes.append(f"{label}: {_count(len(added))} added, {len(own) - len(added)} changed")
    return _as_table(dict(sorted(listed.items()))), notes


def _laid_on(base: Cells, cells: Cells) -> Cells:
    """A row with the cells that are filled in the user's; a new symbol is the user's own word."""
    symbol = {"symbol_status": "seen"} if "symbol" in cells else {}
    return {**base, **symbol, **cells}


def _claims(name: str, cells: Cells) -> set[str]:
    """Keys of all names and symbols that a user's row gives to its plant."""
    names = [name, *split_cell(cells.get("synonyms", "")), *split_cell(cells.get("common_names", ""))]
    return {name_key(text) for text in [*names, cells.get("symbol", "")]} - {""}


def _give_way(listed: dict[str, Cells], own: dict[str, Cells], taken: dict[str, set[str]], label: str) -> list[str]:
    """Take from other rows that come with the package every name and symbol that the user gives to a plant."""
    notes = []
    for name, cells in list(listed.items()):
        claimed = {key: owner for owner, keys in taken.items() if owner != name for key in keys}
        if name in own:
            claimed = {key: owner for key, owner in claimed.items() if key not in taken[name]}
        if owner := claimed.get(name_key(name), ""):
            own[owner]["synonyms"] = _list([own[owner].get("synonyms", ""), name, cells["synonyms"]])
            own[owner]["common_names"] = _list([own[owner].get("common_names", ""), cells["common_names"]])
            del listed[name]
            notes.append(f"{label}: {name} is taken for {owner}")
            continue
        lost = [text for text in _all_names(cells) if name_key(text) in claimed]
        listed[name] = {role: _without(cells[role], claimed, role) for role in cells}
        notes += [f"{label}: {text!r} is now {claimed[name_key(text)]}, no longer {name}" for text in lost]
    return notes


def _all_names(cells: Cells) -> list[str]:
    return [text for role in ("symbol", "synonyms", "common_names") for text in split_cell(cells[role])]


def _without(cell: str, claimed: Iterable[str], role: str) -> str:
    if role not in ("symbol", "synonyms", "common_names"):
        return cell
    return _list([text for text in split_cell(cell) if name_key(text) not in claimed])


def _list(cells: list[str]) -> str:
    return "; ".join(dict.fromkeys(name for cell in cells for name in split_cell(cell)))


def _count(plants: int) -> str:
    return f"{plants} plant{'' if plants == 1 else 's'}"
