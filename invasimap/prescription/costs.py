"""Money: labour by paid hours, machine by hours at work, product by what is mixed, travel by days.

What is not known is never nought: money that lacks a price is NaN, and a fault says which to type.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd

from invasimap.core.errors import Fault, InputError
from invasimap.core.mix_settings import Adjuvant, MixSection
from invasimap.core.rig_settings import LabourSection, MachineCosts, RigSection
from invasimap.core.settings import Tract
from invasimap.core.units import Money
from invasimap.prescription.volume import Worked, rows_of

PARTS_OF_MONEY: Final = ("labour", "machine", "product", "travel")


def costs(
    work: pd.DataFrame,
    hours_of: pd.DataFrame,
    *,
    rigs: Sequence[RigSection],
    mixes: Sequence[MixSection],
    labour: LabourSection,
) -> Worked:
    """Money of each work: ``labour, machine, product, travel, money`` and ``money_low, money_high``.

    Pay is for paid hours, the machine for hours at work. ``money`` is NaN where a part of it is not known;
    ``money_known`` is the rest and ``not_counted`` names what it lacks.

    Raises
    ------
    InputError
        When the settings hold several currencies.
    """
    one_currency(rigs=rigs, mixes=mixes, labour=labour)
    by_rig, by_mix = {rig.name: rig for rig in rigs}, {mix.name: mix for mix in mixes}
    rows: list[dict[str, Any]] = []
    for row in rows_of(work.join(hours_of.drop(columns="rig"))):
        rig = by_rig[str(row.rig)]
        parts = _parts(row, rig, by_mix.get(str(row.mix)), labour, days=row.days, volume_L=row.volume_L)
        made: dict[str, Any] = {f"{name}_money": amount for name, amount in parts.items()}
        for end in ("low", "high"):
            found = _parts(
                row, rig, by_mix.get(str(row.mix)), labour,
                days=getattr(row, f"days_{end}"), volume_L=getattr(row, f"volume_{end}_L"),
            )  # fmt: skip
            made[f"money_{end}"] = sum(found.values())
        lacking = [name for name, amount in parts.items() if math.isnan(amount)]
        known = sum(amount for amount in parts.values() if not math.isnan(amount))
        money = math.nan if lacking else known
        rows.append(made | {"money": money, "money_known": known, "not_counted": ", ".join(lacking)})
    columns = [*(f"{name}_money" for name in PARTS_OF_MONEY), "money", "money_low", "money_high", "money_known"]
    table = pd.DataFrame(rows, index=work.index, columns=[*columns, "not_counted"])
    return Worked(table=table, faults=tuple(_not_priced(work, by_rig, by_mix, labour)))


def _parts(
    row: Any, rig: RigSection, mix: MixSection | None, labour: LabourSection, *, days: float, volume_L: float
) -> dict[str, float]:
    machine = machine_per_h(rig)
    travel = labour.travel_cost
    return {
        "labour": days * labour.paid_min / 60 * rig.wage.amount * rig.crew,
        "machine": math.nan if machine is None else machine * days * labour.productive_min / 60,
        "product": product_money(row, mix, volume_L=volume_L) if row.sprays else 0.0,
        "travel": math.nan if travel is None else travel.amount * days,
    }


def more_in_whole_days(work: pd.DataFrame, days: pd.DataFrame, labour: LabourSection) -> float:
    """What pay and travel of whole days come to beyond the parts of days that works count; NaN where not known.

    Parameters
    ----------
    work
        With ``labour_money``.
    days
        What ``labour.days_of_rigs`` gives of the same works.
    labour
        The settings; travel without a price is not counted.
    """
    pay = days["labour_money"].sum(skipna=False) - work["labour_money"].sum(skipna=False)
    extra = (days["whole_days"] - days["days"]).sum(skipna=False)
    return float(pay) + (0.0 if labour.travel_cost is None else labour.travel_cost.amount * float(extra))


def product_money(row: Any, mix: MixSection | None, *, volume_L: float) -> float:
    """What product, adjuvant and dye of a volume of mix cost; NaN where a price is not typed."""
    if mix is None:
        return math.nan
    money = _price(mix.price_per_L) * volume_L * row.product_share
    for extra, share in ((mix.adjuvant, row.adjuvant_share), (mix.dye, row.dye_share)):
        if extra is not None:
            money += _price(extra.price_per_L) * volume_L * share
    return money


def _price(price: Money | None) -> float:
    return math.nan if price is None else price.amount


def _not_priced(
    work: pd.DataFrame, rigs: dict[str, RigSection], mixes: dict[str, MixSection], labour: LabourSection
) -> list[Fault]:
    lacking = [
        (f"rig {name!r}", "machine", 'type it; "0 USD/h" where it costs nothing')
        for name in sorted(set(work["rig"]))
        if machine_per_h(rigs[name]) is None
    ]
    for name in sorted(set(work.loc[work["sprays"].astype(bool), "mix"])):
        mix = mixes[name]
        if mix.price_per_L is None:
            lacking.append((f"mix {name!r}", "price", 'type what you pay, such as "80 USD/gal"'))
        for kind in ("adjuvant", "dye"):
            extra: Adjuvant | None = getattr(mix, kind)
            if extra is not None and extra.price_per_L is None:
                lacking.append((f"mix {name!r}", f"{kind}.price", 'type what you pay, such as "80 USD/gal"'))
    if labour.travel_cost is None and len(work):
        lacking.append(("[labour]", "travel_cost", 'type it; "0 USD/day" where it costs nothing'))
    return [
        Fault(where=where, what=f"{key} is missing: its money is not known", mend=mend) for where, key, mend in lacking
    ]


@dataclass(frozen=True, kw_only=True)
class MachineRate:
    """What a machine's hour costs, by part, in money per hour; ``average_value`` is money."""

    average_value: float
    depreciation: float
    interest: float
    insurance: float
    repair: float
    fuel: float
    lube: float

    @property
    def total(self) -> float:
        """Money per hour without the driver."""
        return self.depreciation + self.interest + self.insurance + self.repair + self.fuel + self.lube


