"""How far an acreage may be off: a 90 % interval from where the patches really are and how well they were walked.

Each patch is moved as a whole by its position error, independent between patches; a walked outline is also larger or
smaller by the area error of its survey, ``sigma sqrt(2 / area)`` of the area (four effective corners; Bondesson, Stahl
and Holm 1998). The moved ground is sorted again into stands, zones and access classes. Draws are seeded: the same input
gives the same table. Error in paced sizes and in cover classes is not in it yet.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely
from rasterio import features

from invasimap.land.layers import OUTSIDE
from invasimap.land.terrain import grid_over
from invasimap.mosaic.faces import ZONES, Faces

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]
DRAWS = 200
SAMPLES = 20_000  # sample points over all growth
MOST_CELLS = 16_000_000
SEED = 20_260_401
SIGMA_PER_RADIUS_68 = 1 / 1.509592  # a receiver's "accuracy" is a 68 % radius: r = sigma sqrt(-2 ln 0.32)
UNDER_LEAVES_ACCURACY_M = 5.0 / SIGMA_PER_RADIUS_68  # where no record says: 5 m an axis


@dataclass(frozen=True, kw_only=True)
class _Samples:
    """Points that stand for the growth: place, area each stands for, species number and patch row."""

    xy: Floats
    area_m2: Floats
    species: Ints
    patch: Ints


@dataclass(frozen=True, kw_only=True)
class _Labels:
    """Stand, zone and access of the ground on a fine grid, as one number a cell."""

    number: npt.NDArray[np.int32]
    left: float
    top: float
    cell_m: float
    stands: list[str]
    classes: list[str]

    def at(self, xy: Floats) -> Ints:
        """Label numbers at places; beyond the grid, the nearest cell's."""
        rows, columns = self.number.shape
        row = np.clip(((self.top - xy[:, 1]) / self.cell_m).astype(np.intp), 0, rows - 1)
        column = np.clip(((xy[:, 0] - self.left) / self.cell_m).astype(np.intp), 0, columns - 1)
        found: Ints = self.number[row, column].astype(np.intp)
        return found

    @property
    def count(self) -> int:
        """How many different labels there can be."""
        return len(self.stands) * len(ZONES) * len(self.classes)

    def numbers_of(self, table: pd.DataFrame) -> Ints:
        """Label number of each row of an acreage table."""
        stand = pd.Index(self.stands).get_indexer(pd.Index(table["stand"]))
        zone = pd.Index(ZONES).get_indexer(pd.Index(table["zone"]))
        access = pd.Index(self.classes).get_indexer(pd.Index(table["access"]))
        found: Ints = (stand * len(ZONES) + zone) * len(self.classes) + access
        return found


def with_interval(
    table: pd.DataFrame,
    faces: Faces,
    patches: gpd.GeoDataFrame,
    *,
    stands: gpd.GeoDataFrame,
    protection: gpd.GeoDataFrame,
    access: gpd.GeoDataFrame,
    draws: int = DRAWS,
) -> pd.DataFrame:
    """The acreage table with ``gross_low_m2`` and ``gross_high_m2``: 90 % of the draws lie between them.

    Parameters
    ----------
    table, faces
        As ``species_area`` and ``cut_faces`` give them; the interval always holds the table's own figure.
    patches
        ``accuracy_m`` (68 % radius; where missing, the usual one under leaves) and ``shape`` (``polygon`` for walked).
    """
    if table.empty:
        return table.assign(gross_low_m2=pd.Series(dtype=float), gross_high_m2=pd.Series(dtype=float))
    names = sorted(set(table["species"]))
    samples = _samples(faces, patches, names)
    labels = _label_grid(samples.xy, stands, protection, access)
    rows = pd.Index(names).get_indexer(pd.Index(table["species"])) * labels.count + labels.numbers_of(table)
    drawn = _draw(samples, labels, patches, rows=rows, species=len(names), draws=draws)
    low, high = np.quantile(drawn, [0.05, 0.95], axis=0)
    gross = table["gross_m2"].to_numpy()
    return table.assign(gross_low_m2=np.minimum(low, gross), gross_high_m2=np.maximum(high, gross))


