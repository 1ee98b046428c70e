"""Areas alone, without polygons: every patch, stand, zone and access class laid over one another in one pass.

The other way to the same figures is ``cut_faces``, which gives the polygons too and takes ten times as long. It
serves the maps; this serves tables of a county and the hundreds of drawn surveys behind an interval. Every plan checks
one against the other.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from itertools import chain, pairwise
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely

from invasimap.core.at_once import in_pieces
from invasimap.core.geometry import parts_of
from invasimap.core.second_process import processors
from invasimap.mosaic import sweep_kernel as kernel

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
EDGES_PER_TILE = 40
MOST_TILES = 40_000_000
SMALLEST_TILE_M = 1e-3
FARTHEST_M = 1e8
CHUNKS_EACH, PIECES = 12, 4
PLACES_PER_RUN, MOST_RUNS = 400_000, 16


@dataclass(frozen=True, kw_only=True)
class Rings:
    """The rings of a layer of polygons as flat arrays.

    Attributes
    ----------
    xy
        Places in metres, n by 2; each ring ends where it began.
    start
        Where each ring begins in ``xy``, and the end of the last.
    hole
        Whether each ring bounds a hole.
    item
        Number of the polygon each ring belongs to.
    """

    xy: Floats
    start: Ints
    hole: npt.NDArray[np.bool_]
    item: Ints


@dataclass(frozen=True, kw_only=True)
class Layer:
    """Polygons that put a label on the ground: their rings, and the label number of each polygon, from 0."""

    rings: Rings
    label: Ints


@dataclass(frozen=True, kw_only=True)
class Areas:
    """How much ground lies where, an entry for each patch, stand, zone and access class that meet.

    Attributes
    ----------
    patch
        Number of the patch that decides its species there; -1 for the ground, every spot once.
    stand, access
        Label numbers; -1 for ground in none.
    zone
        0 no_spray, 1 hand_only, 2 open.
    area_m2
        Square metres.
    odd_patches, odd_stands, odd_access
        Numbers of polygons that may wind round some of the ground, but not once: the sweep took all that stands and
        access wind round, and of patches what they wind round in their own sense. Such an outline crosses itself, or
        its rings cross or all but touch one another.
    """

    patch: Ints
    stand: Ints
    zone: Ints
    access: Ints
    area_m2: Floats
    odd_patches: Ints
    odd_stands: Ints
    odd_access: Ints


def rings_of(polygons: Any) -> Rings:
    """The rings of polygons and multipolygons; missing and empty ones have none.

    Raises
    ------
    ValueError
        When a coordinate is not finite, or farther out than any system in metres reaches.

    Examples
    --------
    >>> import shapely
    >>> rings = rings_of([shapely.box(0, 0, 1, 1), None, shapely.box(0, 0, 9, 9).difference(shapely.box(1, 1, 2, 2))])
    >>> rings.item.tolist(), rings.hole.tolist(), rings.start.tolist()
    ([0, 2, 2], [False, False, True], [0, 5, 10, 15])
    """
    shapes = np.asarray(polygons, object)
    kind, inner, size = in_pieces(_looked_at, shapes).T
    held = np.flatnonzero(size)
    if not len(held):
        none = np.empty(0, np.int64)
        return Rings(xy=np.empty((0, 2)), start=np.zeros(1, np.int64), hole=np.empty(0, bool), item=none)
    other = ~np.isin(kind[held], (shapely.GeometryType.POLYGON, shapely.GeometryType.MULTIPOLYGON))
    if other.any():
        raise ValueError(f"{shapes[held][other][0].geom_type} is no polygon")
    xy = shapely.get_coordinates(shapes[held])
    if not (xy.min() >= -FARTHEST_M and xy.max() <= FARTHEST_M):
        good = [(np.abs(shapely.get_coordinates(shape)) <= FARTHEST_M).all() for shape in shapes[held]]
        where = f"polygon {held[np.argmin(good)]} (counted from 0)"
        raise ValueError(f"{where} has a coordinate that is not finite or beyond {FARTHEST_M:g} m")
    rings = np.where(kind[held] == shapely.GeometryType.POLYGON, inner[held] + 1, 0)
    size, hole, item = _ring_sizes(shapes[held], rings, xy, size[held])
    drawn = size > 0
    start = np.concatenate([[0], np.cumsum(size[drawn])]).astype(np.int64)
    return Rings(xy=xy, start=start, hole=hole[drawn], item=held[item[drawn]])


def _looked_at(shapes: Any) -> Ints:
    """Kind, how many inner rings (of a lone polygon) and how many places each shape has: n by 3."""
    looks = (shapely.get_type_id, shapely.get_num_interior_rings, shapely.get_num_coordinates)
    return np.stack([look(shapes) for look in looks], axis=1).astype(np.int64)


def _ring_sizes(
    shapes: npt.NDArray[np.object_], rings: Ints, xy: Floats, places: Ints
) -> tuple[Ints, npt.NDArray[np.bool_], Ints]:
    """Places of every ring in the order of the polygons' places, whether it bounds a hole, and number of its polygon.

    ``rings`` says how many a polygon has, 0 where that is not known, and ``places`` how many places. Only where these
    do not tell where rings end are polygons taken apart, which copies them.
    """
    size, known = kernel.close(xy, np.concatenate([[0], np.cumsum(places)]), rings)
    parts, owner = parts_of(shapes[~known])
    taken, part = shapely.get_rings(parts, return_index=True)
    count = np.where(known, rings, 0)
    count[~known] = np.bincount(owner[part], minlength=np.count_nonzero(~known))
    item = np.repeat(np.arange(len(shapes)), count)
    apart = ~known[item]
    sizes, hole = np.empty(len(item), np.int64), np.diff(item, prepend=-1) == 0
    sizes[~apart], sizes[apart] = size, shapely.get_num_coordinates(taken)
    hole[apart] = np.diff(part, prepend=-1) == 0
    return sizes, hole, item


def areas(
    patches: Rings, *, species: Ints, rank: Ints, stands: Layer, zones: Layer, access: Layer, threads: int | None = None
) -> Areas:
    """Ground of every patch where it decides its species, by stand, zone and access class.

    Parameters
    ----------
    patches
        Footprints; those of one species may overlap.
    species, rank
        Species number of every patch, and its place among all: the lowest of a species on one spot decides.
    stands, access
        Where several hold a spot the first counts.
    zones
        Labels 0 (no_spray) and 1 (hand_only); the stricter counts.
    threads
        As many as there are processors where nothing is said; 1 in calls that run beside one another.

    Returns
    -------
    Areas
        In order of patch, stand, zone and access. The same figures to the last bit on one processor or many.
    """
    if len(patches.start) < 2:
        return _summed(np.empty(0, np.int64), np.empty((0, 3), np.int64), np.empty(0), odd=_NO_ODD)
    by_rank = np.lexsort((rank, species))
    place = np.empty(len(by_rank), np.int64)
    place[by_rank] = np.arange(len(by_rank))
    begins = np.cumsum([0, len(by_rank), len(stands.label), 2]).tolist()
    label = np.concatenate([np.asarray(species)[by_rank], stands.label + 1, [0, 1], access.label + 1]).astype(np.int64)
    found = _swept(
        (patches, stands.rings, zones.rings, access.rings),
        (
            place[patches.item],
            stands.rings.item + begins[1],
            zones.label[zones.rings.item] + begins[2],
            access.rings.item + begins[3],
        ),
        (label, *begins[1:]),
        threads or processors(),
    )
    drawn = ~np.isnan(found[:, 4])
    odd = np.unique(found[~drawn, 0].astype(np.int64))
    found = found[drawn] if len(odd) else found
    patch = np.where(found[:, 0] < 0, -1, by_rank[found[:, 0].astype(np.int64)])
    own, stand, _, means = np.split(odd, np.searchsorted(odd, begins[1:]))
    apart = (by_rank[own], stand - begins[1], means - begins[3])
    return _summed(patch, found[:, 1:4].astype(np.int64), found[:, 4], odd=apart)


def _swept(layers: Sequence[Rings], items: Sequence[Ints], items_of: tuple[Any, ...], threads: int) -> Floats:
    """What the kernel finds in all squares: item, stand, zone, access class and area."""
    with _pool(threads) as pool:
        frame, tile, parts = _touched(layers, items, pool)
        count = int(tile.max()) + 1
        held = _corners(_dealt([cross for _, cross in parts], len(tile), pool), tile, count, len(items_of[0]), pool)
        touches = _dealt([touch for touch, _ in parts], count, pool)
        square = np.argwhere(tile >= 0)
        tiles = np.empty_like(square, order="C")  # of one square and of many: each layout would be compiled anew
        tiles[tile[tile >= 0]] = square
        given = (tiles, touches, held, tuple(rings.xy for rings in layers), items_of, frame)
        bounds = np.searchsorted(touches[0], np.linspace(0, touches[0][-1], CHUNKS_EACH * threads + 1)[1:-1])
        bounds = np.unique(np.concatenate([[0], bounds, [count]])).tolist()
        return np.concatenate(list(pool.map(lambda span: kernel.sweep(span, *given), pairwise(bounds))))


def _dealt(parts: Sequence[Ints], count: int, pool: ThreadPoolExecutor | _InTurn) -> tuple[Ints, Ints]:
    """Rows in order of the number each begins with, below ``count``: where each number's start, and the rest of each.

    A counting sort: every part is told where its rows go, so that all can go at once.
    """
    head = np.zeros((len(parts) + 1, count), np.int32)
    list(pool.map(kernel.count, parts, head[1:]))
    np.cumsum(head, axis=0, out=head)
    start = np.concatenate([[0], np.cumsum(head[-1], dtype=np.int64)])
    head += start[:-1].astype(np.int32)
    dealt = np.empty((start[-1], 3), np.int32)
    list(pool.map(lambda part, at: kernel.deal(part, at, dealt), parts, head[:-1]))
    return start, dealt


def _corners(
    rows_of: tuple[Ints, Ints], tile: Ints, count: int, items: int, pool: ThreadPoolExecutor | _InTurn
) -> tuple[Ints, Ints]:
    """Where the entries of each tile's lower left corner start and end; and item and winding number of each."""
    spans = _spans(len(tile))
    of = np.zeros((count, 2), np.int64)
    held = list(pool.map(lambda span: kernel.corners(span, rows_of, tile, of, items), spans))
    before = np.cumsum([0, *(len(some) for some in held)]).tolist()
    for (first, last), add in zip(spans, before, strict=False):
        numbers = tile[first:last]
        of[numbers[numbers >= 0]] += add
    return of, np.concatenate(held)


