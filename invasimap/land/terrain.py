"""Elevation on a square grid in the working system: reading, slope and shade."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import rasterio
from affine import Affine
from pyproj import CRS
from rasterio import warp
from rasterio.enums import Resampling
from rasterio.vrt import WarpedVRT
from scipy import ndimage

from invasimap.core.errors import CRSError, Fault, LayerError
from invasimap.core.units import M_PER_FT

Grid = npt.NDArray[np.float32]
LOWEST_M, HIGHEST_M = -500.0, 9_000.0  # no land lies lower or higher
MOST_CELLS = 100_000_000
UNIT_MEND = 'set elevation_unit = "m" (or "ft", "us-ft") in [land] (from Python, unit="m")'
_AROUND = ((0, 0), (1, 0), (1, 1), (0, 1))
METRES_PER_UNIT = {"m": 1.0, "ft": M_PER_FT, "us-ft": 1200 / 3937}
UNIT_NAMES = {
    "metre": "m", "meter": "m", "metres": "m", "meters": "m", "m": "m", "foot": "ft", "feet": "ft", "ft": "ft",
    "us survey foot": "us-ft", "us_survey_foot": "us-ft", "us-ft": "us-ft", "ftus": "us-ft",
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Terrain:
    """Elevation in metres on north-up square cells; NaN where it is not known.

    ``flat`` says that there is no elevation at all and level ground was assumed; ``source_cell_m`` is the side of the
    cells that the elevation was made in, where that is known (the longer, where they are not square).
    """

    elevation_m: Grid
    transform: Affine
    crs: CRS
    flat: bool = False
    source_cell_m: float | None = None

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        rows, columns = self.elevation_m.shape
        return rows, columns

    @property
    def cell_m(self) -> float:
        """Side of a cell in metres."""
        return float(self.transform.a)

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Left, bottom, right, top in metres."""
        rows, columns = self.shape
        left, top = self.transform.c, self.transform.f
        return left, top - rows * self.cell_m, left + columns * self.cell_m, top

    def centres(self, cells: npt.NDArray[np.integer[Any]]) -> npt.NDArray[np.float64]:
        """Centres of cells by flat number: x and y in metres."""
        rows, columns = np.divmod(cells, self.shape[1])
        x = self.transform.c + (columns + 0.5) * self.cell_m
        return np.stack([x, self.transform.f - (rows + 0.5) * self.cell_m], axis=-1)

    def window(self, bounds: tuple[float, float, float, float]) -> tuple[tuple[slice, slice], Terrain]:
        """The part of the grid that holds ``bounds`` in metres, with a cell to spare, as slices and as a terrain."""
        left, bottom, right, top = bounds
        row, column = (self.transform.f - np.array([top, bottom]), np.array([left, right]) - self.transform.c)
        (first_row, last_row), (first, last) = (
            np.clip((away / self.cell_m).astype(int) + [-1, 2], 0, count).tolist()
            for away, count in zip((row, column), self.shape, strict=True)
        )
        part = np.s_[first_row:last_row, first:last]
        left, top = self.transform.c + first * self.cell_m, self.transform.f - first_row * self.cell_m
        moved = Affine(self.cell_m, 0.0, left, 0.0, -self.cell_m, top)
        return part, replace(self, elevation_m=self.elevation_m[part], transform=moved)

    def slope_pct(self) -> Grid:
        """Slope along the fall line in percent (Horn 1981, 3 x 3 cells); NaN where any of them is not known."""
        east, north = self.gradient()
        slope: Grid = np.hypot(east, north) * np.float32(100)
        return slope

    def gradient(self) -> tuple[Grid, Grid]:
        """Rise per metre to the east and to the north (Horn 1981); the outermost cells repeat their edge."""
        z = np.pad(self.elevation_m, 1, mode="edge")
        run = np.float32(8 * self.cell_m)
        east = (z[:-2, 2:] + 2 * z[1:-1, 2:] + z[2:, 2:] - z[:-2, :-2] - 2 * z[1:-1, :-2] - z[2:, :-2]) / run
        north = (z[:-2, :-2] + 2 * z[:-2, 1:-1] + z[:-2, 2:] - z[2:, :-2] - 2 * z[2:, 1:-1] - z[2:, 2:]) / run
        return east, north


