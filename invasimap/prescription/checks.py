"""What must hold of a season's work: every visit accounted for, tanks that hold what works take, no label passed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from invasimap.core.mix_settings import MixSection
from invasimap.prescription.treatment import Treatment
from invasimap.prescription.volume import rows_of

TANKS_LIMIT: Final = 1e-9
DOSE_LIMIT: Final = 1e-9


def visits_lost(made: Treatment) -> float:
    """How many visits are in no work and have no reason."""
    return float((made.jobs["work"].isna() & (made.jobs["why"] == "")).sum())


def tanks_error(made: Treatment) -> float:
    """By what share the mix in all loads differs from what the works take."""
    taken = float(made.schedule["volume_L"].sum()) if len(made.schedule) else 0.0
    held = float((made.loads["count"] * made.loads["volume_L"]).sum()) if len(made.loads) else 0.0
    return abs(held - taken) / taken if taken > 0 else held


def dose_over(made: Treatment, mixes: Sequence[MixSection]) -> float:
    """By what share of a limit of its label any planned dose passes it, on the heaviest spot; 0 where none does."""
    limits = {mix.name: (mix.max_per_application_kg_per_ha, mix.max_per_year_kg_per_ha) for mix in mixes}
    worst = 0.0
    for job in rows_of(made.jobs[made.jobs["work"].notna() & made.jobs["sprays"]]):
        for dose, most in zip((job.application_kg_per_ha, job.year_kg_per_ha), limits[job.mix], strict=True):
            worst = max(worst, math.inf if most is None or math.isnan(dose) else dose / most - 1)
    return worst
