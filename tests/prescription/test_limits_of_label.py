"""The label's limits by the ground that is sprayed: worked examples, overlaps by hand, years, and exact limits."""

import datetime as dt

import geopandas as gpd
import pytest
from amounts_kit import ACRE, CRS, GAL, LB, jobs, log, mix, squares, worked
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import box
from shapely.affinity import translate

from invasimap.core import units
from invasimap.core.errors import CRSError, InputError
from invasimap.core.survey_settings import Layer
from invasimap.inputs.sprayed import read_sprayed
from invasimap.prescription.loads import works

LB_ACRE = LB / (ACRE / 1e4)  # kg/ha in one lb/acre
NONE = "none on the label"
ACRE_SIDE = ACRE**0.5


def gallons(count, **said):
    """A job of so many gallons on one acre, of a mix that holds 0.08 lb a gallon."""
    return {"planned_L": count * GAL, **said}


def test_q13_the_patch_is_over_though_its_stand_looks_fine():
    patches = jobs(
        gallons(9, gross_m2=0.12 * ACRE, patch="P7"), gallons(0.001, gross_m2=9.88 * ACRE, patch="P8"),
    )  # fmt: skip
    made = worked(patches)
    over, fine = made.table["application_kg_per_ha"] / LB_ACRE
    assert over == pytest.approx(6.0) and fine < 0.001
    assert pytest.approx(0.072) == 9 * 0.02 * 4 / 10  # what the ten acres would show
    assert made.table["withheld"].tolist() == [True, False]
    (fault,) = made.faults
    assert fault.where == "stand S1, patch P7"
    assert "6 lb/acre in one application, limit 4 lb/acre" in fault.what
    assert "stop at 6 gal on this patch" in fault.mend  # 0.12 acre x 50 gal/acre (Q12)
    assert made.table.loc[0, ["volume_L", "product_L", "ingredient_kg"]].isna().all()
    assert works(made.table)["volume_L"].tolist() == pytest.approx([0.001 * GAL])


def test_q14_a_third_pass_in_the_year_is_refused_and_1_6_are_left():
    patch = jobs(gallons(25, first="2026-10-20"))  # 2 lb on one acre
    past = log(
        *((squares(patch)[0], dt.date(2026, month, 1), "Example Product A", 3.2 * LB_ACRE, None) for month in (5, 7))
    )
    made = worked(patch, past=past, shapes=squares(patch))
    row = made.table.iloc[0]
    assert row["year_kg_per_ha"] / LB_ACRE == pytest.approx(8.4) and row["withheld"]
    assert row["stop_at_L"] * 0.02 * 4 / GAL == pytest.approx(1.6)
    assert "8.4 lb/acre in the year" in made.faults[0].what and "stop at 20 gal" in made.faults[0].mend
    within = worked(jobs(gallons(20, first="2026-10-20")), past=past, shapes=squares(patch))
    assert within.faults == () and within.table["at_limit"].iloc[0]


@pytest.mark.parametrize(("count", "withheld", "met"), [(50, False, True), (50.001, True, False), (49.9, False, False)])
def test_a_limit_met_exactly_is_allowed_and_flagged(count, withheld, met):
    row = worked(jobs(gallons(count))).table.iloc[0]
    assert (row["withheld"], row["at_limit"]) == (withheld, met)


@settings(max_examples=15, deadline=None)
@given(strength=st.floats(0.1, 8), rate=st.floats(0.1, 40), most=st.floats(0.1, 20), acres=st.floats(0.001, 50))
def test_at_the_stop_volume_all_is_within_and_a_little_more_is_over(strength, rate, most, acres):
    own = mix(
        ingredient=f"{strength} lb/gal", rate=f"{rate} % v/v", max_per_application=f"{most} lb/acre", max_per_year=NONE
    )  # fmt: skip
    ground = {"gross_m2": acres * ACRE}
    stop = worked(jobs(gallons(1, **ground)), mixes=[own]).table["stop_at_L"].iloc[0] / GAL
    assert stop == pytest.approx(most / (rate / 100 * strength) * acres)
    assert not worked(jobs(gallons(stop, **ground)), mixes=[own]).table["withheld"].iloc[0]
    assert worked(jobs(gallons(stop * 1.00001, **ground)), mixes=[own]).table["withheld"].iloc[0]


