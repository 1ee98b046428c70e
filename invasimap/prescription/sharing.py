"""What a plan that may be passed on holds of its settings, notes and inputs: no word of what is confidential."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path

from pydantic import SecretStr

from invasimap.core.database_address import is_database
from invasimap.core.files import sha256, with_side_files
from invasimap.core.legible import writable
from invasimap.core.settings import ProtectSection, Tract
from invasimap.land.words import RESTRICTED
from invasimap.prescription.plan import STAMP, TRIAL, InputFile


def shown_settings(settings: Tract, *, internal: bool) -> Tract:
    """The settings as a plan keeps them: without the words that hide places; confidential blocks are one without names.

    In an internal plan the blocks stay and the tract's name is stamped, so that what bears the name bears the stamp; a
    trial's name says that it is one.
    """
    said = settings.confidential
    changes: dict[str, object] = {"confidential": said and said.model_copy(update={"words": SecretStr("")})}
    stamps = [*([STAMP] if internal else []), *([TRIAL] if settings.tried else [])]
    name = ": ".join([*stamps, settings.tract.name])
    changes["tract"] = settings.tract.model_copy(update={"name": name})
    if settings.hides and not internal:
        blocks = sorted({name for block in settings.protect if block.confidential for name in block.blocks})
        hidden = {"kind": RESTRICTED, "rule": RESTRICTED, "file": RESTRICTED, "no_spray": "0 m", "blocks": blocks}
        shown = [block for block in settings.protect if not block.confidential]
        changes["protect"] = [*shown, ProtectSection.model_validate(hidden | {"confidential": True})]
    kept = settings.model_copy(update=changes)
    kept._tried = settings.tried if internal else without_names(settings.tried, settings)
    return kept


def without_names(texts: Iterable[str], settings: Tract) -> tuple[str, ...]:
    """Texts without the names, rules and files of confidential blocks, unless an open block says the same."""
    told = {text for block in settings.protect if not block.confidential for text in _texts(block)}
    kept = {text for block in settings.protect if block.confidential for text in _texts(block)}
    words = sorted(kept - told - {""}, key=len, reverse=True)
    if not words:
        return tuple(texts)
    any_word = re.compile(rf"(?<!\w)(?:{'|'.join(map(re.escape, words))})(?!\w)")
    return tuple(any_word.sub(RESTRICTED, text) for text in texts)


def input_files(settings: Tract, paths: Iterable[Path], *, internal: bool) -> tuple[InputFile, ...]:
    """The files of a run as its record shows them.

    A file that a confidential block reads has no hash: whoever guesses a place could write the file and try. Nor have
    settings with words in them. One that only such blocks read has no name either.
    """
    secret, open_files = _files(settings, confidential=True), _files(settings, confidential=False)
    words = {settings.file} if settings.confidential else set()
    found = []
    for path in set(paths):
        (name,) = without_names([near_path(path, settings.folder)], settings)
        hashed = path not in words and (internal or path not in secret)
        hidden = not internal and path in secret - open_files
        shown = RESTRICTED if hidden else near_path(path, settings.folder) if internal else name
        found.append(InputFile(path=path, shown=shown, sha256=sha256(path) if hashed else None))
    return tuple(sorted(found, key=lambda file: file.shown))  # the place of a hidden one in a list would tell its name


def near_path(path: Path, folder: Path) -> str:
    """A path as the settings would write it: from the tract's folder where it lies in it."""
    return writable((path.relative_to(folder) if path.is_relative_to(folder) else path).as_posix())


def _files(settings: Tract, *, confidential: bool) -> set[Path]:
    """The files that blocks of ``[[protect]]`` read, with those beside them."""
    blocks = [block for block in settings.protect if block.confidential == confidential]
    names = [block.file for block in blocks if not is_database(block.file)]
    return {part for name in names for part in with_side_files(settings.path(name))}


def _texts(block: ProtectSection) -> tuple[str, ...]:
    return block.kind, block.rule, block.file, block.shown, block.layer or ""
