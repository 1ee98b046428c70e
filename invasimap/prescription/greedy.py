"""The plain way to a schedule: chains by what they are worth for what they take, each where it first fits.

It needs no solver, so there is always an answer; what the solver finds is never taken where it is worth less.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise

import numpy as np
from scipy import sparse

from invasimap.prescription.schedule_model import SLACK, Floats, Ints, Problem

NOT_PLANNED = -1
_SLACK_SPOT = 1e-12  # sums of shares alone: the slack of a limit is in the shares
_MOST_TRIALS = 20_000  # ways tried for one chain
Answer = Ints  # a way a job, or NOT_PLANNED


class Room:
    """What is left of hours, money and spots while ways are taken and given back; lists: single numbers are quicker."""

    def __init__(self, problem: Problem) -> None:
        ways = problem.ways
        self._week = problem.week_hours.tolist()
        self._all = problem.rig_hours.tolist()
        self.money = float(problem.budget)
        self._slack_week = [SLACK * max(hours, 1.0) for hours in self._week]
        self._slack_all = SLACK * max([1.0, *problem.rig_hours[np.isfinite(problem.rig_hours)]])
        self._slack_money = SLACK * max(self.money, 1.0) if np.isfinite(self.money) else 0.0
        self._spot = [1.0] * len(problem.spots)
        self._taken, self._shares = _by_way(ways.hours), _by_way(ways.shares)
        self._sum = [sum(part[1] for part in taken) for taken in self._taken]
        self._rig, self._money = ways.rig.tolist(), ways.money.tolist()

    def has_hours(self, way: int) -> bool:
        """Whether its rig has the hours."""
        if self._sum[way] > self._all[self._rig[way]] + self._slack_all:
            return False
        return all(hours <= self._week[place] + self._slack_week[place] for place, hours in self._taken[way])

    def full_spots(self, way: int) -> list[int]:
        """The spots that it would pass the limit of, with what is taken."""
        return [spot for spot, share in self._shares[way] if share > self._spot[spot] + _SLACK_SPOT]

    def fits(self, way: int) -> bool:
        """Whether hours and money are left for it, and its share of every spot."""
        return self._money[way] <= self.money + self._slack_money and self.has_hours(way) and not self.full_spots(way)

    def take(self, way: int, sign: int = 1) -> None:
        """Take a way's hours and money, or with -1 give them back."""
        for place, hours in self._taken[way]:
            self._week[place] -= sign * hours
        for spot, share in self._shares[way]:
            self._spot[spot] -= sign * share
        self._all[self._rig[way]] -= sign * self._sum[way]
        self.money -= sign * self._money[way]


def _by_way(taken: sparse.csr_array) -> list[tuple[tuple[int, float], ...]]:
    """Of each way what it takes of which place."""
    pointers, places, amounts = taken.indptr.tolist(), taken.indices.tolist(), taken.data.tolist()
    return [tuple(zip(places[a:b], amounts[a:b], strict=True)) for a, b in pairwise(pointers)]


