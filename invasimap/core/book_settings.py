"""What a ``tract.toml`` may say about the map book: its scale and paper, and what to do in an emergency."""

from __future__ import annotations

import re
from typing import Annotated, Final, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from invasimap.core.quantities import Section

FINEST, COARSEST = 100, 100_000
LONGEST_WORDS = 600  # of one row for an emergency: every sheet prints it whole
LONGEST_TOGETHER = 1500  # of all rows: the map would not have room
MOST_LINES = 6


def read_scale(value: object) -> int | None:
    """A scale's denominator from ``"1:2,400"``; None for ``"auto"``.

    Raises
    ------
    ValueError
        When it is neither, or no scale of a map to walk by.

    Examples
    --------
    >>> read_scale("1:2,400"), read_scale("auto")
    (2400, None)
    """
    if value == "auto":
        return None
    match = re.fullmatch(r"\s*1\s*:\s*(\d{1,3}(?:,\d{3})+|\d+)\s*", value) if isinstance(value, str) else None
    if match is None:
        raise ValueError(f'{value!r} is no scale: write "auto", or one such as "1:2,400"')
    scale = int(match[1].replace(",", ""))
    if not FINEST <= scale <= COARSEST:
        raise ValueError(f"{value!r}: the book's scale lies from 1:{FINEST} to 1:{COARSEST:,}")
    return scale


class MapbookSection(Section):
    """``[mapbook]``: one scale for every sheet (else the largest round one that holds each stand), and the paper.

    Without ``paper`` it is letter where the tract is shown in feet, else A4. Of more stands (or cells of them) than
    ``most_sheets`` those with most to do have a sheet; the book says which have none.
    """

    scale: Annotated[int | None, BeforeValidator(read_scale)] = None
    paper: Literal["letter", "a4"] | None = None
    most_sheets: Annotated[int, Field(ge=1, le=10_000)] = 200


def _said(text: object) -> object:
    """A text without the blanks round it, in few lines."""
    if not isinstance(text, str):
        return text
    lines = text.strip().splitlines()
    if not lines:
        raise ValueError("says nothing: leave the row out, and it is printed as a line to fill in by hand")
    if len(lines) > MOST_LINES:
        raise ValueError(f"has {len(lines)} lines: every sheet prints it whole, so write at most {MOST_LINES}")
    return "\n".join(lines)


Words = Annotated[str, BeforeValidator(_said), Field(max_length=LONGEST_WORDS)]


class EmergencySection(Section):
    """``[emergency]``: what a crew needs when something goes wrong, in the user's own words.

    Nothing has a default; what is not written here is printed as a line to fill in by hand.
    """

    emergency_number: Words | None = None
    contact: Words | None = None
    road_address: Words | None = None
    gate: Words | None = None
    hospital: Words | None = None
    hospital_phone: Words | None = None
    poison_centre_phone: Words | None = None
    signal_spots: Words | None = None
    labels_at: Words | None = None
    spill_steps: Words | None = None
    leave_by: Words | None = None

    @model_validator(mode="after")
    def _leaves_room_for_the_map(self) -> Self:
        letters = sum(len(text or "") for text in self.model_dump().values())
        if letters > LONGEST_TOGETHER:
            raise ValueError(
                f"the rows hold {letters:,} letters together: every sheet prints them beside its map, so write at most "
                f"{LONGEST_TOGETHER:,}"
            )
        return self


EMERGENCY_WORDS: Final = {
    "emergency_number": "emergency number",
    "contact": "contact, radio",
    "road_address": "road address",
    "gate": "gate",
    "hospital": "hospital",
    "hospital_phone": "hospital phone",
    "poison_centre_phone": "poison centre",
    "signal_spots": "radio, phone signal",
    "labels_at": "labels, data sheets at",
    "spill_steps": "spill: steps",
    "leave_by": "last resort, leave by",
}
