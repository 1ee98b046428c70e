"""How fast the acreage table of a county is worked, against a plain reading of its files and the plain route.

    python tests/benchmarks/acreage.py [--patches 1000 10000 100000] [--tiled 100000] [--careful 10000] [--rounds 3]
    python tests/benchmarks/acreage.py --county FOLDER   (layers as make_county writes them)

Every run is a process of its own, so that its peak memory is known; they take turns and the median counts. ``floor``
reads the same files and takes every area once. ``invasimap`` reads them, draws the points as discs, keeps spray off
what of the water comes near a patch, and calls ``invasimap.acreage``. Routes must agree, row by row. The plain routes
run once, halfway through, and only at the numbers of patches asked for: ``careful`` takes most of an hour at 10,000,
and is stopped after ``--patience`` seconds, which tells by how much ours is quicker at least.
"""

from __future__ import annotations

import argparse
import gc
import json
import math
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

sys.path.insert(0, str(Path(__file__).parent))
from plain_acreage import QUAD_SEGS, layer_of, plain_acreage, read

CLASSES = ("tractor", "atv_hose", "foot")  # what the county numbers from 1

GRAIN_M2 = 1e-8


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--patches", type=int, nargs="*", default=[1_000, 10_000, 100_000])
    parser.add_argument("--tiled", type=int, nargs="*", default=[100_000], help="patches at which the tiled route runs")
    parser.add_argument("--careful", type=int, nargs="*", default=[], help="patches at which the careful route runs")
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--patience", type=float, default=3600.0, help="seconds after which a plain route is stopped")
    parser.add_argument("--county", type=Path, nargs="*", default=[])
    parser.add_argument("--child", nargs=3, metavar=("ROUTE", "FOLDER", "TABLE"))
    asked = parser.parse_args()
    if asked.child:
        print(json.dumps(_measured(asked.child[0], *map(Path, asked.child[1:]))))
        return
    print("| patches | route | wall s | cpu s | peak GiB | times the floor | invasimap is quicker by | differs by m2 |")
    print("|---|---|---|---|---|---|---|---|", flush=True)
    with tempfile.TemporaryDirectory() as name:
        home = Path(name)
        folders = asked.county or [_made(home, count) for count in asked.patches]
        sizes = [_compare(folder, home, asked) for folder in folders]
    if len(sizes) > 1:
        (small, quick), (large, slow) = sizes[0], sizes[-1]
        print(f"\nexponent from {small:,} to {large:,} patches: {math.log(slow / quick) / math.log(large / small):.2f}")


