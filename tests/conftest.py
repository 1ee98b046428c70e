"""Shared by the tests: small tracts written to disk, and the real files kept beside the project."""

import base64
import io
import json
import os
import re
import shutil
import subprocess
import sys
import zlib
from contextlib import redirect_stderr, redirect_stdout
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace
from unittest import mock

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from affine import Affine
from PIL import Image
from pyproj import Transformer

REAL = Path(__file__).parents[2] / "shared" / "real"
UTM = "EPSG:32617"
TOGETHER = {
    **dict.fromkeys(
        ("tests/test_browser.py", "tests/test_field_map.py", "tests/test_notebooks.py", "tests/test_sample.py"),
        "the sample's plan",
    ),
    **{name: name for name in (
        "tests/test_plan_by_hand.py", "tests/test_plan_confidential.py", "tests/test_plan_inert.py",
        "tests/test_plan_pictures.py",
        "tests/test_real_tract.py",
        "tests/inputs/test_postgis.py", "tests/inputs/test_real_tract.py", "tests/mosaic/test_coverage.py",
        "tests/reports/test_reports_crew.py",
        "tests/reports/test_reports_geopackage.py", "tests/reports/test_reports_landowner.py",
        "tests/reports/test_reports_mapbook.py", "tests/reports/test_reports_maps.py",
        "tests/reports/test_reports_pages.py", "tests/reports/test_reports_pictures.py",
        "tests/reports/test_reports_tables.py",
    )},
}  # fmt: skip


SAMPLE_DRAWS = 100  # the fewest that a plan takes: the demonstration draws 500, ranges are proved by known truths
LONGEST = ("tests/test_plan_properties.py", "tests/inputs/test_fuzz.py")


def pytest_collection_modifyitems(items):
    """The longest tests first, so that no process waits for another's at the end."""
    items.sort(key=lambda item: not item.nodeid.startswith(LONGEST))


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_setupnodes():
    """Before ``pytest -n`` starts its processes: the kernels are compiled once, not in each of them."""
    from invasimap.compiled import compile_now

    compile_now()


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Of ``pytest -n``: tests that share something costly run in one process, so that it is made once."""
    from xdist.scheduler import LoadScopeScheduling

    class Together(LoadScopeScheduling):
        def _split_scope(self, nodeid):
            return TOGETHER.get(nodeid.partition("::")[0], nodeid)

    return Together(config, log) if config.getvalue("dist") == "load" else None


@pytest.fixture(scope="session")
def real():
    """The folder of real files; skipped where it is absent, unless REAL_FILES=required."""
    if not REAL.is_dir():
        if os.environ.get("REAL_FILES") == "required":
            pytest.fail(f"real files are required and {REAL} is absent")
        pytest.skip("real files are kept beside the project, not in it")
    return REAL


@pytest.fixture
def write_tract(tmp_path):
    """Writes a tract: layers of one GeoPackage in UTM metres, a survey, elevation (height of x, y) and settings."""
    return _tract_writer(tmp_path)


@pytest.fixture(scope="module")
def write_shared_tract(tmp_path_factory):
    """``write_tract`` for a tract that is planned once and looked at by several tests."""
    return _tract_writer(tmp_path_factory.mktemp("tracts"))


def _tract_writer(parent):
    def write(settings, *, survey, height=None, folder="tract", **layers):
        home = parent / folder
        home.mkdir()
        for name, layer in layers.items():
            layer.to_file(home / "land.gpkg", layer=name, driver="GPKG")
        survey.to_file(home / "survey.geojson", driver="GeoJSON", COORDINATE_PRECISION=12)
        if height is not None:
            _write_elevation(home / "dem.tif", height, layers["stands"].total_bounds)
        (home / "tract.toml").write_text(settings, encoding="utf-8")
        return home

    return write


def _write_elevation(path, height, bounds):
    left, bottom, right, top = bounds + np.array([-400, -400, 400, 400])
    cell = 3.0
    x = np.arange(left + cell / 2, right, cell)
    y = np.arange(top - cell / 2, bottom, -cell)
    z = np.broadcast_to(height(*np.meshgrid(x, y)), (len(y), len(x))).astype("float32")
    profile = {"driver": "GTiff", "count": 1, "dtype": "float32", "crs": UTM, "width": len(x), "height": len(y)}
    with rasterio.open(path, "w", transform=Affine(cell, 0, left, 0, -cell, top), **profile) as out:
        out.write(z, 1)
        out.units = ("metre",)


@pytest.fixture(scope="session")
def utm_layer():
    """Builds a layer in UTM metres: shapes, then columns."""

    def build(shapes, **columns):
        return gpd.GeoDataFrame(columns, geometry=list(shapes), crs=UTM)

    return build


@pytest.fixture(scope="session")
def command_here():
    """Runs the command line in this process: a new one would spend most of its time on imports."""
    from invasimap.cli import main

    def run(*arguments):
        out, err = io.StringIO(), io.StringIO()
        command = ["invasimap", *map(str, arguments)]
        with mock.patch.object(sys, "argv", command), redirect_stdout(out), redirect_stderr(err):
            try:
                main()
                code = 0
            except SystemExit as stop:
                code = stop.code
        return SimpleNamespace(returncode=code, stdout=out.getvalue(), stderr=err.getvalue())

    return run


@pytest.fixture
def without_pages(monkeypatch):
    """A plan is written without maps and report, which take most of the time: for tests of the rest."""
    monkeypatch.setattr("invasimap.pipeline.write_pages", lambda *_given, **_options: None)


@pytest.fixture(scope="module")
def blank_maps():
    """Printed maps and charts are one white dot each, the book is empty: for tests of the words and tables of pages."""
    dot = io.BytesIO()
    Image.new("RGB", (1, 1), "white").save(dot, "PNG")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("invasimap.reports.pictures.sheet_png", lambda _draw, _plan: dot.getvalue())
        patch.setattr("invasimap.reports.pictures.mapbook_pdf", lambda _plan: b"%PDF-")
        yield


@pytest.fixture(scope="session")
def sample_plan(tmp_path_factory):
    """The sample tract planned and written: the plan and its folder."""
    import invasimap

    tract = invasimap.read_tract(Path(__file__).parents[1] / "sample_geodata")
    plan = invasimap.plan(tract.with_draws(SAMPLE_DRAWS))
    return plan, invasimap.write_plan(plan, tmp_path_factory.mktemp("sample") / "out")


@pytest.fixture(scope="session")
def browser_path():
    """Debian's Chromium; skipped where it is absent, unless BROWSER=required."""
    found = shutil.which("chromium")
    if found is None:
        if os.environ.get("BROWSER") == "required":
            pytest.fail("a browser is required and chromium is absent")
        pytest.skip("no chromium here")
    return found


