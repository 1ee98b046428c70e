"""No-spray and hand-only zones on shapes worked by hand."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from affine import Affine

from invasimap.core.errors import CRSError, LayerError
from invasimap.land.protection import protection_zones
from invasimap.land.terrain import Terrain, flat_terrain

CRS = "EPSG:32617"
FT = 0.3048


def features(*rows):
    usual = {
        "kind": "stream", "rule": "rule 1", "confidential": False, "no_spray_m": 10.0, "hand_only_m": np.nan,
        "width_m": 0.0, "per_slope_m": 0.0, "position_error_m": 0.0, "blocks": "",
    }  # fmt: skip
    return gpd.GeoDataFrame([{**usual, **row} for row in rows], crs=CRS)


def zone(zones, name):
    return zones[zones["zone"] == name].geometry.union_all()


STREAM = shapely.LineString([(0, -500), (0, 600)])
PATCH = shapely.box(0, 0, 100, 100)


def test_hectare_beside_a_stream_keeps_2_0945_acres():
    ground = zone(protection_zones(features({"geometry": STREAM, "no_spray_m": 50 * FT})), "no_spray")
    acres = shapely.area([PATCH, PATCH.intersection(ground), PATCH.difference(ground)]) / 4046.8564224
    assert acres == pytest.approx([2.47105381467, 0.376588601356, 2.09446521332], rel=1e-6)
    assert acres[2] <= 2.09446521332 * (1 + 1e-9)  # rounded against the user's convenience


def test_width_and_position_error_are_added_on_each_side():
    zones = protection_zones(features({"geometry": STREAM, "width_m": 4.0, "position_error_m": 3.0}))
    left, _, right, _ = zone(zones, "no_spray").bounds
    assert (left, right) == pytest.approx((-15, 15), rel=2e-3)
    assert left <= -15 and right >= 15


def test_hand_only_lies_beyond_no_spray_from_the_same_edge():
    zones = protection_zones(features({"geometry": PATCH, "hand_only_m": 30.0}))
    no_spray, hand_only = zone(zones, "no_spray"), zone(zones, "hand_only")
    assert no_spray.intersection(hand_only).area == pytest.approx(0, abs=1e-6)
    assert shapely.distance(no_spray.union(hand_only).exterior, PATCH) == pytest.approx(30, rel=2e-3)
    assert no_spray.contains(PATCH)


def test_the_stricter_zone_wins_and_the_widest_rule_names_it():
    wide = {"geometry": shapely.Point(0, 0), "kind": "well", "rule": "wide", "no_spray_m": 40.0}
    narrow = {
        "geometry": shapely.Point(30, 0),
        "kind": "plant",
        "rule": "narrow",
        "no_spray_m": 20.0,
        "hand_only_m": 90.0,
    }
    zones = protection_zones(features(narrow, wide))
    no_spray = zones[zones["zone"] == "no_spray"]
    assert list(no_spray["rule"]) == ["wide", "narrow"]
    assert no_spray[no_spray["rule"] == "wide"].geometry.iloc[0].contains(shapely.Point(25, 0))
    total = zones.geometry.union_all().area
    assert zones.area.sum() == pytest.approx(total, rel=1e-9)
    assert zone(zones, "no_spray").contains(shapely.Point(0, 39)) and zone(zones, "no_spray").contains(
        shapely.Point(49, 0)
    )


def ramp(percent_east):
    """Level on the west half, rising to the east on the east half, 2 m cells over 400 m."""
    x = np.arange(200) * 2.0 - 199.0
    z = np.where(x > 0, x * percent_east / 100, 0.0)
    elevation = np.broadcast_to(z, (200, 200)).astype(np.float32)
    return Terrain(elevation_m=elevation, transform=Affine(2, 0, -200, 0, -2, 200), crs=CRS)


def test_distances_grow_by_the_slope_at_the_feature():
    level, steep = shapely.LineString([(-100, -50), (-100, 50)]), shapely.LineString([(100, -50), (100, 50)])
    rows = [{"geometry": line, "per_slope_m": 0.5, "hand_only_m": 12.0} for line in (level, steep)]
    zones = protection_zones(features(*rows), terrain=ramp(20))
    no_spray = zone(zones, "no_spray")
    west, east = (no_spray.intersection(shapely.box(left, -40, left + 200, 40)) for left in (-200, 0))
    assert west.bounds[2] - west.bounds[0] == pytest.approx(20, rel=2e-3)
    assert east.bounds[2] - east.bounds[0] == pytest.approx(40, rel=2e-3)  # 10 m + 20 % x 0.5 m, each side
    both = zones.geometry.union_all().intersection(shapely.box(0, -40, 200, 40))
    assert both.bounds[2] - both.bounds[0] == pytest.approx(44, rel=2e-3)


def test_unknown_slope_gets_the_steepest_known():
    terrain = ramp(30)
    gaps = terrain.elevation_m.copy()
    gaps[:, :80] = np.nan
    holed = Terrain(elevation_m=gaps, transform=terrain.transform, crs=CRS)
    row = {"geometry": shapely.LineString([(-150, -50), (-150, 50)]), "per_slope_m": 0.5}
    left, _, right, _ = zone(protection_zones(features(row), terrain=holed), "no_spray").bounds
    assert right - left == pytest.approx(2 * (10 + 30 * 0.5), rel=2e-3)


def test_slope_without_elevation_stops_with_the_kind_named():
    row = {"geometry": STREAM, "per_slope_m": 0.5, "kind": "trout stream"}
    flat = flat_terrain((0, 0, 10, 10), cell_m=1, crs=CRS)
    for terrain in (None, flat):
        with pytest.raises(LayerError, match=r"trout stream: per_slope needs elevation"):
            protection_zones(features(row), terrain=terrain)


def test_zero_distance_protects_the_feature_itself_only():
    zones = protection_zones(features({"geometry": PATCH, "no_spray_m": 0.0}))
    assert zone(zones, "no_spray").area == pytest.approx(10_000, rel=1e-6)


def test_no_features_no_zones_and_degrees_are_refused():
    assert protection_zones(features({"geometry": STREAM}).iloc[:0]).empty
    with pytest.raises(CRSError, match="metres"):
        protection_zones(features({"geometry": STREAM}).set_crs(4326, allow_override=True))


def test_clipped_zones_are_the_same_zones_where_they_count():
    here = shapely.box(-60, -60, 60, 60)
    far = {"geometry": shapely.Point(500, 500), "kind": "far well"}
    edge = {"geometry": shapely.Point(75, 0), "kind": "near well", "no_spray_m": 30.0}
    bent = {"geometry": shapely.LineString([(-400, -90), (0, -75), (400, -20)]), "hand_only_m": 40.0}
    whole = protection_zones(features(far, edge, bent))
    clipped = protection_zones(features(far, edge, bent), within=here)
    assert "far well" not in set(clipped["kind"])
    for name in ("no_spray", "hand_only"):
        expected = zone(whole, name).intersection(here)
        assert zone(clipped, name).symmetric_difference(expected).area == pytest.approx(0, abs=1e-6)
        assert expected.area > 10
