"""Work on many shapes at once: shapely lets go of Python's lock while it looks at an array."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from invasimap.core.second_process import processors

_FEW: Final = 5_000  # shapes that are done before threads are started
_PIECES_EACH: Final = 4  # of a processor: shapes of one size are often stored beside one another


def in_pieces(work: Callable[[Any], npt.NDArray[Any]], shapes: npt.NDArray[np.object_]) -> npt.NDArray[Any]:
    """What ``work`` makes of an array, a row for each shape, in pieces on all processors.

    Parameters
    ----------
    work
        Gives as many rows as it is given shapes, each from its shape alone.

    Examples
    --------
    >>> import shapely
    >>> in_pieces(shapely.area, np.array([shapely.box(0, 0, 2, 3), shapely.box(0, 0, 1, 1)])).tolist()
    [6.0, 1.0]
    """
    threads = processors()
    if len(shapes) <= _FEW or threads == 1:
        return work(shapes)
    with ThreadPoolExecutor(threads) as pool:
        return np.concatenate(list(pool.map(work, np.array_split(shapes, threads * _PIECES_EACH))))
