"""All tables as one workbook that prints and explains itself; no cell of it is a formula or a link."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd
import xlsxwriter

from invasimap.core.crs import PLACE_DECIMALS
from invasimap.core.legible import visible
from invasimap.prescription.plan import Plan
from invasimap.reports import style
from invasimap.reports.column_words import SHEET_WORDS, column_words

README: Final = "read me"
LONGEST_CELL: Final = 32_767
NARROWEST, WIDEST_COLUMN = 10, 60
DATES: Final = ("taken",)  # columns that hold a date and a time as text
LETTER, A4 = 1, 9  # as workbooks number papers
LONGEST_HEADER: Final = 100
PAGE_LETTERS: Final = 210  # across one printed page, still legible; wider tables go on beside it
ROW_PT: Final = 15.0
MOST_LINES: Final = 12
AREA: Final = '[=0]0.00;[<0.005]"<0.01";#,##0.00'  # as on the maps: what is above nothing is never shown as nothing
GAIN: Final = "#,##0.00"
VOLUME: Final = AREA
MONEY: Final = "#,##0"
# of numbers, by what a column's name ends with; the whole value stays in the cell
NUMBER_FORMATS: Final = {
    "_gain_ac": GAIN, "_gain_ha": GAIN, "_lb_per_ac": "#,##0.000", "_kg_per_ha": "#,##0.000", "_ac": AREA, "_ha": AREA,
    "_gal": VOLUME, "_l": VOLUME, "_floz": VOLUME, "_ml": VOLUME, "_lb": VOLUME, "_kg": VOLUME,
    "lat": f"0.{'0' * PLACE_DECIMALS}", "lon": f"0.{'0' * PLACE_DECIMALS}",
}  # fmt: skip
INERT: Final = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}


@dataclass(frozen=True, kw_only=True)
class _Looks:
    """The cell formats of a book."""

    head: Any
    head_of_numbers: Any
    title: Any
    text: Any
    date: Any
    numbers: dict[str, Any]


def write_workbook(plan: Plan, tables: dict[str, pd.DataFrame], path: Path) -> None:
    """A sheet that explains, then one a table, header kept in view and on every page; a plan's bytes never change."""
    with xlsxwriter.Workbook(str(path), dict(INERT)) as book:
        book.set_properties({"created": dt.datetime(2000, 1, 1), "title": "Tables of the plan"})
        looks = _looks(book)
        _write_readme(_sheet(book, README, plan), plan, tables, looks)
        for name, table in tables.items():
            _write_table(_sheet(book, name, plan), table, looks)


def number_format(name: str, kind: str) -> str:
    """How a column's numbers are shown: areas and volumes with two decimals, places with five, money with none.

    Examples
    --------
    >>> number_format("foot_gain_ac", "f"), number_format("patches", "i"), number_format("hose_ft", "f")
    ('#,##0.00', '#,##0', '#,##0.0')
    """
    if kind != "f":
        return "0" if name == "record" else "#,##0"
    if "money" in name.split("_"):
        return MONEY
    return next((shown for ending, shown in NUMBER_FORMATS.items() if name.endswith(ending)), "#,##0.0")


def _looks(book: Any) -> _Looks:
    top = {"valign": "top"}
    head = {"bold": True, "bottom": 1, "text_wrap": True, "bg_color": style.SCREEN["head"], **top}
    shown = sorted({*NUMBER_FORMATS.values(), MONEY, "0", "#,##0.0"})
    return _Looks(
        head=book.add_format(head),
        head_of_numbers=book.add_format(head | {"align": "right", "indent": 2}),  # clear of the filter's button
        title=book.add_format({"bold": True, "font_size": 14}),
        text=book.add_format({"text_wrap": True, **top}),
        date=book.add_format({"num_format": "yyyy-mm-dd hh:mm", "align": "left", **top}),
        numbers={text: book.add_format({"num_format": text, "align": "right", "indent": 1, **top}) for text in shown},
    )


def _sheet(book: Any, name: str, plan: Plan) -> Any:
    """A new sheet, set up to be printed: across the page, one page wide, whose tract it is on top."""
    sheet = book.add_worksheet(name)
    sheet.set_landscape()
    sheet.set_paper(LETTER if plan.settings.tract.units == "us" else A4)
    sheet.fit_to_pages(1, 0)
    sheet.set_margins(left=0.5, right=0.5, top=0.75, bottom=0.75)
    tract = visible(plan.settings.tract.name)[:LONGEST_HEADER].replace("&", "&&")
    sheet.set_header(f"&L{tract}&R{name}")
    sheet.set_footer("&LThe product label is the law.&Rpage &P of &N")
    return sheet


