"""Crew files, read back by gpxpy and GDAL and held to the plan's own ground."""

import dataclasses
import datetime as dt
import math
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import geopandas as gpd
import gpxpy
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
import xmlschema
from a_treatment import a_treatment, with_treatment, worked_zones
from defusedxml import ElementTree
from pyproj import Geod, Transformer
from shapely.geometry import Point, box

from invasimap.core.errors import InputError
from invasimap.core.legible import visible
from invasimap.core.toml_file import read_tract
from invasimap.prescription.plan import Plan
from invasimap.reports import style
from invasimap.reports.crew import write_crew_files
from invasimap.reports.crew_days import day_sheets
from invasimap.reports.crew_outlines import drawn_inside, drawn_outside

SCHEMA = xmlschema.XMLSchema(str(Path(__file__).parent / "gpx11.xsd"))
GEOD = Geod(ellps="WGS84")
KML = "{http://www.opengis.net/kml/2.2}"
HOSTILE = ["<b>&amp;</b>", "=1+1", "\x1b[31m\x07", "🌿 ]]>", "\u202egnp", "'\"><!--"]
SMALL = {"waypoints": 100, "track_points": 100, "patches": True}
M_PER_FT = 0.3048


def with_crew(plan: Plan, **changes: Any) -> Plan:
    crew = plan.settings.crew.model_copy(update=changes)
    return dataclasses.replace(plan, settings=plan.settings.model_copy(update={"crew": crew}))


@pytest.fixture(scope="module")
def both(toy_plan: Plan, tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[Plan, Path]]:
    found = {}
    for name, changes in (("usual", {}), ("small", SMALL)):
        plan, folder = with_crew(toy_plan, **changes), tmp_path_factory.mktemp(name)
        write_crew_files(plan, folder)
        found[name] = plan, folder / "crew"
    return found


@pytest.fixture(params=["usual", "small"])
def made(request: Any, both: dict[str, tuple[Plan, Path]]) -> tuple[Plan, Path]:
    return both[request.param]


@pytest.fixture
def crew(both: dict[str, tuple[Plan, Path]]) -> Path:
    return both["usual"][1]


def read(path: Path) -> Any:
    return gpxpy.parse(path.read_text("utf-8"))


def files(folder: Path, ending: str = "gpx") -> list[Path]:
    return sorted(folder.glob(f"*.{ending}"))


def rings(track: Any) -> list[np.ndarray]:
    found = [np.array([(point.longitude, point.latitude) for point in part.points]) for part in track.segments]
    assert all((ring[0] == ring[-1]).all() for ring in found)
    return found


def enclosed(track: Any, plan: Plan) -> Any:
    """What a track's rings enclose (a ring within a ring is a hole), in the plan's system."""
    move = Transformer.from_crs(4326, plan.crs, always_xy=True)
    areas = [shapely.Polygon(np.column_stack(move.transform(*ring.T))) for ring in rings(track)]
    whole = shapely.Polygon()
    for area in areas:
        whole = shapely.symmetric_difference(whole, area)
    return whole


def geodesic_m2(track: Any) -> float:
    """Area between a track's rings on the ellipsoid, holes (which lie in another of its rings) taken off."""
    found = rings(track)
    shapes = [shapely.Polygon(ring) for ring in found]
    total = 0.0
    for number, ring in enumerate(found):
        depth = sum(other.contains(Point(ring[0])) for row, other in enumerate(shapes) if row != number)
        total += (-1) ** depth * abs(GEOD.polygon_area_perimeter(*ring.T)[0])
    return total


def off_m(sheet: Any) -> float:
    """How far off the file says its lines may be."""
    return float(re.search(r"by at most ([0-9.]+) ft", sheet.description)[1]) * M_PER_FT


def tracks(folder: Path, start: str) -> Iterator[tuple[Path, Any, Any]]:
    for path in files(folder):
        sheet = read(path)
        yield from ((path, sheet, track) for track in sheet.tracks if track.name.startswith(start))


def zone_of(track: Any, plan: Plan) -> Any:
    number = track.name.partition("-")[2].partition(".")[0]
    return plan.treatment_zones.set_index("id").loc[number]


def ground(plan: Plan, *zones: str) -> Any:
    return shapely.union_all(plan.protection.geometry[plan.protection["zone"].isin(zones)].to_numpy())


