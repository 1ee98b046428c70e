import base64
import dataclasses
import hashlib
import html
import math
import re
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from pyproj import Geod, Transformer

from invasimap.core.settings import AccessSection
from invasimap.prescription.plan import CAUTIONS, Check, Plan
from invasimap.reports.report import report_html
from invasimap.reports.tables import write_tables
from invasimap.reports.web_layers import access_facts, access_ground
from invasimap.reports.webmap import map_html

FETCH = re.compile(
    r"""(?:src|href)\s*=\s*["']?\s*(?:https?:)?//|url\(\s*["']?(?:https?:)?//|@import|\bfetch\(|importScripts""", re.I
)
HOSTILE = (
    """<img src=x onerror="document.title='ran'">${document.title='ran'}`'"{{ 7*191 }}{% for %}"""
    "</script><script>document.title='ran'</script>"
)
Unpack = Callable[[str], dict[str, Any]]
PNG = b"\x89PNG\r\n\x1a\n"
PNGS = dict.fromkeys(("overview", "species", "access_limits"), PNG)


class Tags(HTMLParser):
    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))


@pytest.fixture(scope="module")
def field_map(toy_plan: Plan) -> str:
    return map_html(toy_plan)


@pytest.fixture(scope="module")
def report(toy_plan: Plan) -> str:
    return report_html(toy_plan, pictures=PNGS)


def hostile_plan(make_plan: Callable[..., Plan]) -> Plan:
    plan = make_plan(name=HOSTILE.replace("'", ""), count=12)
    patches = plan.patches.assign(species=HOSTILE, common_name=HOSTILE, id=HOSTILE, file=HOSTILE)
    acreage = plan.acreage.assign(species=HOSTILE, stand=HOSTILE)
    totals = plan.totals.iloc[[0, -1]].assign(species=[HOSTILE, ""])
    zones = plan.treatment_zones.assign(species=HOSTILE, id=HOSTILE, stand=HOSTILE)
    return dataclasses.replace(
        plan, patches=patches, acreage=acreage, totals=totals, treatment_zones=zones,
        mosaic=plan.mosaic.assign(stand=HOSTILE), ground=plan.ground.assign(stand=HOSTILE),
        stands=plan.stands.assign(stand=HOSTILE),
        features=plan.features.assign(kind=HOSTILE), protection=plan.protection.assign(kind=HOSTILE, rule=HOSTILE),
        parking=plan.parking.assign(zone_id=HOSTILE),
        set_aside=plan.set_aside.assign(reason=HOSTILE, raw=HOSTILE, file=HOSTILE), notes=(HOSTILE,),
    )  # fmt: skip


def test_pages_fetch_nothing(field_map: str, report: str) -> None:
    assert FETCH.search(field_map) is None
    assert FETCH.search(report) is None


def test_report_has_one_script_of_its_own_and_forbids_every_other(make_plan: Callable[..., Plan], report: str) -> None:
    (script,) = re.findall(r"<script>(.*?)</script>", report, re.S)
    hashed = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    (policy,) = [attrs["content"] for tag, attrs in Tags(report).found if "http-equiv" in attrs]
    assert "default-src 'none'" in str(policy) and f"script-src 'sha256-{hashed}'" in str(policy)
    assert f"<script>{script}</script>" in report_html(hostile_plan(make_plan), pictures=PNGS)  # nothing of the data


def test_report_shows_hostile_names_as_text(make_plan: Callable[..., Plan]) -> None:
    page = report_html(hostile_plan(make_plan), pictures=PNGS)
    tags = Tags(page).found
    assert [attrs for tag, attrs in tags if tag == "img" and attrs.get("src") == "x"] == []
    assert [attrs for tag, attrs in tags if tag == "script"] == [{}]
    assert "1337" not in page
    assert "onerror" in html.unescape(page)


def test_map_shows_hostile_names_as_text(make_plan: Callable[..., Plan], unpack_map: Unpack) -> None:
    found = unpack_map(map_html(hostile_plan(make_plan)))
    assert "1337" not in found["page"]  # a template was not run
    assert "<img src=x" not in found["page"]
    assert "${document" not in found["page"]
    assert set(found["layers"]["patches"]["titles"]) == {f"{HOSTILE}\n{HOSTILE}"}
    assert found["groups"]["species"][0]["latin"] == HOSTILE


