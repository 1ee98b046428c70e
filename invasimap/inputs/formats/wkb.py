"""Kinds of shapes by the first bytes of their well-known binary: curves, and surfaces without an outline."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

import numpy as np
import pyogrio
import pyogrio.raw
import shapely
from numpy.typing import NDArray

from invasimap.inputs.formats.raw import NO_GEOMETRY

CURVES: Final = ("Curve", "CircularString", "MultiSurface", "Circular String", "Multi Surface")
_CURVED: Final = (8, 9, 10, 11, 12, 13, 14)  # ISO 13249-3 codes
_COLLECTION: Final = 7
_COLLECTIONS: Final = re.compile(  # with z, m and SRID as ISO and PostGIS write them, in either order of bytes
    rb"\x01(?:\x07\x00|\xef\x03|\xd7\x07|\xbf\x0b)\x00[\x00\x20\x40\x60\x80\xa0\xc0\xe0]"
    rb"|\x00[\x00\x20\x40\x60\x80\xa0\xc0\xe0]\x00(?:\x00\x07|\x03\xef|\x07\xd7|\x0b\xbf)"
)
_MOST_COLLECTIONS: Final = 1_000
_SURFACES: Final = {15: "a polyhedral surface", 16: "a TIN", 17: "a triangle"}


def kind_of(start: bytes) -> int:
    """Code of a shape's kind without z and m (1 a point, 3 a polygon, 8 a circular string …); 0 when there is none.

    Examples
    --------
    >>> kind_of(bytes.fromhex("01e9030000"))  # 1001: a point with z
    1
    """
    if len(start) < 5 or start[0] > 1:
        return 0
    return (int.from_bytes(start[1:5], "little" if start[0] else "big") & 0x0FFFFFFF) % 1000


def is_curved(start: bytes) -> bool:
    """Whether a shape's first five bytes say that it has arcs."""
    return kind_of(start) in _CURVED


def is_deep(blob: bytes) -> bool:
    """Whether a shape holds over 1,000 collections, which may lie in one another: GEOS would end the program."""
    return kind_of(blob[:5]) == _COLLECTION and len(_COLLECTIONS.findall(blob)) > _MOST_COLLECTIONS


def lost_shapes(path: Path, layer: str | None, geometry: NDArray[np.object_]) -> dict[int, str]:
    """Why each record without a shape has none: it has none in the file, or one that cannot be drawn flat."""
    rows = np.flatnonzero(shapely.is_missing(geometry))
    if not len(rows):
        return {}
    found = pyogrio.raw.read(path, layer=layer, columns=[], max_features=int(rows[-1]) + 1)[2]
    return {} if found is None else {int(row): _why(found[row]) for row in rows if row < len(found)}


def _why(blob: bytes | None) -> str:
    if blob is None:
        return NO_GEOMETRY
    inner = blob[9:14] if kind_of(blob[:5]) == _COLLECTION else b""
    name = _SURFACES.get(kind_of(inner or blob[:5]), "")
    if name:
        return f"is {name}, a shape in 3D that has no outline: export it as polygons"
    return "geometry is not read: its rings or lines are not whole"
