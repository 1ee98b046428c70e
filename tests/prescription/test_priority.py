"""What patches are worth, on squares whose distances are known by hand; weeks and waits by a calendar."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest
import shapely

from invasimap.core.schedule_settings import ScheduleSection
from invasimap.prescription.priority import outlying_distance_m, outlying_weights, priorities
from invasimap.prescription.schedule_table import wait_weeks, weeks_within

WEIGHTS = ScheduleSection(
    outlying_weight=3, outlying_distance="200 m", cluster_distance="20 m", stand_priority={"7": 2, "wet": 0}
)


def squares(*rows, species="privet"):
    """Rows of x and side, on one line, named a, b, c ..."""
    shapes = [shapely.box(x, 0, x + side, side) for x, side in rows]
    return pd.DataFrame({"species": species, "geometry": shapes}, index=list("abcdefgh")[: len(rows)])


def distances(patches, *, cluster=20, within=500):
    return outlying_distance_m(patches, cluster_distance_m=cluster, looked_for_within_m=within).to_dict()


def test_the_distance_is_to_the_nearest_larger_cluster_edge_to_edge():
    # b lies 10 m off a (one cluster, 10,100 m2); c 90 m off b; d 60 m off c, but c is the smaller
    patches = squares((0, 100), (110, 10), (210, 5), (275, 20))
    assert distances(patches) == {"a": 0, "b": 0, "c": 60, "d": 155}
    assert distances(patches, within=100) == {"a": 0, "b": 0, "c": 60, "d": np.inf}
    assert distances(patches, cluster=0)["b"] == 10


def test_clusters_of_one_size_both_lie_out_and_a_species_does_not_see_another():
    patches = squares((0, 10), (110, 10))
    assert distances(patches) == {"a": 100, "b": 100}
    assert distances(patches.assign(species=["privet", "olive"])) == {"a": 0, "b": 0}
    assert distances(squares()) == {}


def test_worth_is_infested_area_times_stand_times_outlying():
    patches = pd.DataFrame({
        "species": "privet", "stand": ["7", 7, "9", "wet", "9"], "infested_m2": [100.0, 100, 50, 80, np.nan],
        "outlying_m": [0.0, 100, 900, 0, 0],
    })  # fmt: skip
    worth = priorities(patches, settings=WEIGHTS)
    assert worth["outlying_weight"].tolist() == [1, 2, 3, 1, 1]
    assert worth["value_m2"].iloc[:4].tolist() == [200, 400, 150, 0]
    assert np.isnan(worth["value_m2"].iloc[4])
    assert outlying_weights(pd.Series([np.nan, np.inf]), settings=WEIGHTS).tolist() == [1, 3]


def test_worth_is_found_from_the_shapes_where_no_distance_is_given():
    patches = squares((0, 100), (200, 10)).assign(stand="1", infested_m2=10.0)
    assert priorities(patches, settings=WEIGHTS)["value_m2"].to_dict() == {"a": 10, "b": pytest.approx(20)}


MONDAYS = [dt.date(2026, 9, 7) + dt.timedelta(7 * week) for week in range(6)]


@pytest.mark.parametrize(
    ("first", "last", "days", "weeks"),
    [
        ("2026-09-07", "2026-09-11", 5, (0, 0)),
        ("2026-09-07", "2026-09-10", 5, (0, -1)),
        ("2026-09-08", "2026-09-20", 5, (1, 1)),
        ("2026-09-08", "2026-09-19", 7, (0, -1)),
        ("2026-01-01", "2026-12-31", 5, (0, 5)),
        ("2026-10-01", "2026-09-01", 5, (0, -1)),
    ],
)
def test_a_week_counts_for_a_window_with_all_its_working_days(first, last, days, weeks):
    first, last = dt.date.fromisoformat(first), dt.date.fromisoformat(last)
    assert weeks_within(first, last, starts=MONDAYS, days_per_week=days) == weeks


@pytest.mark.parametrize("days", [1, 5, 7])
@pytest.mark.parametrize(("least", "most"), [(56, 70), (0, 7), (1, 30), (14, 14), (8, None)])
def test_waits_in_weeks_hold_whichever_days_are_worked(least, most, days):
    low, high = wait_weeks(least, most, days_per_week=days)
    for weeks in range(-1, 20):
        gaps = [7 * weeks + later - earlier for earlier in range(days) for later in range(days)]
        held = min(gaps) >= least and (most is None or max(gaps) <= most)
        assert held == (low <= weeks and (high is None or weeks <= high))
