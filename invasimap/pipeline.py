"""The whole job on one page: from a tract's settings and field files to the plan, and from the plan to its files."""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import pandas as pd
import shapely
from pyproj import CRS

from invasimap.core.errors import Fault, InputError, InvariantError
from invasimap.core.files import sha256, whole_folder
from invasimap.core.settings import Tract
from invasimap.core.toml_file import read_tract
from invasimap.inputs.account import Survey
from invasimap.inputs.copies import COPY
from invasimap.inputs.species import load_catalogue
from invasimap.inputs.survey import look_at_survey
from invasimap.inputs.tract_photos import TractPhotos, read_tract_photos
from invasimap.inputs.wording import in_feet, in_units
from invasimap.land.access import access_classes
from invasimap.land.compiled import compile_now, will_compile
from invasimap.land.features import half_width_m
from invasimap.land.ground import crossing_notes
from invasimap.land.layers import OUTSIDE, LandLayers, elevation_faults, read_land, read_tract_terrain, stands_alone
from invasimap.land.machines import hose_notes
from invasimap.land.parking import parking_places
from invasimap.land.protection import protection_zones, slope_notes
from invasimap.land.terrain import Terrain
from invasimap.land.what_if import reach_gain
from invasimap.mosaic.acreage import ground_area, species_area
from invasimap.mosaic.checks import (
    AREA_LIMIT,
    OVERLAP_LIMIT,
    SHORTFALL_LIMIT_M,
    area_error,
    limits_error,
    protection_overlap,
    records_lost,
    setback_shortfall_m,
    treatable_polygons,
)
from invasimap.mosaic.faces import Faces, cut_faces
from invasimap.mosaic.reach import limit_areas, sprayable_ground
from invasimap.mosaic.uncertainty import with_interval
from invasimap.mosaic.zones import mosaic_layer, treatment_zones
from invasimap.prescription.plan import Check, Plan
from invasimap.reports.apart import pictures_apart
from invasimap.reports.proof import FILES_LIMIT, files_error
from invasimap.reports.write import write_data, write_pages, write_run_record

EVERYWHERE_M: Final = (-3e7, -3e7, 3e7, 3e7)  # what survey positions are held against where there are no stands
Step = Callable[[str], AbstractContextManager[object]]


def quiet(_name: str) -> AbstractContextManager[object]:
    """A step that says nothing."""
    return nullcontext()


def plan(tract: Tract | str | Path, *, step: Step = quiet) -> Plan:
    """Work out a tract: everything but the files.

    Parameters
    ----------
    tract
        A ``tract.toml``, the folder that holds it, or its settings already read.
    step
        Called with the name of each step, gives a context manager held while it runs (for progress).

    Raises
    ------
    InputError
        When the input is at fault; lists every fault found.
    InvariantError
        When the result contradicts itself.
    """
    settings = tract if isinstance(tract, Tract) else read_tract(tract)
    clock = Clock(step)
    land, survey, photos, terrain, notes = read_inputs(settings, step=clock)
    ground = land.ground(terrain)
    worked = shapely.box(*terrain.bounds)
    means = settings.access
    if (means.tractor or means.atv or means.foot) and will_compile():
        with clock("Compiling for this machine, only this once"):
            compile_now()
    with clock("Protection and access, side by side"), ThreadPoolExecutor(1) as beside:
        zoned = beside.submit(protection_zones, land.features, terrain=terrain, within=worked)
        access = access_classes(ground, tractor=means.tractor, atv=means.atv, foot=means.foot)
        protection = zoned.result()
    with clock("Mosaic and acreage"):
        by_class = access.polygons(limits=False)
        faces = cut_faces(survey.patches, stands=land.stands, protection=protection, access=by_class)
        zones = treatment_zones(faces)
        checks = (*photos_checked(photos), *checked(survey, faces, zones, protection, land.features))
    with clock("Reach: what binds, where to park, what more would add"):
        sprayable = sprayable_ground(faces, terrain)
        limits = limit_areas(access, sprayable)
        checks = (*checks, limits_checked(limits, faces))
        parking = parking_places(zones[zones["stand"] != OUTSIDE], access)
        gain = reach_gain(ground, access, means, worth=sprayable, longer_hose_m=settings.shown.longer_hose_m)
    with clock("Uncertainty"):
        acres = with_interval(
            species_area(faces), faces, survey.patches, stands=land.stands, protection=protection, access=by_class
        )
    return Plan(
        settings=settings,
        terrain=terrain,
        patches=survey.patches.assign(gross_m2=survey.patches.area),
        mosaic=mosaic_layer(faces),
        treatment_zones=zones,
        protection=protection,
        access=access.polygons(),
        limits=limits,
        reach_gain=gain,
        parking=parking,
        set_aside=_joined(survey.set_aside, photos.set_aside),
        acreage=acres,
        ground=ground_area(faces),
        ledger=_joined(survey.ledger, photos.ledger),
        photos=photos.table,
        repaired=survey.repaired,
        columns=survey.columns,
        checks=checks,
        notes=(
            *notes,
            *crossing_notes(ground, means.clearances_m),
            *slope_notes(land.features, terrain, within=land.outline),
        ),
        inputs={path: sha256(path) for path in [settings.file, *land.files, *survey.files, *photos.files]},
        seconds=clock.seconds,
        **land.layers(),
    )


