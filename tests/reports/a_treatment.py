"""A small season's work on the toy tract, every figure invented and set by hand, for the reports to draw and write.

Work 1, week of 2026-08-03: a hose rig of 25 gal, 112.5 gal of mix at 1.1 % product and 0.4 % adjuvant. Work 2, the next
two weeks: a pair with 4 gal, 2.8 and 0.2 gal at 2 % without adjuvant. Work 3, with the latter: pulled by hand.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from typing import Any

import geopandas as gpd
import pandas as pd

from invasimap.core.mix_settings import MixSection
from invasimap.core.rig_settings import RigSection
from invasimap.prescription.plan import Plan
from invasimap.prescription.treatment import Answer, Treatment

GAL, ACRE, LB = 3.785411784, 4046.8564224, 0.45359237
FLOZ = GAL / 128
START = dt.date(2026, 8, 3)  # a Monday
MIXES = (
    {
        "name": "late foliar", "product": "Example Product A", "registration": "00000-000", "ingredient": "3.3 lb/gal",
        "rate": "1.1 % v/v", "max_per_application": "2.9 lb/acre", "max_per_year": "6.1 lb/acre",
        "adjuvant": {"name": "Example adjuvant", "rate": "0.4 % v/v"}, "species": ["*"], "zones": ["open"],
        "wind": "3-10 mph", "temperature": "40-85 degF", "rain_free": "6 h", "reentry": "4 h",
    },
    {"name": "stump mix", "product": "Example Product B", "rate": "2 % v/v", "species": ["*"], "zones": ["open"]},
)  # fmt: skip
RIGS = (
    {
        "name": "ATV hose", "access": "atv_hose", "tank": "25 gal", "output": "3 gal/min", "crew": 2,
        "wage": "28 USD/h",
        "calibration": [{"date": "2026-05-02", "rate": "40 gal/acre"}],
    },
    {
        "name": "backpack pair", "access": "foot", "tank": "4 gal", "output": "0.4 gal/min", "crew": 2,
        "wage": "28 USD/h",
    },
)  # fmt: skip


def with_treatment(plan: Plan, **changes: Any) -> Plan:
    """The plan with the work above, its rigs and mixes in the settings; ``changes`` take the place of single tables."""
    settings = plan.settings.model_copy(update={
        "mix": [MixSection.model_validate(mix) for mix in MIXES],
        "rig": [RigSection.model_validate(rig) for rig in RIGS],
    })  # fmt: skip
    return dataclasses.replace(plan, settings=settings, treatment=dataclasses.replace(a_treatment(plan), **changes))


def a_treatment(plan: Plan) -> Treatment:
    """The work above on the tract's two largest open zones within reach and its largest hand-only one."""
    return Treatment(
        start=START, start_said="the settings", currency="USD", jobs=_jobs(plan), windows=_windows(), work=_work(plan),
        loads=_loads(), schedule=_schedule(), days=_days(), unplanned=_unplanned(plan), withheld=_withheld(),
        rig_days=_rig_days(), curve=_curve(),
        answer=Answer(method="proven optimal", value_m2=9000.0, bound_m2=9000.0, greedy_m2=8800.0, gap_pct=0.0),
    )  # fmt: skip


def worked_zones(plan: Plan) -> gpd.GeoDataFrame:
    """The zones of works 1, 2 and 3."""
    zones = plan.treatment_zones
    zones = zones[(zones["stand"] != "(outside)") & (zones["access"] != "out_of_reach")]
    zones = zones.sort_values("gross_m2", ascending=False)
    hose = zones[(zones["zone"] == "open") & (zones["access"] == "atv_hose")].head(1)
    foot = zones[(zones["zone"] == "open") & (zones["access"] == "foot")].head(1)
    return pd.concat([hose, foot, zones[zones["zone"] == "hand_only"].head(1)])


