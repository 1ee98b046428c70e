"""The words of access: its classes, what binds, and their codes on the grid."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from invasimap.land import words
from invasimap.land.raster import Mask

CLASSES = words.CLASSES
LIMITS = (
    "", "slope", "side_slope", "wet", "barrier", "clearance", "not_connected", "hose_length", "lift", "walk", "unknown",
)  # fmt: skip
LIMIT = {name: code for code, name in enumerate(LIMITS)}
Codes = npt.NDArray[np.int16]


def reached_by(bits: int) -> str:
    """The classes in a set of bits (1 foot, 2 atv_hose, 4 tractor), most capable first.

    Examples
    --------
    >>> reached_by(3), reached_by(0)
    ('atv_hose;foot', '')
    """
    names = [name for rank, name in enumerate(CLASSES[1:]) if bits >> rank & 1]
    return ";".join(reversed(names))


def last_reason(shape: tuple[int, int], *reasons: tuple[str, Mask]) -> Codes:
    """For each cell the code of the last reason that holds there; 0 where none does."""
    limit = np.zeros(shape, np.int16)
    for name, where in reasons:
        limit[where] = LIMIT[name]
    return limit
