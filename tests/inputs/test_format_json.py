"""GeoJSON by RFC 7946 and its forerunner of 2008: members, ids, nested values, sequences; JSON read item by item."""

from __future__ import annotations

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from invasimap.core.errors import LayerError
from invasimap.inputs.formats.geojson import read_geojson
from invasimap.inputs.formats.json_stream import BrokenJsonError, DeepJsonError, JsonStream

POINT = {"type": "Point", "coordinates": [-80, 38]}


def _feature(properties=None, **members):
    return {"type": "Feature", "properties": properties, "geometry": POINT, **members}


def _collection(*features, **members):
    return {"type": "FeatureCollection", **members, "features": list(features)}


@pytest.fixture
def geojson(write):
    def run(document, name="a.geojson", encoding="utf-8"):
        text = document if isinstance(document, str) else json.dumps(document, ensure_ascii=False)
        return read_geojson(write(name, text.encode(encoding)), label=name)

    return run


def test_members_that_the_standard_does_not_name_change_nothing(geojson):
    foreign = {
        "name": "x",
        "features2": [_feature()],
        "extra": {"features": [_feature(), {"type": "FeatureCollection"}]},
    }
    raw = geojson(_collection(_feature({"a": 1}, title="t", bbox=[0, 0, 1, 1]), **foreign, bbox=[0, 0, 1, 1]))
    assert raw.frame.to_dict("records") == [{"a": 1}] and raw.crs.to_epsg() == 4326


@pytest.mark.parametrize(
    ("number", "properties", "values"),
    [
        (5, None, {"id": 5}), ("q", {}, {"id": "q"}), (5, {"id": 5}, {"id": 5}), (5, {"id": "5"}, {"id": "5"}),
        (5, {"id": None}, {"id": 5}), (5, {"id": 7}, {"id": 7, "id_2": 5}), ([5], {"a": 1}, {"a": 1}),
    ],
)  # fmt: skip
def test_the_id_of_a_feature_is_kept_beside_another(number, properties, values, geojson):
    assert geojson(_collection(_feature(properties, id=number))).frame.to_dict("records") == [values]


def test_nested_values_are_kept_as_json_of_readable_letters(geojson):
    nested = {"plants": [{"name": "Épine", "cover": 5}], "tags": ["a", "ü"], "none": None, "yes": True, "number": 1.50}
    (found,) = geojson(_collection(_feature(nested))).frame.to_dict("records")
    assert found["plants"] == '[{"name": "Épine", "cover": 5}]' and json.loads(found["tags"]) == ["a", "ü"]
    assert (found["none"], found["yes"], found["number"]) == (None, True, 1.5)


@pytest.mark.parametrize(
    ("name", "code"),
    [("urn:ogc:def:crs:EPSG::26917", "26917"), ("EPSG:32617", "32617"), ("urn:ogc:def:crs:OGC:1.3:CRS84", "CRS84")],
)
def test_a_named_system_is_taken(name, code, geojson):
    raw = geojson(_collection(_feature(), crs={"type": "name", "properties": {"name": name}}))
    assert raw.crs.to_authority()[1] == code and raw.shapes[0].wkt == "POINT (-80 38)"


@pytest.mark.parametrize("member", [None, {"type": "link", "properties": {"href": "http://x"}}, "EPSG:4326", {}])
def test_a_system_that_is_not_told_is_no_wgs84(member, geojson):
    raw = geojson(_collection(_feature(), crs=member))
    assert raw.crs is None and "crs member" in raw.notes[0]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])
def test_text_of_any_encoding_is_the_same(encoding, geojson):
    assert geojson(_collection(_feature({"a": "Épine"})), encoding=encoding).frame["a"].tolist() == ["Épine"]


def test_half_of_a_sign_among_the_positions_is_said_in_words_that_a_file_can_hold(geojson):
    ring = ["\ud800", [-80, 38], [-80, 39], [-81, 38]]
    broken = _collection(_feature({}, geometry={"type": "MultiPolygon", "coordinates": [[ring]]}))
    (problem,) = geojson(json.dumps(broken)).marks["problem"]
    assert problem.startswith("geometry is not read") and problem.encode()


@pytest.mark.parametrize("before", ["", "\x1e"])
@pytest.mark.parametrize("name", ["a.geojsonl", "a.geojson", "a.ndjson"])
def test_a_sequence_gives_each_text_a_record(before, name, geojson):
    texts = [_feature({"n": 0}), _collection(_feature({"n": 1}), _feature({"n": 2})), POINT]
    raw = geojson("".join(f"{before}{json.dumps(text)}\n" for text in texts), name)
    assert raw.frame["n"].tolist() == [0, 1, 2, None] and len(raw.shapes) == 4 and all(raw.shapes)


def test_lists_and_other_json_are_refused(geojson):
    for document in ([_feature()], {"type": "Topology", "objects": {}}, {"a": 1}, {"features": 3}):
        with pytest.raises(LayerError):
            geojson(document)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**30), 10**30) | st.floats(allow_nan=False) | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=5), inner, max_size=4),
    max_leaves=20,
)


@settings(max_examples=40, deadline=None)
@given(members=st.dictionaries(st.text(max_size=5), JSON, max_size=4), indent=st.sampled_from([None, 1]))
def test_members_and_values_are_those_of_the_standard_library(members, indent):
    stream = JsonStream(json.dumps(members, indent=indent), parts=1000)
    assert {key: stream.value() for key in stream.members()} == members and stream.at_end()


@settings(max_examples=40, deadline=None)
@given(items=st.lists(JSON, max_size=5), cut=st.integers(0, 400))
def test_a_list_cut_anywhere_gives_its_first_items_and_says_so(items, cut):
    text = json.dumps(items)
    found, stream = [], JsonStream(text[:cut], parts=1000)
    try:
        for item in stream.items():
            found.append(item)  # noqa: PERF402 (what came before the break counts)
        assert cut >= len(text)
    except BrokenJsonError:
        assert cut < len(text)
    number = found[-1:] != items[: len(found)][-1:]  # 12 cut to 1 is a whole number
    assert found[: len(found) - number] == items[: len(found) - number]


def test_values_larger_than_the_window_are_whole():
    value = {"long": "x" * 700_000, "number": 12345678901234567890}
    stream = JsonStream(" " * 300_000 + json.dumps([value, 1, value]), parts=100)
    assert list(stream.items()) == [value, 1, value] and stream.at_end()


def test_a_line_is_counted_and_a_bracket_that_lacks_is_said():
    stream = JsonStream('{\n"a"\n 1}', parts=10)
    with pytest.raises(BrokenJsonError, match="':' is missing in line 3"):
        list(stream.members())


def test_values_of_too_many_parts_or_levels_are_refused():
    with pytest.raises(BrokenJsonError, match="over 1,000 parts"):
        JsonStream("[" + "[1]," * 400_000 + "1]", parts=1000).value()
    with pytest.raises(DeepJsonError):
        JsonStream("[" * 100_000, parts=10**6).value()