def test_gpx_is_what_the_schema_of_1_1_allows(made: tuple[Plan, Path]) -> None:
    plan, folder = made
    assert len(files(folder)) >= 3 and len(files(folder)) == len(files(folder, "kml"))
    for path in files(folder):
        SCHEMA.validate(str(path))
        sheet = read(path)
        assert sheet.time == dt.datetime(2025, 11, 3, 15, 0, tzinfo=dt.UTC)
        assert plan.settings.tract.name in sheet.name
        assert sheet.description.startswith("The product label is the law.") and "2025-11-03 UTC" in sheet.description
        text = path.read_text("utf-8")
        assert set(re.findall(r' (?:lat|lon)="-?\d+\.(\d+)"', text)) and all(
            len(digits) == 7 for digits in re.findall(r' (?:lat|lon)="-?\d+\.(\d+)"', text)
        )


def test_schema_refuses_what_is_out_of_order() -> None:
    head = '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="x">'
    assert SCHEMA.is_valid(f'{head}<wpt lat="1" lon="2"><name>a</name><cmt>b</cmt></wpt></gpx>')
    assert not SCHEMA.is_valid(f'{head}<wpt lat="1" lon="2"><cmt>b</cmt><name>a</name></wpt></gpx>')
    assert not SCHEMA.is_valid(f'{head}<wpt lat="91" lon="2"/></gpx>')


def test_names_are_short_plain_and_no_two_alike(made: tuple[Plan, Path]) -> None:
    plan, folder = made
    for path in files(folder):
        sheet = read(path)
        names = [one.name for one in (*sheet.waypoints, *sheet.tracks)]
        assert len(set(names)) == len(names) and all(name.isascii() and 0 < len(name) <= 10 for name in names)
        assert all(len(part) <= 10 and part.isascii() for part in names)
        assert len(sheet.waypoints) <= plan.settings.crew.waypoints
        most = max(sum(len(part.points) for part in track.segments) for track in sheet.tracks)
        # points put into long edges, and the last of a ring that was cut, come on top of what simplifying leaves
        assert most <= 1.5 * plan.settings.crew.track_points


def test_each_crew_finds_its_own_zones_and_no_other(made: tuple[Plan, Path]) -> None:
    plan, folder = made
    zones = plan.treatment_zones
    mine = zones[zones["zone"].isin(["open", "hand_only"]) & (zones["stand"] != "(outside)")]
    seen: dict[str, set[str]] = {}
    left_out, off = set(), []
    for path in files(folder):
        sheet = read(path)
        off.append(off_m(sheet))
        left_out |= set(re.findall(r"Z\d+", (sheet.description.split("Too small to draw:") + [""])[1]))
        marked = [point for point in sheet.waypoints if point.type == "treatment zone"]
        seen.setdefault(path.stem.split("_")[0], set()).update(point.name for point in marked)
        assert {point.name for point in marked} == {
            track.name[3:].partition(".")[0] for track in sheet.tracks if track.name[:2] in ("OP", "HO")
        }
        for point in marked:
            kind = zones.set_index("id").loc[point.name, "zone"]
            assert point.description.startswith("Open ground" if kind == "open" else "Hand work only: cut-stump")
            assert point.comment.startswith("OPEN" if kind == "open" else "HAND ONLY")
            assert point.description.endswith("The product label is the law.")
        assert any(track.name.startswith("NS-") for track in sheet.tracks)
    for access in ("tractor", "atv_hose", "foot"):
        expected = set(mine.loc[mine["access"] == access, "id"])
        assert expected and seen[access.split("_")[0]] == expected - left_out
    for shape in mine.set_index("id").loc[sorted(left_out), "geometry"]:
        assert shapely.buffer(shape, -max(off)).area <= len(shapely.get_parts(shape)) * 1.0  # specks are not drawn


def test_areas_that_tracks_enclose_are_the_tables_less_what_the_file_says(made: tuple[Plan, Path]) -> None:
    plan, folder = made
    drawn: dict[str, list[float]] = {}
    off: dict[str, float] = {}
    for start in ("OP", "HO"):
        for _, sheet, track in tracks(folder, start):
            zone = zone_of(track, plan).name
            drawn.setdefault(zone, []).append(geodesic_m2(track))
            off[zone] = off_m(sheet)
    zones = plan.treatment_zones.set_index("id")
    assert len(drawn) > 10
    for zone, areas in drawn.items():
        shape, table_m2 = zones.loc[zone, "geometry"], zones.loc[zone, "gross_m2"]
        least = shapely.buffer(shape, -off[zone])
        specks_m2 = len(shapely.get_parts(shape)) * 1.0
        assert least.area - specks_m2 <= sum(areas) <= table_m2
    big = zones["gross_m2"].idxmax()
    assert sum(drawn[big]) > 0.9 * zones.loc[big, "gross_m2"]


