"""How a survey errs, as new outlines and covers: what the simulation of intervals draws from. Pure numpy, seeded.

Position. A record's accuracy is brought to a standard deviation per axis, ``sigma``. A point moves as a whole. Along a
walk the error is the sum of three independent parts whose variances add up to ``sigma^2``: a shift common to the
record (half: satellites and atmosphere change over many minutes), a drift whose correlation falls by 1/e every 40 m
walked (four tenths: canopy and reflections change with the place; an Ornstein-Uhlenbeck process), and a part of each
fix's own (one tenth). A common shift leaves a walked area as it is, so the drift decides its error. With these shares a
hectare walked at 5 m per axis has a standard error of 4 %, and 12 hectares one of 0.8 %: between what consumer
receivers showed under canopy (1 ha within +/-12 %, Revue Forestiere Francaise 56:529-536, 2004; 12 ha 0.2 to 4.7 %,
Unger et al. 2013). An outline drawn with few corners has nearly independent ones (Bondesson, Stahl and Holm 1998),
since they lie farther apart than the drift reaches. A line of stated width is moved by a smooth field, so that its two
sides move together and its width stays what was stated.

Size. A paced or guessed radius and a stated width err by a factor: lognormal, 1 on average, its standard deviation the
setting ``size_error``. A mean of 1 for the radius makes areas too large by ``1 + s^2`` on average (E[area] =
pi (r^2 + sigma^2)). Drawing such errors round what was measured would add this a second time. So discs are brought to
the area expected of the truth first, ``area / (1 + s^2)``, and the factor drawn is 1 on average for the area. A width
enters its area straight and needs no such step.

Cover. Uniform within the class that was written down; nothing where one figure was written.

Cell. Where the edges of the access grid really run within a cell is not known: the grid is moved by up to half a cell
in each direction.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from invasimap.mosaic.sweep import Rings

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]
Bools = npt.NDArray[np.bool_]
AccuracyMeans = Literal["68 %", "95 %", "rms"]

UNDER_LEAVES_SIGMA_M: Final = 5.0  # where neither the record nor the settings say
_BLOCK: Final = 8.0  # drift lengths summed at a stretch; exp(2 * 8) is no strain on a double
_WAVES: Final = 12  # of the smooth field along a line


def sigma_m(radius_m: Floats, *, means: AccuracyMeans = "68 %") -> Floats:
    """Standard deviation per axis of a horizontal accuracy: a radius that holds 68 or 95 % of fixes, or the root mean
    square of the distances (Rayleigh distribution).

    Examples
    --------
    >>> [float(sigma_m(np.array([r]), means=m)[0].round(6)) for r, m in ((4.0, "68 %"), (4.0, "rms"), (8.0, "95 %"))]
    [2.649722, 2.828427, 3.268312]
    """
    per_radius = {
        "68 %": 1 / np.sqrt(-2 * np.log(0.32)),
        "95 %": 1 / np.sqrt(-2 * np.log(0.05)),
        "rms": np.sqrt(0.5),
    }
    return np.asarray(radius_m, float) * per_radius[means]


@dataclass(frozen=True, kw_only=True)
class WalkError:
    """How the position error of a walk is made up.

    Attributes
    ----------
    common, own
        Shares of the variance: one shift of the whole, each fix's own. The rest drifts.
    drift_m
        Metres walked after which the drift's correlation has fallen to 1/e.
    """

    common: float = 0.5
    own: float = 0.1
    drift_m: float = 40.0

    @property
    def drift(self) -> float:
        """Share of the variance that drifts."""
        return max(1 - self.common - self.own, 0.0)


WALK_ERROR: Final = WalkError()


@dataclass(frozen=True, kw_only=True)
class Walk:
    """The drift along outlines: weights by which independent numbers become a process that fades with distance.

    Attributes
    ----------
    block
        Block of each vertex; a block starts at a ring's first vertex and wherever eight drift lengths are full.
    fade, weight
        (vertices,) What is left at each vertex of its block's start, and the weight of its own number.
    first
        Vertex each block starts with.
    step
        How much of the vertex before is left at a block's start; 0 at a ring's.
    ranks
        The blocks that are second, third, ... of their ring.
    """

    block: Ints
    fade: Floats
    weight: Floats
    first: Ints
    step: Floats
    ranks: list[Ints]

    @classmethod
    def along(cls, xy: Floats, ring: Ints, *, drift_m: float) -> Walk:
        """The walk over vertices ``xy`` of the rings ``ring`` (sorted), each from its first vertex on."""
        starts_ring = np.diff(ring, prepend=-1) != 0
        leg = np.where(starts_ring, 0.0, np.hypot(*np.diff(xy, axis=0, prepend=xy[:1]).T)) / drift_m
        ring_first = np.flatnonzero(starts_ring)
        gone = np.cumsum(leg)
        gone -= gone[ring_first][np.cumsum(starts_ring) - 1]
        number = np.floor(gone / _BLOCK)
        starts_block = starts_ring | (np.diff(number, prepend=-1) != 0)
        first = np.flatnonzero(starts_block)
        block = np.cumsum(starts_block) - 1
        since = gone - gone[first][block]
        before = np.where(starts_block, 0.0, since - leg)
        weight = np.where(starts_block, 0.0, np.sqrt(np.exp(2 * since) - np.exp(2 * before)))
        rank = np.arange(len(first)) - np.searchsorted(first, ring_first)[np.cumsum(starts_ring)[first] - 1]
        return cls(
            block=block,
            fade=np.exp(-since),
            weight=weight,
            first=first,
            step=np.where(starts_ring[first], 0.0, np.exp(-leg[first])),
            ranks=[np.flatnonzero(rank == k) for k in range(1, int(rank.max(initial=0)) + 1)],
        )

    def drift(self, numbers: Floats) -> Floats:
        """Standard normal ``numbers`` (draws, vertices, 2) as the process: each normal, neighbours alike."""
        summed = np.cumsum(numbers * self.weight[:, None], axis=1)
        summed -= summed[:, self.first][:, self.block]
        summed *= self.fade[:, None]
        at_start = numbers[:, self.first] * np.sqrt(1 - self.step**2)[:, None]
        for blocks in self.ranks:
            last = self.first[blocks] - 1
            before = summed[:, last] + self.fade[last, None] * at_start[:, blocks - 1]
            at_start[:, blocks] += self.step[blocks, None] * before
        found: Floats = summed + self.fade[:, None] * at_start[:, self.block]
        return found


@dataclass(frozen=True, kw_only=True)
class Outlines:
    """Outlines of a survey, ready to be drawn anew.

    Attributes
    ----------
    rings
        The footprints, one polygon a record.
    sigma_m
        (records,) Position error per axis.
    size_error
        Standard deviation of the factor on a radius or width.
    sized, lined
        (records,) Points of stated size; lines of stated width. All others are outlines.
    record
        (vertices,) The record of each vertex.
    error
        How the error along a walk is made up.
    centre
        (vertices, 2) Middle of each vertex's ring.
    outward_m
        (vertices, 2) For lines: how far and where a vertex goes when the width doubles; else 0.
    walked, strip
        Vertices of outlines (a ring's last, which repeats its first, left out) and of lines.
    walk
        The drift along ``walked``.
    """

    rings: Rings
    sigma_m: Floats
    size_error: float
    sized: Bools
    lined: Bools
    record: Ints
    error: WalkError
    centre: Floats
    outward_m: Floats
    walked: Ints
    walk: Walk
    strip: Ints

    @classmethod
    def of(
        cls,
        rings: Rings,
        *,
        shape: npt.NDArray[np.object_],
        sigma_m: Floats,
        size_error: float,
        error: WalkError = WALK_ERROR,
    ) -> Outlines:
        """Outlines of records of shapes ``point``, ``line`` or ``polygon`` and position errors ``sigma_m``."""
        counts = np.diff(rings.start)
        ring = np.repeat(np.arange(len(counts)), counts)
        record = rings.item[ring]
        opened = np.ones(len(ring), bool)
        opened[rings.start[1:] - 1] = False  # a ring's last vertex is its first again
        sums = np.stack([np.bincount(ring[opened], rings.xy[opened, axis], len(counts)) for axis in (0, 1)], axis=-1)
        sized, lined = shape == "point", shape == "line"
        walked = np.flatnonzero(opened & ~(sized | lined)[record])
        strip = np.flatnonzero(lined[record])
        return cls(
            rings=rings, sigma_m=sigma_m, size_error=size_error, sized=sized, lined=lined, record=record, error=error,
            centre=(sums / np.maximum(counts - 1, 1)[:, None])[ring], outward_m=_outward(rings, ring, strip),
            walked=walked, strip=strip,
            walk=Walk.along(rings.xy[walked], ring[walked], drift_m=error.drift_m),
        )  # fmt: skip

    @property
    def log_variance(self) -> float:
        """Variance of the logarithm of the factor on a radius or width."""
        return float(np.log1p(self.size_error**2))

    @property
    def size_variance(self) -> Floats:
        """Variance (records,) of the factor that sizes put on an area: on the square of a radius, on a width."""
        power = np.select([self.sized, self.lined], [4.0, 1.0], 0.0)
        found: Floats = np.expm1(power * self.log_variance)
        return found

    def expected(self, *, size: bool = True) -> Floats:
        """Vertices (vertices, 2) of what is expected of the truth: discs less the bias of a squared radius."""
        factor = np.where(self.sized & size, np.exp(-self.log_variance / 2), 1.0)
        return self._resized(factor[None], size=size)[0]

    def draw(self, rng: np.random.Generator, count: int, *, position: bool = True, size: bool = True) -> Floats:
        """Vertices (draws, vertices, 2) of ``count`` surveys that might as well have been the truth.

        Parameters
        ----------
        position, size
            Which errors are drawn.
        """
        records = (count, len(self.sigma_m))
        spread, variance = np.sqrt(self.log_variance), self.log_variance
        factor = np.exp(spread * rng.standard_normal(records) - np.where(self.sized, 1.5, 0.5) * variance)
        xy = self._resized(factor if size else np.ones(records), size=size)
        if position:
            self._move(xy, rng)
        ends = self.rings.start[1:] - 1
        xy[:, ends] = xy[:, self.rings.start[:-1]]
        return xy

    def _resized(self, factor: Floats, *, size: bool) -> Floats:
        """Vertices when every record's radius or width is ``factor`` (draws, records) times what it was."""
        xy = np.broadcast_to(self.rings.xy, (len(factor), *self.rings.xy.shape)).copy()
        if not size:
            return xy
        by_vertex = factor[:, self.record, None]
        discs = self.sized[self.record]
        xy[:, discs] = self.centre[discs] + by_vertex[:, discs] * (self.rings.xy - self.centre)[discs]
        xy[:, self.strip] += (by_vertex[:, self.strip] - 1) * self.outward_m[self.strip]
        return xy

    def _move(self, xy: Floats, rng: np.random.Generator) -> None:
        count = len(xy)
        share = np.where(self.sized, 1.0, self.error.common)
        shift = rng.standard_normal((count, len(share), 2)) * (self.sigma_m * np.sqrt(share))[:, None]
        xy += shift[:, self.record]
        if len(self.walked):
            numbers = rng.standard_normal((2, count, len(self.walked), 2))
            wander = np.sqrt(self.error.drift) * self.walk.drift(numbers[0]) + np.sqrt(self.error.own) * numbers[1]
            xy[:, self.walked] += self.sigma_m[self.record[self.walked], None] * wander
        if len(self.strip):
            sigma = self.sigma_m[self.record[self.strip], None] * np.sqrt(1 - self.error.common)
            xy[:, self.strip] += sigma * self._field(rng, count)

    def _field(self, rng: np.random.Generator, count: int) -> Floats:
        """A smooth standard field of each line's own at its vertices (draws, strip, 2), as a sum of random waves."""
        owner = np.unique(self.record[self.strip], return_inverse=True)[1]
        lines = int(owner.max()) + 1
        place = (self.rings.xy - self.centre)[self.strip] / self.error.drift_m
        found = np.zeros((count, len(self.strip), 2))
        for _ in range(_WAVES):
            wave = rng.standard_normal((count, lines, 2))[:, owner]
            phase = (wave * place).sum(axis=-1) + rng.uniform(0, 2 * np.pi, (count, lines))[:, owner]
            found += np.stack([np.cos(phase), np.sin(phase)], axis=-1)
        return found * np.sqrt(2 / _WAVES)


def _outward(rings: Rings, ring: Ints, strip: Ints) -> Floats:
    """Where the vertices of lines go when the width doubles: along the mitre, by half the width."""
    found = np.zeros_like(rings.xy)
    if not len(strip):
        return found
    start, end = rings.start[ring], rings.start[ring + 1] - 1  # of each vertex's ring; the end repeats the start
    at = np.arange(len(ring))
    before = np.where(at == start, end - 1, at - 1)
    after = np.where(at == end, start + 1, at + 1)
    normals = _normals(rings.xy, rings.xy[before]), _normals(rings.xy[after], rings.xy)
    mitre = (normals[0] + normals[1]) / np.maximum(1 + (normals[0] * normals[1]).sum(axis=1), 0.25)[:, None]
    turn = _signed_area(rings)
    solid = np.where((turn[ring] >= 0) != rings.hole[ring], 1.0, -1.0)  # a normal to the right of the way leads out
    found[strip] = (mitre * (solid * _half_width(rings, turn)[rings.item[ring]])[:, None])[strip]
    return found


def _normals(to: Floats, fro: Floats) -> Floats:
    step = to - fro
    length = np.hypot(*step.T)
    return np.stack([step[:, 1], -step[:, 0]], axis=-1) / np.where(length > 0, length, 1.0)[:, None]


def _signed_area(rings: Rings) -> Floats:
    x, y = (rings.xy - rings.xy[0]).T
    cross = np.append(x[:-1] * y[1:] - x[1:] * y[:-1], 0.0)
    cross[rings.start[1:] - 1] = 0.0  # from one ring to the next
    found: Floats = np.add.reduceat(cross, rings.start[:-1]) / 2
    return found


def _half_width(rings: Rings, turn: Floats) -> Floats:
    """Half the width of each item, taken as a strip with square ends: area = length * width."""
    leg = np.hypot(*np.diff(rings.xy, axis=0, append=rings.xy[-1:]).T)
    leg[rings.start[1:] - 1] = 0.0
    area = np.bincount(rings.item, np.abs(turn) * np.where(rings.hole, -1, 1))
    round_m = np.bincount(rings.item, np.add.reduceat(leg, rings.start[:-1]))
    found: Floats = (round_m - np.sqrt(np.maximum(round_m**2 - 16 * area, 0.0))) / 8
    return found


def draw_covers(rng: np.random.Generator, count: int, *, low_pct: Floats, high_pct: Floats) -> Floats:
    """Covers (draws, records) in percent, uniform between the limits of each record's class."""
    return low_pct + (high_pct - low_pct) * rng.random((count, len(low_pct)))


def draw_cell_shifts(rng: np.random.Generator, count: int, *, cell_m: float) -> Floats:
    """Shifts (draws, 2) of the access grid, uniform within half a cell each way."""
    return (rng.random((count, 2)) - 0.5) * cell_m
