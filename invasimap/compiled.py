"""Whether the compiled kernels are at hand, so that a wait for them can be said; and compiling them, two at a time."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import numpy as np

from invasimap.core.second_process import start

_CHILD: Final = "from invasimap.compiled import compile_here; compile_here(sys.argv[1])"


def will_compile(*kernels: str) -> bool:
    """Whether a kernel has yet to be compiled here: 5 to 15 s of one core each, done once.

    Parameters
    ----------
    *kernels
        ``sweep`` (areas without polygons), ``hose``, ``walk``; none stands for all.

    Raises
    ------
    ValueError
        When a name is not a kernel's.

    Notes
    -----
    Looks for what numba keeps, in the folder that it would use, written after the kernel's own text. Loads numba, which
    the kernels need a moment later in any case.
    """
    return bool(_waiting(kernels))


def compile_now(*kernels: str) -> None:
    """Compile what is not compiled yet, on little ground: the longest in a process of its own, the others here.

    numba compiles one function at a time in a process. Where the other process cannot be had, or fails, all of it is
    done here. What is kept is written whole by numba, so that one stopped halfway leaves nothing behind.

    Parameters
    ----------
    *kernels
        As in ``will_compile``.
    """
    waiting = _waiting(kernels)
    child = start(_CHILD, waiting[0]) if len(waiting) > 1 else None
    if child is not None:
        with child:
            try:
                for name in waiting[1:]:
                    compile_here(name)
            except BaseException:
                child.terminate()
                raise
    for name in _waiting(tuple(waiting)) if waiting else ():
        compile_here(name)


def compile_here(kernel: str) -> None:
    """Compile one kernel in this process."""
    KERNELS[kernel][1]()


def _waiting(kernels: tuple[str, ...]) -> list[str]:
    """Those that are not compiled yet, the longest first."""
    unknown = set(kernels) - set(KERNELS)
    if unknown:
        raise ValueError(f"{sorted(unknown)} is no kernel; there are {', '.join(KERNELS)}")
    return [name for name in KERNELS if (not kernels or name in kernels) and not _kept(KERNELS[name][0])]


def _kept(module: str) -> bool:
    """Whether every function that numba keeps of a module is there."""
    found = vars(importlib.import_module(module)).values()
    return all(_function_kept(one) for one in found if hasattr(one, "py_func") and one.stats.cache_path)


def _function_kept(function: Any) -> bool:
    if function.signatures:
        return True
    source = Path(function.py_func.__code__.co_filename)
    folder = Path(function.stats.cache_path)
    python = f"py{sys.version_info.major}{sys.version_info.minor}"
    written = [file.stat().st_mtime for file in folder.glob(f"{source.stem}.{function.__name__}-*.{python}*.nbi")]
    return max(written, default=0.0) >= source.stat().st_mtime


def _sweep_a_square() -> None:
    import shapely

    from invasimap.mosaic.sweep import Layer, areas, rings_of

    one = np.zeros(1, np.int64)
    square = Layer(rings=rings_of([shapely.box(0, 0, 10, 10)]), label=one)
    areas(square.rings, species=one, rank=one, stands=square, zones=square, access=square)


def _lay_a_hose() -> None:
    from invasimap.land.cells import ClosedParts
    from invasimap.land.hose_reach import hose_reach

    level, one = _few_cells()
    closed = ClosedParts(cell=np.empty(0, np.int64), parts=np.empty(0, np.uint64))
    hose_reach(one, passable=~one | one, elevation_m=level, cell_m=1.0, length_m=2.0, lift_m=1.0, closed_parts=closed)


def _walk_a_step() -> None:
    from invasimap.land.walking import walk_minutes

    level, one = _few_cells()
    walk_minutes(one, ground=np.ones((4, 4), np.uint8), factors=(1.0,), elevation_m=level, cell_m=1.0)


def _few_cells() -> tuple[Any, Any]:
    one = np.zeros((4, 4), bool)
    one[1, 1] = True
    return np.zeros((4, 4), np.float32), one


KERNELS: Final[dict[str, tuple[str, Callable[[], None]]]] = {  # longest first
    "sweep": ("invasimap.mosaic.sweep_kernel", _sweep_a_square),
    "hose": ("invasimap.land.reach_kernel", _lay_a_hose),
    "walk": ("invasimap.land.walk_kernel", _walk_a_step),
}
