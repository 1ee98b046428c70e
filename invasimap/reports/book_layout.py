"""What every sheet of a map book has in common: the plan ready to be cut, the paper, the frames and their numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from invasimap.prescription.plan import Plan
from invasimap.reports.book_frames import Frame
from invasimap.reports.sheet import Sheet

Shapes = npt.NDArray[np.object_]


@dataclass(frozen=True, kw_only=True)
class ListRow:
    """A row of the list of places: a name, which goes on over more rows where it is long, and what follows it whole.

    ``parted`` says that what follows may stand on a row of its own also where the name is short.
    """

    name: str = ""
    rest: str = ""
    heading: bool = False
    parted: bool = False

    @property
    def text(self) -> str:
        """The row in one line."""
        return self.name + self.rest


@dataclass(frozen=True, kw_only=True)
class Book:
    """What every sheet of a book has in common.

    Attributes
    ----------
    plan
        Ready to be cut (``book_part.ready``).
    first, pages
        Number of the first sheet of a stand, and of all sheets.
    interval
        Height between contours in the shown unit, the same on every sheet; 0 for none.
    served
        ``served_lines`` of the plan.
    left_out
        Names of the frames without a sheet, and whether they have infested ground.
    lists, list_columns, square
        The columns of each sheet of places, which follow the stands' sheets, how many a sheet has room for, and the
        square of the grid that their figures are within.
    """

    plan: Plan
    paper: Sheet
    frames: list[Frame]
    first: int
    pages: int
    interval: float
    served: Shapes
    left_out: tuple[tuple[str, bool], ...] = ()
    lists: tuple[tuple[tuple[ListRow, ...], ...], ...] = ()
    list_columns: int = 1
    square: str = ""

    @property
    def list_sheets(self) -> str:
        """The printed numbers of the sheets of places, such as ``24`` or ``24-26``."""
        start = self.first + len(self.frames)
        return number_words(range(start, start + len(self.lists)))

    def number(self, at: int) -> int:
        """The printed number of a sheet."""
        return self.first + at

    def numbers_of(self) -> dict[str, list[int]]:
        """The printed numbers of each stand's sheets."""
        found: dict[str, list[int]] = {}
        for at, frame in enumerate(self.frames):
            found.setdefault(frame.stand, []).append(self.number(at))
        return found


def number_words(numbers: Sequence[int]) -> str:
    """Sheet numbers, those that follow one another as their first and last.

    Examples
    --------
    >>> number_words([4]), number_words([4, 5, 6]), number_words([4, 5, 8])
    ('4', '4-6', '4-5, 8')
    """
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    return ", ".join(f"{low}" if low == high else f"{low}-{high}" for low, high in runs)
