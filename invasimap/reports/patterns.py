"""The house hatches and looks as SVG, for web pages."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape

from invasimap.reports.style import INK, OUTCOME, PAPER, ZONE, Area, Line

STROKES = {
    "": "",
    "/": '<path d="M-2,2 l4,-4 M0,8 l8,-8 M6,10 l4,-4" stroke="{color}" stroke-width="1.3"/>',
    "\\": '<path d="M-2,6 l4,4 M0,0 l8,8 M6,-2 l4,4" stroke="{color}" stroke-width="1.1"/>',
    "-": '<path d="M0,2 h8 M0,6 h8" stroke="{color}" stroke-width="1.2"/>',
    "x": '<path d="M0,8 l8,-8 M0,0 l8,8" stroke="{color}" stroke-width="1"/>',
    "+": '<path d="M4,0 v8 M0,4 h8" stroke="{color}" stroke-width="1"/>',
    "|": '<path d="M2,0 v8 M6,0 v8" stroke="{color}" stroke-width="0.9"/>',
    ".": '<circle cx="2" cy="2" r="1.1" fill="{color}"/><circle cx="6" cy="6" r="1.1" fill="{color}"/>',
}


def pattern_defs() -> str:
    """A hidden SVG with one pattern for each filled look, to be filled with ``url(#fill-…)``."""
    looks = {f"fill-{name}": look for name, look in OUTCOME.items()}
    looks |= {f"fill-zone-{name}": look for name, look in ZONE.items()}
    body = "".join(_pattern(name, look) for name, look in looks.items())
    return f'<svg width="0" height="0" style="position:absolute" aria-hidden="true"><defs>{body}</defs></svg>'


def _pattern(name: str, look: Area) -> str:
    strokes = STROKES[look.hatch[:1]].format(color=look.hatch_color)
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
        color = look[1]
        edge = INK if color == PAPER else color
        body = f'<circle cx="18" cy="8" r="5.5" fill="{color}" stroke="{edge}"/>'
    return f'<svg width="36" height="16" viewBox="0 0 36 16" aria-hidden="true">{body}</svg>'


def pattern_names() -> dict[int, str]:
    """Name of the pattern of each filled look, by the look's identity."""
    named = {id(look): f"fill-{name}" for name, look in OUTCOME.items()}
    return named | {id(look): f"fill-zone-{name}" for name, look in ZONE.items()}


def _line(look: Line) -> str:
    dash = f' stroke-dasharray="{" ".join(f"{step * 1.3:g}" for step in look.dash)}"' if look.dash else ""
    under = f'<path d="M0,8 h36" stroke="{look.casing}" stroke-width="{look.line_pt + 2.2:g}"/>' if look.casing else ""
    ticks = '<path d="M6,4 v8 M14,4 v8 M22,4 v8 M30,4 v8" stroke="#111" stroke-width="1"/>' if look.mark else ""
    width = f"{look.line_pt * 1.2:g}"
    return f'{under}<path d="M0,8 h36" stroke="{look.color}" stroke-width="{width}"{dash} fill="none"/>{ticks}'
