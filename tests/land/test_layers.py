"""Land layers as they come: what lies in the wrong place or cannot be read is never passed over in silence."""

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine

from invasimap.core.errors import InputError
from invasimap.core.toml_file import read_tract
from invasimap.land.layers import elevation_faults, read_land, read_tract_terrain
from invasimap.land.notes import entrance_notes
from invasimap.land.terrain import read_terrain

UTM = "EPSG:32617"
HERE = (500_000.0, 4_200_000.0)  # 81 W, 37.95 N
LON, LAT = -81.0, 37.9484

SETTINGS = """
[tract]
name = "Layers"
[[survey]]
files = ["survey.csv"]
[stands]
file = "stands.gpkg"
[[protect]]
kind = "{kind}"
file = "{file}"
no_spray = "100 ft"
{more}
"""


@pytest.fixture
def tract(tmp_path):
    """Writes a tract with one protected layer and gives its settings."""

    def write(protect, *, file="protect.geojson", kind="well", more="", stands=("1",)):
        shapes = [
            shapely.box(HERE[0] + n * 500, HERE[1], HERE[0] + n * 500 + 500, HERE[1] + 500) for n in range(len(stands))
        ]
        gpd.GeoDataFrame({"stand": list(stands)}, geometry=shapes, crs=UTM).to_file(tmp_path / "stands.gpkg")
        if isinstance(protect, str):
            (tmp_path / file).write_text(protect, encoding="utf-8")
        else:
            protect.to_file(tmp_path / file)
        (tmp_path / "tract.toml").write_text(SETTINGS.format(kind=kind, file=file, more=more), encoding="utf-8")
        return read_tract(tmp_path)

    return write


def faults(settings):
    with pytest.raises(InputError) as caught:
        read_land(settings)
    return "\n".join(map(str, caught.value.faults))


def test_a_well_in_its_place_is_read(tract):
    land = read_land(tract(f"name,lon,lat\nold,{LON},{LAT}\n", file="wells.csv"))
    assert len(land.features) == 1 and land.features["no_spray_m"][0] == pytest.approx(30.48)
    assert shapely.distance(land.features.geometry[0], land.outline) < 600


@pytest.mark.parametrize(
    ("lon", "lat", "said"),
    [(-LON, LAT, "minus sign"), (LAT, LON, "swapping"), (0, 0, "0, 0"), (LON, 137.9, "beyond 90")],
)
def test_a_well_in_the_wrong_place_stops_the_plan(tract, lon, lat, said):
    text = faults(tract(f"name,lon,lat\ngood,{LON},{LAT}\nbad,{lon},{lat}\n", file="wells.csv"))
    assert said in text and "features 2" in text


def test_a_layer_in_the_wrong_zone_stops_the_plan(tract):
    stream = gpd.GeoDataFrame(geometry=[shapely.LineString([HERE, (HERE[0] + 900, HERE[1])])], crs=UTM)
    text = faults(tract(stream.set_crs("EPSG:32616", allow_override=True), kind="stream"))
    assert "in the wrong place" in text and "526." in text  # km: 6 degrees of longitude at 38 N
    assert "UTM zone 17N" in text


def test_far_features_of_a_state_wide_layer_are_no_fault(tract):
    spots = gpd.GeoDataFrame(geometry=shapely.points([HERE, (HERE[0] + 90_000, HERE[1])]), crs=UTM)
    assert len(read_land(tract(spots)).features) == 2


def test_a_protected_feature_that_cannot_be_read_stops_the_plan(tract):
    text = faults(tract(f"name,lon,lat\nold,{LON},{LAT}\nsecond,,\n", file="wells.csv"))
    assert "wells.csv" in text and "2" in text and "not protected" in text


def two_streams():
    lines = [shapely.LineString([HERE, (HERE[0] + 400, HERE[1] + n)]) for n in (9, 99)]
    return gpd.GeoDataFrame({"cls": ["perennial", "intermittent"]}, geometry=lines, crs=UTM)


