"""Layers as callers hand them in: right by hand computation whichever way areas are worked, or one clear error."""

import datetime

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from invasimap import cut_faces
from invasimap.core.errors import CRSError, LayerError
from invasimap.mosaic import acreage as rooms
from invasimap.mosaic.acreage import acreage

CRS = "EPSG:32617"
AT = np.array([450_000.0, 4_200_000.0])
BIG = shapely.box(-500, -500, 500, 500)
TURN = np.arange(5) * 4 * np.pi / 5
DOUBLE = [(0, 0), (10, 0), (10, 10), (0, 10)]
STAR_M2 = 500 * np.tan(np.pi / 5) * np.cos(2 * np.pi / 5)  # ten triangles: middle, tip, notch
OUTLINES = {
    "bow tie": ([(0, 0), (10, 10), (10, 0), (0, 10)], 50),
    "lobes of two sizes": ([(0, 0), (40, 40), (40, 0), (0, 39)], 39**2 / 3.95 + 20 * (40 - 39 / 1.975)),
    "walked round twice": (DOUBLE * 2, 100),
    "walked round twice, then back": (DOUBLE * 2 + DOUBLE[::-1], 100),
    "spike": ([(0, 0), (10, 0), (10, 10), (5, 10), (5, 30), (5, 10), (0, 10)], 100),
    "five-pointed star": (np.column_stack([10 * np.cos(TURN), 10 * np.sin(TURN)]), STAR_M2),
}
WITH_HOLES = {  # what is drawn, and its square metres: shells less what of the holes lies in them
    "hole across its shell": (
        shapely.Polygon(shapely.box(10, 10, 60, 60).exterior, [shapely.box(40, 20, 80, 40).exterior]), 2_500 - 400,
    ),
    "ring beside the shell": (  # no hole in anything: a part of its own
        shapely.Polygon(shapely.box(10, 10, 40, 40).exterior, [shapely.box(60, 60, 80, 80).exterior]), 900 + 400,
    ),
    "holes over one another": (
        shapely.Polygon(
            shapely.box(10, 10, 90, 90).exterior,
            [shapely.box(20, 20, 60, 60).exterior, shapely.box(40, 40, 80, 80).exterior],
        ),
        6_400 - (1_600 + 1_600 - 400),
    ),
    "island in a hole": (
        shapely.MultiPolygon(
            [shapely.box(10, 10, 90, 90).difference(shapely.box(20, 20, 60, 60)), shapely.box(30, 30, 50, 50)]
        ),
        6_400 - 1_600 + 400,
    ),
    "parts over one another": (
        shapely.MultiPolygon([shapely.box(10, 10, 60, 60), shapely.box(40, 40, 80, 80)]), 2_500 + 1_600 - 400,
    ),
}  # fmt: skip


@pytest.fixture(params=[20_000, -1], ids=["faces", "sweep"], autouse=True)
def way(request, monkeypatch):
    monkeypatch.setattr(rooms, "FEW_PLACES", request.param)


def layer(shapes, *, crs=CRS, **columns):
    moved = [None if shape is None else shapely.transform(shape, lambda xy: xy + AT) for shape in shapes]
    return gpd.GeoDataFrame(columns, geometry=moved, crs=crs)


def survey(*shapes, **columns):
    count = len(shapes)
    usual = {"species": ["A"] * count, "date": ["2026-05-01"] * count, "cover_pct": [50.0] * count}
    return layer(shapes, **usual | columns)


def land(**other):
    return {
        "stands": layer([BIG], stand=["1"]), "protection": gpd.GeoDataFrame(geometry=[], crs=CRS),
        "access": layer([BIG], access=["foot"]),
    } | other  # fmt: skip


def gross(patches, **other):
    return acreage(patches, **land(**other))["gross_m2"].tolist()


@pytest.mark.parametrize("name", OUTLINES)
def test_outline_that_crosses_itself_counts_all_that_it_goes_round_once(name):
    xy, expected = OUTLINES[name]
    assert gross(survey(shapely.Polygon(xy))) == pytest.approx([expected], rel=1e-9)
    inside = acreage(survey(BIG), **land(stands=layer([shapely.Polygon(xy)], stand=["1"])))
    assert inside.set_index("stand").loc["1", "gross_m2"] == pytest.approx(expected, rel=1e-9)
    zoned = acreage(survey(BIG), **land(protection=layer([shapely.Polygon(xy)], zone=["no_spray"])))
    assert zoned.set_index("zone").loc["no_spray", "gross_m2"] == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("name", WITH_HOLES)
