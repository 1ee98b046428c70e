"""How long a loaded walk takes on a slope and over a grid."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from invasimap.land.cells import Mask
from invasimap.land.clearance import Passages


def tobler_km_per_h(rise_over_run: Any) -> Any:
    """Walking speed on a slope: ``6 exp(-3.5 |S + 0.05|)`` km/h, S rise over run, uphill positive (Tobler 1993).

    Examples
    --------
    >>> round(float(tobler_km_per_h(0.0)), 6), round(float(tobler_km_per_h(0.25) * 0.6), 6)
    (5.036742, 1.259776)
    """
    return 6.0 * np.exp(-3.5 * np.abs(np.asarray(rise_over_run, float) + 0.05))


def walk_min(distance_m: Any, *, rise_m: Any, factor: Any) -> Any:
    """Minutes to walk a map distance with a rise; ``factor`` slows the walk for load and rough ground.

    Examples
    --------
    >>> round(float(walk_min(400.0, rise_m=100.0, factor=0.6)), 3)
    19.051
    """
    speed_m_per_min = tobler_km_per_h(np.asarray(rise_m) / distance_m) * np.asarray(factor) * (1000 / 60)
    return distance_m / speed_m_per_min


MOST_KINDS = 127
ALL_STEPS = np.empty((0, 0), np.uint16)  # whatever stays on ground that is walked


def past_edges(open_ground: Mask, found: Passages, *, walked: Mask) -> npt.NDArray[np.uint16]:
    """The steps that lead from each cell, by bits: over open ground as ever, and those of cells near edges.

    Parameters
    ----------
    open_ground
        Cells that nothing touches: steps over them stay off the corners of all others.
    found
        Steps that lead past edges (``passages``).
    walked
        Cells that are walked; steps from and to others are left out.
    """
    from invasimap.land.walk_kernel import EDGE, STEPS  # numba takes a second to load

    rows, columns = open_ground.shape
    wide = np.pad(open_ground & walked, EDGE)

    def at(down: int, across: int) -> Mask:
        return wide[EDGE + down : EDGE + down + rows, EDGE + across : EDGE + across + columns]

    leads = np.zeros(open_ground.shape, np.uint16)
    for move, (down, across, *between) in enumerate(STEPS.tolist()):
        first, second = between[:2], between[2:]
        leads |= (at(0, 0) & at(down, across) & at(*first) & at(*second)).astype(np.uint16) << np.uint16(move)
    bit = {down * columns + across: np.uint16(1 << move) for move, (down, across, *_) in enumerate(STEPS[:8].tolist())}
    both = walked.ravel()[found.one] & walked.ravel()[found.other]
    for one, other in ((found.one[both], found.other[both]), (found.other[both], found.one[both])):
        for change, value in bit.items():
            leads.ravel()[one[other - one == change]] |= value
    return leads


@dataclass(frozen=True, kw_only=True)
class Walk:
    """Minutes to each cell from the nearest source (inf where none), and that source's flat number (-1)."""

    minutes: npt.NDArray[np.float64]
    source: npt.NDArray[np.int32]


def walk_minutes(  # noqa: PLR0913 - the steps past edges are one more than seven
    sources: Mask,
    *,
    ground: npt.NDArray[np.uint8],
    factors: Sequence[float],
    elevation_m: npt.NDArray[np.floating],
    cell_m: float,
    max_min: float = np.inf,
    factors_back: Sequence[float] = (),
    open_steps: npt.NDArray[np.uint16] = ALL_STEPS,
) -> Walk:
    """Minutes of the quickest walk to each cell from any source, up to ``max_min`` (``walk_min`` for each step).

    ``ground`` is 0 where nobody walks, else which of ``factors`` (at most 127) holds, counted from 1; a step between
    two kinds goes by the slower. Steps lead to sixteen neighbours, never through or past the corner of ground that is
    not walked or whose elevation is not known (NaN). On open ground that keeps a walk within 2.8 % of the straight
    line, always on the long side. Sources count where they can be walked; of sources equally near the first is given.
    With ``factors_back`` (one for each of ``factors``) the minutes are those of going there and back by the same
    steps. ``open_steps`` says which steps lead from each cell instead (see ``past_edges``).
    """
    from invasimap.land.walk_kernel import EDGE, HEADS, padded, parcel_count, walk  # numba takes a second to load

    if len(factors) > MOST_KINDS:
        raise ValueError(f"{len(factors)} factors; {MOST_KINDS} is the most")
    rows, columns = sources.shape
    shape = padded((rows, columns))
    size = shape[0] * shape[1]
    minutes, source = np.full(size, -1.0), np.full(size, -1, np.int32)
    height, kind = np.empty(size, elevation_m.dtype), np.zeros(size, np.uint8)
    heads = (np.full(count, -1, np.int32) for count in (HEADS, parcel_count(shape)))
    state = minutes, source, height, kind, *heads
    quickest_min = float(walk_min(cell_m, rise_m=-0.05 * cell_m, factor=max(factors)))
    limits = float(cell_m), float(max_min), quickest_min
    both = np.zeros((2, len(factors)))
    both[0], both[1] = factors, factors_back or 0.0
    walk(elevation_m, ground, open_steps, sources, both, state, limits)
    inner = slice(EDGE, EDGE + rows), slice(EDGE, EDGE + columns)
    return Walk(minutes=minutes.reshape(shape)[inner], source=source.reshape(shape)[inner])
