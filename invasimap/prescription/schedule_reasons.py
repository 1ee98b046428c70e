"""Ways that nothing can come of are left out beforehand, and every job that is not planned has its reason in words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from invasimap.prescription.greedy import NOT_PLANNED, Answer, Room
from invasimap.prescription.schedule_model import SLACK, Mask, Problem

NO_MONEY = "the budget goes to what is worth more"
WORTH_MORE = "which is worth no less"
NO_HOURS = "the rigs' hours in its weeks go to what is worth more"


def pruned(problem: Problem, options: pd.DataFrame) -> Problem:
    """The problem without ways that break a limit or a wait by themselves, or whose chain lacks a visit or a value."""
    reasons: dict[int, str] = {}
    keep = np.ones(len(problem.ways), bool)
    _note(problem, keep, reasons, lambda job: _without_ways(problem, options, job))
    keep &= _within_money(problem)
    _note(problem, keep, reasons, lambda job: _dear(problem, job))
    keep &= _within_hours(problem)
    _note(problem, keep, reasons, lambda _job: "longer than every rig that could do it has hours in all")
    keep = _within_waits(problem, keep)
    _note(problem, keep, reasons, lambda job: _no_wait(problem, job))
    hopeless = {problem.chain[job] for job in reasons}
    reasons |= {job: said for job, said in _without_value(problem).items() if problem.chain[job] not in hopeless}
    lost = {int(problem.chain[job]): job for job in sorted(reasons, reverse=True)}
    for job in range(len(problem.jobs)):
        cause = lost.get(int(problem.chain[job]))
        if cause is not None and job not in reasons:
            reasons[job] = f"its other visit {problem.jobs[cause]} cannot be planned: {reasons[cause]}"
    keep &= ~np.isin(problem.chain[problem.ways.job], list(lost))
    return replace(problem, ways=problem.ways.only(keep), reasons=reasons)


def left_over(problem: Problem, room: Room, answer: Answer) -> dict[int, str]:
    """Why each job that could be planned by itself is not: what is done takes its spot, or the money, or the hours."""
    reasons = dict(problem.reasons)
    starts = problem.starts
    for job in np.flatnonzero(answer == NOT_PLANNED).tolist():
        if job in reasons:
            continue
        chain = np.flatnonzero(problem.chain == problem.chain[job])
        least = sum(problem.ways.money[starts[one] : starts[one + 1]].min() for one in chain)
        dear = least > room.money + SLACK * max(problem.budget, 1.0)
        ways = [range(starts[one], starts[one + 1]) for one in chain]
        hours = all(any(room.has_hours(way) for way in own) for own in ways)
        spots = [spot for own in ways for spot in _full(room, own)]
        said = [NO_MONEY] if dear else []
        said += [NO_HOURS] if not hours or not (dear or spots) else []
        if spots:  # alone in the way, what is done there could be left for it; else others gain by what it would take
            over = _over_limit(problem, answer, spots)
            said = [over, *said] if said else [f"{over}, {WORTH_MORE}"]
        reasons[job] = ", and ".join(said)
    return {job: reasons[job] for job in sorted(reasons)}


def _full(room: Room, ways: range) -> list[int]:
    """The spots that hold back every way of a job; those of the first way where each has its own."""
    held = [room.full_spots(way) for way in ways]
    return held[0] if held and all(held) else []


def _over_limit(problem: Problem, answer: Answer, spots: list[int]) -> str:
    """Over which limit a job would be, and with what."""
    done = np.flatnonzero(answer != NOT_PLANNED)
    on_it = problem.ways.shares[answer[done]][:, spots].sum(axis=1) > 0
    others = [f"other work {problem.jobs[job]}" for job in done[on_it]]
    limits = " and ".join(dict.fromkeys(problem.spots[spot] for spot in spots))
    return f"over the label's limit of {limits} on ground shared with {' and '.join(others)}"


def _note(problem: Problem, keep: Mask, reasons: dict[int, str], words: Any) -> None:
    """Give a reason to each job that has no way left, unless its chain has one: without a visit the others fail too."""
    left = np.bincount(problem.ways.job[keep], minlength=len(problem.jobs))
    hopeless = {problem.chain[job] for job in reasons}
    for job in np.flatnonzero(left == 0).tolist():
        if problem.chain[job] not in hopeless:
            reasons[job] = words(job)


def _without_ways(problem: Problem, options: pd.DataFrame, job: int) -> str:
    """Why a job never had a way."""
    rows = options[options["job"] == problem.jobs[job]]
    return next(_faults_of(problem, rows), "longer than its window gives the rigs that could do it")


def _faults_of(problem: Problem, rows: pd.DataFrame) -> Iterator[str]:
    able = rows[rows["rig"].notna()]
    if able.empty:
        yield "no rig can do it"
        return
    known = able[["hours", "money", "value"]].notna().all(axis=1)
    if not known.any():
        unknown = [name for name in ("hours", "money", "value") if able[name].isna().any()]
        verb = "is" if unknown in (["money"], ["value"]) else "are"
        mend = ": type the prices, or plan without [budget]" if "money" in unknown else ""
        yield f"its {' and '.join(unknown)} {verb} not known{mend}"
        return
    able = able[known]
    if not (able["first_week"] <= able["last_week"]).any():
        yield "no window: no week in which its technique fits"
    elif not ((able["first_week"] < problem.weeks) & (able["last_week"] >= 0)).any():
        yield "its window lies outside the weeks of the schedule"
    elif not problem.week_hours.reshape(len(problem.rigs), problem.weeks)[_places(problem, able)].any():
        yield "the rigs that could do it have no hours"


def _places(problem: Problem, rows: pd.DataFrame) -> list[int]:
    return [problem.rigs.index(name) for name in rows["rig"]]


def _within_money(problem: Problem) -> Mask:
    """Ways whose chain can be paid with the cheapest ways of its other visits."""
    ways, chain = problem.ways, problem.chain
    cheapest = np.full(len(problem.jobs), np.inf)
    np.minimum.at(cheapest, ways.job, ways.money)
    whole = np.bincount(chain, weights=cheapest, minlength=len(chain))[chain]
    return whole[ways.job] - cheapest[ways.job] + ways.money <= problem.budget * (1 + SLACK)


def _dear(problem: Problem, job: int) -> str:
    visits = int((problem.chain == problem.chain[job]).sum())
    return "costs more than the budget" if visits == 1 else f"its {visits} visits cost more than the budget"


def _within_hours(problem: Problem) -> Mask:
    ways = problem.ways
    return ways.hours.sum(axis=1) <= problem.rig_hours[ways.rig] * (1 + SLACK)


def _within_waits(problem: Problem, keep: Mask) -> Mask:
    """Ways that leave a way with its wait to every visit before and after, until no more falls away."""
    keep = keep.copy()
    ways, starts = problem.ways, problem.starts
    while True:
        before = keep.sum()
        for job in problem.later:
            earlier = slice(*starts[problem.after[job] : problem.after[job] + 2])
            later = slice(*starts[job : job + 2])
            least, most = problem.wait[job]
            gaps = ways.first[later][None, :] - ways.last[earlier][:, None]
            fits = (gaps >= least) & (gaps <= most) & keep[earlier][:, None] & keep[later][None, :]
            keep[earlier] &= fits.any(axis=1)
            keep[later] &= fits.any(axis=0)
        if keep.sum() == before:
            return keep


def _no_wait(problem: Problem, job: int) -> str:
    other = problem.after[job] if problem.after[job] >= 0 else next(iter(np.flatnonzero(problem.after == job)), job)
    return f"no weeks keep the wait between it and {problem.jobs[other]}"


def _without_value(problem: Problem) -> dict[int, str]:
    """Jobs of chains that are worth nothing whichever rig does them."""
    worth = np.zeros(len(problem.jobs))
    np.maximum.at(worth, problem.ways.job, problem.ways.value)
    whole = np.bincount(problem.chain, weights=worth, minlength=len(worth))[problem.chain]
    has_ways = np.bincount(problem.ways.job, minlength=len(worth)) > 0
    return {int(job): "its value is zero by the weights" for job in np.flatnonzero((whole <= 0) & has_ways)}
