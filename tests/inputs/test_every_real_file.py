"""Every file of the folder of real files goes through the survey's intake; what comes of it is written in a table.

``real_files.csv`` has for each file the column taken for the species, the system where the file names none, the middle
and the half width of the stands' box (which holds the file's own data), then ``records`` and what became of them.
``records`` is held against counts made here without the program: element names, rows, features, index entries.
``lost`` counts rows of the account that stand for no record: a file that is not read, or not to its end.
"""

from __future__ import annotations

import csv
import io
import json
import re
import sqlite3
import zipfile
from collections import Counter
from contextlib import closing
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
import shapely

from invasimap.core.crs import working_crs
from invasimap.core.survey_settings import SurveySection
from invasimap.inputs.species import load_catalogue
from invasimap.inputs.survey import read_survey

pytestmark = pytest.mark.real

COLUMNS = {
    "gps/gpsbabel/bngtest.csv": {"lon": "BNG-East", "lat": "BNG-North"},
    "gps/gpsbabel/grid-swiss.csv": {"lon": "Swiss-East", "lat": "Swiss-North"},
}
NUMBERS = ("records", "accepted", "repaired", "set_aside", "lost")
PARTS = (".shx", ".dbf", ".prj", ".cpg", ".sbn")
# why a record is set aside, the first that fits; short, so that the words of a message may change
WHY = {
    "kind not read": "file not read.*(no kind of file|web page)",
    "no position columns": "file not read.*no columns",
    "archive not read": "file not read.*(zip|holds no file|unpacks)",
    "not read": "file not read",
    "broken off": "breaks off",
    "row": "the row (has|is)",
    "no shape": "has no geometry|has no points|coordinates are blank|is no feature",
    "one place": "one place only",
    "shape not read": "geometry is not read|is no number|are not read|is a tin",
    "no place on the globe": "beyond|0, 0|not finite|cannot be placed",
    "far": "from the stands",
    "outline": "outline|shape is broken",
    "copy": "same record as",
    "species": "species|none found",
}


def _table():
    with Path(__file__).with_name("real_files.csv").open(newline="", encoding="utf-8") as stream:
        return [row | {name: int(row[name]) for name in NUMBERS} for row in csv.DictReader(stream)]


TABLE = _table()
PLAIN = [row for row in TABLE if row["why"] in ("1 kind not read", "1 no position columns", "1 archive not read")]
READ = [row for row in TABLE if row not in PLAIN]


@pytest.fixture(scope="module")
def intake(real):
    """Reads files of the folder with the stands' box of a row of the table."""
    catalogue = load_catalogue()

    def run(files, row):
        columns = ({"species": row["species"]} if row["species"] else {}) | COLUMNS.get(files[0], {})
        section = {"files": files, "columns": columns, "defaults": {"radius": "3 m", "width": "2 m"}}
        half_m = 1000 * float(row["reach_km"])
        return read_survey(
            [SurveySection.model_validate(section | ({"crs": row["crs"]} if row["crs"] else {}))],
            folder=real,
            crs=working_crs(float(row["lon"]), float(row["lat"])),
            near=shapely.box(-half_m, -half_m, half_m, half_m),
            timezone=ZoneInfo("UTC"),
            species=catalogue,
        )

    return run


def reasons(survey):
    """How many records are set aside for which of the reasons above."""
    found = Counter(
        next(name for name, words in WHY.items() if re.search(words, reason.lower()))
        for reason in survey.set_aside["reason"]
    )
    return "; ".join(f"{found[name]} {name}" for name in WHY if found[name])


def test_the_table_names_every_file_of_the_folder_once(real):
    there = {path.relative_to(real).as_posix() for path in real.rglob("*") if path.is_file()} - {"SOURCES.tsv"}
    with (real / "SOURCES.tsv").open(newline="", encoding="utf-8") as stream:
        there |= {row["file"] for row in csv.DictReader(stream, delimiter="\t", quoting=csv.QUOTE_NONE)}
    assert Counter(row["file"] for row in TABLE) == Counter(there)


@pytest.mark.parametrize("row", READ, ids=lambda row: row["file"])
def test_every_record_of_a_file_is_accounted_for(row, real, intake):
    survey = intake([row["file"]], row)
    counts = counted(real / row["file"])
    assert sum(counts) == row["records"]
    if not row["lost"]:
        assert sorted(survey.ledger["records"]) == sorted(counts)
    became = survey.ledger[["accepted", "repaired", "set_aside"]].sum().tolist()
    assert became == [row["accepted"], row["repaired"], row["set_aside"]]
    assert sum(became) == row["records"] + row["lost"] == survey.ledger["records"].sum()
    assert reasons(survey) == row["why"]
    assert [len(survey.patches), len(survey.repaired), len(survey.set_aside)] == [sum(became[:2]), *became[1:]]
    _assert_each_record_once(survey)
    assert {path.relative_to(real).as_posix() for path in survey.files} == parts_of(row["file"])
    assert survey.patches.is_valid.all() and (survey.patches.area > 0).all()


