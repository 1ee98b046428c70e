"""The tables of a season's work in shown units: techniques, windows, work, loads, weeks, what is left out, money."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Any, Final

import numpy as np
import pandas as pd

from invasimap.core.units import KG_PER_LB, L_PER_GAL, M2_PER_ACRE, M2_PER_HA, METRIC, ShownUnits
from invasimap.prescription.loads import in_jug_units
from invasimap.prescription.plan import Plan
from invasimap.prescription.treatment import Treatment
from invasimap.reports.wording import rounded

COLUMNS: Final = {
    "techniques": (
        "job", "zone_id", "patch", "species", "stand", "zone", "access", "reached_by", "gross_m2", "cover_pct",
        "height_m", "stem_mm", "slope_pct", "technique", "rule", "reason", "visit", "visits", "sprays", "first", "last",
        "estimated", "window", "wait_min_days", "wait_max_days", "mix", "work", "dose_kg_per_ha",
        "application_kg_per_ha", "year_kg_per_ha", "stop_at_L", "at_limit", "notes", "why",
    ),
    "windows": ("species", "technique", "visit", "first", "last", "estimated", "window", "gross_m2"),
    "work": (
        "work", "zone_id", "stand", "zone", "access", "rig", "technique", "visit", "visits", "sprays", "mix", "species",
        "first", "last", "mondays", "patches", "gross_m2", "worked_m2", "worked_low_m2", "worked_high_m2", "volume_L",
        "volume_low_L", "volume_high_L", "product_L", "adjuvant_L", "dye_L", "water_L", "ingredient_kg", "refills",
        "work_min", "bound_by", "refill_min", "walk_min", "mixing_min", "travel_min", "total_min", "crew_h", "days",
        "days_low", "days_high", "labour_money", "machine_money", "product_money", "travel_money", "money", "money_low",
        "money_high", "money_known", "not_counted",
    ),
    "schedule": ("work", "week", "monday", "rig", "volume_L", "hours", "money", "value_m2"),
    "schedule_days": (
        "day", "rig", "order", "work", "part", "parts", "zone_id", "stand", "zone", "technique", "visit", "visits",
        "outing", "mix", "volume_L", "hours", "week",
    ),
    "unplanned": (
        "zone_id", "stand", "zone", "access", "technique", "visit", "species", "patches", "worked_m2", "hours", "money",
        "reason",
    ),
    "withheld": ("where", "what", "mend"),
    "rig_days": (
        "rig", "days", "whole_days", "available_days", "over", "calendar_days", "labour_money", "lost_money",
    ),
    "money_curve": ("money_limit", "money", "value_m2", "further_value_m2", "bound_m2", "envelope_m2", "solved"),
}  # fmt: skip
LOADS: Final = (
    "outing", "day", "works", "rig", "mix", "load", "count", "volume_L", "product_measured_L", "adjuvant_measured_L",
    "dye_measured_L", "water_measured_L", "hold",
)  # fmt: skip
OF_JUG: Final = ("product_L", "adjuvant_L", "dye_L", "stop_at_L")  # never so much that the large unit says more
KG_PER_HA_OF_LB_PER_AC: Final = KG_PER_LB * M2_PER_HA / M2_PER_ACRE
MM_PER_IN: Final = 25.4
# figures of a limit go to the protective side: how far a dose is rounded up, and a volume not to be passed down
UP: Final = {"dose_kg_per_ha": 3, "application_kg_per_ha": 3, "year_kg_per_ha": 3}
DOWN: Final = {"stop_at_L": 2}
SAID: Final = {True: "yes", False: "no"}


def treatment_tables(plan: Plan) -> dict[str, pd.DataFrame]:
    """Each table by name, with its headings also where it is empty; what is not known stays empty."""
    held = plan.treatment
    frames = {
        "techniques": pd.DataFrame(held.jobs), "windows": held.windows, "work": _with_mondays(held),
        "loads": held.loads, "schedule": held.schedule,
        "schedule_days": _of_days(held), "unplanned": held.unplanned, "withheld": held.withheld,
        "rig_days": held.rig_days.rename_axis("rig").reset_index() if len(held.rig_days) else held.rig_days,
        "money_curve": _of_curve(held.curve),
    }  # fmt: skip
    return {
        name: _loads(frame, plan.shown) if name == "loads" else _shown(frame, name, plan)
        for name, frame in frames.items()
    }  # fmt: skip


def weeks_of(text: Any) -> list[int]:
    """The numbers of weeks that a work's text names.

    Examples
    --------
    >>> weeks_of("3;4"), weeks_of("")
    ([3, 4], [])
    """
    return [int(float(part)) for part in str(text).split(";") if part.strip()] if not _missing(text) else []


def mondays(held: Treatment, text: Any) -> list[dt.date]:
    """The Mondays of the weeks that a work's text names."""
    return [held.start + dt.timedelta(weeks=week) for week in weeks_of(text)]


