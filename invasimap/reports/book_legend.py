"""The legend of one sheet of the map book: what is on that sheet, with its stand's acres and its distances."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd

from invasimap.core.units import ShownUnits
from invasimap.prescription.plan import Plan
from invasimap.reports import style
from invasimap.reports.legend import Row, feature_rows, ground_rows, land_rows, relief_rows
from invasimap.reports.relief import INDEX_EVERY
from invasimap.reports.type_set import shortened
from invasimap.reports.wording import OUTCOME_WORDS, OUTCOMES, ZONE_WORDS, outcome, shown_area, whole_length

MOST_IDS = 2  # zone ids beside an outcome
STAND_IN = 0.84  # of a stand's name in its heading
HOSE_ROWS = (
    Row(text="park here for a hose", look=(style.PARKING_MARK, style.PAPER)),
    Row(text="parking to its zone (not the hose)", look=style.LINE["serves"]),
)


def sheet_rows(here: Plan, whole: Plan, stand: str, *, interval: float, served: bool) -> list[Row]:
    """Rows for the part of a plan that a sheet shows (``book_part.part``) of the ``whole``.

    ``served`` says that lines from parking places to their zones cross the sheet.
    """
    hose = [row for row, shown in zip(HOSE_ROWS, (len(here.parking) > 0, served), strict=True) if shown]
    return [
        *_outcomes(here, whole, stand), *_protected(here), *hose, *_contours(here, interval), *land_rows(here),
        *ground_rows(here),
    ]  # fmt: skip


def _contours(here: Plan, interval: float) -> list[Row]:
    """One row for both kinds of contour: on every sheet, whatever else finds no room."""
    rows = relief_rows(here, interval=interval)
    if len(rows) < 2:
        return rows
    words = f"every {interval:g} {here.shown.length}, labelled every {interval * INDEX_EVERY:g}"
    return [Row(text=words, look=style.LINE["contour"])]


def _outcomes(here: Plan, whole: Plan, stand: str) -> list[Row]:
    ground = here.ground["ground_m2"].groupby(outcome(here.ground)).sum().reindex(OUTCOMES, fill_value=0.0)
    zones = whole.treatment_zones[whole.treatment_zones["stand"].astype(str) == stand].drop_duplicates("id")
    ids = zones["id"].groupby(outcome(zones)).agg(list)
    on_sheet = set(outcome(here.treatment_zones)) if len(here.treatment_zones) else set()
    rows = []
    for name in OUTCOMES:
        if ground[name] > 0:
            named = ids.get(name, [])
            words = OUTCOME_WORDS[name] + (f": {' '.join(map(str, named))}" if 0 < len(named) <= MOST_IDS else "")
            rows.append(Row(text=words, figure=shown_area(ground[name], here.shown), look=style.OUTCOME[name]))
        elif name in on_sheet:
            rows.append(Row(text=OUTCOME_WORDS[name], figure="none", look=style.OUTCOME[name]))
    short = shortened(stand, room_in=STAND_IN, size_pt=style.TYPE_PT["heading"], bold=True)
    if not rows:
        return [Row(text=f"Stand {short}: no patch mapped", kind="heading")]
    total = Row(text="all its infested ground", figure=shown_area(float(ground.sum()), here.shown), kind="note")
    return [Row(text=f"Stand {short}: infested ground", kind="heading"), *rows, total]


def _protected(here: Plan) -> list[Row]:
    present = set(here.protection["zone"])
    rows = [
        Row(text=f"{ZONE_WORDS[zone]} zone", look=style.ZONE[zone])
        for zone in ("no_spray", "hand_only")
        if zone in present
    ]
    distances = distance_words(here)
    features = [_with_distance(row, distances) for row in feature_rows(here)]
    if not rows and not features:
        return []
    return [Row(text="Protected: no spray / hand only", kind="heading"), *rows, *features]


def _with_distance(row: Row, distances: dict[str, str]) -> Row:
    return Row(text=row.text, figure=distances.get(row.text, ""), look=row.look, kind=row.kind)


def distance_words(plan: Plan) -> dict[str, str]:
    """No-spray and hand-only distance of each open kind, whole and rounded up, ``+`` where they grow with slope.

    The widest of a kind; the error of its position is in it, for so far the zone reaches.
    """
    layer, found = plan.features, {}
    for kind, rows in layer.groupby("kind"):
        extra = rows.get("position_error_m", pd.Series(0.0, rows.index)).fillna(0.0)
        grows = bool((rows.get("per_slope_m", pd.Series(0.0, rows.index)).fillna(0.0) > 0).any())
        reach = [(rows[name] + extra).max() for name in ("no_spray_m", "hand_only_m")]
        found[str(kind)] = pair_words(reach, plan.shown, grows=grows)
    return found


def pair_words(reach_m: Iterable[float], shown: ShownUnits, *, grows: bool) -> str:
    """Two distances as ``35 / 85 ft+``; a dash for one that is not set.

    Examples
    --------
    >>> from invasimap.core.units import US
    >>> pair_words([7.62, float("nan")], US, grows=False)
    '25 / - ft'
    """
    figures = ["-" if np.isnan(value) else whole_length(value, shown, unit=False) for value in reach_m]
    return f"{' / '.join(figures)} {shown.length}{'+' if grows else ''}"
