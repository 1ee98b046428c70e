"""Intervals: nothing to doubt far from every edge, wide where an edge runs through a small patch."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from scipy.stats import norm

from invasimap.mosaic.acreage import species_area
from invasimap.mosaic.faces import cut_faces
from invasimap.mosaic.uncertainty import with_interval

CRS = "EPSG:32617"
BIG = shapely.box(0, 0, 1000, 1000)


def layer(shapes, **columns):
    return gpd.GeoDataFrame(columns, geometry=list(shapes), crs=CRS)


def interval(patch, *, accuracy_m, shape="point", protection=None, draws=400):
    patches = layer([patch], species=["A"], date=[""], cover_pct=[50.0], accuracy_m=[accuracy_m], shape=[shape])
    land = {
        "stands": layer([BIG], stand=["1"]),
        "protection": layer([], zone=[]) if protection is None else layer([protection], zone=["no_spray"]),
        "access": layer([BIG], access=["foot"]),
    }
    faces = cut_faces(patches, **land)
    return with_interval(species_area(faces), faces, patches, draws=draws, **land).set_index("zone")


def test_a_patch_far_from_every_edge_is_certain_however_poor_its_fix():
    row = interval(shapely.Point(500, 500).buffer(10), accuracy_m=8.0).loc["open"]
    assert row["gross_low_m2"] == pytest.approx(row["gross_m2"]) == pytest.approx(row["gross_high_m2"])


def test_a_square_across_a_straight_edge_shifts_by_the_fix_error():
    # 100 m square half in a strip: the open part is 50 m plus a normal shift times 100 m
    table = interval(
        shapely.box(450, 450, 550, 550), accuracy_m=6.0, protection=shapely.box(0, 0, 500, 1000), draws=2000
    )
    sigma = 6.0 * 0.66243056
    expected = 5000 + 100 * sigma * norm.ppf([0.05, 0.95])
    low, high = table.loc["open", ["gross_low_m2", "gross_high_m2"]]
    assert (low, high) == pytest.approx(tuple(expected), rel=0.04)


def test_a_walked_hectare_has_the_worked_area_error():
    # four corners, 3 m an axis: SD 424.45 m2 of 10,000 (Bondesson, Stahl and Holm 1998)
    row = interval(shapely.box(400, 400, 500, 500), accuracy_m=3 / 0.66243056, shape="polygon", draws=4000).loc["open"]
    half_width = (row["gross_high_m2"] - row["gross_low_m2"]) / 2
    assert half_width == pytest.approx(424.454945 * norm.ppf(0.95), rel=0.05)


def test_the_same_input_gives_the_same_interval():
    found = [
        interval(shapely.Point(500, 500).buffer(10), accuracy_m=5.0, protection=shapely.box(0, 0, 500, 1000))
        for _ in range(2)
    ]
    assert found[0].equals(found[1])
    assert (found[0]["gross_low_m2"] <= found[0]["gross_m2"]).all() and np.isfinite(found[0]["gross_high_m2"]).all()
