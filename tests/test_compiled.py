"""Compiling told and done beforehand: nothing is kept in an empty folder, and nothing is left to compile afterwards."""

import os
import subprocess
import sys

import numpy as np
import pytest

from invasimap import compiled
from invasimap.compiled import compile_now, will_compile
from invasimap.core.second_process import start
from invasimap.land.hose_reach import hose_reach

ASK = "from invasimap.compiled import will_compile; print(will_compile(), will_compile('hose'))"
LARGER = """
import importlib
import numpy as np
import shapely
from invasimap.compiled import KERNELS, compile_here
from invasimap.land.hose_reach import hose_reach
from invasimap.land.walking import walk_minutes
from invasimap.mosaic.sweep import Layer, areas, rings_of

for name in KERNELS:
    compile_here(name)
many = np.arange(300)
squares = rings_of(shapely.box(many % 20, many // 20, many % 20 + 1.5, many // 20 + 0.5))
none = Layer(rings=rings_of([]), label=np.empty(0, np.int64))
labels = Layer(rings=squares, label=many % 2)
areas(squares, species=many % 3, rank=many, stands=labels, zones=none, access=labels)
level, one = np.zeros((50, 70), np.float32), np.zeros((50, 70), bool)
one[20, 30] = True
hose_reach(one, passable=np.ones_like(one), elevation_m=level, cell_m=2.0, length_m=20.0)
walk_minutes(one, ground=np.ones(one.shape, np.uint8), factors=(1.0, 0.5), elevation_m=level, cell_m=2.0)
for module, _ in KERNELS.values():
    for found in vars(importlib.import_module(module)).values():
        if hasattr(found, "py_func") and found.stats.cache_path:
            print(len(found.signatures))
"""
SMALL = """
from numba import njit

@njit(cache=True)
def more(number):
    return number + 1
"""


def told(code, **more):
    command = [sys.executable, "-c", code]
    return subprocess.run(command, env=os.environ | more, capture_output=True, text=True, check=True).stdout.split()


def test_an_empty_store_means_a_wait_and_a_run_ends_it(tmp_path):
    assert told(ASK, NUMBA_CACHE_DIR=str(tmp_path)) == ["True", "True"]
    one = np.ones((1, 1), bool)
    hose_reach(one, passable=one, elevation_m=np.zeros((1, 1)), cell_m=1.0, length_m=1.0)
    assert not will_compile("hose")
    assert told(ASK)[1] == "False"


def test_a_name_that_is_no_kernel_is_refused():
    with pytest.raises(ValueError, match="tractor"):
        will_compile("tractor")


def test_compiling_now_leaves_nothing_to_compile():
    compile_now()
    assert not will_compile()


def test_what_is_compiled_beforehand_serves_larger_ground():
    assert set(told(LARGER)) == {"1"}


def test_the_other_process_does_its_work(monkeypatch):
    monkeypatch.setattr("invasimap.core.second_process.processors", lambda: 2)
    process = start(compiled._CHILD, "walk")
    assert process is not None and process.wait() == 0


@pytest.mark.parametrize("python", [sys.executable, "/nowhere/python", "/nowhere/steward.exe", ""])
def test_what_the_other_process_leaves_is_compiled_here(python, tmp_path, monkeypatch):
    monkeypatch.syspath_prepend(tmp_path)
    kernels = {}
    for name in ("one", "two"):
        module = f"small_{name}_{len(python)}"
        (tmp_path / f"{module}.py").write_text(SMALL)
        kernels[name] = module, lambda module=module: sys.modules[module].more(1)
    monkeypatch.setattr(compiled, "KERNELS", kernels)  # the other process knows none of these
    monkeypatch.setattr(sys, "executable", python)
    assert will_compile("one")
    assert will_compile("two")
    compile_now()
    assert not will_compile()
