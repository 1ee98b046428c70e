"""The choice of jobs, rigs and weeks as arrays: every way to place a job, and the rows that bind them.

A way (a column of the programme) is one job done by one rig from one week on. A job longer than a week's hours fills
following weeks, the rest in the last. All is put so that the linear bound is tight: one row a job, visits of a chain
equal, waits by sums over weeks (a later visit begun by a week needs the earlier one ended long enough before:
Christofides, Alvarez-Valdes and Tamarit 1987, Eur. J. Oper. Res. 29:262-273), hours and money as shares of the whole.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import sparse

Ints = npt.NDArray[np.intp]
Floats = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]
SLACK = 1e-9  # of a limit, for what rounding does to sums
_SPLITS = (0.25, 0.5, 0.75)
_ENDLESS = 1 << 30


@dataclass(frozen=True, kw_only=True)
class Ways:
    """Every way to place a job: arrays of n; ``hours`` (n x rigs*weeks) is what it takes of each rig's week.

    ``shares`` (n x spots) is what it takes of each spot where not all that may be done may be done together.
    """

    job: Ints
    rig: Ints
    first: Ints
    last: Ints
    option: Ints
    money: Floats
    value: Floats
    hours: sparse.csr_array
    shares: sparse.csr_array

    def __len__(self) -> int:
        return len(self.job)

    def only(self, keep: Mask) -> Ways:
        """The ways that are kept, in the same order."""
        arrays = {
            name: getattr(self, name)[keep] for name in ("job", "rig", "first", "last", "option", "money", "value")
        }
        kept = np.flatnonzero(keep)
        return Ways(**arrays, hours=self.hours[kept], shares=self.shares[kept])


@dataclass(frozen=True, kw_only=True)
class Problem:
    """A schedule to be made: jobs (numbers into ``jobs``), their chains and waits, ways, and what each rig has."""

    jobs: tuple[Any, ...]
    rigs: tuple[Any, ...]
    weeks: int
    after: Ints  # a job's earlier job, -1 for none
    wait: Ints  # jobs x (least, greatest) weeks
    chain: Ints  # a job's chain, numbered by its first job
    ways: Ways
    week_hours: Floats  # rigs x weeks, flat
    rig_hours: Floats
    budget: float
    spots: tuple[str, ...] = ()  # the limit of each, in words
    reasons: dict[int, str] = field(default_factory=dict)  # why a job has no way at all

    @property
    def starts(self) -> Ints:
        """Where the ways of each job begin, and the end: they lie together, in the jobs' order."""
        return np.searchsorted(self.ways.job, np.arange(len(self.jobs) + 1))

    @property
    def season_hours(self) -> Floats:
        """What each rig can work in all the weeks."""
        weekly = self.week_hours.reshape(len(self.rigs), self.weeks).sum(axis=1)
        return np.minimum(self.rig_hours, weekly)

    @property
    def later(self) -> Ints:
        """The jobs that come after another."""
        return np.flatnonzero(self.after >= 0)


def lay_out(
    options: pd.DataFrame, *, rigs: pd.DataFrame, weeks: int, budget: float, split_jobs: bool, shared: pd.DataFrame
) -> Problem:  # fmt: skip
    """The problem of checked options, rigs and shares, with every way whose figures are known, usable or not."""
    codes, names = pd.factorize(options["job"])
    first_rows = options.drop_duplicates("job")
    number = {name: at for at, name in enumerate(names)}
    after = np.array([-1 if name is None else number[name] for name in first_rows["after"]], np.intp)
    least = first_rows["wait_min_weeks"].fillna(0).to_numpy(np.intp)
    most = first_rows["wait_max_weeks"].fillna(_ENDLESS).to_numpy(np.intp)
    limits = shared.drop_duplicates("spot").set_index("spot")["limit"]
    shares = _shares(options, shared, limits.index)
    return Problem(
        jobs=tuple(names), rigs=tuple(rigs.index), weeks=weeks, after=after, wait=np.column_stack([least, most]),
        chain=_chains(after), ways=_ways((options, codes), rigs, weeks, split_jobs, shares),
        week_hours=np.repeat(rigs["hours_per_week"].to_numpy(float), weeks),
        rig_hours=rigs["hours_in_all"].to_numpy(float), budget=budget, spots=tuple(limits),
    )  # fmt: skip


