"""What each further step of money buys: a curve from few solves, never falling, and between proven limits."""

from __future__ import annotations

import time

import numpy as np
import pandas as pd

from invasimap.core.schedule_settings import ScheduleSection
from invasimap.prescription.greedy import NOT_PLANNED, Answer, Planner, worth
from invasimap.prescription.schedule import greedy_answers, problem_of, with_budget
from invasimap.prescription.schedule_model import Floats, Problem
from invasimap.prescription.schedule_search import Found, plain_bound, search

_MOST_STEPS = 10_000
_NODES = 100  # of the search at each budget


def money_curve(
    options: pd.DataFrame, *, rigs: pd.DataFrame, weeks: int, settings: ScheduleSection | None = None,
    shared: pd.DataFrame | None = None,
) -> pd.DataFrame:  # fmt: skip
    """The value that money buys, from nothing to all that hours and windows allow, step by step.

    At most ``curve_solves`` budgets are solved, evenly spread, each within the time limit; at the others stands the
    best schedule known for as much or less money, filled up greedily. A linear programme solved at one budget bounds
    the value at every other (its price of money is the slope of a line above all of them), so each row has a bound.

    Parameters
    ----------
    options, rigs, weeks, settings, shared
        As of ``schedule``; steps are ``settings.step``, made larger where there would be more than 10,000.

    Returns
    -------
    pandas.DataFrame
        ``money_limit, money`` (what is really spent), ``value, further_value`` (over the row before), ``bound,
        envelope`` (the least concave curve above the values: its slopes fall, single steps need not), ``solved``.

    Raises
    ------
    InputError
        As ``schedule``.
    """
    settings = ScheduleSection() if settings is None else settings
    _, problem = problem_of(options, rigs=rigs, weeks=weeks, budget=None, settings=settings, shared=shared)
    whole = _solved(problem, greedy_answers(problem)[1], settings)
    limits = _limits(_spent(problem, whole.answer), settings.step)
    at = _spread(len(limits), settings.curve_solves)
    answers: list[Answer] = []
    lines = [_line(limits, limits[-1], whole.bound, 0.0)]
    answer = np.full(len(problem.jobs), NOT_PLANNED, np.intp)
    for number, limit in enumerate(limits):
        at_limit = with_budget(problem, limit)
        answer = _start(at_limit, answer)
        if number == len(limits) - 1 and worth(problem, whole.answer) >= worth(problem, answer):
            answer = whole.answer
        if number in at[1:-1]:
            found = _solved(at_limit, answer, settings)
            answer = found.answer
            lines += [
                _line(limits, limit, found.linear_bound, found.money_price),
                _line(limits, limit, found.bound, np.inf),
            ]
        answers.append(answer)
    return _table(problem, limits, answers, lines, solved=at)


def _solved(problem: Problem, start: Answer, settings: ScheduleSection) -> Found:
    until = time.monotonic() + 60 * settings.time_limit_min
    return search(problem, start=start, gap=settings.gap_pct / 100, until=until, nodes=_NODES)


def _spent(problem: Problem, answer: Answer) -> float:
    return float(problem.ways.money[answer[answer != NOT_PLANNED]].sum())


def _limits(most: float, step: float) -> Floats:
    """Budgets from 0 in equal steps to at least the most that is spent."""
    step *= max(1, int(np.ceil(most / step / _MOST_STEPS)))
    return np.arange(int(np.ceil(most / step - 1e-9)) + 1).astype(float) * step


def _spread(count: int, solves: int) -> list[int]:
    """The numbers of the budgets that are solved: first and last (nothing, and everything) and evenly between."""
    return np.unique(np.linspace(0, count - 1, min(count, solves + 1)).round().astype(np.intp)).tolist()


def _start(problem: Problem, before: Answer) -> Answer:
    """The better of what was known for less money, filled up, and the greedy answer."""
    planner = Planner(problem)
    planner.set_to(before)
    planner.improve()
    greedy = greedy_answers(problem)[1]
    known = [before, planner.answer, greedy]
    return max(known, key=lambda answer: worth(problem, answer))


def _table(
    problem: Problem, limits: Floats, answers: list[Answer], lines: list[Floats], *, solved: list[int]
) -> pd.DataFrame:
    """The curve as a table; every bound is the least of all lines there."""
    value = np.array([worth(problem, answer) for answer in answers])
    plain = np.array([plain_bound(with_budget(problem, limit)) for limit in limits])
    bound = np.maximum(np.minimum.reduce([*lines, plain]), value)
    numbers = np.arange(len(limits))
    return pd.DataFrame({
        "money_limit": limits, "money": [_spent(problem, answer) for answer in answers], "value": value,
        "further_value": np.diff(value, prepend=value[:1]), "bound": bound, "envelope": envelope(limits, value),
        "solved": np.isin(numbers, solved),
    })  # fmt: skip


def _line(limits: Floats, limit: float, bound: float, price: float) -> Floats:
    """What a bound at one budget and its price of money say of the others; without a price only of smaller ones."""
    if not np.isfinite(price):
        return np.where(limits <= limit, bound, np.inf)
    return bound + price * (limits - limit)


def envelope(x: Floats, y: Floats) -> Floats:
    """The least concave curve above points, at the same x, which rise (Andrew 1979, Inf. Process. Lett. 9:216-219).

    Examples
    --------
    >>> envelope(np.array([0.0, 1, 2, 3]), np.array([0.0, 1, 4, 5])).tolist()
    [0.0, 2.0, 4.0, 5.0]
    """
    hull: list[int] = []
    for at in range(len(x)):
        while len(hull) > 1 and _below(x, y, (hull[-2], hull[-1], at)):
            hull.pop()
        hull.append(at)
    return np.interp(x, x[hull], y[hull])


def _below(x: Floats, y: Floats, places: tuple[int, int, int]) -> bool:
    """Whether the middle one of three points lies on or below the line of the others."""
    a, b, c = places
    return bool((y[b] - y[a]) * (x[c] - x[a]) <= (y[c] - y[a]) * (x[b] - x[a]))
