"""Schedules: against all schedules of small seasons, every limit reckoned anew, and seasons known by hand."""

import itertools
import math
import sys

import numpy as np
import pandas as pd
import pytest
from check_schedule import best_of_all, faults_of, options_of, random_season, random_shared, rigs_of

from invasimap.core.errors import InputError
from invasimap.core.schedule_settings import ScheduleSection
from invasimap.prescription import schedule_search, solver
from invasimap.prescription.schedule import problem_of, runner_up, schedule
from invasimap.prescription.schedule_model import rows_of

EXACT = ScheduleSection(gap="0 %")
# choice of patches under 60 h: knapsack example of the trade handbook, all 64 sets tried by hand
COST = {"a": 30, "b": 18, "c": 12, "d": 25, "e": 8, "f": 40}
BENEFIT = {"a": 9, "b": 7, "c": 5, "d": 6, "e": 3, "f": 11}
ONE = rigs_of(("crew", 100.0, np.nan))


def knapsack():
    return options_of(*((job, "crew", 1.0, COST[job], BENEFIT[job], 0, 0, "", None, None) for job in COST))


def single(**other):
    row = {"job": "a", "rig": "crew", "hours": 10.0, "money": 50.0, "value": 3.0, "first_week": 0, "last_week": 3,
           "after": "", "wait_min_weeks": None, "wait_max_weeks": None} | other  # fmt: skip
    return pd.DataFrame([row])


def reason_of(best, job="a"):
    assert job not in set(best.table["job"])
    return best.unplanned.set_index("job")["reason"][job]


@pytest.mark.parametrize("seed", range(40))
def test_small_seasons_are_as_good_as_the_best_of_all_schedules(seed):
    options, rigs, budget = random_season(seed, jobs=4, weeks=4, chained=seed % 4)
    best = schedule(options, rigs=rigs, weeks=4, budget=budget, settings=EXACT)
    assert best.value == pytest.approx(best_of_all(options, rigs, weeks=4, budget=budget), abs=1e-6)
    assert best.method == "proven optimal"
    assert faults_of(best, options, rigs, weeks=4, budget=budget) == []


@pytest.mark.parametrize("seed", range(25))
def test_what_may_not_all_be_done_leaves_the_best_of_the_rest_and_says_so(seed):
    options, rigs, budget = random_season(500 + seed, jobs=4, weeks=3, chained=seed % 3)
    given = {"weeks": 3, "budget": budget, "shared": random_shared(seed, options)}
    best = schedule(options, rigs=rigs, **given, settings=EXACT)
    assert best.value == pytest.approx(best_of_all(options, rigs, **given), abs=1e-6)
    assert best.method == "proven optimal" and faults_of(best, options, rigs, **given) == []
    assert faults_of(runner_up(options, best, rigs=rigs, **given, settings=EXACT), options, rigs, **given) == []


def test_a_job_left_out_for_a_spot_names_what_is_done_there():
    options = options_of(*((job, "crew", 1.0, 1.0, worth, 0, 0, "", None, None) for job, worth in (("a", 3), ("b", 2))))
    shared = pd.DataFrame({"spot": 7, "job": ["a", "b"], "rig": "crew", "share": [0.5, 0.500001], "limit": "4 lb"})
    best = schedule(options, rigs=ONE, weeks=1, shared=shared)
    assert (
        reason_of(best, "b")
        == "over the label's limit of 4 lb on ground shared with other work a, which is worth no less"
    )
    met = schedule(options, rigs=ONE, weeks=1, shared=shared.assign(share=0.5))
    assert len(met.table) == 2  # a limit met exactly is kept
    for wrong, said in ((shared.assign(share=1.1), "share not within"), (shared.assign(job="a"), "twice on one spot")):
        with pytest.raises(InputError, match=said):
            schedule(options, rigs=ONE, weeks=1, shared=wrong)


def test_what_is_worth_less_on_a_spot_is_not_said_to_be_worth_no_less_where_money_binds_too():
    """For 50: b (3 for 10) with d (4 for 40) is worth 7, and a alone (5 for 50), on the spot of b, no more than 5."""
    given = (("a", 50.0, 5), ("b", 10.0, 3), ("d", 40.0, 4))
    options = options_of(*((job, "crew", 1.0, money, worth, 0, 0, "", None, None) for job, money, worth in given))
    shared = pd.DataFrame({"spot": 7, "job": ["a", "b"], "rig": "crew", "share": 1.0, "limit": "4 lb"})
    best = schedule(options, rigs=ONE, weeks=1, budget=50, shared=shared)
    assert best.value == 7
    said = (
        "over the label's limit of 4 lb on ground shared with other work b, and the budget goes to what is worth more"
    )
    assert reason_of(best, "a") == said


