"""Make the invented sample tract: `python make_sample.py [DIR]` (default: the folder of this file).

Ground, water, ways, stands and surveys are all invented and drawn from one seed; nothing here is a real place, person,
rule or product. The crews' files hold the usual mistakes on purpose (record numbers count from 1 in file order,
waypoints and tracks apart):

    north_crew.gpx  wpt 12  species left blank
    north_crew.gpx  wpt 21  position is (0, 0)
    north_crew.gpx  wpt 28  species misspelled (Lonicera mackii)
    north_crew.gpx  wpt 34  cover 120
    north_crew.gpx  wpt 40  cover left blank
    north_crew.gpx  wpt 47  no size: radius left out
    north_crew.gpx  wpt 55  a native plant (Lindera benzoin)
    north_crew.gpx  wpt 61  exported twice, same as wpt 60
    north_crew.gpx  wpt 70  cover written as a class (25-50 %)
    north_crew.gpx  trk 2   walk not closed: the last fifth was not walked
    north_crew.gpx  trk 6   walk crosses itself (bow-tie)
    north_crew.gpx  trk 8   track of one point
    creek_crew.csv  row 7   latitude left blank
    creek_crew.csv  row 13  latitude and longitude swapped
    creek_crew.csv  row 14  latitude and longitude swapped
    creek_crew.csv  row 20  longitude without its minus sign
    creek_crew.csv  row 26  longitude without its minus sign
    creek_crew.csv  row 31  latitude is 'abc'
    creek_crew.csv  row 36  letter O for zero at the end of the latitude
    creek_crew.csv  row 41  species misspelled (Elaeagnus umbelata)
    creek_crew.csv  row 45  cover written as a class (25-50 %)
    creek_crew.csv  row 46  cover written as a class (50-75)
    creek_crew.csv  row 50  cover 0: looked for, not found
    creek_crew.csv  row 52  species left blank
    creek_crew.csv  row 56  cover left blank
    creek_crew.csv  row 60  position is (0, 0)
    creek_crew.csv  row 64  exported twice, same as row 63
    creek_crew.csv  row 65  exported twice, same as row 62
    creek_crew.csv  row 69  no such date (9/31/2025)
    creek_crew.csv  row 73  radius is negative
    ridge_crew.kmz  placemark 4   walk crosses itself (bow-tie)
    ridge_crew.kmz  placemark 9   same patch as trk 5 of north_crew.gpx, later and a little to one side
    ridge_crew.kmz  placemark 13  line without a width
    ridge_crew.kmz  placemark 20  species misspelled (Japanese barbery)
    ridge_crew.kmz  placemark 26  species left blank
    ridge_crew.kmz  placemark 32  no size: diameter left out
    ridge_crew.kmz  placemark 38  cover 120
    thickets.zip    feature 3   cover written as a class (50-75)
    thickets.zip    feature 8   walk crosses itself (bow-tie)
    thickets.zip    feature 12  feature without a shape
    thickets.zip    feature 19  exported twice, same as feature 18
    thickets.zip    feature 20  same patch as trk 2 of north_crew.gpx, mapped a week later
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from sample_files import write_csv, write_gpx, write_kmz, write_land, write_thickets
from sample_layout import make_layout, tract_line
from sample_mistakes import CSV, GPX, KMZ, ZIP, mistakes_table
from sample_settings import TRACT_TOML
from sample_survey import RIDGE_SHAPES, THICKETS, WALKS, point_records, ridge_lines, walked
from sample_terrain import make_ground

SEED = 11
AROUND_M = 270.0  # ground beyond the tract's outermost corners
STEP_M = 12.0  # the coarsest cell; map limits are multiples of it


def limits() -> dict[str, float]:
    """Map limits (m) of the elevation grid: the tract and the ground around it."""
    west, south, east, north = tract_line().bounds
    low = [STEP_M * np.floor((a - AROUND_M) / STEP_M) for a in (west, south)]
    high = [STEP_M * np.ceil((a + AROUND_M) / STEP_M) for a in (east, north)]
    return {"west": low[0], "south": low[1], "east": high[0], "north": high[1]}


def make_sample(folder: Path, *, seed: int = SEED) -> dict[str, int]:
    """Write the whole sample into `folder`; returns the number of records in each survey file."""
    survey = folder / "survey"
    survey.mkdir(parents=True, exist_ok=True)
    for_ground, for_layout, for_survey = (np.random.default_rng(s) for s in np.random.SeedSequence(seed).spawn(3))
    ground, layout = make_layout(for_layout, make_ground(for_ground, **limits()))
    write_land(folder, ground, layout)
    (folder / "tract.toml").write_text(TRACT_TOML, encoding="utf-8")
    points = point_records(for_survey, layout)
    by_crew = {crew: [r for r in points if r.crew == crew] for crew in ("north", "creek", "ridge")}
    ridge = {
        "thickets": walked(for_survey, RIDGE_SHAPES),
        "along ways": ridge_lines(for_survey, layout),
        "single patches": by_crew["ridge"],
    }
    return {
        GPX: write_gpx(survey / GPX, by_crew["north"], walked(for_survey, WALKS)),
        CSV: write_csv(survey / CSV, by_crew["creek"]),
        KMZ: write_kmz(survey / KMZ, ridge),
        ZIP: write_thickets(survey / ZIP, walked(for_survey, THICKETS)),
    }


def main() -> int:
    """Write the sample and print what was written and which mistakes were planted."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parent
    for name, count in make_sample(folder).items():
        print(f"survey/{name:<16} {count:>4} records")
    print("\nplanted mistakes\n" + mistakes_table())
    return 0


if __name__ == "__main__":
    sys.exit(main())
