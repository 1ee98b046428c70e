"""The mixed-integer programme handed to scipy's HiGHS (Huangfu and Hall 2018, Math. Prog. Comp. 10:119-142).

HiGHS writes lines of its own to the standard output, whatever it is told. So larger programmes are solved by a second
process whose output goes nowhere; for small ones, and where there is none, the output is put aside meanwhile.
"""

from __future__ import annotations

import ctypes
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

from invasimap.core import second_process

_HERE = 6_000  # ways that are quicker solved than a process is started
_START_S = 3.0  # of the time, for the second process to start and the solver to look at its clock
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Programme:
    """Most value.x, each x 0 or 1, with at_most x <= limits and equal x = 0."""

    value: Floats
    at_most: sparse.csc_array
    limits: Floats
    equal: sparse.csc_array


def solve(programme: Programme, *, gap: float, seconds: float, nodes: int) -> tuple[Floats | None, float | None]:
    """The best x found and the bound on every x; None for what there was no time to find.

    ``nodes`` of the search tree end it wherever it runs, which ``seconds`` does not: the same answer every time.
    """
    if len(programme.value) > _HERE and second_process.can_start():
        with tempfile.TemporaryDirectory() as folder:
            return _elsewhere(programme, (gap, seconds, nodes), Path(folder))
    return _here(programme, gap=gap, seconds=seconds, nodes=nodes)


def _here(programme: Programme, *, gap: float, seconds: float, nodes: int) -> tuple[Floats | None, float | None]:
    binding = [LinearConstraint(programme.at_most, -np.inf, programme.limits)]
    if programme.equal.shape[0]:
        binding.append(LinearConstraint(programme.equal, 0, 0))
    whole = np.ones(len(programme.value), np.intp)
    with _quiet():
        result = milp(
            -programme.value, integrality=whole, bounds=Bounds(0, 1), constraints=binding,
            options={"time_limit": seconds, "mip_rel_gap": gap, "node_limit": nodes},
        )  # fmt: skip
    return result.x, None if result.mip_dual_bound is None else -float(result.mip_dual_bound)


@contextmanager
def _quiet() -> Iterator[None]:
    """Nothing that compiled code writes to the standard output comes through; as it is where that has no file."""
    try:
        kept = os.dup(1)
    except OSError:
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    _write_out()
    os.dup2(nowhere, 1)
    try:
        yield
    finally:
        _write_out()
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)


def _write_out() -> None:
    """Write out what Python and the C library still hold for the standard output."""
    if sys.stdout is not None:
        sys.stdout.flush()
    ctypes.CDLL("ucrtbase" if os.name == "nt" else None).fflush(None)


def _elsewhere(programme: Programme, aim: tuple[float, float, int], folder: Path) -> tuple[Floats | None, float | None]:
    """Solved by a second process; here where that cannot be started or fails."""
    asked, answered = folder / "asked.npz", folder / "answered.npz"
    parts = {f"{name}_{part}": getattr(getattr(programme, name), part)
             for name in ("at_most", "equal") for part in ("data", "indices", "indptr", "shape")}  # fmt: skip
    aim_there = np.array([aim[0], max(aim[1] - _START_S, aim[1] / 2), aim[2]])
    np.savez(asked, value=programme.value, limits=programme.limits, aim=aim_there, **parts)
    code = "from invasimap.prescription import solver; solver.answer_file(*sys.argv[1:3])"
    process = second_process.start(code, str(asked), str(answered))
    if process is not None:
        try:
            process.wait(timeout=aim[1])
        except subprocess.TimeoutExpired:
            return None, None
        finally:
            process.kill()
            process.wait()
        if answered.is_file():
            with np.load(answered) as found:
                return (found["x"] if len(found["x"]) else None), (
                    float(found["upper"][0]) if len(found["upper"]) else None
                )
    return _here(programme, gap=aim[0], seconds=aim[1], nodes=aim[2])


def answer_file(asked: str, answered: str) -> None:
    """Solve the programme in one file and write the answer to another: what the second process does."""
    with np.load(asked) as held:
        at_most, equal = (
            sparse.csc_array((held[f"{name}_data"], held[f"{name}_indices"], held[f"{name}_indptr"]),
                             shape=tuple(held[f"{name}_shape"])) for name in ("at_most", "equal")
        )  # fmt: skip
        programme = Programme(value=held["value"], at_most=at_most, limits=held["limits"], equal=equal)
        gap, seconds, nodes = held["aim"].tolist()
    x, upper = _here(programme, gap=gap, seconds=seconds, nodes=int(nodes))
    np.savez(
        answered, x=np.zeros(0) if x is None else x, upper=np.zeros(0) if upper is None else np.array([upper])
    )  # fmt: skip
