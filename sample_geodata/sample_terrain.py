"""Invented ridge-and-valley ground: structural folds, then flow-routed erosion (numpy and scipy only).

The surface starts as parallel folds, is carved by the implicit stream-power law of Braun and Willett (2013) with
hillslope creep, gets a flood plain and a broken caprock cliff, and is resampled to ever finer cells.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage, sparse
from scipy.interpolate import PchipInterpolator
from scipy.sparse import csgraph

Grid = NDArray[np.float64]

STRIKE_DEG = 35.0  # azimuth of the folds
ORIGIN_E, ORIGIN_N = 631_400.0, 4_237_000.0  # where the fold axes u, v are both zero
NEIGHBOURS = ((-1, 0), (1, 0), (0, -1), (0, 1), (-1, -1), (-1, 1), (1, -1), (1, 1))
PROFILE_V = (
    -3000, -2000, -1500, -1050, -850, -450, -170, 0, 170, 275, 365, 480, 850, 925, 1060, 1150, 1560, 2000, 3000,
)  # fmt: skip
PROFILE_Z = (420, 430, 500, 582, 560, 450, 393, 382, 392, 419, 406, 432, 569, 582, 585, 566, 440, 400, 480)


@dataclass(frozen=True, kw_only=True)
class Raster:
    """A north-up grid: `z` in metres, row 0 at the north; `west`, `north` its outer corner (m), `cell` in metres."""

    z: Grid
    west: float
    north: float
    cell: float

    def centres(self) -> tuple[Grid, Grid]:
        """Easting and northing (m) of every cell centre, each (rows, cols)."""
        rows, cols = self.z.shape
        x = self.west + (np.arange(cols) + 0.5) * self.cell
        y = self.north - (np.arange(rows) + 0.5) * self.cell
        east, north = np.meshgrid(x, y)
        return east, north

    def index(self, x: Grid, y: Grid) -> tuple[Grid, Grid]:
        """Fractional row and column of map coordinates (m)."""
        return (self.north - y) / self.cell - 0.5, (x - self.west) / self.cell - 0.5

    def sample(self, x: Grid, y: Grid, *, values: Grid | None = None) -> Grid:
        """Bilinear value at map coordinates, of the elevations or of another array on the same cells."""
        rc = np.array(self.index(np.asarray(x, float), np.asarray(y, float)))
        source = self.z if values is None else values
        out: Grid = ndimage.map_coordinates(source, rc, order=1, mode="nearest")
        return out

    def slope_pct(self, *, smooth_m: float = 0.0) -> Grid:
        """Slope in percent, after a Gaussian of `smooth_m` metres."""
        z = ndimage.gaussian_filter(self.z, smooth_m / self.cell) if smooth_m else self.z
        dy, dx = np.gradient(z, self.cell)
        return np.asarray(100 * np.hypot(dx, dy))


@dataclass(frozen=True, kw_only=True)
class Flow:
    """Routing of a grid: `receiver` and `order` (outlets first) as flat indices, `area_m2` drained by each cell."""

    receiver: NDArray[np.int64]
    order: NDArray[np.int64]
    area_m2: Grid
    filled: Grid


def to_uv(x: Grid, y: Grid) -> tuple[Grid, Grid]:
    """Distance (m) along the folds and across them, from map coordinates."""
    a = np.radians(STRIKE_DEG)
    dx, dy = np.asarray(x) - ORIGIN_E, np.asarray(y) - ORIGIN_N
    return dx * np.sin(a) + dy * np.cos(a), dx * np.cos(a) - dy * np.sin(a)


def to_xy(u: Grid, v: Grid) -> tuple[Grid, Grid]:
    """Map coordinates (m) from fold coordinates; the inverse of `to_uv`."""
    a = np.radians(STRIKE_DEG)
    return ORIGIN_E + u * np.sin(a) + v * np.cos(a), ORIGIN_N + u * np.cos(a) - v * np.sin(a)


def noise(rng: np.random.Generator, shape: tuple[int, ...], *, scale: float, power: float = 2.2) -> Grid:
    """Fractal noise of unit spread; `scale` is the longest wave in cells, `power` how fast short waves die."""
    padded = tuple(fft.next_fast_len(n + int(scale)) for n in shape)
    ky = fft.fftfreq(padded[0])[:, None]
    kx = fft.rfftfreq(padded[1])[None, :]
    k = np.hypot(ky, kx)
    weight = 1.0 / (1.0 / scale + k) ** (power / 2 + 0.5)
    weight[0, 0] = 0.0
    field = fft.irfft2(fft.rfft2(rng.standard_normal(padded)) * weight, s=padded)[: shape[0], : shape[1]]
    return np.asarray((field - field.mean()) / field.std())


def _edges(shape: tuple[int, int]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Flat index pairs of all eight-neighbour links, each once."""
    ids = np.arange(shape[0] * shape[1]).reshape(shape)
    pairs = [
        (ids[:-1], ids[1:]),
        (ids[:, :-1], ids[:, 1:]),
        (ids[:-1, :-1], ids[1:, 1:]),
        (ids[:-1, 1:], ids[1:, :-1]),
    ]
    return np.concatenate([p.ravel() for p, _ in pairs]), np.concatenate([q.ravel() for _, q in pairs])


