"""A look through a folder: every file read once, for facts about what it holds."""

from __future__ import annotations

import dataclasses
import os
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import rasterio
import shapely
from pyproj import CRS, Transformer
from pyproj.exceptions import ProjError

from invasimap.core.errors import Fault, InputError
from invasimap.core.files import RESULTS, is_trial, sha256
from invasimap.core.survey_settings import SurveySection
from invasimap.inputs.cells import text_column
from invasimap.inputs.formats.door import SIDE_FILES, SUFFIXES, read_file
from invasimap.inputs.formats.photos import read_photos
from invasimap.inputs.formats.raw import RawLayer
from invasimap.inputs.layers import layers_by_name
from invasimap.inputs.mend import tangled
from invasimap.inputs.roles import role_cells
from invasimap.inputs.sniff import (
    ColumnFacts,
    Guess,
    LayerFacts,
    LonLatBounds,
    RasterFacts,
    guess_layer,
    guess_raster,
    unknown,
)
from invasimap.inputs.species import Catalogue, plain_name

RASTERS: Final = {
    ".tif": "GTiff", ".tiff": "GTiff", ".img": "HFA", ".asc": "AAIGrid", ".bil": "EHdr", ".flt": "EHdr",
}  # fmt: skip
_PHOTOS: Final = (".jpg", ".jpeg", ".png", ".heic", ".heif")
_SKIPPED: Final = (*RESULTS, "__MACOSX", "__pycache__")
_MOST_NAMES: Final = 200  # plant names of a layer that are looked up
_MOST_VALUES: Final = 12
_MOST_TILES: Final = 500
_MOST_POINTS: Final = 1_000_000  # of all their outlines
_OVERLAP: Final = 0.02  # of the area, up to which polygons count as lying side by side


@dataclass(frozen=True, kw_only=True)
class Finding:
    """A file or a layer of it, and what it seems to be; ``facts`` is None where it could not be read."""

    file: str
    guess: Guess
    facts: LayerFacts | RasterFacts | None = None

    @property
    def layer(self) -> str | None:
        """The layer's name where its file holds several."""
        return self.facts.layer if isinstance(self.facts, LayerFacts) else None


def look_through(folder: Path, *, species: Catalogue) -> list[Finding]:
    """What every file of a folder seems to be, in the order of their names.

    Hidden files, ``out`` folders, an existing ``tract.toml`` and the files that belong to a shapefile are passed over;
    links to folders are not followed.

    Raises
    ------
    InputError
        When there is no such folder.
    """
    if not folder.is_dir():
        raise InputError(Fault(where=str(folder), what="is no folder", mend="name the folder with the field files"))
    found: list[Finding] = []
    seen: dict[str, str] = {}
    pictures: dict[str, list[Path]] = {}
    for path in list_files(folder):
        name = path.relative_to(folder).as_posix()
        if path.suffix.lower() in _PHOTOS and path.is_file():
            pictures.setdefault(str(path.relative_to(folder).with_name(f"*{path.suffix}")), []).append(path)
            continue
        twin = _twin(path, name, seen)
        found += [_left(name, f"the same, byte for byte, as {twin}")] if twin else look_at(path, name, species=species)
    return found + [_pictures(pattern, paths) for pattern, paths in pictures.items()]


def _pictures(pattern: str, paths: list[Path]) -> Finding:
    """The pictures of a folder: worth a block where any says where it was taken."""
    table = read_photos(paths, labels=[path.name for path in paths])
    located = int((table["problem"] == "").sum())
    if not located:
        return _left(pattern, f"{_count(len(paths), 'picture')} without a position")
    reason = f"{located} of {_count(len(paths), 'picture')} say where they were taken"
    return Finding(file=pattern, guess=Guess(kind="photos", label="pictures", reason=reason))


def _count(number: int, name: str) -> str:
    return f"{number} {name}{'s' if number != 1 else ''}"


def list_files(folder: Path) -> list[Path]:
    """Files below a folder that are worth a word, sorted; a file geodatabase is one."""
    found: list[Path] = []
    for place, folders, files in os.walk(folder):
        bases = [Path(place) / name for name in folders if name.lower().endswith(".gdb")]
        folders[:] = [name for name in folders if not _passed_over(name) and not name.lower().endswith(".gdb")]
        folders[:] = [name for name in folders if is_trial(Path(place) / name) is None]  # no earlier result
        paths = [Path(place) / name for name in files if not _passed_over(name) and name != "tract.toml"]
        shapefiles = {p.stem.lower() for p in paths if p.suffix.lower() == ".shp"}
        rasters = {p.stem.lower() for p in paths if p.suffix.lower() in RASTERS}
        found += bases + [p for p in paths if not _is_side_file(p, shapefiles, rasters)]
    return sorted(found)


def look_at(path: Path, name: str, *, species: Catalogue) -> list[Finding]:
    """What the layers of one file seem to be."""
    suffix = path.suffix.lower()
    if any("\ud800" <= sign <= "\udfff" for sign in name) or name.startswith("~"):
        return [_left(name, "its name cannot be written in a settings file: rename it")]
    if suffix in RASTERS:
        return [_look_at_raster(path, name)]
    if suffix not in SUFFIXES:
        return [_left(name, f"{suffix or 'no suffix'!r} is no kind of file that is read")]
    try:
        parts = _parts(read_file(path, label=name), species)
    except InputError as error:
        return [_left(name, error.faults[0].what)]
    all_facts = [
        layer_facts(part, file=name, layer=key if len(parts) > 1 else None, species=species)
        for key, part in parts.items()
    ]
    found = [Finding(file=name, guess=guess_layer(facts), facts=facts) for facts in all_facts]
    return _whole_gpx(found) if suffix == ".gpx" else found