def test_every_where_value_must_be_there(tract):
    streams = two_streams()
    assert "intermitent" in faults(tract(streams, more='where = { cls = ["perennial", "intermitent"] }'))
    variants = streams.assign(cls=["perennial", "Perennial"])
    text = faults(tract(variants, more='where = { cls = "perennial" }'))
    assert "Perennial" in text


def test_values_that_no_block_takes_are_said(tract):
    streams = two_streams()
    one = read_land(tract(streams, more='where = { cls = "perennial" }'))
    assert any("'intermittent'" in note and "not protected" in note for note in one.notes)
    second = (
        '[[protect]]\nkind = "small"\nfile = "protect.geojson"\nno_spray = "25 ft"\nwhere = { cls = "intermittent" }\n'
    )
    both = read_land(tract(streams, more='where = { cls = "perennial" }\n' + second))
    assert not any("not protected" in note for note in both.notes)


def crossings(tract, text, setting=""):
    """A tract with crossings in a table."""
    more = f'[land]\ncrossings = {{ file = "gates.csv"{setting} }}\n'
    settings = tract(f"lon,lat\n{LON},{LAT}\n", file="w.csv", more=more)
    (settings.folder / "gates.csv").write_text(text, encoding="utf-8")
    return settings


@pytest.mark.parametrize(
    ("header", "cells", "metres"),
    [
        ("width_ft", ["10", ""], [3.048, 4.8768]),
        ("width_m", ["3.5", "2"], [3.5, 2.0]),
        ("Width", ["10 ft", "3 m"], [3.048, 3.0]),
        ("name", ["ford", "gate"], [4.8768, 4.8768]),
    ],
)
def test_a_crossing_has_the_width_that_its_record_says_else_the_settings(tract, header, cells, metres):
    rows = "".join(f"{LON},{LAT},{cell}\n" for cell in cells)
    land = read_land(crossings(tract, f"lon,lat,{header}\n{rows}", ', width = "16 ft"'))
    assert land.crossings["width_m"].tolist() == pytest.approx(metres)
    assert not any("20 ft" in note for note in land.notes)


def test_a_crossing_without_a_width_is_taken_as_20_ft_and_that_is_said(tract):
    land = read_land(crossings(tract, f"lon,lat,width_ft\n{LON},{LAT},10\n{LON},{LAT},\n"))
    assert land.crossings["width_m"].tolist() == pytest.approx([3.048, 6.096])
    assert any("1 of 2 crossings are taken as 20 ft wide" in note for note in land.notes)


@pytest.mark.parametrize(("cell", "words"), [("10", "no unit"), ("0 ft", "above zero"), ("wide", "not read")])
def test_a_crossings_width_that_says_no_length_is_an_error(tract, cell, words):
    text = faults(crossings(tract, f"lon,lat,width\n{LON},{LAT},4 m\n{LON},{LAT},{cell}\n"))
    assert words in text and "feature 2" in text and "gates.csv" in text


def test_the_name_for_no_stand_is_kept_for_it(tract):
    assert "(outside)" in faults(tract(f"lon,lat\n{LON},{LAT}\n", file="w.csv", stands=("1", "(outside)")))


def test_a_line_in_a_collection_keeps_its_width(tract):
    mixed = shapely.GeometryCollection([shapely.Point(HERE), shapely.LineString([HERE, (HERE[0] + 100, HERE[1])])])
    land = read_land(tract(gpd.GeoDataFrame(geometry=[mixed], crs=UTM), more='width = "4 m"'))
    assert sorted(shapely.get_dimensions(land.features.geometry.to_numpy())) == [0, 1]


@pytest.mark.parametrize("name", ["s.gpkg", "s.geojson"])
def test_a_feature_without_a_class_is_in_no_block_and_said(tract, name):
    streams = two_streams().assign(cls=["perennial", None])
    land = read_land(tract(streams, file=name, more='where = { cls = "perennial" }'))
    assert len(land.features) == 1
    assert any("not protected" in note for note in land.notes)


def test_one_place_of_a_stream_at_zero_stops_the_plan(tract):
    stream = gpd.GeoSeries([shapely.LineString([HERE, (HERE[0] + 400, HERE[1])])], crs=UTM).to_crs(4326)
    first, last = shapely.get_coordinates(stream)
    torn = shapely.LineString([first, (0, 0), last])
    assert "100 km" in faults(tract(gpd.GeoDataFrame(geometry=[torn], crs=4326)))


