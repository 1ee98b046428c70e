"""KML 2.2 as the standard describes it, and KMZ: shapes, folders, data, and what is passed over."""

from __future__ import annotations

import zipfile

import pytest
import shapely

from invasimap.inputs.formats.door import read_file
from invasimap.inputs.formats.kml import read_kml
from invasimap.inputs.formats.markup import plain_text

HEAD = '<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2" xmlns:gx="http://www.google.com/kml/ext/2.2">'
SPOT = "<Point><coordinates>-80,38,250</coordinates></Point>"


def _kml(inside):
    return f"{HEAD}<Document>{inside}</Document></kml>"


def _mark(inside, name="x"):
    return f"<Placemark><name>{name}</name>{inside}</Placemark>"


def _line(text, kind="LineString"):
    return f"<{kind}><coordinates>{text}</coordinates></{kind}>"


def _values(raw, row=0):
    return {key: value for key, value in raw.frame.iloc[row].items() if value is not None}


@pytest.fixture
def kml(write):
    def run(inside):
        (raw,) = read_kml(write("a.kml", _kml(inside)), label="a.kml")
        return raw

    return run


def _border(side, *places):
    text = " ".join(f"{lon},{lat},0" for lon, lat in places)
    return f"<{side}BoundaryIs>{_line(text, 'LinearRing')}</{side}BoundaryIs>"


def test_inner_rings_are_holes(kml):
    square = [(0, 0), (3, 0), (3, 3), (0, 3), (0, 0)]
    holes = [[(x, 1), (x, 2), (x + 0.5, 2), (x + 0.5, 1), (x, 1)] for x in (1, 2)]
    rings = _border("outer", *square) + "".join(_border("inner", *hole) for hole in holes)
    shape = kml(_mark(f"<Polygon>{rings}</Polygon>")).shapes[0]
    assert shape.equals(shapely.Polygon(square, holes)) and shape.area == 9 - 2 * 0.5


def test_an_open_ring_is_closed_and_said(kml):
    raw = kml(_mark(f"<Polygon>{_border('outer', (0, 0), (2, 0), (2, 2))}</Polygon>"))
    assert raw.shapes[0].area == 2 and raw.marks["repair"].tolist() == ["polygon ring closed"]


def test_multi_geometries_may_be_nested_and_of_one_kind_or_several(kml):
    line = _line("0,0 0,1")
    raw = kml(
        _mark(f"<MultiGeometry>{line}<MultiGeometry>{_line('1,0 1,1')}</MultiGeometry></MultiGeometry>")
        + _mark(f"<MultiGeometry>{SPOT}{line}</MultiGeometry>")
        + _mark("<MultiGeometry/>")
    )
    assert raw.shapes[0].wkt == "MULTILINESTRING ((0 0, 0 1), (1 0, 1 1))"
    assert raw.shapes[1].wkt == "GEOMETRYCOLLECTION (POINT (-80 38), LINESTRING (0 0, 0 1))"
    assert raw.marks["problem"].tolist() == ["", "", "has no geometry"]


@pytest.mark.parametrize("text", ["0,0,5 0,1,5", "0,0\n\t0,1", " 0, 0, 5  0, 1, 5 ", "0 ,0 0 ,1"])
def test_blanks_part_places_in_any_way_that_tells_them_apart(text, kml):
    raw = kml(_mark(_line(text)))
    assert raw.shapes[0].wkt == "LINESTRING (0 0, 0 1)" and raw.marks["problem"].tolist() == [""]


def test_places_that_run_together_are_read_in_threes_said_or_else_set_aside(kml):
    assert "5 numbers without a space" in kml(_mark(_line("0,0,\n0,1,5"))).marks["problem"][0]
    ring = _line("0,0,0,1,0,0 1,1,0 0,1,0 0,0,0", "LinearRing")
    raw = kml(_mark(f"<Polygon><outerBoundaryIs>{ring}</outerBoundaryIs></Polygon>"))
    assert raw.shapes[0].equals(shapely.box(0, 0, 1, 1)) and raw.marks["problem"].tolist() == [""]
    assert "read in threes" in raw.marks["repair"][0]
    raw = kml(_mark("<gx:Track><gx:coord>0 0 0 1</gx:coord><gx:coord>1 1 0</gx:coord></gx:Track>"))
    assert raw.shapes[0] is None and "without a blank between" in raw.marks["problem"][0]


def _track(*places, inside=""):
    coords = "".join(f"<gx:coord>{lon} {lat} 300</gx:coord>" for lon, lat in places)
    whens = "".join(f"<when>2024-05-0{k + 1}T10:00:00Z</when>" for k in range(len(places)))
    return f"<gx:Track>{whens}{coords}{inside}</gx:Track>"


def test_tracks_are_walked_lines_with_their_first_time(kml):
    tracks = [_track((0, 0), (0, 1)), _track((1, 0), (1, 1))]
    raw = kml(
        _mark(tracks[0]) + _mark(f"<gx:MultiTrack><gx:interpolate>0</gx:interpolate>{''.join(tracks)}</gx:MultiTrack>")
    )
    assert [shape.wkt for shape in raw.shapes] == ["LINESTRING (0 0, 0 1)", "MULTILINESTRING ((0 0, 0 1), (1 0, 1 1))"]
    assert raw.marks["walked"].tolist() == [True, True]
    assert raw.frame["time"].tolist() == ["2024-05-01T10:00:00Z"] * 2