@pytest.fixture(scope="session")
def axe_source():
    """The script of axe-core, named by AXE_CORE; skipped where it is absent, unless AXE=required."""
    named = os.environ.get("AXE_CORE", "")
    if not named or not Path(named).is_file():
        if os.environ.get("AXE") == "required":
            pytest.fail(f"axe-core is required and AXE_CORE names no file: {named!r}")
        pytest.skip("AXE_CORE names no script of axe-core")
    return Path(named).read_text(encoding="utf-8")


@pytest.fixture(scope="session")
def grave_faults(axe_source):
    """What axe-core finds serious or critical on an open page, or within parts of it: rule, weight, first elements."""

    def look(page, *, within="html"):
        page.evaluate(axe_source)
        found = page.evaluate(
            "within => axe.run({ include: within.split(', ').map(part => [part]) }, { resultTypes: ['violations'] })",
            within,
        )
        assert len(found["passes"]) > 8  # it looked
        return [
            (fault["id"], fault["impact"], [node["html"][:200] for node in fault["nodes"][:3]])
            for fault in found["violations"]
            if fault["impact"] in ("serious", "critical")
        ]

    return look


@pytest.fixture(scope="session")
def printed_pages(tmp_path_factory):
    """Prints a page as a reader does on letter paper and gives the words of each sheet, by poppler."""
    if shutil.which("pdftotext") is None:
        if os.environ.get("PDF_TOOLS") == "required":
            pytest.fail("pdftotext is required and absent")
        pytest.skip("no pdftotext here")

    def print_out(page):
        file = tmp_path_factory.mktemp("print") / "page.pdf"
        page.pdf(path=file, format="Letter")
        done = subprocess.run(["pdftotext", "-layout", file, "-"], capture_output=True, text=True, check=True)
        return done.stdout.split("\f")[:-1]

    return print_out


@pytest.fixture(scope="session")
def unpack_map():
    """Reads a field map's page: its words without the packed data, and its layers by name.

    Each layer has what the page's script gets and ``places``: for each shape its rings, lines or points in degrees.
    """

    def unpack(page):
        packed = re.findall(r'<script type="text/plain" id="field-\w+">([^<]*)</script>', page)
        words, shapes = (zlib.decompress(base64.b64decode(text, validate=True)) for text in packed)
        folded = np.frombuffer(shapes, np.uint8).reshape(4, -1).T.copy().view("<u4").ravel().astype(np.int64)
        numbers, head = np.where(folded % 2, -(folded // 2) - 1, folded // 2), json.loads(words)
        to_degrees = Transformer.from_crs(3857, 4326, always_xy=True)
        at = 0
        for layer in head["layers"]:
            count = sum(layer["points"])
            x, y = (np.cumsum(numbers[at + k * count : at + (k + 1) * count]) * head["step"] for k in (0, 1))
            at += 2 * count
            places = np.column_stack(to_degrees.transform(x + head["origin"][0], y + head["origin"][1]))
            rings = np.split(places, np.cumsum(layer["points"])[:-1])
            starts = np.cumsum([0, *layer["parts"]])
            layer["places"] = [rings[a:b] for a, b in pairwise(starts)]
        assert at == len(numbers)
        head["page"] = re.sub("|".join(map(re.escape, packed)), "", page)
        head["layers"] = {layer["name"]: layer for layer in head["layers"]}
        return head

    return unpack


@pytest.fixture(scope="module")
def chromium(browser_path):
    """Debian's Chromium, once a module."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=browser_path, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture(params=[(1280, 900), (390, 844)], ids=["desk", "phone"])
def screen(request, chromium):
    """A page with the network off, on a desk's screen and a phone's; ``faults``: errors and what it asks for."""
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
