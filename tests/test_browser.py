"""The pages in a browser with the network off: nothing is asked for, nothing fails, everything is there."""

import csv
import io
import os
import re
import shutil
import subprocess

import numpy as np
import pytest
from PIL import Image

WORDS = {"tractor": "tractor", "atv_hose": "hose from an ATV", "foot": "on foot"}


def test_report_reads_and_fits_the_screen(screen, sample_plan):
    page = screen
    plan, out = sample_plan
    page.goto((out / "report.html").as_uri())
    text = page.locator("body").inner_text()
    assert plan.settings.tract.name in text and "The product label is the law" in text
    total = plan.ground["ground_m2"].sum() / 4046.8564224
    assert f"{total:.2f} acres" in text
    assert page.evaluate("[...document.images].every(image => image.complete && image.naturalWidth > 0)")
    page.evaluate("document.querySelectorAll('details').forEach(part => { part.open = true; })")
    assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]
    # whatever is wider than the screen lies in a part of its own that a keyboard can scroll
    loose = """[...document.querySelectorAll('table, img, svg')].filter(
        part => part.getBoundingClientRect().right > document.documentElement.clientWidth + 1
            && !part.closest('[role=region][tabindex="0"][aria-label]')).map(part => part.outerHTML.slice(0, 80))"""
    assert page.evaluate(loose) == []
    assert page.faults == []


SMALL = """() => { const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT), found = [];
  while (walk.nextNode()) { const at = walk.currentNode, part = at.parentElement;
    if (at.textContent.trim() && part.getClientRects().length && !part.closest('svg')
        && parseFloat(getComputedStyle(part).fontSize) < 12) { found.push(at.textContent.trim()); } }
  return found; }"""
NARROW = """() => [...document.querySelectorAll('button, a[href], summary, label')].filter(part => {
    const { width, height, right } = part.getBoundingClientRect();
    return width && right > 0 && (width < 24 || height < 24); }).map(part => part.outerHTML.slice(0, 80))"""


def test_words_are_large_enough_to_read_and_buttons_to_hit(screen, sample_plan):
    _, out = sample_plan
    screen.goto((out / "report.html").as_uri())
    screen.evaluate("document.querySelectorAll('details').forEach(part => { part.open = true; })")
    assert screen.evaluate(SMALL) == [] and screen.evaluate(NARROW) == []
    shown = screen.locator(".chart img").evaluate_all("all => all.map(one => one.clientWidth / one.naturalWidth)")
    dots = 8 / 72 * 200  # letters of 8 points at 200 dots to the inch
    assert len(shown) == 5 and min(shown) * dots >= 12
    screen.goto((out / "map.html").as_uri())
    screen.wait_for_selector("body[data-ready]")
    for name in ("show", "legend", "measure", "cautions"):
        if (button := screen.locator(f"[data-panel={name}]")).get_attribute("aria-expanded") != "true":
            button.click()
        assert screen.evaluate(SMALL) == [] and screen.evaluate(NARROW) == [], name


def test_what_scrolls_has_a_shadow_where_it_goes_on(screen, sample_plan):
    screen.goto((sample_plan[1] / "report.html").as_uri())
    wide = "[...document.querySelectorAll('.scroll')].map(part => part.scrollWidth > part.clientWidth + 1)"
    scrolls = screen.evaluate(wide)
    charts = [screen.locator(f"main [aria-label='{name}']") for name in ("Chart of the species", "By species")]
    assert sum(scrolls) > 20 or screen.viewport_size["width"] > 1000
    for part in charts:
        if not part.evaluate("part => part.scrollWidth > part.clientWidth + 1"):
            assert edges(part) == [False, False]
            continue
        assert edges(part)[1]
        part.evaluate("part => { part.scrollLeft = part.scrollWidth; }")
        assert not edges(part)[1]


def edges(part):
    """Whether the left and the right edge of a part are shaded where there are neither letters nor lines."""
    grey = np.asarray(Image.open(io.BytesIO(part.screenshot())).convert("L"), float)
    return [bool(np.median(grey[:, at]) < 235) for at in (1, -2)]


def test_report_says_everything_without_scripts(chromium, sample_plan):
    _, out = sample_plan
    said = []
    for scripts in (True, False):
        context = chromium.new_context(offline=True, java_script_enabled=scripts)
        page = context.new_page()
        page.goto((out / "report.html").as_uri())
        tables = page.locator("table")
        said.append([re.sub(r"\s+", " ", words).strip() for words in [page.locator("body").inner_text()]])
        assert tables.count() > 30 and (page.locator("thead button").count() > 50) == scripts
        context.close()
    assert said[0] == said[1]


