import dataclasses
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from affine import Affine
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from PIL import Image
from pyproj import CRS
from shapely.geometry import box

from invasimap.core.units import METRIC, US
from invasimap.land.terrain import Terrain
from invasimap.prescription.plan import Plan
from invasimap.reports.access_chart import access_limits_figure
from invasimap.reports.access_map import access_figure, access_rows
from invasimap.reports.answers import answers, stand_table
from invasimap.reports.apart import pictures_apart
from invasimap.reports.furniture import north_turn_deg
from invasimap.reports.legend import legend_rows
from invasimap.reports.overview import draw_overview, overview_figure, overview_png
from invasimap.reports.pictures import pictures
from invasimap.reports.relief import contour_interval, contours, hillshade
from invasimap.reports.species_chart import species_figure

CRS_M = CRS.from_epsg(5070)


def plane(rise_per_m: float, *, rows: int = 40, columns: int = 60, hole: bool = False) -> Terrain:
    x = (np.arange(columns) + 0.5) * 10
    z = np.tile((x * rise_per_m).astype(np.float32), (rows, 1))
    if hole:
        z[10:20, 20:30] = np.nan
    return Terrain(elevation_m=z, transform=Affine(10, 0, 0, 0, -10, rows * 10), crs=CRS_M)


def words_on(figure: Figure) -> str:
    return "\n".join(text.get_text() for text in [*figure.texts, *(t for ax in figure.axes for t in ax.texts)])


def test_contours_of_a_plane_lie_where_the_height_is() -> None:
    lines = contours(plane(0.1), interval=5, shown=METRIC)  # 10 % slope: 5 m of height every 50 m
    inner = lines[(lines.elevation > 10) & (lines.elevation < 50)]
    assert len(inner) == 7
    for line in inner.itertuples():
        np.testing.assert_allclose([line.geometry.bounds[0], line.geometry.bounds[2]], line.elevation / 0.1, atol=0.5)
    assert lines[lines.is_index].elevation.tolist() == [25.0, 50.0]


def test_contours_in_feet_are_round_feet() -> None:
    lines = contours(plane(0.3048 / 10), interval=10, shown=US)  # 1 ft every 10 m
    assert set(lines.elevation) == {10.0, 20.0, 30.0, 40.0, 50.0}
    one = lines[lines.elevation == 30.0].geometry.iloc[0]
    assert one.bounds[0] == pytest.approx(300.0, abs=0.5)


def test_contours_do_not_cross_unknown_ground() -> None:
    lines = contours(plane(0.1, hole=True), interval=5, shown=METRIC)
    assert not lines.intersects(box(211, 211, 289, 289)).any()


@pytest.mark.parametrize(("relief_m", "shown", "interval"), [(60, US, 10), (120, US, 20), (60, METRIC, 5), (0, US, 5)])
def test_interval_is_round(relief_m: float, shown: object, interval: int) -> None:
    assert contour_interval(plane(relief_m / 590), shown) == interval  # type: ignore[arg-type]


def test_shade_of_level_ground_is_even_and_unknown_stays_unknown() -> None:
    level = hillshade(plane(0.0))
    np.testing.assert_allclose(level, np.sin(np.radians(45)), atol=1e-6)
    assert np.isnan(hillshade(plane(0.1, hole=True))[12:18, 22:28]).all()


def test_ground_that_faces_the_light_is_brighter() -> None:
    assert hillshade(plane(0.5))[20, 30] > hillshade(plane(-0.5))[20, 30]  # rising eastward faces west, to the light


def test_map_is_true_to_its_scale(toy_plan: Plan) -> None:
    figure = overview_figure(toy_plan)
    ax, words = figure.axes[0], words_on(figure)
    scale = float(words.split("1:")[1].split(" ")[0].replace(",", ""))
    box = ax.get_position()
    for limits, share, side in ((ax.get_xlim(), box.width, 0), (ax.get_ylim(), box.height, 1)):
        paper_m = share * figure.get_size_inches()[side] * 0.0254
        assert (limits[1] - limits[0]) / paper_m == pytest.approx(scale, rel=1e-6)
    left, bottom, right, top = toy_plan.stands.total_bounds
    assert ax.get_xlim()[0] < left < right < ax.get_xlim()[1]
    assert ax.get_ylim()[0] < bottom < top < ax.get_ylim()[1]
    assert f"(1 in = {scale / 12:,.4g} ft)" in words


