"""What is done, as the report says it: the answers of its first page and the first lines of its section."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Final

from invasimap.prescription.costs import more_in_whole_days
from invasimap.prescription.plan import Plan
from invasimap.prescription.treatment import Treatment
from invasimap.reports.money_chart import said_money
from invasimap.reports.report_answers import MONTHS, first_letters, said_area, said_day
from invasimap.reports.report_tables import PrintedTable
from invasimap.reports.schedule_chart import said_schedule
from invasimap.reports.season_sums import by_week, charts_of, day_of, has_prices, planned_of, spray_weeks, whole_sum
from invasimap.reports.season_tables import (
    answer_report,
    assumed_report,
    costs_report,
    curve_report,
    rigs_report,
    techniques_report,
    unplanned_report,
    weeks_report,
    windows_report,
    withheld_report,
    works_report,
    zone_costs_report,
)
from invasimap.reports.windows_chart import said_windows
from invasimap.reports.wording import rows_of, shown_area, shown_hours, shown_money, shown_share

NO_RIG: Final = (
    "There is no rig in the settings: no hours, no cost, no weeks. Type your sprayers and crews under [[rig]], what "
    "they put on under [[rig.calibration]], and plan again."
)
NO_MIX: Final = (
    "There is no mix in the settings: nothing that is sprayed can be planned. Copy each mix from the label in hand "
    "under [[mix]]."
)
NO_WORK: Final = "No work is planned: why stands below."
NO_PERMIT: Final = (
    "A work that is planned is no permission to spray: the label, the weather of the day and a look at the ground come "
    "first."
)
MOST_REASON: Final = 70  # letters of the first one's reason, on the first page
MOST_RIGS: Final = 3


@dataclass(frozen=True, kw_only=True)
class SeasonAnswer:
    """One answer of the first page: what it is of, the figure, and what is said of it."""

    of: str
    figure: str
    said: str


@dataclass(frozen=True, kw_only=True)
class Chart:
    """A chart of the section: the picture's name, what it shows in words, and the table of its figures."""

    picture: str
    label: str
    said: str
    table: PrintedTable


@dataclass(frozen=True, kw_only=True)
class SeasonPart:
    """The section: sentences, and the tables before and after the charts."""

    lines: list[str]
    techniques: PrintedTable
    charts: list[Chart] = field(default_factory=list)
    tables: list[PrintedTable] = field(default_factory=list)


def season_answers(plan: Plan) -> list[SeasonAnswer]:
    """The season's answers for the first page; none where no work is planned."""
    treatment = plan.treatment
    if not len(treatment.work):
        return []
    return [
        _cost(plan, treatment), _time(treatment), _spraying(treatment), _planned(plan, treatment),
        *([_withheld(treatment)] if len(treatment.withheld) else []),
    ]  # fmt: skip


def season_lines(plan: Plan) -> list[str]:
    """What must be typed before work can be planned; nothing where some is."""
    treatment = plan.treatment
    if len(treatment.work) or not len(treatment.jobs):
        return []
    missing = [*([] if plan.settings.rig else [NO_RIG]), *([] if plan.settings.mix else [NO_MIX])]
    return missing or [NO_WORK]


def _cost(plan: Plan, treatment: Treatment) -> SeasonAnswer:
    work, currency = treatment.work, treatment.currency
    if not has_prices(plan):
        return SeasonAnswer(of="Cost", figure="not known", said="there is no money in the settings")
    money, low, high = (whole_sum(work[name]) for name in ("money", "money_low", "money_high"))
    if math.isnan(money):
        lacking = sorted({part for cell in work["not_counted"] for part in str(cell).split(", ") if part})
        known = shown_money(float(work["money_known"].sum()), currency)
        return SeasonAnswer(of="Cost", figure="not known", said=f"{known} without {', '.join(lacking) or 'all of it'}")
    parts = []
    if not math.isnan(low + high):
        parts.append(f"{shown_money(low, '')} to {shown_money(high, currency)}")
    if (budget := plan.settings.budget) is not None:
        share = shown_share(money, budget.money.amount)
        parts.append(f"{share} of the budget of {shown_money(budget.money.amount, currency)}")
    whole_days = money + more_in_whole_days(work, treatment.rig_days, plan.settings.labour)
    if not math.isnan(whole_days):
        parts.append(f"{shown_money(whole_days, currency)} where crews are paid by whole days")
    return SeasonAnswer(of="Cost, likely", figure=shown_money(money, currency), said="; ".join(parts))


def _time(treatment: Treatment) -> SeasonAnswer:
    hours = shown_hours(whole_sum(treatment.work["crew_h"]))
    days = treatment.rig_days.sort_values("whole_days", ascending=False, kind="stable")
    named = [f"{first_letters(str(row.Index), 22)} {_days(row.whole_days)}" for row in rows_of(days)]
    if len(named) > MOST_RIGS + 1:
        named = [*named[:MOST_RIGS], f"{len(named) - MOST_RIGS} more rigs"]
    whole = whole_sum(days["whole_days"])
    figure = "not known" if math.isnan(whole) else f"{whole:,.0f} crew-day{'' if whole == 1 else 's'}"
    said = f"{hours} person-hours with travel" if hours != "not known" else "person-hours not known"
    return SeasonAnswer(of="Crews", figure=figure, said=f"{said}; {', '.join(named)}")


