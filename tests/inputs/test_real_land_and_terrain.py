"""Land layers, elevation and hard shapes of the real files, held against what other readers say of them."""

from __future__ import annotations

import csv
import re
from pathlib import Path
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import rasterio
import shapely
from pyproj import CRS, Transformer
from rasterio.warp import transform_bounds

from invasimap.core.crs import working_crs
from invasimap.core.errors import InputError
from invasimap.core.survey_settings import Layer, SurveySection
from invasimap.inputs.layers import read_layer
from invasimap.inputs.species import load_catalogue
from invasimap.inputs.survey import read_survey
from invasimap.land.terrain import read_terrain

pytestmark = pytest.mark.real

# file, layer, features that cannot be used: all others must come out
LAND = [
    ("coweeta/AT.shp", None, 0), ("coweeta/Coweeta_Hydrologic_Laboratory.shp", None, 0),
    ("coweeta/SSURGO-MU.shp", None, 0), ("coweeta/bbox.shp", None, 0), ("coweeta/coweeta_boundary_buff.shp", None, 0),
    ("coweeta/flowlines.shp", None, 0), ("terrain_whitebox/STATSGO2.shp", None, 0), ("tract/roads.shp", None, 0),
    ("tract/units.gpkg", None, 0), ("tract/open_ground.gpkg", None, 0), ("tract/fence.geojson", None, 0),
    ("tract/water.gpkg", "streams_in_plot", 0), ("newhope/new_hope.gpkg", "NHDFlowline_Network", 0),
    ("newhope/new_hope.gpkg", "NHDFlowline_NonNetwork", 0), ("newhope/new_hope.gpkg", "CatchmentSP", 0),
    ("newhope/new_hope.gpkg", "Gage", 0), ("newhope/new_hope.gpkg", "NHDArea", 0),
    ("newhope/new_hope.gpkg", "NHDWaterbody", 0), ("gps/sf/buildings.gpkg", None, 0),
    ("gps/pyshp/blockgroups.zip", None, 0), ("gps/geopandas/nybb_16a.zip", None, 0),
    ("gps/fiona/coutwildrnp.zip", None, 0), ("hostile/shp/pointnan.shp", None, 1),
    ("hostile/shp/corrupt_too_long.shp", None, 0),
]  # fmt: skip
DEMS = {  # file, and the unit where it does not say it
    "coweeta/elev.tif": "m", "coweeta/elev_pcs.tif": "m", "newhope/new_hope_fdr.tif": "m",
    "terrain_whitebox/DEM.tif": "m", "tract/dem_10m.tif": "m",
}  # fmt: skip
WKT = re.compile(r"\s*(?:MULTI)?(?:POINT|LINESTRING|POLYGON|LINEARRING|GEOMETRYCOLLECTION)\b", re.I)


@pytest.mark.parametrize(("file", "layer", "lost"), LAND, ids=str)
def test_land_layers_hold_what_another_reader_finds(file, layer, lost, real):
    path = f"/vsizip/{real / file}" if file.endswith(".zip") else real / file
    theirs = gpd.GeoDataFrame(pyogrio.read_dataframe(path, layer=layer, on_invalid="ignore"))
    named = None if theirs.crs is not None else "EPSG:4326"
    ours = read_layer(Layer(file=file, layer=layer, crs=named), folder=real, name="land")
    usable = theirs[~(theirs.geometry.isna() | theirs.geometry.is_empty)]
    usable = usable[np.isfinite(usable.bounds).all(axis=1)]
    assert len(theirs) - len(usable) == lost == len(theirs) - len(ours)
    assert (len(ours.attrs["lost"]) > 0) == (lost > 0)
    assert ours.total_bounds == pytest.approx(usable.total_bounds, rel=1e-12)
    flat = [np.asarray(shapely.length(frame.geometry.to_numpy())) for frame in (ours, usable)]
    assert flat[0].sum() == pytest.approx(flat[1].sum(), rel=1e-3)  # mending may cut a spike
    kept = shapely.make_valid(usable.geometry.to_numpy())
    assert shapely.area(ours.geometry.to_numpy()).sum() == pytest.approx(shapely.area(kept).sum(), rel=1e-6)


