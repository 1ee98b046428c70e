"""What a survey does with places: repairs by the settings, datums, cut decimals, systems that fit, flat shapes."""

from __future__ import annotations

import re

import geopandas as gpd
import numpy as np
import pytest
import shapely
from pyproj import CRS, Transformer

from invasimap.core.crs import working_crs
from invasimap.inputs.formats.datums import declared_datum
from invasimap.inputs.place import datum_note
from invasimap.inputs.rounding import half_steps_m, implied_precision_m
from invasimap.inputs.which_crs import systems_that_fit
from invasimap.land.placing import placed

HERE = working_crs(-80.0, 38.0)
BOX = shapely.box(-500, -500, 500, 500)
HEAD = "species,cover,radius_ft,lon,lat\n"


def _centre(survey):
    return survey.patches.centroid.iloc[0]


def test_a_lost_sign_is_put_right_and_said_unless_the_settings_forbid_it(write, read):
    write("a.csv", f"{HEAD}ROMU,50,10,80.00012,38.00034\n")
    survey = read("a.csv")
    assert survey.ledger.iloc[0].tolist() == ["a.csv", 1, 0, 1, 0]
    true = Transformer.from_crs(4326, HERE, always_xy=True).transform(-80.00012, 38.00034)
    assert _centre(survey).distance(shapely.Point(true)) < 1e-3
    said = "position put right by a minus sign before the longitude: now 38.00034, -80.00012"
    assert said in survey.repaired["how"].iloc[0]
    left = read("a.csv", intake={"repair_positions": False})
    assert left.ledger.iloc[0].tolist() == ["a.csv", 1, 0, 0, 1]
    assert "a minus sign before the longitude would bring it to the stands" in left.set_aside["reason"].iloc[0]


def test_swapped_outlines_are_moved_whole_with_their_area(write, read):
    ring = "POLYGON((38 -80,38 -79.999,38.001 -79.999,38.001 -80,38 -80))"
    mixed = "POLYGON((38 -80,38 -79.999,38.001 -79.999,-81 37,38 -80))"
    write("a.csv", f'species,cover,wkt\nROMU,50,"{ring}"\nROMU,50,"{mixed}"\n')
    survey = read("a.csv")
    assert survey.ledger.iloc[0].tolist() == ["a.csv", 2, 0, 1, 1]
    right = shapely.Polygon([(-80, 38), (-79.999, 38), (-79.999, 38.001), (-80, 38.001)])
    assert survey.patches.area.iloc[0] == pytest.approx(gpd.GeoSeries([right], crs=4326).to_crs(6933).area[0], rel=1e-4)
    off = survey.patches.geometry.iloc[0].symmetric_difference(gpd.GeoSeries([right], crs=4326).to_crs(HERE)[0])
    assert off.area < 1e-3


def test_shapes_without_extent_are_set_aside_wherever_they_lie_and_cost_no_other(write, read):
    flat = ["POLYGON((-80 38,-80 38,-80 38,-80 38))", "LINESTRING(38 -80,38 -80)"]
    rows = "".join(f'ROMU,50,5,"{text}"\n' for text in [*flat, "LINESTRING(-80 38,-80 38.001)"])
    write("a.csv", f"species,cover,width_m,wkt\n{rows}")
    survey = read("a.csv")
    assert survey.ledger.iloc[0].tolist() == ["a.csv", 3, 1, 0, 2]
    assert all("without" in reason for reason in survey.set_aside["reason"])


def test_a_layer_of_a_whole_state_is_not_refused_for_a_brook_that_fits_by_chance():
    # the stands lie at 80 15.0 W, 38 18.0 N: a brook at -80.1500, 38.1800 would come to them if these were minutes
    brooks = [shapely.LineString([(lon, lat), (lon + 1e-4, lat)]) for lon, lat in ((-80.25, 38.3), (-80.15, 38.18))]
    layer = gpd.GeoDataFrame(geometry=brooks, crs=4326)
    found = placed(layer, crs=working_crs(-80.25, 38.3), outline=BOX, where="brooks")
    assert len(found) == 2 and any("over 10 km" in note for note in found.attrs["notes"])


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("WGS84", 4326), ("WGS 1984", 4326), ("D_WGS_1984", 4326), ("NAD27 CONUS", 4267), ("nad 1927", 4267),
        ("North American Datum of 1927", 4267), ("NAD83", 4269), ("North American 1983", 4269), ("EPSG:4267", 4267),
        ("NAD83(2011)", 6318), ("ETRS89", 4258), ("EPSG:26917", None), ("EPSG:99999", None),
        ("local", None), ("", None),
    ],
)  # fmt: skip
def test_a_datum_is_known_by_its_usual_names(text, code):
    assert declared_datum(text) == code


