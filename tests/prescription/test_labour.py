"""Hours and money: the worked examples of the trade, figures copied in; what is not known is not nought."""

import math

import pytest
from amounts_kit import ACRE, GAL, NO_WASTE, jobs, mix, rig, worked

from invasimap.core import units
from invasimap.core.errors import InputError
from invasimap.core.rig_settings import LabourSection, MachineCosts
from invasimap.prescription.costs import cost_per_ha, costs, machine_rate, one_currency
from invasimap.prescription.labour import (
    crew_days,
    days_of_rigs,
    hours,
    person_hours,
    refill_min,
    spraying_min,
    whole_up,
)  # fmt: skip
from invasimap.prescription.loads import fills, works

NONE = "none on the label"
LABOUR = LabourSection.model_validate({"travel_cost": "85 USD/day"})


def one_work(sprayer, label=None, **patch):
    label = label or mix(max_per_application=NONE, max_per_year=NONE)
    made = works(worked(jobs({"trip_min": 6.0, **patch}), mixes=[label], rigs=[sprayer], spray=NO_WASTE).table)
    return made, hours(made, rigs=[sprayer], labour=LABOUR)


def test_q18_hauling_beats_spraying():
    sprayer = rig(trigger_share=0.6, fill="12 min")
    _, found = one_work(sprayer, planned_L=62.5 * GAL)
    row = found.table.iloc[0]
    assert row["work_min"] == pytest.approx(41.6666666667) and row["bound_by"] == "output"
    assert (row["refills"], row["refill_min"]) == (2, pytest.approx(48))
    assert row["work_min"] + row["refill_min"] == pytest.approx(89.6666666667)
    assert row["total_min"] == pytest.approx(89.6666666667 + 12 + 12)  # the first filling, and the walk in and out


def test_q19_a_backpack_is_empty_in_19_minutes():
    sprayer = rig(tank="4 gal", output="0.3 gal/min", trigger_share=0.7)
    minutes, _ = spraying_min(4 * GAL, rig=sprayer, surface_m2=1, worked_m2=1, technique="foliar_spot")
    assert minutes == pytest.approx(19.0476190476)


def test_l01_crew_days():
    hours_h = person_hours(18.5 * ACRE, hours_h_per_ha=units.quantity("5.5 h/acre", "pace"))
    assert hours_h == pytest.approx(101.75)
    days = crew_days(hours_h, crew=4, productive_min=6.5 * 60)
    assert days == pytest.approx(3.91346153846) and whole_up(days) == 4
    pulling = rig(crew=4, pace=[{"technique": "pull", "hours": "5.5 h/acre", "jobs": 3}])
    made, found = one_work(pulling, technique="pull", sprays=False, gross_m2=18.5 * ACRE, trip_min=0.0)
    assert found.table["days"].iloc[0] == pytest.approx(3.91346153846) and found.table["bound_by"].iloc[0] == "pace"
    assert days_of_rigs(found.table, rigs=[pulling], labour=LABOUR)["whole_days"].iloc[0] == 4
    assert made["volume_L"].isna().all()


def test_l02_acres_an_hour_turned_round():
    assert units.quantity("0.5 h/acre", "pace") * (ACRE / 1e4) == pytest.approx(1 / 2)


def machine(**said):
    usual = {
        "price": "18000 USD", "salvage": "3600 USD", "life_years": 6, "hours_per_year": 500, "interest": "8 %",
        "insurance": "3 %", "repair": "60 %", "fuel": "0.9 gal/h", "fuel_price": "3.6 USD/gal", "lube": "10 %",
    }  # fmt: skip
    return usual | said


def test_l03_machine_rate():
    found = machine_rate(MachineCosts.model_validate(machine()))
    parts = (found.depreciation, found.interest, found.insurance, found.repair, found.fuel, found.lube)
    assert parts == pytest.approx((4.8, 1.92, 0.72, 2.88, 3.24, 0.324))
    assert found.average_value == pytest.approx(12000) and found.total == pytest.approx(13.884)
    idle = machine_rate(MachineCosts.model_validate(machine(hours_per_year=100)))
    assert idle.depreciation / found.depreciation == pytest.approx(5)  # a fifth of the hours, five times the fixed part


def test_l04_cost_per_acre_pays_paid_hours():
    found = cost_per_ha(
        labour_per_day=4 * 28 * 8, machine_per_day=13.884 * 5, travel_per_day=85, ha_per_day=4.727273,
        material_per_ha=32,
    )  # fmt: skip
    assert found == pytest.approx(254.20421795)  # acres in, so per acre out


def test_the_longer_of_output_ground_speed_and_pace_binds():
    walker = rig(ground_speed="1 mph", swath="10 ft", pace=[{"technique": "foliar_spot", "hours": "4 h/acre"}])
    at = {"rig": walker, "surface_m2": ACRE, "worked_m2": ACRE}
    walked = 43560 / (5280 * 10) * 60  # minutes for an acre at 1 mph and 10 ft
    minutes, bound = spraying_min(1.0, technique="foliar_broadcast", **at)
    assert minutes == pytest.approx(walked) and bound == "ground speed"
    assert spraying_min(1000 * GAL, technique="foliar_broadcast", **at)[1] == "output"
    assert spraying_min(1.0, technique="foliar_spot", **at) == (pytest.approx(4 * 60 / 2), "pace")


