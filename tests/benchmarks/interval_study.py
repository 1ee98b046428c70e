"""Do the 90 % ranges hold the truth? Invented tracts of known truth, each surveyed with error, a new one each time.

By hand, a quarter of an hour of two cores: ``python tests/benchmarks/interval_study.py 1000``. The surveyor's errors
are made here by other code than the one that draws: fixes one by one along the walk, lines moved by their middle and
given their width again. Counted apart: rows of the acreage and of the ground, totals of species and of the ground.
"""

from __future__ import annotations

import argparse
import itertools
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from invasimap.core.settings import UncertaintySection
from invasimap.mosaic.scene import Scene
from invasimap.mosaic.simulation import Doubt, Simulation
from invasimap.mosaic.uncertainty import TOTALS, ranges_of, totals_table

CRS = "EPSG:32617"
SIDE_M = 400.0
CELL_M = 3.048
SIZE_ERROR = UncertaintySection().size_error_pct / 100
COVER_ERROR_PCT = UncertaintySection().cover_error_pct
CLASSES_PCT = ((0, 5), (5, 25), (25, 50), (50, 75), (75, 95), (95, 100))
CLASS_NAMES = ("tractor", "atv_hose", "foot")
COUNTS = {"point": 24, "polygon": 5, "line": 2}


@dataclass(frozen=True, kw_only=True)
class Tract:
    """A truth and what a survey of it gave; the same land but for the access grid."""

    stands: gpd.GeoDataFrame
    protection: gpd.GeoDataFrame
    true_access: gpd.GeoDataFrame
    access: gpd.GeoDataFrame
    truth: gpd.GeoDataFrame
    survey: gpd.GeoDataFrame


def frame(shapes, **columns):
    return gpd.GeoDataFrame(columns, geometry=list(shapes), crs=CRS)


# the land


def creek():
    x = np.linspace(-20, SIDE_M + 20, 60)
    return shapely.LineString(np.column_stack([x, 190 + 60 * np.sin(x / 50)]))


def access_layer(rng, *, cell_m=None):
    """Three classes, one above the other, between wavy edges; in cells of a grid that starts anywhere, or as it is."""
    if cell_m is None:
        x = np.arange(0, SIDE_M + 1, 2.0)
        edges = _edges(x)
    else:
        offset = rng.uniform(0, cell_m, 2)
        left = np.arange(-1, SIDE_M / cell_m + 1) * cell_m - offset[0]
        heights = np.round((_edges(left + cell_m / 2) - offset[1]) / cell_m) * cell_m + offset[1]
        x, edges = np.repeat(np.append(left, left[-1] + cell_m), 2)[1:-1], np.repeat(heights, 2, axis=1)
    floors = [np.full(len(x), -50.0), *edges, np.full(len(x), SIDE_M + 50)]
    shapes = [
        shapely.Polygon(np.concatenate([np.column_stack([x, low]), np.column_stack([x, high])[::-1]]))
        for low, high in itertools.pairwise(floors)
    ]
    return frame(shapes, access=list(CLASS_NAMES))


def _edges(x):
    return np.stack([120 + 30 * np.sin(x / 60), 260 + 40 * np.sin(x / 70 + 1)])


def land():
    corners = [(x, y) for x in (20, 200) for y in (20, 200)]
    stands = frame([shapely.box(x, y, x + 180, y + 180) for x, y in corners], stand=["1", "2", "3", "4"])
    zones = [creek().buffer(8), creek().buffer(23)]
    return stands, frame(zones, zone=["no_spray", "hand_only"])


# the truth