def test_far_features_beside_near_ones_are_counted_aloud(tract):
    spots = gpd.GeoDataFrame(geometry=shapely.points([HERE, (HERE[0] + 90_000, HERE[1])]), crs=UTM)
    assert any("1 of 2 features lie over 10 km" in note for note in read_land(tract(spots)).notes)


def test_a_mark_for_no_data_that_the_file_does_not_name_is_no_height(tmp_path):
    bounds = (HERE[0], HERE[1], HERE[0] + 500, HERE[1] + 500)
    path = dem(tmp_path / "dem.tif", unit="m", value=-9999.0)
    assert np.isnan(read_terrain(path, bounds, cell_m=10, crs=UTM_CRS).elevation_m).all()


def dem(path, *, unit="", scale=None, value=100.0, crs=UTM):
    profile = {"driver": "GTiff", "count": 1, "dtype": "float32", "width": 40, "height": 40, "crs": crs}
    with rasterio.open(path, "w", transform=Affine(30, 0, HERE[0] - 300, 0, -30, HERE[1] + 900), **profile) as out:
        out.write(np.full((40, 40), value, "float32"), 1)
        if unit:
            out.units = (unit,)
        if scale:
            out.scales = (scale,)
    return path


def elevation(tract, **more):
    lines = "\n".join(f'{key} = "{value}"' for key, value in {"elevation": "dem.tif", **more}.items())
    return tract(f"lon,lat\n{LON},{LAT}\n", file="w.csv", more=f"[land]\n{lines}\n")


@pytest.mark.parametrize(
    ("unit", "given", "metres"), [("metre", None, 100), ("", "ft", 30.48), ("US survey foot", None, 100 * 1200 / 3937)]
)
def test_elevation_in_any_unit_becomes_metres(tmp_path, unit, given, metres):
    bounds = (HERE[0], HERE[1], HERE[0] + 500, HERE[1] + 500)
    terrain = read_terrain(dem(tmp_path / "dem.tif", unit=unit), bounds, cell_m=10, crs=UTM_CRS, unit=given)
    assert terrain.elevation_m == pytest.approx(metres, rel=1e-6)


def test_scaled_elevation_is_unscaled(tmp_path):
    bounds = (HERE[0], HERE[1], HERE[0] + 500, HERE[1] + 500)
    path = dem(tmp_path / "dem.tif", unit="m", scale=10.0, value=12.0)
    assert read_terrain(path, bounds, cell_m=10, crs=UTM_CRS).elevation_m == pytest.approx(120.0)


def test_elevation_faults_are_found_without_the_stands(tract, tmp_path):
    dem(tmp_path / "dem.tif")
    assert "does not say the unit" in str(elevation_faults(elevation(tract))[0])
    dem(tmp_path / "dem.tif", unit="metre")
    assert "but elevation_unit says 'ft'" in str(elevation_faults(elevation(tract, elevation_unit="ft"))[0])
    assert elevation_faults(elevation(tract)) == []
    (tmp_path / "dem.tif").write_text("no raster")
    assert "cannot be read as a raster" in str(elevation_faults(elevation(tract))[0])


UTM_CRS = gpd.GeoSeries(crs=UTM).crs


def test_stands_drawn_to_beyond_the_globe_are_an_error_not_a_crash(tract):
    settings = tract(gpd.GeoDataFrame(geometry=[shapely.Point(HERE)], crs=UTM))
    far = shapely.box(HERE[0], HERE[1], HERE[0] + 100, 3.8e14)
    gpd.GeoDataFrame({"stand": ["1"]}, geometry=[far], crs=UTM).to_file(settings.folder / "stands.gpkg")
    assert "beyond the globe" in faults(settings)


WAYS = '[ways]\nfile = "ways.gpkg"\ncolumn = "class"\nallows = { trail = ["atv", "foot"] }\n'


