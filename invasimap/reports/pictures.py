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
from invasimap.reports.overview import overview_figure
from invasimap.reports.sheet import sheet_png
from invasimap.reports.species_chart import species_figure

GC_THRESHOLD = 100_000  # drawing makes many small things: looking for dead ones as often as usual takes a sixth of it
FIGURES = {
    "overview": overview_figure, "access": access_figure, "species": species_figure,
    "access_limits": access_limits_figure,
}  # fmt: skip


def pictures(plan: Plan) -> dict[str, bytes]:
    """Each picture by its name, as PNG, and the map book and the load sheet as PDF."""
    sheets = {} if plan.treatment is None else {LOADS: loadsheet_pdf(plan)}
    return {name: sheet_png(draw, plan) for name, draw in FIGURES.items()} | {BOOK: mapbook_pdf(plan)} | sheets


def answer() -> None:
    """Read a plan from standard input and write its pictures to standard output."""
    gc.set_threshold(GC_THRESHOLD)
    drawn = pictures(pickle.load(sys.stdin.buffer))
    pickle.dump(drawn, sys.stdout.buffer)
