"""Plan: everything worked out for a tract, frozen; the reports draw and write from it and change nothing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
from pyproj import CRS

from invasimap.core.settings import Tract
from invasimap.core.units import ShownUnits
from invasimap.land.terrain import Terrain
from invasimap.prescription.treatment import Treatment, no_treatment

CAUTIONS = (
    "The product label is the law. Local, state and federal rules and a licensed applicator's judgement come before "
    "anything here.",
    "Every figure is computed from what was mapped and typed. Ground that nobody surveyed is unknown, not clear.",
    "Access shows what lies within your own limits; soft ground, obstacles and weather are not checked. Not a survey.",
)


STAMP: Final = "INTERNAL - not to be passed on"  # of a plan that shows confidential features
TRIAL: Final = "TRIAL"  # of a plan with settings changed for one run
_SMALLEST: Final = 1e-9  # no limit of a check is smaller


@dataclass(frozen=True, kw_only=True)
class Check:
    """One self-check of a run: the value found, the limit it must keep, and whether it does."""

    name: str
    value: float
    limit: float

    @property
    def passed(self) -> bool:
        """Whether the value is within the limit (never true for NaN)."""
        return self.value <= self.limit

    @property
    def said(self) -> tuple[str, str]:
        """The value and the limit as they are printed, without exponents."""
        return _plain(self.value), _plain(self.limit)


def _plain(value: float) -> str:
    """A number in plain digits, three of them not zero; what is too small to be read says so.

    Examples
    --------
    >>> _plain(1e-9), _plain(2e-15), _plain(0.0), _plain(12345.0)
    ('0.000000001', 'below 0.000000001', '0', '12345')
    """
    if not np.isfinite(value):
        return "not known" if np.isnan(value) else f"{value:g}"
    if 0 < value < _SMALLEST:
        return f"below {_plain(_SMALLEST)}"
    if value % 1 == 0:
        return f"{value:.0f}"
    return np.format_float_positional(value, precision=3, unique=False, fractional=False, trim="-")


def _listed(texts: Sequence[str]) -> str:
    return ", ".join(texts[:-1]) + " and " * (len(texts) > 1) + "".join(texts[-1:])


@dataclass(frozen=True, kw_only=True)
class InputFile:
    """A file that went in, how its name may be shown, and its hash, where that tells nothing confidential."""

    path: Path
    shown: str
    sha256: str | None


@dataclass(frozen=True, kw_only=True)
class Plan:
    """A tract worked out. All layers are in ``crs`` (equal-area, metres); areas are in square metres.

    Attributes
    ----------
    patches
        ``id, species, common_name, date, cover_pct, cover_told, height_m, stem_mm, observer, file, record, notes,
        other, gross_m2``; ``height_m`` and ``stem_mm`` are upper ends, NaN where not known. ``cover_told`` is false
        where the record does not say its cover: ``cover_pct`` is then the survey's default, or 100. ``other`` is what
        else a record said, as JSON.
    mosaic
        The planar partition: ``stand, zone, access, species, cover_pct`` (text, semicolon-joined), ``area_m2``.
    treatment_zones
        ``id, stand, zone, access, species, gross_m2``, and how much each class reaches: ``tractor_m2, atv_hose_m2,
        foot_m2``.
    protection
        ``zone, kind, rule, confidential``: ground that is ``no_spray`` or ``hand_only``, and what decided it. For
        confidential features it holds their covers, of kind ``restricted`` (``land.covers``).
    access
        ``access, reached_by, limit, hose_only``: the partition of the ground by access class, with every class that
        reaches it, what binds against a better one, and whether the class gets there with its hose alone.
    features
        The protected features themselves: ``kind, rule, no_spray_m, hand_only_m, confidential``. Those that are
        confidential are in an internal plan alone.
    ways, entries, barriers, open_ground, wet_ground, crossings
        As read; empty layers where the tract has none. ``ways`` has ``class, allows`` (text such as ``atv;foot``).
    acreage
        ``stand, species, zone, access, patches, gross_m2, infested_m2`` and the 90 % ranges ``gross_low_m2,
        gross_high_m2, infested_low_m2, infested_high_m2`` (NaN without draws).
    ground
        ``stand, zone, access, ground_m2, ground_low_m2, ground_high_m2`` (every spot counted once).
    totals, by_means, drivers
        Totals of the tract and what each means treats of them, with their ranges, and what makes them wide:
        ``mosaic.uncertainty.Ranges``.
    ledger, repaired, set_aside
        The account of every record.
    columns
        Which column of which survey file was taken for what: ``file, column, role, unit``.
    limits
        Infested ground in stands that is open to spray, by what keeps it from a better class: ``access, limit,
        open_m2``, and how much of that only the hose of the class reaches, ``hose_only_m2``.
    reach_gain
        What a longer hose, a longer walk or one more opening would add: ``change, means, x, y`` and ``*_gain_m2``
        (``land.what_if.reach_gain``).
    parking
        Where to park for each treatment zone that a hose serves (``land.parking.parking_places``).
    treatment
        A season's work: ``prescription.treatment.Treatment``.
    photos
        Pictures and the patch each belongs to: ``file, patch, species, distance_m, direction_deg, taken, reason``.
    internal
        Whether confidential features are in it as they are. Then it must not be passed on, and all that is written of
        it says so.
    """

    settings: Tract
    crs: CRS
    terrain: Terrain
    stands: gpd.GeoDataFrame
    patches: gpd.GeoDataFrame
    mosaic: gpd.GeoDataFrame
    treatment_zones: gpd.GeoDataFrame
    protection: gpd.GeoDataFrame
    access: gpd.GeoDataFrame
    features: gpd.GeoDataFrame
    ways: gpd.GeoDataFrame
    entries: gpd.GeoDataFrame
    barriers: gpd.GeoDataFrame
    open_ground: gpd.GeoDataFrame
    wet_ground: gpd.GeoDataFrame
    crossings: gpd.GeoDataFrame
    set_aside: gpd.GeoDataFrame
    acreage: pd.DataFrame
    ground: pd.DataFrame
    ledger: pd.DataFrame
    repaired: pd.DataFrame
    checks: tuple[Check, ...]
    limits: pd.DataFrame
    reach_gain: pd.DataFrame
    parking: gpd.GeoDataFrame
    columns: pd.DataFrame = field(default_factory=pd.DataFrame)
    photos: pd.DataFrame = field(default_factory=pd.DataFrame)
    totals: pd.DataFrame = field(default_factory=pd.DataFrame)
    by_means: pd.DataFrame = field(default_factory=pd.DataFrame)
    drivers: pd.DataFrame = field(default_factory=pd.DataFrame)
    treatment: Treatment = field(default_factory=no_treatment)
    notes: tuple[str, ...] = ()
    inputs: tuple[InputFile, ...] = ()
    seconds: Mapping[str, float] = field(default_factory=dict)
    internal: bool = False
    made: dt.datetime = field(default_factory=lambda: dt.datetime.now(dt.UTC))

    @property
    def leads(self) -> str:
        """What the names of the files begin with where not everyone may take them for the plan."""
        return ("INTERNAL_" if self.internal else "") + (f"{TRIAL}_" if self.settings.tried else "")

    @property
    def cautions(self) -> tuple[str, ...]:
        """What every output says of its use."""
        trial = [f"A trial, not the plan of the settings file: worked with {_listed(self.settings.tried)}."]
        stamp = [f"{STAMP}."] if self.internal else []
        return (*CAUTIONS, *(trial if self.settings.tried else []), *stamp)

    @property
    def shown(self) -> ShownUnits:
        """The units the tract is shown in."""
        return self.settings.shown

    def map(self) -> Any:
        """The field map as a ``folium.Map``: shown by a notebook, saved with ``.save("map.html")``, or added to."""
        from invasimap.reports.webmap import web_map  # drawing is loaded only when it is asked for

        return web_map(self)
