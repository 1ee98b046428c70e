"""A chart of the schedule: what each rig does in which week, the windows behind; weeks without work are left out."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any, Final

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from invasimap.core.legible import visible
from invasimap.prescription.plan import Plan
from invasimap.reports.drawing import axes_inches, box_path, draw_area, draw_lines, inch_text, inches
from invasimap.reports.season_sums import by_week, day_of, whole_sum
from invasimap.reports.style import FONT, INK, QUIET, SEASON, SEASON_LINE, TYPE_PT
from invasimap.reports.type_set import lines_of, width_in
from invasimap.reports.windows_chart import MONTHS
from invasimap.reports.wording import rows_of, shown_hours, technique_words

WIDE_IN, NAMES_IN, EDGE_IN, LINE_IN, KEY_IN = 6.6, 1.85, 0.08, 0.155, 0.42
HEAD_IN: Final = (0.3, 0.66)  # of dates that lie, and that stand
PAD_IN: Final = 0.02  # within a bar, each side
GAP: Final = 0.45  # of a column, where weeks without work are left out
LEAST_COLUMNS: Final = 4
MOST_LINES: Final = 4  # of names in a bar; more are counted there and named below
MOST_LISTED: Final = 34  # lines below the chart, so that it stays one sheet
SIZE_PT: Final = TYPE_PT["small"]


@dataclass(frozen=True, kw_only=True)
class Bar:
    """What a rig does of one technique in one week: column, names of zones, and the lines that stand in its bar."""

    column: int
    zones: list[str]
    lines: list[str]

    @property
    def listed(self) -> bool:
        """Whether the zones are named below the chart."""
        return " ".join(self.lines).replace(",", "").split() != self.zones


@dataclass(frozen=True, kw_only=True)
class Lane:
    """A row: a rig with its hours by column, or one of its techniques with bars and the columns its windows cover."""

    words: list[str]
    hours: dict[int, str] = field(default_factory=dict)
    bars: list[Bar] = field(default_factory=list)
    behind: list[int] = field(default_factory=list)

    @property
    def rig(self) -> bool:
        """Whether it is the head of a rig's rows."""
        return not self.bars

    @property
    def lines(self) -> int:
        """How many lines of words it is high."""
        return max([len(self.words), *(len(bar.lines) for bar in self.bars)])


@dataclass(frozen=True, kw_only=True)
class Calendar:
    """Weeks with work: their Mondays, where each column begins, and where weeks were left out; in columns."""

    mondays: list[dt.date]
    left: list[float]
    gaps: list[float]

    @property
    def width(self) -> float:
        """Of all columns and gaps; of few weeks more, so that none is very wide."""
        return max(self.left[-1] + 1, LEAST_COLUMNS)

    def upright(self, column_in: float) -> bool:
        """Whether dates have to stand upright over columns of a width."""
        return max(width_in(_date(monday), size_pt=SIZE_PT) for monday in self.mondays) + 0.06 > column_in


def calendar_of(mondays: list[dt.date]) -> Calendar:
    """The columns of some weeks.

    Examples
    --------
    >>> calendar_of([dt.date(2026, 9, 7), dt.date(2026, 9, 14), dt.date(2026, 10, 5)]).left
    [0.0, 1.0, 2.45]
    """
    left, gaps = [0.0], list[float]()
    for before, now in pairwise(mondays):
        apart = (now - before).days > 7
        if apart:
            gaps.append(left[-1] + 1 + GAP / 2)
        left.append(left[-1] + 1 + (GAP if apart else 0.0))
    return Calendar(mondays=mondays, left=left, gaps=gaps)