def _spill_tree(z: Grid) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Breadth-first order and predecessor of every cell on the lowest-pass tree that hangs on the grid's edge."""
    n = z.size
    a, b = _edges((z.shape[0], z.shape[1]))
    ids = np.arange(n).reshape(z.shape)
    rim = np.unique(np.concatenate([ids[0], ids[-1], ids[:, 0], ids[:, -1]]))
    flat = z.ravel()
    # a hair of each link's own lower end makes the tree follow the thalweg and not an arbitrary tie
    weight = np.maximum(flat[a], flat[b]) + 1e-6 * np.minimum(flat[a], flat[b])
    rows, cols = np.concatenate([a, np.full(rim.size, n)]), np.concatenate([b, rim])
    graph = sparse.coo_matrix((np.concatenate([weight, flat[rim]]), (rows, cols)), shape=(n + 1, n + 1)).tocsr()
    tree = csgraph.minimum_spanning_tree(graph)
    order, before = csgraph.breadth_first_order(tree, n, directed=False)
    return order.astype(np.int64), before.astype(np.int64)


def _fill(z: Grid, order: NDArray[np.int64], before: NDArray[np.int64]) -> tuple[Grid, NDArray[np.int64]]:
    """Spill level of every cell and its depth on the spill tree."""
    level = [*z.ravel().tolist(), -np.inf]
    depth = [0] * len(level)
    parents = before.tolist()
    for i in order[1:].tolist():
        p = parents[i]
        depth[i] = depth[p] + 1
        if level[p] > level[i]:
            level[i] = level[p]
    return np.array(level[:-1]).reshape(z.shape), np.array(depth[:-1])


def route(z: Grid, cell: float) -> Flow:
    """Steepest-descent routing over the filled surface; pits and flats leave by their lowest pass."""
    order, before = _spill_tree(z)
    filled, depth = _fill(z, order, before)
    rows, cols = z.shape
    ids = np.arange(z.size).reshape(z.shape)
    pad = np.pad(filled, 1, constant_values=np.inf)
    best, receiver = (
        np.zeros(z.shape),
        np.where(before[:-1] == z.size, ids.ravel(), before[:-1]).reshape(z.shape),
    )
    for dr, dc in NEIGHBOURS:
        fall = (filled - pad[1 + dr : 1 + dr + rows, 1 + dc : 1 + dc + cols]) / np.hypot(dr, dc)
        better = fall > best + 1e-9
        best = np.where(better, fall, best)
        receiver = np.where(better, ids + dr * cols + dc, receiver)
    sequence = np.lexsort((depth, filled.ravel()))
    return Flow(
        receiver=receiver.ravel(),
        order=sequence,
        area_m2=_accumulate(receiver.ravel(), sequence, cell),
        filled=filled,
    )


def _accumulate(receiver: NDArray[np.int64], order: NDArray[np.int64], cell: float) -> Grid:
    """Area (m2) drained by each cell, itself included."""
    area = [cell * cell] * receiver.size
    to = receiver.tolist()
    for i in order[::-1].tolist():
        if to[i] != i:
            area[to[i]] += area[i]
    return np.array(area)


def _incise(z: Grid, flow: Flow, factor: Grid) -> Grid:
    """One implicit step of the stream-power law (n = 1); `factor` is K dt A**m / dx per cell."""
    height, f, to = z.ravel().tolist(), factor.ravel().tolist(), flow.receiver.tolist()
    for i in flow.order.tolist():
        r = to[i]
        if r != i and height[r] < height[i]:
            height[i] = (height[i] + f[i] * height[r]) / (1.0 + f[i])
    return np.array(height).reshape(z.shape)


