"""Builds what each crew's files hold: the zones of one access class, lines to keep out of, and where to go."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from invasimap.core.legible import visible
from invasimap.land.words import OUTSIDE
from invasimap.prescription.plan import Plan
from invasimap.reports.answers import stand_order
from invasimap.reports.crew_names import ShortNames
from invasimap.reports.crew_outlines import Drawn, drawn_inside, drawn_outside, in_degrees, polygons
from invasimap.reports.crew_sheet import STARTS, CrewSheet, Mark, Outline
from invasimap.reports.crew_words import (
    CLOSE_M,
    crossing_words,
    held_words,
    line_words,
    parking_short,
    parking_words,
    patch_words,
    plain,
    sheet_words,
    zone_short,
    zone_words,
)
from invasimap.reports.wording import ACCESS_WORDS, rows_of, shown_area

AROUND_M: Final = 30.48  # of the stands: how far out lines to keep out of are drawn
WORKED: Final = ("open", "hand_only")
FOR_WAYS = 0.2  # of a file's marks, at most, are entries and crossings


@dataclass(frozen=True, kw_only=True)
class Lines:
    """Ground to keep out of, round the stands of one file: as it is, as it is drawn, and what it is there for."""

    no_spray: Any
    drawn: dict[str, list[Drawn]]
    rows: gpd.GeoDataFrame
    _told: dict[tuple[int, tuple[str, ...]], list[str]] = field(default_factory=dict)  # lines are in many days' files

    def from_no_spray_m(self, shape: Any) -> float:
        """How far a shape is from no-spray ground; NaN where that is too far to be told."""
        left, bottom, right, top = shape.bounds
        far_m = CLOSE_M + 1
        near = shapely.clip_by_rect(self.no_spray, left - far_m, bottom - far_m, right + far_m, top + far_m)
        return float(shapely.distance(shape, near))

    def kinds(self, shape: Any, zones: tuple[str, ...]) -> list[str]:
        """What lies within a drawn line."""
        if (id(shape), zones) not in self._told:
            held = self.rows[self.rows["zone"].isin(zones)]
            kinds = held["kind"][shapely.intersects(held.geometry.to_numpy(), shape)]
            self._told[id(shape), zones] = sorted(set(kinds.astype(str)))
        return self._told[id(shape), zones]

    def kept_out(self, zone: str) -> Any:
        """What a zone must not be drawn in."""
        names = ("no_spray",) if zone == "hand_only" else ("no_spray", "hand_ground")
        return shapely.union_all([drawn.shape for name in names for drawn in self.drawn[name]])


def crew_sheets(plan: Plan, access: str, *, most_marks: float = math.inf) -> Iterator[CrewSheet]:
    """The files of one access class, stand by stand: one, or several where it has more than ``most_marks`` places.

    Zones that are too small to be drawn have no mark; each file names its own.
    """
    zones = plan.treatment_zones
    worked = (zones["access"] == access) & zones["zone"].isin(WORKED) & (zones["stand"] != OUTSIDE)
    zones = zones[worked]
    order = sorted(range(len(zones)), key=lambda row: (stand_order(str(zones["stand"].iloc[row])), row))
    zones = zones.iloc[order]
    stops = plan.parking.groupby("zone_id").size().reindex(zones["id"], fill_value=0).to_numpy()
    ways = way_marks(plan)
    held = ways[: int(FOR_WAYS * most_marks)] if math.isfinite(most_marks) else ways
    room = most_marks - len(held)
    batches = [zones.iloc[rows] for rows in dealt(1 + stops, room)]
    for number, batch in enumerate(batches, 1):
        part = f", part {number} of {len(batches)}" if len(batches) > 1 else ""
        sheet = _sheet(plan, batch, held, part=part, most_marks=most_marks)
        if sheet.outlines and any(outline.zone for outline in sheet.outlines):
            yield dataclasses.replace(sheet, limited=sheet.limited or len(held) < len(ways))


def dealt(sizes: Any, room: float) -> list[list[int]]:
    """Rows in their order, dealt into files that each have room for them."""
    found: list[list[int]] = []
    filled = room
    for row, size in enumerate(sizes):
        if filled + size > room or not found:
            found.append([])
            filled = 0
        found[-1].append(row)
        filled += size
    return found


def _sheet(plan: Plan, zones: gpd.GeoDataFrame, ways: list[Mark], *, part: str, most_marks: float) -> CrewSheet:
    names = ShortNames({mark.name for mark in ways})
    lines = lines_round(plan, zones)
    most_points = plan.settings.crew.track_points
    kept_out = {zone: lines.kept_out(zone) for zone in WORKED}
    marks: list[Mark] = []
    outlines: list[Outline] = []
    drawn_of: dict[str, list[Drawn]] = {}
    for zone in rows_of(zones):
        drawn = drawn_inside(shapely.difference(zone.geometry, kept_out[zone.zone]), most_points=most_points)
        if drawn:
            drawn_of[str(zone.id)] = drawn
            marks.append(_zone_mark(plan, zone, drawn, names, from_m=lines.from_no_spray_m(zone.geometry)))
            outlines += _zone_outlines(plan, zone, drawn, names, words=marks[-1].words)
    marks += parking_marks(plan, drawn_of, names)
    marks += ways
    held = held_words(
        {kind: len(found) for kind, found in lines.drawn.items()}, near=not lines.no_spray.is_empty, shown=plan.shown,
        around_m=AROUND_M,
    )  # fmt: skip
    notes = [held, *_notes(zones, drawn_of)]
    limited = False
    if plan.settings.crew.patches:
        marked, missing = _marked(_patches(plan, drawn_of, names), room=most_marks - len(marks))
        marks += marked
        notes += missing
        limited = bool(missing)
    outlines += line_outlines(plan, lines, names)
    zones_off, lines_off = (
        max((one.off_m for found in kind.values() for one in found), default=0.0) for kind in (drawn_of, lines.drawn)
    )
    access = str(zones["access"].iloc[0])
    return CrewSheet(
        access=access,
        title=f"{visible(plan.settings.tract.name)}: {ACCESS_WORDS[access]}{part}",
        words=sheet_words(plan, off_m=zones_off + lines_off, around_m=AROUND_M, notes=[_sums(plan, zones), *notes]),
        made=plan.made,
        stands={str(zone.id): str(zone.stand) for zone in rows_of(zones) if str(zone.id) in drawn_of},
        marks=tuple(marks),
        outlines=tuple(outlines),
        limited=limited,
    )  # fmt: skip


def _marked(patches: list[Mark], *, room: float) -> tuple[list[Mark], list[str]]:
    """The patches that find room, the largest first, and what is said of the others."""
    marked = patches[: int(min(max(room, 0), len(patches)))]
    if len(marked) == len(patches):
        return marked, []
    return marked, [f"Of {len(patches):,} patches the {len(marked):,} largest are marked."]


def lines_round(plan: Plan, zones: gpd.GeoDataFrame) -> Lines:
    """No-spray and hand-only ground in the stands of some zones and round them."""
    held = plan.stands[plan.stands["stand"].astype(str).isin(set(zones["stand"].astype(str)))]
    within = shapely.union_all(shapely.buffer([*held.geometry, *zones.geometry], AROUND_M))
    rows = plan.protection
    rows = rows[shapely.intersects(rows.geometry.to_numpy(), within)]
    cut = rows.set_geometry(shapely.intersection(rows.geometry.to_numpy(), within), crs=rows.crs)
    shapes, kind = np.asarray(cut.geometry, object), cut["zone"].to_numpy()
    no_spray, hand = (shapely.union_all(shapes[kind == name]) for name in ("no_spray", "hand_only"))
    beyond = [part for part in polygons(shapely.union(hand, no_spray)) if shapely.intersects(part, hand)]
    most_points = plan.settings.crew.track_points
    drawn = {
        "no_spray": drawn_outside(no_spray, most_points=most_points),
        "hand_ground": drawn_outside(shapely.MultiPolygon(beyond), most_points=most_points),
    }
    return Lines(no_spray=no_spray, drawn=drawn, rows=cut)


def _zone_mark(plan: Plan, zone: Any, drawn: list[Drawn], names: ShortNames, *, from_m: float) -> Mark:
    largest = max((one.shape for one in drawn), key=shapely.area)
    return Mark(
        name=names.give(str(zone.id)), kind="zone", zone=str(zone.id), place=place_in(plan, largest),
        short=zone_short(zone, plan), words=zone_words(zone, plan, from_no_spray_m=from_m),
    )  # fmt: skip


def _zone_outlines(plan: Plan, zone: Any, drawn: list[Drawn], names: ShortNames, *, words: str) -> list[Outline]:
    """A zone's polygons, as many under one name as a track holds points."""
    sizes = [int(shapely.get_num_coordinates(one.shape)) for one in drawn]
    return [
        Outline(
            name=names.give(f"{STARTS[zone.zone]}-{zone.id}"), kind=zone.zone, zone=str(zone.id),
            shapes=tuple(in_degrees(drawn[row].shape, plan.crs) for row in rows),
            short=zone_short(zone, plan), words=words,
        )
        for rows in dealt(sizes, plan.settings.crew.track_points)
    ]  # fmt: skip


