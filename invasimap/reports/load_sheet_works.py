"""A work on the load sheet: what it is, what goes into each tank, what the label bounds, and lines to fill in."""

from __future__ import annotations

import dataclasses
from typing import Any, Final

import pandas as pd

from invasimap.core.legible import visible
from invasimap.prescription.loads import PARTS, in_jug_units
from invasimap.prescription.plan import Plan
from invasimap.reports.crew_words import window_words
from invasimap.reports.load_sheet_layout import (
    Block,
    Column,
    Piece,
    Tick,
    Words,
    fill_in,
    heading,
    paragraph,
    space,
    table,
)
from invasimap.reports.load_sheet_words import (
    calibration_words,
    figure,
    hours_words,
    jug_unit,
    label_words,
    mix_of,
    mix_words,
    note_words,
    stop_words,
    tank_unit,
)
from invasimap.reports.style import TYPE_PT
from invasimap.reports.treatment_tables import mondays
from invasimap.reports.wording import ACCESS_WORDS, TECHNIQUE_WORDS, ZONE_WORDS, headed, rows_of, shown_area

SPRAYED: Final = (
    (("Date", 1.3), ("Start", 1.0), ("End", 1.0), ("Wind, from", 1.6), ("Temperature", 1.3)),
    (("Applicator", 2.4), ("Lot no.", 1.9), ("Mix left over", 1.9)),
)
BY_HAND: Final = ((("Date", 1.3), ("Start", 1.0), ("End", 1.0), ("Who", 2.4)),)
TICK_STEP_IN, MOST_TICKS = 0.165, 10
OF_JOBS: Final = ("work", "patch", "estimated", "stop_at_L", "at_limit", "notes")
LABELS: Final = {"product": "Product", "adjuvant": "Adjuvant", "dye": "Dye"}


def work_blocks(plan: Plan, room_in: float) -> list[Block]:
    """A block a work, in order of week."""
    works = plan.treatment.work.rename_axis("work").reset_index()
    jobs = pd.DataFrame(plan.treatment.jobs)[[*OF_JOBS]]
    own = {int(work): jobs.iloc[at] for work, at in jobs.groupby("work").indices.items()} if len(jobs) else {}
    return [work_block(plan, work, own.get(work.work, jobs.iloc[:0]), room_in) for work in rows_of(works)]


def work_block(plan: Plan, work: Any, jobs: pd.DataFrame, room_in: float) -> Block:
    """One work, with its jobs, as a block that stays on one page."""
    technique = TECHNIQUE_WORDS[work.technique]
    zone = f"{visible(str(work.zone_id))}, stand {visible(str(work.stand))}"
    visit = f", visit {work.visit} of {work.visits}" if work.visits > 1 else ""
    pieces = [
        heading(f"Work {work.work} in {zone}: {technique}{visit}", _weeks(plan, work), room_in),
        paragraph(_ground(plan, work), room_in),
        paragraph(_when(plan, work, jobs), room_in),
    ]
    pieces += _spraying(plan, work, jobs, room_in) if work.sprays else [_no_loads(room_in)]
    if notes := note_words(jobs):
        pieces.append(paragraph(notes, room_in, size_pt=TYPE_PT["small"]))
    pieces += [fill_in(fields, room_in) for fields in (SPRAYED if work.sprays else BY_HAND)]
    return (*pieces, space())


def _weeks(plan: Plan, work: Any) -> str:
    days = [str(day) for day in mondays(plan.treatment, work.weeks)]
    return f"Week{'s' if len(days) > 1 else ''} of {', '.join(days)}" if days else ""


def _ground(plan: Plan, work: Any) -> str:
    species = visible(str(work.species)).replace(";", ", ")
    count = f"{work.patches:,} patch{'es' if work.patches != 1 else ''}"
    worked = shown_area(work.worked_m2, plan.shown)
    return (
        f"{species}. {headed(ZONE_WORDS[work.zone])} ground, {ACCESS_WORDS[work.access]}: {count} on "
        f"{shown_area(work.gross_m2, plan.shown)}, of which {worked} is worked."
    )


