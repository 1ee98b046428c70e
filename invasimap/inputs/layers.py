"""One layer of land data: stands, water, ways and the rest, read whole and checked."""

from __future__ import annotations

import dataclasses
import difflib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from invasimap.core.crs import read_crs
from invasimap.core.errors import CRSError, Fault, LayerError
from invasimap.core.settings import Layer
from invasimap.inputs.cells import cell_text, text_column
from invasimap.inputs.fields import match_name
from invasimap.inputs.formats.door import read_file
from invasimap.inputs.formats.raw import RawLayer, unique_name
from invasimap.inputs.mend import mend_polygons, without_flat_lines
from invasimap.inputs.records import source_crs


def read_layer(layer: Layer, *, folder: Path, name: str) -> gpd.GeoDataFrame:
    """A layer of a file, in the file's own system; ``attrs["notes"]`` lists what was left out or mended.

    Parameters
    ----------
    layer
        File, layer in it, ``where`` and ``crs`` (used only where the file does not say).
    folder
        Where the file's path starts.
    name
        What the layer is, for messages ("stands", "[ways]").

    Raises
    ------
    LayerError
        When the file or the layer in it is missing or unreadable, ``where`` names no column or matches no feature.
    CRSError
        When neither the file nor ``crs`` names a reference system.
    """
    where = f"{name}: {layer.file}"
    raw = choose(read_file(folder / Path(layer.file).expanduser(), label=where), wanted=layer.layer, where=where)
    crs = _system(raw, layer.crs, where=where, name=name)
    keep = _selected(raw.frame, layer.where, where=where)
    usable = (raw.marks["problem"] == "").to_numpy() & _finite(raw.geometry)
    taken = keep & usable
    notes = [*raw.notes, *_left_out(raw, keep & ~usable, where=where)]
    drawn, flat = without_flat_lines(raw.geometry[taken])
    if flat:
        notes.append(f"{where}: {flat} lines without length: taken as points, or left out of a longer line")
    geometry = mend_polygons(drawn)
    notes += _mended(drawn, geometry, where=where)
    frame = raw.frame[taken].reset_index(drop=True).infer_objects()
    if "geometry" in frame.columns:
        frame = frame.rename(columns={"geometry": unique_name("geometry", frame.columns)})
    found = gpd.GeoDataFrame(frame, geometry=geometry, crs=crs)
    found.attrs["notes"] = notes
    return found


def choose(layers: list[RawLayer], *, wanted: str | None, where: str) -> RawLayer:
    """The layer that is named, or the only one that holds geometry."""
    named = _by_name(layers)
    if wanted is not None:
        if wanted in named:
            return named[wanted]
        near = difflib.get_close_matches(wanted, named, n=1, cutoff=0.4)
        hint = f"did you mean {near[0]!r}? " if near else ""
        raise LayerError(Fault(where=where, what=f"no layer {wanted!r}", mend=f"{hint}layers: {', '.join(named)}"))
    filled = {n: raw for n, raw in named.items() if not shapely.is_missing(raw.geometry).all()} or named
    if len(filled) > 1:
        raise LayerError(
            Fault(where=where, what="holds several layers", mend=f'set layer = "…"; layers: {", ".join(filled)}')
        )
    return next(iter(filled.values()))


def _by_name(layers: list[RawLayer]) -> dict[str, RawLayer]:
    """Layers by name; the parts of a GPX file and the folders of a KML file are layers of their own."""
    found: dict[str, RawLayer] = {}
    for raw in layers:
        groups = list(dict.fromkeys(raw.marks["group"]))
        if len(groups) < 2 and not any(groups):
            found[unique_name(raw.layer, found)] = raw
            continue
        for group in groups:
            found[unique_name(group or raw.layer, found)] = _part(raw, (raw.marks["group"] == group).to_numpy())
    return found


def _part(raw: RawLayer, rows: np.ndarray) -> RawLayer:
    return dataclasses.replace(
        raw,
        frame=raw.frame[rows].reset_index(drop=True),
        geometry=raw.geometry[rows],
        marks=raw.marks[rows].reset_index(drop=True),
    )


def _system(raw: RawLayer, written: str | None, *, where: str, name: str) -> CRS:
    found = source_crs(raw, read_crs(written, where=where) if written else None)
    if found is None:
        raise CRSError(
            Fault(where=where, what="has no coordinate reference system", mend=f'set crs = "EPSG:…" for {name}')
        )
    return found


def _selected(frame: pd.DataFrame, where_is: Mapping[str, Any], *, where: str) -> np.ndarray:
    keep = np.ones(len(frame), dtype=bool)
    for key, value in where_is.items():
        column = match_name(key, [str(c) for c in frame.columns])
        if not column:
            listed = ", ".join(str(c) for c in frame.columns)
            raise LayerError(Fault(where=where, what=f"where: no column {key!r}", mend=f"columns: {listed}"))
        wanted = {cell_text(item) for item in (value if isinstance(value, list) else [value])}
        cells = text_column(frame[column])
        if len(frame) and not cells.isin(wanted).any():
            raise LayerError(_no_match(key, wanted, cells, where=where))
        keep &= cells.isin(wanted).to_numpy()
    return keep


def _no_match(key: str, wanted: set[str], cells: pd.Series[Any], *, where: str) -> Fault:
    there = sorted(cells.unique())
    listed = ", ".join(repr(text) for text in there[:12]) + (" …" if len(there) > 12 else "")
    asked = " or ".join(repr(text) for text in sorted(wanted))
    return Fault(where=where, what=f"where: no feature has {key} = {asked}", mend=f"values there: {listed}")


def _finite(geometry: np.ndarray) -> np.ndarray:
    good = ~shapely.is_missing(geometry) & ~shapely.is_empty(geometry)
    coords, index = shapely.get_coordinates(geometry, return_index=True)
    good[index[~np.isfinite(coords).all(axis=1)]] = False
    return good


def _left_out(raw: RawLayer, rows: np.ndarray, *, where: str) -> list[str]:
    if not rows.any():
        return []
    numbers = np.flatnonzero(rows) + 1
    said = "; ".join(sorted(set(raw.marks["problem"][rows]) - {""})) or "coordinates are not finite"
    listed = ", ".join(map(str, numbers[:10])) + (" …" if len(numbers) > 10 else "")
    return [f"{where}: {len(numbers)} features without usable geometry left out (records {listed}): {said}"]


def _mended(before: np.ndarray, after: np.ndarray, *, where: str) -> list[str]:
    changed = np.flatnonzero([one is not two for one, two in zip(before, after, strict=True)])
    if not len(changed):
        return []
    area = float(np.abs(shapely.area(before[changed]) - shapely.area(after[changed])).sum())
    return [
        f"{where}: {len(changed)} outlines that cross themselves were mended (area changed by {area:g} square units)"
    ]
