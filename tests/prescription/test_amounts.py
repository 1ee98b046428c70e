"""Volumes, mixes, loads: the worked examples of the trade (figures copied in), properties, and what is withheld."""

import math

import numpy as np
import pytest
from amounts_kit import ACRE, FT, GAL, LB, NO_WASTE, jobs, mix, rig, worked
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from invasimap.core import units
from invasimap.core.errors import InputError
from invasimap.core.mix_settings import SpraySection
from invasimap.prescription.loads import PARTS, down_to_mark, fills, in_jug_units, loads, tank_kinds, works
from invasimap.prescription.mix import acid_equivalent_kg_per_L, share_of, true_share_over_water
from invasimap.prescription.volume import volumes

FLOZ = GAL / 128
NONE = "none on the label"


def free(**said):
    """A mix whose label states no limit."""
    return mix(max_per_application=NONE, max_per_year=NONE, **said)


def test_q08_percent_is_of_the_finished_mix():
    made = worked(jobs({"planned_L": 4 * GAL}), mixes=[free()]).table.iloc[0]
    assert made["product_L"] / FLOZ == pytest.approx(10.24)
    assert made["product_L"] * 1000 == pytest.approx(302.83294272)
    assert made["water_L"] / GAL == pytest.approx(3.92)


def test_q09_added_to_full_water_it_is_weaker():
    assert 100 * true_share_over_water(0.08 * GAL, water_L=4 * GAL) == pytest.approx(1.96078431373)
    assert pytest.approx(10.24) == 0.08 * GAL / FLOZ


def test_q10_last_tank_in_part():
    work = works(worked(jobs({"planned_L": 62.5 * GAL}), mixes=[free()]).table)
    table = loads(work, rigs=[rig()], mark_L=FLOZ).table
    assert list(table["load"]) == ["full", "last"] and list(table["count"]) == [2, 1]
    assert table["count"].sum() == 3 and table["volume_L"].iloc[1] / GAL == pytest.approx(12.5)
    assert (table["product_measured_L"] / FLOZ).tolist() == pytest.approx([64, 32])
    assert (table["count"] * table["product_L"]).sum() / GAL == pytest.approx(1.25)


def test_q11_acid_equivalent_on_a_treated_acre():
    made = worked(jobs()).table.iloc[0]  # 40 gal on 1 acre
    assert made["product_L"] / GAL == pytest.approx(0.8)
    assert made["dose_kg_per_ha"] * (ACRE / 1e4) / LB == pytest.approx(3.2)
    assert made["dose_kg_per_ha"] == pytest.approx(3.58672369982)


def test_q12_volume_at_which_the_limit_is_reached():
    assert worked(jobs()).table["stop_at_L"].iloc[0] / GAL == pytest.approx(50.0)


def test_q15_acid_equivalent_of_a_salt():
    strength = 5.4 * LB / GAL
    found = acid_equivalent_kg_per_L(strength, acid_g_per_mol=169.07, salt_g_per_mol=228.18)
    assert found * GAL / LB == pytest.approx(4.0011306863)
    with pytest.raises(InputError, match="heavier"):
        acid_equivalent_kg_per_L(strength, acid_g_per_mol=228.18, salt_g_per_mol=169.07)


def test_q16_adjuvant_and_dye():
    extras = {
        "adjuvant": {"name": "a", "rate": "0.5 % v/v"}, "dye": {"name": "d", "rate": "1.5 fl oz per 3 gal"},
    }  # fmt: skip
    made = worked(jobs({"planned_L": 25 * GAL}), mixes=[free(**extras)]).table.iloc[0]
    assert made["adjuvant_L"] / FLOZ == pytest.approx(16.0) and made["dye_L"] / FLOZ == pytest.approx(12.5)


def test_q17_volume_by_cover():
    spray = SpraySection.model_validate({"waste": "10 %", "surface": "map"})
    sprayer = rig(calibration=[{"rate": "60 gal/acre", "date": "2026-09-01"}])
    patch = jobs({"gross_m2": 3.5 * ACRE, "cover_pct": 35.0, "technique": "foliar_spot"})
    made = volumes(patch, mixes=[mix()], rigs=[sprayer], spray=spray).table
    assert made["volume_L"].iloc[0] / GAL == pytest.approx(80.85)


def test_q20_doses_in_pounds_an_acre():
    for kg, pounds in ((1.7, 1.51670450675), (6.7, 5.97760011485)):
        assert units.quantity(f"{pounds} lb/acre", "dose") == pytest.approx(kg)


def test_q21_imperial_gallons_are_no_us_gallons():
    assert units.quantity("25 gal", "volume") == pytest.approx(94.6352946)
    assert pytest.approx(20.8168546157) == 94.6352946 / 4.54609


