"""`start`: what files seem to be, and a first tract.toml that can be planned as it is."""

import json
import re
import shutil
import tomllib
import zipfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from PIL import Image
from pydantic import ValidationError

import invasimap
from invasimap.core.book_settings import EmergencySection, MapbookSection
from invasimap.core.crew_settings import CrewSection
from invasimap.core.map_settings import MapSection
from invasimap.core.mix_settings import MixSection, SpraySection
from invasimap.core.rig_settings import LabourSection, RigSection
from invasimap.core.schedule_settings import BudgetSection, ScheduleSection
from invasimap.core.season_settings import SeasonSection, TechniqueSection
from invasimap.core.settings import ConfidentialSection, UncertaintySection
from invasimap.core.survey_settings import IntakeSection
from invasimap.core.toml_file import read_tract
from invasimap.inputs.draft import draft, quoted, settle
from invasimap.inputs.folder import look_through
from invasimap.inputs.sniff import (
    ColumnFacts,
    LayerFacts,
    RasterFacts,
    guess_layer,
    guess_raster,
    name_words,
)
from invasimap.inputs.species import load_catalogue

SAMPLE = Path(__file__).parents[2] / "sample_geodata"
UTM = "EPSG:32617"
X, Y = 500_000, 4_200_000
PLANTS = ("Rosa multiflora", "autumn olive", "Alliaria petiolata")


def planned(home, **options):
    """The plan of a draft, without its ranges."""
    return invasimap.plan(read_tract(home).with_draws(0), **options)


@pytest.fixture
def start(command_here):
    """``invasimap start`` on a folder, with options."""
    return lambda folder, *options: command_here("start", folder, *options)


def frame(shapes, **columns):
    return gpd.GeoDataFrame(columns, geometry=list(shapes), crs=UTM)


def stands():
    boxes = [shapely.box(X + 100 * k, Y, X + 100 * (k + 1), Y + 100) for k in range(3)]
    return frame(boxes, stand=["1", "2", "3"], cover_type=["oak", "oak", "field"])


def streams():
    return frame([shapely.LineString([(X, Y + 50), (X + 300, Y + 60)])], name=["Nameless Run"])


def roads():
    lines = [shapely.LineString([(X - 50, Y), (X + 150, Y + 20)]), shapely.LineString([(X, Y), (X, Y + 99)])]
    return frame(lines, fclass=["road", "trail"])


def survey(count=3, north=30):
    points = [shapely.Point(X + 40 + 60 * k, Y + north) for k in range(count)]
    return frame(
        points, species=[PLANTS[k % 3] for k in range(count)], cover_pct=["40"] * count, radius_ft=["10"] * count
    )


def write_csv(path, layer):
    path.parent.mkdir(parents=True, exist_ok=True)
    lonlat = layer.to_crs(4326)
    table = lonlat.drop(columns="geometry").assign(lon=lonlat.geometry.x, lat=lonlat.geometry.y)
    table.to_csv(path, index=False)


def write_gpx(path, names):
    path.parent.mkdir(parents=True, exist_ok=True)
    places = survey(len(names)).to_crs(4326).geometry
    points = "".join(f'<wpt lat="{p.y}" lon="{p.x}"><name>{n}</name></wpt>' for p, n in zip(places, names, strict=True))
    path.write_text(f'<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">{points}</gpx>', encoding="utf-8")


def write(path, shapes, **options):
    path.parent.mkdir(parents=True, exist_ok=True)
    shapes.to_file(path, **options)


def write_raster(path, *, dtype="float32", count=1, unit="metre"):
    profile = {"driver": "GTiff", "count": count, "dtype": dtype, "crs": UTM, "width": 60, "height": 40}
    with rasterio.open(path, "w", transform=Affine(20, 0, X - 400, 0, -20, Y + 500), **profile) as out:
        out.write(np.full((count, 40, 60), 100, dtype=dtype))
        out.units = (unit,) * count


def by_crew(home):
    """Two crews with a folder each, one with a receiver."""
    write_csv(home / "crew_a" / "points.csv", survey(4))
    write_gpx(home / "crew_b" / "Waypoints.gpx", PLANTS)
    write(home / "base" / "stands.gpkg", stands())
    write(home / "base" / "roads.gpkg", roads())
    return 7


