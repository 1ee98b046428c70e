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
import numpy as np
import pandas as pd

from invasimap.core.errors import CRSError, Fault, InputError
from invasimap.core.mix_settings import MixSection
from invasimap.core.units import KG_PER_LB, L_PER_GAL, M2_PER_ACRE, M2_PER_HA, METRIC, ShownUnits
from invasimap.prescription.limit_years import applied_together, same_year
from invasimap.prescription.overlaps import heaviest, overlapping, sound
from invasimap.prescription.volume import Worked, blanked

CLOSE: Final = 1e-9  # exactly at the limit is allowed; arithmetic alone does not put a dose over it
COLUMNS: Final = ("application_kg_per_ha", "year_kg_per_ha", "stop_at_L", "at_limit")
LOG_COLUMNS: Final = ("date", "product", "kg_per_ha")
UNNAMED: Final = ", perhaps the same ingredient: its name is missing"


@dataclass(frozen=True, kw_only=True)
class _Ground:
    """The planned doses with their ground, and what was sprayed before."""

    jobs: list[dict[Any, Any]]  # rows as tables of their own: a frame takes long to give one
    shapes: Any
    mixes: dict[str, MixSection]
    log: list[dict[Any, Any]]
    log_shapes: Any


def within_limits(
    worked: Worked,
    *,
    shapes: gpd.GeoSeries,
    mixes: Sequence[MixSection],
    shown: ShownUnits,
    log: gpd.GeoDataFrame | None = None,
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
    past = _checked_log(log, shapes)
    _check_shapes(jobs, shapes)
    live = jobs.index[jobs["dose_kg_per_ha"].notna() & ~jobs["withheld"]]
    ground = _Ground(
        jobs=jobs.loc[live].to_dict("records"),
        shapes=sound(np.asarray(shapes.loc[live], object)),
        mixes={mix.name: mix for mix in mixes},
        log=pd.DataFrame(past.drop(columns=past.geometry.name)).to_dict("records"),
        log_shapes=sound(past.geometry.to_numpy()),
    )
    faults, over = list(worked.faults), []
    each = overlapping(ground.shapes, ground.shapes)
    before = overlapping(ground.shapes, ground.log_shapes)
    spots = [_spot(ground, row, each[row], before[row]) for row in range(len(live))]
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


def _spot(ground: _Ground, row: int, near: Any, before: Any) -> _Spot:
    """The heaviest spot of one job with all that shares its ground, ingredient and time."""
    job, shape = ground.jobs[row], ground.shapes[row]
    mix = ground.mixes[job["mix"]]
    together, in_year = [], []
    for other in near:
        that = ground.jobs[other]
        its = ground.mixes[that["mix"]]
        counted = _counted(mix, its.product, its.ingredient_name, its.registration)
        if other == row or counted is None:
            continue
        name = f"stand {that['stand']}, patch {that['patch']}{counted}"
        entry = (ground.shapes[other], float(that["dose_kg_per_ha"]), name)
        if applied_together(job, that):
            together.append(entry)
        if same_year(mix.limit_year, job, that):
            in_year.append(entry)
    unknown = []
    for number in before:
        past = ground.log[number]
        counted = _counted(mix, str(past["product"]), past.get("ingredient_name"))
        if counted is None or not same_year(mix.limit_year, job, {"first": past["date"]}):
            continue
        name = f"{past['product']} of {pd.Timestamp(past['date']).date()}{counted}"
        if pd.isna(past["kg_per_ha"]):
            unknown.append(name)
        else:
            in_year.append((ground.log_shapes[number], float(past["kg_per_ha"]), name))
    beside, with_whom = heaviest(shape, together)
    alike = len(together) == len(in_year) and all(one is other for one, other in zip(together, in_year, strict=True))
    year, year_whom = (beside, with_whom) if alike else heaviest(shape, in_year)
    limits = (mix.max_per_application_kg_per_ha, mix.max_per_year_kg_per_ha)
    dose = float(job["dose_kg_per_ha"])
    left = max(0.0, min(limits[0] - beside, limits[1] - year))  # type: ignore[operator]  # not_typed withheld None
    return _Spot(
        dose=dose, beside=beside, with_whom=with_whom, in_year=year, in_year_whom=year_whom,
        unknown=tuple(dict.fromkeys(unknown)), stop_at_L=float(job["volume_L"]) * left / dose, limits=limits,  # type: ignore[arg-type]
    )  # fmt: skip


def _counted(mix: MixSection, product: str, ingredient_name: Any, registration: str | None = None) -> str | None:
    """How another product counts with a mix: "" for the same product or ingredient, None for another ingredient.

    Where a name is not told it may be the same: then it counts, and the text says what is missing.
    """
    names = [_plain(name) if isinstance(name, str) else "" for name in (mix.ingredient_name, ingredient_name)]
    registered = registration is not None and registration == mix.registration
    if registered or _plain(product) == _plain(mix.product) or names[0] == names[1] != "":
        return ""
    return UNNAMED if "" in names else None


def _plain(name: str) -> str:
    return " ".join(name.casefold().split())


def _checked_log(log: gpd.GeoDataFrame | None, shapes: gpd.GeoSeries) -> gpd.GeoDataFrame:
    if log is None:
        return gpd.GeoDataFrame({name: [] for name in LOG_COLUMNS}, geometry=[], crs=shapes.crs)
    if lacking := [name for name in LOG_COLUMNS if name not in log]:
        raise InputError(Fault(where="log", what=f"lacks columns: {', '.join(lacking)}", mend="add them"))
    if log.crs != shapes.crs or shapes.crs is None:
        raise CRSError(Fault(where="log", what="does not share a system in metres with the jobs", mend="reproject it"))
    faults = []
    if log["date"].isna().any():
        faults.append(Fault(where="log", what="has an entry without its date", mend="enter it"))
    if (log["kg_per_ha"].astype(float) < 0).any():
        faults.append(Fault(where="log", what="has a dose below zero", mend="correct it"))
    if faults:
        raise InputError(faults)
    return log


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
