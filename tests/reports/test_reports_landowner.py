"""The landowner's report: its answers, that they are those of the tables, and how it reads, sorts and prints."""

from __future__ import annotations

import csv
import dataclasses
import html
import io
import re
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import shapely
from PIL import Image
from season_of_toy import with_season, withheld

from invasimap.land.words import OUTSIDE
from invasimap.prescription.plan import STAMP, Check, Plan
from invasimap.reports.answers import answers
from invasimap.reports.off_limits import by_kind, closed_ground, quartered
from invasimap.reports.report import report_html
from invasimap.reports.report_answers import boxes, first_letters, unreached
from invasimap.reports.report_stands import MOST_STANDS, stand_parts, stands_left_out
from invasimap.reports.report_tables import closed_report
from invasimap.reports.tables import write_tables

ACRE_M2 = 4046.8564224
WORD = "Wordwithoutanyspace" * 8


def picture(width: int, height: int) -> bytes:
    """A PNG of a size: the maps themselves are looked at elsewhere."""
    file = io.BytesIO()
    Image.new("RGB", (width, height), "white").save(file, "PNG")
    return file.getvalue()


PICTURES = {
    "overview": picture(1100, 850), "species": picture(660, 300), "access_limits": picture(440, 300),
    "windows": picture(660, 500), "schedule": picture(660, 500), "money": picture(660, 330),
}  # fmt: skip


@pytest.fixture(scope="module")
def report(toy_plan: Plan) -> str:
    return report_html(toy_plan, pictures=PICTURES)


@pytest.fixture(scope="module")
def toy_page(chromium: Any, report: str, tmp_path_factory: pytest.TempPathFactory) -> Any:
    file = tmp_path_factory.mktemp("report") / "report.html"
    file.write_text(report, encoding="utf-8")
    page = chromium.new_context(offline=True, viewport={"width": 1280, "height": 900}).new_page()
    page.goto(file.as_uri())
    yield page
    page.context.close()


def shown(square_metres: float) -> str:
    """As the tables show an area: worked here by hand."""
    acres = square_metres / ACRE_M2
    return "0" if acres == 0 else "<0.01" if acres < 0.005 else f"{acres:,.2f}"


def words(fragment: str) -> str:
    return html.unescape(re.sub(r"\s+", " ", re.sub("<[^>]+>", " ", fragment))).strip()


def answers_of(page: str) -> str:
    return page.split('<section id="answers"')[1].split("</section>")[0]


def test_ground_off_limits_is_that_of_each_kind_by_overlay(toy_plan: Plan) -> None:
    closed = closed_ground(toy_plan)
    infested = toy_plan.patches.union_all()
    for row in toy_plan.protection.itertuples():
        rows = closed[(closed["zone"] == row.zone) & (closed["kind"] == row.kind) & (closed["rule"] == row.rule)]
        assert rows["ground_m2"].sum() == pytest.approx(infested.intersection(row.geometry).area, abs=1e-3)
    table = toy_plan.ground[toy_plan.ground["zone"] != "open"].groupby(["stand", "zone"])["ground_m2"].sum()
    pd.testing.assert_series_equal(
        closed.groupby(["stand", "zone"])["ground_m2"].sum(),
        table,
        check_dtype=False,
        check_index_type=False,
        rtol=1e-6,
    )


def test_ground_off_limits_counts_what_a_rule_without_a_name_closes(toy_plan: Plan) -> None:
    rules = toy_plan.protection["rule"].astype(object)
    rules.iloc[0] = None
    plan = dataclasses.replace(toy_plan, protection=toy_plan.protection.assign(rule=rules))
    closed = closed_ground(plan)
    shape = plan.protection.geometry.iloc[0]
    bare_m2 = toy_plan.patches.union_all().intersection(shape).area
    assert bare_m2 > 1 and closed.loc[closed["rule"] == "", "ground_m2"].sum() == pytest.approx(bare_m2, abs=1e-3)
    table = toy_plan.ground[toy_plan.ground["zone"] != "open"]
    assert closed["ground_m2"].sum() == pytest.approx(table["ground_m2"].sum(), rel=1e-6)
    kinds = by_kind(closed)
    assert kinds[["no_spray", "hand_only"]].sum().sum() == pytest.approx(table["ground_m2"].sum(), rel=1e-6)
    last = [row[-1] for row in closed_report(plan, closed).rows]
    assert "not said" in last and "None" not in last and "" not in last