def test_of_200_seasons_none_is_worth_less_than_the_greedy_schedule_or_more_than_its_bound():
    better = 0
    for seed in range(200):
        settings = ScheduleSection(gap="0.1 %", split_jobs=seed % 8 == 0)
        options, rigs, budget = random_season(1000 + seed, jobs=6, weeks=3, chained=seed % 4)
        best = schedule(options, rigs=rigs, weeks=3, budget=budget, settings=settings)
        assert faults_of(best, options, rigs, weeks=3, budget=budget) == []
        assert best.greedy_value <= best.value <= best.bound * (1 + 1e-12)
        assert best.gap_pct <= 0.1 + 1e-4
        better += best.value > best.greedy_value
    assert better > 20  # else the seasons are too easy to tell anything


def test_the_best_set_of_patches_for_60_hours_is_a_b_c_and_greedy_has_only_15():
    best = schedule(knapsack(), rigs=ONE, weeks=1, budget=60, settings=EXACT)
    assert sorted(best.table["job"]) == ["a", "b", "c"]
    assert (best.value, best.money, best.greedy_value) == (21, 60, 15)
    assert best.method == "proven optimal" and best.gap_pct == pytest.approx(0, abs=1e-9)
    assert set(best.unplanned["reason"]) == {"the budget goes to what is worth more"}


def test_the_runner_up_is_the_next_best_set():
    best = schedule(knapsack(), rigs=ONE, weeks=1, budget=60, settings=EXACT)
    second = runner_up(knapsack(), best, rigs=ONE, weeks=1, budget=60, settings=EXACT)
    sets = [jobs for count in range(7) for jobs in itertools.combinations(COST, count)]
    paid = [jobs for jobs in sets if sum(COST[job] for job in jobs) <= 60]
    worths = sorted((sum(BENEFIT[job] for job in jobs) for jobs in paid), reverse=True)
    assert worths[0] == 21 and second.value == worths[1]
    assert set(second.table["job"]) != {"a", "b", "c"}


def test_without_time_the_runner_up_is_the_best_without_its_least_chain():
    options, rigs, budget = random_season(11, jobs=12, weeks=4, chained=3)
    given = {"rigs": rigs, "weeks": 4, "budget": budget}
    best = schedule(options, **given, settings=ScheduleSection(gap="0 %", split_jobs=True))
    second = runner_up(options, best, **given, settings=ScheduleSection(time_limit="0 s", split_jobs=True))
    after = options.drop_duplicates("job").set_index("job")["after"].to_dict()
    least = best.table.groupby(best.table["job"].map(lambda job: after[job] or job))["value"].sum()
    assert second.value == pytest.approx(best.value - least.min()) and least.min() > 0
    assert faults_of(second, options, **given) == []


def test_large_ways_through_the_dive_and_the_second_process_agree_with_one_exact_solve(monkeypatch):
    options, rigs, _ = random_season(5, jobs=20, weeks=6, rigs=3, chained=5)
    want = schedule(options, rigs=rigs, weeks=6, budget=120, settings=EXACT)
    monkeypatch.setattr(schedule_search, "_SMALL", 10)
    monkeypatch.setattr(schedule_search, "_DIVE_WAYS", 60)
    monkeypatch.setattr(solver, "_HERE", 5)
    again = schedule(options, rigs=rigs, weeks=6, budget=120, settings=EXACT)
    assert want.method == again.method == "proven optimal"
    assert again.value == pytest.approx(want.value)
    assert faults_of(again, options, rigs, weeks=6, budget=120) == []


def test_nothing_is_written_to_the_screen_but_what_the_caller_prints(capfd):
    options, rigs, _ = random_season(7, jobs=60, weeks=8, rigs=3, chained=15)
    sys.stdout.write("before\n")
    schedule(options, rigs=rigs, weeks=8, budget=400, settings=ScheduleSection(time_limit="10 s"))
    sys.stdout.write("after\n")
    assert capfd.readouterr() == ("before\nafter\n", "")


def test_without_time_the_greedy_schedule_stands_with_a_bound_and_says_so():
    options, rigs, _ = random_season(5, jobs=20, weeks=6, rigs=3, chained=5)
    best = schedule(options, rigs=rigs, weeks=6, budget=100, settings=ScheduleSection(time_limit="0 s", gap="0 %"))
    proven = schedule(options, rigs=rigs, weeks=6, budget=100, settings=EXACT)
    assert best.method.startswith("greedy: time ran out, within ")
    assert best.value >= best.greedy_value > 0
    assert best.bound >= proven.value >= best.value
    assert faults_of(best, options, rigs, weeks=6, budget=100) == []


