"""Which size a record's outline is drawn with: its own first, then the survey's defaults."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pandas as pd

from invasimap.core.survey_settings import Defaults
from invasimap.core.units import M2_PER_ACRE, M2_PER_HA, M_PER_FT
from invasimap.inputs.cells import map_unique
from invasimap.inputs.values import Sized, read_sized, size_column

SIZE_ROLES: Final = ("radius", "diameter", "area", "length", "width")
_NO_SIZE: Final = 'no size: a point needs a radius, diameter, area or length and width, or defaults = { radius = "…" }'
_NO_WIDTH: Final = 'no width: a line needs one, or defaults = { width = "…" }'


def read_sizes(texts: dict[str, pd.Series[Any]]) -> dict[str, pd.DataFrame]:
    """Value (m, m2), problem and how of each size role; "20 x 20 m" or "10 ft radius" fills the roles it names."""
    told = pd.DataFrame(map_unique(texts["size"], read_sized), columns=list(Sized._fields), index=texts["size"].index)
    texts = dict(texts)
    free = {role: texts[role] == "" for role in ("radius", "diameter", "area")}
    free["length"] = (texts["length"] == "") & (texts["width"] == "")
    for role, fits in free.items():
        texts[role] = texts[role].mask(fits & (told["role"] == role), told["text"])
    texts["width"] = texts["width"].mask(free["length"] & (told["role"] == "length"), told["other"])
    sizes = {role: size_column(texts[role], role=role) for role in SIZE_ROLES}
    sizes["size"] = pd.DataFrame({"value": np.nan, "problem": told["odd"], "how": ""})
    turn = pd.to_numeric(texts["bearing"].str.replace(r"\s*(?:deg|°)$", "", regex=True), errors="coerce")
    sizes["bearing"] = pd.DataFrame({"value": turn.where(turn.abs() <= 360).fillna(90.0), "problem": "", "how": ""})
    return sizes


def axes_of_points(sizes: dict[str, pd.DataFrame], defaults: Defaults) -> pd.DataFrame:
    """Columns a_m, b_m (semi-axes), bearing_deg, how, reason and by_area, for every record as if it were a point.

    Its own radius comes before diameter, area, length and width; these before the defaults in the same order.
    """
    radius, diameter, area = (sizes[role]["value"] for role in ("radius", "diameter", "area"))
    length, length_how = _with_default(sizes["length"], defaults.length_m, "length")
    width, width_how = _with_default(sizes["width"], defaults.width_m, "width")
    own_pair = sizes["length"]["value"].notna() | sizes["width"]["value"].notna()
    index = radius.index
    table = pd.DataFrame({"a_m": np.nan, "b_m": np.nan}, index=index)
    said = _said_sizes(sizes)
    pair_how = (length_how + "; " + width_how).str.strip("; ")
    steps: list[tuple[pd.Series[Any], pd.Series[Any], pd.Series[Any], pd.Series[Any]]] = [
        (radius, radius, sizes["radius"]["how"], radius.notna()),
        (diameter / 2, diameter / 2, sizes["diameter"]["how"], diameter.notna()),
        (np.sqrt(area / np.pi), np.sqrt(area / np.pi), sizes["area"]["how"], area.notna()),
        (length / 2, width / 2, pair_how, own_pair & length.notna() & width.notna()),
    ]
    how = pd.Series("", index=index, dtype=object)
    for a, b, step_how, fits in steps:
        take = fits & table["a_m"].isna()
        table["a_m"], table["b_m"] = table["a_m"].mask(take, a), table["b_m"].mask(take, b)
        how = how.mask(take, step_how)
    blank = table["a_m"].isna() & (said == "") & ~own_pair
    a_m, b_m, text = _default_axes(defaults)
    table.loc[blank, ["a_m", "b_m"]] = a_m, b_m
    how = how.mask(blank, text)
    alone = own_pair & table["a_m"].isna()
    reason = said.mask(said == "", pd.Series(np.where(table["a_m"].isna(), _NO_SIZE, ""), index=index, dtype=object))
    reason = reason.mask(alone & (said == ""), "length without width, or width without length: no size")
    by_area = (area.notna() & radius.isna() & diameter.isna()) | (blank & ("area" in text))
    return table.assign(bearing_deg=sizes["bearing"]["value"], how=how, reason=reason, by_area=by_area)


def width_of_lines(sizes: dict[str, pd.DataFrame], defaults: Defaults) -> pd.DataFrame:
    """Columns width_m, how and reason, for every record as if it were a line."""
    width, how = _with_default(sizes["width"], defaults.width_m, "width")
    problem = sizes["width"]["problem"]
    return pd.DataFrame(
        {
            "width_m": width,
            "how": how,
            "reason": problem.mask((problem == "") & width.isna(), _NO_WIDTH),
        }
    )


def _said_sizes(sizes: dict[str, pd.DataFrame]) -> pd.Series[Any]:
    """The problem that decides: that of the first size given, unless a surer size is fine."""
    radius = sizes["radius"]
    said = pd.Series("", index=radius.index, dtype=object)
    decided = pd.Series(False, index=radius.index)
    for role in (*SIZE_ROLES, "size"):
        problem, value = sizes[role]["problem"], sizes[role]["value"]
        said = said.mask(~decided & (said == ""), problem)
        decided |= (value.notna() & (role not in ("length", "width"))) | (said != "")
    return said


def _with_default(size: pd.DataFrame, default: float | None, role: str) -> tuple[pd.Series[Any], pd.Series[Any]]:
    blank = size["value"].isna() & (size["problem"] == "")
    how = size["how"]
    if default is None:
        return size["value"], how
    return size["value"].mask(blank, default), how.mask(blank, f"{role} from defaults: {said_length(default)}")


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
