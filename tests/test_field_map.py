"""The field map in a browser with the network off: its switches, measures, print and phone layout do what they say."""

import dataclasses
import json
import math
import os
import re
import shutil
import subprocess

import numpy as np
import pytest
import shapely
from PIL import Image
from pyproj import Geod

from invasimap.core.map_settings import BackgroundSection, MapSection
from invasimap.reports.webmap import map_html

LAYERS = {
    "open_ground", "wet_ground", "access", "zone_hand_only", "zone_no_spray", "features", "ways", "barriers", "veil",
    "faces", "patches", "stands", "stand_names", "feature_places", "set_aside", "crossings", "parking", "entries",
}  # fmt: skip
ACRE_M2 = 4046.8564224
INK = """() => { const canvas = fieldMap.ground._container, all = canvas.getContext('2d').getImageData(
    0, 0, canvas.width, canvas.height).data; let sum = 0;
  for (let k = 3; k < all.length; k += 4) { sum += all[k] > 0; } return sum; }"""


@pytest.fixture
def opened(screen, sample_plan):
    screen.goto((sample_plan[1] / "map.html").as_uri())
    screen.wait_for_selector("body[data-ready]")
    yield screen
    assert screen.faults == []


@pytest.fixture
def desk(opened):
    if opened.viewport_size["width"] < 800:
        pytest.skip("one screen is enough")
    return opened


def panel(page, name):
    button = page.locator(f"[data-panel={name}]")
    if button.get_attribute("aria-expanded") != "true":
        button.click()


def shown(page, name):
    return page.evaluate(
        "name => fieldMap.layers.find(one => one.name === name).hidden.filter(one => !one).length", name
    )


def rows(page, group):
    found = page.locator(f"fieldset[data-group={group}] .switch")
    return found.evaluate_all("list => list.map(row => [Number(row.dataset.m2), Number(row.dataset.patches)])")


def choose(page, group, on):
    page.locator(f"fieldset[data-group={group}] .switch input").evaluate_all(
        "(list, on) => list.forEach((one, k) => { if (one.checked !== on.includes(k)) { one.click(); } })", sorted(on)
    )


def test_every_layer_is_there_and_drawn_and_the_label_is_named(opened, sample_plan):
    plan, _ = sample_plan
    drawn = opened.evaluate("fieldMap.ground.drawn")
    assert set(drawn) == LAYERS
    assert {name for name, count in drawn.items() if count == 0} == {"access", "parking"}  # until they are asked for
    assert drawn["patches"] == len(plan.patches) and drawn["faces"] == len(
        shapely.get_parts(plan.mosaic.geometry.to_numpy())
    )
    panel(opened, "show")
    for words in ("access to all ground", "where to park for a hose"):
        opened.locator("fieldset[data-group=layers] label", has_text=words).locator("input").check()
    assert min(opened.evaluate("fieldMap.ground.drawn").values()) > 0
    assert opened.evaluate("document.querySelector('.leaflet-image-layer').naturalWidth") > 100
    assert "The product label is the law" in opened.locator("#head").inner_text()


def test_ground_lies_under_the_work_and_places_over_it(desk):
    order = desk.evaluate("fieldMap.layers.map(one => one.name)")
    assert order.index("access") < order.index("zone_no_spray") < order.index("faces") < order.index("patches")
    assert order.index("patches") < order.index("parking")
    assert order.index("ways") < order.index("veil") < order.index("faces")


def test_what_is_set_aside_covers_nothing_and_the_legend_names_it(desk):
    (look,) = desk.evaluate("fieldMap.layers.find(one => one.name === 'set_aside').looks")
    assert not look["fill"] and look["edge"] and look["dash"]
    assert "record set aside: in no figure" in desk.locator("#legend").text_content()


def test_figures_beside_the_switches_are_those_of_the_tables(desk, sample_plan):
    plan, _ = sample_plan
    species = plan.acreage.groupby("species")["gross_m2"].sum().sort_index()
    assert [m2 for m2, _ in rows(desk, "species")] == pytest.approx(species.to_list(), abs=2)
    assert [count for _, count in rows(desk, "species")] == plan.patches.groupby(
        "species"
    ).size().sort_index().to_list()
    inside = plan.ground[plan.ground["stand"] != "(outside)"]
    zones = [inside.loc[inside["zone"] == zone, "ground_m2"].sum() for zone in ("open", "hand_only")]
    no_spray = plan.ground.loc[plan.ground["zone"] == "no_spray", "ground_m2"].sum()
    whole = plan.ground["ground_m2"].sum()
    found = [m2 for m2, _ in rows(desk, "zone")]
    assert found == pytest.approx([*zones, no_spray, whole - sum(zones) - no_spray], abs=2)
    access = plan.ground.groupby("access")["ground_m2"].sum()
    order = ["tractor", "atv_hose", "foot", "out_of_reach"]
    assert [m2 for m2, _ in rows(desk, "access")] == pytest.approx(access.reindex(order, fill_value=0).to_list(), abs=2)
    assert f"{whole / ACRE_M2:.2f} ac" in desk.locator("#shown").inner_text()