def true_patches(rng, *, counts=COUNTS):
    """Patches in clusters; ``middle`` is what the crew walks to or along, ``size_m`` a radius or width."""
    shape = np.repeat(list(counts), list(counts.values()))
    count = len(shape)
    clusters = rng.uniform(40, SIDE_M - 40, (6, 2))
    cluster = rng.integers(0, 6, count)
    place = clusters[cluster] + rng.normal(0, 25, (count, 2))
    size_m = np.where(
        shape == "point", np.exp(rng.normal(np.log(5), 0.5, count)).clip(1.5, 15), rng.uniform(3, 6, count)
    )
    middle = [_middle(rng, kind, at) for kind, at in zip(shape, place, strict=True)]
    species = np.where(rng.random(count) < 0.8, cluster % 3, rng.integers(0, 3, count))
    limits = np.asarray(CLASSES_PCT, float)[rng.integers(0, len(CLASSES_PCT), count)]
    cover = limits[:, 0] + rng.random(count) * np.diff(limits, axis=1)[:, 0]
    classed = rng.random(count) < 0.5
    written = cover  # as one figure: the truth lies round it
    room = np.minimum(COVER_ERROR_PCT, np.minimum(written, 100 - written))
    cover = np.where(classed, cover, written + rng.uniform(-1, 1, count) * room)
    return frame(
        [footprint(k, m, s) for k, m, s in zip(shape, middle, size_m, strict=True)],
        species=np.array(["A", "B", "C"], object)[species], shape=shape.astype(object), size_m=size_m,
        date=[f"2026-05-{day:02d}" for day in rng.permutation(count) % 28 + 1], cover_pct=cover,
        cover_low_pct=np.where(classed, limits[:, 0], written), cover_high_pct=np.where(classed, limits[:, 1], written),
        accuracy_m=rng.uniform(4, 8, count),
    ).assign(middle=middle)  # fmt: skip


