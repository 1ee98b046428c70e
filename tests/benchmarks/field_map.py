"""Size and time of a field map of many patches: a tract made by seed, planned, drawn and opened in Chromium.

``python tests/benchmarks/field_map.py`` takes 20,000 patches; ``--patches 1000 5000`` others. Printed: the page's size,
how long it takes to write, from opening it to the first whole map, and what a zoom, a move and a switch take. Bounds to
keep at 20,000: 15 MB, and 3 s to the first map.
"""

import argparse
import shutil
import tempfile
import time
from pathlib import Path

import geopandas as gpd
import numpy as np
import rasterio
import shapely
from affine import Affine

import invasimap

UTM, SIDE_M, CORNERS = "EPSG:32617", 6000.0, 41
X, Y = 580_000.0, 4_200_000.0
SPECIES = ("Lonicera maackii", "Elaeagnus umbellata", "Ailanthus altissima", "Celastrus orbiculatus", "Rosa multiflora")
SETTINGS = """
[tract]
name = "Many patches"
[[survey]]
files = ["survey.gpkg"]
[stands]
file = "land.gpkg"
layer = "stands"
[[protect]]
kind = "perennial stream"
file = "land.gpkg"
layer = "streams"
no_spray = "25 ft"
hand_only = "75 ft"
rule = "invented"
[land]
elevation = "dem.tif"
[ways]
file = "land.gpkg"
layer = "ways"
column = "class"
allows = { trail = ["foot"] }
[access]
cell = "60 ft"
[access.foot]
max_slope = "30 %"
max_walk = "5 min"
[uncertainty]
draws = 0
"""
FRAMES = "new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => done(performance.now()))))"


def make_tract(folder, count, seed=1):
    """A tract of ``count`` wobbly patches of 41 corners on hills, with streams and trails."""
    rng = np.random.default_rng(seed)
    centre = np.array([X, Y]) + rng.uniform(50, SIDE_M - 50, (count, 2))
    angle = np.linspace(0, 2 * np.pi, CORNERS, endpoint=False)
    radius = rng.gamma(4, 2.0, (count, 1)) + 2 + rng.normal(0, 0.5, (count, CORNERS))
    radius = np.maximum(radius, 1.5)
    xy = centre[:, None] + radius[..., None] * np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    survey = gpd.GeoDataFrame(
        {"species": rng.choice(SPECIES, count), "cover": rng.integers(5, 100, count),
         "height_m": rng.uniform(0.3, 4, count).round(1),
         "date": [f"2026-05-0{day}" for day in rng.integers(1, 10, count)],
         "notes": "seen from the trail"},
        geometry=shapely.polygons(xy), crs=UTM,
    )  # fmt: skip
    survey.to_file(folder / "survey.gpkg", layer="survey")
    step = SIDE_M / 4
    cells = [
        shapely.box(X + i * step, Y + j * step, X + (i + 1) * step, Y + (j + 1) * step)
        for i in range(4)
        for j in range(4)
    ]
    gpd.GeoDataFrame({"stand": [str(k + 1) for k in range(16)]}, geometry=cells, crs=UTM).to_file(
        folder / "land.gpkg", layer="stands"
    )
    along = np.linspace(-200, SIDE_M + 200, 400)
    for name, turned, places in (("streams", 0, (900, 2600, 4900)), ("ways", 1, (400, 2000, 3700, 5400))):
        lines = [
            np.column_stack([along, at + 150 * np.sin(along / 400 + at)])[:, :: -1 if turned else 1] for at in places
        ]
        frame = gpd.GeoDataFrame(
            {"class": ["trail"] * len(lines)}, geometry=[shapely.linestrings(line + [X, Y]) for line in lines], crs=UTM
        )
        frame.to_file(folder / "land.gpkg", layer=name)
    x = np.arange(-300, SIDE_M + 300, 10.0)
    height = 40 * np.sin(x / 300)[None] * np.cos(x / 420)[:, None] + 300
    with rasterio.open(
        folder / "dem.tif", "w", driver="GTiff", count=1, dtype="float32", crs=UTM, width=len(x), height=len(x),
        transform=Affine(10, 0, X - 300, 0, -10, Y + SIDE_M + 300),
    ) as out:  # fmt: skip
        out.write(height.astype("float32"), 1)
        out.units = ("metre",)
    (folder / "tract.toml").write_text(SETTINGS, encoding="utf-8")


def opened(page_file, *, width=1280, height=800):
    """Seconds to the first map, and of a zoom, a move and a switch, in Chromium with the network off."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        page = browser.new_context(viewport={"width": width, "height": height}, offline=True).new_page()
        page.goto(page_file.as_uri(), wait_until="commit")
        page.wait_for_selector("body[data-ready]", timeout=120_000)
        seconds = {"first map": page.evaluate(FRAMES) / 1000}
        paint = "(() => { const t = performance.now(); %s; return (performance.now() - t) / 1000; })()"
        zoom = paint % "fieldMap.map.setZoom(fieldMap.map.getZoom() + 1, {animate: false})"
        for name, action in (
            ("whole map drawn anew", paint % "fieldMap.ground.paint()"),
            ("zoom in", zoom),
            ("zoom in again", zoom),
            ("move", paint % "fieldMap.map.panBy([200, 100], {animate: false})"),
            ("switch", paint % "document.querySelector('[data-group=species] .switch input').click()"),
        ):
            seconds[name] = page.evaluate(action)
        seconds["drawn"] = page.evaluate("JSON.stringify(fieldMap.ground.drawn)")
        browser.close()
    return seconds


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--patches", type=int, nargs="+", default=[20_000])
    for count in parser.parse_args().patches:
        with tempfile.TemporaryDirectory() as home:
            folder = Path(home)
            make_tract(folder, count)
            began = time.perf_counter()
            plan = invasimap.plan(invasimap.read_tract(folder))
            planned = time.perf_counter()
            print(f"{count:,} patches, {len(plan.mosaic):,} faces: plan {planned - began:.0f} s")
            from invasimap.reports.webmap import map_html

            file = folder / "map.html"
            file.write_text(map_html(plan), encoding="utf-8")
            written = time.perf_counter()
            print(f"  page written in {written - planned:.1f} s")
            print(f"  map.html {file.stat().st_size / 1e6:.2f} MB (at most 15)")
            for width, height in ((1280, 800), (390, 844)):
                said = opened(file, width=width, height=height)
                print(
                    f"  {width} x {height}: "
                    + ", ".join(f"{k} {v:.2f} s" if isinstance(v, float) else f"{k} {v}" for k, v in said.items())
                )


if __name__ == "__main__":
    main()
