"""Acreage tables: sums over the faces of the mosaic, in square metres."""

from __future__ import annotations

import geopandas as gpd
import pandas as pd
import shapely

from invasimap.mosaic.faces import Faces, cut_given
from invasimap.mosaic.given import given_layers
from invasimap.mosaic.swept import swept_growth

FEW_PLACES = 20_000  # up to here polygons are as quick, and nothing has to be compiled first
BY_SPECIES = ["stand", "species", "zone", "access"]
BY_GROUND = ["stand", "zone", "access"]


def acreage(
    patches: gpd.GeoDataFrame,
    *,
    stands: gpd.GeoDataFrame,
    protection: gpd.GeoDataFrame,
    access: gpd.GeoDataFrame,
) -> pd.DataFrame:
    """Area by stand, species, zone and access, straight from layers, of a tract or of a county.

    Parameters
    ----------
    patches
        Polygons with ``species, date`` (ISO text or dates; blank where it is not known), ``cover_pct``.
    stands, protection, access
        Polygons with ``stand``, ``zone`` and ``access``; all layers in one system in metres (see ``cut_faces``).
        Outlines of any layer may cross themselves: all that they wind round counts, once.

    Returns
    -------
    DataFrame
        As ``species_area``; of large layers, rows below 1e-8 square metres are left out.

    Raises
    ------
    CRSError
        When the layers do not share one system in metres, or an acre in it is not an acre of ground (web Mercator).
    LayerError
        Lists all that is missing or not understood: what is not known would count as none.

    Examples
    --------
    >>> import geopandas as gpd, shapely
    >>> def layer(shape, **columns):
    ...     return gpd.GeoDataFrame(columns, geometry=[shape], crs="EPSG:32617")
    >>> square = shapely.box(0, 0, 100, 100)
    >>> patches = layer(square, species=["Rosa multiflora"], date=["2026-05-01"], cover_pct=[25.0])
    >>> table = acreage(patches, stands=layer(square, stand=["1"]), access=layer(square, access=["foot"]),
    ...                 protection=layer(shapely.box(0, 0, 10, 100), zone=["no_spray"]))
    >>> table[["zone", "gross_m2", "infested_m2"]].values.tolist()
    [['no_spray', 1000.0, 250.0], ['open', 9000.0, 2250.0]]
    """
    given = given_layers({"patches": patches, "stands": stands, "protection": protection, "access": access})
    found = given.pop("patches").reset_index(drop=True)  # records that are named alike are still several
    if shapely.get_num_coordinates(found.geometry.to_numpy()).sum() <= FEW_PLACES:
        return _by_species(_grown(cut_given(found, **given)))
    return _by_species(swept_growth(found, **given)[0])


def species_area(faces: Faces) -> pd.DataFrame:
    """Area by stand, species, zone and access.

    Returns
    -------
    DataFrame
        ``stand, species, zone, access, patches, gross_m2, infested_m2``. Each species counts its own ground once,
        however many records overlap; ground with several species counts in each of them, so species do not add up to
        ground. ``infested_m2`` is gross area times canopy cover. ``patches`` counts the records that decide some of it.
    """
    return _by_species(_grown(faces))


def _grown(faces: Faces) -> pd.DataFrame:
    return faces.growth.join(faces.ground.drop(columns="geometry"), on="face")


def _by_species(growth: pd.DataFrame) -> pd.DataFrame:
    parts = growth.assign(infested_m2=growth["area_m2"] * growth["cover_pct"] / 100)
    groups = parts.groupby(BY_SPECIES, sort=True)
    table = groups.agg(patches=("patch", "nunique"), gross_m2=("area_m2", "sum"), infested_m2=("infested_m2", "sum"))
    return table.reset_index()


def ground_area(faces: Faces) -> pd.DataFrame:
    """Area by stand, zone and access with every spot counted once: ``stand, zone, access, ground_m2``."""
    groups = faces.ground.drop(columns="geometry").groupby(BY_GROUND, sort=True)
    return groups["area_m2"].sum().rename("ground_m2").reset_index()
