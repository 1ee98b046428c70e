"""Faults of real files that were first met in files of receivers, loggers and field programs."""

from __future__ import annotations

import pytest
import shapely

from invasimap.inputs.moments import is_full_date

KML = '<kml xmlns="http://www.opengis.net/kml/2.2"><Placemark><name>ROMU</name>{}</Placemark></kml>'
LINE = "<LineString><coordinates>{}</coordinates></LineString>"


def test_places_run_together_by_commas_are_all_read(write, read):
    write("spaced.kml", KML.format(LINE.format("-80,38,5 -80,38.001,5 -80.001,38.001,5")))
    write("joined.kml", KML.format(LINE.format("-80,38,5,-80,38.001,5,-80.001,38.001,5")))
    spaced, joined = (read(name, defaults={"width": "2 m"}) for name in ("spaced.kml", "joined.kml"))
    assert shapely.equals_exact(joined.patches.geometry[0], spaced.patches.geometry[0], tolerance=1e-9)
    assert "without spaces" in joined.repaired["how"][0]


@pytest.mark.parametrize("text", ["-80,38,-80,38.001", "-80,38,5,-80,38.001"])
def test_a_tuple_of_four_or_five_numbers_is_no_place(write, read, text):
    write("a.kml", KML.format(LINE.format(f"{text} -80.001,38.001")))
    survey = read("a.kml", defaults={"width": "2 m"})
    assert survey.ledger["set_aside"].tolist() == [1]
    assert "are not read" in survey.set_aside["reason"][0]


def test_a_comma_behind_the_height_is_no_fourth_number(write, read):
    write("a.kml", KML.format("<Point><coordinates>-80,38,5,</coordinates></Point>"))
    assert read("a.kml", defaults={"radius": "2 m"}).ledger["set_aside"].tolist() == [0]


def test_kml_parts_named_as_in_other_formats_are_read(write, read):
    ring = "<LinearRing><coordinates>-80,38 -80,38.001 -79.999,38</coordinates></LinearRing>"
    ring = f"<outerBoundaryIs>{ring}</outerBoundaryIs>"
    point = "<Point><coordinates>-80,38</coordinates></Point>"
    line = LINE.format("-80,38 -80,38.001")
    named = {"MultiPolygon": f"<Polygon>{ring}</Polygon>", "MultiLineString": line, "MultiPoint": point}
    for name, inner in named.items():
        write(f"{name}.kml", KML.format(f"<{name}>{inner}</{name}>"))
        write(f"{name}_plain.kml", KML.format(inner))
        given = [read(file, defaults={"radius": "2 m", "width": "2 m"}).patches.geometry for file in
                 (f"{name}.kml", f"{name}_plain.kml")]  # fmt: skip
        assert given[0].geom_equals(given[1]).all() and len(given[0]) == 1


def test_the_hemisphere_of_a_logger_stands_in_a_column_of_its_own(write, read):
    write("a.csv", "species,LATITUDE,N/S,LONGITUDE,E/W\nROMU,38.001,N,80.001,W\nROMU,38.002,N,-80.001,W\n")
    survey = read("a.csv", defaults={"radius": "2 m"})
    assert survey.ledger["set_aside"].tolist() == [0]
    assert not survey.repaired["how"].str.contains("position put right").any()
    middles = survey.patches.centroid.to_crs(4326)
    assert middles.x.to_numpy() == pytest.approx([-80.001, -80.001], abs=1e-6)
    assert middles.y.to_numpy() == pytest.approx([38.001, 38.002], abs=1e-6)


def test_a_long_table_of_a_logger_keeps_its_hemispheres(write, read):
    rows = "".join(f"ROMU,38.{k % 1000:05d},N,80.{100 + k // 1000:05d},W,{'x' * 60}\n" for k in range(12_000))
    write("a.csv", f"species,LATITUDE,N/S,LONGITUDE,E/W,other\n{rows}")
    survey = read("a.csv", defaults={"radius": "2 m"})
    assert survey.ledger[["records", "set_aside"]].to_numpy().tolist() == [[12_000, 0]]
    assert not survey.repaired["how"].str.contains("position put right").any()
    assert survey.kept.xy[:, 0].min() == pytest.approx(-97.5, abs=0.2)  # 0.00111 degree west, at 38 N
    assert survey.kept.xy[:, 0].max() == pytest.approx(-87.8, abs=0.2)


def test_one_line_in_another_encoding_leaves_the_others_as_they_are(write, read):
    write("a.csv", "species,lon,lat,notes\nROMU,-80,38,Würz\n".encode() + "ROMU,-80,38.001,Höhe\n".encode("cp1252"))
    survey = read("a.csv", defaults={"radius": "2 m"})
    assert survey.patches["notes"].tolist() == ["Würz", "Höhe"]
    assert any("1 of its lines are not UTF-8" in note for note in survey.notes)


def test_a_table_all_in_windows_signs_is_read_as_such(write, read):
    write("a.csv", "species,lon,lat,notes\nROMU,-80,38,Würz\nROMU,-80,38.001,Höhe\n".encode("cp1252"))
    survey = read("a.csv", defaults={"radius": "2 m"})
    assert survey.patches["notes"].tolist() == ["Würz", "Höhe"]
    assert any("is not UTF-8" in note for note in survey.notes)


def test_a_long_name_before_a_bracket_is_no_date_at_once():
    """Words that could be parted in very many ways are looked through once."""
    assert not is_full_date("Stratton-Rock outcrop-Lyman-Londonderry-Houghtonville (s8339)")
    assert is_full_date("Tuesday, September 3rd, 2024")


def test_a_line_to_beyond_the_globe_is_set_aside(write, read):
    write("a.csv", 'species,wkt\nROMU,"LINESTRING (500000 4200000, 381039468754763 123456789)"\n')
    survey = read("a.csv", crs="EPSG:26917", defaults={"width": "2 m"})
    assert survey.ledger["set_aside"].tolist() == [1]
    assert "beyond the globe" in survey.set_aside["reason"][0]
