"""What to do about a record that was set aside, in a few words behind its reason."""

from __future__ import annotations

import re
from typing import Final

# a reason of which all is known -> what a person does; reasons that say it themselves are not here
_TO_DO: Final[tuple[tuple[str, str], ...]] = (
    (r"(?:lon|lat|position|MGRS|WKT|coordinates|\w+) (?:is|are) blank", "type it"),
    (r"species '.*' is no name", "type a plant's name"),
    (r"species not known", "type the plant's name"),
    (r"lies [\d.,]+ km from the stands", "check its position"),
    (r"cannot be placed near the stands|position cannot be worked out", "check its position and crs"),
    (r"coordinates are not finite|coordinates are beyond the globe", "check its position"),
    (r"(?:latitude|longitude) \S+ is beyond \d+ degrees", "check its position"),
    (r"coordinates are 0, 0: no position was recorded", "type it"),
    (r"(?:lon|lat) '.*' is no number(?: \(.*\))?", "type degrees such as 38.0123"),
    (r"(?:position|WKT|MGRS) '.*' (?:is none|is not read|names no square)", "type it again"),
    (r"has no geometry|is no feature", "draw it, or delete it"),
    (r"the row is blank", "delete it"),
    (r"the row has \d+ cells for \d+ columns", "put text with commas in quotes"),
    (r"length without width, or width without length: no size", "type both"),
    (r"\w+ '.*\([\d.]+ or \d+\?\)' is not read", "write which"),
    (r"area '.*' is not read", 'write it such as "0.5 acre"'),
    (r"(?:radius|diameter|length|width|size) '.*' is not read", 'write it such as "10 ft"'),
    (r"(?:radius|diameter|length|width|area) .* is not above zero", "type its size, or leave it blank"),
    (r"size '.*' does not say whether it is .*", 'write it such as "10 ft radius"'),
    (r"cover .* is outside 0-1.*|cover .* runs from high to low", "check it"),
    (r"(?:outline encloses no ground|line has no length|shape is broken: .*)", "draw it again"),
)
_PATTERNS: Final = tuple((re.compile(pattern), todo) for pattern, todo in _TO_DO)


def with_what_to_do(reason: str) -> str:
    """A reason, each of its parts with what to do about it.

    Examples
    --------
    >>> with_what_to_do("lon is blank; lies 3.2 km from the stands")
    'lon is blank: type it; lies 3.2 km from the stands: check its position'
    """
    return "; ".join(map(_part, reason.split("; ")))


def _part(reason: str) -> str:
    todo = next((todo for pattern, todo in _PATTERNS if pattern.fullmatch(reason)), "")
    mark = "," if ": " in reason else ":"
    return f"{reason}{mark} {todo}" if todo else reason
