"""The text of an XML file in pieces: its encoding found out, signs that XML does not allow taken out and counted."""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterator
from typing import Final

_PIECE: Final = 1 << 18
_LONGEST_REF: Final = 12
_DECLARED: Final = re.compile(rb"""<\?xml[^>]{0,100}?encoding\s*=\s*["']([\w.:-]{1,40})["']""")
_KNOWN: Final = re.compile(r"(iso-?8859|latin|windows-12|cp\d|koi8|mac|big5|gb|shift|sjis|euc|iso-2022)", re.I)
_UTF8: Final = ("utf-8", "utf8", "us-ascii", "ascii")
_CONTROLS: Final = bytes({*range(32)} - {9, 10, 13})
_NOT_XML: Final = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff\ud800-\udfff]")
_REF: Final = re.compile(r"&#(?:x([0-9a-fA-F]{1,7})|(\d{1,8}));")


def xml_texts(data: bytes, *, label: str, notes: list[str]) -> Iterator[str]:
    """Pieces of the text; ``notes`` is added to where something had to be taken or dropped."""
    encoding, note = find_encoding(data)
    if note:
        notes.append(f"{label}: {note}")
    dirty = encoding not in ("utf-8", "utf-8-sig") or _has_controls(data)
    dropped = 0
    for text in _pieces(data, encoding):
        clean, number = _cleaned(text) if dirty else (text, 0)
        dropped += number
        yield clean
    if dropped:
        notes.append(f"{label}: {dropped} control characters that XML does not allow are dropped")


def find_encoding(data: bytes) -> tuple[str, str]:
    """The encoding of an XML file, and a note where it is not the one that the file declares.

    Examples
    --------
    >>> find_encoding(b'<?xml version="1.0" encoding="ISO-8859-1"?><gpx/>')
    ('utf-8', '')
    >>> find_encoding("<gpx>é</gpx>".encode("cp1252"))
    ('cp1252', 'is not UTF-8: read as Windows-1252')
    """
    if mark := _by_mark(data[:4]):
        return mark, ""
    found = _DECLARED.search(data[:300])
    declared = found[1].decode("ascii", "replace") if found else "utf-8"
    if data.isascii():
        return "utf-8", ""
    if _decodes(data):
        same = declared.lower() in _UTF8
        return "utf-8", "" if same else f"says that it is {declared}, but its text is UTF-8: read as UTF-8"
    if _KNOWN.match(declared) and _is_codec(declared):
        return declared, ""
    return "cp1252", "is not UTF-8: read as Windows-1252"


def _by_mark(start: bytes) -> str:
    marks = {b"\xef\xbb\xbf": "utf-8-sig", b"\xff\xfe\0\0": "utf-32", b"\0\0\xfe\xff": "utf-32", b"\xff\xfe": "utf-16",
             b"\xfe\xff": "utf-16", b"<\0": "utf-16-le", b"\0<": "utf-16-be"}  # fmt: skip
    return next((name for mark, name in marks.items() if start.startswith(mark)), "")


def _is_codec(name: str) -> bool:
    try:
        b"".decode(name)
    except LookupError:
        return False
    return True


def _decodes(data: bytes) -> bool:
    """Whether the bytes are UTF-8 (the last sign may be cut)."""
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        for at in range(0, len(data), _PIECE):
            decoder.decode(data[at : at + _PIECE])
    except UnicodeDecodeError:
        return False
    return True


def _has_controls(data: bytes) -> bool:
    return b"&#" in data or b"\xef\xbf" in data or len(data.translate(None, _CONTROLS)) != len(data)


def _pieces(data: bytes, encoding: str) -> Iterator[str]:
    """Decoded pieces; a reference such as &#12; is never cut in two."""
    decoder = codecs.getincrementaldecoder(encoding)("replace")
    rest = ""
    for at in range(0, len(data), _PIECE):
        text = rest + decoder.decode(data[at : at + _PIECE])
        cut = text.rfind("&", max(len(text) - _LONGEST_REF, 0))
        rest = text[cut:] if cut >= 0 else ""
        yield text[:cut] if cut >= 0 else text
    yield rest


def _cleaned(text: str) -> tuple[str, int]:
    text, number = _NOT_XML.subn("", text)
    refs = 0

    def kept(found: re.Match[str]) -> str:
        nonlocal refs
        code = int(found[1], 16) if found[1] else int(found[2])
        if code < 0x110000 and not _NOT_XML.match(chr(code)):
            return found[0]
        refs += 1
        return ""

    return (_REF.sub(kept, text) if "&#" in text else text), number + refs
