"""A small invented tract, worked out with plain geopandas overlays, for the reports to draw and write."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
import shapely.ops
from affine import Affine
from pyproj import CRS
from shapely.geometry import LineString, Point, Polygon, box

from invasimap.core.crs import working_crs
from invasimap.core.toml_file import read_tract
from invasimap.land.terrain import Terrain, flat_terrain
from invasimap.mosaic.uncertainty import by_means_table, totals_table
from invasimap.prescription.plan import Check, InputFile, Plan
from invasimap.prescription.sharing import shown_settings

HALF_M = 760.0
SPECIES = (
    ("Lonicera maackii", "Amur honeysuckle"),
    ("Elaeagnus umbellata", "autumn-olive"),
    ("Ailanthus altissima", "tree-of-heaven"),
    ("Celastrus orbiculatus", "Oriental bittersweet"),
)
TOML = """
[tract]
name = '''{name}'''
units = "{units}"
timezone = "America/New_York"
[[survey]]
files = ["survey.csv"]
[stands]
file = "stands.gpkg"
[[protect]]
kind = "perennial stream"
file = "water.gpkg"
no_spray = "25 ft"
hand_only = "75 ft"
rule = "county permit 12"
[[protect]]
kind = "well"
file = "wells.gpkg"
no_spray = "100 ft"
rule = "own rule"
[[protect]]
kind = "lady's slipper"
file = "rare/slipper.gpkg"
no_spray = "100 ft"
hand_only = "200 ft"
rule = "heritage agreement 7"
confidential = true
[confidential]
words = "orchids are nobody's business"
[access]
cell = "10 ft"
[access.tractor]
max_slope = "15 %"
max_side_slope = "10 %"
clearance = "12 ft"
[access.atv]
max_slope = "12 %"
max_side_slope = "8 %"
clearance = "6 ft"
hose_length = "300 ft"
[access.foot]
max_slope = "60 %"
max_walk = "30 min"
"""
CRS_M = working_crs(-80.5, 38.2)
RESTRICTED_GROUND = Polygon([(-430, 400), (-300, 330), (-220, 420), (-290, 520), (-400, 500)])
REACHED_BY = {"tractor": "tractor;atv_hose;foot", "atv_hose": "atv_hose;foot", "foot": "foot", "out_of_reach": ""}
LIMIT_OF = {"tractor": "", "atv_hose": "slope", "foot": "hose_length", "out_of_reach": "walk"}


def frame(crs: CRS = CRS_M, *, geometry: Any = (), **columns: Any) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(columns, geometry=list(geometry), crs=crs)


def hills() -> Terrain:
    cell, n = 5.0, 360
    x = (np.arange(n) + 0.5) * cell - n * cell / 2
    east, north = np.meshgrid(x, -x)
    away = np.abs(north - 0.3 * east - 120 * np.sin(east / 260))
    z = (
        300
        + 90 * (1 - np.exp(-away / 300))
        + 18 * np.sin(east / 170) * np.cos(north / 210)
        + 6 * np.sin((east + north) / 60)
    )
    return Terrain(
        elevation_m=z.astype(np.float32), transform=Affine(cell, 0, -n * cell / 2, 0, -cell, n * cell / 2), crs=CRS_M
    )


def stands_layer() -> gpd.GeoDataFrame:
    outline = Polygon(
        [(-740, -600), (-300, -740), (420, -700), (740, -420), (700, 380), (380, 720), (-420, 690), (-700, 250)]
    )
    cuts = [
        LineString([(-800, 60), (800, 160)]),
        LineString([(-60, -800), (41, 130)]),
        LineString([(-240, 900), (-160, 80)]),
        LineString([(300, 900), (330, 80)]),
    ]
    parts = [outline]
    for cut in cuts:
        parts = [
            piece for part in parts for piece in (shapely.ops.split(part, cut).geoms if cut.crosses(part) else [part])
        ]
    parts = sorted(parts, key=lambda p: (-p.centroid.y, p.centroid.x))
    return frame(geometry=parts, stand=[str(i + 1) for i in range(len(parts))])


def patches_layer(seed: int, count: int) -> gpd.GeoDataFrame:
    rng = np.random.default_rng(seed)
    shapes, rows = [], []
    for i in range(count):
        cx, cy = rng.uniform(-640, 640, 2)
        radius = float(rng.choice([3, 8, 15, 30, 55], p=[0.2, 0.25, 0.25, 0.2, 0.1]))
        turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
        r = radius * (1 + 0.25 * np.sin(3 * turn + rng.uniform(0, 6)) + 0.08 * rng.normal(size=24))
        shapes.append(Polygon(np.c_[cx + r * np.cos(turn), cy + r * np.sin(turn)]))
        latin, common = SPECIES[int(rng.choice(4, p=[0.45, 0.25, 0.15, 0.15]))]
        rows.append(
            (
                f"P{i + 1:03d}",
                latin,
                common,
                dt.date(2025, 6, 3) + dt.timedelta(days=int(rng.integers(0, 40))),
                float(rng.choice([5, 15, 38, 63, 88])),
                float(rng.uniform(0.5, 5)),
                "",
                "crew A",
                "survey.csv",
                i + 1,
            )
        )
    columns = ["id", "species", "common_name", "date", "cover_pct", "height_m", "stems", "observer", "file", "record"]
    table = pd.DataFrame(rows, columns=columns)
    table = table.assign(notes="", other='{"tag": "007"}')
    found = gpd.GeoDataFrame(table, geometry=shapes, crs=CRS_M)
    found["gross_m2"] = found.area
    return found


def pieces_of(stands: gpd.GeoDataFrame, protection: gpd.GeoDataFrame, access: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Stand x zone x access over the whole ground, ``(outside)`` and ``open`` where nothing says otherwise."""
    everything = frame(geometry=[box(-2000, -2000, 2000, 2000)])
    pieces = everything.overlay(stands[["stand", "geometry"]], how="union", keep_geom_type=True)
    pieces = (
        pieces.overlay(protection[["zone", "geometry"]], how="union", keep_geom_type=True)
        if len(protection)
        else pieces.assign(zone=None)
    )
    pieces = pieces.overlay(access[["access", "geometry"]], how="union", keep_geom_type=True)
    return pieces.fillna({"stand": "(outside)", "zone": "open", "access": "out_of_reach"})


