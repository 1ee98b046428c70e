"""The command line as its users meet it."""

import csv
import datetime as dt
import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

PROGRAM = Path(sys.executable).with_name("invasimap")


def run(*arguments):
    """The installed program, in a process of its own."""
    return subprocess.run([PROGRAM, *map(str, arguments)], capture_output=True, text=True, check=False)


SETTINGS = (
    '[tract]\nname = "A"\n[[survey]]\nfiles = ["survey.geojson"]\n[stands]\nfile = "land.gpkg"\nlayer = "stands"\n'
    "[uncertainty]\ndraws = 0\n"
)


@pytest.fixture
def small(write_tract, utm_layer):
    import shapely

    survey = utm_layer(
        [shapely.Point(500_050, 4_200_050), shapely.Point(500_020, 4_200_020)],
        species=["Rosa multiflora", ""], cover=["40", "10"], radius_m=["10", "5"],
    ).to_crs(4326)  # fmt: skip
    stands = utm_layer([shapely.box(500_000, 4_200_000, 500_100, 4_200_100)], stand=["1"])
    return write_tract(SETTINGS, survey=survey, stands=stands)


def test_help_names_the_commands_and_each_has_an_example(command_here):
    shown = command_here("--help").stdout
    for command in ("calibrate", "check", "demo", "plan", "start"):
        assert command in shown
        assert "Example:" in command_here(command, "--help").stdout


def test_plan_writes_the_folder_and_one_answer(small, command_here, without_pages):
    done = run("plan", small)
    assert done.returncode == 0, done.stderr
    assert "1 of 2 records used, 1 set aside" in done.stdout
    assert "No work is planned: tables/techniques.csv says why." in done.stdout
    assert (small / "out" / "report.html").exists()
    assert "NO ELEVATION DATA" in done.stderr
    assert command_here("plan", small, "--quiet").stdout == ""


def test_internal_results_have_a_folder_of_their_own(small, command_here):
    done = command_here("plan", small, "--internal", "--draws", "0")
    assert done.returncode == 0, done.stderr
    assert "INTERNAL_report.html (INTERNAL - not to be passed on)" in done.stdout
    assert (small / "out_internal" / "INTERNAL_report.html").exists() and not (small / "out").exists()
    refused = command_here("plan", small, "--internal", "--draws", "0", "--out", small / "out")
    assert refused.returncode == 2 and "no internal plan goes there" in refused.stderr


def test_check_says_all_and_writes_nothing(small, command_here):
    before = sorted(path.name for path in small.iterdir())
    done = command_here("check", small)
    assert done.returncode == 0 and "survey.geojson, record 2" in done.stdout
    found = json.loads(command_here("check", small, "--json").stdout)
    assert found["ledger"] == [{"file": "survey.geojson", "records": 2, "accepted": 1, "repaired": 0, "set_aside": 1}]
    assert sorted(path.name for path in small.iterdir()) == before


MIX = (
    '[[mix]]\nname = "m"\nproduct = "P"\nrate = "1 % v/v"\nspecies = ["*"]\nzones = ["open"]\n'
    'ingredient = "3 lb/gal"\nmax_per_application = "3 lb/acre"\nwind = "3-10 mph"\n'
)
RIG = (
    '[[rig]]\nname = "pair"\naccess = "foot"\ntank = "4 gal"\noutput = "0.4 gal/min"\ncrew = 2\nwage = "28 USD/h"\n'
    'calibration = [{ rate = "40 gal/acre", date = %s }]\n'
)


def test_check_tells_what_a_label_lacks_and_days_that_cannot_be(small, command_here):
    dated = [dt.datetime.now(dt.UTC).date() + dt.timedelta(days) for days in (-40, 3, 0)]  # the tract is in UTC
    start = "[schedule]\nstart = 2016-09-01\n"
    said = []
    for day in dated:
        (small / "tract.toml").write_text(SETTINGS + MIX + RIG % day + (start if day == dated[2] else ""))
        done = command_here("check", small, "--verbose")
        said.append((done.returncode, " ".join((done.stdout + done.stderr).split())))
    for _, text in said:
        assert "mix 'm': without max_per_year nothing is planned with it: type this from the label." in text
        assert "mix 'm': no technique is typed" in text
        assert "mix 'm': registration, temperature, rain_free, reentry not typed" in text
    assert [code for code, _ in said] == [0, 2, 0]
    assert f"calibrated {dated[0]}, over 30 days before the first day of work" in said[0][1]
    assert f"rig 'pair': calibration of {dated[1]} is of a day to come" in said[1][1]
    assert "calibrated" not in said[2][1] and "start = 2016-09-01 lies far from today" in said[2][1]


