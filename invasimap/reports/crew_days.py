"""Builds what a crew takes along for a day: the ground of its rig's works, lines to keep out of, and where to go."""

from __future__ import annotations

import dataclasses
import re
import unicodedata
from collections.abc import Iterator
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from invasimap.core.legible import visible
from invasimap.prescription.plan import Plan
from invasimap.reports.crew_names import LONGEST_NAME, ShortNames
from invasimap.reports.crew_outlines import Drawn, drawn_inside, in_degrees
from invasimap.reports.crew_parts import (
    AROUND_M,
    FOR_WAYS,
    WORKED,
    Lines,
    dealt,
    line_outlines,
    lines_round,
    parking_marks,
    place_in,
    way_marks,
)
from invasimap.reports.crew_sheet import STARTS, CrewSheet, Mark, Outline
from invasimap.reports.crew_words import sheet_words, work_short, work_words
from invasimap.reports.wording import day_words, rows_of

OF_DAY: Final = (
    "The days are a plan: the crew lead moves a day by the spray-day check. Names: 2-W3-Z14 is the day's second work, "
    "work 3 as on the load sheet, in treatment zone Z14; PU- edge of no-spray ground to work by hand, nothing applied."
)
LONGEST_FILE_NAME: Final = 40
OF_WORKS: Final = (
    "work", "zone_id", "stand", "zone", "access", "technique", "visit", "visits", "sprays", "mix", "species",
    "first", "last", "gross_m2", "worked_m2",
)  # fmt: skip

OF_DAYS: Final = ("work", "rig", "order", "part", "parts", "volume_L")


def day_sheets(plan: Plan) -> Iterator[tuple[str, list[CrewSheet]]]:
    """The files of each day and rig: their name and what is in them, works in the day's order.

    Several where a receiver would not hold one. Works that are too small to be drawn have no mark; each file names its
    own.
    """
    days = plan.treatment.days
    if not len(days):
        return
    works, ways = _works(plan), way_marks(plan)[: int(FOR_WAYS * plan.settings.crew.waypoints)]
    lines = lines_round(plan, _zones_in(plan, works))
    ground = _Ground(plan, lines)
    files = _file_names(days["rig"])
    room = plan.settings.crew.waypoints - len(ways)
    by_day = days.groupby([days["day"].astype(str).str[:10], days["rig"].astype(str)], sort=True)
    for (day, rig), turns in by_day:
        own = works.merge(turns[[*OF_DAYS]].assign(of=len(turns)), on="work").sort_values("order")
        own = own.assign(name=_day_names(own)) if len(own) else own
        batches = [own.iloc[rows] for rows in dealt((1 + own["stops"]).to_numpy(), room)]
        sheets = []
        for number, batch in enumerate(batches, 1):
            part = f", part {number} of {len(batches)}" if len(batches) > 1 else ""
            title = f"{visible(plan.settings.tract.name)}: {day_words(day)}, {visible(str(rig))}{part}"
            sheets.append(_sheet(plan, batch, title=title, ways=ways, ground=ground))
        held = [sheet for sheet in sheets if any(outline.zone for outline in sheet.outlines)]
        if held:
            yield f"day_{day}_{files[str(rig)]}", held


class _Ground:
    """What is drawn of each work and how far it is from no-spray ground: worked once, however many days it takes."""

    def __init__(self, plan: Plan, lines: Lines) -> None:
        self.lines, self._most_points = lines, plan.settings.crew.track_points
        self._found: dict[Any, tuple[list[Drawn], float]] = {}

    def of(self, work: Any) -> tuple[list[Drawn], float]:
        """The pieces drawn of a work, none where it is too small, and metres from no-spray ground."""
        if work.work not in self._found:
            drawn = drawn_inside(_ground(work, self.lines), most_points=self._most_points)
            self._found[work.work] = drawn, self.lines.from_no_spray_m(work.geometry) if drawn else np.nan
        return self._found[work.work]


