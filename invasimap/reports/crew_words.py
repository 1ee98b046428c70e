"""What the crew files say of each zone, line and place, in a few words."""

from __future__ import annotations

import datetime as dt
import math
from typing import Any, Final

import numpy as np

from invasimap.core.legible import visible
from invasimap.core.units import ShownUnits
from invasimap.prescription.plan import Plan
from invasimap.reports.crew_outlines import DECIMALS
from invasimap.reports.load_sheet_words import said_volume
from invasimap.reports.wording import (
    TECHNIQUE_WORDS,
    ordinal,
    part_words,
    shown_area,
    shown_date,
    shown_length,
    technique_words,
    whole_length,
)

CLOSE_M: Final = 30.0  # no-spray ground nearer than this is told of with each zone
REACHED: Final = {
    "tractor": "A tractor gets there", "atv_hose": "A hose from an ATV gets there", "foot": "On foot",
}  # fmt: skip
LABEL: Final = "The product label is the law."
HAND: Final = "cut-stump, wick or pull; nothing leaves a nozzle held off the plant"
NAMES: Final = (
    "Names: OP- edge of open ground to treat, HO- edge of ground to treat by hand only, NS- no-spray line, HG- line of "
    "all ground where no nozzle is held off the plant, PK- where to park for a hose, EN- entry, CR- crossing."
)


def zone_words(zone: Any, plan: Plan, *, from_no_spray_m: float) -> str:
    """A treatment zone: what may be done, where, how much, of what, and how near no-spray ground is."""
    work = "Open ground, treated only as the label allows" if zone.zone == "open" else f"Hand work only: {HAND}"
    species = visible(str(zone.species)).replace(";", ", ")
    facts = [
        f"{work}. Stand {visible(str(zone.stand))}, {shown_area(zone.gross_m2, plan.shown)}",
        f"{REACHED[zone.access]}. {species}",
        nearness(from_no_spray_m, plan.shown),
        LABEL,
    ]
    return ". ".join(fact.rstrip(".") for fact in facts if fact) + "."


def zone_short(zone: Any, plan: Plan) -> str:
    """The same for a screen of thirty signs: what matters most comes first."""
    first, *more = str(zone.species).split(";")
    work = "OPEN" if zone.zone == "open" else "HAND ONLY"
    return plain(f"{work} {shown_area(zone.gross_m2, plan.shown)} {first}" + (f" +{len(more)}" if more else ""))


def plain(text: str) -> str:
    """A text in the signs that old receivers have.

    Examples
    --------
    >>> plain("Señal é\\n")
    'Se?al ?/u000a'
    """
    return visible(text).encode("ascii", "replace").decode().replace("\\", "/")


def nearness(distance_m: float, shown: ShownUnits) -> str:
    """How near no-spray ground is, in whole feet or metres rounded down; empty text where it is far."""
    if not distance_m <= CLOSE_M:
        return ""
    whole = math.floor(shown.length_of(distance_m) + 1e-9)
    return f"No-spray ground {whole} {shown.length} away" if whole else "No-spray ground at its edge"


def line_words(kind: str, kinds: list[str]) -> str:
    """A no-spray line, or the line of hand-only ground, and what it is drawn round."""
    of = visible(", ".join(kinds))
    if kind == "no_spray":
        return f"No spray: nothing is applied inside this line. Round: {of}."
    return f"Hand work only inside this line: {HAND}; and nothing at all inside no-spray lines. Round: {of}."


def parking_words(stop: Any, plan: Plan, *, stops: int) -> str:
    """A parking place: for which zone, and the hose and lift that it takes (rounded up)."""
    shown = plan.shown
    parts = [
        f"Park here for a hose to zone {visible(str(stop.zone_id))}, stop {stop.stop} of {stops}",
        f"Hose {whole_length(stop.hose_m, shown)}, nozzle up to {whole_length(stop.lift_m, shown)} above and "
        f"{whole_length(stop.drop_m, shown)} below",
        f"Serves {math.floor(stop.share_pct)} % of what a hose reaches there",
    ]
    return ". ".join(parts) + "."


def parking_short(stop: Any, plan: Plan) -> str:
    """The same for a small screen."""
    return f"HOSE {whole_length(stop.hose_m, plan.shown)} LIFT {whole_length(stop.lift_m, plan.shown)}"


def patch_words(patch: Any, plan: Plan, *, zone: str) -> str:
    """A patch: its id in the plan, species, size, cover and when it was seen."""
    cover = f"{patch.cover_pct:g} % cover" if np.isfinite(patch.cover_pct) else "cover not known"
    parts = [f"Patch {visible(str(patch.id))} in zone {zone}", visible(str(patch.species))]
    return ", ".join([*parts, shown_area(patch.gross_m2, plan.shown), cover, f"seen {shown_date(patch.date)}"]) + "."


