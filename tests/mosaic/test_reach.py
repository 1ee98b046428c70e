"""Open infested ground by what keeps it from better access, against geopandas' overlay with the access layer."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from affine import Affine

from invasimap.core.settings import AtvSection, FootSection
from invasimap.land.access import access_classes
from invasimap.land.ground import make_ground
from invasimap.land.terrain import Terrain
from invasimap.mosaic.checks import limits_error
from invasimap.mosaic.faces import cut_faces
from invasimap.mosaic.reach import limit_areas, sprayable_ground

CRS = "EPSG:32617"
TERRAIN = Terrain(elevation_m=np.zeros((100, 100), np.float32), transform=Affine(4, 0, 0, 0, -4, 400), crs=CRS)
RIGS = {
    "atv": AtvSection(max_slope="0 %", max_side_slope="0 %", clearance="1 m", hose_length="60 m"),
    "foot": FootSection(max_slope="60 %", max_walk="2 min"),
}


def layer(*shapes, **columns):
    return gpd.GeoDataFrame(columns, geometry=list(shapes), crs=CRS)


TRAIL = layer(shapely.LineString([(0, 201), (400, 201)]), **{"class": ["trail"], "allows": ["atv;foot"]})


def faces(*patches):
    return cut_faces(
        layer(*patches, id=[*range(len(patches))], species=["a", "b"][: len(patches)],
              date=["2026-05-01"] * len(patches), cover_pct=[50.0] * len(patches)),
        stands=layer(shapely.box(0, 0, 400, 300), stand=["1"]),
        protection=layer(shapely.box(0, 0, 91, 400), zone=["no_spray"], kind=["well"], rule=[""], confidential=[False]),
        access=access().polygons(limits=False),
    )  # fmt: skip


def access(**means):
    return access_classes(
        make_ground(TERRAIN, ways=TRAIL, outline=shapely.box(10, 10, 390, 390)), **(means or RIGS)
    )  # fmt: skip


def test_limits_add_up_to_the_open_infested_ground_in_stands_and_each_is_the_overlays():
    patches = [shapely.Point(120, 210).buffer(70), shapely.box(150, 120, 380, 380)]
    ground = sprayable_ground(faces(*patches), TERRAIN)
    open_ground = shapely.union_all(patches) & shapely.box(91, 0, 400, 300)
    found = limit_areas(access(), ground)
    assert found["open_m2"].sum() == pytest.approx(open_ground.area, rel=1e-9)
    laid = access().polygons()
    laid["m2"] = laid.geometry.intersection(open_ground).area
    laid = laid[laid["m2"] > 0].groupby(["access", "limit"])["m2"].sum()
    assert found.set_index(["access", "limit"])["open_m2"].to_dict() == pytest.approx(laid.to_dict(), rel=1e-9)
    assert found["access"].tolist() == ["atv_hose", "foot", "out_of_reach"]
    assert found["limit"].tolist() == ["", "hose_length", "walk"]
    walkers = limit_areas(access(foot=RIGS["foot"]), ground)
    assert walkers["limit"].tolist() == ["", "walk"]
    assert walkers["open_m2"].sum() == pytest.approx(open_ground.area, rel=1e-9)


def test_ground_outside_every_stand_counts_for_nothing():
    found = limit_areas(access(), sprayable_ground(faces(shapely.box(100, 310, 200, 390)), TERRAIN))
    assert list(found.columns) == ["access", "limit", "open_m2", "hose_only_m2"] and found.empty


def test_without_means_all_of_it_is_out_of_reach():
    nobody = access_classes(make_ground(TERRAIN, ways=TRAIL))
    found = limit_areas(nobody, sprayable_ground(faces(shapely.box(100, 100, 200, 150)), TERRAIN))
    assert found.to_numpy().tolist() == [["out_of_reach", "not_connected", pytest.approx(5000), 0.0]]


def test_ground_that_only_the_hose_reaches_is_told_from_ground_driven_over():
    """The ATV stays on the trail, whose cells are 4 m wide; a strip of 60 m along 100 m of it lies within the hose."""
    found = limit_areas(access(), sprayable_ground(faces(shapely.box(100, 180, 200, 240)), TERRAIN))
    assert found["access"].tolist() == ["atv_hose"]
    assert found[["open_m2", "hose_only_m2"]].to_numpy().tolist() == [pytest.approx([100 * 60, 100 * (60 - 4)])]


def test_limits_that_leave_ground_out_or_give_it_another_class_are_found():
    laid = faces(shapely.box(150, 120, 380, 380))
    found = limit_areas(access(), sprayable_ground(laid, TERRAIN))
    whole = 230 * 180  # to the stand's edge at 300
    assert limits_error(found, laid) <= 1e-12
    assert limits_error(found.iloc[1:], laid) == pytest.approx(found["open_m2"][0] / whole)
    moved = found.assign(access=["foot", *found["access"][1:]])
    assert limits_error(moved, laid) == pytest.approx(found["open_m2"][0] / whole)