def by_date(home):
    """A folder a day."""
    for day, count, north in (("2026-05-01", 2, 30), ("2026-05-08", 5, 90)):
        write_csv(home / day / "data.csv", survey(count, north))
    write(home / "StandMap.geojson", stands().to_crs(4326), driver="GeoJSON")
    write_raster(home / "dem.tif")
    return 7


def in_one_zip(home):
    """Everything in one archive, and nothing beside it."""
    scratch = home.parent / "scratch"
    write_csv(scratch / "survey.csv", survey(4))
    write(scratch / "land" / "stands.gpkg", stands())
    write(scratch / "land" / "streams.gpkg", streams())
    with zipfile.ZipFile(home / "all.zip", "w") as archive:
        for path in sorted(p for p in scratch.rglob("*") if p.is_file()):
            archive.write(path, path.relative_to(scratch))
    return 4


def shapefiles_only(home):
    """Shapefiles with the names that programs give."""
    for name, layer in (("Infestations", survey(3)), ("Units", stands()), ("Hydro", streams()), ("Roads", roads())):
        write(home / f"{name}.shp", layer)
    return 3


def one_geopackage(home):
    """All layers in one GeoPackage."""
    for name, layer in (("invasives", survey(6)), ("stands", stands()), ("creeks", streams()), ("roads", roads())):
        write(home / "tract.gpkg", layer, layer=name)
    return 6


def with_junk(home):
    """Among what else lies in such folders."""
    write_csv(home / "survey.csv", survey(2))
    write(home / "stands.gpkg", stands())
    write_raster(home / "photo_mosaic.tif", dtype="uint8", count=3)
    (home / "IMG_0001.jpg").write_bytes(b"\xff\xd8\xff\xe0 no picture")
    (home / "minutes.docx").write_bytes(b"PK\x03\x04 no document")
    (home / "empty.csv").write_bytes(b"")
    (home / "copy of survey.csv").write_bytes((home / "survey.csv").read_bytes())
    (home / "streams.geojson").write_text('<OGRVRTDataSource><OGRVRTLayer name="a"/></OGRVRTDataSource>')
    (home / "out").mkdir()
    (home / "out" / "stands.gpkg").write_bytes(b"an earlier result")
    (home / ".hidden.csv").write_text("species,lon,lat\nRosa multiflora,-81,38\n")
    return 2


LAYOUTS = (by_crew, by_date, in_one_zip, shapefiles_only, one_geopackage, with_junk)


@pytest.mark.parametrize("lay_out", LAYOUTS, ids=lambda layout: layout.__name__)
def test_plan_runs_on_the_draft_as_it_is_and_uses_every_survey_record(tmp_path, lay_out, start):
    home = tmp_path / "tract"
    home.mkdir()
    count = lay_out(home)
    done = start(home)
    assert done.returncode == 0, done.stderr
    assert "NOTHING IS PROTECTED" in done.stderr
    plan = planned(home)
    assert len(plan.stands) == 3
    if lay_out is by_crew:  # the receiver's points have no size: in the ledger, set aside with that reason
        assert plan.ledger["records"].sum() == count and len(plan.patches) == 4
    else:
        assert len(plan.patches) == count
    assert plan.settings.protect == [] and plan.settings.access.foot is None


def test_every_layer_of_the_sample_gets_its_kind(tmp_path):
    home = tmp_path / "Quillback"
    shutil.copytree(SAMPLE, home, ignore=shutil.ignore_patterns("tract.toml", "*.py", "*.png", "__pycache__"))
    found = look_through(home, species=load_catalogue())
    kinds = {(f.file, f.layer): f.guess.label for f in found if f.guess.kind != "survey"}
    assert kinds == {
        ("dem.tif", None): "elevation", ("gates.csv", None): "entries", ("land.gpkg", "open"): "open ground",
        ("land.gpkg", "barriers"): "barriers", ("land.gpkg", "wet"): "wet ground",
        ("land.gpkg", "crossings"): "crossings", ("neighbours.kml", None): "neighbour",
        ("rare_plants.geojson", None): "rare plant", ("stands.gpkg", None): "stands",
        ("water.gpkg", "streams"): "stream", ("water.gpkg", "wetlands"): "wetland", ("ways.gpkg", None): "ways",
        ("wells.csv", None): "well",
    }  # fmt: skip
    surveys = {f.file for f in found if f.guess.kind == "survey"}
    assert surveys == {f"survey/{n}" for n in ("creek_crew.csv", "north_crew.gpx", "ridge_crew.kmz", "thickets.zip")}
    made = text_of(found)
    settings = tomllib.loads(made)
    assert settings["ways"]["allows"] == {name: ["foot"] for name in ("trail", "road", "path")}
    assert settings["land"]["elevation"] == "dem.tif" and "protect" not in settings and "access" not in settings


