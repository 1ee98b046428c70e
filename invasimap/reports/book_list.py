"""The last sheets of the map book: where every patch and parking place on its sheets is, by stand."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from matplotlib.figure import Figure

from invasimap.core.crs import to_lonlat
from invasimap.reports import map_layers
from invasimap.reports.book_frames import stand_shapes
from invasimap.reports.book_labels import stop_words
from invasimap.reports.book_layout import Book, number_words
from invasimap.reports.book_part import Box
from invasimap.reports.book_sheet import beside_words
from invasimap.reports.drawing import axes_inches, inches
from invasimap.reports.furniture import scale_words
from invasimap.reports.grid_marks import frame_box
from invasimap.reports.sheet import (
    GAP_IN,
    LINE_IN,
    MARGIN_IN,
    TITLE_IN,
    Sheet,
    bare,
    blank_sheet,
    fit,
    head_words,
    tract_bounds,
)
from invasimap.reports.style import FONT, INK, TYPE_PT
from invasimap.reports.type_set import lines_of, shortened, width_in
from invasimap.reports.usng import usng
from invasimap.reports.wording import rows_of

Column = tuple[str, ...]
MAP_IN, GUTTER_IN, MOST_COLUMNS = 1.75, 0.1, 7
LONGEST_SPECIES = 16  # letters
MOST_WITH_SPECIES = 1000  # patches; of more only ids and places, in more columns
LEAST_SHARE = 0.02  # of a patch, in a stand that lists it
HEAD = "#"  # leads a heading among the rows
SAYING = (
    "Each place is a square of 10 m in the US National Grid (MGRS). Rows give the figures within {squares}; what lies "
    "in another square has its letters too. A patch is named by one place within it."
)


def list_paper(book: Book) -> Sheet:
    """The book's paper across, with a small map."""
    long, short = sorted((book.paper.width_in, book.paper.height_in), reverse=True)
    panel = long - 2 * MARGIN_IN - GAP_IN - MAP_IN
    return Sheet(
        width_in=long, height_in=short, panel_in=panel, foot_given_in=short - 2 * MARGIN_IN - TITLE_IN - MAP_IN * 1.2
    )


def list_pages(book: Book) -> tuple[tuple[tuple[Column, ...], ...], str]:
    """The columns of each sheet of places, and the square of the grid that their figures are within.

    None where no sheet of a stand shows a patch or a parking place.
    """
    patches, spots = _places(book)
    square = _square(spots)
    groups = [(head, rows) for head, rows in _groups(book, patches, spots, square) if rows]
    if not groups:
        return (), square
    paper = list_paper(book)
    count = _columns(paper, (row for _, rows in groups for row in rows))
    deep = int((paper.panel_box_in[3] - paper.panel_box_in[1]) / LINE_IN) - 1
    columns: list[list[str]] = [[]]
    for head, rows in groups:
        if len(columns[-1]) + min(len(rows), 3) + 2 > deep:
            columns.append([])
        columns[-1] += [*([""] if columns[-1] else []), f"{HEAD}{head}"]
        for row in rows:
            if len(columns[-1]) == deep:
                columns.append([f"{HEAD}{head} (more)"])
            columns[-1].append(row)
    found = [tuple(column) for column in columns]
    return tuple(tuple(found[at : at + count]) for at in range(0, len(found), count)), square


def list_sheet(book: Book, at: int) -> tuple[Figure, Box]:
    """Draw a sheet of places (from 0); gives it with what its map shows (metres)."""
    plan, paper, columns = book.plan, list_paper(book), book.lists[at]
    figure, ax, _ = blank_sheet(paper)
    scale = fit(ax, tract_bounds(plan), shown=plan.shown)
    map_layers.draw_ways(ax, plan)
    map_layers.draw_stands(ax, plan)
    foot = figure.add_axes((
        MARGIN_IN / paper.width_in, MARGIN_IN / paper.height_in, MAP_IN / paper.width_in,
        paper.foot_in / paper.height_in,
    ))  # fmt: skip
    bare(foot)
    _, high = axes_inches(foot)
    common: dict[str, Any] = {"fontfamily": FONT, "color": INK, "parse_math": False, "fontsize": TYPE_PT["small"]}
    foot.text(0, high - 0.16, scale_words(scale, plan.shown), transform=inches(foot), **common)
    said = SAYING.format(squares=book.square)
    for number, line in enumerate(lines_of(said, room_in=MAP_IN, size_pt=TYPE_PT["small"])):
        foot.text(0, high - 0.45 - LINE_IN * number, line, transform=inches(foot), **common)
    count = _columns(paper, (row for sheet in book.lists for column in sheet for row in column))
    for number, column in enumerate(columns):
        _draw_column(figure, paper, column, at=number, width_in=_column_in(paper, count))
    head_words(
        figure, paper, title="Where each patch and parking place is", subtitle=plan.settings.tract.name,
        beside=beside_words(plan, book.first + len(book.frames) + at, book.pages),
    )  # fmt: skip
    return figure, frame_box(ax)


