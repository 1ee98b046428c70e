"""Writing whole or not at all: results are built beside their place and moved in when complete."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from invasimap.core.errors import Fault, InputError

RESULTS = ("out", "out_internal", "out_trial", "out_internal_trial")  # beside the settings, unless another is named
MARK = "run.json"
PROGRAM = "invasimap"
GDB = ".gdb"
GDB_CATALOGUE = "a00000001.gdbtable"
_LEFT_BY_SYSTEMS = {".DS_Store", "Thumbs.db", "desktop.ini"}
_LEFT_BY_READERS = ("-wal", "-shm", "-journal", ".aux.xml")  # beside a layer that some program has open


@contextmanager
def whole_folder(target: Path, *, inputs: Iterable[Path] = ()) -> Iterator[Path]:
    """A scratch folder that takes the place of ``target`` only when the block ends without an error.

    An earlier result at ``target`` is kept until the new one is whole. ``refuse_foreign`` says what is refused.
    """
    target = target.resolve()
    _bring_back(target)
    refuse_foreign(target, inputs=inputs)
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        _sweep(target)
        scratch = Path(tempfile.mkdtemp(prefix=f".{target.name}.{os.getpid()}.", suffix=".part", dir=target.parent))
        scratch.chmod(0o755)
    except OSError as error:
        raise _cannot_write(target, error) from error
    try:
        yield scratch
        _move_in(scratch, target)
    finally:
        shutil.rmtree(scratch, ignore_errors=True)


def refuse_foreign(target: Path, *, inputs: Iterable[Path] = ()) -> None:
    """Refuse a folder that a result must not replace.

    Raises
    ------
    InputError
        When ``target`` holds one of the ``inputs``, or exists and is not a whole earlier result of this program with
        nothing else in it, or cannot be written.
    """
    target = target.resolve()
    held = [path for path in inputs if target == path.resolve() or target in path.resolve().parents]
    if held:
        what = f"holds {held[0].name}, which is an input: the result would replace it"
        raise InputError(Fault(where=str(target), what=what, mend="choose another folder with --out"))
    try:
        if target.exists():
            _refuse_strange(target)
    except PermissionError as error:
        raise _cannot_write(target, error) from error
    parent = next(folder for folder in target.parents if folder.exists())
    if not os.access(parent, os.W_OK):
        raise _cannot_write(target, OSError(f"no permission to write in {parent}"))


def whole_path(folder: Path, name: str) -> Path:
    """A path as settings write it, from their folder or, with "~", from a home; that of nobody is a plain name."""
    try:
        return folder / Path(name).expanduser()
    except RuntimeError:
        return folder / name


def sha256(path: Path) -> str:
    """Hex digest of a file, or of a folder's files in name order (a file geodatabase, say)."""
    digest = hashlib.sha256()
    for part in sorted(p for p in path.rglob("*") if p.is_file()) if path.is_dir() else [path]:
        with part.open("rb") as stream:
            while block := stream.read(1 << 20):
                digest.update(block)
    return digest.hexdigest()


def is_gdb(path: Path) -> bool:
    """Whether a path is a file geodatabase, which is a folder."""
    return path.suffix.lower() == GDB and os.path.isdir(path)  # noqa: PTH112 (one in a shut folder is none)


def with_side_files(path: Path) -> list[Path]:
    """A file and, for a shapefile, the files of the same name that belong to it; the files of a geodatabase."""
    if is_gdb(path):
        return sorted(p for p in path.iterdir() if p.is_file() and p.suffix.lower() != ".lock")
    if path.suffix.lower() != ".shp" or not path.exists():
        return [path]
    kinds = {".shx", ".dbf", ".prj", ".cpg"}
    beside = (p for p in path.parent.iterdir() if p.stem.lower() == path.stem.lower() and p.suffix.lower() in kinds)
    return sorted([path, *beside])


def _refuse_strange(target: Path) -> None:
    if not target.is_dir():
        raise InputError(Fault(where=str(target), what="is a file, not a folder", mend="choose another with --out"))
    found = {path.relative_to(target).as_posix() for path in target.rglob("*") if not path.is_dir()}
    ours = _written(target)
    strange = sorted(name for name in found if not _belongs(name, ours))
    if strange:
        what = f"holds files that are not an earlier result of this program ({', '.join(strange[:3])})"
        what += ": nothing is written over them"
        raise InputError(Fault(where=str(target), what=what, mend="move them, or choose another folder with --out"))


def is_internal(target: Path) -> bool | None:
    """Whether an earlier result is internal; None where there is no result."""
    run = _run(target)
    return bool(run.get("internal")) if run else None


def is_trial(target: Path) -> bool | None:
    """Whether an earlier result is one of settings changed for the run; None where there is no result."""
    run = _run(target)
    return bool(run.get("tried")) if run else None


def _written(target: Path) -> set[str]:
    """What an earlier result says it wrote; nothing when there is none."""
    run = _run(target)
    return {MARK, *map(str, run.get("outputs") or ())} if run else set()


def _run(target: Path) -> dict[str, Any]:
    """The record of an earlier result; empty when there is none."""
    try:
        run = json.loads((target / MARK).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return run if isinstance(run, dict) and run.get("program") == PROGRAM else {}


def _belongs(name: str, ours: set[str]) -> bool:
    if name in ours or Path(name).name in _LEFT_BY_SYSTEMS:
        return True
    return any(name.endswith(tail) and name.removesuffix(tail) in ours for tail in _LEFT_BY_READERS)


def _cannot_write(target: Path, error: OSError) -> InputError:
    said = error.strerror or str(error)
    return InputError(
        Fault(where=str(target), what=f"cannot be written: {said}", mend="choose another folder with --out")
    )


def _bring_back(target: Path) -> None:
    """Put an earlier result back that a run killed between the two moves of a replacement left aside."""
    if target.exists() or not target.parent.is_dir():
        return
    left = sorted(target.parent.glob(f".{target.name}.*.old/{target.name}"), key=lambda path: path.stat().st_mtime)
    if left:
        left[-1].rename(target)
        left[-1].parent.rmdir()


def _sweep(target: Path) -> None:
    """Remove what killed runs left half-built; a running one's is left alone."""
    for scrap in target.parent.glob(f".{target.name}.*.part"):
        number = scrap.name.removeprefix(f".{target.name}.").partition(".")[0]
        if number.isdigit() and not Path(f"/proc/{number}").exists() and Path("/proc/self").exists():
            shutil.rmtree(scrap, ignore_errors=True)


def _move_in(scratch: Path, target: Path) -> None:
    if not target.exists():
        scratch.rename(target)
        return
    old = Path(tempfile.mkdtemp(prefix=f".{target.name}.", suffix=".old", dir=target.parent))
    target.rename(old / target.name)
    try:
        scratch.rename(target)
    except BaseException:
        (old / target.name).rename(target)
        raise
    finally:
        if target.exists():
            shutil.rmtree(old, ignore_errors=True)
