"""The pages in a browser with the network off: nothing is asked for, nothing fails, everything is there."""

import pytest

LAYERS = (
    "stands",
    "ways and barriers",
    "no spray zones",
    "hand only zones",
    "infested: tractor",
    "patches",
    "records set aside",
    "where to park for a hose",
)


@pytest.fixture(scope="module")
def chromium(browser_path):
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=browser_path, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture(params=[(1280, 900), (390, 844)], ids=["desk", "phone"])
def page(request, chromium):
    width, height = request.param
    context = chromium.new_context(viewport={"width": width, "height": height}, offline=True)
    page = context.new_page()
    page.faults = []
    page.on("console", lambda said: page.faults.append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda error: page.faults.append(str(error)))
    page.on(
        "request",
        lambda ask: page.faults.append(ask.url) if not ask.url.startswith(("file:", "data:", "blob:")) else None,
    )
    page.on("requestfailed", lambda ask: page.faults.append(f"failed {ask.url}"))
    yield page
    context.close()


def test_field_map_opens_with_every_layer_and_a_popup(page, sample_plan):
    _, out = sample_plan
    page.goto((out / "map.html").as_uri())
    page.wait_for_selector(".leaflet-overlay-pane path")
    assert page.locator(".leaflet-overlay-pane path").count() > 100
    page.locator(".leaflet-control-layers").hover()
    listed = page.locator(".leaflet-control-layers-overlays").inner_text()
    assert not [layer for layer in LAYERS if layer not in listed], listed
    assert "The product label is the law" in page.content()
    width = page.evaluate("document.documentElement.scrollWidth")
    assert width <= page.viewport_size["width"]
    assert page.faults == []


def test_ground_that_is_switched_on_lies_under_the_work_and_the_places_to_park_over_it(page, sample_plan):
    page.goto((sample_plan[1] / "map.html").as_uri())
    page.wait_for_selector(".leaflet-overlay-pane path")
    page.locator(".leaflet-control-layers").hover()
    for name in ("where to park for a hose", "access to all ground"):
        page.locator(".leaflet-control-layers-overlays label", has_text=name).locator("input").check()
    order = page.evaluate("""[...document.querySelectorAll('.leaflet-overlay-pane path')].map(
        path => [path.getAttribute('fill-opacity'), path.getAttribute('fill'), path.getAttribute('stroke-width')])""")
    ground = [k for k, (opacity, _, _) in enumerate(order) if opacity == "0.45"]
    work = [k for k, (_, fill, _) in enumerate(order) if str(fill).startswith("url(#fill-")]
    parking = [k for k, look in enumerate(order) if look == ["1", "#EA9044", "1.5"]]
    assert ground and parking and max(ground) < min(work) and max(work) < min(parking)
    assert page.faults == []


def test_report_reads_without_scripts_and_fits_the_screen(page, sample_plan):
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
