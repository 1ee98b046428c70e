"""The shape of the ground: soft shade and contour lines from elevation."""

from __future__ import annotations

import contourpy
import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from scipy import ndimage

from invasimap.core.units import ShownUnits
from invasimap.land.terrain import Terrain
from invasimap.reports.style import SHADE

Floats = npt.NDArray[np.float64]
AZIMUTHS_DEG = (225.0, 270.0, 315.0, 360.0)
ALTITUDE_DEG = 45.0
STEPS = {"ft": (5, 10, 20, 40, 50, 100, 200, 500), "m": (1, 2, 5, 10, 20, 50, 100, 200)}
LINES_WANTED = 20  # about this many contours between the lowest and the highest ground
INDEX_EVERY = 5
SMOOTH_CELLS = 1.2  # coarse elevation brought to fine cells shows facets: rounded off for drawing only


def hillshade(terrain: Terrain, *, exaggerate: float = 1.5) -> Floats:
    """Light from 0 (dark) to 1 (bright), lit from four sides and weighted by aspect; NaN where elevation is not known.

    Multidirectional oblique-weighted shade (Mark 1992, USGS Open-File Report 92-422).
    """
    east, north = (part.astype(float) * exaggerate for part in terrain.gradient())
    steep2 = east**2 + north**2
    flatness = 1 / np.sqrt(1 + steep2)  # cosine of the slope; its sine is flatness times the steepness
    steep2[steep2 == 0] = 1.0  # level ground faces nowhere: every light falls on it alike
    light, weight = np.zeros((2, *terrain.shape))
    for azimuth in np.radians(AZIMUTHS_DEG):
        towards = -(np.cos(azimuth) * north + np.sin(azimuth) * east)  # how steeply the ground faces the light
        shine = (np.sin(np.radians(ALTITUDE_DEG)) + np.cos(np.radians(ALTITUDE_DEG)) * towards) * flatness
        share = 1.05 - towards**2 / steep2  # squared sine of the angle between aspect and light, and some for all
        light += share * np.clip(shine, 0.0, 1.0)
        weight += share
    shade: Floats = light / weight
    return shade


def shade_light(shade: Floats) -> Floats:
    """How light the relief is drawn, of white, from ``hillshade``: ``style.SHADE`` from the darkest to the lightest."""
    darkest, lightest = SHADE
    light: Floats = np.clip((shade - 0.35) / 0.55, 0, 1) * (lightest - darkest) + darkest
    return light


def contour_interval(terrain: Terrain, shown: ShownUnits) -> int:
    """A round interval in the shown unit (10 ft, 20 ft, 40 ft ...) for the tract's relief; 0 where there is none."""
    if terrain.flat or not np.isfinite(terrain.elevation_m).any():
        return 0
    relief = shown.length_of(float(np.nanmax(terrain.elevation_m) - np.nanmin(terrain.elevation_m)))
    steps = STEPS[shown.length]
    return next((step for step in steps if relief / step <= LINES_WANTED), steps[-1])


def contours(terrain: Terrain, *, interval: float, shown: ShownUnits) -> gpd.GeoDataFrame:
    """Contour lines with ``elevation`` (in the shown unit) and ``is_index`` (every fifth line).

    Parameters
    ----------
    interval
        Height between lines in the shown unit, above zero.
    """
    z = _rounded_off(shown.length_of(1.0) * terrain.elevation_m.astype(float))
    rows, columns = terrain.shape
    x = terrain.transform.c + (np.arange(columns) + 0.5) * terrain.cell_m
    y = terrain.transform.f - (np.arange(rows) + 0.5) * terrain.cell_m
    known = np.isfinite(z)
    low, high = (np.nanmin(z), np.nanmax(z)) if known.any() else (0.0, -1.0)
    levels = np.arange(np.ceil(low / interval), np.floor(high / interval) + 1) * interval
    found: dict[str, list[object]] = {"elevation": [], "is_index": [], "geometry": []}
    if min(terrain.shape) > 1 and len(levels):
        generator = contourpy.contour_generator(x, y, np.ma.masked_invalid(z))
        for level in levels:
            for line in generator.lines(float(level)):
                found["elevation"].append(float(level))
                found["is_index"].append(round(level / interval) % INDEX_EVERY == 0)
                found["geometry"].append(shapely.LineString(np.asarray(line, float)))
    layer = gpd.GeoDataFrame(found, geometry="geometry", crs=terrain.crs)
    return layer[layer.length > 4 * terrain.cell_m].reset_index(drop=True)


def _rounded_off(z: Floats) -> Floats:
    """Gaussian over the known cells only; unknown cells stay unknown."""
    known = np.isfinite(z)
    filled = ndimage.gaussian_filter(np.where(known, z, 0.0), SMOOTH_CELLS)
    share = ndimage.gaussian_filter(known.astype(float), SMOOTH_CELLS)
    return np.where(known, filled / np.where(share > 0, share, 1.0), np.nan)