def test_browser_draws_the_map_and_runs_nothing_hostile(
    make_plan: Callable[..., Plan], tmp_path: Path, browser_path: str
) -> None:
    from playwright.sync_api import sync_playwright

    (tmp_path / "map.html").write_text(map_html(hostile_plan(make_plan)), encoding="utf-8")
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=browser_path, args=["--no-sandbox"])
        page = browser.new_context(offline=True, viewport={"width": 1280, "height": 800}).new_page()
        page.goto((tmp_path / "map.html").as_uri())
        page.wait_for_selector("body[data-ready]")
        for name in ("legend", "measure", "cautions", "show"):
            page.locator(f"[data-panel={name}]").click()
        page.locator("fieldset[data-group=species] input").first.click()
        page.locator("#show-all").click()
        shown = page.evaluate("""() => { let shown = 0;
          for (const at of document.querySelectorAll("fieldset[data-group=layers] input:not(:checked)")) { at.click(); }
          for (const layer of fieldMap.layers) { for (let i = 0; i < layer.count; i++) {
            if (layer.kinds[i] < 0) { continue; }
            const { scale, left, top } = fieldMap.ground.view(), p = layer.firstPoint[layer.firstRing[i]];
            const at = fieldMap.ground._bounds.min.add([layer.x[p] * scale + left, top - layer.y[p] * scale]);
            fieldMap.map.fire("click", { latlng: fieldMap.map.layerPointToLatLng(at) });
            shown += document.querySelectorAll(".facts section").length; } }
          return shown; }""")
        assert shown > 100
        assert page.locator("#show-groups .latin, #show-groups i").first.inner_text() == HOSTILE
        page.emulate_media(media="print")
        page.wait_for_timeout(300)
        assert page.title() != "ran" and page.locator("img[src=x]").count() == 0
        browser.close()


def test_same_plan_same_map(toy_plan: Plan, field_map: str) -> None:
    assert map_html(toy_plan) == field_map


def test_patches_on_the_map_lie_where_and_are_as_large_as_in_the_plan(
    toy_plan: Plan, field_map: str, unpack_map: Unpack
) -> None:
    patches = unpack_map(field_map)["layers"]["patches"]
    assert len(patches["places"]) == len(toy_plan.patches)
    ellipsoid = Geod(ellps="WGS84")
    for (ring, *_), true in zip(patches["places"], toy_plan.patches.area, strict=True):
        assert abs(ellipsoid.polygon_area_perimeter(*ring.T)[0]) == pytest.approx(true, rel=0.08)
    coords = np.concatenate([ring for rings in patches["places"] for ring in rings])
    inside = toy_plan.patches.to_crs(4326).total_bounds
    np.testing.assert_allclose([*coords.min(axis=0), *coords.max(axis=0)], inside, atol=1e-5)


def test_restricted_ground_is_said_and_nothing_of_what_it_hides_is_named(field_map: str, report: str) -> None:
    for page in (field_map, report):
        assert "slipper" not in page
        assert "heritage" not in page
        assert "restricted" in page
    assert "all of the ground drawn" in report  # no distance stands beside it


def test_every_page_carries_the_cautions(field_map: str, report: str) -> None:
    for page in (field_map, report):
        for caution in CAUTIONS:
            assert caution in html.unescape(page)
        assert "safe to" not in page.lower()


def test_report_first_says_what_is_infested_and_what_can_be_treated(toy_plan: Plan, report: str) -> None:
    acres = toy_plan.patches.union_all().area / 4046.8564224
    said = (
        f"<strong>{acres:.2f} acres</strong> ({0.9 * acres:.2f} to {1.1 * acres:.2f}) of this tract: 40 patches of 4 "
    )
    assert said in report
    table = toy_plan.ground[toy_plan.ground.stand != "(outside)"]
    open_ground = table[(table.zone == "open") & (table.access != "out_of_reach")]
    treated = open_ground.ground_m2.sum() / 4046.8564224
    assert f"<strong>{treated:.2f} acres</strong><strong> (" in report
    assert report.index("can be treated</strong>") < report.index("<img")