def _draw_column(figure: Figure, paper: Sheet, column: Column, *, at: int, width_in: float) -> None:
    left, _, _, top = paper.panel_box_in
    x = (left + (width_in + GUTTER_IN) * at) / paper.width_in
    for number, row in enumerate(column):
        bold = row.startswith(HEAD)
        words = shortened(row.removeprefix(HEAD), room_in=width_in, size_pt=TYPE_PT["small"], bold=bold)
        if words:
            figure.text(
                x, (top - 0.12 - LINE_IN * number) / paper.height_in, words, fontsize=TYPE_PT["small"],
                fontweight="bold" if bold else "normal", fontfamily=FONT, color=INK, parse_math=False,
            )  # fmt: skip


def _column_in(paper: Sheet, count: int) -> float:
    return (paper.panel_in - GUTTER_IN * (count - 1)) / count


def _columns(paper: Sheet, rows: Iterable[str]) -> int:
    """As many columns as the widest row leaves."""
    wide = max((width_in(row, size_pt=TYPE_PT["small"]) for row in rows if not row.startswith(HEAD)), default=1.0)
    return max(1, min(MOST_COLUMNS, int((paper.panel_in + GUTTER_IN) / (wide + GUTTER_IN))))


def _groups(book: Book, patches: gpd.GeoDataFrame, spots: list[str], square: str) -> Iterator[tuple[str, list[str]]]:
    """Headings with their rows: of each stand its patches, then its parking places."""
    plan = book.plan
    stops = plan.parking[_on_sheets(book, plan.parking)]
    with_species = len(patches) <= MOST_WITH_SPECIES
    rows = np.array([
        _patch_row(patch, _short(spot, square), with_species=with_species)
        for patch, spot in zip(rows_of(patches), spots, strict=True)
    ])  # fmt: skip
    taken = np.zeros(len(patches), bool)
    stand_of = dict(zip(plan.treatment_zones["id"], plan.treatment_zones["stand"].astype(str), strict=True))
    numbers = book.numbers_of()
    for name, shape in stand_shapes(plan.stands):
        own = _growing_in(patches, shape)
        taken[own] = True
        sheet = f", sheet {number_words(numbers[name])}" if name in numbers else ""
        yield f"{'Stand ' if with_species else ''}{name}{sheet}", rows[own].tolist()
        parked = stops[np.array([stand_of.get(zone) == name for zone in stops["zone_id"]], bool)]
        places = [_short(place, square) for place in _usng(book, parked.geometry)]
        words = [stop_words(stop, plan.shown) for stop in rows_of(parked)]
        yield f"Stand {name}: parking", _parking_rows(words, places, wide=with_species)
    yield "In no stand", rows[~taken].tolist()


def _growing_in(patches: gpd.GeoDataFrame, shape: Any) -> Any:
    """Numbers of the patches of which a share worth walking to lies in a stand."""
    if not len(patches):
        return np.empty(0, int)
    near = np.sort(patches.sindex.query(shape, predicate="intersects"))
    shapes = patches.geometry.to_numpy()[near]
    return near[shapely.area(shapely.intersection(shapes, shape)) > LEAST_SHARE * shapely.area(shapes)]


def _parking_rows(words: list[str], places: list[str], *, wide: bool) -> list[str]:
    """What a parking place serves and where it is: one row, or two where the columns are narrow."""
    if wide:
        return [f"{said}  {place}" for said, place in zip(words, places, strict=True)]
    return [row for said, place in zip(words, places, strict=True) for row in (said, f"    {place}")]


def _patch_row(patch: Any, place: str, *, with_species: bool) -> str:
    genus, _, rest = str(patch.species).partition(" ")
    species = f"{genus[:1]}. {rest}" if rest else genus
    short = species if len(species) <= LONGEST_SPECIES else f"{species[: LONGEST_SPECIES - 1]}…"
    return f"{patch.id}  {place}" + (f"  {short}" if with_species else "")


def _places(book: Book) -> tuple[gpd.GeoDataFrame, list[str]]:
    """The patches on any sheet by id, and a place of each in the US National Grid."""
    patches = book.plan.patches[_on_sheets(book, book.plan.patches)]
    return patches, _usng(book, shapely.point_on_surface(patches.geometry.to_numpy()))


def _usng(book: Book, points: Any) -> list[str]:
    lons, lats = to_lonlat(book.plan.crs).transform(*shapely.get_coordinates(np.asarray(points, object)).T)
    return [usng(lat, lon) for lon, lat in zip(lons, lats, strict=True)]


def _square(places: list[str]) -> str:
    """Zone and letters of the square that holds most of the places."""
    counted = Counter(" ".join(place.split()[:2]) for place in places)
    return counted.most_common(1)[0][0] if counted else ""


def _short(place: str, square: str) -> str:
    return place.removeprefix(f"{square} ") if square else place


def _on_sheets(book: Book, layer: gpd.GeoDataFrame) -> Any:
    """Which features lie on a sheet of a stand."""
    found = np.zeros(len(layer), bool)
    if len(layer):
        boxes = shapely.box(*np.array([frame.bounds for frame in book.frames]).T)
        found[np.unique(layer.sindex.query(boxes, predicate="intersects")[1])] = True
    return found
