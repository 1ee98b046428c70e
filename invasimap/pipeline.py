"""The whole job on one page: from a tract's settings and field files to the plan, and from the plan to its files."""

from __future__ import annotations

import dataclasses
import datetime as dt
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely

from invasimap.checking import (
    checked,
    engines_checked,
    limits_checked,
    photos_checked,
    refuse_failed,
    treatment_checked,
)
from invasimap.compiled import compile_now, will_compile
from invasimap.core.errors import Fault, InputError
from invasimap.core.files import is_internal, is_trial, whole_folder
from invasimap.core.settings import Tract
from invasimap.core.toml_file import read_tract
from invasimap.inputs.account import Survey
from invasimap.inputs.species import load_catalogue
from invasimap.land.access import Access, access_classes
from invasimap.land.ground import Ground
from invasimap.land.layers import LandLayers
from invasimap.land.parking import parking_notes, parking_places, served_zones
from invasimap.land.protection import protection_zones, slope_notes
from invasimap.land.terrain import Terrain
from invasimap.land.ways_shut import crossing_notes
from invasimap.land.what_if import reach_gain
from invasimap.land.words import OUTSIDE
from invasimap.mosaic.acreage import ground_area, species_area
from invasimap.mosaic.faces import Faces, cut_faces
from invasimap.mosaic.reach import limit_areas, sprayable_ground
from invasimap.mosaic.simulation import Doubt
from invasimap.mosaic.uncertainty import with_ranges
from invasimap.mosaic.zones import mosaic_layer, treatment_zones
from invasimap.prescription.of_tract import pieces_of, season_at
from invasimap.prescription.plan import Check, Plan
from invasimap.prescription.sharing import input_files, shown_settings, without_names
from invasimap.prescription.treat import treat
from invasimap.prescription.treatment import Treatment
from invasimap.reading import Step, quiet, read_inputs
from invasimap.reports.apart import pictures_apart
from invasimap.reports.proof import FILES_LIMIT, files_error
from invasimap.reports.write import mark_files, write_data, write_pages, write_run_record


