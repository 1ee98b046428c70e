"""Settings: every section parsed, every fault found at once, with its line."""

import re
from pathlib import Path

import pytest

from invasimap.core.errors import SettingsError
from invasimap.core.toml_file import read_tract

EVERY_SECTION = (Path(__file__).parents[1] / "data" / "every_section.toml").read_text(encoding="utf-8")
SMALLEST = '[tract]\nname = "A"\n[[survey]]\nfiles = ["a.csv"]\n[stands]\nfile = "s.gpkg"\n'


def faults_of(text, folder):
    file = folder / "tract.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError) as caught:
        read_tract(file)
    return [str(fault) for fault in caught.value.faults]


def test_every_section_is_read_in_si(tmp_path):
    (tmp_path / "tract.toml").write_text(EVERY_SECTION, encoding="utf-8")
    tract = read_tract(tmp_path)
    assert tract.folder == tmp_path.resolve()
    assert tract.protect[0].no_spray_m == pytest.approx(25 * 0.3048)
    assert tract.protect[0].blocks == {"tractor", "atv", "hose"}
    assert tract.access.atv.flow_L_per_min == pytest.approx(3 * 3.785411784)
    assert tract.mix[0].max_per_application_kg_per_ha == pytest.approx(2.9 * 0.45359237 / 0.40468564224)
    assert tract.mix[0].limit_year == (10, 1) and tract.mix[0].dye.rate.share_of_mix == pytest.approx(0.5 / 128)
    assert tract.rig[0].wage.amount == 28 and tract.rig[0].machine_costs.repair_pct == 60
    assert tract.rig[0].calibration[0].rate_L_per_ha == pytest.approx(40 * 3.785411784 / 0.40468564224)
    assert tract.labour.productive_min == 390 and tract.spray.waste_pct == 10
    assert tract.survey[0].defaults.cover_pct == (25, 50)
    assert tract.season.killing_freeze == (11, 8)
    assert tract.season.sap_flow == ((2, 20), (4, 15)) and tract.season.reference.elevation_m == pytest.approx(152.4)
    assert (tract.season.degree_days.base_c, tract.season.degree_days.upper_c) == (10, 30)
    assert tract.window[0].wait_days == (56, 70) and tract.technique.wait_days == (56, 56)
    assert tract.technique.basal_stem_m == pytest.approx(0.1016)
    assert tract.technique.low_volume_stems_per_m2 == pytest.approx(1200 / 4046.8564224)
    assert tract.budget.money.amount == 12_000 and tract.schedule.step == 500
    assert tract.schedule.stand_priority == {"creek": 2, "7": 0.5}
    assert tract.schedule.outlying_distance_m == pytest.approx(200 * 0.3048) and tract.schedule.time_limit_min == 0.5
    assert tract.confidential.hide_within_m == pytest.approx(500 * 0.3048)
    assert "has its say" not in repr(tract)


def test_smallest_file_has_no_means_and_no_protection(tmp_path):
    (tmp_path / "tract.toml").write_text(SMALLEST, encoding="utf-8")
    tract = read_tract(tmp_path)
    assert tract.protect == [] and tract.access.tractor is None and tract.access.foot is None


HIDDEN = SMALLEST + '[[protect]]\nkind = "orchid"\nfile = "o.csv"\nno_spray = "5 ft"\nconfidential = true\n'


@pytest.mark.parametrize(
    ("section", "line", "said"),
    [
        ("", 11, "nothing hides its place"),
        ('hide_within = "200 ft"', 12, "is missing"),
        ('words = "fifteen letters"', 13, "too short"),
        ('words = "sixteen letters."\nhide_within = "99 ft"', 14, "from 100 ft to 5280 ft"),
        ('words = "sixteen letters."\nhide_within = "1.01 mi"', 14, "from 100 ft to 5280 ft"),
        ("words = 4711471147114711", 13, "valid string"),
    ],
)
def test_a_confidential_block_needs_words_and_a_distance_that_hide(tmp_path, section, line, said):
    text = HIDDEN + (f"[confidential]\n{section}\n" if section else "")
    (fault,) = faults_of(text, tmp_path)
    assert f"tract.toml:{line}:" in fault and said in fault and "4711" not in fault
    if "words" in said or not section:
        drawn = [re.search(r"drawn just now: ([a-z-]{29})", faults_of(text, tmp_path)[0])[1] for _ in range(2)]
        assert drawn[0] != drawn[1]
        (tmp_path / "tract.toml").write_text(HIDDEN + f'[confidential]\nwords = "{drawn[0]}"\n', encoding="utf-8")
        assert read_tract(tmp_path).confidential.hide_within_m == pytest.approx(91.44)