def test_holes_take_away_what_of_them_lies_in_the_outline_and_add_nothing(name):
    shape, expected = WITH_HOLES[name]
    assert gross(survey(shape)) == pytest.approx([expected], rel=1e-9)
    for role, column, value in (
        ("stands", "stand", "1"),
        ("access", "access", "foot"),
        ("protection", "zone", "no_spray"),
    ):
        found = acreage(survey(BIG), **land(**{role: layer([shape], **{column: [value]})}))
        assert found.set_index(column).loc[value, "gross_m2"] == pytest.approx(expected, rel=1e-9), role


@pytest.mark.parametrize(
    ("role", "column", "values"), [("stands", "stand", "12"), ("access", "access", ("tractor", "foot"))]
)
def test_ground_that_one_odd_outline_lets_go_of_is_not_taken_by_another(role, column, values):
    shape, expected = WITH_HOLES["holes over one another"]
    found = acreage(survey(BIG), **land(**{role: layer([shape, shape], **{column: list(values)})}))
    areas = found.groupby(column)["gross_m2"].sum()
    assert areas[values[0]] == pytest.approx(expected, rel=1e-9) and values[1] not in areas


@pytest.mark.parametrize(("role", "column", "value"), [("stands", "stand", "1"), ("access", "access", "foot")])
def test_parts_of_one_outline_that_turn_against_one_another_hold_their_ground(role, column, value):
    eight = shapely.Polygon([(0, 0), (40, 40), (40, 0), (0, 40)])
    several = shapely.MultiPolygon([eight, shapely.box(0, 0, 40, 40)])
    found = acreage(survey(shapely.box(0, 10, 10, 30)), **land(**{role: layer([several], **{column: [value]})}))
    assert found.set_index(column)["gross_m2"].to_dict() == pytest.approx({value: 200})


def test_a_lobe_turned_the_other_way_opens_no_ground_that_another_zone_guards():
    eight = shapely.Polygon([(0, 0), (40, 40), (40, 0), (0, 40)])
    guarded = layer([eight, shapely.box(0, 0, 40, 40)], zone=["no_spray", "no_spray"])
    assert gross(survey(shapely.box(0, 0, 40, 40)), protection=guarded) == pytest.approx([1_600])


def test_nothing_at_all_gives_no_rows():
    nothing = gpd.GeoDataFrame(geometry=[], crs=CRS)
    assert acreage(nothing, stands=nothing, protection=nothing, access=nothing).empty
    table = acreage(survey(shapely.box(0, 0, 10, 10)), stands=nothing, protection=nothing, access=nothing)
    assert table[["stand", "zone", "access"]].to_numpy().tolist() == [["(outside)", "open", "out_of_reach"]]


@pytest.mark.parametrize(
    ("dates", "infested_m2"),
    [
        (["2026-05-01", "2026-05-02"], 90), (["2026-05", ""], 10), ([None, "2025"], 90), (["", None], 90),
        (pd.to_datetime(["2026-05-02", "2026-05-01"]), 10), (pd.to_datetime(["2026-05-02", None]), 10),
        ([datetime.date(2026, 5, 1), datetime.date(2026, 5, 2)], 90), ([datetime.date(2026, 5, 1), "2026-04-30"], 10),
        (["2026-05-01T08:00", "2026-05-01 20:00"], 90), (["2026-05-01 20:00", "2026-05-01T08:00"], 10),
        (["2026-05-01T08:00:00.5", "2026-05-01 08:00"], 10), (["2026-05-01", "2026-05-01 00:01"], 90),
        ([pd.Timestamp("2026-05-01"), "2026-05-01"], 90), (["2026-05-01", pd.Timestamp("2026-05-01")], 90),
        (["2026-05-01T20:00-05:00", "2026-05-02T00:30Z"], 10), (["2026-05", "2026-05-01"], 90),
        (["2026", "2025-12"], 10),
    ],
)  # fmt: skip
def test_newest_patch_decides_however_dates_are_kept_and_an_unknown_one_is_the_oldest(dates, infested_m2):
    patches = survey(*[shapely.box(0, 0, 10, 10)] * 2, cover_pct=[10, 90], date=dates)
    assert acreage(patches, **land())["infested_m2"].tolist() == pytest.approx([infested_m2])


