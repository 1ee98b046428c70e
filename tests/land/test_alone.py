"""Access without a tract.toml: arrays in metres, rasters in degrees and feet, and what is refused or said aloud."""

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine

import invasimap
from invasimap.core.errors import CRSError, InputError, LayerError, SettingsError
from invasimap.core.settings import AccessSection, FootSection

UTM = "EPSG:32617"
X, Y = 500_000.0, 4_200_000.0  # 81 W, 37.95 N
CELL = 2.0
AT = Affine(CELL, 0, X, 0, -CELL, Y + 300)
ATV = {"max_slope": "0 %", "max_side_slope": "0 %", "clearance": "1 m", "hose_length": "100 m", "hose_loss": "0 %"}
FOOT = {"max_slope": "60 %", "max_walk": "30 min"}
LEVEL = np.zeros((150, 150))
HERE = {"transform": AT, "crs": UTM, "unit": "m"}


def layer(*shapes, crs=UTM, **columns):
    return gpd.GeoDataFrame(columns, geometry=list(shapes), crs=crs)


TRAIL = layer(shapely.LineString([(X, Y + 151), (X + 300, Y + 151)]), allows=["atv;foot"])
OUTLINE = layer(shapely.box(X + 10, Y + 10, X + 290, Y + 290))


def at(access, x, y):
    """Class and limit at a place of the UTM zone."""
    place = gpd.GeoSeries([shapely.Point(x, y)], crs=UTM).to_crs(access.terrain.crs)[0]
    column, row = (int(np.floor(n)) for n in ~access.terrain.transform @ (place.x, place.y))
    return access.class_names[row, column], access.limit_names[row, column]


def test_an_array_and_a_trail_give_classes_limits_and_walks():
    access = invasimap.access(LEVEL, rigs={"atv": ATV, "foot": FOOT}, ways=TRAIL, **HERE)
    assert at(access, X + 150, Y + 151 + 97) == ("atv_hose", "")
    assert at(access, X + 150, Y + 151 + 103) == ("foot", "hose_length")
    assert access.walk_min[24, 75] == pytest.approx(100 / (5036.74212462 * 0.42 / 60), rel=0.03)
    assert access.polygons().area.sum() == pytest.approx(300 * 300) and access.polygons().crs == UTM
    assert access.notes == (
        "No entries are given: people and machines come in on the ways that lead in from outside.",
        "[access.atv] has no pump settings: how high its hose lifts was not checked.",
    )
    sections = AccessSection(atv=ATV, foot=FootSection(**FOOT))
    assert (invasimap.access(LEVEL, rigs=sections, ways=TRAIL, **HERE).code == access.code).all()


def test_feet_of_height_and_masked_cells_are_understood():
    ramp = np.ma.masked_less(np.tile(np.arange(150.0)[::-1, None] * CELL * 0.5 / 0.3048, 150), 1e-9)  # 50 %, in feet
    access = invasimap.access(ramp, rigs={"foot": FOOT}, ways=TRAIL, outline=OUTLINE, **HERE | {"unit": "ft"})
    assert access.terrain.slope_pct()[75, 75] == pytest.approx(50, rel=1e-5)
    assert access.class_names[149, 75] == "out_of_reach" and access.limit_names[149, 75] == "unknown"


def write_dem(path, height, *, crs=UTM, cell=CELL, unit="metre", nodata=None):
    """A raster of so many metres each way, about the place of the array."""
    left, bottom, right, top = (
        gpd.GeoSeries([shapely.box(X - 400, Y - 400, X + 700, Y + 700)], crs=UTM).to_crs(crs).total_bounds
    )
    rows, columns = int((top - bottom) / cell), int((right - left) / cell)
    x, y = np.meshgrid(left + (np.arange(columns) + 0.5) * cell, top - (np.arange(rows) + 0.5) * cell)
    there = gpd.GeoSeries.from_xy(x.ravel(), y.ravel(), crs=crs).to_crs(UTM)
    z = height(there.x.to_numpy() - X, there.y.to_numpy() - Y).reshape(x.shape).astype("float32")
    profile = {"driver": "GTiff", "count": 1, "dtype": "float32", "crs": crs, "width": columns, "height": rows}
    with rasterio.open(path, "w", transform=Affine(cell, 0, left, 0, -cell, top), nodata=nodata, **profile) as out:
        out.write(z, 1)
        if unit:
            out.units = (unit,)
    return path


