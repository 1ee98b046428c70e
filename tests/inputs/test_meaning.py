"""Columns and cells that look like one thing and mean another."""

from __future__ import annotations

import math

import pytest

from invasimap.inputs.species import load_catalogue

AT = "-80,38\n"


def test_an_area_of_words_is_the_name_of_a_place(write, read):
    write("a.csv", f"species,cover,area,radius_ft,lon,lat\nROMU,50,North Woods,,{AT}LOJA,50,South Woods,20,{AT}")
    survey = read("a.csv", defaults={"radius": "10 ft"})
    assert survey.patches.area.tolist() == pytest.approx([math.pi * 3.048**2, math.pi * 6.096**2])
    assert "a.csv: column 'area' is not used as an area: no cell has a number" in survey.notes
    assert survey.patches["other"][0] == '{"area": "North Woods"}'


def test_an_area_with_one_number_stays_an_area(write, read):
    write("a.csv", f"species,cover,area,lon,lat\nROMU,50,large,{AT}LOJA,50,0.1 acre,{AT}")
    survey = read("a.csv", defaults={"radius": "10 ft"})
    assert survey.set_aside["reason"].tolist() == ["area 'large' is not read: write it such as \"0.5 acre\""]
    assert survey.patches.area.item() == pytest.approx(404.68564224)


@pytest.mark.parametrize("cell", ["N/A", "n/a", "NA", "-", "null"])
def test_a_size_said_to_be_none_gives_way_to_another(cell, write, read):
    write("a.csv", f"species,cover,radius_ft,area_ac,lon,lat\nROMU,{cell},{cell},0.1,{AT}")
    survey = read("a.csv")
    assert survey.patches.area.item() == pytest.approx(404.68564224)
    assert survey.repaired["how"].tolist() == ["cover not recorded: counted as 100 %"]


def test_a_size_of_zero_gives_way_to_another_but_is_no_size_alone(write, read):
    head = "species,cover,radius_ft,area_ac,length_ft,width_ft,lon,lat\n"
    write("a.csv", head + f"ROMU,50,0,0.1,0,0,{AT}LOJA,50,0,0,20,10,{AT}ELUM,50,0,0,0,0,{AT}ACPL,50,-1,0.1,,,{AT}")
    survey = read("a.csv")
    assert survey.patches.area.tolist() == pytest.approx([404.68564224, math.pi * 3.048 * 1.524])
    assert survey.set_aside["reason"].tolist() == [
        f"radius {size} ft is not above zero: type its size, or leave it blank" for size in (0, -1)
    ]


def test_a_height_without_an_upper_end_is_not_known_and_a_default_does_not_fill_it(write, read):
    rows = [f"ROMU,50,10,{height},-80,38.{row}\n" for row, height in enumerate(("> 6", "4-10", "under 3", ""))]
    write("a.csv", "species,cover,radius_ft,height_ft,lon,lat\n" + "".join(rows).replace("38.", "38.000"))
    survey = read("a.csv", defaults={"height": "2 ft"})
    height_m = survey.patches["height_m"].tolist()
    assert math.isnan(height_m[0]) and height_m[1:] == pytest.approx([10 * 0.3048, 3 * 0.3048, 2 * 0.3048])
    assert survey.repaired["how"].tolist() == [
        "height '> 6 ft' has no upper end: counted as not known, tall", "height under 3 ft counted as 3 ft",
        "height from defaults: 2 ft",
    ]  # fmt: skip


def test_cover_is_told_only_where_the_record_says_how_much(write, read):
    cells = ("40", "25-50 %", "", "3 class")
    rows = [f"ROMU,{cell},10,-80,38.000{row}\n" for row, cell in enumerate(cells)]
    write("a.csv", "species,cover,radius_ft,lon,lat\n" + "".join(rows))
    for default, filled in (({"cover": "20-40 %"}, 30), ({}, 100)):
        patches = read("a.csv", defaults=default).patches
        assert patches["cover_told"].tolist() == [True, True, False, False]
        assert patches["cover_pct"].tolist() == [40, 37.5, filled, 100]
    classes = "species,cover class,radius_ft,lon,lat\nROMU,3,10,-80,38\nROMU,99,10,-80,38.001\n"
    write("b.csv", classes)
    for scale, told in (("daubenmire", [True]), (None, [False, True])):
        assert read("b.csv", cover_scale=scale).patches["cover_told"].tolist() == told


