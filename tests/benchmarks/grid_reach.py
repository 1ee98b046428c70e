"""Hose and walk over large grids, beside peers in the same run.

As a table: ``python tests/benchmarks/grid_reach.py 1 16 100``. With pytest-benchmark, which ordinary test runs leave
out: ``BENCH_MILLIONS=16 pytest -p benchmark tests/benchmarks/grid_reach.py``.

Each figure is measured in a process of its own. Prints millions of cells, seconds, peak memory and the ratio to ours;
``--repeat`` takes the median of several. Sixty percent of the ground is passable, in patches; tracks cross it every
1.2 km. The peers take level ground; ``hose`` does too, ``hose 3D`` and ``hose lift`` lay it over hills.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from scipy import ndimage

CELL_M, HOSE_M, LIFT_M = 3.0, 91.44, 12.0
LEVEL = ("hose", "scipy hose", "MCP_Geometric")
LARGEST = {"MCP_Geometric": 110, "scipy hose": 20, "scipy walk 8": 20, "scipy walk 16": 5}  # million cells that fit


def country(millions: float):
    """Elevation, passable ground and tracks of a made-up country, the same at each size for one seed."""
    side = round(float(np.sqrt(millions * 1e6)))
    rng = np.random.default_rng(4)

    def hills(coarse: int):
        knots = rng.standard_normal((side // coarse + 5, side // coarse + 5)).astype(np.float32)
        made = np.empty((side, side), np.float32)
        at = (np.arange(side, dtype=np.float32) / coarse + 2).astype(np.float32)
        for top in range(0, side, 500):
            rows, columns = np.meshgrid(at[top : top + 500], at, indexing="ij")
            made[top : top + 500] = ndimage.map_coordinates(knots, [rows, columns], order=1)
        return made

    woods = hills(12)
    passable = woods > np.quantile(woods[::7, ::7], 0.4)
    del woods
    elevation = hills(60)
    elevation *= 15
    tracks = np.zeros((side, side), bool)
    tracks[200::400] = True
    tracks &= passable
    return elevation, passable, tracks


def run(name: str, millions: float) -> dict[str, float]:
    """Seconds and peak GiB of one route over one country, after a run over a small one."""
    route = ROUTES[name]
    route(*country(0.09))
    elevation, passable, tracks = country(millions)
    if name in LEVEL:
        elevation[:] = 0
    begun = time.perf_counter()
    reached = route(elevation, passable, tracks)
    seconds = time.perf_counter() - begun
    return {"seconds": seconds, "GiB": _peak_gib(), "reached": reached}


def _peak_gib() -> float:
    """Peak memory of this process alone; getrusage would count what its parent held when it began."""
    status = Path("/proc/self/status").read_text()
    return int(next(line for line in status.splitlines() if line.startswith("VmHWM")).split()[1]) / 2**20


def _hose(lift_m=np.inf):
    def route(elevation, passable, tracks):
        from invasimap.land.hose_reach import hose_reach

        given = {"passable": passable, "elevation_m": elevation, "cell_m": CELL_M, "length_m": HOSE_M, "lift_m": lift_m}
        return sum(int((row >= 0).sum()) for row in hose_reach(tracks, **given).parking)

    return route


def _mcp(_elevation, passable, tracks):
    from skimage.graph import MCP_Geometric

    costs = np.where(passable, 1.0, -1.0)
    costs, _ = MCP_Geometric(costs).find_costs(np.argwhere(tracks))
    return int((costs <= HOSE_M / CELL_M).sum())


def _graph(passable, step_cost, moves):
    """Sparse graph of allowed steps, as someone would build it with numpy."""
    from scipy import sparse

    number = np.cumsum(passable.ravel(), dtype=np.int32).reshape(passable.shape) - 1
    ends = ([], [], [])
    side = passable.shape[0]
    for down, across, between in moves:
        here = tuple(slice(max(0, -m), side - max(0, m)) for m in (down, across))
        allowed = passable[here].copy()
        for d, a in [(down, across), *between]:
            allowed &= _shifted(passable, here, d, a)
        cost = step_cost(here, down, across)
        entries = number[here][allowed], _shifted(number, here, down, across)[allowed], cost[allowed]
        for whole, part in zip(ends, entries, strict=True):
            whole.append(part)
    starts, stops, costs = (np.concatenate(parts) for parts in ends)
    count = int(number.max()) + 1
    return sparse.csr_array((costs, (starts, stops)), shape=(count, count)), number


def _shifted(array, here, down, across):
    return array[here[0].start + down : here[0].stop + down, here[1].start + across : here[1].stop + across]


def _moves(count):
    moves = [(a, b, []) for a, b in ((0, 1), (0, -1), (1, 0), (-1, 0))]
    for a in (-1, 1):
        for b in (-1, 1):
            moves.append((a, b, [(a, 0), (0, b)]))
            moves.append((a, 2 * b, [(0, b), (a, b)]))
            moves.append((2 * a, b, [(a, 0), (a, b)]))
    return [move for move in moves if count == 16 or max(map(abs, move[:2])) == 1]


def _scipy_hose(_elevation, passable, tracks):
    from scipy.sparse import csgraph

    def level(here, down, across):
        return np.full([s.stop - s.start for s in here], np.hypot(down, across) * CELL_M)

    graph, number = _graph(passable, level, _moves(8))
    found = csgraph.dijkstra(graph, indices=number[tracks], min_only=True, limit=HOSE_M)
    return int((found <= HOSE_M).sum())


def _scipy_walk(count):
    def route(elevation, passable, tracks):
        from scipy.sparse import csgraph

        from invasimap.land.walking import walk_min

        def minutes(here, down, across):
            rise = _shifted(elevation, here, down, across) - elevation[here]
            return walk_min(np.hypot(down, across) * CELL_M, rise_m=rise, factor=0.42)

        graph, number = _graph(passable, minutes, _moves(count))
        return int(np.isfinite(csgraph.dijkstra(graph, indices=number[tracks], min_only=True)).sum())

    return route


def _walk(elevation, passable, tracks):
    from invasimap.land.walking import walk_minutes

    given = {"elevation_m": elevation, "cell_m": CELL_M, "factors": (0.42,)}
    return sum(
        int(np.isfinite(row).sum()) for row in walk_minutes(tracks, ground=passable.view(np.uint8), **given).minutes
    )


ROUTES = {
    "hose": _hose(), "hose 3D": _hose(), "hose lift": _hose(LIFT_M), "MCP_Geometric": _mcp, "scipy hose": _scipy_hose,
    "walk": _walk, "scipy walk 8": _scipy_walk(8), "scipy walk 16": _scipy_walk(16),
}  # fmt: skip


def direction_error(name: str) -> tuple[float, float]:
    """Mean and largest error in percent of a route's lengths over open level ground, in every direction."""
    start = np.zeros((73, 73), bool)
    start[36, 36] = True
    level, free = np.zeros(start.shape, np.float32), np.ones_like(start)
    rows, columns = np.nonzero(~start)
    length_m = LENGTHS[name](level, free, start)[rows, columns]
    error = length_m / (CELL_M * np.hypot(rows - 36, columns - 36)) - 1
    return 100 * float(abs(error).mean()), 100 * float(abs(error).max())


