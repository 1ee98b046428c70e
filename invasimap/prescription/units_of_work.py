"""Units of work: what a schedule does or leaves as a whole, and what each rig that can would take for it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from invasimap.core.errors import Fault
from invasimap.core.mix_settings import MixSection
from invasimap.core.rig_settings import RigSection
from invasimap.core.settings import Tract
from invasimap.prescription.costs import costs
from invasimap.prescription.labour import hours, whole_up
from invasimap.prescription.loads import work_numbers, works
from invasimap.prescription.schedule_table import wait_weeks, weeks_within
from invasimap.prescription.volume import rows_of

_SAME: Final = (
    "zone_id", "technique", "visits", "wait_min_days", "wait_max_days", "mix", "first", "last", "able", "part", "apart",
)  # fmt: skip


_BEYOND: Final = 110
_PARTS_A_WEEK: Final = 2


@dataclass(frozen=True, kw_only=True)
class Takes:
    """What all rigs would take for all units.

    ``jobs`` has a row a visit and rig that can do it, with its ``unit`` and ``work``; ``work`` a row a rig, unit and
    strength of mix, with hours and money; ``faults`` say what is not known of units that no rig can be reckoned for.
    """

    jobs: pd.DataFrame
    work: pd.DataFrame
    faults: tuple[Fault, ...]


def unit_numbers(jobs: pd.DataFrame) -> pd.DataFrame:
    """``unit`` and ``after`` (the unit of the visit before, else NA) of every visit that can be done.

    Visits of one treatment zone are a unit where technique, mix, windows, waits and the rigs that can do them are the
    same, and those of their pieces' other visits too: so that a unit is done after one other, and by any of its rigs
    whole.

    Parameters
    ----------
    jobs
        Visits: ``patch_no`` (the piece), ``visit``, ``why``, the columns of piece and visit, ``able`` (names of rigs),
        ``part`` (what keeps pieces apart that would be too much for one week: ``parts_of``), ``apart`` (a number of its
        own for each piece that may not be done with all others).
    """
    live = jobs[jobs["why"] == ""]
    chains: dict[Any, list[str]] = {}
    for row in rows_of(live.sort_values(["patch_no", "visit"])):
        cells = [getattr(row, name) for name in _SAME]
        chains.setdefault(row.patch_no, []).append("|".join(map(str, cells)))
    numbers = pd.Series(pd.factorize(pd.Series({piece: repr(chain) for piece, chain in chains.items()}), sort=True)[0],
                        index=list(chains))  # fmt: skip
    most = int(live["visit"].max()) if len(live) else 1
    unit = numbers.reindex(live["patch_no"]).to_numpy() * most + live["visit"].to_numpy()
    found = pd.DataFrame({"unit": unit}, index=live.index).astype("Int64")
    found["after"] = found["unit"].where(live["visit"] > 1) - 1
    return found.reindex(jobs.index)


def parts_of(jobs: pd.DataFrame, takes: Takes, *, settings: Tract) -> pd.Series[int]:
    """The part of its unit that each visit's piece goes to: what every rig needs over a week for is cut by patch.

    Parts take about half a week of the rig that is quickest, so that a window of few weeks holds some of a large zone,
    and those cut first are sprayed first.
    """
    none = pd.Series(0, index=jobs.index)
    if not len(takes.work):
        return none
    minutes = takes.work.groupby(["unit", "rig"])["total_min"].sum(min_count=1).reset_index()
    in_week = rigs_table(settings).set_index("rig")["hours_per_week"]
    minutes["weeks"] = minutes["total_min"] / 60 / minutes["rig"].map(in_week)
    weeks = jobs["unit"].map(minutes.groupby("unit")["weeks"].min()).astype(float)
    weeks = weeks.groupby(jobs["patch_no"]).transform("max")  # a piece's visits are cut alike
    parts = (_PARTS_A_WEEK * weeks).where((weeks > 1) & np.isfinite(weeks), 1.0).map(np.ceil)
    first = jobs["visit"] == 1
    ground = (jobs["gross_m2"] * jobs["cover_pct"] / 100).where(first & jobs["unit"].notna(), 0.0)
    before = ground.groupby(jobs["unit"]).cumsum() - ground / 2
    whole = ground.groupby(jobs["unit"]).transform("sum")
    part = np.floor(parts * (before / whole.where(whole > 0)).fillna(0.0)).where(first)
    return part.groupby(jobs["patch_no"]).transform("max").fillna(0.0).astype(int)


def what_it_takes(jobs: pd.DataFrame, worked: Sequence[pd.DataFrame], *, settings: Tract) -> Takes:
    """Works of every rig for every unit, with their hours and money.

    Parameters
    ----------
    jobs
        Visits with ``unit``.
    worked
        Of each rig, what it would put on (``alternatives.worked_by``).
    """
    own = jobs[["unit", "value_m2"]]
    parts = [table.drop(columns=list(own), errors="ignore").join(own).dropna(subset=["unit"]) for table in worked]
    found = pd.concat(parts) if parts else pd.DataFrame()
    found = found[~found["withheld"].astype(bool)] if len(found) else found
    if not len(found):
        return Takes(jobs=found, work=pd.DataFrame(), faults=())
    found = found.rename_axis("job").reset_index()
    found["work"] = work_numbers(found)
    work = works(found)
    rigs, labour = settings.rig, settings.labour
    timed = hours(work, rigs=rigs, labour=labour, shared_tanks=True)
    priced = costs(work, timed.table, rigs=rigs, mixes=settings.mix, labour=labour)
    whole = work.join(timed.table.drop(columns="rig")).join(priced.table)
    lost = work[~work["unit"].isin(whole.loc[_known(whole, settings), "unit"])]
    again = hours(lost, rigs=rigs, labour=labour, shared_tanks=True)
    faults = again.faults
    if settings.budget is not None:
        faults += costs(lost, again.table, rigs=rigs, mixes=settings.mix, labour=labour).faults
    return Takes(jobs=found, work=whole, faults=faults)


def _known(work: pd.DataFrame, settings: Tract) -> Any:
    """Which works have hours, and money where there is a budget to keep."""
    known = work["total_min"].notna()
    return known & work["money"].notna() if settings.budget is not None else known


def options_of(jobs: pd.DataFrame, takes: Takes, *, settings: Tract, starts: Sequence[dt.date]) -> pd.DataFrame:
    """The table ``schedule.schedule`` chooses from: a row a unit and rig."""
    days = settings.schedule.days_per_week
    sums = takes.work.groupby(["unit", "rig"], sort=True)
    table = sums[["total_min", "money"]].sum(min_count=0).reset_index()
    unknown = takes.work[["total_min", "money"]].isna().groupby([takes.work["unit"], takes.work["rig"]]).any()
    table[["total_min", "money"]] = table[["total_min", "money"]].mask(unknown.to_numpy())
    unit = jobs.dropna(subset=["unit"]).groupby("unit")
    first = unit[["first", "last", "after", "wait_min_days", "wait_max_days", "zone_id", "stand"]].first()
    value = jobs[jobs["visit"] == jobs["visits"]].dropna(subset=["unit"]).groupby("unit")["value_m2"].sum()
    rows = [
        {"job": int(row.unit), "rig": row.rig, "hours": row.total_min / 60, "money": row.money,
         "value": float(value.get(row.unit, 0.0)), **_when(first.loc[row.unit], starts, days)}
        for row in rows_of(table)
    ]  # fmt: skip
    options = pd.DataFrame(rows)
    if settings.budget is None and len(options):
        options["money"] = options["money"].fillna(
            0.0
        )  # nothing is spent from; what is not known stays so in the works
    return _reckoned(options)


def _reckoned(options: pd.DataFrame) -> pd.DataFrame:
    """Without rigs whose hours or money are not known, for units that another can be reckoned for."""
    if not len(options):
        return options
    known = options[["hours", "money"]].notna().all(axis=1)
    some = options["job"].map(known.groupby(options["job"]).any())
    return options[known | ~some].reset_index(drop=True)


def _when(row: Any, starts: Sequence[dt.date], days_per_week: int) -> dict[str, Any]:
    """Weeks, waits and place of a unit."""
    ahead = [starts[-1] + dt.timedelta(7 * week) for week in range(1, _BEYOND)]  # so that what comes later is told so
    first, last = (0, -1) if pd.isna(row["first"]) or pd.isna(row["last"]) else weeks_within(
        row["first"].date(), row["last"].date(), starts=[*starts, *ahead], days_per_week=days_per_week
    )  # fmt: skip
    least: int | None
    least, most = None, None
    if not pd.isna(row["after"]):
        most_days = None if pd.isna(row["wait_max_days"]) else int(row["wait_max_days"])
        least, most = wait_weeks(int(row["wait_min_days"]), most_days, days_per_week=days_per_week)
    return {
        "first_week": first, "last_week": last, "after": None if pd.isna(row["after"]) else int(row["after"]),
        "wait_min_weeks": least, "wait_max_weeks": most, "zone": row["zone_id"], "stand": row["stand"],
    }  # fmt: skip


def rigs_table(settings: Tract) -> pd.DataFrame:
    """``rig, hours_per_week, hours_in_all``: productive hours, of the share of days that let a crew spray.

    Works count their share of a tank; of every mix, in each strength, one fill a day is kept back for the last one,
    filled in part: what is mixed is used the same day.
    """
    labour = settings.labour
    a_day = labour.productive_min / 60
    days = settings.schedule.days_per_week * labour.spray_day_chance
    rows: list[Mapping[str, Any]] = [
        {
            "rig": rig.name,
            "hours_per_week": max(
                a_day * days - whole_up(days) * _strengths(rig, settings.mix) * rig.fill_min / 60, 0.0
            ),
            "hours_in_all": np.nan if rig.available_days is None else rig.available_days * a_day,
        }
        for rig in settings.rig
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=["rig", "hours_per_week", "hours_in_all"])


def _strengths(rig: RigSection, mixes: Sequence[MixSection]) -> int:
    """How many strengths a rig may spray on a day: one a mix, of one by area as many as its measured rates."""
    rates = max(len({entry.rate_L_per_ha for entry in rig.calibration}), 1)
    return sum(rates if mix.is_by_area else 1 for mix in mixes)
