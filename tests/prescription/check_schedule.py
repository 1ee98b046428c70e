"""A second look at schedules: every limit reckoned anew from the tables, and every schedule of a small season tried."""

import itertools
import math

import numpy as np
import pandas as pd

NEAR = 1e-6


def rigs_of(*rows):
    return pd.DataFrame(rows, columns=["rig", "hours_per_week", "hours_in_all"])


def options_of(*rows):
    """Rows of job, rig, hours, money, value, first week, last week, after, least wait, greatest wait."""
    columns = ["job", "rig", "hours", "money", "value", "first_week", "last_week", "after", "wait_min_weeks"]
    return pd.DataFrame(rows, columns=[*columns, "wait_max_weeks"])


def faults_of(best, options, rigs, *, weeks, budget, shared=None):
    """Every limit that a schedule breaks, in words."""
    found = []
    table, by_job = best.table, {job: rows for job, rows in best.table.groupby("job")}
    if budget is not None and table["money"].sum() > budget * (1 + NEAR):
        found.append("over the budget")
    for rig in rigs.itertuples():
        own = table[table["rig"] == rig.rig]
        if (own.groupby("week")["hours"].sum() > rig.hours_per_week * (1 + NEAR)).any():
            found.append(f"{rig.rig} over its week")
        if pd.notna(rig.hours_in_all) and own["hours"].sum() > rig.hours_in_all * (1 + NEAR):
            found.append(f"{rig.rig} over its hours")
    for job, rows in by_job.items():
        found += _faults_of_job(job, rows, by_job, options, weeks)
    done = [(job, rows["rig"].iloc[0]) for job, rows in by_job.items()]
    found += [f"spot {spot} over its limit" for spot, taken in _taken(done, shared).items() if taken > 1 + NEAR]
    whole = options.drop_duplicates("job")
    if set(by_job) & set(best.unplanned["job"]) or set(by_job) | set(best.unplanned["job"]) != set(whole["job"]):
        found.append("a job is neither planned nor named with a reason, or both")
    if not math.isclose(best.value, table["value"].sum(), rel_tol=NEAR, abs_tol=NEAR):
        found.append("value is not the sum of the table")
    return found


def _faults_of_job(job, rows, by_job, options, weeks):
    found = []
    option = options[(options["job"] == job) & (options["rig"] == rows["rig"].iloc[0])]
    if rows["rig"].nunique() != 1 or len(option) != 1:
        return [f"{job} by no rig, or several"]
    option = option.iloc[0]
    span = rows["week"].to_numpy()
    if not (np.diff(span) == 1).all() or span[0] < max(option["first_week"], 0):
        found.append(f"{job} before its window or with a break")
    if span[-1] > min(option["last_week"], weeks - 1):
        found.append(f"{job} after its window")
    amounts = ("hours", "money", "value")
    wrong = [name for name in amounts if not math.isclose(rows[name].sum(), option[name], rel_tol=NEAR, abs_tol=NEAR)]
    found += [f"{job} has other {name} than its option" for name in wrong]
    if option["after"]:
        earlier = by_job.get(option["after"])
        gap = None if earlier is None else span[0] - earlier["week"].max()
        most = math.inf if pd.isna(option["wait_max_weeks"]) else option["wait_max_weeks"]
        if gap is None or not option["wait_min_weeks"] <= gap <= most:
            found.append(f"{job} without its earlier visit or its wait")
    later = options.loc[options["after"] == job, "job"].unique()
    return found + [f"{job} without {other}" for other in later if other not in by_job]


def _taken(done, shared):
    """What jobs by their rigs take of each spot."""
    rows = [] if shared is None else shared[["spot", "job", "rig", "share"]].itertuples(index=False)
    taken = {}
    for spot, job, rig, share in rows:
        taken[spot] = taken.get(spot, 0.0) + (share if (job, rig) in done else 0.0)
    return taken


