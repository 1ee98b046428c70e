"""Visits that the label lets be done, but not all together: what each would take of a limit on the ground they share.

A row of shares says of a spot which sums are over its limit: whatever is chosen, the shares of what is done come to 1
at most. So the choice of work itself keeps the limits, and the best choice is known to be the best within them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import geopandas as gpd
import pandas as pd

from invasimap.core.mix_settings import MixSection
from invasimap.core.settings import Tract
from invasimap.core.units import ShownUnits
from invasimap.prescription.common_ground import CommonGround, Counted, common_ground
from invasimap.prescription.limits_of_label import CLOSE, dose_said
from invasimap.prescription.overlaps import cells

COLUMNS: Final = ("spot", "job", "rig", "share", "limit")
_SAME: Final = 9  # digits of two shares that are one
Doses = dict[Any, dict[str, float]]  # of each visit, by rig (kg/ha)


def no_shared_spots() -> pd.DataFrame:
    """No spot where not all may be done."""
    return pd.DataFrame(columns=list(COLUMNS))


def shared_spots(
    jobs: gpd.GeoDataFrame, worked: Sequence[pd.DataFrame], *, settings: Tract, log: gpd.GeoDataFrame | None
) -> pd.DataFrame:  # fmt: skip
    """Where visits that may each be done would pass a limit together.

    Parameters
    ----------
    jobs
        Visits, their polygons with them: ``mix, stand, patch, first, last``.
    worked
        Of each rig, what it would put on (``alternatives.worked_by``); what is withheld is left out.
    log
        What was sprayed before.

    Returns
    -------
    DataFrame
        A row a spot, visit and rig: ``spot, job, rig, share`` (of what may be done: 1 is all of it) and ``limit`` (in
        words). On ground that different limits hold there is a spot for each.
    """
    doses = _doses(worked)
    own = jobs.loc[list(doses)]
    if not len(own):
        return no_shared_spots()
    most = [max(by_rig.values()) for by_rig in doses.values()]
    plain = pd.DataFrame(own.drop(columns=own.geometry.name)).assign(dose_kg_per_ha=most)
    ground = common_ground(plain, shapes=own.geometry, mixes=settings.mix, log=log)
    found: dict[Any, list[tuple[Any, str, float, str]]] = {}
    for row in range(len(own)):
        for limit, members, base in _over(ground, row, settings.shown):
            shares = _shares((own.index[row], [own.index[other] for other in members]), doses, limit, base)
            key = tuple(sorted((at, rig, round(share, _SAME)) for at, rig, share in shares))
            found.setdefault(key, [(at, rig, share, limit.said) for at, rig, share in shares])
    rows = [(spot, *cell) for spot, held in enumerate(found.values()) for cell in held]
    return pd.DataFrame(rows, columns=list(COLUMNS))


@dataclass(frozen=True, kw_only=True)
class _Limit:
    """A limit of one visit: the dose, what it is called, and all else that counts with the visit."""

    most_kg_per_ha: float
    said: str
    counted: list[Counted]


def _doses(worked: Sequence[pd.DataFrame]) -> Doses:
    """What each rig that may would put on at each visit."""
    doses: Doses = {}
    for table in worked:
        may = table[table["dose_kg_per_ha"].notna() & ~table["withheld"].astype(bool)] if len(table) else table
        for label, rig, dose in zip(may.index, may.get("rig", ()), may.get("dose_kg_per_ha", ()), strict=True):
            doses.setdefault(label, {})[str(rig)] = float(dose)
    return dict(sorted(doses.items()))


def _limits(ground: CommonGround, row: int, shown: ShownUnits) -> Iterator[_Limit]:
    mix: MixSection = ground.mixes[ground.jobs[row]["mix"]]
    counted = ground.counted(row, others=True)
    for most, when, name in (
        (mix.max_per_application_kg_per_ha, "in one application", "together"),
        (mix.max_per_year_kg_per_ha, "in the year", "in_year"),
    ):
        told = [entry for entry in counted if getattr(entry, name)]
        if most is not None and any(entry.job is not None for entry in told):
            yield _Limit(most_kg_per_ha=most, said=f"{dose_said(most, shown)} {when}", counted=told)


def _over(ground: CommonGround, row: int, shown: ShownUnits) -> Iterator[tuple[_Limit, frozenset[int], float]]:
    """Each limit, the other visits on each spot of a visit that could pass it together, and the log's dose (kg/ha)."""
    counted: list[Counted] = []
    parts: list[tuple[Any, float, tuple[Any, ...]]] = []
    for limit in _limits(ground, row, shown):
        spare = limit.most_kg_per_ha * (1 + CLOSE) - ground.jobs[row]["dose_kg_per_ha"]
        if sum(entry.kg_per_ha for entry in limit.counted) <= spare:
            continue
        if limit.counted != counted:  # of one application and of the year it is mostly the same: cut once
            counted = limit.counted
            parts = cells(ground.shapes[row], [(entry.shape, entry.kg_per_ha, entry) for entry in counted])
        yield from ((limit, members, base) for members, base in _heaviest(parts, spare).items())


def _heaviest(
    parts: Iterable[tuple[Any, float, tuple[Any, ...]]], spare_kg_per_ha: float
) -> dict[frozenset[int], float]:
    """The visits on each spot with more than a limit spares, and the most that the log holds there (kg/ha).

    What is said by a spot with more of them is not said again.
    """
    found: dict[frozenset[int], float] = {}
    for _, total, on_it in parts:
        members = frozenset(entry.job for entry in on_it if entry.job is not None)
        if members and total > spare_kg_per_ha:
            base = sum(entry.kg_per_ha for entry in on_it if entry.job is None)
            found[members] = max(base, found.get(members, 0.0))
    return {
        members: base
        for members, base in found.items()
        if not any(members < more and base <= other for more, other in found.items())
    }


def _shares(
    visits: tuple[Any, list[Any]], doses: Doses, limit: _Limit, base_kg_per_ha: float
) -> list[tuple[Any, str, float]]:
    """What each visit takes of a spot, by rig: the limit holds where the first is done, whatever the others are.

    Without the first all the others may be done, as far as this limit goes: so its share is the greater by what they
    could put on beyond it. Where no two can be done together each takes all, which is easier to decide by.
    """
    one, others = visits
    spare = limit.most_kg_per_ha * (1 + CLOSE / 2) - base_kg_per_ha
    beyond = max(sum(max(doses[other].values()) for other in others) - spare, 0.0)
    shares = [(one, rig, (dose + beyond) / (spare + beyond)) for rig, dose in doses[one].items()]
    shares += [(other, rig, dose / (spare + beyond)) for other in others for rig, dose in doses[other].items()]
    least = sorted(min(share for at, _, share in shares if at == visit) for visit in (one, *others))
    return [(at, rig, 1.0) for at, rig, _ in shares] if least[0] + least[1] > 1 else shares
