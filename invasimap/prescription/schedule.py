"""Which jobs, by which rig, in which week: the most value within money, hours, windows and waits; how near the best."""

from __future__ import annotations

import math
import time
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from invasimap.core.errors import Fault, InputError
from invasimap.core.schedule_settings import ScheduleSection
from invasimap.prescription.greedy import NOT_PLANNED, Answer, Planner, worth
from invasimap.prescription.schedule_model import Floats, Problem, lay_out
from invasimap.prescription.schedule_reasons import left_over, pruned
from invasimap.prescription.schedule_search import EXACT, Found, search
from invasimap.prescription.schedule_table import checked_options, checked_rigs, checked_shared

_NODES = 100  # of the search for the next best choice
_CARRIED = ("zone", "stand")  # columns of the options that stay with a job


@dataclass(frozen=True, kw_only=True)
class Schedule:
    """What is done when, and the proof of how good that is.

    ``table`` has a row a job and week: ``job, rig, week, hours, money, value`` and what the options say of zone and
    stand; a job over several weeks has its money and value shared out by hours. ``unplanned`` is ``job, reason``.
    ``bound`` is what no schedule can exceed; ``gap_pct`` how far, at most, ``value`` falls short of it.
    ``method`` says so in words, and ``greedy_value`` is what the plain way came to.
    """

    table: pd.DataFrame
    unplanned: pd.DataFrame
    value: float
    money: float
    bound: float
    greedy_value: float
    method: str

    @property
    def gap_pct(self) -> float:
        """By how much the best could be better at most, in percent of the bound."""
        return float(100 * max(self.bound - self.value, 0.0) / self.bound) if self.bound > 0 else 0.0


def schedule(
    options: pd.DataFrame,
    *,
    rigs: pd.DataFrame,
    weeks: int,
    budget: float | None = None,
    settings: ScheduleSection | None = None,
    shared: pd.DataFrame | None = None,
) -> Schedule:
    """The schedule worth most.

    Each job is done at most once, by one rig, within its window; in one week, unless it is longer than a week's hours
    of its rig (then over following weeks, the rest in the last) or ``split_jobs`` is set (then also over two, parted at
    a quarter, half or three quarters). Visits that follow each other (``after``) are all done, with their waits from
    the earlier one's last week to the later one's first, or none is: only all together are worth anything. The same
    input gives the same schedule, unless the time limit ends the search.

    Parameters
    ----------
    options
        A row a job and rig that may do it: ``job, rig, hours, money, value, first_week, last_week`` (weeks from 0, both
        in the window), ``after`` (a job or empty), ``wait_min_weeks``, ``wait_max_weeks`` (empty: no greatest wait);
        ``zone`` and ``stand`` are carried. A job that no rig can do has one row with an empty rig.
    rigs
        ``rig, hours_per_week, hours_in_all`` (empty: not limited).
    weeks
        How many weeks the schedule has.
    budget
        Money; None for no limit.
    shared
        What may not all be done: a row a spot, job and rig, ``spot, job, rig, share, limit`` (in words). The shares of
        what is done on a spot come to 1 at most (``shared_ground.shared_spots``).

    Raises
    ------
    InputError
        With every fault of the tables (see ``checked_options``, ``checked_rigs``, ``checked_shared``), or a budget or
        weeks below zero.

    Examples
    --------
    >>> options = pd.DataFrame({"job": ["a", "b"], "rig": "pair", "hours": [20.0, 25], "money": [900.0, 700],
    ...     "value": [3.0, 2], "first_week": 0, "last_week": [0, 1], "after": "", "wait_min_weeks": None,
    ...     "wait_max_weeks": None})
    >>> rigs = pd.DataFrame({"rig": ["pair"], "hours_per_week": [30.0], "hours_in_all": [None]})
    >>> best = schedule(options, rigs=rigs, weeks=2, budget=2000)
    >>> best.table[["job", "week"]].values.tolist(), best.method
    ([['a', 0], ['b', 1]], 'proven optimal')
    """
    settings = ScheduleSection() if settings is None else settings
    until = time.monotonic() + 60 * settings.time_limit_min
    table, problem = problem_of(options, rigs=rigs, weeks=weeks, budget=budget, settings=settings, shared=shared)
    greedy, start = greedy_answers(problem)
    found = search(problem, start=start, gap=settings.gap_pct / 100, until=until)
    return _told(problem, table, found, greedy=(worth(problem, greedy), worth(problem, start)))


def runner_up(
    options: pd.DataFrame,
    best: Schedule,
    *,
    rigs: pd.DataFrame,
    weeks: int,
    budget: float | None = None,
    settings: ScheduleSection | None = None,
    shared: pd.DataFrame | None = None,
) -> Schedule:
    """The best schedule that does not do the same set of jobs as ``best``, which came from the same input.

    Raises
    ------
    InputError
        As ``schedule``.
    """
    settings = ScheduleSection() if settings is None else settings
    until = time.monotonic() + 60 * settings.time_limit_min
    table, problem = problem_of(options, rigs=rigs, weeks=weeks, budget=budget, settings=settings, shared=shared)
    done = np.isin(np.array(problem.jobs, object), best.table["job"].unique().astype(object))
    others = _Others.of(problem, done, start=_without_least(problem, answer_of(problem, best.table)))
    found = search(
        problem,
        start=others.start,
        gap=settings.gap_pct / 100,
        until=until,
        extra=(others.row, others.limit),
        nodes=_NODES,
    )
    value = worth(problem, others.start)
    return _told(problem, table, found, greedy=(value, value))


