"""Ways laid out by least cost with a turn penalty, joined at shared vertices and cut into the ground."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from sample_terrain import Grid, Raster, to_xy
from sample_water import CRS, nearest_vertex, resample, smooth_line
from scipy import ndimage, sparse
from scipy.sparse import csgraph
from shapely.geometry import LineString, Point

COMPASS = ((0, 1), (-1, 2), (-1, 1), (-2, 1), (-1, 0), (-2, -1), (-1, -1), (-1, -2))
STEPS = np.array([*COMPASS, *((-r, -c) for r, c in COMPASS)])  # 16 headings, anticlockwise from east
TURN_M = {0: 0.0, 1: 2.0, 2: 9.0, 6: 95.0, 7: 95.0}  # extra metres for turning by so many sixteenths
GRADES = {
    "road": (0.055, 0.13),
    "trail": (0.085, 0.17),
    "path": (0.16, 0.4),
}  # wanted and greatest rise over run
BENCH_M = {"road": (2.6, 6.0), "trail": (1.4, 4.5)}  # half-width of the bench, then the batter


@dataclass(frozen=True, kw_only=True)
class Router:
    """Least-cost routes for one class of way over a coarse copy of the ground."""

    ground: Raster
    graph: sparse.csr_matrix
    shape: tuple[int, int]

    def leg(self, start: Grid, end: Grid) -> Grid:
        """Smoothed vertices from one map point to another."""
        cells = [self._cell(p) for p in (start, end)]
        n = self.shape[0] * self.shape[1] * 16
        _, before = csgraph.dijkstra(self.graph, indices=n + cells[0], return_predecessors=True)
        cost = csgraph.dijkstra(self.graph, indices=n + cells[0])
        ends = np.arange(16) + cells[1] * 16
        node, path = int(ends[np.argmin(cost[ends])]), []
        while node < n and node >= 0:
            path.append(node // 16)
            node = int(before[node])
        rc = np.array(np.unravel_index(path[::-1], self.shape)).T
        x = self.ground.west + (rc[:, 1] + 0.5) * self.ground.cell
        y = self.ground.north - (rc[:, 0] + 0.5) * self.ground.cell
        xy = np.vstack([start, np.column_stack([x, y])[1:-1], end])
        return smooth_line(resample(xy, 4.0), sigma=3.0)

    def _cell(self, point: Grid) -> int:
        r, c = self.ground.index(point[0], point[1])
        return round(float(r)) * self.shape[1] + round(float(c))


def coarse(ground: Raster, factor: int) -> Raster:
    """Block means of the ground."""
    rows, cols = (n // factor for n in ground.z.shape)
    z = ground.z[: rows * factor, : cols * factor].reshape(rows, factor, cols, factor).mean((1, 3))
    return Raster(z=z, west=ground.west, north=ground.north, cell=ground.cell * factor)


def make_router(ground: Raster, kind: str, *, burden: Grid) -> Router:
    """A router for one class of way; `burden` multiplies the cost of each cell, infinite where nothing may go."""
    wanted, limit = GRADES[kind]
    rows, cols = ground.z.shape
    ids = np.arange(rows * cols).reshape(rows, cols)
    side = ground.slope_pct() / 100
    pieces = []
    for heading, (dr, dc) in enumerate(STEPS):
        src = ids[max(0, -dr) : rows - max(0, dr), max(0, -dc) : cols - max(0, dc)].ravel()
        dst = src + dr * cols + dc
        length = ground.cell * np.hypot(dr, dc)
        grade = np.abs(ground.z.ravel()[dst] - ground.z.ravel()[src]) / length
        cost = length * (1 + (grade / wanted) ** 3) * (1 + 0.5 * side.ravel()[dst]) * burden.ravel()[dst]
        keep = np.isfinite(cost) & (grade < limit)
        pieces.append((heading, src[keep], dst[keep], cost[keep]))
    return Router(ground=ground, graph=_turn_graph(pieces, rows * cols), shape=(rows, cols))


def _turn_graph(pieces: list[tuple[int, Grid, Grid, Grid]], cells: int) -> sparse.csr_matrix:
    """Graph whose nodes are (cell, heading on arrival), with one source node per cell after them."""
    rows, cols, data = [], [], []
    for heading, src, dst, cost in pieces:
        to = dst * 16 + heading
        for turn, extra in TURN_M.items():
            for sign in (1, -1) if turn else (1,):
                rows.append(src * 16 + (heading - sign * turn) % 16)
                cols.append(to)
                data.append(cost + extra)
        rows.append(cells * 16 + src)
        cols.append(to)
        data.append(cost)
    packed = (
        np.concatenate(data),
        (np.concatenate(rows).astype(np.int32), np.concatenate(cols).astype(np.int32)),
    )
    return sparse.coo_matrix(packed, shape=(cells * 17, cells * 17)).tocsr()


@dataclass
class Network:
    """The ways so far: class, name and vertices of each."""

    kinds: list[str] = field(default_factory=list)
    names: list[str] = field(default_factory=list)
    lines: list[LineString] = field(default_factory=list)

    def join(self, u: float, v: float) -> Grid:
        """The vertex of the network nearest to fold coordinates."""
        return nearest_vertex(self.lines, Point(*to_xy(np.float64(u), np.float64(v))))

    def add(self, kind: str, name: str, xy: Grid) -> None:
        """Take in one way; where its ends run along an earlier way, they join that way at the parting instead."""
        if self.lines:
            xy = self._part(self._part(xy)[::-1])[::-1]
        self.kinds.append(kind)
        self.names.append(name)
        self.lines.append(LineString(np.round(xy, 2)))

    def _part(self, xy: Grid, *, clear_m: float = 14.0) -> Grid:
        """The way from where it leaves the network, begun at the network's nearest vertex."""
        gaps = shapely.distance(shapely.union_all(self.lines), shapely.points(xy))
        if gaps[0] > 0.01:
            return xy
        leave = int(np.argmax(gaps > clear_m))
        return np.vstack([nearest_vertex(self.lines, Point(xy[max(leave - 2, 0)])), xy[leave:]])

    def frame(self) -> gpd.GeoDataFrame:
        """The ways as a table."""
        data = {"class": self.kinds, "name": self.names}
        return gpd.GeoDataFrame(data, geometry=list(self.lines), crs=CRS)