def _middle(rng, kind, at):
    if kind == "point":
        return at[None]
    if kind == "polygon":
        turn = np.linspace(0, 2 * np.pi, 40, endpoint=False)
        radius = rng.uniform(14, 30)
        waves = sum(rng.normal(0, 0.15) * np.cos(k * turn + rng.uniform(0, 6)) for k in (2, 3))
        return at + (radius * (1 + waves))[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    heading = np.cumsum(rng.normal(0, 0.25, 10)) + rng.uniform(0, 6)
    return at + np.cumsum(7 * np.column_stack([np.cos(heading), np.sin(heading)]), axis=0)


def footprint(kind, middle, size_m):
    if kind == "point":
        turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
        radius = size_m * np.sqrt(np.pi / (12 * np.sin(np.pi / 12)))  # a polygon of exactly the circle's area
        return shapely.Polygon(middle + radius * np.column_stack([np.cos(turn), np.sin(turn)]))
    if kind == "line":
        return shapely.LineString(middle).buffer(size_m / 2, cap_style="flat")
    return shapely.Polygon(middle)


# the survey


def surveyed(rng, truth, *, size_error=SIZE_ERROR):
    """The truth with the errors of a survey: every fix off, every radius and width misjudged, covers as classes."""
    spread = np.sqrt(np.log1p(size_error**2))
    factor = np.exp(rng.normal(-(spread**2) / 2, spread, len(truth)))  # 1 on average
    sigma = truth["accuracy_m"] / np.sqrt(-2 * np.log(0.32))
    shapes = [
        footprint(kind, middle + fix_errors(rng, middle, s), size)
        for kind, middle, s, size in zip(truth["shape"], truth["middle"], sigma, truth["size_m"] * factor, strict=True)
    ]
    said = (truth["cover_low_pct"] + truth["cover_high_pct"]) / 2
    return truth.drop(columns="middle").set_geometry(gpd.GeoSeries(shapes, crs=CRS)).assign(cover_pct=said)


def fix_errors(rng, xy, sigma):
    """Errors (fixes, 2) of a walk: half the variance common, 0.4 fading over 40 m of ground, 0.1 its own."""
    if len(xy) == 1:
        return rng.normal(0, sigma, (1, 2))
    alike = np.exp(-np.hypot(*(xy[:, None] - xy).transpose(2, 0, 1)) / 40)
    drift = np.linalg.cholesky(alike) @ rng.normal(size=xy.shape)
    own = rng.normal(size=xy.shape)
    return sigma * (np.sqrt(0.5) * rng.normal(size=2) + np.sqrt(0.4) * drift + np.sqrt(0.1) * own)


def tract(seed, *, counts=COUNTS):
    rng = np.random.default_rng([11, seed])
    stands, protection = land()
    truth = true_patches(rng, counts=counts)
    return Tract(
        stands=stands, protection=protection, true_access=access_layer(rng),
        access=access_layer(rng, cell_m=CELL_M), truth=truth, survey=surveyed(rng, truth),
    )  # fmt: skip


# the score


def tables(scene, cover_pct):
    """The acreage and the ground of a scene, in the form of the program's tables."""
    found = scene.areas(scene.patches.xy, access_shift_m=np.zeros(2))
    parts = scene.land.named(found).rename(columns={"area_m2": "gross_m2"})
    grown = parts["patch"].to_numpy() >= 0
    patch = parts.pop("patch").to_numpy()
    parts["species"] = np.where(grown, np.asarray(scene.species_names, object)[scene.species[patch]], "")
    parts["infested_m2"] = parts["gross_m2"] * cover_pct[patch] / 100
    sums = parts.groupby(["stand", "species", "zone", "access"], as_index=False).sum()
    ground = sums[sums["species"] == ""].rename(columns={"gross_m2": "ground_m2"})
    return sums[sums["species"] != ""], ground[["stand", "zone", "access", "ground_m2"]]


def one_survey(seed, *, draws, counts=COUNTS):
    """What each figure of one survey gave: kind, truth, figure, low and high, in square metres."""
    made = tract(seed, counts=counts)
    layers = {"stands": made.stands, "protection": made.protection}
    true_scene = Scene.of(made.truth, access=made.true_access, **layers)
    truth = tables(true_scene, made.truth["cover_pct"].to_numpy())
    scene = Scene.of(made.survey, access=made.access, **layers)
    rows, ground = tables(scene, made.survey["cover_pct"].to_numpy())
    doubt = Doubt(draws=draws, cell_m=CELL_M, size_error=SIZE_ERROR, cover_error_pct=COVER_ERROR_PCT)
    simulation = Simulation.of(scene, made.survey, acreage=rows, ground=ground, doubt=doubt)
    found = ranges_of(simulation, rows, ground, draws=draws)
    parts = [
        *compared("row", found.acreage, truth[0], ["gross", "infested"]),
        *compared("ground row", found.ground, truth[1], ["ground"]),
        *compared("total", found.totals, totals_table(*truth), TOTALS),
    ]
    return pd.concat(parts, ignore_index=True).assign(survey=seed)


def compared(kind, table, truth, figures):
    """Each figure of a table beside the truth, which is nothing where there is no such row."""
    keys = [name for name in ("stand", "species", "zone", "access") if name in table]
    both = table.merge(truth, on=keys, how="left", suffixes=("", "_true"))
    for name in figures:
        ends = {end or "shown": both[f"{name}{end}_m2"] for end in ("", "_low", "_high")}
        found = pd.DataFrame(ends).set_axis(["shown", "low", "high"], axis=1)
        of_ground = both["species"] == "" if kind == "total" else np.zeros(len(both), bool)
        found["kind"] = np.where(of_ground, "ground total", kind)
        yield found.assign(of=name, truth=both[f"{name}_m2_true"].fillna(0.0))[found["shown"].notna()]


def score(found):
    """Share of truths held, with its standard error over surveys, and the misses below and above, by kind."""
    held = found.assign(
        held=(found["low"] - 1e-6 <= found["truth"]) & (found["truth"] <= found["high"] + 1e-6),
        below=found["truth"] < found["low"] - 1e-6, above=found["truth"] > found["high"] + 1e-6,
        width=(found["high"] - found["low"]) / found["shown"],
    )  # fmt: skip
    groups = held.groupby(["kind", "of"])
    table = groups.agg(figures=("held", "size"), held_pct=("held", "mean"), below_pct=("below", "mean"),
                       above_pct=("above", "mean"), width_pct=("width", "median"))  # fmt: skip
    table.iloc[:, 1:] *= 100
    table.insert(2, "error_pct", groups.apply(_standard_error, include_groups=False))
    return table.round(2)


def _standard_error(held):
    """Of a share whose figures come in surveys: surveys are independent, figures of one are not."""
    by_survey = held.groupby("survey")["held"].agg(["sum", "size"])
    share = by_survey["sum"].sum() / by_survey["size"].sum()
    off = by_survey["sum"] - share * by_survey["size"]
    return 100 * np.sqrt((off**2).sum()) / by_survey["size"].sum()


def _one(arguments):
    return one_survey(arguments[0], draws=arguments[1])


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("surveys", type=int)
    parser.add_argument(
        "--first", type=int, default=0, help="number of the first survey: each number is one of its own"
    )
    parser.add_argument("--draws", type=int, default=200)
    parser.add_argument("--workers", type=int, default=2)
    given = parser.parse_args()
    surveys = [(number, given.draws) for number in range(given.first, given.first + given.surveys)]
    with ProcessPoolExecutor(given.workers) as pool:
        found = list(pool.map(_one, surveys, chunksize=4))
    print(score(pd.concat(found)).to_string())


if __name__ == "__main__":
    main()
