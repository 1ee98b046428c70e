"""How a survey errs, as new outlines and covers: what the simulation of intervals draws from. Pure numpy, seeded.

Position. A record's accuracy is brought to a standard deviation per axis, ``sigma``. A point moves as a whole. Along a
walk the error is the sum of three independent parts whose variances add up to ``sigma^2``: a shift common to the
record (half: satellites and atmosphere change over many minutes), a drift whose correlation falls by 1/e every 40 m of
ground (four tenths: canopy and reflections change with the place), and a part of each fix's own (one tenth). A common
shift leaves a walked area as it is, so the drift decides its error. With these shares a hectare walked at 5 m per axis
has a standard error of 4 %, and 12 hectares one of 0.8 %: between what consumer receivers showed under canopy (1 ha
within +/-12 %, Revue Forestiere Francaise 56:529-536, 2004; 12 ha 0.2 to 4.7 %, Unger et al. 2013). An outline drawn
with few corners has nearly independent ones (Bondesson, Stahl and Holm 1998), since they lie farther apart than the
drift reaches.

Strips. The drift belongs to the place, so the two sides of a narrow strip drift together; were it alike along the walk
alone, they would move apart, cross, and a crumpled outline is too large on average (a strip of 2 m walked at 5 m is
drawn 1.6 times as large as it was walked). What is left of that is each fix's own part. A record is drawn whole: its
own errors were smaller than it is wide. So the own part deviates by at most half the width (of a strip of the same area
and way round), and what it gives up goes to the common shift. Strips of 2 to 20 m walked at 3 or 5 m are then drawn
within 5 % of what was walked, and hold their truth as all else does; but for 2 m at 5 m, where the walk itself is 18 %
larger than the truth, which no drawing can know. A line of stated width is moved by a smooth field of the same reach,
so that its width stays what was stated.

Size. A paced or guessed radius and a stated width err by a factor: lognormal, 1 on average, its standard deviation the
setting ``size_error``. A mean of 1 for the radius makes areas too large by ``1 + s^2`` on average (E[area] =
pi (r^2 + sigma^2)). Drawing such errors round what was measured would add this a second time. So discs are brought to
the area expected of the truth first, ``area / (1 + s^2)``, and the factor drawn is 1 on average for the area. A width
enters its area straight and needs no such step.

Cover. Uniform within the class that was written down. One figure is an estimate too, uniform within what the setting
``cover_error`` says on either side, or as far as 0 and 100 % leave on both: its middle stays what was written.

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
_WAVES: Final = 12  # summed to a field
_OWN_WIDTH: Final = 0.5  # the most a fix's own part may deviate, of the width


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
        Metres of ground over which the drift's correlation falls to 1/e.
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
    own
        (records,) Share of the variance that is each fix's own.
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
    strip: Ints
    own: Floats

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
        strip = np.flatnonzero(lined[record])
        turn = _signed_area(rings)
        half_m = _half_width(rings, turn, len(shape))
        return cls(
            rings=rings, sigma_m=sigma_m, size_error=size_error, sized=sized, lined=lined, record=record, error=error,
            centre=(sums / np.maximum(counts - 1, 1)[:, None])[ring],
            outward_m=_outward(rings, ring, strip, half_m[record] * np.where(turn >= 0, 1, -1)[ring]),
            walked=np.flatnonzero(opened & ~(sized | lined)[record]), strip=strip,
            own=np.minimum(error.own, (2 * _OWN_WIDTH * half_m / np.maximum(sigma_m, 1e-9)) ** 2),
        )  # fmt: skip

    @property
    def log_variance(self) -> float:
        """Variance of the logarithm of the factor on a radius or width."""
        return float(np.log1p(self.size_error**2))

    @property
    def size_deviation(self) -> Floats:
        """Deviation (records,) of the logarithm of the factor that sizes put on an area: a radius squared, a width."""
        found: Floats = np.select([self.sized, self.lined], [2.0, 1.0], 0.0) * np.sqrt(self.log_variance)
        return found

    def expected(self, *, size: bool = True) -> Floats:
        """Vertices (vertices, 2) of what is expected of the truth: discs less the bias of a squared radius."""
        factor = np.where(self.sized & size, np.exp(-self.log_variance / 2), 1.0)
        return self._resized(factor[None], size=size)[0]

    def draw(
        self, rng: np.random.Generator, count: int, *, position: bool = True, size: bool = True,
        scores: Floats | None = None,
    ) -> Floats:  # fmt: skip
        """Vertices (draws, vertices, 2) of ``count`` surveys that might as well have been the truth.

        Parameters
        ----------
        position, size
            Which errors are drawn.
        scores
            Standard normal numbers (draws, records) that say how large each size is drawn; drawn too when missing.
        """
        scores = rng.standard_normal((count, len(self.sigma_m))) if scores is None else scores
        spread, variance = np.sqrt(self.log_variance), self.log_variance
        factor = np.exp(spread * scores - np.where(self.sized, 1.5, 0.5) * variance)
        xy = self._resized(factor if size else np.ones_like(factor), size=size)
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
        common = np.where(self.lined, self.error.common, 1 - self.error.drift - self.own)
        shift = rng.standard_normal((count, len(common), 2))
        xy += (shift * (self.sigma_m * np.sqrt(np.where(self.sized, 1.0, common)))[:, None])[:, self.record]
        if len(self.walked):
            of = self.record[self.walked]
            own = rng.standard_normal((count, len(of), 2)) * np.sqrt(self.own[of])[:, None]
            drift = np.sqrt(self.error.drift) * self._field(rng, count, self.walked, smooth=False)
            xy[:, self.walked] += self.sigma_m[of, None] * (drift + own)
        if len(self.strip):
            sigma = self.sigma_m[self.record[self.strip], None] * np.sqrt(1 - self.error.common)
            xy[:, self.strip] += sigma * self._field(rng, count, self.strip, smooth=True)

    def _field(self, rng: np.random.Generator, count: int, vertices: Ints, *, smooth: bool) -> Floats:
        """A standard field of each record's own at its vertices (draws, vertices, 2), as a sum of random waves.

        Its correlation is exp(-distance / drift_m), or exp(-(distance / drift_m)^2 / 2) where smooth: the numbers of
        the waves are the spectra of these, a Cauchy and a normal distribution (Rahimi and Recht 2007).
        """
        names, owner = np.unique(self.record[vertices], return_inverse=True)
        many = len(names)
        first = np.searchsorted(owner, np.arange(many))
        place = self.rings.xy[vertices]
        x, y = ((place - place[first][owner]) / self.error.drift_m).astype(np.float32).T
        found = np.zeros((2, count, len(vertices)), np.float32)
        for _ in range(_WAVES):
            wave = rng.standard_normal((2, count, many))
            if not smooth:
                wave /= np.abs(rng.standard_normal((count, many)))
            along, up = wave.astype(np.float32)
            phase = rng.uniform(0, 2 * np.pi, (count, many)).astype(np.float32)
            angle = along[:, owner] * x + up[:, owner] * y + phase[:, owner]
            found[0] += np.cos(angle)
            found[1] += np.sin(angle)
        return np.moveaxis(found, 0, -1) * np.sqrt(2 / _WAVES)


def _outward(rings: Rings, ring: Ints, strip: Ints, half_m: Floats) -> Floats:
    """Where the vertices of lines go when the width doubles: along the mitre, by half the width.

    ``half_m`` (vertices,) is negative in rings that turn clockwise.
    """
    found = np.zeros_like(rings.xy)
    if not len(strip):
        return found
    start, end = rings.start[ring], rings.start[ring + 1] - 1  # of each vertex's ring; the end repeats the start
    at = np.arange(len(ring))
    before = np.where(at == start, end - 1, at - 1)
    after = np.where(at == end, start + 1, at + 1)
    normals = _normals(rings.xy, rings.xy[before]), _normals(rings.xy[after], rings.xy)
    mitre = (normals[0] + normals[1]) / np.maximum(1 + (normals[0] * normals[1]).sum(axis=1), 0.25)[:, None]
    solid = np.where(rings.hole[ring], -half_m, half_m)  # a normal to the right of the way leads out
    found[strip] = (mitre * solid[:, None])[strip]
    return found


def _normals(to: Floats, fro: Floats) -> Floats:
    step = to - fro
    length = np.hypot(*step.T)
    return np.stack([step[:, 1], -step[:, 0]], axis=-1) / np.where(length > 0, length, 1.0)[:, None]


def _signed_area(rings: Rings) -> Floats:
    if not len(rings.hole):
        return np.zeros(0)
    x, y = (rings.xy - rings.xy[0]).T
    cross = np.append(x[:-1] * y[1:] - x[1:] * y[:-1], 0.0)
    cross[rings.start[1:] - 1] = 0.0  # from one ring to the next
    found: Floats = np.add.reduceat(cross, rings.start[:-1]) / 2
    return found


def _half_width(rings: Rings, turn: Floats, items: int) -> Floats:
    """Half the width of each item, taken as a strip with square ends: area = length * width."""
    leg = np.hypot(*np.diff(rings.xy, axis=0, append=rings.xy[-1:]).T)
    leg[rings.start[1:] - 1] = 0.0
    area = np.bincount(rings.item, np.abs(turn) * np.where(rings.hole, -1, 1), items)
    round_m = np.bincount(rings.item, np.add.reduceat(leg, rings.start[:-1]), items)
    found: Floats = (round_m - np.sqrt(np.maximum(round_m**2 - 16 * area, 0.0))) / 8
    return found


def cover_limits(cover_pct: Floats, low_pct: Floats, high_pct: Floats, *, error_pct: float) -> tuple[Floats, Floats]:
    """Low and high of each cover in percent: of its class, or of one figure (or none known) by the error either way.

    Examples
    --------
    >>> cover, said_low, said_high = np.array([[37.5, 40, 2], [25, 40, 2], [50, 40, 2]])
    >>> low, high = cover_limits(cover, said_low, said_high, error_pct=5)
    >>> low.tolist(), high.tolist()
    ([25.0, 35.0, 0.0], [50.0, 45.0, 4.0])
    """
    classed = low_pct < high_pct
    off = np.minimum(error_pct, np.minimum(cover_pct, 100 - cover_pct))
    return np.where(classed, low_pct, cover_pct - off), np.where(classed, high_pct, cover_pct + off)


def draw_covers(rng: np.random.Generator, count: int, *, low_pct: Floats, high_pct: Floats) -> Floats:
    """Covers (draws, records) in percent, uniform between the limits of each record's class."""
    return low_pct + (high_pct - low_pct) * rng.random((count, len(low_pct)))


def draw_cell_shifts(rng: np.random.Generator, count: int, *, cell_m: float) -> Floats:
    """Shifts (draws, 2) of the access grid, uniform within half a cell each way."""
    return (rng.random((count, 2)) - 0.5) * cell_m
