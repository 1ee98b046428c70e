"""The load sheet, read back from its printed pages by other programs and held to figures worked by hand."""

from __future__ import annotations

import dataclasses
import datetime as dt
import io
import re
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pikepdf
import pytest
from a_treatment import GAL, START, nothing_planned, with_treatment

from invasimap.core.mix_settings import MixSection
from invasimap.core.units import US
from invasimap.prescription.plan import CAUTIONS, Plan
from invasimap.reports.load_sheet import BRING, DAYS, HAUL, loadsheet_pdf
from invasimap.reports.load_sheet_layout import CELL_PAD_IN, Column, page_of
from invasimap.reports.load_sheet_outings import DRY, WORKS
from invasimap.reports.load_sheet_words import label_words, stop_words
from invasimap.reports.schedule_chart import said_schedule
from invasimap.reports.style import TYPE_PT
from invasimap.reports.treatment_tables import treatment_tables
from invasimap.reports.type_set import width_in

MARGIN_PT = 0.4 * 72


def pages_of(plan: Plan, folder: Path) -> list[str]:
    """The text of each page, rows kept as rows, runs of blanks as one."""
    file = folder / "sheet.pdf"
    file.write_bytes(loadsheet_pdf(plan))
    text = subprocess.run(["pdftotext", "-layout", str(file), "-"], capture_output=True, text=True, check=True).stdout
    return [re.sub(r"[ \t]+", " ", page) for page in text.split("\f")[:-1]]


def boxes_of(file: Path) -> list[tuple[float, float, list[tuple[float, float, float, float, str]]]]:
    """Width and height of each page, and its words with their boxes."""
    text = subprocess.run(["pdftotext", "-bbox", str(file), "-"], capture_output=True, text=True, check=True).stdout
    found = []
    for page in text.split("<page ")[1:]:
        size = re.search(r'width="([\d.]+)" height="([\d.]+)"', page)
        words = re.findall(r'xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">(.*?)</word>', page)
        found.append((float(size[1]), float(size[2]), [(*map(float, word[:4]), word[4]) for word in words]))
    return found


