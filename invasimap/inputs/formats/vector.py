"""GeoPackage and shapefile through GDAL, after a look at the first bytes: a file never opens as another format."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
from pyproj import CRS

from invasimap.core.errors import Fault, LayerError
from invasimap.inputs.formats.raw import NO_GEOMETRY, RawLayer, marks


def read_gpkg(path: Path, *, label: str) -> list[RawLayer]:
    """Every layer of a GeoPackage that holds geometry.

    Raises
    ------
    LayerError
        When it is no GeoPackage or has no layer with geometry.
    """
    _require_start(path, b"SQLite format 3\0", label=label, name="GeoPackage")
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
    heard = [f"{label}: {warning.message}" for warning in caught if warning.category is RuntimeWarning]
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
        notes=(*notes, *heard),
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
