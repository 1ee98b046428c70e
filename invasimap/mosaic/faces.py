"""The planar partition of all footprints: cut once by every boundary, then each face labelled.

All boundaries are noded together and polygonized, so neighbouring faces share their edges exactly and no area can be
lost or counted twice; what a face is follows from one point inside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely
from pyproj import CRS

from invasimap.core.errors import Fault, LayerError
from invasimap.core.geometry import segments
from invasimap.land.words import OUTSIDE, ZONES
from invasimap.mosaic.given import given_layers

OUT_OF_REACH = "out_of_reach"
GRID_M = 1e-9  # snap rounding makes the noding safe; a thousandth of a micrometre moves no acreage
GRID_SHARE = 1e-14  # of the span at least: some fifty times as coarse as a double is there
FAR_M = 1e5  # farther from the origin, shapes are moved to it for the noding
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
    shapes = _faces(patches.geometry.to_numpy(), [layer.geometry.to_numpy() for layer in (stands, protection, access)])
    inside = shapely.point_on_surface(shapes)
    face, patch = _holding(inside, patches)
    grown = np.unique(face)
    shapes, inside = shapes[grown], inside[grown]
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
    return Faces(ground=ground, growth=_growth(patches, np.searchsorted(grown, face), patch))


def _faces(patches: Any, others: list[Any]) -> Any:
    """Polygons cut out by the boundaries of the patches and by what of the other boundaries comes near them."""
    own = segments(patches)
    if not len(own):
        return np.empty(0, object)
    left, bottom, right, top = shapely.bounds(patches).T
    boxes: Any = shapely.box(left, bottom, right, top)
    tree = shapely.STRtree(boxes)
    near = []
    for layer in others:
        pieces = segments(layer)
        near.append(pieces[np.unique(tree.query(pieces)[0])])
    return _polygonized(np.concatenate([own, *near]))


def _polygonized(pieces: Any) -> Any:
    """Polygons between some segments.

    Worked about their own corner: millions of metres from the origin, as in UTM, a double is no finer than the grid of
    the noding, which then leaves crossings open and loses polygons.
    """
    coords = shapely.get_coordinates(pieces)
    origin = np.floor(coords.min(axis=0)) if np.abs(coords).max() > FAR_M else np.zeros(2)
    span = float(np.abs(coords - origin).max())
    moved = shapely.transform(pieces, lambda xy: xy - origin) if origin.any() else pieces
    noded = shapely.union_all(moved, grid_size=max(GRID_M, span * GRID_SHARE))
    found: Any = shapely.get_parts(shapely.polygonize(shapely.get_parts(noded)))
    return shapely.transform(found, lambda xy: xy + origin) if origin.any() else found


def _reached_by(access: gpd.GeoDataFrame) -> pd.Series:
    """Every class that reaches each polygon; the one that is known where no more is said."""
    if "reached_by" in access:
        return access["reached_by"]
    return access["access"].where(access["access"] != OUT_OF_REACH, "")


def _holding(points: Any, layer: gpd.GeoDataFrame) -> tuple[Ints, Ints]:
    """Each point with each polygon of the layer that holds it, by number; quick for polygons of many corners."""
    polygon, point = shapely.STRtree(points).query(layer.geometry.to_numpy(), predicate="intersects")
    return point, polygon


def _first(points: Any, layer: gpd.GeoDataFrame, names: pd.Series, *, otherwise: str) -> Any:
    """Name of the first polygon of the layer that holds each point."""
    point, polygon = _holding(points, layer)
    first = np.full(len(points), len(layer), np.intp)
    np.minimum.at(first, point, polygon)
    return np.append(names.to_numpy(object), otherwise)[first]


def _strictest(points: Any, protection: gpd.GeoDataFrame) -> Any:
    rank = zone_numbers(protection["zone"])
    point, polygon = _holding(points, protection)
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
