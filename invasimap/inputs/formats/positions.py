"""Positions as crews write them in a cell: degrees with minutes and seconds, UTM with its zone, MGRS, WKT.

Pure functions on columns of text. Each gives as many answers as cells, and says why a cell is no position.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final, Literal

import mgrs
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer

from invasimap.inputs.cells import floats_among, map_unique

Axis = Literal["lon", "lat"]
BANDS: Final = "CDEFGHJKLMNPQRSTUVWX"  # 8 degrees of latitude each from 80 S; X is 12
MIN_MGRS_DIGITS: Final = 4
_FINE_MGRS_DIGITS: Final = 8  # 10 m
_LETTERS: Final = {"lat": "NS", "lon": "EW"}
_SIGNS: Final = str.maketrans(
    {
        **dict.fromkeys("\u00ba\u02da", "°"),
        **dict.fromkeys("\u2032\u2019\u2018\u00b4\u02b9", "'"),
        **dict.fromkeys("\u2033\u201d\u201c", '"'),
        **dict.fromkeys("\u2212\u2013", "-"),
    }
)
_DEGREES: Final = re.compile(
    r"""([NSEW])?\ ?([-+])?\ ?(\d+(?:\.\d*)?)
        (?:\ ?[°:\ ]\ ?(\d+(?:\.\d*)?) (?:\ ?[':\ ]\ ?(\d+(?:\.\d*)?))? )?
        \ ?[°'":]?\ ?([NSEW])?""",
    re.X,
)
_ZONE: Final = re.compile(r"(?:UTM)?\s*(?:ZONE)?\s*(\d{1,2})\s*(NORTH|SOUTH|[A-Z])?", re.I)
_METRES: Final = r"(\d{1,8}(?:\.\d+)?)\s*"
_UTM: Final = re.compile(rf"({_ZONE.pattern})[\s,;]+{_METRES}(?:M?E)?[\s,;]+{_METRES}(?:M?N)?", re.I)
_MGRS: Final = re.compile(r"([0-9]{1,2})([A-Z])([A-Z]{2})([0-9]*)")
_DEEPEST: Final = 100  # brackets: what reads them ends the program when there are many thousands
_WKT: Final = re.compile(
    r"(?:SRID=(\d+)\s*;)?\s*(?:(?:MULTI)?(?:POINT|LINESTRING|POLYGON|CURVE|SURFACE)|GEOMETRYC|CIRC|COMP)", re.I
)
_LONGEST: Final = 120
_FLOATS = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Positions:
    """Longitude and latitude in degrees (NaN where there is none), why there is none, and what had to be taken."""

    lon: _FLOATS
    lat: _FLOATS
    problem: NDArray[np.object_]
    repair: NDArray[np.object_]


def parse_degrees(cells: pd.Series[Any], *, axis: Axis) -> tuple[_FLOATS, NDArray[np.object_]]:
    """Decimal degrees of each cell (NaN where it is none) and why it is none ("" where it is one).

    Read are decimal degrees, degrees and minutes, and degrees, minutes and seconds, each with a sign or a hemisphere
    letter before or behind.

    Examples
    --------
    >>> parse_degrees(pd.Series(["38 15.924 N", "38°75'N"]), axis="lat")[0].round(4).tolist()
    [38.2654, nan]
    """
    values = _numbers(cells)
    values[~np.isfinite(values)] = np.nan
    problem = np.full(len(values), "", dtype=object)
    rest = np.flatnonzero(np.isnan(values))
    if len(rest):
        read = map_unique(_short(cells.iloc[rest]), lambda cell: _degrees(cell, axis))
        values[rest] = [value for value, _ in read]
        problem[rest] = [why for _, why in read]
    return values, problem


def parse_utm(easting: pd.Series[Any], northing: pd.Series[Any], zone: pd.Series[Any]) -> Positions:
    """UTM in metres (WGS 84) with a zone for each record; a zone without a letter is taken as north.

    "S" is the latitude band from 32 to 40 N where the northing lies in it, else the southern half.

    Examples
    --------
    >>> found = parse_utm(pd.Series(["500000"]), pd.Series(["4206000"]), pd.Series(["17S"]))
    >>> found.lon.round(6).tolist(), found.lat.round(2).tolist()
    ([-81.0], [38.0])
    """
    easting, northing, zone = (_short(cells) for cells in (easting, northing, zone))
    x, y = (_metres(cells) for cells in (easting, northing))
    zones = map_unique(zone, _zone)
    number = np.array([number for number, _ in zones], dtype=int)
    letter = np.array([letter for _, letter in zones], dtype=object)
    problem = np.full(len(x), "", dtype=object)
    for wrong, why in (
        (number == 0, [f"UTM zone {cell!r} is none" if cell else "UTM zone is blank" for cell in zone]),
        (~((y >= 0) & (y <= 10_000_000)), [f"northing {cell!r} is no UTM northing" for cell in northing]),
        (~((x > 0) & (x < 1_000_000)), [f"easting {cell!r} is no UTM easting" for cell in easting]),
    ):
        problem = np.where(wrong, np.array(why, dtype=object), problem)
    lon, lat = _from_utm(x, y, np.where(problem == "", number, 0), south=_is_south(letter))
    bandless = (letter == "S") & ~_in_band(lat, letter)
    lon_s, lat_s = _from_utm(x, y, np.where((problem == "") & bandless, number, 0), south=bandless)
    lon, lat = np.where(bandless, lon_s, lon), np.where(bandless, lat_s, lat)
    named = np.isin(letter, ["", "N", "S", "NORTH", "SOUTH"])
    off = (problem == "") & ~named & ~_in_band(lat, letter)
    problem[off] = [f"UTM zone letter {one!r} does not fit its northing" for one in letter[off]]
    lon[off] = lat[off] = np.nan
    return Positions(lon=lon, lat=lat, problem=problem, repair=np.full(len(x), "", dtype=object))


def parse_mgrs(cells: pd.Series[Any]) -> Positions:
    """MGRS or US National Grid; fewer than four digits are too coarse, the middle of a square is taken."""
    converter = mgrs.MGRS()
    with warnings.catch_warnings():
        warnings.simplefilter("error", RuntimeWarning)  # the converter only warns of a square outside its band
        read = map_unique(_short(cells), lambda cell: _mgrs(cell, converter))
    return _positions(read)


def parse_texts(cells: pd.Series[Any]) -> Positions:
    """A whole position in one cell: MGRS, UTM with its zone first, or latitude and longitude.

    Examples
    --------
    >>> parse_texts(pd.Series(["38°15.924'N, 78°30'W"])).lon.tolist()
    [-78.5]
    """
    text = _short(cells)
    kinds = np.array(map_unique(text, _kind), dtype=object)
    lon, lat = (np.full(len(text), np.nan) for _ in range(2))
    problem, repair = (np.full(len(text), "", dtype=object) for _ in range(2))
    readers: dict[str, Callable[[pd.Series[Any]], Positions]] = {
        "utm": _utm_texts, "mgrs": parse_mgrs, "pair": _pairs,
    }  # fmt: skip
    for kind, reader in readers.items():
        rows = np.flatnonzero(kinds == kind)
        if len(rows):
            found = reader(text.iloc[rows])
            lon[rows], lat[rows] = found.lon, found.lat
            problem[rows], repair[rows] = found.problem, found.repair
    return Positions(lon=lon, lat=lat, problem=problem, repair=repair)


def is_wkt(cell: str) -> bool:
    """Whether a cell starts as well-known text does."""
    return _WKT.match(cell.strip()) is not None


def parse_wkt(cells: pd.Series[Any]) -> tuple[NDArray[np.object_], NDArray[np.object_]]:
    """Flat shapes of well-known text (None where there is none) and why there is none."""
    read = map_unique(cells, _wkt)
    geometry, problem = (np.empty(len(read), dtype=object) for _ in range(2))
    geometry[:] = [shape for shape, _ in read]
    problem[:] = [why for _, why in read]
    return geometry, problem


def not_a_number(name: str, cell: str) -> str:
    """Why a coordinate cannot be used."""
    if cell == "":
        return f"{name} is blank"
    letters = " (letter O for zero?)" if "o" in cell.lower() and any(c.isdigit() for c in cell) else ""
    return f"{name} {cell!r} is no number{letters}"


def _short(cells: pd.Series[Any]) -> pd.Series[Any]:
    """Cells with single spaces; one too long for a position is cut and marked, so that it is none and costs no time."""

    def short(cell: str) -> str:
        text = " ".join(cell.split())
        return text if len(text) <= _LONGEST else f"{text[:40]}…"

    return pd.Series(map_unique(cells, short), index=cells.index, dtype=object)


def _numbers(cells: pd.Series[Any]) -> _FLOATS:
    """Cells as numbers, NaN for those that are none; only what is no float yet is read."""
    if pd.api.types.is_float_dtype(cells):
        return cells.to_numpy(dtype=float, copy=True)
    values = floats_among(cells.to_numpy(dtype=object))
    rest = np.flatnonzero(np.isnan(values))
    values[rest] = pd.to_numeric(cells.iloc[rest], errors="coerce").to_numpy(dtype=float)
    return values


def _degrees(cell: str, axis: Axis) -> tuple[float, str]:
    text = re.sub(r"\bDEG(REES?)?\b\.?", "°", cell.translate(_SIGNS).replace("''", '"').upper())
    if any(mark in text for mark in "°'\"NSEW"):
        text = re.sub(r"(?<=\d),(?=\d)", ".", text)
    found = _DEGREES.fullmatch(" ".join(text.split()))
    if not found:
        return np.nan, not_a_number(axis, cell)
    before, sign, *parts, behind = found.groups()
    letter = before or behind or ""
    numbers = [float(part) for part in parts if part]
    for why, wrong in (
        (f"{axis} {cell!r} has two hemisphere letters", bool(before and behind)),
        (f"{axis} {cell!r} has the hemisphere letter of the other axis", bool(letter) and letter not in _LETTERS[axis]),
        (f"{axis} {cell!r} has a minus sign and {letter}", sign == "-" and letter in ("N", "E")),
        (f"{axis} {cell!r}: only the last part may have a decimal point", any(n % 1 for n in numbers[:-1])),
        (f"{axis} {cell!r}: minutes or seconds are 60 or more", any(n >= 60 for n in numbers[1:])),
    ):
        if wrong:
            return np.nan, why
    value = sum(number / 60**power for power, number in enumerate(numbers))
    return (-value if sign == "-" or letter in ("S", "W") else value), ""


def _metres(cells: pd.Series[Any]) -> _FLOATS:
    bare = cells.str.replace(r"\s*m\s*[en]?$", "", regex=True, case=False)
    return pd.to_numeric(bare, errors="coerce").to_numpy(dtype=float)


def _zone(cell: str) -> tuple[int, str]:
    """Zone number (0 for none) and letter."""
    found = _ZONE.fullmatch(cell.strip())
    number, letter = (int(found[1]), (found[2] or "").upper()) if found else (0, "")
    fits = 1 <= number <= 60 and (len(letter) != 1 or letter in BANDS)
    return (number, letter) if fits else (0, "")


def _is_south(letter: NDArray[np.object_]) -> NDArray[np.bool_]:
    return np.array([one == "SOUTH" or (len(one) == 1 and one < "N") for one in letter], dtype=bool)


def _in_band(lat: _FLOATS, letter: NDArray[np.object_]) -> NDArray[np.bool_]:
    """Whether a latitude is in its band; half a degree over, since receivers keep the letter across its edge."""
    place = np.array([BANDS.find(one) if len(one) == 1 else -1 for one in letter])
    low = -80.0 + 8 * place
    high = np.where(place == len(BANDS) - 1, 84.0, low + 8)
    return (place >= 0) & (lat >= low - 0.5) & (lat <= high + 0.5)


def _from_utm(x: _FLOATS, y: _FLOATS, number: NDArray[Any], *, south: NDArray[np.bool_]) -> tuple[_FLOATS, _FLOATS]:
    """Longitude and latitude zone by zone; NaN where the zone is 0."""
    lon, lat = (np.full(len(x), np.nan) for _ in range(2))
    for zone in np.unique(number[number > 0]):
        for half, base in ((False, 32600), (True, 32700)):
            rows = (number == zone) & (south == half)
            if rows.any():
                move = Transformer.from_crs(CRS.from_epsg(base + int(zone)), 4326, always_xy=True)
                lon[rows], lat[rows] = move.transform(x[rows], y[rows])
    return lon, lat


def _mgrs(cell: str, converter: mgrs.MGRS) -> tuple[float, float, str, str]:
    text = re.sub(r"\s+", "", cell).upper()
    found = _MGRS.fullmatch(text)
    if not found:
        return np.nan, np.nan, f"MGRS {cell!r} is none" if cell else "MGRS is blank", ""
    digits = found[4]
    if len(digits) % 2 or len(digits) > 10:
        return np.nan, np.nan, f"MGRS {cell!r} has {len(digits)} digits: it needs as many for east as for north", ""
    if len(digits) < MIN_MGRS_DIGITS:
        return np.nan, np.nan, f"MGRS {cell!r} is too coarse: a square of {100_000 // 10 ** (len(digits) // 2):,} m", ""
    half = len(digits) // 2
    coarse = len(digits) < _FINE_MGRS_DIGITS
    # to the metre, so that it is no matter whether the converter gives the corner of a square or its middle
    middle = "".join(f"{part}5".ljust(5, "0")[:5] for part in (digits[:half], digits[half:]))
    try:
        lat, lon = converter.toLatLon(f"{text[: len(text) - len(digits)]}{middle}")
    except (mgrs.core.MGRSError, RuntimeWarning):
        return np.nan, np.nan, f"MGRS {cell!r} names no square", ""
    return lon, lat, "", f"MGRS to {10 ** (5 - half):,} m: middle of its square taken" if coarse else ""


def _positions(read: list[tuple[float, float, str, str]]) -> Positions:
    columns = list(zip(*read, strict=True)) if read else [(), (), (), ()]
    texts = [np.array(column, dtype=object) for column in columns[2:]]
    lon, lat = (np.array(column, dtype=float) for column in columns[:2])
    return Positions(lon=lon, lat=lat, problem=texts[0], repair=texts[1])


def _kind(cell: str) -> str:
    text = cell.strip()
    if _UTM.fullmatch(text):
        return "utm"
    return "mgrs" if _MGRS.fullmatch(re.sub(r"\s+", "", text).upper()) else "pair"


def _utm_texts(cells: pd.Series[Any]) -> Positions:
    parts = [_utm_parts(cell.strip()) for cell in cells]
    zone, easting, northing = (pd.Series(column, dtype=object) for column in zip(*parts, strict=True))
    return parse_utm(easting, northing, zone)


def _utm_parts(text: str) -> tuple[str, str, str]:
    found = _UTM.fullmatch(text)
    return (found[1], found[4], found[5]) if found else ("", "", "")


def _pairs(cells: pd.Series[Any]) -> Positions:
    halves = map_unique(cells, _halves)
    lat_cells, lon_cells = (pd.Series([half[k] for half in halves], dtype=object) for k in (0, 1))
    lat, lat_why = parse_degrees(lat_cells, axis="lat")
    lon, lon_why = parse_degrees(lon_cells, axis="lon")
    problem = np.where(lat_why != "", lat_why, lon_why).astype(object)
    none = np.array([half[1] == "" for half in halves], dtype=bool)
    problem[none] = [f"position {cell!r} is not read" if cell else "position is blank" for cell in cells[none]]
    return Positions(lon=lon, lat=lat, problem=problem, repair=np.full(len(cells), "", dtype=object))


def _halves(cell: str) -> tuple[str, str]:
    """Texts of latitude and longitude; the letters say which is which, else latitude stands first."""
    text = cell.strip().strip("()[]").upper()
    parts = [part.strip() for part in re.split(r"[;,/|]", text) if part.strip()]
    if len(parts) != 2:
        parts = [p.strip(" ,;") for p in re.findall(r"[NSEW][^NSEW]+", text) or re.findall(r"[^NSEW]+[NSEW]", text)]
    if len(parts) != 2:
        parts = text.split()
    if len(parts) != 2:
        return text, ""
    return (parts[1], parts[0]) if any(c in parts[0] for c in "EW") else (parts[0], parts[1])


def _depth(cell: str) -> int:
    """How many brackets at most are open at one place."""
    if cell.count("(") <= _DEEPEST:
        return 0
    signs = np.frombuffer(cell.encode("ascii", "replace"), dtype=np.uint8)
    return int(np.cumsum((signs == ord("(")).astype(int) - (signs == ord(")"))).max())


def _wkt(cell: str) -> tuple[Any, str]:
    found = _WKT.match(cell.strip())
    if not found:
        return None, f"WKT {cell[:40]!r} is none" if cell else "WKT is blank"
    if found[1] and int(found[1]) != 4326:
        return None, f"WKT is in EPSG:{found[1]}: write it in EPSG:4326"
    if _depth(cell) > _DEEPEST:
        return None, f"WKT {cell[:40]!r} is nested too deep"
    try:
        shape = shapely.force_2d(shapely.from_wkt(cell.strip().rpartition(";")[2]))
    except shapely.errors.ShapelyError as error:
        return None, f"WKT {cell[:40]!r} is not read: {str(error).strip()}"
    if shape.is_empty or not np.isfinite(shapely.get_coordinates(shape)).all():
        return None, "has no geometry" if shape.is_empty else f"WKT {cell[:40]!r} has a coordinate that is no number"
    return shape, ""