@dataclass(frozen=True, kw_only=True)
class _Others:
    """What keeps a search from one set of jobs: a row over the ways, its limit, and an answer to start from."""

    row: Floats
    limit: float
    start: Answer

    @classmethod
    def of(cls, problem: Problem, done: Any, *, start: Answer) -> _Others:
        first = problem.chain[problem.ways.job] == problem.ways.job
        row = np.where(first, np.where(done[problem.ways.job], 1.0, -1.0), 0.0)
        firsts = np.flatnonzero(done & (problem.chain == np.arange(len(done))))
        return cls(row=row, limit=float(len(firsts) - 1), start=start)


def answer_of(problem: Problem, table: pd.DataFrame) -> Answer:
    """The ways of a schedule's rows."""
    answer = np.full(len(problem.jobs), NOT_PLANNED, np.intp)
    number = {job: at for at, job in enumerate(problem.jobs)}
    ways, starts = problem.ways, problem.starts
    for job, rows in table.groupby("job", sort=False):
        at = number[job]
        own = np.arange(starts[at], starts[at + 1])
        own = own[(ways.rig[own] == problem.rigs.index(rows["rig"].iloc[0])) & (ways.first[own] == rows["week"].min())]
        own = own[ways.last[own] == rows["week"].max()]
        hours = rows.sort_values("week")["hours"].to_numpy(float)
        answer[at] = min(own, key=lambda way: abs(ways.hours[[way]].data - hours).sum())
    return answer


def _without_least(problem: Problem, answer: Answer) -> Answer:
    """An answer without the chain that is worth least in it: another set of jobs, within every limit."""
    planned = answer != NOT_PLANNED
    if not planned.any():
        return answer
    chain = problem.chain[planned]
    value = np.bincount(chain, weights=problem.ways.value[answer[planned]], minlength=len(answer))
    least = min(np.unique(chain), key=lambda first: value[first])
    return np.where(problem.chain == least, NOT_PLANNED, answer)


def problem_of(
    options: pd.DataFrame, *, rigs: pd.DataFrame, weeks: int, budget: float | None, settings: ScheduleSection,
    shared: pd.DataFrame | None = None,
) -> tuple[pd.DataFrame, Problem]:  # fmt: skip
    """The checked options and the problem they make.

    Raises
    ------
    InputError
        As ``schedule``.
    """
    if weeks < 0 or (budget is not None and not budget >= 0):
        raise InputError(Fault(where="schedule", what="weeks or budget below zero", mend="give 0 or more"))
    rig_table = checked_rigs(rigs)
    table = checked_options(options, rigs=list(rig_table.index))
    money = np.inf if budget is None else float(budget)
    problem = lay_out(
        table, rigs=rig_table, weeks=weeks, budget=money, split_jobs=settings.split_jobs,
        shared=checked_shared(shared),
    )  # fmt: skip
    return table, pruned(problem, table)


def greedy_answers(problem: Problem) -> tuple[Answer, Answer]:
    """The plain greedy answer, and the same with what exchanging single jobs makes of it."""
    planner = Planner(problem)
    planner.fill()
    plain = planner.answer.copy()
    planner.improve()
    return plain, planner.answer if worth(problem, planner.answer) >= worth(problem, plain) else plain


def method_in_words(value: float, found: Found, *, start_value: float) -> str:
    """How good an answer is, in words; percentages are rounded up."""
    short = 100 * (found.bound - value) / found.bound if found.bound > 0 else 0.0
    if short <= 100 * EXACT:
        return "proven optimal"
    if not found.time_ran_out:
        return f"within {_up(short)} %"
    best = "greedy: time ran out" if value <= start_value else "time ran out"
    return f"{best}, within {_up(short)} %"


def _up(percent: float) -> str:
    return f"{math.ceil(percent * 100 - 1e-9) / 100:g}"


def _told(problem: Problem, options: pd.DataFrame, found: Found, *, greedy: tuple[float, float]) -> Schedule:
    """A found answer as a schedule."""
    planner = Planner(problem)
    planner.set_to(found.answer)
    value = worth(problem, found.answer)
    reasons = left_over(problem, planner.room, found.answer)
    table = _rows(problem, options, found.answer)
    unplanned = pd.DataFrame({"job": [problem.jobs[job] for job in reasons], "reason": list(reasons.values())})
    return Schedule(
        table=table, unplanned=unplanned, value=value, money=float(table["money"].sum()), bound=float(found.bound),
        greedy_value=greedy[0], method=method_in_words(value, found, start_value=greedy[1]),
    )  # fmt: skip


def _rows(problem: Problem, options: pd.DataFrame, answer: Answer) -> pd.DataFrame:
    """A row a planned job and week, by week, rig and job as they came."""
    ways = problem.ways
    planned = np.flatnonzero(answer != NOT_PLANNED)
    hours = ways.hours[answer[planned]]
    lengths = np.diff(hours.indptr)
    way = np.repeat(answer[planned], lengths)
    whole = np.repeat(np.asarray(hours.sum(axis=1)).ravel(), lengths)
    share = np.divide(hours.data, whole, out=np.ones(len(way)), where=whole > 0)
    rig, week = np.divmod(hours.indices, problem.weeks) if len(way) else (hours.indices, hours.indices)
    source = options.iloc[ways.option[way]].reset_index(drop=True)
    rows = source[["job", *(name for name in _CARRIED if name in source), "rig"]].assign(
        week=week.astype(np.int64), hours=hours.data, money=ways.money[way] * share, value=ways.value[way] * share
    )
    order = np.lexsort((ways.job[way], rig, week))
    return rows.iloc[order].reset_index(drop=True)


def with_budget(problem: Problem, budget: float) -> Problem:
    """The same problem, its ways and their numbers, with another budget."""
    return replace(problem, budget=budget)