def lanes_of(plan: Plan, *, column_in: float) -> tuple[list[Lane], Calendar]:
    """Rows and columns of the chart, for columns of a width."""
    if not len(plan.treatment.schedule):
        return [], Calendar(mondays=[], left=[0.0], gaps=[])
    table = by_week(plan.treatment)
    table["monday"] = [day_of(monday) for monday in table["monday"]]
    calendar = calendar_of(sorted(set(table["monday"])))
    column: dict[Any, int] = {monday: number for number, monday in enumerate(calendar.mondays)}
    found: list[Lane] = []
    for rig, own in table.groupby("rig", sort=True):
        hours = {column[day]: shown_hours(whole_sum(rows["hours"])) for day, rows in own.groupby("monday")}
        found.append(Lane(words=_label(visible(str(rig)), bold=True), hours=hours))
        for _, rows in own.groupby(["technique", "visit", "visits"], sort=False):
            found.append(_lane(rows, column, calendar, column_in=column_in))
    return found, calendar


def _lane(rows: pd.DataFrame, column: dict[Any, int], calendar: Calendar, *, column_in: float) -> Lane:
    """The row of one technique and visit of a rig."""
    head = rows_of(rows)[0]
    words = _label(technique_words(head.technique), bold=False) + ([f"visit {head.visit}"] if head.visits > 1 else [])
    bars = [
        Bar(column=column[row.monday], zones=row.zones, lines=bar_lines(row.zones, column_in=column_in))
        for row in rows_of(rows)
    ]
    return Lane(words=words, bars=bars, behind=_behind(rows, calendar))


def _label(words: str, *, bold: bool) -> list[str]:
    """What stands beside a row, in lines."""
    return lines_of(words, room_in=NAMES_IN - 0.14, size_pt=SIZE_PT, bold=bold)


def bar_lines(zones: list[str], *, column_in: float) -> list[str]:
    """What stands in a bar: the names where they fit, else how many there are, else nothing.

    Examples
    --------
    >>> bar_lines(["Z001", "Z002"], column_in=1.0), bar_lines(["Z001"] * 40, column_in=1.0)
    (['Z001, Z002'], ['40'])
    >>> bar_lines(["Z001", "Z002"], column_in=0.36)
    ['Z001', 'Z002']
    """
    room = column_in - 2 * PAD_IN
    if max(width_in(f"{name},", size_pt=SIZE_PT) for name in zones) <= room:
        lines = lines_of(", ".join(zones), room_in=room, size_pt=SIZE_PT)
        if len(lines) <= MOST_LINES:
            return lines
    if max(width_in(name, size_pt=SIZE_PT) for name in zones) <= room and len(zones) <= MOST_LINES:
        return zones
    count = f"{len(zones)}"
    return [count] if width_in(count, size_pt=SIZE_PT) <= room else [""]


def _behind(rows: pd.DataFrame, calendar: Calendar) -> list[int]:
    """The columns whose weeks have a day of one of the works' windows."""
    windows = {window for own in rows["windows"] for window in own}
    return [
        number
        for number, monday in enumerate(calendar.mondays)
        if any(first <= monday + dt.timedelta(6) and monday <= last for first, last in windows)
    ]


def said_schedule(plan: Plan) -> str:
    """The chart in words, for those who do not see it."""
    lanes, calendar = lanes_of(plan, column_in=0.0)
    parts = []
    for lane in lanes:
        if lane.rig:
            hours = [f"{hours} h in the week of {calendar.mondays[at]}" for at, hours in lane.hours.items()]
            parts.append(f"{' '.join(lane.words)}: {', '.join(hours)}")
    return "; ".join(parts)