def erode(
    rng: np.random.Generator,
    grid: Raster,
    *,
    softness: Grid,
    lift: Grid,
    rounds: int,
    power: float,
    creep_m: float,
) -> Raster:
    """`rounds` of uplift, stream incision and hillslope creep.

    `softness` scales incision per cell, `lift` is uplift per round (m), `power` is K dt, `creep_m` the spread of
    the creep kernel per round (m). Roughness on slopes, new each round, keeps flow from
    running in parallel. The outermost cells stay fixed as base level.
    """
    z = grid.z.copy()
    inner = np.zeros(z.shape, bool)
    inner[1:-1, 1:-1] = True
    for _ in range(rounds):
        dy, dx = np.gradient(z, grid.cell)
        rough = 0.2 * grid.cell * np.minimum(np.hypot(dx, dy), 0.5) * rng.standard_normal(z.shape)
        flow = route(z + rough, grid.cell)
        factor = power * softness * (flow.area_m2.reshape(z.shape) ** 0.45) / grid.cell
        carved = _incise(z + np.where(inner, lift, 0.0), flow, factor)
        carved = _slump(ndimage.gaussian_filter(carved, creep_m / grid.cell), cell=grid.cell)
        z = np.where(inner, carved, z)
    return Raster(z=z, west=grid.west, north=grid.north, cell=grid.cell)


def _slump(z: Grid, *, cell: float, limit: float = 0.62) -> Grid:
    """Smooth only where the ground is steeper than `limit` (rise over run): failing slopes relax."""
    dy, dx = np.gradient(z, cell)
    share = np.clip((np.hypot(dx, dy) - limit) / 0.25, 0.0, 1.0)
    return np.asarray(z + share * (ndimage.gaussian_filter(z, 1.0) - z))


def refine(grid: Raster, cell: float) -> Raster:
    """The same ground on smaller cells, by cubic spline."""
    rows, cols = (round(n * grid.cell / cell) for n in grid.z.shape)
    target = Raster(z=np.zeros((rows, cols)), west=grid.west, north=grid.north, cell=cell)
    rc = np.array(grid.index(*target.centres()))
    z = ndimage.map_coordinates(grid.z, rc, order=3, mode="nearest")
    return Raster(z=z, west=grid.west, north=grid.north, cell=cell)


def crop(grid: Raster, west: float, south: float, east: float, north: float) -> Raster:
    """The cells between the four map limits (m), which must lie on cell edges."""
    r0, c0 = round((grid.north - north) / grid.cell), round((west - grid.west) / grid.cell)
    r1, c1 = round((grid.north - south) / grid.cell), round((east - grid.west) / grid.cell)
    return Raster(z=grid.z[r0:r1, c0:c1].copy(), west=west, north=north, cell=grid.cell)


def valley_axis(u: Grid) -> Grid:
    """How far (m) the valley's axis swings across the folds."""
    return np.asarray(34 * np.sin(u / 310.0 + 0.4) + 16 * np.sin(u / 127.0 + 2.0))


def folds(rng: np.random.Generator, grid: Raster) -> tuple[Raster, Grid, Grid]:
    """The uncarved folds, how soft each cell is, and its uplift per round (m)."""
    u, v = to_uv(*grid.centres())
    swing = ndimage.gaussian_filter(noise(rng, grid.z.shape, scale=90), 4)
    bent = v + 45 * swing - valley_axis(u) * np.exp(-((v / 500.0) ** 2))
    z = PchipInterpolator(PROFILE_V, PROFILE_Z)(bent)
    z = z + 0.014 * u * np.exp(-((v / 450.0) ** 2))
    high = np.exp(-(((bent - 985) / 150.0) ** 2)) + np.exp(-(((bent + 1050) / 170.0) ** 2))
    z = z + high * (16 * np.sin(u / 520.0 + 1.0) + 8 * np.sin(u / 230.0))
    rough = 0.9 + 6.0 * np.clip((np.abs(bent) - 150) / 250, 0, 1) - 4.0 * np.clip(high, 0, 1)
    z = z + rough * noise(rng, grid.z.shape, scale=40, power=2.0)
    softness = 1.0 - 0.72 * np.clip(high, 0, 1) - 0.45 * np.exp(-(((bent - 310) / 60.0) ** 2))
    lift = 0.35 * np.clip(high, 0, 1) + 0.35 * np.clip((np.abs(v) - 150) / 300, 0, 1)
    return Raster(z=z, west=grid.west, north=grid.north, cell=grid.cell), softness, lift


