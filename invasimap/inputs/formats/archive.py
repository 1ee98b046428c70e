"""Zip archives opened with care: sizes checked first, nothing written outside, nothing unpacked that is not read."""

from __future__ import annotations

import stat
import zipfile
import zlib
from collections.abc import Container, Iterator
from pathlib import Path, PurePosixPath
from typing import BinaryIO, Final

from invasimap.core.errors import Fault, LayerError
from invasimap.core.survey_settings import LimitsSection
from invasimap.inputs.formats.bounds import over_size

_END: Final = b"PK\x05\x06"
_END_64: Final = b"PK\x06\x06"
_TAIL: Final = 65_536 + 22 + 20 + 56
_DIRECTORY_B: Final = 1_000  # of one member's entry in the directory; real ones take about 100
_PIECE: Final = 4096  # packed bytes, of which bzip2 can make 80 MB
_UNREADABLE: Final = (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, OSError, ValueError, zlib.error)


def read_members(
    path: Path, *, label: str, suffixes: tuple[str, ...], limits: LimitsSection | None = None
) -> dict[str, bytes]:
    """Content of the members with these suffixes, by name in archive order.

    Raises
    ------
    LayerError
        When it is no zip, is damaged, is locked with a password, holds none of them, or has more members or unpacks to
        more than ``limits`` allow.
    """
    limits = limits or LimitsSection()
    try:
        with path.open("rb") as stream:
            check_directory(stream, label=label, limits=limits)
            with zipfile.ZipFile(stream) as archive:
                wanted = [m for m in archive.infolist() if _is_wanted(m, suffixes)]
                _check(wanted, label=label, limits=limits)
                found: dict[str, bytes] = {}
                for member in wanted:  # an archive may hold two files of one name: both are read
                    content = b"".join(member_pieces(archive, member))
                    found[_unused(_plain(member.filename), found)] = content
                return found
    except _UNREADABLE as error:
        raise _damaged(error, label=label) from error


def check_archive(path: Path, *, label: str, limits: LimitsSection) -> list[str]:
    """Names of the members of an archive that may be read whole by another library.

    Raises
    ------
    LayerError
        When it is no whole zip, is locked, or has more members or unpacks to more than ``limits`` allow.
    """
    try:
        with path.open("rb") as stream:
            check_directory(stream, label=label, limits=limits)
            with zipfile.ZipFile(stream) as archive:
                members = archive.infolist()
                _check(members, label=label, limits=limits)
                return [_plain(member.filename) for member in members]
    except _UNREADABLE as error:
        raise _damaged(error, label=label) from error


def other_members(path: Path, *, label: str, suffixes: tuple[str, ...], limits: LimitsSection) -> list[str]:
    """Names of the files in an archive that are not read: of other suffixes, and links to other files."""
    try:
        with path.open("rb") as stream:
            check_directory(stream, label=label, limits=limits)
            with zipfile.ZipFile(stream) as archive:
                members = [m for m in archive.infolist() if not m.is_dir() and not _is_hidden(m)]
    except _UNREADABLE as error:
        raise _damaged(error, label=label) from error
    return [_plain(m.filename) + " (a link)" * _is_link(m) for m in members if not _is_wanted(m, suffixes)]


def unpacked_size(path: Path, *, label: str, limits: LimitsSection) -> int:
    """Bytes that an archive says it unpacks to.

    Raises
    ------
    LayerError
        When it is no whole zip or has more members than ``limits`` allow.
    """
    try:
        with path.open("rb") as stream:
            check_directory(stream, label=label, limits=limits)
            with zipfile.ZipFile(stream) as archive:
                return sum(member.file_size for member in archive.infolist())
    except _UNREADABLE as error:
        raise _damaged(error, label=label) from error


def unpack(
    path: Path, folder: Path, *, label: str, suffixes: tuple[str, ...], limits: LimitsSection | None = None
) -> list[Path]:
    """Members written below ``folder``, in archive order; the parts of a name that point outside are left out.

    Members whose names come to the same are numbered, all files of a shapefile alike.
    """
    written = []
    for name, data in read_members(path, label=label, suffixes=suffixes, limits=limits).items():
        parts = [part for part in PurePosixPath(name).parts if part not in ("/", "..", ".")]
        target = folder.joinpath(*(_part(part) for part in parts))
        target.parent.mkdir(parents=True, exist_ok=True)
        plain, number = target, 2
        while target.exists():
            target, number = plain.with_stem(f"{plain.stem} ({number})"), number + 1
        target.write_bytes(data)
        written.append(target)
    return written