def test_the_same_input_gives_the_same_schedule_and_equals_go_as_they_came():
    options = options_of(*((job, "crew", 40.0, 10, 5, 0, 1, "", None, None) for job in "dcba"))
    first, again = (schedule(options, rigs=rigs_of(("crew", 40.0, np.nan)), weeks=2, settings=EXACT) for _ in range(2))
    pd.testing.assert_frame_equal(first.table, again.table)
    assert first.table[["job", "week"]].to_numpy().tolist() == [["d", 0], ["c", 1]]


def test_of_equal_worth_the_cheaper_rig_works_and_as_early_as_it_can():
    dear, cheap = ("a", "big", 5.0, 900, 4, 1, 3, "", None, None), ("a", "small", 9.0, 300, 4, 1, 3, "", None, None)
    best = schedule(options_of(dear, cheap), rigs=rigs_of(("big", 40, None), ("small", 40, None)), weeks=4)
    assert best.table[["rig", "week"]].to_numpy().tolist() == [["small", 1]]


def test_a_job_longer_than_a_week_fills_weeks_and_its_later_visit_waits_for_the_last():
    options = options_of(("cut", "crew", 70.0, 700, 0, 0, 9, "", None, None),
                         ("spray", "crew", 10.0, 90, 8, 0, 9, "cut", 3, 4))  # fmt: skip
    best = schedule(options, rigs=rigs_of(("crew", 30.0, np.nan)), weeks=10)
    assert best.table[["job", "week", "hours"]].to_numpy().tolist() == [
        ["cut", 0, 30], ["cut", 1, 30], ["cut", 2, 10], ["spray", 5, 10]]  # fmt: skip
    assert best.table["money"].tolist() == pytest.approx([300, 300, 100, 90])
    short = schedule(options, rigs=rigs_of(("crew", 30.0, np.nan)), weeks=5)
    assert short.table.empty and reason_of(short, "spray") == "no weeks keep the wait between it and cut"
    assert "spray cannot be planned" in reason_of(short, "cut") or "wait between" in reason_of(short, "cut")


def test_a_cut_is_not_paid_for_where_its_spraying_cannot_be():
    options = options_of(("cut", "crew", 5.0, 60, 0, 0, 9, "", None, None),
                         ("spray", "crew", 5.0, 60, 8, 0, 9, "cut", 8, 10))  # fmt: skip
    best = schedule(options, rigs=ONE, weeks=10, budget=100)
    assert best.table.empty and best.value == best.bound == 0
    assert reason_of(best, "cut") == "its 2 visits cost more than the budget"


def test_jobs_are_parted_over_two_weeks_only_where_settings_say_so():
    options = options_of(*((job, "crew", 20.0, 1, 1, 0, 1, "", None, None) for job in "abc"))
    rigs = rigs_of(("crew", 30.0, np.nan))
    whole = schedule(options, rigs=rigs, weeks=2, settings=EXACT)
    parted = schedule(options, rigs=rigs, weeks=2, settings=ScheduleSection(split_jobs=True, gap="0 %"))
    assert (whole.value, parted.value) == (2, 3)
    assert parted.table.groupby("week")["hours"].sum().tolist() == [30, 30]
    assert faults_of(parted, options, rigs, weeks=2, budget=None) == []


@pytest.mark.parametrize(("least", "most"), [(0, 0), (1, 2), (2, None), (0, 3)])
def test_the_rows_of_waits_let_through_the_pairs_of_weeks_that_keep_them_and_no_others(least, most):
    options = options_of(("cut", "crew", 70.0, 1, 0, 0, 7, "", None, None),
                         ("spray", "crew", 50.0, 1, 8, 0, 7, "cut", least, most))  # fmt: skip
    _, problem = problem_of(options, rigs=rigs_of(("crew", 60.0, None)), weeks=8, budget=None, settings=EXACT)
    rows, ways = rows_of(problem), problem.ways
    for cut, spray in itertools.product(np.flatnonzero(ways.job == 0), np.flatnonzero(ways.job == 1)):
        x = np.zeros(len(ways))
        x[[cut, spray]] = 1
        gap = ways.first[spray] - ways.last[cut]
        hours = {week: 60 * (week == ways.first[cut]) + 10 * (week == ways.last[cut]) for week in range(8)}
        crew = hours[ways.first[spray]] + 50 <= 60
        kept = gap >= least and (most is None or gap <= most) and crew
        assert kept == bool((rows.at_most @ x <= rows.limits + 1e-9).all() and not (rows.equal @ x).any())


