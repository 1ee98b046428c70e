"""The map book: which sheets, where they lie, and what an independent reader finds on the printed pages."""

from __future__ import annotations

import dataclasses
import datetime as dt
import io
import itertools
import json
import os
import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import geopandas as gpd
import mgrs
import numpy as np
import pandas as pd
import pikepdf
import pytest
import shapely
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from PIL import Image
from pyproj import CRS, Transformer

from invasimap.core.book_settings import EmergencySection, MapbookSection
from invasimap.core.crs import working_crs
from invasimap.core.errors import InputError
from invasimap.core.toml_file import read_tract
from invasimap.prescription.plan import Plan
from invasimap.reports.book import laid_out, mapbook_pdf, sheets
from invasimap.reports.book_frames import COMFORTABLE, OVERLAP_IN, Frame, frames, needed_first, neighbours
from invasimap.reports.book_index import index_sheet, sheet_list, stand_names
from invasimap.reports.book_key import Block, flowed, key_pages, legend_parts
from invasimap.reports.book_labels import draw_tabs
from invasimap.reports.book_layout import Book, ListRow
from invasimap.reports.book_legend import sheet_rows
from invasimap.reports.book_list import list_sheet
from invasimap.reports.book_part import part
from invasimap.reports.book_sheet import stand_sheet
from invasimap.reports.emergency import SIZES_PT, EmergencyBlock, emergency_block, emergency_rows
from invasimap.reports.grid_marks import grid_words, zone_edges
from invasimap.reports.labels import LabelBook
from invasimap.reports.legend import Row, feature_rows, set_legend
from invasimap.reports.norths import convergence_deg, declination_deg, north_lines, norths
from invasimap.reports.pdf_words import take_words
from invasimap.reports.style import FEATURE_AREA, FONT, LINE, feature_marks
from invasimap.reports.type_set import LINE_SPACING, width_in
from invasimap.reports.usng import grid_over, usng, utm_crs

CRS_M = working_crs(-80.5, 38.2)
MAP_IN = (7.0, 6.0)
INCH_M = 0.0254


def layer(**shapes: Any) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame({"stand": list(shapes)}, geometry=list(shapes.values()), crs=CRS_M)


def tool(*command: object) -> bytes:
    """What a program of Debian's says; the test is skipped where it is not at hand, unless PDF_TOOLS=required."""
    if shutil.which(str(command[0])) is None and os.environ.get("PDF_TOOLS") != "required":
        pytest.skip(f"{command[0]} is not installed")
    return subprocess.run([str(part) for part in command], check=True, capture_output=True).stdout


@pytest.fixture(scope="module")
def printed(toy_plan: Plan, tmp_path_factory: pytest.TempPathFactory) -> SimpleNamespace:
    """The toy tract's book as a file, with what each page was meant to show."""
    file = tmp_path_factory.mktemp("book") / "mapbook.pdf"
    file.write_bytes(mapbook_pdf(toy_plan))
    book = laid_out(toy_plan)
    return SimpleNamespace(file=file, book=book)


# ---- which sheets -----------------------------------------------------------------------------------------


def test_a_stand_takes_the_largest_scale_that_holds_it() -> None:
    # 7.0 x 6.0 in at 1:1,200 are 213 x 183 m; a sheet's room for the stand is 0.12 in less on each side
    small, wide = shapely.box(0, 0, 100, 80), shapely.box(0, 0, 210, 80)
    found = frames(layer(small=small, wide=wide), map_in=MAP_IN, scales=COMFORTABLE["ft"])
    assert {frame.name: frame.scale for frame in found} == {"small": 1200, "wide": 2400}
    for frame in found:
        left, bottom, right, top = frame.bounds
        assert (right - left, top - bottom) == pytest.approx([size * INCH_M * frame.scale for size in MAP_IN])
    first = next(frame for frame in found if frame.name == "small")
    assert ((first.bounds[0] + first.bounds[2]) / 2, (first.bounds[1] + first.bounds[3]) / 2) == (50, 40)


def test_a_stand_too_big_for_one_sheet_is_cut_into_cells_that_overlap_and_leave_nothing_out() -> None:
    stand = shapely.box(0, 0, 2000, 1200)  # at 1:4,800 a sheet shows 853 x 732 m
    found = frames(layer(**{"3": stand}), map_in=MAP_IN, scales=COMFORTABLE["ft"])
    assert [frame.name for frame in found] == ["3-A1", "3-A2", "3-A3", "3-B1", "3-B2", "3-B3"]
    assert {frame.scale for frame in found} == {4800}
    boxes = [shapely.box(*frame.bounds) for frame in found]
    assert shapely.area(shapely.difference(stand, shapely.union_all(boxes))) == 0
    by_name = dict(zip([frame.name for frame in found], boxes, strict=True))
    assert by_name["3-A1"].centroid.y > by_name["3-B1"].centroid.y  # rows from the north, columns from the west
    assert by_name["3-A1"].centroid.x < by_name["3-A2"].centroid.x
    least_m = OVERLAP_IN * INCH_M * 4800
    for pair in (("3-A1", "3-A2"), ("3-A2", "3-A3")):
        left, _, right, _ = shapely.intersection(*(by_name[name] for name in pair)).bounds
        assert right - left >= least_m - 1e-6


def test_cells_without_ground_of_the_stand_are_left_out() -> None:
    bent = shapely.union_all([shapely.box(0, 0, 2000, 300), shapely.box(0, 0, 300, 1200)])  # an L: nothing north-east
    found = frames(layer(**{"3": bent}), map_in=MAP_IN, scales=COMFORTABLE["ft"])
    assert [frame.name for frame in found] == ["3-A1", "3-B1", "3-B2", "3-B3"]


def test_neighbours_are_the_sheets_that_go_on_beyond_each_edge() -> None:
    side = 600.0  # at 1:4,800 nothing of the next stand's middle is on the sheet, and each stand fits
    four = {f"{row}{column}": (column, row) for row in (0, 1) for column in (0, 1)}
    stands = {name: shapely.box(x * side, y * side, (x + 1) * side, (y + 1) * side) for name, (x, y) in four.items()}
    found = frames(layer(**stands), map_in=MAP_IN, scales=(4800,))
    names = [frame.name for frame in found]
    around = {(item.side, names[item.frame]) for item in neighbours(found, names.index("00"))}
    # "00" is the south-western: "01" east of it, "10" north, "11" beyond both corners
    assert {("north", "10"), ("east", "01"), ("north", "11"), ("east", "11")} == around
    north = [item for item in neighbours(found, names.index("00")) if item.side == "north"]
    assert [names[item.frame] for item in sorted(north, key=lambda item: item.along)] == ["10", "11"]


