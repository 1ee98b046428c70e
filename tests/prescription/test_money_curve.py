"""The curve of money: against all schedules at every budget, and its shape."""

import numpy as np
import pytest
from check_schedule import best_of_all, options_of, random_season, random_shared, rigs_of

from invasimap.core.schedule_settings import ScheduleSection
from invasimap.prescription.money_curve import money_curve


def settings(solves):
    return ScheduleSection(gap="0 %", money_step="10 USD", curve_solves=solves)


@pytest.mark.parametrize("seed", range(5))
def test_every_point_that_is_solved_is_the_best_of_all_schedules_and_the_others_lie_within_their_bounds(seed):
    options, rigs, _ = random_season(seed, jobs=4, weeks=2, chained=1)
    for solves in (100, 2):
        curve = money_curve(options, rigs=rigs, weeks=2, settings=settings(solves))
        truth = [best_of_all(options, rigs, weeks=2, budget=limit) for limit in curve["money_limit"]]
        assert curve["value"][curve["solved"]].to_numpy() == pytest.approx(np.array(truth)[curve["solved"]], abs=1e-6)
        assert (curve["value"] <= np.array(truth) + 1e-6).all() and (curve["bound"] >= np.array(truth) - 1e-6).all()
        assert curve["solved"].all() == (solves == 100 or len(curve) <= 3)


def test_the_curve_never_falls_and_its_envelope_is_concave():
    options, rigs, _ = random_season(3, jobs=25, weeks=6, rigs=3, chained=6)
    curve = money_curve(options, rigs=rigs, weeks=6, settings=settings(6), shared=random_shared(3, options))
    assert (curve["further_value"] >= 0).all() and curve["value"].iloc[0] == 0
    assert curve["further_value"].sum() == pytest.approx(curve["value"].iloc[-1])
    assert (curve["money"] <= curve["money_limit"] * (1 + 1e-9)).all()
    assert (np.diff(curve["envelope"], 2) <= 1e-6).all() and (curve["envelope"] >= curve["value"] - 1e-9).all()
    assert (curve["bound"] >= curve["value"]).all()


def test_without_jobs_the_curve_is_a_point_at_nothing():
    curve = money_curve(options_of(), rigs=rigs_of(("crew", 40.0, None)), weeks=3)
    assert curve[["money_limit", "value", "bound"]].to_numpy().tolist() == [[0, 0, 0]]
