"""How written plant names are read."""

from __future__ import annotations

import pytest

from invasimap.inputs.species import NONE_FOUND, NOT_KNOWN, aside_reason, load_catalogue

CATALOGUE = load_catalogue()
LONICERA = {"Lonicera maackii", "Lonicera morrowii", "Lonicera tatarica", "Lonicera x bella", "Lonicera japonica"}


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("Lonicera maackii", "Lonicera maackii"), ("  LONICERA   Maackii ", "Lonicera maackii"),
        ("Lonicera_maackii", "Lonicera maackii"), ("LoniceraMaackii", "Lonicera maackii"),
        ("Polygonum cuspidatum", "Reynoutria japonica"), ("Fallopia japonica var. japonica", "Reynoutria japonica"),
        ("Amur Honeysuckle", "Lonicera maackii"), ("tree of heaven", "Ailanthus altissima"),
        ("Morrow’s honeysuckle", "Lonicera morrowii"), ("Morrow honeysuckle", "Lonicera morrowii"),  # noqa: RUF001
        ("romu", "Rosa multiflora"), ("LOMA6", "Lonicera maackii"), ("RHFR", "Frangula alnus"),
        ("Centaurea stoebe subsp. micranthos", "Centaurea stoebe ssp. micranthos"),
        ("Centaurea stoebe micranthos", "Centaurea stoebe ssp. micranthos"),
        ("Euonymus alata", "Euonymus alatus"), ("Rosa multiflora var. multiflora", "Rosa multiflora"),
    ],
)  # fmt: skip
def test_name_is_read_without_a_remark(written, name):
    match = CATALOGUE.match(written)
    assert (match.scientific_name, match.known, match.how, match.reason) == (name, True, "", "")


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("Lonicera maackii (Rupr.) Herder", "Lonicera maackii"),
        ("LONICERA MAACKII (RUPR.) HERDER", "Lonicera maackii"),
        ("lonicera maackii (rupr.) maxim., 1864", "Lonicera maackii"),
        ("Celastrus orbiculatus Thunb. ex Murray", "Celastrus orbiculatus"),
        ("Alliaria petiolata (M.Bieb.) Cavara & Grande", "Alliaria petiolata"),
        ("Alliaria petiolata (Bieb.) Cavara and Grande", "Alliaria petiolata"),
        ("Centaurea stoebe L. ssp. micranthos (Gugler) Hayek", "Centaurea stoebe ssp. micranthos"),
        ("Polygonum cuspidatum Siebold & Zucc.", "Reynoutria japonica"),
        ("Spiraea japonica L.f.", "Spiraea japonica"), ("Spiraea japonica L. fil. 1782", "Spiraea japonica"),
        ("Pueraria montana (Lour.) Merr. var. lobata (Willd.) Maesen & S. Almeida", "Pueraria montana var. lobata"),
    ],
)  # fmt: skip
def test_authors_and_years_are_no_part_of_a_name(written, name):
    match = CATALOGUE.match(written)
    assert (match.scientific_name, match.known, match.how) == (name, True, "")


@pytest.mark.parametrize(
    "written",
    [
        "Lonicera x bella", "Lonicera X bella", "LONICERA X BELLA", "Lonicera \u00d7 bella Zabel",
        "Lonicera \u00d7bella", "Lonicera\u00d7bella", "Lonicera xbella", "Lonicera bella", "Lonicera \u2715 bella",
        "Lonicera \u0445 bella", "Lonicera morrowii \u00d7 L. tatarica",
        "Lonicera morrowii x tatarica", "Bell's honeysuckle",
    ],
)  # fmt: skip
def test_a_hybrid_is_read_with_any_sign(written):
    match = CATALOGUE.match(written)
    assert (match.scientific_name, match.known) == ("Lonicera x bella", True)


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("multiflora roses", "Rosa multiflora"), ("Amur honeysuckles", "Lonicera maackii"),
        ("burning bushes", "Euonymus alatus"), ("wineberries", "Rubus phoenicolasius"),
        ("Japanese barberries", "Berberis thunbergii"), ("stiltgrass", "Microstegium vimineum"),
        ("Stilt grass", "Microstegium vimineum"), ("japanese stilt-grass", "Microstegium vimineum"),
        ("porcelain berry", "Ampelopsis brevipedunculata"), ("Autumn-Olive", "Elaeagnus umbellata"),
        ("swallowwort, black", "Vincetoxicum nigrum"), ("honeysuckle, Amur", "Lonicera maackii"),
        ("Honeysuckle Amur", "Lonicera maackii"), ("dame rocket", "Hesperis matronalis"),
    ],
)  # fmt: skip
def test_plurals_spaces_and_word_order_of_common_names(written, name):
    match = CATALOGUE.match(written)
    assert (match.scientific_name, match.known, match.how) == (name, True, "")


