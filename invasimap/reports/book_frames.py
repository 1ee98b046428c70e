"""Which sheets a map book has: from the stands to each sheet's scale, frame and neighbours. Nothing is drawn here."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any, Final, Literal

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely

from invasimap.reports.answers import stand_order
from invasimap.reports.furniture import INCH_M

Box = tuple[float, float, float, float]
Side = Literal["north", "east", "south", "west"]
SIDES: Final[tuple[Side, ...]] = ("north", "east", "south", "west")
# Scales of an engineer's rule (1 in = 100, 200, 300, 400 ft) and of a metric one; on a coarser map a patch is a dot
COMFORTABLE: Final = {"ft": (1200, 2400, 3600, 4800), "m": (1000, 2000, 2500, 5000)}
ROOM_IN = 0.12  # round a stand, so that its line and what lies along it are on the sheet
OVERLAP_IN = 0.5  # two sheets of one stand share this much
BEYOND, SPOTS = 0.02, 41  # a neighbour is what lies this share of the frame beyond its edge, at so many spots


@dataclass(frozen=True, kw_only=True)
class Frame:
    """One sheet: a stand or a cell of one, at a scale.

    Attributes
    ----------
    name
        The stand's name, with a letter for the row (from the north) and a number for the column (from the west) where
        it takes several sheets: ``3-B2``.
    bounds
        What the map shows: left, bottom, right, top in metres.
    ground
        The part of the stand that the frame holds.
    """

    name: str
    stand: str
    scale: int
    bounds: Box
    ground: Any


@dataclass(frozen=True, kw_only=True)
class Neighbour:
    """The sheet that goes on beyond an edge (``frame`` counts from 0), and where along the edge (0 to 1)."""

    side: Side
    frame: int
    along: float


def frames(stands: gpd.GeoDataFrame, *, map_in: tuple[float, float], scales: Sequence[int]) -> list[Frame]:
    """The sheets of a book, stand by stand.

    Parameters
    ----------
    stands
        Polygons with ``stand``, metres; rows of one name are one stand.
    map_in
        Width and height of the map on paper in inches.
    scales
        Denominators, finest first. Each stand takes the first at which it fits; one that fits at none is cut into
        cells at the last.
    """
    found: list[Frame] = []
    for name, shape in stand_shapes(stands):
        if not shape.is_empty:
            found += _stand_frames(name, shape, map_in, scales)
    return found


def stand_shapes(stands: gpd.GeoDataFrame) -> Iterator[tuple[str, Any]]:
    """Each stand's name and ground, in the order of a list."""
    rows = {str(name): at for name, at in stands.groupby(stands["stand"].astype(str), sort=False).indices.items()}
    for name in sorted(rows, key=stand_order):
        yield name, shapely.union_all(shapely.make_valid(stands.geometry.to_numpy()[rows[name]]))


def needed_first(sheets: Sequence[Frame], *, most: int, to_do: Any, infested: Any) -> tuple[list[int], list[int]]:
    """Which sheets a book of at most so many has, in their order, and which of the others have infested ground.

    Those with the most ground of ``to_do`` come first, then those with the most infested ground, then the rest; of
    equals those with more ground of their stand.
    """
    ground = np.array([sheet.ground for sheet in sheets], object)
    work, grown = _shared_m2(ground, to_do), _shared_m2(ground, infested)
    order = np.lexsort([-shapely.area(ground), -grown, -work])
    return sorted(order[:most].tolist()), sorted(at for at in order[most:].tolist() if grown[at] > 0)


def _shared_m2(ground: npt.NDArray[np.object_], shapes: Any) -> npt.NDArray[np.float64]:
    """How much of each ground the shapes take; less than a square millimetre is a border that they share."""
    parts = np.asarray(shapes, object)
    at, part = shapely.STRtree(parts).query(ground, predicate="intersects")
    area = shapely.area(shapely.intersection(ground[at], parts[part]))
    found: npt.NDArray[np.float64] = np.bincount(at, area, minlength=len(ground)).astype(float)
    return np.round(found, 6)


def upright_or_across(
    stands: gpd.GeoDataFrame, sizes: Sequence[tuple[float, float]], *, scales: Sequence[int]
) -> tuple[int, list[Frame]]:
    """Which of the map sizes serves a whole book best, and its sheets: the fewest, then the largest scales."""
    tried = [frames(stands, map_in=size, scales=scales) for size in sizes]
    best = min(range(len(sizes)), key=lambda at: (len(tried[at]), sum(frame.scale for frame in tried[at])))
    return best, tried[best]


