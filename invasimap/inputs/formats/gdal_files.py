"""A file put where GDAL sees a plain name: links in a temporary folder, so that no sign in a name is a command.

GDAL and what wraps it read "!", "zip://" and the like in a path as orders, and write beside a file that they repair.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

PARTS: Final = (".shx", ".dbf", ".prj", ".cpg")
_STEM: Final = "layer"


@contextmanager
def plainly_named(path: Path, *, suffix: str = "", copied: bool = False) -> Iterator[Path]:
    """The file (with the parts of a shapefile) under a plain name; ``copied`` where a part may be written anew.

    ``suffix`` is that of its content, where its own name says another.
    """
    suffix = suffix or path.suffix.lower()
    with tempfile.TemporaryDirectory(prefix="invasimap-") as name:
        target = Path(name) / f"{_STEM}{suffix}"
        _put(path, target, copied=copied)
        for part, kind in side_parts(path).items() if suffix == ".shp" else ():
            _put(part, target.with_suffix(kind), copied=copied)
        yield target


def side_parts(path: Path) -> dict[Path, str]:
    """The parts of a shapefile that are there, each with its kind; letters of either case, first those of its own."""
    found: dict[str, Path] = {}
    for part in sorted(path.parent.iterdir(), key=lambda part: (part.stem != path.stem, part.name)):
        kind = part.suffix.lower()
        if part.stem.lower() == path.stem.lower() and kind in PARTS and part.is_file():
            found.setdefault(kind, part)
    return {part: kind for kind, part in found.items()}


def _put(path: Path, target: Path, *, copied: bool) -> None:
    if copied:
        shutil.copyfile(path, target)
        return
    try:
        target.symlink_to(path.resolve(), target_is_directory=path.is_dir())
    except OSError:  # a system without links
        shutil.copytree(path, target) if path.is_dir() else shutil.copyfile(path, target)


def is_encoded(data: bytes, encoding: str) -> bool:
    """Whether bytes are text in an encoding."""
    try:
        data.decode(encoding)
    except UnicodeDecodeError:
        return False
    return True
