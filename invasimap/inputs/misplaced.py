"""Positions far from the stands: which mistake explains them, and whether it is certain enough to mend."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from invasimap.core.crs import shown_place, to_lonlat
from invasimap.inputs.mistakes import Mistake, mistakes_in, registered
from invasimap.inputs.stands_box import StandsBox, moving

FAR_M: Final = 10_000.0  # a reading nearer to the stands than this may be a true place: it is never moved
SAME_PLACE_M: Final = 1.0  # explanations that lead this close together count as one
CERTAIN_SHARE: Final = 0.1  # of near_m: how close to the stands a certain explanation must bring the whole shape
_MOST_NAMED: Final = 3

_Axis = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Causes:
    """What explains each shape that does not come to the stands.

    Attributes
    ----------
    cause
        For each shape what would bring it to the stands, in words, several joined by ", or "; "" where nothing does.
    certain
        Whether it is the one explanation there is, and may be applied.
    proven
        Whether an explanation fits that hardly fits by chance: it is not only offered.
    x_m, y_m, lon, lat
        For each coordinate the place by the first explanation, in the working system and in WGS 84; NaN without one.
    """

    cause: NDArray[np.object_]
    certain: NDArray[np.bool_]
    proven: NDArray[np.bool_]
    x_m: _Axis
    y_m: _Axis
    lon: _Axis
    lat: _Axis

    def reasons(self) -> NDArray[np.object_]:
        """The tail of each reason for setting a shape aside, "" without a cause."""
        texts, back = np.unique(self.cause.astype(str), return_inverse=True)
        said = [f": {text} would bring it to the stands" if text else "" for text in texts]
        return np.array(said, dtype=object)[back]

    def repairs(self, owner: NDArray[np.intp]) -> NDArray[np.object_]:
        """What was done to each certain shape and where its first coordinate now is, "" for the others."""
        said = np.full(len(self.cause), "", dtype=object)
        rows = np.flatnonzero(self.certain)
        first = np.searchsorted(owner, rows)
        places = zip(self.cause[rows], self.lat[first].tolist(), self.lon[first].tolist(), strict=True)
        said[rows] = [f"position put right by {text}: now {shown_place(lat, lon)}" for text, lat, lon in places]
        return said


@dataclass(kw_only=True)
class _Work:
    """What the explanations tried so far gave: one entry a shape, x_m and y_m one a coordinate."""

    fits: NDArray[np.uint64]  # a bit for each mistake that brings the whole shape near
    close: NDArray[np.bool_]
    sure: NDArray[np.bool_]
    proven: NDArray[np.bool_]
    apart_m: _Axis
    x_m: _Axis
    y_m: _Axis


def find_cause(
    x: _Axis, y: _Axis, owner: NDArray[np.intp], *, source: CRS, crs: CRS, bounds: shapely.Polygon, near_m: float
) -> Causes:
    """Which mistakes explain shapes that do not come to the stands.

    An explanation fits when it brings the whole shape within ``near_m`` of the stands' bounds. It is certain when it
    is the only one that fits, it brings the shape within a tenth of ``near_m``, and the shape as read is over 10 km
    away or no place on the globe. Shapes that come near as read, and such with a coordinate 0, 0, are left alone.

    Parameters
    ----------
    x, y, owner
        Coordinates as read, in ``source``, and the number of the shape each belongs to: 0, 1, 2, … in order, as
        ``shapely.get_coordinates(shapes, return_index=True)`` gives them.
    crs, bounds, near_m
        The working system in metres, the box round the stands in it, and how far from it still counts as near.

    Examples
    --------
    >>> from invasimap.core.crs import working_crs
    >>> found = find_cause(np.array([80.0]), np.array([38.0]), np.array([0]), source=CRS.from_epsg(4326),
    ...                    crs=working_crs(-80, 38), bounds=shapely.box(-500, -500, 500, 500), near_m=1000)
    >>> found.cause[0], bool(found.certain[0]), bool(abs(found.x_m[0]) < 1e-6)
    ('a minus sign before the longitude', True, True)
    """
    count = int(owner[-1]) + 1 if len(owner) else 0
    stands = StandsBox(crs=crs, bounds=bounds, near_m=near_m)
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    work = _Work(
        fits=np.zeros(count, dtype=np.uint64),
        close=np.zeros(count, dtype=bool),
        sure=np.ones(count, dtype=bool),
        proven=np.zeros(count, dtype=bool),
        apart_m=np.zeros(count),
        x_m=np.full(len(x), np.nan),
        y_m=np.full(len(x), np.nan),
    )
    if not count:
        return _told(work, [], far=work.close, crs=crs)
    away_m = _away_as_read(x, y, owner, source=source, stands=stands)
    no_place = ~np.isfinite(x) | ~np.isfinite(y) | ((x == 0) & (y == 0))
    tried = (away_m > near_m) & (np.bincount(owner, no_place, count) == 0)
    mistakes = mistakes_in(source, stands)
    for number, mistake in enumerate(mistakes):
        _try(work, number, mistake, (x, y, owner), stands=stands, tried=tried)
    return _told(work, mistakes, far=away_m > FAR_M, crs=crs)


def _away_as_read(x: _Axis, y: _Axis, owner: NDArray[np.intp], *, source: CRS, stands: StandsBox) -> _Axis:
    """Distance (m) of each shape's nearest coordinate from the stands, infinite off the globe."""
    x_m, y_m = moving(source, stands.crs).transform(x, y)
    away_m = stands.away_m(np.asarray(x_m), np.asarray(y_m))
    if source.is_geographic:
        unit = np.degrees(source.axis_info[0].unit_conversion_factor)
        with np.errstate(invalid="ignore"):
            away_m[(np.abs(x) * unit > 180) | (np.abs(y) * unit > 90)] = np.inf
    return _each(np.minimum, away_m, owner)