def write_plan(made: Plan, out: Path | str | None = None, *, step: Step = quiet) -> Path:
    """Write everything a plan holds into a folder, whole or not at all; gives the folder.

    Parameters
    ----------
    made
        The plan.
    out
        The folder; by default ``out`` beside the settings file. An earlier result there is replaced once the new one
        is whole; any other folder with files in it is refused.

    Raises
    ------
    InputError
        When the folder is not an earlier result.
    InvariantError
        When the files written do not agree with the tables.
    """
    folder = Path(out) if out is not None else made.settings.folder / "out"
    clock = Clock(step, seconds=dict(made.seconds))
    with whole_folder(folder, inputs=made.inputs) as scratch, pictures_apart(made) as pictures:
        with clock("Tables and layers"):
            write_data(made, scratch)
        agree = Check(name="tables against files, relative", value=files_error(made, scratch), limit=FILES_LIMIT)
        refuse_failed([agree])
        made = dataclasses.replace(made, checks=(*made.checks, agree), seconds=clock.seconds)
        with clock("Maps and report"):
            write_pages(made, scratch, pictures=pictures)
        write_run_record(made, scratch)
    return folder


@dataclass(frozen=True, kw_only=True)
class Inputs:
    """What a tract's files gave: the parts that could be read, what is to be said of them, and every fault."""

    land: LandLayers | None
    survey: Survey | None
    photos: TractPhotos | None
    terrain: Terrain | None
    notes: list[str]
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
    settings: Tract, *, step: Step = quiet
) -> tuple[LandLayers, Survey, TractPhotos, Terrain, list[str]]:  # fmt: skip
    """Everything a tract's settings name: land, surveys, pictures and elevation, and what is to be said of them.

    Raises
    ------
    InputError
        Lists every fault of every file, not only the first.
    """
    found = look_over(settings, step=step)
    if found.faults or found.land is None or found.survey is None or found.photos is None or found.terrain is None:
        raise InputError(found.faults)
    return found.land, found.survey, found.photos, found.terrain, found.notes


def look_over(settings: Tract, *, step: Step = quiet) -> Inputs:
    """Read everything that can be read and gather the faults; one part that is at fault does not hide another's.

    Without land layers the survey's places are held against the stands alone; without these, against nothing.
    """
    faults = elevation_faults(settings)
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
    notes += [*(loud_notes(settings, land, survey) if land and survey else []), *(survey.notes if survey else [])]
    notes += photos.notes if photos else []
    if land and survey and not faults:
        with step("Elevation"):
            terrain, terrain_notes = read_tract_terrain(settings, land, survey.patches)
        notes = [*notes, *land.notes, *terrain_notes]
    if settings.tract.units == "us":
        notes = [in_feet(note) for note in notes]
        faults = [dataclasses.replace(fault, what=in_feet(fault.what)) for fault in faults]
    return Inputs(land=land, survey=survey, photos=photos, terrain=terrain, notes=notes, faults=faults)


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


def _joined(survey: Any, photos: Any) -> Any:
    return pd.concat([survey, photos], ignore_index=True) if len(photos) else survey


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


def checked(
    survey: Survey,
    faces: Faces,
    zones: gpd.GeoDataFrame,
    protection: gpd.GeoDataFrame,
    features: gpd.GeoDataFrame,
) -> tuple[Check, ...]:
    """Invariants 1, 2 and 4 of a result; 4 twice, against the zones and against the features themselves.

    Raises
    ------
    InvariantError
        When one fails.
    """
    lost = records_lost(survey.ledger, patches=len(survey.patches), set_aside=len(survey.set_aside))
    short_m = setback_shortfall_m(treatable_polygons(zones), features, half_width_m(features))
    checks = (
        Check(name="records lost", value=lost, limit=0),
        Check(name="area lost, relative", value=area_error(survey.patches, faces), limit=AREA_LIMIT),
        Check(name="treatable in no-spray, share", value=protection_overlap(zones, protection), limit=OVERLAP_LIMIT),
        Check(name="typed distances cut short, m", value=short_m, limit=SHORTFALL_LIMIT_M),
    )
    refuse_failed(checks)
    return checks


def photos_checked(photos: TractPhotos) -> tuple[Check, ...]:
    """Invariant 1 of the pictures, where there are any.

    Raises
    ------
    InvariantError
        When one is lost.
    """
    if photos.table.empty:
        return ()
    lost = records_lost(photos.ledger, patches=photos.attached, set_aside=len(photos.set_aside))
    check = Check(name="pictures lost", value=lost, limit=0)
    refuse_failed([check])
    return (check,)


def limits_checked(limits: pd.DataFrame, faces: Faces) -> Check:
    """That ``limits`` takes up all infested ground that is open to spray, class by class.

    Raises
    ------
    InvariantError
        When it does not.
    """
    check = Check(name="open ground lost from limits, relative", value=limits_error(limits, faces), limit=AREA_LIMIT)
    refuse_failed([check])
    return check


def refuse_failed(checks: Iterable[Check]) -> None:
    """Raise when any check failed.

    Raises
    ------
    InvariantError
        Naming each failed check with its value and limit.
    """
    failed = ["{}: {}, limit {}".format(check.name, *check.said) for check in checks if not check.passed]
    if failed:
        raise InvariantError("the result contradicts itself, nothing was written: " + "; ".join(failed))


class Clock:
    """Holds each step in the caller's progress and notes its seconds."""

    def __init__(self, step: Step, *, seconds: dict[str, float] | None = None) -> None:
        self._step = step
        self.seconds: dict[str, float] = seconds if seconds is not None else {}

    @contextmanager
    def __call__(self, name: str) -> Iterator[None]:
        """Run the block as a named step."""
        start = time.perf_counter()
        with self._step(name):
            yield
        self.seconds[name] = round(time.perf_counter() - start, 3)
