"""The search for the best answer to a problem, and the proof of how near it is.

The linear programme (any share of a way) bounds every answer from above; few ways come out in shares, because only
hours a week, hours in all and money bind jobs together. What came out whole is kept and the rest is solved exactly;
then, if the gap is still too wide, all ways that could be part of anything better (the others' reduced costs prove that
they could not: Dantzig, Fulkerson and Johnson 1954, Operations Research 2:393-410) go to scipy's HiGHS as a
mixed-integer programme. The bound is reckoned here from the prices of the rows, so that it holds however exact the
solver was.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import sparse
from scipy.optimize import linprog

from invasimap.prescription.greedy import NOT_PLANNED, Answer, Planner, worth
from invasimap.prescription.schedule_model import Floats, Mask, Problem, Rows, rows_of
from invasimap.prescription.solver import Programme, solve

EXACT = 1e-6  # a gap that only rounding makes
_SMALL = 4_000  # ways that are solved at once
_DIVE_WAYS = 6_000
MOST_NODES = 1_000_000
_SCALE = 1e4  # what the bound is brought to, so that the solver's fixed tolerances mean the same everywhere


@dataclass(frozen=True, kw_only=True)
class Found:
    """The best answer found, what no answer can exceed, and if time ran out.

    ``linear_bound`` is the linear programme's, to which each further unit of money adds ``money_price`` at most; both
    are infinite where it was not solved.
    """

    answer: Answer
    bound: float
    time_ran_out: bool
    linear_bound: float = np.inf
    money_price: float = np.inf


@dataclass(frozen=True, kw_only=True)
class Relaxed:
    """The linear programme's answer: shares of ways, the bound, and how much each way would add to it (or take off)."""

    shares: Floats
    bound: float
    adds: Floats
    money_price: float


def plain_bound(problem: Problem) -> float:
    """A bound without a solver: all that could be done, or the best use of the money alone, or of all hours alone."""
    ways, jobs, chain = problem.ways, len(problem.jobs), problem.chain
    if not len(ways):
        return 0.0
    value, money, hours = np.zeros(jobs), np.full(jobs, np.inf), np.full(jobs, np.inf)
    np.maximum.at(value, ways.job, ways.value)
    np.minimum.at(money, ways.job, ways.money)
    np.minimum.at(hours, ways.job, ways.hours.sum(axis=1))
    value, money, hours = (
        np.bincount(chain, weights=part, minlength=jobs).astype(float) for part in (value, money, hours)
    )
    there = np.isfinite(money) & (value > 0)
    at_hand = problem.season_hours.sum()
    by_money, by_hours = (
        _best_share(value[there], cost[there], limit) for cost, limit in ((money, problem.budget), (hours, at_hand))
    )
    return min(by_money, by_hours)


def _best_share(value: Floats, cost: Floats, limit: float) -> float:
    """The most value for a limit on one cost, the last thing in part (Dantzig 1957, Operations Research 5:266-288)."""
    order = np.argsort(-value / np.maximum(cost, 1e-300), kind="stable")
    spent = np.cumsum(cost[order])
    part = np.clip(1 - (spent - limit) / np.maximum(cost[order], 1e-300), 0, 1)
    return float((value[order] * part).sum())


def relaxed(rows: Rows, *, seconds: float) -> Relaxed | None:
    """The linear programme; None where time ran out.

    For any prices y >= 0 of the rows (free for equal ones) no answer exceeds y.b + sum(max(0, value - y.A)).
    """
    scale = _SCALE / max(rows.value.sum(), 1e-300)
    equal_rows: Any = {"A_eq": rows.equal, "b_eq": np.zeros(rows.equal.shape[0])} if rows.equal.shape[0] else {}
    given: Any = {"A_ub": rows.at_most, "b_ub": rows.limits, **equal_rows}
    options: Any = {"time_limit": max(seconds, 0.01)}
    result = linprog(-rows.value * scale, bounds=(0, 1), method="highs-ds", options=options, **given)
    if result.status != 0:
        return None
    price = np.maximum(-result.ineqlin.marginals, 0.0) / scale
    equal = -result.eqlin.marginals / scale if rows.equal.shape[0] else np.zeros(0)
    adds = rows.value - rows.at_most.T @ price - rows.equal.T @ equal
    bound = float(price @ rows.limits + np.maximum(adds, 0).sum())
    money_price = 0.0 if rows.budget_row is None else float(price[rows.budget_row]) / rows.budget_unit
    return Relaxed(shares=np.asarray(result.x, float), bound=bound, adds=adds, money_price=money_price)


