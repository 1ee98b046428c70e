"""The account of every record: what became of it, file by file, and the survey that comes of it."""

from __future__ import annotations

import itertools
import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import isfinite
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from invasimap.inputs.cells import Cells, cell_text
from invasimap.inputs.formats.bounds import NOT_READ
from invasimap.inputs.patches import ellipses
from invasimap.inputs.recognise import Recognised
from invasimap.inputs.records import Cleaned, Records, stack_records
from invasimap.inputs.twice import without_copies
from invasimap.inputs.what_to_do import with_what_to_do

PATCH_COLUMNS: Final = (
    "id", "species", "common_name", "known", "date", "cover_pct", "cover_low_pct", "cover_high_pct", "cover_told",
    "height_m", "stems", "stem_mm", "accuracy_m", "observer", "shape", "file", "record", "notes", "other",
)  # fmt: skip
LEDGER_COLUMNS: Final = ("file", "records", "accepted", "repaired", "set_aside")
ROLE_COLUMNS: Final = ("file", "column", "role", "unit", "recognised_by")
BY: Final = {"name": "its name", "values": "its values", "setting": "columns in its [[survey]] block"}


@dataclass(frozen=True, kw_only=True)
class Survey:
    """What the field files gave.

    For each file ``records`` = ``accepted`` + ``repaired`` + ``set_aside`` in ``ledger``; a file that cannot be read
    counts as one record, number 0. ``set_aside`` has file, record, reason and the raw values as JSON. ``kept`` are the
    records that are used, in input order, in the working system ``crs`` in metres. ``columns`` says which column of
    which file was taken for what (file, column, role, unit, recognised_by); ``other`` holds, layer by layer, the
    columns of the kept records that were taken for nothing.
    """

    kept: Records
    other: list[pd.DataFrame]
    crs: CRS
    set_aside: gpd.GeoDataFrame
    repaired: pd.DataFrame
    ledger: pd.DataFrame
    notes: list[str]
    files: list[Path]
    columns: pd.DataFrame

    @cached_property
    def patches(self) -> gpd.GeoDataFrame:
        """The records that are used, as polygons: drawn when first asked for."""
        return patches_of(self.kept, self.other, crs=self.crs)


def gather(cleaned: Sequence[Cleaned], *, crs: CRS, files: list[Path], merge_copies: bool = True) -> Survey:
    """The survey that the layers' records make; with ``merge_copies`` of records that came twice one stays."""
    starts = np.cumsum([0, *(len(part.records) for part in cleaned)])
    spans = [slice(start, stop) for start, stop in itertools.pairwise(starts)]
    records = stack_records([part.records for part in cleaned])
    records, alike = without_copies(records) if merge_copies else (records, [])
    good, said = records.reason.blank, ~records.how.blank
    ledger = pd.DataFrame(
        [_row(part.raw.label, good[span], said[span]) for part, span in zip(cleaned, spans, strict=True)],
        columns=list(LEDGER_COLUMNS),
    )
    kept = take_records(records, np.flatnonzero(good)) if not good.all() else records
    other = [_not_taken(part, good[span]) for part, span in zip(cleaned, spans, strict=True)]
    notes = dict.fromkeys(note for part in cleaned for note in part.notes)
    return Survey(
        kept=kept,
        other=other,
        crs=crs,
        set_aside=_set_aside(records, [part.raw.frame for part in cleaned], np.flatnonzero(~good), starts, crs=crs),
        repaired=_repaired(records, np.flatnonzero(good & said)),
        ledger=ledger,
        notes=[*_unknown_notes(kept), *_file_notes(ledger, records), *notes, *alike],
        files=files,
        columns=pd.DataFrame(
            [_column_row(part.raw.label, one) for part in cleaned for one in part.columns],
            columns=list(ROLE_COLUMNS),
        ),
    )


def take_records(records: Records, rows: NDArray[np.intp]) -> Records:
    """Some of the records."""
    return Records(
        text={name: cells.take(rows) for name, cells in records.text.items()},
        number={name: _taken(values, rows) for name, values in records.number.items()},
        known=records.known[rows],
        xy=records.xy[rows],
        geometry=records.geometry[rows],
        placed=records.placed[rows],
        reason=records.reason.take(rows),
        how=records.how.take(rows),
    )


def _taken(values: NDArray[np.float64], rows: NDArray[np.intp]) -> NDArray[np.float64]:
    """The numbers of some records; one number for all of them stays one."""
    return np.broadcast_to(values[:1], len(rows)) if values.strides == (0,) else values[rows]


def _not_taken(part: Cleaned, good: NDArray[np.bool_]) -> pd.DataFrame:
    """What the kept records of a layer say in columns that have no role."""
    taken = {one.column for one in part.columns}
    left = part.raw.frame[[name for name in part.raw.frame.columns if name not in taken]]
    return left if good.all() else left.iloc[np.flatnonzero(good)]


