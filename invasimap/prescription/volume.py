"""How much mix each job takes: sprayed ground by what a rig was measured to put on there.

A job is one visit to a patch within a treatment zone, with its technique, mix and rig. What cannot be worked is
withheld with a fault, never guessed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from invasimap.core.errors import Fault, InputError
from invasimap.core.mix_settings import MixSection, SpraySection
from invasimap.core.rig_settings import CalibrationSection, RigSection

NEEDED: Final = (
    "patch", "species", "stand", "zone", "access", "gross_m2", "cover_pct", "height_m", "slope_pct", "technique",
    "sprays", "mix", "rig",
)  # fmt: skip
WHOLE_FOOTPRINT: Final = ("foliar_broadcast", "mow")  # every other technique works at the plants alone
IN_HAND_ONLY: Final = ("cut_stump", "pull")
NO_PLANTS_SAID: Final = "the ground to work is 0: no mix is planned for it"
_CLOSE: Final = 1e-9

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Worked:
    """A table worked out, a row a job, and why some rows of it are withheld."""

    table: pd.DataFrame
    faults: tuple[Fault, ...]


class Withheld:
    """Gathers which jobs cannot be planned, and why: one fault for all jobs that share a cause."""

    def __init__(self, jobs: pd.DataFrame) -> None:
        self._jobs = jobs
        self.faults: list[Fault] = []
        self.rows = np.zeros(len(jobs), bool)
        self.why: Any = jobs["why"].to_numpy(object).copy() if "why" in jobs else np.full(len(jobs), "", object)

    def add(self, rows: Any, *, what: str, mend: str, where: str | None = None) -> None:
        """Withhold some rows (a mask); nothing happens where there is none."""
        mask = np.asarray(rows, bool)
        if mask.any():
            named = places(self._jobs[mask])
            text = what if where is None else f"{what}: {named}"
            self.faults.append(Fault(where=where or named, what=text, mend=mend))
            self.rows |= mask
            self.why[mask & (self.why == "")] = f"{f'{where} ' if where else ''}{what}: {mend}"


def rows_of(table: pd.DataFrame) -> Any:
    """The rows of a table as named tuples, whose types nobody knows beforehand."""
    return table.itertuples()


def places(jobs: pd.DataFrame, *, most: int = 3) -> str:
    """Which stands and patches some jobs lie in, the first few by name."""
    apart = jobs.drop_duplicates(["stand", "patch"])
    named = [f"stand {row.stand}, patch {row.patch}" for row in rows_of(apart.head(most))]
    more = f" and {len(apart) - most} more" if len(apart) > most else ""
    return "; ".join(named) + more


def volumes(
    jobs: pd.DataFrame,
    *,
    mixes: Sequence[MixSection],
    rigs: Sequence[RigSection],
    spray: SpraySection,
) -> Worked:
    """Ground sprayed and mix needed by each job.

    Parameters
    ----------
    jobs
        A row a visit: ``patch, species, stand, zone, access, gross_m2, cover_pct, height_m, slope_pct, technique,
        sprays, mix, rig``. ``mix`` is ignored where nothing is sprayed. Optional: ``area_low, area_high`` (the range
        of its area as shares of it), ``planned_L`` (the crew's own volume for the patch, in place of the estimate).
    mixes, rigs, spray
        The settings.

    Returns
    -------
    Worked
        Under the jobs' index, beside their columns: ``worked_m2`` (a spot technique: footprint x cover; else the
        footprint) with ``worked_low_m2, worked_high_m2``, ``spread_L_per_ha``, ``calibrated`` (date),
        ``volume_L, volume_low_L, volume_high_L`` (NaN where not known), ``withheld``, ``why`` it is and ``notes``.

    Raises
    ------
    InputError
        When columns are missing, figures impossible, or a mix or rig has no block in the settings.

    Notes
    -----
    Volume = measured rate x ground x (1 + waste). A mix by percent is spread over the sloped surface, so that its
    dose by the map only grows; a rate by area is for acres of the map, and so is its volume.
    """
    check_jobs(jobs, mixes=mixes, rigs=rigs)
    sprays = jobs["sprays"].to_numpy(bool)
    table = jobs.copy()
    held = Withheld(jobs)
    notes: list[list[str]] = [[] for _ in range(len(jobs))]
    table["worked_m2"] = worked_m2(jobs)
    _say(notes, np.isnan(jobs["cover_pct"].to_numpy(float)), "cover not known: counted as 100 %")
    held.add(~(table["worked_m2"] > 0), what=NO_PLANTS_SAID, mend="take it out, or correct its size and cover")
    _refuse_zones(jobs, sprays, {mix.name: mix for mix in mixes}, held)
    by_area = sprays & jobs["mix"].isin({mix.name for mix in mixes if mix.rate.L_per_ha is not None}).to_numpy()
    needs = sprays & (by_area | np.isnan(_own(jobs)))  # a crew's own volume of a mix by percent needs no calibration
    rate, dates = _calibrated(jobs, needs, rigs, held, notes)
    table["spread_L_per_ha"], table["calibrated"] = rate, dates
    factor = _surface_factor(jobs, sprays & ~by_area, spray, notes)
    estimate = rate * table["worked_m2"].to_numpy() / 1e4 * factor * (1 + spray.waste_pct / 100)
    table["volume_L"] = _own_or(jobs, estimate)
    for end in ("low", "high"):
        share = jobs[f"area_{end}"].to_numpy(float) if f"area_{end}" in jobs else np.full(len(jobs), np.nan)
        table[f"worked_{end}_m2"] = table["worked_m2"] * share
        table[f"volume_{end}_L"] = table["volume_L"] * share
    table.loc[~sprays, ["volume_L", "volume_low_L", "volume_high_L", "spread_L_per_ha"]] = np.nan
    table["withheld"], table["why"] = held.rows, held.why
    table["notes"] = ["; ".join(said) for said in notes]
    return Worked(table=blanked(table), faults=tuple(held.faults))


FIGURES: Final = (
    "volume_L", "volume_low_L", "volume_high_L", "product_L", "adjuvant_L", "dye_L", "water_L", "ingredient_kg",
)  # fmt: skip


def blanked(table: pd.DataFrame) -> pd.DataFrame:
    """The table with no amount left in what is withheld, so that nothing further on can count it."""
    columns = [name for name in FIGURES if name in table]
    table.loc[table["withheld"], columns] = np.nan
    return table


def worked_m2(jobs: pd.DataFrame) -> Floats:
    """Ground worked by the map: the plants' alone, or the whole footprint; cover that is not known is 100 %."""
    cover = jobs["cover_pct"].astype(float).fillna(100.0).to_numpy() / 100
    whole = jobs["technique"].isin(WHOLE_FOOTPRINT).to_numpy()
    return jobs["gross_m2"].to_numpy(float) * np.where(whole, 1.0, cover)