def test_no_zone_is_drawn_over_ground_to_keep_out_of(made: tuple[Plan, Path]) -> None:
    plan, folder = made
    for start, kept in (("OP", ("no_spray", "hand_only")), ("HO", ("no_spray",))):
        forbidden = ground(plan, *kept)
        for _, sheet, track in tracks(folder, start):
            shape = enclosed(track, plan)
            assert shapely.intersection(shape, forbidden).area == 0
            assert shapely.difference(shape, zone_of(track, plan).geometry).area == 0
            lines = [other for other in sheet.tracks if other.name.startswith("NS-")]
            assert all(shapely.intersection(shape, enclosed(line, plan)).area == 0 for line in lines)


def test_no_spray_lines_hold_all_no_spray_ground_and_little_more(made: tuple[Plan, Path]) -> None:
    plan, folder = made
    for path in files(folder):
        sheet = read(path)
        ids = {track.name[3:].partition(".")[0] for track in sheet.tracks if track.name[:2] in ("OP", "HO")}
        stands = set(plan.treatment_zones.set_index("id").loc[sorted(ids), "stand"])
        within = shapely.buffer(plan.stands[plan.stands["stand"].isin(stands)].union_all(), 100 * M_PER_FT - 0.01)
        for start, zones in (("NS-", ("no_spray",)), ("HG-", ("hand_only",))):
            shapes = [enclosed(track, plan) for track in sheet.tracks if track.name.startswith(start)]
            true = shapely.intersection(ground(plan, *zones), within)
            assert shapely.difference(true, shapely.union_all(shapes)).area == 0
            wide = shapely.buffer(ground(plan, "no_spray", *zones), off_m(sheet) + 0.05, quad_segs=64)
            assert shapely.difference(shapely.union_all(shapes), wide).area < 1e-6


@pytest.mark.parametrize("most_points", [30, 2000])
def test_a_line_of_few_points_stays_on_its_side_of_any_shape(most_points: int) -> None:
    rng = np.random.default_rng(5)
    for _ in range(12):
        spots = shapely.points(rng.uniform(0, 60, (9, 2)))
        shape = shapely.difference(
            shapely.union_all(shapely.buffer(spots, rng.uniform(2, 15, 9), quad_segs=16)),
            box(20, 20, 20 + rng.uniform(1, 20), 30),
        )
        inside, outside = (draw(shape, most_points=most_points) for draw in (drawn_inside, drawn_outside))
        # 1 cm is more than rounding to seven decimals moves a corner
        assert shapely.covers(shapely.buffer(shape, -0.009), shapely.union_all([one.shape for one in inside]))
        assert shapely.covers(shapely.union_all([one.shape for one in outside]), shapely.buffer(shape, 0.009))
        assert max(shapely.get_num_coordinates(one.shape) for one in (*inside, *outside)) <= most_points


def test_marks_of_parking_entries_and_crossings_are_where_the_plan_has_them(toy_plan: Plan, crew: Path) -> None:
    marks = {point.name: point for point in read(crew / "atv_hose.gpx").waypoints}
    first = toy_plan.parking.iloc[0]
    park = marks[f"PK-{first['zone_id']}-1"]
    to_lonlat = Transformer.from_crs(toy_plan.crs, 4326, always_xy=True)
    assert (park.longitude, park.latitude) == pytest.approx(to_lonlat.transform(-520.0, -300.0), abs=6e-8)
    assert "stop 1 of 2. Hose 300 ft, nozzle up to 11 ft above and 0 ft below" in park.description  # 3.1 m: 10.2 ft
    assert park.comment == "HOSE 300 ft LIFT 11 ft" and park.type == "parking"
    assert (marks["EN-1"].longitude, marks["EN-1"].latitude) == pytest.approx(to_lonlat.transform(-725, -318), abs=6e-8)
    assert marks["EN-1"].description == "Entry gate." and marks["CR-1"].type == "crossing"
    assert not any(name.startswith("PK") for name in (p.name for p in read(crew / "foot.gpx").waypoints))