def _draw(
    samples: _Samples, labels: _Labels, patches: gpd.GeoDataFrame, *, rows: Ints, species: int, draws: int
) -> Floats:
    """Gross area of each table row in each draw."""
    rng = np.random.default_rng(SEED)
    accuracy = patches["accuracy_m"].fillna(UNDER_LEAVES_ACCURACY_M).to_numpy(float)
    sigma = accuracy * SIGMA_PER_RADIUS_68
    walked = (patches["shape"] == "polygon").to_numpy()
    spread = np.where(walked, sigma * np.sqrt(2 / patches.area.to_numpy()), 0.0)
    drawn = np.empty((draws, len(rows)))
    for draw in range(draws):
        shift = rng.standard_normal((len(patches), 2)) * sigma[:, None]
        size = np.clip(1 + rng.standard_normal(len(patches)) * spread, 0, 3)
        at = labels.at(samples.xy + shift[samples.patch])
        area = samples.area_m2 * size[samples.patch]
        sums = np.bincount(samples.species * labels.count + at, weights=area, minlength=species * labels.count)
        drawn[draw] = sums[rows]
    return drawn


def _samples(faces: Faces, patches: gpd.GeoDataFrame, names: list[str]) -> _Samples:
    """A regular net of points over the faces, at least one a face, each standing for its share of the face."""
    shapes = faces.ground.geometry.to_numpy()
    spacing = max(float(np.sqrt(faces.ground["area_m2"].sum() / SAMPLES)), 0.05)
    tree = shapely.STRtree(shapes)
    face, xy = _net(shapes, tree, spacing)
    bare = np.setdiff1d(np.arange(len(shapes)), face)
    face = np.concatenate([face, bare])
    xy = np.concatenate([xy, shapely.get_coordinates(shapely.point_on_surface(shapes[bare]))])
    share = faces.ground["area_m2"].to_numpy()[face] / np.bincount(face, minlength=len(shapes))[face]
    points = pd.DataFrame({"face": face, "x": xy[:, 0], "y": xy[:, 1], "area": share})
    grown = faces.growth.merge(points, on="face")
    return _Samples(
        xy=grown[["x", "y"]].to_numpy(float),
        area_m2=grown["area"].to_numpy(float),
        species=pd.Index(names).get_indexer(pd.Index(grown["species"])),
        patch=patches.index.get_indexer(pd.Index(grown["patch"])),
    )


def _net(shapes: Any, tree: shapely.STRtree, spacing: float) -> tuple[Ints, Floats]:
    found = []
    for left, bottom, right, top in shapely.bounds(shapely.get_parts(shapely.union_all(shapes))):
        x = np.arange(np.ceil(left / spacing), np.floor(right / spacing) + 1) * spacing
        y = np.arange(np.ceil(bottom / spacing), np.floor(top / spacing) + 1) * spacing
        found.append(np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2))
    xy = np.unique(np.concatenate(found), axis=0)
    point, face = tree.query(shapely.points(xy), predicate="intersects")
    _, first = np.unique(point, return_index=True)
    return face[first], xy[point[first]]


def _label_grid(
    xy: Floats, stands: gpd.GeoDataFrame, protection: gpd.GeoDataFrame, access: gpd.GeoDataFrame
) -> _Labels:
    low, high = xy.min(axis=0) - 60.0, xy.max(axis=0) + 60.0
    cell_m = max(1.0, float(np.sqrt(np.prod(high - low) / MOST_CELLS)))
    transform, shape = grid_over((low[0], low[1], high[0], high[1]), cell_m=cell_m)
    stand_names = [*dict.fromkeys(stands["stand"]), OUTSIDE]
    classes = [*dict.fromkeys(access["access"]), "out_of_reach"]
    classes = list(dict.fromkeys(classes))

    def burnt(layer: gpd.GeoDataFrame, numbers: Ints, otherwise: int) -> npt.NDArray[np.int32]:
        pairs = list(zip(layer.geometry, numbers.tolist(), strict=True))[::-1]  # the first drawn last, so it counts
        if not pairs:
            return np.full(shape, otherwise, np.int32)
        return features.rasterize(pairs, out_shape=shape, transform=transform, fill=otherwise, dtype="int32")

    by_zone = protection.sort_values("zone", key=lambda zone: zone.map(ZONES.index), kind="stable")
    stand = burnt(stands, pd.Index(stand_names).get_indexer(pd.Index(stands["stand"])), len(stand_names) - 1)
    zone = burnt(by_zone, pd.Index(ZONES).get_indexer(pd.Index(by_zone["zone"])), ZONES.index("open"))
    means = burnt(access, pd.Index(classes).get_indexer(pd.Index(access["access"])), classes.index("out_of_reach"))
    return _Labels(
        number=(stand * len(ZONES) + zone) * len(classes) + means,
        left=transform.c,
        top=transform.f,
        cell_m=cell_m,
        stands=stand_names,
        classes=classes,
    )