def test_report_gives_the_figures_of_the_access_tables(toy_plan: Plan, report: str, tmp_path: Path) -> None:
    write_tables(toy_plan, tmp_path)
    limits, gain, parking = (
        pd.read_csv(tmp_path / "tables" / f"{name}.csv", keep_default_na=False, na_values={"lat": "", "lon": ""})
        for name in ("limits", "reach_gain", "parking")
    )
    (bars,) = [attrs["alt"] for tag, attrs in Tags(report).found if tag == "img" and "not by" in str(attrs.get("alt"))]
    said = [float(figure) for figure in re.findall(r"([\d.]+) ac", str(bars))]
    assert sorted(said) == sorted(limits.loc[limits["limit"] != "", "open_ac"].round(2))
    assert f"{limits['open_ac'].sum():.2f} ac of infested ground in stands is open to spray" in report
    printed = rows_under(report, "What one more thing would add")
    assert [row[0].lower() for row in printed] == gain["change"].tolist()
    for row, (lat, lon), figures in zip(printed, gain[["lat", "lon"]].values, gain.iloc[:, 4:].values, strict=True):
        assert row[2] == ("" if np.isnan(lat) else f"{lat:.5f}, {lon:.5f}")
        assert row[3:] == [
            "none" if v == 0 else f"{v:.2f}" if abs(v) >= 0.005 else f"{'-' if v < 0 else ''}<0.01" for v in figures
        ]
    assert "may need a permit and a look on site" in report
    best = parking[parking["stop"] == 1].set_index("zone_id")
    printed = rows_under(report, "Where to park for each treatment zone that a hose serves")
    assert {row[0] for row in printed} == set(best.index)
    for zone, _, place, hose, lift, share, stops in printed:
        row = best.loc[zone]
        assert place == f"{row['lat']:.5f}, {row['lon']:.5f}"
        assert (int(hose), int(lift)) == (math.ceil(row["hose_ft"] - 1e-6), math.ceil(row["lift_ft"] - 1e-6))
        assert share == f"{math.floor(row['share_pct'])} %"
        assert int(stops) == (parking["zone_id"] == zone).sum()


PUMP = {"hose_diameter": "0.5 in", "hose_roughness": 140, "flow": "3 gal/min", "nozzle_pressure": "40 psi"}
FRICTION_PSI = 32.405089  # 300 ft of that hose, worked by hand: 4.52 x 3^1.85 / (140^1.85 x 0.5^4.87) x 300


def with_pump(plan: Plan, pressure: str, **changes: object) -> Plan:
    atv = {"max_slope": "12 %", "max_side_slope": "8 %", "clearance": "6 ft", "hose_length": "300 ft"}
    access = AccessSection.model_validate({
        "cell": "10 ft", "atv": {**atv, **PUMP, "pump_pressure": pressure},
        "foot": {"max_slope": "60 %", "max_walk": "30 min", "off_way": 0.5},
    })  # fmt: skip
    return dataclasses.replace(plan, settings=plan.settings.model_copy(update={"access": access}), **changes)


def test_report_says_what_machines_and_people_were_taken_to_be_and_what_was_not_typed(toy_plan: Plan) -> None:
    page = report_html(with_pump(toy_plan, "100 psi"), pictures=PNGS)
    said = dict(rows_under(page, "What machines and people were taken to be"))
    assert said["ground"] == "worked in cells of 10 ft" and said["tractor"] == "not at hand"
    assert said["hose from the ATV"] == (
        "300 ft long, 15 % of it* lost to reel, trees and slack; 0.5 in inside, roughness C 140 (Hazen-Williams)"
    )
    assert said["pump of the ATV"] == "100 psi at 3 gal/min; the nozzle needs 40 psi"
    assert "at most 30 min one way, from the nearest place where a vehicle can stop" in said["on foot"]
    assert "times 0.5 off the ways, times 0.7* with the load" in said["pace on foot"]
    assert said["pace on foot"].startswith("3.1 mph")  # 6 exp(-3.5 x 0.05) = 5.037 km/h
    assert "* not typed" in page


def test_report_works_the_pressure_budget_of_the_hose_by_hand(toy_plan: Plan) -> None:
    lift_ft = (100 - 40 - FRICTION_PSI) / 0.433  # 63.7 ft
    page = report_html(with_pump(toy_plan, "100 psi"), pictures=PNGS)
    level, here, most = rows_under(page, "What the pump leaves at the nozzle")
    assert level == ["ATV: as high as the pump", "100.0", "32.4", "0.0", f"{100 - FRICTION_PSI:.1f}", "40.0"]
    height_psi = 3.1 / 0.3048 * 0.433  # of the place that lifts most
    assert here[0].startswith("ATV: 11 ft up") and here[3] == f"{height_psi:.1f}"
    assert here[4] == f"{100 - FRICTION_PSI - height_psi:.1f}"
    assert most[0].startswith(f"ATV: {math.floor(lift_ft)} ft up") and float(most[4]) >= 40
    assert f"the nozzle keeps its 40 psi up to {math.floor(lift_ft)} ft above the pump" in page


