"""Pictures written with known EXIF: where they say they were taken, and which patch they are given to."""

from __future__ import annotations

import struct
import tracemalloc
import zlib
from pathlib import Path
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from PIL.TiffImagePlugin import IFDRational
from pyproj import CRS, Geod

from invasimap.core.crs import working_crs
from invasimap.core.errors import CRSError
from invasimap.core.survey_settings import LimitsSection
from invasimap.inputs.account import LEDGER_COLUMNS
from invasimap.inputs.formats import photos as reader
from invasimap.inputs.formats.photos import read_photos
from invasimap.inputs.photos import attach_photos, photo_ledger

LON, LAT = -80.0, 38.0
BACK_M = 2e-3  # out of the working system and back into it: PROJ's way out is a series true to about 1 mm
CRS_M = working_crs(LON, LAT)
ZONE = ZoneInfo("America/New_York")
NORTH_WEST = {1: "N", 2: (38.0, 0.0, 3.6), 3: "W", 4: (80.0, 0.0, 3.6)}  # 3.6 seconds are 0.001 degree


def _exif(gps=None, taken=None, offset=None):
    exif = Image.Exif()
    if gps is not None:
        exif[0x8825] = {tag: value for tag, value in gps.items() if value is not None}
    block = {0x9003: taken, 0x9011: offset}
    exif[0x8769] = {tag: value for tag, value in block.items() if value is not None}
    return exif


def _write(path, exif=None):
    picture = Image.new("RGB", (4, 4), "green")
    picture.save(path, **({} if exif is None else {"exif": exif.tobytes()}))
    return path


@pytest.fixture
def read_one(tmp_path):
    """The row of one picture with this EXIF."""

    def run(gps=None, name="a.jpg", **times):
        path = _write(tmp_path / name, _exif(gps, **times))
        return read_photos([path], labels=[name]).iloc[0]

    return run


@pytest.mark.parametrize("name", ["a.jpg", "a.JPEG", "a.png", "a.tif", "A.TIFF"])
def test_degrees_minutes_and_seconds_in_every_format(read_one, name):
    row = read_one(NORTH_WEST, name)
    assert (row.file, row.problem) == (name, "")
    assert (row.lon, row.lat) == pytest.approx((-80.001, 38.001), abs=1e-12)
    assert np.isnan(row.direction_deg)
    assert np.isnan(row.error_m)
    assert row.time == ""


@pytest.mark.parametrize(
    ("ns", "ew", "lon", "lat"),
    [
        ("N", "W", -80.51, 38.2525), ("N", "E", 80.51, 38.2525), ("S", "W", -80.51, -38.2525),
        ("S", "E", 80.51, -38.2525), ("n\0", " e ", 80.51, 38.2525),
    ],
)  # fmt: skip
def test_the_letter_says_the_half_of_the_globe(read_one, ns, ew, lon, lat):
    # 38 deg 15.15 min = 38.2525; 80 deg 30 min 36 s = 80 + 0.5 + 0.01
    row = read_one({1: ns, 2: (38.0, 15.15, 0.0), 3: ew, 4: (80.0, 30.0, 36.0)})
    assert (row.lon, row.lat) == pytest.approx((lon, lat), abs=1e-9)


def test_direction_and_error_come_with_the_position(read_one):
    row = read_one({**NORTH_WEST, 16: "M", 17: 271.5, 31: 4.75})
    assert (row.direction_deg, row.direction_ref, row.error_m) == (271.5, "magnetic", 4.75)
    assert read_one({**NORTH_WEST, 16: "T", 17: 0.0}).direction_ref == "true"
    unsaid = read_one({**NORTH_WEST, 17: 90.0})
    assert (unsaid.direction_deg, unsaid.direction_ref) == (90.0, "")
    assert np.isnan(read_one({**NORTH_WEST, 16: "T", 17: 400.0}).direction_deg)