def test_every_fault_at_once_exit_2_no_traceback_nothing_written(small, command_here):
    text = SETTINGS.replace('"survey.geojson"', '"gone.csv"').replace('layer = "stands"', 'layer = "stand"')
    (small / "tract.toml").write_text(text + '[land]\nelevation = "nowhere.tif"\n')
    done = command_here("plan", small)
    assert done.returncode == 2 and "Traceback" not in done.stderr
    assert "nowhere.tif" in done.stderr and "stand" in done.stderr
    assert not (small / "out").exists()


def test_check_looks_at_the_files_that_settings_with_faults_still_name(small, command_here):
    text = SETTINGS.replace('["survey.geojson"]', '["survey.geojson", "gone.csv"]')
    bad = '[[protect]]\nkind = "well"\nfile = "nowhere.gpkg"\nno_spray = "25"\nrule = "a"\n[access.atv]\nspeed = 3\n'
    (small / "tract.toml").write_text(text + bad)
    done = command_here("check", small)
    assert done.returncode == 2 and "Traceback" not in done.stderr
    assert "no_spray: '25' has no unit" in done.stderr and "unknown key 'speed'" in done.stderr
    assert "gone.csv: matches no file" in done.stderr
    for false in ("NO MEANS", "NOTHING IS PROTECTED"):  # both sections are there, though at fault
        assert false not in done.stdout + done.stderr
    assert "survey.geojson, record 2: species is blank" in done.stdout
    assert (
        len(json.loads(command_here("check", small, "--json").stdout)["faults"])
        == len(re.findall("tract.toml:", done.stderr)) + 1
    )


def test_check_says_the_same_of_many_records_once(small, command_here):
    rows = ",50,10,-80.9995,37.9475\n" * 60
    (small / "survey.csv").write_text("species,cover,radius_m,lon,lat\n" + rows)
    (small / "tract.toml").write_text(SETTINGS.replace('["survey.geojson"]', '["survey.geojson", "survey.csv"]'))
    shown = command_here("check", small).stdout
    assert shown.count("species is blank") < 60 and "60 records (1, 2, 3," in shown


def test_unknown_command_and_option_exit_2(command_here):
    assert command_here("pln").returncode == 2
    assert command_here("plan", "--colour").returncode == 2


def test_draws_0_leaves_the_ranges_empty_and_too_few_are_refused(small, command_here, without_pages):
    for draws, wanted in ((["--draws", "0"], False), (["--draws", "100"], True), ([], False)):  # 0 in the settings
        assert command_here("plan", small, "--quiet", *draws).returncode == 0
        with (small / "out" / "tables" / "acreage.csv").open() as stream:
            (row,) = csv.DictReader(stream)
        ranges = [name for name in row if "_low_" in name or "_high_" in name]
        assert len(ranges) == 4 and all((row[name] != "") == wanted for name in ranges) and row["gross_ac"]
    done = command_here("plan", small, "--draws", "20")
    assert done.returncode == 2 and "at least 100" in done.stderr


def test_foreign_out_folder_is_refused(small, tmp_path, command_here):
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "a.jpg").write_text("x")
    done = command_here("plan", small, "--out", tmp_path / "photos")
    assert done.returncode == 2 and "nothing is written over" in done.stderr
    assert [path.name for path in (tmp_path / "photos").iterdir()] == ["a.jpg"]


def test_check_refuses_what_plan_would_a_result_that_is_also_an_input(small, command_here, without_pages):
    assert command_here("plan", small, "--quiet").returncode == 0
    (small / "tract.toml").write_text(SETTINGS.replace("land.gpkg", "out/plan.gpkg"))
    for command in ("check", "plan"):
        done = command_here(command, small)
        assert done.returncode == 2 and "plan.gpkg, which is an input" in done.stderr, done.stderr


def test_no_sign_that_a_terminal_obeys_is_printed(small, command_here):
    (small / "tract.toml").write_text(SETTINGS.replace("land.gpkg", "land\\u001b[2J.gpkg"))
    done = command_here("check", small)
    assert done.returncode == 2 and "land\\u001b[2J.gpkg" in done.stderr
    assert "\x1b[2J" not in done.stdout + done.stderr