def test_a_bearing_that_is_not_read_is_said(write, read):
    write("a.csv", f"species,cover,length_ft,width_ft,bearing,lon,lat\nROMU,50,100,10,N45E,{AT}LOJA,50,100,10,45°,{AT}")
    survey = read("a.csv")
    assert survey.repaired[["record", "how"]].to_numpy().tolist() == [
        [1, "bearing 'N45E' is not read: drawn from west to east"]
    ]
    west, south, east, north = survey.patches.bounds.to_numpy()[0]
    assert east - west == pytest.approx(30.48, abs=0.05) and north - south == pytest.approx(3.048, abs=0.01)


def test_a_second_plant_of_a_row_is_not_lost_without_a_word(write, read):
    write("a.csv", f"Species1,Cover1,Species2,Cover2,lon,lat\nROMU,20,LOMA6,40,{AT}ROMU,20,,,{AT}")
    said = "a.csv: column 'Species2' names invasive plants and is not read: write one record for each plant"
    assert said in read("a.csv", defaults={"radius": "10 ft"}).notes
    write("b.csv", f"Species,Tree species,Species 2,lon,lat\nROMU,Acer platanoides,none,{AT}")
    assert not any("is not read" in note for note in read("b.csv", defaults={"radius": "10 ft"}).notes)


@pytest.mark.parametrize(
    ("header", "yes", "no"),
    [("occurrenceStatus", "present", "absent"), ("Present?", "Yes", "No"), ("presence", "1", "0")],
)
def test_a_plant_said_to_be_absent_is_no_patch(header, yes, no, write, read):
    write("a.csv", f"species,cover,radius_ft,{header},lon,lat\nROMU,5,10,{yes},{AT}LOJA,5,10,{no},{AT}ELUM,5,10,,{AT}")
    survey = read("a.csv")
    assert survey.patches["species"].tolist() == ["Rosa multiflora", "Elaeagnus umbellata"]
    assert survey.set_aside["reason"].tolist() == [f"{header} {no}: recorded as none found"]


def test_a_position_0_0_is_not_told_as_one_of_few_decimals(write, read):
    write("a.csv", "species,cover,radius_ft,lon,lat\nROMU,50,10,0,0\nROMU,50,10,-80.00012,38.00034\n")
    assert read("a.csv").notes == []


def test_infestation_cut_to_ten_signs_is_no_cover(write, read):
    write("a.csv", f"species,Infestatio,lon,lat\nROMU,1.2,{AT}")
    assert read("a.csv", defaults={"radius": "10 ft"}).patches["cover_pct"].tolist() == [100.0]


def test_centimetres_under_a_header_of_metres_are_no_height(write, read):
    write("a.csv", f"species,cover,radius_ft,height_m,lon,lat\nROMU,50,10,150,{AT}ACPL,50,10,45,{AT}")
    survey = read("a.csv")
    assert math.isnan(survey.patches["height_m"][0]) and survey.patches["height_m"][1] == 45
    assert survey.repaired["how"].tolist() == ["height 150 m is more than a plant's: not used"]


def test_a_point_that_reaches_over_the_tract_is_said(write, read):
    write("a.csv", f"species,cover,radius_ft,lon,lat\nROMU,50,5000,{AT}LOJA,50,50,{AT}")
    said = "a.csv: points that reach over 1,000 m by their size: 1, such as record 1 (1,524 m): check its unit"
    assert said in read("a.csv").notes


@pytest.mark.parametrize(
    ("name", "status"), [("Acer saccharinum", "native"), ("Japanese rose", ""), ("snow-on-the-mountain", "")]
)
def test_a_name_of_two_plants_is_not_read_as_one_of_them(name, status):
    found = load_catalogue().match(name)  # silver maple; multiflora and rugosa rose; goutweed and a native spurge
    assert (found.scientific_name, found.known, found.native) == (name, False, status == "native")
