"""Safe XML for GPX and KML, read piece by piece: no entities, no outside files, names without their prefix.

A file that ends in the middle gives what stands before its break. The parser does not look up prefixes, so a file that
forgot to declare one is read all the same.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final, Protocol
from xml.etree.ElementTree import Element, TreeBuilder
from xml.parsers import expat

from invasimap.core.errors import Fault, LayerError
from invasimap.inputs.formats.texts import xml_texts

_MAX_DEPTH: Final = 1_000
MOST_TAGS: Final = 10_000_000
_NAME_ENDS: Final = (b" ", b">", b"/", b"\n", b"\r", b"\t")
_STRAY: Final = re.compile(rb"&(?!(?:amp|lt|gt|quot|apos|#\d{1,7}|#x[0-9a-fA-F]{1,6});)")


class Harvest(Protocol):
    """What takes the whole records out of a growing tree, so that it stays small."""

    def take(self, root: Element, *, still_open: frozenset[Element] | None) -> int:
        """Take the elements that are complete, and say how many were taken.

        ``still_open`` are those that are not; while the file is read (None) the last child of each may be one.
        """


@dataclass(frozen=True, kw_only=True)
class Format:
    """A format of XML: the root's name, elements that may stand in its place, and elements that one record may hold."""

    root: str
    held: int
    alone: frozenset[str] = frozenset()


@dataclass(frozen=True, kw_only=True)
class Break:
    """Where a file stopped to be XML, and the elements that were open there, outermost first."""

    line: int
    why: str
    open: tuple[Element, ...]


@dataclass(kw_only=True)
class _Parser:
    """An expat parser that builds a tree; every piece of it in C."""

    builder: Any
    expat: Any
    root: Element | None = None


def read_xml(
    data: bytes, *, label: str, kind: Format, harvest: Callable[[], Harvest]
) -> tuple[Harvest, Break | None, list[str]]:
    """Read a document and hand its tree, piece by piece, to a harvest.

    Parameters
    ----------
    data
        The bytes of the file, in any encoding.
    label
        The file's name in messages.
    kind
        What it must start with, and how large a record may be: a larger one is a break.
    harvest
        Makes the harvest; made anew when the file has to be read a second time.

    Returns
    -------
    tuple
        The harvest, the break where the file is not whole, and notes on what was repaired.

    Raises
    ------
    LayerError
        When it is no XML, declares entities, is nested too deep or its root is another format's.
    """
    taken, broken, notes = _read_once(data, label=label, kind=kind, harvest=harvest())
    if broken is not None and (mended := _with_ampersands(data)) is not None:
        again, broken, notes = _read_once(mended[0], label=label, kind=kind, harvest=harvest())
        return again, broken, [*notes, f"{label}: {mended[1]} signs '&' that XML does not allow are taken as text"]
    if broken is not None and broken.line == 0:
        raise LayerError(Fault(where=label, what=f"is not whole XML: {broken.why}", mend="export it again"))
    return taken, broken, notes


def refuse_many(
    data: bytes, names: Sequence[str], *, label: str, limit: int, setting: str = "xml_records", of: str = "records"
) -> None:  # fmt: skip
    """Refuse a file with more elements of some names, or tags, than are read in seconds; counts bytes, parses nothing.

    Raises
    ------
    LayerError
        When they are more than ``limit``, or all tags more than ten million.
    """
    tags = data.count(b"<")
    found = sum(data.count(b"<" + name.encode() + end) for name in names for end in _NAME_ENDS) if tags > limit else 0
    if found > limit:
        what = f"has {found:,} {of}; the limit is {limit:,}"
        mend = f"split it, save it as CSV, or set {setting} in [intake.limits]"
        raise LayerError(Fault(where=label, what=what, mend=mend))
    if tags > MOST_TAGS:
        what = f"has {tags:,} tags; the limit is {MOST_TAGS:,}"
        raise LayerError(Fault(where=label, what=what, mend="split it, or export only what is needed"))