def _write_readme(sheet: Any, plan: Plan, tables: dict[str, pd.DataFrame], looks: _Looks) -> None:
    """What the workbook is, then each sheet and column in words."""
    for place, width in enumerate((20, 30, 100)):
        sheet.set_column(place, place, width)
    sheet.write_string(0, 0, "Tables of the plan", looks.title)
    sheet.write_string(1, 0, "Tract", looks.head)
    sheet.write_string(1, 1, plan.settings.tract.name[:LONGEST_CELL], looks.text)
    sheet.write_string(2, 0, "Plan made (UTC)", looks.head)
    sheet.write_datetime(2, 1, plan.made.astimezone(dt.UTC).replace(tzinfo=None, second=0, microsecond=0), looks.date)
    lengths = "feet" if plan.shown.length == "ft" else "metres"
    shown = f"Cells hold the whole value and show it rounded. Areas in {plan.shown.area_said}, lengths in {lengths}."
    facts = [("Units", shown), *(("Caution", text) for text in plan.cautions)]
    for row, (name, text) in enumerate(facts, 3):
        sheet.write_string(row, 0, name, looks.head)
        sheet.merge_range(row, 1, row, 2, text, looks.text)
        sheet.set_row(row, ROW_PT * _lines(text, 125))
    head = 4 + len(facts)
    for place, text in enumerate(("sheet", "column", "what it is")):
        sheet.write_string(head, place, text, looks.head)
    lines = [
        (name, column, words)
        for name, table in tables.items()
        for column, words in (("", SHEET_WORDS[name]), *_described(name, table))
    ]
    for row, line in enumerate(lines, head + 1):
        for place, text in enumerate(line):
            sheet.write_string(row, place, text, looks.text)
    sheet.freeze_panes(head + 1, 0)
    sheet.repeat_rows(head)
    sheet.autofilter(head, 0, head + len(lines), 2)


def _described(name: str, table: pd.DataFrame) -> list[tuple[str, str]]:
    """The columns of a sheet, each with what it is."""
    return [(str(column), column_words(str(column), sheet=name)) for column in table.columns]


def _write_table(sheet: Any, table: pd.DataFrame, looks: _Looks) -> None:
    widths = [_width(str(name), table[name]) for name in table.columns]
    _fit_pages(sheet, widths)
    _heighten(sheet, table, widths)
    for place, name in enumerate(table.columns):
        column = table[name]
        shown = looks.numbers[number_format(str(name), column.dtype.kind)]
        sheet.write_string(0, place, str(name), looks.head_of_numbers if column.dtype.kind in "fiu" else looks.head)
        sheet.set_column(place, place, widths[place])
        write = _write_date if name in DATES else _write_cell
        for row, value in enumerate(column, 1):
            write(sheet, row, place, value, shown, looks)
    if len(table.columns):
        sheet.autofilter(0, 0, len(table), len(table.columns) - 1)


def _fit_pages(sheet: Any, widths: list[int]) -> None:
    """The head kept in view and on every page; a table too wide for one goes on beside it, its first column too."""
    sheet.freeze_panes(1, 1 if sum(widths) > PAGE_LETTERS else 0)
    sheet.repeat_rows(0)
    across = min(max(-(-sum(widths) // PAGE_LETTERS), 1), max(len(widths) - 1, 1))
    sheet.fit_to_pages(across, 0)
    if across > 1:
        sheet.repeat_columns(0)


def _heighten(sheet: Any, table: pd.DataFrame, widths: list[int]) -> None:
    """Rows as high as their wrapped texts need: not every program that opens the file works it out."""
    wide = [(table[name], width) for name, width in zip(table.columns, widths, strict=True) if width == WIDEST_COLUMN]
    for row in range(len(table) if wide else 0):
        lines = max(_lines(str(column.iloc[row]), width - 4) for column, width in wide)
        if lines > 1:
            sheet.set_row(row + 1, ROW_PT * min(lines, MOST_LINES))


def _lines(text: str, letters: int) -> int:
    """Lines that a text takes at so many letters a line, at least one."""
    return max(sum(-(-len(part) // letters) for part in text.splitlines()), 1)


def _width(name: str, column: pd.Series) -> int:
    """Wide enough for the heading with its filter's button, and for the first texts; long ones are wrapped."""
    longest = max([len(name) + 3, *(len(value) + 2 for value in column.head(200) if isinstance(value, str))])
    return min(max(longest, NARROWEST), WIDEST_COLUMN)


def _write_cell(sheet: Any, row: int, place: int, value: Any, shown: Any, looks: _Looks) -> None:
    if isinstance(value, int | float | np.number) and not isinstance(value, bool):
        if np.isfinite(value):
            sheet.write_number(row, place, value, shown)
    elif value is not None and value is not pd.NaT and value is not pd.NA and value != "":
        sheet.write_string(row, place, str(value)[:LONGEST_CELL], looks.text)


def _write_date(sheet: Any, row: int, place: int, value: Any, shown: Any, looks: _Looks) -> None:
    """A date and time as such, by the clock it was told by; what is none stays the text it was."""
    try:
        moment = dt.datetime.fromisoformat(str(value)).replace(tzinfo=None)
    except ValueError:
        _write_cell(sheet, row, place, value, shown, looks)
        return
    sheet.write_datetime(row, place, moment, looks.date)