def test_data_of_a_track_are_kept_but_not_those_of_each_place(kml):
    data = (
        '<ExtendedData><Data name="cover"><value>5</value></Data><SchemaData schemaUrl="#s">'
        '<SimpleData name="species">ROMU</SimpleData><gx:SimpleArrayData name="pulse"><gx:value>86</gx:value>'
        "</gx:SimpleArrayData></SchemaData></ExtendedData>"
    )
    values = _values(kml(_mark(_track((0, 0), (0, 1), inside=data))))
    assert values == {"name": "x", "time": "2024-05-01T10:00:00Z", "cover": "5", "species": "ROMU"}


def test_typed_untyped_and_foreign_data_are_columns(kml):
    data = (
        '<ExtendedData xmlns:c="urn:c"><Data name="cover"><displayName>C</displayName><value>25 %</value></Data>'
        '<SchemaData schemaUrl="#s"><SimpleData name="name">second</SimpleData></SchemaData>'
        "<c:camp>7</c:camp></ExtendedData><TimeSpan><begin>2024-05-01</begin></TimeSpan>"
    )
    raw = kml(f'<Placemark id="p7"><name>first</name>{data}{SPOT}</Placemark>')
    assert _values(raw) == {
        "name": "first", "id": "p7", "time": "2024-05-01", "cover": "25 %", "name_2": "second", "camp": "7",
    }  # fmt: skip


def test_folders_are_groups_wherever_their_name_stands(kml):
    inner = f"<Folder>{_mark(SPOT, 'a')}<name>B</name></Folder>"
    raw = kml(
        f"{_mark(SPOT, 'top')}<Folder><name>A</name>{inner}{_mark(SPOT, 'b')}</Folder>"
        f"<Folder>{_mark(SPOT, 'c')}</Folder>"
    )
    found = dict(zip(raw.frame["name"], raw.marks["group"], strict=True))
    assert found == {"top": "", "a": "A/B", "b": "A", "c": ""}


def test_links_and_overlays_are_said_and_styles_are_not(kml):
    others = "<Style id='s'/><StyleMap/><NetworkLink/><Folder><NetworkLink/><GroundOverlay/></Folder><Schema/>"
    raw = kml(others + _mark(SPOT))
    assert len(raw.frame) == 1
    assert raw.notes == (
        "a.kml: 2 links to other files are not followed", "a.kml: 1 pictures laid on the ground are not read",
    )  # fmt: skip


def test_placemarks_without_a_shape_that_is_read_are_set_aside(kml):
    raw = kml(_mark("") + _mark("<Model><Location><longitude>1</longitude></Location></Model>") + _mark(_line("")))
    assert raw.marks["problem"].tolist() == ["has no geometry", "has no geometry", "coordinates are blank"]


def test_a_table_in_a_description_is_names_and_values(kml):
    table = (
        "<![CDATA[<html><head><style>td {width: 50%}</style><meta charset='x'></head><body><TABLE><tr><th>Species</th>"
        "<td>Rosa multiflora</td></tr><tr bgcolor='#D4E4F3'><td>Cover</td><td>25&nbsp;%</td></tr></TABLE>"
        "<img src='p.jpg'/></body></html>]]>"
    )
    description = _values(kml(_mark(f"<description>{table}</description>{SPOT}")))["description"]
    assert description == "Species: Rosa multiflora\nCover: 25 %\np.jpg"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("dbh <five cm> &amp; more", "dbh <five cm> & more"),
        ("a <b>bold</b> <10 m", "a bold <10 m"),
        ("<script>if (a < b) { cover = '9%' }</script>kept", "kept"),
        ("<style>open to the end", "open to the end"),
        ("<p>one</p><p>two<br/>three</p>", "one\ntwo\nthree"),
        ("<!-- word --><div>x</div>", "word\nx"),
    ],
)
def test_only_tags_of_html_are_taken_out(text, words):
    assert plain_text(text) == words


def _zip(path, *members):
    with zipfile.ZipFile(path, "w") as archive:
        for name, content in members:
            archive.writestr(name, content)
    return path


def test_a_kmz_may_keep_its_document_in_a_folder_beside_pictures(tmp_path):
    path = _zip(
        tmp_path / "a.kmz", ("files/", ""), ("files/p.png", b"\x89PNG"), ("crew/doc.kml", _kml(_mark(SPOT, "q"))),
        ("__MACOSX/crew/._doc.kml", b"\0\5\x16\7"),
    )  # fmt: skip
    (raw,) = read_file(path, label="a.kmz")
    assert (raw.label, raw.frame["name"].tolist(), raw.notes) == ("a.kmz", ["q"], ())


def test_every_document_of_a_kmz_is_read_and_other_surveys_in_it_are_said(tmp_path):
    link = _kml("<NetworkLink><Link><href>b.kml</href></Link></NetworkLink>")
    path = _zip(tmp_path / "a.kmz", ("doc.kml", link), ("b.kml", _kml(_mark(SPOT, "q"))), ("c.csv", "lon,lat\n1,2\n"))
    first, second = read_file(path, label="a.kmz")
    assert (len(first.frame), second.frame["name"].tolist()) == (0, ["q"])
    assert first.notes == ("a.kmz:doc.kml: 1 links to other files are not followed", "a.kmz: not read: c.csv")
