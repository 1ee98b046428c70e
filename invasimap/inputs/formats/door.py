"""The one door to a field file: picks the reader by its content and name; what goes wrong is one clear error."""

from __future__ import annotations

import dataclasses
import os
import re
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd
import shapely

from invasimap.core.errors import Fault, InputError, LayerError
from invasimap.core.files import GDB, is_gdb, with_side_files
from invasimap.core.geometry import without_empty_rings
from invasimap.core.survey_settings import LimitsSection
from invasimap.inputs.formats.archive import GDB_PART, other_members, unpack, unpacked_size
from invasimap.inputs.formats.bounds import (
    first_lines,
    over_parts,
    over_size,
    over_together,
    over_vertices,
    unread_layer,
)
from invasimap.inputs.formats.content import NAMES, kind_of, read_head
from invasimap.inputs.formats.geojson import SEQUENCES, read_geojson
from invasimap.inputs.formats.gpx import read_gpx
from invasimap.inputs.formats.kml import read_kml, read_kmz
from invasimap.inputs.formats.located import LonLat
from invasimap.inputs.formats.raw import RawLayer
from invasimap.inputs.formats.shapefile import read_shapefile
from invasimap.inputs.formats.sheets import read_xlsx
from invasimap.inputs.formats.tables import read_table
from invasimap.inputs.formats.vector import read_flatgeobuf, read_gdb, read_gpkg, read_parquet
from invasimap.inputs.mend import TANGLED, tangled

TABLES: Final[dict[str, Callable[..., RawLayer | list[RawLayer]]]] = {
    ".csv": read_table, ".tsv": read_table, ".txt": read_table, ".xlsx": read_xlsx, ".xlsm": read_xlsx,
}  # fmt: skip
_READERS: Final[dict[str, Callable[..., RawLayer | list[RawLayer]]]] = {
    ".gpx": read_gpx, ".kml": read_kml, ".kmz": read_kmz, ".geojson": read_geojson, ".json": read_geojson,
    **dict.fromkeys(SEQUENCES, read_geojson), ".gpkg": read_gpkg, ".shp": read_shapefile, ".fgb": read_flatgeobuf,
    ".parquet": read_parquet, ".geoparquet": read_parquet, GDB: read_gdb,
}  # fmt: skip
_BOUNDED: Final = (read_table, read_xlsx, read_gpx, read_kml, read_kmz, read_geojson, read_parquet)
_LAYERED: Final = (read_gpkg, read_gdb)
SIDE_FILES: Final = (".shx", ".dbf", ".prj", ".cpg", ".sbn", ".sbx", ".qix", ".qmd", ".qpj", ".xml", ".csvt")
_TEXTS: Final = (".csv", ".tsv", ".txt", ".gpx", ".kml", ".geojson", ".json", *SEQUENCES)
_HUGE = 100_000  # coordinates of a shape that counts among those of which a file has few
_HUGE_TOGETHER = 2  # such shapes of a layer have at most so many times what one may have
_INNER: Final = re.compile(r"/[^'\"\n]*/invasimap-\w+/")  # a folder of ours, for a while
_LARGE: Final = 5_000  # coordinates of a shape that is looked at before anything is asked of its course
SUFFIXES: Final = (*TABLES, *_READERS, ".zip")


def read_file(
    path: Path, *, label: str, lonlat: LonLat = (None, None), limits: LimitsSection | None = None,
    only: str | None = None,
) -> list[RawLayer]:  # fmt: skip
    """Every layer with geometry in a file.

    Parameters
    ----------
    path
        CSV, XLSX, GPX, KML, KMZ, GeoJSON (also a sequence), GeoPackage, shapefile, FlatGeobuf, GeoParquet, a file
        geodatabase's folder, or a zip that holds any of the others in any sub-folder. A file whose content is another
        of these than its name says is read by its content, and that is said.
    label
        The file's name in messages and tables.
    lonlat
        Columns of a table that hold the position, where their headers do not say so.
    limits
        What is refused: files and archives too large; a shape with too many vertices or parts is set aside.
    only
        The layer that is wanted: the others of a GeoPackage or a file geodatabase that has it are not read.

    Raises
    ------
    LayerError
        When it is missing, too large, of an unknown kind or cannot be read.
    """
    limits = limits or LimitsSection()
    try:
        kind, notes = _kind(path, label=label, limits=limits)
        layers = _read(path, kind, label=label, lonlat=lonlat, limits=limits, only=only)
    except InputError:
        raise
    except RecursionError as error:
        raise LayerError(Fault(where=label, what="is nested too deep", mend="export it again")) from error
    except MemoryError as error:
        raise LayerError(Fault(where=label, what="is too large for the memory", mend="split it")) from error
    except Exception as error:  # the format door: readers raise many kinds for damaged files
        said = _INNER.sub("", str(error).replace(str(path), path.name).replace(str(path.parent), ""))
        mend = "open it in the program it came from and export it again"
        raise LayerError(Fault(where=label, what=f"cannot be read: {said}", mend=mend)) from error
    layers = [within(layer, limits) for layer in layers]
    return [dataclasses.replace(layers[0], notes=(*notes, *layers[0].notes)), *layers[1:]]