@pytest.mark.real
def test_a_real_tract_gets_a_draft_that_is_planned(tmp_path, real, start):
    home = tmp_path / "tract"
    shutil.copytree(real / "tract", home, copy_function=shutil.copyfile)
    home.chmod(0o755)
    done = start(home)
    assert done.returncode == 0, done.stderr
    tract = read_tract(home)
    assert (tract.stands.file, tract.ways.file, tract.land.barriers.file) == (
        "units.gpkg",
        "roads.shp",
        "fence.geojson",
    )
    assert tract.survey[0].files == [
        "survey_2014_cells.gpkg", "survey_2018_herb_cells.geojson", "survey_2018_woody_points.csv"
    ]  # fmt: skip
    assert 'set elevation_unit = "m"' in tract.file.read_text(encoding="utf-8")


def text_of(found, title="A", path_of=str):
    return draft(settle(found), title=title, folder="f", path_of=path_of).text


def test_protect_blocks_hold_no_distance_and_work_once_one_is_typed(tmp_path, start):
    home = tmp_path / "tract"
    home.mkdir()
    write(home / "stands.gpkg", stands())
    write_csv(home / "survey.csv", survey())
    write(home / "creek.gpkg", streams())
    write(home / "rare_plants.gpkg", frame([shapely.Point(X + 20, Y + 20)], species=["Platanthera ciliaris"]))
    assert start(home).returncode == 0
    file = home / "tract.toml"
    lines = file.read_text(encoding="utf-8").splitlines()
    assert lines.count('# no_spray = ""                        # type this from your label or rule') == 2
    begins = [k for k, line in enumerate(lines) if line == "# [[protect]]"]
    for begin in begins:
        for k in range(begin, lines.index("", begin)):
            lines[k] = lines[k].removeprefix("# ").replace('no_spray = ""', 'no_spray = "20 ft"')
    file.write_text("\n".join(lines), encoding="utf-8")
    tract = read_tract(home)
    assert [(b.kind, b.confidential) for b in tract.protect] == [("stream", False), ("rare plant", True)]
    hidden = planned(home).features["kind"].tolist()
    assert hidden == ["stream"]  # the words that hide the other are drawn already
    assert len(planned(home, internal=True).features) == 2


def test_an_existing_settings_file_is_untouched_and_out_writes_elsewhere(tmp_path, start):
    home = tmp_path / "tract"
    home.mkdir()
    by_crew(home)
    file = home / "tract.toml"
    file.write_text("mine", encoding="utf-8")
    done = start(home)
    assert done.returncode == 2 and "never written over" in done.stderr and "Traceback" not in done.stderr
    assert file.read_text(encoding="utf-8") == "mine"
    other = tmp_path / "drafts" / "first.toml"
    other.parent.mkdir()
    assert start(home, "--out", other).returncode == 0
    assert read_tract(other).stands.file == "../tract/base/stands.gpkg"
    assert len(planned(other).stands) == 3
    assert start(home, "--out", other).returncode == 2


def test_without_stands_the_draft_is_written_and_exit_is_2(tmp_path, start):
    write_csv(tmp_path / "survey.csv", survey())
    done = start(tmp_path)
    assert done.returncode == 2 and "no stands found" in done.stderr and "Traceback" not in done.stderr
    text = (tmp_path / "tract.toml").read_text(encoding="utf-8")
    assert "# NO STANDS WERE FOUND" in text and "stands" not in tomllib.loads(text)


