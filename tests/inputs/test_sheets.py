"""Workbooks: the cells as they are shown, all sheets with positions, every row counted."""

from __future__ import annotations

import datetime as dt
import re

import openpyxl
import pandas as pd
import pytest

HEAD = ["species", "cover", "radius_ft", "date", "observer", "lat", "lon"]


@pytest.fixture
def book(tmp_path):
    def write(name="a.xlsx", **sheets):
        made = openpyxl.Workbook()
        made.remove(made.active)
        for title, rows in sheets.items():
            sheet = made.create_sheet(title)
            for row in rows:
                sheet.append(row)
        made.save(tmp_path / name)
        return made

    return write


def _row(**cells):
    return [*{"species": "ROMU", "cover": 50, "radius": 10, "date": "2024-06-01", "observer": "A", "lat": 38.0,
              "lon": -80.0, **cells}.values()]  # fmt: skip


def test_a_number_kept_as_text_stays_and_a_date_is_iso(book, read):
    book(S=[HEAD, _row(observer="007", date=dt.datetime(2024, 6, 1)), _row(date=dt.date(2024, 6, 2), lat="38 0 N")])
    survey = read("a.xlsx")
    assert survey.patches["observer"].tolist() == ["007", "A"]
    assert survey.patches["date"].tolist() == ["2024-06-01", "2024-06-02"]
    assert survey.ledger.iloc[0].tolist() == ["a.xlsx", 2, 2, 0, 0]


def test_a_share_shown_as_a_percentage_is_one(book, read, tmp_path):
    made = book(S=[HEAD, _row(cover=0.35)])
    made["S"]["B2"].number_format = "0%"
    made.save(tmp_path / "a.xlsx")
    assert read("a.xlsx").patches["cover_pct"].tolist() == [35.0]


def test_each_sheet_with_positions_has_a_ledger_row(book, read):
    book(East=[HEAD, _row(), _row()], Codes=[["code", "name"], ["A", "b"]], West=[["West wood"], [], HEAD, _row()])
    survey = read("a.xlsx")
    assert survey.ledger[["file", "records"]].to_numpy().tolist() == [["a.xlsx:East", 2], ["a.xlsx:West", 1]]
    assert any("Codes" in note for note in survey.notes)
    assert any("West: the header is row 3" in note for note in survey.notes)


def test_rows_are_counted_as_pandas_counts_them(book, read, tmp_path):
    book(S=[HEAD, _row(), [None] * 7, _row(lat="north"), _row(lon=None), [None] * 7, [""] * 7])
    survey = read("a.xlsx")
    assert survey.ledger.iloc[0].tolist() == ["a.xlsx", 4, 1, 0, 3]
    assert len(pd.read_excel(tmp_path / "a.xlsx").dropna(how="all")) == 3  # and the blank row between them
    assert survey.set_aside["record"].tolist() == [2, 3, 4]
    assert survey.set_aside["reason"].tolist() == [
        "the row is blank: delete it", "lat 'north' is no number: type degrees such as 38.0123",
        "lon is blank: type it",
    ]  # fmt: skip


def test_a_book_without_positions_names_its_sheets(book, refused):
    book(Codes=[["code", "name"], ["A", "b"]])
    assert re.search("no sheet with columns for longitude and latitude", refused("a.xlsx"))


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04 cut", b"just words"])
def test_what_is_no_workbook_is_refused(write, refused, content):
    write("a.xlsx", content)
    assert re.search("is no workbook", refused("a.xlsx"))


def test_columns_may_be_named_by_the_setting(book, read):
    book(S=[["Plots"], ["species", "cover", "radius_ft", "b", "a"], ["ROMU", 50, 10, "38 0.0 N", "80 0.0 W"]])
    survey = read("a.xlsx", columns={"lon": "a", "lat": "b"}, crs="EPSG:4326")
    assert survey.ledger.iloc[0].tolist() == ["a.xlsx", 1, 1, 0, 0]


def test_a_header_without_rows_holds_no_record(book, read):
    book(S=[HEAD, _row()], T=[HEAD])
    assert read("a.xlsx").ledger["records"].tolist() == [1, 0]
