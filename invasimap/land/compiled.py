"""Whether the compiled kernels of this folder are at hand, so that a wait for them can be said."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import numpy as np

KERNELS = ("hose", "walk")


def will_compile(*kernels: str) -> bool:
    """Whether ``hose_reach`` or ``walk_minutes`` has yet to be compiled here, about 10 s of one core each, done once.

    Parameters
    ----------
    *kernels
        ``hose``, ``walk`` or both; none stands for both.

    Raises
    ------
    ValueError
        When a name is not a kernel's.

    Notes
    -----
    Looks for what numba keeps, in the folder that it would use, written after the kernel's own text. Loads numba, which
    the kernels need a moment later in any case.
    """
    unknown = set(kernels) - set(KERNELS)
    if unknown:
        raise ValueError(f"{sorted(unknown)} is no kernel; there are {', '.join(KERNELS)}")
    from invasimap.land.reach_kernel import spread  # numba takes a second to load
    from invasimap.land.walk_kernel import walk

    found = {"hose": spread, "walk": walk}
    return not all(kept(found[name]) for name in kernels or KERNELS)


def compile_now() -> None:
    """Compile what is not compiled yet, on a grid of a few cells."""
    from invasimap.land.cells import ClosedParts
    from invasimap.land.hose_reach import hose_reach
    from invasimap.land.walking import walk_minutes

    level, one = np.zeros((4, 4), np.float32), np.zeros((4, 4), bool)
    one[1, 1] = True
    closed = ClosedParts(cell=np.empty(0, np.int64), parts=np.empty(0, np.uint64))
    hose_reach(one, passable=~one | one, elevation_m=level, cell_m=1.0, length_m=2.0, lift_m=1.0, closed_parts=closed)
    walk_minutes(one, ground=np.ones((4, 4), np.uint8), factors=(1.0,), elevation_m=level, cell_m=1.0)


def kept(kernel: Any) -> bool:
    """Whether a compiled function is at hand: compiled in this run, or kept since its module's text changed last."""
    if kernel.signatures:
        return True
    source = Path(kernel.py_func.__code__.co_filename)
    folder = Path(kernel.stats.cache_path)
    python = f"py{sys.version_info.major}{sys.version_info.minor}"
    written = [file.stat().st_mtime for file in folder.glob(f"{source.stem}.{kernel.__name__}-*.{python}*.nbi")]
    return max(written, default=0.0) >= source.stat().st_mtime
