"""Times the schedule of an invented season and prints how near to the best it is proven to be.

``python tests/benchmarks/schedule.py`` makes 2,000 jobs x 4 rigs x 12 weeks, a quarter of them second visits, in
several shapes; ``--jobs 200 500`` others, ``--curve`` the curve of money too, ``--seed 7`` another season.
"""

import argparse
import os
import time

import numpy as np
import pandas as pd

from invasimap.core.schedule_settings import ScheduleSection
from invasimap.prescription.money_curve import money_curve
from invasimap.prescription.schedule import schedule

RIGS = pd.DataFrame({
    "rig": ["tractor", "hose", "pair one", "pair two"], "hours_per_week": [30.0, 32.5, 35, 35],
    "hours_in_all": [120.0, 250, np.nan, np.nan],
})  # fmt: skip
PACE = np.array([0.35, 0.6, 1.2, 1.2])  # hours of each rig for one of the plain crew's
COST = np.array([130.0, 95, 60, 60])  # money an hour


def season(jobs, *, weeks=12, chains=0.25, wide=False, seed=1):
    """Options of an invented season: ``wide`` leaves every window open for all weeks."""
    rng = np.random.default_rng(seed)
    hours = rng.lognormal(1.0, 0.8, jobs)
    value = hours * rng.lognormal(0, 0.6, jobs)
    first = np.zeros(jobs, int) if wide else rng.integers(0, weeks // 2, jobs)
    last = np.full(jobs, weeks - 1) if wide else np.minimum(first + rng.integers(1, weeks, jobs), weeks - 1)
    after = np.full(jobs, None, object)
    seconds = int(jobs * chains)
    after[:seconds] = [f"j{job + seconds}" for job in range(seconds)]
    if not wide:  # cut in the first half, spray the resprouts in the second
        last[seconds : 2 * seconds] = np.minimum(last[seconds : 2 * seconds], weeks // 2)
        first[:seconds], last[:seconds] = weeks // 3, weeks - 1
    least, reach = rng.integers(1, 5, jobs), rng.integers(0, 4, jobs)  # the first rig whose means gets there
    parts = []
    for rig, name in enumerate(RIGS["rig"]):
        able = (reach <= rig) | wide
        parts.append(pd.DataFrame({
            "job": [f"j{job}" for job in range(jobs)], "rig": name, "hours": hours * PACE[rig],
            "money": hours * PACE[rig] * COST[rig] + 20, "value": value, "first_week": first, "last_week": last,
            "after": after, "wait_min_weeks": least, "wait_max_weeks": least + 3,
        })[able])  # fmt: skip
    return pd.concat(parts, ignore_index=True)


SHAPES = {
    "money binds": {"budget": 80_000}, "hours bind": {"budget": None}, "both bind": {"budget": 100_000},
    "every week open": {"budget": 80_000, "wide": True}, "no second visits": {"budget": 80_000, "chains": 0.0},
}  # fmt: skip


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--jobs", type=int, nargs="+", default=[2000])
    parser.add_argument("--shapes", nargs="+", default=list(SHAPES), choices=list(SHAPES))
    parser.add_argument("--gap", default="0.1 %")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--curve", action="store_true")
    asked = parser.parse_args()
    settings = ScheduleSection.model_validate({"gap": asked.gap, "money_step": "5000 USD"})
    print(f"load of this machine {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    for jobs in asked.jobs:
        for shape in asked.shapes:
            given = dict(SHAPES[shape])
            budget = given.pop("budget")
            budget = None if budget is None else budget * jobs / 2000
            rigs = RIGS.assign(hours_per_week=RIGS["hours_per_week"] * jobs / 2000 * 3,
                               hours_in_all=RIGS["hours_in_all"] * jobs / 2000 * 3)  # fmt: skip
            options = season(jobs, seed=asked.seed, **given)
            begun = time.perf_counter()
            best = schedule(options, rigs=rigs, weeks=12, budget=budget, settings=settings)
            seconds = time.perf_counter() - begun
            over = 100 * (best.value / best.greedy_value - 1)
            print(f"{jobs:6} jobs, {shape:16} {seconds:6.1f} s  gap {best.gap_pct:.3f} %  {best.method:28} "
                  f"planned {best.table['job'].nunique()}  over greedy {over:.1f} %",
                  flush=True)  # fmt: skip
            if asked.curve:
                begun = time.perf_counter()
                curve = money_curve(options, rigs=rigs, weeks=12, settings=settings)
                print(f"       curve of {len(curve)} rows in {time.perf_counter() - begun:.1f} s")
                print(curve.round(2).to_string())


if __name__ == "__main__":
    main()
