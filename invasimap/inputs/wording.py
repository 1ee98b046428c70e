"""Reasons and notes as a person gets them: each reason with what to do, and lengths in the tract's units."""

from __future__ import annotations

import dataclasses
import re
from typing import Any, Final, Literal

import pandas as pd

from invasimap.core.units import M_PER_FT
from invasimap.inputs.account import Survey
from invasimap.inputs.cells import map_unique

_M_PER_MILE: Final = 5280 * M_PER_FT
# lengths that the program measured or set itself: what is quoted from a file keeps its unit
_KM: Final = re.compile(r"([\d.,]*\d) km(?= (?:from the stands|of the stands|away|long\b))")
_M: Final = re.compile(
    r"(?P<before>true to |gap of |reach over |MGRS to |a square of |or within |cells of |lie over |nearest at )"
    r"(?P<m>[\d.,]*\d) m\b"
    r"|(?P<open>\()(?P<off_m>[\d.,]*\d) m(?= off\)|\): check its unit)"
)


def in_units(survey: Survey, units: Literal["us", "metric"]) -> Survey:
    """The survey with the lengths of its reasons, repairs and notes in the units that the tract is shown in."""
    if units == "metric":
        return survey
    return dataclasses.replace(
        survey,
        set_aside=survey.set_aside.assign(reason=_all_in_feet(survey.set_aside["reason"])),
        repaired=survey.repaired.assign(how=_all_in_feet(survey.repaired["how"])),
        notes=[in_feet(note) for note in survey.notes],
    )


def _all_in_feet(column: pd.Series[Any]) -> pd.Series[Any]:
    return pd.Series(map_unique(column, in_feet), index=column.index, dtype=object)


def in_feet(text: str) -> str:
    """A message with the lengths that the program gives in miles and feet.

    Examples
    --------
    >>> in_feet("lies 16.1 km from the stands"), in_feet("radius '3 m' is not read"), in_feet("a gap of 3.2 m")
    ('lies 10.0 mi from the stands', "radius '3 m' is not read", 'a gap of 10 ft')
    """
    text = _KM.sub(lambda found: f"{_number(found[1]) * 1000 / _M_PER_MILE:,.1f} mi", text)
    return _M.sub(_feet, text)


def _feet(found: re.Match[str]) -> str:
    metres = found["m"] or found["off_m"]
    return f"{found['before'] or found['open']}{_number(metres) / M_PER_FT:,.0f} ft"


def _number(text: str) -> float:
    return float(text.replace(",", ""))