def test_ground_off_limits_is_the_same_whatever_the_polygons_are_cut_into() -> None:
    rng = np.random.default_rng(5)
    shape = shapely.union_all(shapely.buffer(shapely.points(rng.uniform(0, 100, (60, 2))), rng.uniform(2, 9, 60)))
    parts, owner = quartered([shape, shapely.box(200, 0, 210, 10)], most_points=30)
    assert shapely.get_num_coordinates(parts).max() <= 30 and len(parts) > 20
    assert shapely.area(parts[owner == 0]).sum() == pytest.approx(shape.area, rel=1e-9)
    assert shapely.area(parts[owner == 1]).tolist() == [100.0]
    assert shapely.union_all(parts[owner == 0]).symmetric_difference(shape).area < 1e-6


def test_report_says_why_ground_is_off_limits(toy_plan: Plan, report: str) -> None:
    said = words(answers_of(report))
    for row in by_kind(closed_ground(toy_plan)).itertuples():
        assert f"{row.kind} {shown(row.no_spray)} {shown(row.hand_only)}" in said
    whole = toy_plan.ground.loc[toy_plan.ground["zone"] == "no_spray", "ground_m2"].sum()
    assert f"{shown(whole)} acres are off limits to any spray" in said
    rules = words(report.split('id="closed"')[1].split("</section>")[0])
    assert "perennial stream rule" in rules and "county permit 12" in rules and "25 ft" in rules


def test_patches_that_nobody_reaches_are_those_wholly_beyond_reach(toy_plan: Plan, report: str) -> None:
    inside, near = (
        toy_plan.stands.union_all(),
        toy_plan.access.set_index("access").geometry.drop("out_of_reach").union_all(),
    )
    own = [shape.intersection(inside) for shape in toy_plan.patches.geometry]
    reached = np.array([part.intersection(near).area / part.area if part.area > 1 else np.nan for part in own])
    far = unreached(toy_plan)
    assert far == ((reached < 0.005).sum(), ((reached > 0.005) & (reached < 0.995)).sum())
    nowhere, part = far
    assert nowhere > 0
    assert f"Nobody can reach {nowhere} of the 40 patches." in report and part == 0


def test_nothing_is_said_of_reach_where_no_patch_lies_in_a_stand(toy_plan: Plan) -> None:
    outside = dataclasses.replace(
        toy_plan, mosaic=toy_plan.mosaic.assign(stand=OUTSIDE), ground=toy_plan.ground.assign(stand=OUTSIDE)
    )
    assert unreached(outside) is None
    found, closed = answers(outside), closed_ground(outside)
    assert [box.id for box in boxes(outside, found, closed)] == ["closed", "not-known"]
    assert found.patches == len(toy_plan.patches)


def test_long_names_keep_their_heads(toy_plan: Plan) -> None:
    assert first_letters(WORD, 20) == "Wordwithoutanyspace…" and first_letters("Wordwithoutanyspace", 19)[-1] == "e"
    tract = toy_plan.settings.tract.model_copy(update={"name": WORD})
    plan = dataclasses.replace(toy_plan, settings=toy_plan.settings.model_copy(update={"tract": tract}))
    (head,) = re.findall(r"<h1[^>]*>(.*?)</h1>", report_html(plan, pictures=PICTURES))
    assert head == WORD[:119] + "…"