def crossing_words(width_m: float, shown: ShownUnits) -> str:
    """A crossing and its width."""
    return f"Crossing, {shown_length(width_m, shown)} wide." if np.isfinite(width_m) else "Crossing."


def sheet_words(plan: Plan, *, off_m: float, around_m: float, notes: list[str]) -> str:
    """What stands at the head of a file: cautions, names, how true the lines are, and what is not in it."""
    shown = plan.shown
    around = f"{math.floor(shown.length_of(around_m) + 1e-6)} {shown.length}"
    lines = (
        f"Lines are simplified to the protective side, by at most {up_to_tenth(off_m, shown)}: zones are drawn inside "
        f"their true edge, no-spray and hand-only ground outside it. Positions: WGS 84, {DECIMALS} decimals. A "
        f"receiver is off by more than that: keep clear of every NS- line by what yours shows. No-spray and hand-only "
        f"ground is drawn in the stands of these zones and {around} round them, no farther."
    )
    made = f"Plan made {plan.made.astimezone(dt.UTC):%Y-%m-%d} UTC."
    return " ".join([*plan.cautions, made, NAMES, lines, *notes])


def held_words(lines: dict[str, int], *, near: bool, shown: ShownUnits, around_m: float) -> str:
    """How many lines to keep out of a file holds, so that none is told from one that is missing.

    ``lines`` counts those of no-spray and of hand-only ground; ``near`` says whether any no-spray ground is near.
    """
    no_spray, hand = (
        f"{count} {start}- line{'' if count == 1 else 's'}"
        for start, count in (("NS", lines["no_spray"]), ("HG", lines["hand_ground"]))
    )
    if lines["no_spray"] or near:
        small = "" if lines["no_spray"] else " (no-spray ground near these zones is too small to draw)"
        return f"This file holds {no_spray}{small} and {hand}."
    around = f"{math.floor(shown.length_of(around_m) + 1e-6)} {shown.length}"
    return (
        f"This file holds {no_spray}, for no known no-spray ground comes within {around} of the stands of these zones, "
        f"and {hand}."
    )


def up_to_tenth(metres: float, shown: ShownUnits) -> str:
    """A length rounded up to a tenth of a foot or metre."""
    return f"{math.ceil(shown.length_of(metres) * 10 - 1e-6) / 10:.1f} {shown.length}"


def work_words(work: Any, plan: Plan, *, from_no_spray_m: float) -> str:
    """A work of a day: its turn, what is done there, with how much of what, where, and how near no-spray ground is."""
    bound = {"hand_only": f"Hand work only: {HAND}", "no_spray": "No-spray ground: nothing is applied"}
    technique = technique_words(work.technique, visit=work.visit, visits=work.visits)
    gross, worked = (shown_area(area_m2, plan.shown) for area_m2 in (work.gross_m2, work.worked_m2))
    area = f"{gross} of ground, {worked} of it worked{' in all parts' if work.parts > 1 else ''}"
    volume = said_volume(work.volume_L, plan.shown)
    mix = f"Mix {visible(str(work.mix))}, {volume}" if work.sprays else "Nothing is sprayed"
    place = f"zone {visible(str(work.zone_id))}, stand {visible(str(work.stand))}"
    turn = f"{ordinal(work.order)} of {work.of} this day"
    facts = [
        bound.get(work.zone, ""),
        f"{turn}. Work {work.work} in {place}{part_words(work)}: {technique}. {area}",
        visible(str(work.species)).replace(";", ", "),
        mix,
        f"Window {window_words(work)}",
        nearness(from_no_spray_m, plan.shown) if work.zone != "no_spray" else "",
        LABEL,
    ]
    return ". ".join(fact.rstrip(".") for fact in facts if fact) + "."


def work_short(work: Any, plan: Plan) -> str:
    """The same for a screen of thirty signs: what matters most comes first."""
    hand = {"hand_only": "HAND ONLY ", "no_spray": "NO SPRAY "}.get(work.zone, "")
    volume = f" {said_volume(work.volume_L, plan.shown)}" if work.sprays else ""
    part = f"PART {work.part}/{work.parts} " if work.parts > 1 else ""
    return plain(f"{hand}{part}{TECHNIQUE_WORDS[work.technique].upper()}{volume}")


def window_words(work: Any) -> str:
    """The days between which a work is done."""
    return f"{shown_date(work.first)} to {shown_date(work.last)}"
