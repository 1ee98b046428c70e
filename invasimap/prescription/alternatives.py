"""What each visit could be done with: its mix, the rigs that get there, and what each of them would put on."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd

from invasimap.core.mix_settings import MixSection
from invasimap.core.rig_settings import RigSection
from invasimap.core.settings import Tract
from invasimap.prescription.limits_of_label import within_limits
from invasimap.prescription.mix import mixed
from invasimap.prescription.volume import rows_of, volumes

NO_MIX: Final = (
    "no mix in the settings is for it: write a [[mix]] from a label whose technique, zones and species allow it"
)
NO_RIG: Final = "no rig in the settings: write a [[rig]]"


def mixes_of(jobs: pd.DataFrame, mixes: Sequence[MixSection]) -> list[str]:
    """The mix of each visit: the first that its label allows there, one that names the species before one for all.

    Empty where nothing is sprayed, or no mix is allowed.
    """
    return [_mix_of(job, mixes) if job.sprays else "" for job in rows_of(jobs)]


def _mix_of(job: Any, mixes: Iterable[MixSection]) -> str:
    fit = [mix for mix in mixes if job.technique in mix.technique and job.zone in mix.zones]
    named = [mix for mix in fit if job.species in mix.species]
    return next((mix.name for mix in [*named, *(mix for mix in fit if "*" in mix.species)]), "")


def worked_by(
    jobs: gpd.GeoDataFrame, rig: RigSection, *, settings: Tract, log: gpd.GeoDataFrame | None
) -> pd.DataFrame:  # fmt: skip
    """What one rig would put on wherever it gets to, each visit held to the label by itself; nothing elsewhere.

    Parameters
    ----------
    jobs
        Visits, their polygons with them; those with a ``why`` are left out. ``walk_min`` is the walk to each on foot.
    log
        What was sprayed before.
    """
    there = [rig.access in reached.split(";") for reached in jobs["reached_by"]]
    own = jobs[np.asarray(there, bool) & (jobs["why"] == "").to_numpy() & (jobs["technique"] != "none").to_numpy()]
    trip = own["walk_min"] if rig.access == "foot" and rig.refill_trip_min is None else rig.refill_trip_min
    own = own.assign(rig=rig.name, trip_min=np.nan if trip is None else trip, cover_pct=own["own_cover_pct"])
    return held_to_label(own, settings=settings, log=log, together=False)


def held_to_label(
    jobs: gpd.GeoDataFrame, *, settings: Tract, log: gpd.GeoDataFrame | None, together: bool
) -> pd.DataFrame:  # fmt: skip
    """Amounts of visits with their rigs, what is over a limit withheld: by itself, or with all the others together."""
    plain = pd.DataFrame(jobs.drop(columns=jobs.geometry.name))
    worked = mixed(volumes(plain, mixes=settings.mix, rigs=settings.rig, spray=settings.spray), mixes=settings.mix)
    return within_limits(
        worked, shapes=jobs.geometry, mixes=settings.mix, shown=settings.shown, log=log, together=together
    ).table  # fmt: skip


def why_nobody(jobs: pd.DataFrame, worked: Sequence[pd.DataFrame], rigs: Sequence[RigSection]) -> pd.Series:
    """Why no rig does a visit, of those that none does and that had no reason yet; empty for the others."""
    why = jobs["why"].astype(object).copy()
    asked = (why == "") & (jobs["technique"] != "none")
    for label in jobs.index[asked]:
        if not rigs:
            why[label] = NO_RIG
            continue
        tried = [table.loc[label] for table in worked if label in table.index]
        if not tried:
            reached = ", ".join(sorted(set(str(jobs.at[label, "reached_by"]).split(";")) - {""})) or "nothing"
            why[label] = f"no rig in the settings works there: it is reached by {reached}"
        elif all(row["withheld"] for row in tried):
            why[label] = _each_said({str(row["rig"]): str(row["why"]) for row in tried})
    return why


def _each_said(why: dict[str, str]) -> str:
    """Why each rig does not do a visit; once where all say the same."""
    if len(set(why.values())) == 1:
        return next(iter(why.values()))
    said = [(rig, *text.rpartition(": ")[::2]) for rig, text in why.items()]
    parts = [f"{rig} - {what} ({mend})" if what else f"{rig} - {mend}" for rig, what, mend in said]
    return f"{'; '.join(parts)}: change it for one of the rigs"
