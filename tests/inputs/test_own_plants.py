"""A plant file of the user's own over the rows of the catalogue."""

from __future__ import annotations

import pytest

from invasimap.core.errors import LayerError
from invasimap.inputs.species import aside_reason, load_catalogue


@pytest.fixture
def own(write):
    return lambda text: load_catalogue(write("plants.csv", text))


@pytest.fixture
def faults(own):
    def run(text):
        with pytest.raises(LayerError) as caught:
            own(text)
        return [(fault.where, fault.what) for fault in caught.value.faults]

    return run


def test_a_plant_is_added_with_all_its_names(own):
    catalogue = own(
        "scientific_name,common_names,synonyms,symbol,life_form\n"
        "Robinia hispida,bristly locust; rose acacia,Robinia fertilis,rohi,shrub\n"
    )
    for written in ("robinia hispida", "Bristly locusts", "rose acacia", "Robinia fertilis", "ROHI"):
        match = catalogue.match(written)
        assert (match.scientific_name, match.known, match.common_name) == ("Robinia hispida", True, "bristly locust")
    assert catalogue.table.at["Robinia hispida", "life_form"] == "shrub"
    assert catalogue.notes == ("plants.csv: 1 plant added, 0 changed",)
    assert len(catalogue.table) == len(load_catalogue().table) + 1


def test_filled_cells_replace_and_blank_ones_leave(own):
    before = load_catalogue().table.loc["Rosa multiflora"]
    after = own("Scientific Name;Monitoring years default;life_form\nROSA MULTIFLORA Thunb.;12;\n").table
    assert after.at["Rosa multiflora", "monitoring_years_default"] == "12"
    assert after.at["Rosa multiflora", "life_form"] == before["life_form"]
    assert len(after) == len(load_catalogue().table)


def test_only_the_name_is_needed(own):
    catalogue = own("scientific_name\nRobinia hispida L.\nRosa multiflora\n")
    assert catalogue.match("Robinia hispida").known
    assert catalogue.notes == ("plants.csv: 1 plant added, 1 changed",)