def test_rows_named_alike_counted_from_anywhere_and_with_heights_are_all_there():
    shapes = [shapely.force_3d(shapely.box(x, 0, x + 10, 10), 300.0) for x in (0, 20, 20)]
    patches = survey(*shapes, species=pd.Categorical(["A", "A", "B"])).set_axis([7, 7, -1])
    access = layer([BIG], access=pd.Categorical(["foot"])).set_axis(["x"])
    table = acreage(patches, **land(access=access, stands=layer([BIG, BIG], stand=[4, 5])))
    assert table[["stand", "species", "patches", "gross_m2"]].to_numpy().tolist() == [
        [4, "A", 2, 200],
        [4, "B", 1, 100],
    ]
    with pytest.raises(LayerError, match="two rows are named 7"):
        cut_faces(patches, **land())


def test_stands_with_numbers_for_names_stand_beside_what_is_in_none():
    table = acreage(survey(shapely.box(-600, 0, -400, 10)), **land(stands=layer([BIG], stand=[4])))
    assert sorted(zip(table["stand"].astype(str), table["gross_m2"].round(6), strict=True)) == [
        ("(outside)", 1000), ("4", 1000),
    ]  # fmt: skip


SQUARE = shapely.box(0, 0, 10, 10)


@pytest.mark.parametrize(
    ("patches", "said"),
    [
        (survey(SQUARE).drop(columns="cover_pct"), r"patches: has no column 'cover_pct'\n.*species, date, geometry"),
        (survey(SQUARE).drop(columns="date"), "patches: has no column 'date'"),
        (survey(SQUARE, SQUARE, cover_pct=[101, -3]), "patches: cover_pct is no percent from 0 to 100 in row 0, 1"),
        (survey(SQUARE, cover_pct=["forty"]), "cover_pct is no percent"),
        (survey(SQUARE, SQUARE, cover_pct=[5, None]).set_axis(["a", "b"]), "patches: cover_pct is missing in row 'b'"),
        (survey(SQUARE, date=["2026-13-01"]), "date is not understood in row 0\n.*2026-05-31"),
        (survey(SQUARE, date=[20260501]), "date is not understood"),
        (survey(SQUARE, species=[7]), "species is not text"),
        (survey(SQUARE, SQUARE, species=["A", " "]), "species is missing in row 1"),
        (survey(SQUARE, species=[["A", "B"]]), "patches: species is a list in row 0"),
        (survey(SQUARE, SQUARE, date=["", ["2026"]]), "patches: date is a list in row 1"),
        (survey(SQUARE, cover_pct=[True]), "cover_pct is no percent"),
        (survey(SQUARE, SQUARE, cover_pct=[40, True]), "cover_pct is no percent from 0 to 100 in row 1"),
        (pd.concat([survey(SQUARE), survey(SQUARE)[["species"]]], axis=1), "patches: has 2 columns 'species'"),
        (survey(SQUARE, None, shapely.Polygon()), "patches: rows 1, 2 .counted from 0. have no shape"),
        (survey(shapely.Point(0, 0), shapely.LineString([(0, 0), (9, 9)])), "rows 0, 1 .* are no polygons"),
        (survey(shapely.Polygon([(0, 0), (1, np.inf), (1, 0)])), "patches: rows 0 .* not finite"),
        (survey(SQUARE).geometry, "patches: is a GeoSeries, not a GeoDataFrame"),
        (pd.DataFrame({"species": ["A"]}), "patches: is a DataFrame, not a GeoDataFrame"),
    ],
)
def test_what_is_missing_or_not_understood_is_one_clear_error(patches, said):
    with pytest.raises(LayerError, match=said):
        acreage(patches, **land())


@pytest.mark.parametrize(
    ("name", "column", "value", "said"),
    [
        ("stands", "stand", ["1", "2"], "stands: stand is a list in row 0"),
        ("stands", "stand", "", "stands: stand is missing in row 0"),
        ("access", "access", "Tractor", "access is none of tractor, atv_hose, foot, out_of_reach in row 0"),
        ("access", "access", "", "access: access is none of"),
        ("protection", "zone", "", "protection: zone is none of"),
    ],
)
def test_words_of_the_land_that_are_none_are_one_clear_error(name, column, value, said):
    with pytest.raises(LayerError, match=said):
        acreage(survey(SQUARE), **land(**{name: layer([BIG], **{column: [value]})}))


