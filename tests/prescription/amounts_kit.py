"""Mixes, rigs and jobs for tests of amounts; every figure is invented."""

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from invasimap.core import units
from invasimap.core.mix_settings import MixSection, SpraySection
from invasimap.core.rig_settings import RigSection
from invasimap.prescription.limits_of_label import within_limits
from invasimap.prescription.mix import mixed
from invasimap.prescription.volume import volumes

ACRE, GAL, LB, FT = 4046.8564224, 3.785411784, 0.45359237, 0.3048
CRS = "EPSG:26916"
NO_WASTE = SpraySection.model_validate({"waste": "0 %", "surface": "map"})


def mix(**said):
    usual = {
        "name": "m", "product": "Example Product A", "ingredient": "4 lb/gal", "rate": "2 % v/v",
        "max_per_application": "4 lb/acre", "max_per_year": "8 lb/acre", "species": ["*"], "zones": ["open"],
    }  # fmt: skip
    return MixSection.model_validate({key: value for key, value in (usual | said).items() if value is not None})


def rig(**said):
    usual = {
        "name": "r", "access": "foot", "tank": "25 gal", "output": "2.5 gal/min", "crew": 2, "wage": "28 USD/h",
        "calibration": [{"rate": "40 gal/acre", "date": "2026-09-01"}],
    }  # fmt: skip
    return RigSection.model_validate(usual | said)


def jobs(*rows):
    usual = {
        "patch": "P1", "species": "Rosa multiflora", "stand": "S1", "zone": "open", "access": "foot",
        "gross_m2": ACRE, "cover_pct": 100.0, "height_m": 1.0, "slope_pct": 0.0, "technique": "foliar_broadcast",
        "sprays": True, "mix": "m", "rig": "r",
    }  # fmt: skip
    return pd.DataFrame([usual | row for row in (rows or ({},))])


def squares(made, *, at=0.0):
    """Ground for each job: squares of its area, far apart, or all from one corner when ``at`` is 0."""
    sides = np.sqrt(made["gross_m2"].fillna(1.0))
    return gpd.GeoSeries(
        [shapely.box(at * n, 0, at * n + side, side) for n, side in enumerate(sides)], index=made.index, crs=CRS
    )  # fmt: skip


def log(*rows):
    """Past applications: (shape, date, product, kg per ha, ingredient name)."""
    shapes, dates, products, doses, names = zip(*rows, strict=True)
    columns = {"date": dates, "product": products, "kg_per_ha": doses, "ingredient_name": names}
    return gpd.GeoDataFrame(columns, geometry=list(shapes), crs=CRS)


def worked(made, *, mixes=None, rigs=None, spray=NO_WASTE, shapes=None, past=None, shown=units.US):
    mixes, rigs = mixes or [mix()], rigs or [rig()]
    planned = mixed(volumes(made, mixes=mixes, rigs=rigs, spray=spray), mixes=mixes)
    ground = squares(made, at=10_000) if shapes is None else shapes
    return within_limits(planned, shapes=ground, mixes=mixes, shown=shown, log=past)
