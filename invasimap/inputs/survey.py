"""The survey: all files of all ``[[survey]]`` blocks into patches, with an account of every record."""

from __future__ import annotations

import dataclasses
import datetime as dt
import glob
import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import shapely
from pyproj import CRS

from invasimap.core.crs import read_crs
from invasimap.core.database_address import database_key, is_database, postgis_label
from invasimap.core.errors import Fault, InputError, LayerError
from invasimap.core.files import is_gdb, whole_path, with_side_files
from invasimap.core.survey_settings import INTAKE, IntakeSection, LimitsSection, SurveySection
from invasimap.inputs.account import Survey, gather
from invasimap.inputs.fields import match_name
from invasimap.inputs.formats.bounds import unread_layer
from invasimap.inputs.formats.content import not_a_file
from invasimap.inputs.formats.door import SIDE_FILES, SUFFIXES, read_file, within
from invasimap.inputs.formats.postgis import read_postgis
from invasimap.inputs.formats.raw import RawLayer
from invasimap.inputs.layers import layers_by_name
from invasimap.inputs.place import datum_note
from invasimap.inputs.records import clean_layer, source_crs
from invasimap.inputs.site import Site
from invasimap.inputs.species import Catalogue


@dataclass(frozen=True, kw_only=True)
class _Source:
    path: Path | None
    label: str
    block: int
    address: str = ""


def read_survey(
    sections: Sequence[SurveySection], *, folder: Path, crs: CRS, near: shapely.Polygon, timezone: ZoneInfo,
    species: Catalogue, intake: IntakeSection = INTAKE,
) -> Survey:  # fmt: skip
    """Read and clean every file of the survey.

    Parameters
    ----------
    sections
        The ``[[survey]]`` blocks.
    folder
        Where their relative paths start.
    crs, near
        The working system in metres, and the stands' outline in it; a record over ``far`` outside its bounds is set
        aside.
    timezone
        In which a time becomes a date.
    species
        The catalogue that names are held against.
    intake
        How records are cleaned, and from what size on files and shapes are refused.

    Raises
    ------
    LayerError
        Lists every pattern without a file and every column that is in no file. A file that cannot be read is set aside
        whole.
    """
    survey, faults = look_at_survey(
        sections, folder=folder, crs=crs, near=near, timezone=timezone, species=species, intake=intake
    )
    if faults:
        raise LayerError(faults)
    return survey


def look_at_survey(
    sections: Sequence[SurveySection], *, folder: Path, crs: CRS, near: shapely.Polygon, timezone: ZoneInfo,
    species: Catalogue, intake: IntakeSection = INTAKE,
) -> tuple[Survey, list[Fault]]:  # fmt: skip
    """What ``read_survey`` gives, as far as the settings allow, and the faults for which that would refuse it.

    Raises
    ------
    LayerError
        When there is no file at all.
    """
    sources, faults = find_files(sections, folder=folder)
    layers: list[tuple[int, RawLayer]] = []
    tables: dict[tuple[str, str], int] = {}
    for source in sources:
        read = _read(source, sections[source.block], intake.limits)
        layers += [(source.block, layer) for layer in read]
        faults += _table_faults(source, sections[source.block], read, first=tables)
    systems, crs_faults = _systems(sections)
    faults += [*crs_faults, *_column_faults(sections, layers), *_layer_faults(sections, layers)]
    if not layers:
        raise LayerError(faults)
    today = dt.datetime.now(timezone).date()
    site = Site(crs=crs, near=near, timezone=timezone, species=species, today=today, intake=intake)
    cleaned = [clean_layer(raw, sections[block], crs=systems[block], site=site) for block, raw in layers]
    files = [part for source in sources if source.path for part in with_side_files(source.path)]
    made = gather(cleaned, crs=crs, files=files, merge_copies=intake.merge_copies)
    came_in = [(raw.label, source_crs(raw, systems[block])) for block, raw in layers]
    return dataclasses.replace(made, notes=[*species.notes, *made.notes, *_datum_notes(came_in, crs)]), faults


def _read(source: _Source, section: SurveySection, limits: LimitsSection) -> list[RawLayer]:
    """The layers of a file; one that says why where it cannot be read, so that the file stays in the account."""
    lonlat = (section.columns.get("lon"), section.columns.get("lat"))
    try:
        if source.path is None:
            tables = read_postgis(
                source.address, label=source.label, layers=section.layers, query=section.query, lonlat=lonlat,
                limits=limits,
            )  # fmt: skip
            return [within(layer, limits) for layer in tables]
        layers = read_file(source.path, label=source.label, lonlat=lonlat, limits=limits)
    except InputError as error:
        return _unread(error, source.label)
    return layers if not section.layers else _wanted(layers, section.layers, label=source.label)