def _read_once(data: bytes, *, label: str, kind: Format, harvest: Harvest) -> tuple[Harvest, Break | None, list[str]]:
    notes: list[str] = []
    parser = _parser(label=label, kind=kind)
    count = 0
    try:
        for text in xml_texts(data, label=label, notes=notes):
            parser.expat.Parse(text, False)
            count += text.count("<")
            if parser.root is not None and harvest.take(parser.root, still_open=None):
                count = 0
            if count > 2 * kind.held:
                return harvest, _broken(parser, harvest, f"one record has over {kind.held:,} parts"), notes
        parser.expat.Parse("", True)
    except expat.ExpatError as error:
        return harvest, _broken(parser, harvest, str(error)), notes
    except RecursionError as error:
        what = f"is nested over {_MAX_DEPTH:,} deep"
        raise LayerError(Fault(where=label, what=what, mend="export it again, with fewer folders")) from error
    if parser.root is not None:
        harvest.take(parser.root, still_open=frozenset())
    return harvest, None, notes


def _parser(*, label: str, kind: Format) -> _Parser:
    parser = _Parser(builder=TreeBuilder(), expat=expat.ParserCreate())
    parser.expat.buffer_text = True

    def first(tag: str, attributes: dict[str, str]) -> None:
        name = local_name(tag)
        if name.lower() != kind.root and name not in kind.alone:
            raise LayerError(Fault(where=label, what=f"is no {kind.root.upper()} file: it starts with <{name}>"))
        if name in kind.alone:
            parser.root = parser.builder.start(kind.root, {})
        started = parser.builder.start(tag, attributes)
        parser.root = started if parser.root is None else parser.root
        parser.expat.StartElementHandler = parser.builder.start

    def refuse(*_: object) -> None:
        raise LayerError(Fault(where=label, what="declares XML entities, which are refused", mend="export it again"))

    parser.expat.StartElementHandler = first
    parser.expat.EndElementHandler = parser.builder.end
    parser.expat.CharacterDataHandler = parser.builder.data
    parser.expat.EntityDeclHandler = parser.expat.UnparsedEntityDeclHandler = refuse
    parser.expat.ExternalEntityRefHandler = refuse
    return parser


def _broken(parser: _Parser, harvest: Harvest, why: str) -> Break:
    """The break, after taking what is whole before it; line 0 when not even the root had come."""
    line = parser.expat.CurrentLineNumber if parser.root is not None else 0
    found: list[Element] = []
    while parser.root is not None and (not found or found[-1] is not parser.root):
        try:
            found.append(parser.builder.end(""))
        except IndexError:
            break
    if parser.root is not None:
        harvest.take(parser.root, still_open=frozenset(found))
    return Break(line=line, why=why, open=tuple(reversed(found)))


def whole_children(element: Element, still_open: frozenset[Element] | None) -> list[Element]:
    """The children of an element that are complete."""
    return element[:-1] if still_open is None else [child for child in element if child not in still_open]


def _with_ampersands(data: bytes) -> tuple[bytes, int] | None:
    """The bytes with every stray & outside CDATA written as XML wants it, and their number; None when there is none."""
    if data[:2] in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE) or b"\0" in data[:4] or not _STRAY.search(data):
        return None
    parts, count, at = [], 0, 0
    while at < len(data):
        start = data.find(b"<![CDATA[", at)
        end = data.find(b"]]>", start) if start >= 0 else -1
        plain, number = _STRAY.subn(b"&amp;", data[at : start if start >= 0 else None])
        at = end if end >= 0 else len(data)
        parts += [plain, data[start:at] if start >= 0 else b""]
        count += number
    return (b"".join(parts), count) if count else None


def check_depth(depth: int) -> None:
    """Stop at a depth that no program writes."""
    if depth > _MAX_DEPTH:
        raise RecursionError


def local_name(tag: str) -> str:
    """A name without its prefix.

    Examples
    --------
    >>> local_name("gx:Track")
    'Track'
    """
    return tag.rpartition(":")[2] if ":" in tag else tag


def local(element: Element) -> str:
    """Name of an element without its prefix."""
    return local_name(element.tag)


def children(element: Element, name: str) -> Iterator[Element]:
    """Direct children of a name, whatever their prefix."""
    return (child for child in element if local(child) == name)


def child_text(element: Element, name: str) -> str:
    """Text of the first child of a name, or nothing."""
    return next((text_of(child) for child in children(element, name)), "")


def text_of(element: Element) -> str:
    """All text inside an element, stripped."""
    if not len(element):
        return (element.text or "").strip()
    return "".join(element.itertext()).strip()
