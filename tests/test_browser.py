"""The pages in a browser with the network off: nothing is asked for, nothing fails, everything is there."""


def test_report_reads_without_scripts_and_fits_the_screen(screen, sample_plan):
    page = screen
    plan, out = sample_plan
    page.goto((out / "report.html").as_uri())
    text = page.locator("body").inner_text()
    assert plan.settings.tract.name in text and "The product label is the law" in text
    total = plan.ground["ground_m2"].sum() / 4046.8564224
    assert f"{total:.2f} ac" in text
    assert page.locator("script").count() == 0
    assert page.evaluate("[...document.images].every(image => image.complete && image.naturalWidth > 0)")
    assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]
    page.evaluate("document.querySelectorAll('details').forEach(part => { part.open = true; })")
    cut = """[...document.querySelectorAll('table')].filter(table => [...table.querySelectorAll('td, th')].some(
        cell => cell.offsetWidth > 1 && cell.getBoundingClientRect().right > document.documentElement.clientWidth
    )).map(table => table.caption.innerText)"""
    assert page.evaluate(cut) == []  # also those with many columns, on a phone
    assert page.faults == []