def test_report_says_how_much_lies_within_the_hose_but_too_high_for_its_pump(toy_plan: Plan) -> None:
    limits = pd.DataFrame(
        {"access": ["foot", "foot", "out_of_reach"], "limit": ["hose_length", "lift", "lift"], "open_m2": [
            4046.8564224, 2 * 4046.8564224, 4046.8564224]}
    )  # fmt: skip
    page = report_html(with_pump(toy_plan, "100 psi", limits=limits), pictures=PNGS)
    assert "the hose from the ATV, but too high for its pump: 2.00 ac;" in page  # out of reach by foot's own limit
    weak = report_html(with_pump(toy_plan, "72 psi"), pictures=PNGS)
    below_ft = math.ceil((FRICTION_PSI + 40 - 72) / 0.433)
    assert f"only {below_ft} ft or more below the pump" in weak and below_ft == 1
    assert [row[0] for row in rows_under(weak, "What the pump leaves at the nozzle")] == ["ATV: as high as the pump"]
    without = report_html(toy_plan, pictures=PNGS)
    assert "No pump settings were typed for the hose from the ATV" in without
    assert "What the pump leaves" not in without


def test_metric_report_gives_the_pump_in_bar(make_plan: Callable[..., Plan]) -> None:
    page = report_html(with_pump(make_plan(units="metric"), "100 psi"), pictures=PNGS)
    level = rows_under(page, "What the pump leaves at the nozzle")[0]
    bar = 0.06894757293168361
    assert level[1:] == [f"{v * bar:.2f}" for v in (100, FRICTION_PSI, 0, 100 - FRICTION_PSI, 40)]
    said = dict(rows_under(page, "What machines and people were taken to be"))
    assert said["pump of the ATV"] == "6.895 bar at 11.36 L/min; the nozzle needs 2.758 bar"
    assert "12.7 mm inside" in said["hose from the ATV"] and said["pace on foot"].startswith("5 km/h")


def test_repairs_and_columns_take_a_row_for_each_file_and_kind(toy_plan: Plan) -> None:
    repaired = pd.DataFrame({"file": ["a.csv"] * 5, "record": [2, 3, 4, 9, 7], "how": ["cover"] * 4 + ["size"]})
    columns = pd.DataFrame({
        "file": ["a.csv", "a.csv", "b.gpx"], "column": ["SPP", "Radius (ft)", "time"],
        "role": ["species", "radius", "date"], "unit": ["", "ft", None],
        "recognised_by": ["columns in its block", "its name", "its name"],
    })  # fmt: skip
    plan = dataclasses.replace(toy_plan, repaired=repaired, columns=columns)
    page = report_html(plan, pictures=PNGS)
    assert rows_under(page, "Repaired") == [["a.csv", "cover", "2-4, 9 (4 records)"], ["a.csv", "size", "7"]]
    assert rows_under(page, "How the columns were read") == [
        ["a.csv", "SPP: species (columns in its block); Radius (ft): radius ft"],
        ["b.gpx", "time: date"],
    ]


def test_report_reconciles_ground_outside_every_stand(toy_plan: Plan) -> None:
    outside = toy_plan.ground[toy_plan.ground["stand"] == "(outside)"]
    whole, kept = (rows["ground_m2"].sum() / 4046.8564224 for rows in (outside, outside[outside.zone == "no_spray"]))
    page = report_html(toy_plan, pictures=PNGS)
    said = "0" if kept == 0 else "&lt;0.01" if kept < 0.005 else f"{kept:.2f}"
    assert f"{whole:.2f} acres of infested ground lie outside every stand ({said} acres within a no-spray" in page


def test_report_gives_totals_with_ranges_and_what_makes_them_wide(
    toy_plan: Plan, make_plan: Callable[..., Plan], report: str
) -> None:
    printed = rows_under(report, "Totals, and how far they may be off")
    names = sorted(toy_plan.patches["species"].unique())
    assert [row[0] for row in printed] == [*names, "All infested ground, every spot once"]
    assert all(row[3:5] == ["", ""] for row in printed[-1:])  # ground has no infested area
    for name, row in zip(names, printed, strict=False):
        acres = toy_plan.patches[toy_plan.patches["species"] == name].union_all().area / 4046.8564224
        assert row[1:3] == [f"{acres:.2f}", f"{0.9 * acres:.2f} to {1.1 * acres:.2f}"]
    printed = rows_under(report, "What makes the ranges wide")
    assert printed[0] == [names[1], "in all", "70", "29", "<1", "0"]  # the first has nothing to doubt
    assert "range of all infested ground wide: positions (70 %), patch sizes (29 %), covers (&lt;1 %)." in report
    plan = make_plan()
    limits = [name for name in plan.totals if "_low_" in name or "_high_" in name]
    without = dataclasses.replace(
        plan, settings=plan.settings.with_draws(0), drivers=plan.drivers.iloc[:0],
        totals=plan.totals.assign(**dict.fromkeys(limits, np.nan)),
    )  # fmt: skip
    page = report_html(without, pictures=PNGS)
    assert "No ranges were drawn" in page and "90 % range" not in page and "What makes the ranges" not in page


