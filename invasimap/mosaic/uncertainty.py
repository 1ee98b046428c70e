"""How far an acreage may be off: a 90 % interval of every figure, and what makes it wide.

The draws are ``mosaic.simulation``'s, the intervals ``mosaic.intervals``'; an interval always holds the table's own
figure and never goes below 0. Totals have intervals of their own from the same draws: limits of rows do not add up.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Final

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd

from invasimap.land.words import OUTSIDE
from invasimap.mosaic.faces import OUT_OF_REACH
from invasimap.mosaic.intervals import interval
from invasimap.mosaic.scene import Scene
from invasimap.mosaic.simulation import SOURCES, Doubt, Simulation
from invasimap.mosaic.zones import MEANS

Floats = npt.NDArray[np.float64]
TOTALS: Final = ("gross", "infested", "treatable_gross", "treatable_infested")
PARTS: Final = ("all", "treatable")
LEAST_PCT: Final = 1e-6  # less is rounding
ALONE_SHARE: Final = 8  # an eighth of the draws for each source alone


@dataclass(frozen=True, kw_only=True)
class Ranges:
    """The tables with their 90 % intervals.

    Attributes
    ----------
    acreage
        As given, with ``gross_low_m2, gross_high_m2, infested_low_m2, infested_high_m2``.
    ground
        As given, with ``ground_low_m2, ground_high_m2``.
    totals
        One row a species and one for all infested ground (species empty, every spot once; no cover): ``species`` and,
        with ``_low`` and ``_high``, ``gross_m2, infested_m2, treatable_gross_m2, treatable_infested_m2``.
    by_means
        What of the totals each means treats, the most capable first: ``species`` (empty: the ground), ``access`` and,
        with ``_low`` and ``_high``, ``gross_m2, infested_m2``. Rows of what grows somewhere within its reach.
    drivers
        Of each species' infested area and of all infested ground (species empty), in all and treatable (``part``), the
        share of each source in the variance: ``species, part, position_pct, size_pct, cover_pct, cell_pct``; no rows
        without draws.
    apart
        The largest difference between a figure of the tables and what the sweep makes of the survey as it is, as a
        share of all infested ground: two engines, one answer. NaN without draws.
    """

    acreage: pd.DataFrame
    ground: pd.DataFrame
    totals: pd.DataFrame
    by_means: pd.DataFrame
    drivers: pd.DataFrame
    apart: float = float("nan")


def with_ranges(
    acreage: pd.DataFrame,
    ground: pd.DataFrame,
    patches: gpd.GeoDataFrame,
    *,
    stands: gpd.GeoDataFrame,
    protection: gpd.GeoDataFrame,
    access: gpd.GeoDataFrame,
    doubt: Doubt,
) -> Ranges:
    """The tables of a survey with a 90 % interval of every figure.

    Parameters
    ----------
    acreage, ground
        As ``species_area`` and ``ground_area`` give them, in square metres.
    patches
        ``species, date, cover_pct, cover_low_pct, cover_high_pct``, ``shape`` as mapped (``point``, ``line``,
        ``polygon``) and ``accuracy_m`` (where missing, the usual one under leaves).
    stands, protection, access
        The layers that the tables were made with.
    doubt
        How many draws, and errors that the records do not say. Without draws every limit is NaN.

    Raises
    ------
    CRSError
        When the layers do not share one system in metres.
    """
    if not doubt.draws or acreage.empty:
        totals = totals_table(acreage, ground)
        blank = np.full((2, 2, len(acreage) + len(ground) + (2 + len(MEANS)) * len(totals)), np.nan)
        return _tables(acreage, ground, totals, blank)
    scene = Scene.of(patches, stands=stands, protection=protection, access=access)
    simulation = Simulation.of(scene, patches, acreage=acreage, ground=ground, doubt=doubt)
    found = ranges_of(simulation, acreage, ground, draws=doubt.draws)
    apart = engines_apart(simulation, acreage, ground)
    return dataclasses.replace(found, drivers=drivers(simulation, doubt.draws), apart=apart)


def engines_apart(simulation: Simulation, acreage: pd.DataFrame, ground: pd.DataFrame) -> float:
    """Largest difference between the tables and the sweep of the survey as it is, as a share of all infested ground."""
    scene = simulation.scene
    swept = scene.areas(scene.patches.xy, access_shift_m=np.zeros(2))
    own = simulation.tally.sums(swept, simulation.cover_pct)
    shown = _shown(acreage, ground, totals_table(acreage, ground))
    return float(np.abs(own - shown).max() / ground["ground_m2"].sum())


def ranges_of(simulation: Simulation, acreage: pd.DataFrame, ground: pd.DataFrame, *, draws: int) -> Ranges:
    """The tables of a simulation with their intervals; what makes them wide is not worked out."""
    totals = totals_table(acreage, ground)
    limits = limits_of(simulation, draws, shown=_shown(acreage, ground, totals))
    return _tables(acreage, ground, totals, limits)


def limits_of(simulation: Simulation, draws: int, *, shown: Floats) -> Floats:
    """The 90 % intervals (gross or infested, low or high, quantities) of a simulation.

    Parameters
    ----------
    shown
        (2, quantities) The figures of the tables.
    """
    areas, scores = simulation.drawn(draws)
    weights = simulation.lean.weights(scores)
    return np.stack([interval(of, weights=by, shown=at) for of, by, at in zip(areas, weights, shown, strict=True)])


def totals_table(acreage: pd.DataFrame, ground: pd.DataFrame) -> pd.DataFrame:
    """Totals of each species, sorted, and last of all infested ground: ``species`` and the columns of ``TOTALS`` in m2.

    That row has no species and no cover; treatable is what is open, in a stand and reached.
    """
    whole = ground.rename(columns={"ground_m2": "gross_m2"}).assign(species="", infested_m2=np.nan)
    rows = pd.concat([acreage, whole])[["species", "zone", "stand", "access", "gross_m2", "infested_m2"]]
    treatable = (rows["zone"] == "open") & (rows["stand"] != OUTSIDE) & (rows["access"] != OUT_OF_REACH)
    for name in ("gross", "infested"):
        rows[f"treatable_{name}_m2"] = rows[f"{name}_m2"].where(treatable, 0.0 * rows[f"{name}_m2"])
    sums = rows.groupby("species")[[f"{name}_m2" for name in TOTALS]].sum(min_count=1)
    order = [*sorted(set(acreage["species"])), *([""] if len(ground) else [])]
    return sums.reindex(order).rename_axis("species").reset_index()


def by_means_table(acreage: pd.DataFrame, ground: pd.DataFrame) -> pd.DataFrame:
    """What of the treatable part of each total each of ``MEANS`` is the most capable to reach.

    For each means a row a species and one of the ground, as in ``totals_table``: ``species, access, gross_m2,
    infested_m2``; 0 where there is none.
    """
    names = totals_table(acreage, ground)["species"].tolist()
    parts = []
    for means in MEANS:
        held = [table[table["access"] == means] for table in (acreage, ground)]
        sums = totals_table(*held).set_index("species").reindex(names)
        found = sums[["treatable_gross_m2", "treatable_infested_m2"]].set_axis(["gross_m2", "infested_m2"], axis=1)
        found["gross_m2"] = found["gross_m2"].fillna(0.0)
        found["infested_m2"] = found["infested_m2"].fillna(0.0).where(found.index != "")  # ground has no cover
        parts.append(found.rename_axis("species").reset_index().assign(access=means))
    return pd.concat(parts, ignore_index=True)[["species", "access", "gross_m2", "infested_m2"]]


def drivers(simulation: Simulation, draws: int) -> pd.DataFrame:
    """Share of each source in the variance of a species' infested area, in all and treatable: see ``Ranges``.

    Each source is drawn alone; what two do together is not counted.
    """
    names = [*simulation.scene.species_names, ""]
    totals = slice(len(simulation.tally.rows), len(simulation.tally.rows) + len(PARTS) * len(names))
    count = max(draws // ALONE_SHARE, 2)
    variance = np.stack(
        [
            simulation.cover_variance() if source == "cover" else simulation.drawn(count, only=source)[0][1].var(axis=0)
            for source in SOURCES
        ]
    )[:, totals]
    return _drivers_table(names, variance)


def _drivers_table(names: list[str], variance: Floats) -> pd.DataFrame:
    """Shares (sources, 2 names) of the variance in percent; without any variance, NaN."""
    whole = variance.sum(axis=0)
    share = np.divide(100 * variance, whole, out=np.full(variance.shape, np.nan), where=whole > 0)
    share[share < LEAST_PCT] = 0.0
    table = pd.DataFrame({"species": names * 2, "part": np.repeat(PARTS, len(names))}, dtype=object)
    for source, shares in zip(SOURCES, share, strict=True):
        table[f"{source}_pct"] = shares
    return table.sort_values("species", key=lambda name: name.replace("", "~"), kind="stable", ignore_index=True)


def _shown(acreage: pd.DataFrame, ground: pd.DataFrame, totals: pd.DataFrame) -> Floats:
    """The figures (gross or infested, quantities) in the order of ``Tally``; the ground's infested is its gross."""
    found = []
    by_means = by_means_table(acreage, ground)
    for name in ("gross", "infested"):
        whole, treatable = (totals[f"{part}{name}_m2"].fillna(totals[f"{part}gross_m2"]) for part in ("", "treatable_"))
        treated = by_means[f"{name}_m2"].fillna(by_means["gross_m2"])
        found.append(np.concatenate([acreage[f"{name}_m2"], ground["ground_m2"], whole, treatable, treated]))
    return np.stack(found)


