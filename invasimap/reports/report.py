"""The report: one page of answers first, then the working; one file, no network, readable without its script."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping
from functools import cache
from importlib import resources

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from invasimap.prescription.plan import CAUTIONS, STAMP, Plan
from invasimap.reports.access_chart import best_means, said_bars
from invasimap.reports.access_tables import gain_report, limits_report, parking_report
from invasimap.reports.answers import Answers, answers
from invasimap.reports.means_tables import means_report, pump_lines, pump_report
from invasimap.reports.off_limits import closed_ground
from invasimap.reports.offline import data_uri
from invasimap.reports.patterns import pattern_defs, pattern_names, swatch
from invasimap.reports.range_tables import drivers_line, drivers_report, infested_range, totals_report
from invasimap.reports.record_tables import record_reports
from invasimap.reports.report_answers import (
    MOST_NAME,
    boxes,
    first_letters,
    grave,
    lead,
    outcome_lines,
    restricted_lines,
    said_dates,
    said_day,
    species_lines,
    unknown_lines,
)
from invasimap.reports.report_method import files_report, method_report
from invasimap.reports.report_season import season_answers, season_lines, season_part
from invasimap.reports.report_stands import bar_said, stand_parts, stands_left_out
from invasimap.reports.report_tables import (
    PrintedTable,
    acreage_report,
    checks_report,
    closed_report,
    rules_report,
    species_report,
    stand_report,
    treatable_report,
)
from invasimap.reports.species_chart import said_species
from invasimap.reports.stand_picture import outcome_svg
from invasimap.reports.style import OUTCOME, PAGE, SCREEN_FONT
from invasimap.reports.wording import ACCESS_WORDS, OUTCOMES, TREATABLE, UNIT_WORDS, shown_area

PAPER_SIZE = {"us": "letter", "metric": "A4"}
LEAST_SORTED = 3  # rows
CONTENTS = {
    "answers": "Answers", "map": "Map", "areas": "Areas", "season": "What is done", "stands": "Stand by stand",
    "closed": "What is off limits",
    "access": "How the ground is reached", "unknown": "What is not known", "records": "Records",
    "how": "How it was computed", "cautions": "Cautions",
}  # fmt: skip


def report_html(plan: Plan, *, pictures: Mapping[str, bytes]) -> str:
    """The report as one HTML page.

    Parameters
    ----------
    pictures
        As PNG: ``overview``, the sheet; ``species``, the chart of their areas; ``access_limits``, that of what keeps
        ground from better access; of a season's work the charts that it has (``season_sums.charts_of``).
    """
    found, closed = answers(plan), closed_ground(plan)
    script = _file("report.js")
    return _environment().get_template("report.html.j2").render(
        name=plan.settings.tract.name, short_name=first_letters(plan.settings.tract.name, MOST_NAME),
        made=said_day(f"{plan.made.astimezone(plan.settings.tract.zone):%Y-%m-%d}"), survey=said_dates(plan),
        stamps=stamps(plan),
        look=Markup(_look(plan)), script=Markup(script), policy=_policy(script), patterns=Markup(pattern_defs()),
        unit=UNIT_WORDS[plan.shown.area], cautions=plan.cautions, notes=plan.notes,
        crs=plan.crs.name, **_first_page(plan, found),
        boxes=boxes(plan, found, closed), unknown=[*unknown_lines(plan), *restricted_lines(plan), *drivers_line(plan)],
        overview=data_uri(pictures["overview"], "image/png"),
        areas=[
            species_report(plan, found), treatable_report(plan), stand_report(plan, found), acreage_report(plan)
        ],
        species_chart=data_uri(pictures["species"], "image/png"), said_species=said_species(plan),
        totals=totals_report(plan), drivers=[drivers_report(plan)] if len(plan.drivers) else [],
        stands=stand_parts(plan, closed), left_out=stands_left_out(plan),
        closed=[closed_report(plan, closed), rules_report(plan)],
        chart=data_uri(pictures["access_limits"], "image/png"), bars=said_bars(plan), limits=limits_report(plan),
        reach=reach_line(plan), pumps=pump_lines(plan), records=record_reports(plan),
        reached=[
            *pump_tables(plan), gain_report(plan), parking_report(plan),
            means_report(plan.settings.access, plan.shown),
        ],
        method=[method_report(plan), checks_report(plan), files_report(plan)], **_season(plan, pictures),
    )  # fmt: skip


def _season(plan: Plan, pictures: Mapping[str, bytes]) -> dict[str, object]:
    """What the page shows of the season's work: nothing of a plan without."""
    part = season_part(plan)
    charts = [chart.picture for chart in part.charts] if part else []
    return {
        "season": part,
        "season_images": {name: data_uri(pictures[name], "image/png") for name in charts},
        "contents": {name: words for name, words in CONTENTS.items() if part or name != "season"},
    }


