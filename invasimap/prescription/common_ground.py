"""What counts together on common ground: the planned doses that lie over one another, and what was sprayed before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd

from invasimap.core.errors import CRSError, Fault, InputError
from invasimap.core.mix_settings import MixSection
from invasimap.prescription.limit_years import applied_together, same_year
from invasimap.prescription.overlaps import overlapping, sound

LOG_COLUMNS: Final = ("date", "product", "kg_per_ha")
UNNAMED: Final = ", perhaps the same ingredient: its name is missing"


@dataclass(frozen=True, kw_only=True)
class Counted:
    """A dose that counts with another on the ground they share; ``job`` is its row, None for one of the log.

    ``together`` says whether it may be of one application, ``in_year`` whether of one year; ``kg_per_ha`` of the log is
    NaN where it was not entered.
    """

    shape: Any
    kg_per_ha: float
    name: str
    job: int | None
    together: bool
    in_year: bool


@dataclass(frozen=True, kw_only=True)
class CommonGround:
    """The planned doses with their ground, and what was sprayed before."""

    jobs: list[dict[Any, Any]]  # rows as tables of their own: a frame takes long to give one
    shapes: Any
    mixes: dict[str, MixSection]
    log: list[dict[Any, Any]]
    log_shapes: Any
    near: list[Any]  # of each job the others that share ground with it
    before: list[Any]  # and the entries of the log

    def counted(self, row: int, *, others: bool) -> list[Counted]:
        """All that counts with a job's dose, in order; of the log alone without ``others``."""
        job = self.jobs[row]
        mix = self.mixes[job["mix"]]
        found = self._planned(row, job, mix) if others else []
        for number in self.before[row]:
            past = self.log[number]
            how = _counted(mix, str(past["product"]), past.get("ingredient_name"))
            if how is not None and same_year(mix.limit_year, job, {"first": past["date"]}):
                name = f"{past['product']} of {pd.Timestamp(past['date']).date()}{how}"
                shape, dose = self.log_shapes[number], float(past["kg_per_ha"])
                found.append(Counted(shape=shape, kg_per_ha=dose, name=name, job=None, together=False, in_year=True))
        return found

    def _planned(self, row: int, job: dict[Any, Any], mix: MixSection) -> list[Counted]:
        found = []
        for other in self.near[row]:
            that = self.jobs[other]
            its = self.mixes[that["mix"]]
            how = _counted(mix, its.product, its.ingredient_name, its.registration)
            if other != row and how is not None:
                found.append(Counted(
                    shape=self.shapes[other], kg_per_ha=float(that["dose_kg_per_ha"]),
                    name=f"stand {that['stand']}, patch {that['patch']}{how}", job=int(other),
                    together=applied_together(job, that), in_year=same_year(mix.limit_year, job, that),
                ))  # fmt: skip
        return found


def common_ground(
    jobs: pd.DataFrame, *, shapes: gpd.GeoSeries, mixes: Sequence[MixSection], log: gpd.GeoDataFrame | None
) -> CommonGround:  # fmt: skip
    """The ground of jobs with ``mix, stand, patch, dose_kg_per_ha`` and perhaps ``first, last``; polygons by label.

    Raises
    ------
    CRSError
        When shapes and log do not share a system.
    InputError
        When the log lacks a column, or holds what cannot be.
    """
    past = _checked_log(log, shapes)
    own = sound(np.asarray(shapes.loc[jobs.index], object))
    logged = sound(past.geometry.to_numpy())
    return CommonGround(
        jobs=jobs.to_dict("records"), shapes=own, mixes={mix.name: mix for mix in mixes},
        log=pd.DataFrame(past.drop(columns=past.geometry.name)).to_dict("records"), log_shapes=logged,
        near=overlapping(own, own), before=overlapping(own, logged),
    )  # fmt: skip


def _counted(mix: MixSection, product: str, ingredient_name: Any, registration: str | None = None) -> str | None:
    """How another product counts with a mix: "" for the same product or ingredient, None for another ingredient.

    Where a name is not told it may be the same: then it counts, and the text says what is missing.
    """
    names = [_plain(name) if isinstance(name, str) else "" for name in (mix.ingredient_name, ingredient_name)]
    registered = registration is not None and registration == mix.registration
    if registered or _plain(product) == _plain(mix.product) or names[0] == names[1] != "":
        return ""
    return UNNAMED if "" in names else None


def _plain(name: str) -> str:
    return " ".join(name.casefold().split())


def _checked_log(log: gpd.GeoDataFrame | None, shapes: gpd.GeoSeries) -> gpd.GeoDataFrame:
    if log is None:
        return gpd.GeoDataFrame({name: [] for name in LOG_COLUMNS}, geometry=[], crs=shapes.crs)
    if lacking := [name for name in LOG_COLUMNS if name not in log]:
        raise InputError(Fault(where="log", what=f"lacks columns: {', '.join(lacking)}", mend="add them"))
    if log.crs != shapes.crs or shapes.crs is None:
        raise CRSError(Fault(where="log", what="does not share a system in metres with the jobs", mend="reproject it"))
    faults = []
    if log["date"].isna().any():
        faults.append(Fault(where="log", what="has an entry without its date", mend="enter it"))
    if (log["kg_per_ha"].astype(float) < 0).any():
        faults.append(Fault(where="log", what="has a dose below zero", mend="correct it"))
    if faults:
        raise InputError(faults)
    return log
