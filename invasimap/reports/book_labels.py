"""The words on a map of the book: sheets around, parking, stands, patches and heights, clear of one another."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.patches import PathPatch

from invasimap.core.units import POINTS_PER_INCH, ShownUnits
from invasimap.prescription.plan import Plan
from invasimap.reports import map_layers
from invasimap.reports.access_map import PARKING_PT
from invasimap.reports.book_frames import SIDES, Frame, Neighbour, Side, neighbours
from invasimap.reports.book_layout import Book
from invasimap.reports.drawing import axes_inches, box_path, inches, metres_per_point
from invasimap.reports.furniture import INCH_M
from invasimap.reports.labels import FAR_REACH_PT, LabelBook
from invasimap.reports.legend import Row, unknown_rows
from invasimap.reports.style import FONT, INK, PAPER, TYPE_PT
from invasimap.reports.type_set import shortened, width_in
from invasimap.reports.wording import rows_of, whole_length

TAB_IN, TAB_HIGH_IN = 1.9, 0.19
LABEL_REACH_PT = (9.5, 14.0, 20.0)
LEAST_UP_M = 0.3  # a smaller lift is level ground
MOST_LABELS = 150  # of patches, the stand's own first; with more of its own none has one: they would only clutter
NEAR_COST, LED_COST, PARKING_COST = 0.25, 0.5, 0.02  # share of a label that may cover what it should rather not


def draw_labels(ax: Axes, here: Plan, book: Book, at: int, lines: gpd.GeoDataFrame) -> list[Row]:
    """Tabs of the sheets around, parking, stands, patches and heights; what finds no room is said, with its list."""
    labels, frame = LabelBook(ax=ax), book.frames[at]
    marks = here.parking.geometry.buffer(PARKING_PT / 2 * metres_per_point(ax))
    labels.keep_off(marks)
    draw_tabs(labels, book, at)
    without = _label_parking(labels, here, frame)
    labels.avoid(here.treatment_zones.geometry)
    labels.avoid_lines(shapely.boundary(map_layers.in_view(ax, here.protection)))
    map_layers.label_stands(labels, named_stands(here, book, at), must=False)
    left_out = label_patches(labels, here, frame)
    map_layers.label_contours(labels, lines)
    labels.draw_leaders()
    notes = unknown_rows(ax, here)
    if left_out or without:
        said = [f"{count} {what}" for count, what in ((len(left_out), "patches"), (without, "parking")) if count]
        notes.append(Row(text=f"not labelled: {', '.join(said)},", kind="note", keep=True))
        notes.append(Row(text=f"but listed on sheet {book.list_sheets}", kind="note", keep=True))
    return notes


def label_patches(labels: LabelBook, here: Plan, frame: Frame) -> list[str]:
    """Ids beside the patches, the stand's own first, largest first; then further off with a line; gives the rest."""
    labels.avoid_lines(here.stands.geometry)
    patches = here.patches[here.patches.geometry.intersects(shapely.box(*frame.bounds))]
    shapes = patches.geometry.to_numpy()
    own = shapely.intersects(shapes, frame.ground)
    order = np.lexsort([-patches["gross_m2"].to_numpy(), ~own])
    ids = patches["id"].astype(str).to_numpy()
    if own.sum() > MOST_LABELS:
        return list(ids)
    centres = shapely.get_coordinates(shapely.centroid(shapes))
    reach_pt = np.sqrt(shapely.area(shapes) / np.pi) / metres_per_point(labels.ax) + 7
    look: dict[str, Any] = {"size_pt": TYPE_PT["patch"]}
    waiting, left_out = [], ids[order[MOST_LABELS:]].tolist()
    for at in order[:MOST_LABELS]:
        spots = labels.around(tuple(centres[at]), reach_pt=reach_pt[at])
        if not labels.place(ids[at], spots, most_cost=NEAR_COST, **look):
            waiting.append(at)
    inside = shapely.get_coordinates(shapely.point_on_surface(shapes))
    for at in waiting:
        if not own[at] or not labels.place_led(ids[at], tuple(inside[at]), most_cost=LED_COST, **look):
            left_out.append(ids[at])
    return left_out


def named_stands(here: Plan, book: Book, at: int) -> Plan:
    """The stands within the frame, others than the sheet's own with the sheet they are on."""
    frame = book.frames[at]
    seen = shapely.intersection(shapely.make_valid(here.stands.geometry.to_numpy()), shapely.box(*frame.bounds))
    sheets = book.numbers_of()
    names = [
        name if name == frame.stand or name not in sheets else f"{name} (sheet {sheets[name][0]})"
        for name in here.stands["stand"].astype(str)
    ]
    stands = here.stands.assign(stand=names).set_geometry(seen, crs=here.crs)
    room = shapely.area(seen) > (18 * metres_per_point_of(frame)) ** 2
    return dataclasses.replace(here, stands=stands[room])


def metres_per_point_of(frame: Frame) -> float:
    """Metres of ground in a printed point at a frame's scale."""
    return frame.scale * INCH_M / POINTS_PER_INCH


