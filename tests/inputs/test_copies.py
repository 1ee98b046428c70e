"""Records that came twice in files: one stays and is named by the others; what differs stays whole."""

from __future__ import annotations

import json

import geopandas as gpd
import numpy as np
import pytest
import shapely
from pyproj import Geod

GEOD = Geod(ellps="WGS84")
HEAD = "species,cover,radius,date,accuracy,observer,height,stems,length,width,bearing,lon,lat\n"
BASE = {"species": "ROMU", "cover": "40", "radius": "2 m", "date": "2024-05-05"}


def at(east_m, north_m=0.0, *, places=8):
    """Degrees of a place so far from the middle of the tract."""
    lon, lat, _ = GEOD.fwd(-80, 38, np.degrees(np.arctan2(east_m, north_m)), np.hypot(east_m, north_m))
    return round(lon, places), round(lat, places)


@pytest.fixture
def survey(write, read):
    """Reads tables of records at places east of the middle: one list a file."""

    def run(*files, **options):
        names = [f"{name}.csv" for name in "abcdef"[: len(files)]]
        for name, records in zip(names, files, strict=True):
            rows = []
            for east_m, said in records:
                lon, lat = at(east_m)
                cells = BASE | {"lon": lon, "lat": lat} | said
                rows.append(",".join(str(cells.get(column, "")) for column in HEAD.strip().split(",")))
            write(name, HEAD + "\n".join(rows) + "\n")
        found = read(*names, **options)
        assert (found.ledger["accepted"] + found.ledger["repaired"] + found.ledger["set_aside"]).tolist() == [
            len(records) for records in files
        ]
        return found

    return run


def kept(found):
    return list(zip(found.patches["file"], found.patches["record"], strict=True))


def shapes_file(*features, radius=None):
    said = {**BASE, "width": "3 m"} if radius is None else {**BASE, "radius": radius}
    parts = [
        {"type": "Feature", "properties": said | more, "geometry": shapely.geometry.mapping(shape)}
        for shape, more in features
    ]
    return json.dumps({"type": "FeatureCollection", "features": parts})


def ground(kind, corners):
    """A shape with corners in metres from the middle, in degrees."""
    return kind([at(*corner, places=9) for corner in corners])


def square(east_m=20.0, *, start=0, turned=False):
    corners = np.roll(np.array([(0, 0), (east_m, 0), (east_m, 20), (0, 20)]), start, axis=0)
    return ground(shapely.Polygon, corners[::-1] if turned else corners)


def test_receiver_emptied_as_gpx_and_as_rounded_csv_counts_once(write, read):
    places = [at(0), at(40), at(40, 6)]
    points = "".join(
        f'<wpt lat="{lat}" lon="{lon}"><time>2024-05-05T16:00:00Z</time><extensions><s:species>Rosa multiflora'
        "</s:species><s:cover>40</s:cover><s:radius>2 m</s:radius></extensions></wpt>"
        for lon, lat in places
    )
    write(
        "a.gpx", f'<?xml version="1.0"?><gpx xmlns="http://www.topografix.com/GPX/1/1" xmlns:s="urn:s">{points}</gpx>'
    )
    rows = "".join(f"ROMU,40,2 m,5/5/2024,{lon:.5f},{lat:.5f}\n" for lon, lat in places)
    write("b.csv", "species,cover,radius,date,lon,lat\n" + rows)
    found = read("a.gpx", "b.csv")
    assert kept(found) == [("a.gpx", 1), ("a.gpx", 2), ("a.gpx", 3)]
    assert found.set_aside["reason"].tolist() == [
        f"the same record as a.gpx record {number}, which is kept" for number in (1, 2, 3)
    ]
    assert found.ledger["set_aside"].tolist() == [0, 3]
    assert found.patches.area.sum() == pytest.approx(3 * np.pi * 4, rel=1e-9)