def _jobs(plan: Plan) -> gpd.GeoDataFrame:
    zones = worked_zones(plan)
    rows = []
    techniques = ("foliar_broadcast", "cut_stump", "pull")
    for number, (zone, technique) in enumerate(zip(zones.itertuples(), techniques, strict=True), 1):
        rows.append({
            "job": number, "zone_id": zone.id, "patch": f"P00{number}", "species": zone.species.split(";")[0],
            "stand": zone.stand, "zone": zone.zone, "access": zone.access, "reached_by": "atv_hose;foot",
            "gross_m2": zone.gross_m2, "cover_pct": 63.0 if number < 3 else float("nan"), "height_m": 1.524,
            "stem_mm": 25.4, "slope_pct": 8.0, "technique": technique, "rule": "r1", "reason": "invented", "visit": 1,
            "visits": 1, "sprays": number < 3, "first": dt.date(2026, 8, 1), "last": dt.date(2026, 9, 15),
            "estimated": number == 1, "window": "the settings", "wait_min_days": None, "wait_max_days": None,
            "mix": ("late foliar", "stump mix", "")[number - 1], "work": number,
            "dose_kg_per_ha": 2.0 if number < 3 else float("nan"),
            "application_kg_per_ha": 2.0 if number < 3 else float("nan"),
            "year_kg_per_ha": 2.0 if number < 3 else float("nan"),
            "stop_at_L": (120.009 * GAL, float("inf"), float("nan"))[number - 1], "at_limit": number == 1,
            "notes": "cover not known: counted as 100 %" if number == 3 else "", "why": "", "geometry": zone.geometry,
        })  # fmt: skip
    more = {**rows[0], "job": 4, "patch": "=P004", "work": pd.NA, "at_limit": False, "why": "over its limit"}
    jobs = gpd.GeoDataFrame([*rows, more], geometry="geometry", crs=plan.crs)
    return jobs.astype({"work": "Int64"})


def _windows() -> pd.DataFrame:
    return pd.DataFrame([{
        "species": "Lonicera maackii", "technique": "foliar_broadcast", "visit": 1, "first": dt.date(2026, 8, 1),
        "last": dt.date(2026, 9, 15), "estimated": True, "window": "the settings", "gross_m2": 2 * ACRE,
    }])  # fmt: skip


def _work(plan: Plan) -> pd.DataFrame:
    zones = worked_zones(plan)
    amounts = ((112.5, 0.011, 0.004), (3.0, 0.02, 0.0), (0.0, 0.0, 0.0))
    rows = []
    for zone, (gallons, product, adjuvant), rig, technique, mix, weeks in zip(
        zones.itertuples(), amounts, ("ATV hose", "backpack pair", "backpack pair"),
        ("foliar_broadcast", "cut_stump", "pull"), ("late foliar", "stump mix", ""), ("0", "1;2", "2"), strict=True,
    ):  # fmt: skip
        whole = gallons * GAL
        rows.append({
            "zone_id": zone.id, "stand": zone.stand, "zone": zone.zone, "access": zone.access, "rig": rig,
            "technique": technique, "visit": 1, "visits": 1, "sprays": gallons > 0, "mix": mix, "species": zone.species,
            "first": dt.date(2026, 8, 1), "last": dt.date(2026, 9, 15), "weeks": weeks, "patches": 2,
            "gross_m2": zone.gross_m2, "surface_m2": zone.gross_m2, "worked_m2": ACRE, "worked_low_m2": 0.8 * ACRE,
            "worked_high_m2": 1.2 * ACRE, "volume_L": whole, "volume_low_L": 0.8 * whole, "volume_high_L": 1.2 * whole,
            "product_L": whole * product, "adjuvant_L": whole * adjuvant, "dye_L": 0.0,
            "water_L": whole * (1 - product - adjuvant), "ingredient_kg": LB, "trip_min": 5.0, "product_share": product,
            "adjuvant_share": adjuvant, "dye_share": 0.0, "work_min": 120.0, "bound_by": "output", "refills": 4,
            "refill_min": 88.0, "walk_min": 10.0, "mixing_min": 12.0, "travel_min": 53.1, "total_min": 230.0,
            "crew_h": 9.4, "days": 0.59, "days_low": 0.5, "days_high": 0.7, "labour_money": 264.25,
            "machine_money": float("nan"), "product_money": 99.5, "travel_money": 50.0, "money": float("nan"),
            "money_low": float("nan"), "money_high": float("nan"), "money_known": 413.75, "not_counted": "machine",
        })  # fmt: skip
    return pd.DataFrame(rows, index=pd.RangeIndex(1, 4, name="work"))