def _made(home: Path, patches: int) -> Path:
    folder = home / str(patches)
    command = [sys.executable, str(Path(__file__).with_name("make_county.py")), str(folder)]
    subprocess.run([*command, str(max(patches // 10, 200)), str(patches), "7"], check=True)
    return folder


def _compare(folder: Path, home: Path, asked: argparse.Namespace) -> tuple[int, float]:
    patches = len(gpd.read_parquet(folder / "patches.parquet", columns=["species", "geometry"]))
    found: dict[str, list[dict[str, float]]] = {"floor": [], "invasimap": []}
    plain: dict[str, list[dict[str, float]]] = {}
    _child("invasimap", folder, home)  # compiles, and brings the files into memory
    for number in range(asked.rounds):
        for route, runs in found.items():
            runs.append(_child(route, folder, home))
        if number == (asked.rounds - 1) // 2:  # the machine's pace drifts: as much of ours before as after
            for name in ("tiled", "careful"):
                if patches in getattr(asked, name):
                    plain[name] = [_child(name, folder, home, asked.patience)]
    found |= plain
    middle = {
        name: {key: statistics.median(run[key] for run in runs) for key in runs[0]} for name, runs in found.items()
    }
    ours = pd.read_pickle(home / "invasimap.pkl")
    for name, run in middle.items():
        plain = name in ("tiled", "careful") and math.isfinite(run["cpu"])
        other = pd.read_pickle(home / f"{name}.pkl") if plain else ours
        apart = pd.concat([ours, other], axis=1).fillna(0.0)
        differs = f"{(apart.iloc[:, 0] - apart.iloc[:, 1]).abs().max():.1e}" if plain else ""
        least = "" if math.isfinite(run["cpu"]) else "at least "
        quicker = f"{least}{run['wall'] / middle['invasimap']['wall']:.1f}" if name != "invasimap" else ""
        print(
            f"| {patches:,} | {name} | {run['wall']:.2f} | {run['cpu']:.2f} | {run['peak']:.2f} "
            f"| {run['wall'] / middle['floor']['wall']:.1f} | {quicker} | {differs} |",
            flush=True,
        )
    return patches, middle["invasimap"]["wall"]


def _child(route: str, folder: Path, home: Path, patience: float | None = None) -> dict[str, float]:
    command = [sys.executable, __file__, "--child", route, str(folder), str(home / f"{route}.pkl")]
    try:
        done = subprocess.run(command, check=True, capture_output=True, text=True, timeout=patience)
    except subprocess.TimeoutExpired:
        return {"wall": patience or math.nan, "cpu": math.inf, "peak": math.nan}  # it takes longer than this
    found: dict[str, float] = json.loads(done.stdout)
    return found


def _measured(route: str, folder: Path, table: Path) -> dict[str, float]:
    """Seconds of a route without imports (and without loading what was compiled), and its peak memory with them."""
    work = {
        "floor": _floor,
        "invasimap": _ours,
        "tiled": lambda folder: plain_acreage(folder, tiled=True),
        "careful": lambda folder: plain_acreage(folder, tiled=False),
    }[route]
    _warm(route)
    gc.disable()  # as timeit does: where its turns fall is no route's doing
    wall, cpu = time.perf_counter(), time.process_time()
    found = work(folder)
    wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    if found is not None:
        found.to_pickle(table)
    return {"wall": wall, "cpu": cpu, "peak": peak}


def _warm(route: str) -> None:
    """Import what reads GeoParquet and, for ours, load the compiled sweep."""
    with tempfile.TemporaryDirectory() as name:
        layer = gpd.GeoDataFrame({"stand": [1]}, geometry=[shapely.box(0, 0, 1, 1)], crs="EPSG:26915")
        layer.to_parquet(Path(name) / "a.parquet")
        gpd.read_parquet(Path(name) / "a.parquet")
        if route == "invasimap":
            from invasimap.mosaic.swept import swept_growth

            layers = layer.assign(access="", zone="no_spray", species="", date="", cover_pct=1.0)
            swept_growth(layers, stands=layers, protection=layers, access=layers)


def _floor(folder: Path) -> None:
    for layer in read(folder).values():
        layer.area.sum()


def _ours(folder: Path) -> pd.Series:
    from invasimap import acreage

    patches, parts, distance, zone = _drawn(*(layer_of(folder, name) for name in ("patches", "water", "sensitive")))
    with ThreadPoolExecutor(1) as pool:  # shapely lets go of the lock while it buffers, not while it reads
        near = pool.submit(shapely.buffer, parts, distance, quad_segs=QUAD_SEGS)
        stands, means = (layer_of(folder, name) for name in ("stands", "access"))
        protection = gpd.GeoDataFrame({"zone": zone}, geometry=near.result(), crs=patches.crs)
    table = acreage(
        patches,
        stands=stands,
        protection=protection,
        access=means.assign(access=np.array(CLASSES, object)[means["cls"] - 1]),
    )
    numbers = {name: number for number, name in enumerate(CLASSES, 1)}  # as the plain route names them
    table = table.assign(species=table["species"].astype(int), cls=table["access"].map(numbers), area=table["gross_m2"])
    return table.set_index(["stand", "species", "cls", "zone"])["area"]


def _drawn(patches, water, sensitive):
    """Patches, the points as discs; and what of the protection comes near them, with its distance and zone."""
    from invasimap.core.nearby import near_parts

    shapes, radius = patches.geometry.to_numpy().copy(), patches["radius"].to_numpy()
    point = ~np.isnan(radius)
    shapes[point] = _discs(shapes[point], radius[point])
    patches = patches.set_geometry(gpd.GeoSeries(shapes, crs=patches.crs))
    number, species = pd.factorize(patches["species"])
    patches = patches.assign(date="", cover_pct=100.0, species=species.astype(str).to_numpy(object)[number])
    guarded = pd.concat([water.assign(zone="no_spray"), sensitive.assign(zone="hand_only")])
    distance = guarded["buf"].to_numpy()
    parts, of = near_parts(guarded.geometry.to_numpy(), distance, shapes)
    return patches, parts, distance[of], guarded["zone"].to_numpy()[of]


def _discs(points, radius):
    """What ``shapely.buffer`` makes of points, all at once, as the intake of field files draws its points."""
    turn = np.append(np.arange(4 * QUAD_SEGS), 0) * (-np.pi / (2 * QUAD_SEGS))
    rings = shapely.get_coordinates(points)[:, None] + radius[:, None, None] * np.stack([np.cos(turn), np.sin(turn)], 1)
    number = np.arange(len(points) + 1)
    return shapely.from_ragged_array(shapely.GeometryType.POLYGON, rings.reshape(-1, 2), (number * len(turn), number))


if __name__ == "__main__":
    main()