def test_answers_are_the_figures_of_the_tables(toy_plan: Plan, report: str, tmp_path: Path) -> None:
    write_tables(toy_plan, tmp_path)
    with (tmp_path / "tables" / "totals.csv").open(encoding="utf-8") as file:
        totals = {
            row["species"]: {k: float(v) for k, v in row.items() if k != "species" and v}
            for row in csv.DictReader(file)
        }
    said = words(answers_of(report))
    whole = totals.pop("")
    assert f"{whole['treatable_gross_ac']:.2f} acres ({whole['treatable_gross_low_ac']:.2f} to " in said
    for species, row in totals.items():
        ends = ("ac", "low_ac", "high_ac")
        ground, plants = (
            "{:.2f} ({:.2f} to {:.2f})".format(*(row[f"treatable_{name}_{end}"] for end in ends))
            for name in ("gross", "infested")
        )
        assert f"{species} {ground} {plants} " in said
    with (tmp_path / "tables" / "acreage.csv").open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["zone"] == "open" and row["stand"] != "(outside)"]
    for means in ("tractor", "atv_hose", "foot"):
        found = [
            float(row["gross_ac"]) for row in rows if row["access"] == means and row["species"].startswith("Lonicera")
        ]
        assert f" {shown(sum(found) * ACRE_M2)} " in said.split("Lonicera maackii")[1].split(" A")[0] + " "


def test_ground_of_each_means_has_its_range(toy_plan: Plan, report: str) -> None:
    said = words(report.split('<table class="key">')[1].split("</table>")[0])
    table = toy_plan.by_means[toy_plan.by_means["species"] == ""].set_index("access")
    for means in ("tractor", "atv_hose", "foot"):
        row = table.loc[means]
        spread = f"({shown(row['gross_low_m2'])} to {shown(row['gross_high_m2'])})"
        area = toy_plan.ground[(toy_plan.ground["zone"] == "open") & (toy_plan.ground["stand"] != OUTSIDE)]
        assert f"{shown(area.loc[area['access'] == means, 'ground_m2'].sum())} {spread}" in said
    assert "Acres (90 % range) Share" in said and "()" not in said


def test_page_of_answers_says_no_cost_and_no_window_where_the_plan_has_none(report: str) -> None:
    said = words(report).lower()
    assert "$" not in said and "usd" not in said and "cost" not in said and "window" not in said


def test_every_record_is_accounted_for(toy_plan: Plan, report: str) -> None:
    table = report.split("<span>Every record accounted for</span>")[1].split("</table>")[0]
    rows = [words(row).split() for row in re.findall(r"<tr>(.*?)</tr>", table, re.S)[1:]]
    assert [row[0] for row in rows] == ["survey.csv", "All"]
    for _, records, accepted, repaired, aside in rows:
        assert int(records) == int(accepted) + int(repaired) + int(aside) == 42
    for reason in toy_plan.set_aside["reason"]:
        assert reason in report


def test_each_stand_has_its_figures_and_its_picture(toy_plan: Plan) -> None:
    parts = stand_parts(toy_plan, closed_ground(toy_plan))
    names = [part.heading for part in parts]
    assert names == [*(f"Stand {k}" for k in range(1, 6)), "Outside every stand"]
    ground = toy_plan.ground.groupby("stand")["ground_m2"].sum()
    for part, stand in zip(parts[:5], toy_plan.stands.itertuples(), strict=True):
        assert dict(part.facts)["Infested ground"].startswith(f"{shown(ground[stand.stand])} ac, ")
        assert f"of {shown(stand.geometry.area)} ac" in dict(part.facts)["Infested ground"]
        assert f"Sketch of stand {stand.stand}" in part.picture
        edge = re.findall(r'<path d="([^"]*)" fill="none" stroke="#111111"', part.picture)[0]
        x, y = np.array([tuple(map(float, at.split(","))) for at in re.findall(r"[\d.]+,[\d.]+", edge)]).T
        drawn = abs(shapely.Polygon(np.c_[x, y]).area)
        bar, feet = re.findall(r"v4h([\d.]+)v-4.*?>([\d,]+) ft</text>", part.picture)[0]
        metres = float(feet.replace(",", "")) * 0.3048 / float(bar)
        assert drawn * metres**2 == pytest.approx(stand.geometry.area, rel=0.02)  # the scale bar is true
    assert parts[-1].picture == ""
    assert not stands_left_out(toy_plan)