def _hose_m(level, free, start):
    from invasimap.land.hose_reach import hose_reach

    return hose_reach(start, passable=free, elevation_m=level, cell_m=CELL_M, length_m=1000.0).hose_m


def _mcp_m(_level, free, start):
    from skimage.graph import MCP_Geometric

    return MCP_Geometric(np.where(free, CELL_M, -1.0)).find_costs(np.argwhere(start))[0]


def _walk_m(level, free, start):
    from invasimap.land.walking import walk_min, walk_minutes

    found = walk_minutes(start, ground=free.view(np.uint8), factors=(1.0,), elevation_m=level, cell_m=CELL_M)
    return found.minutes / walk_min(1.0, rise_m=0.0, factor=1.0)


LENGTHS = {"hose": _hose_m, "MCP_Geometric": _mcp_m, "walk": _walk_m}


def _told(name: str, millions: float) -> dict[str, float]:
    """One route measured in a process of its own, so that peak memory is its own too."""
    command = [sys.executable, __file__, str(millions), "--one", name]
    return json.loads(subprocess.run(command, stdout=subprocess.PIPE, text=True, check=True).stdout)


@pytest.mark.parametrize("name", list(ROUTES))
def test_grid(benchmark, name, capsys):
    """Seconds by pytest-benchmark, ratios in its groups of peers; memory and error are printed beside them."""
    millions = float(os.environ.get("BENCH_MILLIONS", "1"))
    if millions > LARGEST.get(name, np.inf):
        pytest.skip("too large for this peer")
    alone = _told(name, millions)
    benchmark.group = f"{'walk' if 'walk' in name else 'hose'}, {millions:g} M cells"
    benchmark.extra_info.update(alone, million_cells=millions)
    elevation, passable, tracks = country(millions)
    if name in LEVEL:
        elevation[:] = 0
    ROUTES[name](*country(0.09))  # compiles, loads
    benchmark.pedantic(ROUTES[name], args=(elevation, passable, tracks), rounds=3)
    line = f"{name}: {millions:g} M cells, {alone['seconds']:.2f} s and {alone['GiB']:.2f} GiB alone"
    if name in LENGTHS:
        benchmark.extra_info["error_pct"] = direction_error(name)
        line += ", error on open ground mean {:.4f} %, largest {:.4f} %".format(*benchmark.extra_info["error_pct"])
    with capsys.disabled():
        print("\n" + line)


def main() -> None:
    """Print the table."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("millions", nargs="*", type=float, default=[1.0])
    options.add_argument("--repeat", type=int, default=1)
    options.add_argument("--only", nargs="*", default=list(ROUTES))
    options.add_argument("--one", help=argparse.SUPPRESS)
    given = options.parse_args()
    if given.one:
        print(json.dumps(run(given.one, given.millions[0])))
        return
    for name in LENGTHS:
        print(name, "on open ground off by mean {:.4f} %, largest {:.4f} %".format(*direction_error(name)))
    print("| route | M cells | seconds | peak GiB | ratio | cells reached |\n|---|---|---|---|---|---|")
    for millions in given.millions:
        names = [name for name in given.only if millions <= LARGEST.get(name, np.inf)]
        runs: dict[str, list[dict[str, float]]] = {name: [] for name in names}
        for _ in range(given.repeat):
            for name in names:
                runs[name].append(_told(name, millions))
        middle = {name: float(np.median([r["seconds"] for r in found])) for name, found in runs.items()}
        for name, found in runs.items():
            ours = middle.get("walk" if "walk" in name else "hose", np.nan)
            memory = max(r["GiB"] for r in found)
            print(f"| {name} | {millions:g} | {middle[name]:.2f} | {memory:.2f} | {middle[name] / ours:.1f} | "
                  f"{found[0]['reached']:,.0f} |", flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
