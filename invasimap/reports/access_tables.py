"""The report's tables about access: what one more thing would add, and where to park."""

from __future__ import annotations

import math

import pandas as pd

from invasimap.core.crs import shown_place
from invasimap.prescription.plan import Plan
from invasimap.reports.access_chart import bar_head, limit_bars
from invasimap.reports.answers import stand_order
from invasimap.reports.report_tables import PrintedTable
from invasimap.reports.tables import plan_tables
from invasimap.reports.wording import headed, rows_of, shown_area, shown_number, whole_length

ROUND_OFF = 1e-9  # of the shown unit: an area of less is what adding up leaves over
BEST_PLACE = (
    "The places are the fewest found that serve a zone together, of places about half a hose apart. The best of them "
    "serves the most of the zone's infested ground; of two that serve as much, it is the one with less hose to pull on "
    "the average, so it need not be the one with the shortest hose. The next serves the most of what is left."
)
PERMIT = "An opening in water or a barrier may need a permit and a look on site; what is there was not checked."


def limits_report(plan: Plan) -> PrintedTable:
    """What keeps infested ground from a better means: the figures of the chart and of ``tables/limits.csv``."""
    rows = [[bar_head(bar), bar.words, shown_area(bar.area_m2, plan.shown, unit=False)] for bar in limit_bars(plan)]
    return PrintedTable(
        caption="What keeps infested ground from a better means",
        heads=["Reached", "Why not better", f"Infested ground {plan.shown.area}"], rows=rows, numeric=frozenset({2}),
        note="Infested ground in stands that is open to spray.",
    )  # fmt: skip


def gain_report(plan: Plan) -> PrintedTable:
    """What a longer hose, a longer walk or one more opening would add; the figures of ``tables/reach_gain.csv``."""
    table, unit = plan_tables(plan)["reach_gain"], plan.shown.area
    names = [f"{name}_gain_{unit}" for name in ("treatable", "tractor", "atv_hose", "foot")]
    means = {"tractor": "tractor", "atv": "ATV", "atv_hose": "hose from an ATV", "foot": "people on foot"}
    rows = [
        [
            headed(str(row.change)), ", ".join(means.get(name, name) for name in str(row.means).split(";")),
            shown_place(row.lat, row.lon), *(shown_gain_number(getattr(row, name)) for name in names),
        ]
        for row in rows_of(table)
    ]  # fmt: skip
    heads = ["One more thing", "For", "Where (lat, lon)", f"More treatable {unit}", f"More by tractor {unit}",
             f"More by hose from an ATV {unit}", f"More on foot {unit}"]  # fmt: skip
    notes = [
        "Each alone, on infested ground open to spray. A minus is ground that goes to another "
        "means, or that is lost: more hose takes more of the pump's pressure."
    ]
    if "opening" in set(plan.reach_gain["change"]):
        notes.append(PERMIT)
    return PrintedTable(
        caption="What one more thing would add", heads=heads, rows=rows, numeric=frozenset({3, 4, 5, 6}),
        note=" ".join(notes),
    ).without_empty(2)  # fmt: skip


def shown_gain_number(value: float) -> str:
    """A gain for reading: two decimals, a minus for a loss, ``none`` where it is nothing.

    Examples
    --------
    >>> shown_gain_number(1.7527), shown_gain_number(-0.002), shown_gain_number(0.0)
    ('1.75', '-<0.01', 'none')
    """
    if abs(value) < ROUND_OFF:
        return "none"
    return ("-" if value < 0 else "") + shown_number(abs(value))


def parking_report(plan: Plan) -> PrintedTable:
    """The best place to park for each treatment zone that a hose serves, and how many places serve it."""
    shown = plan.shown
    table = pd.DataFrame(plan.parking.drop(columns="geometry")).assign(**plan_tables(plan)["parking"][["lat", "lon"]])
    stops = table.groupby("zone_id").size()
    stands = plan.treatment_zones.set_index("id")["stand"].astype(str)
    best = table[table["stop"] == 1].copy()
    best.insert(1, "stand", [stands.get(zone, "") for zone in best["zone_id"]])
    order = sorted(range(len(best)), key=lambda row: stand_order(str(best["stand"].iloc[row])))
    rows = [
        [
            str(row.zone_id), row.stand, shown_place(row.lat, row.lon), whole_length(row.hose_m, shown, unit=False),
            whole_length(row.lift_m, shown, unit=False),
            f"{math.floor(row.share_pct)} %", str(stops[row.zone_id]),
        ]
        for row in rows_of(best.iloc[order])
    ]  # fmt: skip
    heads = ["Zone", "Stand", "Best place (lat, lon)", f"Hose needed {shown.length}", f"Lift {shown.length}",
             "Share served from there", "Places that serve it all"]  # fmt: skip
    return PrintedTable(
        caption="Where to park for each treatment zone that a hose serves", heads=heads, rows=rows,
        numeric=frozenset({3, 4, 5, 6}), note=f"{BEST_PLACE} Hose is what the farthest spot takes, with what is "
        "lost to reel and slack; lift is how far the nozzle stands above the machine. Both are rounded up, the share "
        "down. The places leave out at most the last hundredth of a zone. Every place is in tables/parking.csv.",
    )  # fmt: skip
