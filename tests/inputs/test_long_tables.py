"""Long tables are read column by column: the same cells and problems as the csv module gives, row by row."""

import csv
import io
import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from invasimap.inputs.cells import cell_text
from invasimap.inputs.formats import tables
from invasimap.inputs.formats.degree_cells import as_number, degree_column

CELL = st.one_of(
    st.sampled_from(
        ["ROMU", "a,b", 'say "yes"', "two\nlines", " spaced ", "", "é", "NA", "nan", "1_0", "007", "-", "'"]
    ),
    st.text(st.characters(codec="utf-8", exclude_characters="\0\r", exclude_categories=["Cs"]), max_size=6),
)
DEGREES = st.one_of(
    st.floats(-180, 180).map(repr),
    st.floats(-180, 180).map("{:.6f}".format),
    st.sampled_from(
        ["", "38.O5", "nan", "inf", "1_0", "1-2", "1.2.3", "+38.5", " 38.5", "-80,5", "٣٨", "38°30'N", "."]
    ),
)
ROW = st.tuples(DEGREES, DEGREES, CELL, CELL)
HEADER = ["lon", "lat", "species", "notes"]


def _by_module(text, delimiter):
    """The cells of each row that has any, stripped."""
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    return [[cell.strip() for cell in row] for row in rows if row][1:]


def _same(found, cell, *, degrees):
    """Whether a cell is what was written: a number of the same value where it is degrees."""
    if degrees and isinstance(found, float) and found == found:
        return found == float(cell) and cell.isascii() and "_" not in cell
    return cell_text(found) == cell


def _long(monkeypatch, text):
    """Parsed as a long table, though it is short; the slow reader is not at hand."""
    monkeypatch.setattr(tables, "LONG", 40)
    monkeypatch.setattr(tables, "_parse_rows", lambda *_, **__: pytest.fail("the slow reader was asked"))
    return tables.parse(text, label="a.csv")


def _written(rows, delimiter, quoting=csv.QUOTE_MINIMAL):
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter, quoting=quoting, lineterminator="\n").writerows([HEADER, *rows])
    return out.getvalue()


@settings(max_examples=150, deadline=None)
@given(st.lists(ROW, min_size=1, max_size=12), st.sampled_from(",;\t|"), st.sampled_from([0, 1]), st.data())
def test_long_tables_give_the_cells_of_the_csv_module(rows, delimiter, quoting, data):
    """Quotes, delimiters and line ends in cells, ragged and short rows, any order."""
    extra = data.draw(st.lists(st.tuples(st.integers(0, len(rows) - 1), st.sampled_from([["x"], [""], ["", "y z"]]))))
    rows = [list(row) for row in rows]
    for at, more in extra:
        rows[at] = rows[at][:4] + more
    text = _written(rows, delimiter, quoting)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(tables, "LONG", text.index("\n") + 1)  # the header, at least, is looked at whole
        frame, problem, found = tables.parse(text, label="a.csv")
    wanted = _by_module(text, delimiter)
    assert found == delimiter and len(frame) == len(wanted)
    for number, row in enumerate(wanted):
        cells = frame.iloc[number].tolist()
        assert all(_same(cell, row[k] if k < len(row) else "", degrees=k < 2) for k, cell in enumerate(cells)), (
            cells,
            row,
        )
        ragged = any(row[4:])
        said = f"the row has {len(row)} cells for 4 columns" if ragged else "" if any(row) else "the row is blank"
        assert problem.to_numpy()[number] == said


def test_a_ragged_row_among_many_is_read_without_the_slow_reader(monkeypatch):
    rows = [["-80.1", "38.1", "ROMU", "a"]] * 60
    rows[50] = ["-80.1", "38.1", "ROMU", "along fence", " wet", ""]
    frame, problem, _ = _long(monkeypatch, _written(rows, ","))
    assert problem.to_numpy()[50] == "the row has 6 cells for 4 columns" and np.flatnonzero(
        ~problem.blank
    ).tolist() == [50]
    assert frame["(extra 1)"].tolist() == [""] * 50 + ["wet"] + [""] * 9
    assert frame["lon"].tolist() == [-80.1] * 60 and set(frame["species"]) == {"ROMU"}
    assert "species" not in list(frame["species"].cat.categories)


def test_a_faulty_degree_costs_its_own_cell(monkeypatch):
    rows = [["-80.1", "38.1", "ROMU", ""]] * 40
    rows[30] = ["-8O.1", "", "ROMU", ""]
    frame, _, _ = _long(monkeypatch, _written(rows, ","))
    assert frame["lon"].tolist() == [-80.1] * 30 + ["-8O.1"] + [-80.1] * 9
    assert np.isnan(frame["lat"][30]) and (frame["lat"].drop(30) == 38.1).all()


def test_a_cell_far_longer_than_those_at_the_start_is_not_cut():
    rows = [["-80.1", "38.1", "ROMU", ""]] * 40
    rows[39] = ["-80.1", "38 degrees and thirty minutes north of the line", "ROMU", ""]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(tables, "LONG", 60)
        frame, _, _ = tables.parse(_written(rows, ","), label="a.csv")
    assert frame["lat"].tolist()[39] == rows[39][1]
    with pytest.raises(ValueError, match="cut"):
        degree_column(np.array([b"-80.1", b"1234"], dtype="S5"))


def test_a_long_table_gives_the_survey_that_a_short_one_gives(read, tmp_path, monkeypatch):
    rows = [[f"{-80 + k / 1e4:.6f}", "38.0", "ROMU", f"note {k % 3}"] for k in range(30)]
    rows[4][0], rows[5][1], rows[6][2], rows[7][1] = "", "38.O", "", "39.9"
    rows[8] = ["", "", "", ""]
    rows[9] += ["wet"]
    (tmp_path / "a.csv").write_text(_written(rows, ","), encoding="utf-8")
    short = read("a.csv", defaults={"radius": "2 m"})
    monkeypatch.setattr(tables, "LONG", 40)
    long = read("a.csv", defaults={"radius": "2 m"})
    assert long.ledger.equals(short.ledger) and long.notes == short.notes
    assert long.set_aside[["record", "reason"]].equals(short.set_aside[["record", "reason"]])
    raws = [[json.loads(raw) for raw in survey.set_aside["raw"]] for survey in (long, short)]
    assert [raw["species"] for raw in raws[0]] == [raw["species"] for raw in raws[1]]
    assert long.patches.drop(columns="geometry").equals(short.patches.drop(columns="geometry"))
    assert long.patches.geometry.geom_equals_exact(short.patches.geometry, 1e-9).all()


@given(st.lists(st.from_regex(r"[-+]?[0-9]{0,12}\.?[0-9]{0,12}|[-+.0-9 NWe]{0,12}", fullmatch=True), min_size=1))
def test_degrees_are_the_floats_that_python_reads(cells):
    read = degree_column(np.array([cell.encode() for cell in cells], dtype="S40")).tolist()
    filled = [as_number(cell) for cell in cells if cell]
    blank = "" if any(isinstance(one, str) for one in filled) else float("nan")
    wanted = [as_number(cell) if cell else blank for cell in cells]
    assert list(map(repr, read)) == list(map(repr, wanted))
