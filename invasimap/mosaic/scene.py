"""A survey over its land as numbers, to be worked out again and again: whose the ground is, and what it adds up to."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd

from invasimap.core.crs import require_same_metres
from invasimap.land.words import ZONES
from invasimap.mosaic.faces import deciding_rank
from invasimap.mosaic.sweep import Areas, Rings, areas, rings_of
from invasimap.mosaic.swept import Labels
from invasimap.mosaic.zones import MEANS

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]


@dataclass(frozen=True, kw_only=True)
class Scene:
    """Patches as rings, the number of each one's species and its rank among all; the names, sorted; and the land."""

    patches: Rings
    species: Ints
    rank: Ints
    species_names: list[str]
    land: Labels

    @classmethod
    def of(
        cls,
        patches: gpd.GeoDataFrame,
        *,
        stands: gpd.GeoDataFrame,
        protection: gpd.GeoDataFrame,
        access: gpd.GeoDataFrame,
    ) -> Scene:
        """The scene of layers such as ``cut_faces`` takes.

        Raises
        ------
        CRSError
            When the layers do not share one system in metres.
        """
        require_same_metres(patches=patches, stands=stands, protection=protection, access=access)
        species, names = pd.factorize(patches["species"].to_numpy(object), sort=True)
        return cls(
            patches=rings_of(patches.geometry.to_numpy()),
            species=species,
            rank=deciding_rank(patches),
            species_names=list(names),
            land=Labels.of(stands=stands, protection=protection, access=access),
        )

    def areas(self, xy: Floats, *, access_shift_m: Floats) -> Areas:
        """Areas with the patches' vertices at ``xy`` and the access grid moved by ``access_shift_m`` (2,)."""
        grid = self.land.access
        moved = dataclasses.replace(grid, rings=dataclasses.replace(grid.rings, xy=grid.rings.xy + access_shift_m))
        return areas(
            dataclasses.replace(self.patches, xy=xy), species=self.species, rank=self.rank, stands=self.land.stands,
            zones=self.land.zones, access=moved, threads=1,
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class _Codes:
    """One code for each name of stands and classes: a layer may itself name what is in none (the last).

    ``means`` is the place of each class among ``MEANS``, -1 of others.
    """

    stand: Ints
    access: Ints
    means: Ints
    stand_codes: dict[str, int]
    access_codes: dict[str, int]

    @classmethod
    def of(cls, land: Labels) -> _Codes:
        stand, access = (pd.factorize(np.array(names, object))[0] for names in (land.stand_names, land.access_names))
        return cls(
            stand=stand, access=access, means=pd.Index(MEANS).get_indexer(pd.Index(land.access_names)),
            stand_codes=dict(zip(land.stand_names, stand.tolist(), strict=True)),
            access_codes=dict(zip(land.access_names, access.tolist(), strict=True)),
        )  # fmt: skip

    def key(self, species: Any, stand: Any, zone: Any, access: Any) -> Ints:
        """One number for each species (-1 for the ground), stand, zone and class."""
        found: Ints = ((np.asarray(species) + 1) * len(self.stand) + stand) * len(ZONES) + zone
        return found * len(self.access) + access


@dataclass(frozen=True, kw_only=True)
class Tally:
    """What areas are added up to: the rows of the tables, and totals of each species and of all infested ground.

    The quantities stand in this order: rows of the acreage, rows of the ground, each species in all, all infested
    ground, each species' treatable part, and that ground's; and the same of the part that each of ``MEANS`` treats.

    Attributes
    ----------
    scene, codes
        What the areas are of, and its names as codes.
    keys, rows
        One number for species, stand, zone and access of each row, sorted; and which row it is.
    count
        How many quantities there are.
    """

    scene: Scene
    codes: _Codes
    keys: Ints
    rows: Ints
    count: int

    @classmethod
    def of(cls, scene: Scene, acreage: pd.DataFrame, ground: pd.DataFrame) -> Tally:
        """The tally of the rows of two tables (``stand, species, zone, access`` and ``stand, zone, access``)."""
        species = pd.Index(scene.species_names).get_indexer(pd.Index(acreage["species"]))
        codes = _Codes.of(scene.land)
        found = np.concatenate([_keys(codes, acreage, species), _keys(codes, ground, -1)])
        order = np.argsort(found)
        count = len(order) + (2 + len(MEANS)) * (len(scene.species_names) + 1)
        return cls(scene=scene, codes=codes, keys=found[order], rows=order, count=count)

    def sums(self, found: Areas, cover_pct: Floats) -> Floats:
        """Square metres of every quantity (2, quantities): gross, and infested under covers (patches,) in percent.

        Ground has no cover: there gross stands in both.
        """
        into = self._into(found).ravel()
        share = np.where(found.patch >= 0, cover_pct[found.patch] / 100, 1.0)
        weights = found.area_m2, found.area_m2 * share
        return np.stack([np.bincount(into, np.tile(w, 4), self.count + 1)[:-1] for w in weights])

    def by_patch(self, found: Areas) -> tuple[Ints, Ints, Floats]:
        """What each patch gives to each quantity: quantity, patch and square metres, an entry each pair."""
        into = self._into(found)
        counts = (into < self.count) & (found.patch >= 0)
        quantity, patch = into[counts], np.broadcast_to(found.patch, into.shape)[counts]
        pairs, at = np.unique(quantity * len(self.scene.species) + patch, return_inverse=True)
        area = np.bincount(at, np.broadcast_to(found.area_m2, into.shape)[counts], len(pairs))
        return (*np.divmod(pairs, len(self.scene.species)), np.asarray(area, float))

    def _into(self, found: Areas) -> Ints:
        """The quantities (4, entries) that each entry adds to; the last number for none."""
        codes, many = self.codes, len(self.scene.species_names)
        species = np.where(found.patch < 0, -1, self.scene.species[found.patch])
        stand, access = codes.stand[found.stand], codes.access[found.access]
        key = codes.key(species, stand, found.zone, access)
        at = np.searchsorted(self.keys, key).clip(max=len(self.keys) - 1)
        row = np.where(self.keys[at] == key, self.rows[at], self.count)
        total = len(self.rows) + np.where(species < 0, many, species)
        treatable = (found.zone == ZONES.index("open")) & (stand != codes.stand[-1]) & (access != codes.access[-1])
        by = codes.means[found.access]
        return np.stack(
            [
                row,
                total,
                np.where(treatable, total + many + 1, self.count),
                np.where(treatable & (by >= 0), total + (2 + by) * (many + 1), self.count),
            ]
        )


def _keys(codes: _Codes, table: pd.DataFrame, species: Any) -> Ints:
    zone = pd.Index(ZONES).get_indexer(pd.Index(table["zone"]))
    stand, means = table["stand"].map(codes.stand_codes), table["access"].map(codes.access_codes)
    return codes.key(species, stand.to_numpy(int), zone, means.to_numpy(int))