def _kind(path: Path, *, label: str, limits: LimitsSection) -> tuple[str, tuple[str, ...]]:
    """The suffix of the format to read, and a note where the file's name says another."""
    suffix = path.suffix.lower()
    gdb = is_gdb(path)
    head = b"" if gdb else read_head(path, label=label)
    size_B = _folder_size(path) if gdb else sum(part.stat().st_size for part in with_side_files(path))
    if size_B > limits.file_B:
        raise over_size(f"is {size_B / 1e6:,.0f} MB", where=label, setting="file", limit_B=limits.file_B)
    if gdb:
        return GDB, ()
    if not head and suffix in _TEXTS:
        raise LayerError(
            Fault(where=label, what="is empty (0 bytes)", mend="export it again from the receiver or program")
        )
    kind = kind_of(path, head, suffix=suffix, label=label)
    if kind == suffix or (_reader(kind) is not None and _reader(kind) is _reader(suffix)):
        return suffix, ()
    if kind not in NAMES:  # a shapefile of another name has lost its parts
        return suffix, ()
    note = f"{label}: read as {NAMES[kind]}: its content is {NAMES[kind]}, not what its name says"
    return kind, (note,)


def _reader(kind: str) -> Callable[..., RawLayer | list[RawLayer]] | None:
    return TABLES.get(kind) or _READERS.get(kind)


def _folder_size(path: Path) -> int:
    return sum(entry.stat(follow_symlinks=False).st_size for entry in os.scandir(path))


def _read(
    path: Path, kind: str, *, label: str, lonlat: LonLat, limits: LimitsSection, only: str | None = None
) -> list[RawLayer]:  # fmt: skip
    if kind == ".zip":
        return _read_zip(path, label=label, lonlat=lonlat, limits=limits)
    reader = _reader(kind)
    if reader is None:
        what = f"{kind or 'no suffix'!r} is no kind of file that is read"
        raise LayerError(Fault(where=label, what=what, mend=f"read are: {', '.join(SUFFIXES)}"))
    bounds = {"limits": limits} if reader in _BOUNDED else {}
    columns = {"lonlat": lonlat} if kind in TABLES else {}
    wanted = {"only": only} if reader in _LAYERED else {}
    layers = _listed(reader(path, label=label, **bounds, **columns, **wanted))
    if kind != ".kmz":
        return layers
    others = other_members(path, label=label, suffixes=(".kml",), surveys=(), limits=limits)
    left = [name for name in others if Path(name).suffix.lower() in SUFFIXES]
    notes = (f"{label}: not read: {first_lines(left)}",) if left else ()
    return [dataclasses.replace(layers[0], notes=(*layers[0].notes, *notes)), *layers[1:]]


def _listed(layers: RawLayer | list[RawLayer]) -> list[RawLayer]:
    return layers if isinstance(layers, list) else [layers]


def within(layer: RawLayer, limits: LimitsSection) -> RawLayer:
    """The layer with every shape set aside that has too many vertices or parts, or is a tangle."""
    if layer.geometry is None:
        return layer
    shapes = without_empty_rings(layer.geometry)
    layer = dataclasses.replace(layer, geometry=shapes)
    counts, parts = np.asarray(shapely.get_num_coordinates(shapes)), np.asarray(shapely.get_num_geometries(shapes))
    wrong = {row: over_parts(limits.parts, int(parts[row])) for row in np.flatnonzero(parts > limits.parts)}
    over = np.flatnonzero(counts > limits.vertices)
    wrong |= {row: over_vertices(limits.vertices, int(counts[row])) for row in over}
    huge = np.array([row for row in np.flatnonzero(counts > _HUGE) if row not in wrong], int)
    together = _HUGE_TOGETHER * max(limits.vertices, _HUGE)
    wrong |= dict.fromkeys(huge[np.cumsum(counts[huge]) > together], over_together(together))
    large = np.array([row for row in np.flatnonzero(counts > _LARGE) if row not in wrong], dtype=int)
    if len(large):
        wrong |= dict.fromkeys(large[tangled(shapes[large])], f"{TANGLED}: draw it again")
    if not wrong:
        return layer
    geometry, marks = shapes.copy(), layer.marks.copy()
    rows = np.array(list(wrong))
    geometry[rows] = None
    problem = marks["problem"].to_numpy(dtype=object).copy()
    problem[rows] = list(wrong.values())
    marks["problem"] = pd.Series(problem, dtype=object)
    return dataclasses.replace(layer, geometry=geometry, marks=marks)


