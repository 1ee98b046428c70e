"""Access by itself: an elevation model and a few layers in, classes, limits and walks out, without a tract.toml."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from affine import Affine
from pydantic import ValidationError
from pyproj import CRS, Proj
from rasterio import warp

from invasimap.core.crs import centre_lonlat, read_crs, require_same_metres, to_lonlat, to_working, working_crs
from invasimap.core.errors import CRSError, Fault, LayerError, SettingsError
from invasimap.core.geometry import empty_layer
from invasimap.core.settings import AccessSection
from invasimap.land.access import Access, access_classes
from invasimap.land.given_layers import Layers, given_layers
from invasimap.land.ground import make_ground
from invasimap.land.machines import hose_notes
from invasimap.land.notes import absent_notes, elevation_notes, entrance_notes
from invasimap.land.raster import covered
from invasimap.land.terrain import (
    HIGHEST_M,
    LOWEST_M,
    METRES_PER_UNIT,
    Terrain,
    own_cells_m,
    raster_facts,
    read_terrain,
    with_edge_repeated,
)  # fmt: skip
from invasimap.land.ways_shut import crossing_notes

MARGIN_M = 300.0  # ground round the outline that is worked too: what leads to it
EDGE_CELLS = 0.25  # of a raster's own cells: nearer to its edge than that, bringing it to another grid may find nothing
STRETCH = 0.01  # a system is in true metres when its scale is off by no more
MEANS = ("tractor", "atv", "foot")


def access(
    elevation: Any,
    *,
    rigs: AccessSection | Mapping[str, Any],
    transform: Affine | None = None,
    crs: Any = None,
    unit: str | None = None,
    cell_m: float | None = None,
    **layers: Any,
) -> Access:
    """What tractor, hose and feet reach on your own elevation model and layers.

    Parameters
    ----------
    elevation
        A raster's path, in any system: it and every layer are brought to an equal-area system in metres centred on
        the outline, or on the raster. Or an array of rows from the north, NaN (or masked) where not known, on square
        cells of a system in metres that every layer shares.
    rigs
        The means at hand: ``tractor``, ``atv`` and ``foot``, each a section or a dict such as
        ``{"max_slope": "60 %", "max_walk": "30 min"}``; or a tract's ``access``, of which only the means are taken.
    transform, crs
        Of an array. Of a raster only ``crs``, where the file does not say.
    unit
        Of the elevations: ``m``, ``ft`` or ``us-ft``. Of a raster only where the file does not say.
    cell_m
        Side of the cells to work a raster in; by default its own (of cells that are not square here, as of those in
        degrees, the longer side), to the nearest centimetre.
    **layers
        GeoDataFrames: ``ways`` with ``allows`` (text such as ``atv;foot``); ``features`` with ``blocks`` (such as
        ``tractor;hose``) and, for lines and points, ``width_m`` (0 by default); ``crossings`` with ``width_m`` (20 ft
        by default); ``barriers``, ``wet_ground``, ``open_ground``, ``entries`` and ``outline``. Without entries people
        and machines come in on ways from outside the outline; without either, on ways from the grid's edge.

    Returns
    -------
    Access
        ``class_names``, ``limit_names``, ``walk_min`` on the grid of ``terrain``, ``polygons()`` and ``notes``: read
        these first. All but the notes are of the whole grid: all of an array or a raster, or of a raster with an
        ``outline`` that and 300 m round it. ``polygons(within=outline)`` is cut to it, as acres of a tract should be.

    Raises
    ------
    InputError
        When the elevation, a layer or a rig cannot be used: a ``CRSError`` when systems are missing, mixed or not in
        metres, a ``LayerError`` or ``SettingsError`` that lists every fault of its kind.
    """
    means = _means(rigs)
    found = given_layers(layers)
    if isinstance(elevation, str | Path):
        if transform is not None:
            raise LayerError(Fault(where="transform", what="is for an array; a raster has its own"))
        terrain, found, raster = _from_raster(Path(elevation), found, crs=crs, unit=unit, cell_m=cell_m)
    else:
        if cell_m is not None:
            raise LayerError(Fault(where="cell_m", what="is for a raster's path; an array is worked in its own cells"))
        terrain, raster = _from_array(elevation, transform, crs=crs, unit=unit), None
    on_raster = None if raster is None or "outline" in found else covered([raster], terrain)
    terrain = terrain if on_raster is None else with_edge_repeated(terrain, on_raster)
    require_same_metres(elevation=empty_layer(terrain.crs), **found)
    outline = found.pop("outline", None)
    whole = shapely.box(*terrain.bounds)
    within = (raster or whole) if outline is None else outline.geometry.union_all()
    edge = whole.buffer(-terrain.cell_m, join_style="mitre") if outline is None else within
    ground = make_ground(terrain, outline=edge, **found)
    notes = (
        *elevation_notes(terrain, within=within, around=on_raster is None),
        *absent_notes(terrain, found), *entrance_notes(ground),
        *crossing_notes(ground, means.clearances_m), *hose_notes(means, cell_m=terrain.cell_m),
    )  # fmt: skip
    reached = access_classes(ground, tractor=means.tractor, atv=means.atv, foot=means.foot)
    return dataclasses.replace(reached, notes=notes, on_raster=on_raster)


def _means(rigs: AccessSection | Mapping[str, Any]) -> AccessSection:
    if isinstance(rigs, AccessSection):
        means = rigs
    else:
        if unknown := sorted(set(rigs) - set(MEANS)):
            raise SettingsError(
                [Fault(where=f"rigs: {name}", what=f"is none of {', '.join(MEANS)}") for name in unknown]
            )
        try:
            means = AccessSection.model_validate(dict(rigs))
        except ValidationError as error:
            raise SettingsError([_rig_fault(detail) for detail in error.errors()]) from error
    if means.tractor is None and means.atv is None and means.foot is None:
        raise SettingsError(Fault(where="rigs", what="names no means", mend=f"give one or more of {', '.join(MEANS)}"))
    return means


def _rig_fault(detail: Any) -> Fault:
    what = {"missing": "is missing", "extra_forbidden": "is no setting of it"}.get(
        detail["type"], detail["msg"].removeprefix("Value error, ")
    )
    mend = 'say "0 ft" where it has none' if detail["loc"] == ("atv", "hose_length") else ""
    return Fault(where="rigs: " + ".".join(map(str, detail["loc"])), what=what, mend=mend)


def _from_array(elevation: Any, transform: Affine | None, *, crs: Any, unit: str | None) -> Terrain:
    filled = np.ma.filled(np.ma.asarray(elevation).astype(np.float64), np.nan)
    faults = (
        [] if filled.ndim == 2 and filled.size else [Fault(where="elevation", what="is no array of rows and columns")]
    )
    if unit not in METRES_PER_UNIT:
        what = "of the array's elevations is not said" if unit is None else f"{unit!r} is not known"
        faults.append(Fault(where="unit", what=what, mend='say unit="m", "ft" or "us-ft"'))
    if transform is None:
        faults.append(Fault(where="transform", what="is missing: an array does not say where it lies"))
    elif transform.b or transform.d or transform.a <= 0 or not np.isclose(transform.a, -transform.e, rtol=1e-6):
        what = "turns, mirrors or stretches the cells; they must be square, with rows from the north"
        faults.append(Fault(where="transform", what=what, mend="give the raster's path, which is put right"))
    if faults or transform is None or unit is None:
        raise LayerError(faults)
    if crs is None:
        raise CRSError(Fault(where="elevation", what="has no coordinate reference system", mend='say crs="EPSG:…"'))
    height = filled * METRES_PER_UNIT[unit]
    height[(height < LOWEST_M) | (height > HIGHEST_M)] = np.nan
    made = Terrain(elevation_m=height.astype(np.float32), transform=transform, crs=read_crs(crs, where="elevation"))
    _require_true_metres(made)
    return _known_somewhere(made, "elevation")


def _require_true_metres(terrain: Terrain) -> None:
    crs, mend = terrain.crs, "give the raster's path, which is brought to metres, or a system such as the UTM zone"
    if crs.axis_info[0].unit_name != "metre":
        what = f"an array must be in a system in metres: it is in {crs.name} ({crs.axis_info[0].unit_name})"
        raise CRSError(Fault(where="elevation", what=what, mend=mend))
    left, bottom, right, top = terrain.bounds
    factors = Proj(crs).get_factors(*to_lonlat(crs).transform((left + right) / 2, (bottom + top) / 2))
    scale = np.array([factors.meridional_scale, factors.parallel_scale])
    if not (abs(scale - 1) <= STRETCH).all():
        what = f"a metre on the ground is {scale.max():.2f} m in {crs.name} here: no hose can be measured in it"
        raise CRSError(Fault(where="elevation", what=what, mend=mend))


def _known_somewhere(terrain: Terrain, where: str) -> Terrain:
    if not np.isfinite(terrain.elevation_m).any():
        raise LayerError(
            Fault(where=where, what="has no elevation anywhere here", mend="check its place and its values")
        )
    return terrain


def _from_raster(
    path: Path, layers: Layers, *, crs: Any, unit: str | None, cell_m: float | None
) -> tuple[Terrain, Layers, Any]:
    """A raster's terrain, the layers and its own outline, all in a system centred on the outline or on the raster."""
    if unit is not None and unit not in METRES_PER_UNIT:
        raise LayerError(Fault(where="unit", what=f"{unit!r} is not known", mend='say unit="m", "ft" or "us-ft"'))
    own_crs: CRS | None = None if crs is None else read_crs(crs, where=str(path))
    facts = raster_facts(path, unit=unit, source_crs=own_crs)
    middle = "outline" if "outline" in layers else None
    if middle:
        lon, lat = centre_lonlat(layers[middle])
    else:
        west, south, east, north = warp.transform_bounds(facts.crs, "EPSG:4326", *facts.bounds)
        lon, lat = (west + east) / 2, (south + north) / 2
    working = working_crs(lon, lat)
    moved = {name: to_working(layer, working, name=name) for name, layer in layers.items()}
    if middle:
        left, bottom, right, top = moved[middle].total_bounds
        bounds = (left - MARGIN_M, bottom - MARGIN_M, right + MARGIN_M, top + MARGIN_M)
    else:
        bounds = warp.transform_bounds(facts.crs, working.to_wkt(), *facts.bounds)
    at = (bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2
    own_m = max(own_cells_m(facts, crs=working, at=at))
    side = round(own_m, 2) if cell_m is None else cell_m
    terrain = read_terrain(path, bounds, cell_m=side, crs=working, unit=unit, source_crs=own_crs)
    raster = gpd.GeoDataFrame(geometry=[shapely.Polygon(facts.corners)], crs=facts.crs)
    own = to_working(raster, working, name=str(path)).geometry[0]
    return _known_somewhere(terrain, str(path)), moved, own.buffer(-EDGE_CELLS * own_m, join_style="mitre")