def test_visits_that_branch_are_all_done_or_none():
    cut = ("cut", "crew", 5.0, 5, 0, 0, 0, "", None, None)
    sprays = [(job, "crew", 5.0, 5, 4, 2, 3, "cut", 2, None) for job in ("one", "two")]
    assert schedule(options_of(cut, *sprays), rigs=ONE, weeks=4, budget=15).value == 8
    assert schedule(options_of(cut, *sprays), rigs=ONE, weeks=4, budget=14).value == 0


@pytest.mark.parametrize(
    ("other", "given", "said"),
    [
        ({"first_week": 3, "last_week": 2}, {}, "no window"),
        ({"first_week": np.nan, "last_week": np.nan}, {}, "no window"),
        ({"first_week": 9, "last_week": 12}, {}, "outside the weeks"),
        ({"rig": ""}, {}, "no rig can do it"),
        ({"hours": np.nan}, {}, "hours are not known"),
        ({"money": np.nan}, {}, "money is not known"),
        ({"hours": 401.0}, {}, "longer than its window"),
        ({"hours": 250.0}, {"hours_in_all": 200.0}, "hours in all"),
        ({}, {"hours_per_week": 0.0}, "have no hours"),
        ({}, {"budget": 49.0}, "more than the budget"),
        ({}, {"budget": 0.0}, "more than the budget"),
        ({"value": 0.0}, {}, "value is zero"),
        ({}, {"weeks": 0}, "outside the weeks"),
    ],
)
def test_a_job_that_cannot_be_planned_has_its_reason(other, given, said):
    rigs = rigs_of(("crew", given.get("hours_per_week", 100.0), given.get("hours_in_all")))
    best = schedule(single(**other), rigs=rigs, weeks=given.get("weeks", 4), budget=given.get("budget"))
    assert said in reason_of(best)
    assert (best.value, best.money, best.bound, best.gap_pct) == (0, 0, 0, 0)


def test_a_job_left_out_for_want_of_hours_says_so():
    options = options_of(*((job, "crew", 60.0, 1, value, 0, 0, "", None, None) for job, value in (("a", 1), ("b", 2))))
    best = schedule(options, rigs=ONE, weeks=1, budget=100)
    assert reason_of(best) == "the rigs' hours in its weeks go to what is worth more"


def test_limits_met_exactly_are_kept_and_a_job_that_costs_nothing_needs_no_money():
    assert schedule(single(hours=100.0, money=50.0), rigs=ONE, weeks=1, budget=50).value == 3
    assert schedule(single(money=0.0), rigs=ONE, weeks=1, budget=0).value == 3


def test_no_jobs_and_no_rigs_give_an_empty_schedule():
    nothing = schedule(options_of(), rigs=ONE, weeks=4, budget=10)
    assert nothing.table.empty and nothing.unplanned.empty and nothing.method == "proven optimal"
    assert list(nothing.table) == ["job", "rig", "week", "hours", "money", "value"]
    assert "no rig can do it" in reason_of(schedule(single(rig=None), rigs=rigs_of(), weeks=4))


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ([single(rig="barge")], "no such rig: barge"),
        ([single(), single()], "more than one row"),
        ([single(after="z", wait_min_weeks=1)], "names no job: z"),
        ([single(after="a", wait_min_weeks=1)], "comes after itself"),
        ([single(), single(job="b", after="a")], "wait_min_weeks is not known: b"),
        ([single(money=-1.0)], "money below zero"),
        ([single(hours=math.inf)], "hours below zero or endless"),
        ([single(first_week=0.5)], "no whole number"),
        ([single(), single(job="b", after="a", wait_min_weeks=1), single(job="b", rig="two")], "differ in after"),
        ([single().drop(columns="hours")], "no column hours"),
    ],
)
def test_tables_that_cannot_be_are_refused(rows, said):
    with pytest.raises(InputError, match=said):
        schedule(pd.concat(rows), rigs=rigs_of(("crew", 40.0, None), ("two", 40.0, None)), weeks=4)


@pytest.mark.parametrize(
    ("rigs", "given", "said"),
    [
        (rigs_of(("crew", np.nan, None)), {}, "hours are not known"),
        (rigs_of(("crew", 40.0, -1.0)), {}, "below zero"),
        (rigs_of(("crew", 40.0, None), ("crew", 30.0, None)), {}, "comes twice"),
        (ONE, {"budget": -1.0}, "below zero"),
        (ONE, {"budget": math.nan}, "below zero"),
    ],
)
def test_rigs_and_budgets_that_cannot_be_are_refused(rigs, given, said):
    with pytest.raises(InputError, match=said):
        schedule(single(), rigs=rigs, weeks=4, **given)
