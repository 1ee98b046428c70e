"""The house hatches and looks as SVG, for web pages."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from html import escape
from typing import Any, Final

from matplotlib.markers import MarkerStyle
from matplotlib.path import Path

from invasimap.reports.drawing import MARKS
from invasimap.reports.style import FEATURE_AREA, GROUND, INK, OUTCOME, PAPER, ZONE, Area, Line

PX_PER_PT: Final = 1.6  # a screen is read from farther away than paper
MARK_SWATCH_PT: Final = 8.0
_LETTERS: Final = {int(Path.MOVETO): "M", int(Path.LINETO): "L", int(Path.CURVE3): "Q", int(Path.CURVE4): "C"}

# hatches on a tile of 8 x 8 px: the path, its weight, and whether it is filled instead of drawn
HATCHES: Final = {
    "": ("", 0.0, False),
    "/": ("M-2,2 l4,-4 M0,8 l8,-8 M6,10 l4,-4", 1.3, False),
    "\\": ("M-2,6 l4,4 M0,0 l8,8 M6,-2 l4,4", 1.1, False),
    "-": ("M0,2 h8 M0,6 h8", 1.2, False),
    "x": ("M0,8 l8,-8 M0,0 l8,8", 1.0, False),
    "+": ("M4,0 v8 M0,4 h8", 1.0, False),
    "o": ("M4,1.9 a2.1,2.1 0 1 0 0.01,0", 0.9, False),
    "|": ("M2,0 v8 M6,0 v8", 0.9, False),
    ".": (
        "M0.9,2 a1.1,1.1 0 1 0 2.2,0 a1.1,1.1 0 1 0 -2.2,0 M4.9,6 a1.1,1.1 0 1 0 2.2,0 a1.1,1.1 0 1 0 -2.2,0",
        0.0,
        True,
    ),
}


def pattern_defs() -> str:
    """A hidden SVG with one pattern for each filled look, to be filled with ``url(#fill-…)``."""
    body = "".join(_pattern(name, look) for name, look in _named().items())
    return f'<svg width="0" height="0" style="position:absolute" aria-hidden="true"><defs>{body}</defs></svg>'


def _named() -> dict[str, Area]:
    """Every filled look with the name of its pattern."""
    groups = {"": OUTCOME, "zone-": ZONE, "feature-": FEATURE_AREA, "ground-": GROUND}
    looks = {f"fill-{lead}{name}": look for lead, group in groups.items() for name, look in group.items()}
    return {name: look for name, look in looks.items() if look.fill != "none"}


def _pattern(name: str, look: Area) -> str:
    path, weight, filled = HATCHES[look.hatch[:1]]
    paint = f'fill="{look.hatch_color}"' if filled else f'stroke="{look.hatch_color}" stroke-width="{weight}"'
    strokes = f'<path d="{path}" {paint}/>' if path else ""
    ground = f'<rect width="8" height="8" fill="{look.fill}" fill-opacity="{look.alpha:g}"/>'
    return (
        f'<pattern id="{escape(name)}" width="8" height="8" patternUnits="userSpaceOnUse">{ground}{strokes}</pattern>'
    )


def swatch(look: Area | Line | tuple[str, str], fills: Mapping[int, str]) -> str:
    """A sample of a look, 36 x 16 px (marks are discs); ``fills`` names the pattern by the look's identity."""
    if isinstance(look, Line):
        body = _line(look)
    elif isinstance(look, Area):
        fill = f"url(#{fills[id(look)]})" if id(look) in fills else look.fill
        body = (
            f'<rect x="1" y="2" width="34" height="12" fill="{fill}" stroke="{look.edge}" '
            f'stroke-width="{max(look.line_pt, 0.8):g}"/>'
        )
    else:
        mark = mark_look(*look, size_pt=MARK_SWATCH_PT, edge=INK if look[1] in (PAPER, INK) else PAPER)
        paint = f'fill="{mark["fill"] or "none"}" stroke="{mark["edge"]}" stroke-width="{mark["width"]:g}"'
        place = f'transform="translate(18 8) scale({mark["size"]:g})" vector-effect="non-scaling-stroke"'
        body = f'<path {place} d="{mark["mark"]}" {paint}/>'
    return f'<svg width="36" height="16" viewBox="0 0 36 16" aria-hidden="true">{body}</svg>'


def pattern_names() -> dict[int, str]:
    """Name of the pattern of each filled look, by the look's identity."""
    return {id(look): name for name, look in _named().items()}


def _line(look: Line) -> str:
    dash = f' stroke-dasharray="{" ".join(f"{step * 1.3:g}" for step in look.dash)}"' if look.dash else ""
    under = f'<path d="M0,8 h36" stroke="{look.casing}" stroke-width="{look.line_pt + 2.2:g}"/>' if look.casing else ""
    ticks = (
        f'<path d="M6,4 v8 M14,4 v8 M22,4 v8 M30,4 v8" stroke="{look.color}" stroke-width="1"/>' if look.mark else ""
    )
    width = f"{look.line_pt * 1.2:g}"
    return f'{under}<path d="M0,8 h36" stroke="{look.color}" stroke-width="{width}"{dash} fill="none"/>{ticks}'


@cache
def mark_path(mark: str) -> str:
    """The form of a mark as the path of an SVG, one unit across and its middle at 0.

    Examples
    --------
    >>> mark_path("s")
    'M-0.5,0.5 L0.5,0.5 L0.5,-0.5 L-0.5,-0.5 Z'
    """
    form = MarkerStyle(MARKS.get(mark, mark))
    steps = []
    for places, code in form.get_path().transformed(form.get_transform()).iter_segments(curves=True, simplify=False):
        pairs = [f"{x:.4g},{0.0 - y:.4g}" for x, y in zip(places[::2], places[1::2], strict=True)]
        steps.append("Z" if code == Path.CLOSEPOLY else _LETTERS[int(code)] + " ".join(pairs))
    return " ".join(steps)


def mark_look(mark: str, fill: str, *, size_pt: float, edge: str = INK) -> dict[str, Any]:
    """A mark as the field map's script takes it, in px; of an open form (a bridge) the lines alone."""
    open_form = mark in MARKS
    return {
        "mark": mark_path(mark), "size": size_pt * PX_PER_PT, "fill": "" if open_form else fill, "alpha": 1,
        "edge": edge, "width": (1.2 if open_form else 0.7) * PX_PER_PT, "halo": PAPER if open_form else "",
    }  # fmt: skip


def area_look(look: Area) -> dict[str, Any]:
    """A filled look as the field map's script takes it: lengths in px, the hatch as a path on a tile of 8 px."""
    path, weight, filled = HATCHES[look.hatch[:1]]
    hatch = {"path": path, "weight": weight, "filled": filled, "color": look.hatch_color} if path else None
    edge = "" if look.edge == "none" else look.edge
    return {"fill": look.fill, "alpha": look.alpha, "hatch": hatch, "edge": edge, "width": look.line_pt * 1.4}


def line_look(look: Line) -> dict[str, Any]:
    """A line as the field map's script takes it, in px, with its casing beneath."""
    found: dict[str, Any] = {"edge": look.color, "width": look.line_pt * 1.7}
    if look.dash:
        found["dash"] = [step * 1.4 for step in look.dash]
    if look.mark:
        found["ticks"] = {"from": 4.0 * PX_PER_PT, "every": 9.0 * PX_PER_PT, "half": 2.0 * PX_PER_PT}
    if look.casing:
        found |= {"casing": look.casing, "casing_width": (look.line_pt + 2.5) * 1.7}
    return found