def many_stands(plan: Plan, count: int) -> Plan:
    """The tract in ``count`` strips from west to east, its mosaic cut anew; every other table as it was."""
    left, bottom, right, top = plan.stands.total_bounds
    edges = np.linspace(left, right, count + 1)
    strips = [shapely.box(a, bottom, b, top) for a, b in pairwise(edges)]
    stands = plan.stands.iloc[[0] * count].assign(stand=[str(k + 1) for k in range(count)])
    stands = stands.set_geometry(strips, crs=plan.crs)
    faces = plan.mosaic.drop(columns="stand").overlay(
        stands[["stand", "geometry"]], how="intersection", keep_geom_type=False
    )
    faces = faces[faces.area > 0]
    ground = faces.assign(ground_m2=faces.area).groupby(["stand", "zone", "access"], as_index=False)["ground_m2"].sum()
    rows = faces.assign(species=faces["species"].str.split(";"), gross_m2=faces.area, infested_m2=0.0).explode(
        "species"
    )
    acreage = rows.groupby(["stand", "species", "zone", "access"], as_index=False)[["gross_m2", "infested_m2"]].sum()
    ends = {f"{name}_{end}_m2": np.nan for name in ("gross", "infested") for end in ("low", "high")}
    return dataclasses.replace(
        plan, stands=stands, mosaic=faces, acreage=acreage.assign(patches=1, **ends),
        ground=ground.assign(ground_low_m2=np.nan, ground_high_m2=np.nan),
    )  # fmt: skip


def test_of_very_many_stands_those_with_most_are_shown_and_the_rest_is_named(toy_plan: Plan) -> None:
    plan = many_stands(toy_plan, 60)
    parts = stand_parts(plan, closed_ground(plan))
    areas = plan.ground.groupby("stand")["ground_m2"].sum().sort_values(ascending=False)
    largest = sorted(areas.index[:MOST_STANDS], key=int)
    assert [part.heading for part in parts] == [f"Stand {name}" for name in largest]
    more, clean = stands_left_out(plan)
    assert f"the {MOST_STANDS} stands with the most infested ground of {len(areas)} with any." in more
    assert more.endswith("Each has its sheet in mapbook.pdf.")
    bare = [str(k + 1) for k in range(60) if str(k + 1) not in areas.index]
    assert (
        clean.startswith(f"No patch was mapped in {', '.join(bare[:5])}") and "clear only if somebody looked" in clean
    )
    page = report_html(plan, pictures=PICTURES)
    assert page.count('class="sketch"') == MOST_STANDS and len(page) < 1_000_000


def test_stands_that_the_book_leaves_out_and_what_lies_in_none_are_not_counted_as_shown(toy_plan: Plan) -> None:
    plan = many_stands(toy_plan, 60)
    book = plan.settings.mapbook.model_copy(update={"most_sheets": 45, "scale": 10_000})
    outside = plan.ground.iloc[[0]].assign(stand=OUTSIDE, ground_m2=1e6)  # more than in any stand
    rows = plan.acreage.iloc[[0]].assign(stand=OUTSIDE)
    plan = dataclasses.replace(
        plan, settings=plan.settings.model_copy(update={"mapbook": book}),
        acreage=pd.concat([plan.acreage, rows]), ground=pd.concat([plan.ground, outside]),
    )  # fmt: skip
    headings = [part.heading for part in stand_parts(plan, closed_ground(plan))]
    assert len(headings) == MOST_STANDS + 1 and headings[-1] == "Outside every stand"
    infested = plan.stands.intersects(shapely.buffer(toy_plan.patches.union_all(), -1e-6)).sum()
    assert infested > 45
    more = stands_left_out(plan)[0]
    assert f"most infested ground of {infested} with any." in more
    assert f"it leaves out {infested - 45} sheets with infested ground" in more and "Each has" not in more


def test_headings_go_down_step_by_step_and_contents_lead_somewhere(report: str) -> None:
    levels = [int(level) for level in re.findall(r"<h([1-6])", report)]
    assert levels.count(1) == 1 and levels[0] == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))
    ids = re.findall(r'\bid="([^"]+)"', report)
    assert len(ids) == len(set(ids))
    links = re.findall(r'href="#([^"]+)"', report)
    assert len(links) > 8 and set(links) <= set(ids)


def test_an_internal_report_is_stamped_first(toy_plan: Plan) -> None:
    page = report_html(dataclasses.replace(toy_plan, internal=True), pictures=PICTURES)
    body = page.split("<body>")[1]
    assert f"{STAMP}: it shows confidential features as they are." in body.split("<h1")[0]