def test_the_surest_time_counts(read_one):
    clock, gps = "2024:09:03 16:30:05", {**NORTH_WEST, 7: (20.0, 31.0, 7.0), 29: "2024:09:03"}
    assert read_one(gps, taken=clock, offset="-04:00").time == "2024-09-03T16:30:05-04:00"
    assert read_one(gps, taken=clock).time == "2024-09-03T20:31:07+00:00"
    assert read_one(gps, taken=clock, offset="four").time == "2024-09-03T20:31:07+00:00"
    assert read_one(NORTH_WEST, taken=clock).time == "2024-09-03T16:30:05"
    assert read_one(NORTH_WEST, taken="0000:00:00 00:00:00").time == ""
    assert read_one({**gps, 7: (25.0, 0.0, 0.0)}, taken=clock).time == "2024-09-03T16:30:05"
    assert read_one(None, taken=clock).time == "2024-09-03T16:30:05"  # also without a position


NOTHING = IFDRational(0, 0)
PROBLEMS = {
    "no gps block": (None, "has no position"),
    "a time of GPS only": ({7: (20.0, 0.0, 0.0)}, "has no position"),
    "no letter of latitude": ({**NORTH_WEST, 1: None}, "its latitude lacks the letter N or S"),
    "no letter of longitude": ({**NORTH_WEST, 3: None}, "its longitude lacks the letter E or W"),
    "a wrong letter": ({**NORTH_WEST, 3: "N"}, "its longitude lacks the letter"),
    "no longitude": ({**NORTH_WEST, 4: None}, "its longitude is not three numbers"),
    "nothing by nothing": ({**NORTH_WEST, 2: (38.0, 0.0, NOTHING)}, "its latitude is not three numbers"),
    "all nothing": ({**NORTH_WEST, 4: (NOTHING, NOTHING, NOTHING)}, "its longitude is not three numbers"),
    "one number": ({**NORTH_WEST, 2: (38.001,)}, "its latitude is not three numbers"),
    "zero, zero": ({**NORTH_WEST, 2: (0.0, 0.0, 0.0), 4: (0.0, 0.0, 0.0)}, "coordinates are 0, 0"),
    "beyond the pole": ({**NORTH_WEST, 2: (90.0, 0.0, 1.0)}, "its latitude 90 0 1 N cannot be"),
    "beyond the date line": ({**NORTH_WEST, 4: (181.0, 0.0, 0.0)}, "its longitude 181 0 0 W cannot be"),
    "minutes beyond the hour": ({**NORTH_WEST, 2: (38.0, 75.24, 0.0)}, "cannot be"),
    "another datum": ({**NORTH_WEST, 18: "TOKYO"}, "its position is in TOKYO"),
}


@pytest.mark.parametrize("case", PROBLEMS)
def test_a_doubtful_position_is_none_and_says_why(read_one, case):
    gps, said = PROBLEMS[case]
    row = read_one(gps)
    assert said in row.problem
    assert np.isnan(row.lon)
    assert np.isnan(row.lat)


def test_wgs_84_may_be_written_in_many_ways(read_one):
    for datum in ("WGS-84", "WGS84", "wgs 84", ""):
        assert read_one({**NORTH_WEST, 18: datum}).problem == ""


def _endless(count):
    """EXIF of few bytes whose entries all claim the same 60,000 bytes."""
    entries = b"".join(struct.pack("<HHLL", 100 + k, 1, 60_000, 8) for k in range(count))
    return b"II*\0" + struct.pack("<L", 8) + struct.pack("<H", count) + entries + b"\0" * 4


def _jpeg(*segments):
    return b"\xff\xd8" + b"".join(b"\xff\xe1" + struct.pack(">H", len(s) + 2) + s for s in segments) + b"\xff\xd9"


def _chunk(name, data):
    return struct.pack(">L", len(data)) + name + data + struct.pack(">L", zlib.crc32(name + data))


def _png(*chunks):
    size = struct.pack(">LLBBBBB", 100_000, 100_000, 8, 2, 0, 0, 0)  # 30 GB of pixels
    return b"\x89PNG\r\n\x1a\n" + _chunk(b"IHDR", size) + b"".join(chunks) + _chunk(b"IEND", b"")