def test_a_column_that_says_nad27_moves_the_records_as_pyproj_does(write, read):
    write("a.csv", "species,cover,radius_ft,lon,lat,Datum\nROMU,50,10,-80.00012,38.00034,NAD27\n")
    survey = read("a.csv")
    true = Transformer.from_crs(4267, HERE, always_xy=True).transform(-80.00012, 38.00034)
    assert (
        np.hypot(*np.subtract(true, Transformer.from_crs(4326, HERE, always_xy=True).transform(-80.00012, 38.00034)))
        > 10
    )
    assert _centre(survey).distance(shapely.Point(true)) < 1e-3
    assert any("NAD27, as column 'Datum' says" in note for note in survey.notes)
    said = read("a.csv", crs="EPSG:4326")
    assert _centre(said).distance(shapely.Point(true)) > 10


@pytest.mark.parametrize(
    ("rows", "noted"),
    [
        (("NAD27", "WGS84"), True),
        (("local", "local"), True),
        (("WGS 84", ""), False),
        (("2024-05-03", "2024-05-04"), False),
    ],
)
def test_datums_that_cannot_be_taken_are_said_aloud(rows, noted, write, read):
    head = "species,cover,radius_ft,lon,lat,datum\n"
    write("a.csv", head + "".join(f"ROMU,50,1{n},-80.00{n}12,38.00034,{text}\n" for n, text in enumerate(rows)))
    survey = read("a.csv")
    assert survey.ledger["accepted"].tolist() == [2]
    assert any("may be off by 200 m" in note for note in survey.notes) == noted


@pytest.mark.parametrize(
    ("system", "words"),
    [
        ("EPSG:4326", ""), ("EPSG:4269", ""), ("EPSG:26917", ""), ("EPSG:2264", ""), ("EPSG:6318", ""),
        ("EPSG:4267", "grid for a better move"), ("EPSG:26717", "grid for a better move"),
        ("EPSG:4008", "a distance that is not known"), ("+proj=utm +zone=17 +ellps=GRS80 +type=crs", "not known"),
    ],
)  # fmt: skip
def test_a_datum_that_may_be_over_5_m_off_is_said(system, words):
    note = datum_note(CRS.from_user_input(system), HERE, "a.shp")
    assert (words in note and note.startswith("a.shp: ")) if words else note == ""


@pytest.mark.parametrize("code", [4326, 26917, 2284, 3857])
def test_each_system_said_to_fit_brings_the_numbers_to_the_stands(code):
    x, y = Transformer.from_crs(HERE, code, always_xy=True).transform(np.array([-400.0, 300]), np.array([200.0, -450]))
    told = systems_that_fit(x, y, crs=HERE, bounds=BOX, near_m=1000)
    named = [part.split()[0] for entry in told for part in entry.split("EPSG:")[1:]]
    for one in named:
        home = Transformer.from_crs(f"EPSG:{one}", HERE, always_xy=True).transform(x, y)
        assert (shapely.distance(shapely.points(*home), BOX) <= 1000).all()
    assert len(told) <= 5 and str(code) in named


def test_feet_said_to_be_utm_get_a_note_that_names_their_system(write, read):
    x, y = Transformer.from_crs(4326, 2284, always_xy=True).transform(-80.0, 38.0)
    write("a.csv", f"species,cover,radius_ft,easting,northing\nROMU,50,10,{x:.2f},{y:.2f}\n")
    survey = read("a.csv", crs="EPSG:26917")
    assert survey.ledger["set_aside"].tolist() == [1]
    assert any(
        "none of its records comes to the stands in NAD83 / UTM zone 17N" in n and "EPSG:2284" in n
        for n in survey.notes
    )


