"""How fast surveys are read and cleaned, against a plain reader of the same file in the same run.

    python tests/benchmarks/intake.py [--csv 1000000] [--gpx 100000] [--plan 2000] [--rounds 3]

Every reading is a process of its own, so that its peak memory is known; readers take turns and the median counts. The
plain readers only parse; the library also places, cleans and accounts for every record. ``cpu s`` is what to compare on
a machine that has other work. pandas reads twice: its text in pyarrow, where that is installed, and as Python's own.
"""

from __future__ import annotations

import argparse
import json
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from zoneinfo import ZoneInfo

sys.path.insert(0, str(Path(__file__).parent))
from make_survey import LAT, LON, survey_table, write_csv, write_gpx

SAMPLE = Path(__file__).parents[2] / "sample_geodata"
HALF_M = 2_500.0
SAID = {
    "pandas": "pandas.read_csv",
    "pandas_python": "pandas.read_csv, no pyarrow",
    "pyogrio": "pyogrio.read_dataframe",
    "records": "read_survey",
    "patches": "read_survey, patches drawn",
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    for name, count in (("csv", 1_000_000), ("gpx", 100_000), ("plan", 2_000), ("rounds", 3)):
        parser.add_argument(f"--{name}", type=int, default=count)
    parser.add_argument("--child", nargs=2, metavar=("READER", "FILE"))
    asked = parser.parse_args()
    if asked.child:
        print(json.dumps(_measured(asked.child[0], Path(asked.child[1]))))
        return
    print("| file | reader | records | wall s | cpu s | records / cpu s | ratio (cpu) | peak MB |")
    print("|---|---|---|---|---|---|---|---|", flush=True)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if asked.csv:
            tables = ("pandas", "pandas_python", "records", "patches")
            _compare("CSV", write_csv(folder / "a.csv", asked.csv), tables, rounds=asked.rounds)
            ragged = write_csv(folder / "b.csv", asked.csv, ragged=1e-4)
            _compare("CSV, 1 row in 10,000 ragged", ragged, tables[:3], rounds=asked.rounds)
        if asked.gpx:
            file = write_gpx(folder / "a.gpx", asked.gpx)
            _compare("GPX", file, ("pyogrio", "records", "patches"), rounds=asked.rounds)
        if asked.plan:
            _print_plan(_plan_folder(folder / "tract", asked.plan), asked.plan)


def _compare(title: str, path: Path, readers: tuple[str, ...], *, rounds: int) -> None:
    """Rows of the table, the first reader's the measure of the others."""
    found: dict[str, list[dict[str, float]]] = {reader: [] for reader in readers}
    for _ in range(rounds):
        for reader, measured in found.items():
            measured.append(_in_child(reader, path))
    base = statistics.median(one["cpu"] for one in found[readers[0]])
    for reader, measured in found.items():
        wall, cpu = (statistics.median(one[name] for one in measured) for name in ("wall", "cpu"))
        records, peak = measured[0]["records"], max(one["peak_MB"] for one in measured)
        print(
            f"| {title} ({path.stat().st_size / 1e6:.0f} MB) | {SAID[reader]} | {records:,} | {wall:.2f} | {cpu:.2f} | "
            f"{records / cpu:,.0f} | {cpu / base:.1f} | {peak:,.0f} |",
            flush=True,
        )


def _in_child(reader: str, path: Path) -> dict[str, float]:
    command = [sys.executable, __file__, "--child", reader, str(path)]
    done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=True)
    return json.loads(done.stdout.splitlines()[-1])


def _measured(reader: str, path: Path) -> dict[str, float]:
    """Seconds, records and peak memory of one reading; what is imported and loaded once does not count."""
    read = READERS[reader]()
    wall, cpu = time.perf_counter(), time.process_time()
    records = read(path)
    wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
    return {"records": records, "wall": wall, "cpu": cpu, "peak_MB": _peak_MB()}


def _peak_MB() -> float:
    """The most memory this process held (Linux; getrusage would count that of the process that started it)."""
    return int(re.search(r"VmHWM:\s+(\d+) kB", Path("/proc/self/status").read_text())[1]) / 1024


def _pandas():
    import pandas as pd

    return lambda path: len(pd.read_csv(path, on_bad_lines="skip"))


def _pandas_python():
    import pandas as pd

    pd.options.mode.string_storage = "python"
    return lambda path: len(pd.read_csv(path, on_bad_lines="skip"))


def _pyogrio():
    import pyogrio

    return lambda path: len(pyogrio.read_dataframe(path, layer="waypoints"))


def _records(*, drawn: bool = False):
    import shapely

    from invasimap.core.crs import working_crs
    from invasimap.core.survey_settings import SurveySection
    from invasimap.inputs.species import load_catalogue
    from invasimap.inputs.survey import read_survey

    catalogue = load_catalogue()

    def read(path: Path) -> int:
        survey = read_survey(
            [SurveySection(files=[path.name])],
            folder=path.parent,
            crs=working_crs(LON, LAT),
            near=shapely.box(-HALF_M, -HALF_M, HALF_M, HALF_M),
            timezone=ZoneInfo("America/New_York"),
            species=catalogue,
        )
        assert not drawn or len(survey.patches)
        return int(survey.ledger["records"].sum())

    return read


READERS = {
    "pandas": _pandas, "pandas_python": _pandas_python, "pyogrio": _pyogrio, "records": _records,
    "patches": lambda: _records(drawn=True),
}  # fmt: skip


def _plan_folder(folder: Path, records: int) -> Path:
    """The sample tract with its surveys replaced by one whose records lie in its stands."""
    import geopandas as gpd

    shutil.copytree(SAMPLE, folder, ignore=shutil.ignore_patterns("survey", "*.py", "__pycache__"))
    settings = (folder / "tract.toml").read_text(encoding="utf-8")
    before, _, rest = settings.partition("[[survey]]")
    _, _, after = rest.partition("[stands]")
    own = '[[survey]]\nfiles = ["large.csv"]\n\n[stands]'
    (folder / "tract.toml").write_text(before + own + after, encoding="utf-8")
    stands = gpd.read_file(folder / "stands.gpkg", layer="stands")
    places = gpd.GeoSeries([stands.union_all()], crs=stands.crs).sample_points(records, rng=3).to_crs(4326).explode()
    table = survey_table(records, faulty=0)
    table["lon"], table["lat"] = places.x.to_numpy(), places.y.to_numpy()
    table.to_csv(folder / "large.csv", index=False)
    return folder


def _print_plan(folder: Path, records: int) -> None:
    """What each step of a whole plan takes."""
    import invasimap

    seconds = invasimap.plan(folder).seconds
    print(f"\nThe whole plan of {records:,} records on the sample tract:\n\n| step | wall s |\n|---|---|")
    for step, taken in seconds.items():
        print(f"| {step} | {taken:.2f} |")


if __name__ == "__main__":
    main()
