"""The report stand by stand: of each its figures in words, its species and its picture."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd
import shapely

from invasimap.land.words import OUTSIDE
from invasimap.prescription.plan import Plan
from invasimap.reports.answers import common_names, stand_order, stand_table
from invasimap.reports.book import laid_out
from invasimap.reports.report_tables import PrintedTable
from invasimap.reports.season_tables import stand_works
from invasimap.reports.stand_picture import Ground, stand_svg
from invasimap.reports.wording import (
    ACCESS_WORDS,
    OUTCOME_WORDS,
    OUTCOMES,
    TREATABLE,
    outcome,
    rows_of,
    shown_area,
    shown_share,
)

MOST_STANDS: Final = 40  # sections of their own: some ten printed pages
MOST_NAMED: Final = 60


@dataclass(frozen=True, kw_only=True)
class StandPart:
    """One stand: its name as a heading, terms and what is said of each, its species, works, bar and picture (SVG)."""

    heading: str
    facts: list[tuple[str, str]]
    species: PrintedTable
    outcomes_m2: dict[str, float]
    picture: str
    works: PrintedTable | None = None


def stand_parts(plan: Plan, closed: pd.DataFrame) -> list[StandPart]:
    """The stands with the most infested ground, by name, then what lies in none; ``closed`` is ``closed_ground``'s."""
    table = stand_table(plan)
    infested = table[table["ground_m2"] > 0].sort_values("ground_m2", ascending=False, kind="stable")
    inside = infested["stand"] != OUTSIDE
    chosen = pd.concat([infested[inside].iloc[:MOST_STANDS], infested[~inside]])
    rows = sorted((row for _, row in chosen.iterrows()), key=lambda row: stand_order(str(row["stand"])))
    ground = Ground.of(plan)
    shapes = plan.stands.geometry.groupby(plan.stands["stand"].astype(str)).agg(shapely.union_all)
    species, why = _species_of(plan), {str(stand): of for stand, of in closed.groupby("stand")}
    return [
        StandPart(
            heading=_heading(str(row["stand"])), facts=_facts(row, why.get(str(row["stand"])), plan),
            species=_species_table(str(row["stand"]), species[str(row["stand"])], plan),
            outcomes_m2={name: float(row[name]) for name in OUTCOMES},
            picture=stand_svg(ground, str(row["stand"]), shapes[row["stand"]], number=number, shown=plan.shown)
            if row["stand"] in shapes.index
            else "",
            works=_works(plan, str(row["stand"])),
        )
        for number, row in enumerate(rows)
    ]  # fmt: skip


def _works(plan: Plan, stand: str) -> PrintedTable | None:
    """What is planned in a stand; None where nothing is, which its facts say."""
    table = stand_works(plan, stand)
    return table if table is not None and table.rows else None


def stands_left_out(plan: Plan) -> list[str]:
    """What is said of stands without a section: those with less infested ground, and those with none."""
    table = stand_table(plan)
    table = table[table["stand"] != OUTSIDE]
    infested = int((table["ground_m2"] > 0).sum())
    lines = []
    if infested > MOST_STANDS:
        lines.append(
            f"Shown are the {MOST_STANDS} stands with the most infested ground of {infested:,} with any. The others "
            f"are in the table By stand above and species by species in tables/acreage.csv. {_sheets_said(plan)}"
        )
    clean = [str(name) for name in table.loc[table["ground_m2"] == 0, "stand"]]
    if clean:
        named = ", ".join(clean[:MOST_NAMED]) + (f" and {len(clean) - MOST_NAMED:,} more" if clean[MOST_NAMED:] else "")
        lines.append(f"No patch was mapped in {named}: clear only if somebody looked there.")
    return lines


def _sheets_said(plan: Plan) -> str:
    """Which stands have a sheet in the map book, by the book's own choice; a large stand takes several."""
    missing = sum(infested for _, infested in laid_out(plan).left_out)
    if not missing:
        return "Each has its sheet in mapbook.pdf."
    sheets = "1 sheet" if missing == 1 else f"{missing:,} sheets"
    most = plan.settings.mapbook.most_sheets
    return (
        f"In mapbook.pdf those with something to do come first: with at most {most:,} sheets of stands (most_sheets "
        f"under [mapbook]) it leaves out {sheets} with infested ground."
    )


def _heading(stand: str) -> str:
    return "Outside every stand" if stand == OUTSIDE else f"Stand {stand}"