def test_files_that_are_no_whole_pictures_each_say_so(tmp_path):
    whole = _write(tmp_path / "whole.jpg", _exif(NORTH_WEST)).read_bytes()
    plain = _write(tmp_path / "plain.jpg").read_bytes()
    cases = {
        "empty.jpg": (b"", "is empty"),
        "text.jpg": (b"not a picture at all", "is no JPEG, PNG or TIFF picture"),
        "bare.jpg": (plain, "has no EXIF"),
        "cut.jpg": (whole[:60], "is cut off"),
        "short.jpg": (whole[:3], "is cut off"),
        "phone.heic": (b"\0\0\0\x18ftypheic\0\0\0\0", "export it as JPEG"),
        "zeros.jpg": (_jpeg(b"Exif\0\0" + b"\0" * 100), "EXIF is damaged"),
        "tiny.jpg": (_jpeg(b"Exif\0\0"), "has no EXIF"),
        "wild.tif": (b"II*\0\xff\xff\xff\x7f", "EXIF is damaged"),
        "bare.png": (_png(), "has no EXIF"),
        "cut.png": (_png()[:40], "is cut off"),
        "huge.png": (_png(struct.pack(">L", 2**31 - 1) + b"eXIf"), "EXIF is damaged"),
    }
    for name, (content, _) in cases.items():
        (tmp_path / name).write_bytes(content)
    (tmp_path / "folder.jpg").mkdir()
    names = [*cases, "folder.jpg", "absent.jpg"]
    table = read_photos([tmp_path / name for name in names], labels=names)
    assert table["file"].tolist() == names
    for row in table.itertuples():
        said = cases.get(row.file, (b"", "cannot be opened"))[1]
        assert said in row.problem, row.file
        assert np.isnan(row.lon)


def test_a_picture_cut_off_behind_its_exif_keeps_its_position(tmp_path):
    whole = _write(tmp_path / "a.jpg", _exif(NORTH_WEST)).read_bytes()
    end = whole.index(b"\xff\xdb")  # the tables for the pixels
    (tmp_path / "a.jpg").write_bytes(whole[: end + 10])
    assert read_photos([tmp_path / "a.jpg"], labels=["a.jpg"]).iloc[0].lat == pytest.approx(38.001)


def test_exif_is_found_behind_other_segments_and_behind_the_pixels(tmp_path):
    block = _exif(NORTH_WEST).tobytes()
    (tmp_path / "a.jpg").write_bytes(_jpeg(b"http://ns.adobe.com/xap/1.0/\0<x/>", b"short", block))
    (tmp_path / "b.png").write_bytes(_png(_chunk(b"IDAT", b"no pixels"), _chunk(b"eXIf", block[6:])))
    table = read_photos([tmp_path / "a.jpg", tmp_path / "b.png"], labels=["a.jpg", "b.png"])
    assert table["problem"].tolist() == ["", ""]
    assert table["lat"].tolist() == pytest.approx([38.001, 38.001])


def test_a_hostile_picture_takes_little_memory(tmp_path):
    block = b"Exif\0\0" + _endless(5000)
    cases = {
        "jpeg.jpg": _jpeg(block + b"\0" * (65_000 - len(block))),
        "png.png": _png(_chunk(b"eXIf", _endless(5_000))),
        "tiff.tif": _endless(5_000) + b"\0" * 2_000_000,
        "segments.jpg": b"\xff\xd8" + b"\xff\xe2\0\2" * 1_000_000,
        "filling.jpg": b"\xff\xd8" + b"\xff" * 5_000_000,
        "chunks.png": b"\x89PNG\r\n\x1a\n" + _chunk(b"aaaa", b"") * 500_000,
    }
    for name, content in cases.items():
        (tmp_path / name).write_bytes(content)
    tracemalloc.start()
    table = read_photos([tmp_path / name for name in cases], labels=list(cases))
    most_B = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert (table["problem"] != "").all()
    assert most_B < 20e6  # the first alone lays claim to 300 MB


def test_a_picture_over_the_limit_is_not_opened(tmp_path):
    _write(tmp_path / "a.jpg", _exif(NORTH_WEST))
    table = read_photos([tmp_path / "a.jpg"], labels=["a.jpg"], limits=LimitsSection(file="0.0001 MB"))
    assert "raise file in [intake.limits]" in table.iloc[0].problem