def chain(router: Router, stops: list[Grid]) -> Grid:
    """One way through several stops."""
    legs = [router.leg(a, b) for a, b in pairwise(stops)]
    xy = np.vstack([legs[0], *(leg[1:] for leg in legs[1:])])
    return smooth_line(xy, sigma=2.0)


def insert_vertex(line: LineString, point: Point) -> LineString:
    """The line with `point` exactly among its vertices (a vertex within 5 cm is moved onto it)."""
    xy = list(line.coords)
    gaps = [np.hypot(x - point.x, y - point.y) for x, y in xy]
    nearest = int(np.argmin(gaps))
    if gaps[nearest] < 0.05:
        xy[nearest] = (point.x, point.y)
        return LineString(xy)
    segments = shapely.linestrings([[a, b] for a, b in pairwise(xy)])
    at = int(np.argmin(shapely.distance(segments, point)))
    return LineString([*xy[: at + 1], (point.x, point.y), *xy[at + 1 :]])


def tie(lines: list[LineString]) -> list[LineString]:
    """Give every crossing of two ways a shared vertex."""
    out = list(lines)
    for i in range(len(out)):
        for j in range(i + 1, len(out)):
            for part in shapely.get_parts(out[i].intersection(out[j])):
                if part.geom_type == "Point":
                    at = Point(round(part.x, 2), round(part.y, 2))
                    out[i], out[j] = insert_vertex(out[i], at), insert_vertex(out[j], at)
    return out


def cut_in(ground: Raster, ways: gpd.GeoDataFrame, streams: gpd.GeoDataFrame) -> Raster:
    """Bench roads and trails into the slope along a smooth profile, fading out at perennial streams."""
    z = ground.z.copy()
    dry = np.ones(z.shape, bool)
    _mark(ground, list(streams.geometry[streams["class"] == "perennial"]), dry)
    fade = np.clip((ndimage.distance_transform_edt(dry, sampling=ground.cell) - 2.0) / 5.0, 0.0, 1.0)
    for kind, line in sorted(zip(ways["class"], ways.geometry, strict=True), key=lambda row: row[0], reverse=True):
        if kind in BENCH_M:
            z = _bench(ground, z, line, half_m=BENCH_M[kind][0], batter_m=BENCH_M[kind][1], fade=fade)
    return Raster(z=z, west=ground.west, north=ground.north, cell=ground.cell)


def _mark(ground: Raster, lines: list[LineString], empty: NDArray[np.bool_]) -> None:
    """Set False the cells the lines run through."""
    for line in lines:
        xy = resample(np.array(line.coords), 1.5)
        r, c = (np.rint(i).astype(int) for i in ground.index(xy[:, 0], xy[:, 1]))
        ok = (r >= 0) & (c >= 0) & (r < empty.shape[0]) & (c < empty.shape[1])
        empty[r[ok], c[ok]] = False


def _bench(ground: Raster, z: Grid, line: LineString, *, half_m: float, batter_m: float, fade: Grid) -> Grid:
    """Level the ground across one way to the way's own smoothed profile."""
    xy = resample(np.array(line.coords), 1.5)
    profile = ndimage.gaussian_filter1d(ground.sample(xy[:, 0], xy[:, 1]), 17.0, mode="nearest")
    r, c = (np.rint(i).astype(int) for i in ground.index(xy[:, 0], xy[:, 1]))
    ok = (r >= 0) & (c >= 0) & (r < z.shape[0]) & (c < z.shape[1])
    bed, empty = np.zeros(z.shape), np.ones(z.shape, bool)
    bed[r[ok], c[ok]], empty[r[ok], c[ok]] = profile[ok], False
    away, near = ndimage.distance_transform_edt(empty, sampling=ground.cell, return_indices=True)
    share = np.clip((half_m + batter_m - away) / batter_m, 0.0, 1.0) * fade
    return np.asarray(z + share * (bed[near[0], near[1]] - z))