def test_outline_in_kml_and_turned_round_in_a_shapefile_of_another_system_counts_once(write, read, tmp_path):
    corners = " ".join(f"{lon},{lat},0" for lon, lat in square().exterior.coords)
    said = "".join(f'<Data name="{k}"><value>{v}</value></Data>' for k, v in BASE.items() if k != "radius")
    write(
        "a.kml",
        '<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark><ExtendedData>'
        f"{said}</ExtendedData><Polygon><outerBoundaryIs><LinearRing><coordinates>{corners}</coordinates></LinearRing>"
        "</outerBoundaryIs></Polygon></Placemark></Document></kml>",
    )
    table = {k: [v] for k, v in BASE.items() if k != "radius"}
    turned = gpd.GeoDataFrame(table, geometry=[square(start=2, turned=True)], crs=4326).to_crs(26917)
    turned.to_file(tmp_path / "b.shp")
    found = read("a.kml", "b.shp")
    assert kept(found) == [("a.kml", 1)]
    assert found.patches.area.sum() == pytest.approx(400, rel=1e-3)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ({"species": "LOMA6"}, {}), ({"date": "2024-05-06"}, {}), ({"date": ""}, {}), ({"cover": "45"}, {}),
        ({"cover": "30-50"}, {}), ({"radius": "2.1 m"}, {}), ({"height": "1 m"}, {"height": "2 m"}),
        ({"height": "> 2 m"}, {"height": "1 m"}), ({"height": "over 2 m"}, {"height": "2 m"}),
        ({"height": "> 2 m"}, {"height": "> 3 m"}), ({"height": "head-high"}, {"height": "1 m"}),
        ({"stems": "5"}, {"stems": "50"}),
        ({"radius": "", "length": "20 m", "width": "4 m", "bearing": "0"},
         {"radius": "", "length": "20 m", "width": "4 m", "bearing": "90"}),
    ],
)  # fmt: skip
@pytest.mark.parametrize("files", [1, 2])
def test_records_that_state_something_else_both_stay(one, other, files, survey):
    records = [(0, one), (0, other)]
    found = survey(records) if files == 1 else survey(records[:1], records[1:])
    assert len(found.patches) == 2 and not [note for note in found.notes if "same patch" in note]


def test_the_same_open_height_is_the_same_and_none_is_stated_by_a_blank(survey):
    for other in ({"height": "over 2 m"}, {}):
        assert kept(survey([(0, {"height": "> 2 m"})], [(0, other)])) == [("a.csv", 1)]


def test_records_of_two_observers_both_stay_and_are_named(survey):
    found = survey([(0, {"observer": "Ann"})], [(0.2, {"observer": "Bob"})])
    assert len(found.patches) == 2
    assert "may be the same patch: a.csv record 1 and b.csv record 1, by different observers" in found.notes


def test_blank_differs_from_nothing_and_the_fuller_record_stays(survey):
    found = survey([(0, {"cover": ""})], [(0, {"observer": "Ann", "height": "1 m", "stems": "5"})])
    assert kept(found) == [("b.csv", 1)]
    assert found.patches["cover_pct"].tolist() == [40] and found.patches["observer"].tolist() == ["Ann"]


@pytest.mark.parametrize(
    ("away_m", "accuracy", "patches", "named"),
    [
        (0.8, ("", ""), 1, False), (0.9, ("5 m", "5 m"), 1, False), (1.3, ("", ""), 2, False),
        (3, ("5 m", "5 m"), 2, True), (3, ("5 m", "2 m"), 2, False), (3, ("5 m", ""), 2, False),
        (0.4, ("0.1 m", "0.1 m"), 1, False), (0.7, ("0.1 m", "0.1 m"), 2, False), (9, ("30 m", "30 m"), 2, True),
        (11, ("30 m", "30 m"), 2, False),
    ],
)  # fmt: skip
def test_between_files_a_metre_is_a_copy_and_what_accuracy_leaves_open_is_named(
    away_m, accuracy, patches, named, survey
):
    one, other = ({"accuracy": text} for text in accuracy)
    found = survey([(0, one)], [(away_m, other)])
    assert len(found.patches) == patches
    said = "may be the same patch: a.csv record 1 and b.csv record 1, as near as their accuracy allows"
    assert (said in found.notes) == named


