"""Whatever a field file says comes out as text: no cell runs, no page gains a script, no value is lost."""

import csv
import dataclasses
import html
import json
import os
import re
from html.parser import HTMLParser

import geopandas as gpd
import openpyxl
import pyogrio
import pytest
from defusedxml import ElementTree
from PIL import Image
from shapely.geometry import LineString, box

import invasimap
from invasimap.reports.crew import write_crew_files

X, Y = 587_800.0, 4_206_200.0  # UTM 17 north, 80 W 38 N
FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
WORDS = (
    '=HYPERLINK("https://example.invalid","a")', "+1+cmd|' /C calc'!A0", "-2+3", "@SUM(1+1)", "\t=1+1", "\r=1+1",
    "\n=1+1", "<script>alert(1)</script>", '"><img src=x onerror=alert(1)>', "'\"`${alert(1)}", "]]></script><b>",
    "</style></title><script>alert(2)</script>", "{{ 7*191 }}{% for %}", "&lt;i&gt; &amp; &#60;b", "a\nb\r\nc",
    "\u202egnp.exe\u202c \u2066x", "bell \x07 escape \x1b[31m vertical \x0b", "line \u2028 par \u2029", "_x0041_ %n %s",
    "javascript:alert(1)", "mailto:a@example.invalid", "<!--", "'; DROP TABLE patches; --", "\ufeffmark", "#REF!",
    "\uff1d1+1", "TRUE",
)  # fmt: skip
NAME = "=1+<img src=x onerror=alert(1)>&'\"]]>\u202e{{7*191}}\n"  # for names of files: no slash
TEXT = NAME + "</script><script>alert(3)</script>"
SETTINGS = """
[tract]
name = {text}
[[survey]]
files = ["survey/*.csv"]
observer = {text}
defaults = {{ radius = "10 ft", cover = "50 %" }}
[[photos]]
files = ["pictures/*"]
within = "50 m"
[intake]
species = "plants.csv"
[stands]
file = "land.gpkg"
layer = "stands"
[[protect]]
kind = {text}
file = "land.gpkg"
layer = "water"
no_spray = "25 ft"
hand_only = "75 ft"
rule = {text}
[ways]
file = "land.gpkg"
layer = "ways"
column = "class"
allows = {{ {text} = ["foot"] }}
[access]
cell = "5 m"
[access.foot]
max_slope = "60 %"
max_walk = "30 min"
[uncertainty]
draws = 0
"""


def _write_survey(path, shift, species):
    """A record that is used (where its species is one) and one that is not (its cover is no cover), of each word."""
    with path.open("w", encoding="utf-8", newline="") as out:
        rows = csv.writer(out, quoting=csv.QUOTE_ALL)
        rows.writerow(["species", "cover", "easting", "northing", "utm zone", "notes", "date", TEXT, *WORDS[:12]])
        for number, word in enumerate(WORDS):
            easting = X - 180 + 14 * number
            more = [word] * 12
            rows.writerow([species.format(word), "50", easting, Y + shift, "17", word, "2024-05-06", word, *more])
            rows.writerow(["ROMU", word, easting, Y + shift + 40, "17", word, word, word, *more])


def _cell(text):
    return '"' + text.replace('"', '""') + '"'


def _picture(path):
    exif = Image.Exif()
    exif[0x010E] = TEXT
    place = exif.get_ifd(0x8825)
    place.update({1: "N", 2: (38.0, 0.0, 0.0), 3: "W", 4: (80.0, 0.0, 0.0)})
    Image.new("RGB", (8, 8)).save(path, "JPEG", exif=exif)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    home = tmp_path_factory.mktemp("inert")
    (home / "survey").mkdir()
    (home / "pictures").mkdir()
    _write_survey(home / "survey" / f"{NAME}.csv", 0, "Rosa {}")
    _write_survey(home / "survey" / "plain.csv", 90, "ROMU")
    (home / "survey" / os.fsdecode(b"caf\xe9.csv")).write_text(
        "species,lon,lat\nROMU,-80.001,38.001\n", encoding="utf-8"
    )
    _picture(home / "pictures" / f"{NAME}.jpg")
    (home / "pictures" / f"@{NAME}.jpg").write_bytes(b"\xff\xd8 no picture")
    (home / "plants.csv").write_text(f"scientific_name,common_names\nRosa multiflora,{_cell(TEXT)}\n", encoding="utf-8")
    stands = [box(west, Y - 200, west + 100, Y + 200) for west in (X - 200, X - 100, X, X + 100)]
    layers = {
        "stands": ({"stand": [TEXT, "\n=1+1", "\uff1d1+1", "$\\frac$ -2"]}, stands),
        "water": ({"name": [TEXT]}, [LineString([(X - 200, Y + 20), (X + 200, Y + 20)])]),
        "ways": ({"class": [TEXT], "name": [TEXT]}, [LineString([(X, Y - 300), (X, Y + 150)])]),
    }
    for name, (columns, shapes) in layers.items():
        gpd.GeoDataFrame(columns, geometry=shapes, crs="EPSG:32617").to_file(home / "land.gpkg", layer=name)
    (home / "tract.toml").write_text(SETTINGS.format(text=json.dumps(TEXT)), encoding="utf-8")
    plan = invasimap.plan(home)
    return plan, invasimap.write_plan(plan, home / "out")