def schedule_figure(plan: Plan) -> Figure:
    """The chart as a figure of its own; below it the zones that have no room in their bars."""
    column_in = _column_in(plan)
    lanes, calendar = lanes_of(plan, column_in=column_in)
    listed = _listed(lanes, calendar)
    body_in = max(sum(_high(lane) for lane in lanes), 1.0) * LINE_IN
    list_in = (len(listed) + 1.2) * LINE_IN if listed else 0.0
    head_in = HEAD_IN[bool(lanes) and calendar.upright(column_in)]
    height = EDGE_IN + KEY_IN + head_in + body_in + list_in + 2 * EDGE_IN
    figure = Figure(figsize=(WIDE_IN, height))
    FigureCanvasAgg(figure)
    foot = list_in + 2 * EDGE_IN
    ax = figure.add_axes(
        (NAMES_IN / WIDE_IN, foot / height, (WIDE_IN - NAMES_IN - EDGE_IN) / WIDE_IN, body_in / height)
    )
    schedule_chart(plan, ax=ax)
    words = figure.add_axes((0, 0, 1, 1), zorder=-1)
    words.set_axis_off()
    _key(words, height - EDGE_IN - 0.13, gaps=bool(calendar.gaps))
    if listed:
        inch_text(words, EDGE_IN, foot - EDGE_IN - LINE_IN, "Treatment zones that are counted in a bar",
                  fontsize=SIZE_PT, fontweight="bold")  # fmt: skip
        for number, line in enumerate(listed, 2):
            inch_text(words, EDGE_IN, foot - EDGE_IN - number * LINE_IN, line, fontsize=SIZE_PT)
    return figure


def _column_in(plan: Plan) -> float:
    """The width of a week's column in a figure of its own."""
    _, calendar = lanes_of(plan, column_in=0.0)
    return (WIDE_IN - NAMES_IN - EDGE_IN) / calendar.width


def _listed(lanes: list[Lane], calendar: Calendar) -> list[str]:
    """Lines of the list below: by week and rig the techniques with the names."""
    found: dict[tuple[int, str], list[str]] = {}
    rig = ""
    for lane in lanes:
        rig = " ".join(lane.words) if lane.rig else rig
        for bar in lane.bars:
            if bar.listed:
                found.setdefault((bar.column, rig), []).append(f"{', '.join(lane.words)} in {', '.join(bar.zones)}")
    lines: list[str] = []
    for (column, rig), said in sorted(found.items()):
        words = f"{_date(calendar.mondays[column])}, {rig}: {'; '.join(said)}"
        lines += lines_of(words, room_in=WIDE_IN - 2 * EDGE_IN, size_pt=SIZE_PT)
    if len(lines) > MOST_LISTED:
        lines = [*lines[: MOST_LISTED - 1], "The rest is in the report's table, Works by week."]
    return lines


def _high(lane: Lane) -> float:
    """The height of a row in lines."""
    return lane.lines + (0.75 if not lane.rig else 0.6)


def schedule_chart(plan: Plan, *, ax: Axes | None = None) -> Axes:
    """Rigs and their techniques by week: treatment zones in bars, windows faint behind them; gives the axes back."""
    if ax is None:
        return schedule_figure(plan).axes[0]
    _, calendar = lanes_of(plan, column_in=0.0)
    column_in = axes_inches(ax)[0] / calendar.width
    lanes, _ = lanes_of(plan, column_in=column_in)
    if not lanes:
        ax.set_axis_off()
        inch_text(ax, 0.0, 0.0, "No work is planned.", color=QUIET)
        return ax
    tops = [0.0]
    for lane in lanes:
        tops.append(tops[-1] + _high(lane))
    ax.set_xlim(0, calendar.width)
    ax.set_ylim(tops[-1], 0)
    _weeks(ax, calendar, tops[-1], column_in=column_in)
    for lane, top in zip(lanes, tops[:-1], strict=True):
        _draw_lane(ax, lane, calendar, top, column_in=column_in)
    middles = [(top + foot) / 2 for top, foot in pairwise(tops)]
    ax.set_yticks(middles, ["\n".join(lane.words) for lane in lanes])
    for label, lane in zip(ax.get_yticklabels(), lanes, strict=True):
        label.set(
            fontsize=SIZE_PT, fontfamily=FONT, color=INK, parse_math=False, linespacing=LINE_IN * 72 / SIZE_PT / 1.2
        )
        label.set_fontweight("bold" if lane.rig else "normal")
    return ax


