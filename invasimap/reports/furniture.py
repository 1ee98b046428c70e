"""Scale bar, check bar and norths."""

from __future__ import annotations

import math
from collections.abc import Mapping

from matplotlib.axes import Axes
from matplotlib.patches import PathPatch, Polygon
from pyproj import CRS, Geod

from invasimap.core.crs import to_lonlat
from invasimap.core.units import M_PER_FT, ShownUnits
from invasimap.reports.drawing import box_path, inches
from invasimap.reports.style import FONT, INK, PAPER, QUIET, TYPE_PT

INCH_M = 0.0254
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
    >>> scale_words(240_000, US)
    '1:240,000 (1 in = 20,000 ft)'
    """
    ground = scale / 12 if shown.length == "ft" else scale / 100
    paper = "1 in" if shown.length == "ft" else "1 cm"
    return f"1:{scale:,.0f} ({paper} = {float(f'{ground:.4g}'):,.12g} {shown.length})"


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


def north_diagram(ax: Axes, *, turns_deg: Mapping[str, float], centre_in: tuple[float, float], size_in: float) -> None:
    """Arrows to several norths by their letters; set apart for reading where they lie close together."""
    place = inches(ax)
    for name, drawn in drawn_apart(turns_deg).items():
        across, along = math.sin(math.radians(drawn)), math.cos(math.radians(drawn))
        tip = (centre_in[0] + size_in * across, centre_in[1] + size_in * along)
        strong = name == "N"
        ax.annotate(
            "", xy=tip, xytext=centre_in, xycoords=place, textcoords=place, zorder=21,
            arrowprops={"arrowstyle": "-|>" if strong else "->", "color": INK, "linewidth": 1.5 if strong else 0.9,
                        "shrinkA": 0, "shrinkB": 0},
        )  # fmt: skip
        ax.text(
            tip[0] + 0.1 * across, tip[1] + 0.09 * along, name, transform=place, fontsize=TYPE_PT["small"],
            fontfamily=FONT, fontweight="bold" if strong else "normal", ha="center", va="center", zorder=21,
        )  # fmt: skip


def drawn_apart(turns_deg: Mapping[str, float], least_deg: float = 26.0) -> dict[str, float]:
    """The angles at which directions are drawn: in their order, true north ``N`` as it is, the others well apart.

    Examples
    --------
    >>> drawn_apart({"N": 0.0, "GN": 0.4, "MN": -9.7})
    {'N': 0.0, 'GN': 26.0, 'MN': -26.0}
    """
    order = sorted(turns_deg, key=lambda name: turns_deg[name])
    at = order.index("N")
    drawn = dict(turns_deg)
    for step, names in ((1, order[at + 1 :]), (-1, order[:at][::-1])):
        before = turns_deg["N"]
        for name in names:
            before = max(turns_deg[name] * step, before * step + least_deg) * step
            drawn[name] = before
    return drawn