def _facts(row: Any, closed: pd.DataFrame | None, plan: Plan) -> list[tuple[str, str]]:
    def area(square_metres: float) -> str:
        return shown_area(float(square_metres), plan.shown)

    share = shown_share(row["ground_m2"], row["stand_m2"])
    facts = [("Infested ground", area(row["ground_m2"]) + (f", {share} of {area(row['stand_m2'])}" if share else ""))]
    if pd.notna(row["stand_m2"]):
        facts.append(("Can be treated", _treatable(row, area)))
    zones = [zone for zone in ("no_spray", "hand_only") if row[zone] > 0]
    facts += [(_TERMS[zone], area(row[zone]) + _why(closed, zone, area)) for zone in zones]
    facts += [(_TERMS[name], area(row[name])) for name in ("out_of_reach", "outside") if row[name] > 0]
    table = stand_works(plan, str(row["stand"]))
    if table is not None and not table.rows and pd.notna(row["stand_m2"]):
        facts.append(("Planned", "nothing: why stands under What is done"))
    return facts


_TERMS: Final = {
    "no_spray": "Off limits to spray",
    "hand_only": "By hand only",
    "out_of_reach": "Out of reach",
    "outside": "In no stand",
}


def _treatable(row: Any, area: Callable[[float], str]) -> str:
    """How much can be treated, and by what; with the area of each where there are several means."""
    means = [name for name in TREATABLE if row[name] > 0]
    if not means:
        return "none of it"
    if len(means) == 1:
        return f"{area(row[means[0]])} {_by(means[0])}"
    split = ", ".join(f"{area(row[name])} {_by(name)}" for name in means)
    return f"{area(sum(row[name] for name in means))}: {split}"


def _by(means: str) -> str:
    return {"tractor": "by tractor", "atv_hose": f"by {ACCESS_WORDS['atv_hose']}", "foot": "on foot"}[means]


def _why(closed: pd.DataFrame | None, zone: str, area: Callable[[float], str]) -> str:
    """The kinds that close the ground, the most first; with their areas where there are several."""
    if closed is None:
        return ""
    kinds = closed[closed["zone"] == zone].groupby("kind", sort=False)["ground_m2"].sum()
    kinds = kinds.sort_values(ascending=False, kind="stable")
    if kinds.empty:
        return ""
    if len(kinds) == 1:
        return f" near {kinds.index[0]}" if kinds.index[0] != "restricted" else ", restricted"
    return ": " + ", ".join(f"{kind} {area(float(much))}" for kind, much in kinds.items())


def _species_of(plan: Plan) -> dict[str, pd.DataFrame]:
    """Of each stand its species: ``species, common_name, gross_m2, infested_m2, treatable_m2``, the largest first."""
    named = outcome(plan.acreage)
    table = plan.acreage.assign(
        treatable_m2=plan.acreage["gross_m2"].where(named.isin(TREATABLE), 0.0), stand=plan.acreage["stand"].astype(str)
    )
    sums = table.groupby(["stand", "species"], as_index=False)[["gross_m2", "infested_m2", "treatable_m2"]].sum()
    sums["common_name"] = sums["species"].map(common_names(plan)).fillna("")
    sums = sums.sort_values(["stand", "gross_m2", "species"], ascending=[True, False, True], kind="stable")
    return {str(stand): of for stand, of in sums.groupby("stand")}


def _species_table(stand: str, rows: pd.DataFrame, plan: Plan) -> PrintedTable:
    unit = plan.shown.area
    names = ("gross_m2", "infested_m2", "treatable_m2")
    return PrintedTable(
        caption=f"Species {'outside every stand' if stand == OUTSIDE else f'in stand {stand}'}",
        heads=["Species", "Common name", f"Gross {unit}", f"Infested {unit}", f"Treatable gross {unit}"],
        rows=[
            [str(row.species), str(row.common_name),
             *(shown_area(getattr(row, name), plan.shown, unit=False) for name in names)]
            for row in rows_of(rows)
        ],
        numeric=frozenset({2, 3, 4}), latin=frozenset({0}),
    ).without_empty(1)  # fmt: skip


def bar_said(areas_m2: dict[str, float]) -> str:
    """A bar of ground in words, in whole percent."""
    whole = sum(areas_m2.values())
    return ", ".join(
        f"{OUTCOME_WORDS[name]} {shown_share(areas_m2[name], whole)}" for name in OUTCOMES if areas_m2[name] > 0
    )
