"""Canopy cover of cells: percents, ranges, fractions and classes of a scale, each with its low and high."""

from __future__ import annotations

import re
from typing import Final, NamedTuple

from invasimap.inputs.cover_scales import PERCENT, UNKNOWN, Scale, bare_cell, class_key, is_marked

_NUMBER: Final = r"(?:\d+(?:\.\d*)?|\.\d+)"
_PCT: Final = r"(?:%|percent\b|pct\b)"
_DASH: Final = r"(?:-|–|—|‒|−|to|thru|through)"  # noqa: RUF001 (crews type all dashes)
_BELOW: Final = r"<=?|≤|less than|under|below|up to|at most"
_ABOVE: Final = r">|more than|over|above"
_FROM: Final = r">=|≥|at least"
_ABOUT: Final = r"~|≈|about|approx\.?|ca\.?|circa"
_COVER: Final = re.compile(
    rf"(?:(?:(?P<below>{_BELOW})|(?P<least>{_FROM})|(?P<above>{_ABOVE})|(?P<about>{_ABOUT}))\s*)?"
    rf"(?P<low>[-+]?{_NUMBER})\s*(?P<pct>{_PCT})?(?:\s*{_DASH}\s*(?P<high>{_NUMBER}))?\s*"
    rf"(?P<end>{_PCT})?\s*(?P<plus>\+)?\s*(?P<unit>{_PCT}|fraction)?",
    re.I,
)
# "3 (25-50 %)", "moderate: 25-50 %" and "25-50 % (moderate)": what a pick list shows of a class with its limits
_NAME: Final = (
    r"(?:very\s+|class\s+)?(?:\d{1,2}|[a-z]|\+|trace|rare|few|sparse|scattered|light|low|moderate|medium|mod|common|"
    r"high|heavy|dense|abundant)"
)
_LIMITS: Final = rf"(?:{_BELOW}|{_FROM}|{_ABOVE})?\s*{_NUMBER}\s*{_PCT}?(?:\s*{_DASH}\s*{_NUMBER}\s*{_PCT}?)?"
_LABELLED: Final = re.compile(
    rf"(?=.*{_PCT})(?:{_NAME}\s*[:=(\[]\s*(?P<after>{_LIMITS})\s*[)\]]?|(?P<before>{_LIMITS})\s*[(\[]\s*{_NAME}\s*[)\]])",
    re.I,
)
_SMALL: Final = 12  # a whole number to this in a column of classes is a class, over it a percent
_NAN: Final = float("nan")


class Cover(NamedTuple):
    """Canopy cover of a record in percent; ``reason`` sets it aside, ``how`` says what was understood or taken.

    Where it is not ``told`` the figures only stand in for one that is not known.
    """

    mid_pct: float
    low_pct: float
    high_pct: float
    reason: str = ""
    how: str = ""
    told: bool = True


def parse_cover(text: str, *, scale: Scale | None = None) -> Cover:
    """Cover of one cell; blank gives NaN and no reason.

    Without a scale a number is a percent. A cell that says percent is one whatever the scale. A class whose limits are
    not known counts as 100 %, and ``how`` says so. A cover of 0 is a plant that was not found.

    Examples
    --------
    >>> parse_cover("25-50 %")
    Cover(mid_pct=37.5, low_pct=25.0, high_pct=50.0, reason='', how='', told=True)
    >>> parse_cover("120").reason
    'cover 120 is outside 0-100 %'
    >>> from invasimap.inputs.cover_scales import DAUBENMIRE
    >>> parse_cover("3", scale=DAUBENMIRE)[:3]
    (37.5, 25.0, 50.0)
    """
    marked, cell = is_marked(text), bare_cell(text)
    if not cell:
        return Cover(_NAN, _NAN, _NAN)
    scale = scale or (UNKNOWN if marked else PERCENT)
    scale = PERCENT if scale.marked and not marked else scale
    found = None
    if scale.kind == "classes":
        found = _of_class(cell, scale)
    elif scale.kind == "unknown":
        found = _of_unknown_class(cell, scale)
    return found or _of_number(cell, scale)