def check_jobs(jobs: pd.DataFrame, *, mixes: Iterable[MixSection], rigs: Iterable[RigSection]) -> None:
    """Look over jobs as a caller hands them in.

    Raises
    ------
    InputError
        With every fault found.
    """
    if lacking := [name for name in NEEDED if name not in jobs.columns]:
        raise InputError(Fault(where="jobs", what=f"lack columns: {', '.join(lacking)}", mend="add them"))
    faults = []
    if not jobs.index.is_unique:
        faults.append(Fault(where="jobs", what="two rows share an index", mend="number them"))
    for name, most in (("gross_m2", np.inf), ("cover_pct", 100.0), ("height_m", np.inf), ("slope_pct", np.inf)):
        values = jobs[name].astype(float)
        if ((values < 0) | (values > most) | np.isinf(values)).any():
            faults.append(Fault(where="jobs", what=f"{name} outside 0-{most:g}", mend="leave blank what is not known"))
    if (_own(jobs) <= 0).any():
        faults.append(Fault(where="jobs", what="planned_L of 0 or less", mend="leave it blank, or take the job out"))
    faults += _unknown_names(jobs.loc[jobs["sprays"].astype(bool), "mix"], [mix.name for mix in mixes], "mix")
    faults += _unknown_names(jobs["rig"], [rig.name for rig in rigs], "rig")
    if faults:
        raise InputError(faults)


def _unknown_names(column: Any, known: list[str], kind: str) -> list[Fault]:
    twice = sorted({name for name in known if known.count(name) > 1})
    unknown = sorted({str(name) for name in column if name not in known})
    found = [Fault(where=f"[[{kind}]]", what=f"two have the name {name!r}", mend="rename one") for name in twice]
    there = f"there are: {', '.join(known)}" if known else f"the settings have no [[{kind}]]"
    return found + [Fault(where="jobs", what=f"{kind} {name!r} is not known", mend=there) for name in unknown]


def _refuse_zones(jobs: pd.DataFrame, sprays: Any, mixes: Mapping[str, MixSection], held: Withheld) -> None:
    """Nothing is sprayed where it may not be, nor a mix where, or on what, it was not typed for."""
    zone, technique = jobs["zone"], jobs["technique"]
    held.add(sprays & (zone == "no_spray"), what="nothing is sprayed in a no-spray zone", mend="pull, cut or leave it")
    held.add(
        sprays & (zone == "hand_only") & ~technique.isin(IN_HAND_ONLY),
        what="nothing is sprayed from a nozzle held off the plant in a hand-only zone",
        mend="plan cut-stump or pulling there",
    )
    for name, mix in mixes.items():
        own = sprays & (jobs["mix"] == name)
        said = {"where": f"mix {name!r}", "mend": "choose a mix whose label allows it"}
        held.add(own & ~zone.isin(mix.zones) & (zone != "no_spray"), what="its zones do not name this one", **said)
        if "*" not in mix.species:
            held.add(own & ~jobs["species"].isin(mix.species), what="its species do not name this one", **said)


