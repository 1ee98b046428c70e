"""A choice of work told: the tables of a season as crews, landowners and files have them."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd

from invasimap.core.errors import Fault
from invasimap.core.schedule_settings import ScheduleSection
from invasimap.core.settings import Tract
from invasimap.land.words import OUTSIDE
from invasimap.prescription.calibration_age import held_back_faults, why_not_mixed
from invasimap.prescription.costs import PARTS_OF_MONEY, more_in_whole_days
from invasimap.prescription.days import places_of, working_days
from invasimap.prescription.labour import HOURS_COLUMNS, days_of_rigs
from invasimap.prescription.loads import SHARES, SUMS, loads, outings, tanks_of
from invasimap.prescription.schedule import Schedule, runner_up
from invasimap.prescription.spread import present_cost_of_waiting
from invasimap.prescription.treatment import Answer, Treatment
from invasimap.prescription.units_of_work import Takes, rigs_table
from invasimap.prescription.volume import places, rows_of

NOT_OURS: Final = "lies outside every stand: not planned"
_AMOUNTS: Final = (
    "calibrated",
    "dose_kg_per_ha",
    "application_kg_per_ha",
    "year_kg_per_ha",
    "stop_at_L",
    "at_limit",
    "notes",
)
_UNIT: Final = re.compile(r"\b(other visit|other work|between it and) (\d+)\b")  # as ``schedule_reasons`` says it
_SHARE: Final = 0.5  # of the time limit, for the curve of money or the next best choice


@dataclass(frozen=True, kw_only=True)
class Chosen:
    """Visits with their units, what each rig would take for them, what could be chosen from, and the best choice.

    ``shared`` are the spots where not all units may be done (``shared_ground``).
    """

    jobs: gpd.GeoDataFrame
    takes: Takes
    options: pd.DataFrame
    shared: pd.DataFrame
    best: Schedule | None

    @property
    def done(self) -> pd.DataFrame:
        """The rows of visits and rigs that are in the schedule."""
        if self.best is None or not len(self.best.table):
            return self.takes.jobs.head(0)
        pairs = set(zip(self.best.table["job"], self.best.table["rig"], strict=True))
        own = zip(self.takes.jobs["unit"], self.takes.jobs["rig"], strict=True)
        return self.takes.jobs[[pair in pairs for pair in own]]


def budget_of(settings: Tract) -> float | None:
    """Money that may be spent; None for no limit."""
    return None if settings.budget is None else settings.budget.money.amount


def sooner(section: ScheduleSection) -> ScheduleSection:
    """Settings of a search that is one of several."""
    share = _SHARE / (section.curve_solves + 1)
    return section.model_copy(update={"time_limit_min": section.time_limit_min * share})


def told(
    chosen: Chosen, *, held: pd.DataFrame, curve: pd.DataFrame, settings: Tract, starts: Sequence[dt.date],
    currency: str,
) -> Treatment:  # fmt: skip
    """A choice as the tables of a season; ``held`` are its visits held to the label all together."""
    rows = chosen.done.set_index("job") if len(chosen.done) else pd.DataFrame()
    rows = rows.assign(**{name: held[name] for name in _AMOUNTS}) if len(rows) else rows  # not as if by its rig alone
    work, weekly = _work(chosen, starts)
    jobs = _with_work(chosen.jobs, rows, work.pop("old"))
    by_day = working_days(
        weekly, places=places_of(jobs, tanks=tanks_of(work)), rigs=settings.rig, labour=settings.labour,
        days_per_week=settings.schedule.days_per_week,
    )  # fmt: skip
    rounds, by_day["outing"] = outings(work, by_day)
    tanks = loads(rounds, rigs=settings.rig, mark_L=settings.spray.mark_L(settings.shown), shown=settings.shown)
    filled = rounds[["week", "monday", "day", "works"]].join(tanks.table.set_index("outing"), how="right").reset_index()
    filled["hold"] = _held_back(filled, jobs, settings)
    left, reasons = _unplanned(jobs, chosen)
    jobs.loc[reasons.index, "why"] = reasons
    days = days_of_rigs(work, rigs=settings.rig, labour=settings.labour, weekly=weekly)
    faults = [
        *_uncalibrated(settings), *held_back_faults(filled), *chosen.takes.faults, *tanks.faults,
        *_over_in_whole_days(work, days, settings),
    ]  # fmt: skip
    return Treatment(
        start=starts[0],
        start_said="start in the settings" if settings.schedule.start else "the day this plan was made",
        currency=currency,
        jobs=jobs.drop(columns=list(_OURS), errors="ignore").rename_axis("job").reset_index(),
        windows=_windows(jobs),
        work=work,
        loads=filled,
        schedule=weekly[list(_WEEKLY)],
        days=by_day,
        unplanned=left,
        withheld=_withheld(jobs, faults),
        rig_days=days,
        curve=curve,
        answer=_answer(chosen, settings=settings, weeks=len(starts)),
    )


def _uncalibrated(settings: Tract) -> list[Fault]:
    """Rigs that nothing can be sprayed with, for lack of any measured rate."""
    return [
        Fault(where=f"rig {rig.name!r}", what="has no calibration: nothing is sprayed with it",
              mend="calibrate it (invasimap calibrate) and write the line under the rig")
        for rig in settings.rig
        if not rig.calibration and settings.mix
    ]  # fmt: skip


def _over_in_whole_days(work: pd.DataFrame, days: pd.DataFrame, settings: Tract) -> list[Fault]:
    """That pay and travel of whole days come to more than the budget, which the schedule keeps by parts of days."""
    budget = budget_of(settings)
    if budget is None or not len(work):
        return []
    whole = float(work["money"].sum()) + more_in_whole_days(work, days, settings.labour)
    if not whole > budget * (1 + 1e-9):
        return []
    what = (
        f"with pay and travel for whole days the planned works come to {whole:,.0f}, over the budget of {budget:,.0f}"
    )
    return [Fault(where="[budget] money", what=what, mend="plan with less, or share out the last days' crews")]


def _held_back(loads: pd.DataFrame, jobs: pd.DataFrame, settings: Tract) -> list[str]:
    """Why loads must not be mixed as they stand: they rest on a calibration that does not hold that day."""
    dates = jobs.dropna(subset=["work", "calibrated"]).groupby("work")["calibrated"].agg(set).to_dict()
    return [
        why_not_mixed(
            {measured for work in str(row.works).split(";") for measured in dates.get(int(work), ())},
            day=row.day, age_days=settings.spray.calibration_age_days,
        )
        for row in rows_of(loads)
    ]  # fmt: skip


def _with_work(jobs: gpd.GeoDataFrame, rows: pd.DataFrame, old: pd.Series[int]) -> gpd.GeoDataFrame:
    """Visits with the number of their work, and what the label's limits say of what is planned."""
    if not len(rows):
        return jobs.assign(**dict.fromkeys(_AMOUNTS[:-2], np.nan), work=pd.array([pd.NA] * len(jobs), "Int64"),
                           at_limit=False, notes="")  # fmt: skip
    numbers = rows["work"].map({before: number for number, before in old.items()})
    jobs = jobs.assign(work=numbers.reindex(jobs.index).astype("Int64"))
    jobs = jobs.join(rows[list(_AMOUNTS)])
    return jobs.assign(at_limit=jobs["at_limit"].eq(True), notes=jobs["notes"].fillna(""))


