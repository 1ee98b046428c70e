"""A survey taken again and again on paper: every acreage in every draw.

Each draw moves and resizes every patch by what its survey may have erred (``mosaic.errors``), shifts the access grid
within a cell, takes covers from within their classes, and has the engine of areas work out every acreage anew. Draws
are seeded and each batch has a seed of its own: the same input gives the same draws, on one core or many.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd

from invasimap.core.second_process import processors
from invasimap.mosaic.errors import (
    UNDER_LEAVES_SIGMA_M,
    AccuracyMeans,
    Outlines,
    cover_limits,
    draw_cell_shifts,
    draw_covers,
    sigma_m,
)
from invasimap.mosaic.intervals import SizeLean
from invasimap.mosaic.scene import Scene, Tally

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]
SEED: Final = 20_260_401
SOURCES: Final = ("position", "size", "cover", "cell")
_BATCH: Final = 20
_MOST_VERTICES: Final = 2_000_000  # of a batch, which bounds the memory


@dataclass(frozen=True, kw_only=True)
class Doubt:
    """What the draws take: how many (0 for none), the errors where records do not say, and the access grid's cell.

    How far a cover of one figure is off has no default: the settings say it.
    """

    draws: int
    cell_m: float
    cover_error_pct: float
    size_error: float = 0.2
    accuracy_is: AccuracyMeans = "68 %"


@dataclass(frozen=True, kw_only=True)
class Simulation:
    """A survey ready to be drawn: scene, what to add up, outlines, covers (low, middle, high) and the cell."""

    scene: Scene
    tally: Tally
    outlines: Outlines
    low_pct: Floats
    cover_pct: Floats
    high_pct: Floats
    cell_m: float

    @classmethod
    def of(
        cls, scene: Scene, patches: gpd.GeoDataFrame, *, acreage: pd.DataFrame, ground: pd.DataFrame, doubt: Doubt
    ) -> Simulation:
        """A simulation of patches over a scene for the rows of two tables."""
        sigma = sigma_m(patches["accuracy_m"].to_numpy(float), means=doubt.accuracy_is)
        cover = patches["cover_pct"].to_numpy(float)
        low, high = cover_limits(
            cover, *(patches[name].to_numpy(float) for name in ("cover_low_pct", "cover_high_pct")),
            error_pct=doubt.cover_error_pct,
        )  # fmt: skip
        return cls(
            scene=scene,
            tally=Tally.of(scene, acreage, ground),
            outlines=Outlines.of(
                scene.patches,
                shape=patches["shape"].to_numpy(object),
                sigma_m=np.where(np.isnan(sigma), UNDER_LEAVES_SIGMA_M, sigma),
                size_error=doubt.size_error,
            ),
            low_pct=low,
            cover_pct=cover,
            high_pct=high,
            cell_m=doubt.cell_m,
        )

    def drawn(self, draws: int, *, only: str = "") -> tuple[Floats, Floats]:
        """Every quantity in every draw (2, draws, quantities), gross and infested, and how far sizes leaned there.

        Parameters
        ----------
        only
            The one source of error to draw; all of them when empty.

        Returns
        -------
        tuple of arrays
            Square metres; and the scores of ``SizeLean``, standard normal, 0 where no size is drawn.
        """
        most = max(1, min(_BATCH, _MOST_VERTICES // max(len(self.scene.patches.xy), 1)))
        batches = [(number, min(most, draws - number)) for number in range(0, draws, most)]

        sources = frozenset([only] if only else SOURCES)
        stream = SOURCES.index(only) + 1 if only else 0

        def batch(which: tuple[int, int]) -> tuple[Floats, Floats]:
            first, count = which
            return self._batch(count, np.random.default_rng([SEED, stream, first]), sources)

        with ThreadPoolExecutor(processors()) as pool:
            areas, scores = zip(*pool.map(batch, batches), strict=True)
        return np.concatenate(areas, axis=1), np.concatenate(scores, axis=1)

    def _batch(self, count: int, rng: np.random.Generator, sources: frozenset[str]) -> tuple[Floats, Floats]:
        scores = rng.standard_normal((count, len(self.low_pct)))
        sized = "size" in sources
        xy = self.outlines.draw(rng, count, position="position" in sources, size=sized, scores=scores)
        shifts = draw_cell_shifts(rng, count, cell_m=self.cell_m if "cell" in sources else 0.0)
        covers = np.broadcast_to(self.cover_pct, (count, len(self.cover_pct)))
        if "cover" in sources:
            covers = draw_covers(rng, count, low_pct=self.low_pct, high_pct=self.high_pct)
        found = np.empty((2, count, self.tally.count))
        for draw in range(count):
            areas = self.scene.areas(xy[draw], access_shift_m=shifts[draw])
            found[:, draw] = self.tally.sums(areas, covers[draw])
        return found, self.lean.scores(scores) if sized else np.zeros_like(found)

    @cached_property
    def parts(self) -> tuple[Ints, Ints, Floats]:
        """What each patch gives to each quantity, of the outlines expected of the truth (``Tally.by_patch``)."""
        return self.tally.by_patch(self.scene.areas(self.outlines.expected(), access_shift_m=np.zeros(2)))

    def cover_variance(self) -> Floats:
        """Variance (quantities,) of the infested area from the covers alone: each uniform within its class."""
        quantity, patch, area = self.parts
        spread = (self.high_pct - self.low_pct)[patch] / 100
        found: Floats = np.asarray(np.bincount(quantity, (area * spread) ** 2 / 12, self.tally.count), float)
        return found

    @cached_property
    def lean(self) -> SizeLean:
        """Which way sizes push each quantity, and how lopsided they make it."""
        quantity, patch, area = self.parts
        return SizeLean.of(
            quantity, patch, np.stack([area, area * self.cover_pct[patch] / 100]),
            deviation=self.outlines.size_deviation[patch], count=self.tally.count,
        )  # fmt: skip
