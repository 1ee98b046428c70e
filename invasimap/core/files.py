"""Writing whole or not at all: results are built beside their place and moved in when complete."""

from __future__ import annotations

import hashlib
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from invasimap.core.errors import Fault, InputError

MARK = "run.json"


@contextmanager
def whole_folder(target: Path) -> Iterator[Path]:
    """A scratch folder that takes the place of ``target`` only when the block ends without an error.

    An earlier result at ``target`` is kept until the new one is whole; a folder that is not an earlier result (it has
    files but no ``run.json``) is refused.
    """
    target = target.resolve()
    _refuse_foreign(target)
    target.parent.mkdir(parents=True, exist_ok=True)
    scratch = Path(tempfile.mkdtemp(prefix=f".{target.name}.", suffix=".part", dir=target.parent))
    try:
        scratch.chmod(0o755)
        yield scratch
        _move_in(scratch, target)
    finally:
        shutil.rmtree(scratch, ignore_errors=True)


def sha256(path: Path) -> str:
    """Hex digest of a file, or of a folder's files in name order (a file geodatabase, say)."""
    digest = hashlib.sha256()
    for part in sorted(p for p in path.rglob("*") if p.is_file()) if path.is_dir() else [path]:
        with part.open("rb") as stream:
            while block := stream.read(1 << 20):
                digest.update(block)
    return digest.hexdigest()


def _refuse_foreign(target: Path) -> None:
    if not target.exists():
        return
    if not target.is_dir() or (any(target.iterdir()) and not (target / MARK).exists()):
        raise InputError(
            Fault(
                where=str(target),
                what="exists and is not an earlier result of this program: nothing is written over it",
                mend="choose another folder with --out",
            )
        )


def _move_in(scratch: Path, target: Path) -> None:
    if not target.exists():
        scratch.rename(target)
        return
    old = Path(tempfile.mkdtemp(prefix=f".{target.name}.", suffix=".old", dir=target.parent))
    target.rename(old / target.name)
    try:
        scratch.rename(target)
    except OSError:
        (old / target.name).rename(target)
        raise
    shutil.rmtree(old, ignore_errors=True)