def _with_limits(table: pd.DataFrame, keys: list[str], limits: dict[str, Floats]) -> pd.DataFrame:
    """The keys and each figure with its limits (low or high, rows), blank where the figure is."""
    found = table[keys].copy()
    for name, limit in limits.items():
        shown = table[f"{name}_m2"]
        low, high = (np.where(shown.isna(), np.nan, values) for values in limit)
        for ending, values in (("m2", shown), ("low_m2", low), ("high_m2", high)):
            found[f"{name}_{ending}"] = values
    return found


def _tables(acreage: pd.DataFrame, ground: pd.DataFrame, totals: pd.DataFrame, limits: Floats) -> Ranges:
    """Limits (gross or infested, low or high, quantities) as columns of their tables."""
    rows = np.cumsum([len(acreage), len(ground), len(totals), len(totals)])
    of_acreage, of_ground, of_all, of_treatable, of_means = np.split(limits, rows, axis=2)
    by_total = dict(zip(TOTALS, [*of_all, *of_treatable], strict=True))
    by_means = by_means_table(acreage, ground)
    treated = _with_limits(by_means, ["species", "access"], dict(zip(("gross", "infested"), of_means, strict=True)))
    (gross_low, gross_high), (infested_low, infested_high) = of_acreage
    return Ranges(
        acreage=acreage.assign(
            gross_low_m2=gross_low, gross_high_m2=gross_high, infested_low_m2=infested_low,
            infested_high_m2=infested_high,
        ),
        ground=ground.assign(ground_low_m2=of_ground[0, 0], ground_high_m2=of_ground[0, 1]),
        totals=_with_limits(totals, ["species"], by_total),
        by_means=treated[treated["gross_m2"] > 0].reset_index(drop=True),
        drivers=_drivers_table([], np.empty((len(SOURCES), 0))),
    )  # fmt: skip