def _works(plan: Plan) -> gpd.GeoDataFrame:
    """Works in their order with their ground: what of their jobs is drawn, and how many stops a hose takes there."""
    held = plan.treatment
    jobs = held.jobs[held.jobs["work"].notna()]
    ground = {work: shapely.union_all(own.geometry.to_numpy()) for work, own in jobs.groupby(jobs["work"].astype(int))}
    table = held.work.rename_axis("work").reset_index()[[*OF_WORKS]]
    table = table[table["work"].isin(ground)]
    stops = plan.parking.groupby(plan.parking["zone_id"].astype(str)).size()
    stops = table["zone_id"].astype(str).map(stops).fillna(0).astype(int)
    hoses = {rig.name for rig in plan.settings.rig if rig.access != "foot"}
    table = table.assign(stops=np.where(held.work.loc[table["work"], "rig"].isin(hoses), stops, 0))
    return gpd.GeoDataFrame(table, geometry=[ground[work] for work in table["work"]], crs=plan.crs)


def _sheet(plan: Plan, works: gpd.GeoDataFrame, *, title: str, ways: list[Mark], ground: _Ground) -> CrewSheet:
    names = ShortNames({mark.name for mark in ways})
    lines = _near(plan, works, ground.lines)
    rows = list(rows_of(works))
    marks: list[Mark] = []
    outlines: list[Outline] = []
    drawn_of: dict[str, list[Drawn]] = {}
    for work in rows:
        drawn, from_m = ground.of(work)
        if drawn:
            drawn_of[f"W{work.work}"] = drawn
            marks.append(_work_mark(plan, work, drawn, names, from_m=from_m))
            outlines += _work_outlines(plan, work, drawn, names, mark=marks[-1])
    marks += _parking(plan, works, drawn_of, names)
    outlines += line_outlines(plan, lines, names)
    off_m = sum(
        max((one.off_m for found in kind.values() for one in found), default=0.0) for kind in (drawn_of, lines.drawn)
    )
    small = [f"W{row.work}-{row.zone_id}" for row in rows if f"W{row.work}" not in drawn_of]
    notes = [OF_DAY, *([f"Too small to draw: {', '.join(small)}."] if small else [])]
    return CrewSheet(
        access=_access(plan, works), title=title, made=plan.made,
        words=sheet_words(plan, off_m=off_m, around_m=AROUND_M, notes=notes),
        stands={f"W{row.work}": str(row.stand) for row in rows if f"W{row.work}" in drawn_of},
        marks=(*marks, *ways), outlines=tuple(outlines),
    )  # fmt: skip


def _day_names(works: pd.DataFrame) -> list[str]:
    """Names of a day's works, the place in the day first so that names sort; without zones where a screen has no room.

    Examples
    --------
    >>> _day_names(pd.DataFrame({"order": [1, 2], "work": [3, 20], "zone_id": ["Z014", "Z9"]}))
    ['1-W3-Z014', '2-W20-Z9']
    >>> _day_names(pd.DataFrame({"order": [9, 10], "work": [3, 123], "zone_id": ["Z9", "Z014"]}))
    ['09-W3', '10-W123']
    """
    wide = len(str(works["order"].max()))
    short = [f"{row.order:0{wide}d}-W{row.work}" for row in rows_of(works)]
    whole = [f"{name}-{zone}" for name, zone in zip(short, works["zone_id"], strict=True)]
    return whole if max(map(len, whole)) <= LONGEST_NAME else short


def _access(plan: Plan, works: gpd.GeoDataFrame) -> str:
    """The means of the rig, whose colour its ground has."""
    means = {rig.name: str(rig.access) for rig in plan.settings.rig}
    return means.get(str(works["rig"].iloc[0]), str(works["access"].iloc[0]))


