"""How written plant names are read."""

from __future__ import annotations

import pytest

from invasimap.inputs.species import load_catalogue

CATALOGUE = load_catalogue()


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("Lonicera maackii", "Lonicera maackii"), ("  LONICERA   Maackii ", "Lonicera maackii"),
        ("Lonicera maackii (Rupr.) Herder", "Lonicera maackii"), ("Lonicera × bella Zabel", "Lonicera x bella"),  # noqa: RUF001
        ("Polygonum cuspidatum", "Reynoutria japonica"), ("Fallopia japonica var. japonica", "Reynoutria japonica"),
        ("Amur Honeysuckle", "Lonicera maackii"), ("tree of heaven", "Ailanthus altissima"),
        ("Morrow’s honeysuckle", "Lonicera morrowii"),  # noqa: RUF001
        ("romu", "Rosa multiflora"), ("LOMA6", "Lonicera maackii"),
        ("Centaurea stoebe subsp. micranthos", "Centaurea stoebe ssp. micranthos"),
    ],
)  # fmt: skip
def test_name_is_read_without_a_remark(written, name):
    match = CATALOGUE.match(written)
    assert (match.scientific_name, match.known, match.how) == (name, True, "")


@pytest.mark.parametrize(
    ("written", "how"),
    [
        ("LOMA", "LOMA read as LOMA6 Lonicera maackii"),
        ("Lonicera mackii", "'Lonicera mackii' read as Lonicera maackii (score 97)"),
        ("L. maackii", "'L. maackii' read as Lonicera maackii"),
    ],
)
def test_reading_between_the_lines_is_said(written, how):
    match = CATALOGUE.match(written)
    assert match.known
    assert match.how == how


@pytest.mark.parametrize(
    "written", ["Quercus alba", "OPHI", "LOMA2", "Lonicera", "Lonicera sp.", "Lonicera spp", "xx", "Acer rubrum"]
)
def test_other_plants_and_genus_rows_are_kept_as_written(written):
    match = CATALOGUE.match(written)
    assert (match.scientific_name, match.known, match.suggestions) == (written, False, ())


def test_native_subspecies_is_never_taken_for_the_invader():
    match = CATALOGUE.match("Phragmites australis subsp. americanus")
    assert not match.known
    assert match.suggestions == ("Phragmites australis",)


def test_tied_name_is_not_guessed():
    match = CATALOGUE.match("honeysuckle")
    assert not match.known
    assert len(match.suggestions) == 3


def test_every_listed_name_and_symbol_reads_as_itself():
    for name, row in CATALOGUE.table.iterrows():
        assert CATALOGUE.match(name).scientific_name == name
        if row["symbol"]:
            assert CATALOGUE.match(row["symbol"]).scientific_name == name


def test_blank_unknown_and_unclear_names_in_a_file(write, read):
    rows = ["", "Quercus alba", "honeysuckle", "Lonicera mackii"]
    write("a.csv", "species,cover,radius_ft,lon,lat\n" + "".join(f"{name},50,10,-80,38\n" for name in rows))
    survey = read("a.csv")
    assert survey.patches["species"].tolist() == ["Quercus alba", "Lonicera maackii"]
    assert survey.patches["known"].tolist() == [False, True]
    blank, unclear = survey.set_aside["reason"]
    assert blank == "species is blank"
    assert unclear.startswith("species 'honeysuckle' is not clear: nearest are ")
    assert any("Quercus alba (1 record)" in note for note in survey.notes)


def test_catalogue_holds_sixty_species_each_with_form_and_source():
    table = load_catalogue().table
    assert len(table) >= 60 and table.index.is_unique
    assert (table["life_form"] != "").all() and (table["sources"] != "").all()
    symbols = table.loc[table["symbol"] != "", "symbol"]
    assert symbols.is_unique and symbols.str.fullmatch(r"[A-Z]{4,6}\d{0,3}").all()
    low, high = (table[f"seedbank_years_{end}"].replace("", "0").astype(float) for end in ("low", "high"))
    assert (low <= high).all()


def test_a_symbol_stem_that_two_species_share_is_never_guessed():
    found = load_catalogue().match("HEMA")
    assert not found.known and set(found.suggestions) == {"Hesperis matronalis", "Heracleum mantegazzianum"}
