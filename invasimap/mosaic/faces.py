"""The planar partition of all footprints: cut once by every boundary, then each face labelled.

All boundaries of patches that may meet are noded together and polygonized, so neighbouring faces share their edges
exactly and no area can be lost or counted twice; what a face is follows from one point inside it.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely
from pyproj import CRS
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from invasimap.core.errors import Fault, LayerError
from invasimap.core.nearby import near_parts
from invasimap.core.second_process import processors
from invasimap.land.words import OUTSIDE, ZONES
from invasimap.mosaic.given import given_layers, mended

OUT_OF_REACH = "out_of_reach"
GRID_M = 1e-9  # snap rounding makes the noding safe; a thousandth of a micrometre moves no acreage
GRID_SHARE = 1e-14  # of the span at least: some fifty times as coarse as a double is there
FAR_M = 1e5  # farther from the origin, shapes are moved to it for the noding
PLACES_AT_ONCE = 2_000
FEW_BOXES = 64  # asked for what they touch at first; then as many as have some PAIRS_AT_ONCE
PAIRS_AT_ONCE = 4_000_000
Ints = npt.NDArray[np.intp]


@dataclass(frozen=True, kw_only=True)
class Faces:
    """The partition.

    Attributes
    ----------
    ground
        One row a face: ``stand, zone, access, reached_by, area_m2`` and its polygon; every spot once.
    growth
        One row a face and species growing there: ``face, species, patch, cover_pct``; ``patch`` is the survey record
        that decides (the newest, then the one with the higher cover, then the first).
    """

    ground: gpd.GeoDataFrame
    growth: pd.DataFrame


def cut_faces(
    patches: gpd.GeoDataFrame,
    *,
    stands: gpd.GeoDataFrame,
    protection: gpd.GeoDataFrame,
    access: gpd.GeoDataFrame,
) -> Faces:
    """Partition the footprints of ``patches`` by stand, zone, access and species.

    Parameters
    ----------
    patches
        Polygons with ``species, date`` (ISO text), ``cover_pct``; the index names them.
    stands, protection, access
        Polygons with ``stand``; with ``zone``; with ``access`` and perhaps ``reached_by`` (every class that reaches
        them, semicolon-joined). All in one system in metres. Ground in no stand is
        ``(outside)``, in no zone ``open``, in no access class ``out_of_reach``. Where stands overlap the first counts;
        where zones overlap, the stricter.

    Raises
    ------
    CRSError
        When the layers do not share one system in metres, or an acre in it is not an acre of ground (web Mercator).
    LayerError
        Lists all that is missing or not understood, also patches that are named alike.
    """
    given = given_layers({"patches": patches, "stands": stands, "protection": protection, "access": access})
    if patches.index.has_duplicates:
        named = patches.index[patches.index.duplicated()].tolist()[0]
        what = f"two rows are named {named!r} by the index"
        raise LayerError(Fault(where="patches", what=what, mend="name each apart, such as with reset_index"))
    return cut_given(given.pop("patches"), **given)


def cut_given(
    patches: gpd.GeoDataFrame, *, stands: gpd.GeoDataFrame, protection: gpd.GeoDataFrame, access: gpd.GeoDataFrame
) -> Faces:
    """``cut_faces`` of layers such as ``given_layers`` gives."""
    crs = CRS(patches.crs)
    patches, stands, protection, access = (mended(layer) for layer in (patches, stands, protection, access))
    others = [layer.geometry.to_numpy() for layer in (stands, protection, access)]
    shapes, inside, face, patch = _faces(patches.geometry.to_numpy(), others)
    ground = gpd.GeoDataFrame(
        {
            "stand": _first(inside, stands, stands["stand"], otherwise=OUTSIDE),
            "zone": _strictest(inside, protection),
            "access": _first(inside, access, access["access"], otherwise=OUT_OF_REACH),
            "reached_by": _first(inside, access, _reached_by(access), otherwise=""),
            "area_m2": shapely.area(shapes),
        },
        geometry=shapes,
        crs=crs,
    )
    return Faces(ground=ground, growth=_growth(patches, face, patch))


def _faces(patches: Any, others: list[Any]) -> Any:
    """Polygons cut out by the boundaries of the patches and by what of the other boundaries comes near them.

    Groups of patches that lie apart are cut apart and at once: the same faces in the same order on any machine. Gives
    the faces that lie in a patch, a point inside each, and face and patch of every pair that lie in one another.
    """
    drawn = np.flatnonzero(~(shapely.is_missing(patches) | shapely.is_empty(patches)))
    boxes: Any = shapely.box(*shapely.bounds(patches[drawn]).T)
    batch = _apart(boxes, shapely.get_num_coordinates(patches[drawn]))
    own, of = _rings(patches[drawn])
    near, _ = near_parts(np.concatenate([_rings(layer)[0] for layer in others]), 0.0, patches[drawn])
    box, line = shapely.STRtree(near).query(boxes, predicate="intersects")
    several, line = np.divmod(np.unique(batch[box] * max(len(near), 1) + line), max(len(near), 1))
    lines = _split(np.concatenate([own, near[line]]), np.concatenate([batch[of], several]))
    work = lines, [patches[some] for some in _split(drawn, batch)]
    with ThreadPoolExecutor(processors()) as pool:  # GEOS lets go of the lock
        found = list(pool.map(_cut, *work)) if len(lines) > 1 else list(map(_cut, *work))
    if not found:
        none = np.empty(0, object)
        return none, none, np.empty(0, np.intp), np.empty(0, np.intp)
    before = np.cumsum([0, *(len(shapes) for shapes, *_ in found)]).tolist()
    pairs = zip(found, before, _split(drawn, batch), strict=False)
    numbered = [(shapes, inside, face + add, some[patch]) for (shapes, inside, face, patch), add, some in pairs]
    return tuple(np.concatenate(parts) for parts in zip(*numbered, strict=True))


def _split(values: Any, numbers: Ints) -> list[Any]:
    """Values of equal numbers together, in order of the numbers."""
    order = np.argsort(numbers, kind="stable")
    return np.split(values[order], np.flatnonzero(np.diff(numbers[order])) + 1) if len(values) else []


def _cut(lines: Any, patches: Any) -> tuple[Any, Any, Ints, Ints]:
    """The polygons between lines that lie in a patch; a point inside each; face and patch of every pair."""
    shapes = _polygonized(lines)
    inside = shapely.point_on_surface(shapes)
    face, patch = _holding(inside, patches)
    grown = np.unique(face)  # others lie between the patches, perhaps in those of another batch
    return shapes[grown], inside[grown], np.searchsorted(grown, face), patch


def _polygonized(lines: Any) -> Any:
    """Polygons between some lines.

    Worked about their own corner: millions of metres from the origin, as in UTM, a double is no finer than the grid of
    the noding, which then leaves crossings open and loses polygons.
    """
    coords = shapely.get_coordinates(lines)
    origin = np.floor(coords.min(axis=0)) if np.abs(coords).max() > FAR_M else np.zeros(2)
    span = float(np.abs(coords - origin).max())
    moved = shapely.transform(lines, lambda xy: xy - origin) if origin.any() else lines
    noded = shapely.union_all(moved, grid_size=max(GRID_M, span * GRID_SHARE))
    found: Any = shapely.get_parts(shapely.polygonize(shapely.get_parts(noded)))
    return shapely.transform(found, lambda xy: xy + origin) if origin.any() else found


def _rings(polygons: Any) -> tuple[Any, Ints]:
    """The rings of polygons and multipolygons, and the number of the polygon each is of."""
    parts, owner = shapely.get_parts(polygons, return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    return rings, owner[part]


def _apart(boxes: Any, places: Ints) -> Ints:
    """Numbers from 0 such that boxes which touch have the same; each stands for some thousand places.

    Those of one number lie within ``FAR_M`` of one another, but for what their own size adds: the noding of all at once
    is as fine as their span allows.
    """
    group = _touching(boxes)
    held = np.bincount(group, places)
    corner = np.full((len(held), 2), np.inf)
    np.minimum.at(corner, group, shapely.bounds(boxes)[:, :2])
    square = (corner - corner.min(axis=0, initial=np.inf)) // FAR_M
    together = np.column_stack([(np.cumsum(held) - held) // PLACES_AT_ONCE, square])
    found: Ints = np.unique(together, axis=0, return_inverse=True)[1].reshape(-1)[group]
    return found


def _touching(boxes: Any) -> Ints:
    """Numbers of the groups of boxes that touch, in order of their first ones.

    Pairs are asked for some boxes at a time and forgotten but for the groups they make: thousands of boxes over one
    another have millions of pairs.
    """
    group: Ints = np.arange(len(boxes))
    tree, at, some = shapely.STRtree(boxes), 0, FEW_BOXES
    while at < len(boxes) and group.any():
        one, other = tree.query(boxes[at : at + some])
        groups = int(group.max()) + 1
        joined = coo_matrix((np.ones(len(one), bool), (group[one + at], group[other])), shape=(groups, groups))
        group = connected_components(joined, directed=False)[1].astype(np.intp)[group]
        at, some = at + some, int(np.clip(some * (PAIRS_AT_ONCE / max(len(one), 1)), 1, 8 * some))
    return group


def _reached_by(access: gpd.GeoDataFrame) -> pd.Series:
    """Every class that reaches each polygon; the one that is known where no more is said."""
    if "reached_by" in access:
        return access["reached_by"]
    return access["access"].where(access["access"] != OUT_OF_REACH, "")


def _holding(points: Any, polygons: Any) -> tuple[Ints, Ints]:
    """Each point with each polygon that holds it, by number; quick for polygons of many corners."""
    polygon, point = shapely.STRtree(points).query(polygons, predicate="intersects")
    return point, polygon


def _first(points: Any, layer: gpd.GeoDataFrame, names: pd.Series, *, otherwise: str) -> Any:
    """Name of the first polygon of the layer that holds each point."""
    point, polygon = _holding(points, layer.geometry.to_numpy())
    first = np.full(len(points), len(layer), np.intp)
    np.minimum.at(first, point, polygon)
    return np.append(names.to_numpy(object), otherwise)[first]


def _strictest(points: Any, protection: gpd.GeoDataFrame) -> Any:
    rank = zone_numbers(protection["zone"])
    point, polygon = _holding(points, protection.geometry.to_numpy())
    found = np.full(len(points), ZONES.index("open"), np.intp)
    np.minimum.at(found, point, rank[polygon])
    return np.asarray(ZONES, object)[found]


def zone_numbers(zones: pd.Series) -> Ints:
    """Place of each zone among ``ZONES``.

    Raises
    ------
    LayerError
        When a word is none of them: a zone that is not understood must not count as open.
    """
    found = pd.Index(ZONES).get_indexer(pd.Index(zones))
    if (found < 0).any():
        word = zones.to_numpy(object)[found < 0][0]
        raise LayerError(Fault(where="protection", what=f"zone {word!r} is none of {', '.join(ZONES)}"))
    return found


def deciding_rank(patches: gpd.GeoDataFrame) -> Ints:
    """Place of every patch among all that could decide a spot: the newest first, then the higher cover, then the first.

    Dates are ISO text, an unknown one empty and older than any.
    """
    date = pd.factorize(patches["date"], sort=True)[0]
    order = np.lexsort((-patches["cover_pct"].to_numpy(float), -date))
    rank = np.empty(len(order), np.intp)
    rank[order] = np.arange(len(order))
    return rank


def _growth(patches: gpd.GeoDataFrame, face: Ints, patch: Ints) -> pd.DataFrame:
    """The deciding patch of every species on every face."""
    found = pd.DataFrame({"face": face, "species": patches["species"].to_numpy(object)[patch], "order": patch})
    ranked = found.iloc[np.lexsort((deciding_rank(patches)[patch], found["species"], face))]
    decided = ranked.drop_duplicates(["face", "species"]).reset_index(drop=True)
    order = decided["order"].to_numpy()
    decided["patch"] = patches.index.to_numpy()[order]
    decided["cover_pct"] = patches["cover_pct"].to_numpy(float)[order]
    return decided[["face", "species", "patch", "cover_pct"]]