def test_a_patch_whose_copy_is_found_is_not_named_with_its_neighbour(survey):
    said = {"accuracy": "5 m"}
    found = survey([(0, said)], [(0.3, said), (3.3, said)])
    assert len(found.patches) == 2 and not [note for note in found.notes if "same patch" in note]


@pytest.mark.parametrize(("away_m", "patches"), [(0, 1), (0.4, 1), (0.6, 2), (3, 2)])
def test_within_a_file_only_half_a_metre_counts_whatever_the_accuracy(away_m, patches, survey):
    assert len(survey([(0, {"accuracy": "8 m"}), (away_m, {"accuracy": "8 m"})]).patches) == patches


@pytest.mark.parametrize("swapped", [False, True])
def test_two_patches_that_a_file_tells_apart_are_never_copies_of_one(swapped, survey):
    said = {"accuracy": "5 m"}
    files = [[(0, said)], [(0.3, said), (3.3, said)]]
    found = survey(*(files[::-1] if swapped else files))
    assert len(found.patches) == 2 and len(found.set_aside) == 1
    east_m = np.sort(found.patches.centroid.x - found.patches.centroid.x.min())
    assert east_m[1] > 2.9


def test_files_with_the_same_close_patches_are_paired_place_by_place(survey):
    said = {"accuracy": "5 m"}
    one = [(3.0 * k, said) for k in range(6)]
    found = survey(one, [(east_m + 0.2, said) for east_m, _ in one[::-1]])
    assert kept(found) == [("a.csv", number) for number in range(1, 7)]
    assert [text.split()[6] for text in found.set_aside["reason"]] == ["6,", "5,", "4,", "3,", "2,", "1,"]


def test_copies_in_a_file_follow_their_record_to_what_stays_for_it(survey):
    found = survey([(0, {"height": "1 m", "stems": "3"})], [(0, {"height": "1 m"}), (0.3, {})])
    assert kept(found) == [("a.csv", 1)]
    assert set(found.set_aside["reason"]) == {"the same record as a.csv record 1, which is kept"}


def test_record_in_five_files_counts_once(survey):
    found = survey(*[[(0.1 * k, {})] for k in range(5)])
    assert kept(found) == [("a.csv", 1)]
    assert set(found.set_aside["reason"]) == {"the same record as a.csv record 1, which is kept"}


def test_chain_is_not_drawn_together(survey):
    places = [0.8 * k for k in range(6)]
    found = survey(*[[(east_m, {})] for east_m in places])
    name = {f"{letter}.csv": east_m for letter, east_m in zip("abcdef", places, strict=True)}
    for file, reason in zip(found.set_aside["file"], found.set_aside["reason"], strict=True):
        assert abs(name[file] - name[reason.split()[4]]) < 1
    assert np.diff(sorted(name[file] for file, _ in kept(found))).min() > 1


@pytest.mark.parametrize(("east_m", "patches"), [(20.16, 1), (19.85, 1), (20.26, 2), (19.75, 2)])
def test_outlines_may_differ_by_one_percent(east_m, patches, write, read):
    """A strip 20 m long along a square of 400 m2: 0.2 m wide it is 1 %."""
    write("a.geojson", shapes_file((square(), {})))
    write("b.geojson", shapes_file((square(east_m, turned=True, start=1), {})))
    assert len(read("a.geojson", "b.geojson").patches) == patches


def test_outline_with_more_corners_is_the_same_and_one_round_a_hole_is_not(write, read):
    more = shapely.segmentize(square(), 2e-5)
    hole = shapely.difference(square(), ground(shapely.Polygon, [(9, 9), (11.2, 9), (11.2, 11.2), (9, 11.2)]))
    write("a.geojson", shapes_file((square(), {})))
    write("b.geojson", shapes_file((more, {}), (hole, {})))
    assert kept(read("a.geojson", "b.geojson")) == [("a.geojson", 1), ("b.geojson", 2)]


LINE = [(0, 0), (50, 10), (100, 0)]


