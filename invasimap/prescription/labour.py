"""Hours of a crew: spraying, refilling, walking, mixing and travel, and the days they come to.

What is not known is never nought: hours that lack a figure are NaN, and a fault says which to type.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd

from invasimap.core.errors import Fault
from invasimap.core.rig_settings import LabourSection, RigSection
from invasimap.prescription.loads import fills
from invasimap.prescription.volume import Worked, rows_of

_CLOSE: Final = 1e-9


BY_HAND: Final = ("cut_stump", "basal_bark")  # sprayed or painted, but the time goes to the cutting and the stems


@dataclass(frozen=True, kw_only=True)
class Minutes:
    """How long a piece of work takes, by part; ``bound_by`` says what the spraying waits for."""

    work_min: float
    bound_by: str
    refills: int
    refill_min: float
    walk_min: float
    mixing_min: float

    @property
    def total_min(self) -> float:
        """All of it, in minutes of the crew together."""
        return self.work_min + self.refill_min + self.walk_min + self.mixing_min


def spraying_min(volume_L: float, *, rig: RigSection, surface_m2: float, worked_m2: float, technique: str) -> Any:
    """Minutes at the plants and what they are bound by: the longest of output, ground speed and the crew's own pace.

    Where plants are cut or treated one by one the pace is needed: what the output alone takes is a part of it.

    ``volume_L`` may be 0 for work that sprays nothing. (NaN, "") where nothing bounds it.

    Examples
    --------
    >>> rig = RigSection.model_validate(
    ...     {"name": "r", "access": "foot", "tank": "4 gal", "output": "0.3 gal/min", "trigger_share": 0.7,
    ...      "crew": 1, "wage": "1 USD/h"}
    ... )
    >>> minutes, bound_by = spraying_min(4 * 3.785411784, rig=rig, surface_m2=1, worked_m2=1, technique="foliar_spot")
    >>> round(minutes, 2), bound_by
    (19.05, 'output')
    """
    bounds: list[tuple[float, str]] = []
    if volume_L > 0:
        bounds.append((volume_L / (rig.output_L_per_min * rig.trigger_share), "output"))
        if rig.ground_speed_m_per_s is not None and rig.swath_m is not None:
            bounds.append((surface_m2 / (rig.ground_speed_m_per_s * 60 * rig.swath_m), "ground speed"))
    pace = rig.pace_of(technique)
    if pace is None and technique in BY_HAND:
        return math.nan, ""
    if pace is not None:
        hours = person_hours(worked_m2, hours_h_per_ha=pace.hours_h_per_ha)
        bounds.append((hours * 60 / rig.crew, "pace"))
    return max(bounds) if bounds else (math.nan, "")


def refill_min(refills: int, *, trip_min: float, fill_min: float) -> float:
    """Minutes of all refills: there, filling and mixing, and back. The first tank is filled before the start."""
    return 0.0 if refills == 0 else refills * (2 * trip_min + fill_min)


def minutes(
    row: Any, *, rig: RigSection, labour: LabourSection, share: float = 1.0, shared_tanks: bool = False
) -> Minutes:  # fmt: skip
    """How long a work (a row of ``loads.works``), or a share of it, takes; NaN where what it needs is not known.

    With ``shared_tanks`` it is part of a round with one mix: it takes its share of filling and of the ways there, also
    for less than a tank, and every tank counts with a way of its own.
    """
    if share == 0:  # the low end of a range may be nothing at all
        return Minutes(work_min=0.0, bound_by="", refills=0, refill_min=0.0, walk_min=0.0, mixing_min=0.0)
    volume_L = row.volume_L * share if row.sprays else 0.0
    work_min, bound_by = (math.nan, "") if math.isnan(share + volume_L) else spraying_min(
        volume_L, rig=rig, surface_m2=row.surface_m2 * share, worked_m2=row.worked_m2 * share,
        technique="foliar_spot" if row.sprays and row.technique == "cut_then_foliar" else row.technique,
    )  # fmt: skip
    tanks = 0 if math.isnan(volume_L) else fills(volume_L, tank_L=rig.tank_L)
    refills = max(tanks - 1, 0)
    refilling = refill_min(refills, trip_min=row.trip_min, fill_min=rig.fill_min)
    mixing = rig.fill_min if tanks else 0.0
    if shared_tanks and tanks:
        part = volume_L / rig.tank_L
        refilling, mixing = part * 2 * row.trip_min, part * rig.fill_min
    at_work = work_min + refilling + mixing
    days = math.nan if math.isnan(at_work) else whole_up(at_work / labour.productive_min)
    return Minutes(
        work_min=work_min, bound_by=bound_by, refills=refills, refill_min=refilling, mixing_min=mixing,
        walk_min=2 * row.trip_min * days,
    )  # fmt: skip


def hours(
    work: pd.DataFrame, *, rigs: Sequence[RigSection], labour: LabourSection, shared_tanks: bool = False
) -> Worked:  # fmt: skip
    """Hours of each work, by part, with low and high ends from those of its volume; ``shared_tanks``: see ``minutes``.

    Returns
    -------
    Worked
        Index ``work``: ``rig, work_min, bound_by, refills, refill_min, walk_min, mixing_min, travel_min`` (paid but not
        productive), ``total_min`` (productive, of the whole crew), ``crew_h`` (times people, with travel), ``days``,
        and ``total_low_min, total_high_min, days_low, days_high``.
    """
    by_name = {rig.name: rig for rig in rigs}
    rows, faults = [], _without_pace(work, by_name)
    for row in rows_of(work):
        rig = by_name[row.rig]
        made = {"likely": minutes(row, rig=rig, labour=labour, shared_tanks=shared_tanks)}
        for end in ("low", "high"):
            share = getattr(row, f"worked_{end}_m2") / row.worked_m2
            made[end] = minutes(row, rig=rig, labour=labour, share=share, shared_tanks=shared_tanks)
        rows.append(_hours_row(made, rig, labour))
    faults += _without_trip(work)
    table = pd.DataFrame(rows, index=work.index, columns=list(HOURS_COLUMNS))
    return Worked(table=table, faults=tuple(faults))


HOURS_COLUMNS: Final = (
    "rig", "work_min", "bound_by", "refills", "refill_min", "walk_min", "mixing_min", "travel_min", "total_min",
    "crew_h", "days", "total_low_min", "total_high_min", "days_low", "days_high",
)  # fmt: skip


def _hours_row(made: dict[str, Minutes], rig: RigSection, labour: LabourSection) -> dict[str, Any]:
    likely, paid = made["likely"], labour.paid_min / labour.productive_min
    row = {
        "rig": rig.name, "work_min": likely.work_min, "bound_by": likely.bound_by, "refills": likely.refills,
        "refill_min": likely.refill_min, "walk_min": likely.walk_min, "mixing_min": likely.mixing_min,
        "travel_min": likely.total_min * (paid - 1), "total_min": likely.total_min,
        "crew_h": likely.total_min * paid / 60 * rig.crew, "days": likely.total_min / labour.productive_min,
    }  # fmt: skip
    for end in ("low", "high"):
        row |= {f"total_{end}_min": made[end].total_min, f"days_{end}": made[end].total_min / labour.productive_min}
    return row


def _without_pace(work: pd.DataFrame, rigs: dict[str, RigSection]) -> list[Fault]:
    needs = ~work["sprays"].astype(bool) | work["technique"].isin(BY_HAND)
    by_hand = work.loc[needs, ["rig", "technique"]].drop_duplicates()
    return [
        Fault(
            where=f"rig {row.rig!r}",
            what=f"has no pace for {row.technique}: its hours and money are not known",
            mend="type your own under [[rig.pace]]",
        )
        for row in rows_of(by_hand)
        if rigs[str(row.rig)].pace_of(str(row.technique)) is None
    ]


def _without_trip(work: pd.DataFrame) -> list[Fault]:
    lost = work.index[work["trip_min"].isna()]
    if not len(lost):
        return []
    apart = work.loc[lost, ["rig", "stand"]].drop_duplicates()
    named = "; ".join(f"{row.rig} in stand {row.stand}" for row in rows_of(apart.head(5)))
    more = f" and {len(apart) - 5} more" if len(apart) > 5 else ""
    what = f"the way from the water to the work is not known, nor are hours: {named}{more}"
    mend = "type refill_trip under the rig; on foot, look at the access"
    return [Fault(where="[[rig]]", what=what, mend=mend)]


def days_of_rigs(
    hours_of: pd.DataFrame, *, rigs: Sequence[RigSection], labour: LabourSection, weekly: pd.DataFrame | None = None
) -> pd.DataFrame:  # fmt: skip
    """Crew-days of each rig that has work: index ``rig``.

    With ``weekly`` (``rig, week, hours``) every week's days are whole ones: a crew that is called out for two hours in
    each of three weeks comes on three days.

    ``days`` exactly, ``whole_days`` (up), ``available_days``, ``over`` (more than are available), ``calendar_days``
    (up, by the share of days that let a crew spray), ``labour_money`` of the whole days and ``lost_money``, the pay of
    days lost to weather.
    """
    rows = {}
    for rig in rigs:
        own = hours_of.loc[hours_of["rig"] == rig.name, "days"]
        if not len(own):
            continue
        days = float(own.sum(skipna=False))
        whole = math.nan if math.isnan(days) else float(whole_up(days))
        if weekly is not None and not math.isnan(days):
            in_week = weekly.loc[weekly["rig"] == rig.name].groupby("week")["hours"].sum()
            whole = float(sum(whole_up(hours * 60 / labour.productive_min) for hours in in_week))
        calendar = math.nan if math.isnan(days) else max(float(whole_up(days / labour.spray_day_chance)), whole)
        a_day = labour.paid_min / 60 * rig.wage.amount * rig.crew
        available = math.nan if rig.available_days is None else rig.available_days
        rows[rig.name] = {
            "days": days, "whole_days": whole, "available_days": available, "over": whole > available,
            "calendar_days": calendar, "labour_money": whole * a_day, "lost_money": (calendar - whole) * a_day,
        }  # fmt: skip
    return pd.DataFrame.from_dict(rows, orient="index").rename_axis("rig")


def person_hours(area_m2: float, *, hours_h_per_ha: float) -> float:
    """Hours of one person that an area takes."""
    return area_m2 / 1e4 * hours_h_per_ha


def crew_days(person_h: float, *, crew: int, productive_min: float) -> float:
    """Days of a crew that person-hours take."""
    return person_h * 60 / (crew * productive_min)


def whole_up(number: float) -> int:
    """The next whole number, but for what arithmetic itself adds.

    Examples
    --------
    >>> whole_up(3.2), whole_up(3 + 1e-12)
    (4, 3)
    """
    return math.ceil(number - _CLOSE * max(1.0, abs(number)))
