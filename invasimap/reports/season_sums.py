"""A season's work added up for showing: what is planned of what could be, money, hours, days and weeks."""

from __future__ import annotations

import datetime as dt
from typing import Final

import pandas as pd

from invasimap.land.words import OUTSIDE
from invasimap.prescription.plan import Plan
from invasimap.prescription.treatment import Treatment

MONEY: Final = ("labour_money", "machine_money", "product_money", "travel_money", "money", "money_low", "money_high")


def whole_sum(column: pd.Series[float]) -> float:
    """The sum, not known where a part is not."""
    return float(column.sum(skipna=False))


def ground_once(treatment: Treatment) -> pd.DataFrame:
    """Jobs in stands, a row a piece of ground: of several visits the last, which does what the others began."""
    jobs = pd.DataFrame(treatment.jobs)
    return jobs[(jobs["visit"] == jobs["visits"].clip(lower=1)) & (jobs["stand"] != OUTSIDE)]


def planned_of(treatment: Treatment) -> tuple[float, float]:
    """Ground that is planned, and ground that a technique fits, in square metres; each species counts for itself."""
    jobs = ground_once(treatment)
    fits = jobs[jobs["technique"] != "none"]
    return float(fits.loc[fits["work"].notna(), "gross_m2"].sum()), float(fits["gross_m2"].sum())


def has_prices(plan: Plan) -> bool:
    """Whether the settings hold money at all."""
    return bool(plan.treatment.currency) and len(plan.treatment.work) > 0


def weekly(treatment: Treatment) -> pd.DataFrame:
    """The schedule with its works: of each week the columns of the work, and ``share``, the part of it done then."""
    table, work = treatment.schedule, treatment.work
    named = ["zone_id", "stand", "technique", "visit", "visits", "sprays", "mix", "species", "patches", "worked_m2"]
    joined = table.join(work[[*named, "first", "last"]], on="work")
    whole = joined.groupby("work")["hours"].transform("sum")
    return joined.assign(share=(joined["hours"] / whole).where(whole > 0, 1.0))


def by_week(treatment: Treatment, *, stand: str | None = None) -> pd.DataFrame:
    """The schedule, or that of one stand, added up by week, rig, technique and visit.

    Columns: ``week, monday, rig, technique, visit, visits, hours, money, worked_m2, zones, windows``;
    ``zones`` lists names, each once, and ``windows`` first and last days of the works' windows, each pair once.
    """
    keys = ["week", "monday", "rig", "technique", "visit", "visits"]
    table = weekly(treatment) if len(treatment.schedule) else treatment.schedule
    if stand is not None and len(table):
        table = table[table["stand"].astype(str) == stand]
    if not len(table):
        return pd.DataFrame(columns=[*keys, "hours", "money", "worked_m2", "zones", "windows"])
    table = table.assign(worked_m2=table["worked_m2"] * table["share"])
    groups = table.groupby(keys, sort=True)
    found = groups[["hours", "money", "worked_m2"]].agg(whole_sum)
    found["zones"] = groups["zone_id"].agg(lambda names: sorted(set(map(str, names))))
    found["windows"] = pd.Series([_windows(own) for _, own in groups], index=found.index, dtype=object)
    return found.reset_index()


def _windows(rows: pd.DataFrame) -> list[tuple[dt.date, dt.date]]:
    known = rows[["first", "last"]].dropna()
    return sorted({(day_of(first), day_of(last)) for first, last in known.itertuples(index=False)})


def spray_weeks(treatment: Treatment) -> tuple[dt.date, dt.date] | None:
    """Mondays of the first and the last week with spraying; None where nothing is sprayed."""
    if not len(treatment.schedule):
        return None
    rows = weekly(treatment)
    days = [day_of(monday) for monday in rows.loc[rows["sprays"].astype(bool), "monday"]]
    return (min(days), max(days)) if days else None


def day_of(value: object) -> dt.date:
    """A day from a date, a timestamp or its text."""
    return pd.Timestamp(str(value)).date()


def charts_of(treatment: Treatment) -> list[str]:
    """Names of the charts of a season's work that have something to show."""
    some = {  # the two that may take a page come one after the other; that of money stands by the tables of cost
        "windows": len(treatment.windows) > 0 and bool(treatment.windows["first"].notna().any()),
        "schedule": len(treatment.schedule) > 0,
        "money": len(treatment.curve) > 1,
    }
    return [name for name, shows in some.items() if shows]
