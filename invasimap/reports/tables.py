"""The tables of a plan, and as CSV that says the same bytes every run and runs as no formula."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from invasimap.core.crs import PLACE_DECIMALS
from invasimap.core.units import ShownUnits
from invasimap.land.what_if import LONGER_WALK_MIN
from invasimap.prescription.plan import STAMP, Plan
from invasimap.reports.treatment_tables import treatment_tables
from invasimap.reports.workbook import write_workbook

# decimals of a column by its ending: areas must sum (a billionth of an acre is 4 mm2), the rest is for people to read
DECIMALS = {
    "_lb_per_ac": 3, "_kg_per_ha": 3, "_ac": 9, "_ha": 9, "lat": PLACE_DECIMALS, "lon": PLACE_DECIMALS,
    "_gal": 3, "_l": 3, "_floz": 2, "_ml": 2, "_lb": 3, "_kg": 3, "hours": 2, "_h": 2,
}  # fmt: skip
MONEY_DECIMALS = 2
FEW_DECIMALS = 1
ACREAGE = (
    "stand", "species", "zone", "access", "patches", "gross_m2", "infested_m2", "gross_low_m2", "gross_high_m2",
    "infested_low_m2", "infested_high_m2",
)  # fmt: skip
GROUND = ("stand", "zone", "access", "ground_m2", "ground_low_m2", "ground_high_m2")
ZONES = (
    "id", "stand", "zone", "access", "species", "tractor_m2", "atv_hose_m2", "foot_m2", "gross_m2",
)  # fmt: skip
LEDGER = ("file", "records", "accepted", "repaired", "set_aside")
SET_ASIDE = ("file", "record", "reason", "raw")
STARTS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")  # also in full width


def shown_table(frame: pd.DataFrame, shown: ShownUnits) -> pd.DataFrame:
    """Columns in square metres and metres brought to the shown units and renamed; nothing is rounded.

    Examples
    --------
    >>> from invasimap.core.units import US
    >>> shown_table(pd.DataFrame({"gross_m2": [4046.8564224], "height_m": [3.048]}), US).round(6).to_dict("list")
    {'gross_ac': [1.0], 'height_ft': [10.0]}
    """
    units = {"_m2": (shown.area, shown.m2), "_m": (shown.length, shown.m)}
    columns: dict[str, Any] = {}
    for name in frame.columns:
        ending = next((end for end in units if str(name).endswith(end)), None)
        if ending is None:
            columns[str(name)] = frame[name]
            continue
        unit, size = units[ending]
        columns[str(name).removesuffix(ending) + f"_{unit}"] = frame[name].astype(float) / size
    return pd.DataFrame(columns, index=frame.index)


def plan_tables(plan: Plan) -> dict[str, pd.DataFrame]:
    """Every table by name, in shown units and a fixed order of rows."""
    shown = plan.shown
    return {
        **({"internal": pd.DataFrame({"internal": [f"{STAMP}."]})} if plan.internal else {}),
        "acreage": _sorted(shown_table(plan.acreage[list(ACREAGE)], shown), keys=4),
        "ground": _sorted(shown_table(plan.ground[list(GROUND)], shown), keys=3),
        "totals": shown_table(plan.totals, shown),
        "by_means": shown_table(plan.by_means, shown),
        "drivers": plan.drivers,
        "treatment_zones": _sorted(shown_table(pd.DataFrame(plan.treatment_zones)[list(ZONES)], shown), keys=5),
        "limits": shown_table(plan.limits, shown),
        "parking": _placed(parking_table(plan), plan, after=3),
        "reach_gain": _placed(gain_table(plan), plan, after=2),
        **treatment_tables(plan),
        "ledger": _sorted(plan.ledger[list(LEDGER)], keys=1),
        "repaired": _sorted(plan.repaired, keys=len(plan.repaired.columns)),
        "set_aside": set_aside_table(plan),
        "columns": plan.columns,
        **({"photos": shown_table(plan.photos, shown).round({"lat": PLACE_DECIMALS, "lon": PLACE_DECIMALS})}
           if len(plan.photos) else {}),
    }  # fmt: skip


def parking_table(plan: Plan) -> pd.DataFrame:
    """Parking places in shown units, to a tenth: what a place takes rounded up, what it serves rounded down."""
    table = shown_table(pd.DataFrame(plan.parking), plan.shown)
    for name in ("hose", "lift", "drop"):
        column = f"{name}_{plan.shown.length}"
        table[column] = np.ceil(table[column] * 10 - 1e-5) / 10 + 0.0
    return table.assign(share_pct=np.floor(table["share_pct"] * 10 + 1e-5) / 10)


def gain_table(plan: Plan) -> pd.DataFrame:
    """What each change would reach more: ``change`` in words, ``means``, gains in the shown unit, and the place."""
    table = plan.reach_gain
    words = {
        "hose": f"{plan.shown.longer_hose:g} {plan.shown.length} more hose",
        "walk": f"{LONGER_WALK_MIN:g} min longer walk",
        "opening": "one more opening",
    }
    places = gpd.points_from_xy(table["x"], table["y"])
    shown = shown_table(table.drop(columns=["x", "y"]), plan.shown)
    return shown.assign(change=[words[change] for change in table["change"]], geometry=places)


def _placed(table: pd.DataFrame, plan: Plan, *, after: int) -> pd.DataFrame:
    """A table with the place of each row as ``lat, lon`` (empty where it has none) for its geometry."""
    points = gpd.GeoSeries(table["geometry"].to_numpy(), crs=plan.crs)
    points = points.where(~points.is_empty & points.x.notna()).to_crs(4326)
    table = table.drop(columns="geometry")
    table.insert(after, "lat", points.y.round(PLACE_DECIMALS).to_numpy())
    table.insert(after + 1, "lon", points.x.round(PLACE_DECIMALS).to_numpy())
    return table


def set_aside_table(plan: Plan) -> pd.DataFrame:
    """What was not used: ``file, record, reason, raw`` (the record's values as text)."""
    table = pd.DataFrame(plan.set_aside)[list(SET_ASIDE)].copy()
    table["raw"] = pd.Series([raw_text(value) for value in table["raw"]], index=table.index, dtype=object)
    return _sorted(table, keys=4)


def raw_text(value: Any) -> str:
    """A record's raw values as one line of text."""
    if isinstance(value, str):
        return value
    return "" if value is None else json.dumps(value, ensure_ascii=False, sort_keys=True, default=str)


def write_tables(plan: Plan, folder: Path) -> None:
    """Write ``tables/*.csv``, ``set_aside.csv`` and ``tables.xlsx`` into ``folder``."""
    tables = plan_tables(plan)
    (folder / "tables").mkdir(exist_ok=True)
    for name, table in tables.items():
        place = folder if name == "set_aside" else folder / "tables"
        write_csv(table, place / f"{name}.csv")
    write_workbook(plan, tables, folder / "tables.xlsx")


def write_csv(table: pd.DataFrame, path: Path) -> None:
    """One table as UTF-8 CSV; text that a spreadsheet would run is led by an apostrophe."""
    inert = pd.DataFrame({name: _csv_cells(str(name), table[name]) for name in table.columns})
    inert.to_csv(path, index=False, lineterminator="\n", encoding="utf-8")


def _csv_cells(name: str, column: pd.Series) -> pd.Series:
    """A column as it stands in a CSV: text inert, numbers with the decimals of their kind, unknown ones empty."""
    if _is_text(column):
        return column.map(inert_text)
    if column.dtype.kind != "f":
        return column
    return column.map(lambda value: "" if pd.isna(value) else f"{value:z.{decimals(name)}f}").astype(object)


def decimals(name: str) -> int:
    """How many decimals a column of numbers is written with.

    Examples
    --------
    >>> decimals("gross_ac"), decimals("lat"), decimals("hose_ft")
    (9, 5, 1)
    """
    if "money" in name.split("_"):
        return MONEY_DECIMALS
    return next((count for ending, count in DECIMALS.items() if name.endswith(ending)), FEW_DECIMALS)


def inert_text(value: Any) -> Any:
    """Text that a spreadsheet reads as text, whatever it starts with.

    Examples
    --------
    >>> inert_text("=1+1"), inert_text("Acer"), inert_text(5)
    ("'=1+1", 'Acer', 5)
    """
    return f"'{value}" if isinstance(value, str) and value.startswith(STARTS_A_FORMULA) else value


def _is_text(column: pd.Series) -> bool:
    return column.dtype.kind in "OUT" or isinstance(column.dtype, pd.StringDtype)


def _sorted(table: pd.DataFrame, *, keys: int) -> pd.DataFrame:
    """Rows in the order of their first columns; numbers by size, everything else as text."""
    names = list(table.columns[:keys])
    if not names:
        return table.reset_index(drop=True)
    ordered = table.sort_values(
        names, kind="stable", key=lambda column: column.astype(str) if _is_text(column) else column
    )
    return ordered.reset_index(drop=True)
