"""One layer of land data: stands, water, ways and the rest, read whole and checked."""

from __future__ import annotations

import dataclasses
import difflib
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS

from invasimap.core.crs import read_crs
from invasimap.core.database_address import is_database
from invasimap.core.errors import CRSError, Fault, LayerError
from invasimap.core.files import whole_path
from invasimap.core.survey_settings import LIMITS, Layer, LimitsSection
from invasimap.inputs.formats.door import read_file, within
from invasimap.inputs.formats.postgis import read_postgis
from invasimap.inputs.formats.raw import WGS84, RawLayer, unique_name
from invasimap.inputs.mend import TANGLED, mend_polygons, tangled, without_flat_lines
from invasimap.inputs.records import source_crs
from invasimap.inputs.selection import select
from invasimap.inputs.stands_box import moves


def read_layer(layer: Layer, *, folder: Path, name: str, limits: LimitsSection = LIMITS) -> gpd.GeoDataFrame:
    """A layer of a file, in the file's own system.

    ``attrs["notes"]`` lists what was left out or mended, ``attrs["lost"]`` only what had no usable geometry, and
    ``attrs["left_out"]`` counts, by column, the values that ``where`` does not take.

    Parameters
    ----------
    layer
        File, layer in it, ``where`` and ``crs`` (used only where the file does not say).
    folder
        Where the file's path starts.
    name
        What the layer is, for messages ("stands", "[ways]").
    limits
        From what size on a file, an archive or a shape is refused.

    Raises
    ------
    LayerError
        When the file or the layer in it is missing or unreadable, ``where`` names no column, or a value in it matches
        no feature or has a variant that differs only in case or spaces.
    CRSError
        When neither the file nor ``crs`` names a reference system.
    """
    where = f"{name}: {layer.shown}"
    if is_database(layer.file):
        raw = _of_database(layer, where=where, limits=limits)
    else:
        path = whole_path(folder, layer.file)
        raw = choose(read_file(path, label=where, limits=limits, only=layer.layer), wanted=layer.layer, where=where)
    crs = _system(raw, layer.crs, where=where, name=name)
    keep, left_out = select(raw.frame, layer.where, where=where)
    raw = _without_tangled(raw)
    usable = (raw.marks["problem"] == "").to_numpy() & _finite(raw.shapes)
    taken = keep & usable
    lost = _left_out(raw, keep & ~usable, where=where)
    notes = [*raw.notes, *lost]
    drawn, flat = without_flat_lines(raw.shapes[taken])
    if flat:
        notes.append(f"{where}: {flat} lines without length: taken as points, or left out of a longer line")
    geometry = mend_polygons(drawn)
    notes += _mended(drawn, geometry, where=where)
    frame = raw.frame[taken].reset_index(drop=True).infer_objects()
    if "geometry" in frame.columns:
        frame = frame.rename(columns={"geometry": unique_name("geometry", frame.columns)})
    found = gpd.GeoDataFrame(frame, geometry=geometry, crs=crs)
    found.attrs.update({"notes": notes, "lost": lost, "left_out": left_out})
    return found


def _of_database(layer: Layer, *, where: str, limits: LimitsSection) -> RawLayer:
    found = read_postgis(layer.file, label=where, layers=[layer.layer] if layer.layer else [], limits=limits)
    if len(found) > 1:
        mend = "bring them into one, such as by a view with ST_Transform: part of a layer would protect part of it"
        raise LayerError(Fault(where=where, what="its shapes are in several systems", mend=mend))
    return within(found[0], limits)


def _without_tangled(raw: RawLayer) -> RawLayer:
    """With a problem said of every outline or line that crosses itself at too many places."""
    crossed = (shapely.get_dimensions(raw.shapes) == 1) | ~shapely.is_valid(raw.shapes)
    drawn = raw.shapes.copy()
    drawn[~(_finite(raw.shapes) & crossed)] = None
    rows = np.flatnonzero(tangled(drawn))
    if not len(rows):
        return raw
    marked = raw.marks.copy()
    marked.loc[rows, "problem"] = TANGLED
    return dataclasses.replace(raw, marks=marked)


def choose(layers: list[RawLayer], *, wanted: str | None, where: str) -> RawLayer:
    """The layer that is named, or the only one that holds geometry."""
    named = layers_by_name(layers)
    if wanted is not None:
        if wanted in named:
            return named[wanted]
        near = difflib.get_close_matches(wanted, named, n=1, cutoff=0.4)
        hint = f"did you mean {near[0]!r}? " if near else ""
        raise LayerError(Fault(where=where, what=f"no layer {wanted!r}", mend=f"{hint}layers: {', '.join(named)}"))
    filled = {n: raw for n, raw in named.items() if not shapely.is_missing(raw.shapes).all()} or named
    if len(filled) > 1:
        raise LayerError(
            Fault(where=where, what="holds several layers", mend=f'set layer = "…"; layers: {", ".join(filled)}')
        )
    return next(iter(filled.values()))


def layers_by_name(layers: list[RawLayer]) -> dict[str, RawLayer]:
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
        geometry=raw.shapes[rows],
        marks=raw.marks[rows].reset_index(drop=True),
    )


def _system(raw: RawLayer, written: str | None, *, where: str, name: str) -> CRS:
    found = source_crs(raw, read_crs(written, where=where) if written else None)
    if found is None:
        raise CRSError(
            Fault(where=where, what="has no coordinate reference system", mend=f'set crs = "EPSG:…" for {name}')
        )
    if not moves(found, WGS84):
        raise CRSError(
            Fault(where=where, what=f"lies in {found.name}, no system of this earth", mend="mend its system")
        )
    return found


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