def said(tract, *, ways=None, entries=(), cell="10 m", **land):
    """The notes on terrain and entrances of a tract of one stand of 500 m with some ways, entries and elevation."""
    lines = "\n".join(f'{key} = "{value}"' for key, value in land.items())
    more = f'[land]\n{lines}\n[access]\ncell = "{cell}"\n' + (WAYS if ways is not None else "")
    if len(entries):
        more += '[entries]\nfile = "gates.gpkg"\n'
    settings = tract(f"lon,lat\n{LON},{LAT}\n", file="w.csv", more=more)
    if ways is not None:
        shapes = [shapely.LineString([(HERE[0] + x, HERE[1] + y) for x, y in way]) for way in ways]
        gpd.GeoDataFrame({"class": ["trail"] * len(ways)}, geometry=shapes, crs=UTM).to_file(
            settings.folder / "ways.gpkg"
        )
    if len(entries):
        places = shapely.points([(HERE[0] + x, HERE[1] + y) for x, y in entries])
        gpd.GeoDataFrame(geometry=places, crs=UTM).to_file(settings.folder / "gates.gpkg")
    land_layers = read_land(settings)
    terrain, notes = read_tract_terrain(settings, land_layers, gpd.GeoDataFrame(geometry=[]))
    return " ".join([*land_layers.notes, *notes, *entrance_notes(land_layers.ground(terrain))])


ACROSS = [[(-200, 250), (700, 250)]]


def test_no_elevation_is_said_loudly_and_level_ground_taken(tract):
    assert "NO ELEVATION DATA: the ground was taken as level" in said(tract, ways=ACROSS)


def test_elevation_coarser_than_the_cell_is_said_with_its_size(tract, tmp_path):
    dem(tmp_path / "dem.tif", unit="m")  # cells of 30 m
    coarse = said(tract, ways=ACROSS, elevation="dem.tif")
    assert "cells of 30.0 m, larger than the cells of 10.0 m worked with" in coarse and "banks and ditches" in coarse
    assert "larger than the cells" not in said(tract, ways=ACROSS, elevation="dem.tif", cell="30 m")


