"""Where polygons lie on the same ground, and the heaviest sum of what lies on any spot of one of them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

LEAST_M2: Final = 0.01  # what overlaps by less is two drawings of one edge


def sound(shapes: Any) -> NDArray[np.object_]:
    """Shapes that GEOS can cut; broken ones are mended."""
    found: NDArray[np.object_] = np.array(shapes, object)
    broken = ~shapely.is_valid(found)
    found[broken] = shapely.make_valid(found[broken])
    return found


def overlapping(shapes: NDArray[np.object_], others: NDArray[np.object_]) -> list[NDArray[np.intp]]:
    """For each shape the numbers of the others that share ground with it, in order."""
    tree = shapely.STRtree(others)
    one, other = tree.query(shapes, predicate="intersects")
    shared = shapely.area(shapely.intersection(shapes[one], others[other])) > LEAST_M2
    one, other = one[shared], other[shared]
    order = np.lexsort((other, one))
    one, other = one[order], other[order]
    return np.split(other, np.searchsorted(one, np.arange(1, len(shapes))))


def heaviest(shape: Any, others: Iterable[tuple[Any, float, Any]]) -> tuple[float, tuple[Any, ...]]:
    """The greatest sum of doses on any spot of a shape, and whose they are.

    Parameters
    ----------
    shape
        The ground looked at.
    others
        Each a shape, its dose and its name.

    Examples
    --------
    >>> from shapely import box
    >>> heaviest(box(0, 0, 4, 1), [(box(0, 0, 2, 1), 1.0, "a"), (box(1, 0, 3, 1), 2.0, "b"), (box(3, 0, 4, 1), 2, "c")])
    (3.0, ('a', 'b'))
    """
    _, most, names = max(cells(shape, others), key=lambda part: part[1])
    return most, names


def cells(shape: Any, others: Iterable[tuple[Any, float, Any]]) -> list[tuple[Any, float, tuple[Any, ...]]]:
    """A shape parted by what lies on it: of each part its polygon, its sum of doses and whose they are."""
    parts: list[tuple[Any, float, tuple[Any, ...]]] = [(shape, 0.0, ())]
    for other, dose, name in others:
        parts = [piece for part in parts for piece in _cut(part, other, dose, name)]
    return parts


def _cut(part: tuple[Any, float, tuple[Any, ...]], other: Any, dose: float, name: Any) -> list[Any]:
    shape, total, names = part
    both = shapely.intersection(shape, other)
    if both.area <= LEAST_M2:
        return [part]
    rest = shapely.difference(shape, other)
    beside = [(rest, total, names)] if rest.area > LEAST_M2 else []
    return [(both, total + dose, (*names, name)), *beside]
