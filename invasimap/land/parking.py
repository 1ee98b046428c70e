"""Where to park for a piece of ground: the fewest stops from which a hose reaches all of it, the best first."""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt

from invasimap.core.errors import InvariantError
from invasimap.core.second_process import processors
from invasimap.land.access import Access
from invasimap.land.cell_areas import cell_areas
from invasimap.land.hose_reach import hose_reach
from invasimap.land.machines import LaidHose
from invasimap.land.raster import touched

APART = 2  # places tried lie about half a hose from one another
AROUND = 8  # directions in which the farthest place that serves an outermost spot is tried
ENOUGH = 0.99  # of a zone: stops for the last hundredth are not listed
MOST_STOPS = 50
SPOTS = 5  # of what only shut places serve, tried for another
Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]
Bools = npt.NDArray[np.bool_]
COLUMNS = ("zone_id", "stop", "access", "hose_m", "lift_m", "drop_m", "served_m2", "share_pct")


@dataclass(frozen=True, kw_only=True)
class _Stop:
    """One parking place: the cells that count for it, hose to each and how far each lies above it."""

    cell: int
    served: Bools
    hose_m: Floats
    lift_m: Floats


def parking_places(zones: gpd.GeoDataFrame, access: Access, *, away_from: Any = ()) -> gpd.GeoDataFrame:
    """For each zone that a hose serves, where to park, in the order in which the stops serve most of what is left.

    Parameters
    ----------
    zones
        Polygons with ``id`` and ``access`` in the terrain's system (``treatment_zones``); those without a hose, or
        where nothing is sprayed (``zone``, where given, other than ``open``), are passed over, and so are those of a
        machine that has no hose, or one that is used up in the cell it stands in: it sprays only where it drives.
    access
        As ``access_classes`` gives it.
    away_from
        Shapes on which no tank is parked and filled, whatever could be reached from there (protected ground).

    Returns
    -------
    GeoDataFrame
        Points: ``zone_id, stop`` (1 is the best), ``access``, ``hose_m`` (what the farthest spot takes, with what is
        lost to reel and slack), ``lift_m`` and ``drop_m`` (the most that the nozzle stands above and below),
        ``served_m2`` (of the zone, beyond what earlier stops serve) and ``share_pct`` of what a hose serves of it.

    Notes
    -----
    Length and lift of each place are worked out anew (``hose_reach``) from places on the ground that the machine gets
    to, about half a hose apart, and from the nearest place to whatever is left. Where one stop does not do, stops are
    also laid from the zone's ends inwards, each as far in as still serves the outermost spot left, and the fewer are
    taken: along a strip that is the fewest there can be. However they were found, they are listed so that each serves
    the most of what those before it leave. Stops for the last hundredth of a zone are not listed, nor more than fifty,
    nor one that serves nothing that the others leave.
    """
    rows: list[dict[str, Any]] = []
    places: list[Ints] = []
    sprayed = served_zones(zones, access)
    laid = set(sprayed["access"])
    shut = touched(away_from, access.terrain)
    hoses = {name: replace(access.hoses[name], stops=access.hoses[name].stops & ~shut) for name in laid}
    with ThreadPoolExecutor(processors()) as threads:
        found = list(threads.map(partial(_stops, access, hoses), sprayed["access"], sprayed.geometry))
    for zone_id, name, (stops, worth) in zip(sprayed["id"], sprayed["access"], found, strict=True):
        hose, left = access.hoses[name], np.ones(len(worth), bool)
        for number, stop in enumerate(stops, 1):
            new = stop.served & left
            lift, served_m2 = stop.lift_m[new], float(worth[new].sum())
            longest, highest, lowest = (
                hose.needed_m(stop.hose_m[new].max()),
                max(lift.max(), 0.0),
                max(-lift.min(), 0.0),
            )
            share = 100 * served_m2 / worth.sum()
            values = (zone_id, number, name, longest, highest, lowest, served_m2, share)
            rows.append(dict(zip(COLUMNS, values, strict=True)))
            places.append(np.array([stop.cell]))
            left &= ~stop.served
    points = access.terrain.centres(np.concatenate(places)) if places else np.empty((0, 2))
    return gpd.GeoDataFrame(
        {name: [row[name] for row in rows] for name in COLUMNS},
        geometry=gpd.points_from_xy(*points.T), crs=access.terrain.crs,
    )  # fmt: skip


def served_zones(zones: gpd.GeoDataFrame, access: Access) -> gpd.GeoDataFrame:
    """The zones that want a place to park (see ``parking_places``)."""
    laid = [name for name, hose in access.hoses.items() if hose.length_m >= access.terrain.cell_m]
    sprayed = zones[zones["access"].isin(laid)]
    return sprayed[(sprayed["zone"] == "open").to_numpy()] if "zone" in sprayed else sprayed


