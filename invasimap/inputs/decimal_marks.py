"""Whether "1.200" is 1.2 or 1200: told by the other numbers of its column, or left open and said."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from typing import Final, NamedTuple

from invasimap.inputs.fields import DecimalComma

_NUMBER: Final = re.compile(r"\d+(?:[.,]\d+)+")
_GROUPED: Final = re.compile(r"[1-9]\d{0,2}(?:([.,])\d{3})(?:\1\d{3})*")
_OTHER: Final = {",": ".", ".": ","}


class Settled(NamedTuple):
    """Texts whose numbers have a decimal point, and what is to be said of them ("" for nothing)."""

    texts: list[str]
    said: str = ""


def settle_marks(texts: Sequence[str], *, comma: DecimalComma, elsewhere: Callable[[], Iterable[str]]) -> Settled:
    """The numbers of a column with points for decimals; one that can be read in two ways is marked and is no number.

    A number such as "1.200" or "1,200" is read by the decimal sign of the others. Where they use both signs, or a comma
    in a file that is not parted by semicolons, it stays open.

    Parameters
    ----------
    texts
        The distinct texts of a column.
    comma
        How the file writes its numbers, by what parts its cells.
    elsewhere
        Gives texts of the file's other columns, asked where the column's own numbers do not tell.

    Examples
    --------
    >>> settle_marks(["12,5", "1.200"], comma="always", elsewhere=list)
    Settled(texts=['12.5', '1200'], said='1.200 is read as 1200')
    >>> settle_marks(["12,5", "12.5", "1.200"], comma="always", elsewhere=list).texts[2]
    '1.200 (1.2 or 1200?)'
    """
    if comma != "always" and not any("," in text for text in texts):
        return Settled(list(texts))
    signs = _decimal_signs(texts)
    open_ = [number for text in texts for number in _NUMBER.findall(text) if _GROUPED.fullmatch(number)]
    points, commas = any("." in number for number in open_), any("," in number for number in open_)
    if comma == "always" and open_ and not signs:
        signs = _decimal_signs(elsewhere()) or (set() if points else {","})
    sure = signs == {"."} or (len(signs) == 1 if comma == "always" else not signs and not (points and commas))
    sign = "".join(signs) if len(signs) == 1 else "."
    marked = [_marked(text) if not sure else text for text in texts]
    if comma == "never":
        return Settled(marked)
    read = [text if "?)" in text else _NUMBER.sub(lambda found: _plain(found[0], sign), text) for text in marked]
    other = [number for number in open_ if _OTHER[sign] in number] if sure and signs else []
    return Settled(read, f"{other[0]} is read as {_plain(other[0], sign)}" if other and sign == "," else "")


def _decimal_signs(texts: Iterable[str]) -> set[str]:
    """The signs before decimals, of the numbers that can be read in one way only."""
    found = set()
    for text in texts:
        for number in _NUMBER.findall(text):
            signs = re.sub(r"\d", "", number)
            if len(set(signs)) == 1 and len(signs) == 1:
                found |= set() if _GROUPED.fullmatch(number) else {signs}
            elif len(set(signs)) == 1:
                found |= {_OTHER[signs[0]]} if _GROUPED.fullmatch(number) else set()
            elif signs.count(signs[-1]) == 1:
                found.add(signs[-1])
    return found


def _marked(text: str) -> str:
    """A text with its two readings behind it where it has a number that can be read in two ways."""
    number = next((n for n in _NUMBER.findall(text) if _GROUPED.fullmatch(n) and len(re.sub(r"\d", "", n)) == 1), "")
    return f"{text} ({float(number.replace(',', '.')):g} or {re.sub('[.,]', '', number)}?)" if number else text


def _plain(number: str, sign: str) -> str:
    """A number with a point for decimals and no sign of thousands; one that can be read in one way only, in that."""
    own = _decimal_signs([number]) or {sign}
    decimal = own.pop()
    return number.replace(_OTHER[decimal], "").replace(decimal, ".")
