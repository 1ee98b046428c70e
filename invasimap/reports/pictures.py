"""The printed pictures of a plan, as a table; run by a process of its own where a tract is large (``apart``)."""

from __future__ import annotations

import gc
import pickle
import sys

from invasimap.prescription.plan import Plan
from invasimap.reports.access_chart import access_limits_figure
from invasimap.reports.access_map import access_figure
from invasimap.reports.apart import BOOK, LOADS
from invasimap.reports.book import mapbook_pdf
from invasimap.reports.load_sheet import loadsheet_pdf
from invasimap.reports.money_chart import money_figure
from invasimap.reports.overview import overview_figure
from invasimap.reports.schedule_chart import schedule_figure
from invasimap.reports.season_sums import charts_of
from invasimap.reports.sheet import sheet_png
from invasimap.reports.species_chart import species_figure
from invasimap.reports.windows_chart import windows_figure

GC_THRESHOLD = 100_000  # drawing makes many small things: looking for dead ones as often as usual takes a sixth of it
FIGURES = {
    "overview": overview_figure, "access": access_figure, "species": species_figure,
    "access_limits": access_limits_figure,
}  # fmt: skip
SEASON_FIGURES = {"windows": windows_figure, "schedule": schedule_figure, "money": money_figure}


def pictures(plan: Plan) -> dict[str, bytes]:
    """Each picture by its name, as PNG, of a season's charts those with something; book and load sheet as PDF."""
    season = {name: SEASON_FIGURES[name] for name in charts_of(plan.treatment)}
    drawn = {name: sheet_png(draw, plan) for name, draw in (FIGURES | season).items()}
    return drawn | {BOOK: mapbook_pdf(plan), LOADS: loadsheet_pdf(plan)}


def answer() -> None:
    """Read a plan from standard input and write its pictures to standard output."""
    gc.set_threshold(GC_THRESHOLD)
    drawn = pictures(pickle.load(sys.stdin.buffer))
    pickle.dump(drawn, sys.stdout.buffer)
