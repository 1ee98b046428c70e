"""Damaged files of every format: nothing raised, nothing lost, nothing written or asked for outside, sound patches."""

from __future__ import annotations

import pytest
from fuzz_bases import MADE, REAL, made_bases, real_bases
from fuzz_check import BATCH, SHARES, failures, share

COUNT = 1_500  # always the same ones: for new ones see the head of fuzz_check
SEED = 11
PART = 6 * BATCH


def _parts(kind: str, sources: int) -> list[range]:
    count = share(kind, COUNT) // sources
    return [range(start, min(start + PART, count)) for start in range(0, count, PART)]


def _cases(kinds):
    return [pytest.param(kind, part, id=f"{kind}-{part.start}") for kind in kinds
            for part in _parts(kind, 1 + (kind in REAL))]  # fmt: skip


def test_every_format_has_its_share():
    assert SHARES.keys() == MADE.keys() >= REAL.keys()
    assert sum(share(kind, COUNT) for kind in SHARES) == pytest.approx(COUNT, abs=len(SHARES))


@pytest.mark.parametrize(("kind", "numbers"), _cases(MADE))
def test_a_damaged_file_costs_no_record_and_harms_no_other(kind, numbers, tmp_path):
    assert failures(made_bases(tmp_path, kind), numbers, seed=SEED, home=tmp_path / "box") == []


@pytest.mark.real
@pytest.mark.parametrize(("kind", "numbers"), _cases(REAL))
def test_a_damaged_real_file_costs_no_record_and_harms_no_other(kind, numbers, tmp_path, real):
    assert failures(real_bases(real, kind), numbers, seed=SEED, home=tmp_path / "box") == []