def test_patches_are_marked_where_asked_within_a_zone(toy_plan: Plan, both: dict[str, tuple[Plan, Path]]) -> None:
    (_, without), (_, asked) = both["usual"], both["small"]
    assert not any(point.type == "patch" for path in files(without) for point in read(path).waypoints)
    move = Transformer.from_crs(4326, toy_plan.crs, always_xy=True)
    bad = ground(toy_plan, "no_spray")
    patches = toy_plan.patches.assign(mark=[str(name).upper() for name in toy_plan.patches["id"]]).set_index("mark")
    count = 0
    for path in files(asked):
        for point in (one for one in read(path).waypoints if one.type == "patch"):
            place = Point(*move.transform(point.longitude, point.latitude))
            assert patches.loc[point.name, "geometry"].contains(place) and not bad.intersects(place)
            assert str(patches.loc[point.name, "species"]) in point.description
            count += 1
    assert count > 10


def test_what_one_receiver_does_not_hold_is_dealt_into_several_files(toy_plan: Plan, tmp_path: Path) -> None:
    hosed = toy_plan.treatment_zones[
        (toy_plan.treatment_zones["access"] == "atv_hose") & (toy_plan.treatment_zones["zone"] == "open")
        & (toy_plan.treatment_zones["stand"] != "(outside)")
    ]  # fmt: skip
    row = toy_plan.parking.iloc[0]
    many = pd.DataFrame([row.to_dict() | {"zone_id": zone, "stop": n} for zone in hosed["id"] for n in range(1, 47)])
    plan = dataclasses.replace(
        with_crew(toy_plan, waypoints=100, patches=True), parking=gpd.GeoDataFrame(many, crs=toy_plan.crs)
    )
    write_crew_files(plan, tmp_path)
    sheets = [read(path) for path in files(tmp_path / "crew") if path.stem.startswith("atv_hose_")]
    assert len(sheets) >= 2 and not (tmp_path / "crew" / "atv_hose.gpx").exists()
    assert all(len(sheet.waypoints) <= 100 for sheet in sheets)
    zones = [point.name for sheet in sheets for point in sheet.waypoints if point.type == "treatment zone"]
    assert len(zones) == len(set(zones)) and set(zones) >= {
        zone for zone, area in zip(hosed["id"], hosed["gross_m2"], strict=True) if area > 60
    }
    assert f"part 1 of {len(sheets)}" in sheets[0].name
    assert any(re.search(r"Of \d+ patches the \d+ largest are marked", sheet.description) for sheet in sheets)


def test_class_without_zones_has_no_file(toy_plan: Plan, empty_plan: Plan, tmp_path: Path) -> None:
    write_crew_files(empty_plan, tmp_path)
    assert not (tmp_path / "crew").exists()
    zones = toy_plan.treatment_zones
    write_crew_files(dataclasses.replace(toy_plan, treatment_zones=zones[zones["access"] != "foot"]), tmp_path)
    assert {path.stem for path in files(tmp_path / "crew")} == {"tractor", "atv_hose"}


def test_a_file_says_how_many_lines_to_keep_out_of_it_holds(made: tuple[Plan, Path]) -> None:
    for path in files(made[1]):
        sheet = read(path)
        counts = [sum(track.name.startswith(start) for track in sheet.tracks) for start in ("NS-", "HG-")]
        no_spray, hand = (
            f"{count} {start}- line{'s' * (count != 1)}" for count, start in zip(counts, ("NS", "HG"), strict=True)
        )
        assert f"This file holds {no_spray} and {hand}." in sheet.description
        assert counts[0] > 0 and "no known no-spray ground" not in sheet.description


def test_tract_without_protected_ground_has_zones_and_no_lines(toy_plan: Plan, tmp_path: Path) -> None:
    write_crew_files(dataclasses.replace(toy_plan, protection=toy_plan.protection.iloc[:0]), tmp_path)
    sheet = read(tmp_path / "crew" / "foot.gpx")
    assert {track.name[:2] for track in sheet.tracks} <= {"OP", "HO"} and len(sheet.tracks) > 3
    assert not any("No-spray ground" in point.description for point in sheet.waypoints)
    said = "holds 0 NS- lines, for no known no-spray ground comes within 100 ft of the stands of these zones, and 0 HG-"
    assert said in sheet.description


