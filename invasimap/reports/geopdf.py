"""Georeferenced PDF pages by the open standard: a viewport with a geospatial measure on each (ISO 32000-2, 12.10)."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
import pikepdf
from pikepdf import Array, Dictionary, Name, String
from pyproj import CRS

from invasimap.core.crs import to_lonlat
from invasimap.core.units import POINTS_PER_INCH
from invasimap.reports.pdf_words import Word, write_words

Box = tuple[float, float, float, float]


@dataclass(frozen=True, kw_only=True)
class Placed:
    """Where a page's map stands on the paper (inches from the lower left) and on the ground (metres of the system)."""

    paper_in: Box
    ground: Box


def georeferenced(
    pdf: bytes, placed: Sequence[Placed], crs: CRS, *, title: str, words: Sequence[Sequence[Word]] = ()
) -> bytes:
    """The same pages, each saying where its map lies, with its words set on it; the same bytes for the same pages.

    Raises
    ------
    ValueError
        When there are more or fewer pages than places.
    """
    with pikepdf.open(io.BytesIO(pdf)) as document:
        system = document.make_indirect(_system(crs))
        for page, place in zip(document.pages, placed, strict=True):
            page.obj.VP = Array([_viewport(document, place, crs, system)])
        if words:
            write_words(document, words)
        document.docinfo["/Title"] = String(title)
        stream = io.BytesIO()
        document.save(stream, min_version="1.7", deterministic_id=True, linearize=False)
    return stream.getvalue()


def _system(crs: CRS) -> Dictionary:
    found = Dictionary(Type=Name.PROJCS, WKT=String(crs.to_wkt("WKT1_ESRI")))
    if (code := crs.to_epsg()) is not None:
        found.EPSG = code
    return found


def _viewport(document: pikepdf.Pdf, place: Placed, crs: CRS, system: pikepdf.Object) -> Dictionary:
    corners = np.array([(0, 0), (0, 1), (1, 1), (1, 0)], float)
    left, bottom, right, top = place.ground
    ground = (left, bottom) + corners * (right - left, top - bottom)
    lon, lat = to_lonlat(crs).transform(*ground.T)
    measure = Dictionary(
        Type=Name.Measure, Subtype=Name.GEO, GCS=system, Bounds=_numbers(corners), LPTS=_numbers(corners),
        GPTS=_numbers(np.column_stack([lat, lon])), PDU=Array([Name.M, Name.SQM, Name.DEG]),
    )  # fmt: skip
    box = np.array(place.paper_in) * POINTS_PER_INCH
    return Dictionary(
        Type=Name.Viewport, Name=String("map"), BBox=_numbers(box), Measure=document.make_indirect(measure)
    )


def _numbers(values: object) -> Array:
    """Numbers in plain digits: exponents are no PDF."""
    return Array([Decimal(f"{value:.10f}") for value in np.asarray(values, float).ravel().tolist()])
