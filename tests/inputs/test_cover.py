"""Cells of canopy cover: percents, fractions and classes; means of classes as published examples work them."""

from __future__ import annotations

import math

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from invasimap.core.errors import SettingsError
from invasimap.inputs.cells import Cells
from invasimap.inputs.cover import parse_cover
from invasimap.inputs.cover_scales import BRAUN_BLANQUET, DAUBENMIRE, choose_scale, scale_for
from invasimap.inputs.records import read_cover

COUNTY = {"county": {"Trace": (0.0, 1.0), "low": (1.0, 5.0), "high": (50.0, 100.0)}}


@pytest.mark.parametrize(
    ("cell", "low", "high"),
    # crews type all dashes
    [("35", 35, 35), ("35 %", 35, 35), ("35.5%", 35.5, 35.5), ("0.35 fraction", 35, 35), ("0.29 fraction", 29, 29),
     ("0.35 %", 0.35, 0.35), ("25-50 %", 25, 50), ("25%-50%", 25, 50), ("25\u201350", 25, 50), ("25 — 50 pct", 25, 50),
     ("50 to 75", 50, 75), ("<5 %", 0, 5), ("less than 5%", 0, 5), (">75", 75, 100), ("75+ %", 75, 100),
     ("over 75%", 75, 100), ("100", 100, 100), (">=100", 100, 100), ("0-5", 0, 5)],
)  # fmt: skip
def test_cover_is_read(cell, low, high):
    cover = parse_cover(cell)
    assert (cover.low_pct, cover.high_pct, cover.reason, cover.how) == (low, high, "", "")
    assert cover.mid_pct == pytest.approx((low + high) / 2)


@pytest.mark.parametrize(
    ("cell", "low", "high", "how"),
    [("~30", 30, 30, "cover '~30' read as 30 %"), ("about 30 %", 30, 30, "cover 'about 30 %' read as 30 %"),
     ("3 (25-50%)", 25, 50, "cover '3 (25-50%)' read as 25-50 %"),
     ("moderate: 25-50 %", 25, 50, "cover 'moderate: 25-50 %' read as 25-50 %"),
     ("<5% (trace)", 0, 5, "cover '<5% (trace)' read as 0-5 %")],
)  # fmt: skip
def test_what_is_understood_is_said(cell, low, high, how):
    assert parse_cover(cell)[1:5] == (low, high, "", how)


@pytest.mark.parametrize(
    ("cell", "reason"),
    [("120", "outside 0-100"), ("-5", "outside 0-100"), (">100", "outside 0-100"), ("<0", "outside 0-100"),
     ("35 fraction", "outside 0-1,"), ("0", "recorded as not found"), ("0 %", "recorded as not found"),
     ("dense", "is not read"), ("trace", "name its class in [intake.cover_scales]"), ("+", "is not read"),
     ("50-25", "from high to low"), ("3O", "is not read"), ("nan", "is not read"), ("1e1", "is not read"),
     ("dead (50%)", "is not read"), ("<5-10", "is not read")],
)  # fmt: skip
def test_cover_that_cannot_be_used(cell, reason):
    cover = parse_cover(cell)
    assert reason in cover.reason and math.isnan(cover.mid_pct)


@given(st.text(max_size=20), st.sampled_from([None, DAUBENMIRE, BRAUN_BLANQUET, scale_for("county", COUNTY)]))
def test_any_cell_gives_a_cover_or_a_reason(cell, scale):
    cover = parse_cover(cell, scale=scale)
    assert cover.reason or not cell.strip() or 0 <= cover.low_pct <= cover.mid_pct <= cover.high_pct <= 100


@given(st.integers(1, 1000), st.integers(1, 1000), st.sampled_from(["-", " - ", "\u2013", " to "]))
def test_a_written_range_is_the_range(one, two, dash):
    low, high = sorted((one, two))
    cover = parse_cover(f"{low / 10}{dash}{high / 10} %")
    assert cover[:3] == (pytest.approx((low + high) / 20), low / 10, high / 10)


def test_mean_of_daubenmire_classes_with_its_bounds():
    quadrats = {"1": 6, "2": 5, "3": 3, "4": 1, "5": 1}  # and 4 of 20 without the plant: worked by hand, S01
    cells = Cells.of(pd.Series([cell for cell, count in quadrats.items() for _ in range(count)]))
    covers = read_cover(cells, default=None, scale=DAUBENMIRE).number
    means = [covers[name].sum() / 20 for name in ("cover_pct", "cover_low_pct", "cover_high_pct")]
    assert means == pytest.approx([17.5, 11.25, 23.75])


def test_mean_of_braun_blanquet_codes():
    cells = Cells.of(pd.Series(["r", "+", "+", "1", "2", "3", "5"]))
    assert read_cover(cells, default=None, scale=BRAUN_BLANQUET).number["cover_pct"].mean() == pytest.approx(
        20.5857142857
    )  # S02


def test_cells_of_a_column_of_classes():
    def read(cell):
        return parse_cover(cell, scale=DAUBENMIRE)

    assert read("3")[:3] == read("class 3")[:3] == read("3 class")[:3] == (37.5, 25, 50)
    assert read("2-3")[:3] == (27.5, 5, 50) and read("4-3").reason == "cover 4-3 runs from high to low"
    assert read("0").reason == "cover 0: recorded as not found"  # absent is not class 1
    assert read("7").reason == "cover '7' is no class of the scale 'daubenmire': 1, 2, 3, 4, 5, 6"
    assert read("35 %")[:3] == (35, 35, 35)  # a percent, since it says so


