"""Layers with names laid over one another by the sweep: the same table rows as the polygons give, without polygons."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from invasimap.core.geometry import parts_of
from invasimap.land.words import OUTSIDE, ZONES
from invasimap.mosaic.faces import OUT_OF_REACH, deciding_rank, zone_numbers
from invasimap.mosaic.given import mended
from invasimap.mosaic.sweep import Areas, Layer, areas, rings_of

Ints = npt.NDArray[np.int64]
LEAST_M2 = 1e-8  # less is where edges that lie on one another differ in their last bit


@dataclass(frozen=True, kw_only=True)
class Labels:
    """What puts labels on the ground, and the names behind the numbers.

    Attributes
    ----------
    stands, zones, access
        Lone polygons, which the several parts of one are too, and their label numbers.
    stand_rows, access_rows
        Row of the layer that each polygon of stands and access is of.
    stand_names, access_names
        Names by label number; the last is for ground in none (number -1).
    """

    stands: Layer
    zones: Layer
    access: Layer
    stand_rows: Ints
    access_rows: Ints
    stand_names: list[str]
    access_names: list[str]

    @classmethod
    def of(cls, *, stands: gpd.GeoDataFrame, protection: gpd.GeoDataFrame, access: gpd.GeoDataFrame) -> Labels:
        """Number the layers' names in order of their first polygon."""
        stand, stand_names = pd.factorize(stands["stand"])
        means, access_names = pd.factorize(access["access"])
        number = zone_numbers(protection["zone"])
        guarded, zone = protection[number < ZONES.index("open")], number[number < ZONES.index("open")]
        stand_parts, stand_rows = parts_of(stands.geometry.to_numpy())
        access_parts, access_rows = parts_of(access.geometry.to_numpy())
        return cls(
            stands=Layer(rings=rings_of(stand_parts), label=stand[stand_rows]),
            zones=Layer(rings=rings_of(guarded.geometry.to_numpy()), label=zone),
            access=Layer(rings=rings_of(access_parts), label=means[access_rows]),
            stand_rows=stand_rows,
            access_rows=access_rows,
            stand_names=[*stand_names, OUTSIDE],
            access_names=[*access_names, OUT_OF_REACH],
        )

    def named(self, found: Areas) -> pd.DataFrame:
        """The entries by name: ``patch`` (number, -1 for the ground), ``stand, zone, access, area_m2``."""
        return pd.DataFrame(
            {
                "patch": found.patch,
                "stand": np.asarray(self.stand_names, object)[found.stand],
                "zone": np.asarray(ZONES, object)[found.zone],
                "access": np.asarray(self.access_names, object)[found.access],
                "area_m2": found.area_m2,
            }
        )


def swept_growth(
    patches: gpd.GeoDataFrame, *, stands: gpd.GeoDataFrame, protection: gpd.GeoDataFrame, access: gpd.GeoDataFrame
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """What grows where, and the ground under it.

    Parameters
    ----------
    patches, stands, protection, access
        As in ``cut_faces``.

    Returns
    -------
    tuple of DataFrame
        ``stand, zone, access, species, patch, cover_pct, area_m2`` for each patch that decides its species somewhere;
        and ``stand, zone, access, area_m2`` with every spot once.
    """
    labels = Labels.of(stands=stands, protection=protection, access=access)
    found = _areas(patches, labels)
    odd = [
        _any_wrong(patches, found.odd_patches),
        _any_wrong(stands, labels.stand_rows[found.odd_stands]),
        _any_wrong(access, labels.access_rows[found.odd_access]),
    ]
    if any(odd):  # what one lets go of, another may hold that is odd too
        layers = zip(odd, (patches, stands, access), strict=True)
        patches, stands, access = (mended(layer) if wrong else layer for wrong, layer in layers)
        labels = Labels.of(stands=stands, protection=protection, access=access)
        found = _areas(patches, labels)
    named = labels.named(found)
    named = named[named["area_m2"] > LEAST_M2]
    ground = named[named["patch"] < 0].drop(columns="patch").reset_index(drop=True)
    growth = named[named["patch"] >= 0].reset_index(drop=True)
    row = growth["patch"].to_numpy()
    growth["patch"] = patches.index.to_numpy()[row]
    growth["species"] = patches["species"].to_numpy(object)[row]
    growth["cover_pct"] = patches["cover_pct"].to_numpy(float)[row]
    return growth, ground


def _areas(patches: gpd.GeoDataFrame, labels: Labels) -> Areas:
    return areas(
        rings_of(patches.geometry.to_numpy()),
        species=pd.factorize(patches["species"])[0],
        rank=deciding_rank(patches),
        stands=labels.stands,
        zones=labels.zones,
        access=labels.access,
    )


def _any_wrong(layer: gpd.GeoDataFrame, rows: Ints) -> bool:
    """Whether any of the rows that the sweep found odd is drawn wrongly: where edges all but touch, none need be."""
    return not shapely.is_valid(layer.geometry.to_numpy()[rows]).all()