def parking_notes(stops: gpd.GeoDataFrame, zones: gpd.GeoDataFrame) -> list[str]:
    """What to say of zones that a hose serves in part only from where no tank is parked: none where there are none."""
    served = stops.groupby("zone_id")["share_pct"].sum().reindex(zones["id"], fill_value=0.0)
    short = served[served < 100 * ENOUGH - 5]
    if short.empty:
        return []
    named = ", ".join(f"{zone} ({100 - share:.0f} %)" for zone, share in list(short.items())[:8])
    more = f" and {len(short) - 8} more" if len(short) > 8 else ""
    return [
        "No tank is parked on protected ground. From other ground a hose does not reach part of what it could: "
        f"{named}{more}."
    ]


def _stops(
    access: Access, hoses: Mapping[str, LaidHose], name: str, shape: Any
) -> tuple[list[_Stop], Floats]:  # fmt: skip
    """The stops for a zone, and the area in each of its cells that a hose serves."""
    zone, hose = cell_areas([shape], access.terrain), hoses[name]
    served = hose.found.reached.ravel()[zone.cell]
    tries = _Tries(cells=zone.cell[served], worth=zone.area_m2[served], hose=hose, access=access)
    chosen = _best_first(tries, _spread_out(tries.cells, hose, access))
    if len(chosen) > 1:
        inwards = _ends_first(tries, fewer_than=len(chosen))
        chosen = _best_first(tries, [stop.cell for stop in inwards]) if inwards else chosen
    return chosen, tries.worth


@dataclass(frozen=True, kw_only=True)
class _Tries:
    """The cells of a zone, what each is worth, and the places that were tried for them."""

    cells: Ints
    worth: Floats
    hose: LaidHose
    access: Access
    known: dict[int, _Stop] = field(default_factory=dict)

    def enough(self, left: Bools) -> bool:
        """Whether what is left is too little to stop for."""
        return not self.worth[left].sum() > (1 - ENOUGH) * self.worth.sum()

    def stop(self, place: int) -> _Stop:
        """What a place serves."""
        if place not in self.known:
            self.known[place] = _stop(place, self.cells, self.hose, self.access)
        return self.known[place]

    def best(self, places: list[int], left: Bools, *, spot: int | None = None) -> _Stop | None:
        """The place that serves most of what is left, and of these the ``spot`` (number of a cell) if one is given.

        Of places that serve as much, the one with less hose to pull, then the first. A hose is laid only from places
        that could still be the best if it ran straight.
        """
        at_best = [self._merit_at_best(place, left) for place in places]
        best, most = None, (-1.0, 0.0, 0)
        for number in sorted(range(len(places)), key=lambda number: at_best[number], reverse=True):
            if at_best[number] < most[:2]:
                break
            stop = self.stop(places[number])
            merit = (*self._merit(stop.served & left, stop.hose_m), -number)
            if merit > most and (spot is None or stop.served[spot]):
                best, most = stop, merit
        return best

    def _merit(self, new: Bools, hose_m: Floats) -> tuple[float, float]:
        return round(float(self.worth[new].sum()), 3), -float((hose_m[new] * self.worth[new]).sum())

    def _merit_at_best(self, place: int, left: Bools) -> tuple[float, float]:
        """No less than the merit of a place whose hose runs straight to all that it is long enough for."""
        centres = self.access.terrain.centres
        straight_m = np.hypot(*(centres(self.cells) - centres(np.array([place]))).T) * (1 - 1e-6)
        near = (straight_m <= self.hose.length_m) & left
        pulled = -float((straight_m[near] * self.worth[near]).sum())
        # a hose that leaves out less than 0.001 m2 counts as one that serves all, and has a little less to pull
        return round(float(self.worth[near].sum()) + 1e-6, 3), pulled + 0.002 * self.hose.length_m


def _best_first(tries: _Tries, places: list[int]) -> list[_Stop]:
    """Of some places, and the place of the found hose where none does, that which serves most of what is left."""
    places, left, chosen = list(places), np.ones(len(tries.cells), bool), list[_Stop]()
    while not tries.enough(left) and len(chosen) < MOST_STOPS:
        best = tries.best(places, left)
        if best is None or not (best.served & left).any():
            more = _more(tries, left)
            if not more:
                break
            places += more
            continue
        chosen.append(best)
        left &= ~best.served
    return _in_order(tries, chosen)


def _more(tries: _Tries, left: Bools) -> list[int]:
    """A further place for what is left: where the found hose of most of it ends, or round the spot worth most.

    Raises
    ------
    InvariantError
        When the place serves nothing that it was found for.
    """
    ends, counts = np.unique(tries.hose.found.parking.ravel()[tries.cells[left]], return_counts=True)
    free = tries.hose.stops.ravel()[ends]
    if free.any():
        place = int(ends[free][np.argmax(counts[free])])
        if not (tries.stop(place).served & left).any():
            raise InvariantError("a parking place does not serve the ground that it was found for")
        return [place]
    for spot in np.flatnonzero(left)[np.argsort(-tries.worth[left], kind="stable")[:SPOTS]].tolist():
        best = tries.best(_around(int(tries.cells[spot]), tries.hose, tries.access), left, spot=spot)
        if best is not None:
            return [best.cell]
    return []


