"""An outing on the load sheet: what goes into each tank, what the label bounds, lines to fill in, and where it goes."""

from __future__ import annotations

import dataclasses
from typing import Any, Final

import pandas as pd

from invasimap.core.legible import visible
from invasimap.prescription.loads import PARTS
from invasimap.prescription.plan import Plan
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
    said_volume,
    stop_words,
)
from invasimap.reports.style import TYPE_PT
from invasimap.reports.wording import (
    ZONE_WORDS,
    day_words,
    part_words,
    rows_of,
    shown_area,
    shown_date,
    technique_words,
)

SPRAYED: Final = (
    (("Date", 1.3), ("Start", 1.0), ("End", 1.0), ("Wind, from", 1.6), ("Temperature", 1.3)),
    (("Applicator", 2.4), ("Lot no.", 1.9), ("Mix left over", 1.9)),
)
BY_HAND: Final = ((("Date", 1.3), ("Start", 1.0), ("End", 1.0), ("Who", 2.4)),)
TICK_STEP_IN, MOST_TICKS = 0.165, 10
LABELS: Final = {"product": "Product", "adjuvant": "Adjuvant", "dye": "Dye"}
WORKS: Final = (
    Column(head="Work", share=0.5), Column(head="Zone, stand", share=1.34), Column(head="What", share=1.33),
    Column(head="Plants", share=1.48), Column(head="Worked", share=0.66, figures=True),
    Column(head="Mix", share=0.78, figures=True), Column(head="Window", share=1.6),
)  # fmt: skip
DRY: Final = tuple(column for column in WORKS if column.head != "Mix")
OF_JOBS: Final = (
    "work", "patch", "estimated", "stop_at_L", "at_limit", "application_kg_per_ha", "year_kg_per_ha", "notes",
)  # fmt: skip
MORE: Final = " (more)"


def outing_blocks(plan: Plan, room_in: float, deep_in: float) -> list[Block]:
    """The outings of each day and rig, with what it does that day without a tank; each on one page if it can."""
    held = plan.treatment
    if not len(held.days):
        return []
    rows = held.days.merge(held.work.drop(columns=["rig", "money", "volume_L"]), left_on="work", right_index=True)
    rows = rows.sort_values(["day", "rig", "order"], kind="stable")
    rows = rows.assign(tank=rows["outing"].astype("Int64").fillna(0), share=_shares(rows))
    jobs = pd.DataFrame(held.jobs)[[*OF_JOBS]]
    rows = rows.assign(guess=rows["work"].isin(jobs.loc[jobs["estimated"].eq(True), "work"]))
    made: list[Block] = []
    for _, own in rows.groupby(["day", "rig", "tank"], sort=False):
        of_works = jobs[jobs["work"].isin(own["work"])]
        if own["sprays"].astype(bool).all():
            made += _outing(plan, own, of_works, room_in, deep_in)
        else:
            made += _without_tank(plan, own, of_works, room_in, deep_in)
    return made


def _shares(days: pd.DataFrame) -> pd.Series:
    """What part of its work is done on each day; all of it where its hours are not known."""
    return (days["hours"] / days.groupby("work")["hours"].transform("sum")).fillna(1.0)


def _outing(plan: Plan, rows: pd.DataFrame, jobs: pd.DataFrame, room_in: float, deep_in: float) -> list[Block]:
    """What one rig sprays of one mix on one day."""
    first = rows.iloc[0]
    loads = plan.treatment.loads
    own = loads[loads["outing"] == first["outing"]] if len(loads) else loads
    mix = mix_of(plan, str(first["mix"]))
    small = TYPE_PT["small"]
    calibrated = [
        calibration_words(plan.settings, rig=str(first["rig"]), technique=technique)
        for technique in sorted(set(rows["technique"].astype(str)))
    ]
    bounds = " ".join([*([label_words(mix, plan.shown)] if mix else []), *dict.fromkeys(calibrated)])
    title = f"{visible(str(first['rig']))}: {visible(str(first['mix']))}"
    unknown = (paragraph("Loads not known.", room_in, bold=True),)
    head = [
        paragraph(mix_words(mix) if mix else "This mix is not in the settings.", room_in, bold=True),
        *(_held(own, room_in) or _loads_table(plan, own, room_in) if len(own) else unknown), space(0.05),
        *([paragraph(stops, room_in, size_pt=small)] if (stops := stop_words(jobs, mix, plan.shown)) else []),
        paragraph(bounds, room_in, size_pt=small),
    ]  # fmt: skip
    works = table(WORKS, [_work_row(work, plan) for work in rows_of(rows)], room_in, size_pt=small)
    return _parted(title, rows, head, works, _tail(jobs, SPRAYED, room_in), room_in, deep_in)


def _without_tank(plan: Plan, rows: pd.DataFrame, jobs: pd.DataFrame, room_in: float, deep_in: float) -> list[Block]:
    """What a rig does on a day that sprays nothing."""
    title = f"{visible(str(rows['rig'].iloc[0]))}: without a tank"
    head = [paragraph("Nothing is sprayed: no loads.", room_in, bold=True)]
    works = table(DRY, [_work_row(work, plan, dry=True) for work in rows_of(rows)], room_in, size_pt=TYPE_PT["small"])
    return _parted(title, rows, head, works, _tail(jobs, BY_HAND, room_in), room_in, deep_in)


