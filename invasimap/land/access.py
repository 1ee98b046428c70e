"""How ground is reached: by tractor, by hose from an ATV, on foot, or not at all, and what binds where."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import numpy.typing as npt

from invasimap.core.crs import to_working
from invasimap.core.settings import AtvSection, FootSection, TractorSection
from invasimap.land.ground import Ground
from invasimap.land.limits import CLASSES, LIMIT, LIMITS, Codes, reached_by
from invasimap.land.machines import NARROWEST_M, LaidHose, drive_atv, drive_tractor, lay_hose, vehicle_stops
from invasimap.land.on_foot import Walked, walk_out
from invasimap.land.raster import Mask, grid_polygons
from invasimap.land.terrain import Terrain

Floats = npt.NDArray[np.floating]


@dataclass(frozen=True, kw_only=True)
class Access:
    """Access on the grid.

    Attributes
    ----------
    code, limit
        The most capable class that reaches each cell and what binds against a better one, as places in ``CLASSES`` and
        ``LIMITS``.
    reached
        The cells that each class reaches, by its name; only of classes at hand.
    walk_min, round_trip_min
        Minutes of the loaded walk from the nearest place where a vehicle can stop, and of a walk for a refill: out
        loaded and back empty by the same way; inf where nobody walks.
    worked
        The cells that each machine reaches without its hose, by the class it serves.
    hoses
        The hose of each machine that has one, by the class it serves.
    gets, cut_off
        Where a tractor, an ATV (their middles) and a person get to; and where they could be, but do not get to.
    notes
        What is to be said of the ground before it is used, where that was looked at (``alone.access``).
    on_raster
        Cells that the elevation's raster covers, where the grid is larger than it; ``polygons`` leaves out the others.
    """

    terrain: Terrain
    code: Codes
    limit: Codes
    reached: Mapping[str, Mask]
    walk_min: Floats
    round_trip_min: Floats
    worked: Mapping[str, Mask]
    hoses: Mapping[str, LaidHose]
    gets: Mapping[str, Mask]
    cut_off: Mapping[str, Mask]
    notes: tuple[str, ...] = ()
    on_raster: Mask | None = None

    @property
    def hose_only(self) -> Mask:
        """Cells that their class reaches with its hose alone: its machine is not driven there."""
        found = np.zeros(self.code.shape, bool)
        for name in self.hoses:
            found |= (self.code == CLASSES.index(name)) & ~self.worked[name]
        return found

    @property
    def class_names(self) -> npt.NDArray[np.object_]:
        """The class of each cell by name."""
        return np.asarray(CLASSES, object)[self.code]

    @property
    def limit_names(self) -> npt.NDArray[np.object_]:
        """What binds in each cell by name; empty where nothing does."""
        return np.asarray(LIMITS, object)[self.limit]

    def polygons(self, *, limits: bool = True, within: gpd.GeoDataFrame | None = None) -> gpd.GeoDataFrame:
        """The whole grid as polygons: ``access``, ``reached_by`` (every class that does, semicolon-joined), and with
        ``limits`` also ``limit`` and ``hose_only`` (whether the class gets there with its hose alone).

        The grid goes beyond an outline, to what leads to it: ``within`` (a layer of polygons in any system, such as
        the outline or the stands) cuts it to those, before areas are added up.
        """
        bits = np.zeros(self.code.shape, np.int16)
        for rank, name in enumerate(CLASSES[1:]):
            if name in self.reached:
                bits[self.reached[name]] |= 1 << rank
        mixed = bits * len(LIMITS) + (self.limit if limits else 0)
        if limits:
            mixed = 2 * mixed + self.hose_only
        if self.on_raster is not None:
            mixed[~self.on_raster] = -1
        layer = grid_polygons(mixed.astype(np.int16), self.terrain)
        layer = layer[layer["code"] >= 0].reset_index(drop=True)
        mixed, hosed = np.divmod(layer.pop("code").to_numpy(), 2 if limits else 1)
        bit, limit = np.divmod(mixed, len(LIMITS))
        best = [int(value).bit_length() for value in bit]
        layer.insert(0, "access", np.asarray(CLASSES, object)[best])
        layer.insert(1, "reached_by", [reached_by(int(value)) for value in bit])
        if limits:
            layer.insert(2, "limit", np.asarray(LIMITS, object)[limit])
            layer.insert(3, "hose_only", hosed.astype(bool))
        return layer if within is None else _cut_to(layer, within, self.terrain)


def _cut_to(layer: gpd.GeoDataFrame, within: gpd.GeoDataFrame, terrain: Terrain) -> gpd.GeoDataFrame:
    """A layer's polygons cut to the ground of another, in any system."""
    moved = to_working(gpd.GeoDataFrame(geometry=within.geometry), terrain.crs, name="within")
    cut = gpd.clip(layer, moved, keep_geom_type=True, sort=True)
    return cut.reset_index(drop=True)