class Planner:
    """Places chains of a problem one by one; ``answer`` holds each job's way."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.room = Room(problem)
        self.answer = np.full(len(problem.jobs), NOT_PLANNED, np.intp)
        self.prices = prices(problem)
        self._visits = _visits(problem)
        self._order = self._ways_in_order()
        self.chains = self._chains_in_order()

    def _ways_in_order(self) -> list[list[int]]:
        """Each job's ways, the most worth for its price first, then the cheapest, the earliest, the first rig."""
        ways, starts = self.problem.ways, self.problem.starts
        worth = ways.value / np.maximum(self.prices, 1e-12)
        order = np.lexsort((ways.rig, ways.first, ways.last, ways.money, self.prices, -worth, ways.job))
        return [order[starts[job] : starts[job + 1]].tolist() for job in range(len(self.problem.jobs))]

    def _chains_in_order(self) -> list[int]:
        """First jobs of chains that have ways, the most worth for their price first; equals as they came."""
        ways, count = self.problem.ways, len(self.problem.jobs)
        price, value = np.full(count, np.inf), np.zeros(count)
        np.minimum.at(price, ways.job, self.prices)
        np.maximum.at(value, ways.job, ways.value)
        chain = self.problem.chain
        whole_price, whole_value = (np.bincount(chain, weights=part, minlength=count) for part in (price, value))
        ratio = whole_value / np.maximum(whole_price, 1e-12)
        firsts = np.unique(chain[np.isfinite(whole_price)[chain]])
        return firsts[np.argsort(-ratio[firsts], kind="stable")].tolist()

    def fill(self) -> bool:
        """Place every chain that is not planned and fits, in order; whether any was."""
        placed = [self.place(first) for first in self.chains if self.answer[first] == NOT_PLANNED]
        return any(placed)

    def place(self, first: int) -> bool:
        """Place a chain in the first ways that fit together; whether there are such."""
        trials = [_MOST_TRIALS]
        return self._place_from(self._visits[first], 0, trials)

    def _place_from(self, visits: list[int], at: int, trials: list[int]) -> bool:
        if at == len(visits):
            return True
        job = visits[at]
        for way in self._order[job]:
            trials[0] -= 1
            if trials[0] < 0:
                return False
            if self._after_wait(job, way) and self.room.fits(way):
                self.put(job, way)
                if self._place_from(visits, at + 1, trials):
                    return True
                self.drop(job)
        return False

    def _after_wait(self, job: int, way: int) -> bool:
        """Whether a way keeps the wait to the job's earlier visit, if that is placed."""
        earlier = self.problem.after[job]
        if earlier < 0 or self.answer[earlier] == NOT_PLANNED:
            return True
        least, most = self.problem.wait[job]
        gap = self.problem.ways.first[way] - self.problem.ways.last[self.answer[earlier]]
        return bool(least <= gap <= most)

    def keeps_waits(self, job: int, way: int) -> bool:
        """Whether a way of a job keeps the waits to the placed visits before and after it."""
        problem = self.problem
        if not self._after_wait(job, way):
            return False
        for later in self._visits[problem.chain[job]]:
            if problem.after[later] == job and self.answer[later] != NOT_PLANNED:
                gap = problem.ways.first[self.answer[later]] - problem.ways.last[way]
                if not problem.wait[later][0] <= gap <= problem.wait[later][1]:
                    return False
        return True

    def put(self, job: int, way: int) -> None:
        """Place a job in a way."""
        self.answer[job] = way
        self.room.take(way)

    def drop(self, job: int) -> None:
        """Take a job out again."""
        self.room.take(int(self.answer[job]), -1)
        self.answer[job] = NOT_PLANNED

    def set_to(self, answer: Answer) -> None:
        """Place the chains of another answer, the most worth first; one that breaks a limit stays out."""
        for first in self.chains:
            visits = self._visits[first]
            if all(answer[job] != NOT_PLANNED for job in visits):
                self._put_all(visits, answer)

    def _put_all(self, visits: list[int], answer: Answer) -> None:
        placed: list[int] = []
        for job in visits:
            way = int(answer[job])
            if not (self._after_wait(job, way) and self.room.fits(way)):
                for earlier in placed:
                    self.drop(earlier)
                return
            self.put(job, way)
            placed.append(job)

    def improve(self) -> None:
        """Same value for less money, job by job, then whatever else fits; at last each job as early as it can be."""
        for _ in range(3):
            self._cheaper()
            if not self.fill():
                break
        self._earlier()

    def _cheaper(self) -> None:
        ways, starts = self.problem.ways, self.problem.starts
        for job in np.flatnonzero(self.answer != NOT_PLANNED):
            now = self.answer[job]
            own = np.arange(starts[job], starts[job + 1])
            better = own[(ways.value[own] >= ways.value[now]) & (ways.money[own] < ways.money[now] * (1 - SLACK))]
            self._move(int(job), better[np.lexsort((ways.last[better], ways.money[better]))].tolist())

    def _earlier(self) -> None:
        ways, starts = self.problem.ways, self.problem.starts
        planned = np.flatnonzero(self.answer != NOT_PLANNED)
        for job in planned[np.argsort(ways.last[self.answer[planned]], kind="stable")]:
            now = self.answer[job]
            own = np.arange(starts[job], starts[job + 1])
            better = own[(ways.option[own] == ways.option[now]) & (ways.last[own] < ways.last[now])]
            self._move(int(job), better[np.argsort(ways.last[better], kind="stable")].tolist())

    def _move(self, job: int, candidates: Iterable[int]) -> None:
        """Move a job to the first of some ways that fits and keeps the waits, or leave it."""
        now = int(self.answer[job])
        self.drop(job)
        for way in candidates:
            if self.room.fits(way) and self.keeps_waits(job, way):
                self.put(job, way)
                return
        self.put(job, now)


def prices(problem: Problem) -> Floats:
    """What each way takes of what is scarce: its share of the budget and of its rig's hours in all the weeks."""
    ways = problem.ways
    per_rig = problem.season_hours
    hours = ways.hours.sum(axis=1)
    share = np.divide(hours, per_rig[ways.rig], out=np.zeros(len(ways)), where=hours > 0)
    if problem.budget > 0:
        return share + ways.money / problem.budget
    money = np.where(ways.money > 0, np.inf, 0.0)
    return share + money


def worth(problem: Problem, answer: Answer) -> float:
    """What an answer is worth."""
    return float(problem.ways.value[answer[answer != NOT_PLANNED]].sum())


def _visits(problem: Problem) -> dict[int, list[int]]:
    """The jobs of each chain by its first job, earlier visits first."""
    depth = np.zeros(len(problem.jobs), np.intp)
    at = problem.after.copy()
    while (at >= 0).any():
        depth += at >= 0
        at = np.where(at >= 0, problem.after[at], -1)
    visits: dict[int, list[int]] = {}
    for job in np.argsort(depth, kind="stable"):
        visits.setdefault(int(problem.chain[job]), []).append(int(job))
    return visits