def _calibrated(
    jobs: pd.DataFrame, needs: Any, rigs: Sequence[RigSection], held: Withheld, notes: list[list[str]]
) -> tuple[Floats, NDArray[np.object_]]:
    """The measured rate for each job (L/ha) and its date."""
    rate, dates = np.full(len(jobs), np.nan), np.full(len(jobs), None, object)
    by_name = {rig.name: rig for rig in rigs}
    height = jobs["height_m"].to_numpy(float).copy()
    height[(jobs["technique"] == "cut_then_foliar").to_numpy()] = np.nan  # what was cut is not what will be sprayed
    groups: dict[Any, Any] = dict(jobs[needs].groupby(["rig", "technique"], sort=True).groups)
    for (name, technique), labels in groups.items():
        rows = jobs.index.get_indexer(labels)
        at = by_height(height[rows], classes := height_classes(by_name[name], technique))
        found = at >= 0
        rate[rows[found]] = [classes[place].rate_L_per_ha for place in at[found]]
        dates[rows[found]] = [classes[place].date for place in at[found]]
        mask = np.zeros(len(jobs), bool)
        mask[rows[~found]] = True
        held.add(
            mask,
            where=f"rig {name!r}",
            what=f"has no calibration for {technique}" + (" of plants so tall" if classes else ""),
            mend="calibrate on such plants (invasimap calibrate) and write the line under the rig",
        )
        unknown = np.zeros(len(jobs), bool)
        unknown[rows[found & np.isnan(height[rows])]] = len(classes) > 1
        _say(notes, unknown, "height at spraying not known: the largest measured rate taken")
    return rate, dates


def height_classes(rig: RigSection, technique: str) -> list[CalibrationSection]:
    """A rig's calibrations for a technique, low plants first; those that name it before those that name none.

    Of two for plants of one height the later counts.
    """
    served = [entry for entry in rig.calibration if entry.serves(technique)]
    named = [entry for entry in served if entry.technique is not None] or served
    latest: dict[float, CalibrationSection] = {}
    for entry in sorted(named, key=lambda entry: entry.date):
        latest[np.inf if entry.up_to_m is None else entry.up_to_m] = entry
    return [latest[up_to] for up_to in sorted(latest)]


def by_height(height_m: Floats, classes: Sequence[CalibrationSection]) -> NDArray[np.intp]:
    """Which class each height falls in, -1 where none does; where it is not known, the class of the largest rate."""
    if not classes:
        return np.full(len(height_m), -1, np.intp)
    tops = np.array([np.inf if entry.up_to_m is None else entry.up_to_m for entry in classes])
    at = np.searchsorted(tops * (1 + _CLOSE), height_m, side="left")
    largest = int(np.argmax([entry.rate_L_per_ha for entry in classes]))
    return np.where(np.isnan(height_m), largest, np.where(at < len(classes), at, -1)).astype(np.intp)


def _surface_factor(jobs: pd.DataFrame, by_percent: Any, spray: SpraySection, notes: list[list[str]]) -> Floats:
    """Ground over map, at least 1: of a mix by percent alone, where the settings ask for it."""
    sloped = by_percent & (spray.surface == "sloped")
    slope = jobs["slope_pct"].to_numpy(float)
    _say(notes, sloped & np.isnan(slope), "slope not known: reckoned as level, more mix may be needed")
    return np.where(sloped, surface_factor(slope), 1.0)


def surface_factor(slope_pct: Any) -> Floats:
    """Area of sloped ground over its area on the map; 1 where the slope is not known.

    Examples
    --------
    >>> [round(float(factor), 6) for factor in surface_factor([0.0, 75.0, float("nan")])]
    [1.0, 1.25, 1.0]
    """
    return np.hypot(1.0, np.nan_to_num(np.asarray(slope_pct, float)) / 100)


def _own(jobs: pd.DataFrame) -> Floats:
    return jobs["planned_L"].to_numpy(float) if "planned_L" in jobs else np.full(len(jobs), np.nan)


def _own_or(jobs: pd.DataFrame, estimate: Floats) -> Floats:
    own = _own(jobs)
    return np.where(np.isnan(own), estimate, own)


def _say(notes: list[list[str]], rows: Any, text: str) -> None:
    for place in np.flatnonzero(rows):
        notes[place].append(text)