def test_cells_of_one_stand_name_one_another() -> None:
    found = frames(layer(**{"3": shapely.box(0, 0, 2000, 1200)}), map_in=MAP_IN, scales=(4800,))
    names = [frame.name for frame in found]
    around = {(item.side, names[item.frame]) for item in neighbours(found, names.index("3-B2"))}
    assert {("north", "3-A2"), ("west", "3-B1"), ("east", "3-B3")} <= around
    assert not any(side == "south" for side, _ in around)


def test_a_lone_stand_has_no_neighbours() -> None:
    found = frames(layer(only=shapely.box(0, 0, 100, 100)), map_in=MAP_IN, scales=(1200,))
    assert neighbours(found, 0) == []


def forty_stands() -> gpd.GeoDataFrame:
    boxes = {
        f"{i + 1}": shapely.box(300 * (i % 8), 300 * (i // 8), 300 * (i % 8 + 1), 300 * (i // 8 + 1)) for i in range(40)
    }
    return layer(**boxes)


def test_forty_stands_are_forty_sheets_listed_in_full(toy_plan: Plan) -> None:
    plan = dataclasses.replace(toy_plan, stands=forty_stands())
    book = laid_out(plan)
    assert [frame.name for frame in book.frames] == [str(number) for number in range(1, 41)]
    assert book.number(39) == 40 + 1 + len(key_pages(book)) == book.pages - len(book.lists)
    said = [line for page in key_pages(book) for column in page for block in column for line in block.lines]
    for numbers, stand, _ in sheet_list(book):
        assert any(line.startswith(f"{numbers}: stand {stand}, ") for line in said)
    check_sheet(index_sheet(book)[0])


def test_tabs_of_the_sheets_around_lie_on_no_other(toy_plan: Plan) -> None:
    book = laid_out(dataclasses.replace(toy_plan, stands=forty_stands()))
    for at in range(40):
        figure = Figure(figsize=(8, 6))
        FigureCanvasAgg(figure)
        labels = LabelBook(ax=figure.add_axes((0.05, 0.05, 0.9, 0.9)))
        draw_tabs(labels, book, at)
        tabs = [shapely.box(*box) for box in labels.taken]
        assert len(tabs) == len(neighbours(book.frames, at)) >= 2
        assert not any(shapely.intersects(*pair) for pair in itertools.combinations(tabs, 2)), at


def test_words_that_do_not_fit_a_column_go_on_in_the_next() -> None:
    long = Block(heading="long", lines=tuple(str(number) for number in range(100)))
    pages = flowed([long, Block(heading="short", lines=("end",))], first_in=2.0, column_in=6.0)
    said = [line for page in pages for column in page for block in column for line in block.lines]
    assert said == [*long.lines, "end"]
    columns = [column for page in pages for column in page]
    assert all(sum(block.height_in for block in column) <= 6.0 + 1e-9 for column in columns)
    assert sum(block.height_in for block in columns[0]) <= 2.0


def test_settings_give_one_scale_and_the_paper(toy_plan: Plan) -> None:
    wanted = MapbookSection.model_validate({"scale": "1:2,400", "paper": "a4"})
    settings = toy_plan.settings.model_copy(update={"mapbook": wanted})
    book = laid_out(dataclasses.replace(toy_plan, settings=settings))
    assert {frame.scale for frame in book.frames} == {2400}
    assert sorted([book.paper.width_in, book.paper.height_in]) == pytest.approx([210 / 25.4, 297 / 25.4])
    assert {round(frame.bounds[2] - frame.bounds[0], 6) for frame in book.frames} == {
        round(book.paper.map_in[0] * INCH_M * 2400, 6)
    }


@pytest.mark.parametrize("scale", ["2400", "1:24", "1:2,40", "about 1:2400"])
def test_a_scale_that_is_none_is_refused_with_an_example(tmp_path: Path, toy_plan: Plan, scale: str) -> None:
    text = toy_plan.settings.file.read_text(encoding="utf-8")
    file = tmp_path / "tract.toml"
    file.write_text(f'{text}\n[mapbook]\nscale = "{scale}"\n', encoding="utf-8")
    with pytest.raises(InputError, match=r"scale"):
        read_tract(file)


# ---- norths and grid --------------------------------------------------------------------------------------


def test_declination_is_the_models() -> None:
    # WMM2025 at 39 N 86.5 W, 0.2 km: -4.668 deg in 2025.82, -0.040 deg a year
    here = {"lon": -86.5, "lat": 39.0, "height_km": 0.2}
    then, later = (declination_deg(**here, year=year) for year in (2025.82, 2026.82))
    assert then is not None and later is not None
    assert then == pytest.approx(-4.66796459688, abs=0.02)
    assert later - then == pytest.approx(-0.0397312449608, abs=0.005)


def test_grid_north_and_the_angle_from_it_to_magnetic_north() -> None:
    utm = utm_crs(16, south=False)
    assert utm == CRS.from_epsg(32616)
    assert convergence_deg(-86.5, 39.0, grid=utm) == pytest.approx(0.314665078834, abs=0.02)
    found = norths(-86.5, 39.0, grid=utm, day=dt.date(2025, 10, 27), height_km=0.2)  # 2025.82
    assert found.grid_magnetic_deg == pytest.approx(-4.98262967572, abs=0.02)
    said = " ".join(north_lines(found))
    assert "4.5° W of true, 5° W of grid north" in said and "WMM2025" in said and "2025-10-27" in said


@pytest.mark.parametrize("year", [2024, 2030, 2031])
def test_declination_is_not_known_outside_the_models_years(year: int) -> None:
    found = norths(-86.5, 39.0, grid=utm_crs(16, south=False), day=dt.date(year, 1, 2))
    assert found.declination_deg is None and found.grid_magnetic_deg is None
    assert "not known" in north_lines(found)[0]
    assert not any("W of" in line for line in north_lines(found))


def test_national_grid_is_cut_and_never_rounded() -> None:
    assert usng(39.0, -86.5, digits=5) == "16S EJ 43295 16895"
    assert usng(39.0, -86.5, digits=4) == "16S EJ 4329 1689"
    assert usng(39.0, -86.5, digits=3) == "16S EJ 432 168"


@pytest.mark.parametrize(("scale", "spacing"), [(1200, 100), (4800, 100), (12_000, 500), (24_000, 1000)])
def test_grid_lines_lie_where_their_figures_say(scale: int, spacing: int) -> None:
    half = 0.08 * scale
    grid = grid_over((-half, -half, half, half), CRS_M, scale=scale)
    assert grid is not None and grid.spacing_m == spacing
    to_utm = Transformer.from_crs(CRS_M, "EPSG:32617", always_xy=True)
    assert {line.counts for line in grid.lines} == {"easting", "northing"}
    for line in grid.lines:
        values = to_utm.transform(*line.course.T)[0 if line.counts == "easting" else 1]
        assert np.abs(values - line.value_m).max() < 0.1
        assert line.value_m % spacing == 0
    lon, lat = Transformer.from_crs(CRS_M, 4326, always_xy=True).transform(0, 0)
    assert mgrs.MGRS().toMGRS(lat, lon).startswith(f"{grid.zone}{grid.squares[0]}")


def test_a_zone_change_on_a_sheet_is_said_and_drawn(toy_plan: Plan) -> None:
    crs = working_crs(-84.0, 38.2)  # 84 W is between zones 16 and 17
    frame = (-300.0, -300.0, 300.0, 300.0)
    grid = grid_over(frame, crs, scale=3600)
    assert grid is not None and {int(grid.zone[:-1]), *grid.other_zones} == {16, 17}
    assert any("ZONE CHANGES" in line for line in grid_words(grid))
    figure = Figure()
    ax = figure.add_axes((0, 0, 1, 1))
    ax.set(xlim=(-300, 300), ylim=(-300, 300))
    edges = zone_edges(ax, dataclasses.replace(toy_plan, crs=crs))
    lon, _ = Transformer.from_crs(crs, 4326, always_xy=True).transform(*shapely.get_coordinates(edges).T)
    assert lon == pytest.approx(-84.0, abs=1e-6)
    inner = grid_over(frame, CRS_M, scale=3600)
    assert inner is not None and not any("ZONE" in line for line in grid_words(inner))


# ---- the drawn sheets -------------------------------------------------------------------------------------


def check_sheet(figure: Figure, *, least_pt: float = 8.0) -> None:
    """Nothing leaves the paper or is smaller than 8 pt, and no words lie on others."""
    figure.canvas.draw()
    page = figure.bbox
    texts = [*figure.texts, *(text for ax in figure.axes for text in ax.texts if text.get_text())]
    boxes = [text.get_window_extent() for text in texts]
    for text, box in zip(texts, boxes, strict=True):
        assert page.x0 <= box.x0 <= box.x1 <= page.x1, text.get_text()
        assert page.y0 <= box.y0 <= box.y1 <= page.y1, text.get_text()
        assert text.get_fontsize() >= least_pt, text.get_text()
    inner = [box.padded(-1.0) for box in boxes]  # pixels at 200 dpi: bounds of turned or tall words may touch
    on = [
        (texts[a].get_text(), texts[b].get_text())
        for a, b in itertools.combinations(range(len(texts)), 2)
        if inner[a].overlaps(inner[b])
    ]
    assert on == []


def words_on(figure: Figure) -> str:
    return "\n".join(text.get_text() for text in [*figure.texts, *(t for ax in figure.axes for t in ax.texts)])


def test_words_of_every_sheet_keep_clear_of_one_another(toy_plan: Plan) -> None:
    for figure, _ in sheets(laid_out(toy_plan)):
        check_sheet(figure)


def test_a_sheet_says_what_a_crew_needs(toy_plan: Plan) -> None:
    book = laid_out(toy_plan)
    for at, frame in enumerate(book.frames):
        words = words_on(stand_sheet(book, at)[0])
        for text in (
            f"Sheet {book.number(at)}: stand {frame.name}", f"of {book.pages}", "2025-06-03 to 2025-07-11",
            "2025-11-03", "not a survey", "product label is the law", f"1:{frame.scale:,}", "2 in when printed",
            "UTM zone 17", "17S NC", "WMM2025", "25 / 75 ft" if "perennial stream" in words else "stand",
        ):  # fmt: skip
            assert text in words, text
        assert "slipper" not in words
        for item in neighbours(book.frames, at):
            assert f"sheet {book.number(item.frame)}: " in words


def test_parking_places_say_zone_hose_and_lift(toy_plan: Plan) -> None:
    book = laid_out(toy_plan)
    first = toy_plan.parking.iloc[0]  # 91.44 m of hose, 3.1 m up: 300 ft and, rounded up, 11 ft
    said = [words_on(stand_sheet(book, at)[0]) for at in range(len(book.frames))]
    assert any(f"{first.zone_id}-{first.stop}: 300 ft, up 11 ft" in words for words in said)


def test_parking_labels_keep_clear_of_ways_patches_and_leaders_or_go_to_the_list(toy_plan: Plan) -> None:
    way = max(shapely.get_parts(toy_plan.ways.geometry.to_numpy()), key=shapely.length)
    spots = [shapely.line_interpolate_point(way, share, normalized=True) for share in np.linspace(0.05, 0.95, 40)]
    rows = toy_plan.parking.iloc[[0] * 40].assign(stop=range(1, 41)).set_geometry(spots, crs=toy_plan.crs)
    book = laid_out(dataclasses.replace(toy_plan, parking=rows))
    ways, grown = (
        shapely.union_all(np.asarray(a, object)) for a in (toy_plan.ways.geometry, book.plan.patches.geometry)
    )
    named = 0
    for at, frame in enumerate(book.frames):
        figure = stand_sheet(book, at)[0]
        figure.canvas.draw()
        ax = figure.axes[0]
        stops = [text for text in ax.texts if re.match(r"\S+-\d+: ", text.get_text())]
        for text in stops:
            (x0, y0), (x1, y1) = ax.transData.inverted().transform(text.get_window_extent())
            box = shapely.box(x0, y0, x1, y1)
            assert shapely.length(shapely.intersection(box, ways)) < 0.3 * (y1 - y0), text.get_text()
            assert shapely.intersection(box, grown).area < 0.1 * box.area, text.get_text()
        shown = int(rows.intersects(shapely.box(*frame.bounds)).sum())
        named += len(stops)
        missing = shown - len(stops)
        assert (f"{missing} parking" in words_on(figure)) == (missing > 0)
    assert named > 20


def test_without_emergency_settings_there_are_lines_to_fill_in_and_no_number(toy_plan: Plan) -> None:
    book = laid_out(toy_plan)
    figure = next(itertools.islice(sheets(book), 1, None))[0]
    words = words_on(figure)
    assert "fill in before going out" in words
    for row in ("emergency number", "hospital", "poison centre", "spill: steps", "last resort, leave by"):
        assert row in words
    assert not re.search(r"\b\d{3}[ -]\d{3}[ -]?\d{4}\b|\b911\b|\b112\b", words)


def test_emergency_settings_are_printed_as_they_are_typed(toy_plan: Plan) -> None:
    said = {"contact": "Pat, channel 4", "labels_at": "red box, truck 2", "hospital": "Example General"}
    settings = toy_plan.settings.model_copy(update={"emergency": EmergencySection(**said)})
    book = laid_out(dataclasses.replace(toy_plan, settings=settings))
    words = words_on(stand_sheet(book, 0)[0])
    for text in said.values():
        assert text in words


LONG = " ".join(f"step{number:02d} {'WATER' if number % 2 else 'tell'}" for number in range(36))[:400]


def with_emergency(plan: Plan, **said: str) -> Plan:
    settings = plan.settings.model_copy(update={"emergency": EmergencySection(**said)})
    return dataclasses.replace(plan, settings=settings)


def test_long_emergency_texts_lose_no_letter(toy_plan: Plan, tmp_path: Path) -> None:
    said = {
        "hospital": LONG, "contact": "Pat\nchannel 4\nthen channel 17",
        "leave_by": "downhill to the county road, then north along it to the bridge at the mill",
    }  # fmt: skip
    plan = with_emergency(toy_plan, **said, labels_at="W" * 90, spill_steps=LONG[::-1])
    plan = dataclasses.replace(plan, stands=plan.stands.iloc[:1])
    book, file = laid_out(plan), tmp_path / "read.pdf"
    file.write_bytes(mapbook_pdf(plan))
    pages = [page.split() for page in tool("pdftotext", file, "-").decode().split("\f")[:-1]]
    wanted = {word for text in said.values() for word in text.split()}
    for page in (pages[0], pages[book.first - 1]):  # the index and the stand's sheet
        assert wanted <= set(page)
        assert sum(len(word) for word in page if set(word) == {"W"} and len(word) > 1) == 90
    assert wanted | set(LONG[::-1].split()) <= set().union(*pages[1 : book.first - 1])  # the sheets of words: every row
    for figure, _ in itertools.islice(sheets(book), book.first):
        check_sheet(figure, least_pt=6.5)
        assert "…" not in words_on(figure)


def test_the_emergency_block_grows_before_its_type_goes_down() -> None:
    def laid(text: str, most_in: float) -> EmergencyBlock:
        return emergency_block({"contact": text}, entry="entry", wide_in=3.0, most_in=most_in)

    short, long = laid("Pat", 2.0), laid(LONG, 4.0)
    assert long.size_pt == short.size_pt == 8.0 and long.height_in > short.height_in
    squeezed = laid(LONG, 0.5)  # no size serves: the smallest, and all of it
    assert squeezed.size_pt == min(SIZES_PT) >= 6.5
    for block in (long, squeezed):
        (cell,) = block.columns[0]
        assert " ".join(cell.lines).split() == LONG.split()
        assert all(width_in(line, size_pt=block.size_pt, bold=True) <= 3.0 for line in cell.lines)


def test_whatever_is_typed_for_an_emergency_is_on_every_sheet() -> None:
    said = {"spill_steps": "dam it, call", "gate": "south", "hospital": "County", "hospital_phone": "5550100"}
    rows = emergency_rows(EmergencySection(**said))
    assert rows["spill: steps"] == "dam it, call" and rows["gate"] == "south" and rows["hospital"] == "County, 5550100"
    assert "hospital phone" not in rows and "radio, phone signal" not in rows and rows["contact, radio"] == ""


def test_letters_that_the_font_lacks_are_boxes_that_can_be_searched(toy_plan: Plan, tmp_path: Path) -> None:
    tract = toy_plan.settings.tract.model_copy(update={"name": "Hollow \u68ee \U0001f33f\t\x1b wood"})
    plan = with_emergency(toy_plan, leave_by="over \u68ee")
    settings = plan.settings.model_copy(update={"tract": tract})
    plan = dataclasses.replace(plan, settings=settings, stands=plan.stands.iloc[:1])
    (tmp_path / "read.pdf").write_bytes(mapbook_pdf(plan))
    said = tool("pdftotext", tmp_path / "read.pdf", "-").decode()
    assert "Hollow \u68ee \U0001f33f" in said and "over \u68ee" in said


def test_the_longest_emergency_rows_leave_room_for_the_map(toy_plan: Plan) -> None:
    rows = ("emergency_number", "contact", "road_address", "hospital", "poison_centre_phone", "labels_at")
    for text in ("W" * 249, "\n".join(["W" * 40] * 6)):
        book = laid_out(with_emergency(toy_plan, **dict.fromkeys(rows, text)))
        frame = book.frames[0]
        assert (frame.bounds[3] - frame.bounds[1]) / frame.scale / 0.0254 > 3.0  # inches of paper


@pytest.mark.parametrize(
    ("said", "fault"),
    [({"contact": "a\n" * 300}, "300 lines"), ({"contact": "  \n "}, "says nothing"),
     (dict.fromkeys(("contact", "gate", "hospital"), "W" * 501), "1,503 letters")],
)  # fmt: skip
def test_emergency_rows_that_leave_no_map_are_refused(said: dict[str, str], fault: str) -> None:
    with pytest.raises(ValueError, match=fault):
        EmergencySection(**said)


def test_an_emergency_text_past_the_limit_is_refused(tmp_path: Path, toy_plan: Plan) -> None:
    text = toy_plan.settings.file.read_text(encoding="utf-8")
    file = tmp_path / "tract.toml"
    file.write_text(f'{text}\n[emergency]\ncontact = "{"x" * 601}"\n', encoding="utf-8")
    with pytest.raises(InputError, match=r"contact.*600"):
        read_tract(file)


@pytest.mark.parametrize(
    ("text", "bold"), [("Emergency: fill in", False), ("WWW mmm 123", True), ("Größe çé ½", False)]
)
def test_widths_of_type_are_what_a_figure_measures(text: str, bold: bool) -> None:
    figure = Figure(dpi=720)
    FigureCanvasAgg(figure)
    look: dict[str, Any] = {"fontfamily": "DejaVu Sans", "fontweight": "bold" if bold else "normal"}
    drawn = figure.text(0, 0, text, fontsize=8, **look).get_window_extent().width / 720
    assert width_in(text, size_pt=8.0, bold=bold) == pytest.approx(drawn, rel=0.02)


# ---- labels, lists, legends and limits --------------------------------------------------------------------


@pytest.fixture(scope="module")
def crowded(toy_plan: Plan) -> Plan:
    """The toy tract with sixty small patches in a huddle in its first stand."""
    inner = toy_plan.stands.geometry.iloc[0].representative_point()
    centres = [(inner.x + 9 * (i % 10), inner.y + 9 * (i // 10)) for i in range(60)]
    rows = toy_plan.patches.iloc[[0] * 60].assign(id=[f"Q{i:03d}" for i in range(60)], gross_m2=28.0)
    huddle = rows.set_geometry([shapely.Point(x, y).buffer(3) for x, y in centres], crs=toy_plan.crs)
    return dataclasses.replace(toy_plan, patches=pd.concat([toy_plan.patches, huddle], ignore_index=True))


def listed(plan: Plan) -> dict[str, str]:
    rows = [row.text for page in laid_out(plan).lists for column in page for row in column]
    return {row.split()[0]: row for row in rows if row.strip()}


def test_every_patch_on_a_sheet_is_named_on_it_or_in_the_list(crowded: Plan) -> None:
    book, rows, led = laid_out(crowded), listed(crowded), 0
    for at, frame in enumerate(book.frames):
        figure = stand_sheet(book, at)[0]
        check_sheet(figure)
        words = words_on(figure)
        seen = set(crowded.patches["id"][crowded.patches.intersects(shapely.box(*frame.bounds))])
        missing = seen - set(words.split())
        assert missing <= set(rows)
        if missing:
            assert f"not labelled: {len(missing)} patches" in words and f"listed on sheet {book.list_sheets}" in words
        led += len(seen - missing)
    assert led > len(crowded.patches) / 2


def test_the_list_names_the_square_that_holds_each_patch(crowded: Plan) -> None:
    rows, square = listed(crowded), laid_out(crowded).square.replace(" ", "")
    there = Transformer.from_crs(crowded.crs, 4326, always_xy=True)
    for name, shape in zip(crowded.patches["id"], crowded.patches.geometry, strict=True):
        lat, lon = mgrs.MGRS().toLatLon(square + "".join(rows[name].split()[1:3]))
        corner = shapely.Point(there.transform(lon, lat, direction="INVERSE"))
        assert shapely.distance(shape, corner) < 15  # from its lower left corner, 10 m each way


def test_lists_follow_the_stands_and_say_their_sheets(toy_plan: Plan) -> None:
    book = laid_out(toy_plan)
    start = book.first + len(book.frames)
    assert book.pages == start - 1 + len(book.lists)
    assert book.list_sheets in (f"{start}", f"{start}-{book.pages}")
    drawn = list(sheets(book))
    said = words_on(drawn[-1][0])
    assert len(drawn) == book.pages and f"Sheet {book.pages} of {book.pages}" in said and book.square in said
    assert any(f"Stand 1, sheet {book.first}" in words_on(figure) for figure, _ in drawn[start - 1 :])


def list_rows(book: Book) -> list[ListRow]:
    return [row for page in book.lists for column in page for row in column]


def under(book: Book) -> dict[str, list[str]]:
    """The words under each heading of the list, of headings that go on over more rows in one."""
    found: dict[str, list[str]] = {}
    head, open_head = "", False
    for row in list_rows(book):
        if row.heading:
            head = f"{head} {row.text.strip()}" if open_head else row.text
        elif row.text:
            found.setdefault(head.removesuffix(" (more)"), []).append(row.text)
        open_head = row.heading
    return found


def with_ids(plan: Plan, ids: list[str]) -> Plan:
    return dataclasses.replace(plan, patches=plan.patches.assign(id=ids))


def places_in(rows: list[ListRow]) -> int:
    """How many rows hold the figures of a 10 m square."""
    return sum(bool(re.search(r"\b\d{4} \d{4}\b", row.text)) for row in rows if not row.heading)


def test_ids_that_begin_with_a_number_sign_are_listed_as_they_are(toy_plan: Plan) -> None:
    book = laid_out(with_ids(toy_plan, [f"#{name}" for name in toy_plan.patches["id"]]))
    named = {row.text.split()[0] for row in list_rows(book) if row.text and not row.heading}
    assert {f"#{name}" for name in toy_plan.patches["id"]} <= named
    figure = list_sheet(book, 0)[0]
    drawn = {text.get_text().split()[0]: text.get_fontweight() for text in figure.texts if text.get_text()}
    first = next(row.text.split()[0] for row in list_rows(book) if row.text.startswith("#"))
    assert drawn[first] == "normal"


def test_long_ids_are_listed_whole_with_their_places(toy_plan: Plan) -> None:
    ids = [f"{'L' * 70}{number:03d}{'R' * 77}" for number in range(len(toy_plan.patches))]
    book = laid_out(with_ids(toy_plan, ids))
    joined = "".join(row.text.strip() for row in list_rows(book))
    assert all(name in joined for name in ids)
    plain = laid_out(toy_plan)
    assert places_in(list_rows(book)) == places_in(list_rows(plain))
    check_sheet(list_sheet(book, 0)[0])


def test_stands_with_long_names_are_told_apart_with_their_sheets(toy_plan: Plan) -> None:
    def long(stand: str) -> str:
        return stand if stand == "(outside)" else f"{'North Woods Management ' * 2}{stand} of the Upper River"

    plan = dataclasses.replace(
        toy_plan,
        stands=toy_plan.stands.assign(stand=toy_plan.stands["stand"].map(long)),
        treatment_zones=toy_plan.treatment_zones.assign(stand=toy_plan.treatment_zones["stand"].map(long)),
        ground=toy_plan.ground.assign(stand=toy_plan.ground["stand"].map(long)),
        acreage=toy_plan.acreage.assign(stand=toy_plan.acreage["stand"].map(long)),
    )
    book, plain = laid_out(plan), under(laid_out(toy_plan))
    heads = [re.sub(r"\s+", " ", head).replace(",", "") for head in under(book)]
    wanted = [re.match(r"Stand (\d+), sheet (.*)", head) for head in plain]
    for found in filter(None, wanted):
        assert f"Stand {long(found[1])} sheet {found[2]}" in heads
    assert len(set(heads)) == len(plain)
    check_sheet(list_sheet(book, 0)[0])


@pytest.fixture(scope="module")
def few_sheets(toy_plan: Plan) -> Plan:
    """The toy tract in forty small stands, of which one has a sheet, with a patch far off."""
    wanted = MapbookSection.model_validate({"most_sheets": 1})
    boxes = forty_stands()
    boxes = boxes.set_geometry(boxes.geometry.translate(-760, -760), crs=CRS_M)
    far = toy_plan.patches.iloc[[0]].assign(id="FAR")
    far = far.set_geometry([shapely.Point(9000, 0).buffer(9)], crs=CRS_M)
    return dataclasses.replace(
        toy_plan, settings=toy_plan.settings.model_copy(update={"mapbook": wanted}), stands=boxes,
        patches=pd.concat([toy_plan.patches, far], ignore_index=True),
    )  # fmt: skip


def test_patches_on_no_sheet_are_listed_by_stand(few_sheets: Plan) -> None:
    book = laid_out(few_sheets)
    (frame,) = book.frames
    shown = shapely.intersects(few_sheets.patches.geometry.to_numpy(), shapely.box(*frame.bounds))
    found = {re.sub(r"\s+", " ", head): " ".join(rows).split() for head, rows in under(book).items()}
    assert "FAR" in found["On no sheet: in no stand"]
    for name, shape, on in zip(few_sheets.patches["id"], few_sheets.patches.geometry, shown, strict=True):
        heads = {head for head, words in found.items() if name in words}
        assert heads and all(head.startswith("On no sheet") != on for head in heads)
        holding = few_sheets.stands["stand"][few_sheets.stands.geometry.contains(shape)]
        assert on or all(f"On no sheet: stand {stand}" in heads for stand in holding)
    stops = sum(len(rows) for head, rows in under(book).items() if head.endswith("parking"))
    assert stops == len(few_sheets.parking)


def test_a_heading_longer_than_a_column_leaves_room_for_its_rows(toy_plan: Plan) -> None:
    name = "Upper Ridge Management Unit " * 120
    named = {old: name if old == "1" else old for old in toy_plan.stands["stand"].astype(str)}
    layers = {layer: getattr(toy_plan, layer) for layer in ("stands", "treatment_zones", "ground", "acreage")}
    layers = {layer: rows.assign(stand=rows["stand"].replace(named)) for layer, rows in layers.items()}
    book = laid_out(dataclasses.replace(toy_plan, **layers))
    for at in range(len(book.lists)):
        check_sheet(list_sheet(book, at)[0])
    heads = [row.name for row in list_rows(book) if row.heading]
    assert any(head.endswith("…") for head in heads) and any("sheet 3" in head for head in heads)


def test_the_lists_map_is_as_large_with_a_patch_far_off_and_says_so(few_sheets: Plan) -> None:
    near = few_sheets.patches[few_sheets.patches["id"] != "FAR"]
    books = [laid_out(plan) for plan in (few_sheets, dataclasses.replace(few_sheets, patches=near))]
    said = [words_on(list_sheet(book, 0)[0]) for book in books]
    scales = [re.findall(r"1:[\d,]+", words) for words in said]
    assert scales[0] == scales[1] != []
    beyond = [re.search(r"(\d+) patch(?:es)?\s+lies?\s+beyond", words) for words in said]
    assert beyond[0] is not None and beyond[0][1] == "1" and beyond[1] is None


def test_very_many_patches_on_no_sheet_are_counted_and_said_where_to_find(few_sheets: Plan) -> None:
    many = few_sheets.patches.iloc[[-1] * 1200].assign(id=[f"F{number}" for number in range(1200)])
    book = laid_out(dataclasses.replace(few_sheets, patches=pd.concat([few_sheets.patches, many], ignore_index=True)))
    (frame,) = book.frames
    off = 1200 + int((~few_sheets.patches.intersects(shapely.box(*frame.bounds))).sum())
    said = {re.sub(r"\s+", " ", head): " ".join(rows).split() for head, rows in under(book).items()}
    assert " ".join(said[f"On no sheet: {off:,} more patches"]) == "see plan.gpkg, layer patches"
    assert "F7" not in {word for words in said.values() for word in words}


def test_a_plan_without_stands_has_its_patches_in_the_list(toy_plan: Plan) -> None:
    book = laid_out(dataclasses.replace(toy_plan, stands=toy_plan.stands.iloc[:0]))
    assert book.frames == []
    words = {word for row in list_rows(book) for word in row.text.split()}
    assert set(toy_plan.patches["id"]) <= words
    for figure, _ in sheets(book):
        check_sheet(figure)


@pytest.mark.parametrize("count", [14, 60])
def test_every_class_drawn_on_a_sheet_is_in_its_legend_or_where_it_goes_on(toy_plan: Plan, count: int) -> None:
    kinds = [f"protected thing {i:02d}" for i in range(count)]
    inner = toy_plan.stands.geometry.iloc[0].representative_point()
    spots = [shapely.Point(inner.x + 6 * i, inner.y) for i in range(count)]
    many = toy_plan.features.iloc[[1] * count].assign(kind=kinds).set_geometry(spots, crs=toy_plan.crs)
    plan = dataclasses.replace(toy_plan, features=pd.concat([toy_plan.features, many], ignore_index=True))
    book = laid_out(plan)
    figure = stand_sheet(book, 0)[0]
    check_sheet(figure, least_pt=6.5)
    said, stand = words_on(figure), book.frames[0].stand
    here = part(book.plan, book.frames[0].bounds, stand=stand)
    rows = sheet_rows(here, book.plan, stand, interval=book.interval, served=False)
    missing = [row.text for row in rows if row.text not in said]
    assert {row.text for row in rows} >= set(kinds)
    assert bool(missing) == ("the rest of the legend is on sheet 2" in said) == (count == 60)
    key = [words_on(figure) for figure, _ in itertools.islice(sheets(book), 1, book.first - 1)]
    assert all(any(kind in words for words in key) for kind in kinds)


def test_a_legend_past_every_size_goes_on_where_its_note_says() -> None:
    rows = [Row(text=f"class {i}", look=LINE["grid"]) for i in range(200)]
    found = set_legend(rows, width_in=2.7, height_in=4.0, rest="on sheet 2")
    texts = [row.text for line in found.lines for row in line]
    assert texts[-1] == "on sheet 2" and texts[:-1] == [row.text for row in rows[: len(texts) - 1]]
    assert found.pitch_in * len(found.lines) <= 4.0 + 1e-9
    assert [row for rows_in in legend_parts(rows, 7.0) for row in rows_in] == rows  # the sheets of words have them all
    few = set_legend(rows[:20], width_in=2.7, height_in=4.0, rest="")
    assert few.size_pt == 8.5 and [len(line) for line in few.lines] == [1] * 20


def test_notes_on_what_has_no_label_stay_where_the_legend_goes_on_elsewhere(crowded: Plan) -> None:
    inner = crowded.stands.geometry.iloc[0].representative_point()
    spots = [shapely.Point(inner.x + 3 * i, inner.y) for i in range(90)]
    kinds = [f"protected thing {i:02d}" for i in range(90)]
    many = crowded.features.iloc[[1] * 90].assign(kind=kinds).set_geometry(spots, crs=crowded.crs)
    book = laid_out(dataclasses.replace(crowded, features=pd.concat([crowded.features, many], ignore_index=True)))
    figure = stand_sheet(book, 0)[0]
    said = words_on(figure)
    assert "the rest of the legend is on sheet 2" in said
    assert re.search(r"not labelled: \d+ patches", said) and f"but listed on sheet {book.list_sheets}" in said
    check_sheet(figure, least_pt=6.5)


def test_rows_to_keep_stand_in_any_room() -> None:
    rows = [*(Row(text=f"class {i}", look=LINE["grid"]) for i in range(200)), Row(text="kept", kind="note", keep=True)]
    found = set_legend(rows, width_in=2.7, height_in=4.0, rest="on sheet 2")
    assert [row.text for line in found.lines[-2:] for row in line] == ["on sheet 2", "kept"]
    assert found.pitch_in * len(found.lines) <= 4.0 + 1e-9


def test_a_kind_has_a_row_for_each_look_in_which_it_is_drawn(toy_plan: Plan) -> None:
    area = toy_plan.features.iloc[[1]].set_geometry([shapely.Point(0, 0).buffer(20)], crs=toy_plan.crs)
    plan = dataclasses.replace(toy_plan, features=pd.concat([toy_plan.features, area], ignore_index=True))
    looks = [row.look for row in feature_rows(plan) if row.text == "well"]
    mark, colour = feature_marks(["perennial stream", "well"])["well"], LINE["feature"].color
    assert looks == [(mark, colour), FEATURE_AREA["feature"]]  # a well is a point in the toy tract
    assert [row.text for row in feature_rows(toy_plan)] == ["perennial stream", "well"]


def test_a_book_of_many_stands_has_those_with_something_to_do(toy_plan: Plan) -> None:
    wanted = MapbookSection.model_validate({"most_sheets": 5})
    settings = toy_plan.settings.model_copy(update={"mapbook": wanted})
    boxes = forty_stands()
    boxes = boxes.set_geometry(boxes.geometry.translate(-760, -760), crs=CRS_M)
    book = laid_out(dataclasses.replace(toy_plan, settings=settings, stands=boxes))
    assert len(book.frames) == 5 and len(book.left_out) == 35
    zones = toy_plan.treatment_zones
    open_ground = (zones["zone"] != "no_spray") & (zones["access"] != "out_of_reach") & (zones["stand"] != "(outside)")
    to_do = shapely.union_all(zones.geometry[open_ground].to_numpy())
    assert all(shapely.area(shapely.intersection(frame.ground, to_do)) > 0 for frame in book.frames)
    assert "index of 5 sheets; 35 more frames have none (sheet 2)" in words_on(index_sheet(book)[0])
    said = " ".join(line.strip() for page in key_pages(book) for column in page for b in column for line in b.lines)
    grown = [name for name, infested in book.left_out if infested]
    assert "at most 5 sheets" in said and "most_sheets under [mapbook]" in said
    assert all(name in re.split(r"[ ,.]+", said) for name in grown)
    assert f"without a sheet: {35 - len(grown)}." in said


def test_a_tract_with_stands_alone_has_its_book(empty_plan: Plan) -> None:
    book = laid_out(empty_plan)
    drawn = list(sheets(book))
    assert len(drawn) == book.pages == len(book.frames) + 1 + len(key_pages(book))
    words = words_on(drawn[-1][0])
    assert "no patch mapped" in words and "slope not known" in words
    check_sheet(drawn[-1][0])


def test_long_names_stay_on_their_sheet(make_plan: Callable[..., Plan]) -> None:
    plan = make_plan(name="A very long name of a tract that goes on and on " * 3)
    named = plan.stands.assign(stand="North Woods Management Unit " + plan.stands["stand"])
    plan = dataclasses.replace(plan, stands=named)
    book = laid_out(plan)
    for figure in (index_sheet(book)[0], stand_sheet(book, 0)[0]):
        check_sheet(figure)


@pytest.mark.parametrize("name", ["Nordwestwaldabteilungsgrenze", "W" * 40])
def test_a_long_name_without_spaces_is_cut_by_letters(toy_plan: Plan, name: str) -> None:
    plan = dataclasses.replace(toy_plan, stands=toy_plan.stands.assign(stand=[name, *toy_plan.stands["stand"][1:]]))
    book = laid_out(plan)
    at = [frame.stand for frame in book.frames].index(name)
    index, sheet = index_sheet(book)[0], stand_sheet(book, at)[0]
    for figure in (index, sheet):
        check_sheet(figure)
    assert stand_names(book)[name].startswith(name[:5])
    assert any(re.match(rf"{name[:4]}\w*…$", line) for line in words_on(index).splitlines())
    assert re.search(rf"^Stand {name[:4]}\w*…: ", words_on(sheet), re.M)


def test_lines_of_a_page_are_as_far_apart_as_the_library_draws_them() -> None:
    for size in (8.0, 16.0):
        figure = Figure(dpi=72)
        FigureCanvasAgg(figure)
        one, two = (
            figure.text(0.5, 0.5, text, fontsize=size, linespacing=LINE_SPACING, fontfamily=FONT).get_window_extent()
            for text in ("lp", "lp\nlp")
        )
        words = take_words(figure)
        step = words[1].at_pt[1] - words[2].at_pt[1]
        assert step == pytest.approx(1.25 * size)
        assert two.height - one.height <= step + 0.25 <= two.height - one.height + 0.1 * size + 0.5


# ---- what independent readers find on the pages ------------------------------------------------------------


def words_of(file: Path, page: int) -> list[tuple[str, np.ndarray]]:
    """Every word of a page with its box in points from the upper left, by poppler."""
    text = tool("pdftotext", "-bbox", "-f", page, "-l", page, file, "-").decode()
    found = re.findall(r'<word xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">([^<]*)</word>', text)
    return [(word, np.array([float(value) for value in box])) for *box, word in found]


def test_pages_are_letter_and_fonts_embedded(printed: SimpleNamespace) -> None:
    with pikepdf.open(printed.file) as document:
        assert len(document.pages) == printed.book.pages
        for page in document.pages:
            assert sorted(float(value) for value in page.MediaBox)[-2:] == [612, 792]
    fonts = tool("pdffonts", printed.file).decode().splitlines()[2:]
    assert fonts and all("TrueType" in line and re.search(r"yes +yes", line) for line in fonts)


def test_metric_tracts_are_printed_on_a4(make_plan: Callable[..., Plan]) -> None:
    plan = make_plan(units="metric")
    plan = dataclasses.replace(plan, stands=plan.stands.iloc[:1])
    first = mapbook_pdf(plan)
    assert first == mapbook_pdf(plan)
    with pikepdf.open(io.BytesIO(first)) as document:
        for page in document.pages:
            assert sorted(float(v) for v in page.MediaBox)[-2:] == pytest.approx([595.276, 841.890], abs=0.01)


def test_gdal_reads_the_system_and_the_corners_of_every_page(printed: SimpleNamespace, toy_plan: Plan) -> None:
    shown = [frame.bounds for frame in printed.book.frames]
    first = printed.book.first
    for page in range(1, printed.book.pages + 1):
        found = json.loads(tool("gdalinfo", "-json", f"PDF:{page}:{printed.file}"))
        read = CRS.from_wkt(found["coordinateSystem"]["wkt"])
        there = Transformer.from_crs(read, toy_plan.crs, always_xy=True)
        assert np.array(there.transform(700.0, -650.0)) == pytest.approx([700.0, -650.0], abs=1e-3)
        neatline = shapely.from_wkt(found["metadata"][""]["NEATLINE"])
        if first <= page < first + len(shown):
            assert np.array(neatline.bounds) == pytest.approx(shown[page - first], abs=1.0)
        else:
            assert neatline.covers(shapely.box(*toy_plan.stands.total_bounds))


def dark_runs_in(file: Path, page: int, *, dpi: int = 300) -> np.ndarray:
    """Lengths in inches of the unbroken dark runs along the rows of a page's right third, by poppler's raster."""
    stem = file.parent / f"page{page}"
    tool("pdftoppm", "-r", dpi, "-gray", "-f", page, "-l", page, "-singlefile", file, stem)
    grey = np.asarray(Image.open(stem.with_suffix(".pgm")))
    dark = grey[:, int(grey.shape[1] * 0.7) :] < 140
    edges = np.diff(np.pad(dark, ((0, 0), (1, 1))).astype(np.int8), axis=1)
    rows, starts = np.nonzero(edges == 1)
    lengths = np.nonzero(edges == -1)[1] - starts
    return np.unique(lengths[np.argsort(rows)]) / dpi


def test_pages_are_true_to_scale_on_paper(printed: SimpleNamespace) -> None:
    page = printed.book.first
    scale = printed.book.frames[0].scale
    runs = dark_runs_in(printed.file, page)
    assert np.abs(runs - 2.0).min() <= 0.01  # the check bar: 2 in within 0.5 %
    said = [word for word, _ in words_of(printed.file, page)]
    feet = max(
        int(word.replace(",", "")) for word, after in itertools.pairwise(said) if after == "ft" and word.isdigit()
    )
    long_in = feet * 12 / scale
    assert np.abs(runs - long_in).min() <= 0.005 * long_in + 1 / 300  # a pixel for the bar's own line
    assert f"1:{scale:,}" in said


def test_figures_of_the_grid_stand_where_the_ground_has_them(printed: SimpleNamespace, toy_plan: Plan) -> None:
    book, to_utm = printed.book, Transformer.from_crs(toy_plan.crs, "EPSG:32617", always_xy=True)
    frame: Frame = book.frames[0]
    left_pt, bottom_pt, right_pt, _ = (value * 72 for value in book.paper.map_box_in)
    found = []
    for word, box in words_of(printed.file, book.first):
        middle, from_foot = (box[0] + box[2]) / 2, book.paper.height_in * 72 - (box[1] + box[3]) / 2
        if re.fullmatch(r"\d{3}", word) and left_pt < middle < right_pt and 0 < bottom_pt - from_foot < 12:
            x = frame.bounds[0] + (middle - left_pt) / 72 * INCH_M * frame.scale
            easting, _ = to_utm.transform(x, frame.bounds[1])
            found.append((int(word), easting))
    assert len(found) >= 2
    for digits, easting in found:
        assert (easting / 100) % 1000 == pytest.approx(digits, abs=0.02)  # 2 m: a fifth of a millimetre at 1:4,800
    (first, west), (last, east) = found[0], found[-1]
    assert (east - west) == pytest.approx((last - first) * 100, rel=0.005)


def test_the_zones_of_the_legend_tell_apart_in_grey(printed: SimpleNamespace) -> None:
    page, dpi = 2, 200
    stem = printed.file.parent / "grey"
    tool("pdftoppm", "-r", dpi, "-gray", "-f", page, "-l", page, "-singlefile", printed.file, stem)
    grey = np.asarray(Image.open(stem.with_suffix(".pgm"))).astype(float)
    seen = {}
    for phrase in (("tractor",), ("hose",), ("on", "foot"), ("hand", "work"), ("out",), ("no", "spray")):
        words = words_of(printed.file, page)
        at = next(i for i, _ in enumerate(words) if tuple(w for w, _ in words[i : i + len(phrase)]) == phrase)
        box = words[at][1]
        right, middle = box[0] - 0.12 * 72, (box[1] + box[3]) / 2  # the swatch ends a tenth of an inch before its words
        rows = slice(int((middle - 3) / 72 * dpi), int((middle + 3) / 72 * dpi))
        columns = slice(int((right - 18) / 72 * dpi), int((right - 2) / 72 * dpi))
        seen[phrase] = (grey[rows, columns].mean(), grey[rows, columns].std())
    for a, b in itertools.combinations(seen.values(), 2):
        assert np.hypot(a[0] - b[0], a[1] - b[1]) > 12, seen


def test_a_short_book_has_the_stands_with_most_to_do() -> None:
    squares = [shapely.box(x, 0, x + side, side) for x, side in ((0, 100), (200, 50), (300, 80), (400, 60))]
    sheets = [
        Frame(name=str(at), stand=str(at), scale=1200, bounds=shape.bounds, ground=shape)
        for at, shape in enumerate(squares)
    ]
    to_do = [shapely.box(0, 0, 5, 5), shapely.box(200, 0, 240, 40), shapely.box(400, 0, 430, 30)]
    infested = [*to_do, shapely.box(300, 0, 380, 80)]
    assert needed_first(sheets, most=2, to_do=to_do, infested=infested) == ([1, 3], [0, 2])
    assert needed_first(sheets, most=3, to_do=to_do, infested=infested)[0] == [0, 1, 3]
