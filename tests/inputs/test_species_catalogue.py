"""The rows of the catalogue: whole, with their source, and clear of each other."""

from __future__ import annotations

import csv
import re
from importlib import resources

import pytest

from invasimap.inputs.species import load_catalogue

DATA = resources.files("invasimap.inputs").joinpath("data")


def rows(name):
    return list(csv.DictReader(DATA.joinpath(name).read_text(encoding="utf-8").splitlines()))


INVADERS, NATIVES = rows("species.csv"), rows("natives.csv")
COMMON = rows("common_natives.csv")
BOTH = [*INVADERS, *NATIVES, *COMMON]


def test_the_table_holds_all_files():
    table = load_catalogue().table
    assert len(table) == len(BOTH) and table.index.is_unique
    assert table["status"].value_counts().to_dict() == {
        "invasive": len(INVADERS), "native": len(NATIVES) + len(COMMON)
    }  # fmt: skip
    assert len(INVADERS) >= 120 and 25 <= len(NATIVES) <= 50


@pytest.mark.parametrize("row", BOTH, ids=lambda row: row["scientific_name"])
def test_a_row_has_name_author_form_and_source(row):
    assert re.fullmatch(r"[A-Z][a-z]+ (x )?[a-z]+( (ssp|var)\. [a-z]+)?", row["scientific_name"])
    assert all(
        row[column].strip() == row[column] != "" for column in ("author", "common_names", "life_form", "sources")
    )
    assert row["symbol_status"] in ("seen", "confirm")
    assert re.fullmatch(r"([A-Z]{4}[A-Z]?\d{0,3})?", row["symbol"])
    genus, epithet = row["scientific_name"].split()[0], row["scientific_name"].replace(" x ", " ").split()[1]
    old = any(name[:2].upper() == row["symbol"][:2] for name in row["synonyms"].split("; "))
    assert not row["symbol"] or old or row["symbol"].startswith((genus[:2] + epithet[:2]).upper())


@pytest.mark.parametrize("row", INVADERS, ids=lambda row: row["scientific_name"])
def test_seed_years_and_monitoring_agree(row):
    low, high, watch = (row[c] for c in ("seedbank_years_low", "seedbank_years_high", "monitoring_years_default"))
    assert (low == "") == (high == "") == (watch == "")  # unknown is not zero, nor three years
    if high:
        assert 0 <= int(low) <= int(high) and int(watch) == max(3, int(high))


def test_symbol_seen_in_a_source_names_it():
    for row in BOTH:
        if row["symbol_status"] == "seen":
            assert row["symbol"] and row["sources"] != "general knowledge, confirm locally", row["scientific_name"]


def test_no_name_or_symbol_stands_in_two_rows():
    owner: dict[str, str] = {}
    for row in BOTH:
        names = [row["scientific_name"], row["symbol"], *row["synonyms"].split(";"), *row["common_names"].split(";")]
        for name in filter(None, (re.sub(r"\W|\b(ssp|subsp|var)\b", "", text).lower() for text in names)):
            assert owner.setdefault(name, row["scientific_name"]) == row["scientific_name"], name


def test_no_symbol_is_another_ones_without_its_number():
    symbols = {row["symbol"] for row in BOTH} - {""}
    assert not {s for s in symbols if s[-1].isdigit() and s.rstrip("0123456789") in symbols}


def test_common_natives_are_not_taken_for_plants_to_treat():
    catalogue = load_catalogue()
    for written in ("Acer rubrum", "red maple", "white oak", "QUAL", "eastern hemlock", "black cherry"):
        assert catalogue.match(written).native, written


def test_natives_name_listed_invaders_and_how_to_tell_them():
    invaders = {row["scientific_name"] for row in INVADERS}
    for row in NATIVES:
        assert set(row["looks_like"].split("; ")) <= invaders, row["scientific_name"]
        assert row["told_apart"] and row["sources"] == "general knowledge, confirm locally"


def test_names_known_to_the_trade_stand_where_they_belong():
    """Names and symbols as published: the plants manual's own example and old names of three weeds."""
    catalogue = load_catalogue()
    for written, name in {
        "LOMA6": "Lonicera maackii", "Rhamnus frangula": "Frangula alnus", "Cynanchum louiseae": "Vincetoxicum nigrum",
        "Fallopia japonica": "Reynoutria japonica", "Sapium sebiferum": "Triadica sebifera",
        "Ranunculus ficaria": "Ficaria verna", "Festuca arundinacea": "Schedonorus arundinaceus",
    }.items():  # fmt: skip
        assert catalogue.match(written).scientific_name == name


def test_no_cell_reads_as_leave_to_spray():
    for row in BOTH:
        assert not re.search(r"\b(safe|allowed|permitted|legal|may be sprayed)\b", " ".join(row.values()), re.I)


def test_the_readme_says_that_rows_must_be_edited_and_allow_nothing():
    text = DATA.joinpath("README.txt").read_text(encoding="utf-8")
    assert "You must edit them" in text and "NOTHING HERE IS A PERMISSION" in text
    assert all(column in text for column in ("symbol_status", "looks_like", "told_apart", "monitoring_years_default"))