@pytest.mark.parametrize(
    "written",
    [
        "Amur honeysuckle (Lonicera maackii)", "Lonicera maackii - Amur honeysuckle", "LOMA6 - Amur honeysuckle",
        "LOMA6-Amur honeysuckle", "LOMA6 Lonicera maackii", "Lonicera maackii / Amur honeysuckle",
        "Lonicera maackii (Rupr.) Herder [Amur honeysuckle]", "Lonicera maackii, Amur honeysuckle, LOMA6",
        "LOMA6: Lonicera maackii (Rupr.) Herder", "Lonicera maackii = Xylosteon maackii",
        'Lonicera maackii "Amur honeysuckle"', "Lonicera maackii Amur honeysuckle",
    ],
)  # fmt: skip
def test_names_that_agree_are_one_plant(written):
    match = CATALOGUE.match(written)
    assert (match.scientific_name, match.known, match.how) == ("Lonicera maackii", True, "")


@pytest.mark.parametrize(
    ("written", "how"),
    [
        ("LOMA", "LOMA read as LOMA6 Lonicera maackii"),
        ("LONMAA", "LONMAA read as three letters of genus and epithet: Lonicera maackii"),
        ("Lonicera mackii", "'Lonicera mackii' read as Lonicera maackii (97 of 100 alike)"),
        ("L. maackii", "'L. maackii' read as Lonicera maackii"),
        ("Lon. maackii", "'Lon. maackii' read as Lonicera maackii"),
        ("Lonicera maackia", "'Lonicera maackia' read as Lonicera maackii"),
        ("Honeysuckle (Lonicera maackii)", "'Honeysuckle (Lonicera maackii)' read as Lonicera maackii"),
        ("Lonicera cf. maackii", "'Lonicera cf. maackii' read as Lonicera maackii: the crew was not sure (cf.)"),
        ("Lonicera maackii?", "'Lonicera maackii?' read as Lonicera maackii: the crew was not sure (?)"),
        ("LOMA6 (?)", "'LOMA6 (?)' read as Lonicera maackii: the crew was not sure ((?))"),
        ("Lonicera maackii 'Rem Red'", "\"Lonicera maackii 'Rem Red'\" read as Lonicera maackii: without 'Rem Red'"),
        ("Lonicera maackii 3", "'Lonicera maackii 3' read as Lonicera maackii: without '3'"),
        ("1. Lonicera maackii", "'1. Lonicera maackii' read as Lonicera maackii: without '1'"),
        ("Amur honeysuckle #12", "'Amur honeysuckle #12' read as Lonicera maackii: without '#12'"),
        ("dense Lonicera maackii", "'dense Lonicera maackii' read as Lonicera maackii: without 'dense'"),
    ],
)  # fmt: skip
def test_reading_between_the_lines_is_said(written, how):
    match = CATALOGUE.match(written)
    assert (match.scientific_name, match.known, match.reason) == ("Lonicera maackii", True, "")
    assert match.how == how


def test_a_misspelt_name_behind_a_doubt_says_both():
    match = CATALOGUE.match("Rosa multflora?")
    assert match.known and "97 of 100 alike" in match.how and "not sure (?)" in match.how


@pytest.mark.parametrize(
    "written",
    ["Quercus macrocarpa", "OPHI", "LOMA2", "xx", "Acer spicatum", "Viburnum lentago", "mountain maple"],
)
def test_other_plants_are_kept_as_written(written):
    match = CATALOGUE.match(written)
    assert (match.scientific_name, match.known, match.native) == (written, False, False)
    assert (match.suggestions, match.reason) == ((), "")


