"""The layers a tract.toml names, read, checked and brought to the tract's working system; every fault at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from functools import partial
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from invasimap.core.crs import read_crs, to_working, working_crs
from invasimap.core.database_address import is_database
from invasimap.core.errors import Fault, InputError, LayerError
from invasimap.core.files import with_side_files
from invasimap.core.geometry import empty_layer
from invasimap.core.settings import CrossingsLayer, ProtectSection, StandsSection, Tract, WaysSection
from invasimap.core.survey_settings import Layer
from invasimap.inputs.fields import find_columns, with_unit
from invasimap.inputs.layers import read_layer
from invasimap.inputs.sprayed import SPRAYED_COLUMNS, as_sprayed
from invasimap.inputs.values import parse_size
from invasimap.land.covers import confidential_rows, covers
from invasimap.land.features import FEATURE_COLUMNS
from invasimap.land.ground import Ground, make_ground
from invasimap.land.hidden_place import key_of
from invasimap.land.notes import elevation_notes, left_out_notes, stand_overlaps, unknown_share, unused_ways
from invasimap.land.placing import crs_of_stands, placed
from invasimap.land.terrain import Terrain, flat_terrain, raster_facts, read_terrain
from invasimap.land.words import OUTSIDE

ENTRY_MARGIN_M = 3_000.0  # entries this far out still count: the grid is made to hold them
MARGIN_M = 300.0  # ground round the stands that is worked too: what leads to them


@dataclass(frozen=True, kw_only=True)
class LandLayers:
    """The tract's land as vectors, all in ``crs``; see ``Ground`` for the columns.

    As read, ``features`` holds the confidential ones and there are no ``covers``; ``covered`` puts these in their
    place. ``true_features`` stays as read, for the checks. ``sprayed`` is what the log says was put on before
    (``inputs.sprayed``). ``private_notes`` tell of confidential layers: for the owner alone.
    """

    crs: CRS
    stands: gpd.GeoDataFrame
    features: gpd.GeoDataFrame
    ways: gpd.GeoDataFrame
    entries: gpd.GeoDataFrame
    barriers: gpd.GeoDataFrame
    wet_ground: gpd.GeoDataFrame
    open_ground: gpd.GeoDataFrame
    crossings: gpd.GeoDataFrame
    sprayed: gpd.GeoDataFrame
    covers: gpd.GeoDataFrame
    true_features: gpd.GeoDataFrame
    notes: tuple[str, ...]
    private_notes: tuple[str, ...]
    files: tuple[Path, ...]

    def layers(self) -> dict[str, Any]:
        """The system and the layers by name, as a plan may hold them."""
        apart = ("sprayed", "covers", "true_features", "notes", "private_notes", "files")
        return {f.name: getattr(self, f.name) for f in fields(self) if f.name not in apart}

    def covered(self, *, words: str, hide_within_m: float, terrain: Terrain) -> LandLayers:
        """The same with covers in place of the confidential features."""
        made = covers(self.features, key=key_of(words), hide_within_m=hide_within_m, terrain=terrain)
        return replace(self, features=self.features[~confidential_rows(self.features)], covers=made)

    @property
    def guarded(self) -> gpd.GeoDataFrame:
        """All that spray keeps off and that may stop somebody: the features, and the covers of hidden ones."""
        if self.covers.empty:
            return self.features
        return pd.concat([self.features, self.covers], ignore_index=True) if len(self.features) else self.covers

    @property
    def outline(self) -> Any:
        """The tract: all its stands joined."""
        return self.stands.geometry.union_all()

    def ground(self, terrain: Terrain) -> Ground:
        """These layers on a terrain."""
        names = ("ways", "entries", "barriers", "wet_ground", "open_ground", "crossings")
        layers = {name: getattr(self, name) for name in names}
        return make_ground(terrain, outline=self.outline, features=self.guarded, **layers)


def read_land(tract: Tract) -> LandLayers:
    """Read every land layer of a tract.

    Raises
    ------
    InputError
        Lists every layer that is missing, unreadable, of the wrong shape, in the wrong place or without what the
        settings ask of it.
    """
    raw, faults = _read_all(tract)
    if faults or not raw["stands"]:
        raise InputError(faults)
    stands = raw["stands"][0]
    crs = crs_of_stands(stands, stands.attrs["where"])
    outline = to_working(stands, crs, name="stands").geometry.union_all()
    on_ground, faults = _all_placed(raw, crs, outline)
    faults += _priority_faults(tract, stands)
    if faults:
        raise InputError(faults)
    layers = {name: _combined(frames, crs, name) for name, frames in on_ground.items()}
    notes, private = _layer_notes(tract, on_ground)
    left_out, left_out_private = left_out_notes(tract, raw["features"])
    notes += [*stand_overlaps(layers["stands"]), *unused_ways(tract, layers), *left_out]
    return LandLayers(
        crs=crs, notes=tuple(notes), private_notes=(*private, *left_out_private), files=tuple(_files(tract)),
        covers=empty_layer(crs, *FEATURE_COLUMNS), true_features=layers["features"], **layers,
    )  # fmt: skip


def _priority_faults(tract: Tract, stands: gpd.GeoDataFrame) -> list[Fault]:
    """Stands that are given a priority and are not there: it would count for nothing."""
    known = sorted(set(stands["stand"].astype(str)))
    wrong = [repr(name) for name in tract.schedule.stand_priority if name not in known]
    named = f"{', '.join(known[:10])}{' and others' if len(known) > 10 else ''}"
    what = f"names what is no stand: {', '.join(wrong)}"
    return [Fault(where="[schedule] stand_priority", what=what, mend=f"there are: {named}")] if wrong else []


def _layer_notes(tract: Tract, on_ground: dict[str, list[gpd.GeoDataFrame]]) -> tuple[list[str], list[str]]:
    """What is to be said of each layer, and apart what is of confidential ones."""
    found: tuple[list[str], list[str]] = ([], [])
    for name, frames in on_ground.items():
        for row, frame in enumerate(frames):
            found[name == "features" and tract.protect[row].confidential].extend(frame.attrs["notes"])
    return found


def stands_alone(tract: Tract) -> tuple[CRS, Any]:
    """The working system and the outline of the stands, where nothing else of the land need be right; without stands a
    system of no place in particular, and None."""
    try:
        read = read_layer(tract.stands, folder=tract.folder, name="[stands]", limits=tract.intake.limits)
        stands = _as_stands(read, tract.stands, "[stands]")
        crs = crs_of_stands(stands, f"[stands]: {tract.stands.shown}")
        return crs, to_working(stands, crs, name="stands").geometry.union_all()
    except InputError:
        return working_crs(0.0, 0.0), None


def read_tract_terrain(tract: Tract, land: LandLayers, patches: gpd.GeoDataFrame) -> tuple[Terrain, list[str]]:
    """Elevation over the stands, the patches and a margin, and what is to be said of it and of far entries.

    Raises
    ------
    LayerError
        When the elevation cannot be read, or has nothing anywhere in the stands.
    """
    near = land.entries[land.entries.distance(land.outline) <= ENTRY_MARGIN_M]
    boxes = np.array([layer.total_bounds for layer in (land.stands, patches, near) if not layer.empty])
    low, high = boxes[:, :2].min(axis=0) - MARGIN_M, boxes[:, 2:].max(axis=0) + MARGIN_M
    bounds = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    cell_m = tract.access.cell_m
    far = [f"{len(land.entries) - len(near)} entries lie over 3 km from the stands and are not used."]
    notes = far if len(near) < len(land.entries) else []
    if tract.land.elevation is None:
        note = "NO ELEVATION DATA: the ground was taken as level, so slope stopped nothing. Set elevation in [land]."
        level = flat_terrain(bounds, cell_m=cell_m, crs=land.crs)
        return level, [*notes, note]
    own = tract.land.elevation_crs
    terrain = read_terrain(
        tract.path(tract.land.elevation),
        bounds,
        cell_m=cell_m,
        crs=land.crs,
        unit=tract.land.elevation_unit,
        source_crs=read_crs(own, where="[land] elevation_crs") if own else None,
    )
    if unknown_share(terrain, within=land.outline) == 1:
        what = "has no elevation anywhere in the stands"
        mend = "name a raster that covers them, or check its coordinate reference system"
        raise LayerError(Fault(where=f"[land] elevation: {tract.land.elevation}", what=what, mend=mend))
    return terrain, [*notes, *elevation_notes(terrain, within=land.outline)]


def elevation_faults(tract: Tract) -> list[Fault]:
    """What keeps the elevation from being read, found without reading it."""
    if tract.land.elevation is None:
        return []
    where = f"[land] elevation: {tract.land.elevation}"
    path = tract.path(tract.land.elevation)
    if not path.is_file():
        what = "is a folder, not a raster file" if path.is_dir() else "there is no such file"
        return [Fault(where=where, what=what, mend="name one raster file, such as a GeoTIFF")]
    own = tract.land.elevation_crs
    try:
        raster_facts(path, unit=tract.land.elevation_unit, source_crs=read_crs(own, where=where) if own else None)
    except InputError as error:
        return list(error.faults)
    return []


def _read_all(tract: Tract) -> tuple[dict[str, list[gpd.GeoDataFrame]], list[Fault]]:
    """Every layer in its own system, by name, and the faults met."""
    land = tract.land
    wanted: list[tuple[str, str, Layer | None, Callable[[gpd.GeoDataFrame, Any, str], gpd.GeoDataFrame]]] = [
        ("stands", "[stands]", tract.stands, _as_stands),
        ("ways", "[ways]", tract.ways, _as_ways),
        ("entries", "[entries]", tract.entries, _as_they_are),
        ("barriers", "[land] barriers", land.barriers, _as_they_are),
        ("wet_ground", "[land] wet_ground", land.wet_ground, _as_they_are),
        ("open_ground", "[land] open_ground", land.open_ground, _as_they_are),
        ("crossings", "[land] crossings", land.crossings, _as_crossings),
        ("sprayed", "[log]", tract.log, partial(_as_sprayed, timezone=tract.tract.zone)),
        *(("features", f"[[protect]] {block.kind}", block, _as_features) for block in tract.protect),
    ]
    raw: dict[str, list[gpd.GeoDataFrame]] = {name: [] for name in (*(row[0] for row in wanted), "features")}
    faults: list[Fault] = []
    for name, where, layer, checked in wanted:
        if layer is None:
            continue
        try:
            read = read_layer(layer, folder=tract.folder, name=where, limits=tract.intake.limits)
            if lost := read.attrs["lost"]:
                faults += [_lost_fault(where, text) for text in lost]
            found = checked(read, layer, where)
            found.attrs["where"] = f"{where}: {layer.shown}"
            raw[name].append(found)
        except InputError as error:
            faults += error.faults
    return raw, faults


def _lost_fault(where: str, said: str) -> Fault:
    mend = "mend or delete these records: left so, what they stand for is not protected, blocks nothing or is not there"
    return Fault(where=where, what=said.removeprefix(f"{where}: "), mend=mend)


def _all_placed(
    raw: dict[str, list[gpd.GeoDataFrame]], crs: CRS, outline: Any
) -> tuple[dict[str, list[gpd.GeoDataFrame]], list[Fault]]:
    found: dict[str, list[gpd.GeoDataFrame]] = {name: [] for name in raw}
    faults: list[Fault] = []
    for name, frames in raw.items():
        for frame in frames:
            try:
                found[name].append(placed(frame, crs=crs, outline=outline, where=frame.attrs["where"]))
            except InputError as error:
                faults += error.faults
    return found, faults


def _combined(frames: list[gpd.GeoDataFrame], crs: CRS, name: str) -> gpd.GeoDataFrame:
    columns = {
        "ways": ("class", "allows"), "features": FEATURE_COLUMNS, "crossings": ("width_m",), "sprayed": SPRAYED_COLUMNS,
    }  # fmt: skip
    moved = [frame for frame in frames if not frame.empty]
    if not moved:
        return empty_layer(crs, *columns.get(name, ()))
    joined = pd.concat(moved, ignore_index=True)
    return gpd.GeoDataFrame(joined, geometry="geometry", crs=crs)


def _as_they_are(frame: gpd.GeoDataFrame, _layer: Layer, _where: str) -> gpd.GeoDataFrame:
    return _with(frame)


def _as_stands(frame: gpd.GeoDataFrame, layer: StandsSection, where: str) -> gpd.GeoDataFrame:
    names = _column(frame, layer.id, where, "id")
    flat = shapely.get_dimensions(frame.geometry.to_numpy()) < 2
    blank = names.isin(["", OUTSIDE]).to_numpy()
    if frame.empty or flat.any() or blank.any():
        raise LayerError(_stand_faults(frame, layer, where, flat, blank))
    return _with(frame, stand=names)


def _stand_faults(frame: gpd.GeoDataFrame, layer: StandsSection, where: str, flat: Any, blank: Any) -> list[Fault]:
    place = f"{where} {layer.shown}"
    faults = [Fault(where=place, what="holds no stand")] if frame.empty else []
    for bad, what, mend in (
        (flat, "not polygons", "stands are areas: name the polygon layer"),
        (blank, f"no name in {layer.id!r}", f"give every stand a name, other than {OUTSIDE!r}"),
    ):
        if bad.any():
            rows = ", ".join(str(row + 1) for row in np.flatnonzero(bad)[:8])
            faults.append(Fault(where=place, what=f"{what}: features {rows}", mend=mend))
    return faults


def _as_ways(frame: gpd.GeoDataFrame, layer: WaysSection, where: str) -> gpd.GeoDataFrame:
    classes = _column(frame, layer.column, where, "column")
    allows = [";".join(sorted(layer.allows.get(name, ()))) for name in classes]
    return _with(frame, **{"class": classes, "allows": allows})


def _as_crossings(frame: gpd.GeoDataFrame, layer: CrossingsLayer, where: str) -> gpd.GeoDataFrame:
    """The crossings with the width each says for itself (a column such as ``width_ft``), else that of the settings."""
    width_m = np.full(len(frame), np.nan)
    faults = []
    for column in find_columns(map(str, frame.columns)).get("width", []):
        for row in np.flatnonzero(np.isnan(width_m) & frame[column.name].notna().to_numpy()):
            text = str(frame[column.name].iloc[row]).strip()
            read = parse_size(with_unit(text, column.unit), role="width", dimension="length")
            width_m[row] = read.value
            if read.problem:
                faults.append(Fault(where=f"{where} {layer.shown}", what=f"feature {row + 1}: {read.problem}"))
    if faults:
        raise LayerError(faults)
    unsaid = np.isnan(width_m)
    made = _with(frame, width_m=np.where(unsaid, layer.width_m, width_m))
    if unsaid.any() and "width_m" not in layer.model_fields_set:
        count = "The crossings" if unsaid.all() else f"{unsaid.sum()} of {len(frame)} crossings"
        made.attrs["notes"].append(
            f"{count} are taken as 20 ft wide: if narrower set width in [land] crossings, or a column width_ft."
        )
    return made


def _as_sprayed(frame: gpd.GeoDataFrame, layer: Layer, where: str, *, timezone: ZoneInfo) -> gpd.GeoDataFrame:
    return as_sprayed(frame, where=f"{where}: {layer.shown}", timezone=timezone)


def _as_features(frame: gpd.GeoDataFrame, block: ProtectSection, where: str) -> gpd.GeoDataFrame:
    if frame.empty:
        asked = f" that match where = {block.where}" if block.where else ""
        what = f"holds no features{asked}"
        raise LayerError(
            Fault(where=f"{where} {block.shown}", what=what, mend="mend where, or take the block out if there are none")
        )
    return _with(
        frame.explode(ignore_index=True),
        kind=block.kind,
        rule=block.rule,
        confidential=block.confidential,
        no_spray_m=block.no_spray_m,
        hand_only_m=np.nan if block.hand_only_m is None else block.hand_only_m,
        width_m=block.width_m,
        per_slope_m=block.per_slope_m,
        position_error_m=block.position_error_m,
        blocks=";".join(sorted(block.blocks)),
    )


def _with(frame: gpd.GeoDataFrame, **columns: Any) -> gpd.GeoDataFrame:
    """The frame's geometry with just these columns."""
    data = {key: np.asarray(value, object) if isinstance(value, pd.Series) else value for key, value in columns.items()}
    made = gpd.GeoDataFrame(data, geometry=frame.geometry.to_numpy(), index=range(len(frame)), crs=frame.crs)
    made.attrs.update({"notes": list(frame.attrs.get("notes", ())), "left_out": frame.attrs.get("left_out", {})})
    return made


def _column(frame: gpd.GeoDataFrame, name: str, where: str, setting: str) -> pd.Series:
    """A column as text; whole numbers without their decimals."""
    if name not in frame.columns:
        known = ", ".join(str(column) for column in frame.columns if column != "geometry")
        raise LayerError(Fault(where=where, what=f"{setting} names no column {name!r}", mend=f"columns: {known}"))
    values = frame[name]
    return pd.Series(
        [
            "" if pd.isna(v) else str(int(v)) if isinstance(v, float) and v.is_integer() else str(v).strip()
            for v in values
        ],
        index=frame.index,
    )


def _files(tract: Tract) -> list[Path]:
    land = tract.land
    layers = [tract.stands, tract.ways, tract.entries, land.barriers, land.wet_ground, land.open_ground, land.crossings]
    named = [layer.file for layer in [*layers, tract.log, *tract.protect] if layer is not None]
    names = [name for name in named if not is_database(name)]
    paths = {tract.path(name) for name in names + ([land.elevation] if land.elevation else [])}
    return sorted({part for path in paths for part in with_side_files(path)})