@settings(deadline=None)
@given(data=st.data())
def test_no_damage_stops_the_reading(data, tmp_path_factory):
    path = tmp_path_factory.mktemp("damage") / "a.jpg"
    whole = bytearray(_jpeg(_exif({**NORTH_WEST, 17: 90.0}, taken="2024:09:03 16:30:05").tobytes()))
    for _ in range(data.draw(st.integers(1, 8))):
        whole[data.draw(st.integers(2, len(whole) - 1))] = data.draw(st.integers(0, 255))
    path.write_bytes(whole)
    row = read_photos([path], labels=["a.jpg"]).iloc[0]
    assert (row.problem == "") == (np.isfinite(row.lon) and np.isfinite(row.lat))


def test_no_pictures_are_an_empty_table():
    table = read_photos([], labels=[])
    assert table.columns.tolist() == list(reader.COLUMNS)
    made = attach_photos(table, _patches([], []), crs=CRS_M, within_m=10, timezone=ZONE)
    assert len(made) == 0
    assert photo_ledger(made, crs=CRS_M)[0].empty


def _patches(shapes, dates, ids=None):
    ids = ids or [f"P{k:04d}" for k in range(1, len(shapes) + 1)]
    table = {"id": ids, "species": [f"Species {i}" for i in ids], "date": dates}
    return gpd.GeoDataFrame(pd.DataFrame(table, dtype=object), geometry=list(shapes), crs=CRS_M)


def _photos(*places, time="", problem=""):
    """Pictures at x, y in metres in the working system."""
    points = gpd.GeoSeries([shapely.Point(p) for p in places], crs=CRS_M).to_crs(4326)
    return pd.DataFrame(
        {
            "file": [f"walk/{k}.jpg" for k in range(len(places))], "lon": points.x, "lat": points.y,
            "direction_deg": 90.0, "direction_ref": "true", "time": time, "error_m": 5.0, "problem": problem,
        }
    )  # fmt: skip


def _attach(photos, patches, within_m=15.0):
    return attach_photos(photos, patches, crs=CRS_M, within_m=within_m, timezone=ZONE)


def test_a_picture_goes_to_the_nearest_edge_within_the_limit():
    patches = _patches([shapely.box(0, 0, 10, 10), shapely.box(30, 0, 40, 10)], ["2024-09-03", "2024-09-03"])
    made = _attach(_photos((5, 5), (13, 14), (21, 5), (5, 25.5)), patches)
    assert made["patch"].tolist() == ["P0001", "P0001", "P0002", ""]
    assert made["species"].tolist() == ["Species P0001", "Species P0001", "Species P0002", ""]
    # inside; 3 and 4 m from the corner; 9 m against 11 m; half a metre too far
    assert made["distance_m"].tolist() == pytest.approx([0, 5, 9, 15.5], abs=BACK_M)
    assert made["reason"].tolist() == ["", "", "", "the nearest patch is further than the limit"]
    assert made["direction_deg"].tolist() == [90.0] * 4


def test_the_distance_is_that_on_the_ground():
    patches = _patches([shapely.box(0, -1, 10, 1)], ["2024-09-03"])
    photo = _photos((40, 0))
    east = gpd.GeoSeries([shapely.Point(10, 0)], crs=CRS_M).to_crs(4326)
    _, _, ground_m = Geod(ellps="WGS84").inv(photo["lon"][0], photo["lat"][0], east.x[0], east.y[0])
    assert _attach(photo, patches).iloc[0].distance_m == pytest.approx(ground_m, abs=BACK_M)


def test_of_patches_equally_near_the_newest_counts_then_the_first():
    box = shapely.box(0, 0, 10, 10)
    dates = ["2023-09-03", "2024-09-03", "", "2024-09-03"]
    made = _attach(_photos((5, 5)), _patches([box] * 4, dates, ["P0004", "P0003", "P0001", "P0002"]))
    assert made["patch"].tolist() == ["P0002"]


def test_the_time_is_told_by_the_clocks_of_the_tract():
    patches = _patches([shapely.box(0, 0, 10, 10)], [""])
    told = {"2024-09-04T02:30:00+00:00": "2024-09-03T22:30:00", "2024-01-03T12:00:00+01:00": "2024-01-03T06:00:00",
            "2024-09-03T16:30:00": "2024-09-03T16:30:00", "": "",
            "0001-01-01T00:00:00+00:00": "0001-01-01T00:00:00"}  # fmt: skip
    for said, local in told.items():
        assert _attach(_photos((5, 5), time=said), patches).iloc[0].taken == local


