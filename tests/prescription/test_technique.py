"""Techniques: the handbook's frame on hand-made patches, and what holds for any table of rules and any patch."""

import datetime as dt
import itertools

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from invasimap.core.errors import InputError, InvariantError, LayerError
from invasimap.core.season_settings import TechniqueSection
from invasimap.core.units import METRIC
from invasimap.inputs.species import load_catalogue
from invasimap.prescription.season import DayOfYear, OwnWindow, Season
from invasimap.prescription.technique import choose_techniques, foliar_volume, within_reach
from invasimap.prescription.technique_rules import read_rules

FT, ACRE = 0.3048, 4046.8564224
NAN = float("nan")
TRAITS = load_catalogue().table
RULES = read_rules()
SEASON = Season(
    start=dt.date(2025, 3, 1),
    signs={
        "native_leaf_drop": DayOfYear(month=10, day=25), "killing_freeze": DayOfYear(month=11, day=20),
        "full_leaf": DayOfYear(month=5, day=25), "leaf_colour": DayOfYear(month=10, day=1),
    },
)  # fmt: skip
PIECE = {
    "species": "Lonicera maackii", "zone": "open", "access": "foot", "gross_m2": 2000.0, "cover_pct": 40.0,
    "height_m": 4 * FT, "stem_mm": NAN, "slope_pct": 5.0, "date": "2025-02-01",
}  # fmt: skip


def pieces(*rows):
    return pd.DataFrame([{**PIECE, **row} for row in rows], index=range(100, 100 + len(rows)))


def choose(*rows, rules=RULES, season=SEASON):
    return choose_techniques(pieces(*rows), traits=TRAITS, rules=rules, season=season)


def one(rules=RULES, season=SEASON, **row):
    return choose(row, rules=rules, season=season).iloc[0]


def test_published_split_of_foliar_volume():
    """H01: low to 1,500 stems an acre and under 7 ft, else high."""
    stems, heights = [900, 900, 1500, 1501, 2500], [5, 7, 6.9, 5, 9]
    found = [foliar_volume(h * FT, s / ACRE, limits=TechniqueSection()) for s, h in zip(stems, heights, strict=True)]
    assert found == ["low", "high", "low", "high", "high"]
    own = TechniqueSection(low_volume_height="8 ft", low_volume_stems="6000 stems/ha")
    assert foliar_volume(7.9 * FT, 0.6, limits=own) == "low" and foliar_volume(NAN, 0.6, limits=own) == "high"


def test_reach_filter():
    """H03: 3, 6, 9 and 14 ft at a reach of 6 ft."""
    heights = np.array([3, 6, 9, 14, NAN]) * FT
    assert within_reach(heights, reach_m=6 * FT).tolist() == [True, True, False, False, False]
    found = choose(*({"height_m": height} for height in heights))
    assert found[found["visit"] == 1]["technique"].tolist() == ["foliar_spot"] * 2 + ["cut_then_foliar"] * 3


TALL, SHORT, FEW = 12 * FT, 2 * FT, 10.0