@pytest.mark.parametrize(
    ("written", "some"),
    [
        ("Lonicera", LONICERA), ("Lonicera sp.", LONICERA), ("LONICERA SPP", LONICERA), ("Lonicera species", LONICERA),
        ("honeysuckle", LONICERA), ("Honeysuckles", LONICERA), ("invasive honeysuckle", LONICERA),
        ("non-native honeysuckle", LONICERA),
        ("bush honeysuckle", LONICERA - {"Lonicera japonica"} | {"Diervilla lonicera"}),
        ("privet", {"Ligustrum sinense", "Ligustrum vulgare", "Ligustrum obtusifolium"}),
        ("buckthorn", {"Rhamnus cathartica", "Frangula alnus", "Rhamnus alnifolia"}),
        ("knotweed", {"Reynoutria japonica", "Reynoutria sachalinensis", "Persicaria virginiana"}),
        ("Rhamnus", {"Rhamnus cathartica", "Frangula alnus", "Frangula caroliniana"}),
        ("oak", {"Quercus acutissima", "Quercus alba"}), ("hemlock", {"Conium maculatum", "Tsuga canadensis"}),
        ("bittersweet", {"Celastrus orbiculatus", "Celastrus scandens"}),
        ("Phragmites", {"Phragmites australis", "Phragmites australis ssp. americanus"}), ("honysuckle", LONICERA),
    ],
)  # fmt: skip
def test_a_genus_or_group_is_set_aside_with_its_species(written, some):
    match = CATALOGUE.match(written)
    assert not match.known and not match.native
    assert some <= set(match.suggestions)
    assert "is a group's name, no one plant" in match.reason
    natives = {plant for plant in match.suggestions if CATALOGUE.match(plant).native}
    assert ("native: " in match.reason) == bool(natives)
    assert natives == set(match.reason.partition("native: ")[2].rstrip(")").split(", ")) - {""}


@pytest.mark.parametrize(
    ("written", "plants"),
    [
        ("ROMU, LOJA", {"Rosa multiflora", "Lonicera japonica"}),
        ("ROMU/LOJA", {"Rosa multiflora", "Lonicera japonica"}),
        ("ROMU LOJA", {"Rosa multiflora", "Lonicera japonica"}),
        ("ROMU+LOJA", {"Rosa multiflora", "Lonicera japonica"}),
        ('Rosa multiflora "Japanese honeysuckle"', {"Rosa multiflora", "Lonicera japonica"}),
        ("Rosa multiflora and Lonicera japonica", {"Rosa multiflora", "Lonicera japonica"}),
        ("Rosa multiflora & Japanese honeysuckle", {"Rosa multiflora", "Lonicera japonica"}),
        ("L. maackii, L. morrowii", {"Lonicera maackii", "Lonicera morrowii"}),
        ("Lonicera maackii/morrowii", {"Lonicera maackii", "Lonicera morrowii"}),
        ("Rosa multiflora; Lonicera maackii", {"Rosa multiflora", "Lonicera maackii"}),
        ("Amur/Morrow's honeysuckle", {"Lonicera maackii", "Lonicera morrowii"}),
        ("Russian and autumn olive", {"Elaeagnus angustifolia", "Elaeagnus umbellata"}),
        ("Rosa multiflora or Rosa carolina", {"Rosa multiflora", "Rosa carolina"}),
        ("LOMA6 - Japanese honeysuckle", {"Lonicera maackii", "Lonicera japonica"}),
        ("Autumn olive with Rosa multiflora Thunb.", {"Elaeagnus umbellata", "Rosa multiflora"}),
    ],
)  # fmt: skip
def test_several_plants_in_a_cell_are_set_aside_with_all_of_them(written, plants):
    match = CATALOGUE.match(written)
    assert not match.known and set(match.suggestions) == plants
    assert match.reason.endswith("write one record for each")


@pytest.mark.parametrize(
    "written",
    [
        "ROMU, OPHI", "Rosa multiflora, Quercus macrocarpa", "Rosa multiflora and Quercus macrocarpa", "dead ROMU",
        "Rosa multiflora removed", "dead ROMU, multiflora rose", "Rosa multiflora near the road",
        "Rosa multiflora var. cathayensis", "Rosa multiflora 50%",
        "not multiflora rose", "treated multiflora rose in 2019",
    ],
)  # fmt: skip
def test_a_name_with_other_words_is_never_read_as_the_name_alone(written):
    match = CATALOGUE.match(written)
    assert (match.known, match.suggestions) == (False, ("Rosa multiflora",))
    assert match.reason


