"""A shapefile whose parts do not fit together: index made anew, missing attributes said, lost records counted."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

import numpy as np
import pyogrio

from invasimap.core.errors import Fault, LayerError
from invasimap.inputs.formats.gdal_files import is_encoded, plainly_named, side_parts
from invasimap.inputs.formats.raw import RawLayer
from invasimap.inputs.formats.vector import padded, read_one, require_start

_HEADER_B: Final = 100
_START: Final = (9994).to_bytes(4, "big")
_DELETED: Final = 0x2A
_LANGUAGE: Final = 29  # byte of a .dbf file that names its code page
_UNSAID: Final = (0x00, 0x57)  # none, and "ANSI", which GDAL takes as ISO 8859-1


def read_shapefile(path: Path, *, label: str) -> list[RawLayer]:
    """A shapefile with the files beside it (.shx, .dbf, .prj, .cpg).

    A missing or damaged .shx is made anew, in a temporary folder. Without its .dbf the shapes have no values. Records
    that one part counts and another lacks are set aside.

    Raises
    ------
    LayerError
        When it is no shapefile.
    """
    require_start(path, _START, label=label, name="shapefile")
    parts = {kind: part for part, kind in side_parts(path).items()}
    notes = []
    shapes = scan_shapes(path)
    index_count = index_size(path, parts.get(".shx"))
    if index_count is None:
        notes.append(
            f"{label}: its .shx file is {'damaged' if '.shx' in parts else 'missing'}: the shapes are counted anew"
        )
    if ".dbf" not in parts:
        notes.append(f"{label}: its .dbf file is missing: the shapes have no values; copy all files of the shapefile")
    rows, deleted = table_size(parts.get(".dbf"))
    encoding = text_encoding(parts[".dbf"]) if ".dbf" in parts and ".cpg" not in parts else ""
    if encoding:
        notes.append(f"{label}: its .cpg file is missing: its text is read as {encoding}")
    with plainly_named(path, copied=index_count is None) as plain, _index_restored(plain, anew=index_count is None):
        if encoding:
            plain.with_suffix(".cpg").write_text(encoding, encoding="ascii")
        try:
            raw = read_one(plain, label=label, layer=path.stem, notes=notes)
        except pyogrio.errors.DataSourceError as error:
            what = f"cannot be read: {str(error).replace(str(plain.with_suffix('')), path.stem)}"
            raise LayerError(Fault(where=label, what=what, mend="copy all files of the shapefile")) from error
    if deleted:
        raw = dataclasses.replace(raw, notes=(*raw.notes, f"{label}: {deleted} rows marked as deleted are not read"))
    counted = max(index_count or 0, shapes if index_count is None else 0, rows) - deleted
    return [padded(raw, counted)]


@contextmanager
def _index_restored(path: Path, *, anew: bool) -> Iterator[None]:
    """Let GDAL write the index of a copy."""
    if not anew:
        yield
        return
    path.with_suffix(".shx").unlink(missing_ok=True)
    before = pyogrio.get_gdal_config_option("SHAPE_RESTORE_SHX")
    pyogrio.set_gdal_config_options({"SHAPE_RESTORE_SHX": "YES"})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({"SHAPE_RESTORE_SHX": before})


def scan_shapes(path: Path) -> int:
    """Records of a .shp file counted one after the other, the last one also when it is cut."""
    size, at, count = path.stat().st_size, _HEADER_B, 0
    with path.open("rb") as stream:
        while at + 8 <= size:
            stream.seek(at)
            length_B = 2 * int.from_bytes(stream.read(8)[4:], "big", signed=True)
            if length_B < 4:
                break
            count, at = count + 1, at + 8 + length_B
    return count


def index_size(path: Path, index: Path | None) -> int | None:
    """Records that a .shx file lists; None when it is missing or does not fit the .shp file."""
    if index is None:
        return None
    data = index.read_bytes()
    if len(data) < _HEADER_B or data[:4] != _START:
        return None
    entries = np.frombuffer(data, dtype=">i4", offset=_HEADER_B, count=(len(data) - _HEADER_B) // 8 * 2).reshape(-1, 2)
    starts = entries[:, 0].astype(np.int64) * 2
    told = (int.from_bytes(data[24:28], "big") * 2 - _HEADER_B) // 8
    if told > len(entries) or (len(starts) and not _fits(path, int(starts.min()))):
        return None
    return len(entries)


def _fits(path: Path, start_B: int) -> bool:
    """Whether a record can start there: after the header, with a number and a length."""
    if start_B < _HEADER_B:
        return False
    with path.open("rb") as stream:
        stream.seek(start_B)
        head = stream.read(8)
    return len(head) == 8 and int.from_bytes(head[4:], "big", signed=True) >= 2


def table_size(table: Path | None) -> tuple[int, int]:
    """Rows that a .dbf file counts, and those of them marked as deleted."""
    if table is None:
        return 0, 0
    data = table.read_bytes()
    rows, head_B, row_B = (int.from_bytes(data[a:b], "little") for a, b in ((4, 8), (8, 10), (10, 12)))
    if row_B == 0 or head_B == 0:
        return 0, 0
    return rows, data[head_B : head_B + rows * row_B : row_B].count(_DELETED)


def text_encoding(table: Path) -> str:
    """The encoding of the text of a .dbf file that does not say it; "" where it says it or it does not matter."""
    data = table.read_bytes()
    text = data[int.from_bytes(data[8:10], "little") :]
    if text.isascii() or data[_LANGUAGE] not in _UNSAID:
        return ""
    return next((name for name in ("UTF-8", "CP1252") if is_encoded(text, name)), "")