def test_every_class_of_access_is_taken():
    classes = ["tractor", "atv_hose", "foot", "out_of_reach"]
    strips = [shapely.box(0, y, 10, y + 1) for y in range(4)]
    table = acreage(survey(SQUARE), **land(access=layer(strips, access=classes)))
    assert table.set_index("access")["gross_m2"].to_dict() == pytest.approx(
        dict.fromkeys(classes, 10) | {"out_of_reach": 70}
    )


WRONG_DATES = [
    "2026-02-30", "2025-02-29", "2026-05-01Tnoon", "2026-05-01T25:00", "2026-05-01T08:61", "2026-05-01T", "2026-05-01 ",
    "\uff12\uff10\uff12\uff16-05-01", "\u0662\u0660\u0662\u0666", "0000", "2026-W18-5", "20260501", "2026-00",
    "2026-05-01T08:00+99:00",
]  # fmt: skip


def test_no_day_of_the_calendar_and_no_other_digits_are_no_dates():
    with pytest.raises(LayerError, match=f"date is not understood in row 0, 1, 2 and {len(WRONG_DATES) - 3} more"):
        acreage(survey(*[SQUARE] * len(WRONG_DATES), date=WRONG_DATES), **land())


def test_every_fault_of_every_layer_is_said_at_once():
    with pytest.raises(LayerError) as caught:
        acreage(survey(SQUARE, cover_pct=[None]),
                **land(protection=layer([None], zone=["No_Spray"]), access=layer([BIG], means=["foot"])))  # fmt: skip
    assert [fault.where for fault in caught.value.faults] == ["patches", "protection", "protection", "access"]


@pytest.mark.parametrize(
    ("crs", "said"),
    [
        (4326, "must share one CRS in metres: patches is WGS 84 .degree."), (2264, "US survey foot"),
        (None, "patches: has no coordinate reference system"), (3857, "an acre of ground here is 1.*Mercator"),
    ],
)  # fmt: skip
def test_system_in_which_an_acre_is_not_an_acre_is_refused(crs, said):
    def there(frame):
        return frame.set_crs(None, allow_override=True) if crs is None else frame.to_crs(crs)

    with pytest.raises(CRSError, match=said):
        acreage(there(survey(SQUARE)), **{name: there(frame) for name, frame in land().items()})


def test_layers_of_two_systems_are_refused_by_name():
    with pytest.raises(CRSError, match="stands is WGS 84 / UTM zone 16N"):
        acreage(survey(SQUARE), **land(stands=layer([BIG], stand=["1"]).to_crs(32616)))


def test_outlines_far_from_the_origin_of_their_system_lose_no_ground():
    # in UTM a double is no finer than 1e-9 m: noded there, some crossings of these stayed open and a face was lost
    shapes = shapely.from_wkt([
        "MULTIPOLYGON (((11 2, 6 9, 2 11, 11 2)), ((10 4, 1 1, 1 11, 10 4, 0 5, 10 4)))",
        "POLYGON ((9 10, 0 7, 2 3, 10 2, 8 8, 0 3, 7 3, 9 10))",
        "POLYGON ((9.264747079880559 0.4111362624083834, 5.601577583351615 3.5110758541507616, 5.475464626764418 "
        "5.879155318355397, 2.2833641453406415 0.7203665136932544, 7.092925886990303 6.492009374418307, "
        "7.9390513084474215 4.154082079863455, 2.1472966849998922 4.111869376731561, 9.264747079880559 "
        "0.4111362624083834))",
        "MULTIPOLYGON (((3 11, 1 1, 9 1, 1 2, 6 7, 9 4, 3 3, 8 1, 1 2, 3 11)), ((10 4, 7 0, 3 10, 9 3, 0 7, 10 4)))",
        "POLYGON ((11 9, 3 2, 3 2, 11 5, 3 9, 0 4, 4 1, 11 9))",
        "POLYGON ((3 0, 8 10, 6 1, 9 6, 3 2, 3 0))", "POLYGON ((0 7, 4 8, 2 3, 5 0, 6 0, 6 11, 9 3, 0 7))",
    ])  # fmt: skip
    cut = {
        "stands": layer(shapes[1:3], stand=["1", "2"]),
        "protection": layer(shapes[3:5], zone=["no_spray", "hand_only"]),
        "access": layer(shapes[5:], access=["foot", "tractor"]),
    }  # fmt: skip
    whole = shapely.make_valid(shapes[0], method="structure").area
    assert sum(gross(survey(shapes[0]), **cut)) == pytest.approx(whole, rel=1e-8)
