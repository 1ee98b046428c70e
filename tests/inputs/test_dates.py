"""Columns of dates: every usual form, day and month told apart by the column, times on the tract's clock."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from invasimap.inputs.dates import read_dates
from invasimap.inputs.moments import is_full_date

TODAY = dt.date(2025, 6, 1)
CHICAGO = ZoneInfo("America/Chicago")


def _read(*texts, utc=False, order=None, today=TODAY):
    return read_dates(list(texts), timezone=CHICAGO, utc=utc, today=today, order=order)


def _dates(*texts, **options):
    return _read(*texts, **options).date.tolist()


@pytest.mark.parametrize(
    "cell",
    ["2024-09-03", "2024-9-3", "2024/09/03", "2024.09.03", "20240903", "20240903T161500Z", "20240903161500",
     "2024-09-03T16:15:00Z", "2024-09-03T16:15:00.123456Z", "2024-09-03 16:15:00+0000", "2024-09-03 16:15-05",
     "2024-09-03T16:15", "2024-09-03 4:15 PM", "3 Sept 2024", "3 sep 2024", "Sep. 3, 2024", "SEPTEMBER 3, 2024",
     "September 3rd, 2024", "3rd of September 2024", "Tuesday, September 3, 2024", "Tue Sep  3 16:15:00 2024",
     "Tue, 03 Sep 2024 16:15:00 -0500", "Tue Sep 03 2024 16:15:00 GMT-0500 (Central Daylight Time)", "03-SEP-24",
     "3-Sep-2024", "2024 Sep 3", "Sep 3, 2024 4 pm", "2024:09:03 10:11:12", "2024:09:03",
     "2024-09-03 23:59:59 CDT"],
)  # fmt: skip
def test_every_usual_form_is_read(cell):
    found = _read(cell)
    assert (found.date[0], found.how[0], found.reason[0]) == ("2024-09-03", "", "")


@pytest.mark.parametrize(
    ("cell", "how"),
    [("45538", "a spreadsheet's day number"), ("45538.68", "a spreadsheet's day number"),
     ("1725379200", "seconds since 1970"), ("1725379200000", "milliseconds since 1970")],
)  # fmt: skip
def test_a_number_read_as_a_date_is_said(cell, how):  # 2024-09-03 16:00 UTC; 1 in a spreadsheet is 1900-01-01
    found = _read(cell)
    assert (found.date[0], found.how[0]) == ("2024-09-03", f"date {cell} taken as {how}")


@pytest.mark.parametrize(
    ("cell", "date"),
    [("2014", "2014"), ("2014-06", "2014-06"), ("2014/6", "2014-06"), ("06/2014", "2014-06"), ("Jun 2014", "2014-06"),
     ("June, 2014", "2014-06")],
)  # fmt: skip
def test_a_year_or_month_alone_is_kept_and_sorts_before_its_days(cell, date):
    assert _dates(cell) == [date] and date <= "2014-06-01"


@pytest.mark.parametrize(
    "cell",
    ["13/13/2024", "2023-02-29", "2014-13", "2024-09-03T25:00:00", "3/3", "12345678901", "30/02/2024", "dusk", "1e5",
     "9/4/2024 - 9/5/2024", "September", "0/0/2024", "2024-09-03 10:11 03:12"],
)  # fmt: skip
def test_what_is_no_date_costs_the_date_only(cell):
    found = _read(cell)
    assert (found.date[0], found.how[0], found.reason[0]) == ("", f"date {cell!r} not read", "")


def test_hints_say_why_a_date_is_not_read():
    assert _read("2O24-09-03").how[0] == "date '2O24-09-03' not read: it has the letter O where a zero is meant"
    for cell in ("Mar-06", "6-Mar", "mar 06"):
        found = _read(cell)
        assert found.date[0] == "" and "a spreadsheet may have changed it" in found.how[0]


@pytest.mark.parametrize(
    ("cell", "how"),
    [("2062-06-01", "date 2062-06-01 is in the future"), ("2026", "date 2026 is in the future"),
     ("2025-07", "date 2025-07 is in the future"), ("6/14/62", "date 2062-06-14 is in the future"),
     ("01-Jun-62", "date 2062-06-01 is in the future"), ("6/1/26", "date '6/1/26' is in the future"),
     ("June 2, 2025", "date 2025-06-02 is in the future"), ("2025-06-03T01:00:00Z", "date 2025-06-02 is in the future"),
     ("1850-01-01", "date 1850-01-01 is before 1900")],
)  # fmt: skip
def test_a_date_that_cannot_be_is_undated_and_said(cell, how):
    found = _read(cell)
    assert (found.date[0], found.how[0], found.reason[0]) == ("", f"{how}: taken as undated", "")


def test_today_this_month_and_this_year_are_no_dates_to_come():
    found = _read("2025-06-01", "2025-06", "2025", "6/1/25", "2025-06-02T02:00:00Z", "4/19/99")
    assert found.date.tolist() == ["2025-06-01", "2025-06", "2025", "2025-06-01", "2025-06-01", "1999-04-19"]
    assert {*found.how, *found.reason} == {""}


def test_utc_evening_is_the_day_before_in_chicago():
    assert _dates("2024-09-04T02:30:00Z") == ["2024-09-03"]
    assert _dates("2024-09-04T02:30:00", utc=True) == ["2024-09-03"]  # GPX: a time without offset is UTC
    assert _dates("2024-09-04T02:30:00", utc=False) == ["2024-09-04"]  # a table: the crew's own clock
    assert _dates("9/14/2024 02:30", utc=True) == ["2024-09-13"]
    assert _dates("2024-09-04T02:30:00+02:00", "2024-09-04") == ["2024-09-03", "2024-09-04"]


def test_times_without_offset_among_others_are_local_and_said():
    found = _read("2024-09-04T02:30:00", "2024-09-04T02:30:00Z", "2024-09-04", "4 Sep 2024 1:00")
    assert found.date.tolist() == ["2024-09-04", "2024-09-03", "2024-09-04", "2024-09-04"]
    assert [bool(how) for how in found.how] == [True, False, False, True] and "taken as local" in found.how[0]
    found = _read("2024-09-04T02:30:00", "2024-09-04T02:30:00Z", utc=True)
    assert found.date.tolist() == ["2024-09-03", "2024-09-03"] and "taken as UTC" in found.how[0]


def test_midnight_utc_in_all_the_column_is_a_day_without_a_time():
    found = _read("2024-09-04T00:00:00Z", "2024-09-05T00:00:00+00:00", "1725321600000")
    assert found.date.tolist() == ["2024-09-04", "2024-09-05", "2024-09-03"]
    assert all("midnight UTC in all the column" in how for how in found.how)
    assert _dates("2024-09-04T00:00:00Z", "2024-09-05T00:00:01Z") == ["2024-09-03", "2024-09-04"]


def test_one_number_over_12_decides_for_the_column():
    assert _dates("9/4/2024", "9/14/2024") == ["2024-09-04", "2024-09-14"]
    assert _dates("9/4/2024", "25/4/2024", "9/3/24") == ["2024-04-09", "2024-04-25", "2024-03-09"]
    assert _dates("9.4.2024 10:00", "25.4.2024 4:15 PM") == ["2024-04-09", "2024-04-25"]
    assert _dates("09042024", "09142024") == ["2024-09-04", "2024-09-14"]


def test_a_date_of_two_meanings_sets_the_record_aside():
    found = _read("03/04/2024", "3-4-24 10:00")
    assert found.date.tolist() == ["", ""] and found.how.tolist() == ["", ""]
    assert found.reason[0] == (
        "date '03/04/2024' may be March 4 or 3 April: "
        'set date_order = "month-day-year" or "day-month-year" in its [[survey]] block'
    )
    assert "'3-4-24' may be March 4 or 3 April" in found.reason[1]


def test_contradiction_leaves_only_the_clear_ones():
    found = _read("9/14/2024", "14/9/2024", "9/4/2024", "3/3/2024", "2024-09-04")
    assert found.date.tolist() == ["2024-09-14", "2024-09-14", "", "2024-03-03", "2024-09-04"]
    assert [bool(reason) for reason in found.reason] == [False, False, True, False, False]


def test_readings_that_agree_or_lie_in_the_future_leave_one():
    assert _dates("03/03/2024") == ["2024-03-03"]
    assert _dates("12/5/2025") == ["2025-05-12"]  # 5 December 2025 is to come
    assert _dates("5/12/2025") == ["2025-05-12"]


def test_two_orders_in_one_column_that_only_the_future_tells_are_not_both_right():
    found = _read("12/5/2025", "5/12/2025", "9/4/2024")  # 5 December or 12 May, in two orders
    assert found.date.tolist() == ["", "", ""] and all("may be" in reason for reason in found.reason)


def test_the_setting_decides_the_order():
    assert _dates("03/04/2024", order="month-day-year") == ["2024-03-04"]
    assert _dates("03/04/2024", "03/14/2024", order="day-month-year") == ["2024-04-03", ""]
    assert _read("03/14/2024", order="day-month-year").how[0] == (
        "date '03/14/2024' is no day-month-year date: taken as undated"
    )
    assert _dates("24/09/03", "03/04/05", order="year-month-day") == ["2024-09-03", "2003-04-05"]
    assert _dates("2024/09/03", order="day-month-year") == ["2024-09-03"]


def test_a_year_of_two_digits_may_stand_first():
    assert '"day-month-year" or "year-month-day"' in _read("24/09/03").reason[0]
    assert _dates("24/09/03", "28/09/03") == ["2003-09-24", "2003-09-28"]  # the year 28 is to come
    assert _dates("24/9/03", "3/9/2024") == ["2003-09-24", "2024-09-03"]


def test_only_written_dates_are_full_dates():
    texts = ["9/4/2024", "3 Sep 2024", "2024-09-03T10:00:00Z", "2024", "45538", "20240903", "Sep 2024", "Plot 3", ""]
    assert [is_full_date(text) for text in texts] == [True] * 3 + [False] * 6


FORMS = ["%Y-%m-%d", "%Y/%m/%d", "%Y%m%d", "%d %b %Y", "%d %B %Y", "%B %d, %Y", "%A, %B %d, %Y", "%d-%b-%Y",
         "%b. %d %Y", "%Y-%m-%d %H:%M:%S", "%Y-%m-%d %I:%M:%S %p", "%B %d, %Y %H:%M",
         "%a %b %d %H:%M:%S %Y"]  # fmt: skip


@given(st.datetimes(dt.datetime(1900, 1, 1), dt.datetime(2025, 5, 31)), st.sampled_from(FORMS))
def test_a_written_date_is_the_date(moment, form):
    assert _dates(moment.strftime(form)) == [moment.date().isoformat()]


@given(
    st.lists(st.datetimes(dt.datetime(1970, 1, 1), dt.datetime(2025, 5, 30)), min_size=1, max_size=5, unique=True),
    st.sampled_from([dt.UTC, ZoneInfo("Asia/Tokyo"), ZoneInfo("America/St_Johns")]),
)
def test_a_time_with_offset_is_the_day_on_the_tracts_clock(times, zone):
    aware = [time.replace(microsecond=1, tzinfo=zone) for time in times]
    assert _dates(*(time.isoformat() for time in aware)) == [t.astimezone(CHICAGO).date().isoformat() for t in aware]


@given(
    st.lists(st.dates(dt.date(2000, 1, 1), TODAY), min_size=1, max_size=8), st.sampled_from(["%m/%d/%Y", "%d/%m/%Y"])
)
def test_a_day_is_read_right_or_not_at_all(days, form):
    found = _read(*(day.strftime(form) for day in days))
    for day, date, reason in zip(days, found.date, found.reason, strict=True):
        assert (date == day.isoformat()) != bool(reason)


@given(st.lists(st.text(max_size=20), max_size=5))
def test_any_cells_give_dates_or_say_why_not(texts):
    found = _read(*texts)
    for text, date, how, reason in zip(texts, *found, strict=True):
        assert bool(date or how or reason) == bool(text.strip()) and not (date and reason)
