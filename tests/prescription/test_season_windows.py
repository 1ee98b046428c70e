"""Hopkins' law, degree days and windows: worked examples, hand-made calendars and what must hold for any dates."""

import datetime as dt
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from invasimap.core.errors import InputError, SettingsError
from invasimap.core.toml_file import read_tract
from invasimap.inputs.species import load_catalogue
from invasimap.prescription.hopkins import Place, celsius_days, day_reached, degree_days, hopkins_days, moved
from invasimap.prescription.season import DayOfYear, OwnWindow, Season, season_of
from invasimap.prescription.traits import Traits, leaf_habit
from invasimap.prescription.window import cut_and_spray, earliest_after, window_of

FT = 0.3048
DAY = dt.date
SPRING = DAY(2025, 3, 1)
LATE, DROPS, FROSTED = (Traits(leaves=habit) for habit in ("late-leaf", "deciduous", "dies back"))


def on(month, day, **more):
    return DayOfYear(month=month, day=day, **more)


def season(start=SPRING, *, leaf_drop=(10, 25), freeze=(11, 20), full_leaf=(5, 25), colour=None, **more):
    dates = {"native_leaf_drop": leaf_drop, "killing_freeze": freeze, "full_leaf": full_leaf, "leaf_colour": colour}
    return Season(start=start, signs={name: on(*day) for name, day in dates.items() if day}, **more)


def foliar(traits, at, species="a plant"):
    return window_of(species, "foliar_spot", traits=traits, season=at)


def test_hopkins_shift_and_the_autumn_date_it_gives():
    """T01: 38.0 N 86.0 W 500 ft to 41.5 N 83.0 W 900 ft: 20.4 days; T02: 12 November less that is 23 October."""
    south = Place(latitude=38.0, longitude=-86.0, elevation_m=500 * FT)
    north = Place(latitude=41.5, longitude=-83.0, elevation_m=900 * FT)
    later = hopkins_days(south, north)
    assert later == pytest.approx(20.4, rel=1e-6)
    assert hopkins_days(north, south) == pytest.approx(-later)
    assert moved(DAY(2025, 11, 12), -later) == DAY(2025, 10, 23)
    mirrored = [Place(latitude=-place.latitude, longitude=-86.0, elevation_m=0.0) for place in (south, north)]
    assert hopkins_days(*mirrored) == pytest.approx(4 * 3.5)  # poleward counts in the south too
    with pytest.raises(InputError, match="other hemisphere"):
        hopkins_days(south, mirrored[0])
    with pytest.raises(InputError, match="not known"):
        hopkins_days(south, Place(latitude=41.5, longitude=-83.0, elevation_m=math.nan))


@pytest.mark.parametrize(
    ("lowest", "highest", "limits", "expected"),
    [
        (56, 82, {"base": 50, "method": "average"}, 19.0),  # T03
        (45, 95, {"base": 50, "upper": 86, "method": "limited average"}, 18.0),  # T04
        (45, 95, {"base": 50, "method": "average"}, 20.0),  # T04, without limits
        (40, 60, {"base": 50}, 3.18309886184),  # T05
        (40, 60, {"base": 50, "method": "average"}, 0.0),  # T05, where simple says 0
        (45, 95, {"base": 50, "upper": 86}, 19.0264091349),  # T06
        (7, 14, {"base": 12, "upper": 33}, 0.468058688133),  # T07, printed as 0.47
        (20, 40, {"base": 50}, 0.0),
        (60, 80, {"base": 50}, 20.0),
        (60, 60, {"base": 50}, 10.0),
    ],
)
def test_degree_days_of_worked_examples(lowest, highest, limits, expected):
    assert float(degree_days(lowest, highest, **limits)) == pytest.approx(expected, rel=1e-6, abs=1e-9)


def test_degree_days_of_fahrenheit_in_celsius_take_no_32():
    """T08: 90 F days are 50 C days."""
    assert celsius_days(90) == pytest.approx(50.0, rel=1e-6)
    warm = degree_days([45.0], [95.0], base=50, upper=86)
    same = degree_days([(45 - 32) / 1.8], [(95 - 32) / 1.8], base=10, upper=30)
    assert celsius_days(warm[0]) == pytest.approx(same[0])


