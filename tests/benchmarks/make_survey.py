"""Surveys for the benchmarks, as crews write them: mixed spellings, cover in several forms, 2 % faulty rows."""

from __future__ import annotations

from pathlib import Path
from xml.sax.saxutils import escape

import numpy as np
import pandas as pd

LON, LAT = -80.0, 38.0
REACH_DEG = 0.02  # about 2 km either way of the middle
NAMES = (
    "Rosa multiflora", "ROMU", "multiflora rose", "Ailanthus altissima", "AIAL", "Tree-of-heaven", "Lonicera japonica",
    "Japanese honeysuckle", "Berberis thunbergii", "BETH", "japanese barberry", "Alliaria petiolata", "garlic mustard",
    "Microstegium vimineum", "Japanese stiltgrass", "Elaeagnus umbellata", "autumn olive", "Celastrus orbiculatus",
    "oriental bittersweet", "Ligustrum sinense", "Lonicera maackii", "Amur honeysuckle", "Pueraria montana", "kudzu",
    "Reynoutria japonica", "Phragmites australis", "Euonymus fortunei", "Hedera helix", "English ivy",
    "Albizia julibrissin", "mimosa", "Artemisia vulgaris", "mugwort", "Paulownia tomentosa", "Rosa multifora",
)  # fmt: skip
COVERS = ("5%", "10 %", "25", "25-50%", "<5 %", "50-75 %", "75", "> 75%", "1-5 %", "100%", "15 percent", "")
SIZES = ("5 ft", "10 ft", "3 m", "2.5 m", "15'", "1 m", "20 ft", "8 ft", "4 m", "12 ft")
NOTES = ("", "", "", "along old fence", "seedlings below", "near stream, wet", "cut last year", 'says "dense"')
BAD = ("blank species", "blank position", "0 0", "letter O", "swapped", "far away", "no size", "cover", "date", "copy")


def survey_table(rows: int, *, seed: int = 1, faulty: float = 0.02) -> pd.DataFrame:
    """A survey as text, a column each; ``faulty`` of the rows have one fault each, all kinds alike often."""
    rng = np.random.default_rng(seed)
    some = np.zeros(rows, dtype=int)
    some[rng.random(rows) < faulty] = 1
    fault = np.where(some == 1, rng.integers(0, len(BAD), rows), -1)
    lon = pd.Series(LON + rng.uniform(-REACH_DEG, REACH_DEG, rows)).map("{:.6f}".format).to_numpy(dtype=object)
    lat = pd.Series(LAT + rng.uniform(-REACH_DEG, REACH_DEG, rows)).map("{:.6f}".format).to_numpy(dtype=object)
    days = pd.date_range("2023-04-01", "2024-10-31")
    dates = np.array(
        [*days.strftime("%Y-%m-%d"), *days.strftime("%B %d, %Y"), *days.strftime("%d %b %Y")], dtype=object
    )
    notes = _pick(rng, NOTES, rows)
    tagged = rng.random(rows) < 0.1
    notes[tagged] = [f"tag {number}" for number in np.flatnonzero(tagged)]
    table = pd.DataFrame(
        {
            "lon": lon,
            "lat": lat,
            "species": _pick(rng, NAMES, rows),
            "cover": _pick(rng, COVERS, rows),
            "date": dates[rng.integers(0, len(dates), rows)],
            "radius": _pick(rng, SIZES, rows),
            "observer": _pick(rng, ("J. Doe", "A. Smith", "K. Lee", "crew 4"), rows),
            "accuracy": pd.Series(np.round(rng.gamma(4, 1, rows) + 1, 1)).map("{:.1f} m".format).to_numpy(dtype=object),
            "notes": notes,
        }
    )
    return _spoilt(table, fault)


def _pick(rng: np.random.Generator, texts: tuple[str, ...], rows: int) -> np.ndarray:
    return np.array(texts, dtype=object)[rng.integers(0, len(texts), rows)]


def _spoilt(table: pd.DataFrame, fault: np.ndarray) -> pd.DataFrame:
    is_bad = {name: fault == number for number, name in enumerate(BAD)}
    table.loc[is_bad["blank species"], "species"] = ""
    table.loc[is_bad["blank position"], ["lon", "lat"]] = ""
    table.loc[is_bad["0 0"], ["lon", "lat"]] = "0"
    table.loc[is_bad["letter O"], "lat"] = table.loc[is_bad["letter O"], "lat"].str.replace(".0", ".O", regex=False)
    swapped = is_bad["swapped"]
    table.loc[swapped, ["lon", "lat"]] = table.loc[swapped, ["lat", "lon"]].to_numpy()
    table.loc[is_bad["far away"], "lat"] = "39.5"
    table.loc[is_bad["no size"], "radius"] = ""
    table.loc[is_bad["cover"], "cover"] = "150 %"
    table.loc[is_bad["date"], "date"] = "sometime in May"
    copies = np.flatnonzero(is_bad["copy"])
    copies = copies[copies > 0]
    table.iloc[copies] = table.iloc[copies - 1].to_numpy()
    return table


def write_csv(path: Path, rows: int, *, seed: int = 1, ragged: float = 0.0) -> Path:
    """A survey as CSV; a share of its rows has a comma in its notes that nobody quoted."""
    table = survey_table(rows, seed=seed)
    if not ragged:
        table.to_csv(path, index=False)
        return path
    lines = table.to_csv(index=False).splitlines()
    for at in np.random.default_rng(seed).choice(np.arange(1, len(lines)), max(1, int(ragged * rows)), replace=False):
        lines[at] += ",wet"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def write_gpx(path: Path, waypoints: int, *, seed: int = 2) -> Path:
    """A survey as GPX: the plant is the waypoint's name, the rest in its description and extensions."""
    table = survey_table(waypoints, seed=seed)
    times = pd.date_range("2024-05-01T08:00:00", periods=waypoints, freq="37s").strftime("%Y-%m-%dT%H:%M:%SZ")
    with path.open("w", encoding="utf-8") as out:
        out.write('<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1" creator="receiver" ')
        out.write('xmlns="http://www.topografix.com/GPX/1/1" xmlns:ex="http://example.org/ex">\n')
        for row, time in zip(table.itertuples(), times, strict=True):
            out.write(
                f'<wpt lat="{row.lat or 0}" lon="{row.lon or 0}"><ele>{row.Index % 700}</ele><time>{time}</time>'
                f"<name>{escape(row.species)}</name><desc>{escape(row.notes)}</desc><extensions>"
                f"<ex:cover>{escape(row.cover)}</ex:cover><ex:radius>{escape(row.radius)}</ex:radius>"
                f"<ex:observer>{row.observer}</ex:observer></extensions></wpt>\n"
            )
        out.write("</gpx>\n")
    return path
