"""Where the cover of a confidential site lies: at one of many secret places all over the land, near the site.

Every square of a fine grid holds one place; where in it, and how it ranks, follows from the owner's words alone. A site
takes the first in rank of the places within the distance. So the same words give the same cover in every plan, a site
drawn anew a few metres off nearly always keeps it, and of all sites that may have taken a place none is likelier than
another: seen from the place, the site may lie anywhere within the distance. Who guesses a site cannot try the guess
without the words.
"""

from __future__ import annotations

import hashlib
import itertools
import math
from functools import lru_cache
from typing import Final

from pyproj import Transformer

from invasimap.core.crs import to_lonlat, working_crs

GRID_STEPS: Final = 8  # squares of the grid along the distance: about 200 places within it
_WHOLE: Final = 2**64


@lru_cache(maxsize=8)
def key_of(words: str) -> bytes:
    """The key that words stand for, made slow to try: a tenth of a second and 32 MB for each guess."""
    return hashlib.scrypt(words.encode(), salt=b"invasimap cover", n=2**15, r=8, p=1, maxmem=2**26, dklen=32)


def numbers(key: bytes, label: str, count: int) -> list[float]:
    """Numbers from 0 to 1 that nobody foretells without the key; the same for the same label.

    Examples
    --------
    >>> numbers(b"k", "a", 5) == numbers(b"k", "a", 5), len(numbers(b"k", "b", 20))
    (True, 20)
    """
    blocks = (hashlib.blake2b(f"{label}/{n}".encode(), key=key).digest() for n in range(math.ceil(count / 8)))
    data = b"".join(blocks)
    return [int.from_bytes(data[8 * n : 8 * n + 8], "little") / _WHOLE for n in range(count)]


def hidden_place(lon: float, lat: float, *, key: bytes, within_m: float) -> tuple[float, float]:
    """The place that stands for a site: longitude and latitude, no farther than ``within_m`` from it."""
    west, south = math.floor(lon), math.floor(lat)
    frame = _frame(west, south)  # of its own, so that it hangs on nothing else of the tract
    x, y = frame.transform(lon, lat, direction="INVERSE")
    step_m = within_m / GRID_STEPS
    first_column, first_row = (math.floor((v - within_m) / step_m) for v in (x, y))
    best = (2.0, x, y)
    for column, row in itertools.product(range(2 * GRID_STEPS + 1), repeat=2):
        square = (first_column + column, first_row + row)
        rank, east, north = numbers(key, f"{west} {south} {within_m:.3f} {square}", 3)
        place = ((square[0] + east) * step_m, (square[1] + north) * step_m)
        if rank < best[0] and math.dist(place, (x, y)) <= within_m:
            best = (rank, *place)
    found: tuple[float, float] = frame.transform(*best[1:])
    return found


@lru_cache(maxsize=16)
def _frame(west: int, south: int) -> Transformer:
    """From metres to longitude and latitude in one degree of the globe."""
    return to_lonlat(working_crs(west + 0.5, south + 0.5))
