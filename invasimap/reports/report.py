"""The report: one page that answers first and shows its working after; no network, no script."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from invasimap.land.words import OUTSIDE, RESTRICTED
from invasimap.prescription.plan import STAMP, Plan
from invasimap.reports.access_chart import best_means, said_bars
from invasimap.reports.access_tables import gain_report, parking_report
from invasimap.reports.answers import Answers, answers
from invasimap.reports.means_tables import means_report, pump_lines, pump_report
from invasimap.reports.offline import data_uri
from invasimap.reports.patterns import pattern_defs, pattern_names, swatch
from invasimap.reports.range_tables import drivers_report, infested_range, totals_report
from invasimap.reports.record_tables import record_reports
from invasimap.reports.report_tables import (
    PrintedTable,
    acreage_report,
    checks_report,
    rules_report,
    species_report,
    stand_report,
)
from invasimap.reports.sheet import survey_dates
from invasimap.reports.species_chart import said_species
from invasimap.reports.style import OUTCOME, SCREEN_FONT
from invasimap.reports.wording import (
    ACCESS_WORDS,
    OUTCOME_NOTES,
    OUTCOME_WORDS,
    OUTCOMES,
    TREATABLE,
    UNIT_WORDS,
    shown_area,
    shown_share,
)

BAR_PX = 1000.0


def report_html(plan: Plan, *, pictures: Mapping[str, bytes]) -> str:
    """The report as one HTML page.

    Parameters
    ----------
    pictures
        As PNG: ``overview``, the sheet; ``species``, the chart of their areas; ``access_limits``, that of what keeps
        ground from better access.
    """
    found = answers(plan)
    return _environment().get_template("report.html.j2").render(
        name=plan.settings.tract.name, made=f"{plan.made.astimezone(plan.settings.tract.zone):%Y-%m-%d}",
        survey=survey_dates(plan), unit=UNIT_WORDS[plan.shown.area], area_said=plan.shown.area_said,
        font=Markup(SCREEN_FONT),
        infested=shown_area(found.infested_ground_m2, plan.shown), treatable=shown_area(found.treatable_m2, plan.shown),
        infested_range=infested_range(plan, "gross"), treatable_range=infested_range(plan, "treatable_gross"),
        species_chart=data_uri(pictures["species"], "image/png"), said_species=said_species(plan),
        ranges=[totals_report(plan), *([drivers_report(plan)] if len(plan.drivers) else [])],
        patches=len(plan.patches), species=len(found.species), stands=len(plan.stands),
        outcomes=outcome_lines(plan, found), bar=Markup(outcome_bar(found)), patterns=Markup(pattern_defs()),
        attention=attention(plan),
        overview=data_uri(pictures["overview"], "image/png"),
        acres=[species_report(plan, found), stand_report(plan, found)],
        chart=data_uri(pictures["access_limits"], "image/png"), bars=said_bars(plan), reach=reach_line(plan),
        pumps=pump_lines(plan), reached=[*pump_tables(plan), gain_report(plan), parking_report(plan)],
        full=acreage_report(plan), limits=[rules_report(plan), means_report(plan.settings.access, plan.shown)],
        records=record_reports(plan), checks=checks_report(plan), cautions=plan.cautions, crs=plan.crs.name,
        elevation=not plan.terrain.flat, restricted=_restricted(plan),
    )  # fmt: skip


def pump_tables(plan: Plan) -> list[PrintedTable]:
    """The pumps' table where a pump was typed: what was not typed is said in words."""
    table = pump_report(plan)
    return [table] if table.rows else []


def reach_line(plan: Plan) -> str:
    """How much of the infested ground is open to spray, and how much of it no better means could reach."""
    whole_m2 = float(plan.limits["open_m2"].sum())
    best_m2 = float(plan.limits.loc[plan.limits["limit"] == "", "open_m2"].sum())
    whole, best = shown_area(whole_m2, plan.shown), shown_area(best_m2, plan.shown)
    name = best_means(plan.settings.access)
    means = f" ({ACCESS_WORDS[name]})" if name else ""
    return f"{whole} of infested ground in stands is open to spray. Of it the best means at hand{means} reaches {best}."


def outcome_lines(plan: Plan, found: Answers) -> list[dict[str, object]]:
    """What can be done, with its sample, area, share and meaning; all six, so that a zero is seen as a zero."""
    fills, whole = pattern_names(), found.infested_ground_m2
    return [
        {
            "swatch": Markup(swatch(OUTCOME[name], fills)),
            "words": OUTCOME_WORDS[name],
            "area": shown_area(found.ground_m2[name], plan.shown),
            "share": shown_share(found.ground_m2[name], whole),
            "note": OUTCOME_NOTES[name],
            "treatable": name in TREATABLE,
        }
        for name in OUTCOMES
    ]


def outcome_bar(found: Answers) -> str:
    """All infested ground as one bar, each part in its own fill; empty text where there is none."""
    whole, at, parts = found.infested_ground_m2, 0.0, []
    for name in OUTCOMES:
        width = BAR_PX * found.ground_m2[name] / whole if whole > 0 else 0.0
        if width > 0:
            title = escape(f"{OUTCOME_WORDS[name]} {width / BAR_PX:.0%}")
            parts.append(
                f'<rect x="{at:.2f}" y="1" width="{width:.2f}" height="34" fill="url(#fill-{name})" stroke="#1b1b1b">'
                f"<title>{title}</title></rect>"
            )
            at += width
    if not parts:
        return ""
    label = escape(
        ", ".join(f"{OUTCOME_WORDS[n]} {found.ground_m2[n] / whole:.0%}" for n in OUTCOMES if found.ground_m2[n] > 0)
    )
    frame = 'class="bar" viewBox="0 0 1000 36" preserveAspectRatio="none" role="img"'
    return f'<svg {frame} aria-label="{label}">{"".join(parts)}</svg>'


def attention(plan: Plan) -> list[str]:
    """What the reader should look at before using the figures, gravest first."""
    lines = [f"{STAMP}: it shows confidential features as they are."] if plan.internal else []
    lines += [f"Check failed: {check.name}. Do not use these figures." for check in plan.checks if not check.passed]
    if plan.terrain.flat:
        lines.append("No elevation data: slope is not known and level ground was assumed.")
    aside = int(plan.ledger["set_aside"].sum()) if len(plan.ledger) else len(plan.set_aside)
    if aside:
        records = "1 record could not be used and is" if aside == 1 else f"{aside} records could not be used and are"
        lines.append(f"{records} in no figure; see Records.")
    outside = plan.ground[plan.ground["stand"] == OUTSIDE]
    if (outside["ground_m2"] > 0).any():
        area, kept = (
            shown_area(float(rows["ground_m2"].sum()), plan.shown)
            for rows in (outside, outside[outside["zone"] == "no_spray"])
        )
        lines.append(
            f"{area} of infested ground lies outside every stand ({kept} of it within a no-spray distance, where it is "
            "counted); none of it is in a treatable figure."
        )
    if _restricted(plan):
        lines.append(
            "Some ground is restricted: closed to spray, drawn wider than what it protects, and shifted, so that what "
            "lies in it cannot be placed. Less is treatable than with the places known."
        )
    return lines + list(plan.notes)


def _restricted(plan: Plan) -> bool:
    """Whether covers are in the plan."""
    return bool((plan.protection["kind"] == RESTRICTED).any())


@cache
def _environment() -> Environment:
    found = Environment(
        loader=PackageLoader("invasimap.reports", "templates"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    found.tests["empty_table"] = _is_empty
    return found


def _is_empty(table: PrintedTable) -> bool:
    return not table.rows
