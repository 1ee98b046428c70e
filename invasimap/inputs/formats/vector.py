"""Layers of GeoPackage, shapefile, file geodatabase, FlatGeobuf and GeoParquet.

The first bytes are looked at before GDAL opens a file, so that none opens as another format.
"""

from __future__ import annotations

import dataclasses
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
from pyproj import CRS

from invasimap.core.errors import Fault, LayerError
from invasimap.inputs.formats.raw import NO_GEOMETRY, RawLayer, marks

GDB_CATALOGUE: Final = "a00000001.gdbtable"
_COUNTED: Final = (".fgb", ".gdb")  # the header's count holds; a GeoPackage's may be out of date
_NUMBERS: Final = ("fid", "ogc_fid", "objectid", "feature_id", "featureid", "id", "record")


def read_gpkg(path: Path, *, label: str) -> list[RawLayer]:
    """Every layer of a GeoPackage that holds geometry.

    Raises
    ------
    LayerError
        When it is no GeoPackage or has no layer with geometry.
    """
    _require_start(path, b"SQLite format 3\0", label=label, name="GeoPackage")
    return _layers(path, label=label)


def read_gdb(path: Path, *, label: str) -> list[RawLayer]:
    """Every layer of a file geodatabase (a folder named ``.gdb``) that holds geometry.

    Raises
    ------
    LayerError
        When it is no file geodatabase or has no layer with geometry.
    """
    if not (path / GDB_CATALOGUE).is_file():
        what = f"is no whole file geodatabase: it lacks {GDB_CATALOGUE}"
        raise LayerError(Fault(where=label, what=what, mend="copy the whole .gdb folder"))
    return _layers(path, label=label)


def read_flatgeobuf(path: Path, *, label: str) -> list[RawLayer]:
    """A FlatGeobuf file; its rows, which it keeps sorted by place, in the order of a column of whole numbers that tells
    them apart (fid, id, …) where there is one."""
    _require_start(path, b"fgb\x03fgb", label=label, name="FlatGeobuf")
    raw = _layer(path, label=label, layer=path.stem, notes=[])
    name = next((str(c) for c in raw.frame.columns if str(c).lower() in _NUMBERS and _tells_apart(raw.frame[c])), "")
    if not name:
        return [raw]
    order = np.argsort(pd.to_numeric(raw.frame[name]).to_numpy(), kind="stable")
    frame, marked = (part.iloc[order].reset_index(drop=True) for part in (raw.frame, raw.marks))
    return [dataclasses.replace(raw, frame=frame, marks=marked, geometry=raw.shapes[order])]


def read_parquet(path: Path, *, label: str) -> list[RawLayer]:
    """A GeoParquet file.

    Raises
    ------
    LayerError
        When it is no Parquet file, or pyarrow, which reads it, is not installed.
    """
    _require_start(path, b"PAR1", label=label, name="Parquet file")
    try:
        import pyarrow  # noqa: F401
    except ImportError as error:
        what = "is GeoParquet, and pyarrow, which reads it, is not installed"
        raise LayerError(Fault(where=label, what=what, mend="pip install 'invasimap[cluster]'")) from error
    return [_from_frame(gpd.read_parquet(path), label=label, layer=path.stem, notes=[])]


def _tells_apart(column: pd.Series[Any]) -> bool:
    return bool(pd.api.types.is_integer_dtype(column) and column.is_unique and column.notna().all())


def _layers(path: Path, *, label: str) -> list[RawLayer]:
    """Every layer with geometry, each under its own label where there are several."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what matters is said again when the layer is read
        kinds = {str(name): kind for name, kind in pyogrio.list_layers(path)}
    spatial = [name for name, kind in kinds.items() if kind is not None]
    if not spatial:
        raise LayerError(Fault(where=label, what="has no layer with geometry"))
    plain = [name for name in kinds if name not in spatial]
    notes = [f"{label}: tables without geometry are not read: {', '.join(plain)}"] if plain else []
    single = len(spatial) == 1
    return [
        _layer(path, label=label if single else f"{label}:{name}", layer=name, notes=notes if k == 0 else [])
        for k, name in enumerate(spatial)
    ]


def read_shapefile(path: Path, *, label: str) -> list[RawLayer]:
    """A shapefile with the files beside it (.shx, .dbf, .prj)."""
    _require_start(path, (9994).to_bytes(4, "big"), label=label, name="shapefile")
    missing = [s for s in (".shx", ".dbf") if not any(path.with_suffix(e).exists() for e in (s, s.upper()))]
    if missing:
        raise LayerError(
            Fault(
                where=label,
                what=f"lacks its {' and '.join(missing)} file",
                mend="copy all files of the shapefile",
            )
        )
    return [_layer(path, label=label, layer=path.stem, notes=[])]


def _require_start(path: Path, start: bytes, *, label: str, name: str) -> None:
    with path.open("rb") as stream:
        if stream.read(len(start)) != start:
            raise LayerError(Fault(where=label, what=f"is no {name}: its first bytes are another format's"))


def _layer(path: Path, *, label: str, layer: str, notes: Sequence[str]) -> RawLayer:
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        frame = _read(path, layer)
        counted = int(pyogrio.read_info(path, layer=layer)["features"]) if path.suffix.lower() in _COUNTED else 0
    heard = [f"{label}: {warning.message}" for warning in caught if warning.category is RuntimeWarning]
    raw = _from_frame(frame, label=label, layer=layer, notes=[*notes, *heard])
    return _padded(raw, counted) if counted > len(frame) else raw


def _from_frame(frame: gpd.GeoDataFrame, *, label: str, layer: str, notes: Sequence[str]) -> RawLayer:
    geometry = frame.geometry.to_numpy(dtype=object)
    table = pd.DataFrame(frame.drop(columns=frame.geometry.name)).reset_index(drop=True)
    lost = frame.geometry.isna().to_numpy() | frame.geometry.is_empty.to_numpy()
    return RawLayer(
        label=label,
        layer=layer,
        frame=table,
        geometry=geometry,
        marks=marks(len(table), problem=np.where(lost, NO_GEOMETRY, "").astype(object)),
        crs=_known(frame.crs),
        notes=tuple(notes),
    )


def _padded(raw: RawLayer, counted: int) -> RawLayer:
    """With a record, set aside, for each that the file counts and that did not come out."""
    read, lost = len(raw.frame), counted - len(raw.frame)
    why = f"cannot be read: the file counts {counted} records and gives {read}"
    return dataclasses.replace(
        raw,
        frame=raw.frame.reindex(range(counted)),
        geometry=np.concatenate([raw.geometry, np.full(lost, None, dtype=object)]),
        marks=pd.concat([raw.marks, marks(lost, problem=[why] * lost)], ignore_index=True),
    )


def _read(path: Path, layer: str) -> gpd.GeoDataFrame:
    try:
        return pyogrio.read_dataframe(path, layer=layer, on_invalid="ignore")
    except UnicodeDecodeError:
        return pyogrio.read_dataframe(path, layer=layer, on_invalid="ignore", encoding="cp1252")


def _known(crs: CRS | None) -> CRS | None:
    """The reference system, unless the file says that it is not known."""
    unknown = crs is None or crs.name.lower().startswith(("undefined", "unknown")) or crs.is_engineering
    return None if unknown else crs
