"""The layers of a tract that decide where people and machines can go."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from invasimap.core.crs import PLACE_DECIMALS, require_same_metres, shown_place, to_lonlat
from invasimap.core.geometry import Geometries, empty_layer
from invasimap.land.features import FEATURE_COLUMNS, feature_ground, half_width_m
from invasimap.land.raster import Mask, touched
from invasimap.land.terrain import Terrain

FRINGE_CELLS = 1.5  # how far beyond a blocker the cells it touches can reach
ON_WAY_M = 10.0  # a crossing this near to where a way meets a blocker is that way's, as well as a receiver places it
SAME_WAY_M = 0.5  # ways whose meetings are this alike in distance both lead over it
GRAZE_M = 0.01
NONE_AT_HAND: Mapping[str, float] = MappingProxyType({})  # clearances of no machine
SKEW = 2.0  # a way may cross at an angle that makes the passage this much longer than straight over


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

    def _once(self, key: Any, work: Callable[[], Any]) -> Any:
        """What was worked out for a key before; not to be written to."""
        if key not in self._known:
            self._known[key] = work()
            if isinstance(self._known[key], np.ndarray):
                self._known[key].flags.writeable = False
        return self._known[key]

    def _joined_ways(self, *means: str) -> Any:
        """All ways that allow any of the means, or all there are, as one shape."""
        ways = self.ways_for(*means) if means else self.ways
        return self._once(("joined", means), lambda: shapely.union_all(ways.geometry.to_numpy()))

    def _opened(self, means: str, clearance_m: float) -> Mask:
        terrain, opened = self.terrain, np.zeros(self.terrain.shape, bool)
        crossings = self._crossings_for(means, clearance_m)
        shapes = self.blockers(means)
        tree = shapely.STRtree(shapes)
        half = np.maximum(crossings["width_m"].to_numpy(float) / 2, terrain.cell_m / 2)
        discs = shapely.buffer(crossings.geometry.to_numpy(), half)
        for number, disc in enumerate(discs):
            place = crossings.geometry.iloc[number]
            met = tree.query(disc, predicate="intersects")
            away = shapely.distance(shapes[met], place)
            own = away <= away.min(initial=np.inf) + SAME_WAY_M  # what it crosses; what else is in its disc stays shut
            pieces = [disc, *self._passages(place, disc, met[own], means)]
            window, part = terrain.window(shapely.union_all(pieces).bounds)
            shut = [*shapes[met[~own]], *_beyond(shapes[met[own]], shapes[met[~own]], disc, place)]
            opened[window] |= touched(pieces, part) & ~touched(shut, part)
        return opened

    def _blocking(self, means: str) -> gpd.GeoDataFrame:
        named = [means in text.split(";") for text in self.features["blocks"]]
        return self.features[np.asarray(named, bool)]

    def _crossings_for(self, means: str, clearance_m: float) -> gpd.GeoDataFrame:
        crossings = self.crossings
        if crossings.empty:
            return crossings
        walkers = ("tractor", "atv", "foot") if means == "hose" else (means,)
        shapes = crossings.geometry.to_numpy().copy()
        nearest = self._nearest_blocker(shapes, means)
        over, over_allowed = (
            shapely.intersection(ways, nearest) for ways in (self._joined_ways(), self._joined_ways(*walkers))
        )
        any_m, allowed_m = (np.nan_to_num(shapely.distance(shapes, met), nan=np.inf) for met in (over, over_allowed))
        on_any = any_m <= ON_WAY_M
        on_allowed = on_any & (allowed_m <= any_m + SAME_WAY_M)
        if on_allowed.any():  # a crossing a little off where its way meets what it crosses is moved there
            ends = shapely.shortest_line(shapes[on_allowed], over_allowed[on_allowed])
            shapes[on_allowed] = shapely.get_point(ends, -1)
        wide = crossings["width_m"].to_numpy(float) >= (clearance_m if means in ("tractor", "atv") else 0.0)
        return crossings.set_geometry(shapes, crs=crossings.crs)[(on_allowed | ~on_any) & wide]

    def _nearest_blocker(self, places: Geometries, means: str) -> Geometries:
        """What stops a means nearest to each place; an empty shape where nothing does."""
        found, shapes = np.full(len(places), shapely.Point(), object), self.blockers(means)
        if len(shapes):
            at, which = shapely.STRtree(shapes).query_nearest(places, all_matches=False)
            found[at] = shapes[which]
        return found

    def _passages(self, place: Any, disc: Any, crossed: Any, means: str) -> list[Any]:
        """The pieces of ways that lead through what is crossed, no longer than a skew passage over it is."""
        fringe_m = FRINGE_CELLS * self.terrain.cell_m
        shapes, lengths = self.blockers(means), self._passage_lengths(means)
        ways = self._joined_ways(*(("tractor", "atv", "foot") if means == "hose" else (means,)))
        found: list[Any] = []
        for shape in crossed:
            through = _parts_at(shapely.intersection(ways, shapes[shape]), disc)
            longest = shapely.length(through).sum() if np.isinf(lengths[shape]) else lengths[shape]
            window = shapely.buffer(place, longest + SKEW * fringe_m)
            beside = shapely.intersection(shapely.buffer(shapes[shape], fringe_m), window)
            found.extend(_parts_at(shapely.intersection(ways, beside), disc))
        return found

    def _passage_lengths(self, means: str) -> Any:
        """How long a skew passage over each blocker is: for lines by their width; inf for drawn areas."""
        return self._once(("passage lengths", means), lambda: self._skew_over(self._blocking(means)))

    def _skew_over(self, features: gpd.GeoDataFrame) -> Any:
        drawn = np.concatenate([self.barriers.geometry.to_numpy(), features.geometry.to_numpy()])
        half = np.concatenate([np.zeros(len(self.barriers)), half_width_m(features)])
        return np.where(shapely.get_dimensions(drawn) == 2, np.inf, SKEW * half)


def _beyond(crossed: Geometries, others: Geometries, disc: Any, place: Any) -> list[Any]:
    """The parts of what is crossed that lie behind something else, seen from the crossing."""
    if not len(others):
        return []
    near = shapely.buffer(disc, 2 * shapely.minimum_bounding_radius(disc))
    left = shapely.difference(shapely.intersection(crossed, near), shapely.union_all(shapely.buffer(others, GRAZE_M)))
    parts = shapely.get_parts(left)
    return list(parts[shapely.distance(parts, place) > shapely.distance(parts, place).min(initial=np.inf) + GRAZE_M])


def _parts_at(geometry: Any, disc: Any) -> Geometries:
    parts = shapely.get_parts(geometry)
    return parts[shapely.intersects(parts, disc)]


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


def missing_crossings(
    ground: Ground, clearances_m: Mapping[str, float] = NONE_AT_HAND
) -> dict[tuple[float, float], set[str]]:
    """Where ways meet what stops their means and no crossing as wide as its clearance is mapped: place and means."""
    found: dict[tuple[float, float], set[str]] = {}
    for means in ("tractor", "atv", "foot"):
        closed = ground.blocked(means, clearance_m=clearances_m.get(means, 0.0))
        ways, shapes = ground.ways_for(means).geometry.to_numpy(), ground.blockers(means)
        way, shape = shapely.STRtree(shapes).query(ways, predicate="intersects")
        places = shapely.centroid(shapely.get_parts(shapely.intersection(ways[way], shapes[shape])))
        for place in places:
            if touched([place], ground.terrain)[closed].any():
                found.setdefault((place.x, place.y), set()).add(means)
    return found


def crossing_notes(ground: Ground, clearances_m: Mapping[str, float] = NONE_AT_HAND) -> list[str]:
    """Where a way meets something that stops its means and no crossing for it is mapped, in words for the user.

    A crossing narrower than the clearance of a machine at hand is none for it.
    """
    lonlat = to_lonlat(ground.terrain.crs)
    found: dict[tuple[float, float], set[str]] = {}
    for (x, y), means in missing_crossings(ground, clearances_m).items():
        lon, lat = lonlat.transform(x, y)
        found.setdefault((round(lat, PLACE_DECIMALS), round(lon, PLACE_DECIMALS)), set()).update(means)
    return [
        f"A way for {', '.join(sorted(means))} meets a barrier, water or other protected ground at "
        f"{shown_place(lat, lon)} and no crossing wide enough for it is mapped there: it counts as impassable. If it "
        "can be crossed, add it to crossings."
        for (lat, lon), means in sorted(found.items())
    ]
