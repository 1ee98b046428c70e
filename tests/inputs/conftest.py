"""A small tract of our own: stands of 1 km x 1 km around 38.0 N, 80.0 W, and a reader that needs no settings file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import shapely

from invasimap.core.crs import working_crs
from invasimap.core.survey_settings import IntakeSection, SurveySection
from invasimap.inputs.species import load_catalogue
from invasimap.inputs.survey import Survey, read_survey

LON, LAT = -80.0, 38.0


@pytest.fixture
def read(tmp_path: Path) -> Callable[..., Survey]:
    def run(
        *files: str, zone: str = "America/New_York", intake: dict[str, Any] | None = None, **section: Any
    ) -> Survey:
        block = SurveySection.model_validate({"files": list(files), **section})
        return read_survey(
            [block],
            folder=tmp_path,
            crs=working_crs(LON, LAT),
            near=shapely.box(-500, -500, 500, 500),
            timezone=ZoneInfo(zone),
            species=load_catalogue(),
            intake=IntakeSection.model_validate(intake or {}),
        )

    return run


@pytest.fixture
def write(tmp_path: Path) -> Callable[[str, str | bytes], Path]:
    def run(name: str, content: str | bytes) -> Path:
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return run


@pytest.fixture
def refused(read: Callable[..., Survey]) -> Callable[..., str]:
    """Why a file is not read; it must stand in the account as one record, number 0, set aside."""

    def run(name: str, **section: Any) -> str:
        survey = read(name, **section)
        assert survey.ledger.to_numpy().tolist() == [[name, 1, 0, 0, 1]]
        assert survey.set_aside["record"].tolist() == [0] and len(survey.patches) == 0
        assert any(note.startswith(f"{name}: NOT READ") for note in survey.notes)
        return str(survey.set_aside["reason"][0])

    return run
