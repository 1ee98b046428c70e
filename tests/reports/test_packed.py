"""Layers packed into the field map's page come out again, and many of them keep it small."""

import base64
import json
import zlib

import numpy as np
import shapely
from shapely.geometry import GeometryCollection, LineString, MultiPolygon, Point, box

from invasimap.core.crs import working_crs
from invasimap.reports.packed import STEP_M, WebLayer, packed

CRS = working_crs(-80.5, 38.2)
ORIGIN = (-8_962_000.0, 4_608_000.0)
BOUND_BYTES = 15_000_000


def numbers(text):
    folded = (
        np.frombuffer(zlib.decompress(base64.b64decode(text)), np.uint8).reshape(4, -1).T.copy().view("<u4").ravel()
    )
    return np.array([-(v // 2) - 1 if v % 2 else v // 2 for v in folded.tolist()])


def test_parts_holes_and_kinds_come_out_as_they_went_in():
    holed = box(0, 0, 40, 40).difference(box(10, 10, 20, 20))
    shapes = [
        MultiPolygon([holed, box(60, 0, 70, 10)]), LineString([(0, 0), (30, 0), (30, 30)]), Point(5, 5), None,
        GeometryCollection([Point(1, 1), box(0, 0, 5, 5)]),
    ]  # fmt: skip
    words, planes = packed([WebLayer(name="all", shapes=shapes, looks=[{}])], {}, crs=CRS, origin=ORIGIN)
    (layer,) = json.loads(zlib.decompress(base64.b64decode(words)))["layers"]
    assert layer["kinds"] == [2, 1, 0, -1, 2]
    assert layer["parts"] == [3, 1, 1, 0, 1]  # the outline, its hole and the second part; of a collection its areas
    assert layer["points"] == [4, 4, 4, 3, 1, 4]  # a ring's last point is its first
    found = numbers(planes).reshape(2, -1).cumsum(axis=1) * STEP_M
    ground = np.ptp(found[:, :4], axis=1)
    stretch = 1 / np.cos(np.radians(38.2))  # of Web Mercator
    np.testing.assert_allclose(ground, 40 * stretch, atol=0.5)


def test_twenty_thousand_patches_and_their_faces_stay_within_fifteen_megabytes():
    rng, angle = np.random.default_rng(3), np.linspace(0, 2 * np.pi, 41, endpoint=False)
    radius = np.maximum(rng.gamma(4, 2.0, (20_000, 1)) + 2 + rng.normal(0, 0.5, (20_000, 41)), 1.5)
    place = rng.uniform(-3000, 3000, (20_000, 1, 2))
    shapes = shapely.polygons(place + radius[..., None] * np.stack([np.cos(angle), np.sin(angle)], axis=-1))
    terms = [f"term {k}" for k in range(12)]
    rows = [[f"{value:.4f} of {k}" for k in range(12)] for value in rng.uniform(size=20_000)]
    layers = [
        WebLayer(name="patches", shapes=shapes, looks=[{}], terms=terms, rows=rows),
        WebLayer(name="faces", shapes=np.concatenate([shapes, shapes[:10_000]]), looks=[{}]),
    ]
    texts = packed(layers, {}, crs=CRS, origin=ORIGIN)
    assert sum(map(len, texts)) < BOUND_BYTES - 1_000_000  # the page's own scripts and the shape of the ground
