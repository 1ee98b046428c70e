"""The figures a steward asks for first, taken from a Plan's tables: ground counted once, and by species."""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass

import pandas as pd

from invasimap.prescription.plan import Plan
from invasimap.reports.wording import OUTCOMES, TREATABLE, outcome


@dataclass(frozen=True, kw_only=True)
class Answers:
    """Infested ground in square metres (every spot once) by what can be done there, and the counts."""

    ground_m2: pd.Series
    species: pd.DataFrame
    patches: int

    @property
    def infested_ground_m2(self) -> float:
        """All infested ground: what lies under any patch."""
        return float(self.ground_m2.sum())

    @property
    def treatable_m2(self) -> float:
        """Open ground that some means reaches."""
        return float(self.ground_m2[list(TREATABLE)].sum())


def answers(plan: Plan) -> Answers:
    """The first page's figures."""
    names = outcome(plan.ground)
    ground = plan.ground["ground_m2"].groupby(names).sum().reindex(OUTCOMES, fill_value=0.0)
    return Answers(ground_m2=ground.astype(float), species=species_table(plan), patches=len(plan.patches))


def species_table(plan: Plan) -> pd.DataFrame:
    """One row a species, largest first: ``species, common_name, patches, gross_m2, infested_m2``, each outcome."""
    table = plan.acreage.assign(outcome=outcome(plan.acreage))
    areas = table.groupby("species")[["gross_m2", "infested_m2"]].sum()
    wide = table.pivot_table(index="species", columns="outcome", values="gross_m2", aggfunc="sum", fill_value=0.0)
    areas = areas.join(wide.reindex(columns=list(OUTCOMES), fill_value=0.0)).astype(float)
    areas.insert(0, "patches", plan.patches.groupby("species").size().reindex(areas.index, fill_value=0))
    areas.insert(0, "common_name", common_names(plan).reindex(areas.index, fill_value=""))
    ordered = areas.reset_index(names="species").sort_values(["gross_m2", "species"], ascending=[False, True])
    return ordered.reset_index(drop=True)


def common_names(plan: Plan) -> pd.Series:
    """Common name by scientific name; empty text where none is known."""
    if "common_name" not in plan.patches.columns:
        return pd.Series(dtype=object)
    named = plan.patches.dropna(subset=["species"])
    return named.groupby("species")["common_name"].first().fillna("")


def stand_table(plan: Plan) -> pd.DataFrame:
    """One row a stand: ``stand, stand_m2, ground_m2`` and each outcome's ground (``stand_m2`` is NaN outside)."""
    table = plan.ground.assign(outcome=outcome(plan.ground))
    wide = table.pivot_table(index="stand", columns="outcome", values="ground_m2", aggfunc="sum", fill_value=0.0)
    wide = wide.reindex(columns=list(OUTCOMES), fill_value=0.0).astype(float)
    sizes = plan.stands.geometry.area.groupby(plan.stands["stand"].astype(str)).sum()
    index = sorted(set(wide.index.astype(str)) | set(sizes.index), key=stand_order)
    wide = wide.reindex(index, fill_value=0.0)
    wide.insert(0, "ground_m2", wide.sum(axis=1))
    wide.insert(0, "stand_m2", sizes.reindex(index))
    return wide.reset_index(names="stand")


def stand_order(name: str) -> tuple[bool, list[tuple[int, str]]]:
    """Sorting key: numbers in a name count as numbers, ``(outside)`` comes last.

    Examples
    --------
    >>> sorted(["(outside)", "10", "9A", "9", "A2"], key=stand_order)
    ['9', '9A', '10', 'A2', '(outside)']
    """
    parts = re.findall(r"(\d+)|(\D+)", name, re.ASCII)
    return name.startswith("("), [(int(number) if number else sys.maxsize, text) for number, text in parts]
