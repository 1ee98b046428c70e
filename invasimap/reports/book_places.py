"""What the map book's list of places says: each patch and parking place by stand, those on no sheet last."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely

from invasimap.core.crs import to_lonlat
from invasimap.reports.book_frames import stand_shapes
from invasimap.reports.book_labels import stop_words
from invasimap.reports.book_layout import Book, ListRow, number_words
from invasimap.reports.usng import usng
from invasimap.reports.wording import rows_of

Groups = list[tuple[ListRow, list[ListRow]]]
Numbers = npt.NDArray[np.intp]
LONGEST_SPECIES = 16  # letters
MOST_WITH_SPECIES = 1000  # patches; of more only ids and places, in more columns
MOST_OFF = 1000  # patches, or parking places, on no sheet that are listed; of more only their count
LEAST_SHARE = 0.02  # of a patch, in a stand that lists it


@dataclass(frozen=True, kw_only=True)
class Listed:
    """What is listed: its rows, which of them lie on a sheet of a stand, what they are called and where all are."""

    rows: npt.NDArray[np.object_]
    on: npt.NDArray[np.bool_]
    called: str
    file: str

    @property
    def few_off(self) -> bool:
        """Whether those on no sheet are few enough to be listed."""
        return int((~self.on).sum()) <= MOST_OFF


@dataclass(frozen=True, kw_only=True)
class InStand:
    """Numbers of the patches and of the parking places of a stand; of what lies in none where it has no name."""

    name: str | None
    patches: Numbers
    parking: Numbers


def place_groups(book: Book) -> tuple[Groups, str]:
    """Headings with their rows, and the square of the grid that the rows' figures are within.

    Of each stand what lies on a sheet, its patches, then its parking places; after all stands what lies on no sheet.
    """
    plan = book.plan
    spots = _usng(book, shapely.point_on_surface(plan.patches.geometry.to_numpy()))
    square, on = _square(spots), _on_sheets(book, plan.patches)
    with_species = (len(on) if (~on).sum() <= MOST_OFF else on.sum()) <= MOST_WITH_SPECIES
    patches = Listed(
        rows=_rows([
            _patch_row(patch, _short(spot, square), with_species=with_species)
            for patch, spot in zip(rows_of(plan.patches), spots, strict=True)
        ]),
        on=on, called="patches", file="plan.gpkg, layer patches",
    )  # fmt: skip
    places = [_short(place, square) for place in _usng(book, plan.parking.geometry)]
    parking = Listed(
        rows=_rows([
            ListRow(name=stop_words(stop, plan.shown), rest=f"  {place}", parted=not with_species)
            for stop, place in zip(rows_of(plan.parking), places, strict=True)
        ]),
        on=_on_sheets(book, plan.parking), called="parking places", file="parking.csv",
    )  # fmt: skip
    members = list(_members(book))
    found = [
        *_on(book, members, patches, parking, lead="Stand " if with_species else ""),
        *_off(members, patches, parking),
    ]
    return [(head, rows) for head, rows in found if rows], square


def _members(book: Book) -> Iterator[InStand]:
    """What lies in each stand, in the order of a list, and last what lies in none."""
    plan = book.plan
    stand_of = dict(zip(plan.treatment_zones["id"], plan.treatment_zones["stand"].astype(str), strict=True))
    serves = np.array([stand_of.get(zone) for zone in plan.parking["zone_id"]], object)
    grown, parked = np.zeros(len(plan.patches), bool), np.zeros(len(serves), bool)
    for name, shape in stand_shapes(plan.stands):
        own, stops = _growing_in(plan.patches, shape), np.flatnonzero(serves == name)
        grown[own] = parked[stops] = True
        yield InStand(name=name, patches=own, parking=stops)
    yield InStand(name=None, patches=np.flatnonzero(~grown), parking=np.flatnonzero(~parked))


def _on(
    book: Book, members: Sequence[InStand], patches: Listed, parking: Listed, *, lead: str
) -> Iterator[tuple[ListRow, list[ListRow]]]:
    """What lies on a sheet."""
    numbers = book.numbers_of()
    for stand in members:
        sheet = f", sheet {number_words(numbers[stand.name])}" if stand.name in numbers else ""
        name = "In no stand" if stand.name is None else f"{lead}{stand.name}"
        yield ListRow(name=name, rest=sheet, heading=True), _taken(patches, stand.patches, on=True)
        name = "In no stand" if stand.name is None else f"Stand {stand.name}"
        yield ListRow(name=name, rest=": parking", heading=True), _taken(parking, stand.parking, on=True)


def _off(members: Sequence[InStand], patches: Listed, parking: Listed) -> Iterator[tuple[ListRow, list[ListRow]]]:
    """What lies on no sheet; of very many only how many, and where they are."""
    for stand in members:
        name = f"On no sheet: {'in no stand' if stand.name is None else f'stand {stand.name}'}"
        if patches.few_off:
            yield ListRow(name=name, heading=True), _taken(patches, stand.patches, on=False)
        if parking.few_off:
            yield ListRow(name=name, rest=": parking", heading=True), _taken(parking, stand.parking, on=False)
    for listed in (patches, parking):
        if not listed.few_off:
            head = ListRow(name=f"On no sheet: {(~listed.on).sum():,} more {listed.called}", heading=True)
            yield head, [ListRow(name=f"see {listed.file}")]


def _taken(listed: Listed, numbers: Numbers, *, on: bool) -> list[ListRow]:
    found: list[ListRow] = listed.rows[numbers[listed.on[numbers] == on]].tolist()
    return found


def _rows(rows: list[ListRow]) -> npt.NDArray[np.object_]:
    found = np.empty(len(rows), object)
    found[:] = rows
    return found


def _growing_in(patches: gpd.GeoDataFrame, shape: Any) -> Any:
    """Numbers of the patches of which a share worth walking to lies in a stand."""
    if not len(patches):
        return np.empty(0, int)
    near = np.sort(patches.sindex.query(shape, predicate="intersects"))
    shapes = patches.geometry.to_numpy()[near]
    return near[shapely.area(shapely.intersection(shapes, shape)) > LEAST_SHARE * shapely.area(shapes)]


def _patch_row(patch: Any, place: str, *, with_species: bool) -> ListRow:
    genus, _, rest = str(patch.species).partition(" ")
    species = f"{genus[:1]}. {rest}" if rest else genus
    short = species if len(species) <= LONGEST_SPECIES else f"{species[: LONGEST_SPECIES - 1]}…"
    return ListRow(name=str(patch.id), rest=f"  {place}" + (f"  {short}" if with_species else ""))


def _usng(book: Book, points: Any) -> list[str]:
    lons, lats = to_lonlat(book.plan.crs).transform(*shapely.get_coordinates(np.asarray(points, object)).T)
    return [usng(lat, lon) for lon, lat in zip(lons, lats, strict=True)]


def _square(places: list[str]) -> str:
    """Zone and letters of the square that holds most of the places."""
    counted = Counter(" ".join(place.split()[:2]) for place in places)
    return counted.most_common(1)[0][0] if counted else ""


def _short(place: str, square: str) -> str:
    return place.removeprefix(f"{square} ") if square else place


def _on_sheets(book: Book, layer: gpd.GeoDataFrame) -> Any:
    """Which features lie on a sheet of a stand."""
    found = np.zeros(len(layer), bool)
    if len(layer) and book.frames:
        boxes = shapely.box(*np.array([frame.bounds for frame in book.frames]).T)
        found[np.unique(layer.sindex.query(boxes, predicate="intersects")[1])] = True
    return found
