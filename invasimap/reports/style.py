"""How everything looks: one palette, hatches, line weights and type sizes for paper and screens.

Fills run from light to dark as the ground gets harder to work, so that they keep their order in grey and for
colour-blind readers; every fill also has its own hatch and its own mark.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

INK: Final = "#1B1B1B"
QUIET: Final = "#5A5A5A"
PAPER: Final = "#FFFFFF"


@dataclass(frozen=True, kw_only=True)
class Area:
    """A filled area: colours, hatch on paper (matplotlib's letters), pattern on screens and the mark of small ones."""

    fill: str
    edge: str = INK
    hatch: str = ""
    hatch_color: str = INK
    alpha: float = 1.0
    line_pt: float = 0.7
    mark: str = "o"


@dataclass(frozen=True, kw_only=True)
class Line:
    """A line: colour, weight in points, dash lengths in points and, for roads, the casing's colour beneath it."""

    color: str
    line_pt: float
    dash: tuple[float, ...] = ()
    casing: str = ""
    mark: str = ""


# What can be done on infested ground; the keys are the outcomes of wording.OUTCOMES
OUTCOME: Final = {
    "tractor": Area(fill="#F6D55C", hatch="||", hatch_color="#8A6D00", mark="s"),
    "atv_hose": Area(fill="#EA9044", hatch="////", mark="^"),
    "foot": Area(fill="#7B4FA0", hatch="....", hatch_color="#FFFFFF", mark="o"),
    "hand_only": Area(fill="#3B8D90", hatch="----", hatch_color="#FFFFFF", mark="D"),
    "out_of_reach": Area(fill="#FFFFFF", hatch="xxx", hatch_color="#6A6A6A", mark="X"),
    "outside": Area(fill="#FFFFFF", hatch="++", hatch_color="#6A6A6A", mark="P"),
    "no_spray": Area(fill="#6B1A22", hatch="", mark="v"),
}
# Ground that spray stays away from, whether or not anything grows there
ZONE: Final = {
    "hand_only": Area(fill="#3B8D90", edge="#1F5F62", hatch="\\\\", hatch_color="#1F5F62", alpha=0.12, line_pt=0.45),
    "no_spray": Area(fill="#6B1A22", edge="#6B1A22", hatch="xx", hatch_color="#6B1A22", alpha=0.22, line_pt=0.6),
}
# Access of all ground, where relief and ways show through: thin hatches, and none on the ground that takes most room
ACCESS: Final = {
    "tractor": Area(fill="#F6D55C", edge="#6E5600", hatch="||", hatch_color="#8A6D00", alpha=0.75, line_pt=0.5),
    "atv_hose": Area(fill="#EA9044", edge="#8A4A12", hatch="//", hatch_color="#8A4A12", alpha=0.62, line_pt=0.5),
    "foot": Area(fill="#7B4FA0", edge="none", alpha=0.3, line_pt=0.0),
    "out_of_reach": Area(fill="#FFFFFF", edge="#6A6A6A", hatch="xxx", hatch_color="#6A6A6A", alpha=0.75, line_pt=0.4),
}
WET_PAPER: Final = Area(fill="none", edge="#3E7896", hatch="--", hatch_color="#3E7896", line_pt=0.4)
PARKING_MARK: Final = "p"
GROUND: Final = {
    "open_ground": Area(fill="#E6DFA8", edge="#8B8453", alpha=0.55, line_pt=0.4),
    "wet_ground": Area(fill="#CFE3EE", edge="#3E7896", hatch="--", hatch_color="#3E7896", alpha=0.6, line_pt=0.4),
    "unknown": Area(fill="#FFFFFF", edge="#8A8A8A", hatch="..", hatch_color="#8A8A8A", line_pt=0.5),
    "stand": Area(fill="none", edge="#111111", line_pt=1.3),
    "own_stand": Area(fill="none", edge="#111111", line_pt=2.4),
}
# The same on a phone, over whatever background it has: fills let it through, lines stand out in the sun
DRY: Final = Area(fill=PAPER, line_pt=1.5)  # no-spray ground that is worked by hand, nothing applied
CREW_ALPHA: Final = {"open": 0.75, "hand_only": 0.75, "dry": 0.75, "no_spray": 0.65, "hand_ground": 0.12}
CREW_LINE_PT: Final = {"open": 1.5, "hand_only": 1.5, "dry": 1.5, "no_spray": 2.2, "hand_ground": 1.2}
VEIL: Final = Area(fill="#FFFFFF", edge="none", alpha=0.6, line_pt=0.0)
WAY: Final = {
    "tractor": Line(color="#FFFFFF", line_pt=1.7, casing="#2B2B2B"),
    "atv": Line(color="#2B2B2B", line_pt=1.3, dash=(5.0, 2.0)),
    "foot": Line(color="#2B2B2B", line_pt=1.0, dash=(1.0, 1.8)),
    "none": Line(color="#8A8A8A", line_pt=0.8),
}
LINE: Final = {
    "water": Line(color="#1F5FA8", line_pt=1.5),
    "dry_water": Line(color="#1F5FA8", line_pt=1.3, dash=(4.0, 2.0)),
    "feature": Line(color="#9B1B6E", line_pt=1.4, dash=(6.0, 1.5, 1.0, 1.5)),
    "barrier": Line(color="#111111", line_pt=1.0, mark="|"),
    "contour": Line(color="#8C6A4A", line_pt=0.3),
    "contour_index": Line(color="#8C6A4A", line_pt=0.75),
    "grid": Line(color="#4A4A4A", line_pt=0.25),
    "zone_edge": Line(color="#111111", line_pt=1.8, dash=(9.0, 4.0)),
    "serves": Line(color="#111111", line_pt=0.6, dash=(2.6, 2.2)),
    "leader": Line(color="#111111", line_pt=0.5, casing="#FFFFFF"),
    "sheet": Line(color="#3A3A3A", line_pt=0.5, dash=(7.0, 3.0)),
    "set_aside": Line(color=QUIET, line_pt=0.9, dash=(4.0, 1.5, 1.0, 1.5)),
}
CONTOUR_TEXT: Final = "#5E3F24"
FEATURE_AREA: Final = {
    "water": Area(fill="#A9CBEA", edge="#1F5FA8", line_pt=0.9),
    "feature": Area(fill="#EBCFE1", edge="#9B1B6E", hatch="oo", hatch_color="#9B1B6E", line_pt=0.9),
}
SHADE: Final = (0.72, 1.0)  # darkest and lightest of the relief, of white: ink on it must stay readable
SPOT_PT: Final = {"feature": 8.0, "entry": 9.0, "crossing": 6.0, "parking": 6.5}
FEATURE_MARKS: Final = ("*", "P", "p", "h", "8", "d")
ENTRY_MARK: Final = ">"
CROSSING_MARK: Final = "bridge"

# Of charts: what is shown apart from the classes of the map
CHART: Final = {"infested": "#8A8A8A", "gross": PAPER}
# A season's work: windows, works, what they could come to; fills are light so that words stand on them
SEASON: Final = {
    "window": Area(fill="#CFDDE3", edge=INK, line_pt=0.7),
    "estimated": Area(fill=PAPER, edge=INK, hatch="////", hatch_color="#6A6A6A", line_pt=0.7),
    "behind": Area(fill="#E0E7EA", edge="none", line_pt=0.0),
    "work": Area(fill="#D9CBE6", edge=INK, line_pt=0.7),
}
SEASON_LINE: Final = {
    "native_leaf_drop": Line(color="#7A4A12", line_pt=1.3, dash=(5.0, 2.0)),
    "killing_freeze": Line(color="#12427D", line_pt=1.3, dash=(1.5, 1.5)),
    "value": Line(color=INK, line_pt=1.6),
    "bound": Line(color="#8A8A8A", line_pt=0.9, dash=(3.0, 2.0)),
    "budget": Line(color="#6B1A22", line_pt=1.4, dash=(6.0, 1.5, 1.0, 1.5)),
    "no_work": Line(color="#8A8A8A", line_pt=0.9, dash=(1.0, 2.0)),
    "month": Line(color="#D5D5D0", line_pt=0.5),
}
# Of the field map's page, beside the map: read in the sun, so dark on white
SCREEN: Final = {
    "ink": INK, "paper": PAPER, "quiet": "#444444", "faint": "#767676", "edge": "#555555", "rule": "#BBBBBB",
    "pressed": "#1D3B2A", "warn": "#FFF3C4", "warn-edge": "#A15C00", "alarm": "#6B1A22", "own": "#12427D",
    "measure": "#B0006D", "head": "#EDEDED", "glass": f"{PAPER}E6",
}  # fmt: skip

WATER_WORDS: Final = (
    "stream", "river", "creek", "brook", "run", "pond", "lake", "wetland", "spring", "seep", "water", "ditch", "swamp",
    "marsh", "bog", "fen", "vernal", "canal", "reservoir",
)  # fmt: skip

TYPE_PT: Final = {
    "title": 16.0,
    "heading": 9.5,
    "body": 8.5,
    "small": 8.0,
    "stand": 13.0,
    "patch": 8.0,
    "contour": 8.0,
}
FONT: Final = ["DejaVu Sans"]  # ships with matplotlib: the same sheet on every machine
SCREEN_FONT: Final = 'system-ui, -apple-system, "Segoe UI", Roboto, "Noto Sans", sans-serif'

# Words and rules of pages that are read: dark on light
PAGE: Final = {
    "ink": INK, "paper": PAPER, "quiet": "#4A4A4A", "rule": "#C9C9C4", "tint": "#F1F1EC", "link": "#1F4E79",
    "alarm": "#6B1A22", "nothing": "#737373",
}  # fmt: skip


def feature_marks(kinds: Iterable[str]) -> dict[str, str]:
    """The mark of each kind of protected feature: no two of the first six alike.

    Examples
    --------
    >>> feature_marks(["well", "den", "well"])
    {'den': '*', 'well': 'P'}
    """
    return {kind: FEATURE_MARKS[number % len(FEATURE_MARKS)] for number, kind in enumerate(sorted(set(kinds)))}


def feature_look(kind: str) -> str:
    """``water`` or ``feature``: how a kind of protected feature is drawn.

    Examples
    --------
    >>> feature_look("perennial stream"), feature_look("well")
    ('water', 'feature')
    """
    words = kind.lower().replace("_", " ").split()
    return "water" if any(word.startswith(WATER_WORDS) for word in words) else "feature"


def line_look(kind: str) -> str:
    """``water``, ``dry_water`` (not wet all year) or ``feature``: how a linear protected feature is drawn.

    Examples
    --------
    >>> line_look("intermittent stream")
    'dry_water'
    """
    seasonal = kind.lower().startswith(("intermittent", "ephemeral", "seasonal"))
    return "dry_water" if seasonal and feature_look(kind) == "water" else feature_look(kind)


def way_look(machines: str) -> str:
    """The most capable of ``tractor, atv, foot`` that a way allows, or ``none``.

    Examples
    --------
    >>> way_look("atv;foot")
    'atv'
    """
    allowed = machines.split(";")
    return next((means for means in ("tractor", "atv", "foot") if means in allowed), "none")