def _spans(count: int) -> list[tuple[int, int]]:
    """About equal runs of some numbers."""
    bounds: list[int] = np.linspace(0, count, min(PIECES, count) + 1).astype(int).tolist()
    return list(pairwise(bounds))


class _InTurn:
    """Does one after the other what a pool does at once: starting threads takes longer than a small survey."""

    def map(self, work: Callable[..., Any], *of: Iterable[Any]) -> Iterator[Any]:
        """What ``work`` makes of each, in order."""
        return map(work, *of)


def _pool(threads: int) -> AbstractContextManager[ThreadPoolExecutor | _InTurn]:
    return nullcontext(_InTurn()) if threads == 1 else ThreadPoolExecutor(threads)


def _touched(
    layers: Sequence[Rings], items: Sequence[Ints], pool: ThreadPoolExecutor | _InTurn
) -> tuple[Any, Any, list[tuple[Any, Any]]]:
    """The squares that hold a patch, numbered; and what of all layers touches them or crosses the lines below them."""
    patches = layers[0]
    own = _ring_runs(patches)
    prepared = list(pool.map(lambda run: _prepared(patches, run), own))
    box = np.concatenate([box for _, box in prepared])
    frame, shape = _frame(len(patches.xy) - len(box), box)
    active = np.zeros(shape, np.uint8)
    list(pool.map(lambda run: kernel.mark(patches.xy, patches.start[run[0] : run[1] + 1], frame, active), own))
    held = active.view(np.bool_)
    wanted = held.any(axis=1)
    tile = np.full(shape, -1, np.int32)
    edged = np.count_nonzero(held)
    tile[held] = np.arange(edged, dtype=np.int32)
    before = np.cumsum([0, *(len(rings.xy) for rings in layers)]).tolist()

    def found(number: int, runs: list[tuple[int, int]], ways: Iterable[Any], share: float) -> Iterator[tuple[Any, Any]]:
        start = layers[number].start
        rooms = [64 + int((start[last] - start[first]) * share) for first, last in runs]  # of one array each: quicker
        touch = np.split(np.empty((sum(rooms), 4), np.int32), np.cumsum(rooms)[:-1])
        cross = np.split(np.empty((sum(rooms) // 8, 4), np.int32), np.cumsum(rooms)[:-1] // 8)

        def gathered(run: tuple[int, int], way: Any, touch: Any, cross: Any) -> tuple[Any, Any]:
            marked = (way, items[number][run[0] : run[1]], before[number])
            parts = start[run[0] : run[1] + 1]
            return kernel.gather(layers[number].xy, parts, marked, frame, tile, wanted, (touch, cross))

        return pool.map(gathered, runs, ways, touch, cross)

    parts = list(found(0, own, [way for way, _ in prepared], 1.25))
    rows_of, count = _dealt([cross for _, cross in parts], len(tile), pool), int(items[0].max()) + 1
    list(pool.map(lambda span: kernel.cover(span, rows_of, active, count), _spans(len(tile))))
    inside = held & (tile < 0)
    tile[inside] = np.arange(edged, edged + np.count_nonzero(inside), dtype=np.int32)
    land = []
    for number, rings in enumerate(layers[1:], 1):
        runs = _ring_runs(rings)
        ways = pool.map(lambda run, rings=rings: _prepared(rings, run)[0], runs)
        land.append(found(number, runs, ways, 0.125))
    return frame, tile, [*parts, *chain(*land)]


def _prepared(rings: Rings, run: tuple[int, int]) -> Any:
    first, last = run
    return kernel.prepare(rings.xy, rings.start[first : last + 1], rings.hole[first:last])


def _ring_runs(rings: Rings) -> list[tuple[int, int]]:
    """The rings in runs of about equally many places, to be worked at once: the first, and after the last."""
    count = min(1 + len(rings.xy) // PLACES_PER_RUN, MOST_RUNS)
    bounds = np.searchsorted(rings.start, np.linspace(0, len(rings.xy), count + 1)[1:-1])
    return list(pairwise(np.unique(np.concatenate([[0], bounds, [len(rings.hole)]])).astype(int).tolist()))


def _frame(edges: int, box: Floats) -> tuple[tuple[float, float, float, int], tuple[int, int]]:
    """Squares over all patches, so large that one holds some forty edges; and how many rows and columns there are."""
    side = math.sqrt(float(((box[:, 2] - box[:, 0]) * (box[:, 3] - box[:, 1])).sum()) * EDGES_PER_TILE / edges)
    low, high = box[:, :2].min(axis=0), box[:, 2:].max(axis=0)
    span = high - low
    side = max(side, math.sqrt(float(span[0] * span[1]) / MOST_TILES), float(span.max()) / 30_000, SMALLEST_TILE_M)
    left, bottom = (low - side * np.array([0.381966, 0.276393])).tolist()  # off the lattice that places may lie on
    columns, rows = (int(length / side) + 3 for length in span)
    return (left, bottom, side, columns), (rows, columns)


_NO_ODD = (np.empty(0, np.int64), np.empty(0, np.int64), np.empty(0, np.int64))


def _summed(patch: Ints, labels: Ints, area: Floats, *, odd: tuple[Ints, Ints, Ints]) -> Areas:
    """Entries of equal labels added up, in order of them."""
    crossing = dict(zip(("odd_patches", "odd_stands", "odd_access"), odd, strict=True))
    if not len(area):
        return Areas(patch=patch, stand=patch, zone=patch, access=patch, area_m2=area, **crossing)
    stand, zone, access = labels.T
    key = (((patch + 1) * (stand.max() + 1) + stand) * 3 + zone) * (access.max() + 1) + access
    order = np.argsort(key, kind="stable")
    first = np.flatnonzero(np.diff(key[order], prepend=-1))
    at = order[first]
    sums = np.add.reduceat(area[order], first)
    return Areas(patch=patch[at], stand=stand[at] - 1, zone=zone[at], access=access[at] - 1, area_m2=sums, **crossing)
