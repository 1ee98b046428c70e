"""Text of a description that was written as HTML: its words and lines without the tags."""

from __future__ import annotations

import html
import re
from typing import Final

_MOST: Final = 100_000  # signs; a longer text is no description
_TAG: Final = re.compile(r"<(/?)([a-zA-Z][a-zA-Z0-9]{0,15})\b([^<>]{0,2000})>|<!--|<!\[CDATA\[|-->|\]\]>")
_SOURCE: Final = re.compile(r"""\bsrc\s{0,9}=\s{0,9}["']?([^"'\s>]{1,500})""", re.I)
_LINES: Final = {"br", "p", "tr", "li", "div", "h1", "h2", "h3", "h4", "table", "ul", "ol", "hr", "dt"}
_HTML: Final = {
    *_LINES, "a", "abbr", "address", "b", "big", "blockquote", "body", "caption", "center", "code", "col", "colgroup",
    "dd", "dl", "em", "figure", "font", "footer", "form", "h5", "h6", "head", "header", "html", "i", "iframe", "img",
    "input", "label", "link", "main", "meta", "nobr", "pre", "s", "script", "section", "small", "span", "strike",
    "strong", "style", "sub", "sup", "svg", "tbody", "td", "tfoot", "th", "thead", "title", "tt", "u", "video",
}  # fmt: skip
_HIDDEN: Final = re.compile(r"<(style|script)\b", re.I)
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
    bare = html.unescape(_TAG.sub(_replaced, _shown(text))).replace("\xa0", " ")
    rows = (": ".join(filter(None, (cell.strip() for cell in row.split("\0")))) for row in bare.splitlines())
    return "\n".join(" ".join(row.split()) for row in rows if row.strip())


def _shown(text: str) -> str:
    """The text without what stands in style and script elements: "width: 50%" is no cover."""
    lower, parts, at = text.lower(), [], 0
    while found := _HIDDEN.search(text, at):
        end = lower.find(f"</{found[1].lower()}", found.end())
        if end < 0:
            break
        parts.append(text[at : found.start()])
        at = lower.find(">", end) + 1 or len(text)
    return "".join([*parts, text[at:]])


def _replaced(found: re.Match[str]) -> str:
    name = (found[2] or "").lower()
    if name and name not in _HTML:
        return found[0]
    if name == "img" and (source := _SOURCE.search(found[3])):
        return f" {source[1]} "
    if name in _CELLS:
        return "\0" if found[1] else ""
    return "\n" if name in _LINES else ""