@pytest.mark.parametrize("sheet", [overview_figure, access_figure])
def test_nothing_on_the_sheet_collides_or_leaves_it(toy_plan: Plan, sheet: Callable[[Plan], Figure]) -> None:
    figure = sheet(toy_plan)
    figure.canvas.draw()
    ax = figure.axes[0]
    boxes = [text.get_window_extent() for text in ax.texts]
    pairs = [(a, b) for i, a in enumerate(boxes) for b in boxes[i + 1 :] if a.overlaps(b)]
    assert pairs == []
    page = figure.bbox
    for text in [*figure.texts, *(t for each in figure.axes for t in each.texts)]:
        box = text.get_window_extent()
        assert page.x0 <= box.x0 <= box.x1 <= page.x1, text.get_text()
        assert page.y0 <= box.y0 <= box.y1 <= page.y1, text.get_text()
        assert text.get_fontsize() >= 8, text.get_text()
    rows = sorted((t.get_window_extent() for t in figure.axes[1].texts), key=lambda b: (b.x0 > 100, b.y0))
    assert not any(a.overlaps(b) for i, a in enumerate(rows) for b in rows[i + 1 :])


@pytest.mark.parametrize("sheet", [overview_figure, access_figure])
def test_a_long_name_of_a_stand_goes_over_lines_and_keeps_its_letters(
    toy_plan: Plan, sheet: Callable[[Plan], Figure]
) -> None:
    name = "Upper Sugarbush North of the Old Logging Road"
    stands = toy_plan.stands.assign(stand=[name, *toy_plan.stands["stand"].iloc[1:]])
    drawn = [text.get_text() for ax in sheet(dataclasses.replace(toy_plan, stands=stands)).axes for text in ax.texts]
    (label,) = [text for text in drawn if text.startswith("Upper")]
    assert label.split() == name.split() and max(map(len, label.splitlines())) <= 18


def test_sheet_says_whose_when_and_the_law(toy_plan: Plan) -> None:
    words = words_on(overview_figure(toy_plan))
    for part in (
        "Toy Tract",
        "2025-06-03 to 2025-07-11",
        "2025-11-03",
        "product label is the law",
        "Emergency",
        "38.197",
    ):
        assert part in words
    assert "slipper" not in words
    for stand in toy_plan.stands["stand"]:
        assert f"\n{stand}\n" in f"\n{words}\n"


def test_access_sheet_accounts_for_the_ground_of_the_stands_and_names_the_best_places(toy_plan: Plan) -> None:
    rows = {row.text: row.figure for row in access_rows(toy_plan)}
    for name, words in (("tractor", "tractor"), ("atv_hose", "hose from an ATV"), ("foot", "on foot")):
        ground = toy_plan.access.set_index("access").geometry[name].intersection(toy_plan.stands.union_all())
        assert float(rows[words].removesuffix(" ac")) == pytest.approx(ground.area / 4046.8564224, abs=0.005)
    words = words_on(access_figure(toy_plan))
    for zone in toy_plan.parking.loc[toy_plan.parking["stop"] == 1, "zone_id"]:
        assert f"\n{zone}\n" in f"\n{words}\n"
    assert "slipper" not in words