@pytest.fixture(scope="module")
def pages(toy_plan: Plan, tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    return pages_of(with_treatment(toy_plan), tmp_path_factory.mktemp("loads"))


def crowded(plan: Plan, *, count: int, **said: Any) -> Plan:
    """Work 1 many times over in its one outing; ``said`` are further columns of the works."""
    held = with_treatment(plan).treatment
    work = pd.concat([held.work.iloc[[0]].assign(**said)] * count)
    work.index = pd.RangeIndex(1, count + 1, name="work")
    days = pd.concat([held.days.iloc[[0]].assign(work=number, order=number) for number in work.index])
    jobs = pd.concat([held.jobs.iloc[[0]].assign(work=number, patch=f"P{number}") for number in work.index])
    jobs = gpd.GeoDataFrame(jobs.astype({"work": "Int64"}), crs=plan.crs)
    return with_treatment(plan, work=work, days=days.reset_index(drop=True), jobs=jobs)


def test_first_page_sums_what_to_bring_and_to_haul(pages: list[str]) -> None:
    """4 x 35.2 + 17.6 = 158.4 fl oz of 128 a gallon; water 4 x (25 - 47.5 / 128) + 12.5 - 23.5 / 128 = 110.83 gal."""
    first = pages[0]
    assert "late foliar Example Product A, registration 00000-000 5 158.4 fl oz (1.24 gal)" in first
    assert "late foliar Example adjuvant 5 57.6 fl oz\n" in first
    assert "stump mix Example Product B, registration not typed 2 7.68 fl oz\n" in first
    assert "ATV hose 25 gal 5 111 gal\n" in first and "backpack pair 4 gal 2 3 gal\n" in first
    days = re.findall(r"^ ?(\w+day 2026-08.*)$", first.split("Works by day")[1], re.MULTILINE)
    assert days == [
        "Monday 2026-08-03 ATV hose 1 3.8",
        "Monday 2026-08-10 backpack pair 2 5.0",
        "Monday 2026-08-17 backpack pair 2, 3 not known",
    ]
    said = " ".join(first.split())
    assert "could be done, but in no week: 1 (tables/unplanned.csv)" in said
    assert "withheld until something is typed or changed: 1 (tables/withheld.csv)" in said


def test_loads_are_measured_in_units_of_the_jug(pages: list[str]) -> None:
    second = pages[1]
    assert "4 full loads, each 25 gal 24.63 gal 35 fl oz 12.5 fl oz" in second
    assert "last load 12.5 gal 12.32 gal 17.5 fl oz 6 fl oz" in second
    assert "in all 5 loads 112.5 gal 110.83 gal 157.5 fl oz 56 fl oz" in second
    assert "the only load 2.8 gal 2.75 gal 7 fl oz" in second
    assert "the only load 25.6 fl oz 25.1 fl oz 0.5 fl oz" in "".join(pages[1:])  # 0.2 gal: less than a jug's quarter


def test_less_than_the_jug_shows_is_not_written_as_nothing(toy_plan: Plan, tmp_path: Path) -> None:
    """0.2 gal at 0.4 % would take 0.1 fl oz of adjuvant, of which a jug of 0.5 shows nothing."""
    held = with_treatment(toy_plan).treatment
    adjuvant_L = 0.2 * 0.004 * GAL
    loads = held.loads.assign(adjuvant_L=held.loads["adjuvant_L"].where(held.loads["outing"] != 3, adjuvant_L))
    text = "".join(pages_of(with_treatment(toy_plan, loads=loads), tmp_path))
    assert "the only load 25.6 fl oz 25.1 fl oz 0.5 fl oz below the mark" in text and " 0 fl oz" not in text


def test_an_outing_that_must_not_be_mixed_says_why_and_has_no_amounts(toy_plan: Plan, tmp_path: Path) -> None:
    held = with_treatment(toy_plan).treatment.loads
    why = "calibrated 2026-05-02, over 30 days before the week of 2026-08-03: calibrate again"
    plan = with_treatment(toy_plan, loads=held.assign(hold=["", "", why, ""]))
    first, *rest = (" ".join(page.split()) for page in pages_of(plan, tmp_path))
    second = " ".join(rest)
    assert f"NOT TO BE MIXED: {why}. What goes into its 1 load is withheld." in second
    assert "35 fl oz" in second and "2.8 gal 2.75 gal 7 fl oz" not in second  # the other outings have theirs
    assert "stump mix Example Product B" in first  # what to bring stays
    table = treatment_tables(plan)["loads"]
    measured = table[["product_floz", "adjuvant_floz", "water_gal"]]
    assert measured.isna().all(axis=1).tolist() == [False, False, True, False]
    assert table["hold"].tolist() == ["", "", why, ""]


def test_hours_are_the_same_on_the_sheet_and_on_the_chart(toy_plan: Plan, tmp_path: Path) -> None:
    """3.71 hours are 3.8, all to one side, as crew-days are."""
    held = with_treatment(toy_plan).treatment.schedule
    plan = with_treatment(toy_plan, schedule=held.assign(hours=held["hours"].replace(3.8, 3.71)))
    assert "3.8 h of the whole crew" in " ".join("".join(pages_of(plan, tmp_path)).split())
    assert "ATV hose: 3.8 h in the week of 2026-08-03" in said_schedule(plan)


def test_an_outing_says_what_is_typed_and_what_is_not(pages: list[str]) -> None:
    text = " ".join("".join(pages[1:]).split())
    assert "ATV hose: late foliar Monday 2026-08-03, 3.8 h of the whole crew" in text
    assert "Example Product A (registration 00000-000), 1.1 % v/v; Example adjuvant, 0.4 % v/v." in text
    assert "wind 3-10 mph; temperature 40-85 °F; rain-free 6 h; re-entry 4 h." in text
    assert "Not typed, read it off the label: wind, temperature, rain-free, re-entry." in text
    assert text.count("Put into the tank in the order the label says.") == 3
    assert "Calibrated 2026-05-02: if that is over 30 days before the day of spraying, calibrate again." in text
    assert "No calibration of this rig for it is typed." in text
    assert text.count("part 1 of 2") == text.count("part 2 of 2") == 1  # work 2, on two days
    assert text.count("estimated") == 1  # of the three works the first
    assert "P001: 120 gal (planned at it)" in text  # 120.009 gal, never more
    assert "cover not known: counted as 100 % (P003)" in text
    assert "nan" not in text.lower().replace("lonicera", "")


def test_work_without_spray_is_listed_without_loads(pages: list[str]) -> None:
    text = "".join(pages[1:])
    dry = text[text.index("backpack pair: without a tank") :]
    assert "hours not known" in dry and "Nothing is sprayed: no loads." in dry and " pull " in dry
    assert "fl oz" not in dry and "Applicator" not in dry and "Who" in dry


def test_cautions_stand_on_every_page_and_nothing_says_safe(pages: list[str]) -> None:
    for page in pages:
        words = " ".join(page.split())
        assert all(" ".join(caution.split()) in words for caution in CAUTIONS)
        assert "safe" not in words and f"of {len(pages)}" in words


def test_paper_is_letter_or_a4_by_the_units(toy_plan: Plan, make_plan: Callable[..., Plan], tmp_path: Path) -> None:
    for plan, width, height in ((toy_plan, 612, 792), (make_plan(units="metric"), 595.28, 841.89)):
        file = tmp_path / "sheet.pdf"
        file.write_bytes(loadsheet_pdf(with_treatment(plan)))
        with pikepdf.open(file) as document:
            assert [float(side) for side in document.pages[0].mediabox[2:]] == pytest.approx([width, height], abs=0.02)
            assert str(document.docinfo["/Title"]) == "Toy Tract: Load sheet"
    text = " ".join(pages_of(with_treatment(make_plan(units="metric")), tmp_path)[1].split())
    assert "4 full loads, each 94.64 l" in text and "1,035.07 ml" in text
    assert "wind 4.9-16 km/h; temperature 4.5-29.4 °C" in text  # 4.83-16.09, 4.44-29.44: no bound wider than typed


def test_same_plan_same_bytes_and_all_of_it_grey(toy_plan: Plan) -> None:
    plan = with_treatment(toy_plan)
    made = loadsheet_pdf(plan)
    assert made == loadsheet_pdf(plan)
    with pikepdf.open(io.BytesIO(made)) as document:
        for page in document.pages:
            page.contents_coalesce()
            for operands, operator in pikepdf.parse_content_stream(page):
                if str(operator) in ("rg", "RG"):
                    assert len({float(value) for value in operands}) == 1


def test_nothing_to_mix_says_why(toy_plan: Plan, tmp_path: Path) -> None:
    bare = dataclasses.replace(
        toy_plan, settings=toy_plan.settings.model_copy(update={"rig": [], "mix": []}),
        treatment=nothing_planned(toy_plan),
    )  # fmt: skip
    for plan in (bare, toy_plan):
        (page,) = pages_of(plan, tmp_path)
        assert "No rig in the settings: no work, no loads, no hours, no cost." in page
        assert "No mix in the settings" in page and "To bring" not in page
    (page,) = pages_of(dataclasses.replace(with_treatment(toy_plan), treatment=nothing_planned(toy_plan)), tmp_path)
    assert "No work is planned." in page and "No rig" not in page


def test_an_outing_stays_on_one_page(toy_plan: Plan, tmp_path: Path) -> None:
    """Each has its heading, its loads and its lines to fill in on the same page, however they fall."""
    held = with_treatment(toy_plan).treatment
    outings = range(1, 12)
    loads = pd.concat([held.loads.iloc[:2].assign(outing=number, week=number) for number in outings])
    days = pd.concat([
        held.days.iloc[[0]].assign(outing=number, day=START + dt.timedelta(number)) for number in outings
    ])  # fmt: skip
    plan = with_treatment(toy_plan, loads=loads, days=days.astype({"outing": "Int64"}).reset_index(drop=True))
    pages = pages_of(plan, tmp_path)[1:]
    assert sum(page.count("ATV hose: late foliar") for page in pages) == len(outings)
    assert max(page.count("ATV hose: late foliar") for page in pages) >= 2
    for page in pages:
        assert page.count("ATV hose: late foliar") == page.count("in all 5 loads") == page.count("Mix left over")


def test_an_outing_higher_than_a_page_goes_on_under_its_heading(toy_plan: Plan, tmp_path: Path) -> None:
    text = pages_of(crowded(toy_plan, count=60), tmp_path)[1:]
    whole = "\n".join(text)
    assert len(text) > 1 and whole.count("Mix left over") == 1 and whole.count("in all 5 loads") == 1
    assert all("ATV hose: late foliar" in page for page in text) and "late foliar (more)" in text[1]
    assert re.findall(r"^ ?(\d+) Z15, stand 5 ", whole, re.M) == [str(number) for number in range(1, 61)]


def test_long_names_stay_on_the_paper_and_apart(make_plan: Callable[..., Plan], tmp_path: Path) -> None:
    """No word leaves the margins or lies on another, and no letter is lost."""
    stand = "the stand bought of the widow in the year of the flood, the part beyond the old mill race and the wall"
    species = ";".join(f"Genus{number} verylongepitheton" for number in range(14))
    plan = crowded(make_plan(name="Tract " * 40), count=9, stand=stand, species=species)
    text = " ".join("".join(pages_of(plan, tmp_path)[1:]).split())
    assert text.count("Genus13") == 9
    for width, height, words in boxes_of(tmp_path / "sheet.pdf"):
        for left, top, right, low, word in words:
            assert MARGIN_PT - 2 < left < right < width - MARGIN_PT + 2, word
            assert MARGIN_PT - 4 < top < low < height - MARGIN_PT + 4, word
        for at, (left, top, right, low, word) in enumerate(words):
            middle = (top + low) / 2
            for other in words[at + 1 :]:
                beside = other[0] >= right - 0.5 or other[2] <= left + 0.5
                assert beside or not other[1] + 2 < middle < other[3] - 2, (word, other[4])


def test_stops_are_told_where_a_limit_is_near_and_never_rounded_up() -> None:
    """Of a limit of 4 lb/acre (4.483 kg/ha) 3.4 are over three quarters, 3.3 are not; at a limit always."""
    mix = MixSection.model_validate({
        "name": "m", "product": "p", "rate": "2 % v/v", "max_per_application": "4 lb/acre",
        "max_per_year": "none on the label", "species": ["*"], "zones": ["open"],
    })  # fmt: skip
    jobs = pd.DataFrame({
        "patch": ["near", "far", "met", "tiny", "none"], "at_limit": [False, False, True, False, False],
        "stop_at_L": [9.9999 * GAL, 20.0, 3 * GAL, 1e-6, float("inf")],
        "application_kg_per_ha": [3.4, 3.3, 4.483, 4.0, 9.0], "year_kg_per_ha": [3.4, 3.3, 4.483, 4.0, 9.0],
    })  # fmt: skip
    said = stop_words(jobs, mix, US)
    assert said.endswith("met: 3 gal (planned at it); tiny: <0.01 fl oz; near: 9.99 gal.")
    assert stop_words(jobs.iloc[[1, 4]], mix, US) == ""


def test_a_time_that_must_pass_is_rounded_up() -> None:
    mix = MixSection.model_validate({
        "name": "m", "product": "p", "rate": "2 % v/v", "species": ["*"], "zones": ["open"], "rain_free": "30 min",
        "reentry": "2.51 h", "temperature": "-5-30 degC",
    })  # fmt: skip
    said = label_words(mix, US)
    assert "rain-free 30 min; re-entry 2.6 h" in said and "temperature 23-86 °F" in said
    assert "Not typed, read it off the label: wind." in said


def test_on_letter_paper_a_window_takes_one_line() -> None:
    wide = page_of("letter", ()).room_in
    for columns in (WORKS, DRY):
        share = next(column.share for column in columns if column.head == "Window") / sum(c.share for c in columns)
        assert width_in("2026-08-03 to 2027-08-02", size_pt=8.0) + 2 * CELL_PAD_IN < share * wide


@pytest.mark.parametrize("paper", ["letter", "a4"])
@pytest.mark.parametrize("columns", [WORKS, DRY, BRING, HAUL, DAYS], ids=["works", "dry", "bring", "haul", "days"])
def test_no_word_of_a_heading_is_broken(paper: str, columns: tuple[Column, ...]) -> None:
    wide = page_of(paper, ()).room_in / sum(column.share for column in columns)
    for column in columns:
        for word in column.head.split():
            assert width_in(word, size_pt=TYPE_PT["body"], bold=True) + 2 * CELL_PAD_IN < column.share * wide, word


def test_hostile_names_come_out_as_text(toy_plan: Plan, tmp_path: Path) -> None:
    plan = crowded(toy_plan, count=2, stand="\x1b\u202e", species="<b>(Tj) ET</b>;$\\frac$")
    mix = plan.settings.mix[0].model_copy(update={"product": "A) Tj ET\x07 (\n.notdef", "registration": "\u202e=1+1"})
    settings = plan.settings.model_copy(update={"mix": [mix, plan.settings.mix[1]]})
    text = " ".join("".join(pages_of(dataclasses.replace(plan, settings=settings), tmp_path)).split())
    assert "A) Tj ET\\u0007 (\\u000a.notdef (registration \\u202e=1+1)" in text
    for name in ("\\u001b\\u202e", "<b>(Tj) ET</b>", "$\\frac$"):
        assert text.count(name) == 2, name