def test_a_class_without_limits_counts_as_all_the_ground():
    cover = parse_cover("3 class")
    assert cover[:4] == (100, 100, 100, "") and not cover.told
    assert cover.how == (
        "cover class '3': its limits are not known: counted as 100 %; name them in [intake.cover_scales]"
    )
    assert parse_cover("class 3").how == cover.how
    assert [parse_cover(cell)[:2] for cell in ("35 class", "25-50 class", "<5 class", "25-50 %")] == [
        (35, 35), (37.5, 25), (2.5, 0), (37.5, 25),
    ]  # fmt: skip
    assert parse_cover("0 class").reason == "cover 0: recorded as not found"


def _scale(header, texts, **options):
    scale = choose_scale(header, texts, **({"own": COUNTY} | options)).scale
    return scale and (scale.name or scale.kind)


def test_the_setting_wins_then_the_header_then_the_cells():
    assert _scale("Daubenmire", ["1 class"], wanted="county") == "county"
    assert _scale("Daubenmire", ["1 class", "+ class"]) == "daubenmire"
    assert _scale("cover_BB", ["1 class"]) == _scale("Braun-Blanquet", ["3 class"]) == "braun-blanquet"
    assert _scale("County cover", ["7"]) == "county" and _scale("cover_frac", ["1"]) == "fraction"
    assert _scale("cover", ["TRACE", "high"]) == "county" and _scale("cover", ["trace", "40"]) is None
    assert _scale("cover", ["+", "1", "5"]) == _scale("CoverClass", ["r class", "2 class"]) == "braun-blanquet"
    assert _scale("cover", ["+"]) is None and _scale("cover", ["+", "15"]) is None
    assert _scale("cover", ["1", "2", "5"]) is None and _scale("CoverClass", ["1 class", "5 class"]) == "unknown"


def test_a_percent_column_beside_one_of_classes_stays_percent():
    scale = choose_scale("Cover, Daubenmire", ["3", "3 class"], own={}).scale
    assert [parse_cover(cell, scale=scale).mid_pct for cell in ("3", "3 class")] == [3, 37.5]


def test_classes_of_two_scales_are_not_guessed():
    own = {"a": {"1": (0.0, 10.0)}, "b": {"1": (0.0, 20.0), "2": (20.0, 100.0)}}
    scale = choose_scale("cover", ["1"], own=own).scale
    cover = parse_cover("1", scale=scale)
    assert cover.mid_pct == 100 and "it may be of the scale 'a' or 'b'" in cover.how
    assert choose_scale("cover", ["1", "2"], own=own).scale.name == "b"


def test_fractions_are_known_by_three_cells_of_which_one_is_not_whole():
    scale = choose_scale("cover", ["0.35", "0.5", "1"], own={}).scale
    assert parse_cover("0.35", scale=scale)[:3] == (35, 35, 35)
    assert parse_cover("0.35", scale=scale).how == "cover 0.35 read as a fraction: 35 %"
    assert parse_cover("35 %", scale=scale)[:3] == (35, 35, 35)
    assert choose_scale("cover", ["0.35"], own={}, filled=3).scale.name == "fraction"
    for texts in (["0.35", "0.5"], ["0", "1", "1"], ["0.35", "0.5", "2"], ["0.35", "0.5", "x"], ["0.3", "0.5", "-1"]):
        assert choose_scale("cover", texts, own={}).scale is None
    few = choose_scale("cover", ["0.35", "0.5"], own={})
    assert few.scale is None and "are they fractions?" in few.note
    ranges = choose_scale("cover", ["0.05-0.25", "0.25 - 0.5", "0.75 to 1"], own={})
    assert ranges.scale is None and "are they fractions?" in ranges.note
    assert choose_scale("cover", ["1-2", "2-3", "3-5", "5-7", "1"], own={}).note == ""
    doubt = choose_scale("Cover %", ["0.35 %", "0.5 %", "1 %"], own={})
    assert doubt.scale is None and "are they fractions?" in doubt.note
    assert choose_scale("cover", ["0.35", "0.5", "1"], own={}, wanted="percent").scale.name == "percent"


def test_whole_numbers_that_may_be_classes_raise_a_doubt():
    choice = choose_scale("cover", ["1", "2", "5"], own={}, filled=40)
    assert "percent or classes?" in choice.note
    cover = parse_cover("2", scale=choice.scale)
    assert (cover.mid_pct, cover.reason) == (100.0, "") and "set cover_scale" in cover.how
    assert choose_scale("cover", ["1", "2", "5", "40"], own={}, filled=40).note == ""


def test_a_scale_that_is_not_there_is_named_with_those_that_are():
    with pytest.raises(SettingsError, match="there are: county, percent, fraction, daubenmire, braun-blanquet"):
        scale_for("domin", COUNTY)
    assert scale_for("Braun Blanquet", {}) is BRAUN_BLANQUET
    assert scale_for("daubenmire", {"Daubenmire": {"1": (0.0, 1.0)}}).classes == {"1": (0.0, 0.5, 1.0)}