def _draw_lane(ax: Axes, lane: Lane, calendar: Calendar, top: float, *, column_in: float) -> None:
    """A row: its windows, then its bars with their words; of a rig its hours."""
    high, pad = _high(lane), PAD_IN / column_in
    for left, right in _runs(lane.behind, calendar):
        path = box_path(left, top + 0.1, right - left, high - 0.2)
        draw_area(ax, path, SEASON["behind"], zorder=1, transform=ax.transData)
    for bar in lane.bars:
        left = calendar.left[bar.column]
        path = box_path(left + 1.5 * pad / 2, top + 0.2, 1 - 1.5 * pad, high - 0.4)
        draw_area(ax, path, SEASON["work"], zorder=3, transform=ax.transData)
        _cell(ax, left + 0.5, top + high / 2, "\n".join(bar.lines))
    for column, hours in lane.hours.items():
        if width_in(hours, size_pt=SIZE_PT) <= column_in + GAP * column_in / 2:
            _cell(ax, calendar.left[column] + 0.5, top + high / 2, hours, color=QUIET)


def _runs(columns: list[int], calendar: Calendar) -> list[tuple[float, float]]:
    """From where to where the ground of a row goes: over neighbouring columns in one, across weeks left out too."""
    ends = list[tuple[float, float]]()
    for number in columns:
        left = calendar.left[number]
        joined = bool(ends) and number - 1 in columns
        ends = [*ends[:-1], (ends[-1][0], left + 1)] if joined else [*ends, (left, left + 1)]
    return ends


def _cell(ax: Axes, x: float, y: float, words: str, *, color: str = INK) -> None:
    ax.text(
        x, y, words, fontsize=SIZE_PT, fontfamily=FONT, color=color, ha="center", va="center", zorder=5,
        linespacing=LINE_IN * 72 / SIZE_PT / 1.2, parse_math=False,
    )  # fmt: skip


def _weeks(ax: Axes, calendar: Calendar, foot: float, *, column_in: float) -> None:
    """Mondays above their columns, upright where they have no room; dotted where weeks without work are left out."""
    dates = [_date(monday) for monday in calendar.mondays]
    step = max(1, round(0.16 / column_in + 0.49)) if column_in < 0.16 else 1
    ax.xaxis.tick_top()
    ax.set_xticks([left + 0.5 for left in calendar.left][::step], dates[::step])
    for label in ax.get_xticklabels():
        label.set(fontsize=SIZE_PT, fontfamily=FONT, color=INK, rotation=90 if calendar.upright(column_in) else 0)
    ax.tick_params(length=0, pad=3)
    for side in ("bottom", "right", "left"):
        ax.spines[side].set_visible(False)
    lines: Any = [[(at, 0.0), (at, foot)] for at in calendar.gaps]
    draw_lines(ax, lines, SEASON_LINE["no_work"], zorder=2, transform=ax.transData)


def _date(day: dt.date) -> str:
    return f"{day.day} {MONTHS[day.month - 1]} {day.year % 100:02d}"


def _key(ax: Axes, top_in: float, *, gaps: bool) -> None:
    """What bars, grounds and lines are."""
    at = EDGE_IN
    for name, words in (("work", "works: treatment zones, or how many"), ("behind", "windows of these works")):
        draw_area(ax, box_path(at, top_in, 0.26, 0.11), SEASON[name], zorder=2, transform=inches(ax))
        inch_text(ax, at + 0.33, top_in + 0.005, words, fontsize=SIZE_PT)
        at += 0.33 + width_in(words, size_pt=SIZE_PT) + 0.25
    if gaps:
        lines: Any = [[(at + 0.05, top_in - 0.02), (at + 0.05, top_in + 0.13)]]
        draw_lines(ax, lines, SEASON_LINE["no_work"], zorder=2, transform=inches(ax))
        inch_text(ax, at + 0.14, top_in + 0.005, "weeks without work", fontsize=SIZE_PT)
    inch_text(
        ax,
        EDGE_IN,
        top_in - 0.19,
        "Beside a rig, where there is room: hours at work of its crew together, that week.",
        fontsize=SIZE_PT,
    )
