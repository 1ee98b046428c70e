"""Reads the written files again and holds them against the tables (invariant 3)."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pandas as pd

from invasimap.prescription.plan import Plan
from invasimap.reports.tables import inert_text

FILES_LIMIT = 1e-6
SMALLEST = 1e-3  # of an acre or hectare: smaller rows are held to a billionth of one
_BY_SPECIES = ["stand", "species", "zone", "access"]
_BY_GROUND = ["stand", "zone", "access"]


def files_error(plan: Plan, folder: Path) -> float:
    """Largest relative difference between areas of the polygons in ``plan.gpkg`` and the written tables.

    The polygons of the ``mosaic`` layer are measured anew and summed, each species and the ground, and set against
    ``tables/acreage.csv`` and ``tables/ground.csv`` as a reader finds them.
    """
    mosaic = gpd.read_file(folder / "plan.gpkg", layer="mosaic")
    mosaic["area"] = mosaic.area / plan.shown.m2
    by_species = mosaic.assign(species=mosaic["species"].str.split(";")).explode("species")
    unit = plan.shown.area
    return max(
        _worst(by_species, folder / "tables" / "acreage.csv", _BY_SPECIES, f"gross_{unit}"),
        _worst(mosaic, folder / "tables" / "ground.csv", _BY_GROUND, f"ground_{unit}"),
    )


def _worst(polygons: pd.DataFrame, table: Path, keys: list[str], column: str) -> float:
    named = polygons.assign(**{key: polygons[key].map(inert_text) for key in keys})  # as the table writes them
    measured = named.groupby(keys)["area"].sum()
    written = pd.read_csv(table, dtype={key: str for key in keys}, keep_default_na=False).set_index(keys)[column]
    both = pd.concat([measured, written], axis=1, keys=["measured", "written"]).fillna(0.0)
    if both.empty:
        return 0.0
    whole = both.max(axis=1).clip(lower=SMALLEST)
    return float(((both["measured"] - both["written"]).abs() / whole).max())
