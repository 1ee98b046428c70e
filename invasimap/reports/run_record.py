"""The record of a run: what went in, what came out, with what, and whether it agrees with itself."""

from __future__ import annotations

import dataclasses
import importlib.metadata
import math
import platform
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from pydantic import BaseModel, SecretStr

from invasimap.core.database_address import is_database, postgis_label
from invasimap.core.files import PROGRAM
from invasimap.core.mix_settings import MixSection
from invasimap.core.quantities import NO_LIMIT
from invasimap.prescription.plan import Plan
from invasimap.reports.tables import LEDGER

PACKAGES = (
    "invasimap", "geopandas", "shapely", "pyproj", "pyogrio", "rasterio", "numpy", "pandas", "scipy", "numba",
    "pydantic", "matplotlib", "folium", "pikepdf", "pygeomag",
)  # fmt: skip


def run_record(plan: Plan, *, outputs: Iterable[str] = ()) -> dict[str, Any]:
    """What ``run.json`` holds; plain lists, texts and numbers."""
    return {
        "program": PROGRAM,
        "outputs": list(outputs),
        "internal": plan.internal,
        "tried": list(plan.settings.tried),
        "tract": plan.settings.tract.name,
        "made": plan.made.isoformat(timespec="seconds"),
        "crs": plan.crs.to_wkt(),
        "ledger": plain(plan.ledger[list(LEDGER)].to_dict("records")),
        "checks": [
            {"name": check.name, "value": plain(check.value), "limit": plain(check.limit), "passed": bool(check.passed)}
            for check in plan.checks
        ],
        "schedule": None if plan.treatment.answer is None else plain(plan.treatment.answer),
        "notes": list(plan.notes),
        "inputs": [{"path": file.shown, "sha256": file.sha256} for file in plan.inputs],
        "versions": versions(),
        "seconds": {name: round(float(value), 3) for name, value in plan.seconds.items()},
        "settings": plain(plan.settings),
    }


def versions() -> dict[str, str]:
    """Python and the packages that the figures depend on."""
    found = {"python": platform.python_version()}
    for name in PACKAGES:
        try:
            found[name] = importlib.metadata.version(name)
        except importlib.metadata.PackageNotFoundError:
            continue
    return found


def plain(value: Any) -> Any:
    """A value as JSON can hold it: models and dataclasses as tables, sets as sorted lists, NaN as null.

    Examples
    --------
    >>> plain({"a": frozenset({"b", "a"}), "c": float("nan")})
    {'a': ['a', 'b'], 'c': None}
    """
    if isinstance(value, BaseModel):
        return {name: _plain_setting(value, name) for name in type(value).model_fields}
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        items = sorted(value) if isinstance(value, set | frozenset) else value
        return [plain(item) for item in items]
    return _plain_scalar(value)


def _plain_setting(section: BaseModel, name: str) -> Any:
    """A setting of a section; no limit on a label, an infinite dose to reckon with, in the words that were typed."""
    value = getattr(section, name)
    no_limit = isinstance(section, MixSection) and isinstance(value, float) and value == math.inf
    return NO_LIMIT if no_limit else plain(value)


def _plain_scalar(value: Any) -> Any:
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float):
        return value if np.isfinite(value) else None
    if value is None or value is pd.NaT or isinstance(value, SecretStr):
        return None
    if isinstance(value, str):
        return postgis_label(value) if is_database(value) else value
    if isinstance(value, bool | int):
        return value
    return value.as_posix() if isinstance(value, Path) else str(value)
