"""Names read back as themselves, and a slip of the pen never makes another plant of one."""

from __future__ import annotations

import string

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from invasimap.inputs.species import aside_reason, load_catalogue

CATALOGUE = load_catalogue()
NAMES = [
    (str(plant), name.strip())
    for plant, row in CATALOGUE.table.iterrows()
    for cell in (str(plant), row["synonyms"], row["common_names"])
    for name in cell.split(";")
    if name.strip()
]
SYMBOLS = [(str(plant), symbol) for plant, symbol in CATALOGUE.table["symbol"].items() if symbol]


def read(text: str) -> str:
    match = CATALOGUE.match(text)
    return match.scientific_name if match.known or match.native else ""


def test_every_name_and_symbol_is_read_as_its_own_plant():
    assert len(NAMES) > 500
    for plant, name in [*NAMES, *SYMBOLS]:
        match = CATALOGUE.match(name)
        assert (match.scientific_name, match.how, match.reason) == (plant, "", ""), name


@given(st.sampled_from([*NAMES, *SYMBOLS]), st.sampled_from([str.upper, str.lower, str.title, str.swapcase]), st.data())
@settings(max_examples=400, deadline=None)
def test_case_and_space_never_matter(pair, case, data):
    plant, name = pair
    space = st.sampled_from([" ", "  ", "\t", "_", "\u00a0"])
    words = case(name).split(" ")
    text = "".join(word + data.draw(space) for word in words)
    assert read(data.draw(space) + text) == plant


@st.composite
def slips(draw):
    """A plant and one of its names with one letter wrong, left out, put in or changed for the next."""
    plant, name = draw(st.sampled_from(NAMES))
    k = draw(st.integers(0, len(name) - 1))
    letter = draw(st.sampled_from(string.ascii_letters + string.digits + " -.,;/?()&'\u00d7\u00e9"))
    return plant, draw(
        st.sampled_from([
            name[:k] + name[k + 1 :], name[:k] + letter + name[k:], name[:k] + letter + name[k + 1 :],
            name[:k] + name[k + 1 : k + 2] + name[k] + name[k + 2 :],
        ])
    )  # fmt: skip


@given(slips())
@settings(max_examples=1500, deadline=None)
def test_one_slip_never_makes_another_plant(slip):
    plant, text = slip
    assert read(text) in ("", plant)


@pytest.mark.parametrize("step", range(4))
def test_a_letter_left_out_mostly_leaves_the_plant_readable(step):
    texts = [
        (plant, name[:k] + name[k + 1 :]) for plant, name in NAMES if len(name) > 12 for k in range(step, len(name), 9)
    ]
    right = sum(read(text) == plant for plant, text in texts)
    assert right > 0.85 * len(texts)


@given(st.text(max_size=60) | st.lists(st.sampled_from([name for _, name in NAMES]), max_size=4).map("; ".join))
@settings(max_examples=400, deadline=None)
def test_any_text_is_read_in_one_definite_way(text):
    match = CATALOGUE.match(text)
    assert match.known + match.native <= 1
    assert not (match.known and aside_reason(match))
    assert not match.suggestions or match.reason
    assert len(match.scores) in (0, len(match.suggestions))
    assert match.scientific_name in CATALOGUE.table.index or not (match.known or match.native)


@given(
    st.permutations(NAMES).map(lambda names: names[:2]), st.sampled_from([", ", "/", " & ", " and ", "; ", " + ", " "])
)
@settings(max_examples=300, deadline=None)
def test_two_names_in_a_cell_are_one_plant_only_where_they_agree(pair, sign):
    (one, first), (two, second) = pair
    found = read(f"{first}{sign}{second}")
    assert found in ("", one) if one == two else found == ""


def test_a_text_longer_than_any_name_is_set_aside():
    assert "too long" in CATALOGUE.match("Rosa multiflora " * 1000).reason