def _chains(after: Ints) -> Ints:
    """Each job's first job, followed back; chains are what hangs together, so branches share a first job."""
    chain = np.arange(len(after))
    for _ in range(len(after)):
        back = np.where(after[chain] >= 0, after[chain], chain)
        if (back == chain).all():
            break
        chain = back
    return chain


def profiles(hours: float, week_hours: float, *, split: bool) -> Iterator[list[float]]:
    """How a job's hours may lie over following weeks: in one if they fit, else full weeks and the rest.

    Examples
    --------
    >>> list(profiles(70, 30, split=False)), list(profiles(8, 30, split=True))
    ([[30, 30, 10]], [[8], [2.0, 6.0], [4.0, 4.0], [6.0, 2.0]])
    """
    if week_hours <= 0 and hours > 0:
        return
    full = 0 if hours <= week_hours * (1 + SLACK) else int(np.ceil(hours / week_hours - SLACK)) - 1
    rest = hours - full * week_hours
    yield [week_hours] * full + [rest]
    if split and full and rest < week_hours:
        yield [rest] + [week_hours] * full
    if split and not full and hours > 0:
        yield from ([share * hours, hours - share * hours] for share in _SPLITS)


def _shares(options: pd.DataFrame, shared: pd.DataFrame, spots: pd.Index) -> sparse.csr_array:
    """What each option takes of each spot."""
    at = pd.MultiIndex.from_frame(options[["job", "rig"]]).get_indexer(pd.MultiIndex.from_frame(shared[["job", "rig"]]))
    there = at >= 0
    entries = shared["share"].to_numpy(float)[there], (at[there], spots.get_indexer(pd.Index(shared["spot"]))[there])
    return sparse.csr_array(entries, shape=(len(options), len(spots)))


def _ways(
    jobs: tuple[pd.DataFrame, Ints], rigs: pd.DataFrame, weeks: int, split: bool, shares: sparse.csr_array
) -> Ways:  # fmt: skip
    """Every way of every option whose figures are known, whatever the limits."""
    options, codes = jobs
    known = options[["hours", "money", "value", "first_week", "last_week"]].notna().all(axis=1) & options["rig"].notna()
    per_week = rigs["hours_per_week"].to_dict()
    rig_at = {name: at for at, name in enumerate(rigs.index)}
    found: list[tuple[int, int, int, int, int]] = []
    spent: list[list[float]] = []
    rows = options[known.to_numpy()]
    for option, rig, hours, first, last in zip(
        rows.index, rows["rig"], rows["hours"], rows["first_week"], rows["last_week"], strict=True
    ):
        for profile in profiles(hours, per_week[rig], split=split):
            for start in range(max(int(first), 0), min(int(last), weeks - 1) - len(profile) + 2):
                found.append((codes[option], rig_at[rig], start, start + len(profile) - 1, option))
                spent.append(profile)
    return _as_ways(found, spent, (options, shares), (len(rigs), weeks))


