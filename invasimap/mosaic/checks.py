"""What every run checks of its own result (invariants 1, 2 and 4); each gives a number and the limit it must keep."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from invasimap.land.words import OUTSIDE
from invasimap.mosaic.faces import Faces

AREA_LIMIT = 1e-9
OVERLAP_LIMIT = 1e-6
SHORTFALL_LIMIT_M = 1e-6


def records_lost(ledger: pd.DataFrame, *, patches: int, set_aside: int) -> int:
    """Records not accounted for: per file against the ledger, and the ledger against what was kept and set aside."""
    used = ledger["accepted"] + ledger["repaired"]
    per_file = int((ledger["records"] - used - ledger["set_aside"]).abs().sum())
    return per_file + abs(int(used.sum()) - patches) + abs(int(ledger["set_aside"].sum()) - set_aside)


def area_error(patches: gpd.GeoDataFrame, faces: Faces) -> float:
    """Largest relative difference between a species' footprint, unioned apart, and its faces; the ground too."""
    parts = faces.growth.join(faces.ground[["area_m2"]], on="face")
    by_species = parts.groupby("species")["area_m2"].sum()
    errors = [_relative(patches.geometry.to_numpy(), faces.ground["area_m2"].sum())]
    for species, rows in patches.groupby("species"):
        errors.append(_relative(rows.geometry.to_numpy(), float(by_species.get(species, 0.0))))
    return max(errors)


def limits_error(limits: pd.DataFrame, faces: Faces) -> float:
    """Largest difference, as a share of all, between a class's ground by limit and its faces: open and in a stand."""
    ground = faces.ground[(faces.ground["zone"] == "open") & (faces.ground["stand"] != OUTSIDE)]
    by_class = ground.groupby("access")["area_m2"].sum()
    gaps = limits.groupby("access")["open_m2"].sum().sub(by_class, fill_value=0.0).abs()
    return float(gaps.max() / max(ground["area_m2"].sum(), 1.0)) if len(gaps) else 0.0


def protection_overlap(treatment_zones: gpd.GeoDataFrame, protection: gpd.GeoDataFrame) -> float:
    """Largest share of a treatable zone that lies in no-spray ground; of a square metre where the zone is smaller."""
    treatable = treatment_zones[(treatment_zones["zone"] == "open") & (treatment_zones["access"] != "out_of_reach")]
    no_spray = protection.loc[protection["zone"] == "no_spray"].geometry.union_all()
    shapes = treatable.geometry.to_numpy()
    if not len(shapes):
        return 0.0
    shared = shapely.area(shapely.intersection(shapes, no_spray))
    return float((shared / np.maximum(shapely.area(shapes), 1.0)).max())


def setback_shortfall_m(treatable: Any, features: gpd.GeoDataFrame, half_width_m: Any) -> float:
    """Metres by which treatable ground comes nearer to a protected feature than what was typed for it.

    Measured on the features themselves, apart from the zones: no_spray, hand_only, half the width and the position
    error (growth with slope only widens this).
    """
    if not len(treatable) or features.empty:
        return 0.0
    widest = np.fmax(features["no_spray_m"].to_numpy(float), features["hand_only_m"].to_numpy(float))
    needed = widest + half_width_m + features["position_error_m"].to_numpy(float)
    shapes = features.geometry.to_numpy()
    feature, ground = shapely.STRtree(treatable).query(shapes, predicate="dwithin", distance=needed)
    short = needed[feature] - shapely.distance(shapes[feature], treatable[ground])
    return float(short.max(initial=0.0))


def treatable_polygons(treatment_zones: gpd.GeoDataFrame) -> Any:
    """The polygons of open ground that some means reaches."""
    open_reached = (treatment_zones["zone"] == "open") & (treatment_zones["access"] != "out_of_reach")
    return shapely.get_parts(treatment_zones.loc[open_reached].geometry.to_numpy())


def _relative(shapes: Any, total: float) -> float:
    footprint = float(shapely.area(shapely.union_all(shapes)))
    return abs(total - footprint) / footprint if footprint > 0 else abs(total)
