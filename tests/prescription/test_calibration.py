"""Calibration: the worked examples of the trade, figures copied in; and the command that prints them."""

import datetime as dt
import tomllib

import pytest
from amounts_kit import FT, GAL

from invasimap.core.errors import InputError
from invasimap.core.rig_settings import CalibrationSection
from invasimap.core.units import METRIC, US
from invasimap.prescription.calibration import (
    L_PER_HA_PER_GPA,
    PLOT_M2,
    boom_flow_L_per_min,
    boom_rate,
    course_length_m,
    plot_notes,
    plot_rate,
    plot_side_m,
    rate_at_speed,
    setting_line,
    timed_rate,
)  # fmt: skip

FLOZ, MPH, INCH = GAL / 128, 0.44704, 0.0254


def test_q01_a_plot_of_1_128_acre():
    assert pytest.approx(340.3125, rel=1e-9) == PLOT_M2 / FT**2
    assert plot_side_m() / FT == pytest.approx(18.4475608144, rel=1e-9)
    assert pytest.approx(0.569329660239, rel=1e-6) == 100 * ((18.5 * FT) ** 2 / PLOT_M2 - 1)
    assert pytest.approx(-53.7924701561, rel=1e-6) == 100 * (8.5 * 18.5 * FT**2 / PLOT_M2 - 1)
    assert plot_notes((18.5 * FT) ** 2) == () and plot_notes(8.5 * 18.5 * FT**2)


def test_q02_course_of_a_band_6_ft_wide():
    assert course_length_m(6 * FT, plot_m2=340 * FT**2) / FT == pytest.approx(56.6666666667)
    assert course_length_m(6 * FT) / FT == pytest.approx(56.71875)


def test_q03_fl_oz_caught_are_gallons_an_acre():
    found = plot_rate(7.5 * FLOZ)
    assert found.gal_per_acre == pytest.approx(7.5) and found.notes == ()
    timed = timed_rate(7.5 * FLOZ / (17 / 60), plot_min=17 / 60)
    assert timed.gal_per_acre == pytest.approx(7.5)
    per_gallon = 8 / found.gal_per_acre
    assert per_gallon == pytest.approx(1.06666666667) and 3 * per_gallon == pytest.approx(3.2)


def test_q04_a_plot_of_another_size_is_scaled_and_said():
    found = plot_rate(60 * FLOZ, plot_m2=500 * FT**2)
    assert found.gal_per_acre == pytest.approx(40.8375)
    assert "scaled" in found.notes[0] and "335 to 345" in found.notes[0]


@pytest.mark.parametrize(("ft2", "said"), [(334.9, 1), (335, 0), (345, 0), (345.1, 1)])
def test_plots_from_335_to_345_ft2_count_as_1_128_acre(ft2, said):
    assert len(plot_notes(ft2 * FT**2)) == said


def test_q05_boom_nozzle():
    flow = boom_flow_L_per_min(20 * L_PER_HA_PER_GPA, speed_m_per_s=4 * MPH, width_m=20 * INCH)
    assert flow / GAL == pytest.approx(0.26936026936, rel=1e-6)


def test_q06_boomless_nozzle():
    found = boom_rate(3.75 * GAL, speed_m_per_s=5 * MPH, width_m=222 * INCH).gal_per_acre
    assert found == pytest.approx(20.0675675676, rel=1e-6)
    assert pytest.approx(found) == 3.75 * 5940 / (5 * 222) and found != pytest.approx(20.0648648649, rel=1e-6)


def test_q07_boom_formula_metric():
    assert boom_flow_L_per_min(200, speed_m_per_s=6 / 3.6, width_m=0.5) == pytest.approx(1.0)


def test_q20_one_gallon_an_acre_in_metric():
    assert pytest.approx(9.35395622896, rel=1e-9) == L_PER_HA_PER_GPA


def test_q22_a_fifth_slower_is_a_quarter_more():
    assert rate_at_speed(20, planned_m_per_s=4 * MPH, actual_m_per_s=3.2 * MPH) == pytest.approx(25.0)