def member_pieces(archive: zipfile.ZipFile, member: zipfile.ZipInfo) -> Iterator[bytes]:
    """A member piece by piece: read whole, one that says too small a size would unpack to all that is in it."""
    with archive.open(member) as stream:
        while piece := stream.read(_PIECE):
            yield piece


def check_directory(stream: BinaryIO, *, label: str, limits: LimitsSection) -> None:
    """Refuse an archive by what its last bytes say of its directory, before that is read.

    Raises
    ------
    LayerError
        When it lists more members than ``limits`` allow.
    """
    stream.seek(0, 2)
    stream.seek(max(stream.tell() - _TAIL, 0))
    tail = stream.read(_TAIL)
    at = tail.rfind(_END)
    count = int.from_bytes(tail[at + 10 : at + 12], "little") if at >= 0 else 0
    size_B = int.from_bytes(tail[at + 12 : at + 16], "little") if at >= 0 else 0
    at_64 = tail.rfind(_END_64)
    if at_64 >= 0 and (size_B == 0xFFFFFFFF or count == 0xFFFF):
        count = int.from_bytes(tail[at_64 + 32 : at_64 + 40], "little")
        size_B = int.from_bytes(tail[at_64 + 40 : at_64 + 48], "little")
    stream.seek(0)
    if count > limits.members or size_B > _DIRECTORY_B * limits.members:
        raise _too_many(f"{count:,}" if count > limits.members else "too many", label=label, limits=limits)


def _too_many(count: str, *, label: str, limits: LimitsSection) -> LayerError:
    mend = "if it is meant to hold so many, set members in [intake.limits]"
    return LayerError(Fault(where=label, what=f"holds {count} files; the limit is {limits.members:,}", mend=mend))


def _part(part: str) -> str:
    """A part of a name that any system can write."""
    clean = "".join("_" if sign in ':*?"<>|' or ord(sign) < 32 else sign for sign in part)
    stem, dot, suffix = clean.rpartition(".")
    return f"{stem[:100]}{dot}{suffix[:20]}" if len(clean) > 120 and dot else clean[:120]


def _plain(name: str) -> str:
    return name.replace("\\", "/")


def _is_wanted(member: zipfile.ZipInfo, suffixes: tuple[str, ...]) -> bool:
    name = PurePosixPath(_plain(member.filename))
    plain = not (member.is_dir() or _is_link(member) or _is_hidden(member))
    return plain and name.suffix.lower() in suffixes


def _is_link(member: zipfile.ZipInfo) -> bool:
    return stat.S_ISLNK(member.external_attr >> 16)


def _is_hidden(member: zipfile.ZipInfo) -> bool:
    parts = PurePosixPath(_plain(member.filename)).parts
    return any(part.startswith((".", "__MACOSX")) and part not in (".", "..") for part in parts)


def _unused(name: str, taken: Container[str]) -> str:
    path, number = PurePosixPath(name), 2
    while name in taken:
        name, number = str(path.with_stem(f"{path.stem} ({number})")), number + 1
    return name


def _check(members: list[zipfile.ZipInfo], *, label: str, limits: LimitsSection) -> None:
    if not members:
        raise LayerError(Fault(where=label, what="holds no file of a kind that is read"))
    if len(members) > limits.members:
        raise _too_many(f"{len(members):,}", label=label, limits=limits)
    if any(member.flag_bits & 1 for member in members):
        what = "is locked with a password"
        raise LayerError(Fault(where=label, what=what, mend="unpack it and name its files, or save it without one"))
    total = sum(member.file_size for member in members)
    if total > limits.unpacked_B:
        raise over_size(f"unpacks to {total / 1e6:,.0f} MB", where=label, setting="unpacked", limit_B=limits.unpacked_B)


def _damaged(error: Exception, *, label: str) -> LayerError:
    if isinstance(error, LayerError):
        return error
    said = (error.strerror if isinstance(error, OSError) else "") or str(error) or "it ends early"
    return LayerError(Fault(where=label, what=f"is no whole zip archive: {said}", mend="make the archive again"))
