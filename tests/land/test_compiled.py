"""Whether kernels wait to be compiled: nothing is kept in an empty folder, and something is after a run."""

import os
import subprocess
import sys

import numpy as np
import pytest

from invasimap.land.compiled import compile_now, will_compile
from invasimap.land.hose_reach import hose_reach

ASK = "from invasimap.land.compiled import will_compile; print(will_compile(), will_compile('hose'))"


def asked_in_a_new_process(**more):
    done = subprocess.run(
        [sys.executable, "-c", ASK], env=os.environ | more, capture_output=True, text=True, check=True
    )
    return done.stdout.split()


def test_an_empty_store_means_a_wait_and_a_run_ends_it(tmp_path):
    assert asked_in_a_new_process(NUMBA_CACHE_DIR=str(tmp_path)) == ["True", "True"]
    one = np.ones((1, 1), bool)
    hose_reach(one, passable=one, elevation_m=np.zeros((1, 1)), cell_m=1.0, length_m=1.0)
    assert not will_compile("hose")
    assert asked_in_a_new_process()[1] == "False"


def test_a_name_that_is_no_kernel_is_refused():
    with pytest.raises(ValueError, match="tractor"):
        will_compile("tractor")


def test_compiling_now_leaves_nothing_to_compile():
    compile_now()
    assert not will_compile()
