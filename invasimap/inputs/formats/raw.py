"""What every format reader gives: the records as read, their geometry and what is wrong with it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from invasimap.core.errors import Fault, LayerError
from invasimap.inputs.cells import Cells
from invasimap.inputs.fields import DecimalComma

WGS84: Final = CRS.from_epsg(4326)
MAX_BYTES: Final = 200_000_000  # of one text file or one member of an archive, unless [intake.limits] says otherwise
NO_GEOMETRY: Final = "has no geometry"
_CLOSE: Final = 6  # numbers tried one by one: a file may repeat a name a million times


@dataclass(frozen=True, kw_only=True)
class Record:
    """One record of a file as read: its values, its geometry or the problem with it."""

    values: dict[str, Any]
    geometry: BaseGeometry | None = None
    problem: str = ""
    repair: str = ""
    group: str = ""
    walked: bool = False


@dataclass(frozen=True, kw_only=True)
class RawLayer:
    """All records of one layer in file order.

    ``frame`` has the columns as read on a plain 0..n-1 index and ``marks`` the columns problem, repair, group (GPX
    element or KML folder) and walked (a recorded track). ``geometry`` holds one shape (or None) a record in ``crs``; of
    a layer of points alone it may be None, and ``xy`` holds their coordinates (n x 2, NaN where there is none).
    ``crs_assumed`` says that the file does not name ``crs`` itself: a setting may replace it.
    ``decimal_comma`` says how a comma between digits is read; ``utc`` that times without an offset are UTC.
    """

    label: str
    layer: str
    frame: pd.DataFrame
    geometry: NDArray[np.object_] | None
    marks: pd.DataFrame
    crs: CRS | None
    crs_assumed: bool = False
    decimal_comma: DecimalComma = "never"
    utc: bool = False
    notes: tuple[str, ...] = field(default=())
    xy: NDArray[np.float64] | None = None

    @cached_property
    def shapes(self) -> NDArray[np.object_]:
        """One shape (or None) a record; made of ``xy`` where that is what was read."""
        if self.geometry is not None:
            return self.geometry
        xy = np.empty((0, 2)) if self.xy is None else self.xy
        made = np.full(len(xy), None, dtype=object)
        good = ~np.isnan(xy).any(axis=1)
        made[good] = shapely.points(xy[good])
        return made

    @cached_property
    def points(self) -> NDArray[np.float64] | None:
        """Coordinates (n x 2, NaN where there is none) of a layer of single points; None where it has other shapes."""
        if self.geometry is None:
            return self.xy
        kinds = np.where(shapely.is_empty(self.geometry), -1, shapely.get_type_id(self.geometry))
        if not np.isin(kinds, (-1, 0)).all():
            return None
        xy = np.full((len(kinds), 2), np.nan)
        xy[kinds == 0] = np.column_stack(
            [shapely.get_x(self.geometry[kinds == 0]), shapely.get_y(self.geometry[kinds == 0])]
        )
        return xy


def from_records(
    records: Sequence[Record],
    *,
    label: str,
    layer: str,
    crs: CRS | None,
    utc: bool = False,
    notes: Sequence[str] = (),
) -> RawLayer:
    """A raw layer from records read one by one; columns in order of first appearance."""
    columns = list(dict.fromkeys(key for record in records for key in record.values))
    table = {c: pd.Series([r.values.get(c) for r in records], dtype=object) for c in columns}
    geometry = np.empty(len(records), dtype=object)
    geometry[:] = [record.geometry for record in records]
    return RawLayer(
        label=label,
        layer=layer,
        frame=pd.DataFrame(table, index=pd.RangeIndex(len(records))),
        geometry=geometry,
        marks=marks(
            len(records),
            problem=[r.problem for r in records],
            repair=[r.repair for r in records],
            group=[r.group for r in records],
            walked=[r.walked for r in records],
        ),
        crs=crs,
        utc=utc,
        notes=tuple(notes),
    )


def marks(count: int, **columns: Sequence[Any] | NDArray[Any] | Cells) -> pd.DataFrame:
    """The ``marks`` of a raw layer; what is not given is blank."""
    index = pd.RangeIndex(count)
    blank = Cells.same("", count)
    made = {}
    for name in ("problem", "repair", "group"):
        given = columns.get(name, blank)
        one: Any = given.to_categories() if isinstance(given, Cells) else np.asarray(given, dtype=object)
        made[name] = pd.Series(one, index=index, dtype=one.dtype)
    walked = np.asarray(columns.get("walked", np.zeros(count)), dtype=bool)
    return pd.DataFrame({**made, "walked": walked}, index=index)


def read_bytes(path: Path, *, label: str, limit_B: float = MAX_BYTES) -> bytes:
    """The whole of a file, which is only ever opened where it is a plain one.

    Raises
    ------
    LayerError
        When the file is empty, too large or cannot be read.
    """
    try:
        size = path.stat().st_size
        if 0 < size <= limit_B and path.is_file():
            return path.read_bytes()
    except OSError as error:
        raise LayerError(Fault(where=label, what=f"cannot be read: {error.strerror or error}")) from error
    if size <= limit_B:
        what = "is empty (0 bytes)" if size == 0 else "is no plain file"
        raise LayerError(Fault(where=label, what=what, mend="export it again from the receiver or program"))
    mend = 'if it is meant to be so large, set file = "…" in [intake.limits]'
    raise LayerError(
        Fault(where=label, what=f"is {size / 1e6:,.0f} MB; the limit is {limit_B / 1e6:,.0f} MB", mend=mend)
    )


def unique_name(name: str, taken: Any) -> str:
    """``name``, or the first of ``name_2``, ``name_3`` … that is not taken."""
    if name not in taken:
        return name
    number = 2
    while number < _CLOSE and f"{name}_{number}" in taken:
        number += 1
    low, number = (number - 1, number) if number < _CLOSE else (number - 1, len(taken) + 2)  # one of so many is free
    while low < number - 1:
        middle = (low + number) // 2
        low, number = (middle, number) if f"{name}_{middle}" in taken else (low, middle)
    return f"{name}_{number}"