LEGEND = """() => [...document.querySelectorAll('#legend tr')]
    .map(row => [...row.cells].slice(1).map(cell => cell.textContent))"""
SWITCHES = """() => [...document.querySelectorAll('#show .switch')].filter(row => row.querySelector('.figures'))
    .map(row => [row.querySelector('.words').textContent, row.querySelector('.figures b').textContent])"""


def test_a_switch_that_has_the_words_of_the_legend_has_its_figure(desk):
    legend, switches = dict(desk.evaluate(LEGEND)), dict(desk.evaluate(SWITCHES))
    shared = set(legend) & set(switches)
    assert {words: switches[words] for words in shared} == {words: legend[words] for words in shared}
    assert "no spray" in shared and "tractor" in legend and "a tractor gets there" in switches


def test_switches_of_access_zone_and_species_combine(opened, sample_plan):
    plan, _ = sample_plan
    panel(opened, "show")
    whole = opened.evaluate(INK)
    name = sorted(plan.patches["species"].unique())[1]
    choose(opened, "species", {1})
    of_species = plan.patches[plan.patches["species"] == name]
    assert shown(opened, "patches") == len(of_species)
    choose(opened, "access", {1})
    choose(opened, "zone", {0})
    faces = plan.mosaic[plan.mosaic["species"].str.split(";").map(lambda names: name in names)]
    faces = faces[(faces["access"] == "atv_hose") & (faces["zone"] == "open") & (faces["stand"] != "(outside)")]
    assert shown(opened, "faces") == len(shapely.get_parts(faces.geometry.to_numpy()))
    assert rows(opened, "species")[1][0] == pytest.approx(faces["area_m2"].sum(), abs=1)
    touched = of_species[of_species.intersection(faces.union_all()).area > 0.02 * of_species.area]
    assert len(touched) <= shown(opened, "patches") < len(of_species)
    assert opened.evaluate(INK) < whole
    assert "Part of the survey is hidden" in opened.locator("#shown").inner_text()
    opened.locator("fieldset[data-group=zone] button", has_text="none").click()
    assert shown(opened, "patches") == shown(opened, "faces") == 0
    opened.locator("#show-all").click()
    assert shown(opened, "patches") == len(plan.patches) and opened.evaluate(INK) == whole


def test_a_tap_says_what_a_crew_needs_of_a_patch(opened, sample_plan):
    plan, _ = sample_plan
    patch = plan.patches.loc[plan.patches.area.idxmax()]
    place = plan.patches.geometry.representative_point().to_crs(4326)[patch.name]
    opened.evaluate("([lat, lng]) => fieldMap.map.setView([lat, lng], 17, { animate: false })", [place.y, place.x])
    box = opened.locator(".folium-map").bounding_box()
    opened.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    opened.wait_for_selector(".facts")
    said = opened.locator(".facts").inner_text()
    more = ("what can be done", "reached by", "treatment zone")
    for words in (patch["id"], patch["species"], patch["common_name"], f"{patch.geometry.area / ACRE_M2:.2f} ac",
                  str(patch["date"])[:10], f"{patch['cover_pct']:.0f} %", *more):  # fmt: skip
        assert words in said
    assert opened.locator("#tapped .facts").is_visible()  # in the panel: the map is not covered
    opened.locator("#tapped-close").click()
    assert opened.locator("#show").is_visible() == (opened.viewport_size["width"] >= 800)  # as it was before


def tap(page, places):
    for lat, lng in places:
        page.evaluate("([lat, lng]) => fieldMap.map.fire('click', { latlng: L.latLng(lat, lng) })", [lat, lng])