def _read_zip(path: Path, *, label: str, lonlat: LonLat, limits: LimitsSection) -> list[RawLayer]:
    surveys = tuple(suffix for suffix in SUFFIXES if suffix != ".zip")
    wanted = (*surveys, *SIDE_FILES)
    others = other_members(path, label=label, suffixes=wanted, surveys=surveys, limits=limits)
    unread = [name for name in others if not name.endswith(".lock")]  # of who has it open
    found: list[RawLayer] = []
    errors: dict[str, InputError] = {}
    left_B = limits.unpacked_B
    with tempfile.TemporaryDirectory(prefix="invasimap-") as name:
        folder = Path(name)
        written = unpack(path, folder, label=label, suffixes=wanted, limits=limits)
        files = list(dict.fromkeys(_whole(file) for file in written if _whole(file).suffix.lower() in SUFFIXES))
        unread += [_inside(file, folder) for file in written if _whole(file) not in files and not _belongs(file, files)]
        for file in files:
            inside = _inside(file, folder)
            try:
                left_B -= _refuse_archive(file, label=f"{label}:{inside}", left_B=left_B, limits=limits)
                found += read_file(file, label=f"{label}:{inside}", lonlat=lonlat, limits=limits)
            except InputError as error:
                unread.append(f"{inside} ({error.faults[0].what.partition(';')[0]})")
                if file.suffix.lower() != ".txt":  # a text may be a table, or a word to whoever opens the archive
                    errors[inside] = error
    return _of_archive(found, errors, unread, label=label)


def _refuse_archive(file: Path, *, label: str, left_B: float, limits: LimitsSection) -> int:
    """Bytes that a workbook or KMZ of an archive unpacks to; a plain archive in an archive is refused."""
    if file.is_dir():
        return 0
    head = read_head(file, label=label)
    if not head.startswith(b"PK"):
        return 0
    if kind_of(file, head, suffix=file.suffix.lower(), label=label) == ".zip":
        what = "is an archive in an archive, which is not opened"
        raise LayerError(Fault(where=label, what=what, mend="unpack it and name its files"))
    size_B = unpacked_size(file, label=label, limits=limits)
    if size_B > left_B:
        raise over_size("unpacks to too much", where=label, setting="unpacked", limit_B=limits.unpacked_B)
    return size_B


def _of_archive(
    found: list[RawLayer], errors: dict[str, InputError], unread: list[str], *, label: str
) -> list[RawLayer]:
    """The layers of an archive; a file that could not be read is one record set aside, if others could."""
    if not found and errors:
        raise LayerError([fault for error in errors.values() for fault in error.faults])
    if not found:
        what = f"holds no file that is read{f': {first_lines(unread)}' if unread else ''}"
        raise LayerError(Fault(where=label, what=what, mend=f"read are: {', '.join(SUFFIXES)}"))
    notes = (f"{label}: not read: {first_lines(unread)}",) if unread else ()
    lost = [unread_layer(error, label=f"{label}:{inside}", layer=inside) for inside, error in errors.items()]
    layers = [dataclasses.replace(layer, notes=(*layer.notes, *notes)) for layer in (*found, *lost)]
    return [dataclasses.replace(layers[0], label=label)] if len(layers) == 1 else layers


def _inside(file: Path, folder: Path) -> str:
    return file.relative_to(folder).as_posix()


def _whole(file: Path) -> Path:
    """What an unpacked file is read as: itself, or the geodatabase that it is a part of."""
    inside = file.parent.suffix.lower() == GDB and GDB_PART.fullmatch(file.name)
    return file.parent if inside else file


def _belongs(side: Path, files: list[Path]) -> bool:
    """Whether a side file such as roads.dbf or roads.shp.xml stands beside a file of its name."""
    return any(
        side.parent == file.parent and side.name.lower().startswith(f"{file.stem.lower()}.")
        for file in files
        if file.suffix.lower() not in (".txt", ".zip")
    )