def _try(
    work: _Work, number: int, mistake: Mistake, read: tuple[_Axis, _Axis, NDArray[np.intp]], *, stands: StandsBox,
    tried: NDArray[np.bool_],
) -> None:  # fmt: skip
    """Read all shapes as if one mistake had been made, and note those that come to the stands whole."""
    x, y, owner = read
    left, bottom, right, top = stands.numbers_in(mistake.system)
    with np.errstate(invalid="ignore"):
        meant_x, meant_y = mistake.meant(x, y)
        outside = ~((meant_x >= left) & (meant_x <= right) & (meant_y >= bottom) & (meant_y <= top))
    may = tried & (np.bincount(owner, outside, len(tried)) == 0)
    rows = np.flatnonzero(may[owner])
    if not len(rows):
        return
    system = registered(mistake.system) if mistake.made else mistake.system
    x_m, y_m = moving(system, stands.crs).transform(meant_x[rows], meant_y[rows])
    away_m = np.zeros(len(tried))
    shapes, starts = np.unique(owner[rows], return_index=True)
    away_m[shapes] = np.maximum.reduceat(stands.away_m(x_m, y_m), starts)
    fits = may & (away_m <= stands.near_m)
    keep = fits[owner[rows]]
    _note(work, np.uint64(1) << np.uint64(number), fits, (rows[keep], x_m[keep], y_m[keep], owner[rows[keep]]))
    work.close[fits & (work.apart_m == 0)] |= away_m[fits & (work.apart_m == 0)] <= CERTAIN_SHARE * stands.near_m
    work.sure[fits] &= mistake.sure
    work.proven[fits] |= mistake.sure


def _note(
    work: _Work, bit: np.uint64, fits: NDArray[np.bool_],
    places: tuple[NDArray[np.intp], _Axis, _Axis, NDArray[np.intp]],
) -> None:  # fmt: skip
    """Keep the places of a first explanation; of a later one, how far it leads from the first."""
    rows, x_m, y_m, owner = places
    if not len(rows):
        return
    first = work.fits[owner] == 0
    work.x_m[rows[first]], work.y_m[rows[first]] = x_m[first], y_m[first]
    apart_m = np.hypot(x_m - work.x_m[rows], y_m - work.y_m[rows])
    shapes, starts = np.unique(owner, return_index=True)
    work.apart_m[shapes] = np.maximum(work.apart_m[shapes], np.maximum.reduceat(apart_m, starts))
    work.fits[fits] |= bit


def _told(work: _Work, mistakes: list[Mistake], *, far: NDArray[np.bool_], crs: CRS) -> Causes:
    certain = (work.fits > 0) & work.close & work.sure & far & (work.apart_m <= SAME_PLACE_M)
    lon, lat = np.full(len(work.x_m), np.nan), np.full(len(work.x_m), np.nan)
    placed = np.isfinite(work.x_m)
    if placed.any():
        lon[placed], lat[placed] = to_lonlat(crs).transform(work.x_m[placed], work.y_m[placed])
    kinds, back = np.unique(work.fits, return_inverse=True)
    texts = np.array([_text(int(kind), mistakes) for kind in kinds], dtype=object)
    cause = texts[back] if len(texts) else np.empty(0, dtype=object)
    return Causes(cause=cause, certain=certain, proven=work.proven, x_m=work.x_m, y_m=work.y_m, lon=lon, lat=lat)


def _text(bits: int, mistakes: list[Mistake]) -> str:
    """Names of the mistakes that fit, the plainest first."""
    names = [mistake.name for number, mistake in enumerate(mistakes) if bits >> number & 1]
    return ", or ".join(names[:_MOST_NAMED])


def _each(take: np.ufunc, values: _Axis, owner: NDArray[np.intp]) -> _Axis:
    """The least or greatest value of each shape, in order of their numbers; infinite for a number that is absent."""
    shapes, starts = np.unique(owner, return_index=True)
    found = np.full(int(owner[-1]) + 1, np.inf)
    found[shapes] = take.reduceat(values, starts)
    return found
