"""Whether the compiled sweep is at hand, so that a wait for it can be said."""

from __future__ import annotations

import numpy as np
import shapely

from invasimap.land.compiled import kept


def sweep_will_compile() -> bool:
    """Whether ``areas`` has yet to be compiled here, done once."""
    from invasimap.mosaic.sweep_kernel import sweep  # numba takes a second to load

    return not kept(sweep)


def compile_sweep() -> None:
    """Compile what is not compiled yet, on a square in a square."""
    from invasimap.mosaic.sweep import Layer, areas, rings_of

    rings, number = rings_of([shapely.box(0, 0, 1, 1)]), np.zeros(1, np.int64)
    layer = Layer(rings=rings, label=number)
    areas(rings, species=number, rank=number, stands=layer, zones=layer, access=layer)
