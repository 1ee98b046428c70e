"""What goes into a mix, and how much of the ingredient falls on each hectare sprayed.

A percentage by volume is of the finished mix, never of the water. Every figure of a label is the user's own; where one
is not typed nothing is worked.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import pandas as pd

from invasimap.core.errors import Fault, InputError
from invasimap.core.mix_settings import MixSection
from invasimap.core.units import Rate
from invasimap.prescription.volume import Floats, Withheld, Worked, blanked

FROM_LABEL: Final = {
    "ingredient": "ingredient_kg_per_L",
    "max_per_application": "max_per_application_kg_per_ha",
    "max_per_year": "max_per_year_kg_per_ha",
}


def mixed(worked: Worked, *, mixes: Sequence[MixSection]) -> Worked:
    """Product, adjuvant, dye, water and ingredient of each job, and its dose.

    Parameters
    ----------
    worked
        What ``volume.volumes`` gives.
    mixes
        The settings; their names are known to be there.

    Returns
    -------
    Worked
        The table with ``product_share`` (of the finished mix), ``product_L, adjuvant_L, dye_L, water_L,
        ingredient_kg`` and ``dose_kg_per_ha`` (on the ground worked, by the map) more. A job whose mix lacks a figure
        of the label is withheld and has none of them.
    """
    jobs = worked.table
    table = jobs.copy()
    held = Withheld(jobs)
    columns = ("product_share", "adjuvant_share", "dye_share", "strength_kg_per_L")
    table[list(columns)] = np.nan
    for mix in mixes:
        own = (jobs["sprays"].astype(bool) & (jobs["mix"] == mix.name)).to_numpy()
        if not own.any():
            continue
        if lacking := not_typed(mix):
            _withhold_untyped(held, own, mix, lacking)
            continue
        for column, rate in zip(columns, (mix.rate, *_extras(mix)), strict=False):
            table.loc[own, column] = share_of(rate, jobs.loc[own, "spread_L_per_ha"].to_numpy(float))
        table.loc[own, "strength_kg_per_L"] = mix.ingredient_kg_per_L
    shares = table[["product_share", "adjuvant_share", "dye_share"]].fillna(0.0).sum(axis=1).to_numpy()
    held.add(
        shares > 1 + 1e-9,
        what="product, adjuvant and dye come to more than the whole mix",
        mend="check the rates, and the calibration: a rate by area needs water enough to carry it",
    )
    table["withheld"], table["why"] = table["withheld"].to_numpy(bool) | held.rows, held.why
    return Worked(table=_filled(table), faults=(*worked.faults, *held.faults))


def _filled(table: pd.DataFrame) -> pd.DataFrame:
    volume = table["volume_L"]
    for part in ("product", "adjuvant", "dye"):
        table[f"{part}_L"] = volume * table[f"{part}_share"]
    table["water_L"] = np.maximum(volume - table[["product_L", "adjuvant_L", "dye_L"]].sum(axis=1), 0.0)
    table["ingredient_kg"] = table["product_L"] * table["strength_kg_per_L"]
    table["dose_kg_per_ha"] = table["ingredient_kg"] / (table["worked_m2"] / 1e4)
    table = blanked(table)
    table.loc[table["withheld"], "dose_kg_per_ha"] = np.nan
    return table


def not_typed(mix: MixSection) -> list[str]:
    """The keys of a label's figures that a mix lacks; without them nothing of it can be planned.

    Examples
    --------
    >>> mix = MixSection.model_validate(
    ...     {"name": "m", "product": "p", "rate": "1 % v/v", "species": ["*"], "zones": ["open"]}
    ... )
    >>> not_typed(mix)
    ['ingredient', 'max_per_application', 'max_per_year']
    """
    return [key for key, name in FROM_LABEL.items() if getattr(mix, name) is None]


def share_of(rate: Rate | None, spread_L_per_ha: Any) -> Floats:
    """The share of the finished mix that a rate stands for where the mix goes on at ``spread_L_per_ha``.

    Examples
    --------
    >>> from invasimap.core.units import rate
    >>> share_of(rate("2 l/ha"), [100.0]).tolist(), share_of(rate("2 % v/v"), [100.0]).tolist()
    ([0.02], [0.02])
    """
    spread = np.asarray(spread_L_per_ha, float)
    if rate is None:
        return np.zeros(len(spread))
    return np.full(len(spread), rate.share_of_mix) if rate.share_of_mix is not None else rate.L_per_ha / spread


def _extras(mix: MixSection) -> tuple[Rate | None, Rate | None]:
    adjuvant, dye = (None if extra is None else extra.rate for extra in (mix.adjuvant, mix.dye))
    return adjuvant, dye


def _withhold_untyped(held: Withheld, rows: Any, mix: MixSection, lacking: list[str]) -> None:
    held.add(
        rows,
        where=f"mix {mix.name!r}",
        what=f"{', '.join(lacking)} {'is' if len(lacking) == 1 else 'are'} missing",
        mend="type this from the label"
        + ('; for a limit that it does not state write "none on the label"' if lacking != ["ingredient"] else ""),
    )


def true_share_over_water(product_L: float, *, water_L: float) -> float:
    """The share of the mix that results when product is added to water that already fills the tank: less than typed.

    Examples
    --------
    >>> round(100 * true_share_over_water(0.08, water_L=4.0), 4)
    1.9608
    """
    return product_L / (product_L + water_L)


def acid_equivalent_kg_per_L(ingredient_kg_per_L: float, *, acid_g_per_mol: float, salt_g_per_mol: float) -> float:
    """Acid equivalent of a salt by mass: to check the figure printed on the label, which counts.

    Raises
    ------
    InputError
        When a mass is not above zero, or the acid is heavier than its salt.
    """
    if not (0 < acid_g_per_mol <= salt_g_per_mol and ingredient_kg_per_L > 0):
        raise InputError(Fault(where="acid equivalent", what="the acid is no heavier than its salt, both above zero"))
    return ingredient_kg_per_L * acid_g_per_mol / salt_g_per_mol