def layer_facts(part: RawLayer, *, file: str, layer: str | None, species: Catalogue) -> LayerFacts:
    """Facts about a layer as read; its ``marks`` hold, as ``species``, what a survey would take for the names."""
    usable = (part.marks["problem"] == "").to_numpy() & ~shapely.is_missing(part.shapes)
    shapes = part.shapes[usable]
    kinds = np.bincount(shapely.get_dimensions(shapes[~shapely.is_empty(shapes)]), minlength=3)
    cells = part.marks["species"]
    names = tuple(str(name) for name in dict.fromkeys(cells[cells != ""]))[:_MOST_NAMES]
    matches = [species.match(plain_name(name)) for name in names]
    near = sum(match.known or bool(match.suggestions) for match in matches)
    return LayerFacts(
        file=file,
        suffix=Path(file).suffix.lower(),
        layer=layer,
        shapes=(int(kinds[0]), int(kinds[1]), int(kinds[2])),
        lost=int(len(part.frame) - kinds.sum()),
        columns=tuple(_column_facts(part, name) for name in part.frame.columns),
        plants=names,
        known_pct=100 * near / max(len(names), 1),
        tiles=_tiles(shapes),
        has_crs=part.crs is not None,
        bounds=_lonlat_bounds(tuple(shapely.total_bounds(shapes)), part.crs) if len(shapes) else None,
    )


def _left(name: str, reason: str) -> Finding:
    return Finding(file=name, guess=unknown(reason))


def _passed_over(name: str) -> bool:
    return name.startswith(".") or name in _SKIPPED


def _is_side_file(path: Path, shapefiles: set[str], rasters: set[str]) -> bool:
    suffix, stem = path.suffix.lower(), path.name.lower().split(".")[0]
    beside_shape = suffix in SIDE_FILES and any(path.name.lower().startswith(f"{name}.") for name in shapefiles)
    return beside_shape or (suffix in (".prj", ".hdr", ".tfw", ".xml", ".ovr", ".rrd") and stem in rasters)


def _twin(path: Path, name: str, seen: dict[str, str]) -> str:
    """The file seen before with the same content; shapefiles are never compared, being several files each."""
    if path.is_dir() or path.suffix.lower() not in SUFFIXES or path.suffix.lower() == ".shp":
        return ""
    try:
        digest = sha256(path) if path.stat().st_size else ""
    except OSError:
        return ""
    first = seen.setdefault(digest, name) if digest else name
    return "" if first == name else first


def _parts(layers: list[RawLayer], species: Catalogue) -> dict[str, RawLayer]:
    """Layers by the name that a settings file gives them, each with what a survey would read as its species."""
    section = SurveySection(files=["*"])
    told = []
    for raw in layers:
        named = role_cells(raw, section, species).cells["species"]
        told.append(dataclasses.replace(raw, marks=raw.marks.assign(species=named.to_numpy())))
    return layers_by_name(told)


def _whole_gpx(found: list[Finding]) -> list[Finding]:
    """The parts of a receiver's file belong together: one of them a survey, all of them are."""
    lead = next((finding.guess for finding in found if finding.guess.kind == "survey"), None)
    return found if lead is None else [dataclasses.replace(finding, guess=lead) for finding in found]


def _column_facts(part: RawLayer, name: Any) -> ColumnFacts:
    cells = text_column(part.frame[name])
    counts = cells[cells != ""].value_counts()
    common = sorted(((str(value), int(count)) for value, count in counts.items()), key=lambda item: (-item[1], item[0]))
    blank = int((cells == "").sum())
    return ColumnFacts(name=str(name), blank=blank, distinct=len(counts), common=tuple(common[:_MOST_VALUES]))


def _tiles(shapes: np.ndarray) -> bool:
    """Whether polygons meet one another and hardly overlap."""
    if not 1 < len(shapes) <= _MOST_TILES or (shapely.get_dimensions(shapes) != 2).any():
        return False
    if shapely.get_num_coordinates(shapes).sum() > _MOST_POINTS:
        return False
    if tangled(shapes).any():
        return False
    mended = shapely.make_valid(shapely.force_2d(shapes))
    joined = shapely.union_all(mended)
    total = float(shapely.area(mended).sum())
    meet = int(shapely.get_num_geometries(joined)) < len(shapes)
    return meet and total > 0 and 1 - float(joined.area) / total <= _OVERLAP


def _lonlat_bounds(bounds: tuple[float, ...], crs: CRS | None) -> LonLatBounds | None:
    if crs is None or not np.isfinite(bounds).all():
        return None
    left, bottom, right, top = bounds
    try:
        moved = Transformer.from_crs(crs, 4326, always_xy=True).transform_bounds(left, bottom, right, top)
    except ProjError:  # a local system that leads nowhere: the layer's reader says so
        return None
    return moved if np.isfinite(moved).all() else None


def _look_at_raster(path: Path, name: str) -> Finding:
    try:
        facts = _raster_facts(path, name)
    except (rasterio.errors.RasterioError, OSError) as error:
        return _left(name, f"cannot be read as a raster: {error}")
    return Finding(file=name, guess=guess_raster(facts), facts=facts)


def _raster_facts(path: Path, name: str) -> RasterFacts:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", rasterio.errors.NotGeoreferencedWarning)  # said as a missing system
        with rasterio.open(path, driver=RASTERS[path.suffix.lower()]) as source:
            crs = CRS.from_wkt(source.crs.to_wkt()) if source.crs else None
            return RasterFacts(
                file=name,
                bands=source.count,
                dtype=source.dtypes[0],
                unit=(source.units[0] or "").strip(),
                has_crs=crs is not None,
                bounds=_lonlat_bounds(tuple(source.bounds), crs),
            )