def test_kml_holds_the_same_ground_in_folders_and_asks_nothing_of_a_network(made: tuple[Plan, Path]) -> None:
    plan, folder = made
    for path in files(folder, "kml"):
        root = ElementTree.fromstring(path.read_bytes())
        text = path.read_text("utf-8")
        assert text.count("http") == 1 and "href" not in text.lower()  # the namespace alone
        document = root.find(f"{KML}Document")
        top = [one.findtext(f"{KML}name") for one in document.findall(f"{KML}Folder")]
        assert "No spray" in top and all(name.startswith("Stand ") for name in top[: top.index("Hand work only")])
        sheets = [read(one) for one in files(folder) if re.fullmatch(rf"{path.stem}(_\d+)?", one.stem)]
        by_name = {track.name: enclosed(track, plan) for sheet in sheets for track in sheet.tracks}
        layers = [name for name, _ in pyogrio.list_layers(path)]
        shapes = pd.concat([pyogrio.read_dataframe(path, layer=name) for name in dict.fromkeys(layers)])
        drawn = shapes[shapes.geometry.geom_type != "Point"]
        drawn = drawn.set_index("Name").geometry.to_crs(plan.crs)
        zones = {name for name in by_name if name.startswith(("OP-", "HO-"))}
        assert zones == {name for name in drawn.index if name.startswith(("OP-", "HO-"))}
        for name in set(drawn.index) if len(sheets) == 1 else zones:
            assert drawn[name].area == pytest.approx(by_name[name].area, rel=1e-9 if len(sheets) == 1 else 0.02)
        marked = set(shapes.loc[shapes.geometry.geom_type == "Point", "Name"])
        assert marked >= {one.name for sheet in sheets for one in sheet.waypoints}


def test_a_phone_gets_every_place_in_one_file_whatever_a_receiver_holds(toy_plan: Plan, tmp_path: Path) -> None:
    few, many = tmp_path / "few", tmp_path / "many"
    for folder, waypoints in ((few, 100), (many, 100_000)):
        folder.mkdir()
        write_crew_files(with_crew(huddled(toy_plan), waypoints=waypoints, patches=True), folder)
    stems = [{path.stem for path in files(folder / "crew", "kml")} for folder in (few, many)]
    assert stems[0] == stems[1] == {"tractor", "atv_hose", "foot"}
    for name in stems[0]:
        said = [(folder / "crew" / f"{name}.kml").read_bytes() for folder in (few, many)]
        assert said[0] == said[1] and b"largest are marked" not in said[0]
    receiver = [sheet for path in files(few / "crew") if (sheet := read(path)).waypoints]
    assert all(len(sheet.waypoints) <= 100 for sheet in receiver)
    assert any("largest are marked" in sheet.description for sheet in receiver)


def huddled(plan: Plan) -> Plan:
    """A plan with two hundred patches more in its largest zone."""
    zone = plan.treatment_zones.loc[plan.treatment_zones[plan.treatment_zones["zone"] == "open"].area.idxmax()]
    place = zone.geometry.representative_point()
    spots = [shapely.Point(place.x + i * 0.01, place.y).buffer(0.5) for i in range(200)]
    rows = plan.patches.iloc[[0] * 200].assign(id=[f"Q{i:03d}" for i in range(200)])
    more = rows.set_geometry(spots, crs=plan.crs)
    return dataclasses.replace(plan, patches=pd.concat([plan.patches, more], ignore_index=True))


def test_kml_has_the_colours_of_the_maps(crew: Path) -> None:
    for access in ("tractor", "atv_hose", "foot"):
        root = ElementTree.fromstring((crew / f"{access}.kml").read_bytes())
        looks = {one.get("id"): one for one in root.iter(f"{KML}Style")}
        fill = looks["open"].findtext(f"{KML}PolyStyle/{KML}color")
        assert f"#{fill[6:8]}{fill[4:6]}{fill[2:4]}".upper() == style.OUTCOME[access].fill
        width = float(looks["no_spray"].findtext(f"{KML}LineStyle/{KML}width"))
        assert width == pytest.approx(style.CREW_LINE_PT["no_spray"] * 4 / 3, abs=0.05)
        assert {one.text.lstrip("#") for one in root.iter(f"{KML}styleUrl")} <= set(looks)


