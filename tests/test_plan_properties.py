"""Invariants 1 to 5 on random small tracts, through the whole job, measured apart from the program's own checks."""

import tempfile
from pathlib import Path
from unittest import mock

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st

import invasimap
from invasimap.land.what_if import GAINS

UTM = "EPSG:32617"
E0, N0, SIDE = 500_000.0, 4_200_000.0, 240.0
ACRE = 4046.8564224
RANK = {"out_of_reach": 0, "foot": 1, "atv_hose": 2, "tractor": 3}

SETTINGS = """
[tract]
name = "Random"
[[survey]]
files = ["survey.csv"]
gps_accuracy = "4 m"
[stands]
file = "land.gpkg"
layer = "stands"
[[protect]]
kind = "stream"
file = "land.gpkg"
layer = "water"
width = "2 m"
no_spray = "{no_spray:.3f} m"
hand_only = "{hand_only:.3f} m"
per_slope = "0.1 m"
rule = "example"
blocks = ["tractor", "atv"]
[[protect]]
kind = "well"
file = "land.gpkg"
layer = "wells"
no_spray = "{no_spray:.3f} m"
[land]
elevation = "dem.tif"
open_ground = {{ file = "land.gpkg", layer = "fields" }}
barriers = {{ file = "land.gpkg", layer = "barriers" }}
wet_ground = {{ file = "land.gpkg", layer = "wet" }}
crossings = {{ file = "land.gpkg", layer = "crossings", width = "4 m" }}
[ways]
file = "land.gpkg"
layer = "ways"
column = "class"
allows = {{ road = ["tractor", "atv", "foot"], trail = ["atv", "foot"] }}
[access]
cell = "4 m"
[access.tractor]
max_slope = "{slope} %"
max_side_slope = "{slope} %"
clearance = "3 m"
[access.atv]
max_slope = "6 %"
max_side_slope = "4 %"
clearance = "2 m"
hose_length = "{hose} m"
[access.foot]
max_slope = "50 %"
max_walk = "4 min"
[uncertainty]
draws = 0
"""
NO_GAIN = pd.DataFrame(columns=["change", "means", "x", "y", *GAINS])
USUAL = {"no_spray": 8.0, "hand_only": 20.0, "slope": 10, "hose": 40}


class RandomTract:
    """A tract of one seed on disk; ``plan`` runs it with some settings changed."""

    def __init__(self, folder, seed):
        self.folder = Path(folder)
        rng = np.random.default_rng(seed)
        self.bad_rows = self._survey(rng)
        self._layers(rng)
        self._elevation(rng)

    def plan(self, **changed):
        (self.folder / "tract.toml").write_text(SETTINGS.format(**{**USUAL, **changed}))
        return invasimap.plan(self.folder)

    def _survey(self, rng):
        count = int(rng.integers(3, 25))
        places = gpd.GeoSeries(shapely.points(rng.uniform(-30, SIDE + 30, (count, 2)) + [E0, N0]), crs=UTM).to_crs(4326)
        table = pd.DataFrame(
            {
                "lat": places.y.map("{:.8f}".format),
                "lon": places.x.map("{:.8f}".format),
                "species": rng.choice(["Rosa multiflora", "Lonicera maackii", "Alliaria petiolata"], count),
                "cover %": rng.integers(1, 101, count).astype(str),
                "radius_m": np.round(rng.uniform(1, 30, count), 2).astype(str),
                "date": rng.choice(["2025-06-01", "2026-06-01", ""], count),
            }
        )
        bad = rng.random(count) < 0.2
        column = rng.choice(["lat", "species", "radius_m", "cover %"], count)
        spoilt = {"lat": "abc", "species": "", "radius_m": "wide", "cover %": "140"}
        for row in np.flatnonzero(bad):
            table.loc[row, column[row]] = spoilt[column[row]]
        table.to_csv(self.folder / "survey.csv", index=False)
        self.records = count
        return int(bad.sum())

    def _layers(self, rng):
        cut = float(rng.uniform(60, 180))
        lines = rng.uniform(-20, SIDE + 20, (5, 4, 2)) + [E0, N0]
        layers = {
            "stands": ([shapely.box(E0, N0, E0 + cut, N0 + SIDE), shapely.box(E0 + cut, N0, E0 + SIDE, N0 + SIDE)],
                       {"stand": ["1", "2"]}),
            "water": ([shapely.LineString(lines[0]), shapely.LineString(lines[1])], {}),
            "wells": ([shapely.Point(lines[2][0])], {}),
            "fields": ([shapely.Point(lines[2][1]).buffer(45)], {}),
            "barriers": ([shapely.LineString(lines[3][:2])], {}),
            "wet": ([shapely.Point(lines[3][2]).buffer(25)], {}),
            "crossings": ([shapely.LineString(lines[0]).interpolate(0.4, normalized=True)], {}),
            "ways": ([shapely.LineString([lines[4][0] - [400, 0], lines[4][1]]),
                      shapely.LineString([lines[4][1], lines[4][2], lines[4][3]])], {"class": ["road", "trail"]}),
        }  # fmt: skip
        for name, (shapes, columns) in layers.items():
            gpd.GeoDataFrame(columns, geometry=shapes, crs=UTM).to_file(self.folder / "land.gpkg", layer=name)

    def _elevation(self, rng):
        cells = np.arange(-420, SIDE + 420, 5.0)
        x, y = np.meshgrid(cells, cells[::-1])
        a, b, c = rng.uniform(0.005, 0.04, 3)
        z = (300 + 12 * np.sin(a * x + b * y) + 6 * np.cos(c * y)).astype("float32")
        row, column = rng.integers(70, 110, 2)  # a void within the tract
        z[row : row + 6, column : column + int(rng.integers(1, 12))] = np.nan
        profile = {"driver": "GTiff", "count": 1, "dtype": "float32", "crs": UTM, "nodata": np.nan}
        transform = Affine(5, 0, E0 - 422.5, 0, -5, N0 + cells[-1] + 2.5)
        with rasterio.open(
            self.folder / "dem.tif", "w", width=x.shape[1], height=x.shape[0], transform=transform, **profile
        ) as out:
            out.write(z, 1)
            out.units = ("m",)


