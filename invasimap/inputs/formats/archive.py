"""Zip archives opened with care: sizes checked first, nothing written outside, nothing unpacked that is not read."""

from __future__ import annotations

import zipfile
from collections.abc import Container
from pathlib import Path, PurePosixPath
from typing import Final

from invasimap.core.errors import Fault, LayerError
from invasimap.inputs.formats.raw import MAX_BYTES

_MAX_MEMBERS: Final = 10_000


def read_members(path: Path, *, label: str, suffixes: tuple[str, ...]) -> dict[str, bytes]:
    """Content of the members with these suffixes, by name in archive order.

    Raises
    ------
    LayerError
        When it is no zip, is damaged, is locked with a password, holds none of them or unpacks to over 200 MB.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            wanted = [m for m in archive.infolist() if _is_wanted(m, suffixes)]
            _check(wanted, label=label)
            found: dict[str, bytes] = {}
            for member in wanted:  # an archive may hold two files of one name: both are read
                found[_unused(member.filename, found)] = _content(archive, member, label=label)
            return found
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, OSError, ValueError) as error:
        raise LayerError(
            Fault(where=label, what=f"is no whole zip archive: {error}", mend="make the archive again")
        ) from error


def other_members(path: Path, *, suffixes: tuple[str, ...]) -> list[str]:
    """Names of the files in an archive that are not of these suffixes, as for a note that they were not read."""
    with zipfile.ZipFile(path) as archive:
        members = [m for m in archive.infolist() if not m.is_dir() and not _is_hidden(m)]
    return [m.filename for m in members if PurePosixPath(m.filename.replace("\\", "/")).suffix.lower() not in suffixes]


def unpack(path: Path, folder: Path, *, label: str, suffixes: tuple[str, ...]) -> list[Path]:
    """Members written below ``folder``, in archive order; the parts of a name that point outside are left out.

    Members whose names come to the same are numbered, all files of a shapefile alike.
    """
    written = []
    for name, data in read_members(path, label=label, suffixes=suffixes).items():
        parts = [part for part in PurePosixPath(name.replace("\\", "/")).parts if part not in ("/", "..", ".")]
        target = folder.joinpath(*(part.replace(":", "_") for part in parts))
        target.parent.mkdir(parents=True, exist_ok=True)
        plain, number = target, 2
        while target.exists():
            target, number = plain.with_stem(f"{plain.stem} ({number})"), number + 1
        target.write_bytes(data)
        written.append(target)
    return written


def _is_wanted(member: zipfile.ZipInfo, suffixes: tuple[str, ...]) -> bool:
    name = PurePosixPath(member.filename.replace("\\", "/"))
    return not member.is_dir() and not _is_hidden(member) and name.suffix.lower() in suffixes


def _is_hidden(member: zipfile.ZipInfo) -> bool:
    parts = PurePosixPath(member.filename.replace("\\", "/")).parts
    return any(part.startswith((".", "__MACOSX")) and part not in (".", "..") for part in parts)


def _unused(name: str, taken: Container[str]) -> str:
    path, number = PurePosixPath(name), 2
    while name in taken:
        name, number = str(path.with_stem(f"{path.stem} ({number})")), number + 1
    return name


def _check(members: list[zipfile.ZipInfo], *, label: str) -> None:
    total = sum(member.file_size for member in members)
    if not members:
        raise LayerError(Fault(where=label, what="holds no file of a kind that is read"))
    if total > MAX_BYTES or len(members) > _MAX_MEMBERS:
        raise LayerError(
            Fault(where=label, what=f"unpacks to {total / 2**20:,.0f} MB; the limit is {MAX_BYTES >> 20} MB")
        )


def _content(archive: zipfile.ZipFile, member: zipfile.ZipInfo, *, label: str) -> bytes:
    with archive.open(member) as stream:
        data = stream.read(MAX_BYTES + 1)
    if len(data) > MAX_BYTES:
        raise LayerError(Fault(where=label, what=f"{member.filename} unpacks to over {MAX_BYTES >> 20} MB"))
    return data