def _zones_in(plan: Plan, works: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The treatment zones of the stands in which something is done."""
    zones = plan.treatment_zones
    return zones[zones["stand"].astype(str).isin(set(works["stand"].astype(str)))]


def _near(plan: Plan, works: gpd.GeoDataFrame, lines: Lines) -> Lines:
    """Of all lines those that are in or round the stands of some works, each whole."""
    stands = plan.stands[plan.stands["stand"].astype(str).isin(set(works["stand"].astype(str)))]
    around = shapely.union_all(shapely.buffer([*stands.geometry, *works.geometry], AROUND_M))
    shapely.prepare(around)
    drawn = {
        kind: [one for one in pieces if shapely.intersects(around, one.shape)] for kind, pieces in lines.drawn.items()
    }
    return dataclasses.replace(lines, drawn=drawn)


def _ground(work: Any, lines: Lines) -> Any:
    """What of a work's ground may be drawn: as access files draw it; by hand, without spray, also no-spray ground."""
    if work.zone not in WORKED and not work.sprays:
        return work.geometry
    kinds = ("no_spray",) if work.zone == "hand_only" else ("no_spray", "hand_ground")
    out = np.array([one.shape for kind in kinds for one in lines.drawn[kind]], object)
    near = out[shapely.intersects(out, shapely.box(*work.geometry.bounds))]
    return shapely.difference(work.geometry, shapely.union_all(near))


def _work_mark(plan: Plan, work: Any, drawn: list[Drawn], names: ShortNames, *, from_m: float) -> Mark:
    largest = max((one.shape for one in drawn), key=shapely.area)
    return Mark(
        name=names.give(work.name), kind="work", zone=f"W{work.work}",
        place=place_in(plan, largest), short=work_short(work, plan),
        words=work_words(work, plan, from_no_spray_m=from_m),
    )  # fmt: skip


def _work_outlines(plan: Plan, work: Any, drawn: list[Drawn], names: ShortNames, *, mark: Mark) -> list[Outline]:
    """A work's polygons, as many under one name as a track holds points."""
    sizes = [int(shapely.get_num_coordinates(one.shape)) for one in drawn]
    kind = work.zone if work.zone in WORKED else "dry"
    return [
        Outline(
            name=names.give(f"{STARTS[kind]}-W{work.work}"), kind=kind, zone=mark.zone,
            shapes=tuple(in_degrees(drawn[row].shape, plan.crs) for row in rows), short=mark.short, words=mark.words,
        )
        for rows in dealt(sizes, plan.settings.crew.track_points)
    ]  # fmt: skip


def _parking(plan: Plan, works: gpd.GeoDataFrame, drawn: dict[str, list[Drawn]], names: ShortNames) -> list[Mark]:
    """Where to park for the zones of drawn works, each under the first work there."""
    first: dict[str, str] = {}
    for work in rows_of(works[works["stops"] > 0]):
        if f"W{work.work}" in drawn:
            first.setdefault(str(work.zone_id), f"W{work.work}")
    marks = parking_marks(plan, {zone: [] for zone in first}, names)
    return [dataclasses.replace(mark, zone=first[mark.zone]) for mark in marks]


def _file_names(rigs: pd.Series) -> dict[str, str]:
    """Each rig's name as every system's files can bear it, no two alike.

    Examples
    --------
    >>> _file_names(pd.Series(["ATV hose", "atv/hose", "火"]))
    {'ATV hose': 'ATV-hose', 'atv/hose': 'atv-hose-2', '火': 'rig'}
    """
    found: dict[str, str] = {}
    taken: set[str] = set()
    for rig in sorted(set(rigs.astype(str))):
        plain = unicodedata.normalize("NFKD", rig).encode("ascii", "ignore").decode()
        stem = re.sub(r"[^A-Za-z0-9]+", "-", plain).strip("-")[:LONGEST_FILE_NAME].strip("-") or "rig"
        name, number = stem, 1
        while name.casefold() in taken:
            number += 1
            name = f"{stem}-{number}"
        taken.add(name.casefold())
        found[rig] = name
    return found