def test_a_background_is_none_unless_typed_and_its_address_must_be_one_of_map_pictures(tmp_path):
    typed = '[map]\nbackground = {{ address = "{}", attribution = "them" }}\n'
    good = "https://maps.example.org:8080/a/{z}/{x}/{y}.png?key=1"
    (tmp_path / "tract.toml").write_text(SMALLEST + typed.format(good), encoding="utf-8")
    assert read_tract(tmp_path).map.background.address == good
    (tmp_path / "tract.toml").write_text(SMALLEST, encoding="utf-8")
    assert read_tract(tmp_path).map.background is None
    for wrong in ("https://maps.example.org/{z}/{x}.png", "ftp://a.org/{z}/{x}/{y}", "https://a.org/{z}/{x}/{y}/{s}",
                  "https://a.org/{z}/{x}/{y}{y}", "javascript:{z}{x}{y}", "https://a.org'/{z}/{x}/{y}"):  # fmt: skip
        (fault,) = faults_of(SMALLEST + typed.format(wrong), tmp_path)
        assert "{z}, {x} and {y} once each" in fault and "background" in fault
    (fault,) = faults_of(SMALLEST + '[map]\nbackground = { address = "https://a.org/{z}/{x}/{y}" }\n', tmp_path)
    assert "attribution" in fault


@pytest.mark.parametrize(
    ("asked", "m2"),
    [('acre = "us survey"', 4046.87260987), ('acre = "international"', 4046.8564224),
     ('acre = "us survey"\nunits = "metric"', 10_000.0)],
)  # fmt: skip
def test_the_acre_that_areas_are_shown_in_is_a_setting_and_is_said(tmp_path, asked, m2):
    path = tmp_path / "tract.toml"
    path.write_text(f'[tract]\nname = "A"\n{asked}\n[[survey]]\nfiles = ["a.csv"]\n[stands]\nfile = "s.gpkg"\n')
    shown = read_tract(path).shown
    assert shown.m2 == pytest.approx(m2, rel=1e-11)
    assert shown.area_said.startswith({"us survey": "acres (US survey, 4,046.8726"}.get(asked[8:-1], ("acres (i", "h")))


def test_all_faults_at_once_with_line_and_nearest_key(tmp_path):
    text = EVERY_SECTION.replace("no_spray =", "no_spry =").replace('cell = "10 ft"', "cell = 10")
    text = text.replace("killing_freeze", "kiling_freeze").replace('units = "us"', 'units = "imperial"')
    lines = text.splitlines()
    faults = faults_of(text, tmp_path)
    spelled = next(fault for fault in faults if "no_spry" in fault)
    number = next(n for n, line in enumerate(lines, 1) if line.startswith("no_spry"))
    assert f"tract.toml:{number}:" in spelled and "did you mean 'no_spray'?" in spelled
    assert any("there is no default" in fault for fault in faults)
    assert any("10 has no unit" in fault for fault in faults)
    assert any("did you mean 'killing_freeze'" in fault for fault in faults)
    assert any("imperial" in fault for fault in faults)
    assert len(faults) == 5


