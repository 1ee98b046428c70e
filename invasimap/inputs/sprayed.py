"""Ground already sprayed: the polygons of the log, each with its day, product and the dose put on, checked."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from invasimap.core import units
from invasimap.core.crs import to_working
from invasimap.core.errors import Fault, LayerError
from invasimap.core.survey_settings import LIMITS, Layer, LimitsSection
from invasimap.inputs.cells import Cells
from invasimap.inputs.dates import read_dates
from invasimap.inputs.layers import read_layer

SPRAYED_COLUMNS: Final = ("date", "product", "ingredient_name", "kg_per_ha")
_DOSES: Final = {"dose": "", "dose_kg_per_ha": "kg/ha", "dose_lb_per_acre": "lb/acre"}
_CUT: Final = 10  # signs of a name in a shapefile
_LISTED: Final = 8
_LOST: Final = "mend or delete these records: what they put on its ground would not be counted"


@dataclass(frozen=True, kw_only=True)
class _Checked:
    """What is wrong with the features of a log, gathered by kind."""

    where: str
    wrong: dict[tuple[str, str], list[int]] = field(default_factory=dict)

    def fault(self, rows: Iterable[int], what: str, mend: str) -> None:
        """Say what is wrong with some rows."""
        for row in rows:
            self.wrong.setdefault((what, mend), []).append(row + 1)

    def refuse(self) -> None:
        """Raise what was found."""
        if self.wrong:
            raise LayerError(
                Fault(where=self.where, what=f"{what}: {_features(numbers)}", mend=mend)
                for (what, mend), numbers in self.wrong.items()
            )


def read_sprayed(
    section: Layer, *, folder: Path, crs: CRS, timezone: ZoneInfo | None = None, limits: LimitsSection = LIMITS
) -> tuple[gpd.GeoDataFrame, list[str]]:
    """What was sprayed before, of the layer that ``[log]`` names.

    Parameters
    ----------
    section
        ``[log]``: a layer of polygons with ``date``, ``product``, ``ingredient_name`` where known, and the dose on the
        ground sprayed: ``dose_kg_per_ha`` or ``dose_lb_per_acre`` (numbers) or ``dose`` ("2.1 lb/acre").
    folder
        Where its path starts.
    crs
        The working system.
    timezone
        Of the tract: a time with an offset becomes its date there.
    limits
        From what size on a file is refused.

    Returns
    -------
    GeoDataFrame
        ``date`` (``datetime.date``), ``product, ingredient_name`` (empty where not told) and ``kg_per_ha`` (NaN where
        not told: what is left on that ground is then not known), polygons in ``crs``.
    list of str
        What is to be said of it.

    Raises
    ------
    LayerError
        When it cannot be read, a column or value is missing, a date or dose cannot be, or a shape is no polygon; lists
        every fault with its features.
    CRSError
        When neither the file nor the section names its system.
    """
    where = f"[log]: {section.shown}"
    read = read_layer(section, folder=folder, name="[log]", limits=limits)
    if lost := read.attrs["lost"]:
        raise LayerError(Fault(where=where, what=text.removeprefix(f"{where}: "), mend=_LOST) for text in lost)
    found = as_sprayed(read, where=where, timezone=timezone)
    return to_working(found, crs, name=where), found.attrs["notes"]


def as_sprayed(layer: gpd.GeoDataFrame, *, where: str, timezone: ZoneInfo | None = None) -> gpd.GeoDataFrame:
    """A layer as read, checked, with the columns of ``read_sprayed`` in its own system; ``attrs["notes"]`` says more.

    Raises
    ------
    LayerError
        Lists every fault.
    """
    said = _columns(layer, where)
    checked = _Checked(where=where)
    _check_shapes(layer.geometry.to_numpy(), checked)
    days, notes = _days(said["date"], checked, timezone or ZoneInfo("UTC"))
    checked.fault(np.flatnonzero(said["product"].blank), "no product", "name what was sprayed")
    kg_per_ha = _doses(said, checked)
    checked.refuse()
    names = said.get("ingredient_name", Cells.same("", len(layer)))
    columns = {"date": days, "product": said["product"].to_numpy(), "ingredient_name": names.to_numpy()}
    made = gpd.GeoDataFrame(
        columns | {"kg_per_ha": kg_per_ha}, geometry=layer.geometry.to_numpy(), index=range(len(layer)), crs=layer.crs
    )
    notes += _unknown_notes(made)
    made.attrs["notes"] = [*layer.attrs.get("notes", ()), *(f"{where}: {note}" for note in notes)]
    return made


def _columns(layer: gpd.GeoDataFrame, where: str) -> dict[str, Cells]:
    """The cells of the columns of a log by name, in any case and cut as a shapefile cuts them."""
    there = {str(name).casefold(): name for name in layer.columns if name != layer.geometry.name}
    wanted = [*SPRAYED_COLUMNS[:3], *_DOSES]
    found = {name: there.get(name, there.get(name[:_CUT])) for name in wanted}
    if lacking := [name for name in ("date", "product") if found[name] is None]:
        columns = ", ".join(map(str, there.values())) or "none"
        mend = f"add it; its columns are: {columns}"
        raise LayerError(Fault(where=where, what=f"no column {name!r}", mend=mend) for name in lacking)
    return {name: Cells.of(layer[column]) for name, column in found.items() if column is not None}


def _check_shapes(shapes: NDArray[np.object_], checked: _Checked) -> None:
    """Only ground has a dose: not a point, nor the line that was walked."""
    flat = ~np.isin(shapely.get_type_id(shapes), [shapely.GeometryType.POLYGON, shapely.GeometryType.MULTIPOLYGON])
    mend = "draw the ground that was sprayed; a track needs its width on either side"
    checked.fault(np.flatnonzero(flat), "not a polygon", mend)
    checked.fault(np.flatnonzero(~flat & (shapely.area(shapes) <= 0)), "encloses no ground", mend)


def _days(cells: Cells, checked: _Checked, timezone: ZoneInfo) -> tuple[list[dt.date | None], list[str]]:
    """The day of each feature, and what was understood."""
    today = dt.datetime.now(timezone).date()
    read = read_dates(cells.texts, timezone=timezone, utc=False, today=today)
    days: list[dt.date | None] = []
    for number, (text, date) in enumerate(zip(cells.texts, read.date, strict=True)):
        whole = len(date) == len("2026-09-01")
        days.append(dt.date.fromisoformat(date) if whole else None)
        if not whole:
            said = (read.reason[number] or read.how[number] or f"date {text!r} is no day").partition(": ")[0]
            mend = "write year, month and day such as 2026-09-01" if text else "enter the day of the application"
            checked.fault(np.flatnonzero(cells.codes == number), said if text else "no date", mend)
    understood = [how for how, day in zip(read.how, days, strict=True) if how and day]
    return [days[code] for code in cells.codes], list(dict.fromkeys(understood))


def _doses(said: dict[str, Cells], checked: _Checked) -> NDArray[np.float64]:
    """The dose of each feature (kg/ha; NaN where blank)."""
    count = len(said["date"])
    found, told = np.full(count, np.nan), np.zeros(count, dtype=int)
    for name, unit in _DOSES.items():
        cells = said.get(name, Cells.same("", count))
        read = [_dose(text, unit) for text in cells.texts]
        for number, (_, problem) in enumerate(read):
            if problem:
                what, _, mend = problem.partition(": ")
                checked.fault(np.flatnonzero(cells.codes == number), f"{name} {what}", mend or "correct it")
        found = np.where(cells.blank, found, cells.each([value for value, _ in read]))
        told += ~cells.blank
    mend = f"leave one of {', '.join(_DOSES)}"
    checked.fault(np.flatnonzero(told > 1), "has its dose in more than one column", mend)
    return found


def _dose(text: str, unit: str) -> tuple[float, str]:
    """A dose in kg/ha, of a text with its unit or a number in ``unit``; else what is wrong and how to mend it."""
    if not text:
        return math.nan, ""
    try:
        value = float(text) * units.quantity(f"1 {unit}", "dose") if unit else units.quantity(text, "dose")
    except ValueError as error:
        said = f'{text!r} is no number: write a number in {unit}, or in a column "dose" with its unit'
        return math.nan, said if unit else str(error)
    if not math.isfinite(value):
        return math.nan, f"{text!r} is no number: correct it, or leave it blank where it is not known"
    return (value, "") if value >= 0 else (math.nan, f"{text!r} is below zero: correct it")


def _unknown_notes(made: gpd.GeoDataFrame) -> list[str]:
    """What the log does not say, and what comes of that."""
    notes, count = [], len(made)
    if blank := int(made["kg_per_ha"].isna().sum()):
        notes.append(
            f"{blank} of {count} applications have no dose: what may still be sprayed on their ground in that year is "
            "not known, so nothing of the same ingredient is planned there."
        )
    if blank := int((made["ingredient_name"] == "").sum()):
        notes.append(
            f"{blank} of {count} applications have no ingredient_name: they count for every mix, as it may be the same."
        )
    return notes


def _features(numbers: list[Any]) -> str:
    """Numbers of features, the first few of many."""
    listed = ", ".join(str(number) for number in sorted(numbers)[:_LISTED])
    more = f" and {len(numbers) - _LISTED} more" if len(numbers) > _LISTED else ""
    return f"feature{'s' if len(numbers) > 1 else ''} {listed}{more}"