@pytest.mark.parametrize(("decimals", "lat"), [(3, 38.0), (2, 38.0), (3, 60.0)])
def test_half_a_step_of_the_last_decimal_is_as_long_as_the_ellipsoid_says(decimals, lat):
    half = 0.5 * 10.0**-decimals
    north_m, east_m = half_steps_m(np.array([decimals]), np.array([lat]))
    geod = CRS.from_epsg(4326).get_geod()
    assert north_m[0] == pytest.approx(geod.inv(0, lat - half / 2, 0, lat + half / 2)[2], rel=1e-6)
    assert east_m[0] == pytest.approx(geod.inv(0, lat, half, lat)[2], rel=1e-4)


def test_positions_of_three_decimals_are_said_and_count_in_the_accuracy(write, read):
    rows = "".join(f"ROMU,50,10,-80.00{n},38.00{n % 3 + 1},3 m\n" for n in range(1, 5))
    write("a.csv", "species,cover,radius_ft,lon,lat,accuracy\n" + rows)
    survey = read("a.csv")
    step_m = CRS.from_epsg(4326).get_geod().inv(-80, 38, -80, 38.001)[2]
    assert survey.patches["accuracy_m"].tolist() == pytest.approx([np.hypot(3, step_m / 2)] * 4, rel=1e-3)
    assert any("4 of 4 positions have 3 decimals or fewer" in note for note in survey.notes)


def test_zeros_dropped_from_six_decimals_cost_no_accuracy(write, read):
    rows = [f"ROMU,50,10,-80.00{n:04d},38.00{n:04d},3 m\n" for n in range(1234, 1240)] * 20
    write(
        "a.csv", "species,cover,radius_ft,lon,lat,accuracy\n" + "".join([*rows, "ROMU,50,10,-80.001234,38.002,3 m\n"])
    )
    survey = read("a.csv")
    assert set(survey.patches["accuracy_m"]) == {3.0}
    assert not any("decimals" in note for note in survey.notes)


@pytest.mark.parametrize(
    ("cells", "short"),
    [(("-80.123", "39.001"), True), (("-80.1234", "39.001"), False), (("80 7.4 W", "39.001"), False)],
)
def test_the_longer_cell_tells_the_decimals(cells, short):
    lon, lat = (np.array([cell], object) for cell in cells)
    found = implied_precision_m(lon, lat, np.array([39.001]), habit=np.array([0]), records=1)
    assert bool(np.isfinite(found).all()) == short


@pytest.mark.parametrize(("lon", "lat"), [(-80.0, 39.0), (-77.0, 10.0), (20.0, 38.0), (60.0, -30.0)])
def test_how_far_a_record_lies_off_is_the_way_over_the_ground(lon, lat, write, read):
    write("a.csv", f"{HEAD}ROMU,50,10,{lon},{lat}\n")
    said_km = float(re.search(r"lies ([\d,.]+) km", read("a.csv").set_aside["reason"].iloc[0])[1].replace(",", ""))
    assert said_km == pytest.approx(CRS.from_epsg(4326).get_geod().inv(-80, 38, lon, lat)[2] / 1000, rel=0.01)


def test_a_survey_in_a_system_of_another_planet_is_set_aside_with_the_reason(write, read):
    write("a.csv", "species,x,y\nROMU,10,20\n")
    survey = read("a.csv", crs="ESRI:104905", columns={"lon": "x", "lat": "y"})  # degrees on Mars
    assert survey.ledger["set_aside"].tolist() == [1]
    assert "no way to the tract's" in survey.set_aside["reason"].item()


def test_a_survey_in_degrees_of_an_absurd_size_is_set_aside_with_the_reason(write, read):
    wkt = CRS.from_epsg(4326).to_wkt("WKT1_ESRI").replace("0.0174532925199433", "0.1e-30025199433")
    assert "0.1e-3" in wkt
    gpd.GeoDataFrame({"species": ["ROMU"]}, geometry=[shapely.Point(-80, 38)], crs=4326).to_file(write("a.shp", b""))
    write("a.prj", wkt.encode())
    survey = read("a.shp")
    assert survey.ledger["set_aside"].tolist() == [1]
