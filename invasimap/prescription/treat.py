"""A season's work from pieces of ground: technique and window, mix and rig, loads, hours, money, week."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd

from invasimap.core.errors import SettingsError
from invasimap.core.settings import Tract
from invasimap.inputs.species import Catalogue
from invasimap.land.words import OUTSIDE
from invasimap.prescription.alternatives import NO_MIX, held_to_label, mixes_of, why_nobody, worked_by
from invasimap.prescription.chosen import NOT_OURS, Chosen, budget_of, sooner, told
from invasimap.prescription.costs import money_faults, one_currency
from invasimap.prescription.money_curve import money_curve
from invasimap.prescription.priority import priorities
from invasimap.prescription.schedule import schedule
from invasimap.prescription.schedule_table import wait_weeks, weeks_within
from invasimap.prescription.season import Season
from invasimap.prescription.shared_ground import shared_spots
from invasimap.prescription.technique import choose_techniques
from invasimap.prescription.technique_rules import read_rules
from invasimap.prescription.traits import taxa
from invasimap.prescription.treatment import Treatment
from invasimap.prescription.units_of_work import (
    options_of,
    parts_of,
    rigs_table,
    unit_numbers,
    what_it_takes,
)  # fmt: skip
from invasimap.prescription.volume import rows_of

_LOOKS_WEEKS: Final = 8  # ahead, for windows of which no whole week is left


def treat(
    pieces: gpd.GeoDataFrame,
    *,
    settings: Tract,
    season: Season,
    catalogue: Catalogue,
    log: gpd.GeoDataFrame | None = None,
) -> Treatment:
    """What is done with the pieces of a tract.

    Parameters
    ----------
    pieces
        ``mosaic.pieces.treatment_pieces`` with ``zone_id`` (of its treatment zone), ``walk_min`` (one way on foot),
        ``cover_told`` and, of its area, ``area_low, area_high`` (shares; NaN where no range was drawn).
    log
        What was sprayed before: ``limits_of_label.within_limits``.

    Raises
    ------
    InputError
        When settings contradict one another: several currencies, a plant or a rule that is not known.
    """
    settings = _with_taxa(settings, catalogue)
    currency = currency_of(settings)
    starts = weeks_from(season.start, settings.schedule.weeks)
    jobs = _visits(pieces, settings=settings, season=season, catalogue=catalogue, starts=starts)
    worked = [worked_by(jobs, rig, settings=settings, log=log) for rig in settings.rig]
    jobs["why"] = _whole_pieces(jobs.assign(why=why_nobody(jobs, worked, settings.rig)))
    jobs["able"] = [_able(label, worked, settings) for label in jobs.index]
    left = jobs.index[jobs["why"] == ""]
    spots = shared_spots(jobs, [rows[rows.index.isin(left)] for rows in worked], settings=settings, log=log)
    while True:
        chosen = _scheduled(jobs, worked, spots, settings=settings, starts=starts)
        held = _held_together(chosen, settings=settings, log=log)
        if not (len(held) and held["withheld"].any()):
            break  # else what others cut into slivers no longer lies in slivers: those spots are added
        spots = _both(spots, shared_spots(jobs, [chosen.done.set_index("job")], settings=settings, log=log))
    curve = _curve(chosen, settings=settings, starts=starts)
    return told(chosen, held=held, curve=curve, settings=settings, starts=starts, currency=currency)


def weeks_from(first: dt.date, weeks: int) -> list[dt.date]:
    """The Mondays of that many weeks, the first on or after a day.

    Examples
    --------
    >>> [str(monday) for monday in weeks_from(dt.date(2026, 9, 8), 2)]
    ['2026-09-14', '2026-09-21']
    """
    monday = first + dt.timedelta(-first.weekday() % 7)
    return [monday + dt.timedelta(7 * week) for week in range(weeks)]


def currency_of(settings: Tract) -> str:
    """The one currency of rigs, mixes, labour and budget.

    Raises
    ------
    InputError
        When there are several.
    """
    if faults := money_faults(settings):
        raise SettingsError(faults)
    found = one_currency(rigs=settings.rig, mixes=settings.mix, labour=settings.labour)
    return found or (settings.budget.money.currency if settings.budget else "")


def _with_taxa(settings: Tract, catalogue: Catalogue) -> Tract:
    """The settings with the plants of mixes by their accepted names."""
    mixes = []
    for mix in settings.mix:
        named = [name for name in mix.species if name != "*"]
        stars = ["*"] if len(named) < len(mix.species) else []
        found = taxa(named, catalogue, where=f"[[mix]] {mix.name!r}: species") if named else frozenset()
        mixes.append(mix.model_copy(update={"species": [*sorted(found), *stars]}))
    return settings.model_copy(update={"mix": mixes})


def _visits(
    pieces: gpd.GeoDataFrame, *, settings: Tract, season: Season, catalogue: Catalogue, starts: Sequence[dt.date]
) -> gpd.GeoDataFrame:  # fmt: skip
    """A row a visit to a piece, with its mix; ``why`` nothing is planned where that is known already."""
    pieces = pieces.assign(
        own_cover_pct=pieces["cover_pct"].where(pieces["cover_told"].ne(False)),
        value_m2=priorities(
            pieces.assign(infested_m2=pieces["gross_m2"] * pieces["cover_pct"] / 100), settings=settings.schedule
        )["value_m2"],
    )
    rules_file = settings.technique.rules
    rules = read_rules(
        settings.path(rules_file) if rules_file else None, limits=settings.technique, shown=settings.shown,
        catalogue=catalogue,
    )  # fmt: skip
    asked = pd.DataFrame(pieces.drop(columns=pieces.geometry.name)).assign(cover_pct=pieces["own_cover_pct"])
    days = settings.schedule.days_per_week

    def chosen_from(first: dt.date, rows: pd.DataFrame) -> pd.DataFrame:
        return choose_techniques(rows, traits=catalogue.table, rules=rules, season=replace(season, start=first))

    visits = chosen_from(season.start, asked)
    for later in starts[_LOOKS_WEEKS::_LOOKS_WEEKS]:  # what is left of a window may be too short: there is another
        short = asked.loc[_too_short(visits, starts, days)]
        again = chosen_from(later, short)
        better = again.loc[~again.index.isin(_too_short(again, starts, days))]
        visits = pd.concat([visits.drop(index=better.index.unique()), better]).sort_index(kind="stable")
    jobs = pieces.loc[visits.index].reset_index(drop=True)
    jobs = jobs.assign(**{str(name): visits[name].array for name in visits if name != "after"})
    jobs["patch_no"] = visits.index.to_numpy()
    jobs["mix"] = mixes_of(jobs, settings.mix)
    jobs["why"] = [_why_not(job, days) for job in rows_of(jobs)]
    return jobs


def _too_short(visits: pd.DataFrame, starts: Sequence[dt.date], days_per_week: int) -> pd.Index:
    """Pieces with a visit whose window gives none of the weeks."""
    dated = visits.dropna(subset=["first", "last"])
    given = [
        weeks_within(row.first.date(), row.last.date(), starts=starts, days_per_week=days_per_week) == (0, -1)
        for row in rows_of(dated)
    ]
    return dated.index[np.asarray(given, bool)].unique()


def _why_not(job: Any, days_per_week: int) -> str:
    """Why nothing can be planned for a visit, as far as the visit itself says."""
    if job.stand == OUTSIDE:
        return NOT_OURS
    if job.technique == "none":
        return str(job.reason)
    if job.sprays and not job.mix:
        return NO_MIX
    if pd.isna(job.first) or pd.isna(job.last):
        return str(job.window)
    return (
        ""
        if pd.isna(job.wait_min_days)
        else _no_weeks_keep(int(job.wait_min_days), int(job.wait_max_days), days_per_week)
    )


def _no_weeks_keep(least_days: int, most_days: int, days_per_week: int) -> str:
    """Why no two weeks keep a wait, whichever of their days are worked; empty where some do."""
    least, most = wait_weeks(least_days, most_days, days_per_week=days_per_week)
    if most is None or least <= most:
        return ""
    wide = f"{least_days} to {7 * least + days_per_week - 1} days"
    what = f"a wait of {least_days} to {most_days} days is kept by no two weeks, whichever of their days are worked"
    return f"{what}: make it {wide} or longer, as wait under [technique], in the rule or a [[window]]"


def _whole_pieces(jobs: pd.DataFrame) -> pd.Series:
    """``why``, where one visit of a piece cannot be done also of its others: a cut alone makes stems more."""
    first = jobs["why"].where(jobs["why"] != "").groupby(jobs["patch_no"]).transform("first")
    other = "its other visit cannot be planned: " + first.astype(object).fillna("")
    return jobs["why"].where((jobs["why"] != "") | first.isna(), other)


def _able(label: Any, worked: Sequence[pd.DataFrame], settings: Tract) -> str:
    """The rigs that can do a visit, by name."""
    names = [
        rig.name
        for rig, table in zip(settings.rig, worked, strict=True)
        if label in table.index and not table.at[label, "withheld"]
    ]
    return ";".join(names)


def _scheduled(
    jobs: gpd.GeoDataFrame, worked: Sequence[pd.DataFrame], shared: pd.DataFrame, *, settings: Tract,
    starts: Sequence[dt.date],
) -> Chosen:  # fmt: skip
    """What can be chosen from, and the best choice; pieces that cannot all be done are each a unit by itself."""
    on_shared = jobs["patch_no"].isin(jobs.loc[shared["job"].unique(), "patch_no"])
    jobs = jobs.assign(part=0, apart=jobs["patch_no"].where(on_shared, -1))
    jobs[["unit", "after"]] = unit_numbers(jobs)
    takes = what_it_takes(jobs, worked, settings=settings)
    jobs["part"] = parts_of(jobs, takes, settings=settings)
    if jobs["part"].any():
        jobs[["unit", "after"]] = unit_numbers(jobs)
        takes = what_it_takes(jobs, worked, settings=settings)
    shared = shared.assign(job=shared["job"].map(jobs["unit"]))
    if not len(takes.work):
        return Chosen(jobs=jobs, takes=takes, options=pd.DataFrame(), shared=shared, best=None)
    options = options_of(jobs, takes, settings=settings, starts=starts)
    best = schedule(
        options, rigs=rigs_table(settings), weeks=len(starts), budget=budget_of(settings), settings=settings.schedule,
        shared=shared,
    )  # fmt: skip
    return Chosen(jobs=jobs, takes=takes, options=options, shared=shared, best=best)


def _held_together(chosen: Chosen, *, settings: Tract, log: gpd.GeoDataFrame | None) -> pd.DataFrame:
    """Visits held to the label with all that other rigs put on the same ground."""
    if not len(chosen.done):
        return pd.DataFrame()
    done = chosen.done.set_index("job").sort_index()  # in the order of ``shared_spots``: slivers depend on it
    own = chosen.jobs.loc[done.index].assign(rig=done["rig"], trip_min=done["trip_min"])
    return held_to_label(own.assign(cover_pct=own["own_cover_pct"]), settings=settings, log=log, together=True)


def _both(spots: pd.DataFrame, more: pd.DataFrame) -> pd.DataFrame:
    """Spots and more of them, numbered on."""
    return pd.concat([spots, more.assign(spot=more["spot"] + spots["spot"].nunique())], ignore_index=True)


def _curve(chosen: Chosen, *, settings: Tract, starts: Sequence[dt.date]) -> pd.DataFrame:
    """What each further step of money buys; nothing where the money of works is not known."""
    options, work = chosen.options, chosen.takes.work
    if not len(options):
        return pd.DataFrame()
    priced = work["money"].notna().groupby([work["unit"], work["rig"]]).all()
    known = [bool(priced[pair]) for pair in zip(options["job"], options["rig"], strict=True)]
    left = set(options.loc[known, "job"])
    chained = options["after"].map(lambda unit: pd.isna(unit) or unit in left)
    options = options[np.asarray(known) & chained.to_numpy(bool)]
    if not len(options):
        return pd.DataFrame()
    return money_curve(
        options, rigs=rigs_table(settings), weeks=len(starts), settings=sooner(settings.schedule), shared=chosen.shared
    )
