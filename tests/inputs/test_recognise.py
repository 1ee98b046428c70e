"""What columns are taken for."""

from __future__ import annotations

from invasimap.inputs.recognise import MOST_TEXTS, Recognised, as_columns, recognise

PLANTS = {"Rosa multiflora", "ROMU", "Lonicera maackii"}


def _recognise(cells, **options):
    found = recognise(cells, cells.get, is_known_species=PLANTS.__contains__, **options)
    return {(one.role, one.column): one.how for one in found}


def test_names_come_before_values_and_settings_before_names():
    cells = {"Species": ["Rosa multiflora"], "What": ["ROMU"], "Cov": ["5"], "Amount": ["5 %"]}
    assert _recognise(cells) == {("species", "Species"): "name", ("cover", "Cov"): "name"}
    assert _recognise(cells, overrides={"species": "what", "cover": "Amount"}) == {
        ("species", "What"): "setting", ("cover", "Amount"): "setting",
    }  # fmt: skip


def test_values_tell_species_dates_and_covers():
    cells = {
        "Feature": ["ROMU", "old stump"], "Seen": ["9/4/2024", "14 Sep 2024"],
        "How much": ["<5 %", "25-50%", "25%-50%"],
        "Plot": ["12", "45538"], "Year": ["2024"], "Tall": ["3 ft", "2 m"],
    }  # fmt: skip
    assert _recognise(cells) == {
        ("species", "Feature"): "values", ("cover", "How much"): "values", ("date", "Seen"): "values",
    }  # fmt: skip


def test_less_than_half_known_is_no_species_column():
    assert _recognise({"a": ["ROMU", "x", "y"]}) == {}
    assert _recognise({"a": ["ROMU", "x"], "b": ["ROMU", "Rosa multiflora"]}) == {("species", "b"): "values"}
    assert _recognise({"a": [], "b": ["", " "]}) == {}


def test_percents_and_days_of_other_things_are_left_alone():
    assert (
        _recognise({"Slope": ["5 %"], "Shade": ["20 %"], "Treated on": ["9/14/2024"], "Edited": ["2024-09-14"]}) == {}
    )
    assert _recognise({"Tree canopy": ["60 %"], "Canopy closure": ["40 %"], "Stand": ["70 %"]}) == {}
    assert _recognise({"Likelihood": ["50 %"], "Date entered": ["2024-09-14"], "Burned": ["2019-04-01"]}) == {}
    assert _recognise({"a": ["5 %"], "b": ["10 %"]}) == {}  # which of them?
    assert _recognise({"a": ["2024-09-14"], "b": ["2024-09-15"]}) == {}
    assert _recognise({"a": ["5 %", "7"], "b": ["2024-09-14", "soon"]}) == {}


def test_a_column_of_another_role_is_never_taken_by_values():
    cells = {"Observer": ["ROMU"], "Ht": ["5 %"], "Accuracy": ["2024-09-14"]}
    assert set(_recognise(cells).values()) == {"name"}


def test_a_plant_in_a_comment_is_found_last_and_stays_a_comment():
    assert _recognise({"cmt": ["ROMU"]}) == {("species", "cmt"): "values", ("notes", "cmt"): "name"}
    assert _recognise({"cmt": ["ROMU"], "tag": ["ROMU"]})[("species", "tag")] == "values"


def test_a_named_column_without_a_value_does_not_hide_another():
    assert _recognise({"species": [""], "tag": ["ROMU"]}) == {
        ("species", "species"): "name",
        ("species", "tag"): "values",
    }


def test_a_column_that_answers_yes_or_no_names_no_plant():
    assert _recognise({"Invasive?": ["Yes", "no"], "Plant ID": ["ROMU"]}) == {("species", "Plant ID"): "values"}
    assert _recognise({"Species": ["ROMU", ""], "Target": ["Y", "N"]}) == {("species", "Species"): "name"}
    assert _recognise({"Target": ["Y"]}, overrides={"species": "Target"}) == {("species", "Target"): "setting"}


def test_signs_of_a_map_give_way_to_plants():
    assert _recognise({"symbol": ["Flag, Blue"], "ident": ["ROMU"]}) == {("species", "ident"): "values"}
    assert _recognise({"symbol": ["ROMU"], "ident": ["ROMU"]}) == {("species", "symbol"): "name"}
    assert _recognise({"symbol": ["AUOL"], "ident": ["7"]}) == {("species", "symbol"): "name"}
    assert _recognise({"species": ["AUOL"], "ident": ["ROMU"]}) == {("species", "species"): "name"}


def test_no_more_than_200_texts_are_looked_at():
    asked = []

    def known(text):
        asked.append(text)
        return True

    recognise(["a"], lambda _: (f"plant {number}" for number in range(10_000)), is_known_species=known)
    assert len(asked) == MOST_TEXTS == 200


def test_recognised_columns_in_the_form_cells_are_read_with():
    columns = as_columns(
        [Recognised("height", "Ht_ft", "ft", "name"), Recognised("cover", "Cov_cl", "class", "values")]
    )
    assert [(role, c.name, c.unit) for role, those in columns.items() for c in those] == [
        ("height", "Ht_ft", "ft"), ("cover", "Cov_cl", "class"),
    ]  # fmt: skip
