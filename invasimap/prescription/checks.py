"""What must hold of a season's work: every visit accounted for, tanks that hold what works take, no label passed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from invasimap.core.mix_settings import MixSection
from invasimap.prescription.treatment import Treatment
from invasimap.prescription.volume import rows_of

TANKS_LIMIT: Final = 1e-9
DAYS_LIMIT: Final = 1e-9
DAY_LIMIT: Final = 1e-7  # what a whole number of days leaves to arithmetic
DOSE_LIMIT: Final = 1e-9


def visits_lost(made: Treatment) -> float:
    """How many visits are in no work and have no reason."""
    return float((made.jobs["work"].isna() & (made.jobs["why"] == "")).sum())


def tanks_error(made: Treatment) -> float:
    """By what share the mix in all loads differs from what the works take."""
    taken = float(made.schedule["volume_L"].sum()) if len(made.schedule) else 0.0
    held = float((made.loads["count"] * made.loads["volume_L"]).sum()) if len(made.loads) else 0.0
    return abs(held - taken) / taken if taken > 0 else held


def days_error(made: Treatment) -> float:
    """By what share the hours or the mix of a work's days differ from those of its week, where they do the most."""
    if not len(made.schedule):
        return float(len(made.days))
    held, asked = (table.groupby(["work", "week"])[["hours", "volume_L"]].sum() for table in (made.days, made.schedule))
    held, asked = held.align(asked, join="outer", fill_value=0.0)
    larger = held.where(held > asked, asked)
    return float(((held - asked).abs() / larger.where(larger > 0, 1.0)).max().max())


def day_over(made: Treatment, *, productive_min: float) -> float:
    """By what share of a crew's day the works of any day of a rig pass it; 0 where none does."""
    if not len(made.days):
        return 0.0
    return max(float(made.days.groupby(["day", "rig"])["hours"].sum().max()) * 60 / productive_min - 1, 0.0)


def dose_over(made: Treatment, mixes: Sequence[MixSection]) -> float:
    """By what share of a limit of its label any planned dose passes it, on the heaviest spot; 0 where none does."""
    limits = {mix.name: (mix.max_per_application_kg_per_ha, mix.max_per_year_kg_per_ha) for mix in mixes}
    worst = 0.0
    for job in rows_of(made.jobs[made.jobs["work"].notna() & made.jobs["sprays"]]):
        for dose, most in zip((job.application_kg_per_ha, job.year_kg_per_ha), limits[job.mix], strict=True):
            worst = max(worst, math.inf if most is None or math.isnan(dose) else dose / most - 1)
    return worst