@pytest.mark.parametrize(
    "written",
    [
        "none", "None", "NONE.", "n/a", "N/A", "no invasives", "No invasive plants found", "nothing found", "clear",
        "0", "nothing", "not found", "none seen", "no honeysuckle", "no LOMA6", "multiflora rose - none", "ROMU absent",
        "Rosa multiflora (not found)",
    ],
)  # fmt: skip
def test_a_place_without_plants_is_recorded_as_absence(written):
    match = CATALOGUE.match(written)
    assert (match.reason, match.known, match.suggestions) == (NONE_FOUND, False, ())
    assert aside_reason(match) == "recorded as none found"


@pytest.mark.parametrize(
    "written",
    [
        "unknown",
        "Unknown shrub",
        "?",
        "???",
        "unk",
        "UNK.",
        "misc",
        "-",
        "--",
        "unidentified vine",
        "shrub",
        "#N/A",
        "NA",
    ],
)
def test_a_plant_that_nobody_named_is_not_known(written):
    match = CATALOGUE.match(written)
    assert (match.reason, match.known, match.suggestions) == (NOT_KNOWN, False, ())


def test_words_for_many_plants_ask_for_one_record_each():
    assert CATALOGUE.match("mixed species").reason.endswith("write one record for each")


@pytest.mark.parametrize(
    ("written", "nearest"),
    [
        ("multiflower rose", "Rosa multiflora"), ("garlick mustered", "Alliaria petiolata"),
        ("kudzo", "Pueraria montana var. lobata"), ("L. mackii", "Lonicera maackii"),
        ("mile a minit", "Persicaria perfoliata"),
    ],
)  # fmt: skip
def test_a_weak_likeness_is_only_suggested_with_its_score(written, nearest):
    match = CATALOGUE.match(written)
    assert not match.known and match.suggestions[0] == nearest
    assert len(match.suggestions) == len(match.scores) <= 3
    assert list(match.scores) == sorted(match.scores, reverse=True)
    assert all(75 <= score < 100 for score in match.scores)
    assert f"{nearest} ({match.scores[0]:.0f} of 100 alike)" in match.reason


def test_half_a_name_is_not_read():
    match = CATALOGUE.match("maackii")
    assert (match.known, match.suggestions) == (False, ("Lonicera maackii",)) and "half a name" in match.reason
    assert CATALOGUE.match("minor").reason == ""  # also a class of roads


def test_a_symbol_may_stand_apart_from_its_number():
    assert CATALOGUE.match("LOMA 6").scientific_name == "Lonicera maackii"
    assert CATALOGUE.match("HEMA 17").scientific_name == "Heracleum mantegazzianum"
    assert not CATALOGUE.match("HEMA 2").known


def test_names_that_share_a_code_are_never_guessed():
    for code, plants in {
        "HEMA": {"Hesperis matronalis", "Heracleum mantegazzianum", "Heracleum maximum"},
        "ROCA": {"Rosa canina", "Rosa carolina"}, "LONMOR": {"Lonicera morrowii", "Lonicera x bella"},
    }.items():  # fmt: skip
        match = CATALOGUE.match(code)
        assert not match.known and set(match.suggestions) == plants and match.reason


def test_akin_is_not_the_plant_itself():
    match = CATALOGUE.match("Lonicera aff. maackii")
    assert (match.known, match.suggestions) == (False, ("Lonicera maackii",))
    assert "akin" in match.reason


def test_blank_unknown_and_unclear_names_in_a_file(write, read):
    rows = ["", "Quercus macrocarpa", "honeysuckle", "Lonicera mackii"]
    write("a.csv", "species,cover,radius_ft,lon,lat\n" + "".join(f"{name},50,10,-80,38\n" for name in rows))
    survey = read("a.csv")
    assert survey.patches["species"].tolist() == ["Quercus macrocarpa", "Lonicera maackii"]
    assert survey.patches["known"].tolist() == [False, True]
    blank, unclear = survey.set_aside["reason"]
    assert blank == "species is blank: type it"
    assert unclear.startswith("species 'honeysuckle' is ")
    assert any("Quercus macrocarpa (1 record)" in note for note in survey.notes)