def _first_page(plan: Plan, found: Answers) -> dict[str, object]:
    """What the page of answers shows beside its boxes."""
    shown, fills = species_lines(plan, found), pattern_names()
    whole_m2 = max((sum(line.outcomes_m2.values()) for line in shown), default=0.0)
    areas = {name: float(found.ground_m2[name]) for name in OUTCOMES}
    return {
        "grave": grave(plan),
        "lead": lead(plan, found),
        "season_answers": season_answers(plan),
        "season_lines": season_lines(plan),
        "treatable": shown_area(found.treatable_m2, plan.shown, unit=False),
        "treatable_range": infested_range(plan, "treatable_gross"),
        "bar": Markup(outcome_svg(areas, label=bar_said(areas))),
        "outcomes": [(line, Markup(swatch(OUTCOME[line.name], fills))) for line in outcome_lines(plan, found)],
        "by_species": [
            (line, Markup(outcome_svg(line.outcomes_m2, css="small-bar", whole_m2=whole_m2))) for line in shown
        ],
        "by_means": [shown_area(found.ground_m2[name], plan.shown, unit=False) for name in TREATABLE],
    }


def stamps(plan: Plan) -> list[str]:
    """What stands above everything: that a plan is a trial, or not to be passed on."""
    shown = f"{STAMP}: it shows confidential features as they are."
    return [shown if line.startswith(STAMP) else line for line in plan.cautions[len(CAUTIONS) :]]


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


def _look(plan: Plan) -> str:
    """The style sheet with the house's colours and the paper of the tract's units."""
    colours = "".join(f"--{name}: {colour};" for name, colour in PAGE.items())
    size = PAPER_SIZE[plan.settings.tract.units]
    return _file("report.css").replace("COLOURS", colours).replace("FONT", SCREEN_FONT).replace("PAPER_SIZE", size)


def _policy(script: str) -> str:
    """What the browser itself forbids the page: every address, and every script but its own."""
    own = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    return (
        f"default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src 'sha256-{own}'; base-uri 'none'; "
        "form-action 'none'"
    )


def _file(name: str) -> str:
    return (resources.files("invasimap.reports") / "templates" / name).read_text(encoding="utf-8")


@cache
def _environment() -> Environment:
    found = Environment(
        loader=PackageLoader("invasimap.reports", "templates"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    found.tests["empty_table"] = _is_empty
    found.filters["svg"] = Markup
    found.filters["parted"] = _parted
    found.filters["stand_bar"] = _stand_bar
    found.globals["least_sorted"] = LEAST_SORTED
    return found


def _parted(name: str) -> Markup:
    """A name that may go on in the next line after each folder, not within a file's name."""
    return escape(name).replace("/", Markup("/<wbr>"))


def _stand_bar(areas_m2: dict[str, float]) -> Markup:
    return Markup(outcome_svg(areas_m2, label=bar_said(areas_m2)))


def _is_empty(table: PrintedTable) -> bool:
    return not table.rows