@settings(max_examples=20, deadline=None)
@given(volume=st.floats(0.01, 50_000), tank=st.floats(1, 2_000))
def test_loads_sum_to_the_whole_and_no_tank_is_over_full(volume, tank):
    kinds = tank_kinds(volume, tank_L=tank)
    assert math.fsum(count * litres for _, count, litres in kinds) == pytest.approx(volume, rel=1e-12)
    assert all(litres <= tank * (1 + 1e-9) for *_, litres in kinds)
    assert sum(count for _, count, _ in kinds) == fills(volume, tank_L=tank) >= volume / tank * (1 - 1e-9)


@settings(max_examples=20, deadline=None)
@given(volume=st.floats(0.5, 5_000), share=st.floats(0.1, 60), mark=st.floats(0.001, 0.1))
def test_no_load_is_stronger_than_typed_and_measures_lose_less_than_a_mark(volume, share, mark):
    work = works(worked(jobs({"planned_L": volume}), mixes=[free(rate=f"{share} % v/v")]).table)
    table = loads(work, rigs=[rig()], mark_L=mark).table
    measured, parts = table["product_measured_L"], table[[f"{part}_measured_L" for part in PARTS]].sum(axis=1)
    assert (measured <= table["volume_L"] * share / 100 + 1e-9 * mark).all()
    assert (table["product_L"] - measured < mark * (1 + 1e-6)).all()
    assert (parts + table["water_measured_L"]).to_numpy() == pytest.approx(table["volume_L"].to_numpy())
    assert (table["count"] * table["product_L"]).sum() == pytest.approx(volume * share / 100, rel=1e-9)


@pytest.mark.parametrize(("volume", "kinds"), [(75, [("full", 3, 25)]), (25, [("full", 1, 25)]), (4, [("last", 1, 4)])])
def test_an_exact_multiple_of_the_tank_has_no_part_load(volume, kinds):
    assert tank_kinds(float(volume), tank_L=25.0) == kinds
    assert tank_kinds(0.1 * 3 * 10, tank_L=0.1 * 30)[0][:2] == ("full", 1)  # arithmetic alone fills no tank more


def test_a_jug_too_coarse_for_the_load_is_said():
    work = works(worked(jobs({"planned_L": 1.0}), mixes=[free()]).table)  # 20 ml of product
    assert "finer marks" in loads(work, rigs=[rig()], mark_L=0.015).faults[0].mend
    assert loads(work, rigs=[rig()], mark_L=0.010).faults == ()


def test_adjuvant_and_dye_below_the_smallest_mark_are_said_as_product_is():
    """5 l with 0.5 % of adjuvant, 25 ml, and 0.1 % of dye, 5 ml; the product's 100 ml are on every mark."""
    extras = {name: {"name": name, "rate": f"{pct} % v/v"} for name, pct in (("adjuvant", 0.5), ("dye", 0.1))}
    work = works(worked(jobs({"planned_L": 5.0}), mixes=[free(**extras)]).table)
    said = {
        mark_L: [fault.what for fault in loads(work, rigs=[rig()], mark_L=mark_L).faults] for mark_L in (0.005, 0.01)
    }
    below = "work 1, last load: 5 ml of dye is below the smallest mark of the jug: none goes in"
    assert said == {0.005: [], 0.01: [below]}  # 25 ml measure as 20: said on the sheet, not too little to work
    both = loads(work, rigs=[rig()], mark_L=0.05).faults
    assert [fault.what.split(" of ")[1].split()[0] for fault in both] == ["adjuvant", "dye"]


def test_jug_units_are_those_of_the_tract():
    table = loads(works(worked(jobs({"planned_L": 25 * GAL}), mixes=[free()]).table), rigs=[rig()], mark_L=FLOZ).table
    assert in_jug_units(table, shown=units.US).loc[0, ["volume_gal", "product_floz"]].tolist() == pytest.approx(
        [25, 64]
    )
    metric = in_jug_units(table, shown=units.METRIC).loc[0, ["volume_l", "product_ml"]].tolist()
    assert metric == pytest.approx([94.6352946, 1892.705892])


@settings(max_examples=20, deadline=None)
@given(
    cover=st.tuples(st.floats(1, 100), st.floats(1, 100)),
    technique=st.sampled_from(["foliar_spot", "foliar_broadcast"]),
)
def test_a_wider_cover_never_lowers_the_volume(cover, technique):
    low, high = sorted(cover)
    made = worked(jobs(*({"cover_pct": pct, "technique": technique} for pct in (low, high)))).table["volume_L"]
    assert made.iloc[0] <= made.iloc[1]


