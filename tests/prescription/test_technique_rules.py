"""The table of rules: what its cells may say, one fault a bad cell, and what no table may ask for."""

import pytest

from invasimap.core.errors import LayerError
from invasimap.core.season_settings import TechniqueSection
from invasimap.core.units import METRIC
from invasimap.inputs.species import load_catalogue
from invasimap.prescription.technique_rules import COLUMNS, TECHNIQUES, read_rules

HEAD = (
    "rule,zone,access,species,life_form,leaves,resprouts,root_spread,height,stem,cover,infested,slope,technique,wait,"
    "reason"
)
GOOD = {"zone": "open", "technique": "foliar_spot", "reason": "short"}


def table(tmp_path, *rows, head=HEAD, encoding="utf-8"):
    lines = [",".join(row.get(name, "") for name in head.split(",")) for row in rows]
    path = tmp_path / "mine.csv"
    path.write_text("\n".join([head, *lines]) + "\n", encoding=encoding)
    return path


def faults_of(path, **options):
    with pytest.raises(LayerError) as caught:
        read_rules(path, **options)
    return [str(fault) for fault in caught.value.faults]


def test_the_table_that_comes_with_the_package_is_sound_and_uses_every_technique():
    rules = read_rules(catalogue=load_catalogue())
    assert set(rules["technique"]) == set(TECHNIQUES)
    assert rules["rule"].is_unique and (rules["reason"] != "").all()
    sprayed = rules[rules["technique"].isin(["foliar_spot", "foliar_broadcast", "cut_then_foliar", "basal_bark"])]
    assert set(sprayed["zone"]) == {frozenset({"open"})}


@pytest.mark.parametrize(
    ("cells", "column", "said"),
    [
        ({"zone": "opne"}, "zone", "'opne' is not known"),
        ({"access": "boat"}, "access", "it may be tractor; atv_hose; foot; out_of_reach"),
        ({"species": "Nobody knows"}, "species", "no plant of the catalogue"),
        ({"species": "Lindera benzoin"}, "species", "no plant of the catalogue"),  # a native
        ({"life_form": "tree; bushy"}, "life_form", "'bushy' is not known"),
        ({"leaves": "green"}, "leaves", "late-leaf; evergreen"),
        ({"resprouts": "maybe"}, "resprouts", "yes; limited; no; unknown"),
        ({"root_spread": "y"}, "root_spread", "'y' is not known"),
        ({"height": "over 6"}, "height", "no unit"),
        ({"height": "6 ft"}, "height", "not read as a size"),
        ({"height": "up to 3 lb"}, "height", "no unit of length"),
        ({"height": "9-3 ft"}, "height", "from high to low"),
        ({"height": "over 1 ft; up to 3 ft"}, "height", "two sizes"),
        ({"stem": "over reach"}, "stem", "over basal stem"),
        ({"cover": "over 0.5"}, "cover", "no unit"),
        ({"infested": "up to many"}, "infested", "over few"),
        ({"slope": "over 95 deg"}, "slope", "degrees run from 0"),
        ({"technique": "spray"}, "technique", "it may be foliar_spot"),
        ({"technique": ""}, "technique", "is blank"),
        ({"wait": "8 weeks"}, "wait", "foliar_spot has no wait"),
        ({"technique": "cut_then_foliar", "wait": "8"}, "wait", "no unit"),
        ({"reason": ""}, "reason", "is blank"),
        ({"reason": "over {raech}"}, "reason", "{raech} is not known"),
        ({"reason": "over {reach.real}"}, "reason", "a brace stands alone"),
    ],
)
def test_each_bad_cell_is_one_fault_with_row_and_column(tmp_path, cells, column, said):
    path = table(tmp_path, GOOD, {}, {**GOOD, **cells})  # the second row is blank: row 4 of the spreadsheet
    (fault,) = faults_of(path, catalogue=load_catalogue())
    assert fault.startswith(f"mine.csv, row 4, column {column}: ") and said in fault
    assert "\n    " in fault  # how to mend it


