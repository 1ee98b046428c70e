"""The whole job on one page: from a tract's settings and field files to the plan, and from the plan to its files."""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from pathlib import Path

import geopandas as gpd
import shapely

from invasimap.core.errors import InvariantError
from invasimap.core.files import sha256, whole_folder
from invasimap.core.settings import Tract
from invasimap.core.toml_file import read_tract
from invasimap.inputs.species import load_catalogue
from invasimap.inputs.survey import Survey, read_survey
from invasimap.land.access import access_classes
from invasimap.land.ground import crossing_notes
from invasimap.land.layers import LandLayers, read_land, read_tract_terrain
from invasimap.land.protection import protection_zones
from invasimap.mosaic.acreage import ground_area, species_area
from invasimap.mosaic.checks import AREA_LIMIT, OVERLAP_LIMIT, area_error, protection_overlap, records_lost
from invasimap.mosaic.faces import Faces, cut_faces
from invasimap.mosaic.uncertainty import with_interval
from invasimap.mosaic.zones import mosaic_layer, treatment_zones
from invasimap.prescription.plan import Check, Plan
from invasimap.reports.proof import FILES_LIMIT, files_error
from invasimap.reports.write import write_data, write_pages, write_run_record

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
    with clock("Stands, water, ways and land"):
        land = read_land(settings)
    with clock("Surveys"):
        survey = read_tract_survey(settings, land)
    with clock("Elevation"):
        terrain, terrain_notes = read_tract_terrain(settings, land, survey.patches)
        ground = land.ground(terrain)
    with clock("Protection: where spray must not go"):
        protection = protection_zones(land.features, terrain=terrain, within=shapely.box(*terrain.bounds))
    with clock("Access: tractor, hose and foot"):
        means = settings.access
        access = access_classes(ground, tractor=means.tractor, atv=means.atv, foot=means.foot)
    with clock("Mosaic and acreage"):
        by_class = access.polygons(limits=False)
        faces = cut_faces(survey.patches, stands=land.stands, protection=protection, access=by_class)
        zones = treatment_zones(faces)
        checks = checked(survey, faces, zones, protection)
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
        set_aside=survey.set_aside,
        acreage=acres,
        ground=ground_area(faces),
        ledger=survey.ledger,
        repaired=survey.repaired,
        checks=checks,
        notes=(*land.notes, *survey.notes, *terrain_notes, *crossing_notes(ground)),
        inputs={path: sha256(path) for path in [settings.file, *land.files, *survey.files]},
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
    with whole_folder(folder) as scratch:
        with clock("Tables and layers"):
            write_data(made, scratch)
        agree = Check(name="tables against files, relative", value=files_error(made, scratch), limit=FILES_LIMIT)
        refuse_failed([agree])
        made = dataclasses.replace(made, checks=(*made.checks, agree), seconds=clock.seconds)
        with clock("Maps and report"):
            write_pages(made, scratch)
        write_run_record(made, scratch)
    return folder


def read_tract_survey(settings: Tract, land: LandLayers) -> Survey:
    """The surveys of a tract as patches in its working system, with the ledger."""
    return read_survey(
        settings.survey,
        folder=settings.folder,
        crs=land.crs,
        near=land.outline,
        timezone=settings.tract.zone,
        species=load_catalogue(),
    )


def checked(survey: Survey, faces: Faces, zones: gpd.GeoDataFrame, protection: gpd.GeoDataFrame) -> tuple[Check, ...]:
    """Invariants 1, 2 and 4 of a result.

    Raises
    ------
    InvariantError
        When one fails.
    """
    lost = records_lost(survey.ledger, patches=len(survey.patches), set_aside=len(survey.set_aside))
    checks = (
        Check(name="records lost", value=lost, limit=0),
        Check(name="area lost, relative", value=area_error(survey.patches, faces), limit=AREA_LIMIT),
        Check(name="treatable in no-spray, share", value=protection_overlap(zones, protection), limit=OVERLAP_LIMIT),
    )
    refuse_failed(checks)
    return checks


def refuse_failed(checks: Iterable[Check]) -> None:
    """Raise when any check failed.

    Raises
    ------
    InvariantError
        Naming each failed check with its value and limit.
    """
    failed = [f"{check.name}: {check.value:g}, limit {check.limit:g}" for check in checks if not check.passed]
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
