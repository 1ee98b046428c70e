"""The one door to a field file: picks the reader by suffix; what goes wrong inside comes out as one clear error."""

from __future__ import annotations

import dataclasses
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Final

from invasimap.core.errors import Fault, InputError, LayerError
from invasimap.inputs.formats.archive import unpack
from invasimap.inputs.formats.geojson import read_geojson
from invasimap.inputs.formats.gpx import read_gpx
from invasimap.inputs.formats.kml import read_kml, read_kmz
from invasimap.inputs.formats.raw import RawLayer
from invasimap.inputs.formats.tables import read_table
from invasimap.inputs.formats.vector import read_gpkg, read_shapefile

LonLat = tuple[str | None, str | None]

TABLES: Final = (".csv", ".tsv", ".txt")
_READERS: Final[dict[str, Callable[..., RawLayer | list[RawLayer]]]] = {
    ".gpx": read_gpx, ".kml": read_kml, ".kmz": read_kmz, ".geojson": read_geojson, ".json": read_geojson,
    ".gpkg": read_gpkg, ".shp": read_shapefile,
}  # fmt: skip
SIDE_FILES: Final = (".shx", ".dbf", ".prj", ".cpg", ".sbn", ".sbx", ".qix", ".qmd", ".qpj", ".xml", ".csvt")
SUFFIXES: Final = (*TABLES, *_READERS, ".zip")


def read_file(path: Path, *, label: str, lonlat: LonLat = (None, None)) -> list[RawLayer]:
    """Every layer with geometry in a file.

    Parameters
    ----------
    path
        CSV, GPX, KML, KMZ, GeoJSON, GeoPackage, shapefile, or a zip that holds any of them in any sub-folder.
    label
        The file's name in messages and tables.
    lonlat
        Columns of a table that hold the position, where their headers do not say so.

    Raises
    ------
    LayerError
        When it is missing, of an unknown kind or cannot be read.
    """
    if not path.is_file():
        raise LayerError(Fault(where=label, what="there is no such file", mend="check the name and its folder"))
    suffix = path.suffix.lower()
    try:
        if suffix == ".zip":
            return _read_zip(path, label=label, lonlat=lonlat)
        if suffix in TABLES:
            return [read_table(path, label=label, lonlat=lonlat)]
        if suffix in _READERS:
            layers = _READERS[suffix](path, label=label)
            return layers if isinstance(layers, list) else [layers]
    except InputError:
        raise
    except Exception as error:  # the format door: readers raise many kinds for damaged files
        raise LayerError(
            Fault(
                where=label,
                what=f"cannot be read: {error}",
                mend="open it in the program it came from and export it again",
            )
        ) from error
    raise LayerError(
        Fault(
            where=label,
            what=f"{suffix or 'no suffix'!r} is no kind of file that is read",
            mend=f"read are: {', '.join(SUFFIXES)}",
        )
    )


def _read_zip(path: Path, *, label: str, lonlat: LonLat) -> list[RawLayer]:
    wanted = (*(s for s in SUFFIXES if s not in (".zip", ".txt")), *SIDE_FILES)
    with tempfile.TemporaryDirectory(prefix="invasimap-") as name:
        folder = Path(name)
        files = [file for file in unpack(path, folder, label=label, suffixes=wanted) if file.suffix.lower() in SUFFIXES]
        if not files:
            raise LayerError(
                Fault(where=label, what="holds no file that is read", mend=f"read are: {', '.join(SUFFIXES)}")
            )
        found: list[RawLayer] = []
        for file in files:
            found += read_file(file, label=f"{label}:{file.relative_to(folder).as_posix()}", lonlat=lonlat)
    return [dataclasses.replace(found[0], label=label)] if len(found) == 1 else found