@settings(max_examples=20, deadline=None)
@given(
    slope=st.floats(0, 120), rate=st.sampled_from(["2 % v/v", "2 qt/acre"]), surface=st.sampled_from(["sloped", "map"])
)
def test_sloped_ground_never_lowers_the_dose_by_the_map(slope, rate, surface):
    spray = SpraySection.model_validate({"waste": "0 %", "surface": surface})
    made = worked(jobs({}, {"slope_pct": slope}), mixes=[free(rate=rate)], spray=spray).table
    level, sloped = made["dose_kg_per_ha"]
    assert sloped >= level
    steeper = rate.endswith("v/v") and surface == "sloped"
    assert sloped == pytest.approx(level * (math.hypot(1, slope / 100) if steeper else 1.0))


def test_a_rate_by_area_is_put_on_as_typed():
    made = worked(jobs({"slope_pct": 60.0}), mixes=[free(rate="2 qt/acre")]).table.iloc[0]
    assert made["product_L"] / GAL == pytest.approx(0.5) and made["volume_L"] / GAL == pytest.approx(40)
    assert share_of(units.rate("8 fl oz/acre"), [7.5 * GAL / (ACRE / 1e4)])[0] * 128 == pytest.approx(1.06666666667)


def test_us_and_metric_settings_give_the_same():
    american = mix(ingredient="4 lb/gal", max_per_application="4 lb/acre", max_per_year="8 lb/acre")
    metric = mix(
        ingredient=f"{4 * LB / GAL:.12f} kg/l", max_per_application=f"{4 * LB / (ACRE / 1e4):.12f} kg/ha",
        max_per_year=f"{8 * LB / (ACRE / 1e4):.12f} kg/ha",
    )  # fmt: skip
    sprayer = rig(tank=f"{25 * GAL:.12f} l", output=f"{2.5 * GAL:.12f} l/min", calibration=[
        {"rate": f"{40 * GAL / (ACRE / 1e4):.12f} l/ha", "date": "2026-09-01"},
    ])  # fmt: skip
    one = worked(jobs(), mixes=[american]).table.select_dtypes("number")
    two = worked(jobs(), mixes=[metric], rigs=[sprayer], shown=units.METRIC).table.select_dtypes("number")
    assert one.to_numpy(float) == pytest.approx(two.to_numpy(float), rel=1e-9, nan_ok=True)


def test_heights_find_their_own_calibration_and_unknown_takes_the_largest():
    sprayer = rig(calibration=[
        {"rate": "20 gal/acre", "date": "2026-09-01", "up_to": "3 ft"},
        {"rate": "45 gal/acre", "date": "2026-09-01", "up_to": "6 ft"},
        {"rate": "10 gal/acre", "date": "2026-08-01", "up_to": "3 ft"},
    ])  # fmt: skip
    heights = [3 * FT, 3.1 * FT, 6 * FT, np.nan, 6.1 * FT]
    made = worked(jobs(*({"height_m": height} for height in heights)), mixes=[free()], rigs=[sprayer])
    gallons = made.table["volume_L"] / GAL
    assert gallons[:4].tolist() == pytest.approx([20, 45, 45, 45]) and math.isnan(gallons[4])
    assert "height" in made.table["notes"][3] and "so tall" in made.faults[0].what


def test_a_foliar_calibration_serves_no_stumps():
    made = worked(jobs({"technique": "cut_stump"}))
    assert made.table["withheld"].all() and "no calibration for cut_stump" in made.faults[0].what
    own = rig(calibration=[{"rate": "5 gal/acre", "date": "2026-09-01", "technique": "cut_stump"}])
    assert worked(jobs({"technique": "cut_stump"}), rigs=[own]).table["volume_L"].iloc[0] / GAL == pytest.approx(5)
    assert worked(jobs(), rigs=[own]).table["withheld"].all()


def test_a_range_of_area_is_a_range_of_volume_and_no_range_is_none():
    made = worked(jobs({"area_low": 0.5, "area_high": 2.0}, {})).table
    assert (made.loc[0, ["volume_low_L", "volume_high_L"]] / GAL).tolist() == pytest.approx([20, 80])
    assert made.loc[1, ["volume_low_L", "volume_high_L"]].isna().all()


@pytest.mark.parametrize("key", ["ingredient", "max_per_application", "max_per_year"])
def test_a_figure_missing_from_the_label_gives_no_figure(key):
    made = worked(jobs(), mixes=[mix(**{key: None})])
    (fault,) = made.faults
    assert key in fault.what and "type this from the label" in fault.mend
    row = made.table.iloc[0]
    assert row["withheld"] and row[["volume_L", "product_L", "dose_kg_per_ha", "stop_at_L"]].isna().all()
    assert works(made.table).empty


