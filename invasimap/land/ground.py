"""The layers of a tract that decide where people and machines can go."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from invasimap.core.crs import require_same_metres
from invasimap.core.geometry import Geometries, empty_layer
from invasimap.land.features import FEATURE_COLUMNS, feature_ground, half_width_m
from invasimap.land.openings import SAME_WAY_M, SKEW, Crossed, opened_cells
from invasimap.land.raster import Mask, touched
from invasimap.land.terrain import Terrain

ON_WAY_M = 10.0  # a crossing this near to where a way meets a blocker is that way's, as well as a receiver places it


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
    _known: dict[Any, Any] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )  # cells and shapes worked out before

    def ways_for(self, *means: str) -> gpd.GeoDataFrame:
        """The ways that allow any of the means."""
        allowed = [bool(set(text.split(";")) & set(means)) for text in self.ways["allows"]]
        return self.ways[np.asarray(allowed, bool)]

    def way_cells(self, means: str) -> Mask:
        """Cells on the ways that allow a means; joined side by side even where a line runs through cell corners."""
        lines = self.ways_for(means).geometry.to_numpy()
        return self._once(
            ("ways", means), lambda: touched(shapely.buffer(lines, 0.01 * self.terrain.cell_m), self.terrain)
        )

    def blockers(self, means: str) -> Geometries:
        """What stops one of ``tractor, atv, hose, foot``: barriers, and the features whose ``blocks`` names it."""
        return self._once(
            ("blockers", means),
            lambda: np.concatenate([self.barriers.geometry.to_numpy(), feature_ground(self._blocking(means))]),
        )

    def blocked(self, means: str, *, clearance_m: float = 0.0) -> Mask:
        """Cells that stop a means: touched by a blocker, and not opened by a crossing as wide as its clearance."""
        return self._once(
            ("blocked", means, clearance_m),
            lambda: touched(self.blockers(means), self.terrain) & ~self.opened(means, clearance_m=clearance_m),
        )

    def opened(self, means: str, *, clearance_m: float = 0.0) -> Mask:
        """Cells where a means gets over what stops it.

        A crossing on a way opens for what the way allows (a hose goes where anything goes), one off the ways for all;
        a machine passes only where it is at least as wide as the clearance. It opens its own width and, so that a
        bridge drawn as a point spans its stream, the way as far as it runs through what it crosses there.
        """
        return self._once(("opened", means, clearance_m), lambda: self._opened(means, clearance_m))

    def narrowed(self, means: str, *, clearance_m: float) -> Mask:
        """Cells of ways that a machine does not pass, because a crossing there is narrower than it (``narrows``)."""
        return self._once(("narrowed", means, clearance_m), lambda: self._narrowed(means, clearance_m))

    def narrows(self, means: str, clearance_m: float) -> Geometries:
        """Where a crossing narrows a way for a machine though nothing is drawn that it leads through: points on ways.

        It lies on the way as far as its own width (or half a cell) reaches, no other way is nearer, nothing that stops
        the machine is met there, and no crossing that is wide enough lies within ``ON_WAY_M`` on the same way. A width
        that is not known is narrow.
        """
        return self._once(("narrows", means, clearance_m), lambda: self._narrows(means, clearance_m))

    def _once(self, key: Any, work: Callable[[], Any]) -> Any:
        """What was worked out for a key before; not to be written to."""
        if key not in self._known:
            self._known[key] = work()
            if isinstance(self._known[key], np.ndarray):
                self._known[key].flags.writeable = False
        return self._known[key]

    def _way_tree(self, *means: str) -> shapely.STRtree:
        """The pieces of all ways that allow any of the means, or of all there are, between where they meet."""
        ways = self.ways_for(*means) if means else self.ways
        return self._once(
            ("way tree", means),
            lambda: shapely.STRtree(shapely.get_parts(shapely.union_all(ways.geometry.to_numpy()))),
        )

    def _opened(self, means: str, clearance_m: float) -> Mask:
        crossings = self._crossings_for(means, clearance_m)
        crossed = Crossed(
            terrain=self.terrain,
            shapes=self.blockers(means),
            longest_m=self._passage_lengths(means),
            water=np.arange(len(self.blockers(means))) >= len(self.barriers),
            ways=self._way_tree(*_walkers(means)),
        )
        return opened_cells(crossings.geometry.to_numpy(), crossings["width_m"].to_numpy(float), crossed)

    def _narrowed(self, means: str, clearance_m: float) -> Mask:
        around = shapely.buffer(self.narrows(means, clearance_m), self.terrain.cell_m / 2)
        ways = self._way_tree(means)
        at, way = ways.query(around, predicate="intersects")
        return touched(shapely.intersection(ways.geometries[way], around[at]), self.terrain)

    def _narrows(self, means: str, clearance_m: float) -> Geometries:
        width_m, shapes = self.crossings["width_m"].to_numpy(float), self.crossings.geometry.to_numpy()
        wide = width_m >= clearance_m
        places, reach_m = shapes[~wide], np.fmax(width_m[~wide], self.terrain.cell_m) / 2
        met = shapely.STRtree(self.blockers(means)).query(places, predicate="dwithin", distance=reach_m)[0]
        belongs_m, _ = _meetings(places, self._nearest_blocker(places, means), self._way_tree())
        any_m, _ = _nearest_ways(places, self._way_tree())
        away_m, found = _nearest_ways(places, self._way_tree(means))
        kept = (away_m <= reach_m) & (away_m <= any_m + SAME_WAY_M) & (belongs_m > ON_WAY_M)
        kept[self._lifted(places, shapes[wide])] = kept[met] = False
        on_way: Geometries = found[kept]
        return on_way

    def _lifted(self, narrow: Geometries, wide: Geometries) -> list[int]:
        """Which narrow crossings have a wide one near them on the same way."""
        whole = self._once(("whole ways",), lambda: shapely.STRtree(_whole_ways(self.ways.geometry.to_numpy())))
        near, beside = shapely.STRtree(wide).query(narrow, predicate="dwithin", distance=ON_WAY_M).tolist()
        on, besides_on = _ways_nearest(narrow, whole), _ways_nearest(wide, whole)
        return [one for one, other in zip(near, beside, strict=True) if on[one] & besides_on[other]]

    def _blocking(self, means: str) -> gpd.GeoDataFrame:
        named = [means in text.split(";") for text in self.features["blocks"]]
        return self.features[np.asarray(named, bool)]

    def _crossings_for(self, means: str, clearance_m: float) -> gpd.GeoDataFrame:
        crossings = self.crossings
        if crossings.empty:
            return crossings
        shapes = crossings.geometry.to_numpy().copy()
        nearest = self._nearest_blocker(shapes, means)
        any_m, _ = _meetings(shapes, nearest, self._way_tree())
        allowed_m, meetings = _meetings(shapes, nearest, self._way_tree(*_walkers(means)))
        on_any = any_m <= ON_WAY_M
        on_allowed = on_any & (allowed_m <= any_m + SAME_WAY_M)
        shapes[on_allowed] = meetings[on_allowed]  # one a little off where its way meets what it crosses is moved there
        wide = crossings["width_m"].to_numpy(float) >= (clearance_m if means in ("tractor", "atv") else 0.0)
        return crossings.set_geometry(shapes, crs=crossings.crs)[(on_allowed | ~on_any) & wide]

    def _nearest_blocker(self, places: Geometries, means: str) -> Geometries:
        """What stops a means nearest to each place; an empty shape where nothing does."""
        found, shapes = np.full(len(places), shapely.Point(), object), self.blockers(means)
        if len(shapes):
            at, which = shapely.STRtree(shapes).query_nearest(places, all_matches=False)
            found[at] = shapes[which]
        return found

    def _passage_lengths(self, means: str) -> Any:
        """How long a skew passage over each blocker is: for lines by their width; inf for drawn areas."""
        return self._once(("passage lengths", means), lambda: self._skew_over(self._blocking(means)))

    def _skew_over(self, features: gpd.GeoDataFrame) -> Any:
        drawn = np.concatenate([self.barriers.geometry.to_numpy(), features.geometry.to_numpy()])
        half = np.concatenate([np.zeros(len(self.barriers)), half_width_m(features)])
        return np.where(shapely.get_dimensions(drawn) == 2, np.inf, SKEW * half)


def _meetings(places: Geometries, blockers: Geometries, ways: shapely.STRtree) -> tuple[Any, Geometries]:
    """How far from each place a way meets its blocker, and the nearest point of that; inf where none does nearby."""
    at, way = ways.query(places, predicate="dwithin", distance=ON_WAY_M + SAME_WAY_M)
    met = shapely.intersection(ways.geometries[way], blockers[at])
    return _nearest(places, at, met)


def _nearest_ways(places: Geometries, ways: shapely.STRtree) -> tuple[Any, Geometries]:
    """How far from each place a way is, and its nearest point; inf where none is nearby."""
    at, way = ways.query(places, predicate="dwithin", distance=ON_WAY_M + SAME_WAY_M)
    return _nearest(places, at, ways.geometries[way])


def _whole_ways(lines: Geometries) -> Geometries:
    """Ways as they are drawn, and as they run on from one drawn line to the next as far as where they fork."""
    run_on = shapely.line_merge(shapely.union_all(lines))
    return np.concatenate([shapely.get_parts(lines), shapely.get_parts([run_on])])


def _ways_nearest(places: Geometries, ways: shapely.STRtree) -> list[set[int]]:
    """The ways nearest to each place, of several alike all."""
    at, way = ways.query(places, predicate="dwithin", distance=ON_WAY_M + SAME_WAY_M)
    away_m = shapely.distance(places[at], ways.geometries[way])
    least_m = np.full(len(places), np.inf)
    np.minimum.at(least_m, at, away_m)
    kept = away_m <= least_m[at] + SAME_WAY_M
    found: list[set[int]] = [set() for _ in places]
    for place, nearest in zip(at[kept].tolist(), way[kept].tolist(), strict=True):
        found[place].add(nearest)
    return found


def _nearest(places: Geometries, at: Any, shapes: Geometries) -> tuple[Any, Geometries]:
    """Of the shapes given for some places the nearest to each: how far, and its nearest point."""
    away_m, found = np.full(len(places), np.inf), np.full(len(places), shapely.Point(), object)
    lines = shapely.shortest_line(places[at], shapes)
    length = np.where(shapely.is_empty(shapes), np.inf, shapely.length(lines))
    order = np.lexsort([length, at])
    order = order[np.isfinite(length[order])]
    first = order[np.unique(at[order], return_index=True)[1]]
    away_m[at[first]], found[at[first]] = length[first], shapely.get_point(lines[first], -1)
    return away_m, found


def _walkers(means: str) -> tuple[str, ...]:
    """Whose ways a means takes: a hose goes where anything goes."""
    return ("tractor", "atv", "foot") if means == "hose" else (means,)


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
    given = {name: layer for name, layer in found.items() if layer is not None}
    require_same_metres(terrain=empty_layer(terrain.crs), **given)
    return Ground(terrain=terrain, outline=shapely.box(*terrain.bounds) if outline is None else outline, **whole)