@given(st.floats(-10, 30), st.floats(0, 25), st.floats(0, 20), st.floats(1, 25))
@settings(max_examples=60, deadline=None)
def test_a_sine_day_is_the_area_between_its_limits(lowest, span, base, above):
    """Against a plain numeric integral of a sine over a day."""
    upper = base + above
    day = np.linspace(0, 2 * np.pi, 20_001)[:-1]
    heat = lowest + span / 2 + span / 2 * np.sin(day)
    assert float(degree_days(lowest, lowest + span, base=base, upper=upper)) == pytest.approx(
        np.mean(np.clip(heat, base, upper) - base), abs=1e-3
    )


def test_days_that_cannot_be_or_are_not_known_give_no_heat():
    with pytest.raises(InputError, match="lowest temperature is above the highest on 1 days, such as day 2"):
        degree_days([10.0, 20.0], [15.0, 12.0], base=5)
    with pytest.raises(InputError, match="not above base"):
        degree_days(10.0, 15.0, base=30, upper=20)
    daily = degree_days([10.0, math.nan, 10.0], [20.0, 20.0, 20.0], base=5, method="average")
    assert daily[0] == 10 and math.isnan(daily[1])
    days = [DAY(2025, 4, number) for number in (1, 2, 3)]
    assert day_reached(days, daily, target=10) == days[0]
    with pytest.raises(InputError, match="2025-04-02 is not known"):
        day_reached(days, daily, target=11)
    assert day_reached(days, [10.0, 10.0, 10.0], target=31) is None


def test_late_season_window_of_the_worked_example():
    """T09: leaf-off 25 October + 3 days, freeze 20 November + 0: 24 days, 10.8 expected spray days at 45 %."""
    found = foliar(LATE, season())
    assert (found.first, found.last, found.days) == (DAY(2025, 10, 28), DAY(2025, 11, 20), 24)
    assert found.spray_days(0.45) == pytest.approx(10.8, rel=1e-9)
    assert not found.estimated
    longer = foliar(LATE, season(after_leaf_drop_days=5, after_freeze_days=10))
    assert (longer.first, longer.last) == (DAY(2025, 10, 30), DAY(2025, 11, 30))


def test_a_cut_in_june_is_sprayed_from_the_end_of_july():
    """H02: cut 2025-06-05 + 8 weeks = 2025-07-31."""
    assert earliest_after(DAY(2025, 6, 5), 8 * 7) == DAY(2025, 7, 31)
    cut, spray = cut_and_spray("x", traits=FROSTED, wait_days=(56, 70), season=season(DAY(2025, 6, 5), colour=(10, 1)))
    assert (cut.first, spray.first) == (DAY(2025, 6, 5), DAY(2025, 7, 31))
    assert (cut.last, spray.last) == (DAY(2025, 8, 6), DAY(2025, 10, 1))  # 1 October less 56 days


def test_what_drops_its_leaves_is_sprayed_in_full_leaf_until_the_earliest_sign():
    found = foliar(DROPS, season(colour=(9, 20)))
    assert (found.first, found.last, found.estimated) == (DAY(2025, 5, 25), DAY(2025, 9, 20), False)
    unsure = foliar(DROPS, season())
    assert (unsure.last, unsure.estimated) == (DAY(2025, 10, 25), True) and "no longer green" in unsure.said
    assert foliar(DROPS, season(freeze=(10, 1))).last == DAY(2025, 10, 1)
    assert foliar(FROSTED, season()).last == DAY(2025, 11, 20)
    nobody = foliar(Traits(), season())
    assert nobody.last == DAY(2025, 10, 25) and nobody.estimated and "counted as deciduous" in nobody.said


@pytest.mark.parametrize(
    ("traits", "at", "said"),
    [
        (LATE, season(leaf_drop=(11, 20), freeze=(11, 8)), "first day is after its last one"),
        (DROPS, season(full_leaf=(10, 28)), "first day is after its last one"),
        (LATE, season(freeze=None), "type killing_freeze under [season]"),
        (LATE, season(leaf_drop=None), "type native_leaf_drop under [season]"),
        (DROPS, season(full_leaf=None), "type full_leaf"),
        (DROPS, season(leaf_drop=None), "type leaf_colour or native_leaf_drop"),
        (Traits(leaves="annual"), season(), "before its seed ripens"),
        (Traits(leaves="spring only"), season(), "type first and last"),
    ],
)
def test_where_there_is_no_window_it_is_said_and_no_days_are_negative(traits, at, said):
    found = foliar(traits, at)
    assert (found.first, found.last, found.days) == (None, None, 0) and said in found.said
    for visit in cut_and_spray("x", traits=traits, wait_days=(56, 70), season=at):
        assert visit.first is None and visit.days == 0 and said in visit.said