def _when(plan: Plan, work: Any, jobs: pd.DataFrame) -> str:
    schedule = plan.treatment.schedule
    hours = hours_words(schedule[schedule["work"] == work.work]) if len(schedule) else "not known"
    said = "not known" if hours == "not known" else f"{hours} h"
    guess = " (estimated: look before you go)" if jobs["estimated"].eq(True).any() else ""
    return f"Window {window_words(work)}{guess}. Rig {visible(str(work.rig))}, hours of its whole crew: {said}."


def _no_loads(room_in: float) -> Piece:
    return paragraph("Nothing is sprayed: no loads.", room_in, bold=True)


def _spraying(plan: Plan, work: Any, jobs: pd.DataFrame, room_in: float) -> list[Piece]:
    mix = mix_of(plan, str(work.mix))
    named = mix_words(mix) if mix else f"Mix {visible(str(work.mix))}"
    loads = plan.treatment.loads
    own = loads[loads["work"] == work.work] if len(loads) else loads
    calibrated = calibration_words(plan.settings, rig=str(work.rig), technique=str(work.technique))
    pieces = [paragraph(named, room_in, bold=True)]
    unknown = (paragraph("Loads not known.", room_in, bold=True),)
    pieces += [*(_loads_table(plan, own, room_in) if len(own) else unknown), space(0.05)]
    if stops := stop_words(jobs, plan.shown):
        pieces.append(paragraph(stops, room_in, bold=True, size_pt=TYPE_PT["small"]))
    bounds = f"{label_words(mix, plan.shown)} {calibrated}" if mix else calibrated
    return [*pieces, paragraph(bounds, room_in, size_pt=TYPE_PT["small"])]


def _loads_table(plan: Plan, own: pd.DataFrame, room_in: float) -> Block:
    """A row a kind of load, then their sum; a part that the mix has not has no column."""
    (tank, _), (jug, _) = tank_unit(plan.shown), jug_unit(plan.shown)
    shown = in_jug_units(own, shown=plan.shown)
    small = jug.replace(" ", "")
    parts = [part for part in PARTS if part == "product" or (own[f"{part}_L"] > 0).any()]
    columns = [
        Column(head="Load", share=2.0), Column(head=f"Fill tank to, {tank}", share=1.3, figures=True),
        Column(head=f"Water in it, {tank}", share=1.3, figures=True),
        *(Column(head=f"{LABELS[part]}, {jug}", share=1.3, figures=True) for part in parts),
        Column(head="Tick when mixed", share=2.4),
    ]  # fmt: skip
    names = [f"volume_{tank}", f"water_{tank}", *(f"{part}_{small}" for part in parts)]
    several = int(own["count"].sum()) > 1
    rows = [[_load_words(load, several), *_figures(load, names), ""] for load in shown.to_dict("records")]
    if several:
        whole = {name: float((shown[name] * shown["count"]).sum()) for name in names}
        rows.append([f"in all {int(own['count'].sum())} loads", *_figures(whole, names), ""])
    made = table(columns, rows, room_in, last_bold=several)
    left = room_in * sum(column.share for column in columns[:-1]) / sum(column.share for column in columns) + 0.08
    counts = [int(count) for count in shown["count"]]
    ticked = [_ticked(row, count, left) for row, count in zip(made[1:], counts, strict=False)]
    return (made[0], *ticked, *made[1 + len(ticked) :])


def _load_words(load: Any, several: bool) -> str:
    if not several:
        return "the only load"
    if load["load"] == "last":
        return "last load"
    return f"{load['count']} full loads, each" if load["count"] > 1 else "full load"


def _figures(load: Any, names: list[str]) -> list[str]:
    """What is measured never more than it is; what a tank holds to the nearest hundredth."""
    return [figure(float(load[name]), up=None if name.startswith(("volume", "water")) else False) for name in names]


def _ticked(row: Piece, count: int, left_in: float) -> Piece:
    """A row with a square for each of its loads, or room for a number where there are many."""
    down = row.high_in / 2 + 0.055
    if count > MOST_TICKS:
        words = Words(text=f"______ of {count}", at_in=left_in, down_in=down)
        return dataclasses.replace(row, words=(*row.words, words))
    ticks = tuple(Tick(at_in=left_in + TICK_STEP_IN * at, down_in=down) for at in range(count))
    return dataclasses.replace(row, ticks=ticks)