@pytest.fixture(scope="module")
def cells(made):
    """Every CSV of the result as lists of rows, by name."""
    _, out = made
    files = [*sorted((out / "tables").glob("*.csv")), out / "set_aside.csv"]
    return {path.stem: _rows(path) for path in files}


def _rows(path):
    with path.open(encoding="utf-8", newline="") as opened:
        return list(csv.reader(opened))


def _is_number(text):
    return re.fullmatch(r"[+-]?[0-9]+(\.[0-9]+)?", text) is not None


def _as_text(value):
    """What a cell of CSV holds without the apostrophe that keeps it from being run."""
    return value[1:] if value.startswith(tuple("'" + sign for sign in FORMULA)) else value


def _stripped(word):
    """What is left of a word when it is read as a cell: blanks round it and a byte order mark are no part."""
    return word.strip().strip("\ufeff")


def test_no_record_of_hostile_words_is_lost(made):
    plan, _ = made
    ledger = plan.ledger.set_index("file")
    assert ledger.loc[f"survey/{NAME}.csv", "records"] == ledger.loc["survey/plain.csv", "records"] == 2 * len(WORDS)
    assert ledger.loc["survey/plain.csv", ["accepted", "repaired"]].sum() == len(WORDS)
    assert ledger.loc["survey/caf\\xe9.csv", "records"] == 1  # a name in Latin-1, from an old system
    assert ledger.loc["pictures/", ["accepted", "set_aside"]].tolist() == [1, 1]
    assert all(check.passed for check in plan.checks)


def test_no_cell_of_csv_runs_and_every_row_is_whole(cells):
    for name, rows in cells.items():
        assert len({len(row) for row in rows}) == 1, name
        started = [cell for row in rows for cell in row if cell.startswith(FORMULA)]
        assert [cell for cell in started if not _is_number(cell)] == [], name
    assert {"acreage", "columns", "ground", "ledger", "photos", "repaired", "treatment_zones", "set_aside"} <= set(
        cells
    )
    kept = {value for row in cells["set_aside"][1:] if row[3].startswith("{") for value in json.loads(row[3]).values()}
    assert {_stripped(word) for word in WORDS} <= {_stripped(value) for value in kept if value}


def test_no_cell_of_the_workbook_is_a_formula_or_a_link(made, cells):
    book = openpyxl.load_workbook(made[1] / "tables.xlsx")
    for sheet in book:
        assert sheet._hyperlinks == [] and not sheet.data_validations.dataValidation
        kinds = {cell.data_type for row in sheet.iter_rows() for cell in row}
        assert kinds <= {"s", "n", "d"}, sheet.title
        if sheet.title == "read me":
            assert TEXT in {_unix(str(cell.value)) for cell in sheet["B"]}
            continue
        written = [_as_text(cell) for row in cells[sheet.title] for cell in row]
        shown = [cell.value for row in sheet.iter_rows() for cell in row]
        texts = [
            (_unix(one), _unix(other)) for one, other in zip(written, shown, strict=True) if isinstance(other, str)
        ]
        assert len(texts) > 2 and all(one == other for one, other in texts), sheet.title


def test_crew_files_say_hostile_words_as_text(made, tmp_path):
    plan = made[0]
    zones = plan.treatment_zones.assign(access="foot")  # there is nothing here that a foot gets to
    write_crew_files(dataclasses.replace(plan, treatment_zones=zones), tmp_path)
    said = []
    for path in sorted((tmp_path / "crew").iterdir()):
        root = ElementTree.fromstring(path.read_bytes())
        assert {element.tag.partition("}")[2] for element in root.iter()}.isdisjoint({"script", "img", "b", "i", "a"})
        said += [element.text for element in root.iter() if element.text]
    assert len(said) > 100
    assert any("=1+<img src=x onerror=alert(1)>&'\"]]>\\u202e{{7*191}}\\u000a</script>" in text for text in said)
    assert not any(sign in text for text in said for sign in ("\u202e", "\x07", "\x1b"))


def _unix(text):
    """XML has one kind of line end, and openpyxl leaves xlsx's own escapes of control characters as they are."""
    text = re.sub(r"_x([0-9A-Fa-f]{4})_", lambda code: chr(int(code[1], 16)), text)
    return text.replace("\r\n", "\n").replace("\r", "\n")