def best_of_all(options, rigs, *, weeks, budget, shared=None):
    """The most value of any schedule, by trying all of them (jobs longer than a week fill weeks, then the rest)."""
    per_week = dict(zip(rigs["rig"], rigs["hours_per_week"], strict=True))
    in_all = {rig.rig: math.inf if pd.isna(rig.hours_in_all) else rig.hours_in_all for rig in rigs.itertuples()}
    facts = options.drop_duplicates("job").set_index("job")
    places = [[None, *_places(rows, per_week, weeks)] for _, rows in options.groupby("job", sort=False)]
    best = 0.0
    for chosen in itertools.product(*places):
        done = dict(zip(facts.index, chosen, strict=True))
        by_rig = [(job, place["rig"]) for job, place in done.items() if place is not None]
        if (
            _whole(done, facts)
            and _paid(done, budget)
            and _worked(done, per_week, in_all)
            and all(taken <= 1 + NEAR for taken in _taken(by_rig, shared).values())
        ):
            best = max(best, sum(place["value"] for place in chosen if place is not None))
    return best


def _places(rows, per_week, weeks):
    for row in rows.itertuples():
        week_h, left, spent = per_week[row.rig], row.hours, []
        while left > week_h:
            spent.append(week_h)
            left -= week_h
        spent.append(left)
        for start in range(max(row.first_week, 0), min(row.last_week, weeks - 1) - len(spent) + 2):
            yield {"rig": row.rig, "start": start, "spent": spent, "money": row.money, "value": row.value}


def _whole(done, facts):
    for job, earlier in facts["after"].items():
        if not earlier:
            continue
        if (done[job] is None) != (done[earlier] is None):
            return False
        if done[job] is not None:
            gap = done[job]["start"] - (done[earlier]["start"] + len(done[earlier]["spent"]) - 1)
            most = facts.loc[job, "wait_max_weeks"]
            if gap < facts.loc[job, "wait_min_weeks"] or (pd.notna(most) and gap > most):
                return False
    return True


def _paid(done, budget):
    return budget is None or sum(place["money"] for place in done.values() if place) <= budget + NEAR


def _worked(done, per_week, in_all):
    hours = {}
    for place in filter(None, done.values()):
        for week, spent in enumerate(place["spent"], place["start"]):
            hours[place["rig"], week] = hours.get((place["rig"], week), 0) + spent
    if any(spent > per_week[rig] + NEAR for (rig, _), spent in hours.items()):
        return False
    return all(sum(h for (name, _), h in hours.items() if name == rig) <= most + NEAR for rig, most in in_all.items())


def random_shared(seed, options):
    """Invented spots of two to four jobs that may not all be done, by most of their rigs."""
    rng = np.random.default_rng(seed)
    jobs = options["job"].unique()
    rows = []
    for spot in range(3):
        some = rng.choice(jobs, size=int(rng.integers(2, min(4, len(jobs)) + 1)), replace=False)
        of_spot = options.loc[options["job"].isin(some), ["job", "rig"]]
        rows += [(spot, job, rig, float(rng.choice([0.35, 0.5, 0.7, 1.0])), "3 kg/ha in the year")
                 for job, rig in of_spot.itertuples(index=False) if rng.random() < 0.9]  # fmt: skip
    return pd.DataFrame(rows, columns=["spot", "job", "rig", "share", "limit"])


def random_season(seed, *, jobs, weeks, rigs=2, chained=1):
    """A small invented season: options, rigs and a budget; the last ``chained`` jobs come after the first ones."""
    rng = np.random.default_rng(seed)
    names = [f"rig {number}" for number in range(rigs)]
    table = rigs_of(*((name, float(rng.integers(6, 16)), rng.choice([np.nan, 12.0, 25])) for name in names))
    rows = []
    for job in range(jobs):
        after = f"j{job - jobs + chained}" if job >= jobs - chained else ""
        least = int(rng.integers(0, 3))
        wait = (least, rng.choice([np.nan, least, least + 1])) if after else (np.nan, np.nan)
        first = int(rng.integers(0, weeks)) if not after else 0
        last = min(weeks, first + int(rng.integers(0, weeks)))
        value, hours = float(rng.integers(1, 12)), float(rng.integers(1, 18))
        able = [name for name in names if rng.random() < 0.75] or names[:1]
        rows += [(f"j{job}", name, hours * rng.choice([0.5, 1.0]), float(rng.integers(1, 30)), value, first,
                  weeks - 1 if after else last, after, *wait) for name in able]  # fmt: skip
    return options_of(*rows), table, rng.choice([None, float(rng.integers(10, 15 * jobs))])