_OURS: Final = (
    "patch_no", "value_m2", "own_cover_pct", "cover_told", "walk_min", "unit", "after", "able", "area_low", "area_high",
    "part", "apart",
)  # fmt: skip
_WEEKLY: Final = ("work", "week", "monday", "rig", "hours", "money", "value_m2", "volume_L")
_WORK_FIRST: Final = ("zone_id", "stand", "zone", "access", "rig", "technique", "visit", "visits", "sprays", "mix")


def _work(chosen: Chosen, starts: Sequence[dt.date]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The works that are planned, numbered by week, rig and zone; and their weeks. ``old`` is their number before."""
    jobs, rows, best = chosen.jobs, chosen.done, chosen.best
    if best is None or not len(rows):
        first = [*_WORK_FIRST, "species", "first", "last", "weeks", "patches", "trip_min", *SUMS, *SHARES]
        money = [*(f"{part}_money" for part in PARTS_OF_MONEY), "money", "money_low", "money_high", "money_known"]
        empty = pd.DataFrame(columns=[*first, *HOURS_COLUMNS[1:], *money, "not_counted", "old"])
        empty["sprays"] = empty["sprays"].astype(bool)
        return empty.rename_axis("work"), pd.DataFrame(columns=[*_WEEKLY, "share"])
    of_unit = jobs.dropna(subset=["unit"]).groupby("unit")[["zone_id", "visits", "first", "last"]].first()
    species = (
        jobs.loc[rows["job"], "species"].groupby(rows["work"].to_numpy()).agg(lambda all_: ";".join(sorted(set(all_))))
    )
    work = chosen.takes.work.loc[sorted(rows["work"].unique())].join(of_unit, on="unit")
    work["species"] = species.reindex(work.index)
    weeks = best.table.groupby(["job", "rig"])["week"].agg(list)
    named: dict[Any, list[int]] = weeks.to_dict()
    held = [named[(row.unit, row.rig)] for row in rows_of(work)]
    work["weeks"] = [";".join(map(str, sorted(some))) for some in held]
    work["old"], work["_week"] = work.index, [min(some) for some in held]
    work = work.sort_values(["_week", "rig", "zone_id", "old"], kind="stable").drop(columns="_week")
    work.index = pd.RangeIndex(1, len(work) + 1, name="work")
    weekly = _weekly(work, best, starts)
    first = [*_WORK_FIRST, "species", "first", "last", "weeks"]
    return work[[*first, *(name for name in work if name not in (*first, "unit"))]], weekly


def _weekly(work: pd.DataFrame, best: Schedule, starts: Sequence[dt.date]) -> pd.DataFrame:
    """The schedule by work: hours and worth of a unit shared out by its works' hours, money and mix by weeks' hours."""
    own = work.reset_index()[["work", "unit", "rig", "total_min", "money", "volume_L"]]
    joined = best.table.drop(columns=["zone", "stand", "money"]).merge(
        own, left_on=["job", "rig"], right_on=["unit", "rig"]
    )
    whole = joined.groupby(["job", "rig", "week"])["total_min"].transform("sum")
    of_unit = np.where(whole > 0, joined["total_min"] / whole, 1.0)
    of_week = joined["hours"] / joined.groupby("work")["hours"].transform("sum")
    table = joined[["work", "week", "rig"]].assign(
        monday=[starts[week] for week in joined["week"]],
        share=of_week,
        volume_L=joined["volume_L"] * of_week,
        hours=joined["hours"] * of_unit,
        money=joined["money"] * of_week,
        value_m2=joined["value"] * of_unit,
    )
    return table.sort_values(["week", "rig", "work"], kind="stable").reset_index(drop=True)


def _unplanned(jobs: pd.DataFrame, chosen: Chosen) -> tuple[pd.DataFrame, pd.Series[str]]:
    """Units in no week, with what their cheapest rig would take and why; and the reason of each of their visits."""
    columns = ["zone_id", "stand", "zone", "access", "technique", "visit", "species", "patches", "worked_m2", "hours",
               "money", "reason"]  # fmt: skip
    best, options, takes = chosen.best, chosen.options, chosen.takes
    if best is None or not len(best.unplanned):
        return pd.DataFrame(columns=columns), pd.Series(dtype=object)
    names = {unit: f"{row.technique} in {row.zone_id}, visit {row.visit}{_of_patch(row)}"
             for unit, row in jobs.dropna(subset=["unit"]).groupby("unit").first().iterrows()}  # fmt: skip
    rows: list[dict[str, Any]] = []
    said: dict[Any, str] = {}
    for row in rows_of(best.unplanned):
        own = jobs[jobs["unit"] == row.job]
        reason = _with_names(str(row.reason), names)
        cheapest = options[options["job"] == row.job].sort_values(["money", "hours"], kind="stable").iloc[0]
        work = takes.work[(takes.work["unit"] == row.job) & (takes.work["rig"] == cheapest["rig"])]
        head = own.iloc[0]
        rows.append({
            **{name: head[name] for name in columns[:6]}, "species": _listed(own["species"]),
            "patches": own["patch"].nunique(), "worked_m2": work["worked_m2"].sum(), "hours": cheapest["hours"],
            "money": work["money"].sum(skipna=False), "reason": reason,
        })  # fmt: skip
        said |= dict.fromkeys(own.index, reason)
    table = pd.DataFrame(rows, columns=columns).sort_values(["zone_id", "technique", "visit"], kind="stable")
    return table.reset_index(drop=True), pd.Series(said, dtype=object).astype(str)


def _of_patch(row: Any) -> str:
    return f", patch {row.patch}" if row.apart >= 0 else ""


def _with_names(reason: str, names: Mapping[Any, str]) -> str:
    """A reason with the names of units for their numbers, which no table shows."""
    return _UNIT.sub(lambda found: f"{found[1]} ({names[int(found[2])]})", reason)


def _listed(names: pd.Series[str]) -> str:
    """Names that differ, semicolon-joined."""
    return ";".join(sorted(set(names)))


def _windows(jobs: pd.DataFrame) -> pd.DataFrame:
    """Windows that differ, by first day."""
    keys = ["species", "technique", "visit", "first", "last", "estimated", "window"]
    done = jobs[(jobs["technique"] != "none") & (jobs["stand"] != OUTSIDE)]
    found = done.groupby(keys, dropna=False, sort=True)["gross_m2"].sum().reset_index()
    return found.sort_values(["first", "last", "species", "visit"], kind="stable").reset_index(drop=True)


def _withheld(jobs: pd.DataFrame, faults: Sequence[Fault]) -> pd.DataFrame:
    """What is held back though a technique fits, all ground that shares a cause in one row; and what is not known."""
    held = jobs[(jobs["why"] != "") & jobs["unit"].isna() & (jobs["technique"] != "none") & (jobs["why"] != NOT_OURS)]
    rows = [
        {"where": places(some), "what": what, "mend": mend}
        for (what, mend), some in held.groupby(held["why"].map(_parted), sort=False)
    ]
    rows += [{"where": fault.where, "what": fault.what, "mend": fault.mend or ""} for fault in dict.fromkeys(faults)]
    return pd.DataFrame(rows, columns=["where", "what", "mend"])


def _parted(why: str) -> tuple[str, str]:
    what, _, mend = why.rpartition(": ")
    return (what, mend) if what else (mend, "")


def _answer(chosen: Chosen, *, settings: Tract, weeks: int) -> Answer | None:
    best = chosen.best
    if best is None:
        return None
    other = runner_up(
        chosen.options, best, rigs=rigs_table(settings), weeks=weeks, budget=budget_of(settings),
        settings=sooner(settings.schedule), shared=chosen.shared,
    )  # fmt: skip
    return Answer(
        method=best.method, value_m2=best.value, bound_m2=best.bound, greedy_m2=best.greedy_value,
        gap_pct=best.gap_pct, next_best=_next_best(best, other, chosen.options),
        waiting=_waiting(best, chosen.options, settings),
    )  # fmt: skip


def _waiting(best: Schedule, options: pd.DataFrame, settings: Tract) -> str:
    """What the works that are left would cost in a year, where the user's own rate of spread is typed."""
    growth = settings.schedule.growth_pct_per_year
    left = options[options["job"].isin(best.unplanned["job"])]
    money = left.groupby("job")["money"].min()
    if growth is None or settings.budget is None or not len(money) or money.isna().any() or not money.sum() > 0:
        return ""
    now, discount = float(money.sum()), settings.schedule.discount_pct_per_year
    steady = math.log1p(growth / 100)  # typed as what a year adds
    later = present_cost_of_waiting(now, growth_per_year=steady, discount_pct=discount, years=1)
    currency = settings.budget.money.currency
    return (
        f"what is left would take {now:,.0f} {currency} now, and a year later {later:,.0f} {currency} of today's money "
        f"(growth {growth:g} %, discount {discount:g} % a year)"
    )


def _next_best(best: Schedule, other: Schedule, options: pd.DataFrame) -> str:
    """How far the best other set of work falls short, and what it does in place of what."""
    if best.value <= 0 or not len(other.table):
        return ""
    zones = options.groupby("job")["zone"].first()
    ours, theirs = set(best.table["job"]), set(other.table["job"])
    without, with_ = ({str(zones[job]) for job in some} for some in (ours - theirs, theirs - ours))
    sides = {"without": without - with_, "with": with_ - without, "with other works of": without & with_}
    change = [f"{word} {', '.join(sorted(some)[:3])}" for word, some in sides.items() if some]
    short = 100 * (best.value - other.value) / best.value
    how = f"{short:.2g} % less" if short > 0.005 else "as much, as far as is proven"
    return f"the best other choice found ({' and '.join(change)}) comes to {how}"