def test_an_empty_folder_and_no_folder(tmp_path, start):
    done = start(tmp_path)
    assert done.returncode == 2 and "no stands found" in done.stderr and "no survey found" in done.stderr
    gone = start(tmp_path / "gone")
    assert gone.returncode == 2 and "is no folder" in gone.stderr


def test_what_would_be_refused_is_left_commented_with_the_reason(tmp_path, start):
    write(tmp_path / "stands.gpkg", stands())
    write_csv(tmp_path / "survey.csv", survey())
    write_raster(tmp_path / "dem.tif", unit="")
    write(tmp_path / "roads.gpkg", roads().set_crs(32617).set_crs(32618, allow_override=True))
    write(tmp_path / "fences.shp", roads())
    (tmp_path / "fences.prj").unlink()
    (tmp_path / "fences.cpg").unlink(missing_ok=True)
    assert start(tmp_path).returncode == 0
    text = (tmp_path / "tract.toml").read_text(encoding="utf-8")
    settings = tomllib.loads(text)
    assert settings["land"] == {} and "ways" not in settings
    assert '# elevation = "dem.tif"' in text and "set elevation_unit" in text
    assert "# not used: roads.gpkg: seems to be ways, but does not come to the stands" in text
    assert "no coordinate reference system" in text


def test_only_the_surveys_layer_is_read_of_a_file_that_holds_rare_plants_too(tmp_path, start):
    write(tmp_path / "all.gpkg", stands(), layer="stands")
    write(tmp_path / "all.gpkg", survey(), layer="invasives")
    rare = frame([shapely.Point(X + 20, Y + 20)], species=["Platanthera ciliaris"])
    write(tmp_path / "all.gpkg", rare, layer="rare_plants")
    done = start(tmp_path)
    assert done.returncode == 0, done.stderr
    (block,) = tomllib.loads((tmp_path / "tract.toml").read_text(encoding="utf-8"))["survey"]
    assert block == {"files": ["all.gpkg"], "layers": ["invasives"]}
    plan = planned(tmp_path)
    assert len(plan.patches) == 3 and "Platanthera ciliaris" not in set(plan.patches["species"])


def test_a_survey_in_a_file_geodatabase_is_found(tmp_path, start):
    write(tmp_path / "crew.gdb", survey(), driver="OpenFileGDB", layer="invasives")
    write(tmp_path / "stands.gpkg", stands())
    assert start(tmp_path).returncode == 0
    assert len(planned(tmp_path).patches) == 3


def test_pictures_with_positions_get_a_block_to_fill_in(tmp_path, start):
    write_csv(tmp_path / "survey.csv", survey())
    write(tmp_path / "stands.gpkg", stands())
    (tmp_path / "pics").mkdir()
    for name, located in (("a.jpg", True), ("b.jpg", True), ("c.jpg", False), ("d.JPG", False)):
        exif = Image.Exif()
        if located:
            exif[0x8825] = {1: "N", 2: (37.0, 56.0, 51.0), 3: "W", 4: (80.0, 59.0, 58.0)}
        Image.new("RGB", (8, 8)).save(tmp_path / "pics" / name, exif=exif)
    assert start(tmp_path).returncode == 0
    text = (tmp_path / "tract.toml").read_text(encoding="utf-8")
    assert "2 of 3 pictures say where they were taken" in text and "1 picture without a position" in text
    assert '# [[photos]]\n# files = ["pics/*.jpg"]\n# within = ""' in text


def test_odd_names_stay_inside_their_strings(tmp_path, start):
    home = tmp_path / 'a "b" \\c\n[access.foot]'
    odd = 'x"y\\z\n[entries]\nfile = 1 #.csv'
    write_csv(home / odd, survey(2))
    (home / "stands.geojson").write_text(stands().to_crs(4326).to_json(), encoding="utf-8")
    done = start(home)
    assert done.returncode == 0, done.stderr
    settings = tomllib.loads((home / "tract.toml").read_text(encoding="utf-8"))
    assert settings["tract"]["name"] == home.name and settings["survey"][0]["files"] == [odd]
    assert set(settings) == {"tract", "survey", "stands"}
    assert len(planned(home).patches) == 2


