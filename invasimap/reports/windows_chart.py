"""A chart of the season: from when to when each technique fits each species, with the signs that bound it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from invasimap.core.legible import visible
from invasimap.inputs.species import load_catalogue
from invasimap.prescription.of_tract import season_at
from invasimap.prescription.plan import Plan
from invasimap.prescription.season import WORDS
from invasimap.reports.drawing import axes_inches, box_path, draw_area, draw_lines, inch_text, inches
from invasimap.reports.season_sums import day_of
from invasimap.reports.season_tables import plan_visits
from invasimap.reports.style import FONT, INK, QUIET, SEASON, SEASON_LINE, TYPE_PT
from invasimap.reports.type_set import shortened, width_in
from invasimap.reports.wording import rows_of, technique_words

WIDE_IN, NAMES_IN, EDGE_IN, ROW_IN, HEAD_IN, FOOT_IN = 6.6, 2.6, 0.08, 0.2, 0.42, 0.42
BAR: Final = 0.62  # of a row
MOST_ROWS: Final = 44  # on one sheet; the table has all
SIGNS: Final = ("native_leaf_drop", "killing_freeze")
MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
LEAST_MONTH_IN: Final = 0.36


@dataclass(frozen=True, kw_only=True)
class WindowRow:
    """A row of the chart: a species' name, or a technique and its window (None where it has none)."""

    words: str
    species: bool = False
    window: tuple[dt.date, dt.date] | None = None
    estimated: bool = False


def window_rows(plan: Plan) -> tuple[list[WindowRow], int]:
    """The rows, species by first day; and how many windows were left out, those with the least ground."""
    if not len(plan.treatment.windows):
        return [], 0
    table, several = plan.treatment.windows, plan_visits(plan.treatment)
    kept = table.sort_values("gross_m2", ascending=False, kind="stable").iloc[: _most_windows(table)]
    found: list[WindowRow] = []
    for species, own in kept.sort_index().groupby("species", sort=False):
        found.append(WindowRow(words=visible(str(species)), species=True))
        found += [
            WindowRow(
                words=technique_words(row.technique, visit=row.visit, visits=several.get(row.technique, 1)),
                window=None if pd.isna(row.first) or pd.isna(row.last) else (day_of(row.first), day_of(row.last)),
                estimated=bool(row.estimated),
            )
            for row in rows_of(own.sort_values(["first", "technique", "visit"], kind="stable"))
        ]
    return found, len(table) - len(kept)


def _most_windows(table: pd.DataFrame) -> int:
    """How many windows fit, largest ground first, each new species with a row for its name."""
    ordered = table.sort_values("gross_m2", ascending=False, kind="stable")
    rows = (1 + ~ordered["species"].duplicated()).cumsum()
    return max(int((rows <= MOST_ROWS).sum()), 1)


def said_windows(plan: Plan) -> str:
    """The chart in words, for those who do not see it."""
    rows, _ = window_rows(plan)
    parts, name = [], ""
    for row in rows:
        if row.species:
            name = row.words
        elif row.window:
            about = ", estimated" if row.estimated else ""
            parts.append(f"{name}, {row.words}: {row.window[0]} to {row.window[1]}{about}")
    return "; ".join(parts[:12]) + ("; more in the table" if len(parts) > 12 else "")


def windows_figure(plan: Plan) -> Figure:
    """The chart as a figure of its own, as high as it has rows."""
    rows, more = window_rows(plan)
    note_in = 0.2 if more else 0.0
    body_in = max(len(rows), 1) * ROW_IN
    height = EDGE_IN + HEAD_IN + 0.24 + body_in + FOOT_IN + note_in
    figure = Figure(figsize=(WIDE_IN, height))
    FigureCanvasAgg(figure)
    ax = figure.add_axes(
        (NAMES_IN / WIDE_IN, (FOOT_IN + note_in) / height, (WIDE_IN - NAMES_IN - EDGE_IN) / WIDE_IN, body_in / height)
    )
    windows_chart(plan, ax=ax)
    _key(figure, height, estimated=any(row.estimated for row in rows))
    if more:
        words = f"{more} more windows, of less ground, are in the report's table."
        _words(figure, EDGE_IN, 0.06, words, height, color=QUIET)
    return figure


def windows_chart(plan: Plan, *, ax: Axes | None = None) -> Axes:
    """Windows as bars over months, estimated ones hatched, the signs of the season as lines; gives the axes back."""
    if ax is None:
        return windows_figure(plan).axes[0]
    rows, _ = window_rows(plan)
    spans = [row.window for row in rows if row.window]
    if not spans:
        ax.set_axis_off()
        inch_text(ax, 0.0, 0.0, "No technique has a window.", color=QUIET)
        return ax
    first, last = _whole_months(min(span[0] for span in spans), max(span[1] for span in spans))
    ax.set_xlim(_x(first), _x(last))
    ax.set_ylim(len(rows), 0)
    _months(ax, first, last)
    _names(ax, rows)
    for number, row in enumerate(rows):
        if row.window:
            left, right = _x(row.window[0]), _x(row.window[1] + dt.timedelta(1))
            look = SEASON["estimated" if row.estimated else "window"]
            path = box_path(left, number + (1 - BAR) / 2, right - left, BAR)
            draw_area(ax, path, look, zorder=3, transform=ax.transData)
        elif not row.species:
            ax.text(
                _x(first), number + 0.5, " no window", fontsize=TYPE_PT["small"], fontfamily=FONT, color=QUIET,
                va="center",
            )  # fmt: skip
    _signs(ax, plan, first, last)
    return ax


