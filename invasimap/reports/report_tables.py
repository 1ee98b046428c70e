"""The tables of the report, as text ready to print."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import pandas as pd

from invasimap.core.settings import ProtectSection
from invasimap.core.units import ShownUnits
from invasimap.land.words import RESTRICTED
from invasimap.prescription.plan import Plan
from invasimap.reports.answers import Answers, stand_order, stand_table
from invasimap.reports.wording import (
    ACCESS_WORDS,
    OUTCOME_WORDS,
    OUTCOMES,
    TREATABLE,
    ZONE_WORDS,
    headed,
    outcome,
    rows_of,
    shown_area,
    shown_length,
)

MOST_ROWS = 400
PARTS = ("gross", "infested")


@dataclass(frozen=True, kw_only=True)
class PrintedTable:
    """A table as text: columns set right (``numeric``), in italics (``latin``) or of sentences (``wide``).

    ``more`` rows were left out. With ``folded`` words it opens when those are asked for.
    """

    caption: str
    heads: Sequence[str]
    rows: list[list[str]]
    numeric: frozenset[int] = frozenset()
    latin: frozenset[int] = frozenset()
    wide: frozenset[int] = frozenset()
    total: list[str] = field(default_factory=list)
    note: str = ""
    more: int = 0
    folded: str = ""

    def without_empty(self, column: int) -> PrintedTable:
        """The table without a column in which no row says anything."""
        if any(row[column] for row in self.rows):
            return self
        kept = [at for at in range(len(self.heads)) if at != column]
        return replace(
            self, heads=[self.heads[at] for at in kept], rows=[[row[at] for at in kept] for row in self.rows],
            numeric=frozenset(new for new, at in enumerate(kept) if at in self.numeric),
            latin=frozenset(new for new, at in enumerate(kept) if at in self.latin),
            wide=frozenset(new for new, at in enumerate(kept) if at in self.wide),
        )  # fmt: skip


def species_report(plan: Plan, found: Answers) -> PrintedTable:
    """Acres by species and by what can be done."""
    present = [name for name in OUTCOMES if found.species[name].sum() > 0]
    area = _area(plan.shown)
    rows = [
        [row["species"], row["common_name"], str(row["patches"]), area(row["gross_m2"]), area(row["infested_m2"])]
        + [area(row[name]) for name in present]
        for _, row in found.species.iterrows()
    ]
    unit = plan.shown.area
    heads = ["Species", "Common name", "Patches", f"Gross {unit}", f"Infested {unit}"]
    heads += [f"{headed(OUTCOME_WORDS[name])} {unit}" for name in present]
    return PrintedTable(
        caption="By species", heads=heads, rows=rows, numeric=frozenset(range(2, len(heads))), latin=frozenset({0}),
        note="Gross is the ground a species stands on; infested is gross times cover. The other columns split gross. "
        "Where species overlap, the ground counts once for each of them, so species do not add up to the ground.",
    )  # fmt: skip


def stand_report(plan: Plan, found: Answers) -> PrintedTable:
    """Ground by stand and by what can be done, every spot once."""
    table, area, unit = stand_table(plan), _area(plan.shown), plan.shown.area
    present = [name for name in OUTCOMES if found.ground_m2[name] > 0]
    columns = ["stand_m2", "ground_m2", *present]
    rows = [[str(row["stand"]), *(area(row[name]) for name in columns)] for _, row in table.iterrows()]
    rows = [["" if cell == "not known" else cell for cell in row] for row in rows]
    heads = ["Stand", f"Stand {unit}", f"Infested ground {unit}"]
    heads += [f"{headed(OUTCOME_WORDS[name])} {unit}" for name in present]
    whole_m2 = float(plan.stands.geometry.union_all().area)  # ground in two stands counts once
    total = ["All", area(whole_m2), *(area(table[name].sum()) for name in columns[1:])]
    return PrintedTable(
        caption="By stand: infested ground, every spot counted once", heads=heads, rows=rows, total=total,
        numeric=frozenset(range(1, len(heads))), note="Infested ground is ground under at least one patch, whatever "
        "its cover; the rest of a stand is in its first column alone. tables/ground.csv has the same ground by zone "
        "and access.",
    )  # fmt: skip


def treatable_report(plan: Plan) -> PrintedTable:
    """Treatable ground of each species by what reaches it, and how much of that its plants cover."""
    named, area, unit = outcome(plan.acreage), _area(plan.shown), plan.shown.area
    sums = plan.acreage.assign(outcome=named).groupby(["species", "outcome"])[["gross_m2", "infested_m2"]].sum()
    means = [name for name in TREATABLE if name in set(named)]
    present = sorted({str(species) for species, name in sums.index if name in TREATABLE})
    rows = [
        [species, *(area(sums[f"{part}_m2"].get((species, name), 0.0)) for name in means for part in PARTS)]
        for species in present
    ]
    heads = [f"{headed(OUTCOME_WORDS[name])}, {part} {unit}" for name in means for part in PARTS]
    return PrintedTable(
        caption="Treatable, by species and by what reaches it", heads=["Species", *heads], rows=rows,
        numeric=frozenset(range(1, 1 + len(heads))), latin=frozenset({0}), note="The most capable means that gets "
        "there counts; tables/treatment_zones.csv says what else does. The range of a row is in the acreage table.",
        folded="Treatable, by species and by what reaches it (also tables/by_means.csv)",
    )  # fmt: skip


def closed_report(plan: Plan, closed: pd.DataFrame) -> PrintedTable:
    """Infested ground closed to spray, by the kind of protected feature and the rule that closes it."""
    area, unit = _area(plan.shown), plan.shown.area
    keys = ["kind", "rule"]
    wide = closed.pivot_table(index=keys, columns="zone", values="ground_m2", aggfunc="sum", fill_value=0.0)
    wide = wide.reindex(columns=["no_spray", "hand_only"], fill_value=0.0)
    wide = wide.sort_values(["no_spray", "hand_only"], ascending=False, kind="stable").reset_index()
    rows = [
        [str(row.kind), area(row.no_spray), area(row.hand_only), str(row.rule) or "not said"] for row in rows_of(wide)
    ]
    total = ["All", *(area(wide[name].sum()) for name in ("no_spray", "hand_only")), ""] if rows else []
    return PrintedTable(
        caption="Infested ground that is off limits, and why", rows=rows, total=total, numeric=frozenset({1, 2}),
        heads=["Near", f"No spray {unit}", f"By hand only {unit}", "Rule"], note="Every spot counts once, for the "
        "strictest rule that holds there; within a zone the widest names it. It includes ground that nobody can reach "
        "and ground outside the stands.",
    )  # fmt: skip


def acreage_report(plan: Plan) -> PrintedTable:
    """The full table of acres with the 90 % ranges, where they were drawn."""
    table, area, unit = plan.acreage, _area(plan.shown), plan.shown.area
    table = table.sort_values(["species", "zone", "access"], kind="stable")
    order = sorted(range(len(table)), key=lambda row: stand_order(str(table["stand"].iloc[row])))
    ranged = plan.settings.uncertainty.draws > 0
    rows = [
        [
            str(row.stand), str(row.species), ZONE_WORDS.get(row.zone, row.zone),
            ACCESS_WORDS.get(row.access, row.access), str(row.patches),
            *figures([(row.gross_m2, row.gross_low_m2, row.gross_high_m2)], area, ranged=ranged),
            *figures([(row.infested_m2, row.infested_low_m2, row.infested_high_m2)], area, ranged=ranged),
        ]
        for row in rows_of(table.iloc[order])
    ]  # fmt: skip
    heads = ["Stand", "Species", "Zone", "Access", "Patches", *figure_heads(["Gross", "Infested"], unit, ranged=ranged)]
    return cut(
        PrintedTable(
            caption="By stand, species, zone and access", heads=heads, rows=rows,
            numeric=frozenset(range(4, len(heads))), latin=frozenset({1}), note="Hand only and no spray are zones: the "
            "access beside them says what gets there, not what may be sprayed.",
            folded="Every line of the acreage table (also tables/acreage.csv)",
        )
    )  # fmt: skip


def rules_report(plan: Plan) -> PrintedTable:
    """The protection rules as typed."""
    shown = plan.shown
    rows = [
        [str(block.kind), *_distances(block, shown), _extras(block, shown), block.rule or "not said"]
        for block in plan.settings.protect
    ]
    heads = ["Protected feature", "No spray within", "Hand work only within", "And", "Rule"]
    return PrintedTable(
        caption="Distances typed for protected features, from the feature's edge", heads=heads, rows=rows,
        note="Where two rules meet, the stricter one holds.",
    )  # fmt: skip


def _distances(block: ProtectSection, shown: ShownUnits) -> list[str]:
    """Within what distances nothing is sprayed and hands alone work; of what is hidden the whole ground drawn."""
    if block.kind == RESTRICTED:
        return ["all of the ground drawn", "none"]
    hand_only = "none" if block.hand_only_m is None else shown_length(block.hand_only_m, shown)
    return [shown_length(block.no_spray_m, shown), hand_only]


def checks_report(plan: Plan) -> PrintedTable:
    """The run's checks of itself."""
    rows = [[c.name, *c.said, "passed" if c.passed else "FAILED"] for c in plan.checks]
    heads = ["Check", "Found", "At most", "Result"]
    return PrintedTable(
        caption="Checks the program made of its own result", heads=heads, rows=rows, numeric=frozenset({1, 2})
    )


