"""The schedule by day: which works a rig does on which day of its week, in which order, for how long."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from invasimap.core.errors import Fault, InputError
from invasimap.core.rig_settings import LabourSection, RigSection
from invasimap.prescription.labour import whole_up
from invasimap.prescription.volume import rows_of

COLUMNS: Final = ("work", "week", "monday", "day", "rig", "order", "part", "parts", "hours", "volume_L")
_NEAR_DECIMALS: Final = 3  # of a metre: nearer together, works are as near as each other
_CLOSE: Final = 2e-9  # of what a week takes: what ``whole_up`` leaves to arithmetic, and a little more
_Day = list[tuple[int, float]]  # works by their place in the week's order, each with its minutes of that day


@dataclass(frozen=True, kw_only=True)
class _Stint:
    """What a work takes in a week: minutes, mix and what tells that from others (empty: nothing is sprayed)."""

    minutes: float
    volume_L: float
    tank: str

    @property
    def L_per_min(self) -> float:
        return self.volume_L / self.minutes if self.tank and self.minutes > 0 else 0.0


@dataclass(frozen=True, kw_only=True)
class _Manner:
    """How days are filled: their length, what one more tank of each mix takes, least parts, and tanks to be emptied."""

    room_min: float
    fill_min: float
    least_min: float
    tank_L: float


def working_days(
    schedule: pd.DataFrame,
    *,
    places: pd.DataFrame,
    rigs: Sequence[RigSection],
    labour: LabourSection,
    days_per_week: int,
) -> pd.DataFrame:
    """What each rig does on each day of its weeks: a plan, from which the crew lead moves a day that lets nobody spray.

    Days are counted from the week's Monday, and there are as few as the week's hours fill: what ``days_of_rigs`` calls
    whole days. A work longer than what is left of a day goes on the next day. As long as that adds no day, neither end
    of it is shorter than ``least_part_min``, the last tank of each mix, filled in part, has its time too, and a work is
    parted where a tank is empty: what is mixed is used the same day, and a jug measures a full tank best.

    A week begins with the work that takes the shortest walk from where a vehicle can stop (where no walk is known, the
    westernmost), since people and tanks come from there; all works of its stand follow, each time the nearest, then the
    nearest of another stand. Within a day works without spray come first, since nobody goes back into what was just
    sprayed; those of one mix are done together: its tank is emptied before another mix goes in, and there is one last
    part load of it.

    Parameters
    ----------
    schedule
        A row a work and week: ``work, week, monday, rig, hours`` (of the crew together), ``volume_L``.
    places
        What ``places_of`` gives of these works.
    rigs
        The settings: ``tank_L``, and ``fill_min`` to fill and mix it.
    labour
        A crew's day: ``productive_min``, ``least_part_min``.
    days_per_week
        Days of a week that may be worked.

    Returns
    -------
    DataFrame
        A row a work and day, in order: ``work, week, monday, day`` (a date), ``rig, order`` (from 1 in the day of the
        rig), ``part, parts`` (of the work, over all its days), ``hours, volume_L``. The hours and the volume of a
        schedule's row are the sums of its parts.

    Raises
    ------
    InputError
        When the hours of a work are not known, or a week takes more than its days hold.

    Examples
    --------
    >>> schedule = pd.DataFrame({"work": [1, 2], "week": 0, "monday": dt.date(2026, 9, 7), "rig": "pair",
    ...     "hours": [4.0, 5.0], "volume_L": [40.0, 100.0]})
    >>> places = pd.DataFrame({"stand": "1", "x_m": [0.0, 90.0], "y_m": 0.0, "walk_min": [9.0, 4.0],
    ...     "tank": "leaves"}, index=[1, 2])
    >>> labour = LabourSection.model_validate({"productive": "6 h"})
    >>> pair = RigSection.model_validate({"name": "pair", "access": "foot", "tank": "15 l", "output": "1 l/min",
    ...     "fill": "0 min", "crew": 2, "wage": "28 USD/h"})
    >>> found = working_days(schedule, places=places, rigs=[pair], labour=labour, days_per_week=5)
    >>> found[["work", "order", "part", "parts", "volume_L"]].values.tolist()
    [[2.0, 1.0, 1.0, 1.0, 100.0], [1.0, 2.0, 1.0, 2.0, 5.0], [1.0, 1.0, 2.0, 2.0, 35.0]]
    """
    if faults := list(_faults(schedule, labour, days_per_week)):
        raise InputError(faults)
    by_name = {rig.name: rig for rig in rigs}
    rows: list[dict[str, Any]] = []
    for (_, rig), own in schedule.groupby(["week", "rig"], sort=True):
        rows += _of_week(own, places, labour=labour, rig=by_name[str(rig)])
    table = pd.DataFrame(rows, columns=[name for name in COLUMNS if name not in ("part", "parts")])
    by_work = table.groupby("work")["day"]
    table = table.assign(part=by_work.cumcount() + 1, parts=by_work.transform("size"))
    table = table.sort_values(["day", "rig", "order"], kind="stable").reset_index(drop=True)
    return table[[*COLUMNS]].astype({"work": "int64", "week": "int64", "order": "int64", "parts": "int64"})


def places_of(jobs: gpd.GeoDataFrame, *, tanks: pd.Series[str]) -> pd.DataFrame:
    """Where works are, as ``working_days`` asks for it.

    Parameters
    ----------
    jobs
        A row a visit to a piece of ground, in metres: ``work`` (NA where it is in none), ``stand, walk_min`` (NaN where
        no walk leads there) and its polygon.
    tanks
        By work, what tells its mix and strength from others; empty where nothing is sprayed.

    Returns
    -------
    DataFrame
        Index ``work``: ``stand, x_m, y_m`` (the centre of its ground), ``walk_min`` (the shortest to any of its
        pieces) and ``tank``.
    """
    live = jobs[jobs["work"].notna()]
    by_work = live["work"].astype("int64").to_numpy()
    ground = live.geometry.to_numpy()
    centres, area = shapely.get_coordinates(shapely.centroid(ground)), shapely.area(ground)
    weights = pd.DataFrame({"x": centres[:, 0] * area, "y": centres[:, 1] * area, "area": area}).groupby(by_work).sum()
    pieces = live.groupby(by_work)
    found = pd.DataFrame(
        {"stand": pieces["stand"].first().astype(str), "x_m": weights["x"] / weights["area"],
         "y_m": weights["y"] / weights["area"], "walk_min": pieces["walk_min"].min().astype(float)},
    )  # fmt: skip
    return found.assign(tank=tanks.reindex(found.index)).rename_axis("work")


def _faults(schedule: pd.DataFrame, labour: LabourSection, days_per_week: int) -> Iterator[Fault]:
    """Weeks of rigs whose hours are not known, or more than their days hold."""
    for (monday, rig), hours in schedule.groupby(["monday", "rig"], sort=True)["hours"]:
        total = float(hours.sum(skipna=False))
        where, a_day = f"rig {rig!r}, week of {str(monday)[:10]}", labour.productive_min / 60
        if np.isnan(total):
            mend = "give the hours of every work in the schedule"
            yield Fault(where=where, what="hours of a work are not known", mend=mend)
        elif whole_up(total / a_day) > days_per_week:
            what = f"takes {total:.1f} h, more than {days_per_week} days of {a_day:g} h hold"
            yield Fault(where=where, what=what, mend="plan less in that week, or more days_per_week")


def _of_week(
    own: pd.DataFrame, places: pd.DataFrame, *, labour: LabourSection, rig: RigSection
) -> list[dict[str, Any]]:
    """The rows of one rig's week, day by day in their order."""
    tour = tour_of(places.loc[own["work"]])
    rows = list(rows_of(own.set_index("work").loc[tour].reset_index()))
    stints = [
        _Stint(minutes=row.hours * 60, volume_L=row.volume_L, tank=str(places.at[row.work, "tank"])) for row in rows
    ]
    found: list[dict[str, Any]] = []
    done = dict.fromkeys(range(len(rows)), 0.0)
    for number, day in enumerate(_fewest_days(stints, labour=labour, rig=rig)):
        for order, (at, minutes) in enumerate(_tank_by_tank(day, stints), 1):
            row, before = rows[at], done[at]
            done[at] += minutes
            share = _share(done[at], stints[at].minutes) - (_share(before, stints[at].minutes) if before else 0.0)
            found.append({
                "work": row.work, "week": row.week, "monday": row.monday, "rig": row.rig, "order": order,
                "day": row.monday + dt.timedelta(number), "hours": row.hours * share, "volume_L": row.volume_L * share,
            })  # fmt: skip
    return found


