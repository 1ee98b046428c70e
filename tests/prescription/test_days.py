"""The schedule by day, against a week laid out by hand and what holds of any week."""

import datetime as dt
import itertools
import math

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from invasimap.core.errors import InputError
from invasimap.core.rig_settings import LabourSection, RigSection
from invasimap.prescription.days import COLUMNS, places_of, tour_of, working_days

MONDAY = dt.date(2026, 8, 3)
LABOUR = LabourSection.model_validate({"productive": "6 h", "paid": "8 h", "least_part": "30 min"})


def rig(**said: str) -> RigSection:
    usual = {"name": "pair", "access": "foot", "tank": "10 l", "output": "1 l/min", "fill": "12 min", "crew": 2}
    return RigSection.model_validate(usual | {"wage": "28 USD/h"} | said)


def scheduled(*hours: float, volume_L: float = 0.0, week: int = 0, name: str = "pair") -> pd.DataFrame:
    """Works 1, 2 and so on of one rig and week."""
    return pd.DataFrame({
        "work": range(1, len(hours) + 1), "week": week, "monday": MONDAY + dt.timedelta(7 * week), "rig": name,
        "hours": hours, "volume_L": volume_L,
    })  # fmt: skip


def places(count: int, **said: object) -> pd.DataFrame:
    """Works along a line from west to east, 100 m apart, in one stand, without a tank."""
    index = pd.RangeIndex(1, count + 1, name="work")
    usual = {"stand": "1", "x_m": 100.0 * np.arange(count), "y_m": 0.0, "walk_min": 5.0, "tank": ""}
    return pd.DataFrame(usual | said, index=index)


def by_day(schedule: pd.DataFrame, where: pd.DataFrame, **said: object) -> pd.DataFrame:
    asked = {"rigs": [rig()], "labour": LABOUR, "days_per_week": 5} | said
    return working_days(schedule, places=where, **asked)


def said(found: pd.DataFrame) -> list[tuple[int, int, int, float]]:
    """Day of the week, order, work and minutes."""
    return [(row.day.weekday(), row.order, row.work, round(row.hours * 60, 6)) for row in found.itertuples()]


def test_a_week_by_hand():
    """Days of 360 min. The way in to work 3 is the shortest, then its stand: 2, and the nearest beyond: 1, 4.

    Work 3 takes 300 min and leaves 60 for 2 (90 min): 60 and 30, no part under 30. Of the next day 330 are left, of
    which work 1 takes 310; 20 would be a sliver of work 4 (100 min), which begins on the third day.
    """
    where = places(4, stand=["1", "2", "2", "1"], walk_min=[9.0, 8.0, 2.0, 7.0])
    found = by_day(scheduled(310 / 60, 90 / 60, 300 / 60, 100 / 60), where)
    assert said(found) == [(0, 1, 3, 300), (0, 2, 2, 60), (1, 1, 2, 30), (1, 2, 1, 310), (2, 1, 4, 100)]
    assert found[["part", "parts"]].values.tolist() == [[1, 1], [1, 2], [2, 2], [1, 1], [1, 1]]
    assert found["day"].tolist() == [MONDAY, MONDAY, *[MONDAY + dt.timedelta(1)] * 2, MONDAY + dt.timedelta(2)]


def test_a_sliver_is_left_where_its_lack_would_add_a_day():
    """350 and 370 min are two days to the minute: the last 10 min of the first go to the second work all the same."""
    assert said(by_day(scheduled(350 / 60, 370 / 60), places(2))) == [(0, 1, 1, 350), (0, 2, 2, 10), (1, 1, 2, 360)]
    # with 100 min to spare neither its beginning nor its end is shorter than half an hour
    assert said(by_day(scheduled(350 / 60, 270 / 60), places(2))) == [(0, 1, 1, 350), (1, 1, 2, 270)]
    assert said(by_day(scheduled(300 / 60, 80 / 60), places(2))) == [(0, 1, 1, 300), (0, 2, 2, 50), (1, 1, 2, 30)]


