"""What every plan checks of its own result before anything is written: nothing lost, nothing counted in two ways."""

from __future__ import annotations

from collections.abc import Iterable

import geopandas as gpd
import numpy as np
import pandas as pd

from invasimap.core.errors import InvariantError
from invasimap.core.settings import Tract
from invasimap.inputs.account import Survey
from invasimap.inputs.tract_photos import TractPhotos
from invasimap.land.features import half_width_m
from invasimap.land.layers import LandLayers
from invasimap.mosaic.checks import (
    AREA_LIMIT,
    OVERLAP_LIMIT,
    SHORTFALL_LIMIT_M,
    area_error,
    limits_error,
    protection_overlap,
    records_lost,
    setback_shortfall_m,
    treatable_polygons,
)
from invasimap.mosaic.faces import Faces
from invasimap.mosaic.uncertainty import Ranges
from invasimap.prescription.checks import (
    DAY_LIMIT,
    DAYS_LIMIT,
    DOSE_LIMIT,
    TANKS_LIMIT,
    day_over,
    days_error,
    dose_over,
    tanks_error,
    visits_lost,
)
from invasimap.prescription.plan import Check
from invasimap.prescription.treatment import Treatment


def checked(
    survey: Survey,
    faces: Faces,
    zones: gpd.GeoDataFrame,
    protection: gpd.GeoDataFrame,
    land: LandLayers,
) -> tuple[Check, ...]:
    """Invariants 1, 2 and 4 of a result; 4 twice, against the zones and against the features themselves.

    Raises
    ------
    InvariantError
        When one fails.
    """
    lost = records_lost(survey.ledger, patches=len(survey.patches), set_aside=len(survey.set_aside))
    features = land.true_features
    short_m = setback_shortfall_m(treatable_polygons(zones), features, half_width_m(features))
    checks = (
        Check(name="records lost", value=lost, limit=0),
        Check(name="area lost, relative", value=area_error(survey.patches, faces), limit=AREA_LIMIT),
        Check(name="treatable in no-spray, share", value=protection_overlap(zones, protection), limit=OVERLAP_LIMIT),
        Check(name="typed distances cut short, m", value=short_m, limit=SHORTFALL_LIMIT_M),
    )
    refuse_failed(checks)
    return checks


def photos_checked(photos: TractPhotos) -> tuple[Check, ...]:
    """Invariant 1 of the pictures, where there are any.

    Raises
    ------
    InvariantError
        When one is lost.
    """
    if photos.table.empty:
        return ()
    lost = records_lost(photos.ledger, patches=photos.attached, set_aside=len(photos.set_aside))
    check = Check(name="pictures lost", value=lost, limit=0)
    refuse_failed([check])
    return (check,)


def limits_checked(limits: pd.DataFrame, faces: Faces) -> Check:
    """That ``limits`` takes up all infested ground that is open to spray, class by class.

    Raises
    ------
    InvariantError
        When it does not.
    """
    check = Check(name="open ground lost from limits, relative", value=limits_error(limits, faces), limit=AREA_LIMIT)
    refuse_failed([check])
    return check


def treatment_checked(treatment: Treatment, settings: Tract) -> tuple[Check, ...]:
    """That every visit is planned or says why not, tanks and days hold what works take, and no dose passes its label.

    Raises
    ------
    InvariantError
        When one fails.
    """
    too_long = day_over(treatment, productive_min=settings.labour.productive_min)
    checks = (
        Check(name="visits lost", value=visits_lost(treatment), limit=0),
        Check(name="tanks against works, relative", value=tanks_error(treatment), limit=TANKS_LIMIT),
        Check(name="days against schedule, relative", value=days_error(treatment), limit=DAYS_LIMIT),
        Check(name="hours of a day over a crew's, share", value=too_long, limit=DAY_LIMIT),
        Check(name="dose over a label's limit, share", value=dose_over(treatment, settings.mix), limit=DOSE_LIMIT),
    )
    refuse_failed(checks)
    return checks


def engines_checked(ranges: Ranges) -> tuple[Check, ...]:
    """That the areas of polygons are those of the sweep, where it drew.

    Raises
    ------
    InvariantError
        When they are not.
    """
    if np.isnan(ranges.apart):
        return ()
    check = Check(name="areas worked in two ways apart, relative", value=ranges.apart, limit=AREA_LIMIT)
    refuse_failed([check])
    return (check,)


def refuse_failed(checks: Iterable[Check]) -> None:
    """Raise when any check failed.

    Raises
    ------
    InvariantError
        Naming each failed check with its value and limit.
    """
    failed = ["{}: {}, limit {}".format(check.name, *check.said) for check in checks if not check.passed]
    if failed:
        raise InvariantError("the result contradicts itself, nothing was written: " + "; ".join(failed))