def _x(day: dt.date) -> float:
    """A day on the chart's axis."""
    return float(day.toordinal())


def _whole_months(first: dt.date, last: dt.date) -> tuple[dt.date, dt.date]:
    """From the first of a month to the first of the month after."""
    after = last.replace(day=1) + dt.timedelta(32)
    return first.replace(day=1), after.replace(day=1)


def _month_starts(first: dt.date, last: dt.date) -> Iterator[dt.date]:
    day = first
    while day < last:
        yield day
        day = (day + dt.timedelta(32)).replace(day=1)


def _months(ax: Axes, first: dt.date, last: dt.date) -> None:
    """A line at each month's start, names where they have room, the year under the first of each."""
    starts = list(_month_starts(first, last))
    low, high = ax.get_ylim()
    lines: Any = [[(_x(day), low), (_x(day), high)] for day in starts]
    draw_lines(ax, lines, SEASON_LINE["month"], zorder=1, transform=ax.transData)
    step = max(1, round(LEAST_MONTH_IN * len(starts) / axes_inches(ax)[0] + 0.49))
    named = starts[::step]
    years = [day.year for day in named]
    labels = [
        f"{MONTHS[day.month - 1]}" + (f"\n{day.year}" if number == 0 or years[number - 1] != day.year else "")
        for number, day in enumerate(named)
    ]
    ax.set_xticks([_x(day) for day in named], labels)
    for label in ax.get_xticklabels():
        label.set(fontsize=TYPE_PT["small"], fontfamily=FONT, color=INK, ha="left")
    ax.tick_params(length=0, pad=3)
    for side in ("top", "right", "left"):
        ax.spines[side].set_visible(False)


def _names(ax: Axes, rows: list[WindowRow]) -> None:
    ax.set_yticks([number + 0.5 for number in range(len(rows))], [_fitting(row) for row in rows])
    for label, row in zip(ax.get_yticklabels(), rows, strict=True):
        label.set(fontsize=TYPE_PT["small"], fontfamily=FONT, color=INK, parse_math=False)
        label.set_fontstyle("italic" if row.species else "normal")


def _fitting(row: WindowRow) -> str:
    return shortened(row.words, room_in=NAMES_IN - 0.14, size_pt=TYPE_PT["small"])


def _signs(ax: Axes, plan: Plan, first: dt.date, last: dt.date) -> None:
    """The signs of every year within the chart as lines, with their names and days above it.

    Words stand on the side that has room; the sign on that side has the lower line of words, so that no line goes
    through the other's.
    """
    bare = plan.settings.model_copy(update={"window": []})  # the user's own windows name plants; signs need none
    season = season_at(bare, terrain=plan.terrain, made=plan.made.date(), catalogue=load_catalogue(None))
    for year in range(first.year, last.year + 1):
        days = {
            name: season.signs[name].on(year, rounding="later" if name == SIGNS[0] else "earlier")
            for name in SIGNS if name in season.signs
        }  # fmt: skip
        shown = sorted((day, name) for name, day in days.items() if first <= day < last)
        leftward = bool(shown) and (shown[0][0] - first) > 0.45 * (last - first)
        for level, (day, name) in enumerate(shown if leftward else reversed(shown)):
            _sign(ax, name, day, level=level, leftward=leftward, estimated=season.signs[name].estimated)


def _sign(ax: Axes, sign: str, day: dt.date, *, level: int, leftward: bool, estimated: bool) -> None:
    """A sign as a line, with its words above the chart."""
    foot, top = ax.get_ylim()
    above = top - (0.06 + 0.15 * level) * (foot - top) / axes_inches(ax)[1]
    line: Any = [[(_x(day), foot), (_x(day), above)]]
    look = SEASON_LINE[sign]
    for artist in _drawn(ax, line, look):
        artist.set_clip_on(False)
    words = f"{WORDS[sign]} {day.day} {MONTHS[day.month - 1]}" + (" (estimated)" if estimated else "")
    ax.annotate(
        words, (_x(day), above), xytext=(-3 if leftward else 3, -1), textcoords="offset points",
        annotation_clip=False, ha="right" if leftward else "left", va="bottom", fontsize=TYPE_PT["small"],
        fontfamily=FONT, color=look.color,
    )  # fmt: skip


def _drawn(ax: Axes, line: Any, look: Any) -> list[Any]:
    before = len(ax.collections)
    draw_lines(ax, line, look, zorder=4, transform=ax.transData)
    return list(ax.collections)[before:]


def _key(figure: Figure, height: float, *, estimated: bool) -> None:
    """What the bars are, in the figure's head."""
    top = height - EDGE_IN - 0.13
    samples = [("window", "from dates seen, or your own")]
    samples += [("estimated", "estimated")] if estimated else []
    ax = figure.add_axes((0, 0, 1, 1), zorder=-1)
    ax.set_axis_off()
    at = EDGE_IN
    for name, words in samples:
        draw_area(ax, box_path(at, top, 0.26, 0.11), SEASON[name], zorder=2, transform=inches(ax))
        inch_text(ax, at + 0.33, top + 0.005, words, fontsize=TYPE_PT["small"])
        at += 0.33 + width_in(words, size_pt=TYPE_PT["small"]) + 0.3


def _words(figure: Figure, left_in: float, foot_in: float, words: str, height: float, *, color: str) -> None:
    figure.text(
        left_in / WIDE_IN, foot_in / height, words, fontsize=TYPE_PT["small"], fontfamily=FONT, color=color,
        parse_math=False,
    )  # fmt: skip
