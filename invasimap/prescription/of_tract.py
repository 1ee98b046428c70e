"""What a season's work takes from the tract: its ground piece by piece, the walk there, its season and its ranges."""

from __future__ import annotations

import datetime as dt

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
from pyproj import Transformer

from invasimap.core.settings import Tract
from invasimap.inputs.species import Catalogue
from invasimap.land.access import Access
from invasimap.land.cell_areas import cell_areas
from invasimap.land.terrain import Terrain
from invasimap.mosaic.faces import Faces
from invasimap.mosaic.pieces import treatment_pieces, with_slivers
from invasimap.mosaic.zones import zone_of
from invasimap.prescription.hopkins import Place
from invasimap.prescription.season import Season, season_of


def pieces_of(
    faces: Faces, patches: gpd.GeoDataFrame, *, zones: gpd.GeoDataFrame, acreage: pd.DataFrame, terrain: Terrain,
    access: Access, least_m2: float,
) -> gpd.GeoDataFrame:  # fmt: skip
    """The pieces that ``treat`` works with: with ``zone_id``, ``walk_min`` and the ranges of their acreage."""
    pieces = with_slivers(treatment_pieces(faces, patches, terrain), least_m2=least_m2)
    pieces["patch"] = patches["id"].loc[pieces["patch"]].to_numpy()  # as every map and file names it
    pieces["zone_id"] = zone_of(pieces, zones)
    pieces["walk_min"] = walk_minutes(pieces, access)
    return with_ranges_of(pieces, acreage)


def walk_minutes(pieces: gpd.GeoDataFrame, access: Access) -> npt.NDArray[np.float64]:
    """Mean minutes of the walk to each piece, one way and loaded; NaN where no walk leads to any of it."""
    parts = cell_areas(pieces.geometry.to_numpy(), access.terrain)
    minutes = access.walk_min.ravel()[parts.cell]
    reached = np.isfinite(minutes)
    weight = np.bincount(parts.polygon[reached], weights=parts.area_m2[reached], minlength=len(pieces))
    total = np.bincount(
        parts.polygon[reached], weights=(minutes * parts.area_m2)[reached] if reached.any() else None,
        minlength=len(pieces),
    )  # fmt: skip
    return np.where(weight > 0, total / np.where(weight > 0, weight, 1.0), np.nan)


def season_at(settings: Tract, *, terrain: Terrain, made: dt.date, catalogue: Catalogue) -> Season:
    """The season of a tract where it lies, from its start in the settings or the day the plan is made."""
    left, bottom, right, top = terrain.bounds
    to_degrees = Transformer.from_crs(terrain.crs, "EPSG:4326", always_xy=True)
    longitude, latitude = to_degrees.transform((left + right) / 2, (bottom + top) / 2)
    known = not terrain.flat and bool(np.isfinite(terrain.elevation_m).any())
    place = Place(latitude=latitude, longitude=longitude, elevation_m=float(np.nanmean(terrain.elevation_m)))
    return season_of(
        settings, start=settings.schedule.start or made, place=place if known else None, catalogue=catalogue
    )


def with_ranges_of(pieces: gpd.GeoDataFrame, acreage: pd.DataFrame) -> gpd.GeoDataFrame:
    """The pieces with ``area_low`` and ``area_high``: the ends of their acreage's range as shares of it."""
    keys = ["stand", "species", "zone", "access"]
    likely = acreage["infested_m2"].where(acreage["infested_m2"] > 0)
    ends = acreage[keys].assign(
        area_low=acreage["infested_low_m2"] / likely, area_high=acreage["infested_high_m2"] / likely
    )
    found = pieces[keys].merge(ends, on=keys, how="left")
    return pieces.assign(area_low=found["area_low"].to_numpy(), area_high=found["area_high"].to_numpy())
