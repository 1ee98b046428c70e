"""Pictures of a tract, from their EXIF to the table, the GeoPackage, the report and the field map."""

from __future__ import annotations

import geopandas as gpd
import pandas as pd
import pytest
import shapely
from PIL import Image

import invasimap
from invasimap.core.crs import to_lonlat

SETTINGS = """
[tract]
name = "A"
timezone = "America/New_York"
[[survey]]
files = ["survey.geojson"]
[[photos]]
files = ["pictures/*.jpg"]
within = "30 ft"
[stands]
file = "land.gpkg"
layer = "stands"
[uncertainty]
draws = 0
"""


@pytest.fixture(scope="module")
def planned(write_shared_tract, utm_layer, blank_maps):
    spots = [shapely.Point(500_030, 4_200_030), shapely.Point(500_070, 4_200_070)]
    survey = utm_layer(spots, species=["Rosa multiflora", "Lonicera maackii"], cover=["40", "10"], radius_m=["5", "5"])
    stands = utm_layer([shapely.box(500_000, 4_200_000, 500_100, 4_200_100)], stand=["1"])
    home = write_shared_tract(SETTINGS, survey=survey.to_crs(4326), stands=stands)
    (home / "pictures").mkdir()
    to_degrees = to_lonlat(survey.crs)
    # 10 m east of the first patch's middle is 5 m from its edge; 30 ft are 9.1 m; the second is 20 m from any edge
    for name, x, y in (("near.jpg", 500_040, 4_200_030), ("=far.jpg", 500_030, 4_200_055)):
        lon, lat = to_degrees.transform(x, y)
        exif = Image.Exif()
        exif[0x8825] = {1: "N", 2: (lat, 0.0, 0.0), 3: "W", 4: (-lon, 0.0, 0.0), 16: "T", 17: 270.0}
        Image.new("RGB", (8, 8)).save(home / "pictures" / name, exif=exif)
    Image.new("RGB", (8, 8)).save(home / "pictures" / "plain.jpg")
    plan = invasimap.plan(home)
    return plan, invasimap.write_plan(plan, home / "out")


def test_a_picture_is_told_with_its_patch_in_every_output(planned, unpack_map):
    plan, out = planned
    table = pd.read_csv(out / "tables" / "photos.csv", keep_default_na=False).set_index("file")
    assert table["patch"].to_dict() == {"pictures/=far.jpg": "", "pictures/near.jpg": "P0001", "pictures/plain.jpg": ""}
    assert float(table.loc["pictures/near.jpg", "distance_ft"]) == pytest.approx(5 / 0.3048, abs=0.1)
    layer = gpd.read_file(out / "plan.gpkg", layer="photos").set_index("file")
    assert layer.loc["pictures/near.jpg"].geometry.distance(plan.patches.geometry[0]) == pytest.approx(5, abs=0.05)
    assert layer.loc["pictures/plain.jpg"].geometry is None
    assert "270° (true north)" in (out / "report.html").read_text(encoding="utf-8")
    patches = unpack_map((out / "map.html").read_text(encoding="utf-8"))["layers"]["patches"]
    assert patches["rows"][0][patches["terms"].index("pictures")] == "pictures/near.jpg"


def test_pictures_are_in_the_account(planned):
    plan, _ = planned
    assert plan.ledger.set_index("file").loc["pictures/"].to_list() == [3, 1, 0, 2]
    reasons = plan.set_aside.set_index("file")["reason"]
    assert "further than the limit" in reasons["pictures/=far.jpg"] and "EXIF" in reasons["pictures/plain.jpg"]