def _label_parking(labels: LabelBook, here: Plan, frame: Frame) -> int:
    """At each parking place the zone it serves, the hose it takes and how high; returns how many found no room.

    Those of the sheet's own stand choose first. A label stands clear of ways, patches and edges of stands, or not at
    all: the list has every place, and its mark stays.
    """
    left_out, before = 0, labels.obstacles
    labels.avoid_areas(map_layers.in_view(labels.ax, here.treatment_zones))
    for layer in (here.ways, here.barriers, here.stands):
        labels.avoid_lines(map_layers.in_view(labels.ax, layer))
    together: dict[tuple[float, float], list[str]] = {}
    own = set(here.treatment_zones["id"][here.treatment_zones["stand"].astype(str) == frame.stand].astype(str))
    stops = sorted(rows_of(here.parking), key=lambda stop: (stop.zone_id not in own, stop.geometry.x, stop.geometry.y))
    for stop in stops:
        together.setdefault((stop.geometry.x, stop.geometry.y), []).append(stop_words(stop, here.shown))
    for (x, y), words in together.items():
        text = "\n".join(words)
        spots = np.concatenate([labels.around((x, y), reach_pt=reach) for reach in LABEL_REACH_PT])
        placed = labels.place(text, spots, size_pt=TYPE_PT["small"], most_cost=PARKING_COST)
        placed = placed or labels.place_led(
            text, (x, y), size_pt=TYPE_PT["small"], most_cost=PARKING_COST, reach_pt=FAR_REACH_PT
        )
        left_out += 0 if placed else len(words)
    labels.obstacles = before
    return left_out


def stop_words(stop: object, shown: ShownUnits) -> str:
    """A parking place by its zone and stop, as receivers name it; the hose it takes and how high it lifts."""
    hose = whole_length(stop.hose_m, shown)  # type: ignore[attr-defined]
    up_m = float(stop.lift_m)  # type: ignore[attr-defined]
    up = f", up {whole_length(up_m, shown)}" if up_m > LEAST_UP_M else ""
    return f"{stop.zone_id}-{stop.stop}: {hose}{up}"  # type: ignore[attr-defined]


def draw_tabs(labels: LabelBook, book: Book, at: int) -> None:
    """A tab at each edge for every sheet that goes on beyond it, as many as the edge has room for."""
    wide, high = axes_inches(labels.ax)
    for side in SIDES:
        beyond = [found for found in neighbours(book.frames, at) if found.side == side]
        upright = side in ("east", "west")
        edge, clear = (high, 0.15 + TAB_HIGH_IN / 2) if upright else (wide, 0.1)  # none covers another at a corner
        texts = [_tab_text(book, found) for found in beyond]
        halves = [width_in(text, size_pt=TYPE_PT["small"]) / 2 + 0.05 for text in texts]
        middles = apart([found.along * edge for found in beyond], halves, room=(clear, edge - clear))
        for text, half, middle in zip(texts, halves, middles, strict=False):
            _draw_tab(labels, side, text, middle=middle, half=half)


def _tab_text(book: Book, found: Neighbour) -> str:
    text = f"sheet {book.number(found.frame)}: {book.frames[found.frame].name}"
    return shortened(text, room_in=TAB_IN, size_pt=TYPE_PT["small"])


def apart(
    wanted: Sequence[float], halves: Sequence[float], *, room: tuple[float, float], gap: float = 0.05
) -> list[float]:
    """Middles of tabs in their order along an edge, near where each is wanted, apart and within the room.

    Of more than the room holds those at the end are left out.

    Examples
    --------
    >>> apart([0.0, 9.9, 10.0], [1.0, 1.0, 1.0], room=(0.0, 10.0), gap=0.5)
    [1.0, 6.5, 9.0]
    """
    count, taken = 0, -gap
    while count < len(wanted) and taken + 2 * halves[count] + gap <= room[1] - room[0]:
        taken += 2 * halves[count] + gap
        count += 1
    middles, end = list[float](), room[0] - gap
    for want, half in zip(wanted[:count], halves[:count], strict=True):
        middles.append(max(want, end + gap + half))
        end = middles[-1] + half
    start = room[1] + gap
    for at in reversed(range(count)):
        middles[at] = min(middles[at], start - gap - halves[at])
        start = middles[at] - halves[at]
    return middles


def _draw_tab(labels: LabelBook, side: Side, text: str, *, middle: float, half: float) -> None:
    """One tab, its middle so far along its edge in inches."""
    ax = labels.ax
    wide, high = axes_inches(ax)
    upright = side in ("east", "west")
    spot = {
        "north": (middle, high - 0.1), "south": (middle, 0.1), "east": (wide - 0.1, middle), "west": (0.1, middle),
    }[side]  # fmt: skip
    reach = (TAB_HIGH_IN / 2, half) if upright else (half, TAB_HIGH_IN / 2)
    ax.add_artist(PathPatch(
        box_path(spot[0] - reach[0], spot[1] - reach[1], 2 * reach[0], 2 * reach[1]), facecolor=INK, edgecolor=PAPER,
        linewidth=0.8, transform=inches(ax), zorder=16,
    ))  # fmt: skip
    ax.text(
        *spot, text, transform=inches(ax), fontsize=TYPE_PT["small"], fontfamily=FONT, color=PAPER, ha="center",
        va="center", rotation=90 if upright else 0, zorder=17, parse_math=False,
    )  # fmt: skip
    corners = inches(ax).transform(np.array([spot, spot]) + np.array([[-1], [1]]) * reach)
    labels.taken.append(tuple(corners.ravel().tolist()))