def test_legend_of_the_access_sheet_tells_out_of_reach_from_elevation_not_known(toy_plan: Plan) -> None:
    hole = box(-400, 100, -300, 200)  # within the stands
    layer = toy_plan.access.assign(geometry=toy_plan.access.geometry.difference(hole))
    found = gpd.GeoDataFrame(
        {"access": ["out_of_reach"], "reached_by": [""], "limit": ["unknown"], "hose_only": [False]},
        geometry=[hole],
        crs=layer.crs,
    )
    plan = dataclasses.replace(toy_plan, access=pd.concat([layer, found], ignore_index=True))
    rows = {row.text: row.figure for row in access_rows(plan)}
    assert rows["elevation not known: not reached"] == "2.47 ac"  # a hectare
    alone = layer.set_index("access").geometry["out_of_reach"].intersection(toy_plan.stands.union_all()).area
    assert rows["out of reach"] == f"{alone / 4046.8564224:.2f} ac"
    assert words_on(access_figure(plan)).count("elevation not known") == 1
    assert "elevation not known" not in words_on(access_figure(toy_plan))
    assert "elevation not known" in words_on(overview_figure(plan))
    away = found.set_geometry([box(9000, 9000, 9100, 9100)], crs=layer.crs)  # off the sheet: nothing to explain
    far = dataclasses.replace(toy_plan, access=pd.concat([layer, away], ignore_index=True))
    assert "elevation not known" not in words_on(overview_figure(far)) + words_on(access_figure(far))


def test_chart_of_limits_is_small_legible_and_holds_the_acres_of_each_reason(toy_plan: Plan) -> None:
    figure = access_limits_figure(toy_plan)
    figure.canvas.draw()
    words, texts = words_on(figure), figure.axes[0].texts
    table = toy_plan.limits[toy_plan.limits["limit"] != ""]
    for reason, area_m2 in zip(table["limit"], table["open_m2"], strict=True):
        said = {
            "slope": "too steep to drive up or down",
            "hose_length": "farther than the hose",
            "walk": "longer than the walk",
        }
        assert f"{said[reason]}\n{area_m2 / 4046.8564224:.2f} ac" in words
    assert figure.get_size_inches()[0] < 7.4  # letter paper within the report's margins
    boxes = [text.get_window_extent() for text in texts]
    assert all(figure.bbox.x0 <= box.x0 <= box.x1 <= figure.bbox.x1 for box in boxes)
    assert not any(a.overlaps(b) for i, a in enumerate(boxes) for b in boxes[i + 1 :])
    assert min(text.get_fontsize() for text in texts) >= 9


def test_chart_of_species_shows_areas_and_ranges_to_scale(toy_plan: Plan) -> None:
    table = toy_plan.totals[toy_plan.totals["species"] != ""].copy()
    for name in ("gross", "infested"):
        table[f"{name}_low_m2"], table[f"{name}_high_m2"] = 0.9 * table[f"{name}_m2"], 1.2 * table[f"{name}_m2"]
    for totals, ranged in ((table, True), (toy_plan.totals.assign(gross_low_m2=np.nan, infested_low_m2=np.nan), False)):
        figure = species_figure(dataclasses.replace(toy_plan, totals=totals))
        figure.canvas.draw()
        ax = figure.axes[0]
        bars = [patch.get_width() for patch in ax.patches[2:]]  # after the two of the key
        wanted = table.sort_values("infested_m2", ascending=False)[["gross_m2", "infested_m2"]].to_numpy().ravel()
        assert np.array(bars) / max(bars) == pytest.approx(wanted / wanted.max())
        spans = [np.ptp([x for x, _ in lines.get_segments()[0]]) for lines in ax.collections[1:]]
        assert spans == pytest.approx([0.3 * bar for bar in bars] if ranged else [])
        acres = table["infested_m2"].max() / 4046.8564224
        said = f"{acres:.2f} ac" + (f" ({0.9 * acres:.2f} to {1.2 * acres:.2f})" if ranged else "")
        assert said in words_on(figure)
        boxes = [text.get_window_extent() for text in ax.texts]
        assert all(figure.bbox.x0 <= box.x0 <= box.x1 <= figure.bbox.x1 for box in boxes)
        assert not any(a.overlaps(b) for i, a in enumerate(boxes) for b in boxes[i + 1 :])


