"""Areas of patches against worked examples computed by hand."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
import shapely

from invasimap.inputs.patches import ellipses

FT2 = 0.3048**2
ACRE = 43_560 * FT2
HEAD = "species,cover,{},lon,lat\n"


def _one(write, read, header, cell, **section):
    write("a.csv", HEAD.format(header) + f"ROMU,50,{cell},-80,38\n")
    return read("a.csv", **section)


def test_circle_of_30_ft_diameter_is_706_858347_ft2(write, read):
    area = _one(write, read, "diameter_ft", "30").patches.area.item()
    assert area / FT2 == pytest.approx(706.858347058, rel=1e-11)
    assert area / ACRE == pytest.approx(0.0162272347809, rel=1e-11)


def test_40_by_24_ft_is_an_ellipse_of_753_982237_ft2_long_axis_east(write, read):
    patches = _one(write, read, "Size (ft)", "24 x 40").patches
    assert patches.area.item() / FT2 == pytest.approx(753.982236862, rel=1e-11)
    west, south, east, north = patches.total_bounds
    assert (east - west) / (north - south) == pytest.approx(40 / 24, rel=1e-9)


def test_bearing_turns_the_long_axis(write, read):
    write("a.csv", "species,cover,length_ft,width_ft,bearing,lon,lat\nROMU,50,40,24,0,-80,38\n")
    west, south, east, north = read("a.csv").patches.total_bounds
    assert (north - south) / (east - west) == pytest.approx(40 / 24, rel=1e-9)


def test_area_gives_a_circle_of_that_area(write, read):
    assert _one(write, read, "gross_ac", "0.5").patches.area.item() / ACRE == pytest.approx(0.5, rel=1e-11)


def test_line_of_1000_by_12_ft_is_0_275482_acre_with_flat_ends(write, read):
    # 1000 ft = 304.8 m along the equator-free meridian: 304.8 / 110,990.2 m per degree at 38 N (WGS 84)
    end = 38 + 304.8 / 110_990.2
    line = {"type": "LineString", "coordinates": [[-80, 38], [-80, end]]}
    feature = {"type": "Feature", "properties": {"species": "ROMU", "width": "12 ft"}, "geometry": line}
    write("a.geojson", json.dumps({"type": "FeatureCollection", "features": [feature]}))
    assert read("a.geojson").patches.area.item() / ACRE == pytest.approx(0.275482093664, rel=2e-4)


@pytest.mark.parametrize(("header", "cell"), [("Diameter (cm)", "12"), ("Diameter", "12 cm"), ("diam", "5 in")])
def test_a_stems_diameter_is_no_ground(header, cell, write, read):
    write("a.csv", f"species,cover,{header},radius_ft,lon,lat\nROMU,20,{cell},10,-80,38\n")
    survey = read("a.csv")
    assert survey.patches.area.item() == pytest.approx(math.pi * 3.048**2, rel=1e-9)
    assert cell in survey.patches["other"].item()
    assert any(f"column {header!r} is not used" in note for note in survey.notes)
    write("b.csv", f"species,cover,{header},lon,lat\nROMU,20,{cell},-80,38\n")
    assert "no size" in read("b.csv").set_aside["reason"].item()


@pytest.mark.parametrize(
    ("header", "cell", "stem_mm", "said"),
    [
        ("DBH_in", "3", 76.2, ""), ("stem diameter", "2-6 in", 152.4, ""), ("Stem_Diam_cm", "8", 80.0, ""),
        ("stem_diam", "<4 in", 101.6, "counted as 4 in"), ("stem_diam", "over 4 in", None, "not known, thick"),
        ("stem_diam", "4", None, "has no unit"), ("stem_diam", "5000 mm", None, "more than a stem's"),
        ("stem_diam", "", None, ""),
    ],
)  # fmt: skip
def test_the_thickest_stem_is_kept_with_the_patch_and_is_no_ground(header, cell, stem_mm, said, write, read):
    write("a.csv", f"species,cover,{header},radius_ft,lon,lat\nROMU,20,{cell},10,-80,38\n")
    survey = read("a.csv")
    assert survey.patches.area.item() == pytest.approx(math.pi * 3.048**2, rel=1e-9)
    found = survey.patches["stem_mm"].item()
    assert math.isnan(found) if stem_mm is None else found == pytest.approx(stem_mm)
    assert said in "".join(survey.repaired["how"]) and bool(said) == bool(len(survey.repaired))
    write("b.csv", f"species,cover,{header},lon,lat\nROMU,20,{cell},-80,38\n")
    assert "no size" in read("b.csv").set_aside["reason"].item()


def test_records_that_state_other_stems_are_no_copies(write, read):
    rows = "ROMU,20,10,-80,38,{}\nROMU,20,10,-80,38,{}\n"
    for stems, patches in ((("2 in", "6 in"), 2), (("2 in", "2 in"), 1), (("2 in", ""), 1)):
        write("a.csv", "species,cover,radius_ft,lon,lat,stem_diam\n" + rows.format(*stems))
        assert len(read("a.csv").patches) == patches


def test_a_column_may_be_named_as_the_stems(write, read):
    write("a.csv", "species,cover,Diameter (in),radius_ft,lon,lat\nROMU,20,5,10,-80,38\n")
    survey = read("a.csv", columns={"stem_diameter": "Diameter (in)"})
    assert survey.patches["stem_mm"].item() == pytest.approx(127.0)
    assert not any("not used" in note for note in survey.notes)


def test_a_setting_still_makes_a_diameter_of_inches_the_patchs(write, read):
    write("a.csv", "species,cover,Diameter (in),lon,lat\nROMU,20,120,-80,38\n")
    survey = read("a.csv", columns={"diameter": "Diameter (in)"})
    assert survey.patches.area.item() == pytest.approx(math.pi * 1.524**2, rel=1e-9)
    assert not any("not used" in note for note in survey.notes)


def test_radius_comes_before_diameter_area_and_pair(write, read):
    write(
        "a.csv",
        "species,cover,area_ac,length_ft,width_ft,diameter_ft,radius_ft,lon,lat\n"
        "ROMU,50,1,40,24,30,10,-80,38\nROMU,50,1,40,24,30,,-80,38\nROMU,50,1,40,24,,,-80,38\nROMU,50,,40,24,,,-80,38\n",
    )
    areas = (read("a.csv").patches.area / FT2).tolist()
    assert areas == pytest.approx([314.159265359, 706.858347058, 43_560, 753.982236862], rel=1e-9)


def test_defaults_fill_and_are_said(write, read):
    write("a.csv", "species,lon,lat\nROMU,-80,38\n")
    survey = read("a.csv", defaults={"radius": "10 ft", "cover": "25-50 %"})
    assert survey.repaired["how"].tolist() == ["cover from defaults: 25-50 %; radius from defaults: 10 ft"]
    assert survey.patches.area.item() / FT2 == pytest.approx(314.159265359, rel=1e-11)
    assert survey.patches["cover_pct"].item() == 37.5


@pytest.mark.parametrize(
    ("header", "cell", "reason"),
    [
        ("radius", "10", "radius 10 has no unit"),
        ("radius_ft", "1O", "radius '1O' is not read"),
        ("radius_ft", "0", "radius 0 ft is not above zero"),
        ("radius_ft", "-5", "radius -5 ft is not above zero"),
        ("length_ft", "40", "length without width"),
        ("radius_ft", "", "no size"),
        ("size", "20 m", "does not say whether it is a radius"),
    ],
)
def test_size_that_cannot_be_used_sets_the_record_aside(header, cell, reason, write, read):
    survey = _one(write, read, header, cell)
    assert reason in survey.set_aside["reason"].item()
    assert len(survey.patches) == 0


def _square(size_deg, hole=False):
    def ring(s):
        return [[-80 - s, 38 - s], [-80 + s, 38 - s], [-80 + s, 38 + s], [-80 - s, 38 + s], [-80 - s, 38 - s]]

    return {"type": "Polygon", "coordinates": [ring(size_deg), ring(size_deg / 2)] if hole else [ring(size_deg)]}


def _geojson(*geometries):
    features = [{"type": "Feature", "properties": {"species": "ROMU", "cover": "5"}, "geometry": g} for g in geometries]
    return json.dumps({"type": "FeatureCollection", "features": features})


def test_hole_takes_a_quarter(write, read):
    write("a.geojson", _geojson(_square(0.001), _square(0.001, hole=True)))
    whole, holed = read("a.geojson").patches.area
    assert holed / whole == pytest.approx(0.75, rel=1e-6)


def test_bow_tie_is_set_aside_with_its_area_change(write, read):
    bow = {"type": "Polygon", "coordinates": [[[-80, 38], [-79.999, 38.001], [-79.999, 38], [-80, 38.001], [-80, 38]]]}
    write("a.geojson", _geojson(bow))
    survey = read("a.geojson")
    assert "self-intersection" in survey.set_aside["reason"].item()


def test_small_loop_at_the_end_of_a_walk_is_mended(write, read):
    ring = [[-80, 38], [-79.99, 38], [-79.99, 38.01], [-80, 38.01], [-80, 37.9999], [-79.9999, 38.0001], [-80, 38]]
    write("a.geojson", _geojson({"type": "Polygon", "coordinates": [ring]}))
    survey = read("a.geojson")
    assert survey.repaired["how"].item().startswith("outline mended")
    # 0.01 x 0.01 degree at 38 N: 1,110 m x 878 m
    assert survey.patches.area.item() == pytest.approx(1110 * 878, rel=5e-3)


def test_multipoint_and_collection_are_the_union_of_their_parts(write, read):
    points = {"type": "MultiPoint", "coordinates": [[-80, 38], [-79.999, 38]]}
    mixed = {
        "type": "GeometryCollection",
        "geometries": [_square(0.0001), {"type": "Point", "coordinates": [-79.999, 38]}],
    }
    write("a.geojson", _geojson(points, mixed, _square(0.0001)))
    survey = read("a.geojson", defaults={"radius": "10 ft"})
    two, both, square = survey.patches.area / FT2
    assert two == pytest.approx(2 * 314.159265359, rel=1e-9)
    assert both == pytest.approx(square + 314.159265359, rel=1e-9)
    assert survey.patches["shape"].tolist() == ["point", "polygon", "polygon"]


GPX = '<?xml version="1.0"?><gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">{}</gpx>'


def _track(*places, name="ROMU"):
    points = "".join(f'<trkpt lon="{lon}" lat="{lat}"/>' for lon, lat in places)
    return f"<trk><name>{name}</name><trkseg>{points}</trkseg></trk>"


def test_track_whose_ends_meet_is_a_polygon_and_an_open_one_a_line(write, read):
    # 100 m is 0.000901 degree of latitude; the walk ends 0.0001 degree (11 m) short of its start
    walk = [(-80, 38), (-79.999, 38), (-79.999, 38.001), (-80, 38.001), (-80, 38.0001)]
    write("a.gpx", GPX.format(_track(*walk) + _track((-80, 38), (-79.999, 38), (-79.998, 38))))
    survey = read("a.gpx", defaults={"width": "12 ft", "cover": "50 %"})
    assert survey.patches["shape"].tolist() == ["polygon", "line"]
    assert survey.patches.area.iloc[0] == pytest.approx(111.0 * 87.8, rel=2e-3)
    assert "walk closed over a gap of 11.1 m" in survey.repaired["how"].iloc[0]


def test_short_straight_track_is_no_outline(write, read):
    write("a.gpx", GPX.format(_track((-80, 38), (-79.99995, 38), (-79.9999, 38))))
    survey = read("a.gpx", defaults={"width": "2 m"})
    assert survey.patches["shape"].tolist() == ["line"]
    assert survey.patches.area.item() == pytest.approx(0.0001 * 87_832 * 2, rel=1e-3)


def test_line_without_length_costs_one_record(write, read):
    flat = {"type": "LineString", "coordinates": [[-80, 38], [-80, 38]]}
    write("a.geojson", _geojson(_square(0.0001), flat, _square(0.0002)))
    survey = read("a.geojson", defaults={"width": "2 m"})
    assert survey.patches["record"].tolist() == [1, 3]
    assert "line without length" in survey.set_aside["reason"].item()


@pytest.mark.parametrize("far", ["", "5e300", "9e8"])
def test_a_hole_of_nothing_or_of_no_place_costs_one_record(far, write, read):
    """A square whose hole is empty or has a place beyond the globe, and a good neighbour."""
    inner = f"[[-80, 38], [-79.9995, 38.0005], [{far}, 38], [-80, 38]]" if far else "[]"
    ring = "[[-80, 38], [-79.998, 38], [-79.998, 38.002], [-80, 38.002], [-80, 38]]"
    head = '{"type": "Feature", "properties": {"species": "ROMU"}, "geometry": {"type": "Polygon", "coordinates": '
    features = ", ".join(f"{head}[{rings}]}}}}" for rings in (f"{ring}, {inner}", ring))
    write("a.geojson", f'{{"type": "FeatureCollection", "features": [{features}]}}')
    survey = read("a.geojson")
    assert survey.ledger["records"].tolist() == [2] and len(survey.patches) == 1  # without its hole it is a copy


def test_an_outline_keeps_its_area_and_its_corners_within_a_centimetre_of_the_curve():
    radius_m = np.geomspace(0.05, 12, 40)
    middles = np.full(40, 1e4)
    drawn = ellipses(middles, -middles, a_m=radius_m, b_m=radius_m)
    assert shapely.area(drawn) == pytest.approx(np.pi * radius_m**2, rel=1e-7)
    for outline, wanted_m in zip(drawn, radius_m, strict=True):
        away_m = np.hypot(*(shapely.get_coordinates(outline) - [1e4, -1e4]).T)
        assert 0 < away_m.min() - wanted_m <= away_m.max() - wanted_m <= 0.01 + 1e-9
    assert len(shapely.get_coordinates(ellipses(middles[:1], middles[:1], a_m=50.0, b_m=20.0)[0])) == 64 + 1