def test_regrowth_that_comes_too_late_has_no_window():
    cut, spray = cut_and_spray("x", traits=DROPS, wait_days=(180, 200), season=season(colour=(9, 20)))
    assert cut.days == spray.days == 0 and "too late to be sprayed" in cut.said


def test_a_window_that_is_over_is_next_years_and_one_that_runs_starts_today():
    assert foliar(LATE, season(DAY(2025, 11, 21))).first == DAY(2026, 10, 28)
    assert foliar(LATE, season(DAY(2025, 11, 20))).first == DAY(2025, 11, 20)
    cut, spray = cut_and_spray("x", traits=LATE, wait_days=(56, 70), season=season(DAY(2025, 9, 26)))
    assert (cut.first, cut.last) == (DAY(2026, 8, 19), DAY(2026, 9, 25))  # of 2025 no cut could sprout in time
    assert (spray.first, spray.last) == (DAY(2026, 10, 28), DAY(2026, 11, 20))


def test_a_freeze_after_new_year_ends_the_window_of_the_year_before():
    found = foliar(LATE, season(leaf_drop=(12, 20), freeze=(1, 10)))
    assert (found.first, found.last) == (DAY(2025, 12, 23), DAY(2026, 1, 10))


def test_southern_autumn_comes_in_april():
    south = season(DAY(2025, 1, 15), leaf_drop=(4, 25), freeze=(5, 20), full_leaf=(11, 10), colour=(4, 1))
    assert (foliar(LATE, south).first, foliar(LATE, south).last) == (DAY(2025, 4, 28), DAY(2025, 5, 20))
    assert (foliar(DROPS, south).first, foliar(DROPS, south).last) == (DAY(2025, 1, 15), DAY(2025, 4, 1))
    later = season(DAY(2025, 4, 2), leaf_drop=(4, 25), freeze=(5, 20), full_leaf=(11, 10), colour=(4, 1))
    assert (foliar(DROPS, later).first, foliar(DROPS, later).last) == (DAY(2025, 11, 10), DAY(2026, 4, 1))


def test_the_leap_day_narrows_in_other_years():
    whole = OwnWindow(technique=frozenset({"basal_bark"}), first=on(2, 29), last=on(4, 1))
    ends = OwnWindow(technique=frozenset({"basal_bark"}), first=on(1, 5), last=on(2, 29))
    for own, year, first, last in (
        (whole, 2028, DAY(2028, 2, 29), DAY(2028, 4, 1)), (whole, 2026, DAY(2026, 3, 1), DAY(2026, 4, 1)),
        (ends, 2028, DAY(2028, 1, 5), DAY(2028, 2, 29)), (ends, 2026, DAY(2026, 1, 5), DAY(2026, 2, 28)),
    ):  # fmt: skip
        at = season(DAY(year, 1, 1), own=(own,))
        found = window_of("x", "basal_bark", traits=LATE, season=at)
        assert (found.first, found.last) == (first, last)


def test_own_windows_go_first_by_plant_then_technique_and_may_cross_the_year():
    rose, vine = frozenset({"Rosa multiflora"}), frozenset({"Vinca minor"})
    own = (
        OwnWindow(last=on(11, 30)),
        OwnWindow(species=rose, last=on(11, 15)),
        OwnWindow(species=vine, first=on(12, 1), last=on(2, 15)),
        OwnWindow(technique=frozenset({"cut_stump"}), first=on(6, 1), last=on(2, 1)),
    )
    at = season(DAY(2025, 9, 1), own=own)
    assert foliar(LATE, at, "Rosa multiflora").last == DAY(2025, 11, 15)
    assert foliar(LATE, at, "Ligustrum sinense").last == DAY(2025, 11, 30)
    winter = foliar(Traits(leaves="evergreen"), at, "Vinca minor")
    assert (winter.first, winter.last, winter.days) == (DAY(2025, 12, 1), DAY(2026, 2, 15), 31 + 31 + 15)
    stump = window_of("Rosa multiflora", "cut_stump", traits=LATE, season=at)  # a block for leaves says nothing of it
    assert (stump.first, stump.last) == (DAY(2025, 9, 1), DAY(2026, 2, 1))