def plan(tract: Tract | str | Path, *, internal: bool = False, step: Step = quiet) -> Plan:
    """Work out a tract: everything but the files.

    Parameters
    ----------
    tract
        A ``tract.toml``, the folder that holds it, or its settings already read.
    internal
        Confidential features as they are, for their owner's eyes; else covers take their place, and nothing in the plan
        tells more of them.
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
    land, survey, photos, terrain, notes = read_inputs(settings, internal=internal, step=clock)
    ground = land.ground(terrain)
    compile_missing(settings, step=clock)
    mosaic = _mosaic(land, survey, settings=settings, ground=ground, step=clock)
    checks = (*photos_checked(photos), *checked(survey, mosaic.faces, mosaic.zones, mosaic.protection, land))
    reach = _reach(mosaic, settings=settings, ground=ground, step=clock)
    with clock("Ranges: how far each figure may be off"):
        ranges = with_ranges(
            species_area(mosaic.faces), ground_area(mosaic.faces), survey.patches, stands=land.stands,
            protection=mosaic.protection, access=mosaic.by_class, doubt=doubt_of(settings),
        )  # fmt: skip
    checks = (*checks, limits_checked(reach.limits, mosaic.faces), *engines_checked(ranges))
    with clock("Treatment: technique, mix, hours, money, weeks"):
        pieces = pieces_of(
            mosaic.faces, survey.patches, zones=mosaic.zones, acreage=ranges.acreage, terrain=terrain,
            access=mosaic.access, least_m2=settings.technique.least_piece_m2,
        )  # fmt: skip
        treatment = treated(settings, pieces, terrain=terrain, log=land.sprayed)
    checks = (*checks, *treatment_checked(treatment, settings))
    slopes = slope_notes(land.features, terrain, within=land.outline)
    notes += [*reach.notes, *crossing_notes(ground, settings.access.clearances_m), *slopes]
    return Plan(
        settings=shown_settings(settings, internal=internal),
        terrain=terrain,
        patches=survey.patches.assign(gross_m2=survey.patches.area),
        mosaic=mosaic_layer(mosaic.faces),
        treatment_zones=mosaic.zones,
        protection=mosaic.protection,
        access=mosaic.access.polygons(),
        limits=reach.limits,
        reach_gain=reach.gain,
        parking=reach.parking,
        set_aside=_joined(survey.set_aside, photos.set_aside),
        acreage=ranges.acreage,
        ground=ranges.ground,
        totals=ranges.totals,
        by_means=ranges.by_means,
        drivers=ranges.drivers,
        treatment=treatment,
        ledger=_joined(survey.ledger, photos.ledger),
        photos=photos.table,
        repaired=survey.repaired,
        columns=survey.columns,
        checks=checks,
        notes=tuple(notes) if internal else without_names(notes, settings),
        inputs=input_files(settings, [settings.file, *land.files, *survey.files, *photos.files], internal=internal),
        internal=internal,
        seconds=clock.seconds,
        **land.layers(),
    )


@dataclass(frozen=True, kw_only=True)
class _Mosaic:
    """What grows where, how it is reached and where it may be sprayed; ``by_class`` is access without its limits."""

    access: Access
    by_class: gpd.GeoDataFrame
    protection: gpd.GeoDataFrame
    faces: Faces
    zones: gpd.GeoDataFrame


def _mosaic(land: LandLayers, survey: Survey, *, settings: Tract, ground: Ground, step: Clock) -> _Mosaic:
    terrain, means = ground.terrain, settings.access
    worked = shapely.box(*terrain.bounds)
    with step("Protection and access, side by side"), ThreadPoolExecutor(1) as beside:
        zoned = beside.submit(protection_zones, land.guarded, terrain=terrain, within=worked)
        access = access_classes(ground, tractor=means.tractor, atv=means.atv, foot=means.foot)
        protection = zoned.result()
    with step("Mosaic and acreage"):
        by_class = access.polygons(limits=False)
        faces = cut_faces(survey.patches, stands=land.stands, protection=protection, access=by_class)
        zones = treatment_zones(faces)
    return _Mosaic(access=access, by_class=by_class, protection=protection, faces=faces, zones=zones)


@dataclass(frozen=True, kw_only=True)
class _Reach:
    """What binds spraying, where to park, and what more reach would add."""

    limits: pd.DataFrame
    parking: gpd.GeoDataFrame
    gain: pd.DataFrame
    notes: list[str]


def _reach(mosaic: _Mosaic, *, settings: Tract, ground: Ground, step: Clock) -> _Reach:
    access = mosaic.access
    with step("Reach: what binds, where to park, what more would add"):
        sprayable = sprayable_ground(mosaic.faces, ground.terrain)
        inside = mosaic.zones[mosaic.zones["stand"] != OUTSIDE]
        parking = parking_places(inside, access, away_from=mosaic.protection.geometry.to_numpy())
        return _Reach(
            limits=limit_areas(access, sprayable),
            parking=parking,
            gain=reach_gain(
                ground, access, settings.access, worth=sprayable, longer_hose_m=settings.shown.longer_hose_m
            ),
            notes=parking_notes(parking, served_zones(inside, access)),
        )


def treated(
    settings: Tract, pieces: gpd.GeoDataFrame, *, terrain: Terrain, log: gpd.GeoDataFrame | None = None
) -> Treatment:
    """The season's work on a tract's ground (``prescription.of_tract.pieces_of``), with what was sprayed before."""
    own = settings.intake.species
    catalogue = load_catalogue(settings.path(own) if own else None)
    season = season_at(settings, terrain=terrain, made=dt.datetime.now(settings.tract.zone).date(), catalogue=catalogue)
    return treat(pieces, settings=settings, season=season, catalogue=catalogue, log=log)


def compile_missing(settings: Tract, *, step: Step) -> None:
    """Compile what the settings need and this machine does not have yet: a wait that is said, and comes once."""
    means = settings.access
    driven = means.tractor or means.atv or means.foot
    needed = [*(("hose", "walk") if driven else ()), *(("sweep",) if settings.uncertainty.draws > 0 else ())]
    if needed and will_compile(*needed):
        with step("Compiling for this machine, only this once"):
            compile_now(*needed)


def doubt_of(settings: Tract) -> Doubt:
    """What the ranges take from the settings."""
    said = settings.uncertainty
    return Doubt(
        draws=said.draws, cell_m=settings.access.cell_m, size_error=said.size_error_pct / 100,
        accuracy_is=said.accuracy_is, cover_error_pct=said.cover_error_pct,
    )  # fmt: skip


def write_plan(made: Plan, out: Path | str | None = None, *, step: Step = quiet) -> Path:
    """Write everything a plan holds into a folder, whole or not at all; gives the folder.

    Parameters
    ----------
    made
        The plan.
    out
        The folder; by default ``out`` beside the settings file, ``out_internal`` of an internal plan, ``out_trial`` of
        one with settings changed for the run. An earlier result there is replaced once the new one is whole; any other
        folder with files in it is refused.

    Raises
    ------
    InputError
        When the folder is not an earlier result, or an internal plan would go into one that is passed on.
    InvariantError
        When the files written do not agree with the tables.
    """
    folder = result_folder(made.settings, out, internal=made.internal)
    clock = Clock(step, seconds=dict(made.seconds))
    with whole_folder(folder, inputs=[file.path for file in made.inputs]) as scratch, pictures_apart(made) as pictures:
        with clock("Tables and layers"):
            write_data(made, scratch)
        agree = Check(name="tables against files, relative", value=files_error(made, scratch), limit=FILES_LIMIT)
        refuse_failed([agree])
        made = dataclasses.replace(made, checks=(*made.checks, agree), seconds=clock.seconds)
        with clock("Maps and report"):
            write_pages(made, scratch, pictures=pictures)
        if made.leads:
            mark_files(scratch, made.leads)
        write_run_record(made, scratch)
    return folder


def result_folder(settings: Tract, out: Path | str | None, *, internal: bool) -> Path:
    """Where results go: ``out`` beside the settings, ``out_internal`` or ``out_trial`` of such a plan, unless named.

    Raises
    ------
    InputError
        When an internal plan or a trial would go into ``out``, an earlier result that is none, or a folder within one.
    """
    common = settings.folder / "out"
    usual = "_".join(["out", *(["internal"] if internal else []), *(["trial"] if settings.tried else [])])
    folder = Path(out) if out is not None else settings.folder / usual
    for above in [folder.resolve(), *folder.resolve().parents] if internal else []:
        if above == common.resolve() or is_internal(above) is False:
            what = "is for what may be passed on: no internal plan goes there"
            raise InputError(Fault(where=str(above), what=what, mend="choose another folder with --out"))
    for above in [folder.resolve(), *folder.resolve().parents] if settings.tried else []:
        if above == common.resolve() or is_trial(above) is False:
            what = "is for the plan of the settings file: no trial goes there"
            raise InputError(Fault(where=str(above), what=what, mend="choose another folder with --out"))
    return folder


def _joined(survey: Any, photos: Any) -> Any:
    return pd.concat([survey, photos], ignore_index=True) if len(photos) else survey


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