@dataclass(frozen=True, kw_only=True)
class _Means:
    """Where one means gets to, and the code of what stops it elsewhere."""

    reached: Mask
    limit: Codes


def access_classes(
    ground: Ground,
    *,
    tractor: TractorSection | None = None,
    atv: AtvSection | None = None,
    foot: FootSection | None = None,
    asked: Mask | None = None,
) -> Access:
    """The most capable means that reaches each cell, and what binds.

    A means left out is not at hand and gets no ground. Ground without elevation is ``out_of_reach`` by ``unknown``.
    Machines start from the entries, or without entries from the ways outside the outline, and go on along ways that
    allow them and over ground within their limits, never through a blocker except at a crossing. Where the direction
    of travel is not known, the slope counts as side slope. A hose is laid along the ground from any place its machine
    gets to (a tractor's counts as tractor); people walk from any place where a vehicle can stop.
    With ``asked`` only those cells are sure to be right (see ``hose_reach``): quicker where few matter.
    """
    known = np.isfinite(ground.terrain.elevation_m)
    stops = vehicle_stops(ground, clearance_m=NARROWEST_M if atv is None else atv.clearance_m)
    means, hoses, driven = {}, {}, {}
    worked: dict[str, Mask] = {}
    walk: Walked | None = None
    if tractor is not None:
        driven["tractor"] = drive_tractor(ground, tractor)
        worked["tractor"] = driven["tractor"].worked & known
        means["tractor"] = _Means(reached=worked["tractor"], limit=driven["tractor"].limit)
        if tractor.hose_length_m is not None:
            hoses["tractor"] = lay_hose(ground, driven["tractor"].stops, tractor, asked=asked)
            means["tractor"] = _with_hose(worked["tractor"], hoses["tractor"], known)
    if atv is not None:
        driven["atv"] = drive_atv(ground, atv)
        hoses["atv_hose"] = lay_hose(ground, driven["atv"].stops, atv, asked=asked)
        worked["atv_hose"] = sprayed_beside(driven["atv"].stops & known, hoses["atv_hose"])
        means["atv_hose"] = _with_hose(worked["atv_hose"], hoses["atv_hose"], known)
    for machine in driven.values():
        stops |= machine.stops
    gets, cut_off = ({m: getattr(d, name) for m, d in driven.items()} for name in ("stops", "cut_off"))
    if foot is not None:
        walk = walk_out(ground, stops, foot)
        means["foot"] = _Means(reached=walk.reached, limit=walk.limit)
        gets["foot"], cut_off["foot"] = np.isfinite(walk.minutes), walk.walkable & ~np.isfinite(walk.minutes)
    code, limit = _best([means.get(name) for name in CLASSES[1:]], known)
    return Access(
        terrain=ground.terrain, code=code, limit=limit, worked=worked, hoses=hoses, gets=gets, cut_off=cut_off,
        walk_min=walk.minutes if walk else np.full(known.shape, np.inf),
        round_trip_min=walk.there_and_back if walk else np.full(known.shape, np.inf),
        reached={name: found.reached for name, found in means.items()},
    )  # fmt: skip


def sprayed_beside(driven: Mask, hose: LaidHose) -> Mask:
    """What an ATV sprays where it stands: all that it drives over, nothing where its pump cannot push so much hose."""
    return driven if hose.lift_m >= 0 else np.zeros_like(driven)


def _with_hose(driven: Mask, hose: LaidHose, known: Mask) -> _Means:
    return _Means(reached=(driven | hose.found.reached) & known, limit=hose.limit)


def class_codes(reached: Mapping[str, Mask], terrain: Terrain) -> Codes:
    """The most capable class that reaches each cell, as a place in ``CLASSES``."""
    code = np.zeros(terrain.shape, np.int16)
    for rank, name in enumerate(CLASSES):
        if name in reached:
            code[reached[name]] = rank
    return code


def _best(means: list[_Means | None], known: Mask) -> tuple[Codes, Codes]:
    """Class code and the limit of the next better means at hand, over means from least to most capable."""
    code = np.zeros(known.shape, np.int16)
    limit = np.full(known.shape, LIMIT["not_connected"], np.int16)
    above = np.zeros(known.shape, bool)  # already given the limit of the next better means
    for rank in range(len(means), 0, -1):
        found = means[rank - 1]
        if found is None:
            continue
        gets = found.reached & (code == 0)
        code[gets] = rank
        limit[gets & ~above] = 0
        still = code == 0
        limit[still] = found.limit[still]
        above |= still
    code[~known] = 0
    limit[~known] = LIMIT["unknown"]
    return code, limit