def test_figures_of_the_report_are_those_of_the_tables(screen, sample_plan):
    _, out = sample_plan
    screen.goto((out / "report.html").as_uri())
    with (out / "tables" / "ground.csv").open(encoding="utf-8") as file:
        ground = list(csv.DictReader(file))
    answers = screen.locator("#answers table.key tbody tr").evaluate_all(
        "rows => rows.map(row => [row.querySelector('th span').textContent, row.querySelector('td.n').textContent])"
    )
    said = dict(answers)
    for means, words in WORDS.items():
        rows = [
            row for row in ground if (row["zone"], row["access"]) == ("open", means) and row["stand"] != "(outside)"
        ]
        assert float(said[words].split()[0]) == pytest.approx(sum(float(row["ground_ac"]) for row in rows), abs=0.00501)
    shut = sum(float(row["ground_ac"]) for row in ground if row["zone"] == "no_spray")
    assert float(said["no spray"]) == pytest.approx(shut, abs=0.00501)
    stands = screen.locator("#stands .stand").evaluate_all(
        "parts => parts.map(part => [part.querySelector('h3').textContent, part.querySelector('dd').textContent])"
    )
    assert len(stands) == len({row["stand"] for row in ground})
    for heading, infested in stands:
        name = "(outside)" if heading == "Outside every stand" else heading.removeprefix("Stand ")
        acres = sum(float(row["ground_ac"]) for row in ground if row["stand"] == name)
        assert float(infested.split(" ac")[0]) == pytest.approx(acres, abs=0.00501)
    with (out / "tables" / "ledger.csv").open(encoding="utf-8") as file:
        ledger = [
            [row[name] for name in ("file", "records", "accepted", "repaired", "set_aside")]
            for row in csv.DictReader(file)
        ]
    table = screen.locator("table", has=screen.locator("caption", has_text="Every record accounted for"))
    rows = table.locator("tbody tr").evaluate_all(
        "rows => rows.map(row => [...row.cells].map(cell => cell.textContent))"
    )
    assert sorted(rows) == sorted(ledger)


def test_answers_of_the_sample_print_on_one_sheet(chromium, sample_plan, printed_pages):
    page = chromium.new_context(offline=True).new_page()
    page.goto((sample_plan[1] / "report.html").as_uri())
    sheets = printed_pages(page)
    assert "What is not known" in sheets[0] and "nobody surveyed is unknown, not clear" in re.sub(
        r"\s+", " ", sheets[0]
    )
    assert sheets[1].strip().startswith("Map") and len(sheets) < 28
    page.context.close()


def test_no_sheet_of_a_printed_report_is_half_empty_but_before_a_tall_chart(chromium, sample_plan, tmp_path):
    if shutil.which("pdftoppm") is None and os.environ.get("PDF_TOOLS") != "required":
        pytest.skip("no pdftoppm here")
    page = chromium.new_page()
    page.goto((sample_plan[1] / "report.html").as_uri())
    page.pdf(path=tmp_path / "page.pdf", format="Letter")
    page.close()
    subprocess.run(["pdftoppm", "-r", "20", "-gray", tmp_path / "page.pdf", tmp_path / "sheet"], check=True)
    sheets = [np.asarray(Image.open(file)) < 160 for file in sorted(tmp_path.glob("sheet*.pgm"))]
    filled = [np.flatnonzero(sheet[: int(0.93 * len(sheet))].any(axis=1)).max() / len(sheet) for sheet in sheets]
    before_charts = 3  # as high as a sheet: what comes before each may end early
    assert len(filled) > 10 and sum(part <= 0.65 for part in filled[:-1]) <= before_charts, filled


def test_pages_have_no_grave_fault_for_readers_who_hear_or_use_keys(screen, sample_plan, grave_faults):
    _, out = sample_plan
    screen.goto((out / "report.html").as_uri())
    assert grave_faults(screen) == []
    screen.goto((out / "map.html").as_uri())
    screen.wait_for_selector("body[data-ready]")
    assert grave_faults(screen) == []
    for name in ("show", "legend", "measure", "cautions"):
        screen.locator(f"[data-panel={name}]").click()
        assert grave_faults(screen, within="#bar, #panel") == [], name
    assert screen.faults == []