def _as_ways(
    found: list[tuple[int, int, int, int, int]], spent: list[list[float]],
    given: tuple[pd.DataFrame, sparse.csr_array], shape: tuple[int, int],
) -> Ways:  # fmt: skip
    """The ways as arrays, job by job, of options and their shares."""
    options, shares = given
    table = np.array(found, np.intp).reshape(-1, 5)
    order = np.argsort(table[:, 0], kind="stable")
    job, rig, first, last, option = table[order].T
    lengths = last - first + 1
    starts = np.concatenate([[0], np.cumsum(lengths)])
    places = np.repeat(rig * shape[1] + first - starts[:-1], lengths) + np.arange(starts[-1])
    hours = np.array([spent_h for at in order for spent_h in spent[at]], float)
    matrix = sparse.csr_array((hours, places, starts), shape=(len(table), shape[0] * shape[1]))
    money, value = (options[name].to_numpy(float)[option] for name in ("money", "value"))
    return Ways(
        job=job, rig=rig, first=first, last=last, option=option, money=money, value=value, hours=matrix,
        shares=shares[option],
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Rows:
    """The linear programme of a problem: most ``value``, ``at_most`` x <= ``limits``, ``equal`` x = 0, 0 <= x <= 1.

    ``budget_row`` is the row of money, if there is a budget, and ``budget_unit`` what its figures are shares of.
    """

    value: Floats
    at_most: sparse.csc_array
    limits: Floats
    equal: sparse.csc_array
    budget_row: int | None
    budget_unit: float


def rows_of(problem: Problem, *, extra: tuple[Floats, float] | None = None) -> Rows:
    """The rows that bind the ways; ``extra`` is one more row and its limit."""
    ways, count = problem.ways, len(problem.ways)
    chosen = sparse.csr_array((np.ones(count), (ways.job, np.arange(count))), shape=(len(problem.jobs), count))
    firsts = np.flatnonzero(problem.chain == np.arange(len(problem.jobs)))
    blocks, limits = [chosen[firsts]], [np.ones(len(firsts))]
    for block, limit in (_waits(problem), *_limits(problem)):
        blocks.append(block)
        limits.append(limit)
    budget_row = None
    unit = problem.budget if problem.budget > 0 else 1.0
    if np.isfinite(problem.budget):
        budget_row = sum(len(limit) for limit in limits)
        blocks.append(sparse.csr_array((ways.money / unit)[None, :]))
        limits.append(np.array([problem.budget / unit]))
    if extra is not None:
        blocks.append(sparse.csr_array(extra[0][None, :]))
        limits.append(np.array([extra[1]]))
    equal = chosen[problem.later] - chosen[problem.chain[problem.later]]
    return Rows(
        value=ways.value, at_most=sparse.csc_array(sparse.vstack(blocks)), limits=np.concatenate(limits),
        equal=sparse.csc_array(equal), budget_row=budget_row, budget_unit=unit,
    )  # fmt: skip


def _limits(problem: Problem) -> Iterator[tuple[sparse.csr_array, Floats]]:
    """Rows of spots, hours a week and hours in all, as shares of what there is."""
    ways = problem.ways
    yield ways.shares.T.tocsr(), np.ones(len(problem.spots))
    held = problem.week_hours > 0
    yield (
        sparse.csr_array(sparse.diags_array(1 / problem.week_hours[held]) @ ways.hours.T.tocsr()[held]),
        np.ones(held.sum()),
    )
    limited = np.flatnonzero(np.isfinite(problem.rig_hours) & (problem.rig_hours > 0))
    taken = ways.hours.sum(axis=1)
    for rig in limited:
        yield sparse.csr_array((np.where(ways.rig == rig, taken, 0.0) / problem.rig_hours[rig])[None, :]), np.ones(1)


def _waits(problem: Problem) -> tuple[sparse.csr_array, Floats]:
    """Rows of waits, for every later job and week, least and greatest."""
    ways, starts = problem.ways, problem.starts
    rows: list[Ints] = []
    columns: list[Ints] = []
    signs: list[Floats] = []
    count = 0
    for job in problem.later:
        earlier = np.arange(*starts[problem.after[job] : problem.after[job] + 2])
        later = np.arange(*starts[job : job + 2])
        least, most = problem.wait[job]
        for week in np.unique(ways.first[later]):
            parts = [(later[ways.first[later] <= week], 1.0), (earlier[ways.last[earlier] <= week - least], -1.0)]
            count = _add(count, parts, (rows, columns, signs))
        for week in np.unique(ways.last[earlier]) if most < _ENDLESS else ():
            parts = [(earlier[ways.last[earlier] <= week], 1.0), (later[ways.first[later] <= week + most], -1.0)]
            count = _add(count, parts, (rows, columns, signs))
    if not count:
        return sparse.csr_array((0, len(ways))), np.zeros(0)
    entries = np.concatenate(signs), (np.concatenate(rows), np.concatenate(columns))
    return sparse.csr_array(entries, shape=(count, len(ways))), np.zeros(count)


def _add(row: int, parts: list[tuple[Ints, float]], to: tuple[list[Ints], list[Ints], list[Floats]]) -> int:
    """One more row of signed ways; the number of the next."""
    for ways, sign in parts:
        to[0].append(np.full(len(ways), row))
        to[1].append(ways)
        to[2].append(np.full(len(ways), sign))
    return row + 1