def _of_class(cell: str, scale: Scale) -> Cover | None:
    """A class, or two as a range; None for what says percent."""
    key = class_key(cell)
    ends = [key] if key in scale.classes else re.split(rf"\s*{_DASH}\s*", key)
    if len(ends) <= 2 and all(end in scale.classes for end in ends):
        low, mid, _ = scale.classes[ends[0]]
        last, _, high = scale.classes[ends[-1]]
        if low > last:
            return _fault(f"cover {cell} runs from high to low")
        return Cover(mid if len(ends) == 1 else (low + high) / 2, low, high) if high > 0 else _not_found(cell)
    if key == "0":
        return _not_found(cell)
    if re.search(_PCT, cell, re.I):
        return None
    return _fault(f"cover {cell!r} is no class of the scale {scale.name!r}: {', '.join(scale.classes)}")


def _of_unknown_class(cell: str, scale: Scale) -> Cover | None:
    """All the ground for a class nobody gave limits for; None for what is a percent in any case."""
    if re.search(_PCT, cell, re.I):
        return None
    if cell == "0":
        return _not_found(cell)
    match = _COVER.fullmatch(" ".join(cell.split()))
    if match and (_is_open(match) or any(float(n) > _SMALL for n in (match["low"], match["high"]) if n)):
        return None
    return Cover(100.0, 100.0, 100.0, how=f"cover class {cell!r}: {scale.how}", told=False)


def _of_number(cell: str, scale: Scale) -> Cover:
    """A percent or fraction: a number, a range or an open range."""
    plain = " ".join(cell.split())  # the patterns try every way to share out a run of blanks
    labelled = _LABELLED.fullmatch(plain)
    match = _COVER.fullmatch((labelled["after"] or labelled["before"]).strip() if labelled else plain)
    if match is None or (_is_open(match) and match["high"]):
        classes = ", or name its class in [intake.cover_scales]" if re.search(r"[a-z+]", cell, re.I) else ""
        return _fault(f'cover {cell!r} is not read: write a percent such as "35" or "25-50 %"{classes}')
    said_pct = any((match[group] or "").lower() not in ("", "fraction") for group in ("pct", "end", "unit"))
    fraction = (match["unit"] or "").lower() == "fraction" or (scale.kind == "fraction" and not said_pct)
    low, high = _limits(match, 100.0 if fraction else 1.0)
    shown = cell.removesuffix(" fraction")
    if not (0 <= low <= 100 and 0 <= high <= 100):
        return _fault(f"cover {shown} is outside {'0-1, and is said to be a fraction' if fraction else '0-100 %'}")
    if low > high:
        return _fault(f"cover {shown} runs from high to low")
    if high == 0:
        return _not_found(shown)
    read = f"{low:g} %" if low == high else f"{low:g}-{high:g} %"
    how = f"cover {shown!r} read as {read}" if labelled or match["about"] else ""
    return Cover(
        (low + high) / 2, low, high, how=f"cover {shown} {scale.how}: {read}" if fraction and scale.how else how
    )


def _is_open(match: re.Match[str]) -> bool:
    return any(match[group] for group in ("below", "above", "least", "plus"))


def _limits(match: re.Match[str], factor: float) -> tuple[float, float]:
    """Low and high in percent; outside 0-100 for what cannot be, such as below 0 or more than 100."""
    low = round(float(match["low"]) * factor, 9)  # 0.29 * 100 is no whole number in binary
    if match["high"]:
        return low, round(float(match["high"]) * factor, 9)
    if match["below"]:
        return (0.0, low) if low > 0 else (-1.0, low)
    if match["above"]:
        return low, 100.0 if low < 100 else 101.0
    return (low, 100.0) if match["least"] or match["plus"] else (low, low)


def _not_found(cell: str) -> Cover:
    return _fault(f"cover {cell}: recorded as not found")


def _fault(reason: str) -> Cover:
    return Cover(_NAN, _NAN, _NAN, reason=reason)
