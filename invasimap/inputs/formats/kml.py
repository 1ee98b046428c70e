"""KML and KMZ: every placemark in any folder, with its typed and untyped data, as text.

Our own parser, because the usual driver drops the typed columns of a KMZ and reads bad coordinates as 0, 0.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final
from xml.etree.ElementTree import Element

from invasimap.core.errors import Fault, LayerError
from invasimap.core.survey_settings import LimitsSection
from invasimap.inputs.formats.archive import read_members
from invasimap.inputs.formats.bounds import MAX_RECORDS, broken_off, few_columns, too_many, unread_layer
from invasimap.inputs.formats.kml_shapes import SHAPES, read_shapes
from invasimap.inputs.formats.markup import plain_text
from invasimap.inputs.formats.raw import NO_GEOMETRY, WGS84, RawLayer, Record, from_records, read_bytes, unique_name
from invasimap.inputs.formats.xml import (
    Break,
    Format,
    check_depth,
    child_text,
    children,
    local,
    read_xml,
    refuse_many,
    text_of,
    whole_children,
)

_FOLDERS: Final = {"Folder", "Document", "kml"}
_ALONE: Final = frozenset({"Document", "Folder", "Placemark", *SHAPES})
_TRACKS: Final = {"Track", "MultiTrack"}
_TEXTS: Final = ("name", "description", "Snippet", "address", "phoneNumber", "styleUrl")
_UNREAD: Final = {
    "NetworkLink": "links to other files are not followed",
    "GroundOverlay": "pictures laid on the ground are not read",
    "PhotoOverlay": "photo overlays are not read",
    "ScreenOverlay": "pictures laid on the screen are not read",
    "Tour": "tours are not read",
}


@dataclass(kw_only=True)
class _Harvest:
    """Records taken out of the growing tree, each with the folders it stands in."""

    limits: LimitsSection
    records: list[Record] = field(default_factory=list)
    folders: list[tuple[Element, ...]] = field(default_factory=list)
    unread: Counter[str] = field(default_factory=Counter)

    def take(self, root: Element, *, still_open: frozenset[Element] | None) -> int:
        """Take the placemarks that are complete, in the open folders too."""
        taken = self._take(root, (root,), still_open)
        if len(self.records) > MAX_RECORDS:
            raise OverflowError
        return taken

    def _take(self, folder: Element, path: tuple[Element, ...], still_open: frozenset[Element] | None) -> int:
        check_depth(len(path))
        inner = whole_children(folder, still_open)
        for child in inner:
            self._add(child, path)
        names = [child for child in inner if local(child) == "name"][:1]
        rest = folder[len(inner) :]
        folder[:] = [*names, *rest]
        taken = len(inner) - len(names)
        if rest and local(rest[0]) in _FOLDERS:
            taken += self._take(rest[0], (*path, rest[0]), still_open)
        return taken

    def _add(self, child: Element, path: tuple[Element, ...]) -> None:
        kind = local(child)
        if kind in SHAPES:  # a file of one shape
            inside, child = child, Element("Placemark")
            child.append(inside)
        if kind == "Placemark" or kind in SHAPES:
            self.records.append(read_placemark(child, vertices=self.limits.vertices))
            self.folders.append(path)
        elif kind in _FOLDERS:
            self._take(child, (*path, child), frozenset())
        elif kind in _UNREAD:
            self.unread[kind] += 1

    def grouped(self) -> list[Record]:
        """The records, each with its folders' names: a folder's name may follow what it holds."""
        names: dict[tuple[Element, ...], str] = {}
        for path in self.folders:
            if path not in names:
                words = (child_text(folder, "name") for folder in path if local(folder) == "Folder")
                names[path] = "/".join(filter(None, words))
        groups = [names[path] for path in self.folders]
        return [
            replace(r, group=g, values={**r.values, unique_name("folder", r.values): g}) if g else r
            for r, g in zip(self.records, groups, strict=True)
        ]


def read_kml(path: Path, *, label: str, limits: LimitsSection | None = None) -> list[RawLayer]:
    """The placemarks of a KML file in document order; ``group`` is the folder path.

    A file that breaks off gives its whole placemarks and one record more, set aside, that says where it breaks.

    Raises
    ------
    LayerError
        When it is no KML, or breaks before its first placemark.
    """
    limits = limits or LimitsSection()
    data = read_bytes(path, label=label, limit_B=limits.file_B)
    return [_layer(data, label=label, layer=path.stem, limits=limits)]


def read_kmz(path: Path, *, label: str, limits: LimitsSection | None = None) -> list[RawLayer]:
    """The placemarks of every KML inside a KMZ; one that cannot be read is one record set aside, if others can."""
    limits = limits or LimitsSection()
    members = read_members(path, label=label, suffixes=(".kml",), limits=limits)
    if not members:
        raise LayerError(Fault(where=label, what="holds no file of a kind that is read"))
    single = len(members) == 1
    layers: list[RawLayer] = []
    errors: list[LayerError] = []
    for name, data in members.items():
        own, layer = (label, path.stem) if single else (f"{label}:{name}", name)
        try:
            layers.append(_layer(data, label=own, layer=layer, limits=limits))
        except LayerError as error:
            errors.append(error)
            layers.append(unread_layer(error, label=own, layer=layer))
    if len(errors) == len(layers):
        raise LayerError([fault for error in errors for fault in error.faults])
    return layers


def _layer(data: bytes, *, label: str, layer: str, limits: LimitsSection) -> RawLayer:
    refuse_many(data, ["Placemark"], label=label, limit=limits.xml_records)
    kind = Format(root="kml", held=2 * limits.vertices + 100_000, alone=_ALONE)
    made: list[_Harvest] = []

    def make() -> _Harvest:
        made.append(_Harvest(limits=limits))
        return made[-1]

    broken: Break | None = None
    notes: list[str] = []
    try:
        _, broken, notes = read_xml(data, label=label, kind=kind, harvest=make)
    except OverflowError:
        made[-1].records.append(Record(values={}, problem=too_many(0)))
        made[-1].folders.append(())
    if broken is not None:
        _add_break(made[-1], broken, label=label)
    notes += [f"{label}: {count} {_UNREAD[kind]}" for kind, count in made[-1].unread.items()]
    return from_records(few_columns(made[-1].grouped()), label=label, layer=layer, crs=WGS84, notes=notes)


def _add_break(harvest: _Harvest, broken: Break, *, label: str) -> None:
    """One record for what a broken file lost, with the values of the placemark that was open there."""
    path = tuple(element for element in broken.open if local(element) in _FOLDERS)
    cut = next((element for element in broken.open if local(element) == "Placemark"), None)
    if cut is None and not harvest.records:
        raise LayerError(Fault(where=label, what=f"is not whole XML: {broken.why}", mend="export it again"))
    harvest.records.append(Record(values=_values(cut) if cut is not None else {}, problem=broken_off(broken.line)))
    harvest.folders.append(path)


def read_placemark(mark: Element, *, vertices: int) -> Record:
    """The record of a placemark: its values as text, and its shape or why it has none."""
    values = _values(mark)
    shapes = [child for child in mark if local(child) in SHAPES]
    walked = len(shapes) == 1 and local(shapes[0]) in _TRACKS
    if walked and "time" not in values:
        whens = (text_of(when) for when in shapes[0].iter() if local(when) == "when")
        if first := next(filter(None, whens), ""):
            values["time"] = first
    if not shapes:
        return Record(values=values, problem=NO_GEOMETRY)
    try:
        geometry, repair = read_shapes(shapes, vertices=vertices)
    except ValueError as error:
        return Record(values=values, problem=str(error))
    if geometry is None:
        return Record(values=values, problem=NO_GEOMETRY)
    return Record(values=values, geometry=geometry, repair=repair, walked=walked)


def _values(mark: Element) -> dict[str, str]:
    found = {name: plain_text(text) for name in _TEXTS if (text := child_text(mark, name))}
    if number := mark.get("id"):
        found["id"] = number
    for stamp in (child for child in mark if local(child) in ("TimeStamp", "TimeSpan")):
        found["time"] = child_text(stamp, "when") or child_text(stamp, "begin") or child_text(stamp, "end")
    tracks = [track for shape in mark if local(shape) in _TRACKS for track in shape.iter() if local(track) == "Track"]
    for extended in (data for holder in (mark, *tracks) for data in children(holder, "ExtendedData")):
        for key, text in _data(extended, 0):
            found[unique_name(key, found)] = plain_text(text)
    return found


def _data(extended: Element, depth: int) -> Iterator[tuple[str, str]]:
    check_depth(depth)
    for child in extended:
        kind = local(child)
        if kind == "Data":
            yield child.get("name") or child_text(child, "displayName") or "data", child_text(child, "value")
        elif kind == "SchemaData":
            cells = (cell for cell in child if local(cell) != "SimpleArrayData")  # one of each of a track's places
            yield from ((cell.get("name") or "data", text_of(cell)) for cell in cells)
        elif len(child):
            yield from _data(child, depth + 1)
        else:
            yield child.get("name") or kind, text_of(child)