def test_pictures_without_position_or_patch_stay_in_the_table():
    photos = _photos((5, 5), problem="has no position").assign(lon=np.nan, lat=np.nan)
    made = _attach(pd.concat([photos, _photos((5, 5))], ignore_index=True), _patches([], []))
    assert made["patch"].tolist() == ["", ""]
    assert made["reason"].tolist() == ["has no position", "there is no patch"]
    assert made["distance_m"].isna().all()


def test_the_other_side_of_the_globe_is_no_place_near_the_stands():
    photos = _photos((5, 5)).assign(lon=100.0, lat=-38.0)
    made = _attach(photos, _patches([shapely.box(0, 0, 10, 10)], [""]))
    assert made["patch"].tolist() == [""]
    assert made["reason"].iloc[0] != ""


def test_patches_in_another_system_are_refused():
    patches = _patches([shapely.box(0, 0, 10, 10)], [""]).to_crs(26917)
    with pytest.raises(CRSError, match="must share one CRS"):
        _attach(_photos((5, 5)), patches)


@settings(deadline=None, max_examples=25)
@given(
    places=st.lists(st.tuples(st.floats(-60, 60), st.floats(-60, 60)), max_size=12),
    corners=st.lists(st.tuples(st.floats(-50, 50), st.floats(-50, 50)), max_size=6),
)
def test_nothing_is_lost_and_no_patch_is_nearer(places, corners):
    shapes = [shapely.box(x, y, x + 5, y + 5) for x, y in corners]
    patches = _patches(shapes, ["2024-09-03"] * len(shapes))
    made = _attach(_photos(*places), patches, within_m=20)
    assert made["file"].tolist() == [f"walk/{k}.jpg" for k in range(len(places))]
    for row, place in zip(made.itertuples(), places, strict=True):
        away = [shapely.Point(place).distance(shape) for shape in shapes]
        assert (row.patch == "") == (row.reason != "")
        if away:
            assert row.distance_m == pytest.approx(min(away), abs=BACK_M)
        if row.patch:
            assert away[int(row.patch[1:]) - 1] == pytest.approx(min(away), abs=BACK_M)
            assert min(away) <= 20 + BACK_M
    ledger, aside = photo_ledger(made, crs=CRS_M)
    assert ledger["records"].sum() == len(places)
    assert len(aside) == ledger["set_aside"].sum() == (made["patch"] == "").sum()


def test_the_ledger_has_a_row_a_folder_that_adds_up():
    patches = _patches([shapely.box(0, 0, 10, 10)], [""])
    photos = _photos((5, 5), (500, 5), (5, 6), (5, 5))
    photos["file"] = ["a/1.jpg", "a/2.jpg", "b/c/1.jpg", "1.jpg"]
    photos.loc[3, ["lon", "lat", "problem"]] = [np.nan, np.nan, "has no EXIF"]
    ledger, aside = photo_ledger(_attach(photos, patches), crs=CRS_M)
    assert ledger.columns.tolist() == list(LEDGER_COLUMNS)
    assert ledger.to_numpy().tolist() == [["a/", 2, 1, 0, 1], ["b/c/", 1, 1, 0, 0], ["./", 1, 0, 0, 1]]
    assert aside["file"].tolist() == ["a/2.jpg", "1.jpg"]
    assert aside["reason"].tolist() == ["the nearest patch is further than the limit", "has no EXIF"]
    assert aside.geometry.iloc[0].distance(shapely.Point(500, 5)) < BACK_M
    assert aside.geometry.iloc[1] is None
    assert (
        aside["raw"].iloc[1] == '{"lon": null, "lat": null, "direction_deg": 90.0, "taken": null, "distance_m": null}'
    )
    assert CRS(aside.crs) == CRS_M


def test_every_file_read_is_of_a_kind_that_is_named():
    assert {Path(f"a{suffix}").suffix for suffix in reader.SUFFIXES} == set(reader.SUFFIXES)
