"""What the terminal shows: a line a step with its time, on stderr; answers on stdout."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

import click
from rich.console import Console
from rich.table import Table
from rich.text import Text

from invasimap.core.legible import visible

if TYPE_CHECKING:
    import pandas as pd

SHOWN_FROM_S = 1.0
FEW = 12
FEW_NUMBERS = 8
MOST_LINES = 40


class Progress:
    """Shows steps while they run; quick ones only with ``verbose``, nothing with ``quiet``."""

    def __init__(self, *, quiet: bool = False, verbose: bool = False) -> None:
        self._quiet, self._verbose = quiet, verbose
        self._console = Console(stderr=True, highlight=False, quiet=quiet, soft_wrap=True)

    @contextmanager
    def __call__(self, name: str) -> Iterator[None]:
        """Hold a step: a spinner while it runs, then its line and time when it took over a second."""
        start = time.perf_counter()
        with self._console.status(Text(name)):
            yield
        seconds = time.perf_counter() - start
        if self._verbose or seconds >= SHOWN_FROM_S:
            self._console.print(Text(f"{name:<44}{seconds:6.1f} s"))

    def say(self, text: str) -> None:
        """An answer, on stdout."""
        if not self._quiet:
            click.echo(visible(text))

    def notes(self, notes: Sequence[str]) -> None:
        """What the user should know, a few lines unless ``verbose``."""
        shown = notes if self._verbose else notes[:FEW]
        for note in shown:
            self._console.print(Text(f"! {visible(note)}"))
        if len(shown) < len(notes):
            self._console.print(Text(f"! … and {len(notes) - len(shown)} more: see the report, or use --verbose"))

    def layers(self, layers: dict[str, str]) -> None:
        """What the land files hold."""
        for name, text in layers.items():
            self.say(f"{name + ':':<22}{text}")

    def ledger(self, ledger: pd.DataFrame) -> None:
        """The account of every file."""
        table = Table("file", "records", "accepted", "repaired", "set aside")
        for column in table.columns[1:]:
            column.justify = "right"
        for row in ledger.itertuples(index=False):
            numbers = (row.records, row.accepted, row.repaired, row.set_aside)
            table.add_row(Text(visible(str(row.file))), *(str(number) for number in numbers))
        if not self._quiet:
            Console(highlight=False).print(table)

    def columns(self, columns: pd.DataFrame) -> None:
        """Which column of each file was taken for what."""
        for file in columns["file"].unique():
            rows = columns[columns["file"] == file].to_dict("records")
            taken = [f"{row['column']} = {row['role']}" + (f" ({row['unit']})" if row["unit"] else "") for row in rows]
            self.say(f"{file}: {', '.join(taken)}")

    def records(self, records: pd.DataFrame, *, said: str, title: str) -> None:
        """Records of which the same is said on one line, file by file; a few lines a file unless ``verbose``."""
        if len(records):
            self.say(title)
        for file, own in records.groupby("file", sort=False):
            groups = [(numbers, str(text)) for text, numbers in own.groupby(said, sort=False)["record"]]
            shown = groups if self._verbose else groups[:MOST_LINES]
            for numbers, text in shown:
                self.say(f"  {file}, {_numbered(numbers.tolist())}: {text}")
            if len(shown) < len(groups):
                left = sum(len(numbers) for numbers, _ in groups[len(shown) :])
                self.say(f"  {file}: … and {left:,} records more: use --verbose, or --json for all")


def _numbered(numbers: list[int]) -> str:
    """Record numbers in words; of many the first few and how many there are."""
    if numbers == [0]:
        return "the whole file"
    if len(numbers) == 1:
        return f"record {numbers[0]}"
    first = ", ".join(map(str, numbers[:FEW_NUMBERS]))
    return f"records {first}" if len(numbers) <= FEW_NUMBERS else f"{len(numbers):,} records ({first}, …)"