def test_chart_holds_long_names_and_large_figures(toy_plan: Plan) -> None:
    table = toy_plan.totals[toy_plan.totals["species"] != ""].head(1).copy()
    table["species"] = "Ampelopsis glandulosa var. brevipedunculata of a very long name"
    for name, acres in (("gross", 20_000.0), ("infested", 12_345.61)):
        for ending, factor in (("m2", 1.0), ("low_m2", 0.8), ("high_m2", 1.2)):
            table[f"{name}_{ending}"] = factor * acres * 4046.8564224
    figure = species_figure(dataclasses.replace(toy_plan, totals=table))
    figure.canvas.draw()
    ax = figure.axes[0]
    boxes = [text.get_window_extent() for text in ax.texts]
    assert all(figure.bbox.x0 <= box.x0 <= box.x1 <= figure.bbox.x1 for box in boxes)
    assert not any(a.overlaps(b) for i, a in enumerate(boxes) for b in boxes[i + 1 :])
    assert min(patch.get_width() for patch in ax.patches) > 0
    assert ax.texts[-1].get_text().startswith("12,345.61 ac")


def test_chart_without_species_says_so(empty_plan: Plan) -> None:
    assert "No species was mapped" in words_on(species_figure(empty_plan))


def test_chart_without_limits_says_so(empty_plan: Plan) -> None:
    assert "Nothing keeps infested ground" in words_on(access_limits_figure(empty_plan))


def test_legend_acres_add_up_to_the_infested_ground(toy_plan: Plan) -> None:
    rows = {row.text: row.figure for row in legend_rows(toy_plan)}
    total = float(rows["all infested ground"].removesuffix(" ac"))
    parts = [
        float(rows[name].removesuffix(" ac"))
        for name in (
            "tractor",
            "hose from an ATV",
            "on foot",
            "hand work only",
            "out of reach",
            "outside every stand",
            "no spray",
        )
    ]
    assert sum(parts) == pytest.approx(total, abs=0.03)
    assert total == pytest.approx(toy_plan.patches.union_all().area / 4046.8564224, abs=0.005)


def test_legend_lists_only_what_is_there(empty_plan: Plan) -> None:
    words = {row.text for row in legend_rows(empty_plan)}
    assert "No patch was mapped" in words
    assert not words & {"entry", "barrier", "wet ground", "tractor", "no spray zone", "way on foot only"}


def test_png_is_a_letter_sheet_and_metric_tracts_get_a4(
    toy_plan: Plan, make_plan: Callable[..., Plan], tmp_path: Path
) -> None:
    overview_png(toy_plan, tmp_path / "us.png")
    assert Image.open(tmp_path / "us.png").size == (2200, 1700)
    overview_png(make_plan(units="metric", count=3), tmp_path / "m.png")
    assert sorted(Image.open(tmp_path / "m.png").size) == [1653, 2338]  # 210 x 297 mm at 200 dpi