def test_measures_agree_with_the_ellipsoid(opened, sample_plan):
    geod = Geod(ellps="WGS84")
    at = sample_plan[0].stands.union_all().centroid
    (lon, lat), = sample_plan[0].stands.iloc[:1].set_geometry([at]).to_crs(4326).geometry[0].coords  # fmt: skip
    panel(opened, "measure")
    said = opened.locator("#measured")
    end_lon, end_lat, _ = geod.fwd(lon, lat, 37.0, 100.0)
    tap(opened, [(lat, lon), (end_lat, end_lon)])
    assert float(said.get_attribute("data-m")) == pytest.approx(100.0, abs=0.001)
    assert said.inner_text() == "328 ft."
    opened.locator("#measure-clear").click()
    opened.locator("#measure-area").check()
    corners = [geod.fwd(lon, lat, azimuth, 100 / math.sqrt(2))[:2] for azimuth in (0, 90, 180, 270)]
    truth = abs(geod.polygon_area_perimeter(*zip(*corners, strict=True))[0])
    tap(opened, [(y, x) for x, y in [*corners, (lon, lat)]])
    assert float(said.get_attribute("data-m2")) < truth / 1.3
    opened.locator("#measure-undo").click()
    assert float(said.get_attribute("data-m2")) == pytest.approx(truth, rel=1e-6)
    assert truth == pytest.approx(10_000, rel=1e-4) and said.inner_text().startswith("2.47 ac; 1,312 ft")
    opened.locator("#measure-clear").click()
    tap(opened, [(corners[k][1], corners[k][0]) for k in (0, 2, 1, 3)])
    assert "crosses itself" in said.inner_text()
    assert opened.locator(".facts").count() == 0  # a tap measures, it does not ask


def test_a_printed_page_holds_what_is_on_the_screen_and_all_that_a_map_needs(desk, tmp_path):
    desk.evaluate("fieldMap.map.zoomIn(1, { animate: false })")
    before = desk.evaluate("fieldMap.map.getBounds().toBBoxString()")
    choose(desk, "species", {0})
    desk.emulate_media(media="print")
    desk.wait_for_selector("body.paper")
    for part in ("#head h1", ".folium-map canvas", ".scale", ".north", "#paper .keys", "#paper-shown"):
        assert desk.locator(part).is_visible(), part
    for part in ("#bar", "#panel", ".leaflet-control-zoom"):
        assert not desk.locator(part).is_visible(), part
    text = desk.locator("#paper").inner_text()
    assert "Part of the survey is hidden" in text and "Not a survey." in text and "1:" in text
    west, south, east, north = map(float, before.split(","))
    left, low, right, high = map(float, desk.evaluate("fieldMap.map.getBounds().toBBoxString()").split(","))
    assert min(west - left, south - low, right - east, high - north) > -2e-5  # a pixel
    assert desk.evaluate("fieldMap.ground._container.width / fieldMap.ground._bounds.getSize().x") == pytest.approx(
        3, abs=0.01
    )
    scale = float(text.split("1:")[1].split(" ")[0].replace(",", ""))
    width_m = Geod(ellps="WGS84").inv(left, (low + high) / 2, right, (low + high) / 2)[2]
    paper_m = desk.locator(".folium-map").evaluate("box => box.clientWidth") / 96 * 0.0254
    assert scale == pytest.approx(width_m / paper_m, rel=0.06)
    bar, words = desk.locator(".scale-bar").bounding_box()["width"], desk.locator(".scale-words").inner_text()
    assert float(words.split()[0].replace(",", "")) * 0.3048 * paper_m / width_m == pytest.approx(
        bar / 96 * 0.0254, rel=0.01
    )
    desk.emulate_media(media="screen")
    desk.wait_for_selector("body:not(.paper)")
    assert desk.evaluate("fieldMap.map.getBounds().toBBoxString()") == before
    desk.evaluate("fieldMap.map.fitBounds(fieldMap.corners, { animate: false })")
    desk.pdf(path=tmp_path / "map.pdf", prefer_css_page_size=True)
    grey = printed_grey(tmp_path / "map.pdf")
    relief = np.mean((grey > 150) & (grey < 240), axis=None)
    assert relief > 0.15, relief  # the shape of the ground, not white paper, lies under the map


def printed_grey(pdf):
    """The one page of a print as shades of grey."""
    if shutil.which("pdftoppm") is None:
        if os.environ.get("PDF_TOOLS") == "required":
            pytest.fail("pdftoppm is required and absent")
        pytest.skip("no pdftoppm here")
    subprocess.run(["pdftoppm", "-r", "40", "-gray", pdf, pdf.with_suffix("")], check=True)
    (page,) = pdf.parent.glob(f"{pdf.stem}-*.pgm")
    return np.asarray(Image.open(page), float)