@pytest.mark.parametrize("text", ['"', "\\", "a\nb", "tab\t", "\x7f\x00", "é ✓", "\u2028", "\U000e0001", "'''", '"""'])
def test_quoted_text_is_read_back_the_same(text):
    assert tomllib.loads(f"key = {quoted(text)}") == {"key": text}
    assert "\n" not in quoted(text)


@pytest.mark.parametrize(
    ("file", "shapes", "label"),
    [
        ("creeks.shp", (0, 4, 0), "stream"),
        ("creeks.shp", (4, 0, 0), "not used"),  # points named creeks are no stream
        ("StreamCrossings.shp", (4, 0, 0), "crossings"),
        ("rare_plant_survey.shp", (4, 0, 0), "rare plant"),
        ("house_wells.csv", (4, 0, 0), "well"),
        ("creek_crew.gpx", (0, 2, 0), "survey"),
        ("patrol.gpx", (0, 2, 0), "survey"),
        ("wetlands.shp", (0, 0, 3), "wetland"),
        ("water/lines.shp", (0, 3, 0), "stream"),
        ("parking.csv", (2, 0, 0), "entries"),
        ("standard.shp", (2, 0, 0), "not used"),
        ("fences.shp", (0, 3, 0), "barriers"),
        ("hay_meadows.shp", (0, 0, 3), "open ground"),
        ("neighbors.kml", (0, 0, 1), "neighbour"),
        ("anything.shp", (0, 0, 0), "not used"),
    ],
)
def test_names_and_shapes_decide(file, shapes, label):
    guess = guess_layer(LayerFacts(file=file, suffix=Path(file).suffix, shapes=shapes))
    assert guess.label == label and guess.reason


def test_plants_of_the_catalogue_make_a_survey_whatever_its_name():
    facts = LayerFacts(file="creek.shp", suffix=".shp", shapes=(0, 3, 0), plants=("a", "b", "c", "d"), known_pct=25)
    assert guess_layer(facts).kind == "survey"


def test_a_survey_whose_positions_all_failed_is_still_a_survey():
    facts = LayerFacts(file="a.csv", suffix=".csv", shapes=(0, 0, 0), lost=2, plants=("ROMU",), known_pct=100)
    assert guess_layer(facts).kind == "survey"


def test_plants_that_nobody_knows_are_left_to_a_person():
    facts = LayerFacts(file="points.shp", suffix=".shp", shapes=(3, 0, 0), plants=("Platanthera ciliaris",))
    assert guess_layer(facts).kind == "unknown" and "rare plants?" in guess_layer(facts).reason


def test_polygons_that_meet_with_names_of_their_own_are_stands():
    column = ColumnFacts(name="Unit ID", blank=0, distinct=4)
    facts = LayerFacts(file="poly.shp", suffix=".shp", shapes=(0, 0, 4), columns=(column,), tiles=True)
    assert (guess_layer(facts).kind, guess_layer(facts).column) == ("stands", "Unit ID")
    area = ColumnFacts(name="Area_ha", blank=0, distinct=4)
    measured = LayerFacts(file="poly.shp", suffix=".shp", shapes=(0, 0, 4), columns=(area,), tiles=True)
    assert guess_layer(measured).kind == "unknown"
    apart = LayerFacts(file="poly.shp", suffix=".shp", shapes=(0, 0, 4), columns=(column,))
    assert guess_layer(apart).kind == "unknown"


def test_values_of_a_class_column_decide_where_names_do_not():
    column = ColumnFacts(name="CLASS", blank=0, distinct=2, common=(("trail", 5), ("road", 2)))
    guess = guess_layer(LayerFacts(file="lines.shp", suffix=".shp", shapes=(0, 7, 0), columns=(column,)))
    assert (guess.kind, guess.column) == ("ways", "CLASS")


@pytest.mark.parametrize(
    ("file", "bands", "dtype", "kind"),
    [
        ("dem.tif", 1, "int16", "elevation"),
        ("n38w081.tif", 1, "float32", "elevation"),
        ("dem_hillshade.tif", 1, "float32", "unknown"),
        ("landclass.tif", 1, "int16", "unknown"),
        ("elevation.tif", 1, "uint8", "unknown"),
        ("dem.tif", 3, "float32", "unknown"),
    ],
)
def test_one_band_of_heights_is_the_elevation(file, bands, dtype, kind):
    assert guess_raster(RasterFacts(file=file, bands=bands, dtype=dtype)).kind == kind