def _unread(error: InputError, label: str) -> list[RawLayer]:
    """A record set aside for a file that cannot be read, or for each of those in an archive."""
    inside = list(dict.fromkeys(fault.where for fault in error.faults if fault.where.startswith(f"{label}:")))
    if len(inside) < 2:
        return [unread_layer(error, label=label, layer=label)]
    parts = {where: LayerError([fault for fault in error.faults if fault.where == where]) for where in inside}
    return [unread_layer(part, label=where, layer=where) for where, part in parts.items()]


def _wanted(layers: list[RawLayer], names: Sequence[str], *, label: str) -> list[RawLayer]:
    """The layers that the block names, of files with several; a file with a single one is read as it is."""
    named = layers_by_name(layers)
    if len(named) == 1:
        return layers
    kept = [
        dataclasses.replace(layer, layer=name, label=label if len(names) == 1 else f"{label}:{name}")
        for name, layer in named.items()
        if name in names
    ]
    left = [name for name in named if name not in names]
    if not kept:
        what = f"has none of the layers that its [[survey]] block names; it has {', '.join(left)}"
        return [unread_layer(LayerError(Fault(where=label, what=what)), label=label, layer=label)]
    note = f"{label}: layers not named in its [[survey]] block are not read: {', '.join(left)}"
    return [dataclasses.replace(layer, notes=(*layer.notes, note)) if left else layer for layer in kept]


def find_files(sections: Sequence[SurveySection], *, folder: Path) -> tuple[list[_Source], list[Fault]]:
    """Files of every block, sorted within a pattern, databases, and a fault for each pattern without a file."""
    found: dict[Any, _Source] = {}
    faults = []
    for block, section in enumerate(sections):
        for pattern in section.files:
            if is_database(pattern):
                label = postgis_label(pattern) + (f" [{block + 1}]" if section.query else "")
                found[pattern, block] = _Source(path=None, label=label, block=block, address=pattern)
                continue
            paths = matching_files(folder, pattern)
            if not paths:
                faults.append(no_file(f"[[survey]] {block + 1}", pattern, folder))
            for path in paths:
                label = path_label(path, folder)
                first = found.setdefault(path.resolve(), _Source(path=path, label=label, block=block))
                if first.block != block:
                    what = f"is named in [[survey]] {first.block + 1} and {block + 1}: its records would count twice"
                    faults.append(Fault(where=label, what=what, mend="name it in one block"))
    return list(found.values()), faults


def no_file(block: str, pattern: str, folder: Path) -> Fault:
    """The fault of a pattern that matches nothing: a folder that is shut, or what else is there than a plain file."""
    where = f"{block}: {pattern}"
    path = folder / Path(pattern).expanduser()
    if _is_shut(next(parent for parent in path.parents if os.path.isdir(parent))):  # noqa: PTH112
        what, mend = "may not be read: you have no permission for its folder", "ask for the right to read it"
        return Fault(where=where, what=what, mend=mend)
    if os.path.lexists(path) and not path.is_file():
        return not_a_file(path, where).faults[0]
    mend = f"paths start from {folder.name or folder}; check the name and its folder"
    return Fault(where=where, what="matches no file", mend=mend)


def _is_shut(folder: Path) -> bool:
    try:
        os.scandir(folder).close()
    except PermissionError:
        return True
    return False


def matching_files(folder: Path, pattern: str) -> list[Path]:
    """Files and geodatabases that a path or glob names, sorted; their side files and inner files are left out."""
    whole = whole_path(folder, pattern)
    if os.path.isfile(whole) or is_gdb(whole):  # noqa: PTH113 (what may not be looked at is none)
        return [whole]
    wanted = whole.relative_to(folder) if whole.is_relative_to(folder) else whole  # signs of the folder are no pattern
    paths = sorted(set(_below(folder, wanted)) if "**" in wanted.parts else _matches(folder, wanted))
    return [path for path in paths if _is_read(path) and not _is_side_file(path)]


def _matches(folder: Path, pattern: Path) -> list[Path]:
    return [folder / name for name in glob.glob(str(pattern), root_dir=folder)]  # noqa: PTH207 (absolute ones too)