@pytest.mark.parametrize(
    ("row", "technique", "said"),
    [
        ({"access": "out_of_reach"}, "none", "no means at hand"),
        ({"zone": "no_spray"}, "none", "nothing is applied"),
        (
            {"zone": "no_spray", "species": "Alliaria petiolata", "height_m": SHORT, "gross_m2": FEW},
            "pull",
            "bag fruit",
        ),
        (
            {"zone": "no_spray", "species": "Alliaria petiolata", "height_m": NAN, "gross_m2": FEW},
            "none",
            "height (count",
        ),
        ({"zone": "hand_only"}, "cut_stump", "nothing from a nozzle"),
        ({"zone": "hand_only", "species": "Vinca minor"}, "none", "no stem to cut"),
        ({"height_m": SHORT, "gross_m2": FEW, "species": "Rhamnus cathartica"}, "pull", "up to 2 ft and few"),
        ({"height_m": SHORT, "gross_m2": FEW, "species": "Elaeagnus umbellata"}, "foliar_spot", "plant by plant"),
        ({"access": "tractor", "cover_pct": 51.0}, "foliar_broadcast", "cover over 50 %"),
        ({"access": "tractor", "cover_pct": 50.0}, "foliar_spot", "within 6 ft"),
        ({"access": "tractor", "cover_pct": NAN}, "foliar_spot", "cover (no rule on it fits)"),
        ({"height_m": TALL}, "cut_then_foliar", "over 6 ft: cut first; resprouts in 8-10 weeks"),
        ({"height_m": TALL, "gross_m2": FEW}, "cut_stump", "over 6 ft and few"),
        ({"height_m": NAN}, "cut_then_foliar", "not known: height (counted as tall)"),
        ({"species": "Ailanthus altissima", "height_m": TALL, "stem_mm": 80}, "basal_bark", "cutting alone multiplies"),
        ({"species": "Ailanthus altissima", "height_m": TALL, "stem_mm": 200}, "cut_stump", "treat each stump"),
        ({"species": "Ailanthus altissima", "height_m": TALL}, "cut_stump", "stem size (counted as thick)"),
        ({"species": "Ailanthus altissima", "height_m": SHORT}, "foliar_spot", "within 6 ft"),
        ({"species": "Acer platanoides", "height_m": TALL, "stem_mm": 152.4}, "basal_bark", "stems up to 6 in"),
        ({"species": "Acer platanoides", "height_m": TALL, "stem_mm": 153}, "cut_stump", "stems over 6 in"),
        ({"species": "Celastrus orbiculatus", "height_m": TALL}, "cut_stump", "never sprayed overhead"),
        ({"species": "Reynoutria japonica", "height_m": TALL}, "cut_then_foliar", "8-10 weeks"),
        ({"species": "Conium maculatum", "height_m": TALL}, "mow", "does not sprout again"),
        ({"species": "Microstegium vimineum", "access": "tractor"}, "mow", "never with ripe seed"),
        ({"species": "A plant of ours", "height_m": TALL}, "cut_stump", "from its roots (counted as yes)"),
    ],
)
def test_the_frame_of_decisions_with_its_reasons(row, technique, said):
    found = one(**row)
    assert found["technique"] == technique and said in found["reason"]


def test_two_visits_are_two_rows_with_the_wait_between_them():
    """Knotweed, green to 1 October: cut from full leaf until 56 days before that, sprayed 56 days after on."""
    cut, spray = choose({"species": "Reynoutria japonica", "height_m": TALL}).to_dict("records")
    assert [cut[name] for name in ("technique", "visit", "visits", "sprays")] == ["cut_then_foliar", 1, 2, False]
    assert [spray[name] for name in ("technique", "visit", "visits", "sprays")] == ["cut_then_foliar", 2, 2, True]
    assert pd.isna(cut["after"]) and [spray[n] for n in ("after", "wait_min_days", "wait_max_days")] == [1, 56, 70]
    dates = [str(visit[end])[:10] for visit in (cut, spray) for end in ("first", "last")]
    assert dates == ["2025-05-25", "2025-08-06", "2025-07-20", "2025-10-01"]


def test_a_wait_of_the_plants_own_goes_first_and_is_said():
    own = (OwnWindow(species=frozenset({"Reynoutria japonica"}), wait_days=(42, 50)),)
    cut, spray = choose(
        {"species": "Reynoutria japonica", "height_m": TALL},
        season=Season(start=SEASON.start, signs=SEASON.signs, own=own),
    ).to_dict("records")
    assert spray["wait_min_days"] == 42 and "resprouts in 42-50 days" in cut["reason"]


def test_reasons_are_in_the_units_of_the_tract():
    season = Season(start=SEASON.start, signs=SEASON.signs, shown=METRIC)
    found = one(rules=read_rules(shown=METRIC), season=season, height_m=TALL)
    assert found["reason"] == "over 1.83 m: cut first; resprouts in 8-10 weeks"
    assert found["technique"] == one(height_m=TALL)["technique"]


def test_a_height_of_long_ago_is_said_where_leaves_are_sprayed():
    assert "height is of 2023-06-01: look" in one(date="2023-06-01")["reason"]
    assert "height is of" not in one(date="2024-06-01")["reason"]
    assert "height is of" not in one(date="")["reason"] + one(date="2023-06-01", height_m=TALL)["reason"]