def _share(minutes: float, whole: float) -> float:
    return min(minutes / whole, 1.0) if whole > 0 else 1.0


def tour_of(places: pd.DataFrame) -> list[int]:
    """Works, by their places, in the order they are come to: a stand at a time, each time the nearest.

    Examples
    --------
    >>> places = pd.DataFrame({"stand": ["2", "1", "2"], "x_m": [0.0, 10.0, 90.0], "y_m": 0.0, "walk_min": 3.0},
    ...     index=[7, 8, 9])
    >>> tour_of(places)
    [7, 9, 8]
    """
    works, stands = places.index.to_numpy(), places["stand"].to_numpy(object)
    x, y = places["x_m"].to_numpy(float), places["y_m"].to_numpy(float)
    walk = places["walk_min"].fillna(np.inf).to_numpy(float)
    left = np.ones(len(works), bool)
    at = int(np.lexsort((works, y, x, walk))[0])
    found = []
    while True:
        found.append(int(works[at]))
        left[at] = False
        if not left.any():
            return found
        same = left & (stands == stands[at])
        others = np.flatnonzero(same if same.any() else left)
        far = np.round(np.hypot(x[others] - x[at], y[others] - y[at]), _NEAR_DECIMALS)
        at = int(others[np.lexsort((works[others], far))[0]])


