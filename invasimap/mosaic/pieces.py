"""Pieces: what one patch decides of one stand, zone and access class; what a crew treats alike and a label limits."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from invasimap.land.cell_areas import cell_areas
from invasimap.land.terrain import Terrain
from invasimap.mosaic.faces import Faces

KEYS = ["patch", "species", "stand", "zone", "access", "reached_by"]
OF_PATCH = ["height_m", "stem_mm", "date", "cover_told"]


def treatment_pieces(faces: Faces, patches: gpd.GeoDataFrame, terrain: Terrain) -> gpd.GeoDataFrame:
    """The pieces of a partition.

    Parameters
    ----------
    faces
        The partition of ``patches`` (``cut_faces``).
    patches
        With ``height_m``, ``stem_mm``, ``date`` and ``cover_told``; the index names them as in ``faces``.
    terrain
        Where slopes come from.

    Returns
    -------
    GeoDataFrame
        In order of ``patch, species, stand, zone, access, reached_by``, numbered: these, ``height_m, stem_mm`` (NaN
        where not told), ``date``, ``cover_told``, ``cover_pct``, ``gross_m2`` (the area on the map), ``slope_pct`` and
        ``surface_m2`` (the mean slope and the area along the ground; NaN where no elevation is known), and the
        polygons.
    """
    grown = faces.growth.join(faces.ground.drop(columns=["geometry"]), on="face")
    slope, surface = _slopes(faces, terrain)
    area = grown["area_m2"].to_numpy(float)
    of = grown["face"].to_numpy()
    grown = grown.assign(rise=slope[of] * area, along=surface[of] * area)
    grown["reached_by"] = grown["reached_by"].fillna("")
    groups = grown.groupby(KEYS, sort=True, dropna=False)
    table = groups.agg(
        cover_pct=("cover_pct", "first"),
        gross_m2=("area_m2", "sum"),
        rise=("rise", _whole_sum),
        along=("along", _whole_sum),
    ).reset_index()
    shapes = faces.ground.geometry.to_numpy()
    rows: Any = [shapely.coverage_union_all(shapes[of[places]]) for places in groups.indices.values()]
    named: list[Any] = list(groups.indices)
    order = pd.MultiIndex.from_tuples(named, names=KEYS)
    polygons = pd.Series(rows, index=order, dtype=object).reindex(pd.MultiIndex.from_frame(table[KEYS])).to_numpy()
    told = patches.reindex(columns=OF_PATCH).loc[table["patch"]].reset_index(drop=True)
    found = pd.concat([table[KEYS], told, table[["cover_pct", "gross_m2"]]], axis=1)
    found["slope_pct"] = table["rise"] / table["gross_m2"]
    found["surface_m2"] = table["along"]
    return gpd.GeoDataFrame(found, geometry=polygons, crs=faces.ground.crs)


def with_slivers(pieces: gpd.GeoDataFrame, *, least_m2: float) -> gpd.GeoDataFrame:
    """The pieces, those under ``least_m2`` gone into the largest of their patch in the same stand and zone.

    Access is worked in cells, so that a patch across the edge of a class leaves slivers that nobody would treat apart.
    What nothing reaches stays as it is, and so does what has no larger piece beside it.

    Examples
    --------
    >>> import geopandas as gpd, shapely
    >>> pieces = gpd.GeoDataFrame(
    ...     {"patch": "p", "species": "s", "stand": "1", "zone": "open", "access": ["foot", "tractor"],
    ...      "reached_by": ["foot", "tractor;foot"], "gross_m2": [1.0, 99], "slope_pct": 0.0, "surface_m2": [1.0, 99]},
    ...     geometry=[shapely.box(0, 0, 1, 1), shapely.box(1, 0, 100, 1)], crs="EPSG:32617")
    >>> with_slivers(pieces, least_m2=9.0)[["access", "gross_m2"]].values.tolist()
    [['tractor', 100.0]]
    """
    reached = pieces["reached_by"] != ""
    area = pieces["gross_m2"].where(reached)
    keys = [pieces[name] for name in ("patch", "species", "stand", "zone")]
    largest = area.groupby(keys).transform(lambda some: some.idxmax() if some.notna().any() else -1)
    small = reached & (area < least_m2) & (largest != pieces.index)
    to = pd.Series(np.where(small, largest, pieces.index), index=pieces.index)
    kept = pieces[~small].copy()
    whole = pieces["gross_m2"].groupby(to).sum()
    rise = (pieces["slope_pct"] * pieces["gross_m2"]).groupby(to).agg(_whole_sum)
    changed = to[small].unique()
    kept.loc[changed, "slope_pct"] = (rise / whole).loc[changed]
    kept["gross_m2"] = whole.reindex(kept.index)
    kept["surface_m2"] = pieces["surface_m2"].groupby(to).agg(_whole_sum).reindex(kept.index)
    drawn = pieces.geometry.to_numpy()
    places: dict[Any, Any] = dict(to.reset_index(drop=True).groupby(to.to_numpy()).indices)
    shapes = [shapely.union_all(drawn[places[label]]) for label in kept.index]
    kept = kept.set_geometry(gpd.GeoSeries(shapes, index=kept.index, crs=pieces.crs))
    return kept.reset_index(drop=True)


def _whole_sum(values: pd.Series) -> float:
    """The sum, not known where one is not known."""
    return float(values.sum(skipna=False))


def _slopes(faces: Faces, terrain: Terrain) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Of each face its mean slope in percent, and its area along the ground for one on the map; NaN where unknown."""
    count = len(faces.ground)
    if terrain.flat or not count:
        return np.full(count, np.nan), np.full(count, np.nan)
    parts = cell_areas(faces.ground.geometry.to_numpy(), terrain)
    held = np.bincount(parts.polygon, weights=parts.area_m2, minlength=count)
    slope = terrain.slope_pct().ravel()[parts.cell].astype(float)
    known = held >= faces.ground["area_m2"].to_numpy(float) * (1 - 1e-6)  # not beyond the grid

    def mean(values: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        total = np.bincount(parts.polygon, weights=values * parts.area_m2, minlength=count)
        return np.where(known, total / np.where(held > 0, held, 1.0), np.nan)

    return mean(slope), mean(np.hypot(1.0, slope / 100))
