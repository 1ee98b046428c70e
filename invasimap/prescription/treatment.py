"""What is done on the tract: every patch's technique, and of what can be planned the mix, loads, hours, money and week.

The tables of one season's work, as the reports show them. ``treat.treat`` fills them in.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import geopandas as gpd
import pandas as pd


@dataclass(frozen=True, kw_only=True)
class Answer:
    """How the schedule was found and how good it is.

    ``method`` says so in words; ``value_m2`` is the weighted infested ground done, ``bound_m2`` what no schedule can
    exceed, ``greedy_m2`` what the plain way came to; ``next_best`` says in words what else was nearly as good, and
    ``waiting`` what the works that are left would cost in a year.
    """

    method: str
    value_m2: float
    bound_m2: float
    greedy_m2: float
    gap_pct: float
    next_best: str = ""
    waiting: str = ""


@dataclass(frozen=True, kw_only=True)
class Treatment:
    """A season's work.

    Attributes
    ----------
    start, start_said
        Monday of week 0, and where the date comes from, in words.
    currency
        Of all money, such as ``USD``; empty where no money is in the settings.
    jobs
        A row a visit to a piece of ground, its polygon with it: ``job, zone_id, patch, species, stand, zone, access,
        reached_by, gross_m2, cover_pct, height_m, stem_mm, slope_pct, technique, rule, reason, visit, visits, sprays,
        first, last, estimated, window, wait_min_days, wait_max_days, mix`` (empty where nothing is sprayed), ``work``
        (number of the work it is planned in; NA where it is in none), ``calibrated`` (the day of its rate),
        ``dose_kg_per_ha, application_kg_per_ha, year_kg_per_ha, stop_at_L, at_limit, notes`` of what is planned, and
        ``why`` it is not (empty where it is).
    windows
        ``species, technique, visit, first, last, estimated, window`` (where the dates come from), ``gross_m2``: a row
        for each that differs, by first day.
    work
        Index ``work`` from 1, by week: what one rig does in one treatment zone with one tank. ``zone_id, stand, zone,
        access, rig, technique, visit, visits, sprays, mix, species`` (semicolon-joined), ``first, last`` (its window),
        ``weeks`` (numbers, semicolon-joined), ``patches``, areas and amounts (``loads.works``), hours
        (``labour.hours``) and money (``costs.costs``).
    loads
        A row a kind of load: ``outing`` (what one rig sprays of one mix on one day, numbered by day, rig and order),
        ``week, monday, day, works`` (numbers, semicolon-joined), ``rig, mix, load`` ("full" or "last"), ``count``,
        amounts (``loads.loads``) and ``hold`` (why it must not be mixed as it stands; empty where it may).
    schedule
        A row a work and week: ``work, week, monday, rig, hours`` (of the crew together), ``money, value_m2, volume_L``.
    days
        A row a work and day, which add up to the schedule: ``days.working_days``, and ``outing`` (NA where nothing is
        sprayed).
    unplanned
        What could be done but is in no week: ``zone_id, stand, zone, access, technique, visit, species, patches,
        worked_m2, hours, money`` (of its cheapest rig), ``reason``.
    withheld
        What is withheld and what to type or change: ``where, what, mend``.
    rig_days
        Crew-days of each rig: ``labour.days_of_rigs``.
    curve
        What each further step of money buys: ``money_curve.money_curve``; empty without prices.
    answer
        How good the schedule is; None where there was nothing to choose from.
    """

    start: dt.date
    start_said: str
    currency: str
    jobs: gpd.GeoDataFrame
    windows: pd.DataFrame
    work: pd.DataFrame
    loads: pd.DataFrame
    schedule: pd.DataFrame
    days: pd.DataFrame
    unplanned: pd.DataFrame
    withheld: pd.DataFrame
    rig_days: pd.DataFrame
    curve: pd.DataFrame
    answer: Answer | None


def no_treatment() -> Treatment:
    """Nothing chosen and nothing planned: what a plan made by hand holds where nobody worked one out."""
    none = pd.DataFrame()
    return Treatment(
        start=dt.date(1970, 1, 1), start_said="", currency="", jobs=gpd.GeoDataFrame(geometry=[]), windows=none,
        work=none, loads=none, schedule=none, days=none, unplanned=none, withheld=none, rig_days=none,
        curve=none, answer=None,
    )  # fmt: skip
