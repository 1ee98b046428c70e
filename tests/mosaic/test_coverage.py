"""Ranges hold known truths as often as they say; the full study is ``tests/benchmarks/interval_study.py``."""

import numpy as np
import pandas as pd
import pytest
from interval_study import one_survey, score

FEW = {"point": 9, "polygon": 2, "line": 1}


@pytest.fixture(scope="module")
def held() -> pd.DataFrame:
    return score(pd.concat([one_survey(seed, draws=39, counts=FEW) for seed in range(40)]))


def test_nine_of_ten_truths_lie_in_their_ranges(held):
    # 40 surveys, each of new land and patches; within three standard errors, and for all rows within 3 of 90
    error = np.maximum(held["error_pct"], 100 * np.sqrt(0.9 * 0.1 / held["figures"]))
    assert ((held["held_pct"] - 90).abs() <= 3 * error).all(), held.to_string()
    assert held.loc["row", "figures"].sum() > 1000
    assert held.loc["row", "held_pct"].to_numpy() == pytest.approx(90, abs=3)


def test_misses_lie_on_both_sides(held):
    rows = held.loc["row"]
    assert (rows[["below_pct", "above_pct"]] > 2).all(axis=None) and (rows[["below_pct", "above_pct"]] < 9).all(
        axis=None
    )