def line_outlines(plan: Plan, lines: Lines, names: ShortNames) -> list[Outline]:
    """Each drawn piece of ground to keep out of, from north to south."""
    found = []
    for kind, zones in (("no_spray", ("no_spray",)), ("hand_ground", ("hand_only",))):
        pieces = sorted((one.shape for one in lines.drawn[kind]), key=lambda shape: (-shape.bounds[3], shape.bounds[0]))
        for number, shape in enumerate(pieces, 1):
            kinds = lines.kinds(shape, zones)
            short = f"{'NO SPRAY' if kind == 'no_spray' else 'HAND ONLY GROUND'} {', '.join(kinds)}"
            found.append(Outline(
                name=names.give(f"{STARTS[kind]}-{number}"), kind=kind, shapes=(in_degrees(shape, plan.crs),),
                short=plain(short), words=line_words(kind, kinds),
            ))  # fmt: skip
    return found


def parking_marks(plan: Plan, zones: dict[str, list[Drawn]], names: ShortNames) -> list[Mark]:
    """Where to park for some zones, by their ids."""
    stops = plan.parking.groupby("zone_id").size()
    held = plan.parking[plan.parking["zone_id"].astype(str).isin(zones)]
    return [
        Mark(
            name=names.give(f"{STARTS['parking']}-{stop.zone_id}-{stop.stop}"), kind="parking",
            zone=str(stop.zone_id), place=place_in(plan, stop.geometry), short=parking_short(stop, plan),
            words=parking_words(stop, plan, stops=int(stops[stop.zone_id])),
        )
        for stop in rows_of(held)
    ]  # fmt: skip


