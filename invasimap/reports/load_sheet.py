"""The load sheet: what a crew lead brings, hauls and mixes from, outing by outing in order of day; for paper."""

from __future__ import annotations

from typing import Final

from invasimap.core.legible import visible
from invasimap.prescription.plan import Plan
from invasimap.reports.load_sheet_layout import (
    Block,
    Column,
    flowed,
    flowed_table,
    heading,
    page_of,
    paragraph,
    pdf_of,
    space,
    table,
)
from invasimap.reports.load_sheet_outings import outing_blocks
from invasimap.reports.load_sheet_words import figure, hours_words, jug_amount, jug_unit, mix_of, tank_unit
from invasimap.reports.sheet import plan_date
from invasimap.reports.wording import day_words, rounded

BRING: Final = (
    Column(head="Mix", share=1.8), Column(head="To bring", share=3.4), Column(head="Loads", share=0.8, figures=True),
    Column(head="Amount, rounded up", share=1.8, figures=True),
)  # fmt: skip
HAUL: Final = (
    Column(head="Rig", share=2.6), Column(head="Tank", share=1.2, figures=True),
    Column(head="Loads", share=0.8, figures=True), Column(head="Water, rounded up", share=1.6, figures=True),
)  # fmt: skip
DAYS: Final = (
    Column(head="Day", share=1.8), Column(head="Rig", share=1.7), Column(head="Works, in order", share=3.6),
    Column(head="Hours of the whole crew", share=1.6, figures=True),
)  # fmt: skip


def loadsheet_pdf(plan: Plan) -> bytes:
    """The whole sheet as one PDF, the same bytes for the same plan."""
    page = page_of("letter" if plan.shown.length == "ft" else "a4", plan.cautions)
    first = flowed(total_blocks(plan, page.room_in), page.deep_in)
    outings = flowed(outing_blocks(plan, page.room_in, page.deep_in), page.deep_in)
    pages = [*first, *(outings if outings[0] else [])]
    tract = visible(plan.settings.tract.name)
    return pdf_of(page, pages, title="Load sheet", subtitle=tract, made=f"Plan of {plan_date(plan)}")


def total_blocks(plan: Plan, room_in: float) -> list[Block]:
    """The first page: what to bring, water to haul, and works by day; or in words why there is none."""
    held = plan.treatment
    blocks: list[Block] = [(paragraph(_intro(plan), room_in), space(0.1))] if len(held.work) else []
    blocks += [(paragraph(line, room_in, bold=True),) for line in _lacking(plan)]
    if len(held.loads):
        blocks += _titled("To bring for all works", BRING, _to_bring(plan), room_in)
        blocks += _titled("Water to haul", HAUL, _to_haul(plan), room_in)
    if len(held.days):
        blocks += _titled("Works by day", DAYS, _by_day(plan), room_in)
    return [*blocks, *([(space(0.1), paragraph(left, room_in))] if (left := _left_out(plan)) else [])]


def _intro(plan: Plan) -> str:
    unit, size = jug_unit(plan.shown)
    mark = f"{figure(plan.settings.spray.mark_L(plan.shown) / size)} {unit}"
    return (
        "What each tank takes, reckoned from the figures typed in the settings. A rig goes on with a tank from one "
        "zone to the next: an outing is what it sprays of one mix on one day, and what is mixed is used that day. "
        f"Product, adjuvant and dye are measured down to the jug's mark of {mark}, so that no tank is stronger than "
        "typed. The days are a plan: the crew lead moves a day by the spray-day check."
    )


def _lacking(plan: Plan) -> list[str]:
    """Why there is nothing to mix, or no work, where that is so."""
    said = []
    if not plan.settings.rig:
        said.append("No rig in the settings: no work, no loads, no hours, no cost.")
    if not plan.settings.mix:
        said.append("No mix in the settings: nothing to measure into a tank.")
    if not said and not len(plan.treatment.work):
        said.append("No work is planned.")
    return said


def _left_out(plan: Plan) -> str:
    parts = [
        f"{words}: {len(table):,} (tables/{name}.csv)"
        for name, table, words in (
            ("unplanned", plan.treatment.unplanned, "could be done, but in no week"),
            ("withheld", plan.treatment.withheld, "withheld until something is typed or changed"),
        )
        if len(table)
    ]
    return f"Not on this sheet: {'; '.join(parts)}." if parts else ""


def _titled(title: str, columns: tuple[Column, ...], rows: list[list[str]], room_in: float) -> list[Block]:
    return flowed_table((space(0.12), heading(title, "", room_in)), table(columns, rows, room_in))


def _to_bring(plan: Plan) -> list[list[str]]:
    """A row for each thing that goes into a mix, for all its loads together."""
    rows = []
    for name, own in plan.treatment.loads.groupby("mix", sort=True):
        mix = mix_of(plan, str(name))
        count = f"{int(own['count'].sum()):,}"
        things = {"product": f"{mix.product}, registration {mix.registration or 'not typed'}" if mix else "product"}
        extras = {"adjuvant": mix.adjuvant, "dye": mix.dye} if mix else {}
        things |= {part: extra.name for part, extra in extras.items() if extra is not None}
        for part, thing in things.items():
            litres = float((own[f"{part}_L"] * own["count"]).sum())
            rows.append([visible(str(name)), visible(thing), count, jug_amount(litres, plan.shown)])
    return rows


def _to_haul(plan: Plan) -> list[list[str]]:
    unit, size = tank_unit(plan.shown)
    tanks = {rig.name: rig.tank_L for rig in plan.settings.rig}
    rows = []
    for rig, own in plan.treatment.loads.groupby("rig", sort=True):
        litres = float((own["water_measured_L"] * own["count"]).sum())
        water = float(rounded(litres / size, decimals=0, up=True))
        tank = f"{figure(tanks[str(rig)] / size)} {unit}" if rig in tanks else "not known"
        rows.append([visible(str(rig)), tank, f"{int(own['count'].sum()):,}", f"{water:,.0f} {unit}"])
    return rows


def _by_day(plan: Plan) -> list[list[str]]:
    days = plan.treatment.days.sort_values("order", kind="stable")
    day, rigs = days["day"].astype(str).str[:10], days["rig"].astype(str)
    return [
        [day_words(on), visible(str(rig)), ", ".join(map(str, own["work"])), hours_words(own)]
        for (on, rig), own in days.groupby([day, rigs], sort=True)
    ]
