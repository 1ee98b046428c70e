"""What may be shown of confidential features: their zone, and nothing that names or places them."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from invasimap.core.database_address import is_database
from invasimap.core.files import with_side_files
from invasimap.core.settings import ProtectSection
from invasimap.land.features import tells_confidential
from invasimap.land.words import WIDEST_GAP_M
from invasimap.prescription.plan import Plan
from invasimap.reports.wording import RESTRICTED


def confidential_rows(layer: pd.DataFrame) -> pd.Series:
    """Which rows of a layer are confidential; none where the layer does not say."""
    if "confidential" not in layer.columns:
        return pd.Series(False, index=layer.index)
    return layer["confidential"].fillna(False).astype(bool)


def open_features(plan: Plan) -> gpd.GeoDataFrame:
    """The protected features that may be drawn where they are."""
    return plan.features[~confidential_rows(plan.features)]


def shown_protection(plan: Plan) -> gpd.GeoDataFrame:
    """The zones with kind and rule, ``restricted`` in place of both where the feature is confidential."""
    layer = plan.protection.copy()
    hidden = confidential_rows(layer)
    layer[["kind", "rule"]] = layer[["kind", "rule"]].astype(object)
    layer.loc[hidden, ["kind", "rule"]] = RESTRICTED
    return layer


def shown_gain(plan: Plan) -> pd.DataFrame:
    """What each change would add, without the place of an opening that a confidential feature may need."""
    table = plan.reach_gain.copy()
    hidden = tells_confidential(table["x"], table["y"], plan.features, within_m=WIDEST_GAP_M)
    table.loc[hidden, ["x", "y"]] = np.nan
    return table


def shown_rules(plan: Plan) -> list[ProtectSection]:
    """The ``[[protect]]`` blocks with confidential kinds, rules and files taken out."""
    hidden: dict[str, Any] = {"kind": RESTRICTED, "rule": RESTRICTED, "file": RESTRICTED, "layer": None, "where": {}}
    return [block.model_copy(update=hidden) if block.confidential else block for block in plan.settings.protect]


def shown_notes(plan: Plan) -> list[str]:
    """The plan's notes, without the names of confidential kinds, rules and files."""
    secret = secrets(plan)
    return [without(note, secret) for note in plan.notes]


def secrets(plan: Plan) -> list[str]:
    """Names, rules and files of confidential features, longest first, unless an open block says the same."""
    told = {text for block in plan.settings.protect if not block.confidential for text in _texts(block)}
    kept = {text for block in plan.settings.protect if block.confidential for text in _texts(block)}
    return sorted(kept - told - {""}, key=len, reverse=True)


def hidden_files(plan: Plan) -> set[Path]:
    """The files that hold confidential features alone, with those beside them."""
    files: dict[bool, set[Path]] = {True: set(), False: set()}
    for block in plan.settings.protect:
        if not is_database(block.file):
            files[block.confidential].update(with_side_files(plan.settings.path(block.file)))
    return files[True] - files[False]


def without(text: str, secret: Iterable[str]) -> str:
    """A text with each secret replaced."""
    for word in secret:
        text = re.sub(rf"(?<!\w){re.escape(word)}(?!\w)", RESTRICTED, text)
    return text


def _texts(block: ProtectSection) -> tuple[str, ...]:
    return block.kind, block.rule, block.file, block.shown, block.layer or ""