def test_hostile_names_come_out_as_text(make_plan: Callable[..., Plan], tmp_path: Path) -> None:
    plan = make_plan(name="Pré <&> 'x'")
    zones = plan.treatment_zones
    names = [HOSTILE[row % len(HOSTILE)] for row in range(len(zones))]
    species = [f"{name};Rosa {name}" for name in names]
    plan = dataclasses.replace(
        plan, treatment_zones=zones.assign(stand=names, species=species, id=[f"Zön {n}" for n in range(len(zones))]),
        entries=plan.entries.assign(name=HOSTILE[2] + HOSTILE[0]),
        protection=plan.protection.assign(kind=HOSTILE[0] + HOSTILE[3]),
    )  # fmt: skip
    write_crew_files(plan, tmp_path)
    said = ""
    for path in files(tmp_path / "crew"):
        SCHEMA.validate(str(path))
        sheet = read(path)
        assert sheet.name.startswith("Pré <&> 'x': ")
        assert all(one.name.isascii() and one.comment.isascii() for one in (*sheet.waypoints, *sheet.tracks))
        assert all(len(one.name) <= 10 for one in (*sheet.waypoints, *sheet.tracks))
        said += " ".join(point.description for point in sheet.waypoints)
        root = ElementTree.fromstring(path.with_suffix(".kml").read_bytes())
        assert {one.tag.removeprefix(KML) for one in root.iter()}.isdisjoint({"b", "script", "NetworkLink"})
        held = {f"Stand {visible(name)}" for name in names} | {"No spray", "Hand work only", "Entries and crossings"}
        assert {one.findtext(f"{KML}name") for one in root.findall(f"{KML}Document/{KML}Folder")} <= held
    assert sum(visible(name) in said for name in HOSTILE) >= 4
    assert f"Entry {visible(HOSTILE[2] + HOSTILE[0])}." in said


def test_the_same_plan_gives_the_same_bytes(toy_plan: Plan, crew: Path, tmp_path: Path) -> None:
    write_crew_files(toy_plan, tmp_path)
    assert len(list(crew.iterdir())) == 6
    assert all(path.read_bytes() == (tmp_path / "crew" / path.name).read_bytes() for path in crew.iterdir())


def test_confidential_kinds_are_not_named(crew: Path) -> None:
    for path in crew.iterdir():
        text = path.read_text("utf-8")
        assert "slipper" not in text and "heritage" not in text and "perennial stream" in text


def test_nearness_to_no_spray_ground_is_told_and_rounded_down(toy_plan: Plan, crew: Path) -> None:
    bad, zones = ground(toy_plan, "no_spray"), toy_plan.treatment_zones.set_index("id")
    told = 0
    for path in files(crew):
        for point in (one for one in read(path).waypoints if one.type == "treatment zone"):
            feet = zones.loc[point.name, "geometry"].distance(bad) / M_PER_FT
            match = re.search(r"No-spray ground (\d+) ft away", point.description)
            if feet * M_PER_FT < 29.9 and feet >= 1:
                assert match and int(match[1]) == math.floor(feet)
                told += 1
            elif feet < 0.99:
                assert "No-spray ground at its edge" in point.description
            elif feet * M_PER_FT > 30.1:
                assert "No-spray ground" not in point.description
    assert told >= 2


def test_settings_of_a_receiver_are_held_to_what_can_work(toy_plan: Plan) -> None:
    file = toy_plan.settings.file
    whole = file.read_text("utf-8")
    tried = file.with_name("crew.toml")
    tried.write_text(whole + "[crew]\nwaypoints = 2000\ntrack_points = 500\npatches = true\n", "utf-8")
    crew = read_tract(tried).crew
    assert (crew.waypoints, crew.track_points, crew.patches) == (2000, 500, True)
    tried.write_text(whole + "[crew]\nwaypoints = 5\n", "utf-8")
    with pytest.raises(InputError, match="waypoints"):
        read_tract(tried)


def crowded_day(plan: Plan, *, count: int) -> Plan:
    """Work 1 many times over, all on its day."""
    held = a_treatment(plan)
    work = pd.concat([held.work.iloc[[0]]] * count)
    work.index = pd.RangeIndex(1, count + 1, name="work")
    turns = [held.days.iloc[[0]].assign(work=number, order=number) for number in work.index]
    days = pd.concat(turns, ignore_index=True)
    jobs = pd.concat([held.jobs.iloc[[0]].assign(work=number) for number in work.index])
    jobs = gpd.GeoDataFrame(jobs.astype({"work": "Int64"}), crs=plan.crs)
    return with_treatment(plan, work=work, days=days, jobs=jobs)


@pytest.fixture(scope="module")
def daily(toy_plan: Plan, tmp_path_factory: pytest.TempPathFactory) -> tuple[Plan, Path]:
    plan, folder = with_treatment(toy_plan), tmp_path_factory.mktemp("daily")
    write_crew_files(plan, folder)
    return plan, folder / "crew"


def days(folder: Path, ending: str = "gpx") -> dict[str, Path]:
    return {path.stem: path for path in sorted(folder.glob(f"day_*.{ending}"))}