def test_the_geopackage_keeps_every_word(made):
    plan, out = made
    patches = pyogrio.read_dataframe(out / "plan.gpkg", layer="patches")
    assert patches["notes"].tolist() == plan.patches["notes"].tolist()
    plain = patches[patches["file"] == "survey/plain.csv"]
    assert [_stripped(note) for note in plain["notes"]] == [_stripped(word) for word in WORDS]
    assert [_stripped(json.loads(other)[TEXT]) for other in plain["other"]] == [_stripped(word) for word in WORDS]
    assert set(patches["observer"]) == {TEXT}
    protection = pyogrio.read_dataframe(out / "plan.gpkg", layer="protection")
    assert set(protection["kind"]) == {TEXT} and all(TEXT in rule for rule in protection["rule"])
    assert TEXT in set(pyogrio.read_dataframe(out / "plan.gpkg", layer="stands")["stand"])
    assert set(pyogrio.read_dataframe(out / "plan.gpkg", layer="photos")["file"]) == set(plan.photos["file"])


def test_the_record_of_the_run_is_json_and_names_every_file(made):
    record = json.loads((made[1] / "run.json").read_text(encoding="utf-8"))
    assert f"survey/{NAME}.csv" in json.dumps(record, ensure_ascii=False).replace("\\n", "\n").replace('\\"', '"')


class _Page(HTMLParser):
    """The elements of a page, and the text of its scripts and of everything else."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.scripts, self.text, self._inside = [], [], [], ""
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        self._inside = tag
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        self._inside = ""

    def handle_data(self, data):
        (self.scripts if self._inside == "script" else self.text).append(data)


@pytest.fixture(scope="module", params=["report.html", "map.html"])
def page(made, request, unpack_map):
    text = (made[1] / request.param).read_text(encoding="utf-8")
    if request.param == "report.html":
        return request.param, _Page(text), ""
    unpacked = unpack_map(text)
    return request.param, _Page(unpacked["page"]), json.dumps(unpacked["layers"]["patches"]["rows"])


def test_pages_hold_no_element_or_attribute_from_the_data(page):
    name, found, _ = page
    scripts = [attrs for tag, attrs in found.tags if tag == "script"]
    assert all(not attrs or attrs["type"] == "text/plain" for attrs in scripts)
    assert len(scripts) == 1 if name == "report.html" else len(scripts) > 1
    assert [text for text in found.scripts if text.strip().startswith("alert")] == []
    assert {tag for tag, _ in found.tags}.isdisjoint({"b", "iframe", "object", "embed", "base", "form", "link"})
    assert [attrs for tag, attrs in found.tags if any(key.startswith("on") for key in attrs)] == []
    links = [attrs[key] for _, attrs in found.tags for key in ("href", "src", "action") if attrs.get(key)]
    assert [link for link in links if not link.startswith(("data:image/", "#"))] == []
    assert "1337" not in "".join(found.text)


def test_pages_say_hostile_words_as_text(page):
    name, found, packed = page
    said = html.unescape("".join(found.text)) if name == "report.html" else packed
    assert "img src=x onerror=alert(1)" in said


def test_browser_shows_the_pages_and_runs_nothing(made, browser_path):
    from playwright.sync_api import sync_playwright

    said = []
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=browser_path, args=["--no-sandbox"])
        view = browser.new_context(offline=True).new_page()
        view.on("dialog", lambda dialog: said.append(dialog.message) or dialog.dismiss())
        view.on("pageerror", lambda error: said.append(str(error)))
        view.on(
            "request", lambda ask: said.append(ask.url) if not ask.url.startswith(("file:", "data:", "blob:")) else 0
        )
        for name in ("report.html", "map.html"):
            view.goto((made[1] / name).as_uri())
            assert view.locator("img[src=x]").count() == 0
        view.wait_for_selector("body[data-ready]")
        view.locator("fieldset[data-group=layers] input:not(:checked)").first.check()
        shown = view.evaluate("""() => {
          let shown = 0;
          for (const layer of fieldMap.layers) {
            const { scale, left, top } = fieldMap.ground.view();
            for (let i = 0; i < layer.count; i++) {
              if (layer.kinds[i] < 0) { continue; }
              const p = layer.firstPoint[layer.firstRing[i]];
              const at = fieldMap.ground._bounds.min.add([layer.x[p] * scale + left, top - layer.y[p] * scale]);
              fieldMap.map.fire("click", { latlng: fieldMap.map.layerPointToLatLng(at) });
              shown += document.querySelectorAll("#tapped-facts dd").length > 0; } }
          return shown; }""")
        assert view.locator("img[src=x]").count() == 0
        view.wait_for_timeout(300)
        browser.close()
    assert shown > len(WORDS)
    assert said == []