@pytest.mark.parametrize(
    ("corners", "more", "patches"),
    [
        (LINE[::-1], {}, 1), ([(0, 0.5), (50, 10.5), (100, 0.5)], {}, 1),
        ([(0, 0), (25, 5), (50, 10), (100, 0)], {}, 1), ([(0, 0), (50, 12), (100, 0)], {}, 2),
        ([(0, 0), (50, 10)], {}, 2), (LINE, {"width": "30 m"}, 2),
    ],
)  # fmt: skip
def test_lines_are_the_same_within_a_metre_and_of_one_width(corners, more, patches, write, read):
    write("a.geojson", shapes_file((ground(shapely.LineString, LINE), {})))
    write("b.geojson", shapes_file((ground(shapely.LineString, corners), more)))
    assert len(read("a.geojson", "b.geojson").patches) == patches


@pytest.mark.parametrize(("off_m", "patches", "named"), [(0.9, 1, False), (3, 2, True)])
def test_lines_of_one_middle_are_copies_only_when_no_corner_is_over_a_metre_off(off_m, patches, named, write, read):
    """A line and the same line with its ends moved by equal and opposite lengths: the middles agree."""
    turned = [(0, off_m), (50, 10), (100, -off_m)]
    for name, corners in (("a.geojson", LINE), ("b.geojson", turned)):
        write(name, shapes_file((ground(shapely.LineString, corners), {"accuracy": "5 m"})))
    found = read("a.geojson", "b.geojson")
    assert len(found.patches) == patches and any("may be the same patch" in note for note in found.notes) == named


@pytest.mark.parametrize(("half_m", "patches"), [(20.5, 1), (26, 2)])
def test_several_points_of_a_record_must_agree_one_by_one(half_m, patches, write, read):
    """The middle is the same, the ground is not."""
    for name, half in (("a.geojson", 20), ("b.geojson", half_m)):
        write(name, shapes_file((ground(shapely.MultiPoint, [(half, 0), (-half, 0)]), {}), radius="3 m"))
    assert len(read("a.geojson", "b.geojson").patches) == patches


def test_nothing_is_merged_where_the_settings_say_so(survey):
    found = survey([(0, {}), (0, {})], [(0, {})], intake={"merge_copies": False})
    assert len(found.patches) == 3 and not len(found.set_aside)


def test_exact_copy_of_a_file_changes_no_ground_and_no_acreage(survey):
    rng = np.random.default_rng(3)
    rows = [
        (east_m, {"species": str(plant), "accuracy": "4 m", "radius": f"{radius:.2f} m"})
        for east_m, plant, radius in zip(
            rng.uniform(0, 60, 40), rng.choice(["ROMU", "LOMA6", "ALPE4"], 40), rng.uniform(0.5, 3, 40), strict=True
        )
    ]
    alone, twice, thrice = survey(rows), survey(rows, rows[::-1]), survey(rows, rows[::-1], rows)
    assert len(alone.patches) == len(twice.patches) == len(thrice.patches) == 40
    ground_m2 = alone.patches.dissolve("species").area
    for other in (twice, thrice):
        assert other.patches.dissolve("species").area.to_numpy() == pytest.approx(ground_m2.to_numpy(), rel=1e-12)
    assert thrice.ledger["set_aside"].sum() == 80


def test_ground_of_copies_lies_on_that_of_the_records_kept_for_them(survey):
    rng = np.random.default_rng(5)
    files = [[(east_m, {"accuracy": "3 m"}) for east_m in rng.uniform(0, 150, 25)] for _ in range(4)]
    found = survey(*files)
    every = survey(*files, intake={"merge_copies": False})
    assert len(every.patches) == 100 == len(found.patches) + len(found.set_aside)
    assert len(found.set_aside) > 20
    grown = shapely.buffer(found.patches.union_all(), 1 + 0.5 + 0.01)
    assert grown.covers(every.patches.union_all())
    named = found.set_aside["reason"].str.extract(r"the same record as (\S+) record (\d+)")
    assert set(zip(named[0], named[1].astype(int), strict=True)) <= set(kept(found))