def test_method_says_system_acre_seed_and_versions(toy_plan: Plan, report: str) -> None:
    how = words(report.split('id="how"')[1].split("</section>")[0])
    assert "centred at 38.200, -80.500" in how and "4,046.8564 square metres" in how
    assert "500 surveys" in how and re.search(r"\(seed \d+\)", how) and f"shapely {shapely.__version__}" in how
    assert "a" * 64 in how and "survey.csv" in how


def test_buttons_sort_figures_as_figures_and_names_as_names(toy_page: Any) -> None:
    table = toy_page.locator("table", has=toy_page.locator("caption", has_text="By stand, species, zone and access"))
    toy_page.locator("summary", has_text="Every line of the acreage table").click()
    heads = table.locator("thead th")
    gross = [heads.nth(k).inner_text() for k in range(heads.count())].index("Gross ac")

    def column(at: int) -> list[str]:
        rows = table.locator("tbody tr")
        return rows.evaluate_all("(rows, at) => rows.map(row => row.cells[at].textContent.trim())", at)

    def figures() -> list[float]:
        return [0.005 if text == "<0.01" else float(text.replace(",", "")) for text in column(gross)]

    before = sorted(column(1))
    button = heads.nth(gross).locator("button")
    button.focus()
    toy_page.keyboard.press("Enter")
    assert heads.nth(gross).get_attribute("aria-sort") == "descending"
    assert figures() == sorted(figures(), reverse=True) and max(figures()) > 2 > min(figures())
    toy_page.keyboard.press("Space")
    assert heads.nth(gross).get_attribute("aria-sort") == "ascending" and figures() == sorted(figures())
    heads.nth(1).locator("button").click()
    assert column(1) == before and heads.nth(gross).get_attribute("aria-sort") is None
    assert table.locator("[aria-sort]").count() == 1


def test_unknown_cells_stay_last_and_numbers_in_names_count(toy_page: Any) -> None:
    rows = "".join(f"<tr><th scope=row>{a}</th><td class=n>{b}</td></tr>" for a, b in (
        ("Stand 10", "not known"), ("Stand 9", "1,234.50"), ("Stand 2", "&lt;0.01"), ("Stand 1", "-2.00"),
        ("(x)", "none"), ("Stand 3", "99.00 to 101.00"),
    ))  # fmt: skip
    script = toy_page.evaluate("document.scripts[0].textContent")
    page = toy_page.context.new_page()
    head = '<thead><tr><th scope="col">Name</th><th scope="col" class="n">Acres</th></tr></thead>'
    page.set_content(f'<table class="sorts">{head}<tbody>{rows}</tbody></table>')
    page.evaluate(script)
    order = "document.querySelectorAll('tbody th')"

    def names(column: int) -> list[str]:
        page.locator("thead button").nth(column).click()
        return page.evaluate(f"[...{order}].map(cell => cell.textContent.replace('Stand ', ''))")

    assert names(1) == ["9", "3", "2", "(x)", "1", "10"]
    assert names(1) == ["1", "(x)", "2", "3", "9", "10"]
    assert names(0) == ["(x)", "1", "2", "3", "9", "10"]
    page.close()


@pytest.fixture
def hard_plan(toy_plan: Plan) -> Plan:
    """All that fills the first page: many species and kinds with long names, a failed check, an internal plan."""
    species = [f"{WORD} longissima var. {k:02d}" for k in range(12)]
    acreage = pd.concat([toy_plan.acreage.assign(species=name) for name in species], ignore_index=True)
    acreage = acreage.groupby(["stand", "species", "zone", "access"], as_index=False).sum(numeric_only=True)
    (row,) = [toy_plan.totals.iloc[[0]]]
    totals = pd.concat([*(row.assign(species=name) for name in species), toy_plan.totals.iloc[[-1]]], ignore_index=True)
    kept = [toy_plan.protection.assign(kind=f"kind {k} of {WORD}", rule=f"rule {k}") for k in range(8)]
    strips = pd.concat(kept, ignore_index=True)
    patches = toy_plan.patches.assign(species=species[0], common_name=f"the plant of the {WORD}")
    tract = toy_plan.settings.tract.model_copy(update={"name": f"{STAMP}: Estate of the {WORD} " * 3})
    return dataclasses.replace(
        toy_plan, acreage=acreage, totals=totals, protection=strips, patches=patches, internal=True,
        settings=toy_plan.settings.model_copy(update={"tract": tract}),
        checks=(Check(name="area conserved", value=0.2, limit=1e-9),), notes=("A long note. " * 40,) * 9,
    )  # fmt: skip