def table(tmp_path, text):
    (tmp_path / "mine.csv").write_text(text, encoding="utf-8")
    return read_rules(tmp_path / "mine.csv")


def test_the_first_row_that_fits_wins_and_a_table_that_covers_nothing_gives_none(tmp_path):
    rows = (
        "zone,height,technique,reason\nopen,over 3 ft,cut_stump,{height} and {species}\nopen,over 1 ft,basal_bark,no\n"
    )
    found = one(rules=table(tmp_path, rows))
    assert (found["technique"], found["reason"], found["rule"]) == ("cut_stump", "4 ft and Lonicera maackii", "row 2")
    for text in (rows, "zone,technique,reason\n"):
        none = one(rules=table(tmp_path, text), height_m=0.2)
        assert none["technique"] == "none" and none["visits"] == 0 and pd.isna(none["first"])
        assert none["reason"].startswith(
            "no rule fits Lonicera maackii in open ground reached by foot, height 0.656 ft"
        )


def test_what_is_unknown_fits_by_name_and_never_a_blank_cell_of_standing_leaves(tmp_path):
    rules = table(
        tmp_path,
        "zone,height,cover,technique,reason\nopen,,,foliar_spot,low\n,unknown,,none,measure it\n,,,pull,else\n",
    )
    assert one(rules=rules)["technique"] == "foliar_spot"
    assert one(rules=rules, height_m=NAN)["reason"] == "measure it; not known: height (counted as tall)"
    assert one(rules=rules, height_m=9.0)["technique"] == "pull"


def test_ground_that_nothing_reaches_is_treated_only_by_name(tmp_path):
    rules = table(tmp_path, "zone,access,technique,reason\nopen,,cut_stump,a\nopen,out_of_reach,pull,walk in\n")
    assert one(rules=rules)["technique"] == "cut_stump"
    assert one(rules=rules, access="out_of_reach")["technique"] == "pull"


def test_rules_that_were_not_read_cannot_spray_either():
    forged = RULES.copy()
    forged["zone"] = None
    forged["technique"] = "basal_bark"
    with pytest.raises(InvariantError, match="would do basal_bark in no_spray"):
        choose({"zone": "no_spray"}, rules=forged)
    forged["technique"], forged["height"] = "foliar_spot", None
    with pytest.raises(InvariantError, match="height not known"):
        choose({"height_m": NAN}, rules=forged)


def test_pieces_that_cannot_be_are_refused_with_their_rows():
    with pytest.raises(InputError) as caught:
        choose({}, {"height_m": -1.0, "zone": "closed"}, {"cover_pct": 120.0})
    said = str(caught.value)
    assert "zone closed is not known" in said and "height_m outside 0-inf: 1 rows (101)" in said
    assert "cover_pct outside 0-100: 1 rows (102)" in said
    with pytest.raises(InputError, match="lack columns: stem_mm"):
        choose_techniques(pieces({}).drop(columns="stem_mm"), traits=TRAITS, rules=RULES, season=SEASON)
    with pytest.raises(InputError, match="share an index"):
        choose_techniques(pieces({}, {}).set_axis([1, 1]), traits=TRAITS, rules=RULES, season=SEASON)
    assert choose_techniques(pieces({}).iloc[:0], traits=TRAITS, rules=RULES, season=SEASON).empty