def test_each_day_and_rig_has_a_file_of_its_works_and_no_other(daily: tuple[Plan, Path]) -> None:
    plan, folder = daily
    zones = worked_zones(plan)["id"].tolist()
    expected = {
        "day_2026-08-03_ATV-hose": {f"1-W1-{zones[0]}"},
        "day_2026-08-10_backpack-pair": {f"1-W2-{zones[1]}"},
        "day_2026-08-17_backpack-pair": {f"1-W2-{zones[1]}", f"2-W3-{zones[2]}"},
    }
    assert set(days(folder)) == set(days(folder, "kml")) == set(expected)
    for name, path in days(folder).items():
        SCHEMA.validate(str(path))
        sheet = read(path)
        assert {point.name for point in sheet.waypoints if point.type == "work"} == expected[name]
        assert "slipper" not in path.read_text("utf-8") and "heritage" not in path.read_text("utf-8")
        assert "The days are a plan" in sheet.description and f"Monday {name[4:14]}" in sheet.name
        assert sheet.description.startswith("The product label is the law.")
        names = [thing.name for thing in (*sheet.waypoints, *sheet.tracks)]
        assert len(names) == len(set(names)) and max(map(len, names)) <= 10
        for point in sheet.waypoints:
            if point.type == "work":
                ground = plan.treatment_zones.set_index("id").loc[point.name.split("-")[2], "geometry"]
                move = Transformer.from_crs(4326, plan.crs, always_xy=True)
                assert ground.contains(Point(move.transform(point.longitude, point.latitude)))


def test_a_work_says_its_turn_its_part_its_mix_of_that_day_and_its_window(daily: tuple[Plan, Path]) -> None:
    _, folder = daily
    said = {
        (name[4:14], point.name.split("-")[1]): f"{point.comment} | {point.description}"
        for name, path in days(folder).items() for point in read(path).waypoints if point.type == "work"
    }  # fmt: skip
    assert "SPRAY LEAVES ALL OVER 112.5 gal" in said["2026-08-03", "W1"]
    assert "Mix stump mix, 2.8 gal. Window 2026-08-01 to 2026-09-15." in said["2026-08-10", "W2"]
    assert "Mix stump mix, 25.6 fl oz." in said["2026-08-17", "W2"]
    assert "1st of 1 this day. Work 1 in zone Z" in said["2026-08-03", "W1"] and "PART" not in said["2026-08-03", "W1"]
    assert "25.6 fl oz | " in said["2026-08-17", "W2"]
    assert said["2026-08-17", "W2"].startswith("PART 2/2 CUT AND TREAT")
    assert re.search(r"1st of 2 this day\. Work 2 in zone Z\w+, stand \w+, part 2 of 2: ", said["2026-08-17", "W2"])
    assert " ac of ground, 1.00 ac of it worked. " in said["2026-08-03", "W1"]  # as on the load sheet
    assert " ac of it worked in all parts. " in said["2026-08-17", "W2"]
    assert "2nd of 2 this day. Work 3 in zone Z" in said["2026-08-17", "W3"]
    assert said["2026-08-17", "W3"].startswith("HAND ONLY PULL | Hand work only")
    assert "Nothing is sprayed" in said["2026-08-17", "W3"]


def test_ground_of_a_day_keeps_out_of_no_spray_lines_that_hold_all_of_it(daily: tuple[Plan, Path]) -> None:
    plan, folder = daily
    zones = worked_zones(plan).reset_index(drop=True)
    for path in days(folder).values():
        sheet = read(path)
        drawn = {track.name: enclosed(track, plan) for track in sheet.tracks}
        lines = shapely.union_all([shape for name, shape in drawn.items() if name.startswith("NS-")])
        works = {name: shape for name, shape in drawn.items() if name.startswith(("OP-", "HO-"))}
        assert works
        for name, shape in works.items():
            zone = zones.loc[int(name.partition("W")[2].partition(".")[0]) - 1]
            assert name.startswith("HO-") == (zone["zone"] == "hand_only")
            assert shape.difference(zone.geometry).area < 1e-3 and shape.intersection(lines).area < 1e-3
            assert shape.area > 0.5 * zone.geometry.area
            held = plan.stands[plan.stands["stand"] == zone["stand"]].geometry.union_all().buffer(30)
            assert ground(plan, "no_spray").intersection(held).difference(lines).area < 1e-3


