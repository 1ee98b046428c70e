"""Everything a tract's settings name, read: land, surveys, pictures and elevation, with every fault found."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pandas as pd
import shapely
from pyproj import CRS

from invasimap.core.errors import Fault, InputError
from invasimap.core.settings import Tract, words_needed
from invasimap.inputs.account import Survey
from invasimap.inputs.copies import COPY
from invasimap.inputs.species import load_catalogue
from invasimap.inputs.survey import look_at_survey
from invasimap.inputs.tract_photos import TractPhotos, read_tract_photos
from invasimap.inputs.wording import in_feet, in_units
from invasimap.land.layers import LandLayers, elevation_faults, read_land, read_tract_terrain, stands_alone
from invasimap.land.machines import hose_notes
from invasimap.land.notes import entrance_notes
from invasimap.land.terrain import Terrain
from invasimap.prescription.calibration_age import calibration_faults, calibration_notes
from invasimap.prescription.costs import money_faults
from invasimap.prescription.label_notes import label_notes, start_notes

EVERYWHERE_M: Final = (-3e7, -3e7, 3e7, 3e7)  # what survey positions are held against where there are no stands
Step = Callable[[str], AbstractContextManager[object]]


def quiet(_name: str) -> AbstractContextManager[object]:
    """A step that says nothing."""
    return nullcontext()


@dataclass(frozen=True, kw_only=True)
class Inputs:
    """What a tract's files gave: the parts that could be read, what is to be said of them, and every fault."""

    land: LandLayers | None
    survey: Survey | None
    photos: TractPhotos | None
    terrain: Terrain | None
    notes: list[str]
    private_notes: list[str]
    faults: list[Fault]

    @property
    def files(self) -> list[Path]:
        """The files that were read."""
        parts = [part.files for part in (self.land, self.survey, self.photos) if part is not None]
        return [path for files in parts for path in files]

    @property
    def ledger(self) -> pd.DataFrame:
        """The account of survey files and pictures."""
        parts = [part.ledger for part in (self.survey, self.photos) if part is not None]
        return pd.concat(parts, ignore_index=True)

    @property
    def set_aside(self) -> pd.DataFrame:
        """Records and pictures that are not used: file, record, reason."""
        parts = [
            part.set_aside[["file", "record", "reason"]] for part in (self.survey, self.photos) if part is not None
        ]
        return pd.concat(parts, ignore_index=True)


def read_inputs(
    settings: Tract, *, internal: bool = False, step: Step = quiet
) -> tuple[LandLayers, Survey, TractPhotos, Terrain, list[str]]:  # fmt: skip
    """Everything a tract's settings name: land, surveys, pictures and elevation, and what is to be said of them.

    Covers stand in place of confidential features unless it is for an ``internal`` plan.

    Raises
    ------
    InputError
        Lists every fault of every file, not only the first.
    """
    found = look_over(settings, internal=internal, step=step)
    if found.faults or found.land is None or found.survey is None or found.photos is None or found.terrain is None:
        raise InputError(found.faults)
    kept_back = ["There is something to be said of confidential layers: `invasimap check` tells it to you alone."]
    notes = found.notes + (found.private_notes if internal else kept_back[: len(found.private_notes)])
    return found.land, found.survey, found.photos, found.terrain, notes