@pytest.mark.parametrize("file", DEMS)
def test_elevation_comes_out_of_the_cells_as_another_reader_gives_them(file, real):
    with rasterio.open(real / file) as source:
        bounds, system = transform_bounds(source.crs, 4326, *source.bounds), CRS(source.crs.to_wkt())
        values = source.read(1, masked=True).astype(float).filled(np.nan)
        to_cell = ~source.transform
    lon, lat = (bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2
    crs = working_crs(lon, lat)
    terrain = read_terrain(real / file, (-270.0, -270.0, 270.0, 270.0), cell_m=6.0, crs=crs, unit=DEMS[file])
    assert terrain.shape == (90, 90)
    x, y = (side.ravel() for side in np.meshgrid(-267 + 6 * np.arange(90), 267 - 6 * np.arange(90)))
    columns, rows = to_cell @ Transformer.from_crs(crs, system, always_xy=True).transform(x, y)
    by_hand = _bilinear(values, np.asarray(columns) - 0.5, np.asarray(rows) - 0.5).reshape(90, 90)
    known = np.isfinite(by_hand)
    assert known.mean() > 0.9 and np.isfinite(terrain.elevation_m[known]).all()
    step = np.nanmax(np.abs(np.diff(values, axis=0)))
    assert np.abs(terrain.elevation_m - by_hand)[known].max() < 0.15 * step + 1e-3  # the warp works to an eighth cell


def _bilinear(values, column, row):
    left, top = np.floor(column).astype(int), np.floor(row).astype(int)
    along, down = column - left, row - top
    corner = [[values[top + i, left + j] for j in (0, 1)] for i in (0, 1)]
    upper, lower = (one * (1 - along) + two * along for one, two in corner)
    return upper * (1 - down) + lower * down


def test_an_elevation_array_written_as_a_raster_is_read_in_its_place(real, tmp_path):
    with np.load(real / "terrain_jacksboro" / "jacksboro_fault_dem.npz") as stored:
        height, cell = stored["elevation"], (float(stored["dx"]), float(stored["dy"]))
        west, edges = float(stored["xmin"]), sorted((float(stored["ymin"]), float(stored["ymax"])))
    assert height.shape == (344, 403) and edges[1] - edges[0] == pytest.approx(344 * cell[1], rel=0.01)
    profile = {"driver": "GTiff", "count": 1, "dtype": "int16", "crs": 4326, "width": 403, "height": 344}
    transform = rasterio.Affine(cell[0], 0, west, 0, -cell[1], edges[1])
    with rasterio.open(tmp_path / "dem.tif", "w", transform=transform, **profile) as out:
        out.write(height, 1)
    crs = working_crs(west + 201.5 * cell[0], edges[1] - 172.5 * cell[1])
    terrain = read_terrain(tmp_path / "dem.tif", (-5.0, -5.0, 5.0, 5.0), cell_m=10.0, crs=crs, unit="m")
    near = height[171:174, 200:203]
    assert near.min() <= terrain.elevation_m[0, 0] <= near.max()


@pytest.mark.parametrize(
    ("file", "words"),
    [
        ("corrupted_gtiff_tags.tif", "raster"), ("float_nan.tif", "reference system"),
        ("n43_coord_inverted.dt0", "raster"), ("nodata_nan.asc", "reference system"),
        ("pixel_per_line_comma.asc", "reference system"), ("starting_with_nan.asc", "reference system"),
    ],
)  # fmt: skip
def test_a_raster_that_is_broken_or_lies_nowhere_is_refused(file, words, real):
    with pytest.raises(InputError, match=words):
        read_terrain(
            real / "hostile" / "raster" / file, (0, 0, 90, 90), cell_m=30.0, crs=working_crs(-80, 43), unit="m"
        )


def _shapes_of(path: Path) -> list[str]:
    """The first operand of every case of a file of shapes, where it is written as text."""
    found = [(case.text or "").strip() for case in ElementTree.parse(path).iter() if case.tag in ("a", "b")]
    return [" ".join(text.split()) for text in found if WKT.match(text)]


HARD = ("geos/InvalidRelates", "geos/TestOverlay-geos-979")


@pytest.mark.parametrize("name", HARD)
def test_hard_shapes_become_sound_patches_or_are_set_aside(name, real, tmp_path):
    texts = _shapes_of(real / "hostile" / f"{name}.xml")
    with (tmp_path / "shapes.csv").open("w", newline="", encoding="utf-8") as stream:
        rows = csv.writer(stream)
        rows.writerows([["species", "cover", "wkt"], *(["ROMU", "50", text] for text in texts)])
    section = {"files": ["shapes.csv"], "crs": "EPSG:26917", "defaults": {"radius": "3 m", "width": "2 m"}}
    survey = read_survey(
        [SurveySection.model_validate(section)], folder=tmp_path, crs=working_crs(-85.5, 0.0),
        near=shapely.box(-8e6, -8e6, 8e6, 8e6), timezone=ZoneInfo("UTC"), species=load_catalogue(),
    )  # fmt: skip
    assert survey.ledger["records"].tolist() == [len(texts)] and len(texts) > 0
    assert len(survey.patches) + len(survey.set_aside) == len(texts)
    assert survey.patches.is_valid.all() and (survey.patches.area > 0).all()
