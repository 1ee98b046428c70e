"""The label's limits, held for every spot of ground: in one application and in a year.

A dose counts on the patch that is sprayed, never on the stand it lies in: 9 gal on 0.12 acre can be over a limit that
the stand seems to keep a hundred times over. Where patches lie on one another, or on ground already sprayed this year,
their doses add up wherever the ingredient is the same, or may be: what is not named is not taken for another.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import geopandas as gpd
import pandas as pd

from invasimap.core.errors import Fault, InputError
from invasimap.core.mix_settings import MixSection
from invasimap.core.units import KG_PER_LB, L_PER_GAL, M2_PER_ACRE, M2_PER_HA, METRIC, ShownUnits
from invasimap.prescription.common_ground import UNNAMED, CommonGround, Counted, common_ground
from invasimap.prescription.overlaps import heaviest
from invasimap.prescription.volume import Worked, blanked

CLOSE: Final = 1e-9  # exactly at the limit is allowed; arithmetic alone does not put a dose over it
COLUMNS: Final = ("application_kg_per_ha", "year_kg_per_ha", "stop_at_L", "at_limit")


def within_limits(
    worked: Worked,
    *,
    shapes: gpd.GeoSeries,
    mixes: Sequence[MixSection],
    shown: ShownUnits,
    log: gpd.GeoDataFrame | None = None,
    together: bool = True,
) -> Worked:
    """Hold every dose to its label, spot by spot.

    Parameters
    ----------
    worked
        What ``mix.mixed`` gives.
    shapes
        The ground of each job, polygons in metres under the jobs' index.
    mixes, shown
        The settings, and the units of messages.
    log
        What was sprayed before: polygons in the same system with ``date, product, kg_per_ha`` (on the ground sprayed)
        and, where known, ``ingredient_name``.
    together
        Whether all jobs are done: then the doses of those that share ground add up. Else each is held as if it were
        done alone, after what the log holds: ``shared_ground`` tells which may be done together.

    Returns
    -------
    Worked
        The table with ``application_kg_per_ha`` and ``year_kg_per_ha`` (the most on any spot, with what else falls
        there), ``stop_at_L`` (the volume of this job at which a limit is reached; infinite where the label states
        none), ``at_limit`` (a limit is met exactly: allowed) more. A job over a limit is withheld with a fault, and
        so is what lies on the same ground and is over its own.

    Raises
    ------
    CRSError
        When shapes and log do not share a system.
    InputError
        When shapes lack a job, or the log lacks a column.
    """
    jobs = worked.table
    _check_shapes(jobs, shapes)
    live = jobs.index[jobs["dose_kg_per_ha"].notna() & ~jobs["withheld"]]
    ground = common_ground(jobs.loc[live], shapes=shapes, mixes=mixes, log=log)
    faults, over = list(worked.faults), []
    spots = [_spot(ground, row, together=together) for row in range(len(live))]
    found = pd.DataFrame([spot.columns for spot in spots], index=live, columns=list(COLUMNS)).reindex(jobs.index)
    table = jobs.assign(**{name: found[name] for name in COLUMNS})
    table["at_limit"] = table["at_limit"].eq(True)
    why = table["why"].astype(object) if "why" in table else pd.Series("", index=table.index, dtype=object)
    for label, job, spot in zip(live, ground.jobs, spots, strict=True):
        if said := spot.over(shown, ground.mixes[job["mix"]]):
            over.append(label)
            why[label] = why[label] or ": ".join(said)
            faults.append(Fault(where=f"stand {job['stand']}, patch {job['patch']}", what=said[0], mend=said[1]))
    table["withheld"], table["why"] = jobs["withheld"].to_numpy(bool) | jobs.index.isin(over), why
    return Worked(table=blanked(table), faults=tuple(faults))


@dataclass(frozen=True, kw_only=True)
class _Spot:
    """The heaviest spot of one job, in one application and in the year."""

    dose: float
    beside: float  # kg/ha of the same application from other jobs
    with_whom: tuple[str, ...]
    in_year: float  # kg/ha of the same year from other jobs and the log
    in_year_whom: tuple[str, ...]
    unknown: tuple[str, ...]  # of the log, on the same ground, without a dose
    stop_at_L: float
    limits: tuple[float, float]

    @property
    def sums(self) -> tuple[float, float]:
        return self.dose + self.beside, self.dose + self.in_year

    @property
    def columns(self) -> dict[str, Any]:
        """What the table says of it."""
        met = any(math.isclose(total, most, rel_tol=CLOSE) for total, most in zip(self.sums, self.limits, strict=True))
        application, year = self.sums
        year = math.nan if self.unknown else year
        stop_at = 0.0 if self.unknown else self.stop_at_L
        return {
            "application_kg_per_ha": application, "year_kg_per_ha": year, "stop_at_L": stop_at,
            "at_limit": met and not self.unknown,
        }  # fmt: skip

    def over(self, shown: ShownUnits, mix: MixSection) -> tuple[str, str] | None:
        """What is over and how to mend it; None where all is within."""
        if self.unknown:
            what = f"the log holds no dose for {', '.join(self.unknown)} on this ground: what is left is not known"
            return what, f"enter the dose of that application in the log{self._to_name(self.unknown)}"
        kinds = (("in one application", self.with_whom), ("in the year", self.in_year_whom))
        said = []
        for total, most, (when, whom) in zip(self.sums, self.limits, kinds, strict=True):
            if total > most * (1 + CLOSE):
                among = f" (with {', '.join(whom)} on the same ground)" if whom else ""
                said.append(f"{dose_said(total, shown, up=True)} {when}{among}, limit {dose_said(most, shown)}")
        if not said:
            return None
        stop = f"stop at {volume_said(self.stop_at_L, shown)} on this patch"
        if self.stop_at_L <= 0:
            stop = "nothing is left to spray on this ground"
        return (
            f"mix {mix.name!r} would put on {'; '.join(said)}",
            f"{stop}; less mix, another technique or another year{self._to_name(self.with_whom + self.in_year_whom)}",
        )

    @staticmethod
    def _to_name(whom: Sequence[str]) -> str:
        """What else to do where something counts only because its ingredient is not named."""
        unnamed = any(name.endswith(UNNAMED) for name in whom)
        return "; type ingredient_name in every [[mix]] and in the log" if unnamed else ""


def _spot(ground: CommonGround, row: int, *, together: bool) -> _Spot:
    """The heaviest spot of one job with all that shares its ground, ingredient and time."""
    job, shape = ground.jobs[row], ground.shapes[row]
    mix = ground.mixes[job["mix"]]
    counted = ground.counted(row, others=together)
    unknown = [entry.name for entry in counted if math.isnan(entry.kg_per_ha)]
    known = [entry for entry in counted if not math.isnan(entry.kg_per_ha)]
    at_once, in_year = ([entry for entry in known if getattr(entry, when)] for when in ("together", "in_year"))
    beside, with_whom = _heaviest(shape, at_once)
    year, year_whom = (beside, with_whom) if at_once == in_year else _heaviest(shape, in_year)
    limits = (mix.max_per_application_kg_per_ha, mix.max_per_year_kg_per_ha)
    dose = float(job["dose_kg_per_ha"])
    left = max(0.0, min(limits[0] - beside, limits[1] - year))  # type: ignore[operator]  # not_typed withheld None
    return _Spot(
        dose=dose, beside=beside, with_whom=with_whom, in_year=year, in_year_whom=year_whom,
        unknown=tuple(dict.fromkeys(unknown)), stop_at_L=float(job["volume_L"]) * left / dose, limits=limits,  # type: ignore[arg-type]
    )  # fmt: skip


def _heaviest(shape: Any, counted: Sequence[Counted]) -> tuple[float, tuple[str, ...]]:
    return heaviest(shape, [(entry.shape, entry.kg_per_ha, entry.name) for entry in counted])


def _check_shapes(jobs: pd.DataFrame, shapes: gpd.GeoSeries) -> None:
    if not jobs.index.isin(shapes.index).all() or not shapes.index.is_unique:
        raise InputError(Fault(where="jobs", what="need one outline each", mend="give shapes under the jobs' index"))


def dose_said(kg_per_ha: float, shown: ShownUnits, *, up: bool = False) -> str:
    """A dose in words; a limit is rounded down, what is over it up.

    Examples
    --------
    >>> from invasimap.core.units import US
    >>> dose_said(6 * 1.1208511561944561, US, up=True)
    '6 lb/acre'
    """
    if not math.isfinite(kg_per_ha):
        return "none on the label"
    if shown is METRIC:
        return f"{_rounded(kg_per_ha, up=up)} kg/ha"
    return f"{_rounded(kg_per_ha / KG_PER_LB * (M2_PER_ACRE / M2_PER_HA), up=up)} lb/acre"


def volume_said(litres: float, shown: ShownUnits) -> str:
    """A volume not to be passed, rounded down; a small one in the unit of the jug.

    Examples
    --------
    >>> volume_said(18.927, METRIC), volume_said(0.0473, METRIC)
    ('18.92 l', '47.3 ml')
    """
    small, large = ((1e-3, "ml"), (1.0, "l")) if shown is METRIC else ((L_PER_GAL / 128, "fl oz"), (L_PER_GAL, "gal"))
    per, unit = large if litres >= large[0] / 4 else small
    number = litres / per
    return f"{_rounded(number, up=False)} {unit}"


def _rounded(number: float, *, up: bool) -> str:
    """Four digits, to one side, but for what arithmetic itself adds."""
    if number <= 0:
        return "0"
    step = 10.0 ** (math.floor(math.log10(number)) - 3)
    steps = math.ceil(number / step - 1e-6) if up else math.floor(number / step + 1e-6)
    return f"{steps * step:.10f}".rstrip("0").rstrip(".")
