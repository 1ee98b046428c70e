"""Cells of the grid that are closed, whole or in part; numpy alone, so that the kernels stand apart from vectors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Mask = npt.NDArray[np.bool_]
PARTS = 8  # along each side of a cell that is closed in part
ALL_PARTS = np.uint64(2**64 - 1)


@dataclass(frozen=True, kw_only=True)
class ClosedParts:
    """What of each closed cell is closed, where that is not all of it.

    Attributes
    ----------
    cell
        Flat numbers of the cells, rising.
    parts
        Which of ``PARTS`` by ``PARTS`` parts of each are closed: bit ``PARTS * row + column`` of it.
    """

    cell: npt.NDArray[np.int64]
    parts: npt.NDArray[np.uint64]

    def of(self, box: tuple[slice, ...], columns: int) -> npt.NDArray[np.uint64]:
        """All cells of a box with a margin of one, flat; empty where none is closed in part."""
        rows, across = box
        first, last = np.searchsorted(self.cell, (rows.start * columns, rows.stop * columns))
        row, column = np.divmod(self.cell[first:last], columns)
        inside = (column >= across.start) & (column < across.stop)
        if not inside.any():
            return np.empty(0, np.uint64)
        found = np.full((rows.stop - rows.start + 2, across.stop - across.start + 2), ALL_PARTS)
        found[row[inside] - rows.start + 1, column[inside] - across.start + 1] = self.parts[first:last][inside]
        return found.ravel()

    def within(self, window: tuple[slice, slice], columns: int) -> ClosedParts:
        """Those in a window of a grid of so many columns, numbered in the window."""
        rows, across = window
        row, column = np.divmod(self.cell, columns)
        inside = (row >= rows.start) & (row < rows.stop) & (column >= across.start) & (column < across.stop)
        number = (row[inside] - rows.start) * (across.stop - across.start) + column[inside] - across.start
        return ClosedParts(cell=number, parts=self.parts[inside])
