"""Tanks: how many each piece of work takes, and what to measure into a full one and into the last.

Amounts are kept twice: exactly, so that loads sum to the whole, and as measured, to the mark of the jug below, so that
no tank is ever stronger than typed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import pandas as pd

from invasimap.core.errors import Fault
from invasimap.core.rig_settings import RigSection
from invasimap.core.units import L_PER_GAL, METRIC, ShownUnits
from invasimap.prescription.volume import Worked, rows_of, surface_factor

KEYS: Final = ("stand", "zone", "access", "rig", "technique", "visit", "sprays", "mix")
SHARES: Final = ("product_share", "adjuvant_share", "dye_share")
PARTS: Final = ("product", "adjuvant", "dye")
SUMS: Final = (
    "gross_m2", "surface_m2", "worked_m2", "worked_low_m2", "worked_high_m2", "volume_L", "volume_low_L",
    "volume_high_L", "product_L", "adjuvant_L", "dye_L", "water_L", "ingredient_kg",
)  # fmt: skip
_CLOSE: Final = 1e-9
_LOST_AT_MOST: Final = 0.05  # of a load's product, to the mark below


def works(jobs: pd.DataFrame) -> pd.DataFrame:
    """Jobs done with one tank: one treatment zone, rig, technique, visit and strength of mix.

    Parameters
    ----------
    jobs
        ``Worked.table`` of ``limits_of_label.within_limits``; what is withheld is left out. ``trip_min``, one way from
        the refill to the work over walking surface, may be among the columns; the longest of the jobs counts. So may
        ``unit``, a number that keeps apart what is done at different times.

    Returns
    -------
    DataFrame
        Index ``work`` from 1: the keys, ``patches``, sums of areas and amounts (NaN where one is not known, such as the
        ends of a range), shares of the mix and ``trip_min``.
    """
    live = _live(jobs)
    live["surface_m2"] = live["gross_m2"] * surface_factor(live["slope_pct"])
    if "trip_min" not in live:
        live["trip_min"] = np.nan
    groups = live.groupby(work_numbers(jobs))
    table = groups[[*SUMS]].agg(_whole_sum)
    table["trip_min"] = groups["trip_min"].agg(_whole_max)
    table["patches"] = groups["patch"].nunique()
    named = [*_keys(live), *SHARES]
    table[named] = groups[named].first()
    table.index.name = "work"
    return table[[*_keys(live), *SUMS, "trip_min", "patches", *SHARES]]


def work_numbers(jobs: pd.DataFrame) -> pd.Series[int]:
    """The number, from 1, of the work that each job belongs to which is not withheld."""
    live = _live(jobs)
    strengths = [live[name].map("{:.9g}".format) for name in SHARES]  # equal but for arithmetic
    groups = live.groupby([*(live[name] for name in _keys(live)), *strengths], sort=True, dropna=False)
    return groups.ngroup() + 1


def _live(jobs: pd.DataFrame) -> pd.DataFrame:
    live = jobs[~jobs["withheld"].astype(bool)].copy()
    live["visit"] = live.get("visit", 1)
    live["mix"] = live["mix"].where(live["sprays"].astype(bool), "")
    return live


def _keys(live: pd.DataFrame) -> list[str]:
    return [*(["unit"] if "unit" in live else []), *KEYS]


def _whole_sum(column: pd.Series[float]) -> float:
    """The sum, not known where a part is not."""
    return float(column.sum(skipna=False))


def _whole_max(column: pd.Series[float]) -> float:
    return float(column.max(skipna=False))


def tanks_of(work: pd.DataFrame) -> pd.Series[str]:
    """By work, its mix and strength in one text, equal where they may share a tank; empty where nothing is sprayed."""
    text = work["mix"].astype(str)
    for name in SHARES:
        text = text + "|" + work[name].map("{:.9g}".format).astype(str)  # equal but for arithmetic
    return text.where(work["sprays"].astype(bool), "")


def outings(work: pd.DataFrame, days: pd.DataFrame) -> tuple[pd.DataFrame, pd.Series[int]]:
    """What one rig sprays of one mix on one day: a crew goes on with a tank from one zone to the next.

    What is mixed is used the same day, so no tank goes on to the next.

    Parameters
    ----------
    work
        What ``works`` gives.
    days
        What ``days.working_days`` gives: of each mix of a day the works are done together.

    Returns
    -------
    tuple of DataFrame and Series
        Index ``outing`` from 1, by day, rig and order: ``week, monday, day, rig, mix, works`` (numbers,
        semicolon-joined), ``sprays, volume_L`` and the shares of the mix, as ``loads`` asks for them; and the outing of
        each row of ``days``, NA where nothing is sprayed.
    """
    rows = days.assign(tank=days["work"].map(tanks_of(work))).join(work[["mix", "sprays", *SHARES]], on="work")
    rows = rows[rows["sprays"].astype(bool)].sort_values(["day", "rig", "order"], kind="stable")
    number = (rows.groupby(["day", "rig", "tank"], sort=False).ngroup() + 1).astype("Int64")
    groups = rows.groupby(number)
    table = groups[["week", "monday", "day", "rig", "mix", "sprays", *SHARES]].first()
    table["volume_L"] = groups["volume_L"].sum()
    table["works"] = groups["work"].agg(lambda some: ";".join(map(str, sorted(set(some)))))
    table.index = pd.RangeIndex(1, len(table) + 1, name="outing")
    columns = ["week", "monday", "day", "rig", "mix", "works", "sprays", "volume_L", *SHARES]
    return table[columns], number.reindex(days.index).astype("Int64")


def loads(
    work: pd.DataFrame, *, rigs: Sequence[RigSection], mark_L: float, shown: ShownUnits = METRIC
) -> Worked:  # fmt: skip
    """Full loads and the last of each work or outing, with what goes into each.

    Parameters
    ----------
    work
        What ``works`` or ``outings`` gives.
    rigs
        The settings.
    mark_L
        The finest mark of the jug.
    shown
        The units of messages.

    Returns
    -------
    Worked
        A row a kind of load: ``work`` (or ``outing``, as the index is named), ``rig, mix, load`` ("full" or "last"),
        ``count, volume_L, product_L, adjuvant_L, dye_L, water_L`` of one load exactly, and the same ``_measured_L``. A
        fault names loads of which a part is less than the jug can show, or whose product loses over a twentieth to
        its marks.

    Examples
    --------
    >>> tank_kinds(62.5, tank_L=25.0)
    [('full', 2, 25.0), ('last', 1, 12.5)]
    """
    of = str(work.index.name or "work")
    tanks = {rig.name: rig.tank_L for rig in rigs}
    rows: list[dict[str, Any]] = []
    for row in rows_of(work[work["sprays"].astype(bool)]):
        for kind, count, volume_L in tank_kinds(row.volume_L, tank_L=tanks[row.rig]):
            rows.append({
                of: row.Index, "rig": row.rig, "mix": row.mix, "load": kind, "count": count, "volume_L": volume_L,
                **{f"{part}_L": volume_L * getattr(row, f"{part}_share") for part in PARTS},
            })  # fmt: skip
    columns = [of, "rig", "mix", "load", "count", "volume_L", *(f"{part}_L" for part in PARTS)]
    table = pd.DataFrame(rows, columns=columns).astype({"count": "int64", of: "int64"})
    table["water_L"] = np.maximum(table["volume_L"] - table[[f"{part}_L" for part in PARTS]].sum(axis=1), 0.0)
    for part in PARTS:
        table[f"{part}_measured_L"] = down_to_mark(table[f"{part}_L"], mark_L=mark_L)
    measured = table[[f"{part}_measured_L" for part in PARTS]].sum(axis=1)
    table["water_measured_L"] = np.maximum(table["volume_L"] - measured, 0.0)
    return Worked(table=table, faults=tuple(_too_small(table, of, shown)))


def tank_kinds(volume_L: float, *, tank_L: float) -> list[tuple[str, int, float]]:
    """Kinds of load: name, how many, litres of each. A volume that fills every tank has no last part load.

    Examples
    --------
    >>> tank_kinds(50.0, tank_L=25.0), tank_kinds(4.0, tank_L=25.0)
    ([('full', 2, 25.0)], [('last', 1, 4.0)])
    """
    count = fills(volume_L, tank_L=tank_L)
    if count == 0:
        return []
    last = volume_L - (count - 1) * tank_L
    if math.isclose(last, tank_L, rel_tol=_CLOSE):
        return [("full", count, volume_L / count)]
    full = [("full", count - 1, tank_L)] if count > 1 else []
    return [*full, ("last", 1, last)]


def fills(volume_L: float, *, tank_L: float) -> int:
    """How many tanks are filled, the last in part: rounded up, but for what arithmetic itself adds."""
    return math.ceil(volume_L / tank_L * (1 - _CLOSE)) if volume_L > 0 else 0


def down_to_mark(litres: Any, *, mark_L: float) -> Any:
    """Amounts to the mark of the jug below, so that what is measured is never more."""
    return np.floor(np.asarray(litres, float) / mark_L + _CLOSE) * mark_L


def in_jug_units(table: pd.DataFrame, *, shown: ShownUnits) -> pd.DataFrame:
    """Loads in the units of the jug: gal and fl oz, or l and ml.

    Columns: ``work`` or ``outing``, ``rig, mix, load, count``, ``volume, water`` in ``_gal`` or ``_l`` and product,
    adjuvant, dye in ``_floz`` or ``_ml``; all but the volume as measured.
    """
    large, small = (("l", 1.0), ("ml", 1e-3)) if shown is METRIC else (("gal", L_PER_GAL), ("floz", L_PER_GAL / 128))
    made = table[[name for name in ("outing", "work", "rig", "mix", "load", "count") if name in table]].copy()
    made[f"volume_{large[0]}"] = table["volume_L"] / large[1]
    for part in PARTS:
        made[f"{part}_{small[0]}"] = (table[f"{part}_measured_L"] / small[1]).round(6)
    made[f"water_{large[0]}"] = table["water_measured_L"] / large[1]
    return made


def _too_small(table: pd.DataFrame, of: str, shown: ShownUnits) -> list[Fault]:
    """Loads with too little product by the marks, or with adjuvant or dye below the smallest of them."""
    mend = "use a jug with finer marks and write them as jug_mark under [spray]"
    return [
        Fault(where=f"rig {row.rig!r}", what=f"{of} {getattr(row, of)}, {row.load} load: {said}", mend=mend)
        for row in rows_of(table)
        for part in PARTS
        if (said := _lost_to_marks(getattr(row, f"{part}_L"), getattr(row, f"{part}_measured_L"), part, shown))
    ]


def _lost_to_marks(asked_L: float, measured_L: float, part: str, shown: ShownUnits) -> str:
    """What the marks take off a part of one load, where that matters; else empty."""
    per_L, unit = (1000.0, "ml") if shown is METRIC else (128 / L_PER_GAL, "fl oz")
    asked, measured = f"{asked_L * per_L:.3g} {unit} of {part}", f"{measured_L * per_L:.3g} {unit}"
    if asked_L - measured_L <= _LOST_AT_MOST * asked_L or (part != "product" and measured_L > 0):
        return ""
    if measured_L <= 0:
        return f"{asked} is below the smallest mark of the jug: none goes in"
    return f"{asked} measures as {measured}, over 5 % too weak"