def search(
    problem: Problem, *, start: Answer, gap: float, until: float, extra: tuple[Floats, float] | None = None,
    nodes: int = MOST_NODES,
) -> Found:  # fmt: skip
    """The best answer to be found until a moment of ``time.monotonic``, or nearer to the best than ``gap`` (a share).

    Parameters
    ----------
    start
        An answer that keeps every limit; what is given back is never worth less.
    extra
        One more row over the ways and its limit, which ``start`` keeps.
    nodes
        Of the solver's tree, which end the search alike on every machine.
    """
    bound = plain_bound(problem)
    if not len(problem.ways) or _near(worth(problem, start), bound, gap):
        return Found(answer=start, bound=max(bound, worth(problem, start)), time_ran_out=False)
    rows = rows_of(problem, extra=extra)
    linear = relaxed(rows, seconds=until - time.monotonic())
    if linear is None:
        return Found(answer=start, bound=max(bound, worth(problem, start)), time_ran_out=True)
    answer, bound = start, min(bound, linear.bound)
    if len(problem.ways) > _SMALL and not _near(worth(problem, answer), bound, gap):
        answer = _dive(problem, rows, linear, answer, (gap, until, nodes), improve=extra is None)
    late = False
    if not _near(worth(problem, answer), bound, gap):
        answer, bound = _rest(problem, rows, linear, answer, (gap, until, bound, nodes), improve=extra is None)
        late = not _near(worth(problem, answer), bound, gap)
    return Found(
        answer=answer, bound=max(bound, worth(problem, answer)), time_ran_out=late,
        linear_bound=linear.bound, money_price=linear.money_price,
    )  # fmt: skip


def _near(value: float, bound: float, gap: float) -> bool:
    return bound - value <= max(gap, EXACT) * bound


def _dive(
    problem: Problem, rows: Rows, linear: Relaxed, answer: Answer, aim: tuple[float, float, int], *, improve: bool
) -> Answer:
    """Keep the chains that came out whole, solve the others' likeliest ways exactly; the better answer."""
    gap, until, nodes = aim
    chain = problem.chain[problem.ways.job]
    partly = np.unique(chain[(linear.shares > EXACT) & (linear.shares < 1 - EXACT)])
    fixed = (linear.shares >= 1 - EXACT) & ~np.isin(chain, partly)
    free = np.flatnonzero(~np.isin(chain, chain[fixed]))
    likely = free[np.argsort(-linear.adds[free], kind="stable")[:_DIVE_WAYS]]
    keep = linear.shares > EXACT
    keep[likely] = True
    keep &= ~fixed
    left = max(linear.bound - rows.value[fixed].sum(), EXACT)
    seconds = (until - time.monotonic()) / 3
    chosen, _ = _solved(rows, keep, fixed, gap=max(gap / 2, 1e-5) * linear.bound / left, aim=(seconds, nodes))
    return _better(problem, answer, chosen, improve=improve)


def _rest(
    problem: Problem,
    rows: Rows,
    linear: Relaxed,
    answer: Answer,
    aim: tuple[float, float, float, int],
    *,
    improve: bool,
) -> tuple[Answer, float]:
    """Solve what may hold anything better; the better answer and the new bound."""
    gap, until, bound, nodes = aim
    value = worth(problem, answer)
    keep = linear.bound + np.minimum(linear.adds, 0) > value
    none = np.zeros(len(keep), bool)
    chosen, upper = _solved(rows, keep, none, gap=max(gap - EXACT, 0.0), aim=(until - time.monotonic(), nodes))
    better = _better(problem, answer, chosen, improve=improve)
    return better, bound if upper is None else min(bound, max(upper, value, worth(problem, better)))


def _solved(
    rows: Rows, keep: Mask, fixed: Mask, *, gap: float, aim: tuple[float, int]
) -> tuple[Mask | None, float | None]:
    """The ways chosen of some while others are fixed, and the bound on that; None where there was no time."""
    seconds, nodes = aim
    if seconds <= 0:
        return None, None
    if not keep.any():
        return fixed, float(rows.value[fixed].sum())
    scale = _SCALE / max(rows.value[keep].sum(), 1e-300)
    held = np.asarray(rows.at_most[:, np.flatnonzero(fixed)].sum(axis=1)).ravel()
    programme = Programme(
        value=rows.value[keep] * scale, at_most=_columns(rows.at_most, keep), limits=rows.limits - held,
        equal=_columns(rows.equal, keep),
    )  # fmt: skip
    shares, upper = solve(programme, gap=min(gap, 1.0), seconds=seconds, nodes=nodes)
    base = float(rows.value[fixed].sum())
    upper = None if upper is None else base + upper / scale
    if shares is None:
        return None, upper
    chosen = fixed.copy()
    chosen[np.flatnonzero(keep)[shares > 0.5]] = True
    return chosen, upper


def _columns(matrix: sparse.csc_array, keep: Mask) -> sparse.csc_array:
    return sparse.csc_array(matrix[:, np.flatnonzero(keep)])


def _better(problem: Problem, answer: Answer, chosen: Mask | None, *, improve: bool) -> Answer:
    """The answer that is worth more, once the new one is placed within every limit exactly."""
    if chosen is None:
        return answer
    raw = np.full(len(problem.jobs), NOT_PLANNED, np.intp)
    raw[problem.ways.job[chosen]] = np.flatnonzero(chosen)
    planner = Planner(problem)
    planner.set_to(raw)
    if improve:
        planner.improve()
    return planner.answer if worth(problem, planner.answer) > worth(problem, answer) else answer