@pytest.mark.parametrize("wrong", [0.0, -1.0, float("nan"), float("inf")])
def test_nothing_caught_is_no_calibration(wrong):
    with pytest.raises(InputError, match="must be above zero"):
        plot_rate(wrong)
    with pytest.raises(InputError, match="width_m"):
        boom_rate(1.0, speed_m_per_s=1.0, width_m=wrong)


@pytest.mark.parametrize("gpa", [7.5, 40.8375, 1 / 3, 123.4567891, 1234.5678])
def test_the_line_for_the_settings_is_read_back_and_never_smaller(gpa):
    for shown in (US, METRIC):
        line = setting_line(gpa * L_PER_HA_PER_GPA, date=dt.date(2026, 9, 1), shown=shown, up_to_m=6 * FT)
        (entry,) = tomllib.loads(line)["calibration"]
        read = CalibrationSection.model_validate(entry)
        assert gpa * (1 - 1e-9) <= read.rate_L_per_ha / L_PER_HA_PER_GPA <= gpa * (1 + 1.1e-5)
        assert read.date == dt.date(2026, 9, 1) and read.up_to_m == pytest.approx(6 * FT, rel=1e-5)


def test_the_command_prints_both_units_its_figures_and_the_line(command_here):
    done = command_here("calibrate", "plot", "--caught", "7.5 fl oz", "--date", "2026-09-01")
    assert done.returncode == 0, done.stderr
    assert "7.5 gal/acre (70.15 L/ha)" in done.stdout and "7.5 fl oz (221.8 ml)" in done.stdout
    assert 'calibration = [{ rate = "7.5 gal/acre", date = 2026-09-01 }]' in done.stdout
    scaled = command_here("calibrate", "plot", "--caught", "60 fl oz", "--plot", "500 ft2")
    assert "40.84 gal/acre" in scaled.stdout and "scaled" in scaled.stdout


def test_the_command_gives_what_goes_into_a_tank(command_here):
    done = command_here("calibrate", "plot", "--caught", "7.5 fl oz", "--label-rate", "8 fl oz/acre", "--tank", "3 gal")
    assert "1.0666 fl oz" in done.stdout and "3.2 fl oz" in done.stdout  # rounded down, never stronger than typed
    share = command_here("calibrate", "plot", "--caught", "7.5 fl oz", "--label-rate", "2 % v/v", "--tank", "4 gal")
    assert "10.24 fl oz" in share.stdout


def test_boom_and_boomless_by_command(command_here):
    boomless = ("calibrate", "boom", "--flow", "3.75 gal/min", "--speed", "5 mph", "--width", "222 in")
    assert "20.07 gal/acre" in command_here(*boomless).stdout
    wanted = ("calibrate", "boom", "--rate", "200 l/ha", "--speed", "6 km/h", "--width", "0.5 m")
    assert "1 L/min" in command_here(*wanted).stdout


def test_handgun_times_are_averaged(command_here):
    done = command_here(
        "calibrate",
        "handgun",
        "--caught",
        "1 gal",
        "--catch-time",
        "30 s",
        "--plot-time",
        "16 s",
        "--plot-time",
        "18 s",
    )
    assert done.returncode == 0, done.stderr
    assert "72.53 gal/acre" in done.stdout  # 2 gal/min for 17 s on 1/128 acre: 2 x 17 / 60 x 128


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("plot", "--caught", "7.5 oz"), "no unit of volume"),
        (("plot", "--caught", "0 fl oz"), "above zero"),
        (("plot", "--caught", "8 fl oz", "--plot", "18.5 ft"), "no unit of area"),
        (("plot", "--caught", "8 fl oz", "--date", "yesterday"), "no date"),
        (("plot", "--caught", "8 fl oz", "--technique", "mow"), "Invalid value"),
        (("plot", "--caught", "8 fl oz", "--tank", "3 gal"), "--label-rate"),
        (("boom", "--speed", "4 mph", "--width", "20 in"), "--flow"),
        (("boom", "--flow", "1 gpm", "--rate", "20 gal/acre", "--speed", "4 mph", "--width", "20 in"), "--flow"),
        (("plot",), "Missing option"),
    ],
)
def test_bad_input_exits_2_with_one_clear_message(command_here, arguments, said):
    done = command_here("calibrate", *arguments)
    assert done.returncode == 2 and said in done.stderr and "Traceback" not in done.stderr
    assert done.stdout == ""