def _below(folder: Path, pattern: Path) -> Iterator[Path]:
    """Files that a pattern with ``**`` matches; links to folders, which may lead in circles, are not followed there.

    As everywhere in globs, a name that starts with a dot is matched only where the pattern has it.
    """
    at = pattern.parts.index("**")
    before, after = Path(*pattern.parts[:at]), Path(*pattern.parts[at + 1 :])
    for start in _matches(folder, before):
        for place, folders, _ in os.walk(start):
            folders[:] = [name for name in folders if not name.startswith(".")]
            yield from _matches(Path(place), after)


def _is_read(path: Path) -> bool:
    return is_gdb(path) or (os.path.isfile(path) and not is_gdb(path.parent))  # noqa: PTH113


def _is_side_file(path: Path) -> bool:
    return path.suffix.lower() in SIDE_FILES and path.suffix.lower() not in SUFFIXES


def path_label(path: Path, folder: Path) -> str:
    """A file's name in messages and tables: its path from the tract's folder; bytes that are no UTF-8 as \\x.."""
    return os.fsencode(Path(os.path.relpath(path, folder)).as_posix()).decode("utf-8", "backslashreplace")


def _table_faults(
    source: _Source, section: SurveySection, layers: list[RawLayer], *, first: dict[tuple[str, str], int]
) -> list[Fault]:
    """Tables and queries of a database that an earlier block or address has read; ``first`` keeps those seen."""
    if not source.address:
        return []
    names = [section.query] if section.query else list(dict.fromkeys(layer.layer for layer in layers))
    faults = []
    for name in [name for name in names if name != source.label]:  # so named is what could not be read
        block = first.setdefault((database_key(source.address), name), source.block)
        if block != source.block:
            where = source.label if section.query else f"{source.label}:{name}"
            what = f"is named in [[survey]] {block + 1} and {source.block + 1}: its records would count twice"
            faults.append(Fault(where=where, what=what, mend="name it in one block"))
    return faults


def _systems(sections: Sequence[SurveySection]) -> tuple[list[CRS | None], list[Fault]]:
    found: list[CRS | None] = []
    faults: list[Fault] = []
    for number, section in enumerate(sections, 1):
        try:
            found.append(read_crs(section.crs, where=f"[[survey]] {number}") if section.crs else None)
        except InputError as error:
            faults += error.faults
            found.append(None)
    return found, faults


def _column_faults(sections: Sequence[SurveySection], layers: list[tuple[int, RawLayer]]) -> list[Fault]:
    faults = []
    for block, section in enumerate(sections):
        columns = list(dict.fromkeys(str(c) for b, raw in layers if b == block for c in raw.frame.columns))
        missing = [(role, name) for role, name in section.columns.items() if not match_name(name, columns)]
        for role, name in missing if columns else []:
            faults.append(
                Fault(
                    where=f"[[survey]] {block + 1}: columns.{role}",
                    what=f"no file of this block has a column {name!r}",
                    mend=f"its columns are: {', '.join(columns)}",
                )
            )
    return faults


def _layer_faults(sections: Sequence[SurveySection], layers: list[tuple[int, RawLayer]]) -> list[Fault]:
    """Layers that a block names and no file of it holds; of a database its reader says it."""
    faults = []
    for block, section in enumerate(sections):
        if not section.layers or any(map(is_database, section.files)):
            continue
        there = {name for b, raw in layers if b == block for name in (raw.layer, raw.label.rpartition(":")[2])}
        there |= {group for b, raw in layers if b == block for group in raw.marks["group"].unique()}
        where = f"[[survey]] {block + 1}: layers"
        faults += [
            Fault(where=where, what=f"no file of this block has a layer {name!r}", mend="see its layers with start")
            for name in section.layers
            if name not in there
        ]
    return faults


def _datum_notes(came_in: list[tuple[str, CRS | None]], crs: CRS) -> list[str]:
    """One note for each system whose best move is not at hand, naming the files that come in it."""
    files: dict[CRS, list[str]] = {}
    for label, source in came_in:
        if source is not None:
            files.setdefault(source, []).append(label)
    named = {
        source: ", ".join(labels[:3]) + (f" and {len(labels) - 3} more" if len(labels) > 3 else "")
        for source, labels in files.items()
    }
    return [note for source, name in named.items() if (note := datum_note(source, crs, name))]