def test_a_sprayed_work_is_parted_where_a_tank_is_empty_and_the_last_fill_has_its_time():
    """100 l in 500 min, 5 min a litre: of 360 - 12 min 348 hold 69.6 l, so 6 tanks of 10 l go out on the first day."""
    found = by_day(scheduled(500 / 60, volume_L=100.0), places(1, tank="leaves"))
    assert found["volume_L"].tolist() == pytest.approx([60.0, 40.0])
    assert found["hours"].tolist() == pytest.approx([5.0, 10 / 3])
    # 715 min leave no time for that: the day is filled, and what goes out is what it holds
    tight = by_day(scheduled(715 / 60, volume_L=143.0), places(1, tank="leaves"))
    assert tight["volume_L"].tolist() == pytest.approx([72.0, 71.0])


def test_works_of_a_mix_are_together_within_a_day():
    """Met in the order a, b, a: the tank of a is emptied before b goes in; what goes on tomorrow comes last.

    What sprays nothing comes first: nobody goes back into what was just sprayed.
    """
    assert by_day(scheduled(1.0, 1.0, 1.0), places(3, tank=["a", "", "a"]))["work"].tolist() == [2, 1, 3]
    found = by_day(scheduled(1.0, 1.0, 1.0), places(3, tank=["a", "b", "a"]), rigs=[rig(fill="0 min")])
    assert found["work"].tolist() == [1, 3, 2]
    found = by_day(scheduled(1.0, 1.0, 1.0, 4.0), places(4, tank=["a", "b", "a", "b"]), rigs=[rig(fill="0 min")])
    assert found["work"].tolist() == [1, 3, 2, 4, 4] and found["part"].tolist() == [1, 1, 1, 1, 2]


def test_without_a_known_walk_the_westernmost_is_first():
    where = places(3, walk_min=math.nan, x_m=[50.0, 20.0, 90.0])
    assert tour_of(where) == [2, 1, 3]
    assert tour_of(where.assign(walk_min=[math.nan, math.nan, 60.0])) == [3, 1, 2]


def test_where_a_work_is():
    """Squares of 10 and 20 m about (5, 5) and (110, 110): the centre lies at 4/5 of the way to the larger."""
    jobs = gpd.GeoDataFrame(
        {"work": pd.array([7, 7, pd.NA], "Int64"), "stand": ["3", "3", "4"], "walk_min": [9.0, math.nan, 1.0]},
        geometry=[shapely.box(0, 0, 10, 10), shapely.box(100, 100, 120, 120), shapely.box(0, 0, 1, 1)],
    )
    found = places_of(jobs, tanks=pd.Series({7: "leaves"}))
    assert found.reset_index().to_dict("records") == [
        {"work": 7, "stand": "3", "x_m": pytest.approx(89), "y_m": pytest.approx(89), "walk_min": 9.0, "tank": "leaves"}
    ]


def test_more_than_a_week_holds_and_unknown_hours_are_refused():
    with pytest.raises(InputError, match=r"rig 'pair', week of 2026-08-03.*takes 31\.0 h, more than 5 days of 6 h"):
        by_day(scheduled(16.0, 15.0), places(2))
    with pytest.raises(InputError, match="hours of a work are not known"):
        by_day(scheduled(1.0, math.nan), places(2))
    assert by_day(scheduled(), places(0)).columns.tolist() == [*COLUMNS]