def _in_order(tries: _Tries, stops: list[_Stop]) -> list[_Stop]:
    """The stops anew, each the one that serves most of what is left: a place found late may serve more than early ones.

    Those for which nothing is left are not listed.
    """
    places, left, ordered = [stop.cell for stop in stops], np.ones(len(tries.cells), bool), list[_Stop]()
    while not tries.enough(left):
        best = tries.best(places, left)
        if best is None or not (best.served & left).any():
            break
        ordered.append(best)
        left &= ~best.served
    return ordered


def _ends_first(tries: _Tries, *, fewer_than: int) -> list[_Stop]:
    """Stops from the outermost spots inwards; none where they would not be fewer."""
    places = tries.access.terrain.centres(tries.cells)
    out_m = np.hypot(*(places - np.average(places, axis=0, weights=tries.worth)).T)
    hose_m = tries.hose.found.hose_m.ravel()[tries.cells]
    outermost = np.argsort(-(out_m + hose_m), kind="stable")  # hardest to reach of an end
    left, chosen = np.ones(len(tries.cells), bool), list[_Stop]()
    while not tries.enough(left):
        spot = int(outermost[np.argmax(left[outermost])])
        if len(chosen) + 1 == fewer_than:
            return []
        best = tries.best(_around(int(tries.cells[spot]), tries.hose, tries.access), left, spot=spot)
        if best is None:
            return []
        chosen.append(best)
        left &= ~best.served
    return chosen


def _around(spot: int, hose: LaidHose, access: Access) -> list[int]:
    """In each direction the farthest place from which a hose reaches a spot."""
    terrain = access.terrain
    window, length = _laid_from(spot, hose, access, lift_m=np.inf)
    low = terrain.elevation_m.ravel()[spot] - terrain.elevation_m[window] > hose.lift_m
    row, column = np.nonzero(hose.stops[window] & hose.free[window] & np.isfinite(length) & ~low)
    away = length[row, column]
    row, column = row + window[0].start, column + window[1].start
    turn = np.arctan2(row - spot // terrain.shape[1], column - spot % terrain.shape[1]) / (2 * np.pi)
    sector = np.floor(turn * AROUND + 0.5) % AROUND
    order = np.lexsort((column, row, -away, sector))
    found: list[int] = (row * terrain.shape[1] + column)[order][np.unique(sector[order], return_index=True)[1]].tolist()
    return found


def _spread_out(cells: Ints, hose: LaidHose, access: Access) -> list[int]:
    """Places to try: one in each square of half a hose that holds a place from which a cell is served."""
    terrain = access.terrain
    around = int(hose.length_m / terrain.cell_m) + 1
    rows, columns = np.divmod(cells, terrain.shape[1])
    if not len(cells):
        return []
    top, left = max(int(rows.min()) - around, 0), max(int(columns.min()) - around, 0)
    window = np.s_[top : int(rows.max()) + around + 1, left : int(columns.max()) + around + 1]
    row, column = np.nonzero(hose.stops[window] & hose.free[window])
    row, column = row + top, column + left
    side = max(around // APART, 1)
    square = row // side * (terrain.shape[1] // side + 1) + column // side
    middle = np.hypot(row % side - side / 2, column % side - side / 2)
    order = np.lexsort((column, row, middle, square))
    first = np.unique(square[order], return_index=True)[1]
    found: list[int] = (row * terrain.shape[1] + column)[order][first].tolist()
    return found


def _stop(cell: int, cells: Ints, hose: LaidHose, access: Access) -> _Stop:
    """What one parking place serves of some cells."""
    elevation = access.terrain.elevation_m.ravel()
    window, laid = _laid_from(cell, hose, access, lift_m=hose.lift_m)
    rows, columns = (
        at - side.start for at, side in zip(np.divmod(cells, access.terrain.shape[1]), window, strict=True)
    )
    inside = (rows >= 0) & (columns >= 0) & (rows < laid.shape[0]) & (columns < laid.shape[1])
    length = np.full(len(cells), np.inf)
    length[inside] = laid[rows[inside], columns[inside]]
    lift = elevation[cells] - float(elevation[cell])
    return _Stop(cell=cell, served=np.isfinite(length), hose_m=length, lift_m=lift.astype(float))


def _laid_from(cell: int, hose: LaidHose, access: Access, *, lift_m: float) -> tuple[tuple[slice, slice], Any]:
    """The window that a hose from a cell stays in, and its length to each cell of that; inf where it does not reach."""
    terrain = access.terrain
    around = int(hose.length_m / terrain.cell_m) + 2
    row, column = divmod(cell, terrain.shape[1])
    top, left = max(row - around, 0), max(column - around, 0)
    window = np.s_[top : min(row + around + 1, terrain.shape[0]), left : min(column + around + 1, terrain.shape[1])]
    source = np.zeros_like(hose.free[window])
    source[row - top, column - left] = True
    found = hose_reach(
        source, passable=hose.free[window], elevation_m=terrain.elevation_m[window], cell_m=terrain.cell_m,
        length_m=hose.length_m, lift_m=lift_m, tile_cells=max(source.shape),
        closed_parts=hose.closed.within(window, terrain.shape[1]),
    )  # fmt: skip
    return window, found.hose_m
