"""How much of some polygons lies in each cell of the grid, exactly."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely

from invasimap.land.raster import touched
from invasimap.land.terrain import Terrain

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]


@dataclass(frozen=True, kw_only=True)
class CellAreas:
    """Pieces of polygons in cells: flat number of the cell, number of the polygon, area in square metres."""

    cell: Ints
    polygon: Ints
    area_m2: Floats

    def sums(self, codes: npt.NDArray[np.integer[Any]], count: int) -> Floats:
        """Area in cells of each code from 0 to ``count``, over a grid of codes."""
        found: Floats = np.bincount(codes.ravel()[self.cell], weights=self.area_m2, minlength=count).astype(float)
        return found


def cell_areas(polygons: Any, terrain: Terrain) -> CellAreas:
    """The area of each polygon in each cell that it meets; what lies beyond the grid is left out.

    Examples
    --------
    >>> import shapely
    >>> from affine import Affine
    >>> level = np.zeros((2, 2), np.float32)
    >>> grid = Terrain(elevation_m=level, transform=Affine(10, 0, 0, 0, -10, 20), crs="EPSG:32617")
    >>> parts = cell_areas([shapely.box(5, 5, 15, 10)], grid)
    >>> dict(zip(parts.cell.tolist(), parts.area_m2.tolist()))
    {2: 25.0, 3: 25.0}
    """
    shapes = np.atleast_1d(np.asarray(polygons, object))
    cells = np.flatnonzero(touched(shapes, terrain))
    rows, columns = np.divmod(cells, terrain.shape[1])
    left, top = terrain.transform.c + columns * terrain.cell_m, terrain.transform.f - rows * terrain.cell_m
    boxes: Any = shapely.box(left, top - terrain.cell_m, left + terrain.cell_m, top)
    tree = shapely.STRtree(boxes)
    polygon, box = tree.query(shapes, predicate="intersects")
    inner_polygon, inner_box = tree.query(shapes, predicate="contains")
    inner = np.isin(polygon * len(boxes) + box, inner_polygon * len(boxes) + inner_box)
    area = np.full(len(box), terrain.cell_m**2)
    edge = ~inner
    area[edge] = shapely.area(shapely.intersection(shapes[polygon[edge]], boxes[box[edge]]))
    some = area > 0  # a cell that is only touched holds nothing
    return CellAreas(cell=cells[box][some], polygon=polygon[some], area_m2=area[some])