def test_where_to_park_is_told_to_the_rig_with_a_hose(daily: tuple[Plan, Path]) -> None:
    plan, _ = daily
    zone = worked_zones(plan)["id"].iloc[0]
    row = plan.parking.iloc[0].to_dict() | {"zone_id": zone, "stop": 1}
    more = gpd.GeoDataFrame([row, row | {"zone_id": worked_zones(plan)["id"].iloc[1]}], crs=plan.crs)
    found = dict(day_sheets(dataclasses.replace(plan, parking=more)))
    parking = {
        name: [mark.name for mark in sheets[0].marks if mark.kind == "parking"] for name, sheets in found.items()
    }  # fmt: skip
    assert parking == {
        "day_2026-08-03_ATV-hose": [f"PK-{zone}-1"], "day_2026-08-10_backpack-pair": [],
        "day_2026-08-17_backpack-pair": [],
    }  # fmt: skip


def test_no_spray_ground_is_worked_by_hand_alone_and_named_apart(toy_plan: Plan, tmp_path: Path) -> None:
    """The ground of work 3 put under a no-spray zone: drawn as such where it is pulled, not at all were it sprayed."""
    plan = with_treatment(toy_plan)
    zones = toy_plan.treatment_zones
    zone = zones[(zones["zone"] == "no_spray") & (zones["stand"] != "(outside)")].nlargest(1, "gross_m2").iloc[0]
    held = plan.treatment
    work, jobs = held.work.copy(), held.jobs.copy()
    work.loc[3, ["zone_id", "stand", "zone"]] = [zone["id"], zone["stand"], "no_spray"]
    jobs.loc[jobs["work"].eq(3).fillna(False), "geometry"] = zone.geometry
    for sprays in (False, True):
        work.loc[3, "sprays"] = sprays
        folder = tmp_path / str(sprays)
        folder.mkdir()
        treatment = dataclasses.replace(held, work=work, jobs=jobs)
        write_crew_files(dataclasses.replace(plan, treatment=treatment), folder)
        path = folder / "crew" / "day_2026-08-17_backpack-pair.gpx"
        SCHEMA.validate(str(path))
        sheet = read(path)
        own = {track.name: track for track in sheet.tracks if "W3" in track.name}
        if sprays:
            assert not own and f"Too small to draw: W3-{zone['id']}." in sheet.description
            continue
        assert set(own) == {"PU-W3"} and "No-spray ground: nothing is applied." in own["PU-W3"].description
        assert enclosed(own["PU-W3"], toy_plan).difference(zone.geometry).area < 1e-3
        kml = ElementTree.parse(path.with_suffix(".kml")).getroot()
        assert "dry" in {style_.get("id") for style_ in kml.iter(f"{KML}Style")}


def test_a_day_that_a_receiver_does_not_hold_is_parted(toy_plan: Plan, tmp_path: Path) -> None:
    plan = with_crew(crowded_day(toy_plan, count=150), waypoints=100, track_points=100)
    write_crew_files(plan, tmp_path)
    sheets = [read(path) for path in days(tmp_path / "crew").values()]
    assert sorted(days(tmp_path / "crew")) == [f"day_2026-08-03_ATV-hose_{part}" for part in range(1, len(sheets) + 1)]
    assert len(sheets) >= 2 and all(len(sheet.waypoints) <= 100 for sheet in sheets)
    works = [point.name for sheet in sheets for point in sheet.waypoints if point.type == "work"]
    assert [name.split("-")[:2] for name in works] == [[f"{number:03d}", f"W{number}"] for number in range(1, 151)]
    assert works == sorted(works) and max(map(len, works)) <= 10
    assert all(sum(len(part.points) for part in track.segments) <= 105 for sheet in sheets for track in sheet.tracks)


def test_names_of_rigs_that_files_cannot_bear_stay_apart(toy_plan: Plan, tmp_path: Path) -> None:
    held = a_treatment(toy_plan)
    rigs = ["../a:b", "A?B", "火", "\x00"]
    turns = pd.concat([held.days.iloc[[0]].assign(rig=rig) for rig in rigs], ignore_index=True)
    write_crew_files(with_treatment(toy_plan, days=turns), tmp_path)
    names = sorted(path.stem.removeprefix("day_2026-08-03_") for path in days(tmp_path / "crew").values())
    assert names == ["A-B-2", "a-b", "rig", "rig-2"] and len(list(tmp_path.iterdir())) == 1
    for path in days(tmp_path / "crew").values():
        SCHEMA.validate(str(path))
