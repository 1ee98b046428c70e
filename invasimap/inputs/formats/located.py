"""Where the rows of a table are: which columns hold the position, and the shapes they give."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from typing import Any, Final

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from invasimap.core.errors import Fault, LayerError
from invasimap.inputs.cells import Cells, floats_among, text_column
from invasimap.inputs.fields import Column, DecimalComma, find_columns, header_words, is_lonlat, plain_number
from invasimap.inputs.formats import positions
from invasimap.inputs.formats.datums import said_datum
from invasimap.inputs.formats.raw import WGS84, RawLayer, marks

LonLat = tuple[str | None, str | None]

# header words run together of columns that hold a whole position, in the order in which they are believed
_WKT: Final = ("wkt", "wktgeom", "geomwkt", "geometrywkt", "wktgeometry", "thegeom", "geom", "geometry")
_TEXT: Final = (
    "mgrs", "usng", "mgrscoordinate", "mgrscoordinates", "gridreference", "gridref", "utm", "utmcoordinate",
    "utmcoordinates", "latlon", "latlong", "latitudelongitude", "coordinates", "coordinate", "coords", "position",
)  # fmt: skip
_ZONE: Final = ("utmzone", "zoneutm", "gridzone", "zone")
# columns of loggers that hold the hemisphere of the degrees beside them
_HALVES: Final = {"lat": ("ns", "nsindicator", "latns", "latref", "latituderef", "lathemisphere", "latitudehemisphere"),
                  "lon": ("ew", "ewindicator", "lonew", "lonref", "longituderef", "lonhemisphere",
                          "longitudehemisphere")}  # fmt: skip
_EASTING: Final = ("easting", "east", "utmx", "utme", "utmeasting")


@dataclasses.dataclass(frozen=True, kw_only=True)
class Located:
    """One shape (or None) or point (``xy``, NaN for none) a row in ``crs``, why a row has none, and what was taken.

    ``as_read`` says that the numbers are those of the table, not worked out of UTM or another text.
    """

    problem: pd.Series[Any]
    geometry: NDArray[np.object_] | None = None
    xy: NDArray[np.float64] | None = None
    repair: NDArray[np.object_] | None = None
    crs: CRS | None = WGS84
    as_read: bool = True
    notes: tuple[str, ...] = ()


def has_position(headers: Iterable[str], lonlat: LonLat = (None, None)) -> bool:
    """Whether a row of headers names columns for the position.

    Examples
    --------
    >>> has_position(["species", "Lat", "Long"]), has_position(["Survey of the north wood", ""])
    (True, False)
    """
    headers = [header for header in headers if header]
    found = find_columns(headers, overrides=_overrides(lonlat))
    return ("lon" in found and "lat" in found) or bool(_named(headers, _WKT) or _named(headers, _TEXT))


def degree_columns(headers: Iterable[str], lonlat: LonLat = (None, None)) -> list[str]:
    """The columns that hold a longitude or a latitude in degrees, by their headers."""
    found = find_columns(list(headers), overrides=_overrides(lonlat))
    return [found[role][0].name for role in ("lon", "lat") if role in found and is_lonlat(found[role][0].name)]


def locate(frame: pd.DataFrame, *, label: str, lonlat: LonLat = (None, None), comma: DecimalComma = "never") -> Located:
    """The shapes of a table's rows; ``lonlat`` names the columns where their headers do not (one for both: its text).

    Raises
    ------
    LayerError
        When it has no columns for the position.
    """
    overrides = _overrides(lonlat)
    found = find_columns(frame.columns, overrides=overrides)
    both = "lon" in found and "lat" in found
    if not overrides and (name := _wkt_column(frame, anyway=not both)):
        return _of_wkt(text_column(frame[name]))
    texts = _named(frame.columns, _TEXT)
    if both and overrides and found["lon"][0].name == found["lat"][0].name:
        return _of_texts(text_column(frame[found["lon"][0].name]), frame.index)
    if both:
        return _of_columns(frame, found, label=label, comma=comma)
    if texts:
        return _of_texts(text_column(frame[texts]), frame.index)
    raise LayerError(
        Fault(
            where=label,
            what=f"has no columns for longitude and latitude; its columns are {', '.join(frame.columns)}",
            mend='name them lon and lat, or set columns = { lon = "…", lat = "…" }',
        )
    )


def table_layer(
    frame: pd.DataFrame, problem: Cells, located: Located, *, label: str, layer: str, comma: DecimalComma,
    notes: Iterable[str] = (),
) -> RawLayer:  # fmt: skip
    """The raw layer of a table whose rows are located; a problem of the row goes before one of its position."""
    why = problem.or_else(Cells.seldom(located.problem.to_numpy()))
    repair = Cells.same("", len(frame)) if located.repair is None else Cells.seldom(located.repair)
    crs, said = said_datum(frame, located.crs, label=label, as_read=located.as_read)
    return RawLayer(
        label=label,
        layer=layer,
        frame=frame,
        geometry=located.geometry,
        xy=located.xy,
        marks=marks(len(frame), problem=why, repair=repair),
        crs=crs,
        crs_assumed=True,
        decimal_comma=comma,
        notes=(*notes, *located.notes, *said),
    )


def _overrides(lonlat: LonLat) -> dict[str, str]:
    return {role: name for role, name in zip(("lon", "lat"), lonlat, strict=True) if name}


def _named(headers: Iterable[str], names: tuple[str, ...]) -> str:
    """The header whose words stand first in ``names``; "" when there is none."""
    words = {header_words(header)[0]: header for header in reversed(list(headers))}
    return next((words[name] for name in names if name in words), "")


def _wkt_column(frame: pd.DataFrame, *, anyway: bool) -> str:
    """The column of well-known text; ``anyway`` also one in which no cell is."""
    name = _named(frame.columns, _WKT)
    if not name:
        return ""
    cells = text_column(frame[name])
    filled = cells[cells != ""].unique()
    return name if anyway or sum(map(positions.is_wkt, filled)) > len(filled) / 2 else ""


def _of_wkt(cells: pd.Series[Any]) -> Located:
    geometry, problem = positions.parse_wkt(cells)
    bounds = np.abs(shapely.bounds(geometry[~shapely.is_missing(geometry)]))
    beyond = int(np.any(bounds > np.array([180.0, 90.0, 180.0, 90.0]), axis=1).sum())
    degrees = 2 * beyond <= len(bounds)  # the text names no system: most shapes say which
    return Located(geometry=geometry, problem=pd.Series(problem, index=cells.index), crs=WGS84 if degrees else None)


def _of_texts(cells: pd.Series[Any], index: pd.Index[Any]) -> Located:
    return _of_positions(positions.parse_texts(cells), index)


def _of_columns(
    frame: pd.DataFrame, found: dict[str, list[Column]], *, label: str, comma: DecimalComma
) -> Located:  # fmt: skip
    known = is_lonlat(found["lon"][0].name) and is_lonlat(found["lat"][0].name)
    number: DecimalComma = "always" if known and comma != "never" else comma  # no thousands among degrees
    lon, lat = (_axis(frame, _alike(found[role], known=known), comma=number) for role in ("lon", "lat"))
    zone = "" if known else _zone_column(frame, found["lon"][0].name)
    if zone:
        zones = text_column(frame[zone])
        bare = zones.str.fullmatch(r"\D*\d+\D*").fillna(False) & ~zones.str.contains(r"\d\s*[A-Za-z]")
        notes = (f"{label}: UTM zones without a letter are taken as north of the equator",) if bare.any() else ()
        return dataclasses.replace(_of_positions(positions.parse_utm(lon, lat, zones), frame.index), notes=notes)
    if known:
        lon, lat = (_with_half(cells, frame, axis) for cells, axis in ((lon, "lon"), (lat, "lat")))
    (x, lon_why), (y, lat_why) = positions.parse_degrees(lon, axis="lon"), positions.parse_degrees(lat, axis="lat")
    rows = np.flatnonzero(lon_why)
    lat_why[rows] = lon_why[rows]
    why = pd.Series(lat_why, index=frame.index, dtype=object)
    return Located(xy=np.column_stack([x, y]), problem=why, crs=WGS84 if known else None)


def _axis(frame: pd.DataFrame, columns: list[Column], *, comma: DecimalComma) -> pd.Series[Any]:
    """The cells of an axis: numbers as they are, else text."""
    first = frame[columns[0].name]
    if pd.api.types.is_float_dtype(first) and (len(columns) == 1 or first.notna().all()):
        return first
    values: Any = first.to_numpy(dtype=object, copy=True)
    rest = np.flatnonzero(~np.isfinite(floats_among(values)))
    found = Cells.same("", len(rest))
    for column in columns:
        cells = Cells.of(frame[column.name].iloc[rest])
        if comma != "never":
            cells = cells.map(lambda text: plain_number(text, thousands=comma == "unless_thousands"))
        found = found.or_else(cells)
    values[rest] = found.to_numpy()
    return pd.Series(values, index=frame.index, dtype=object)


def _with_half(cells: pd.Series[Any], frame: pd.DataFrame, axis: str) -> pd.Series[Any]:
    """Degrees without a sign, with the letter that a column of hemispheres beside them gives."""
    name = _named(frame.columns, _HALVES[axis])
    if not name:
        return cells
    letter = text_column(frame[name]).str.upper().str[:1]
    if pd.api.types.is_float_dtype(cells):
        return cells.mask(letter.isin(["S", "W"]) & (cells > 0), -cells)
    bare = cells.astype(str).str.fullmatch(r"\s*\d[^A-Za-z]*") & letter.isin(
        ["N", "S"] if axis == "lat" else ["E", "W"]
    )
    return cells.mask(bare, cells + " " + letter)


def _alike(columns: list[Column], *, known: bool) -> list[Column]:
    """Columns of the first one's kind, without units: degrees are never filled in with an easting."""
    return [dataclasses.replace(c, unit="") for c in columns if not known or is_lonlat(c.name)]


def _zone_column(frame: pd.DataFrame, easting: str) -> str:
    """The column of UTM zones beside an easting; "" when there is none or it is blank."""
    name = _named(frame.columns, _ZONE if header_words(easting)[0] in _EASTING else _ZONE[:-1])
    return name if name and (text_column(frame[name]) != "").any() else ""


def _of_positions(found: positions.Positions, index: pd.Index[Any]) -> Located:
    good = np.isfinite(found.lon) & np.isfinite(found.lat) & (found.problem == "")
    xy = np.where(good[:, None], np.column_stack([found.lon, found.lat]), np.nan)
    problem = np.where(good | (found.problem != ""), found.problem, "position cannot be worked out")
    why = pd.Series(problem, index=index, dtype=object)
    return Located(xy=xy, problem=why, repair=found.repair, as_read=False)
