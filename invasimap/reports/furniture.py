"""Scale bar, check bar and north arrow."""

from __future__ import annotations

import math
from typing import Any

from matplotlib.axes import Axes
from matplotlib.patches import PathPatch, Polygon
from pyproj import CRS, Geod

from invasimap.core.crs import to_lonlat
from invasimap.core.units import M_PER_FT, ShownUnits
from invasimap.reports.drawing import box_path, inches
from invasimap.reports.style import FONT, INK, PAPER, QUIET, TYPE_PT

INCH_M = 0.0254
EMERGENCY = ("contact, radio", "road address", "hospital", "poison control", "labels kept at", "leave by")
ROUND = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
FEET_PER_INCH = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0)
METRES_PER_CM = (1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.5, 8.0)


def round_scale(least: float, shown: ShownUnits) -> int:
    """The first round scale denominator at or above ``least``: whole tens of feet to the inch, or of metres to the cm.

    Examples
    --------
    >>> from invasimap.core.units import METRIC, US
    >>> round_scale(4300, US), round_scale(4300, METRIC)
    (4800, 5000)
    """
    steps, unit = (FEET_PER_INCH, 12) if shown.length == "ft" else (METRES_PER_CM, 100)
    found = (round(step * 10**power * unit) for power in range(1, 6) for step in steps)
    return next((scale for scale in found if scale >= least), math.ceil(least / 1e6) * 1_000_000)


def round_length(longest: float) -> float:
    """The longest round length (one or two figures) that is at most ``longest``.

    Examples
    --------
    >>> round_length(870.0)
    800.0
    """
    power = 10.0 ** math.floor(math.log10(longest))
    return max(step * power for step in ROUND if step * power <= longest * (1 + 1e-9))


def scale_bar(ax: Axes, *, scale: float, left_in: float, foot_in: float, width_in: float) -> None:
    """A bar in feet above one in metres, both round, each at most ``width_in`` long; ``scale`` is the denominator."""
    metres_per_inch = scale * INCH_M
    for name, unit_m, base, side in (("ft", M_PER_FT, foot_in, 1), ("m", 1.0, foot_in, -1)):
        length = round_length(width_in * metres_per_inch / unit_m)
        long_in = length * unit_m / metres_per_inch
        _bar(ax, left_in, base if side > 0 else base - 0.06, long_in)
        at = base + 0.09 if side > 0 else base - 0.1
        for share in (0.0, 0.5, 1.0):
            text = f"{length * share:,g}" + (f" {name}" if share == 1.0 else "")
            ax.text(
                left_in + long_in * share, at, text, transform=inches(ax), fontsize=TYPE_PT["small"], fontfamily=FONT,
                ha="left" if share == 0 else "center", va="bottom" if side > 0 else "top", color=INK, zorder=21,
            )  # fmt: skip


def _bar(ax: Axes, left: float, foot: float, length: float, parts: int = 4) -> None:
    for part in range(parts):
        box = box_path(left + length * part / parts, foot, length / parts, 0.06)
        ax.add_patch(
            PathPatch(
                box,
                facecolor=INK if part % 2 == 0 else PAPER,
                edgecolor=INK,
                linewidth=0.7,
                transform=inches(ax),
                zorder=20,
            )
        )


def scale_words(scale: float, shown: ShownUnits) -> str:
    """The ratio and what one inch (or centimetre) of paper stands for.

    Examples
    --------
    >>> from invasimap.core.units import US
    >>> scale_words(4800, US)
    '1:4,800 (1 in = 400 ft)'
    """
    if shown.length == "ft":
        return f"1:{scale:,.0f} (1 in = {scale / 12:,.4g} ft)"
    return f"1:{scale:,.0f} (1 cm = {scale / 100:,.4g} m)"


def check_bar(ax: Axes, *, shown: ShownUnits, left_in: float, foot_in: float) -> None:
    """A bar of 2 in (5 cm), so that the reader sees whether the printer kept the size."""
    length, text = (2.0, "2 in") if shown.length == "ft" else (5 / 2.54, "5 cm")
    ends = (left_in, left_in + length)
    ax.plot(ends, (foot_in, foot_in), color=QUIET, linewidth=0.8, marker="|", markersize=6, transform=inches(ax))
    ax.text(
        left_in, foot_in - 0.07, f"{text} when printed at 100 %", transform=inches(ax), fontsize=TYPE_PT["small"],
        fontfamily=FONT, color=QUIET, va="top",
    )  # fmt: skip


def north_turn_deg(crs: CRS, x: float, y: float) -> float:
    """Degrees, clockwise from the map's upward direction, to true north at a place (metres in ``crs``)."""
    lon, lat = to_lonlat(crs).transform(x, y)
    north_lon, north_lat, _ = Geod(ellps="WGS84").fwd(lon, lat, 0.0, 100.0)
    north_x, north_y = to_lonlat(crs).transform(north_lon, north_lat, direction="INVERSE")
    return math.degrees(math.atan2(north_x - x, north_y - y))


def north_arrow(ax: Axes, *, turn_deg: float, centre_in: tuple[float, float], size_in: float = 0.5) -> None:
    """An arrow to true north: one half dark, so that it reads at any print quality."""
    angle, place = math.radians(turn_deg), inches(ax)

    def turned(across: float, along: float) -> tuple[float, float]:
        x, y = across * size_in, along * size_in
        return (
            centre_in[0] + x * math.cos(angle) + y * math.sin(angle),
            centre_in[1] - x * math.sin(angle) + y * math.cos(angle),
        )

    tip, left, right, notch = turned(0, 0.5), turned(-0.26, -0.5), turned(0.26, -0.5), turned(0, -0.28)
    for side, fill in ((left, INK), (right, PAPER)):
        ax.add_patch(
            Polygon(
                [tip, side, notch],
                closed=True,
                facecolor=fill,
                edgecolor=INK,
                linewidth=0.8,
                transform=place,
                zorder=21,
            )
        )
    x, y = turned(0, 0.72)
    ax.text(
        x, y, "N", transform=place, fontsize=TYPE_PT["heading"], fontfamily=FONT, fontweight="bold", ha="center",
        va="center", zorder=21,
    )  # fmt: skip


def emergency_block(ax: Axes, *, left_in: float, foot_in: float, width_in: float, entry: str) -> None:
    """Lines to fill in before going out, and where the entry is."""
    pitch, place = 0.172, inches(ax)
    height = pitch * (len(EMERGENCY) + 2) + 0.08
    box = box_path(left_in, foot_in, width_in, height)
    ax.add_patch(PathPatch(box, facecolor=PAPER, edgecolor=INK, linewidth=0.9, transform=place))
    common: dict[str, Any] = {"transform": place, "fontsize": TYPE_PT["small"], "fontfamily": FONT, "color": INK}
    at = foot_in + height - pitch
    ax.text(left_in + 0.07, at, "Emergency: fill in before going out", fontweight="bold", **common)
    for words in EMERGENCY:
        at -= pitch
        ax.text(left_in + 0.07, at, words, **common)
        ends = (left_in + 0.12 + 0.072 * len(words), left_in + width_in - 0.07)
        ax.plot(ends, (at - 0.015, at - 0.015), color=QUIET, linewidth=0.5, transform=place)
    ax.text(left_in + 0.07, at - pitch, entry, **common)
