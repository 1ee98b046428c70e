"""The report's account of every record: the ledger, what was set aside, how columns were read, what was repaired."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

import pandas as pd

from invasimap.prescription.plan import Plan
from invasimap.reports.report_tables import PrintedTable, cut
from invasimap.reports.tables import set_aside_table
from invasimap.reports.wording import rows_of, shown_number

BY_NAME = "its name"
MOST_RUNS = 12


def record_reports(plan: Plan) -> list[PrintedTable]:
    """Ledger, set aside, repaired."""
    ledger = plan.ledger[["file", "records", "accepted", "repaired", "set_aside"]]
    heads = ["File", "Records", "Accepted as they are", "Repaired", "Set aside"]
    total = ["All", *(f"{ledger[name].sum():.0f}" for name in ledger.columns[1:])]
    found = [
        PrintedTable(
            caption="Every record accounted for", heads=heads, rows=_texts(ledger), numeric=frozenset({1, 2, 3, 4}),
            total=total,
        )
    ]  # fmt: skip
    aside = set_aside_table(plan)
    aside["raw"] = [said_text(raw) for raw in aside["raw"]]
    if len(aside):
        heads = ["File", "Record", "Why it was not used", "What it said"]
        table = PrintedTable(
            caption="Set aside: in no figure and no zone",
            heads=heads,
            rows=_texts(aside),
            numeric=frozenset({1}),
            wide=frozenset({2, 3}),
        )
        found.append(cut(table))
    if len(plan.columns):
        found.append(cut(_columns(plan.columns)))
    if len(plan.photos):
        found.append(cut(_pictures(plan)))
    if len(plan.repaired):
        found.append(cut(_repaired(plan.repaired)))
    return found


def _columns(columns: pd.DataFrame) -> PrintedTable:
    """A row a file: each of its columns with what it was taken for, and by what where not by its name."""
    rows = []
    for file, alike in columns.groupby("file", sort=False):
        said = [_taken(row) for row in rows_of(alike)]
        rows.append([str(file), "; ".join(said)])
    return PrintedTable(
        caption="How the columns were read", heads=["File", "Each column, and what it was taken for"], rows=rows,
        note="Recognised by name, or as the brackets say. tables/columns.csv has a line for each.",
    )  # fmt: skip


def _taken(row: Any) -> str:
    by = "" if row.recognised_by == BY_NAME else f" ({row.recognised_by})"
    return f"{row.column}: {' '.join(text for text in (str(row.role), _text(row.unit)) if text)}{by}"


def _repaired(repaired: pd.DataFrame) -> PrintedTable:
    """A row for each repair of a file, with the records that it was made to."""
    rows = [
        [str(file), str(how), _which(alike["record"])]
        for (file, how), alike in repaired.groupby(["file", "how"], sort=False)
    ]
    return PrintedTable(
        caption="Repaired", heads=["File", "How", "Records"], rows=rows, wide=frozenset({1}),
        note="Every repaired record is in tables/repaired.csv.",
    )  # fmt: skip


def _which(records: pd.Series) -> str:
    """Which records, and where there are several how many."""
    return listed(records) + (f" ({len(records):,} records)" if len(records) > 1 else "")


def listed(records: Iterable[int]) -> str:
    """Numbers of records in order, runs drawn together, the first dozen of them; the rest are counted.

    Examples
    --------
    >>> listed([3, 1, 2, 7, 9, 10]), listed(range(1, 40, 2))
    ('1-3, 7, 9-10', '1, 3, 5, 7, 9, 11, 13, 15, 17, 19, 21, 23 and 8 more')
    """
    runs: list[list[int]] = []
    for record in sorted({int(record) for record in records}):
        if runs and record == runs[-1][1] + 1:
            runs[-1][1] = record
        else:
            runs.append([record, record])
    more = sum(last - first + 1 for first, last in runs[MOST_RUNS:])
    said = ", ".join(str(first) if first == last else f"{first}-{last}" for first, last in runs[:MOST_RUNS])
    return f"{said} and {more:,} more" if more else said


def _pictures(plan: Plan) -> PrintedTable:
    rows = [
        [
            str(row.file),
            str(row.taken).replace("T", " "),
            _bearing(row),
            str(row.patch),
            str(row.species),
            str(row.reason),
        ]
        for row in rows_of(plan.photos)
    ]
    heads = ["Picture", "Taken", "Camera faced", "Patch", "Species of the patch", "Why it shows none"]
    return PrintedTable(caption="Pictures, and the patch nearest to each", heads=heads, rows=rows, latin=frozenset({4}))


def _bearing(row: Any) -> str:
    """Where a camera faced; which north is meant is said where the picture says it."""
    if pd.isna(row.direction_deg):
        return ""
    return f"{row.direction_deg:.0f}°" + (f" ({row.direction_ref} north)" if row.direction_ref else "")


def said_text(raw: str) -> str:
    """A record's raw values as people read them; blanks left out.

    Examples
    --------
    >>> said_text('{"SPP": "LOMA6", "Notes": "", "Ht": null}')
    'SPP LOMA6'
    """
    try:
        values = json.loads(raw)
    except ValueError:
        return raw
    if not isinstance(values, dict):
        return raw
    shown = {name: round(value, 6) if isinstance(value, float) else value for name, value in values.items()}
    return "; ".join(f"{name} {value}" for name, value in shown.items() if value not in (None, ""))


def _texts(table: pd.DataFrame) -> list[list[str]]:
    return [[_text(value) for value in row] for row in table.itertuples(index=False)]


def _text(value: Any) -> str:
    if value is None or (isinstance(value, float) and pd.isna(value)):
        return ""
    return shown_number(value) if isinstance(value, float) and not value.is_integer() else str(value).removesuffix(".0")
