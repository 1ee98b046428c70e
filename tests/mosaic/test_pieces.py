"""Pieces of patches: areas, slopes and surfaces by hand on a plane that rises to the east."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from affine import Affine
from pyproj import CRS

from invasimap.land.terrain import Terrain, flat_terrain
from invasimap.mosaic.faces import cut_faces
from invasimap.mosaic.pieces import treatment_pieces

SYSTEM = CRS("EPSG:32617")
AT = np.array([500_000.0, 4_300_000.0])


def moved(*boxes, **columns):
    shapes = [shapely.transform(shapely.box(*box), lambda xy: xy + AT) for box in boxes]
    return gpd.GeoDataFrame(columns, geometry=shapes, crs=SYSTEM)


def plane(rise, *, cells=60, cell=5.0):
    east = np.arange(cells, dtype=np.float32) * np.float32(cell * rise)
    grid = np.broadcast_to(east, (cells, cells)).copy()
    return Terrain(elevation_m=grid, transform=Affine(cell, 0, AT[0] - 50, 0, -cell, AT[1] + 250), crs=SYSTEM)


@pytest.fixture
def laid():
    patches = moved(
        (0, 0, 100, 50), (60, 0, 120, 50), species=["Rosa multiflora", "Ailanthus altissima"], cover_pct=[40.0, 80.0],
        date=["2026-05-01", ""], height_m=[1.5, np.nan],
    )  # fmt: skip
    patches.index = ["P1", "P2"]
    stands = moved((-50, -50, 80, 150), (80, -50, 200, 150), stand=["A", "B"])
    water = moved((-50, 40, 200, 60), zone=["no_spray"])
    access = moved((-50, -50, 200, 150), access=["foot"])
    return patches, cut_faces(patches, stands=stands, protection=water, access=access)


def test_each_piece_holds_what_its_patch_decides_there(laid):
    patches, faces = laid
    found = treatment_pieces(faces, patches, plane(0.4))
    areas = found.set_index(["patch", "stand", "zone"])["gross_m2"].to_dict()
    assert areas == pytest.approx(
        {
            ("P1", "A", "open"): 80 * 40, ("P1", "A", "no_spray"): 80 * 10, ("P1", "B", "open"): 20 * 40,
            ("P1", "B", "no_spray"): 20 * 10, ("P2", "A", "open"): 20 * 40, ("P2", "A", "no_spray"): 20 * 10,
            ("P2", "B", "open"): 40 * 40, ("P2", "B", "no_spray"): 40 * 10,
        }
    )  # fmt: skip
    assert shapely.area(found.geometry.to_numpy()) == pytest.approx(found["gross_m2"].to_numpy())
    assert found["cover_pct"].tolist() == [40.0] * 4 + [80.0] * 4
    assert found["height_m"].tolist()[:4] == [1.5] * 4 and found["height_m"].isna().tolist()[4:] == [True] * 4
    assert found["reached_by"].eq("foot").all()


def test_slope_and_surface_are_those_of_the_plane(laid):
    patches, faces = laid
    found = treatment_pieces(faces, patches, plane(0.4))
    assert found["slope_pct"].to_numpy() == pytest.approx(40.0, rel=1e-4)
    assert (found["surface_m2"] / found["gross_m2"]).to_numpy() == pytest.approx(np.sqrt(1 + 0.4**2), rel=1e-4)


def test_slope_that_is_not_known_is_not_level(laid):
    patches, faces = laid
    terrain = plane(0.4)
    terrain.elevation_m[:, 30:] = np.nan  # east of 100 m, and by Horn's nine cells from 95 m
    found = treatment_pieces(faces, patches, terrain).set_index(["patch", "stand"])
    assert found.loc[("P1", "A"), "slope_pct"].to_numpy() == pytest.approx(40.0, rel=1e-4)
    assert found.loc[("P2", "B"), ["slope_pct", "surface_m2"]].isna().to_numpy().all()
    none = treatment_pieces(faces, patches, flat_terrain(plane(0.0).bounds, cell_m=5.0, crs=SYSTEM))
    assert none["slope_pct"].isna().all() and none["surface_m2"].isna().all()


def test_no_ground_is_lost_where_a_layer_does_not_say_who_else_reaches_it():
    patches = moved((0, 0, 100, 80), species=["A"], cover_pct=[40.0], date=[""], height_m=[np.nan])
    access = moved((0, 0, 50, 80), (50, 0, 100, 80), access=["foot", "tractor"], reached_by=["foot", None])
    stands, none = moved((0, 0, 100, 80), stand=["A"]), gpd.GeoDataFrame(geometry=[], crs=SYSTEM)
    faces = cut_faces(patches, stands=stands, protection=none, access=access)
    assert treatment_pieces(faces, patches, plane(0.1))["gross_m2"].sum() == pytest.approx(8_000)
