"""GPX as its schemas 1.0 and 1.1 describe it: what each element holds reaches the records."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from invasimap.inputs.formats.door import read_file
from invasimap.inputs.formats.gpx import read_gpx

SPACES = {"1.0": "http://www.topografix.com/GPX/1/0", "1.1": "http://www.topografix.com/GPX/1/1"}


def _gpx(inside, version="1.1", spaces=""):
    space = SPACES[version]
    return f'<?xml version="1.0"?><gpx version="{version}" creator="t" xmlns="{space}" {spaces}>{inside}</gpx>'


def _point(kind, lon, lat, inside=""):
    return f'<{kind} lat="{lat}" lon="{lon}">{inside}</{kind}>'


def _values(raw, row=0):
    return {key: value for key, value in raw.frame.iloc[row].items() if value is not None}


@pytest.fixture
def gpx(write):
    def run(inside, **options):
        return read_gpx(write("a.gpx", _gpx(inside, **options)), label="a.gpx")

    return run


@pytest.mark.parametrize("version", ["1.0", "1.1"])
def test_waypoints_routes_and_tracks_of_either_version_are_records_in_that_order(version, gpx):
    track = "".join(_point("trkpt", -80 + k / 100, 38) for k in range(3))
    raw = gpx(
        f"<trk><name>T1</name><trkseg>{track}</trkseg></trk>"
        f"<rte><name>R</name>{_point('rtept', -80, 38)}{_point('rtept', -80, 38.5)}</rte>"
        f"<trk><name>T2</name><trkseg>{track}</trkseg></trk>"
        f"{_point('wpt', -80, 38, '<name>W1</name>')}{_point('wpt', -81, 39, '<name>W2</name>')}",
        version=version,
    )
    assert raw.frame["name"].tolist() == ["W1", "W2", "R", "T1", "T2"]
    assert raw.marks["group"].tolist() == ["waypoints", "waypoints", "routes", "tracks", "tracks"]
    assert raw.marks["walked"].tolist() == [False, False, False, True, True]
    assert [shape.wkt for shape in raw.shapes[:3]] == [
        "POINT (-80 38)", "POINT (-81 39)", "LINESTRING (-80 38, -80 38.5)",
    ]  # fmt: skip
    assert raw.shapes[3].equals(shapely.LineString([(-80, 38), (-79.99, 38), (-79.98, 38)]))
    assert (raw.marks["problem"] == "").all() and raw.crs.to_epsg() == 4326


def test_each_segment_of_a_track_is_a_line_of_its_own(gpx):
    segments = [[(-80, 38), (-80, 38.1)], [], [(-80, 38.2), (-80, 38.3), (-80.1, 38.3)]]
    text = "".join(f"<trkseg>{''.join(_point('trkpt', *p) for p in part)}</trkseg>" for part in segments)
    assert gpx(f"<trk>{text}</trk>").shapes[0].equals(shapely.MultiLineString([segments[0], segments[2]]))


def test_a_track_takes_the_first_time_of_its_points_and_keeps_its_own(gpx):
    times = ["<time>2024-05-01T10:00:00Z</time>", "<time>2024-05-01T11:00:00Z</time>"]
    line = "".join(_point("trkpt", -80, 38 + k, time) for k, time in enumerate(times))
    raw = gpx(f"<trk><trkseg>{line}</trkseg></trk><trk><time>2023-01-01T00:00:00Z</time><trkseg>{line}</trkseg></trk>")
    assert raw.frame["time"].tolist() == ["2024-05-01T10:00:00Z", "2023-01-01T00:00:00Z"] and raw.utc


def test_a_wrong_point_is_named_by_its_number_and_sets_its_track_aside(gpx):
    good, wrong = _point("trkpt", -80, 38), _point("trkpt", -80, "38,5")
    raw = gpx(f"<trk><name>T</name><trkseg>{good}{good}</trkseg><trkseg>{good}{wrong}{good}</trkseg></trk>")
    assert raw.marks["problem"].tolist() == ["point 2: lat '38,5' is no number"]
    assert raw.frame["name"].tolist() == ["T"]


def test_every_link_of_a_waypoint_is_kept(gpx):
    links = '<link href="p1.jpg"><text>one</text></link><link href="p2.jpg"/><link><text>three</text></link>'
    assert _values(gpx(_point("wpt", -80, 38, links))) == {"link": "p1.jpg", "link_2": "p2.jpg", "link_3": "three"}


def test_extensions_keep_nested_elements_attributes_and_text(gpx):
    inside = (
        '<extensions><v:plant code="ROMU" v:count="3">thicket<v:cover unit="%">50</v:cover><v:deep><v:more>'
        '<v:field name="observer" value="A. B."/><v:id>007</v:id></v:more></v:deep><v:blank/></v:plant></extensions>'
    )
    assert _values(gpx(_point("wpt", -80, 38, inside), spaces='xmlns:v="urn:v" xmlns:w="urn:w"')) == {
        "code": "ROMU", "count": "3", "plant": "thicket", "cover": "50 %", "observer": "A. B.", "id": "007",
    }  # fmt: skip


def test_elements_of_a_maker_stand_among_those_of_version_1_0(gpx):
    inside = (
        '<url>p.jpg</url><urlname>p</urlname><v:field name="cover" value="20"/><v:size colour="red">5 m</v:size>'
        '<v:plant xmlns:v="urn:v"><v:species>ROMU</v:species></v:plant>'
    )
    assert _values(gpx(_point("wpt", -80, 38, inside), version="1.0", spaces='xmlns:v="urn:v"')) == {
        "url": "p.jpg", "urlname": "p", "cover": "20", "size": "5 m", "size_colour": "red", "species": "ROMU",
    }  # fmt: skip


def test_extensions_of_a_track_are_its_own_and_not_its_points(gpx):
    points = "".join(
        _point("trkpt", -80, 38 + k, f"<ele>{k}</ele><extensions><hr>90</hr></extensions>") for k in range(2)
    )
    raw = gpx(f"<trk><name>T</name><extensions><cover>5</cover></extensions><trkseg>{points}</trkseg></trk>")
    assert _values(raw) == {"name": "T", "cover": "5"}


def test_the_same_name_twice_keeps_both_values(gpx):
    inside = "<extensions><a><species>ROMU</species></a><b><species>LOJA</species><name>x</name></b></extensions>"
    assert _values(gpx(_point("wpt", -80, 38, "<name>W</name>" + inside))) == {
        "name": "W", "species": "ROMU", "species_2": "LOJA", "name_2": "x",
    }  # fmt: skip


def test_prefixes_that_nobody_declared_cost_nothing(write):
    text = f"<gpx><ns:wpt lat='38' lon='-80'><ns:name>W</ns:name></ns:wpt>{_point('wpt', -80, 38)}</gpx>"
    with pytest.raises(ET.ParseError):
        ET.fromstring(text)
    raw = read_gpx(write("a.gpx", text), label="a.gpx")
    assert len(raw.frame) == 2 and _values(raw) == {"name": "W"}


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "iso-8859-1"])
def test_text_of_any_declared_encoding_is_the_same(encoding, write):
    text = _gpx(_point("wpt", -80, 38, "<name>Épine, 5 &lt; 6 m²</name>")).replace(
        '<?xml version="1.0"?>', f'<?xml version="1.0" encoding="{encoding[:6] if "16" in encoding else encoding}"?>'
    )
    raw = read_gpx(write("a.gpx", text.replace('"utf-8-sig"', '"utf-8"').encode(encoding)), label="a.gpx")
    assert _values(raw) == {"name": "Épine, 5 < 6 m²"} and raw.notes == ()


def test_stray_ampersands_and_controls_are_said(gpx):
    raw = gpx(_point("wpt", -80, 38, "<name>A &amp; B & C\x0b</name><desc><![CDATA[x & y]]></desc>"))
    assert _values(raw) == {"name": "A & B & C", "desc": "x & y"}
    assert raw.notes == (
        "a.gpx: 1 control characters that XML does not allow are dropped",
        "a.gpx: 1 signs '&' that XML does not allow are taken as text",
    )


DEGREES = st.tuples(st.integers(-179_999, 179_999), st.integers(-89_999, 89_999)).map(
    lambda p: (p[0] / 1e3, p[1] / 1e3)
)
TEXTS = st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), min_size=1, max_size=8)


@settings(max_examples=25, deadline=None)
@given(
    waypoints=st.lists(st.tuples(DEGREES, TEXTS), max_size=4),
    tracks=st.lists(st.lists(st.lists(DEGREES, max_size=3), max_size=3), max_size=3),
)
def test_as_many_records_with_the_same_places_as_the_file_holds(waypoints, tracks, tmp_path_factory):
    root = ET.Element("gpx")
    for (lon, lat), name in waypoints:
        ET.SubElement(ET.SubElement(root, "wpt", lat=str(lat), lon=str(lon)), "name").text = name
    for segments in tracks:
        track = ET.SubElement(root, "trk")
        for places in segments:
            segment = ET.SubElement(track, "trkseg")
            for lon, lat in places:
                ET.SubElement(segment, "trkpt", lat=str(lat), lon=str(lon))
    path = tmp_path_factory.getbasetemp() / "any.gpx"
    path.write_bytes(ET.tostring(root, encoding="utf-8"))
    (raw,) = read_file(path, label="any.gpx")
    assert len(raw.frame) == len(waypoints) + len(tracks)
    for k, ((lon, lat), name) in enumerate(waypoints):
        assert raw.shapes[k].coords[0] == (lon, lat) and raw.frame["name"][k] == name
    for segments, shape in zip(tracks, raw.shapes[len(waypoints) :], strict=True):
        whole = [part for part in segments if len(set(part)) > 1]
        drawn = [] if shape is None else [list(part.coords) for part in getattr(shape, "geoms", [shape])]
        if whole:
            assert drawn == whole
        else:
            assert {place for part in drawn for place in part} <= {place for part in segments for place in part}