def parts_of(file: str) -> set[str]:
    """A file and, of a shapefile, the others of its name: they are read with it."""
    beside = [str(Path(file).with_suffix(suffix)) for suffix in PARTS[:4] if file.endswith(".shp")]
    return {file} | {row["file"] for row in TABLE if row["file"] in beside}


def _assert_each_record_once(survey):
    """Every number of a record, 1 to as many as there are, is a patch's or stands among those set aside."""
    for file, count in zip(survey.ledger["file"], survey.ledger["records"], strict=True):
        numbers = np.concatenate([part["record"][part["file"] == file] for part in (survey.patches, survey.set_aside)])
        assert sorted(numbers) in (list(range(1, count + 1)), [0])


@pytest.mark.parametrize("folder", sorted({row["file"].partition("/")[0] for row in PLAIN}))
def test_a_file_that_is_no_survey_is_one_row_with_a_reason(folder, real, intake):
    rows = [row for row in PLAIN if row["file"].startswith(f"{folder}/")]
    survey = intake([row["file"] for row in rows], rows[0])
    assert survey.ledger.to_numpy().tolist() == [[row["file"], 1, 0, 0, 1] for row in rows]
    assert survey.set_aside["file"].tolist() == [row["file"] for row in rows]
    for row, reason in zip(rows, survey.set_aside["reason"], strict=True):
        assert re.search(WHY[row["why"].removeprefix("1 ")], reason.lower()), row["file"]
        assert sum(1 for note in survey.notes if note.startswith(f"{row['file']}: NOT READ")) == 1
        assert [row[name] for name in NUMBERS] == [0, 0, 0, 1, 1]


def test_each_part_of_a_shapefile_has_its_shapes():
    parts = {str(Path(row["file"]).with_suffix(".shp")) for row in TABLE if Path(row["file"]).suffix in PARTS}
    assert parts == {row["file"] for row in READ if row["file"].endswith(".shp")}


def counted(path: Path) -> list[int]:
    """Records of each layer of a file, without the program; [0] where it holds none that can be told."""
    suffix = path.suffix.lower()
    if suffix == ".shp":
        return [_index_entries(path.with_suffix(".shx").read_bytes() if path.with_suffix(".shx").exists() else b"")]
    if suffix == ".gpkg":
        return _table_rows(path)
    if suffix in (".zip", ".kmz"):
        return _members(path)
    return [_counted_text(path.read_bytes().decode("utf-8", "replace"), suffix)]


def _counted_text(text: str, suffix: str) -> int:
    if suffix in (".json", ".geojson"):
        return _features(text)
    if suffix in (".csv", ".txt"):
        return sum(1 for row in csv.reader(io.StringIO(text)) if row) - 1
    text = re.sub(r"<!--.*?-->|<!\[CDATA\[.*?\]\]>", "", text, flags=re.S)
    if suffix == ".gpx":
        return len(re.findall(r"<(?:\w+:)?(?:wpt|rte|trk)[\s>/]", text))
    alone = re.match(r"\s*(<\?.*?\?>)?\s*<(LinearRing|Point|Polygon)\b", text, flags=re.S)
    return len(re.findall(r"<(?:\w+:)?Placemark[\s>/]", text)) + bool(alone)


def _features(text: str) -> int:
    document = json.loads(text)
    if not isinstance(document, dict):
        return 0
    listed = document.get("features")
    if document.get("type") == "FeatureCollection":
        return len(listed) if isinstance(listed, list) else 0
    geometries = ("Point", "LineString", "Polygon", "MultiPoint", "MultiLineString", "MultiPolygon")
    return int(document.get("type") in ("Feature", "GeometryCollection", *geometries))


def _index_entries(index: bytes) -> int:
    """Entries of 8 bytes behind a header of 100; one for the only shapefile without an index, of one shape."""
    return (len(index) - 100) // 8 if index else 1


def _table_rows(path: Path) -> list[int]:
    with closing(sqlite3.connect(f"file:{path}?immutable=1", uri=True)) as database:
        names = [name for (name,) in database.execute("SELECT table_name FROM gpkg_geometry_columns")]
        return [database.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0] for name in names] or [0]


def _members(path: Path) -> list[int]:
    try:
        with zipfile.ZipFile(path) as archive:
            infos = [info for info in archive.infolist() if info.file_size < 200e6]
            indexes = [_index_entries(archive.read(info)) for info in infos if info.filename.endswith(".shx")]
            texts = [archive.read(info).decode("utf-8", "replace") for info in infos if info.filename.endswith(".kml")]
    except (zipfile.BadZipFile, EOFError):
        return [0]
    return indexes + [_counted_text(text, ".kml") for text in texts] or [0]