def flood_plain(grid: Raster, flow: Flow, *, least_area_m2: float = 1.2e6) -> Raster:
    """Lay a nearly level floor beside the streams that drain more than `least_area_m2`."""
    channel = flow.area_m2.reshape(grid.z.shape) > least_area_m2
    away, near = ndimage.distance_transform_edt(~channel, sampling=grid.cell, return_indices=True)
    bed = ndimage.gaussian_filter(grid.z[near[0], near[1]], 30 / grid.cell)
    floor = bed + 0.5 + 0.02 * away + 6e-5 * away**2
    gap = grid.z - floor
    soft = floor + np.where(gap > 0, 0.22 * gap + 0.004 * gap**2, 0.1 * gap)
    share = np.clip((270.0 - away) / 140.0, 0.0, 1.0) * np.clip(away / 6.0, 0.0, 1.0)
    return Raster(z=grid.z + share * (soft - grid.z), west=grid.west, north=grid.north, cell=grid.cell)


def caprock(rng: np.random.Generator, grid: Raster) -> Raster:
    """Turn the outcrop of one dipping bed below the ridge into a broken cliff with a bench at its foot and head."""
    u, v = to_uv(*grid.centres())
    bed = 501.0 + 10 * np.sin(u / 330.0) + 0.05 * (v - 760)
    strength = np.clip(ndimage.gaussian_filter(noise(rng, grid.z.shape, scale=120), 6) * 0.9 + 0.35, 0.0, 1.0)
    strength *= np.exp(-(((v - 760) / 190.0) ** 4))
    h = grid.z - bed
    step = 10.5 * (np.tanh(h / 3.2) - h / 20.0) * np.exp(-((h / 24.0) ** 4))
    return Raster(z=grid.z + strength * step, west=grid.west, north=grid.north, cell=grid.cell)


def make_ground(rng: np.random.Generator, *, west: float, south: float, east: float, north: float) -> Raster:
    """The whole bare ground at 3 m over the given limits (m), which must be multiples of 12 m apart."""
    margin = 720.0
    shape = (round((north - south + 2 * margin) / 12), round((east - west + 2 * margin) / 12))
    grid = Raster(z=np.zeros(shape), west=west - margin, north=north + margin, cell=12.0)
    grid, softness, lift = folds(rng, grid)
    grid = erode(rng, grid, softness=softness, lift=lift, rounds=36, power=0.075, creep_m=4.6)
    near = 120.0
    grid = crop(grid, west - near, south - near, east + near, north + near)
    grid = refine(grid, 6.0)
    grid = Raster(z=364.0 + 0.7 * (grid.z - 342.0), west=grid.west, north=grid.north, cell=grid.cell)
    grid = flood_plain(grid, route(grid.z, grid.cell))
    grid = Raster(z=grid.z + 0.4 * noise(rng, grid.z.shape, scale=14), west=grid.west, north=grid.north, cell=grid.cell)
    ones = np.ones(grid.z.shape)
    grid = erode(rng, grid, softness=ones, lift=0 * ones, rounds=5, power=0.008, creep_m=2.4)
    grid = caprock(rng, grid)
    grid = crop(refine(grid, 3.0), west, south, east, north)
    fine = 0.16 * noise(rng, grid.z.shape, scale=12, power=1.8)
    return soften_level_ground(grid, fine)


def soften_level_ground(grid: Raster, fine: Grid) -> Raster:
    """Add fine roughness (m), less of it on level ground, where old ploughing has also smoothed small humps."""
    dry = route(grid.z, grid.cell).area_m2.reshape(grid.z.shape) < 3.0e4
    away = ndimage.distance_transform_edt(dry, sampling=grid.cell)
    level = np.clip((17.0 - grid.slope_pct(smooth_m=18.0)) / 6.0, 0.0, 1.0) * np.clip((away - 4.0) / 9.0, 0.0, 1.0)
    smooth = ndimage.gaussian_filter(grid.z, 12.0 / grid.cell)
    z = grid.z + level * (smooth - grid.z) + fine * (1.0 - 0.75 * level)
    return Raster(z=z, west=grid.west, north=grid.north, cell=grid.cell)