def test_refills_and_days_round_up():
    assert (
        fills(25.0 * (1 + 1e-12), tank_L=25.0) == 1 and fills(25.01, tank_L=25.0) == 2 and fills(0.0, tank_L=25.0) == 0
    )
    assert refill_min(0, trip_min=math.nan, fill_min=12) == 0
    assert whole_up(3.0000001) == 4 and whole_up(3 + 1e-12) == 3


def test_low_and_high_follow_the_range_of_area():
    _, found = one_work(rig(), area_low=0.5, area_high=2.0)
    row = found.table.iloc[0]
    assert row["total_low_min"] < row["total_min"] < row["total_high_min"]
    assert math.isnan(one_work(rig())[1].table["total_low_min"].iloc[0])


def test_a_low_end_of_nothing_takes_no_time_and_is_known():
    slow = rig(pace=[{"technique": "foliar_spot", "hours": "2 h/acre"}])
    for sprayer in (rig(), slow):
        row = one_work(sprayer, area_low=0.0, area_high=2.0)[1].table.iloc[0]
        assert row["total_low_min"] == row["days_low"] == 0 < row["total_min"] < row["total_high_min"]


def test_sloped_ground_takes_no_less_time():
    walker = rig(ground_speed="1 mph", swath="10 ft")
    level, steep = (one_work(walker, slope_pct=slope)[1].table["work_min"].iloc[0] for slope in (0.0, 75.0))
    assert steep == pytest.approx(1.25 * level)


def test_hours_that_lack_a_figure_are_not_known():
    _, found = one_work(rig(), trip_min=math.nan)
    assert math.isnan(found.table["total_min"].iloc[0]) and "way from the water" in found.faults[0].what
    _, pulled = one_work(rig(), technique="pull", sprays=False)
    assert math.isnan(pulled.table["days"].iloc[0]) and "no pace for pull" in pulled.faults[0].what
    total = days_of_rigs(pulled.table, rigs=[rig()], labour=LABOUR).iloc[0]
    assert math.isnan(total["whole_days"]) and math.isnan(total["labour_money"])


def test_money_by_hand():
    sprayer = rig(machine="10 USD/h", trigger_share=1.0, fill="0 min")
    label = mix(
        price="100 USD/gal", max_per_application=NONE, max_per_year=NONE,
        adjuvant={"name": "a", "rate": "1 % v/v", "price": "50 USD/gal"},
    )  # fmt: skip
    made, found = one_work(sprayer, label, planned_L=25 * GAL, trip_min=0.0)  # 10 minutes of two people
    row = costs(made, found.table, rigs=[sprayer], mixes=[label], labour=LABOUR).table.iloc[0]
    days = 10 / 390
    assert row["labour_money"] == pytest.approx(days * 8 * 28 * 2)
    assert row["machine_money"] == pytest.approx(10 * 10 / 60) and row["travel_money"] == pytest.approx(days * 85)
    assert row["product_money"] == pytest.approx(0.5 * 100 + 0.25 * 50)
    assert row["money"] == pytest.approx(row[["labour_money", "machine_money", "product_money", "travel_money"]].sum())


def test_a_price_that_is_not_typed_is_not_nought():
    label = mix(max_per_application=NONE, max_per_year=NONE)
    made, found = one_work(rig(), label)
    priced = costs(made, found.table, rigs=[rig()], mixes=[label], labour=LabourSection())
    row = priced.table.iloc[0]
    assert math.isnan(row["money"]) and row["not_counted"] == "machine, product, travel"
    assert row["money_known"] == pytest.approx(row["labour_money"])
    assert [fault.where for fault in priced.faults] == ["rig 'r'", "mix 'm'", "[labour]"]


def test_whole_days_are_paid_and_days_lost_to_weather_apart():
    sprayer = rig(available="1 day", crew=2)
    _, found = one_work(sprayer, planned_L=1000 * GAL)
    days = days_of_rigs(found.table, rigs=[sprayer], labour=LABOUR).iloc[0]
    whole = math.ceil(found.table["total_min"].sum() / 390)
    assert days["whole_days"] == whole > 1 and days["over"]
    assert days["labour_money"] == pytest.approx(whole * 8 * 28 * 2)
    assert days["calendar_days"] == math.ceil(days["days"] / 0.45)
    assert days["lost_money"] == pytest.approx((days["calendar_days"] - whole) * 8 * 28 * 2)


def test_one_currency():
    assert one_currency(rigs=[rig()], mixes=[mix()], labour=LABOUR) == "USD"
    with pytest.raises(InputError, match="several currencies"):
        one_currency(rigs=[rig()], mixes=[mix(price="10 EUR/l")], labour=LABOUR)