def test_a_print_from_a_phone_fills_its_sheet(screen, sample_plan):
    screen.goto((sample_plan[1] / "map.html").as_uri())
    screen.wait_for_selector("body[data-ready]")
    screen.emulate_media(media="print")
    screen.wait_for_selector("body.paper")
    west, south, east, north = map(float, screen.evaluate("fieldMap.map.getBounds().toBBoxString()").split(","))
    (low, left), (high, right) = screen.evaluate("fieldMap.corners")
    assert min(left - west, low - south, east - right, north - high) > -2e-5  # a pixel
    assert max((right - left) / (east - west), (high - low) / (north - south)) > 0.95


def test_a_position_says_how_good_it_is_and_what_lies_within_that(chromium, sample_plan):
    plan, out = sample_plan
    no_spray = plan.protection[plan.protection["zone"] == "no_spray"].union_all()
    stands = plan.stands.union_all()
    spot = shapely.point_on_surface(stands.difference(no_spray.buffer(60)))
    near = shapely.Point(shapely.get_coordinates(shapely.buffer(no_spray, 8.0).boundary)[0])
    assert near.distance(no_spray) == pytest.approx(8.0, abs=0.1)
    places = plan.stands.iloc[:2].set_geometry([spot, near]).to_crs(4326).geometry
    for place, alarm in zip(places, (False, True), strict=True):
        at = {"latitude": place.y, "longitude": place.x, "accuracy": 12}
        context = chromium.new_context(offline=True, geolocation=at, permissions=["geolocation"])
        page = context.new_page()
        page.goto((out / "map.html").as_uri())
        page.wait_for_selector("body[data-ready]")
        for box in page.locator("fieldset[data-group=layers] input").all():
            box.uncheck()  # what is switched off counts too
        page.locator("#here").click()
        page.locator("#here-note", has_text="Position good").wait_for()
        said = page.locator("#here-note").inner_text()
        assert said.startswith("Position good to about 40 ft.")
        assert ("No-spray ground lies within that." in said) is alarm
        context.close()


def test_the_first_position_is_shown_from_near_and_no_later_one_moves_the_map(chromium, sample_plan):
    plan, out = sample_plan
    stand = plan.stands.to_crs(4326).geometry.iloc[0].representative_point()
    at = {"latitude": stand.y, "longitude": stand.x, "accuracy": 8}
    context = chromium.new_context(
        viewport={"width": 390, "height": 844}, offline=True, geolocation=at, permissions=["geolocation"]
    )
    page = context.new_page()
    page.goto((out / "map.html").as_uri())
    page.wait_for_selector("body[data-ready]")
    view = "[fieldMap.map.getZoom(), fieldMap.map.getCenter().lat, fieldMap.map.getCenter().lng]"
    first = page.evaluate("fieldMap.map.getZoom()")
    page.locator("#here").click()
    page.locator("#here-note", has_text="Position good to about 27 ft").wait_for()
    zoom, *centre = page.evaluate(view)
    assert first < zoom and centre == pytest.approx([stand.y, stand.x], abs=2e-5)
    wide_m = 390 * 40_075_017 * math.cos(math.radians(stand.y)) / (256 * 2**zoom)  # of ground across the screen
    assert 50 < wide_m < 300
    page.evaluate("fieldMap.map.setView(fieldMap.map.getBounds().getNorthEast(), 15, { animate: false })")
    moved = page.evaluate(view)
    context.set_geolocation(at | {"accuracy": 20, "latitude": stand.y + 1e-4})
    page.locator("#here-note", has_text="Position good to about 66 ft").wait_for()
    assert page.evaluate(view) == moved
    page.locator("#here").click()
    page.locator("#here").click()  # asked for anew: the map goes there, as near as the reader has it
    page.locator("#here-note", has_text="Position good to about 66 ft").wait_for()
    arrived = pytest.approx([15, stand.y + 1e-4, stand.x], abs=3e-5)
    for _ in range(100):
        if page.evaluate(view) == arrived:
            break
        page.wait_for_timeout(50)  # it glides
    assert page.evaluate(view) == arrived
    context.close()


BOXES = """names => names.map(name => [...document.querySelectorAll(name)]
    .filter(one => one.offsetParent || one.id === "bar").map(one => one.getBoundingClientRect())
    .filter(box => box.width).map(box => [box.left, box.top, box.right, box.bottom])).flat()"""
