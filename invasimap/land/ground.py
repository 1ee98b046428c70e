"""The layers of a tract that decide where people and machines can go."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from invasimap.core.crs import require_same_metres, to_lonlat
from invasimap.core.geometry import empty_layer, setback
from invasimap.land.features import FEATURE_COLUMNS, feature_ground
from invasimap.land.raster import Mask, covered, touched
from invasimap.land.terrain import Terrain

MEANS = ("tractor", "atv", "hose", "foot")


@dataclass(frozen=True, kw_only=True)
class Ground:
    """Terrain and layers, all in the terrain's system in metres; a layer left out is empty.

    Attributes
    ----------
    ways
        Lines with ``allows`` (text such as ``atv;foot``).
    entries
        Where people and machines come in.
    barriers, wet_ground, open_ground
        What nothing crosses; where no machine goes; where a tractor can work.
    crossings
        Openings in barriers and water, with ``width_m``.
    features
        Protected features with ``width_m`` and ``blocks`` (text such as ``tractor;hose``).
    outline
        The tract's outline; without entries, ways are reached from outside it.
    """

    terrain: Terrain
    ways: gpd.GeoDataFrame
    entries: gpd.GeoDataFrame
    barriers: gpd.GeoDataFrame
    wet_ground: gpd.GeoDataFrame
    open_ground: gpd.GeoDataFrame
    crossings: gpd.GeoDataFrame
    features: gpd.GeoDataFrame
    outline: Any

    def ways_for(self, *means: str) -> gpd.GeoDataFrame:
        """The ways that allow any of the means."""
        allowed = [bool(set(text.split(";")) & set(means)) for text in self.ways["allows"]]
        return self.ways[np.asarray(allowed, bool)]

    def blockers(self, means: str) -> Any:
        """What stops one of ``tractor, atv, hose, foot``: barriers, and the features whose ``blocks`` names it."""
        named = [means in text.split(";") for text in self.features["blocks"]]
        features = self.features[np.asarray(named, bool)]
        return np.concatenate([self.barriers.geometry.to_numpy(), feature_ground(features)])

    def blocked(self, means: str, *, opened: Mask, clearance_m: float = 0.0) -> Mask:
        """Cells that stop a means: touched by a blocker, or with less than half the clearance to one."""
        shapes = self.blockers(means)
        stopped = touched(shapes, self.terrain)
        if clearance_m > 0 and len(shapes):
            stopped |= covered(shapely.buffer(shapes, clearance_m / 2, quad_segs=16), self.terrain)
        return stopped & ~opened


def make_ground(terrain: Terrain, **layers: Any) -> Ground:
    """Ground from a terrain and whichever layers there are (see ``Ground``).

    Raises
    ------
    CRSError
        When a layer is not in the terrain's system.
    """
    columns = {"ways": ("class", "allows"), "features": FEATURE_COLUMNS, "crossings": ("width_m",)}
    named = ("ways", "entries", "barriers", "wet_ground", "open_ground", "crossings", "features")
    outline = layers.pop("outline", None)
    found = {name: layers.pop(name, None) for name in named}
    if layers:
        raise TypeError(f"unknown layers: {sorted(layers)}")
    whole = {
        name: empty_layer(terrain.crs, *columns.get(name, ())) if layer is None else layer
        for name, layer in found.items()
    }
    require_same_metres(terrain=empty_layer(terrain.crs), **whole)
    return Ground(terrain=terrain, outline=shapely.box(*terrain.bounds) if outline is None else outline, **whole)


def opened_cells(ground: Ground) -> Mask:
    """Cells where barriers and water can be crossed.

    A crossing opens the ground within half its width. Where it lies on a way, it opens the way as far as the way runs
    through what it crosses there, so that a bridge drawn as a point spans its whole stream.
    """
    terrain, crossings = ground.terrain, ground.crossings
    if crossings.empty:
        return np.zeros(terrain.shape, bool)
    half = np.maximum(crossings["width_m"].to_numpy(float) / 2, 0.75 * terrain.cell_m)
    discs = setback(crossings.geometry.to_numpy(), half)
    stoppers = np.concatenate([ground.blockers(means) for means in MEANS])
    fringe = shapely.union_all(shapely.buffer(stoppers, 1.5 * terrain.cell_m)) if len(stoppers) else shapely.Polygon()
    spans = shapely.get_parts(shapely.intersection(ground.ways.geometry.to_numpy(), fringe))
    tree = shapely.STRtree(spans)
    _, span = tree.query(discs, predicate="intersects")
    opened = touched(discs, terrain)
    opened |= touched(spans[np.unique(span)], terrain)
    return opened


def crossing_notes(ground: Ground) -> list[str]:
    """Where a way meets something that stops its means and no crossing is mapped, in words for the user."""
    closed = ~opened_cells(ground)
    found: dict[tuple[float, float], set[str]] = {}
    for means in ("tractor", "atv", "foot"):
        ways = ground.ways_for(means).geometry.to_numpy()
        shapes = ground.blockers(means)
        way, shape = shapely.STRtree(shapes).query(ways, predicate="intersects")
        places = shapely.centroid(shapely.get_parts(shapely.intersection(ways[way], shapes[shape])))
        for place in places:
            if touched([place], ground.terrain)[closed].any():
                lon, lat = to_lonlat(ground.terrain.crs).transform(place.x, place.y)
                found.setdefault((round(lat, 5), round(lon, 5)), set()).add(means)
    return [
        f"A way for {', '.join(sorted(means))} meets a barrier or water at {lat:.5f}, {lon:.5f} and no crossing is "
        "mapped there: it counts as impassable. If it can be crossed, add it to crossings."
        for (lat, lon), means in sorted(found.items())
    ]