@pytest.mark.parametrize("mark", [",", ";", "\t", "|"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_any_delimiter_and_encoding(write, mark, encoding):
    text = "scientific_name~common_names\nRobinia hispida~acacia ros\u00e9\n".replace("~", mark)
    catalogue = load_catalogue(write("plants.csv", text.encode(encoding)))
    assert catalogue.match("Acacia Ros\u00c9").scientific_name == "Robinia hispida"


def test_status_makes_an_invader_native_a_native_invasive_and_leaves_a_plant_out(own):
    catalogue = own(
        "scientific_name,status\nGeranium robertianum,native\nWisteria frutescens,Invasive\nRosa rugosa,ignore\n"
    )
    native, invader, left_out = (catalogue.match(k) for k in ("herb Robert", "American wisteria", "rugosa rose"))
    assert native.native and not native.known and aside_reason(native).startswith("native plant (Geranium robertianum")
    assert invader.known and not invader.native and aside_reason(invader) == ""
    assert not left_out.known and not left_out.native
    assert aside_reason(left_out) == "species Rosa rugosa is to be left out: your own plant file says so"


def test_own_names_and_symbols_win_over_the_shipped_ones(own):
    catalogue = own(
        "scientific_name,common_names,synonyms,symbol\n"
        "Robinia hispida,multiflora rose,,ROMU\nLonicera maackii,bush honeysuckle,Lonicera villosa,HONEY\n"
    )
    assert catalogue.match("multiflora rose").scientific_name == "Robinia hispida"
    assert catalogue.match("ROMU").scientific_name == "Robinia hispida"
    assert catalogue.match("Rosa multiflora").scientific_name == "Rosa multiflora"
    for written in ("bush honeysuckle", "Lonicera villosa", "HONEY"):
        assert catalogue.match(written).scientific_name == "Lonicera maackii"
    assert "plants.csv: 'ROMU' is now Robinia hispida, no longer Rosa multiflora" in catalogue.notes


def test_a_shipped_plant_named_as_a_synonym_becomes_that_plant(own):
    catalogue = own("scientific_name,synonyms\nRobinia hispida,Rosa rugosa\n")
    for written in ("Rosa rugosa", "beach rose", "Robinia hispida"):
        assert catalogue.match(written).scientific_name == "Robinia hispida"
    assert "Rosa rugosa" not in catalogue.table.index
    assert "plants.csv: Rosa rugosa is taken for Robinia hispida" in catalogue.notes


def test_a_row_under_an_old_name_changes_the_listed_plant(own):
    catalogue = own("scientific_name,common_names\nPolygonum cuspidatum,river knotweed\n")
    assert catalogue.match("river knotweed").scientific_name == "Reynoutria japonica"
    assert (
        catalogue.notes[0]
        == "plants.csv: Polygonum cuspidatum is listed as Reynoutria japonica: its row there is changed"
    )


@pytest.mark.parametrize("name", ["Lonicera", "Lonicera sp.", "Lonicera spp."])
def test_a_genus_that_the_user_lists_is_a_plant(own, name):
    catalogue = own(f"scientific_name,common_names\n{name},bush honeysuckle; honeysuckle\n")
    for written in ("Lonicera", "LONICERA SPP", "lonicera sp.", "honeysuckles", "bush honeysuckle"):
        match = catalogue.match(written)
        assert (match.scientific_name, match.known, match.reason) == (name, True, "")
    assert catalogue.match("Lonicera maackii").scientific_name == "Lonicera maackii"
    assert not catalogue.match("Lonicera oblongifolia").known


def test_other_columns_are_told(own):
    assert "plants.csv: columns not read: County rank" in own("scientific_name,County rank\nRobinia hispida,3\n").notes


def test_no_such_file(tmp_path):
    with pytest.raises(LayerError, match=r"plants.csv: there is no such file"):
        load_catalogue(tmp_path / "plants.csv")


def test_no_column_with_the_name(faults):
    assert faults("plant_id,symbol\n3,ROMU\n") == [("plants.csv", "has no column scientific_name")]
    assert faults("\n\n") == [("plants.csv", "has no column scientific_name")]


def test_a_file_that_is_no_text(write):
    with pytest.raises(LayerError, match="is no text file"):
        load_catalogue(write("plants.csv", b"PK\x03\x04\x00\x00"))


def test_every_fault_comes_with_its_line(faults):
    text = (
        "scientific_name,status,symbol,life_form\n"
        "Robinia hispida,weed,ROHI,shrub\n"
        "\n"
        "Robinia viscosa,,ROHI,tree\n"
        "robinia HISPIDA,,,tree\n"
    )
    assert faults(text) == [
        ("plants.csv, line 2", "status 'weed' is not known"),
        ("plants.csv, line 4", "symbol 'ROHI' stands for Robinia hispida in line 2 and for Robinia viscosa here"),
        ("plants.csv, line 5", "'robinia HISPIDA' also stands in line 2 with another life_form"),
    ]


def test_one_name_for_two_plants(faults):
    text = "scientific_name,synonyms\nRobinia hispida,Robinia fertilis\nRobinia fertilis,\n"
    what = "'Robinia fertilis' stands for Robinia hispida in line 2 and for Robinia fertilis here"
    assert faults(text) == [("plants.csv, line 3", what)]


def test_old_and_new_name_of_one_plant_that_disagree(faults):
    text = "scientific_name,status\nReynoutria japonica,invasive\nFallopia japonica,ignore\n"
    assert [where for where, _ in faults(text)] == ["plants.csv, line 3"]


def test_the_same_row_twice_is_no_fault(own):
    assert own("scientific_name,symbol\nRobinia hispida,ROHI\nRobinia hispida,ROHI\n").match("ROHI").known


def test_rows_without_a_name_or_with_too_many_cells(faults):
    assert faults("scientific_name,symbol\n,ROHI\nRobinia hispida,ROHI,shrub\nRosa; Rubus,\n") == [
        ("plants.csv, line 2", "has no scientific name"),
        ("plants.csv, line 3", "has 3 cells for 2 columns"),
        ("plants.csv, line 4", "scientific name 'Rosa; Rubus' holds ';'"),
    ]


def test_a_column_name_is_not_taken_for_scientific_names(faults, own):
    assert faults("name,status\nmultiflora rose,ignore\n") == [("plants.csv", "has no column scientific_name")]
    found = own("scientific_name,name\nRobinia hispida,rose acacia\n")
    assert "plants.csv: columns not read: name" in found.notes


def test_a_groups_common_name_is_no_scientific_name(faults, own):
    """Oaks are of the genus Quercus; hemlock is a tree and a poisonous herb."""
    ((where, what),) = faults("scientific_name,status\nRosa rugosa,ignore\noak,native\n")
    assert where == "plants.csv, line 3" and "'oak' is a group's name" in what and "Quercus" in what
    ((_, what),) = faults("scientific_name,status\nhemlock,native\n")
    assert "Conium maculatum, Tsuga canadensis" in what
    assert own("scientific_name,status\nRubus,ignore\n").table.at["Rubus", "status"] == "ignore"  # a genus is one