@pytest.mark.parametrize(
    ("crs", "cell", "factor", "unit"),
    [("EPSG:4326", 1 / 10800, 1.0, "metre"), ("EPSG:2283", 20.0, 1 / 0.3048, "foot"), (UTM, 8.0, 1.0, "metre")],
)
def test_a_raster_in_degrees_feet_or_metres_gives_the_same_ground(tmp_path, crs, cell, factor, unit):
    dem = write_dem(tmp_path / "dem.tif", lambda x, y: (100 + 0.2 * y) * factor, crs=crs, cell=cell, unit=unit)
    trail, outline = TRAIL.to_crs(4326), OUTLINE.to_crs("EPSG:3857")  # layers may lie in systems of their own
    access = invasimap.access(dem, rigs={"atv": ATV}, cell_m=2.0, ways=trail, outline=outline)
    assert access.terrain.crs.axis_info[0].unit_name == "metre" and access.terrain.cell_m == 2.0
    middle = access.terrain.slope_pct()[100:-100, 100:-100]
    assert middle == pytest.approx(20, rel=0.02)
    reach_m = 100 / np.hypot(1, 0.2)  # up the ramp
    assert at(access, X + 150, Y + 151 + reach_m - 4)[0] == "atv_hose"
    assert at(access, X + 150, Y + 151 + reach_m + 2) == ("out_of_reach", "hose_length")
    (coarse,) = [note for note in access.notes if "smoothed" in note]
    own = {"EPSG:4326": 111_320 / 10800, "EPSG:2283": 20 * 0.3048, UTM: 8.0}[crs]  # m; of a degree the side north
    assert float(coarse.split("cells of ")[1].split(" m")[0]) == pytest.approx(own, rel=0.01)


def test_by_default_a_raster_is_worked_in_its_own_cells_over_all_of_it(tmp_path):
    dem = write_dem(tmp_path / "dem.tif", lambda x, y: 0 * x, cell=5.0)
    access = invasimap.access(dem, rigs={"foot": FOOT}, entries=layer(shapely.Point(X, Y)))
    assert access.terrain.cell_m == 5.0 and not [note for note in access.notes if "smoothed" in note or "round" in note]
    left, bottom, right, top = access.terrain.bounds
    assert right - left == pytest.approx(1100, abs=15) and top - bottom == pytest.approx(1100, abs=15)
    assert at(access, X + 100, Y + 100)[0] == "foot"


def test_a_raster_turned_in_the_working_system_has_no_holes_at_its_rim(tmp_path):
    """Two degrees east of its zone's middle the grid of a system centred on it stands a degree askew."""
    level = np.full((120, 160), 100, np.float32)
    left, top = gpd.GeoSeries([shapely.Point(-79, 37.95)], crs=4326).to_crs(UTM)[0].coords[0]
    with rasterio.open(
        tmp_path / "dem.tif", "w", driver="GTiff", count=1, dtype="float32", crs=UTM, width=160, height=120,
        transform=Affine(5, 0, left, 0, -5, top), nodata=-9999,
    ) as out:  # fmt: skip
        out.write(level, 1)
    gate = layer(shapely.Point(left + 400, top - 300))
    access = invasimap.access(tmp_path / "dem.tif", unit="m", rigs={"foot": FOOT}, entries=gate)
    assert not [note for note in access.notes if "elevation" in note]
    laid = access.polygons()
    assert laid["access"].unique().tolist() == ["foot"]
    assert laid.area.sum() == pytest.approx(800 * 600, rel=0.01) and laid.area.sum() <= 800 * 600 * 1.0014  # scale
    level[:24] = -9999  # a fifth
    with rasterio.open(tmp_path / "dem.tif", "r+") as out:
        out.write(level, 1)
    holed = invasimap.access(tmp_path / "dem.tif", unit="m", rigs={"foot": FOOT}, entries=gate)
    (said,) = [note for note in holed.notes if "no elevation" in note]
    assert float(said.split(" %")[0]) == pytest.approx(20, abs=0.5) and "of the tract" in said
    assert holed.polygons().dissolve("access").area["out_of_reach"] == pytest.approx(800 * 120, rel=0.03)


def test_cells_of_a_raster_in_degrees_are_not_worked_finer_than_they_are(tmp_path):
    dem = write_dem(tmp_path / "dem.tif", lambda x, y: 0 * x, crs="EPSG:4326", cell=1 / 10800)
    access = invasimap.access(dem, rigs={"foot": FOOT}, entries=layer(shapely.Point(X, Y)))
    assert access.terrain.cell_m == pytest.approx(110_990 / 10800, abs=0.02)  # of a degree of latitude at 38 N
    assert not [note for note in access.notes if "smoothed" in note]


def test_polygons_are_of_the_whole_grid_unless_cut_to_an_outline_in_any_system():
    access = invasimap.access(LEVEL, rigs={"atv": ATV, "foot": FOOT}, ways=TRAIL, outline=OUTLINE, **HERE)
    assert access.polygons().area.sum() == pytest.approx(300 * 300)
    by_class = access.polygons(within=OUTLINE).dissolve("access").area
    assert by_class.sum() == pytest.approx(280 * 280)
    assert by_class["atv_hose"] == pytest.approx(280 * 200, abs=2 * 280 * CELL)
    assert access.polygons(within=OUTLINE.geometry.to_crs(4326)).area.sum() == pytest.approx(280 * 280, rel=1e-5)
    strip = access.polygons(limits=False, within=layer(shapely.box(X - 50, Y + 151.5, X + 50, Y + 152.5)))
    assert strip[["access", "reached_by"]].to_numpy().tolist() == [["atv_hose", "atv_hose;foot"]]
    assert strip.area.tolist() == pytest.approx([50])


