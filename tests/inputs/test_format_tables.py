"""Delimited text and workbooks: the cells that another reader of the same bytes gives."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
import zipfile

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from invasimap.core.errors import LayerError
from invasimap.inputs.formats.tables import decode, read_table

ROWS = [["species", "lon", "lat"], ["Épine", "-80.5", "38.25"], ["ROMU", "-80", "38"]]
PLACES = ["POINT (-80.5 38.25)", "POINT (-80 38)"]


def _text(delimiter=",", end="\n", rows=ROWS):
    return "".join(delimiter.join(row) + end for row in rows)


@pytest.fixture
def table(write):
    def run(content, name="a.csv"):
        return read_table(write(name, content), label=name)

    return run


def _cells(raw):
    return [raw.frame.columns.tolist(), *raw.frame.to_numpy().tolist()]


@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "utf-32-le", "cp1252"]
)
def test_every_encoding_gives_the_same_cells(encoding, table):
    mark = "\ufeff" if encoding == "utf-32-le" else ""
    raw = table((mark + _text()).encode(encoding))
    assert _cells(raw) == ROWS and [shape.wkt for shape in raw.shapes] == PLACES
    assert raw.notes == (("a.csv: is not UTF-8: read as Windows-1252",) if encoding == "cp1252" else ())


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_every_delimiter_and_line_end_gives_the_same_cells(delimiter, end, table):
    assert _cells(table(_text(delimiter, end))) == ROWS


def test_a_decimal_comma_needs_no_quotes_in_a_semicolon_file(table):
    rows = [["species", "lon", "lat"], ["A", "-80,5", "38,25"], ["B", "-80", "38"]]
    raw = table(_text(";", rows=rows))
    assert [shape.wkt for shape in raw.shapes] == PLACES and _cells(raw) == rows
    assert [shape.wkt for shape in table('species,lon,lat\nA,"-80,5","38,25"\n').shapes if shape] == []


@pytest.mark.parametrize("padding", [b"\0" * 300, b"\r\n" + b"\0" * 300])
def test_zeros_that_a_cut_write_leaves_are_dropped_and_said(padding, table):
    for encoding in ("utf-8", "cp1252"):
        raw = table(_text().encode(encoding) + padding)
        assert _cells(raw) == ROWS
        assert raw.notes[-1] == "a.csv: 300 NUL signs, as a write that was cut off leaves, are dropped"


@pytest.mark.parametrize("content", [b"\0" * 50, bytes(range(256)), b"lon,lat\n\0\x01\x02\n", b"lon,lat\n\xff\0\x05"])
def test_bytes_that_are_no_text_are_refused(content, table):
    with pytest.raises(LayerError, match="is no text file"):
        table(content)


def test_a_text_cut_in_the_middle_of_a_sign_keeps_its_whole_rows(table):
    raw = table(_text().encode("utf-16") + b"7")
    assert _cells(raw)[:3] == ROWS and raw.marks["problem"].tolist() == ["", "", "lon is blank"]


def test_quoted_cells_hold_delimiters_quotes_and_line_ends(table):
    cell = 'two\nlines; "quoted", and more'
    out = io.StringIO()
    csv.writer(out, lineterminator="\r\n").writerows([["notes", "lon", "lat"], [cell, "-80", "38"], ["x", "1", "2"]])
    raw = table(out.getvalue())
    assert raw.frame["notes"].tolist() == [cell, "x"] and len(raw.frame) == 2


def test_a_header_on_a_later_row_is_found_and_the_rows_above_are_said(table):
    raw = table('North wood, 2024\n\n"walked by A,\nB and C",,\n' + _text())
    assert _cells(raw) == ROWS
    assert raw.notes == ("a.csv: the header is line 5: the lines above it are not read",)


def test_rows_too_short_or_too_long_keep_their_cells(table):
    raw = table("species,lon,lat\nA,-80\nB,-80,38,extra,more\nC,-80,38,,\nD,-80,38\n,,\n")
    assert raw.frame["species"].tolist() == ["A", "B", "C", "D", ""]
    assert raw.frame.loc[1, ["(extra 1)", "(extra 2)"]].tolist() == ["extra", "more"]
    assert raw.marks["problem"].tolist() == [
        "lat is blank", "the row has 5 cells for 3 columns", "", "", "the row is blank",
    ]  # fmt: skip


def test_headers_that_repeat_or_are_blank_are_told_apart(table):
    raw = table("species,Species,species,,lon,lat,\nA,B,C,D,-80,38,E\n")
    assert raw.frame.iloc[0].to_dict() == {
        "species": "A", "Species": "B", "species_2": "C", "column 4": "D", "lon": "-80", "lat": "38", "column 7": "E",
    }  # fmt: skip


CELLS = st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs", "Zs", "Zl", "Zp"]), max_size=6)


@settings(max_examples=30, deadline=None)
@given(
    cells=st.lists(st.lists(CELLS, min_size=2, max_size=2), min_size=1, max_size=5),
    delimiter=st.sampled_from(",;\t|"),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-32"]),
)
def test_what_a_writer_of_csv_wrote_is_read(cells, delimiter, encoding, tmp_path_factory):
    rows = [["first", "lon", "lat", "last"], *([one, "-80", "38", two] for one, two in cells)]
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter, lineterminator="\n").writerows(rows)
    path = tmp_path_factory.getbasetemp() / "any.csv"
    path.write_bytes(out.getvalue().encode(encoding))
    raw = read_table(path, label="any.csv")
    assert _cells(raw) == rows and len(raw.frame) == len(cells)


@settings(max_examples=30, deadline=None)
@given(text=st.text(st.characters(codec="cp1252", exclude_characters="\0\r"), min_size=1, max_size=30))
def test_text_of_a_windows_program_comes_back(text):
    data = ("é" + text).encode("cp1252")
    found, notes = decode(data, label="a")
    try:
        assert found == data.decode("utf-8")
    except UnicodeDecodeError:
        assert (found, len(notes)) == ("é" + text, 1)


@pytest.fixture
def book(tmp_path):
    made = openpyxl.Workbook()
    made.active.title = "plots"

    def save(name="a.xlsx"):
        made.save(tmp_path / name)
        return tmp_path / name

    return made, save


def _read(path):
    from invasimap.inputs.formats.door import read_file

    return read_file(path, label=path.name)


def test_each_sheet_is_a_layer_and_those_without_positions_are_said(book):
    made, save = book
    for sheet in (made.active, made.create_sheet("Nord & Süd"), made.create_sheet("hidden")):
        sheet.append(["species", "lon", "lat"])
        sheet.append([sheet.title, -80, 38])
    made["hidden"].sheet_state = "hidden"
    made.create_sheet("codes").append(["code", "name"])
    made.create_sheet("empty")
    layers = _read(save())
    assert [raw.label for raw in layers] == ["a.xlsx:plots", "a.xlsx:Nord & Süd", "a.xlsx:hidden"]
    assert [raw.frame["species"].tolist() for raw in layers] == [["plots"], ["Nord & Süd"], ["hidden"]]
    assert layers[0].notes == ("a.xlsx: sheets without positions are not read: codes",)


def test_cells_are_the_text_that_a_person_sees(book):
    made, save = book
    made.active.append(["lon", "lat", "day", "moment", "clock", "yes", "share", "code", "wrong", "tiny"])
    moment = dt.datetime(2024, 5, 1, 13, 4, 5)
    made.active.append([-80.5, 38, dt.date(2024, 5, 1), moment, dt.time(3, 4), True, 0.35, "007", "#N/A", 1e-7])
    made.active["G2"].number_format = "0%"
    (raw,) = _read(save())
    assert raw.frame.iloc[0].tolist() == [
        "-80.5", "38", "2024-05-01", "2024-05-01T13:04:05", "03:04:00", "true", "35 %", "007", "#N/A", "1e-07",
    ]  # fmt: skip


def test_a_formula_counts_by_the_value_saved_with_it(book, tmp_path):
    made, save = book
    made.active.append(["lon", "lat", "cover"])
    made.active.append([-80, 38, "=20+5"])
    with zipfile.ZipFile(save()) as archive, zipfile.ZipFile(tmp_path / "b.xlsx", "w") as out:
        for name in archive.namelist():
            data = archive.read(name)
            out.writestr(name, re.sub(rb"<f>20\+5</f>(<v ?/>|<v></v>)", b"<f>20+5</f><v>25</v>", data))
    assert openpyxl.load_workbook(tmp_path / "b.xlsx", data_only=True).active["C2"].value == 25
    (raw,) = _read(tmp_path / "b.xlsx")
    assert raw.frame["cover"].tolist() == ["25"] and raw.notes == ()
    (raw,) = _read(tmp_path / "a.xlsx")
    said = "1 formulas have no value saved with them and are blank: open it in a spreadsheet program and save it"
    assert raw.frame["cover"].tolist() == [""] and raw.notes == (f"a.xlsx: {said}",)


def test_merged_cells_of_several_rows_are_said(book):
    made, save = book
    sheet = made.active
    for row in (["North wood"], ["species", "lon", "lat"], ["ROMU", -80, 38], ["gone", -80, 38.001], ["LOJA", -81, 38]):
        sheet.append(row)
    sheet.merge_cells("A1:C1")
    sheet.merge_cells("A3:A4")
    (raw,) = _read(save())
    assert raw.frame["species"].tolist() == ["ROMU", "", "LOJA"] and len(raw.frame) == 3
    assert "a.xlsx: of merged cells only the first row has the value: A3:A4" in raw.notes


def test_formulas_are_counted_in_a_sheet_of_many_pieces(book):
    made, save = book
    made.active.append(["lon", "lat", "cover"])
    for row in range(200):
        made.active.append([-80, 38, "=" + "1+" * (7_000 + 13 * row) + "1"])  # about 3.3 MB
    (raw,) = _read(save())
    assert len(raw.frame) == 200 and "200 formulas have no value" in raw.notes[0]