@pytest.mark.parametrize(
    ("patch", "said"),
    [
        ({"gross_m2": 0.0, "planned_L": 5.0}, "is 0"),
        ({"gross_m2": np.nan}, "is 0"),
        ({"cover_pct": 0.0, "technique": "foliar_spot"}, "is 0"),
        ({"zone": "no_spray"}, "no-spray zone"),
        ({"zone": "hand_only"}, "hand-only zone"),
    ],
)
def test_what_may_not_be_sprayed_is_withheld(patch, said):
    made = worked(jobs(patch), mixes=[mix(zones=["open", "hand_only"])])
    assert made.table["withheld"].all() and any(said in fault.what for fault in made.faults)
    assert made.faults[0].where == "stand S1, patch P1"


def test_a_mix_goes_on_no_zone_or_species_it_was_not_typed_for():
    stumps = rig(calibration=[{"rate": "5 gal/acre", "date": "2026-09-01", "technique": "cut_stump"}])
    made = worked(jobs({"zone": "hand_only", "technique": "cut_stump"}), rigs=[stumps])
    assert "zones" in made.faults[0].what
    assert "species" in worked(jobs(), mixes=[mix(species=["Celastrus orbiculatus"])]).faults[0].what


def test_more_product_than_mix_is_refused():
    thin = rig(calibration=[{"rate": "1 gal/acre", "date": "2026-09-01"}])
    assert "more than the whole mix" in worked(jobs(), mixes=[free(rate="5 qt/acre")], rigs=[thin]).faults[0].what


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"cover_pct": 120.0}, "cover_pct"), ({"gross_m2": -1.0}, "gross_m2"), ({"mix": "x"}, "'x' is not known"),
        ({"rig": "x"}, "'x' is not known"), ({"planned_L": 0.0}, "planned_L"),
    ],
)  # fmt: skip
def test_impossible_jobs_are_refused(change, said):
    with pytest.raises(InputError, match=said):
        volumes(jobs(change), mixes=[mix()], rigs=[rig()], spray=NO_WASTE)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"rate": "0 % v/v"}, "share of a mix"), ({"rate": "101 % v/v"}, "share of a mix"),
        ({"rate": "2 oz/gal"}, "weight"), ({"rate": "1 fl oz per 0 gal"}, "above zero"),
        ({"max_per_year": "8"}, "none on the label"), ({"max_per_year": "0 lb/acre"}, "above zero"),
        ({"limit_year": "soon"}, "day of the year"),
    ],
)  # fmt: skip
def test_settings_of_a_mix_that_cannot_be(wrong, said):
    with pytest.raises(ValidationError, match=said):
        mix(**wrong)


def test_works_share_a_tank_only_at_one_strength():
    two = rig(calibration=[
        {"rate": "20 gal/acre", "date": "2026-09-01", "up_to": "3 ft"}, {"rate": "40 gal/acre", "date": "2026-09-01"},
    ])  # fmt: skip
    patches = jobs({"patch": "A", "height_m": 0.5}, {"patch": "B", "height_m": 2.0}, {"patch": "C", "height_m": 0.6})
    by_area = works(worked(patches, mixes=[free(rate="2 qt/acre")], rigs=[two]).table)
    assert sorted(by_area["volume_L"] / GAL) == pytest.approx([40, 40]) and sorted(by_area["patches"]) == [1, 2]
    by_share = works(worked(patches, mixes=[free()], rigs=[two]).table)
    assert by_share["volume_L"].tolist() == pytest.approx([80 * GAL])


def test_marks_round_down_but_keep_what_is_on_the_mark():
    assert down_to_mark([0.3, 0.29999], mark_L=0.1).tolist() == pytest.approx([0.3, 0.2])


def test_a_rig_says_what_cannot_be():
    for wrong, said in (
        ({"machine": "1 USD/h", "machine_costs": {
            "price": "2 USD", "salvage": "1 USD", "life_years": 1, "hours_per_year": 1, "interest": "1 %",
            "insurance": "1 %", "repair": "150 %",
        }}, "both given"),
        ({"ground_speed": "2 mph"}, "go together"),
        ({"calibration": [{"rate": "40 gal/acre"}]}, "date"),
        ({"calibration": [{"rate": "40 gal/acre", "date": "09/01/2026"}]}, "no date"),
        ({"calibration": [{"rate": "40 gal/acre", "date": "2026-09-01", "technique": "mow"}]}, "sprays nothing"),
        ({"pace": [{"technique": "mow", "hours": "2 h/acre"}] * 2}, "two entries"),
    ):  # fmt: skip
        with pytest.raises(ValidationError, match=said):
            rig(**wrong)
