"""Positions whose decimals were cut: how far from the true place rounding may have put them."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pyproj import CRS

from invasimap.inputs.cells import Cells
from invasimap.inputs.formats.raw import RawLayer
from invasimap.inputs.recognise import Recognised

MOST_DECIMALS: Final = 3  # of a degree; with four, rounding moves a place by 6 m at most, less than most receivers err
_SAMPLE: Final = 1_000
_WHOLE: Final = 1e-6
_DEGREES: Final = re.compile(r"\s*[NSEWnsew]?\s*[-+]?\d{1,3}(?:[.,](\d*))?\s*°?\s*[NSEWnsew]?\s*")
_KEPT_ZERO: Final = re.compile(r"[.,]\d+0\D*$")  # 38.250, not 38.0, which programs write for 38
_LONGEST: Final = 40  # characters; a longer cell is no number of degrees
_AXIS_M: Final = 6_378_137.0  # WGS 84
_E2: Final = 0.00669437999014

_Axis = NDArray[np.float64]


def rounding_m(raw: RawLayer, columns: Iterable[Recognised], *, source: CRS | None) -> tuple[_Axis, list[str]]:
    """How far cut decimals may have put each record of a table of degrees (m, 0 where they have not), and the note."""
    found = np.zeros(len(raw.frame))
    named = {one.role: one.column for one in reversed(list(columns)) if one.role in ("lon", "lat")}
    if raw.xy is None or not raw.crs_assumed or source is None or not source.is_geographic or len(named) < 2:
        return found, []
    may_be = _is_short(raw.xy[:, 0]) & _is_short(raw.xy[:, 1])
    if not may_be.any():
        return found, []
    spread = _spread(len(may_be))
    rows = np.union1d(np.flatnonzero(may_be), spread)
    lon, lat = (Cells.of(raw.frame[named[role]].iloc[rows]).to_numpy() for role in ("lon", "lat"))
    implied = implied_precision_m(lon, lat, raw.xy[rows, 1], habit=np.searchsorted(rows, spread), records=len(found))
    found[rows] = np.nan_to_num(np.fmax(*implied))
    found[(raw.xy == 0).all(axis=1)] = 0.0  # 0, 0 is no position
    short = found > 0
    if not short.any():
        return found, []
    return found, [
        f"{raw.label}: {int(short.sum())} of {len(found)} positions have {MOST_DECIMALS} decimals or fewer: "
        f"they are true to {found[short].min():,.0f} m at best, which their accuracy counts; "
        "export them again with 5 decimals or more"
    ]


def _spread(count: int) -> NDArray[np.intp]:
    """Rows all over a file, from which its habits are told."""
    return np.linspace(0, count - 1, min(count, _SAMPLE)).astype(np.intp)


def implied_precision_m(
    lon_cells: NDArray[np.object_], lat_cells: NDArray[np.object_], lat: _Axis, *, habit: NDArray[np.intp], records: int
) -> tuple[_Axis, _Axis]:
    """North-south and east-west (m): half the step of the last decimal where three or fewer were written.

    NaN where there are more, or where a cell is no number of degrees. The longer of a record's two cells tells how
    many decimals it was written with, since zeros at the end are often dropped; where a file drops them, records with
    fewer decimals than usual count as usual unless they are too many for chance.

    Parameters
    ----------
    lon_cells, lat_cells
        Cells of a file as text: at least all with so few decimals.
    lat
        Latitude read from them, in degrees.
    habit
        Rows among them that lie all over the file.
    records
        How many the whole file has.

    Examples
    --------
    >>> cells = np.array(["-80.123"], dtype=object), np.array(["39.001"], dtype=object)
    >>> found = implied_precision_m(*cells, np.array([39.001]), habit=np.array([0]), records=1)
    >>> [step_m.round(1).tolist() for step_m in found]
    [[55.5], [43.3]]
    """
    north_m, east_m = (np.full(len(lat), np.nan) for _ in range(2))
    rows = np.flatnonzero(_is_short(lat))
    if not len(rows):
        return north_m, east_m
    decimals = _written(lon_cells[rows], lat_cells[rows])
    usual, dropped = _habit(lon_cells[habit], lat_cells[habit])
    if dropped:
        decimals = _without_chance(decimals, usual=usual, records=records)
    short = (decimals >= 0) & (decimals <= MOST_DECIMALS)
    north_m[rows[short]], east_m[rows[short]] = half_steps_m(decimals[short], lat[rows[short]])
    return north_m, east_m


def half_steps_m(decimals: NDArray[np.int64], lat: _Axis) -> tuple[_Axis, _Axis]:
    """Half of the last decimal of a degree at a latitude, in metres north-south and east-west (WGS 84).

    Examples
    --------
    >>> north_m, east_m = half_steps_m(np.array([3]), np.array([39.0]))
    >>> round(float(north_m[0]), 1), round(float(east_m[0]), 1)
    (55.5, 43.3)
    """
    half = np.radians(0.5 * 10.0 ** -decimals.astype(float))
    flat = 1 - _E2 * np.sin(np.radians(lat)) ** 2
    return half * _AXIS_M * (1 - _E2) / flat**1.5, half * _AXIS_M / np.sqrt(flat) * np.cos(np.radians(lat))


def _is_short(degrees: _Axis) -> NDArray[np.bool_]:
    """Degrees that three decimals can write: a quick sieve, so that cells are looked at only where it may matter."""
    with np.errstate(invalid="ignore", over="ignore"):
        steps = degrees * 10.0**MOST_DECIMALS
        return np.abs(steps - np.round(steps)) < _WHOLE


def _written(lon: NDArray[np.object_], lat: NDArray[np.object_]) -> NDArray[np.int64]:
    """Decimals of each record's longer cell; -1 where a cell is no number of degrees."""
    one, other = _count(lon), _count(lat)
    return np.where((one < 0) | (other < 0), -1, np.maximum(one, other))


def _count(cells: NDArray[np.object_]) -> NDArray[np.int64]:
    """Decimals of each cell, worked once for each distinct text."""
    codes, texts = pd.factorize(cells, use_na_sentinel=False)
    return np.array([_decimals(text) for text in texts], dtype=np.int64)[codes]


def _habit(lon: NDArray[np.object_], lat: NDArray[np.object_]) -> tuple[int, bool]:
    """The commonest number of decimals in a file, and whether zeros at the end were dropped."""
    counts = _written(lon, lat)
    counts = counts[counts >= 0]
    usual = int(np.bincount(counts).argmax()) if len(counts) else -1
    return usual, not any(_KEPT_ZERO.search(str(cell)) for cell in (*lon, *lat))


def _without_chance(decimals: NDArray[np.int64], *, usual: int, records: int) -> NDArray[np.int64]:
    """Records with fewer decimals than usual given the usual ones, where zeros dropped from both cells explain them.

    Both cells end in a zero once in a hundred records, in two zeros once in ten thousand.
    """
    levels = np.arange(max(usual, 0))
    expected = records * 100.0 ** (levels - usual)
    counts = np.bincount(decimals[decimals >= 0], minlength=len(levels))[: len(levels)]
    by_chance = np.append(counts <= expected + 4 * np.sqrt(expected), False)  # a last entry for all other levels
    level = np.where((decimals >= 0) & (decimals < usual), decimals, len(levels))
    return np.where(by_chance[level], usual, decimals)


def _decimals(cell: Any) -> int:
    """How many decimals a cell of degrees has; -1 where it is none."""
    text = str(cell)
    found = _DEGREES.fullmatch(text) if len(text) <= _LONGEST else None
    return len(found[1] or "") if found else -1
