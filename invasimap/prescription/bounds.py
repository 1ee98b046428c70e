"""Sizes that a rule asks for, as words: ``over 6 ft``, ``up to reach``, ``25-50 %``, ``unknown``."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

_CLOSE: Final = 1e-9  # share of a limit: 6 ft in metres and back is still 6 ft
_WORDS: Final = re.compile(r"(over|above|more than|at least|from|up to|within|under|below|less than)\s+(.+)", re.I)
_RANGE: Final = re.compile(r"([\d.]+)\s*(?:-|–|to)\s*([\d.]+\s*\D+)", re.I)  # noqa: RUF001 (spreadsheets make en dashes)
UNKNOWN: Final = "unknown"


@dataclass(frozen=True, kw_only=True)
class Bound:
    """From ``low`` to ``high``; an ``open`` end is not in it. ``unknown``: what is not known fits by name."""

    low: float = -math.inf
    high: float = math.inf
    low_open: bool = False
    high_open: bool = False
    unknown: bool = False

    def fits(self, values: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Whether each value lies in it; NaN does not."""
        low, high = (_slack(end) for end in (self.low, self.high))
        above = values > self.low + low if self.low_open else values >= self.low - low
        below = values < self.high - high if self.high_open else values <= self.high + high
        return np.asarray(above & below)

    def up_to(self, limit: float) -> Bound:
        """The part of it that does not lie above a limit."""
        return self if self.high <= limit else replace(self, high=limit, high_open=False)


ANY_SIZE: Final = Bound()
_ONLY_UNKNOWN: Final = Bound(low=math.inf, high=-math.inf, unknown=True)


def _slack(end: float) -> float:
    return _CLOSE * abs(end) if math.isfinite(end) else 0.0


def read_bound(
    parts: list[str], *, names: Mapping[str, float], quantity: Callable[[str], float]
) -> Bound:  # fmt: skip
    """The bound of a cell's parts: at most one size, and ``unknown``.

    Parameters
    ----------
    names
        Settings that may stand in place of a quantity.
    quantity
        Reads a number with its unit; raises ValueError.

    Raises
    ------
    ValueError
        When a part is no bound, or there are two.

    Examples
    --------
    >>> bound = read_bound(["over reach"], names={"reach": 1.8}, quantity=float)
    >>> bound.fits(np.array([1.8, 1.9, np.nan])).tolist()
    [False, True, False]
    """
    sizes = [part for part in parts if part.casefold() != UNKNOWN]
    unknown = len(sizes) < len(parts)
    if len(sizes) > 1:
        raise ValueError(f"{'; '.join(sizes)!r} are two sizes: write a row for each")
    if not sizes:
        return _ONLY_UNKNOWN
    return replace(_one(sizes[0], names, quantity), unknown=unknown)


def _one(text: str, names: Mapping[str, float], quantity: Callable[[str], float]) -> Bound:
    if match := _WORDS.fullmatch(text):
        word, size = match[1].casefold(), match[2].casefold().replace("_", " ")
        value = names[size] if size in names else quantity(match[2])
        if word in ("over", "above", "more than"):
            return Bound(low=value, low_open=True)
        if word in ("at least", "from"):
            return Bound(low=value)
        return Bound(high=value, high_open=word in ("under", "below", "less than"))
    if match := _RANGE.fullmatch(text):
        high = quantity(match[2])
        low = quantity(match[1] + re.sub(r"^[\d.]+", "", match[2]))
        if low > high:
            raise ValueError(f"{text!r} runs from high to low: write the smaller number first")
        return Bound(low=low, high=high)
    raise ValueError(f"{text!r} is not read as a size")