def test_two_species_on_one_spot_add_where_the_ingredient_is_the_same():
    patches = jobs(gallons(30, patch="A"), gallons(30, patch="B", mix="n"))  # 2.4 lb/acre each, limit 4
    half = gpd.GeoSeries([box(0, 0, ACRE_SIDE, ACRE_SIDE), box(ACRE_SIDE / 2, 0, 1.5 * ACRE_SIDE, ACRE_SIDE)], crs=CRS)
    for names, sums in ((("x", "X "), 4.8), (("x", "y"), 2.4), ((None, None), 4.8), (("x", None), 4.8)):
        pair = [mix(ingredient_name=names[0]), mix(name="n", product="Example Product B", ingredient_name=names[1])]
        made = worked(patches, mixes=pair, shapes=half)
        assert (made.table["application_kg_per_ha"] / LB_ACRE).tolist() == pytest.approx([sums, sums])
        assert made.table["withheld"].all() == (sums > 4)
        assert all(("type ingredient_name" in fault.mend) == (None in names) for fault in made.faults)
    one = worked(patches, mixes=[mix(), mix(name="n")], shapes=half)  # one product in two mixes
    assert one.table["withheld"].all() and "with stand S1, patch B on the same ground" in one.faults[0].what
    touching = gpd.GeoSeries([box(0, 0, 60, 60), box(60, 0, 120, 60)], crs=CRS)
    assert worked(patches, mixes=[mix(), mix(name="n")], shapes=touching).faults == ()


def test_the_worst_spot_counts_not_the_sum_of_all_neighbours():
    rows = [gallons(20, patch=name) for name in "ABC"]  # 1.6 lb/acre each
    base = box(0, 0, ACRE_SIDE, ACRE_SIDE)
    beside = gpd.GeoSeries([base, translate(base, -0.6 * ACRE_SIDE), translate(base, 0.6 * ACRE_SIDE)], crs=CRS)
    made = worked(jobs(*rows), shapes=beside)
    assert (made.table["application_kg_per_ha"] / LB_ACRE).tolist() == pytest.approx([3.2, 3.2, 3.2])
    assert made.faults == ()
    stacked = worked(jobs(*rows), shapes=gpd.GeoSeries([base] * 3, crs=CRS))
    assert (stacked.table["application_kg_per_ha"] / LB_ACRE).tolist() == pytest.approx([4.8] * 3)
    assert len(stacked.faults) == 3


def test_other_days_are_another_application_but_the_same_year():
    rows = (
        gallons(30, patch="A", first="2026-06-01", last="2026-06-30"),
        gallons(30, patch="B", first="2026-09-01", last="2026-09-30"),
    )
    ground = gpd.GeoSeries([box(0, 0, ACRE_SIDE, ACRE_SIDE)] * 2, crs=CRS)
    made = worked(jobs(*rows), shapes=ground).table
    assert (made["application_kg_per_ha"] / LB_ACRE).tolist() == pytest.approx([2.4, 2.4])
    assert (made["year_kg_per_ha"] / LB_ACRE).tolist() == pytest.approx([4.8, 4.8])
    unknown = worked(jobs(rows[0], gallons(30, patch="B")), shapes=ground).table
    assert unknown["withheld"].all()  # days that are not known may be the same


def test_the_log_counts_on_its_own_ground_alone():
    patch = jobs(gallons(40, first="2026-10-20"))  # 3.2 lb/acre
    side = squares(patch)[0]
    entries = [
        (translate(side, 0.9 * ACRE_SIDE), dt.date(2026, 5, 1), "Example product  A", 5 * LB_ACRE, None),
        (translate(side, 2 * ACRE_SIDE), dt.date(2026, 5, 1), "Example Product A", 50 * LB_ACRE, None),
        (side, dt.date(2026, 5, 1), "Example Product C", 50 * LB_ACRE, "other"),
    ]
    made = worked(patch, mixes=[mix(ingredient_name="x")], past=log(*entries), shapes=squares(patch))
    assert made.table["year_kg_per_ha"].iloc[0] / LB_ACRE == pytest.approx(8.2)
    assert made.table["application_kg_per_ha"].iloc[0] / LB_ACRE == pytest.approx(3.2)
    assert "8.2 lb/acre in the year (with Example product  A of 2026-05-01" in made.faults[0].what
    assert worked(patch, mixes=[mix(ingredient_name="x")], past=log(*entries[1:]), shapes=squares(patch)).faults == ()
    (unnamed,) = worked(patch, past=log(*entries[1:]), shapes=squares(patch)).faults  # it may hold what C holds
    assert "perhaps the same ingredient" in unnamed.what and "type ingredient_name" in unnamed.mend
    named = worked(patch, mixes=[mix(ingredient_name="Other")], past=log(entries[2]), shapes=squares(patch))
    assert named.table["stop_at_L"].iloc[0] == 0 and "nothing is left" in named.faults[0].mend


