"""What is to be said of the ground before figures are used: gaps in the elevation, how it is entered, what the layers
leave open."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from invasimap.core.settings import Tract
from invasimap.land.ground import Ground
from invasimap.land.machines import ENTRY_SNAP_M, vehicle_stops
from invasimap.land.raster import Mask, covered, touched
from invasimap.land.terrain import Terrain

COARSER = 1.1  # times the cells worked with: larger cells of the elevation are said


def unknown_share(terrain: Terrain, *, within: Any) -> float:
    """The share of some ground that has no elevation; what lies off the grid has none."""
    off = 1 - shapely.area(shapely.intersection(within, shapely.box(*terrain.bounds))) / shapely.area(within)
    inside = covered([within], terrain)
    inside = inside if inside.any() else touched([within], terrain)
    off = max(round(float(off), 9), 0.0)
    return off + (1 - off) * _share(inside, terrain)


def elevation_notes(terrain: Terrain, *, within: Any, around: bool = True) -> list[str]:
    """What is to be said of the elevation of a tract, and with ``around`` of the rest of the grid."""
    notes = []
    inside = covered([within], terrain)
    own, cell = terrain.source_cell_m, terrain.cell_m
    if own is not None and own > COARSER * cell:
        notes.append(
            f"The elevation has cells of {own:.1f} m, larger than the cells of {cell:.1f} m worked with: slopes are "
            "smoothed, so banks and ditches do not show."
        )
    if share := unknown_share(terrain, within=within):
        notes.append(f"{_percent(share)} of the tract has no elevation: it counts as out of reach, by unknown.")
    if around and (share := _share(~inside, terrain)):
        notes.append(
            f"Outside the tract, {_percent(share)} of the ground near it has no elevation: nobody comes in over that "
            "but on ways."
        )
    return notes


def absent_notes(terrain: Terrain, layers: Mapping[str, gpd.GeoDataFrame]) -> list[str]:
    """Which layers have nothing on the ground that is worked, and how many entries lie off it."""
    box = shapely.box(*terrain.bounds)
    here = {name: shapely.intersects(layer.geometry.to_numpy(), box) for name, layer in layers.items()}
    notes = [f"{name}: nothing of it lies on the ground that is worked." for name, on in here.items() if not on.any()]
    on = here.get("entries", np.ones(0, bool))
    if on.any() and not on.all():
        notes.append(f"{(~on).sum()} of {len(on)} entries lie off the ground that is worked and are not used.")
    return notes


def entrance_notes(ground: Ground) -> list[str]:
    """What is to be said of how people and machines come in."""
    notes = []
    box = shapely.box(*ground.terrain.bounds)
    if not shapely.intersects(ground.ways.geometry.to_numpy(), box).any():
        notes.append("NO WAYS: nothing leads into the tract but its entries. Set [ways] (from Python, ways).")
    if not vehicle_stops(ground).any():
        notes.append(
            "NO WAY IN: there is no entry, and no way for machines leads in from outside, so nothing is reached. Set "
            "[entries] (from Python, entries)."
        )
    elif ground.entries.empty:
        notes.append("No entries are given: people and machines come in on the ways that lead in from outside.")
    return notes + _far_entries(ground)


def left_out_notes(tract: Tract, frames: list[gpd.GeoDataFrame]) -> tuple[list[str], list[str]]:
    """Values of a protected layer that no block's ``where`` takes: what they name is not protected.

    Apart those of a layer that a confidential block reads: the values may name what it hides.
    """
    blocks: dict[tuple[str, str | None, str], list[tuple[str, dict[str, int]]]] = {}
    for block, frame in zip(tract.protect, frames, strict=True):
        for column, counts in frame.attrs["left_out"].items():
            blocks.setdefault((block.shown, block.layer, column), []).append((block.kind, counts))
    notes: tuple[list[str], list[str]] = ([], [])
    private = {(block.shown, block.layer) for block in tract.protect if block.confidential}
    whole = {(block.shown, block.layer) for block in tract.protect if not block.where}
    for (file, layer, column), taken in sorted(blocks.items(), key=str):
        if (file, layer) in whole:
            continue
        for value in sorted(set.intersection(*(set(counts) for _, counts in taken))):
            count = max(counts[value] for _, counts in taken)
            place = f"{file} {layer}" if layer else file
            notes[(file, layer) in private].append(
                f"{place}: {count} features with {column} = {value!r} are in no [[protect]] block: not protected."
            )
    return notes


def stand_overlaps(stands: gpd.GeoDataFrame) -> list[str]:
    """What to say of stands that share ground."""
    total = float(stands.geometry.area.sum())
    twice = total - float(stands.geometry.union_all().area)
    if twice <= 1e-6 * total:
        return []
    return [
        f"Stands overlap over {100 * twice / total:.2f} % of their area: ground in two counts for the first listed."
    ]


def unused_ways(tract: Tract, layers: dict[str, gpd.GeoDataFrame]) -> list[str]:
    """What to say of ways whose class the settings do not name."""
    if tract.ways is None:
        return []
    unknown = sorted({str(name) for name in layers["ways"]["class"]} - set(tract.ways.allows))
    if not unknown:
        return []
    return [f"Ways of class {', '.join(repr(name) for name in unknown)} allow nothing: not named in [ways] allows."]


def _far_entries(ground: Ground) -> list[str]:
    box = shapely.box(*ground.terrain.bounds)
    ways, entries = (
        layer.geometry.to_numpy()[shapely.intersects(layer.geometry.to_numpy(), box)]
        for layer in (ground.ways_for("tractor", "atv"), ground.entries)
    )
    if not len(ways) or not len(entries):
        return []
    away_m = shapely.distance(entries, shapely.union_all(ways))
    far = away_m > ENTRY_SNAP_M
    if not far.any():
        return []
    return [
        f"{far.sum()} of {len(far)} entries lie over {ENTRY_SNAP_M:.0f} m from any way for a machine (the nearest at "
        f"{away_m[far].min():.0f} m): machines come in there only onto ground that they can work."
    ]


def _share(where: Mask, terrain: Terrain) -> float:
    return float((where & ~np.isfinite(terrain.elevation_m)).sum() / max(where.sum(), 1))


def _percent(share: float) -> str:
    """A share in percent, rounded up: a little that is not known is never none."""
    return f"{np.ceil(np.round(1000 * share, 6)) / 10:.1f} %"
