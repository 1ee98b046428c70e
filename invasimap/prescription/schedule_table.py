"""The tables a schedule is made from, checked: every fault named, nothing unknown taken for zero."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from typing import Any, Final

import numpy as np
import pandas as pd

from invasimap.core.errors import Fault, InputError

COLUMNS: Final = ("job", "rig", "hours", "money", "value", "first_week", "last_week", "after", "wait_min_weeks", "wait_max_weeks")  # fmt: skip # noqa: E501
SHARED_COLUMNS: Final = ("spot", "job", "rig", "share", "limit")
RIG_COLUMNS: Final = ("rig", "hours_per_week", "hours_in_all")
_AMOUNTS: Final = ("hours", "money", "value")
_WHOLE: Final = ("first_week", "last_week", "wait_min_weeks", "wait_max_weeks")


def weeks_within(first: dt.date, last: dt.date, *, starts: Sequence[dt.date], days_per_week: int) -> tuple[int, int]:
    """The first and last week of a schedule that lie in a window with all their working days.

    Parameters
    ----------
    first, last
        The window's days, both in it.
    starts
        The day each week begins.
    days_per_week
        Working days, counted from the week's start.

    Returns
    -------
    tuple
        Numbers of weeks from 0; (0, -1) where no whole week fits.

    Examples
    --------
    >>> mondays = [dt.date(2026, 9, 7) + dt.timedelta(7 * week) for week in range(4)]
    >>> weeks_within(dt.date(2026, 9, 9), dt.date(2026, 9, 25), starts=mondays, days_per_week=5)
    (1, 2)
    """
    worked = dt.timedelta(days_per_week - 1)
    fitting = [week for week, start in enumerate(starts) if first <= start and start + worked <= last]
    return (fitting[0], fitting[-1]) if fitting else (0, -1)


def wait_weeks(least_days: int, most_days: int | None = None, *, days_per_week: int) -> tuple[int, int | None]:
    """A wait in days as whole weeks, from the earlier visit's week to the later one's, whichever days are worked.

    Least waits round up and greatest ones down, so that the first may come out above the second: no weeks keep both.

    Examples
    --------
    >>> wait_weeks(56, 70, days_per_week=5)  # 8 to 10 weeks of regrowth
    (9, 9)
    """
    spare = days_per_week - 1  # from the week's first to its last working day
    least = -(-(least_days + spare) // 7)
    return least, None if most_days is None else (most_days - spare) // 7


def checked_rigs(rigs: pd.DataFrame) -> pd.DataFrame:
    """The rigs by name: ``hours_per_week`` and ``hours_in_all`` (infinite where it is not limited).

    Raises
    ------
    InputError
        A column is missing, a rig comes twice, or its hours are unknown or below zero.
    """
    _columns_there(rigs, RIG_COLUMNS, "rigs")
    table = rigs.set_index("rig")[["hours_per_week", "hours_in_all"]].astype(float)
    table["hours_in_all"] = table["hours_in_all"].fillna(np.inf)
    faults = [_fault(f"rig {name}", "comes twice", "give each rig its own name")
              for name in table.index[table.index.duplicated()]]  # fmt: skip
    for name, row in table.iterrows():
        if not (0 <= row["hours_per_week"] < np.inf and row["hours_in_all"] >= 0):
            faults.append(_fault(f"rig {name}", "its hours are not known or below zero", "give hours_per_week from 0"))
    if faults:
        raise InputError(faults)
    return table


def checked_options(options: pd.DataFrame, *, rigs: Sequence[Any]) -> pd.DataFrame:
    """The options on a new index from 0, numbers as numbers, an empty ``after`` as None.

    Amounts that are not known stay NaN; the job is then not planned, with that as its reason.

    Raises
    ------
    InputError
        With every fault: missing columns, a job twice for one rig, a rig or an earlier job that is not there, rows of a
        job that disagree, amounts below zero, weeks that are no whole numbers, waits unknown, or visits in a ring.
    """
    _columns_there(options, COLUMNS, "options")
    table = options.reset_index(drop=True).copy()
    table["after"] = pd.Series([None if _empty(name) else name for name in table["after"]], dtype=object)
    table["rig"] = pd.Series([None if _empty(name) else name for name in table["rig"]], dtype=object)
    for column in (*_AMOUNTS, *_WHOLE):
        table[column] = pd.to_numeric(table[column]).astype(float)
    faults = [*_names(table, rigs), *_amounts(table), *_disagreements(table), *_rings(table)]
    if faults:
        raise InputError(faults)
    return table


def checked_shared(shared: pd.DataFrame | None) -> pd.DataFrame:
    """What may not all be done together; none where nothing was said.

    Raises
    ------
    InputError
        A column is missing, a job and rig stand twice on a spot, or a share is not known or not within 0 to 1.
    """
    if shared is None:
        return pd.DataFrame(columns=list(SHARED_COLUMNS))
    _columns_there(shared, SHARED_COLUMNS, "shared")
    faults = []
    wrong = shared.loc[~shared["share"].between(0, 1), "job"]
    if len(wrong):
        faults.append(_fault("shared", f"share not within 0 to 1: {_listed(wrong)}", "what is over alone is no option"))
    twice = shared.loc[shared.duplicated(["spot", "job", "rig"]), "job"]
    if len(twice):
        faults.append(
            _fault("shared", f"twice on one spot by one rig: {_listed(twice)}", "one row a spot, job and rig")
        )
    if faults:
        raise InputError(faults)
    return shared.reset_index(drop=True)


def _columns_there(table: pd.DataFrame, columns: Sequence[str], name: str) -> None:
    missing = [column for column in columns if column not in table.columns]
    if missing:
        raise InputError(_fault(name, f"no column {', '.join(missing)}", f"columns needed: {', '.join(columns)}"))


def _fault(where: str, what: str, mend: str) -> Fault:
    return Fault(where=where, what=what, mend=mend)


def _empty(name: Any) -> bool:
    return bool(pd.isna(name)) or name == ""


def _listed(names: pd.Series) -> str:
    shown = [str(name) for name in names.unique()]
    return ", ".join(shown[:5]) + (f" and {len(shown) - 5} more" if len(shown) > 5 else "")


def _names(table: pd.DataFrame, rigs: Sequence[Any]) -> Iterator[Fault]:
    """Names that are missing, come twice or are not known."""
    unknown = table.loc[table["rig"].notna() & ~table["rig"].isin(list(rigs)), "rig"]
    if len(unknown):
        yield _fault("options", f"no such rig: {_listed(unknown)}", f"rigs: {', '.join(map(str, rigs))}")
    if table["job"].map(_empty).any():
        yield _fault("options", "a row names no job", "name the job of every row")
    twice = table.loc[table.duplicated(["job", "rig"]), "job"]
    if len(twice):
        yield _fault("options", f"more than one row of a job and rig: {_listed(twice)}", "one row a job and rig")
    earlier = table.loc[table["after"].notna() & ~table["after"].isin(table["job"]), "after"]
    if len(earlier):
        yield _fault("options", f"after names no job: {_listed(earlier)}", "after names the job that comes earlier")


def _amounts(table: pd.DataFrame) -> Iterator[Fault]:
    """Amounts and weeks that cannot be."""
    for column in _AMOUNTS:
        wrong = table.loc[(table[column] < 0) | np.isinf(table[column]), "job"]
        if len(wrong):
            yield _fault("options", f"{column} below zero or endless: {_listed(wrong)}", "amounts are 0 or more")
    for column in _WHOLE:
        numbers = table[column]
        wrong = table.loc[numbers.notna() & (numbers != np.floor(numbers)), "job"]
        if len(wrong):
            yield _fault("options", f"{column} is no whole number: {_listed(wrong)}", "count weeks from 0")
    waits = table.loc[table["after"].notna() & ~(table["wait_min_weeks"] >= 0), "job"]
    if len(waits):
        mend = "give the least wait after the earlier visit in weeks, 0 or more"
        yield _fault("options", f"wait_min_weeks is not known: {_listed(waits)}", mend)


def _disagreements(table: pd.DataFrame) -> Iterator[Fault]:
    """Rows of one job that name different earlier jobs or waits."""
    for column in ("after", "wait_min_weeks", "wait_max_weeks"):
        several = table.groupby("job", sort=False)[column].nunique(dropna=False)
        wrong = several[several > 1]
        if len(wrong):
            names = _listed(pd.Series(wrong.index))
            yield _fault("options", f"rows of a job differ in {column}: {names}", "it is the same for every rig")


def _rings(table: pd.DataFrame) -> Iterator[Fault]:
    """Jobs that come after themselves."""
    after = dict(zip(table["job"], table["after"], strict=True))
    for job, earlier in after.items():
        seen, at = {job}, earlier
        while at is not None and at not in seen:
            seen.add(at)
            at = after.get(at)
        if at == job:
            yield _fault(f"job {job}", "comes after itself", "visits follow each other in one direction")
