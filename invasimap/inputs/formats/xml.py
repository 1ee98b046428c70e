"""Safe XML for GPX and KML: no entities, no outside files, names without their namespace."""

from __future__ import annotations

from collections.abc import Iterator
from xml.etree.ElementTree import Element, ParseError

from defusedxml import DefusedXmlException
from defusedxml import ElementTree as SafeTree

from invasimap.core.errors import Fault, LayerError


def parse_xml(data: bytes, *, label: str, root: str) -> Element:
    """The root element of a document.

    Raises
    ------
    LayerError
        When it is no well-formed XML, declares entities, or its root is not ``root`` (another format under this name).
    """
    try:
        top: Element = SafeTree.fromstring(data)
    except DefusedXmlException as error:
        raise LayerError(
            Fault(where=label, what="declares XML entities, which are refused", mend="export it again")
        ) from error
    except (ParseError, ValueError, LookupError) as error:
        raise LayerError(
            Fault(where=label, what=f"is not whole XML: {error}", mend="export it again from the receiver")
        ) from error
    if local(top).lower() != root:
        raise LayerError(Fault(where=label, what=f"is no {root.upper()} file: it starts with <{local(top)}>"))
    return top


def local(element: Element) -> str:
    """Name of an element without its namespace."""
    return element.tag.rpartition("}")[2] if isinstance(element.tag, str) else ""


def children(element: Element, name: str) -> Iterator[Element]:
    """Direct children of a name, whatever their namespace."""
    return (child for child in element if local(child) == name)


def child_text(element: Element, name: str) -> str:
    """Text of the first child of a name, or nothing."""
    return next((text_of(child) for child in children(element, name)), "")


def text_of(element: Element) -> str:
    """All text inside an element, stripped."""
    return "".join(element.itertext()).strip()
