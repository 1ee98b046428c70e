"""The report's tables of what is done: techniques, windows, works by week, rigs, money, and what is not planned."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any, Final

from invasimap.core.units import L_PER_GAL
from invasimap.prescription.plan import Plan
from invasimap.prescription.treatment import Treatment
from invasimap.reports.answers import stand_order
from invasimap.reports.report_tables import PrintedTable, cut
from invasimap.reports.season_sums import MONEY, by_week, day_of, ground_once, weekly, whole_sum
from invasimap.reports.wording import (
    TECHNIQUE_WORDS,
    headed,
    rows_of,
    shown_area,
    shown_date,
    shown_hours,
    shown_money,
    shown_number,
    technique_words,
)

MOST_ZONES: Final = 40  # names in one cell
COST_NOTE: Final = (
    "Labour is paid hours, machine hours at work, product what is mixed, travel the share of a day. Low and high are "
    "for the ends of the 90 % range of the ground; their sums lie farther apart than the range of the whole. Pay for "
    "whole days, and for days lost to weather, is with the rigs."
)
MONEY_HEADS: Final = ("Labour", "Machine", "Product", "Travel", "Likely", "Low", "High")


def techniques_report(plan: Plan) -> PrintedTable:
    """What fits each species, on how much ground, why, and how much of that is planned."""
    jobs, unit = ground_once(plan.treatment), plan.shown.area
    jobs = jobs.assign(planned_m2=jobs["gross_m2"].where(jobs["work"].notna(), 0.0))
    grounds = ["gross_m2", "planned_m2"]
    sums = jobs.groupby(["technique", "reason", "species"], sort=True)[grounds].sum().reset_index()
    sums = sums.sort_values("gross_m2", ascending=False, kind="stable")
    ranks = {name: rank for rank, name in enumerate(TECHNIQUE_WORDS)}
    found = []
    for keys, own in sums.groupby(["technique", "reason"], sort=False):
        technique, reason = map(str, keys)
        gross_m2, planned_m2 = (float(own[name].sum()) for name in grounds)
        species = ", ".join(f"{row.species} {_area(row.gross_m2, plan)}" for row in rows_of(own))
        planned = "" if technique == "none" else _area(planned_m2, plan)
        cells = [headed(TECHNIQUE_WORDS[technique]), reason, _area(gross_m2, plan), planned, species]
        found.append((ranks[technique], -gross_m2, cells))
    return cut(
        PrintedTable(
            caption="What is done where, and why", heads=["Technique", "Where, and why", f"Ground {unit}",
            f"Planned {unit}", f"Ground of each species {unit}"], rows=[cells for *_, cells in sorted(found)],
            numeric=frozenset({2, 3}), latin=frozenset({4}), wide=frozenset({1, 4}),
            note="Ground in stands that each species stands on; where species grow together each counts. What lies "
            "outside every stand is not planned. tables/techniques.csv has each patch.",
        )
    )  # fmt: skip


def windows_report(plan: Plan) -> PrintedTable:
    """When each technique fits each species: the figures of the chart."""
    several = plan_visits(plan.treatment)
    rows = [
        [str(row.species), technique_words(row.technique, visit=row.visit, visits=several.get(row.technique, 1)),
         _day_or(row.first, "no window"), _day_or(row.last, "no window"), _from(row), _area(row.gross_m2, plan)]
        for row in rows_of(plan.treatment.windows)
    ]  # fmt: skip
    return cut(
        PrintedTable(
            caption="Windows", heads=["Species", "Technique", "First day", "Last day", "From",
            f"Ground {plan.shown.area}"], rows=rows, numeric=frozenset({5}), latin=frozenset({0}),
            note="Within a window the day itself is still looked at: weather, leaves, sap.",
            folded="Windows: every date (also tables/windows.csv)",
        )
    )  # fmt: skip


def plan_visits(treatment: Treatment) -> dict[str, int]:
    """Of each technique the most visits that it takes here."""
    return {str(name): int(most) for name, most in treatment.jobs.groupby("technique")["visits"].max().items()}


def _from(row: Any) -> str:
    return f"{row.window} (estimated)" if row.estimated else str(row.window)


def _day_or(day: object, words: str) -> str:
    found = shown_date(day)
    return words if found == "not known" else found


def weeks_report(plan: Plan) -> PrintedTable:
    """The schedule added up by week, rig and technique: the figures of the chart."""
    treatment = plan.treatment
    table = by_week(treatment)
    rows = [
        [str(day_of(row.monday)), str(row.rig), technique_words(row.technique, visit=row.visit, visits=row.visits),
         named(row.zones), _area(row.worked_m2, plan), shown_hours(row.hours), *_money([row.money], treatment)]
        for row in rows_of(table)
    ]  # fmt: skip
    heads = ["Week of", "Rig", "What", "Treatment zones", f"Worked {plan.shown.area}", "Crew hours"]
    total = ["All", "", "", "", _area(whole_sum(table["worked_m2"]), plan), shown_hours(whole_sum(table["hours"])),
             *_money([whole_sum(table["money"])], treatment)]  # fmt: skip
    return cut(
        PrintedTable(
            caption="Works by week", heads=[*heads, *_money_heads(["Money"], treatment)], rows=rows, total=total,
            numeric=_figures(4, heads, treatment), note="Weeks by their Monday. Crew hours are hours at work of the "
            "crew together; worked is the ground that the technique is put on, which for spots is that under the "
            "plants. Where a piece takes two visits it counts in each.",
        )
    )  # fmt: skip


def named(zones: list[str]) -> str:
    """Names of zones in a cell, at most so many; the rest counted.

    Examples
    --------
    >>> named(["Z001", "Z002"])
    'Z001, Z002'
    """
    more = len(zones) - MOST_ZONES
    return ", ".join(zones[:MOST_ZONES]) + (f" and {more} more" if more > 0 else "")


def works_report(plan: Plan) -> PrintedTable:
    """Every work by week."""
    treatment = plan.treatment
    rows = [
        [
            str(day_of(row.monday)), str(row.work), str(row.rig), str(row.zone_id), str(row.stand),
            technique_words(row.technique, visit=row.visit, visits=row.visits), str(row.species).replace(";", ", "),
            str(row.mix) or "none", _area(row.worked_m2 * row.share, plan), shown_hours(row.hours),
            *_money([row.money], treatment),
        ]
        for row in rows_of(weekly(treatment))
    ]  # fmt: skip
    heads = ["Week of", "Work", "Rig", "Zone", "Stand", "What", "Species", "Mix", f"Worked {plan.shown.area}",
             "Crew hours"]  # fmt: skip
    return cut(
        PrintedTable(
            caption="Every work, by week", heads=[*heads, *_money_heads(["Money"], treatment)], rows=rows,
            numeric=_figures(8, heads, treatment) | {1}, latin=frozenset({6}),
            folded="Every work by itself (also tables/work.csv)",
        )
    )  # fmt: skip


def stand_works(plan: Plan, stand: str) -> PrintedTable | None:
    """The works in a stand by week; None where the plan has no works at all."""
    treatment = plan.treatment
    if not len(treatment.work):
        return None
    rows = by_week(treatment, stand=stand)
    cells = [
        [str(day_of(row.monday)), technique_words(row.technique, visit=row.visit, visits=row.visits), str(row.rig),
         named(row.zones), shown_hours(row.hours), *_money([row.money], treatment)]
        for row in rows_of(rows)
    ]  # fmt: skip
    heads = ["Week of", "What", "Rig", "Zones", "Crew hours"]
    total = ["All", "", "", "", shown_hours(whole_sum(rows["hours"])), *_money([whole_sum(rows["money"])], treatment)]
    return PrintedTable(
        caption=f"Works planned in stand {stand}", heads=[*heads, *_money_heads(["Money"], treatment)], rows=cells,
        total=total if len(cells) > 1 else [], numeric=_figures(4, heads, treatment),
    )  # fmt: skip


def costs_report(plan: Plan) -> PrintedTable:
    """Money by rig and in all; without rows where the settings hold no money."""
    groups = [([str(rig)], own) for rig, own in plan.treatment.work.groupby("rig", sort=True)]
    return _costs(plan, groups, caption="Cost", heads=["Rig"], note=COST_NOTE)


def zone_costs_report(plan: Plan) -> PrintedTable:
    """Money by treatment zone and in all; without rows where the settings hold no money."""
    sums = plan.treatment.work.groupby(["stand", "zone_id"], sort=True)
    groups = [([str(zone), str(stand)], own) for (stand, zone), own in sums]
    groups.sort(key=lambda group: (*stand_order(group[0][1]), group[0][0]))
    found = _costs(plan, groups, caption="Cost by treatment zone", heads=["Zone", "Stand"])
    return replace(found, folded=found.caption)


def _costs(
    plan: Plan, groups: list[tuple[list[str], Any]], *, caption: str, heads: list[str], note: str = ""
) -> PrintedTable:  # fmt: skip
    """Money of groups of works, a row each, and of all."""
    currency, work = plan.treatment.currency, plan.treatment.work
    if not currency:
        return PrintedTable(caption=caption, heads=heads, rows=[])
    rows = [[*names, *(_amount(whole_sum(own[name])) for name in MONEY)] for names, own in groups]
    total = ["All", *[""] * (len(heads) - 1), *(_amount(whole_sum(work[name])) for name in MONEY)]
    columns = [*heads, *(f"{name} {currency}" for name in MONEY_HEADS)]
    return cut(
        PrintedTable(
            caption=caption, heads=columns, rows=rows, total=total if len(rows) > 1 else [],
            numeric=frozenset(range(len(heads), len(columns))), note=note,
        )
    )  # fmt: skip


def rigs_report(plan: Plan) -> PrintedTable:
    """Crew-days of each rig, and what whole days and lost days cost."""
    treatment = plan.treatment
    crews = {rig.name: rig.crew for rig in plan.settings.rig}
    rows = [
        [
            str(row.Index), str(crews.get(str(row.Index), "not known")), shown_number(row.days, decimals=1),
            _amount(row.whole_days), _available(row), _amount(row.calendar_days),
            *_money([row.labour_money, row.lost_money], treatment),
        ]
        for row in rows_of(treatment.rig_days)
    ]  # fmt: skip
    heads = ["Rig", "People", "Days of work", "Whole days", "Days to be had", "Calendar days"]
    return PrintedTable(
        caption="Days of each rig", heads=[*heads, *_money_heads(["Pay of whole days", "Pay of lost days"], treatment)],
        rows=rows, numeric=_figures(1, heads, treatment) | {6, 7}, note="Calendar days count those too on which the "
        "weather lets no crew spray; lost days are these days, paid and not worked.",
    )  # fmt: skip


def _available(row: Any) -> str:
    if math.isnan(row.available_days):
        return "not said"
    return _amount(row.available_days) + (" (too few)" if row.over else "")


def unplanned_report(plan: Plan) -> PrintedTable:
    """What could be done but is in no week."""
    treatment = plan.treatment
    several = plan_visits(treatment)
    rows = [
        [
            f"{row.zone_id} (stand {row.stand})",
            technique_words(row.technique, visit=row.visit, visits=several.get(row.technique, 1)),
            str(row.species).replace(";", ", "), _area(row.worked_m2, plan), shown_hours(row.hours),
            *_money([row.money], treatment), str(row.reason),
        ]
        for row in rows_of(treatment.unplanned)
    ]  # fmt: skip
    heads = ["Zone", "What", "Species", f"Worked {plan.shown.area}", "Crew hours",
             *_money_heads(["Money"], treatment), "Why not"]  # fmt: skip
    return cut(
        PrintedTable(
            caption="Not planned, and why", heads=heads, rows=rows, numeric=frozenset(range(3, len(heads) - 1)),
            latin=frozenset({2}), wide=frozenset({len(heads) - 1}),
            note="Hours and money are those of the cheapest rig that could do it.",
        )
    )  # fmt: skip


def withheld_report(plan: Plan) -> PrintedTable:
    """What is held back or not known, and what to type or change."""
    rows = [[str(row.where), str(row.what), str(row.mend)] for row in rows_of(plan.treatment.withheld)]
    heads = ["Where", "What", "Type or change"]
    return cut(PrintedTable(caption="Withheld or not known, and what to do about it", heads=heads, rows=rows,
                            wide=frozenset({1})))  # fmt: skip


def answer_report(plan: Plan) -> PrintedTable:
    """How the schedule was found, and how far from the best it can be."""
    found = plan.treatment.answer
    heads = ["Of", "Found"]
    if found is None:
        return PrintedTable(caption="How the schedule was found", heads=heads, rows=[])
    rows = [
        ["Search", found.method],
        ["Infested ground done, weighted", shown_area(found.value_m2, plan.shown)],
        ["No schedule can do more than", shown_area(found.bound_m2, plan.shown)],
        ["Short of that by at most", _gap(found.gap_pct)],
        ["The plain way (best worth for its money and hours first) does", shown_area(found.greedy_m2, plan.shown)],
        ["Next best", found.next_best or "no other choice was found"],
        *([["Waiting", found.waiting]] if found.waiting else []),
    ]
    return PrintedTable(
        caption="How the schedule was found", heads=heads, rows=rows, note="Weighted: stands of more priority and "
        "outlying patches count more, as [schedule] of the settings says. These weights are judgements.",
    )  # fmt: skip


def _gap(pct: float) -> str:
    """A gap in percent, rounded up so that it is never told smaller."""
    return "not known" if math.isnan(pct) else f"{math.ceil(pct * 100 - 1e-9) / 100:g} %"


def assumed_report(plan: Plan) -> PrintedTable:
    """What work, hours and weeks were reckoned with; what was not typed is marked."""
    treatment, labour, section = plan.treatment, plan.settings.labour, plan.settings.schedule
    rows = [
        ["Start", f"Monday {treatment.start}: {treatment.start_said}"],
        ["Weeks ahead", f"{section.weeks}{_own(section, 'weeks')}, of {section.days_per_week}"
         f"{_own(section, 'days_per_week')} days each"],
        ["Days that let a crew spray", f"{100 * labour.spray_day_chance:g} %{_own(labour, 'spray_day_chance')}"],
        ["A crew's day", f"{labour.productive_min / 60:g} h{_own(labour, 'productive_min')} at work of "
         f"{labour.paid_min / 60:g} h{_own(labour, 'paid_min')} paid"],
        ["Least part of a work on a day", f"{labour.least_part_min:g} min{_own(labour, 'least_part_min')}"],
        ["Mixed beyond what plants take", f"{plan.settings.spray.waste_pct:g} %"
         f"{_own(plan.settings.spray, 'waste_pct')}"],
        ["Outlying patches", f"count {section.outlying_weight:g}{_own(section, 'outlying_weight')} times"],
        *[[f"Rig {rig.name}", _rig_said(rig, plan)] for rig in plan.settings.rig],
    ]  # fmt: skip
    note = "* not typed: the program's own value." if any("*" in said for _, said in rows) else ""
    return PrintedTable(caption="What the work was reckoned with", heads=["Of", "Taken"], rows=rows, note=note)


def _rig_said(rig: Any, plan: Plan) -> str:
    tank, flow = (rig.tank_L, rig.output_L_per_min)
    unit = "L"
    if plan.shown.length == "ft":
        tank, flow, unit = tank / L_PER_GAL, flow / L_PER_GAL, "gal"
    trip = "the walk on the map" if rig.refill_trip_min is None else f"{rig.refill_trip_min:g} min one way"
    return (
        f"tank {tank:.4g} {unit}, output {flow:.3g} {unit}/min flowing {100 * rig.trigger_share:g} %"
        f"{_own(rig, 'trigger_share')} of the time at the plants, {rig.fill_min:g} min{_own(rig, 'fill_min')} to fill, "
        f"to the water {trip}"
    )


def _own(section: Any, name: str) -> str:
    """The mark of a value that was not typed."""
    return "" if name in section.model_fields_set else "*"


def curve_report(plan: Plan) -> PrintedTable:
    """What each further step of money buys: the figures of the chart."""
    treatment = plan.treatment
    rows = [
        [_amount(row.money_limit), _amount(row.money), _area(row.value, plan), _area(row.further_value, plan),
         _area(row.bound, plan)]
        for row in rows_of(treatment.curve)
    ]  # fmt: skip
    unit, currency = plan.shown.area, treatment.currency
    heads = [f"Up to {currency}", f"Spent {currency}", f"Ground done, weighted {unit}",
             f"More than the row before {unit}", f"At most {unit}"]  # fmt: skip
    return cut(
        PrintedTable(
            caption="What further money buys", heads=heads, rows=rows, numeric=frozenset(range(5)),
            folded="What further money buys: every step (also tables/money_curve.csv)",
            note="Infested ground, weighted as for the schedule. No choice for that money can do more than the last "
            "column.",
        )
    )  # fmt: skip


def _area(square_metres: float, plan: Plan) -> str:
    return shown_area(float(square_metres), plan.shown, unit=False)


def _amount(number: float) -> str:
    """A whole figure, or that it is not known."""
    return shown_money(float(number), "")


def _money(amounts: list[float], treatment: Treatment) -> list[str]:
    """Cells of money; none where the settings hold no money."""
    return [_amount(amount) for amount in amounts] if treatment.currency else []


def _money_heads(heads: list[str], treatment: Treatment) -> list[str]:
    return [f"{head} {treatment.currency}" for head in heads] if treatment.currency else []


def _figures(first: int, heads: list[str], treatment: Treatment) -> frozenset[int]:
    """The columns of figures: from ``first`` on, with that of money."""
    return frozenset(range(first, len(heads) + bool(treatment.currency)))
