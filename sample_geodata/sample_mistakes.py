"""The mistakes planted in the crews' files: this table drives them, so it cannot disagree with the data."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from shapely.geometry import Point, Polygon

Row = dict[str, Any]
GPX, CSV, KMZ, ZIP = "north_crew.gpx", "creek_crew.csv", "ridge_crew.kmz", "thickets.zip"


@dataclass(frozen=True, kw_only=True)
class Mistake:
    """One planted mistake: `record` counts from 1 within `kind` of `file`; `values` replace the record's own."""

    file: str
    kind: str
    record: int
    what: str
    values: Row = field(default_factory=dict)
    twist: str = ""


def _table(file: str, kind: str, rows: list[tuple[int, str, Row | str]]) -> list[Mistake]:
    """Mistakes of one kind of record; the third item is new values, or the name of a twist."""
    return [
        Mistake(file=file, kind=kind, record=n, what=what, values=do if isinstance(do, dict) else {},
                twist=do if isinstance(do, str) else "")
        for n, what, do in rows
    ]  # fmt: skip


MISTAKES: list[Mistake] = [
    *_table(GPX, "wpt", [
        (12, "species left blank", {"species": "", "desc": "shrub by the fence"}),
        (21, "position is (0, 0)", {"lat": "0.0", "lon": "0.0"}),
        (28, "species misspelled (Lonicera mackii)", {"species": "Lonicera mackii"}),
        (34, "cover 120", {"cover": "120"}),
        (40, "cover left blank", {"cover": ""}),
        (47, "no size: radius left out", {"radius_ft": ""}),
        (55, "a native plant (Lindera benzoin)", {"species": "Lindera benzoin", "desc": "spicebush, about 7 ft"}),
        (61, "exported twice, same as wpt 60", "copy 1"),
        (70, "cover written as a class (25-50 %)", {"cover": "25-50 %"}),
    ]),
    *_table(GPX, "trk", [
        (2, "walk not closed: the last fifth was not walked", "open"),
        (6, "walk crosses itself (bow-tie)", "bow-tie"),
        (8, "track of one point", "one point"),
    ]),
    *_table(CSV, "row", [
        (7, "latitude left blank", {"Lat": ""}),
        (13, "latitude and longitude swapped", "swap"),
        (14, "latitude and longitude swapped", "swap"),
        (20, "longitude without its minus sign", "no minus"),
        (26, "longitude without its minus sign", "no minus"),
        (31, "latitude is 'abc'", {"Lat": "abc"}),
        (36, "letter O for zero at the end of the latitude", "letter O"),
        (41, "species misspelled (Elaeagnus umbelata)", {"SPP": "Elaeagnus umbelata"}),
        (45, "cover written as a class (25-50 %)", {"PCT_COV": "25-50 %"}),
        (46, "cover written as a class (50-75)", {"PCT_COV": "50-75"}),
        (50, "cover 0: looked for, not found", {"PCT_COV": "0", "Notes": "none found this year"}),
        (52, "species left blank", {"SPP": ""}),
        (56, "cover left blank", {"PCT_COV": ""}),
        (60, "position is (0, 0)", {"Lat": "0", "Lon": "0"}),
        (64, "exported twice, same as row 63", "copy 1"),
        (65, "exported twice, same as row 62", "copy 3"),
        (69, "no such date (9/31/2025)", {"Date": "9/31/2025"}),
        (73, "radius is negative", {"Radius (ft)": "-15"}),
    ]),
    *_table(KMZ, "placemark", [
        (4, "walk crosses itself (bow-tie)", "bow-tie"),
        (9, "same patch as trk 5 of north_crew.gpx, later and a little to one side", {}),
        (13, "line without a width", {"Width_ft": ""}),
        (20, "species misspelled (Japanese barbery)", {"Species": "Japanese barbery", "Height_ft": "4"}),
        (26, "species left blank", {"Species": ""}),
        (32, "no size: diameter left out", {"Diameter_ft": ""}),
        (38, "cover 120", {"Cover %": "120"}),
    ]),
    *_table(ZIP, "feature", [
        (3, "cover written as a class (50-75)", {"cover_pct": "50-75"}),
        (8, "walk crosses itself (bow-tie)", "bow-tie"),
        (12, "feature without a shape", {"geometry": None}),
        (19, "exported twice, same as feature 18", "copy 1"),
        (20, "same patch as trk 2 of north_crew.gpx, mapped a week later", {}),
    ]),
]  # fmt: skip


def plant(rows: list[Row], *, file: str, kind: str) -> list[Row]:
    """The rows of one kind with their mistakes planted."""
    out = [dict(row) for row in rows]
    for m in MISTAKES:
        if (m.file, m.kind) == (file, kind):
            i = m.record - 1
            out[i] = _twist(out, i, m.twist) | m.values
    return out


def _twist(rows: list[Row], i: int, twist: str) -> Row:
    """The record after one of the named mistakes."""
    row = rows[i]
    name, _, back = twist.partition(" ")
    if name == "copy":
        return dict(rows[i - int(back)])
    if twist == "swap":
        return row | {"Lat": row["Lon"], "Lon": row["Lat"]}
    if twist == "no minus":
        return row | {"Lon": str(row["Lon"]).lstrip("-")}
    if twist == "letter O":
        return row | {"Lat": f"{float(row['Lat']):.5f}O"}
    return row | ({"geometry": _reshape(row["geometry"], twist)} if twist else {})


def _reshape(shape: Polygon, twist: str) -> Any:
    """The walked ring after a mistake of the walk: a polygon, or for a cut walk the points that are left."""
    ring = list(shape.exterior.coords)
    half = len(ring) // 2
    if twist == "bow-tie":
        return Polygon([*ring[:half], *ring[half:-1][::-1], ring[0]])
    kept = ring[: int(len(ring) * 0.8)] if twist == "open" else ring[:1]
    return [Point(xy) for xy in kept]


def mistakes_table() -> str:
    """The planted mistakes as aligned text: file, record, mistake."""
    lines = [f"{m.file:<15} {m.kind} {m.record:<3} {m.what}" for m in MISTAKES]
    return "\n".join(lines)