def look_over(settings: Tract, *, internal: bool = False, step: Step = quiet) -> Inputs:
    """Read everything that can be read and gather the faults; one part that is at fault does not hide another's.

    Without land layers the survey's places are held against the stands alone; without these, against nothing.
    """
    today = dt.datetime.now(settings.tract.zone).date()
    faults = [*elevation_faults(settings), *money_faults(settings), *calibration_faults(settings, today=today)]
    land = survey = photos = terrain = None
    notes: list[str] = []
    with step("Stands, water, ways and land"):
        try:
            land = read_land(settings)
        except InputError as error:
            faults = [*error.faults, *faults]
    crs, near = (land.crs, land.outline) if land else stands_alone(settings)
    with step("Surveys and pictures"):
        try:
            survey, survey_faults = _look_at_survey(settings, crs=crs, near=near or shapely.box(*EVERYWHERE_M))
            faults = [*survey_faults, *faults]
            photos = _read_photos(settings, survey)
        except InputError as error:
            faults = [*error.faults, *faults]
    if land is None and near is None:
        notes.append("Places were not checked: there are no stands to hold them against.")
    notes += loud_notes(settings, land, survey) if land and survey else []
    notes += [*label_notes(settings), *calibration_notes(settings, today=today), *start_notes(settings, today=today)]
    notes += survey.notes if survey else []
    notes += photos.notes if photos else []
    if land and survey and not faults:
        with step("Elevation"):
            terrain, terrain_notes = read_tract_terrain(settings, land, survey.patches)
            land = land if internal else covered(settings, land, terrain)
        notes = [*notes, *land.notes, *terrain_notes, *entrance_notes(land.ground(terrain))]
    private = list(land.private_notes) if land else []
    if settings.tract.units == "us":
        notes, private = ([in_feet(note) for note in some] for some in (notes, private))
        faults = [dataclasses.replace(fault, what=in_feet(fault.what)) for fault in faults]
    return Inputs(
        land=land, survey=survey, photos=photos, terrain=terrain, notes=notes, private_notes=private, faults=faults
    )


def covered(settings: Tract, land: LandLayers, terrain: Terrain) -> LandLayers:
    """The land with covers in place of its confidential features.

    Raises
    ------
    InputError
        When there are such features and no words to hide them by.
    """
    if not settings.hides:
        return land
    said = settings.confidential
    if said is None:
        raise InputError(Fault(where="[confidential]", what="is missing", mend=words_needed()))
    return land.covered(words=said.words.get_secret_value(), hide_within_m=said.hide_within_m, terrain=terrain)


def _look_at_survey(settings: Tract, *, crs: CRS, near: Any) -> tuple[Survey, list[Fault]]:
    own = settings.intake.species
    survey, faults = look_at_survey(
        settings.survey,
        folder=settings.folder,
        crs=crs,
        near=near,
        timezone=settings.tract.zone,
        species=load_catalogue(settings.path(own) if own else None),
        intake=settings.intake,
    )
    return in_units(survey, settings.tract.units), faults


def _read_photos(settings: Tract, survey: Survey) -> TractPhotos:
    return read_tract_photos(
        settings.photos,
        survey.patches,
        folder=settings.folder,
        timezone=settings.tract.zone,
        limits=settings.intake.limits,
    )


def loud_notes(settings: Tract, land: LandLayers, survey: Survey) -> list[str]:
    """What is missing or odd enough that no figure should be used before it is looked at."""
    notes = []
    if not settings.protect and "protect" not in settings.left_out:
        notes.append(
            "NOTHING IS PROTECTED: there is no [[protect]] block, so nothing keeps spray off water, wells or rare "
            "plants."
        )
    means = settings.access
    none = means.tractor is None and means.atv is None and means.foot is None
    if none and "access" not in settings.left_out:
        notes.append("NO MEANS AT HAND: there is no [access.*] section, so nothing counts as reached.")
    notes += hose_notes(means, cell_m=means.cell_m)
    lost = survey.set_aside[~survey.set_aside["reason"].str.startswith(COPY)]["file"].unique()
    unused = survey.ledger[(survey.ledger["records"] > 0) & (survey.ledger["set_aside"] == survey.ledger["records"])]
    unused = unused[unused["file"].isin(lost)]
    notes += [f"{file}: ALL ITS RECORDS ARE SET ASIDE; see the reasons." for file in unused["file"]]
    largest_m2 = land.stands.dissolve("stand").area.max()
    acres = survey.patches.area / settings.shown.m2
    big = survey.patches[survey.patches.area > largest_m2]
    notes += [
        f"{file}, record {record}: the patch covers {area:,.0f} {settings.shown.area}, more than the largest stand. "
        "Check its size and unit."
        for file, record, area in zip(big["file"], big["record"], acres[big.index], strict=True)
    ]
    return notes
