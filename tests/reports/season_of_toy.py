"""A season of three works on the toy tract, every figure invented and set by hand, for the report to tell.

Two rigs: a pair sprays Z001 in the week of 7 September 2026; a hose crew cuts Z002 in that week and sprays it eight
weeks later. Ground in acres: 2 and 1 planned, 0.5 that fits and is not, 3 with nothing to do, 4 outside every stand.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from typing import Any

import geopandas as gpd
import pandas as pd

from invasimap.core.rig_settings import RigSection
from invasimap.core.schedule_settings import BudgetSection
from invasimap.core.season_settings import SeasonSection
from invasimap.prescription.plan import Plan
from invasimap.prescription.treatment import Answer, Treatment

ACRE_M2 = 4046.8564224
MONDAY = dt.date(2026, 9, 7)
LATER = MONDAY + dt.timedelta(weeks=8)
NAN = float("nan")
RIGS = (
    {"name": "pair", "access": "foot", "tank": "4 gal", "output": "0.4 gal/min", "crew": 2, "wage": "25 USD/h",
     "trigger_share": 0.5},
    {"name": "hose crew", "access": "atv_hose", "tank": "25 gal", "output": "3 gal/min", "crew": 2,
     "wage": "25 USD/h", "refill_trip": "6 min"},
)  # fmt: skip
SPRAY_WINDOW = (pd.Timestamp("2026-09-07"), pd.Timestamp("2026-09-25"))
CUT_WINDOW = (pd.Timestamp("2026-09-01"), pd.Timestamp("2026-09-20"))
LATE_WINDOW = (pd.Timestamp("2026-10-23"), pd.Timestamp("2026-11-05"))
NO_WINDOW = (pd.NaT, pd.NaT)


def with_season(plan: Plan, **changes: Any) -> Plan:
    """The plan with the season above, its rigs, budget and signs; ``changes`` take the place of single tables."""
    settings = plan.settings.model_copy(update={
        "rig": [RigSection.model_validate(rig) for rig in RIGS],
        "budget": BudgetSection.model_validate({"money": "1000 USD"}),
        "season": SeasonSection.model_validate({"native_leaf_drop": "10-20", "killing_freeze": "11-05"}),
    })  # fmt: skip
    return dataclasses.replace(plan, settings=settings, treatment=dataclasses.replace(season(plan), **changes))


def without_rigs(plan: Plan) -> Plan:
    """The plan without rigs, mixes and so without works: techniques and windows alone."""
    whole = season(plan)
    tables = ("work", "loads", "schedule", "days", "unplanned", "rig_days", "curve")
    empty = {name: getattr(whole, name).iloc[:0] for name in tables}
    jobs = whole.jobs.assign(work=pd.array([pd.NA] * len(whole.jobs), "Int64"))
    bare = dataclasses.replace(whole, jobs=jobs, currency="", answer=None, **empty)
    return dataclasses.replace(plan, treatment=bare)


def season(plan: Plan) -> Treatment:
    """The season above."""
    return Treatment(
        start=MONDAY, start_said="start in the settings", currency="USD", jobs=jobs(plan), windows=windows(),
        work=work(), loads=pd.DataFrame(), schedule=schedule(), days=days(), unplanned=unplanned(), withheld=withheld(),
        rig_days=rig_days(), curve=curve(),
        answer=Answer(method="within 0.4 %", value_m2=3 * ACRE_M2, bound_m2=3.012 * ACRE_M2, greedy_m2=2.9 * ACRE_M2,
                      gap_pct=0.3984, next_best="the best other choice comes to 3 % less"),
    )  # fmt: skip


def jobs(plan: Plan) -> gpd.GeoDataFrame:
    columns = ["species", "stand", "technique", "reason", "visit", "visits", "gross_m2", "work", "why"]
    rows = [
        ("Lonicera maackii", "1", "foliar_spot", "within 6 ft", 1, 1, 2 * ACRE_M2, 1, ""),
        ("Lonicera maackii", "2", "cut_then_foliar", "over 6 ft", 1, 2, ACRE_M2, 2, ""),
        ("Lonicera maackii", "2", "cut_then_foliar", "over 6 ft", 2, 2, ACRE_M2, 3, ""),
        ("Ailanthus altissima", "3", "pull", "few", 1, 1, 0.5 * ACRE_M2, None, "no hours"),
        ("Ailanthus altissima", "1", "none", "no means at hand reaches it", 1, 0, 3 * ACRE_M2, None, "not reached"),
        ("Ailanthus altissima", "(outside)", "foliar_spot", "within 6 ft", 1, 1, 4 * ACRE_M2, None, "outside"),
    ]
    table = pd.DataFrame(rows, columns=columns).astype({"work": "Int64"})
    return gpd.GeoDataFrame(table, geometry=plan.patches.geometry.iloc[: len(table)].to_numpy(), crs=plan.crs)


def windows() -> pd.DataFrame:
    columns = ["species", "technique", "visit", "first", "last", "estimated", "window", "gross_m2"]
    rows = [
        ("Lonicera maackii", "cut_then_foliar", 1, *CUT_WINDOW, False, "56 to 70 days before its spraying", ACRE_M2),
        ("Lonicera maackii", "foliar_spot", 1, *SPRAY_WINDOW, False, "your own window", 2 * ACRE_M2),
        ("Lonicera maackii", "cut_then_foliar", 2, *LATE_WINDOW, True, "native leaf drop to freeze", ACRE_M2),
        ("Ailanthus altissima", "pull", 1, *NO_WINDOW, False, "full leaf is not known", 0.5 * ACRE_M2),
    ]
    return pd.DataFrame(rows, columns=columns)


def work() -> pd.DataFrame:
    columns = [
        "zone_id", "stand", "rig", "technique", "visit", "visits", "sprays", "mix", "first", "last", "worked_m2",
        "crew_h", "labour_money", "machine_money", "product_money", "travel_money", "money", "money_low", "money_high",
    ]  # fmt: skip
    rows = [
        ("Z001", "1", "pair", "foliar_spot", 1, 1, True, "mix A", *SPRAY_WINDOW, 1.5 * ACRE_M2,
         6.0, 100.0, 0.0, 40.0, 10.0, 150.0, 120.0, 200.0),
        ("Z002", "2", "hose crew", "cut_then_foliar", 1, 2, False, "", *CUT_WINDOW, ACRE_M2,
         8.0, 180.0, 20.0, 0.0, 0.0, 200.0, 160.0, 260.0),
        ("Z002", "2", "hose crew", "cut_then_foliar", 2, 2, True, "mix A", *LATE_WINDOW, ACRE_M2,
         3.4, 60.0, 10.0, 50.0, 10.0, 130.0, 100.0, 170.0),
    ]  # fmt: skip
    table = pd.DataFrame(rows, columns=columns, index=pd.RangeIndex(1, 4, name="work"))
    return table.assign(species="Lonicera maackii", patches=1, money_known=table["money"], not_counted="")


def schedule() -> pd.DataFrame:
    columns = ["work", "week", "monday", "rig", "hours", "money", "value_m2", "volume_L"]
    rows = [
        (1, 0, MONDAY, "pair", 3.0, 150.0, 2 * ACRE_M2, 30.0),
        (2, 0, MONDAY, "hose crew", 4.0, 200.0, 0.0, 0.0),
        (3, 8, LATER, "hose crew", 1.7, 130.0, ACRE_M2, 90.0),
    ]
    return pd.DataFrame(rows, columns=columns)


def days() -> pd.DataFrame:
    table = schedule().drop(columns=["money", "value_m2"])
    return table.assign(day=table["monday"], order=1, part=1, parts=1, outing=pd.array([1, pd.NA, 2], "Int64"))


def unplanned() -> pd.DataFrame:
    columns = ["zone_id", "stand", "zone", "access", "technique", "visit", "species", "patches", "worked_m2", "hours",
               "money", "reason"]  # fmt: skip
    row = ("Z003", "3", "open", "foot", "pull", 1, "Ailanthus altissima", 1, 0.5 * ACRE_M2, 12.0, NAN,
           "the rigs' hours in its weeks go to what is worth more")  # fmt: skip
    return pd.DataFrame([row], columns=columns)


def withheld() -> pd.DataFrame:
    rows = [
        ("stand 3, patch P009", "no mix for Ailanthus altissima", "type one under [[mix]]"),
        ("rig 'pair'", "has no pace for pull", "type your own under [[rig.pace]]"),
    ]
    return pd.DataFrame(rows, columns=["where", "what", "mend"])


def rig_days() -> pd.DataFrame:
    columns = ["days", "whole_days", "available_days", "over", "calendar_days", "labour_money", "lost_money"]
    rows = [(0.5, 1.0, NAN, False, 2.0, 400.0, 400.0), (1.2, 2.0, 1.0, True, 3.0, 800.0, 400.0)]
    return pd.DataFrame(rows, columns=columns, index=pd.Index(["pair", "hose crew"], name="rig"))


def curve() -> pd.DataFrame:
    columns = ["money_limit", "money", "value", "further_value", "bound", "envelope", "solved"]
    rows = [
        (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, True),
        (200.0, 150.0, 2.0, 2.0, 2.2, 2.0, True),
        (400.0, 150.0, 2.0, 0.0, 2.8, 2.5, False),
        (600.0, 480.0, 3.0, 1.0, 3.0, 3.0, True),
    ]
    table = pd.DataFrame(rows, columns=columns)
    areas = ["value", "further_value", "bound", "envelope"]
    return table.assign(**{name: table[name] * ACRE_M2 for name in areas})