APART = (
    ("#head", ".folium-map", "#panel", "#bar"), (".leaflet-control-zoom", "#here-note", ".scale", ".north"),
    ("#bar button",), ("#show .switch", "#show .both button"), ("#measure label", "#measure button"),
)  # fmt: skip


def overlapping(boxes):
    left, top, right, bottom = np.array(boxes).reshape(-1, 4).T
    over = (left[:, None] < right - 1) & (left < right[:, None] - 1)
    over &= (top[:, None] < bottom - 1) & (top < bottom[:, None] - 1)
    return np.argwhere(np.triu(over, 1)).tolist()


def test_nothing_lies_over_anything_else_and_a_thumb_can_press_it(opened):
    width, height = opened.viewport_size["width"], opened.viewport_size["height"]
    opened.evaluate("document.getElementById('here-note').textContent = 'Position good to about 40 ft.'")
    for name in ("show", "legend", "measure", "cautions"):
        panel(opened, name)
        for names in APART:
            assert overlapping(opened.evaluate(BOXES, names)) == [], (name, names)
        page = opened.evaluate("[document.documentElement.scrollWidth, document.documentElement.scrollHeight]")
        assert page == [width, height]
        assert opened.locator(".folium-map").bounding_box()["height"] > 0.3 * height
        if width < 800:  # for a thumb: 44 px
            pressed = "#bar button, #panel label, #panel button, .leaflet-control-zoom a"
            sizes = opened.locator(pressed).evaluate_all(
                "list => list.filter(one => one.offsetParent).map(one => Math.min(one.offsetHeight, one.offsetWidth))"
            )
            assert min(sizes) >= 44


def test_background_is_asked_for_only_once_the_reader_turns_it_on(chromium, sample_plan, tmp_path):
    plan, _ = sample_plan
    background = BackgroundSection(
        address="https://maps.example.org/{z}/{x}/{y}.png", attribution="Example <b>makers</b>"
    )
    settings = plan.settings.model_copy(update={"map": MapSection(background=background)})
    (tmp_path / "map.html").write_text(map_html(dataclasses.replace(plan, settings=settings)), encoding="utf-8")
    page, asked = chromium.new_page(), []
    dot = b"<svg xmlns='http://www.w3.org/2000/svg' width='256' height='256'/>"

    def answer(route):
        asked.append(route.request)
        route.fulfill(body=dot, content_type="image/svg+xml")

    page.route(re.compile("^https?:"), answer)
    page.goto((tmp_path / "map.html").as_uri())
    page.wait_for_selector("body[data-ready]")
    box = page.locator("fieldset[data-group=background]")
    assert "nothing is fetched" in box.inner_text() and "maps.example.org" in box.inner_text()
    page.evaluate("fieldMap.map.setZoom(15)")
    page.wait_for_timeout(400)
    assert asked == []
    box.locator("input").check()
    page.wait_for_selector(".leaflet-tile-loaded")
    assert asked and all(ask.url.startswith("https://maps.example.org/") for ask in asked)
    assert all("referer" not in ask.headers for ask in asked)
    assert page.locator("#credit").inner_text() == "Example <b>makers</b>"
    box.locator("input").uncheck()
    asked.clear()
    page.evaluate("fieldMap.map.panBy([300, 300])")
    page.wait_for_timeout(400)
    assert asked == [] and page.locator("#credit").inner_text() == "" and page.locator(".leaflet-tile").count() == 0
    page.close()


def test_without_a_background_in_the_settings_there_is_no_switch_for_one(desk):
    assert desk.locator("fieldset[data-group=background]").count() == 0
    refused = desk.evaluate("""new Promise(done => { const image = new Image(); image.onload = () => done(false);
        image.onerror = () => done(true); image.src = "https://maps.example.org/0/0/0.png"; })""")
    assert refused  # by the page's own policy
    assert [fault for fault in desk.faults if "Content Security Policy" in fault]
    desk.faults.clear()


def test_plan_gives_the_same_map_to_a_notebook(sample_plan, unpack_map):
    import folium

    plan, out = sample_plan
    field = plan.map()
    assert isinstance(field, folium.Map)
    told, written = (
        unpack_map(text) for text in (field.get_root().render(), (out / "map.html").read_text(encoding="utf-8"))
    )
    assert json.dumps(told["layers"]["patches"]["rows"]) == json.dumps(written["layers"]["patches"]["rows"])
