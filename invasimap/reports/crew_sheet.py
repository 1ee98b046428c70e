"""What a crew gets in one file: marks and outlines, named for a small screen, in longitude and latitude."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any, Final

Place = tuple[float, float]
# how a mark's or outline's name starts, and what it is
STARTS: Final = {
    "open": "OP",
    "hand_only": "HO",
    "dry": "PU",
    "no_spray": "NS",
    "hand_ground": "HG",
    "parking": "PK",
    "entry": "EN",
    "crossing": "CR",
}


@dataclass(frozen=True, kw_only=True)
class Mark:
    """A place: ``kind`` is ``zone, work, parking, entry, crossing`` or ``patch``; ``zone`` is its zone or work."""

    name: str
    kind: str
    place: Place
    short: str
    words: str
    zone: str = ""


@dataclass(frozen=True, kw_only=True)
class Outline:
    """Polygons drawn under one name: ``kind`` is ``open, hand_only, no_spray, hand_ground`` or, where no-spray ground
    is worked by hand, ``dry``.
    """

    name: str
    kind: str
    shapes: tuple[Any, ...]
    short: str
    words: str
    zone: str = ""


@dataclass(frozen=True, kw_only=True)
class CrewSheet:
    """One file's content.

    ``stands`` gives the stand of each zone (or work), in the order in which they are worked through; ``limited`` says
    that marks found no room.
    """

    access: str
    title: str
    words: str
    made: dt.datetime
    stands: dict[str, str]
    marks: tuple[Mark, ...]
    outlines: tuple[Outline, ...]
    limited: bool = False