def test_words_of_a_name():
    assert name_words("RoadsAndTrails-2024") == {"road", "and", "trail"}
    assert name_words("marshes_ditches_properties") == {"marsh", "ditch", "property"}


def test_scientific_names_that_nobody_knows_are_no_survey_only_because_a_receiver_wrote_them(tmp_path):
    def guess(*names):
        points = "".join(f'<wpt lat="38" lon="-80"><name>{name}</name></wpt>' for name in names)
        (tmp_path / "a.gpx").write_text(f'<gpx version="1.1" creator="x">{points}</gpx>')
        return look_through(tmp_path, species=load_catalogue())[0].guess

    assert guess("Isotria medeoloides", "Platanthera leucophaea").kind == "unknown"
    assert guess("WPT001", "thick patch").kind == "survey"
    assert guess("Rosa multiflora", "Platanthera leucophaea").kind == "survey"


@pytest.mark.parametrize("said", ["endangered", "State Threatened", "T&E", "S1"])
def test_a_layer_with_a_protected_plant_in_it_is_left_to_a_person(said):
    status = ColumnFacts(name="status", blank=1, distinct=1, common=((said, 1),))
    plants = ("Isotria medeoloides", "Rosa multiflora")
    facts = LayerFacts(
        file="points.gpkg", suffix=".gpkg", shapes=(2, 0, 0), columns=(status,), plants=plants, known_pct=50
    )
    assert guess_layer(facts).kind == "unknown" and said in guess_layer(facts).reason


def test_a_stand_named_s1_does_not_hide_a_survey():
    stand = ColumnFacts(name="stand", blank=0, distinct=2, common=(("S1", 1), ("S2", 1)))
    facts = LayerFacts(file="a.csv", suffix=".csv", shapes=(2, 0, 0), columns=(stand,), plants=("ROMU",), known_pct=100)
    assert guess_layer(facts).kind == "survey"


@pytest.mark.parametrize(
    ("names", "kind"),
    [
        (["Goldenseal", "American ginseng", "Bloodroot"], "unknown"),
        (["Small whorled pogonia", "Rattlesnake orchis"], "unknown"),
        (["Parking", "North gate"], "unknown"), (["001", "002"], "survey"), (["Waypoint 1", "WPT 2"], "survey"),
        (["Multiflora rose", "Goldenseal"], "survey"),
    ],
)  # fmt: skip
def test_waypoints_with_names_of_other_plants_are_left_to_a_person(names, kind, tmp_path):
    write_gpx(tmp_path / "Waypoints_7.gpx", names)
    (found,) = look_through(tmp_path, species=load_catalogue())
    assert found.guess.kind == kind
    assert kind == "survey" or ("A person has to say" in found.guess.reason and names[0] in found.guess.reason)


def test_signs_of_patterns_in_folder_names_are_themselves(tmp_path, start):
    """A folder "crew [a]" is no folder "crew a": its files and its pictures are found as the draft writes them."""
    home = tmp_path / "wood [2024]"
    write_csv(home / "crew [a]" / "survey.csv", survey())
    write(home / "stands.gpkg", stands())
    exif = Image.Exif()
    exif[0x8825] = {1: "N", 2: (37.0, 56.0, 51.0), 3: "W", 4: (80.0, 59.0, 58.0)}
    Image.new("RGB", (8, 8)).save(home / "crew [a]" / "a.jpg", exif=exif)
    (home / "crew [a]" / "a.mov").write_bytes(b"film")
    for out in (home, tmp_path / "elsewhere"):
        out.mkdir(exist_ok=True)
        assert start(home, "--out", out / "tract.toml").returncode == 0
        text = (out / "tract.toml").read_text(encoding="utf-8")
        files = text[text.index("# [[photos]]\n# files") :].splitlines()[1].removeprefix("# ").replace("*.jpg", "*")
        with (out / "tract.toml").open("a", encoding="utf-8") as stream:
            stream.write(f'[[photos]]\n{files}\nwithin = "20 m"\n')
        found = planned(out)
        assert len(found.patches) == 3 and len(found.photos) == 1
        assert any("no pictures of a kind that is read: 2 (.csv, .mov) passed over" in note for note in found.notes)
        (out / "tract.toml").unlink()