@st.composite
def weeks(draw):
    """Up to three weeks of two rigs, each work in one of them, with places, mixes and stands of all kinds."""
    count = draw(st.integers(1, 14))
    rows, held = [], {}
    for work in range(1, count + 1):
        week, name = draw(st.integers(0, 2)), draw(st.sampled_from(["pair", "hose"]))
        free = 5 * 6.0 - held.get((week, name), 0.0)
        hours = min(draw(st.sampled_from([0.0, 0.1, 0.5, 6.0, 12.0]) | st.floats(0.05, 14)), free)
        held[week, name] = held.get((week, name), 0.0) + hours
        tank = draw(st.sampled_from(["", "a", "b"]))
        rows.append({
            "work": work, "week": week, "monday": MONDAY + dt.timedelta(7 * week), "rig": name, "hours": hours,
            "volume_L": draw(st.floats(0.1, 300)) if tank else 0.0, "tank": tank,
            "stand": draw(st.sampled_from("123")), "x_m": draw(st.integers(0, 5)) * 40.0,
            "y_m": draw(st.integers(0, 5)) * 40.0, "walk_min": draw(st.sampled_from([3.0, 8.0, math.nan])),
        })  # fmt: skip
    table = pd.DataFrame(rows)
    return table.iloc[:, :6], table.set_index("work")[["stand", "x_m", "y_m", "walk_min", "tank"]]


@settings(max_examples=40, deadline=None)
@given(weeks(), st.sampled_from([0, 12, 60]), st.sampled_from(["10 l", "400 l"]), st.randoms(use_true_random=False))
def test_what_holds_of_any_weeks(made, fill_min, tank, random):
    schedule, where = made
    rigs = [rig(name=name, fill=f"{fill_min} min", tank=tank) for name in ("pair", "hose")]
    found = by_day(schedule, where, rigs=rigs)
    keys = ["work", "week"]
    sums = found.groupby(keys)[["hours", "volume_L"]].sum()
    assert np.allclose(sums, schedule.groupby(keys)[["hours", "volume_L"]].sum(), rtol=1e-12, atol=1e-12)
    assert (found[["hours", "volume_L"]] >= 0).all().all()
    in_week = found.assign(number=[(row.day - row.monday).days for row in found.itertuples()])
    for (week, name), own in in_week.groupby(["week", "rig"]):
        hours = schedule.loc[(schedule["week"] == week) & (schedule["rig"] == name), "hours"].sum()
        assert own["number"].nunique() == max(math.ceil(hours / 6 - 1e-9), 1) <= 5
        assert set(own["number"]) == set(range(own["number"].nunique()))
    for _, own in found.groupby(["day", "rig"]):
        assert own["hours"].sum() <= 6 + 1e-6
        assert own["order"].tolist() == list(range(1, len(own) + 1)) and own["work"].is_unique
        mixes = where.loc[own["work"], "tank"].tolist()
        changes = sum(one != other for one, other in itertools.pairwise(mixes))
        assert changes == len(set(mixes)) - 1 and "" not in mixes[mixes.count("") :]
    for _, own in found.groupby("work"):
        assert own["part"].tolist() == list(range(1, len(own) + 1)) and set(own["parts"]) == {len(own)}
        assert own["day"].is_unique and own["day"].is_monotonic_increasing
        numbers = in_week.loc[own.index, "number"]
        assert numbers.diff().dropna().eq(1).all()
    rows = random.sample(range(len(schedule)), len(schedule))
    pd.testing.assert_frame_equal(by_day(schedule.iloc[rows], where, rigs=rigs), found)


@settings(max_examples=40, deadline=None)
@given(weeks())
def test_a_stand_is_finished_before_the_next_and_the_nearest_is_next(made):
    _, where = made
    tour = tour_of(where)
    assert sorted(tour) == where.index.tolist()
    stands = where.loc[tour, "stand"].tolist()
    assert sum(one != other for one, other in itertools.pairwise(stands)) == len(set(stands)) - 1
    known = where["walk_min"].dropna()
    assert not len(known) or where.loc[tour[0], "walk_min"] == known.min()
    xy = where[["x_m", "y_m"]]
    for at, (here, there) in enumerate(itertools.pairwise(tour)):
        left = tour[at + 1 :]
        same = [work for work in left if where.loc[work, "stand"] == where.loc[here, "stand"]]
        far = [math.dist(xy.loc[here], xy.loc[work]) for work in same or left]
        assert math.dist(xy.loc[here], xy.loc[there]) == min(far)