def machine_rate(costs_of: MachineCosts) -> MachineRate:
    """Machine rate (FAO, Cost control in forest harvesting, chapter 3: ``AVI = (P - S)(N + 1) / 2N + S``)."""
    price, salvage, years = costs_of.price.amount, costs_of.salvage.amount, costs_of.life_years
    average = (price - salvage) * (years + 1) / (2 * years) + salvage
    depreciation = (price - salvage) / (years * costs_of.use_h_per_year)
    fuel_price = costs_of.fuel_price_per_L
    fuel = 0.0 if fuel_price is None else (costs_of.fuel_L_per_min or 0.0) * 60 * fuel_price.amount
    return MachineRate(
        average_value=average,
        depreciation=depreciation,
        interest=average * costs_of.interest_pct / 100 / costs_of.use_h_per_year,
        insurance=average * costs_of.insurance_pct / 100 / costs_of.use_h_per_year,
        repair=depreciation * costs_of.repair_pct / 100,
        fuel=fuel,
        lube=fuel * costs_of.lube_pct / 100,
    )


def machine_per_h(rig: RigSection) -> float | None:
    """Money for an hour of a rig's machine; None where it is not typed."""
    if rig.machine_costs is not None:
        return machine_rate(rig.machine_costs).total
    return None if rig.machine is None else rig.machine.amount


def cost_per_ha(
    *, labour_per_day: float, machine_per_day: float, travel_per_day: float, ha_per_day: float, material_per_ha: float
) -> float:
    """Money per hectare of a day's work: what the day costs over what it covers, and the material."""
    return (labour_per_day + machine_per_day + travel_per_day) / ha_per_day + material_per_ha


def one_currency(*, rigs: Sequence[RigSection], mixes: Sequence[MixSection], labour: LabourSection) -> str:
    """The one currency of all money in the settings.

    Raises
    ------
    InputError
        When there are several.
    """
    said: dict[str, str] = {}
    for where, amount in _amounts(rigs, mixes, labour):
        if amount is not None:
            said.setdefault(amount.currency, where)
    if len(said) > 1:
        named = ", ".join(f"{currency} ({where})" for currency, where in said.items())
        raise InputError(Fault(where="settings", what=f"money is in several currencies: {named}", mend="use one"))
    return next(iter(said), "")


def money_faults(settings: Tract) -> list[Fault]:
    """That money of rigs, mixes, labour, budget and its steps is in several currencies."""
    try:
        found = one_currency(rigs=settings.rig, mixes=settings.mix, labour=settings.labour)
    except InputError as error:
        return list(error.faults)
    budget, step = settings.budget.money if settings.budget else None, settings.schedule.money_step
    for where, money in (("[budget] money", budget), ("[schedule] money_step", step)):
        if money is not None and money.currency != (found := found or money.currency):
            what = f"is in {money.currency}, other money of the settings in {found}"
            return [Fault(where=where, what=what, mend="use one currency")]
    return []


def _amounts(
    rigs: Sequence[RigSection], mixes: Sequence[MixSection], labour: LabourSection
) -> list[tuple[str, Money | None]]:
    found: list[tuple[str, Money | None]] = []
    for rig in rigs:
        found += [(f"rig {rig.name!r}", rig.wage), (f"rig {rig.name!r}", rig.machine)]
        if (machine := rig.machine_costs) is not None:
            found += [
                (f"rig {rig.name!r}", money) for money in (machine.price, machine.salvage, machine.fuel_price_per_L)
            ]
    for mix in mixes:
        extras = [extra.price_per_L for extra in (mix.adjuvant, mix.dye) if extra is not None]
        found += [(f"mix {mix.name!r}", money) for money in (mix.price_per_L, *extras)]
    return [*found, ("[labour]", labour.travel_cost)]