def test_names_that_are_not_known_come_with_all_other_faults_and_their_lines(tmp_path):
    text = (
        '[tract]\nname = "A"\n[[survey]]\nfiles = ["a.csv"]\ndate_order = "mdy"\ncover_scale = "county"\n'
        'crs = "EPSG:99999"\ndefaults = { radius = "10" }\ncolumns = { specie = "SPP" }\n'
        '[[survey]]\nfiles = ["b.csv"]\ncover_scale = "Mine"\n[stands]\nfile = "s.gpkg"\ncrs = "nonsense"\n'
        'where = { crs = "a value of the layer" }\n[intake.cover_scales.mine]\nfew = "0-5 %"\n'
    )
    faults = faults_of(text, tmp_path)
    lines = [5, 6, 7, 8, 9, 15]  # counted by hand
    said = [
        "mdy",
        "'county' is not known: there are percent,",
        "EPSG:99999",
        "no unit",
        "did you mean 'species'",
        "nonsense",
    ]
    assert len(faults) == len(lines)
    for fault, line, what in zip(faults, lines, said, strict=True):
        assert f"tract.toml:{line}: " in fault and what in fault


def test_protect_block_without_distance_says_type_it(tmp_path):
    faults = faults_of(SMALLEST + '[[protect]]\nkind = "well"\nfile = "w.csv"\n', tmp_path)
    assert len(faults) == 1 and "no_spray" in faults[0] and "label or rule" in faults[0]


@pytest.mark.parametrize(
    ("extra", "said"),
    [
        ('[[protect]]\nkind="a"\nfile="a"\nno_spray="50 ft"\nhand_only="25 ft"\n', "hand_only is narrower"),
        ('[[protect]]\nkind="a"\nfile="a"\nno_spray="-5 ft"\n', "'-5 ft' is below zero"),
        (
            '[[mix]]\nname="m"\nproduct="p"\nrate="1 % v/v"\nspecies=["*"]\nzones=["no_spray"]\n',
            "nothing is sprayed there",
        ),
        ('[[mix]]\nname="m"\nproduct="p"\nspecies=["*"]\nzones=["open"]\n', "type this from the label"),
        ('[access]\ncell="0 ft"\n', "above zero"),
        (
            '[access.atv]\nmax_slope="5 %"\nmax_side_slope="5 %"\nclearance="1 m"\nhose_length="9 m"\nflow="3 gpm"\n',
            "lift needs",
        ),
        ('[season]\nnative_leaf_drop="13-40"\n', "month and day"),
    ],
)
def test_what_cannot_be_is_refused(tmp_path, extra, said):
    faults = faults_of(SMALLEST + extra, tmp_path)
    assert len(faults) == 1 and said in faults[0]


def test_bom_is_read_and_other_encodings_named(tmp_path):
    (tmp_path / "tract.toml").write_bytes(b"\xef\xbb\xbf" + SMALLEST.encode())
    assert read_tract(tmp_path).tract.name == "A"
    (tmp_path / "tract.toml").write_bytes(SMALLEST.replace('"A"', '"Caf\u00e9"').encode("cp1252"))
    with pytest.raises(SettingsError, match="UTF-8"):
        read_tract(tmp_path)


def test_missing_file_and_broken_toml(tmp_path):
    with pytest.raises(SettingsError, match="no such settings file"):
        read_tract(tmp_path)
    assert "not valid TOML" in faults_of('[tract]\nname = "C:\\data"\n', tmp_path)[0]


def test_ranges_take_a_share_and_enough_draws_or_none(tmp_path):
    text = SMALLEST + '[uncertainty]\ndraws = 250\nsize_error = "15 %"\ncover_error = "3 %"\naccuracy_is = "95 %"\n'
    (tmp_path / "tract.toml").write_text(text, encoding="utf-8")
    tract = read_tract(tmp_path)
    assert (tract.uncertainty.draws, tract.uncertainty.size_error_pct) == (250, 15.0)
    assert tract.uncertainty.cover_error_pct == 3.0
    none = tract.with_draws(0)
    assert (none.uncertainty.draws, none.uncertainty.size_error_pct, none.folder) == (0, 15.0, tract.folder)
    with pytest.raises(ValueError, match="at least 100"):
        tract.with_draws(20)
    few, bare = faults_of(text.replace("250", "20").replace('"15 %"', "15"), tmp_path)
    assert "tract.toml:8: " in few and "20 draws are too few" in few
    assert "tract.toml:9: " in bare and "no unit" in bare