def _stand_frames(name: str, shape: Any, map_in: tuple[float, float], scales: Sequence[int]) -> list[Frame]:
    left, bottom, right, top = shape.bounds
    scale = next((scale for scale in scales if _fits(right - left, top - bottom, map_in, scale)), scales[-1])
    metres = INCH_M * scale
    wide, high = (size * metres for size in map_in)
    room, overlap = ROOM_IN * metres, OVERLAP_IN * metres
    xs = _starts(left - room, right + room, wide, overlap)
    ys = _starts(bottom - room, top + room, high, overlap)[::-1]  # the first row is the northernmost
    cells = [(row, column, (x, y, x + wide, y + high)) for row, y in enumerate(ys) for column, x in enumerate(xs)]
    held = [(row, column, box, shapely.intersection(shape, shapely.box(*box))) for row, column, box in cells]
    held = [cell for cell in held if shapely.area(cell[3]) > 0]
    alone = len(cells) == 1
    return [
        Frame(
            name=name if alone else f"{name}-{row_letters(row)}{column + 1}", stand=name, scale=scale, bounds=box,
            ground=ground,
        )
        for row, column, box, ground in held
    ]  # fmt: skip


def _fits(wide_m: float, high_m: float, map_in: tuple[float, float], scale: int) -> bool:
    room_m = [(size - 2 * ROOM_IN) * INCH_M * scale for size in map_in]
    return wide_m <= room_m[0] and high_m <= room_m[1]


def _starts(low: float, high: float, size: float, overlap: float) -> npt.NDArray[np.float64]:
    """Where frames of a size begin so that they cover a stretch, evenly, with at least ``overlap`` in common."""
    spare = high - low - size
    if spare <= 1e-9 * size:
        return np.array([low + spare / 2])
    steps = int(np.ceil(spare / (size - overlap)))
    return np.linspace(low, low + spare, steps + 1)


def row_letters(row: int) -> str:
    """A row's letters: A to Z, then AA.

    Examples
    --------
    >>> row_letters(0), row_letters(25), row_letters(26), row_letters(27)
    ('A', 'Z', 'AA', 'AB')
    """
    text = ""
    while row >= 0:
        text = chr(ord("A") + row % 26) + text
        row = row // 26 - 1
    return text


def neighbours(sheets: Sequence[Frame], at: int) -> list[Neighbour]:
    """The sheets that go on beyond each edge of a sheet, in the order they lie along it (from the west or south)."""
    own = sheets[at]
    others = [number for number in range(len(sheets)) if number != at]
    ground = np.array([sheets[number].ground for number in others], object)
    if not len(ground):
        return []
    found = []
    for side in SIDES:
        spots = shapely.points(_beyond(own.bounds, side))
        tree = shapely.STRtree(ground)
        spot, hit = tree.query(spots, predicate="intersects")
        best = dict(_innermost(spots, spot, hit, [sheets[number] for number in others]))
        runs = groupby(range(SPOTS), key=lambda number: best.get(number, -1))
        placed = [(key, list(members)) for key, members in runs if key >= 0]
        found += _longest_once(side, placed, others)
    return found


def _innermost(spots: Any, spot: Any, hit: Any, sheets: Sequence[Frame]) -> Iterator[tuple[int, int]]:
    """For each spot the sheet, of those whose ground it lies in, whose middle is nearest."""
    for number in np.unique(spot):
        held = hit[spot == number]
        middles = [np.add(sheets[at].bounds[:2], sheets[at].bounds[2:]) / 2 for at in held]
        away = np.hypot(*(np.array(middles) - shapely.get_coordinates(spots[number])).T)
        yield int(number), int(held[np.argmin(away)])


def _longest_once(side: Side, runs: list[tuple[int, list[int]]], others: Sequence[int]) -> list[Neighbour]:
    """Each sheet once a side, at the middle of its longest run."""
    longest: dict[int, list[int]] = {}
    for key, members in runs:
        if len(members) > len(longest.get(key, [])):
            longest[key] = members
    ordered = sorted(longest.items(), key=lambda pair: pair[1][0])
    return [
        Neighbour(side=side, frame=others[key], along=(members[0] + members[-1]) / 2 / (SPOTS - 1))
        for key, members in ordered
    ]


def _beyond(bounds: Box, side: Side) -> npt.NDArray[np.float64]:
    """Spots a little beyond an edge, from the west or south on, (n, 2)."""
    left, bottom, right, top = bounds
    along = np.linspace(0, 1, SPOTS)
    x, y = left + along * (right - left), bottom + along * (top - bottom)
    out_x, out_y = BEYOND * (right - left), BEYOND * (top - bottom)
    fixed = {"north": top + out_y, "south": bottom - out_y, "east": right + out_x, "west": left - out_x}[side]
    constant = np.full(SPOTS, fixed)
    return np.column_stack((x, constant) if side in ("north", "south") else (constant, y))
