"""Which size a record's outline is drawn with: its own first, then the survey's defaults."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from invasimap.core.survey_settings import Defaults
from invasimap.core.units import M2_PER_ACRE, M2_PER_HA, M_PER_FT
from invasimap.inputs.cells import Cells, join_cells
from invasimap.inputs.values import parse_size, read_sized

SIZE_ROLES: Final = ("radius", "diameter", "area", "length", "width")
_ZERO: Final = re.compile(r"0+(?:\.0*)?\s*[a-z ]*", re.I)
_NO_SIZE: Final = 'no size: a point needs a radius, diameter, area or length and width, or defaults = { radius = "…" }'
_NO_WIDTH: Final = 'no width: a line needs one, or defaults = { width = "…" }'
_ALONE: Final = "length without width, or width without length: no size"


@dataclass(frozen=True, kw_only=True)
class Sizes:
    """What records say of a size: metres or square metres (NaN where nothing usable), what is wrong with it and what
    was taken."""

    value: NDArray[np.float64]
    problem: Cells
    how: Cells

    @property
    def given(self) -> NDArray[np.bool_]:
        """Which records have a usable one."""
        return ~np.isnan(self.value)


@dataclass(frozen=True, kw_only=True)
class Axes:
    """How each record is drawn if it is a point: semi-axes (m) along a bearing and across it, what was taken from the
    defaults, why it cannot be drawn, whether only its area is known, and whether the size is the record's own."""

    a_m: NDArray[np.float64]
    b_m: NDArray[np.float64]
    bearing_deg: NDArray[np.float64]
    how: Cells
    reason: Cells
    by_area: NDArray[np.bool_]
    own: NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class Widths:
    """How wide each record is if it is a line, what was taken from the defaults, and why it cannot be drawn."""

    width_m: NDArray[np.float64]
    how: Cells
    reason: Cells


def read_sizes(texts: dict[str, Cells]) -> dict[str, Sizes]:
    """What each size role says, of cells of text; "20 x 20 m" or "10 ft radius" as a size fills the roles it names."""
    said, odd = _spread_sizes(texts)
    said |= _without_zeros({role: said[role] for role in SIZE_ROLES})
    sizes = {role: _sizes(said[role], role) for role in SIZE_ROLES}
    blank, none = Cells.same("", len(odd)), np.full(len(odd), np.nan)
    sizes["size"] = Sizes(value=none, problem=odd, how=blank)
    sizes["bearing"] = _bearings(texts["bearing"])
    return sizes


def _spread_sizes(texts: dict[str, Cells]) -> tuple[dict[str, Cells], Cells]:
    """Cells of every role with what the size column names filled in where they are blank, and its odd texts."""
    size = texts["size"]
    told = [read_sized(text) for text in size.texts]
    said = dict(texts)
    for role in ("radius", "diameter", "area"):
        said[role] = texts[role].or_else(size.with_texts([t.text if t.role == role else "" for t in told]))
    free = texts["length"].blank & texts["width"].blank
    pairs = {"length": [t.text for t in told], "width": [t.other for t in told]}
    for role, given in pairs.items():
        pair = size.with_texts([text if t.role == "length" else "" for text, t in zip(given, told, strict=True)])
        said[role] = texts[role].or_else(pair.where(free))
    return said, size.with_texts([t.odd for t in told])


def _without_zeros(said: dict[str, Cells]) -> dict[str, Cells]:
    """Cells with nothing for a 0 where another size is told: tables of numbers fill it in for none."""
    zero = {role: cells.each([_ZERO.fullmatch(t) is not None for t in cells.texts], dtype=bool)
            for role, cells in said.items()}  # fmt: skip
    told = {role: ~cells.blank & ~zero[role] for role, cells in said.items()}
    whole = told["radius"] | told["diameter"] | told["area"] | (told["length"] & told["width"])
    return {role: cells.where(~(zero[role] & whole)) for role, cells in said.items()}


def _sizes(cells: Cells, role: str) -> Sizes:
    read = [parse_size(text, role=role, dimension="area" if role == "area" else "length") for text in cells.texts]
    return Sizes(
        value=cells.each([r.value for r in read]),
        problem=cells.with_texts([r.problem for r in read]),
        how=cells.with_texts([r.how for r in read]),
    )


def _bearings(cells: Cells) -> Sizes:
    """Degrees from north; across the page where none is said, or none that is read."""

    def read(text: str) -> tuple[float, str]:
        try:
            turn = float(text.removesuffix("°").removesuffix("deg").strip())
        except ValueError:
            turn = math.inf
        if abs(turn) <= 360:
            return turn, ""
        return 90.0, f"bearing {text!r} is not read: drawn from west to east" if text else ""

    rows = [read(text) for text in cells.texts]
    return Sizes(
        value=cells.each([turn for turn, _ in rows]),
        problem=Cells.same("", len(cells)),
        how=cells.with_texts([how for _, how in rows]),
    )