def _loads() -> pd.DataFrame:
    """25 gal at 1.1 % are 35.2 fl oz, 35.0 to the mark of 0.5; at 0.4 % 12.8, so 12.5; half of it 17.6 and 6.4."""
    rows = [
        (1, 0, "1", "full", 4, 25.0, 35.2, 35.0, 12.8, 12.5),
        (1, 0, "1", "last", 1, 12.5, 17.6, 17.5, 6.4, 6.0),
        (2, 1, "2", "last", 1, 2.8, 7.168, 7.0, 0.0, 0.0),
        (3, 2, "2", "last", 1, 0.2, 0.512, 0.5, 0.0, 0.0),
    ]
    return pd.DataFrame([
        {
            "outing": outing, "week": week, "monday": START + dt.timedelta(weeks=week),
            "day": START + dt.timedelta(weeks=week), "works": works,
            "rig": RIGS[min(outing, 2) - 1]["name"], "mix": MIXES[min(outing, 2) - 1]["name"], "load": load,
            "count": count, "volume_L": gallons * GAL, "product_L": product * FLOZ, "adjuvant_L": adjuvant * FLOZ,
            "dye_L": 0.0, "water_L": gallons * GAL - (product + adjuvant) * FLOZ,
            "product_measured_L": product_read * FLOZ, "adjuvant_measured_L": adjuvant_read * FLOZ,
            "dye_measured_L": 0.0, "water_measured_L": gallons * GAL - (product_read + adjuvant_read) * FLOZ,
            "hold": "",
        }
        for outing, week, works, load, count, gallons, product, product_read, adjuvant, adjuvant_read in rows
    ])  # fmt: skip


def _schedule() -> pd.DataFrame:
    rows = [
        (1, 0, "ATV hose", 3.8, 112.5),
        (2, 1, "backpack pair", 5.0, 2.8),
        (2, 2, "backpack pair", 2.5, 0.2),
        (3, 2, "backpack pair", float("nan"), float("nan")),
    ]
    return pd.DataFrame([
        {"work": work, "week": week, "monday": START + dt.timedelta(weeks=week), "rig": rig,
         "hours": hours, "money": float("nan"), "value_m2": 1000.0, "volume_L": gallons * GAL}
        for work, week, rig, hours, gallons in rows
    ])  # fmt: skip


def _days() -> pd.DataFrame:
    """Each week on its Monday: work 2 in two parts, work 3 after its second."""
    table = _schedule().drop(columns=["money", "value_m2"])
    table = table.assign(day=table["monday"], order=[1, 1, 1, 2], part=[1, 1, 2, 1], parts=[1, 2, 2, 1])
    return table.assign(outing=pd.array([1, 2, 3, pd.NA], "Int64"))


def _unplanned(plan: Plan) -> pd.DataFrame:
    return pd.DataFrame([{
        "zone_id": "Z9", "stand": "4", "zone": "open", "access": "foot", "technique": "foliar_spot", "visit": 1,
        "species": "Ailanthus altissima", "patches": 1, "worked_m2": ACRE / 2, "hours": 3.25, "money": 182.0,
        "reason": "no hours left within its window",
    }])  # fmt: skip


def _withheld() -> pd.DataFrame:
    return pd.DataFrame([{"where": "mix 'stump mix'", "what": "ingredient is missing", "mend": "type this"}])


def _rig_days() -> pd.DataFrame:
    return pd.DataFrame(
        {"days": [0.59], "whole_days": [1.0], "available_days": [float("nan")], "over": [False], "calendar_days": [2.0],
         "labour_money": [448.0], "lost_money": [448.0]},
        index=pd.Index(["ATV hose"], name="rig"),
    )  # fmt: skip


def _curve() -> pd.DataFrame:
    return pd.DataFrame(
        {"money_limit": [0.0, 1000.0], "money": [0.0, 913.4], "value": [0.0, 2 * ACRE],
         "further_value": [0.0, 2 * ACRE], "bound": [0.0, 3 * ACRE], "envelope": [0.0, 2 * ACRE],
         "solved": [True, False]}
    )  # fmt: skip


def nothing_planned(plan: Plan) -> Treatment:
    """Nothing that could be planned: every table without a row, as where no rig and no mix is in the settings."""
    held = a_treatment(plan)
    tables = ("jobs", "windows", "work", "loads", "schedule", "days", "unplanned", "withheld", "rig_days", "curve")
    return dataclasses.replace(
        held, currency="", answer=None, **{name: getattr(held, name).iloc[:0] for name in tables}
    )