def _with_mondays(held: Treatment) -> pd.DataFrame:
    table = held.work.rename_axis("work").reset_index()
    if "weeks" not in table:
        return table
    return table.assign(mondays=[";".join(map(str, mondays(held, text))) for text in table["weeks"]])


def _of_days(held: Treatment) -> pd.DataFrame:
    """The days with what each of their works is."""
    named = ["zone_id", "stand", "zone", "technique", "visit", "visits", "mix"]
    return held.days.join(held.work.reindex(columns=named), on="work") if len(held.days) else held.days


def _of_curve(curve: pd.DataFrame) -> pd.DataFrame:
    """The curve with its values named by their unit."""
    return curve.rename(columns={name: f"{name}_m2" for name in ("value", "further_value", "bound", "envelope")})


def _loads(table: pd.DataFrame, shown: ShownUnits) -> pd.DataFrame:
    """Loads as they are measured, to a hundredth; of what is measured into a tank never more.

    What must not be mixed as it stands has no amounts to measure.
    """
    held = table.reindex(columns=[*LOADS])
    stopped = held["hold"].map(_text) != ""
    measured = [name for name in LOADS if name.endswith("_measured_L")]
    made = in_jug_units(held.assign(**{name: held[name].mask(stopped) for name in measured}), shown=shown)
    for at, name in enumerate(("day", "works"), 1):
        made.insert(at, name, held[name].map(_text))
    for name in made.columns:
        if str(name).startswith(("product", "adjuvant", "dye")):
            made[name] = rounded(made[name], decimals=2, up=False)
    return made.assign(hold=held["hold"].map(_text))


def _shown(table: pd.DataFrame, name: str, plan: Plan) -> pd.DataFrame:
    found: dict[str, Any] = {}
    for column in COLUMNS[name]:
        values = table[column] if column in table else pd.Series(np.nan, index=table.index, dtype=object)
        said, values = _in_units(column, values, plan.shown, plan.treatment.currency)
        found[said] = values
    return pd.DataFrame(found, index=table.index).reset_index(drop=True)


def _in_units(name: str, values: pd.Series, shown: ShownUnits, currency: str) -> tuple[str, pd.Series]:
    """A column's name and values as they are shown."""
    if "money" in name.split("_"):
        return (f"{name}_{currency.lower()}" if currency else name), values.astype(float)
    for ending, (unit, size) in _units(name, shown).items():
        if name.endswith(ending):
            numbers = values.astype(float).replace([np.inf], np.nan) / size
            for sides, up in ((UP, True), (DOWN, False)):
                numbers = rounded(numbers, decimals=sides[name], up=up) if name in sides else numbers
            return f"{name.removesuffix(ending)}_{unit}", numbers
    return name, values if values.dtype.kind in "iuf" else values.map(_text).astype(object)


def _units(name: str, shown: ShownUnits) -> dict[str, tuple[str, float]]:
    """Endings of columns in SI, with the shown unit and its size; the most particular first."""
    metric = shown is METRIC
    jug = ("ml", 1e-3) if metric else ("floz", L_PER_GAL / 128)
    tank = ("l", 1.0) if metric else ("gal", L_PER_GAL)
    return {
        "_kg_per_ha": ("kg_per_ha", 1.0) if metric else ("lb_per_ac", KG_PER_HA_OF_LB_PER_AC),
        "_kg": ("kg", 1.0) if metric else ("lb", KG_PER_LB),
        "_mm": ("mm", 1.0) if metric else ("in", MM_PER_IN),
        "_L": jug if name in OF_JUG else tank,
        "_m2": (shown.area, shown.m2),
        "_m": (shown.length, shown.m),
    }


def _text(value: Any) -> Any:
    """Yes or no, a date, a text; empty for what is not there. Numbers stay numbers."""
    if isinstance(value, bool | np.bool_):
        return SAID[bool(value)]
    if _missing(value):
        return ""
    if isinstance(value, dt.date):
        return str(value)[:10]
    return joined(value) if isinstance(value, list | tuple | set | frozenset) else value


def joined(values: Iterable[Any]) -> str:
    """Several texts in one, as tables hold them."""
    return "; ".join(map(str, values))


def _missing(value: Any) -> bool:
    return value is None or value is pd.NaT or value is pd.NA or (isinstance(value, float) and np.isnan(value))