def mosaic_of(patches: gpd.GeoDataFrame, pieces: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    faces = frame(geometry=[], species=[], cover_pct=[])
    for latin, group in patches.groupby("species", sort=True):
        layer = frame(geometry=[group.union_all()], latin=[latin], cover=[f"{group.cover_pct.mean():g}"])
        if faces.empty:
            faces = layer.rename(columns={"latin": "species", "cover": "cover_pct"})
            continue
        both = faces.overlay(layer, how="union", keep_geom_type=True)
        for column, extra in (("species", "latin"), ("cover_pct", "cover")):
            both[column] = [
                ";".join(str(v) for v in pair if pd.notna(v)) for pair in zip(both[column], both[extra], strict=True)
            ]
        faces = both[["species", "cover_pct", "geometry"]]
    mosaic = faces.overlay(pieces, how="intersection", keep_geom_type=True)
    mosaic = mosaic.dissolve(["stand", "zone", "access", "species", "cover_pct"], as_index=False)
    mosaic["area_m2"] = mosaic.area
    return mosaic[["stand", "zone", "access", "species", "cover_pct", "area_m2", "geometry"]]


def acreage_of(mosaic: gpd.GeoDataFrame) -> pd.DataFrame:
    rows = []
    for face in mosaic.itertuples():
        for latin, cover in zip(face.species.split(";"), face.cover_pct.split(";"), strict=True):
            rows.append((face.stand, latin, face.zone, face.access, face.area_m2, face.area_m2 * float(cover) / 100))
    long = pd.DataFrame(rows, columns=["stand", "species", "zone", "access", "gross_m2", "infested_m2"])
    table = long.groupby(["stand", "species", "zone", "access"], as_index=False).sum()
    table.insert(4, "patches", 1)
    return ranged(table, "gross", "infested")


def ranged(table: pd.DataFrame, *figures: str) -> pd.DataFrame:
    """The table with a tenth less and a tenth more of each figure as its range."""
    ends = {
        f"{name}_{end}_m2": table[f"{name}_m2"] * by for name in figures for end, by in (("low", 0.9), ("high", 1.1))
    }
    return table.assign(**ends)


def drivers_of(totals: pd.DataFrame) -> pd.DataFrame:
    """The first species has nothing to doubt, the others a bit of everything."""
    table = totals[["species"]].merge(pd.DataFrame({"part": ["all", "treatable"]}), how="cross")
    shares = dict(zip(("position_pct", "size_pct", "cover_pct", "cell_pct"), (70.4, 29.3, 0.3, 0.0), strict=True))
    return table.assign(**{name: np.where(table.index < 2, np.nan, share) for name, share in shares.items()})


def limits_of(mosaic: gpd.GeoDataFrame) -> pd.DataFrame:
    """Open infested ground in stands, each class with one limit, the best class first."""
    sprayable = mosaic[(mosaic["zone"] == "open") & (mosaic["stand"] != "(outside)")]
    area = sprayable.groupby("access")["area_m2"].sum().reindex([*LIMIT_OF]).dropna()
    return pd.DataFrame({"access": area.index, "limit": [LIMIT_OF[a] for a in area.index], "open_m2": area.to_numpy()})


def gains() -> pd.DataFrame:
    """A longer hose, a longer walk for nothing, an opening in the barrier, and one in the restricted ground."""
    nowhere = float("nan")
    rows = [
        ("hose", "atv_hose", nowhere, nowhere, 100.0, 0.0, 9000.0, -8900.0),
        ("walk", "foot", nowhere, nowhere, 0.0, 0.0, 0.0, 0.0),
        ("opening", "tractor;atv", 435.0, -80.0, 6000.0, 4046.8564224, 1953.0, 0.5),
        ("opening", "foot", -325.0, 422.0, 800.0, 0.0, 0.0, 800.0),
    ]
    ends = [f"{name}_gain_m2" for name in ("treatable", "tractor", "atv_hose", "foot")]
    return pd.DataFrame(rows, columns=["change", "means", "x", "y", *ends])


def parking_of(zones: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Two places for the first zone that a hose serves, one for the second."""
    served = zones[(zones["access"] == "atv_hose") & (zones["zone"] == "open") & (zones["stand"] != "(outside)")]
    first, second = [*served["id"], *zones["id"]][:2]
    return frame(
        geometry=[Point(-520, -300), Point(-150, -420), Point(120, -330)],
        zone_id=[first, first, second], stop=[1, 2, 1], access=["atv_hose"] * 3, hose_m=[91.44, 80.0, 30.5],
        lift_m=[3.1, 0.0, 0.0], drop_m=[0.0, 5.0, 1.0], served_m2=[700.0, 295.0, 400.0], share_pct=[70.4, 29.6, 100.0],
    )  # fmt: skip


def land_layers() -> dict[str, gpd.GeoDataFrame]:
    x = np.linspace(-900, 900, 80)
    stream = LineString(np.c_[x, 0.3 * x + 120 * np.sin(x / 260)])
    well = Point(250, -380)
    road = LineString([(-900, -330), (-520, -300), (-150, -420), (120, -330), (420, -480), (900, -300)])
    trail = LineString([(-150, -420), (-120, -150), (60, 20), (180, 330), (120, 560)])
    path = LineString([(180, 330), (430, 420), (560, 300)])
    features = frame(
        geometry=[stream, well],
        kind=["perennial stream", "well"],
        rule=["county permit 12", "own rule"],
        no_spray_m=[7.62, 30.48],
        hand_only_m=[22.86, np.nan],
        confidential=[False, False],
        width_m=[3.0, 0.0],
        blocks=["tractor;atv", ""],
    )
    near = {"perennial stream": stream.buffer(7.62), "well": well.buffer(30.48), "restricted": RESTRICTED_GROUND}
    wide = {"perennial stream": stream.buffer(22.86)}
    taken, rows = Polygon(), []
    for zone, rings in (("no_spray", near), ("hand_only", wide)):
        for kind, ring in rings.items():
            rule = kind if kind == "restricted" else f"{kind} rule"
            rows.append((zone, kind, rule, kind == "restricted", ring.difference(taken)))
            taken = taken.union(ring)
    protection = gpd.GeoDataFrame(
        pd.DataFrame(rows, columns=["zone", "kind", "rule", "confidential", "geometry"]), geometry="geometry", crs=CRS_M
    )
    field = Polygon([(-560, -560), (-120, -600), (-130, -440), (-540, -330)])
    bands = {
        "tractor": field,
        "atv_hose": road.union(trail).buffer(85),
        "foot": road.union(trail).union(path).buffer(420),
        "out_of_reach": box(-900, -900, 900, 900),
    }
    taken, rows = Polygon(), []
    for access, ground in bands.items():
        rows.append((access, REACHED_BY[access], LIMIT_OF[access], access == "atv_hose", ground.difference(taken)))
        taken = taken.union(ground)
    access = gpd.GeoDataFrame(
        pd.DataFrame(rows, columns=["access", "reached_by", "limit", "hose_only", "geometry"]),
        geometry="geometry",
        crs=CRS_M,
    )
    return {
        "features": features,
        "protection": protection,
        "access": access,
        "open_ground": frame(geometry=[field]),
        "ways": frame(
            geometry=[road, trail, path],
            **{"class": ["road", "trail", "path"], "allows": ["tractor;atv;foot", "atv;foot", "foot"]},
        ),
        "entries": frame(geometry=[Point(-725, -318)], name=["gate"]),
        "barriers": frame(geometry=[LineString([(350, -100), (520, -60), (640, -140)])]),
        "wet_ground": frame(geometry=[Point(-420, -120).buffer(60)]),
        "crossings": frame(geometry=[Point(21, 15)]),
    }


def build_plan(
    folder: Path, *, name: str = "Toy Tract", units: str = "us", count: int = 40, seed: int = 4, **changes: Any
) -> Plan:
    """A whole Plan; ``changes`` take the place of single fields."""
    file = folder / "tract.toml"
    file.write_text(TOML.format(name=name, units=units), encoding="utf-8")
    stands, patches, land = stands_layer(), patches_layer(seed, count), land_layers()
    pieces = pieces_of(stands, land["protection"], land["access"])
    mosaic = mosaic_of(patches, pieces)
    zones = mosaic.dissolve(
        ["stand", "zone", "access"],
        as_index=False,
        aggfunc={"species": lambda s: ";".join(sorted(set(";".join(s).split(";"))))},
    )
    zones.insert(0, "id", [f"Z{i + 1}" for i in range(len(zones))])
    zones["gross_m2"] = zones.area
    for means in ("tractor", "atv_hose", "foot"):
        zones[f"{means}_m2"] = zones.area.where([means in REACHED_BY[access] for access in zones["access"]], 0.0)
    zones = zones[
        ["id", "stand", "zone", "access", "species", "tractor_m2", "atv_hose_m2", "foot_m2", "gross_m2", "geometry"]
    ]
    ground = (
        mosaic.groupby(["stand", "zone", "access"], as_index=False)["area_m2"]
        .sum()
        .rename(columns={"area_m2": "ground_m2"})
    )
    aside = frame(
        geometry=[None, Point(100, 200)],
        file=["survey.csv"] * 2,
        record=[count + 1, count + 2],
        reason=["no species", "cover 140 % is outside 0-100"],
        raw=['{"SPP": ""}', '{"SPP": "LOMA", "PCT": 140}'],
    )
    repaired = pd.DataFrame({"file": ["survey.csv"], "record": [3], "how": ["radius taken from defaults (10 ft)"]})
    ledger = pd.DataFrame(
        {"file": ["survey.csv"], "records": [count + 2], "accepted": [count - 1], "repaired": [1], "set_aside": [2]}
    )
    acreage = acreage_of(mosaic)
    by_means = ranged(by_means_table(acreage, ground), "gross", "infested")
    by_means = by_means[by_means["gross_m2"] > 0]
    totals = ranged(totals_table(acreage, ground), "gross", "infested", "treatable_gross", "treatable_infested")
    plan = Plan(
        settings=shown_settings(read_tract(file), internal=False),
        crs=CRS_M, terrain=hills(), stands=stands, patches=patches, mosaic=mosaic,
        treatment_zones=zones, limits=limits_of(mosaic), reach_gain=gains(), parking=parking_of(zones),
        set_aside=aside, acreage=acreage, ground=ranged(ground, "ground"),
        totals=totals, by_means=by_means, drivers=drivers_of(totals), ledger=ledger, repaired=repaired,
        checks=(
            Check(name="area conserved", value=2e-15, limit=1e-9), Check(name="records lost", value=0.0, limit=0.0)
        ),
        notes=("1 patch lies outside every stand.",), seconds={"read": 0.1},
        inputs=(InputFile(path=folder / "survey.csv", shown="survey.csv", sha256="a" * 64),),
        made=dt.datetime(2025, 11, 3, 15, 0, tzinfo=dt.UTC), **land,
    )  # fmt: skip
    return dataclasses.replace(plan, **changes)


def bare_plan(folder: Path) -> Plan:
    """Stands and nothing else: no patches, ways, features or elevation."""
    whole = build_plan(folder)
    layers = (
        "patches",
        "mosaic",
        "treatment_zones",
        "protection",
        "features",
        "ways",
        "entries",
        "barriers",
        "open_ground",
        "wet_ground",
        "crossings",
        "set_aside",
    )
    tables = (
        "acreage",
        "ground",
        "totals",
        "by_means",
        "drivers",
        "repaired",
        "ledger",
        "limits",
        "reach_gain",
        "parking",
    )
    empty = {name: getattr(whole, name).iloc[:0] for name in (*layers, *tables)}
    flat = flat_terrain((-760, -760, 760, 760), cell_m=5.0, crs=CRS_M)
    return dataclasses.replace(whole, terrain=flat, notes=(), **empty)


@pytest.fixture
def make_plan(tmp_path: Path) -> Callable[..., Plan]:
    return lambda **options: build_plan(tmp_path, **options)


@pytest.fixture(scope="session")
def toy_plan(tmp_path_factory: pytest.TempPathFactory) -> Plan:
    return build_plan(tmp_path_factory.mktemp("toy"))


@pytest.fixture(scope="session")
def empty_plan(tmp_path_factory: pytest.TempPathFactory) -> Plan:
    return bare_plan(tmp_path_factory.mktemp("bare"))