@pytest.fixture
def season_plan(hard_plan: Plan) -> Plan:
    """The same with a season's work, whose answers are long too."""
    long = withheld().assign(what=f"no mix for {WORD}. " * 3)
    return with_season(hard_plan, withheld=long)


@pytest.mark.parametrize("kind", ["toy", "hard", "empty", "season"])
def test_answers_print_on_one_sheet(
    kind: str, request: pytest.FixtureRequest, chromium: Any, tmp_path: Path, printed_pages: Callable[[Any], list[str]]
) -> None:
    plan = request.getfixturevalue(f"{kind}_plan")
    (tmp_path / "report.html").write_text(report_html(plan, pictures=PICTURES), encoding="utf-8")
    page = chromium.new_context(offline=True).new_page()
    page.goto((tmp_path / "report.html").as_uri())
    sheets = printed_pages(page)
    last = "Ground that nobody surveyed is unknown, not clear."
    assert "The product label is the law" in sheets[0] and last in re.sub(r"\s+", " ", sheets[0])
    assert sheets[1].strip().startswith("Map")
    more = {"hard": ("4 more species", "3 more kinds"), "season": ("8 more species", "5 more kinds", "3 crew-days")}
    assert all(text in sheets[0] for text in more.get(kind, ()))
    assert re.search(r"\b1 ?/ ?\d+\s*$", sheets[0]) and "Cautions" in sheets[-1]
    page.context.close()


def test_repeated_heads_and_whole_charts_in_print(
    toy_plan: Plan, chromium: Any, tmp_path: Path, printed_pages: Callable[[Any], list[str]]
) -> None:
    aside = toy_plan.set_aside.iloc[[0] * 150].assign(record=range(150), reason="no species")
    page_text = report_html(dataclasses.replace(toy_plan, set_aside=aside), pictures=PICTURES)
    (tmp_path / "report.html").write_text(page_text, encoding="utf-8")
    page = chromium.new_context(offline=True).new_page()
    page.goto((tmp_path / "report.html").as_uri())
    sheets = printed_pages(page)
    long = [sheet for sheet in sheets if sheet.count("no species") > 5]
    assert len(long) > 2 and all("Why it was not used" in sheet for sheet in long)
    page.emulate_media(media="print")
    page.set_viewport_size({"width": 720, "height": 960})  # the width of the paper within its margins
    assert page.evaluate("document.documentElement.scrollWidth") <= 720
    heights = page.evaluate("[...document.querySelectorAll('.key tbody tr')].map(row => row.clientHeight)")
    assert len(heights) == 8 and max(heights) < 1.4 * min(heights)  # each answer in one line, with its range
    right = "[...document.querySelectorAll('img, table, svg')].map(part => part.getBoundingClientRect().right)"
    assert max(page.evaluate(right)) <= 721
    page.context.close()


@pytest.mark.parametrize("kind", ["hard", "empty", "season"])
def test_hard_and_empty_reports_fit_the_screen_and_have_no_grave_fault(
    kind: str, request: pytest.FixtureRequest, screen: Any, tmp_path: Path, grave_faults: Callable[..., list[Any]]
) -> None:
    plan = request.getfixturevalue(f"{kind}_plan")
    (tmp_path / "report.html").write_text(report_html(plan, pictures=PICTURES), encoding="utf-8")
    screen.goto((tmp_path / "report.html").as_uri())
    assert screen.evaluate("document.documentElement.scrollWidth") <= screen.viewport_size["width"]
    assert (
        grave_faults(screen, within="header, #answers, #season, #unknown, #how, #cautions") == []
        and screen.faults == []
    )