def _days(days: float) -> str:
    return "not known" if math.isnan(days) else f"{days:,.0f} d"


def _spraying(treatment: Treatment) -> SeasonAnswer:
    weeks = by_week(treatment)["week"].nunique()
    said = f"{_counted(len(treatment.work), 'work')} in {_counted(weeks, 'week')}"
    if (ends := spray_weeks(treatment)) is None:
        return SeasonAnswer(of="Spraying", figure="none planned", said=f"{said}, all by hand or machine")
    sprayed = treatment.work[treatment.work["sprays"].astype(bool)]
    window = _span(sprayed["first"].min(), sprayed["last"].max())
    return SeasonAnswer(of="Weeks of spraying", figure=_span(*ends), said=f"by their Mondays; {said}; windows {window}")


def _span(first: object, last: object) -> str:
    """From a day to another, months by short names, the year once where both have it."""
    ends = [day_of(first), day_of(last)]
    days = [f"{day.day} {MONTHS[day.month - 1][:3]}" for day in ends]
    if ends[0] == ends[1]:
        return f"{days[0]} {ends[0].year}"
    year = "" if ends[0].year == ends[1].year else f" {ends[0].year}"
    return f"{days[0]}{year} to {days[1]} {ends[1].year}"


def _planned(plan: Plan, treatment: Treatment) -> SeasonAnswer:
    planned, could = planned_of(treatment)
    return SeasonAnswer(
        of="Planned", figure=f"{shown_area(planned, plan.shown, unit=False)} of {said_area(could, plan)}",
        said=f"{shown_share(planned, could)} of the ground that a technique fits; each species counts for itself",
    )  # fmt: skip


def _withheld(treatment: Treatment) -> SeasonAnswer:
    first = treatment.withheld.iloc[0]
    what = str(first["what"])
    said = what if len(what) <= MOST_REASON else f"{what[:MOST_REASON].rpartition(' ')[0]} …"
    count = _counted(len(treatment.withheld), "entry", "entries")
    return SeasonAnswer(of="Withheld or not known", figure=count, said=f"first: {said}; all under What is done")


def _counted(count: int, one: str, many: str = "") -> str:
    return f"{count:,} {one}" if count == 1 else f"{count:,} {many or one + 's'}"


def season_part(plan: Plan) -> SeasonPart | None:
    """The section of the report; None where nothing grows, or nobody worked one out."""
    treatment = plan.treatment
    if not len(treatment.jobs):
        return None
    if not len(treatment.work):
        tables = [unplanned_report(plan), withheld_report(plan), assumed_report(plan)]
        return SeasonPart(
            lines=season_lines(plan), techniques=techniques_report(plan), charts=_charts(plan, treatment),
            tables=[table for table in tables if table.rows],
        )  # fmt: skip
    tables = [
        rigs_report(plan), costs_report(plan), unplanned_report(plan), withheld_report(plan), answer_report(plan),
        assumed_report(plan), works_report(plan), zone_costs_report(plan),
    ]  # fmt: skip
    return SeasonPart(
        lines=[_lead(treatment), NO_PERMIT], techniques=techniques_report(plan), charts=_charts(plan, treatment),
        tables=[table for table in tables if table.rows],
    )  # fmt: skip


def _charts(plan: Plan, treatment: Treatment) -> list[Chart]:
    """The charts that have something to show."""
    return [
        Chart(picture=name, label=CHART_LABELS[name], said=SAID[name](plan), table=TABLES[name](plan))
        for name in charts_of(treatment)
    ]


CHART_LABELS: Final = {
    "windows": "When each technique fits",
    "schedule": "Works by rig and week",
    "money": "What further money buys",
}
SAID: Final = {"windows": said_windows, "schedule": said_schedule, "money": said_money}
TABLES: Final = {"windows": windows_report, "schedule": weeks_report, "money": curve_report}


def _lead(treatment: Treatment) -> str:
    weeks = by_week(treatment)
    days = sorted({str(monday)[:10] for monday in weeks["monday"]})
    span = f"the week of {said_day(days[0])}"
    if len(days) > 1:
        span = f"{len(days)} weeks, from that of {said_day(days[0])} to that of {said_day(days[-1])}"
    works, rigs = _counted(len(treatment.work), "work"), _counted(weeks["rig"].nunique(), "rig")
    return (
        f"{works} {'is' if len(treatment.work) == 1 else 'are'} planned for {rigs} in {span}. A work is what one rig "
        "does in one treatment zone with one mix, or by hand. loadsheet.pdf says what goes into each tank."
    )
