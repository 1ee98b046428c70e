"""Text of a description that was written as HTML: its words and lines without the tags."""

from __future__ import annotations

import html
import re
from typing import Final

_MOST: Final = 100_000  # signs; a longer text is no description
_TAG: Final = re.compile(r"<(/?)([a-zA-Z][a-zA-Z0-9]{0,15})\b([^<>]{0,2000})>|<!--|<!\[CDATA\[|-->|\]\]>")
_SOURCE: Final = re.compile(r"""\bsrc\s{0,9}=\s{0,9}["']?([^"'\s>]{1,500})""", re.I)
_LINES: Final = {"br", "p", "tr", "li", "div", "h1", "h2", "h3", "h4", "table", "ul", "ol", "hr", "dt"}
_CELLS: Final = {"td", "th", "dd"}


def plain_text(text: str) -> str:
    """The words of a text that has HTML tags in it; table cells of a row stand apart as "name: value".

    Examples
    --------
    >>> plain_text("<table><tr><td>Cover</td><td>25 &lt; 50 %</td></tr></table>")
    'Cover: 25 < 50 %'
    >>> plain_text("a < b & c")
    'a < b & c'
    """
    if not ("<" in text or "&" in text) or len(text) > _MOST:
        return text
    if not _TAG.search(text):
        return html.unescape(text)
    bare = html.unescape(_TAG.sub(_replaced, text)).replace("\xa0", " ")
    rows = (": ".join(filter(None, (cell.strip() for cell in row.split("\0")))) for row in bare.splitlines())
    return "\n".join(" ".join(row.split()) for row in rows if row.strip())


def _replaced(found: re.Match[str]) -> str:
    name = (found[2] or "").lower()
    if name == "img" and (source := _SOURCE.search(found[3])):
        return f" {source[1]} "
    if name in _CELLS:
        return "\0" if found[1] else ""
    return "\n" if name in _LINES else ""
