"""The emergency block: what the settings say, whole, and lines to fill in by hand for the rest.

A text that is long goes on in more lines and the block grows; only past a bound does the type go down, to a size that
is still read at arm's length. No letter is ever left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from matplotlib.axes import Axes
from matplotlib.patches import PathPatch

from invasimap.core.book_settings import EMERGENCY_WORDS, EmergencySection
from invasimap.reports.drawing import box_path, inches
from invasimap.reports.style import FONT, INK, PAPER, QUIET, TYPE_PT
from invasimap.reports.type_set import lines_of, width_in

EMERGENCY: Final = (
    "emergency_number", "contact", "road_address", "hospital", "poison_centre_phone", "labels_at", "leave_by",
)  # fmt: skip
SIZES_PT: Final = (TYPE_PT["small"], 7.25, 6.5)
ROW_IN, LINE_IN = 0.172, 0.14  # between rows, and between lines of one, at the first size
EDGE_IN, KEY_GAP_IN, INDENT_IN, LEAST_RULE_IN = 0.07, 0.1, 0.14, 0.6
FOOT_IN = 0.08


@dataclass(frozen=True, kw_only=True)
class Cell:
    """One row of the block: its words and its text in lines, none where it is to be filled in."""

    words: str
    lines: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class EmergencyBlock:
    """A block laid out for a width: nothing is left to fit when it is drawn."""

    head: str
    columns: tuple[tuple[Cell, ...], ...]
    entry: tuple[str, ...]
    wide_in: float
    size_pt: float

    @property
    def height_in(self) -> float:
        """Height of the block with its frame."""
        deepest = max((_deep(column) for column in self.columns), default=0.0)
        entry = ROW_IN + LINE_IN * (len(self.entry) - 1) if self.entry else 0.0
        return (ROW_IN + deepest + entry) * self.size_pt / SIZES_PT[0] + FOOT_IN


def emergency_rows(section: EmergencySection, keys: Iterable[str] | None = None) -> dict[str, str]:
    """The rows of an emergency block: its words, and what the settings say (empty where they say nothing).

    Without ``keys`` those of every sheet: ``EMERGENCY``, and whatever else the settings say.
    """
    said = section.model_dump()
    merged = bool(said["hospital"] and said["hospital_phone"])
    if merged:
        said["hospital"] = f"{said['hospital']}, {said['hospital_phone']}"
    if keys is None:
        others = [key for key in EMERGENCY_WORDS if key not in EMERGENCY and said[key]]
        keys = [*EMERGENCY, *(key for key in others if not (merged and key == "hospital_phone"))]
    return {EMERGENCY_WORDS[key]: said[key] or "" for key in keys}


def emergency_block(
    filled: Mapping[str, str], *, entry: str, wide_in: float, most_in: float, columns: Sequence[int] = (1,)
) -> EmergencyBlock:
    """Lay a block out: in the largest type in which it is at most ``most_in`` high, else in the smallest.

    Parameters
    ----------
    filled
        The rows by their words, in order; an empty text is a line to be filled in.
    columns
        How many columns it may have; the lowest block is taken, of equals the first.
    """
    found = None
    for size_pt in SIZES_PT:
        tried = [_block(filled, entry, wide_in=wide_in, columns=count, size_pt=size_pt) for count in columns]
        found = min(tried, key=lambda block: block.height_in)
        if found.height_in <= most_in:
            return found
    if found is None:
        raise ValueError("an emergency block has at least one column")
    return found


def draw_emergency(ax: Axes, block: EmergencyBlock, *, left_in: float, foot_in: float) -> None:
    """Draw a block with its lower left corner at a place of an axes for words."""
    height, place, by = block.height_in, inches(ax), block.size_pt / SIZES_PT[0]
    frame = box_path(left_in, foot_in, block.wide_in, height)
    ax.add_patch(PathPatch(frame, facecolor=PAPER, edgecolor=INK, linewidth=0.9, transform=place))
    common: dict[str, Any] = {
        "transform": place, "fontsize": block.size_pt, "fontfamily": FONT, "color": INK, "parse_math": False,
    }  # fmt: skip
    top, inner = foot_in + height - ROW_IN * by, left_in + EDGE_IN
    ax.text(inner, top, block.head, fontweight="bold", **common)
    wide = (block.wide_in - EDGE_IN) / len(block.columns)
    for number, column in enumerate(block.columns):
        left, at = inner + wide * number, top
        for cell in column:
            at -= ROW_IN * by
            start = left + width_in(cell.words, size_pt=block.size_pt) + KEY_GAP_IN
            ax.text(left, at, cell.words, **common)
            if not cell.lines:
                end = left + wide - EDGE_IN
                ax.plot((start, end), (at - 0.015, at - 0.015), color=QUIET, linewidth=0.5, transform=place)
            for line, text in enumerate(cell.lines):
                at -= LINE_IN * by * (line > 0)
                ax.text(start if line == 0 else left + INDENT_IN, at, text, fontweight="bold", **common)
    for line, text in enumerate(reversed(block.entry)):
        ax.text(inner, foot_in + FOOT_IN + LINE_IN * by * line, text, **common)


def _block(filled: Mapping[str, str], entry: str, *, wide_in: float, columns: int, size_pt: float) -> EmergencyBlock:
    room = (wide_in - EDGE_IN) / columns - EDGE_IN
    cells = []
    for words, text in filled.items():
        first = room - width_in(words, size_pt=size_pt) - KEY_GAP_IN
        lines = lines_of(text, room_in=room - INDENT_IN, size_pt=size_pt, bold=True, first_in=first)
        cells.append(Cell(words=words, lines=tuple(lines)))
    return EmergencyBlock(
        head="Emergency" + ("" if all(filled.values()) else ": fill in before going out"),
        columns=tuple(_parted(cells, columns)), wide_in=wide_in, size_pt=size_pt,
        entry=tuple(lines_of(entry, room_in=wide_in - 2 * EDGE_IN, size_pt=size_pt)),
    )  # fmt: skip


def _parted(cells: list[Cell], columns: int) -> list[tuple[Cell, ...]]:
    """The rows in their order, in one or two columns that are as nearly as high as can be."""
    if columns == 1 or len(cells) < 2:
        return [tuple(cells)]
    cuts = range(len(cells) - 1, 0, -1)
    cut = min(cuts, key=lambda at: (max(_deep(cells[:at]), _deep(cells[at:])), abs(2 * at - len(cells)), -at))
    return [tuple(cells[:cut]), tuple(cells[cut:])]


def _deep(cells: Sequence[Cell]) -> float:
    """Height of rows at the first size."""
    return sum(ROW_IN + LINE_IN * max(len(cell.lines) - 1, 0) for cell in cells)