def axes_of_points(sizes: dict[str, Sizes], defaults: Defaults) -> Axes:
    """How every record is drawn if it is a point.

    Its own radius comes before diameter, area, length and width; these before the defaults in the same order.
    """
    radius, diameter, area = (sizes[role] for role in ("radius", "diameter", "area"))
    length, length_how = _with_default(sizes["length"], defaults.length_m, "length")
    width, width_how = _with_default(sizes["width"], defaults.width_m, "width")
    own_pair = sizes["length"].given | sizes["width"].given
    pair = own_pair & ~np.isnan(length) & ~np.isnan(width) & ~(radius.given | diameter.given | area.given)
    round_m = np.sqrt(area.value / np.pi)
    round_how = area.how
    for size, one in ((diameter, diameter.value / 2), (radius, radius.value)):
        round_m = np.where(size.given, one, round_m)
        round_how = size.how.where(size.given).or_else(round_how.where(~size.given))
    a_m, b_m = np.where(pair, length / 2, round_m), np.where(pair, width / 2, round_m)
    said = _said_sizes(sizes)
    blank = np.isnan(a_m) & said.blank & ~own_pair
    default_a, default_b, text = _default_axes(defaults)
    a_m, b_m = np.where(blank, default_a, a_m), np.where(blank, default_b, b_m)
    none, alone = np.isnan(a_m), own_pair & np.isnan(a_m)
    why = Cells.chosen(["", _NO_SIZE, _ALONE], np.where(alone, 2, none))
    return Axes(
        a_m=a_m,
        b_m=b_m,
        bearing_deg=sizes["bearing"].value,
        how=join_cells(
            round_how,
            length_how.where(pair),
            width_how.where(pair),
            sizes["bearing"].how.where(pair),
            Cells.chosen(["", text], blank & ~none),
        ),
        reason=said.or_else(why),
        own=~blank,
        by_area=(area.given & ~radius.given & ~diameter.given) | (blank & ("area" in text)),
    )


def width_of_lines(sizes: dict[str, Sizes], defaults: Defaults) -> Widths:
    """How wide every record is if it is a line."""
    width, how = _with_default(sizes["width"], defaults.width_m, "width")
    none = Cells.chosen(["", _NO_WIDTH], np.isnan(width))
    return Widths(width_m=width, how=how, reason=sizes["width"].problem.or_else(none))


def _said_sizes(sizes: dict[str, Sizes]) -> Cells:
    """The problem that decides: that of the first size given, unless a surer size is fine."""
    said = sizes["radius"].problem
    decided = sizes["radius"].given | ~said.blank
    for role in (*SIZE_ROLES[1:], "size"):
        size = sizes[role]
        said = said.or_else(size.problem.where(~decided))
        decided = decided | (size.given & (role not in ("length", "width"))) | ~said.blank
    return said


def _with_default(size: Sizes, default: float | None, role: str) -> tuple[NDArray[np.float64], Cells]:
    if default is None:
        return size.value, size.how
    blank = ~size.given & size.problem.blank
    how = Cells.chosen(["", f"{role} from defaults: {said_length(default)}"], blank)
    return np.where(blank, default, size.value), size.how.or_else(how)


def _default_axes(defaults: Defaults) -> tuple[float, float, str]:
    if defaults.radius_m is not None:
        return defaults.radius_m, defaults.radius_m, f"radius from defaults: {said_length(defaults.radius_m)}"
    if defaults.diameter_m is not None:
        half = defaults.diameter_m / 2
        return half, half, f"diameter from defaults: {said_length(defaults.diameter_m)}"
    if defaults.area_m2 is not None:
        radius = float(np.sqrt(defaults.area_m2 / np.pi))
        return radius, radius, f"area from defaults: {said_area(defaults.area_m2)}"
    if defaults.length_m is not None and defaults.width_m is not None:
        text = f"length and width from defaults: {said_length(defaults.length_m)} x {said_length(defaults.width_m)}"
        return defaults.length_m / 2, defaults.width_m / 2, text
    return float("nan"), float("nan"), ""


def said_length(metres: float) -> str:
    """A length in the unit it is roundest in.

    Examples
    --------
    >>> said_length(3.048), said_length(5.0)
    ('10 ft', '5 m')
    """
    return _roundest(metres, {"m": 1.0, "ft": M_PER_FT})


def said_area(square_metres: float) -> str:
    """An area in the unit it is roundest in."""
    return _roundest(square_metres, {"m2": 1.0, "acre": M2_PER_ACRE, "ha": M2_PER_HA, "sq ft": M_PER_FT**2})


def _roundest(value: float, factors: dict[str, float]) -> str:
    shown = {unit: f"{value / factor:.6g}" for unit, factor in factors.items()}
    unit = min(shown, key=lambda name: len(shown[name].replace(".", "")))
    return f"{shown[unit]} {unit}"