def test_stumps_wait_for_the_sap_to_stop_and_mowing_for_a_typed_window():
    flow = (on(2, 20), on(4, 15))
    inside = window_of("x", "cut_stump", traits=LATE, season=season(DAY(2025, 3, 1), sap_flow=flow))
    assert (inside.first, inside.last) == (DAY(2025, 4, 16), DAY(2026, 2, 19))
    before = window_of("x", "cut_stump", traits=LATE, season=season(DAY(2025, 1, 10), sap_flow=flow))
    assert (before.first, before.last) == (DAY(2025, 1, 10), DAY(2025, 2, 19))
    assert window_of("x", "pull", traits=LATE, season=season(sap_flow=flow)).days == 365
    mow = window_of("x", "mow", traits=LATE, season=season())
    assert mow.days == 0 and "before seed ripens" in mow.said
    half = season(own=(OwnWindow(technique=frozenset({"mow"}), last=on(7, 1)),))
    assert "type both first and last" in window_of("x", "mow", traits=LATE, season=half).said


TRACT = """[tract]
name = "A"
[[survey]]
files = ["a.csv"]
[stands]
file = "s.gpkg"
"""
REFERENCE = """[season.reference]
name = "far station"
latitude = 38.0
longitude = -86.0
elevation = "500 ft"
native_leaf_drop = "11-12"
killing_freeze = "12-10"
full_leaf = "05-01"
"""
HERE = Place(latitude=41.5, longitude=-83.0, elevation_m=900 * FT)


def tract_season(tmp_path, text, *, place=HERE, start=SPRING):
    (tmp_path / "tract.toml").write_text(TRACT + text, encoding="utf-8")
    return season_of(read_tract(tmp_path), start=start, place=place, catalogue=load_catalogue())


def test_a_reference_place_gives_estimates_that_are_marked_and_rounded_inwards(tmp_path):
    """20.4 days: 12 November less that is 22.6 October, later the 23rd; 10 December less that is 19.6 November."""
    found = foliar(LATE, tract_season(tmp_path, REFERENCE))
    assert (found.first, found.last) == (DAY(2025, 10, 23 + 3), DAY(2025, 11, 19))
    assert found.estimated and found.said.count("an estimate") == 2
    spring = foliar(DROPS, tract_season(tmp_path, REFERENCE))
    assert spring.first == DAY(2025, 5, 22) and spring.estimated  # 1 May + 20.4 days
    assert "type native_leaf_drop" in foliar(LATE, tract_season(tmp_path, REFERENCE, place=None)).said


def test_what_was_seen_here_is_never_stretched_by_an_estimate(tmp_path):
    seen = '[season]\nkilling_freeze = "11-05"\nleaf_colour = "09-25"\n'
    late = foliar(LATE, tract_season(tmp_path, seen + REFERENCE))
    assert late.last == DAY(2025, 11, 5)  # the estimate, 19 November, is not taken
    assert foliar(DROPS, tract_season(tmp_path, seen + REFERENCE)).last == DAY(2025, 9, 25)
    early = REFERENCE.replace('native_leaf_drop = "11-12"\n', "").replace("12-10", "12-20")
    drop = '[season]\nnative_leaf_drop = "09-20"\n'
    assert foliar(DROPS, tract_season(tmp_path, drop + early)).last == DAY(2025, 9, 20)