def grid_over(bounds: tuple[float, float, float, float], *, cell_m: float) -> tuple[Affine, tuple[int, int]]:
    """Transform and shape of the grid of square cells, on whole multiples of the cell, that covers ``bounds``.

    Raises
    ------
    LayerError
        When the cells are so small that there would be more than 100 million.
    """
    cells = (bounds[2] - bounds[0]) * (bounds[3] - bounds[1]) / cell_m**2
    if cells > MOST_CELLS:
        what = f"makes {cells / 1e6:,.0f} million cells over this tract; {MOST_CELLS / 1e6:,.0f} million is the most"
        raise LayerError(
            Fault(where="[access] cell", what=what, mend='take a larger cell, such as "10 ft" (from Python, cell_m)')
        )
    left, bottom = (np.floor(value / cell_m) for value in bounds[:2])
    right, top = (np.ceil(value / cell_m) for value in bounds[2:])
    transform = Affine(cell_m, 0.0, left * cell_m, 0.0, -cell_m, top * cell_m)
    return transform, (max(int(top - bottom), 1), max(int(right - left), 1))


def flat_terrain(bounds: tuple[float, float, float, float], *, cell_m: float, crs: CRS) -> Terrain:
    """Level ground, for a tract without elevation data."""
    transform, shape = grid_over(bounds, cell_m=cell_m)
    return Terrain(elevation_m=np.zeros(shape, np.float32), transform=transform, crs=crs, flat=True)