def figures(
    values: Sequence[tuple[float, float, float]], area: Callable[[float], str], *, ranged: bool
) -> list[str]:  # fmt: skip
    """Cells of figures (value, low, high): each with its range beside it, where ranges were drawn."""
    cells = []
    for value, low, high in values:
        cells += [area(value), *([range_words(low, high, area)] if ranged else [])]
    return cells


def figure_heads(names: Sequence[str], unit: str, *, ranged: bool) -> list[str]:
    """The heads of such cells."""
    return [head for name in names for head in (f"{name} {unit}", *(["90 % range"] if ranged else []))]


def range_words(low: float, high: float, area: Callable[[float], str]) -> str:
    """A range in words; empty where there is none."""
    return "" if pd.isna(low) or pd.isna(high) else f"{area(low)} to {area(high)}"


def _area(shown: ShownUnits) -> Callable[[float], str]:
    return lambda square_metres: shown_area(float(square_metres), shown, unit=False)


def _extras(block: Any, shown: ShownUnits) -> str:
    found = []
    if block.width_m:
        found.append(f"feature taken as {shown_length(block.width_m, shown)} wide")
    if block.per_slope_m:
        found.append(f"plus {shown_length(block.per_slope_m, shown)} for each percent of slope")
    if block.position_error_m:
        found.append(f"plus {shown_length(block.position_error_m, shown)} for position error")
    if block.blocks:
        found.append(f"not crossed by {', '.join(sorted(block.blocks))}")
    return "; ".join(found) or "nothing more"


def cut(table: PrintedTable) -> PrintedTable:
    """At most ``MOST_ROWS`` rows; the rest are counted and found in the table files."""
    more = max(len(table.rows) - MOST_ROWS, 0)
    return replace(table, rows=table.rows[:MOST_ROWS], more=more) if more else table