def test_the_draft_says_how_to_have_no_hose():
    text = draft(settle([]), title="A", folder="a", path_of=str).text
    assert re.search(r'^# hose_length = "" .*"0 ft"', text, re.MULTILINE)


def block_of(head):
    """A block of the draft, taken without its #."""
    text = draft(settle([]), title="A", folder="a", path_of=str).text
    block = text[text.index(f"# {head}") :].split("\n\n")[0]
    return tomllib.loads(re.sub(r"^# ?", "", block, flags=re.MULTILINE))


def without_blanks(said):
    """Settings without those that wait for the user."""
    return {key: value for key, value in said.items() if '""' not in json.dumps(value)}


@pytest.mark.parametrize(
    ("name", "section", "examples"),
    [
        ("uncertainty", UncertaintySection, set()),
        ("intake", IntakeSection, {"species"}),
        ("mapbook", MapbookSection, {"paper"}),
        ("crew", CrewSection, set()),
        ("map", MapSection, {"background"}),
        ("emergency", EmergencySection, set(EmergencySection.model_fields)),
        ("confidential", ConfidentialSection, {"words"}),
        ("season", SeasonSection, set()),
        ("technique", TechniqueSection, {"rules"}),
        ("labour", LabourSection, set()),
        ("spray", SpraySection, {"jug_mark"}),
        ("schedule", ScheduleSection, {"stand_priority", "money_step"}),
    ],
)
def test_blocks_of_the_draft_name_every_setting_with_its_default(name, section, examples):
    """Taken without their #, the blocks are read; but for settings without a default they change nothing."""
    said = block_of(f"[{name}]")[name]
    tables = {"limits", "cover_scales", "reference", "degree_days"}  # of tables of their own, the README tells
    assert said.keys() == {field.alias or key for key, field in section.model_fields.items()} - tables
    if name != "emergency":  # there each line waits for the user's own words
        said = without_blanks(said)
        section.model_validate(said)
    kept = {key: value for key, value in said.items() if key not in examples}
    needed = {"words": "x" * 16} if name == "confidential" else {}
    assert section.model_validate(kept | needed) == section.model_validate(needed)


@pytest.mark.parametrize(
    ("head", "section", "typed"),
    [
        ("[budget]", BudgetSection, {"money": "12000 USD"}),
        ("[[rig]]", RigSection,
         {"name": "a", "access": "foot", "tank": "4 gal", "output": "0.4 gal/min", "crew": 2, "wage": "28 USD/h"}),
        ("[[mix]]", MixSection, {"name": "a", "product": "A", "rate": "1 % v/v", "species": ["*"], "zones": ["open"]}),
    ],
)  # fmt: skip
def test_blocks_that_wait_for_figures_are_refused_until_they_are_typed(head, section, typed):
    (said,) = block_of(head).values()
    said = said[0] if isinstance(said, list) else said
    assert said.keys() == {field.alias or key for key, field in section.model_fields.items()} - {"machine_costs"}
    with pytest.raises(ValidationError) as caught:
        section.model_validate(said)
    assert {error["loc"][0] for error in caught.value.errors()} >= typed.keys() - {"crew"}
    made = section.model_validate(without_blanks(said) | typed)
    assert made == section.model_validate(typed)  # what is not blank is as it would be without the line


def test_no_figure_of_a_label_stands_in_the_draft():
    text = draft(settle([]), title="A", folder="a", path_of=str).text
    block = text[text.index("# [[mix]]") :].split("\n\n")[0]
    own = {"name", "price", "zones"}
    lines = {line.split()[1]: line for line in block.splitlines()[1:] if " = " in line}
    assert lines.keys() - own >= {"rate", "ingredient", "max_per_application", "max_per_year", "wind", "technique"}
    for key, line in lines.items():
        setting, _, comment = line.removeprefix("# ").partition("#")
        assert not re.search(r"\d", setting), line
        assert key in own or comment.strip().startswith("type this from the label"), line