def rows_under(page: str, caption: str) -> list[list[str]]:
    body = page.split(f"<caption><span>{caption}</span></caption>")[1].split("</table>")[0].split("<tbody")[1]
    rows = [re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.S) for row in body.split("<tr")[1:]]
    return [[html.unescape(re.sub("<[^>]+>", "", cell)).strip() for cell in row] for row in rows]


def test_metric_report_speaks_of_hectares_and_metres(make_plan: Callable[..., Plan]) -> None:
    page = report_html(make_plan(units="metric"), pictures=PNGS)
    access = page.split('id="access"')[1].split("</section>")[0]
    assert "30 m more hose" in access.lower() and "Hose needed m" in access and "More treatable ha" in access
    assert not re.search(r"\b(ac|ft)\b", access)


def test_map_has_parking_places_hidden_at_first(toy_plan: Plan, field_map: str, unpack_map: Unpack) -> None:
    layer = unpack_map(field_map)["layers"]["parking"]
    assert layer["on"] is False and "park" in layer["switch"]
    truth = toy_plan.parking.to_crs(4326).geometry
    np.testing.assert_allclose([spot[0][0] for spot in layer["places"]], np.c_[truth.x, truth.y], atol=1e-6)
    said = dict(zip(layer["terms"], layer["rows"][1], strict=True))
    lon, lat = Transformer.from_crs(toy_plan.crs, 4326, always_xy=True).transform(-150.0, -420.0)
    assert said["place"] == f"{lat:.5f}, {lon:.5f}"
    assert (said["stop"], said["hose"], said["lift"]) == ("2 of 2", "263 ft", "0 ft")  # 80 m are 262.5 ft
    (row,) = access_ground(toy_plan, "tractor").itertuples()
    assert access_facts(row, "tractor") == ["tractor, hose from an ATV, on foot", ""]
    (row,) = access_ground(toy_plan, "atv_hose").itertuples()
    assert access_facts(row, "atv_hose")[1] == "too steep to drive up or down"


def test_report_is_marked_up_for_reading_aloud(report: str) -> None:
    tags = Tags(report).found
    assert ("html", {"lang": "en"}) in tags
    assert sum(tag == "table" for tag, _ in tags) == sum(tag == "caption" for tag, _ in tags)
    heads = [attrs for tag, attrs in tags if tag == "th"]
    assert heads
    assert all(attrs.get("scope") in ("col", "row") for attrs in heads)
    assert all(attrs.get("alt") for tag, attrs in tags if tag == "img")
    assert "<i>Lonicera maackii</i>" in report


def test_report_names_a_failed_check_first(toy_plan: Plan) -> None:
    failed = dataclasses.replace(toy_plan, checks=(Check(name="area conserved", value=0.2, limit=1e-9),))
    page = report_html(failed, pictures=PNGS)
    assert "Check failed: area conserved" in page
    assert "FAILED" in page


def test_checks_are_printed_without_exponents(toy_plan: Plan) -> None:
    checks = tuple(Check(name=str(k), value=value, limit=1e-9) for k, value in enumerate((2e-15, 0.2, 0.0, 1.5e-7, 7)))
    page = report_html(dataclasses.replace(toy_plan, checks=checks), pictures=PNGS)
    printed = [said for check in checks for said in check.said]
    assert printed[::2] == ["below 0.000000001", "0.2", "0", "0.00000015", "7"] and set(printed[1::2]) == {
        "0.000000001"
    }
    assert all(f">{said}<" in page for said in printed) and not re.search(r">[\d.]+e-\d+<", page)


def test_report_with_nothing_mapped_says_so(empty_plan: Plan) -> None:
    page = report_html(empty_plan, pictures=PNGS)
    assert "There is no elevation data" in page and "That is no proof that there are none" in page
    assert "By species: nothing to list." in page
    assert FETCH.search(map_html(empty_plan)) is None


def test_part_per_patch_tells_what_can_be_done(toy_plan: Plan, field_map: str) -> None:
    from invasimap.reports.web_patches import patch_outcomes

    work = patch_outcomes(toy_plan)
    inside = toy_plan.stands.union_all()
    reach = toy_plan.access.set_index("access").geometry
    for patch, text in zip(toy_plan.patches.itertuples(), work["work"], strict=True):
        only_foot = (
            patch.geometry.within(reach["foot"].intersection(inside))
            and not toy_plan.protection.intersects(patch.geometry).any()
        )
        if only_foot:
            assert text == "on foot"
    assert "hand work only" in " ".join(work["work"])