def refused(error, *words, elevation=LEVEL, rigs={"foot": FOOT}, **given):  # noqa: B006 - only read
    with pytest.raises(error) as caught:
        invasimap.access(elevation, rigs=rigs, **HERE | given)
    for word in words:
        assert word in str(caught.value)


@pytest.mark.parametrize(
    ("given", "error", "words"),
    [
        ({"crs": "EPSG:4326"}, CRSError, ("WGS 84 (degree)", "metres")),
        ({"crs": "EPSG:2283"}, CRSError, ("foot",)),
        ({"crs": "EPSG:3857", "transform": Affine(2, 0, -9e6, 0, -2, 4.57e6)}, CRSError, ("1.27 m in WGS 84",)),
        ({"crs": None}, CRSError, ("no coordinate reference system",)),
        ({"transform": None}, LayerError, ("transform",)),
        ({"transform": Affine(2, 0, X, 0, -3, Y)}, LayerError, ("square",)),
        ({"transform": Affine.rotation(5) @ Affine(2, 0, X, 0, -2, Y)}, LayerError, ("square",)),
        ({"transform": Affine(2, 0, X, 0, 2, Y)}, LayerError, ("rows from the north",)),
        ({"unit": None}, LayerError, ("unit", "not said")),
        ({"unit": "yd"}, LayerError, ("unit: 'yd' is not known", 'unit="m", "ft" or "us-ft"')),
        ({"cell_m": 5.0}, LayerError, ("cell_m",)),
        ({"elevation": np.zeros(9)}, LayerError, ("rows and columns",)),
        ({"elevation": LEVEL * np.nan}, LayerError, ("no elevation anywhere",)),
        ({"ways": TRAIL.to_crs(4326)}, CRSError, ("ways is WGS 84 (degree)", "elevation is WGS 84 / UTM zone 17N")),
        ({"outline": OUTLINE.to_crs(4326)}, CRSError, ("outline is WGS 84 (deg", 'outline.to_crs("EPSG:32617")')),
        ({"ways": TRAIL.set_crs(None, allow_override=True)}, CRSError, ("ways",)),
        ({"ways": TRAIL.drop(columns="allows")}, LayerError, ("ways: has no column 'allows'", "tractor, atv, foot")),
        ({"ways": TRAIL.assign(allows="truck")}, LayerError, ("'truck' in rows 1",)),
        ({"features": OUTLINE}, LayerError, ("'blocks'",)),
        ({"barriers": layer(None)}, LayerError, ("barriers: rows 1 have no shape",)),
        ({"outline": TRAIL}, LayerError, ("no polygons",)),
        ({"crossings": layer(shapely.Point(X, Y), width_m=[-1.0])}, LayerError, ("below zero",)),
        ({"ways": [1]}, LayerError, ("GeoDataFrame",)),
        ({"fences": TRAIL}, TypeError, ("fences",)),
        ({"rigs": {}}, SettingsError, ("no means",)),
        ({"rigs": {"boat": {}}}, SettingsError, ("boat", "atv")),
        (
            {"rigs": {"atv": ATV | {"flow": "3 gal/min", "pump_pressure": "60 psi"}}},
            SettingsError, ("missing: hose_diameter, nozzle_pressure",),
        ),
        ({"rigs": {"foot": {"max_slope": "60 %", "max_walk": 30}}}, SettingsError, ("rigs: foot.max_walk", "no unit")),
        ({"rigs": {"atv": {"max_slope": "60 %", "hoses": 1}}}, SettingsError, ("atv.hoses", "hose_length: is missing")),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_refused_in_plain_words(given, error, words):
    refused(error, *words, **given)


def test_layers_of_another_system_are_named_and_no_other():
    with pytest.raises(CRSError) as caught:
        invasimap.access(LEVEL, rigs={"foot": FOOT}, ways=TRAIL.to_crs(4326), barriers=TRAIL, **HERE)
    said = str(caught.value)
    assert said.count(" is WGS 84") == 3
    assert all(f"{name} is WGS 84" in said for name in ("elevation", "ways", "barriers"))
    assert 'ways.to_crs("EPSG:32617")' in said


def test_every_fault_of_the_layers_is_said_at_once():
    refused(LayerError, "allows", "blocks", ways=TRAIL[["geometry"]], features=OUTLINE)


def test_a_raster_that_does_not_say_its_unit_is_refused(tmp_path):
    dem = write_dem(tmp_path / "dem.tif", lambda x, y: 0 * x, unit="", cell=10.0)
    with pytest.raises(LayerError, match='unit="m"'):
        invasimap.access(dem, rigs={"foot": FOOT})
    assert invasimap.access(dem, rigs={"foot": FOOT}, unit="ft").terrain.cell_m == 10.0
    with pytest.raises(InputError, match="cannot be read"):
        invasimap.access(tmp_path / "none.tif", rigs={"foot": FOOT})


def test_crossings_and_features_without_widths_take_20_ft_and_none():
    stream = layer(shapely.LineString([(X + 201, Y), (X + 201, Y + 300)]), blocks=["atv;hose"])
    shut = invasimap.access(
        LEVEL, rigs={"atv": ATV}, ways=TRAIL, features=stream, entries=layer(shapely.Point(X + 1, Y + 151)), **HERE
    )
    assert at(shut, X + 250, Y + 151)[0] == "out_of_reach" and any("crossing" in note for note in shut.notes)
    bridge = layer(shapely.Point(X + 201, Y + 151))
    open_ = invasimap.access(
        LEVEL,
        rigs={"atv": ATV},
        ways=TRAIL,
        features=stream,
        crossings=bridge,
        entries=layer(shapely.Point(X + 1, Y + 151)),
        **HERE,
    )
    assert at(open_, X + 250, Y + 151)[0] == "atv_hose"


@pytest.mark.parametrize(("west", "share"), [(-900, "100.0"), (-225, "75.0"), (0, None)])
def test_the_part_of_an_outline_off_the_grid_is_unknown(west, share):
    outline = layer(shapely.box(X + west, Y, X + west + 300, Y + 300))
    access = invasimap.access(LEVEL, rigs={"foot": FOOT}, ways=TRAIL, outline=outline, **HERE)
    said = [note for note in access.notes if "of the tract has no elevation" in note]
    assert said == (
        [f"{share} % of the tract has no elevation: it counts as out of reach, by unknown."] if share else []
    )


def test_an_atv_without_a_hose_says_0_ft_and_reaches_what_it_drives_over():
    bare = {key: value for key, value in ATV.items() if not key.startswith("hose")}
    refused(SettingsError, "atv.hose_length: is missing", '"0 ft" where it has none', rigs={"atv": bare})
    access = invasimap.access(LEVEL, rigs={"atv": bare | {"hose_length": "0 ft"}}, ways=TRAIL, **HERE)
    assert at(access, X + 150, Y + 151)[0] == "atv_hose" and at(access, X + 150, Y + 155)[0] == "out_of_reach"
    assert not access.hose_only.any() and not any("hose" in note for note in access.notes)


@pytest.mark.parametrize(("hose", "said"), [("1.4 m", True), ("1.5 m", False)])
def test_cells_too_large_for_the_hose_are_said(hose, said):
    """Half the diagonal of a cell of 2 m is 1.414 m."""
    access = invasimap.access(LEVEL, rigs={"atv": ATV | {"hose_length": hose}}, ways=TRAIL, **HERE)
    assert any("cells of 2.0 m are too large for its hose" in note for note in access.notes) is said


@pytest.mark.parametrize(("hose", "said"), [("300 m", True), ("300 ft", False), ("600 ft", False)])
def test_a_hose_far_longer_than_reels_are_is_said(hose, said):
    access = invasimap.access(LEVEL, rigs={"atv": ATV | {"hose_length": hose}}, ways=TRAIL, **HERE)
    odd = [note for note in access.notes if "Check its unit" in note]
    assert len(odd) == said and all("984 ft (300 m)" in note for note in odd)


def test_what_is_not_there_is_said_aloud():
    holed = LEVEL.copy()
    holed[:, :30] = np.nan  # a fifth: the west 60 m
    far = layer(shapely.Point(X + 290, Y + 20), shapely.Point(X - 900, Y))
    access = invasimap.access(
        holed, rigs={"atv": ATV}, ways=TRAIL, entries=far, outline=layer(shapely.box(X, Y, X + 300, Y + 300)),
        barriers=layer(shapely.Point(X + 9e3, Y)), **HERE,
    )  # fmt: skip
    said = " ".join(access.notes)
    assert "20.0 % of the tract has no elevation" in said
    assert "barriers: nothing of it lies on the ground" in said
    assert "1 of 2 entries lie off the ground that is worked and are not used" in said
    assert "1 of 1 entries lie over 30 m from any way for a machine (the nearest at 131 m)" in said
    none = invasimap.access(LEVEL, rigs={"foot": FOOT}, **HERE)
    assert (none.code == 0).all() and [note.split(":")[0] for note in none.notes] == ["NO WAYS", "NO WAY IN"]