def way_marks(plan: Plan) -> list[Mark]:
    """Entries, then crossings, those nearest to the stands first."""
    names = ShortNames()
    stands = shapely.union_all(plan.stands.geometry.to_numpy())
    found = []
    for kind, given in (("entry", plan.entries), ("crossing", plan.crossings)):
        layer = given[~(given.geometry.isna() | given.geometry.is_empty)]
        away = shapely.distance(layer.geometry.to_numpy(), stands)
        for number, row in enumerate(rows_of(layer.iloc[np.argsort(away, kind="stable")]), 1):
            named = getattr(row, "name", None)
            words = f"Entry {visible(str(named))}".strip() + "." if pd.notna(named) else "Entry."
            words = words if kind == "entry" else crossing_words(getattr(row, "width_m", np.nan), plan.shown)
            place = place_in(plan, shapely.point_on_surface(row.geometry))
            name = names.give(f"{STARTS[kind]}-{number}")
            found.append(Mark(name=name, kind=kind, place=place, short=plain(words.rstrip(".")), words=words))
    return found


def _patches(plan: Plan, zones: dict[str, list[Drawn]], names: ShortNames) -> list[Mark]:
    """Patches in the drawn zones, the largest first, each marked within a zone and so never in no-spray ground."""
    pieces = [(zone, one.shape) for zone, drawn in zones.items() for one in drawn]
    grounds = np.array([shape for _, shape in pieces], object)
    patches = plan.patches.reset_index(drop=True)
    patch, piece = shapely.STRtree(grounds).query(patches.geometry.to_numpy(), predicate="intersects")
    shared = shapely.intersection(patches.geometry.to_numpy()[patch], grounds[piece])
    table = pd.DataFrame({"patch": patch, "piece": piece, "area": shapely.area(shared), "shape": shared})
    largest = table[table["area"] > 0].sort_values(["area", "patch"], ascending=[False, True], kind="stable")
    largest = largest.drop_duplicates("patch")
    rows = rows_of(patches.iloc[largest["patch"]])
    found = []
    for row, at, shape in zip(rows, largest["piece"], largest["shape"], strict=True):
        zone = pieces[at][0]
        found.append(Mark(
            name=names.give(str(row.id)), kind="patch", zone=zone, place=place_in(plan, shape),
            short=plain(f"{row.species} {shown_area(row.gross_m2, plan.shown)}"),
            words=patch_words(row, plan, zone=zone),
        ))  # fmt: skip
    return found


def place_in(plan: Plan, shape: Any) -> tuple[float, float]:
    """A point on a shape, in longitude and latitude."""
    point = in_degrees(shapely.point_on_surface(shape), plan.crs)
    return point.x, point.y


def _sums(plan: Plan, zones: gpd.GeoDataFrame) -> str:
    area = zones.groupby("zone")["gross_m2"].agg(["size", "sum"]).reindex(WORKED, fill_value=0)
    parts = [
        f"{count:.0f} {words} ({shown_area(total, plan.shown)})"
        for (count, total), words in zip(area.to_numpy(), ("open", "by hand only"), strict=True)
    ]
    return f"Zones: {', '.join(parts)}."


def _notes(zones: gpd.GeoDataFrame, drawn: dict[str, list[Drawn]]) -> list[str]:
    small = [str(name) for name in zones["id"] if str(name) not in drawn]
    return [f"Too small to draw: {', '.join(small)}."] if small else []