def _tail(jobs: pd.DataFrame, fields: Any, room_in: float) -> list[Piece]:
    notes = note_words(jobs)
    said = [space(0.04), paragraph(notes, room_in, size_pt=TYPE_PT["small"])] if notes else []
    return [*said, *(fill_in(line, room_in) for line in fields), space()]


def _parted(
    title: str, rows: pd.DataFrame, head: list[Piece], works: Block, tail: list[Piece], room_in: float, deep_in: float
) -> list[Block]:
    """One block, or where a page would not hold it several: its works go on under the heading said again."""
    when = f"{day_words(rows['day'].iloc[0])}, {_hours(rows)}"
    lead = [heading(title, when, room_in), *head, works[0]]
    again = [heading(title + MORE, when, room_in), works[0]]
    blocks: list[list[Piece]] = [lead]
    for at, row in enumerate(works[1:], 2):
        needed = [row, *(tail if at == len(works) else [])]
        if len(blocks[-1]) > len(again) and _high(blocks[-1]) + _high(needed) > deep_in:
            blocks.append(list(again))
        blocks[-1].append(row)
    return [tuple(block) for block in (*blocks[:-1], [*blocks[-1], *tail])]


def _high(pieces: list[Piece]) -> float:
    return sum(piece.high_in for piece in pieces)


def _hours(rows: pd.DataFrame) -> str:
    hours = hours_words(rows)
    return "hours not known" if hours == "not known" else f"{hours} h of the whole crew"


def _work_row(work: Any, plan: Plan, *, dry: bool = False) -> list[str]:
    guess = ", estimated" if work.guess else ""
    hand = f", {ZONE_WORDS[work.zone]}" if work.zone != "open" else ""
    cells = [
        str(work.work), f"{visible(str(work.zone_id))}, stand {visible(str(work.stand))}{hand}",
        f"{technique_words(work.technique, visit=work.visit, visits=work.visits)}{part_words(work)}",
        visible(str(work.species)).replace(";", ", "),
        shown_area(work.worked_m2 * work.share, plan.shown), said_volume(work.volume_L, plan.shown),
        f"{shown_date(work.first)} to {shown_date(work.last)}{guess}",
    ]  # fmt: skip
    return [cell for column, cell in zip(WORKS, cells, strict=True) if not (dry and column.head == "Mix")]


def _held(own: pd.DataFrame, room_in: float) -> Block:
    """That nothing is to be mixed, and why; nothing where it may be."""
    why = next((text for text in own["hold"] if text), "")
    count = int(own["count"].sum())
    said = f"NOT TO BE MIXED: {why}. What goes into its {count:,} {'load' if count == 1 else 'loads'} is withheld."
    return (paragraph(said, room_in, bold=True),) if why else ()


def _loads_table(plan: Plan, own: pd.DataFrame, room_in: float) -> Block:
    """A row a kind of load, then their sum; a part that the mix has not has no column."""
    parts = [part for part in PARTS if part == "product" or (own[f"{part}_L"] > 0).any()]
    columns = [
        Column(head="Load", share=2.0), Column(head="Fill tank to", share=1.3, figures=True),
        Column(head="Water in it", share=1.3, figures=True),
        *(Column(head=LABELS[part], share=1.3, figures=True) for part in parts),
        Column(head="Tick when mixed", share=2.4),
    ]  # fmt: skip
    count = int(own["count"].sum())
    names = ["volume_L", "water_measured_L", *(f"{part}_measured_L" for part in parts)]
    rows = [[_load_words(load, count > 1), *_amounts(load, names, plan), ""] for load in own.to_dict("records")]
    if count > 1:
        whole = {name: float((own[name] * own["count"]).sum()) for name in names}
        rows.append([f"in all {count:,} loads", *_amounts(whole, names, plan), ""])
    made = table(columns, rows, room_in, last_bold=count > 1)
    left = room_in * sum(column.share for column in columns[:-1]) / sum(column.share for column in columns) + 0.08
    counts = [int(number) for number in own["count"]]
    ticked = [_ticked(row, number, left) for row, number in zip(made[1:], counts, strict=False)]
    return (made[0], *ticked, *made[1 + len(ticked) :])


def _load_words(load: Any, several: bool) -> str:
    if not several:
        return "the only load"
    if load["load"] == "last":
        return "last load"
    return f"{load['count']:,} full loads, each" if load["count"] > 1 else "full load"


def _amounts(load: Any, names: list[str], plan: Plan) -> list[str]:
    """Volume and water to the nearest hundredth; what is measured into it by the jug, never more than it is."""
    unit, size = jug_unit(plan.shown)
    tank = [said_volume(float(load[name]), plan.shown) for name in names[:2]]
    measured = [figure(float(load[name]) / size, up=False) for name in names[2:]]
    return [*tank, *("below the mark" if text == "0" else f"{text} {unit}" for text in measured)]


def _ticked(row: Piece, count: int, left_in: float) -> Piece:
    """A row with a square for each of its loads, or room for a number where there are many."""
    down = row.high_in / 2 + 0.055
    if count > MOST_TICKS:
        words = Words(text=f"______ of {count:,}", at_in=left_in, down_in=down)
        return dataclasses.replace(row, words=(*row.words, words))
    ticks = tuple(Tick(at_in=left_in + TICK_STEP_IN * at, down_in=down) for at in range(count))
    return dataclasses.replace(row, ticks=ticks)