@pytest.mark.parametrize(
    ("limit_year", "logged", "counts"),
    [
        ("calendar", (2025, 12, 31), False), ("calendar", (2026, 1, 1), True),
        ("365 days", (2025, 12, 31), True), ("365 days", (2025, 1, 10), False), ("365 days", (2025, 1, 11), True),
        ("10-01", (2025, 9, 30), False), ("10-01", (2025, 10, 1), True),
    ],
)  # fmt: skip
def test_sums_over_the_end_of_a_year(limit_year, logged, counts):
    patch = jobs(gallons(40, first="2026-01-10"))
    past = log((squares(patch)[0], dt.date(*logged), "Example Product A", 1.0, None))
    made = worked(patch, mixes=[mix(limit_year=limit_year)], past=past, shapes=squares(patch)).table.iloc[0]
    assert made["year_kg_per_ha"] == pytest.approx(3.2 * LB_ACRE + counts)


def test_a_dose_missing_from_the_log_is_not_nothing():
    patch = jobs(gallons(1, first="2026-10-20"))
    past = log((squares(patch)[0], dt.date(2026, 5, 1), "Example Product A", float("nan"), None))
    made = worked(patch, past=past, shapes=squares(patch))
    assert made.table["withheld"].all() and "not known" in made.faults[0].what


def test_no_limit_on_the_label_is_no_limit_only_where_typed():
    made = worked(jobs(gallons(5_000)), mixes=[mix(max_per_application=NONE, max_per_year="None on the  label")])
    assert made.faults == () and made.table["stop_at_L"].iloc[0] == float("inf")


def test_the_waste_counts_in_the_dose():
    from invasimap.core.mix_settings import SpraySection

    spray = SpraySection.model_validate({"waste": "30 %", "surface": "map"})
    made = worked(jobs(), spray=spray)  # 40 gal/acre measured, 52 mixed, limit at 50
    assert made.table["withheld"].all() and "4.16 lb/acre" in made.faults[0].what


def test_messages_round_to_the_careful_side():
    own = mix(max_per_application="1.23456 lb/acre")
    (fault,) = worked(jobs(gallons(100)), mixes=[own]).faults
    assert "8 lb/acre" in fault.what and "limit 1.234 lb/acre" in fault.what
    assert "stop at 15.43 gal" in fault.mend  # 1.23456 / 0.08 = 15.432
    (metric,) = worked(jobs(gallons(100)), mixes=[own], shown=units.METRIC).faults
    assert "kg/ha" in metric.what and " l on this patch" in metric.mend


def test_a_log_that_cannot_be_laid_over_the_plan_is_refused():
    patch = jobs(gallons(1))
    past = log((squares(patch)[0], dt.date(2026, 5, 1), "Example Product A", 1.0, None))
    with pytest.raises(CRSError, match="does not share"):
        worked(patch, past=past.set_crs(4326, allow_override=True), shapes=squares(patch))
    with pytest.raises(InputError, match="kg_per_ha"):
        worked(patch, past=past.drop(columns="kg_per_ha"), shapes=squares(patch))
    with pytest.raises(InputError, match="without its date"):
        worked(patch, past=past.assign(date=None), shapes=squares(patch))
    with pytest.raises(InputError, match="one outline each"):
        worked(jobs(gallons(1), gallons(1)), shapes=squares(patch))


def test_a_log_that_was_read_counts_and_an_application_without_its_dose_closes_its_ground(tmp_path):
    patch = jobs(gallons(25, first="2026-10-20"))  # 2 lb on one acre; limits 4 lb at once, 8 lb a year
    months = {"date": ["2026-05-01", "2026-07-01"], "product": "Example Product A", "dose": ["3.2 lb/acre"] * 2}
    for doses, said in ((months["dose"], "8.4 lb/acre in the year"), (["3.2 lb/acre", None], "holds no dose")):
        table = gpd.GeoDataFrame(months | {"dose": doses}, geometry=[*squares(patch)] * 2, crs=CRS)
        table.to_file(tmp_path / "log.gpkg")
        past, _ = read_sprayed(Layer(file="log.gpkg"), folder=tmp_path, crs=squares(patch).crs)
        (fault,) = worked(patch, past=past, shapes=squares(patch)).faults
        assert said in fault.what