ZONES, MEANS = ("open", "hand_only", "no_spray"), ("tractor", "atv_hose", "foot", "out_of_reach")
SPECIES = [*TRAITS.index[TRAITS["status"] == "invasive"], "A plant of ours"]
figure = st.one_of(st.just(NAN), st.floats(0, 20))
rows = st.fixed_dictionaries({
    "species": st.sampled_from(SPECIES), "zone": st.sampled_from(ZONES), "access": st.sampled_from(MEANS),
    "gross_m2": st.floats(0, 1e5), "cover_pct": st.one_of(st.just(NAN), st.floats(0, 100)), "height_m": figure,
    "stem_mm": st.one_of(st.just(NAN), st.floats(0, 800)), "slope_pct": figure,
})  # fmt: skip
cells = {
    "zone": ["", "open", "hand_only", "no_spray", "open; hand_only"],
    "access": ["", "tractor; atv_hose", "foot", "out_of_reach"],
    "life_form": ["", "tree", "shrub; vine", "unknown"],
    "resprouts": ["", "yes", "no; limited", "unknown"],
    "height": ["", "over reach", "within reach", "up to 3 ft", "over 2 ft", "unknown", "2-9 ft"],
    "cover": ["", "over dense", "up to 20 %"],
    "infested": ["", "up to few"],
    "technique": [
        "foliar_spot",
        "foliar_broadcast",
        "cut_then_foliar",
        "cut_stump",
        "basal_bark",
        "pull",
        "mow",
        "none",
    ],
    "reason": ["{species} {height}"],
}
rule_rows = st.lists(st.tuples(*map(st.sampled_from, cells.values())), max_size=6)


def read_as_far_as_it_may(folder, table_rows):
    """The rules of a random table without the rows that are refused."""
    kept = []
    path = folder / "any.csv"
    for row in table_rows:
        path.write_text("\n".join(",".join(line) for line in (cells, row)), encoding="utf-8")
        try:
            read_rules(path)
        except LayerError:
            continue
        kept.append(row)
    path.write_text("\n".join(",".join(line) for line in (cells, *kept)), encoding="utf-8")
    return read_rules(path)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("rules")


def holds(found, frame):
    assert found[found["visit"] == 1].index.tolist() == frame.index.tolist()  # each piece once, in its order
    assert (found.groupby(level=0)["technique"].nunique() == 1).all()
    assert (found["reason"] != "").all() and not found["reason"].str.contains("{", regex=False).any()
    per_piece = found.groupby(level=0).size()
    two = found.groupby(level=0)["technique"].first() == "cut_then_foliar"
    assert (per_piece == np.where(two, 2, 1)).all()
    at = frame.loc[found.index]
    assert not found.loc[(at["zone"] == "no_spray").to_numpy(), "sprays"].any()
    assert set(found.loc[(at["zone"] == "no_spray").to_numpy(), "technique"]) <= {"pull", "mow", "none"}
    assert set(found.loc[(at["zone"] == "hand_only").to_numpy(), "technique"]) <= {"cut_stump", "pull", "mow", "none"}
    standing = found["technique"].isin(["foliar_spot", "foliar_broadcast"]).to_numpy()
    assert (at.loc[standing, "height_m"] <= 6 * FT + 1e-6).all()  # never NaN either
    assert (found["first"].isna() == found["last"].isna()).all() and not (found["first"] > found["last"]).any()


@given(rule_rows, st.lists(rows, min_size=1, max_size=5))
@settings(max_examples=60, deadline=None)
def test_any_table_gives_each_piece_one_decision_that_its_zone_allows(folder, table_rows, piece_rows):
    rules, frame = read_as_far_as_it_may(folder, table_rows), pieces(*piece_rows)
    holds(choose_techniques(frame, traits=TRAITS, rules=rules, season=SEASON), frame)


def test_every_plant_size_zone_and_means_has_one_decision_by_the_table_of_the_package():
    sizes = ((0.4, 20.0), (1.5, 60.0), (4.0, 200.0), (NAN, NAN))
    every = itertools.product(SPECIES, ZONES, MEANS, sizes, (5.0, 5000.0))
    frame = pieces(*(
        {"species": name, "zone": zone, "access": means, "height_m": tall, "stem_mm": stem, "gross_m2": ground}
        for name, zone, means, (tall, stem), ground in every
    ))  # fmt: skip
    found = choose_techniques(frame, traits=TRAITS, rules=RULES, season=SEASON)
    holds(found, frame)
    reached = frame.loc[found.index, "access"] != "out_of_reach"
    assert set(found.loc[~reached.to_numpy(), "technique"]) == {"none"}
    hand = (frame.loc[found.index, "zone"] == "hand_only").to_numpy()
    assert set(found.loc[hand, "technique"]) == {"cut_stump", "pull", "none"}  # by the package's own rules
    assert (found["rule"] != "").all()  # none is left over
