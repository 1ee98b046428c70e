"""Map layers packed into a page: coordinates in whole steps, deflated; words as texts that no page reads as code."""

from __future__ import annotations

import base64
import json
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import shapely
from pyproj import CRS, Transformer

TOLERANCE_M: Final = 0.1
STEP_M: Final = 0.1  # of Web Mercator: under 0.1 m on the ground away from the equator


@dataclass(frozen=True, kw_only=True)
class WebLayer:
    """A layer of the field map.

    Attributes
    ----------
    name
        What the page's script calls it.
    switch
        The words beside its switch; empty where it has none of its own. Layers may share a switch.
    shapes
        Geometries in the plan's system, missing or empty ones allowed; they are drawn in this order.
    looks, look
        How it is drawn, and for each shape which of ``looks`` (nothing: the first).
    titles, terms, rows
        What a tap says: a title for each shape, and for each term a text (empty: left out).
    more
        What else the script needs: JSON.
    """

    name: str
    shapes: Any
    looks: Sequence[dict[str, Any]]
    switch: str = ""
    on: bool = True
    look: Sequence[int] = ()
    titles: Sequence[str] = ()
    terms: Sequence[str] = ()
    rows: Sequence[Sequence[str]] = ()
    more: dict[str, Any] = field(default_factory=dict)


def packed(layers: Sequence[WebLayer], head: dict[str, Any], *, crs: CRS, origin: tuple[float, float]) -> list[str]:
    """The words and the coordinates of the layers, each deflated, as base64.

    ``origin`` is the place in Web Mercator metres that coordinates are counted from, in steps of ``STEP_M``; they
    follow one another as differences, all x of a layer, then all its y.
    """
    to_mercator = Transformer.from_crs(crs, 3857, always_xy=True)
    described, numbers = [], [np.empty(0, np.int64)]
    for layer in layers:
        shapes = shapely.simplify(shapely.force_2d(np.asarray(layer.shapes, object)), TOLERANCE_M)
        rings, owner, kind = _rings(shapes)
        places, ring = shapely.get_coordinates(rings, return_index=True)
        xy = np.column_stack(to_mercator.transform(places[:, 0], places[:, 1])) if len(places) else np.empty((0, 2))
        steps = np.rint((xy - origin) / STEP_M).astype(np.int64)
        numbers += [np.diff(steps[:, axis], prepend=0) for axis in (0, 1)]
        described.append(_described(layer) | {
            "kinds": kind.tolist(), "parts": np.bincount(owner, minlength=len(shapes)).tolist(),
            "points": np.bincount(ring, minlength=len(rings)).tolist(),
        })  # fmt: skip
    words = json.dumps(head | {"layers": described}, ensure_ascii=True, separators=(",", ":"), allow_nan=False)
    return [_deflated(words.encode("ascii")), _deflated(_planes(np.concatenate(numbers)))]


def _described(layer: WebLayer) -> dict[str, Any]:
    return {
        "name": layer.name, "switch": layer.switch, "on": layer.on, "looks": list(layer.looks),
        "look": [int(number) for number in layer.look], "titles": list(layer.titles), "terms": list(layer.terms),
        "rows": [list(row) for row in layer.rows], **layer.more,
    }  # fmt: skip


def _rings(shapes: Any) -> tuple[Any, Any, Any]:
    """The rings, lines and points of shapes, the shape each belongs to, and each shape's dimension (-1: empty).

    Rings lack the last point, which is the first; of a collection only the parts of the highest dimension count.
    """
    kind = np.where(shapely.is_empty(shapes), -1, shapely.get_dimensions(shapes))
    parts, owner = shapely.get_parts(shapes, return_index=True)
    parts, within = shapely.get_parts(parts, return_index=True)
    owner = owner[within]
    kept = (shapely.get_dimensions(parts) == kind[owner]) & ~shapely.is_empty(parts)
    parts, owner = parts[kept], owner[kept]
    areas = shapely.get_dimensions(parts) == 2
    rings, of = shapely.get_rings(parts[areas], return_index=True)
    lines = np.concatenate([_opened(rings), parts[~areas]])
    owners = np.concatenate([owner[areas][of], owner[~areas]])
    order = np.argsort(owners, kind="stable")
    return lines[order], owners[order], kind


def _opened(rings: Any) -> Any:
    """Closed rings as lines without their last point."""
    places, ring = shapely.get_coordinates(rings, return_index=True)
    kept = np.diff(ring, append=-1) == 0
    return shapely.linestrings(places[kept], indices=ring[kept]) if len(rings) else np.empty(0, object)


def _planes(numbers: Any) -> bytes:
    """Small whole numbers as four planes of bytes (all lowest bytes first); the sign is the lowest bit."""
    folded = np.where(numbers < 0, -2 * numbers - 1, 2 * numbers).astype("<u4")
    return folded.view(np.uint8).reshape(-1, 4).T.tobytes()


def _deflated(content: bytes) -> str:
    return base64.b64encode(zlib.compress(content, 9)).decode("ascii")