def test_settings_of_season_and_windows_are_read_and_their_faults_named(tmp_path):
    text = (
        '[season]\nnative_leaf_drop = "10-25"\nkilling_freeze = "11-20"\nafter_leaf_drop = "2.5 day"\n'
        'after_freeze = "2.5 day"\n'
        'sap_flow = ["02-20", "04-15"]\n'
        '[[window]]\nspecies = ["multiflora rose"]\nlast = "11-10"\n'
        '[[window]]\nspecies = ["Reynoutria japonica"]\ntechnique = ["cut_then_foliar"]\nwait = "8-10 weeks"\n'
    )
    at = tract_season(tmp_path, text)
    assert foliar(LATE, at, "Rosa multiflora").last == DAY(2025, 11, 10)
    assert foliar(LATE, at).first == DAY(2025, 10, 28) and foliar(LATE, at).last == DAY(2025, 11, 22)  # up, and down
    assert at.own_days("Reynoutria japonica", "cut_then_foliar").wait_days == (56, 70)
    with pytest.raises(SettingsError, match="'Rosa multiflorra xyz' is no plant"):
        tract_season(tmp_path, '[[window]]\nspecies = ["Rosa multiflorra xyz"]\nlast = "11-10"\n')
    twice = '[[window]]\nspecies = ["Rosa multiflora"]\nlast = "11-10"\n'
    with pytest.raises(SettingsError, match=r"\[\[window\]\] 2: says another last than \[\[window\]\] 1"):
        tract_season(tmp_path, twice + twice.replace("11-10", "11-12"))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[[window]]\nspecies = ["*"]\n', "says nothing"),
        ('[[window]]\nspecies = ["*"]\ntechnique = ["none"]\nlast = "11-10"\n', "has no window"),
        ('[[window]]\nspecies = ["*"]\ntechnique = ["spray"]\nlast = "11-10"\n', "foliar_spot"),
        ('[[window]]\nspecies = ["*"]\nwait = "10-8 weeks"\n', "from high to low"),
        (REFERENCE.partition("native")[0], "needs a date"),
        ('[season.degree_days]\nbase = "50"\n', "no temperature"),
        ('[season.degree_days]\nbase = "90 degF"\nupper = "30 degC"\n', "not above base"),
        ('[technique]\nreach = "6"\n', "no unit"),
        ('[technique]\nlow_volume_stems = "1500"\n', "1500 stems/acre"),
        ('[season]\nafter_freeze = "90 day"\n', "less than or equal to 60"),
    ],
)
def test_settings_that_cannot_be_are_refused(tmp_path, text, said):
    (tmp_path / "tract.toml").write_text(TRACT + text, encoding="utf-8")
    with pytest.raises(SettingsError) as caught:
        read_tract(tmp_path)
    assert len(caught.value.faults) == 1 and said in str(caught.value)


@pytest.mark.parametrize(
    ("said", "habit"),
    [
        ("late-leaf", "late-leaf"), ("semi-evergreen", "late-leaf"), ("late-leaf to semi-evergreen", "late-leaf"),
        ("evergreen", "evergreen"), ("deciduous to semi-evergreen", "deciduous"),
        ("deciduous, late colour", "deciduous"),
        ("semi-evergreen in the far south", "deciduous"), ("dies back in the north", "dies back"),
        ("dies back, greens early and late", "dies back"), ("greens early and late", "late-leaf"),
        ("green rosette all winter", "winter green"), ("winter annual", "winter green"), ("annual", "annual"),
        ("spring only, dies back by summer", "spring only"), ("", "unknown"), ("as it likes", "unknown"),
    ],
)  # fmt: skip
def test_words_of_leaf_persistence_take_the_narrower_window(said, habit):
    assert leaf_habit(said) == habit


def test_every_invader_of_the_catalogue_has_a_leaf_habit():
    table = load_catalogue().table
    said = table.loc[table["status"] == "invasive", "leaf_persistence"]
    assert set(map(leaf_habit, said[said != ""])) <= {
        "late-leaf", "evergreen", "winter green", "deciduous", "dies back", "annual", "spring only",
    }  # fmt: skip


days = st.builds(lambda number: DAY(2024, 1, 1) + dt.timedelta(days=number), st.integers(0, 365))
habits = st.sampled_from(["late-leaf", "evergreen", "winter green", "deciduous", "dies back", "unknown"])
month_days = days.map(lambda day: (day.month, day.day))


@given(habits, month_days, month_days, month_days, st.integers(0, 1500), st.integers(0, 20), st.integers(0, 120))
@settings(max_examples=200, deadline=None)
def test_any_window_lies_ahead_and_any_cut_sprouts_in_time(habit, drop, freeze, full, ahead, grace, least):
    start = DAY(2023, 1, 1) + dt.timedelta(days=ahead)
    at = season(start, leaf_drop=drop, freeze=freeze, full_leaf=full, after_freeze_days=grace)
    found = foliar(Traits(leaves=habit), at)
    assert found.days >= 0 and (found.first is None) == (found.last is None) == (found.days == 0)
    if found.first is not None:
        assert start <= found.first <= found.last <= start + dt.timedelta(days=800)
    cut, spray = cut_and_spray("x", traits=Traits(leaves=habit), wait_days=(least, least + 14), season=at)
    assert (cut.first is None) == (spray.first is None)
    if cut.first is not None:
        assert start <= cut.first <= cut.last and spray.first <= spray.last
        assert (spray.first - cut.first).days >= least and (spray.last - cut.last).days >= least
        assert (spray.first - cut.first).days <= least + 14
