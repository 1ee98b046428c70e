"""The record of a run keeps apart what was typed, what was typed as none, and what was not typed."""

from __future__ import annotations

import dataclasses
import json
from typing import Any

import pytest

from invasimap.core.mix_settings import MixSection
from invasimap.prescription.plan import Plan
from invasimap.reports.run_record import run_record

LB_PER_ACRE = 0.45359237 / 0.40468564224  # kg/ha


def recorded(plan: Plan, **limits: str) -> dict[str, Any]:
    typed = {"name": "a", "product": "P", "rate": "2 % v/v", "species": ["*"], "zones": ["open"], **limits}
    settings = plan.settings.model_copy(update={"mix": [MixSection.model_validate(typed)]})
    record = run_record(dataclasses.replace(plan, settings=settings))
    return json.loads(json.dumps(record, allow_nan=False))["settings"]["mix"][0]


def test_no_limit_on_the_label_is_not_a_limit_that_nobody_typed(toy_plan: Plan) -> None:
    found = recorded(toy_plan, max_per_year="None on the  label")
    assert found["max_per_year_kg_per_ha"] == "none on the label" and found["max_per_application_kg_per_ha"] is None
    found = recorded(toy_plan, max_per_application="none on the label", max_per_year="4 lb/acre")
    assert found["max_per_application_kg_per_ha"] == "none on the label"
    assert found["max_per_year_kg_per_ha"] == pytest.approx(4 * LB_PER_ACRE, rel=1e-9)