def patches_of(records: Records, other: Sequence[pd.DataFrame], *, crs: CRS) -> gpd.GeoDataFrame:
    """Records as patches: polygons in the working system, with an id of their own and, as JSON, what else they say."""
    columns: dict[str, Any] = {name: cells.to_series() for name, cells in records.text.items()}
    said = [text for frame in other for text in _filled_json(frame)]
    columns["other"] = pd.Series(said)
    columns |= {**records.number, "known": records.known, "record": records.number["record"].astype(np.int64)}
    columns["cover_told"] = records.number["cover_told"] > 0
    columns["id"] = pd.Series([f"P{number:04d}" for number in range(1, len(records) + 1)])
    geometry = records.geometry.copy()
    points = np.flatnonzero(shapely.is_missing(geometry))
    a_m, b_m, bearing_deg = (records.number[name][points] for name in ("a_m", "b_m", "bearing_deg"))
    x, y = records.xy[points].T
    geometry[points] = ellipses(x, y, a_m=a_m, b_m=b_m, bearing_deg=bearing_deg)
    return gpd.GeoDataFrame({name: columns[name] for name in PATCH_COLUMNS}, geometry=geometry, crs=crs)


def _column_row(label: str, one: Recognised) -> tuple[str, str, str, str, str]:
    return label, one.column, one.role, one.unit, BY[one.how]


def _row(label: str, good: NDArray[np.bool_], said: NDArray[np.bool_]) -> tuple[str, int, int, int, int]:
    return label, len(good), int((good & ~said).sum()), int((good & said).sum()), int((~good).sum())


def _numbers(records: Records, rows: NDArray[np.intp]) -> dict[str, Any]:
    """File and record number of some records; that of a file that was not read is 0."""
    whole = records.reason.each([text.startswith(NOT_READ) for text in records.reason.texts], dtype=bool)[rows]
    numbers = records.number["record"][rows].astype(np.int64)
    return {"file": records.text["file"].take(rows).to_series(), "record": np.where(whole, 0, numbers)}


def _repaired(records: Records, rows: NDArray[np.intp]) -> pd.DataFrame:
    return pd.DataFrame({**_numbers(records, rows), "how": records.how.take(rows).to_series()})


def _set_aside(
    records: Records, frames: list[pd.DataFrame], rows: NDArray[np.intp], starts: NDArray[Any], *, crs: CRS
) -> gpd.GeoDataFrame:  # fmt: skip
    layer = np.searchsorted(starts, rows, side="right") - 1
    raw: list[str] = []
    for number in np.unique(layer):
        own = rows[layer == number] - starts[number]
        raw += _raw_json(frames[number].iloc[own])
    geometry = records.placed[rows]
    points = ~np.isnan(records.xy[rows]).any(axis=1)
    geometry[points] = shapely.points(records.xy[rows][points])
    reason = records.reason.take(rows).map(with_what_to_do)
    columns = {**_numbers(records, rows), "reason": reason.to_series(), "raw": np.array(raw, object)}
    return gpd.GeoDataFrame(columns, geometry=geometry, crs=crs)


def _raw_json(frame: pd.DataFrame) -> list[str]:
    """Raw values of each row as JSON; a missing value is null."""
    if frame.columns.empty:
        return ["{}"] * len(frame)
    columns = [_json_cells(str(name), frame[name].astype(object).tolist()) for name in frame.columns]
    return [f"{{{', '.join(cells)}}}" for cells in zip(*columns, strict=True)]


def _json_cells(name: str, values: list[Any]) -> list[str]:
    """Values of a column as members of a JSON object; each distinct text is worked once."""
    key = json.dumps(name, ensure_ascii=False)
    texts = {text: f"{key}: {json.dumps(text, ensure_ascii=False)}" for text in {v for v in values if type(v) is str}}
    return [texts[value] if type(value) is str else f"{key}: {_json_value(value)}" for value in values]


def _json_value(value: Any) -> str:
    if type(value) is float and isfinite(value):
        return repr(value)  # what json writes, without its detours
    missing = not isinstance(value, str) and cell_text(value) == ""
    return "null" if missing else json.dumps(value, ensure_ascii=False, default=_plain)


def _filled_json(frame: pd.DataFrame) -> list[str]:
    """The values of each row that are not blank as JSON; nothing where all are."""
    if frame.columns.empty:
        return [""] * len(frame)
    names = list(map(str, frame.columns))
    rows = zip(*(Cells.of(frame[name]).to_numpy() for name in frame.columns), strict=True)
    filled = ({name: text for name, text in zip(names, row, strict=True) if text} for row in rows)
    return [json.dumps(values, ensure_ascii=False) if values else "" for values in filled]


def _plain(value: Any) -> Any:
    return value.item() if isinstance(value, np.generic) else str(value)


def _file_notes(ledger: pd.DataFrame, records: Records) -> list[str]:
    """Files that were not read, and those that hold nothing."""
    notes = []
    for number, text in enumerate(records.reason.texts):
        if text.startswith(NOT_READ):
            files = records.text["file"].take(np.flatnonzero(records.reason.codes == number)).used()
            notes += [f"{file}: NOT READ: {text.partition(': ')[2]}" for file in files]
    return notes + [f"{row.file}: holds no record" for row in ledger.itertuples() if row.records == 0]


def _unknown_notes(kept: Records) -> list[str]:
    unknown = np.flatnonzero(~kept.known)
    names = kept.text["species"].take(unknown)
    counts = np.bincount(names.codes, minlength=len(names.texts))
    found = sorted((name, int(count)) for name, count in zip(names.texts, counts, strict=True) if count)
    if not found:
        return []
    named = ", ".join(f"{name} ({count} record{'s' if count > 1 else ''})" for name, count in found)
    return [
        f"NOT IN THE PLANT LIST, so counted as plants to treat: {named}. If one is native or wanted, take it out of "
        'the survey, or list it with the status "native" or "ignore" in your own plant file ([intake] species).'
    ]