def _fewest_days(stints: Sequence[_Stint], *, labour: LabourSection, rig: RigSection) -> list[_Day]:
    """The days of works in their order: no more than their hours fill, by the first manner that needs no more."""
    room, least = labour.productive_min, labour.least_part_min
    most = max(whole_up(sum(one.minutes for one in stints) / room), 1)
    plain = _Manner(room_min=room, fill_min=0.0, least_min=0.0, tank_L=math.inf)
    for fill_min in (rig.fill_min, 0.0):
        for tank_L in (rig.tank_L, math.inf):
            manner = _Manner(room_min=room, fill_min=fill_min, least_min=least, tank_L=tank_L)
            found = _filled(stints, manner)
            if len(found) <= most:
                return found
    return _filled(stints, plain)


def _filled(stints: Sequence[_Stint], manner: _Manner) -> list[_Day]:
    """Days filled one after another; a work is parted where its day ends, unless either part would be a sliver."""
    spare = _CLOSE * max(sum(one.minutes for one in stints), manner.room_min)
    days: list[_Day] = [[]]
    used, mixed_L = 0.0, dict[str, float]()
    for at, stint in enumerate(stints):
        rest, begun = stint.minutes, False
        while rest > spare or not begun:
            free = manner.room_min - used - (manner.fill_min if stint.tank and stint.tank not in mixed_L else 0.0)
            part = rest if rest <= free + spare else _begun(min(free, rest - manner.least_min), stint, manner, mixed_L)
            if part < rest and part < max(manner.least_min, spare):
                if days[-1]:
                    days.append([])
                    used, mixed_L = 0.0, {}
                    continue
                part = max(free, manner.room_min / 2)  # a day by itself holds some of it
            part = rest if part > rest - spare else part
            days[-1].append((at, part))
            used, rest, begun = manner.room_min - free + part, rest - part, True
            mixed_L[stint.tank] = mixed_L.get(stint.tank, 0.0) + part * stint.L_per_min
    return days


def _begun(most_min: float, stint: _Stint, manner: _Manner, mixed_L: Mapping[str, float]) -> float:
    """How long a work is gone on with that its day does not hold: till its tank is empty, where that can be."""
    if not (stint.tank and stint.L_per_min > 0 and manner.tank_L < math.inf):
        return most_min
    before = mixed_L.get(stint.tank, 0.0)
    tanks = math.floor((before + most_min * stint.L_per_min) / manner.tank_L * (1 + _CLOSE))
    return (tanks * manner.tank_L - before) / stint.L_per_min


def _tank_by_tank(day: _Day, stints: Sequence[_Stint]) -> _Day:
    """A day's works with those of a mix together: without spray first, then what goes on from the day before.

    What goes on after this day comes last.
    """
    named = [stints[at].tank for at, _ in day]
    turn = {tank: place for place, tank in reversed(list(enumerate(named)))}
    if named[-1] != named[0]:
        turn[named[-1]] = len(day)
    turn[""] = -1
    return sorted(day, key=lambda one: turn[stints[one[0]].tank])
