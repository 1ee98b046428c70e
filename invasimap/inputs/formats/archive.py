"""Zip archives opened with care: sizes checked first, nothing written outside, nothing unpacked that is not read."""

from __future__ import annotations

import re
import stat
import zipfile
import zlib
from collections.abc import Collection, Container, Iterator
from pathlib import Path, PurePosixPath
from typing import BinaryIO, Final

from invasimap.core.errors import Fault, LayerError
from invasimap.core.files import GDB, GDB_CATALOGUE
from invasimap.core.survey_settings import LimitsSection
from invasimap.inputs.formats.bounds import first_lines, over_size

_END: Final = b"PK\x05\x06"
_END_64: Final = b"PK\x06\x06"
_TAIL: Final = 65_536 + 22 + 20 + 56
_DIRECTORY_B: Final = 1_000  # of one member's entry in the directory; real ones take about 100
_PIECE: Final = 4096  # packed bytes, of which bzip2 can make 80 MB
GDB_PART: Final = re.compile(r"a[0-9a-f]{8}\.(?:gdb\w{1,12}|spx|freelist|horizon|(?:.{1,80}\.)?atx)|gdb|timestamps")
_UNREADABLE: Final = (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, OSError, ValueError, zlib.error)


def read_members(
    path: Path, *, label: str, suffixes: tuple[str, ...], limits: LimitsSection | None = None
) -> dict[str, bytes]:
    """Content of the members with these suffixes, by name in archive order; with ``.gdb`` the parts of geodatabases.

    Raises
    ------
    LayerError
        When it is no zip, is damaged, is locked with a password, or has more members or unpacks to more than ``limits``
        allow.
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


def other_members(
    path: Path, *, label: str, suffixes: tuple[str, ...], surveys: tuple[str, ...], limits: LimitsSection
) -> list[str]:
    """Names of the files in an archive that are not read: of other suffixes, links to other files, and hidden ones.

    Of the hidden files those are named that would be read as ``surveys``; what a Mac writes beside each file is not.
    """
    try:
        with path.open("rb") as stream:
            check_directory(stream, label=label, limits=limits)
            with zipfile.ZipFile(stream) as archive:
                members = [m for m in archive.infolist() if not m.is_dir()]
    except _UNREADABLE as error:
        raise _damaged(error, label=label) from error
    shown = [m for m in members if not _is_hidden(m)]
    hidden = [name for m in members if _is_hidden(m) and _is_survey(name := _plain(m.filename), surveys)]
    unread = [_plain(m.filename) + " (a link)" * _is_link(m) for m in shown if not _is_wanted(m, suffixes)]
    files = "a hidden file" if len(hidden) == 1 else f"{len(hidden):,} hidden files"
    return [*unread, f"{files} ({first_lines(hidden, most=3)})"] if hidden else unread


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

    Members whose names come to the same are numbered, all files of a shapefile alike. The files of a geodatabase are
    put in a folder named ``.gdb``, whatever theirs is named.
    """
    written = []
    members = read_members(path, label=label, suffixes=suffixes, limits=limits)
    databases = dict.fromkeys(PurePosixPath(name).parent for name in members if name.endswith(".gdbtable"))
    homes: dict[PurePosixPath, Path] = {}
    for database in databases:
        homes[database] = _home(_below(folder, database), folder / _part(path.stem), taken=homes.values())
    for name, data in members.items():
        target = _below(folder, PurePosixPath(name))
        if GDB_PART.fullmatch(target.name) and (home := homes.get(PurePosixPath(name).parent)):
            target = home / target.name
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


def _below(folder: Path, name: PurePosixPath) -> Path:
    return folder.joinpath(*(_part(part) for part in name.parts if part not in ("/", "..", ".")))


def _home(folder: Path, root: Path, *, taken: Collection[Path]) -> Path:
    """A folder of its own for a geodatabase; ``root`` for one that lies in no folder."""
    plain = root if folder == root.parent else folder
    plain = plain if plain.suffix.lower() == GDB else plain.with_name(f"{plain.name}{GDB}")
    home, number = plain, 2
    while home in taken:
        home, number = plain.with_stem(f"{plain.stem} ({number})"), number + 1
    return home


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
    return plain and (_is_kind(name, suffixes) or (GDB in suffixes and bool(GDB_PART.fullmatch(name.name))))


def _is_kind(name: PurePosixPath, suffixes: tuple[str, ...]) -> bool:
    return name.suffix.lower() in suffixes and name.suffix.lower() != GDB


def _is_survey(name: str, suffixes: tuple[str, ...]) -> bool:
    path = PurePosixPath(name)
    return (_is_kind(path, suffixes) or path.name == GDB_CATALOGUE) and not path.name.startswith("._")


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