@pytest.mark.parametrize(
    ("technique", "zone", "allowed"),
    [
        *[(name, "no_spray", name in ("pull", "mow", "none")) for name in TECHNIQUES],
        *[(name, "hand_only", name in ("cut_stump", "pull", "mow", "none")) for name in TECHNIQUES],
        *[(name, "open; no_spray", name in ("pull", "mow", "none")) for name in TECHNIQUES],
        *[(name, "", name in ("pull", "mow", "none")) for name in TECHNIQUES],
        *[(name, "open", True) for name in TECHNIQUES],
    ],
)
def test_no_table_sprays_where_a_zone_forbids_it(tmp_path, technique, zone, allowed):
    path = table(tmp_path, {"zone": zone, "technique": technique, "reason": "because"})
    if allowed:
        assert read_rules(path)["technique"].tolist() == [technique]
    else:
        (fault,) = faults_of(path)
        assert "row 2, column zone" in fault and f"{technique} is never done in" in fault


@pytest.mark.parametrize("height", ["over 6 ft", "3-9 ft", "up to 7 ft", "unknown", "up to 3 ft; unknown"])
def test_no_table_sprays_standing_leaves_over_reach_or_of_unknown_height(tmp_path, height):
    (fault,) = faults_of(table(tmp_path, {**GOOD, "height": height}))
    assert "column height" in fault and "up to reach (6 ft)" in fault and "cut_then_foliar" in fault
    higher = TechniqueSection(reach="9 ft")
    if "unknown" not in height:
        assert read_rules(table(tmp_path, {**GOOD, "height": height}), limits=higher)["height"][0].high <= 9 * 0.3048


def test_limits_are_settings_that_cells_name_and_reasons_say(tmp_path):
    row = {
        "zone": "open", "height": "over reach", "stem": "up to basal stem", "technique": "basal_bark",
        "reason": "over {reach} and up to {basal_stem}; {height} here",
    }  # fmt: skip
    path = table(tmp_path, row, {**row, "technique": "cut_then_foliar", "wait": "8-10 weeks", "reason": "{wait}"})
    rules = read_rules(path, limits=TechniqueSection(reach="5 ft", basal_stem="4 in"))
    assert rules["height"][0].low == pytest.approx(5 * 0.3048) and rules["stem"][0].high == pytest.approx(101.6)
    assert rules["reason"][0] == "over 5 ft and up to 4 in; {height} here"
    assert (rules["wait_min_days"][1], rules["wait_max_days"][1]) == (56, 70)
    assert read_rules(path, shown=METRIC)["reason"][0] == "over 1.83 m and up to 15.2 cm; {height} here"


def test_a_spreadsheet_may_write_semicolons_a_bom_and_other_letters(tmp_path):
    path = tmp_path / "mine.csv"
    text = "Zone;Height;Technique;Reason\nopen;3-6 ft;foliar_spot;d\u00e9j\u00e0 vu\n"
    for encoding in ("utf-8-sig", "cp1252"):
        path.write_text(text, encoding=encoding)
        rules = read_rules(path)
        assert rules["reason"][0] == "d\u00e9j\u00e0 vu" and rules["rule"][0] == "row 2"
        assert rules["height"][0].low == pytest.approx(3 * 0.3048)


def test_columns_that_are_lacking_twice_or_misspelt_are_faults_not_wider_rules(tmp_path):
    assert faults_of(table(tmp_path, head="zone,hieght,technique,reason"))[0].startswith("mine.csv, column hieght: ")
    assert "has no column technique" in faults_of(table(tmp_path, head="zone,reason"))[0]
    assert "stands twice" in faults_of(table(tmp_path, head="zone,zone,technique,reason"))[0]
    path = tmp_path / "mine.csv"
    path.write_text("zone,technique,reason\nopen,foliar_spot,low, and near\n")
    assert "row 2: has 4 cells for 3 columns" in faults_of(path)[0]
    path.write_text("")
    assert "is empty" in faults_of(path)[0]
    path.write_text("\n\n")
    assert "has no column technique" in faults_of(path)[0]
    assert "no such file" in faults_of(tmp_path / "not_there.csv")[0]
    assert set(HEAD.split(",")) == set(COLUMNS)