def test_elevation_of_a_part_or_with_gaps_is_said_with_its_share(tract, tmp_path):
    path = dem(tmp_path / "dem.tif", unit="m")  # 300 m beyond the stand on every side
    assert "no elevation" not in said(tract, ways=ACROSS, elevation="dem.tif", cell="30 m").replace(
        "round the tract", ""
    )
    with rasterio.open(path, "r+") as raster:
        raster.nodata = -32768
        gap = raster.read(1)
        gap[:, : (300 + 250) // 30] = -32768  # to 240 m into the stand of 500 m
        raster.write(gap, 1)
    text = said(tract, ways=ACROSS, elevation="dem.tif")
    share = float(text.split(" % of the tract has no elevation")[0].split()[-1])
    assert share == pytest.approx(100 * 240 / 500, abs=3.1)  # within a cell of the raster and the grid
    assert "of the ground near it has no elevation" in text


def test_a_single_unknown_cell_is_more_than_none(tract, tmp_path):
    path = dem(tmp_path / "dem.tif", unit="m")
    with rasterio.open(path, "r+") as raster:
        raster.nodata = -32768
        raster.write(np.full((1, 1), -32768, "float32"), 1, window=((20, 21), (20, 21)))
    share = said(tract, ways=ACROSS, elevation="dem.tif", cell="1 m").split(" % of the tract")[0].split()[-1]
    assert 0.1 <= float(share) <= 100 * (32 / 500) ** 2


def test_elevation_of_another_place_is_an_error_not_a_tract_out_of_reach(tract, tmp_path):
    dem(tmp_path / "dem.tif", unit="m", crs="EPSG:32616")
    with pytest.raises(InputError, match="no elevation anywhere in the stands"):
        said(tract, ways=ACROSS, elevation="dem.tif")


def test_a_unit_that_only_the_systems_height_axis_says_counts(tmp_path):
    bounds = (HERE[0], HERE[1], HERE[0] + 500, HERE[1] + 500)
    path = dem(tmp_path / "dem.tif", crs="EPSG:32617+6360")  # NAVD88 height in US survey feet
    assert read_terrain(path, bounds, cell_m=10, crs=UTM_CRS).elevation_m == pytest.approx(100 * 1200 / 3937, rel=1e-6)
    with pytest.raises(InputError, match="elevation_unit says 'm'"):
        read_terrain(path, bounds, cell_m=10, crs=UTM_CRS, unit="m")


@pytest.mark.parametrize(
    ("ways", "entries", "words"),
    [
        (None, [(250, 250)], ["NO WAYS: nothing leads into the tract but its entries"]),
        (None, [], ["NO WAYS", "NO WAY IN"]),
        ([[(100, 100), (400, 400)]], [], ["NO WAY IN: there is no entry, and no way for machines leads in"]),
        (ACROSS, [], ["No entries are given: people and machines come in on the ways"]),
        ([[(-900, -900), (-800, -900)]], [(250, 250)], ["NO WAYS"]),  # drawn, but not near the tract
        (ACROSS, [(250, 400)], ["1 of 1 entries lie over 30 m from any way for a machine (the nearest at 150 m)"]),
        (ACROSS, [(250, 260), (250, 4000)], ["1 entries lie over 3 km from the stands and are not used"]),
    ],
)
def test_how_the_tract_is_entered_is_said(tract, ways, entries, words):
    text = said(tract, ways=ways, entries=entries)
    for word in words:
        assert word in text
    for other in ("NO WAYS", "NO WAY IN", "No entries", "lie over 30 m"):
        assert (other in text) == any(other in word for word in words)


def sprayed(tract, *, east_m=0.0, **said):
    """A tract whose log holds one hectare, so far east of the first stand's corner."""
    columns = {"date": "2026-05-04", "product": "A", "ingredient_name": "x", "dose_kg_per_ha": 2.0} | said
    corner = HERE[0] + east_m
    shape = shapely.box(corner, HERE[1], corner + 100, HERE[1] + 100)
    settings = tract(f"lon,lat\n{LON},{LAT}\n", file="w.csv", more='[log]\nfile = "log.gpkg"\nlayer = "past"\n')
    table = gpd.GeoDataFrame({name: [value] for name, value in columns.items()}, geometry=[shape], crs=UTM)
    table.to_file(settings.folder / "log.gpkg", layer="past")
    return settings


def test_the_log_is_laid_on_the_stands_and_is_an_input(tract):
    settings = sprayed(tract)
    land = read_land(settings)
    assert land.sprayed.crs == land.crs and land.sprayed["kg_per_ha"].tolist() == [2.0]
    shared = shapely.intersection(land.sprayed.geometry[0], land.outline)
    assert shared.area == pytest.approx(land.sprayed.area.item(), rel=1e-6)
    assert settings.path("log.gpkg") in land.files and "sprayed" not in land.layers()


def test_without_a_log_nothing_was_sprayed(tract):
    land = read_land(tract(f"lon,lat\n{LON},{LAT}\n", file="w.csv"))
    assert land.sprayed.empty and {"date", "product", "kg_per_ha"} <= set(land.sprayed.columns)


def test_what_is_wrong_with_a_log_stops_the_plan(tract):
    assert "10 km" in faults(sprayed(tract, east_m=50_000))
    text = faults(sprayed(tract, product="", dose_kg_per_ha=-1.0))
    assert "no product: feature 1" in text and "below zero" in text and "[log]: log.gpkg" in text


def test_what_a_log_leaves_open_is_said(tract):
    notes = read_land(sprayed(tract, ingredient_name="", dose_kg_per_ha=np.nan)).notes
    assert sum("1 of 1 applications have no" in note for note in notes) == 2


def test_a_priority_of_a_stand_that_is_not_there_stops_the_plan(tract):
    well = f"lon,lat\n{LON},{LAT}\n"
    more = '[schedule]\nstand_priority = {{ "1" = 2.0, "{name}" = 0 }}\n'
    text = faults(tract(well, file="w.csv", more=more.format(name="Creek"), stands=("1", "creek")))
    assert "[schedule] stand_priority" in text and "'Creek'" in text and "1, creek" in text and "'1'" not in text
    read_land(tract(well, file="w.csv", more=more.format(name="creek"), stands=("1", "creek")))