def read_terrain(
    path: Path,
    bounds: tuple[float, float, float, float],
    *,
    cell_m: float,
    crs: CRS,
    unit: str | None = None,
    source_crs: CRS | None = None,
) -> Terrain:
    """Elevation from a raster, brought to the working system and ``cell_m`` (bilinear), over ``bounds`` in metres.

    ``unit`` (``m``, ``ft`` or ``us-ft``) is needed only where the file does not say; ``source_crs`` likewise.

    Raises
    ------
    LayerError
        When the file cannot be read as a raster or its vertical unit is not known.
    CRSError
        When neither the file nor ``source_crs`` says where it lies.
    """
    transform, shape = grid_over(bounds, cell_m=cell_m)
    facts = raster_facts(path, unit=unit, source_crs=source_crs)
    try:
        with _opened(path) as source:
            window: dict[str, Any] = {"transform": transform, "height": shape[0], "width": shape[1]}
            with WarpedVRT(
                source, src_crs=facts.crs, crs=crs.to_wkt(), resampling=Resampling.bilinear, dtype="float32",
                nodata=np.nan, src_nodata=source.nodata, **window,
            ) as warped:  # fmt: skip
                read: Grid = warped.read(1, masked=True).filled(np.nan).astype(np.float32)
    except rasterio.errors.RasterioError as error:
        raise LayerError(Fault(where=str(path), what=f"cannot be read as a raster: {error}")) from error
    elevation = ((read.astype(float) * facts.scale + facts.offset) * facts.m_per_unit).astype(np.float32)
    elevation[(elevation < LOWEST_M) | (elevation > HIGHEST_M)] = (
        np.nan
    )  # a mark for no data that the file does not name
    middle = (bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2
    own = max(own_cells_m(facts, crs=crs, at=middle))
    return Terrain(elevation_m=elevation, transform=transform, crs=crs, source_cell_m=own)


def with_edge_repeated(terrain: Terrain, on_raster: npt.NDArray[np.bool_]) -> Terrain:
    """A terrain whose raster's outermost cells are repeated by one, so that their slope is known as at a grid's edge.

    Holes within the raster stay, and so do those that lie at its edge.
    """
    away, (rows, columns) = ndimage.distance_transform_edt(~on_raster, return_indices=True)
    ring = ~on_raster & (away < 1.5) & ~np.isfinite(terrain.elevation_m)
    filled = np.where(ring, terrain.elevation_m[rows, columns], terrain.elevation_m)
    return replace(terrain, elevation_m=filled)


def own_cells_m(facts: RasterFacts, *, crs: CRS, at: tuple[float, float]) -> tuple[float, float]:
    """Width and height of a raster's own cells in metres at a place of a system in metres."""
    (x,), (y,) = warp.transform(crs.to_wkt(), facts.crs, [at[0]], [at[1]])
    right, down = facts.transform.column_vectors[:2]
    corners = np.array([[x, y], [x + right[0], y + right[1]], [x + down[0], y + down[1]]])
    corner, beside, below = np.transpose(warp.transform(facts.crs, crs.to_wkt(), *corners.T))
    return float(np.hypot(*(beside - corner))), float(np.hypot(*(below - corner)))


@dataclass(frozen=True, kw_only=True)
class RasterFacts:
    """How an elevation raster's values become metres, and where it lies: system, transform, bounds and corners."""

    crs: Any
    transform: Affine
    bounds: tuple[float, float, float, float]
    corners: tuple[tuple[float, float], ...]
    m_per_unit: float
    scale: float
    offset: float


def raster_facts(path: Path, *, unit: str | None = None, source_crs: CRS | None = None) -> RasterFacts:
    """Vertical unit, scale and system of an elevation raster; see ``read_terrain`` for what it raises."""
    try:
        with _opened(path) as source:
            return RasterFacts(
                crs=_known_crs(source, path, source_crs),
                transform=source.transform,
                bounds=tuple(source.bounds),
                corners=tuple(source.transform @ (x * source.width, y * source.height) for x, y in _AROUND),
                m_per_unit=METRES_PER_UNIT[_vertical_unit(source, path, unit)],
                scale=source.scales[0],
                offset=source.offsets[0],
            )
    except rasterio.errors.RasterioError as error:
        mend = "export it as a GeoTIFF"
        raise LayerError(Fault(where=str(path), what=f"cannot be read as a raster: {error}", mend=mend)) from error


@contextmanager
def _opened(path: Path) -> Iterator[Any]:
    """A raster; that it says no place is told by its missing system."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", rasterio.errors.NotGeoreferencedWarning)
        source = rasterio.open(path)
    with source:
        yield source


def _known_crs(source: Any, path: Path, given: CRS | None) -> Any:
    if source.crs is None and given is not None:
        return given.to_wkt()
    if source.crs is None:
        mend = 'set elevation_crs = "EPSG:…" in [land] (from Python, crs="EPSG:…")'
        raise CRSError(Fault(where=str(path), what="has no coordinate reference system", mend=mend))
    return source.crs


def _vertical_unit(source: Any, path: Path, given: str | None) -> str:
    said = (source.units[0] or _height_axis(source.crs)).strip().lower()
    stated = UNIT_NAMES.get(said)
    if given is not None and stated is not None and given != stated:
        what = f"says its elevations are in {said}, but elevation_unit says {given!r}"
        raise LayerError(Fault(where=str(path), what=what, mend="take elevation_unit out, or mend the file"))
    if given is not None or stated is not None:
        return str(given or stated)
    what = (
        f"says its elevations are in {said!r}, which is not known"
        if said
        else "does not say the unit of its elevations"
    )
    raise LayerError(Fault(where=str(path), what=what, mend=UNIT_MEND))


def _height_axis(crs: Any) -> str:
    """The unit of the third axis of a raster's system, where it has one."""
    axes = CRS.from_wkt(crs.to_wkt()).axis_info if crs is not None else []
    return axes[2].unit_name if len(axes) > 2 else ""
