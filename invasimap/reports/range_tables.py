"""How far the figures may be off, as the report shows it: totals with their ranges, and what makes them wide."""

from __future__ import annotations

import pandas as pd

from invasimap.mosaic.simulation import SOURCES
from invasimap.prescription.plan import Plan
from invasimap.reports.report_tables import PrintedTable, figure_heads, figures, range_words
from invasimap.reports.wording import rows_of, shown_area

GROUND = "All infested ground, every spot once"
SOURCE_HEADS = {
    "position": "Position (GPS) %",
    "size": "Patch size %",
    "cover": "Cover %",
    "cell": "Cell of the access grid %",
}
SOURCE_WORDS = {"position": "positions", "size": "patch sizes", "cover": "covers", "cell": "the cell of access"}


def totals_report(plan: Plan) -> PrintedTable:
    """Acres of each species and of all infested ground, in all and treatable, with their ranges."""
    ranged, unit = plan.settings.uncertainty.draws > 0, plan.shown.area
    names = ("gross", "infested", "treatable_gross", "treatable_infested")

    def area(square_metres: float) -> str:
        return "" if pd.isna(square_metres) else shown_area(float(square_metres), plan.shown, unit=False)

    rows, total = list[list[str]](), list[str]()
    for _, row in plan.totals.iterrows():
        values = [(row[f"{name}_m2"], row[f"{name}_low_m2"], row[f"{name}_high_m2"]) for name in names]
        line = [row["species"] or GROUND, *figures(values, area, ranged=ranged)]
        rows, total = ([*rows, line], total) if row["species"] else (rows, line)
    heads = [
        "Species",
        *figure_heads(["Gross", "Infested", "Treatable gross", "Treatable infested"], unit, ranged=ranged),
    ]
    return PrintedTable(
        caption="Totals, and how far they may be off", heads=heads, rows=rows, total=total,
        numeric=frozenset(range(1, len(heads))), latin=frozenset({0}), note=_range_note(plan),
    )  # fmt: skip


def drivers_report(plan: Plan) -> PrintedTable:
    """What makes the ranges wide: the share of each source of error."""
    rows = [
        [
            row.species or GROUND,
            {"all": "in all", "treatable": "treatable"}[row.part],
            *(_share(getattr(row, f"{source}_pct")) for source in SOURCES),
        ]
        for row in rows_of(plan.drivers)
        if pd.notna(row.position_pct)
    ]
    heads = ["Species", "Infested area", *(SOURCE_HEADS[source] for source in SOURCES)]
    return PrintedTable(
        caption="What makes the ranges wide", heads=heads, rows=rows,
        numeric=frozenset(range(2, 2 + len(SOURCES))), latin=frozenset({0}),
        note="Share of each source in the variance, each drawn alone. Where position leads, a better receiver or more "
        "fixes narrow the range; where size leads, measure instead of pacing; where cover leads, write a percent "
        "instead of a class; where the cell leads, make it smaller.",
        folded="What makes the range of each species wide (also tables/drivers.csv)",
    )  # fmt: skip


def drivers_line(plan: Plan) -> list[str]:
    """What makes the range of all infested ground wide, the most first; nothing where it has none."""
    known = plan.drivers[plan.drivers["position_pct"].notna()] if len(plan.drivers) else plan.drivers
    known = known[(known["species"] == "") & (known["part"] == "all")] if len(known) else known
    if known.empty:
        return []
    shares = sorted(((float(known[f"{name}_pct"].iloc[0]), name) for name in SOURCES), reverse=True)
    said = ", ".join(f"{SOURCE_WORDS[name]} ({_share(pct)} %)" for pct, name in shares if pct > 0)
    return [f"What makes the range of all infested ground wide: {said}."]


def infested_range(plan: Plan, part: str) -> str:
    """The range of the whole infested ground (``gross``) or of what is treatable of it; empty without draws."""
    ground = plan.totals[plan.totals["species"] == ""] if len(plan.totals) else plan.totals
    if ground.empty:
        return ""
    low, high = (float(ground[f"{part}_{end}_m2"].iloc[0]) for end in ("low", "high"))
    return range_words(low, high, lambda m2: shown_area(m2, plan.shown, unit=False))


def means_range(plan: Plan, means: str) -> str:
    """The range of the ground that one means treats; empty without draws, and of what is no means."""
    table = plan.by_means
    ground = table[(table["species"] == "") & (table["access"] == means)] if len(table) else table
    if ground.empty:
        return ""
    low, high = (float(ground[f"gross_{end}_m2"].iloc[0]) for end in ("low", "high"))
    return range_words(low, high, lambda m2: shown_area(m2, plan.shown, unit=False))


def _range_note(plan: Plan) -> str:
    said = plan.settings.uncertainty
    if not said.draws:
        return "No ranges were drawn: draws is 0."
    return (
        f"In 90 of 100 such surveys the truth lies in the range. {said.draws} surveys were drawn with the errors of "
        f"this one: the accuracy of each position, along a walk alike where it is near; {said.size_error_pct:g} % (one "
        "standard deviation) on every stated radius and width; the cover class, or "
        f"{_cover_words(said.cover_error_pct)}; and where the edge of access runs within a cell. Plants that nobody "
        "saw are in no range. Ranges of rows do not add up to the range of their total."
    )


def _cover_words(error_pct: float) -> str:
    """What a cover written as one figure is taken for."""
    return (
        f"{error_pct:g} % of the ground either side of a cover of one figure"
        if error_pct
        else ("a cover of one figure as exact")
    )


def _share(percent: float) -> str:
    return f"{percent:.0f}" if percent >= 0.5 or percent == 0 else "<1"