def test_pictures_of_a_second_process_are_the_same_bytes(toy_plan: Plan, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("invasimap.reports.apart.WORTH_CELLS", 0)
    monkeypatch.setattr("invasimap.core.second_process.processors", lambda: 2)
    monkeypatch.setattr("invasimap.reports.apart._drawn_here", lambda _plan: pytest.fail("drawn here"))
    with pictures_apart(toy_plan) as drawn:
        assert drawn() == pictures(toy_plan)


def test_pictures_are_drawn_here_where_a_second_process_fails(
    toy_plan: Plan, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    broken = tmp_path / "python3"
    broken.write_text(f"#!/bin/sh\ntouch {tmp_path}/started\nexit 3\n", encoding="utf-8")
    broken.chmod(0o755)
    monkeypatch.setattr("sys.executable", str(broken))
    monkeypatch.setattr("invasimap.reports.apart.WORTH_CELLS", 0)
    monkeypatch.setattr("invasimap.core.second_process.processors", lambda: 2)
    monkeypatch.setattr("invasimap.reports.pictures.pictures", lambda plan: {"of": plan})  # what they are: see above
    with pictures_apart(toy_plan) as drawn:
        assert drawn()["of"] is toy_plan
    assert (tmp_path / "started").exists()


def test_pictures_are_drawn_here_where_the_program_is_no_python(
    toy_plan: Plan, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("invasimap.reports.apart.WORTH_CELLS", 0)
    monkeypatch.setattr("invasimap.core.second_process.processors", lambda: 2)
    monkeypatch.setattr("sys.executable", "/nowhere/steward.exe")
    monkeypatch.setattr("subprocess.Popen", lambda *_, **__: pytest.fail("the program was started once more"))
    monkeypatch.setattr("invasimap.reports.apart._drawn_here", lambda _plan: {"overview": b"here"})
    with pictures_apart(toy_plan) as drawn:
        assert drawn() == {"overview": b"here"}


def test_tall_tract_is_set_upright(toy_plan: Plan) -> None:
    tall = toy_plan.stands.assign(geometry=toy_plan.stands.geometry.scale(0.4, 1.4, origin=(0, 0)))
    figure = overview_figure(
        dataclasses.replace(toy_plan, stands=tall, patches=toy_plan.patches.iloc[:0], entries=toy_plan.entries.iloc[:0])
    )
    assert figure.get_size_inches()[1] > figure.get_size_inches()[0]


def test_draw_overview_gives_back_the_axes(toy_plan: Plan, empty_plan: Plan) -> None:
    for plan in (toy_plan, empty_plan):
        figure = Figure(figsize=(6, 5))
        FigureCanvasAgg(figure)
        ax = figure.add_axes((0.05, 0.05, 0.9, 0.9))
        assert draw_overview(plan, ax=ax) is ax
        figure.canvas.draw()


def test_plan_is_not_changed_by_drawing(toy_plan: Plan) -> None:
    before = {name: list(getattr(toy_plan, name).columns) for name in ("stands", "patches", "protection", "ways")}
    overview_figure(toy_plan)
    assert before == {name: list(getattr(toy_plan, name).columns) for name in before}


@pytest.mark.parametrize(("x", "sign"), [(500_000.0, 1), (-500_000.0, -1)])
def test_north_leans_with_the_convergence(x: float, sign: int) -> None:
    # east of the central meridian of a conic system true north lies to the left of the map's up
    assert np.sign(north_turn_deg(CRS_M, x, 1_900_000.0)) == -sign
    assert abs(north_turn_deg(CRS_M, 0.0, 1_900_000.0)) < 1e-6


def test_stand_table_accounts_for_all_ground(toy_plan: Plan) -> None:
    table = stand_table(toy_plan)
    assert table["ground_m2"].sum() == pytest.approx(toy_plan.patches.union_all().area, rel=1e-9)
    assert table["stand"].tolist()[-1] == "(outside)"
    assert table["stand_m2"].sum() == pytest.approx(toy_plan.stands.area.sum())
    assert answers(toy_plan).infested_ground_m2 == pytest.approx(table["ground_m2"].sum())


def test_long_names_stay_on_the_sheet(toy_plan: Plan, make_plan: Callable[..., Plan]) -> None:
    plan = make_plan(name="The Very Long Name of a Preserve With Many Benefactors and Friends " * 2, count=3)
    many = plan.features.iloc[[1] * 30].assign(
        kind=[f"protected thing number {i} of a long and winding kind" for i in range(30)]
    )
    figure = overview_figure(dataclasses.replace(plan, features=many))
    figure.canvas.draw()
    boxes = [text.get_window_extent() for text in [*figure.texts, *figure.axes[1].texts] if text.get_text()]
    assert all(0 <= box.x0 <= box.x1 <= figure.bbox.x1 for box in boxes)
    title, dates = figure.texts[0].get_window_extent(), figure.texts[2].get_window_extent()
    assert not title.overlaps(dates)
    said = words_on(figure)
    missing = [i for i in range(30) if f"protected thing number {i} " not in said]
    assert len(missing) < 20 and bool(missing) == ("the rest is in mapbook.pdf, sheet 2" in said)