@given(st.integers(0, 100_000))
@settings(max_examples=5, deadline=None)
def test_nothing_lost_area_conserved_nothing_protected_sprayed(seed):
    with tempfile.TemporaryDirectory() as folder:
        tract = RandomTract(folder, seed)
        plan = tract.plan()
        # 1 nothing lost
        assert int(plan.ledger["records"].sum()) == tract.records
        assert len(plan.set_aside) == tract.bad_rows and len(plan.patches) == tract.records - tract.bad_rows
        # 2 area conserved, against unions made here
        for species, rows in plan.patches.groupby("species"):
            total = plan.acreage.loc[plan.acreage["species"] == species, "gross_m2"].sum()
            assert total == pytest.approx(shapely.union_all(rows.geometry.to_numpy()).area, rel=1e-9)
        ground = shapely.union_all(plan.patches.geometry.to_numpy())
        assert plan.ground["ground_m2"].sum() == pytest.approx(ground.area, rel=1e-9, abs=1e-12)
        # 3 tables equal maps
        zones = plan.treatment_zones
        assert zones["gross_m2"].to_numpy() == pytest.approx(zones.area.to_numpy(), rel=1e-9)
        by_zone = plan.ground.groupby(["stand", "zone", "access"])["ground_m2"].sum()
        of_zones = zones.groupby(["stand", "zone", "access"])["gross_m2"].sum()
        assert by_zone.to_dict() == pytest.approx(of_zones.to_dict(), rel=1e-6)
        # 4 no overlap with protection: every treatable spot is at least the typed distance from water and wells
        treatable = zones[(zones["zone"] == "open") & (zones["access"] != "out_of_reach")].geometry.to_numpy()
        water = plan.features.loc[plan.features["kind"] == "stream"].geometry.union_all()
        wells = plan.features.loc[plan.features["kind"] == "well"].geometry.union_all()
        if len(treatable):
            assert shapely.distance(treatable, water).min() >= 20.0 + 1.0 - 1e-6
            assert shapely.distance(treatable, wells).min() >= 8.0 - 1e-6


def treatable_m2(plan):
    table = plan.ground
    return table.loc[(table["zone"] == "open") & (table["access"] != "out_of_reach"), "ground_m2"].sum()


def at_least(plan, rank):
    table = plan.ground
    return table.loc[table["access"].map(RANK) >= rank, "ground_m2"].sum()


@given(st.integers(0, 100_000), st.floats(1.0, 15.0), st.integers(1, 60), st.integers(1, 8))
@settings(max_examples=3, deadline=None)
def test_monotone(seed, wider, longer, steeper):
    # what more would add is no part of this, and takes a third of the time
    with tempfile.TemporaryDirectory() as folder, mock.patch("invasimap.pipeline.reach_gain", return_value=NO_GAIN):
        tract = RandomTract(folder, seed)
        usual = tract.plan()
        slack = 1e-6 * (1 + usual.ground["ground_m2"].sum())
        buffered = tract.plan(no_spray=8.0 + wider, hand_only=20.0 + wider)
        assert treatable_m2(buffered) <= treatable_m2(usual) + slack
        hosed = tract.plan(hose=40 + longer)
        assert at_least(hosed, RANK["atv_hose"]) >= at_least(usual, RANK["atv_hose"]) - slack
        sloped = tract.plan(slope=10 + steeper)
        assert at_least(sloped, RANK["tractor"]) >= at_least(usual, RANK["tractor"]) - slack
