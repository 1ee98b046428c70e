"""What a layer seems to be, decided from facts about it alone: its name, shapes, columns and a few values.

Nothing here opens a file. A guess carries its reasons, so that a person can see at once where it went wrong.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Literal

Kind = Literal[
    "survey", "stands", "protect", "ways", "entries", "open_ground", "barriers", "wet_ground", "crossings",
    "elevation", "photos", "unknown",
]  # fmt: skip
LonLatBounds = tuple[float, float, float, float]

KNOWN_PCT: Final = 25.0  # of the plant names in a layer: from here on it is a survey
MOST_CLASSES: Final = 12
_FITS_PCT: Final = 90.0  # of a layer's features must have a shape that the kind can have
_MOST_STANDS: Final = 500
_RECEIVER: Final = (".gpx", ".kml", ".kmz")
_SCIENTIFIC: Final = re.compile(r"[A-Z][a-z]{2,} [a-z-]{2,}(?:a|e|i|um|us|is|es|ns|or|ix|os|ys|on)\b")
_PROTECTED: Final = re.compile(
    r"(?:(?:state|federally?)[ -])?(?:endangered|threatened|imperiled|rare|special concern|t ?& ?e)", re.I
)
_RANK: Final = re.compile(r"[sg][123]", re.I)
_RANKED: Final = re.compile(r"rank|status|listing", re.I)
_NAME_COLUMNS: Final = ("name", "desc", "cmt", "description")
# how receivers and phones name what nobody named
_BY_DEVICES: Final = frozenset({
    "waypoint", "waypt", "point", "track", "route", "active", "current", "path", "placemark", "untitled", "line",
    "polygon", "area",
})  # fmt: skip
_GPX_PARTS: Final = frozenset({"waypoints", "routes", "tracks"})
_SAYS_KIND: Final = frozenset({"kind", "type", "class", "fclass", "ftype", "category", "feature", "featuretype"})
_STAND_NAMES: Final = (
    "stand", "standid", "standno", "standname", "standnumber", "standnum", "unit", "unitid", "unitname",
    "compartment", "mgmtunit", "name", "label", "id", "number", "no", "code",
)  # fmt: skip
_WAY_CLASSES: Final = (
    "class", "wayclass", "roadclass", "fclass", "type", "roadtype", "kind", "category", "highway", "surface", "use",
    "status",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Words:
    """A kind, the words that name it, and the shapes it can have (0 points, 1 lines, 2 polygons)."""

    kind: Kind
    label: str
    words: frozenset[str]
    shapes: frozenset[int]
    confidential: bool = False


def _row(kind: Kind, label: str, words: str, shapes: Iterable[int], *, confidential: bool = False) -> Words:
    return Words(
        kind=kind, label=label, words=frozenset(words.split()), shapes=frozenset(shapes), confidential=confidential
    )


# the first row wins where a name has words of several: "stream_crossings" are crossings, "rare_plant_survey" is rare
TABLE: Final = (
    _row("protect", "rare plant", "rare sensitive endangered threatened orchid", (0, 1, 2), confidential=True),
    _row("crossings", "crossings", "crossing bridge ford culvert", (0, 1, 2)),
    _row("protect", "well", "well wellhead borehole", (0, 2)),
    _row("protect", "dwelling", "dwelling house home building residence cabin school structure", (0, 2)),
    _row("protect", "neighbour", "neighbour neighbor crop organic orchard vineyard garden beehive apiary", (0, 1, 2)),
    _row("protect", "wetland", "wetland marsh bog fen swamp seep vernal spring", (0, 1, 2)),
    _row("protect", "pond", "pond lake pool waterbody reservoir", (1, 2)),
    _row("protect", "stream", "stream creek river brook water waterway watercourse hydro hydrography flowline drainage "
         "ditch canal perennial intermittent ephemeral", (1, 2)),
    _row("entries", "entries", "gate entry entrance parking trailhead access", (0,)),
    _row("barriers", "barriers", "barrier fence fenceline cliff wall ledge escarpment", (1, 2)),
    _row("ways", "ways", "way road trail path track street lane skid roadway", (1,)),
    _row("wet_ground", "wet ground", "wet boggy muddy", (2,)),
    _row("open_ground", "open ground", "open opening field meadow pasture clearing", (2,)),
    _row("stands", "stands", "stand unit compartment", (2,)),
    _row("survey", "survey", "survey invasive infestation weed crew patch", (0, 1, 2)),
)  # fmt: skip
_NOT_HEIGHTS: Final = frozenset({
    "hillshade", "shade", "shaded", "slope", "aspect", "canopy", "chm", "ndvi", "landcover", "nlcd", "ortho",
    "orthophoto", "naip", "roughness", "fdr", "flow", "accumulation",
})  # fmt: skip
_HEIGHTS: Final = frozenset({"dem", "dtm", "elevation", "elev", "terrain", "ned", "lidar", "height"})


_MEASURES: Final = frozenset({"area", "acre", "ac", "ha", "hectare", "shape", "length", "perimeter", "sqm", "sqft"})


@dataclass(frozen=True, kw_only=True)
class ColumnFacts:
    """A column: cells without a value, distinct values, and the commonest of them with their counts."""

    name: str
    blank: int
    distinct: int
    common: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, kw_only=True)
class LayerFacts:
    """What can be said of a layer without knowing what it is.

    ``layer`` is its name where the file holds several. ``shapes`` counts points, lines and polygons; ``lost`` the
    records without usable geometry. ``plants`` are the names that a survey would take for species, ``known_pct`` the
    share of them that the catalogue knows or nearly knows. ``tiles`` says that polygons meet and hardly overlap.
    """

    file: str
    suffix: str
    layer: str | None = None
    shapes: tuple[int, int, int] = (0, 0, 0)
    lost: int = 0
    columns: tuple[ColumnFacts, ...] = ()
    plants: tuple[str, ...] = ()
    known_pct: float = 0.0
    tiles: bool = False
    has_crs: bool = True
    bounds: LonLatBounds | None = None

    @property
    def count(self) -> int:
        """Features with a shape."""
        return sum(self.shapes)


@dataclass(frozen=True, kw_only=True)
class RasterFacts:
    """A raster: bands, type of its cells, vertical unit as the file says it ("" for none), and where it lies."""

    file: str
    bands: int
    dtype: str
    unit: str = ""
    has_crs: bool = True
    bounds: LonLatBounds | None = None


@dataclass(frozen=True, kw_only=True)
class Guess:
    """What a layer seems to be and why; ``column`` names the stands or the class of ways.

    ``named`` says that the layer's own name says so.
    """

    kind: Kind
    label: str
    reason: str
    column: str = ""
    confidential: bool = False
    named: bool = False


def unknown(reason: str) -> Guess:
    """No guess."""
    return Guess(kind="unknown", label="not used", reason=reason)


def guess_layer(facts: LayerFacts) -> Guess:
    """What a vector layer seems to be.

    Rare plants come first, because a rare plant taken for a patch would be sprayed; then plant names of the catalogue,
    then the words of layer, file, values and folder, then what receivers bring home, then the look of stands.

    Examples
    --------
    >>> guess_layer(LayerFacts(file="land/streams.shp", suffix=".shp", shapes=(0, 12, 0))).label
    'stream'
    """
    rare = _from_words(facts, [row for row in TABLE if row.confidential])
    if known := rare or _says_protected(facts) or _known_plants(facts):
        return known
    if not facts.count:
        return unknown("holds no feature with a shape")
    return _from_words(facts, TABLE) or _without_a_name(facts)


def guess_raster(facts: RasterFacts) -> Guess:
    """Whether a raster is the elevation."""
    words = name_words(facts.file.rpartition("/")[2].rpartition(".")[0])
    if facts.bands != 1:
        return unknown(f"a raster of {facts.bands} bands: a picture, not elevation")
    if facts.dtype in ("uint8", "int8", "bool") or facts.dtype.startswith("complex"):
        return unknown(f"a raster of {facts.dtype} cells: shades or classes, not elevation")
    if other := sorted(words & _NOT_HEIGHTS):
        return unknown(f"a raster named {other[0]!r}: not elevation itself")
    named = bool(words & _HEIGHTS)
    if not named and not facts.dtype.startswith("float"):
        return unknown(f"a raster of {facts.dtype} cells whose name does not say elevation: classes?")
    said = "its name says so" if named else "one band of decimal numbers"
    return Guess(kind="elevation", label="elevation", reason=f"a raster: {said}", named=named)


def name_words(text: str) -> set[str]:
    """The words of a name, in lower case and the singular.

    Examples
    --------
    >>> sorted(name_words("StreamCrossings_2024 (final)"))
    ['crossing', 'final', 'stream']
    """
    parted = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text)
    return {_singular(word) for word in re.findall(r"[^\W\d_]+", parted.lower())}


def column_named(facts: LayerFacts, names: Iterable[str], *, most: int | None = None) -> str:
    """The first column of these names without a blank cell (and with at most ``most`` values), or ""."""
    plain = {re.sub(r"[\W_]+", "", column.name).lower(): column for column in reversed(facts.columns)}
    for name in names:
        column = plain.get(name)
        if column and not column.blank and (most is None or column.distinct <= most):
            return column.name
    return ""


def _says_protected(facts: LayerFacts) -> Guess | None:
    """No guess for a layer with a record that says its plant is protected: it would count as a patch to treat."""
    for column in facts.columns:
        ranked = _RANKED.search(column.name) is not None
        values = [value for value, _ in column.common]
        said = next(
            (v for v in values if _PROTECTED.fullmatch(v.strip()) or (ranked and _RANK.fullmatch(v.strip()))), ""
        )
        if said and facts.plants:
            return unknown(f"{said!r} in its column {column.name!r}: it holds protected plants; take them out first")
    return None


def _known_plants(facts: LayerFacts) -> Guess | None:
    if not facts.plants or facts.known_pct < KNOWN_PCT:
        return None
    return _survey(f"{facts.known_pct:.0f} % of its plant names are in the catalogue ({', '.join(facts.plants[:3])})")


def _without_a_name(facts: LayerFacts) -> Guess:
    """A guess where no plant is known and no word says what the layer is."""
    if facts.suffix in _RECEIVER and not (facts.plants or _names_unknown_plants(facts) or _names_in_words(facts)):
        return _survey("from a GPS receiver or a phone, and nothing says that it is anything else")
    if facts.plants or facts.suffix in _RECEIVER:
        shown = facts.plants or _names_in_words(facts)
        named = f" ({', '.join(shown[:3])})" if shown else ""
        return unknown(
            f"its names are of no invasive plant in the catalogue{named}: a survey, or rare plants? A person has to say"
        )
    if column := _looks_like_stands(facts):
        reason = f"polygons that meet, each with its own {column!r}"
        return Guess(kind="stands", label="stands", column=column, reason=reason)
    return unknown(f"{_shape_words(facts)}; neither its name nor its columns ({_listed(facts)}) say what it is")


def _names_unknown_plants(facts: LayerFacts) -> bool:
    """Whether a quarter of a column's values are scientific names: of plants that the catalogue does not know."""
    listed = [facts.plants, *([value for value, _ in column.common] for column in facts.columns)]
    return any(100 * sum(map(_is_scientific, names)) >= KNOWN_PCT * len(names) for names in listed if names)


def _names_in_words(facts: LayerFacts) -> tuple[str, ...]:
    """Names of waypoints that a person typed, where a quarter are: they may be a rare plant's common names."""
    for column in facts.columns:
        values = [value for value, _ in column.common]
        typed = tuple(v for v in values if _is_typed(name_words(v)))
        if column.name.lower() in _NAME_COLUMNS and values and 100 * len(typed) >= KNOWN_PCT * len(values):
            return typed
    return ()


def _is_typed(words: set[str]) -> bool:
    """Whether the words of a name are a person's, and none of them is of a survey, as in "thick patch"."""
    return not words & TABLE[-1].words and any(len(word) > 3 for word in words - _BY_DEVICES)


def _is_scientific(name: str) -> bool:
    return _SCIENTIFIC.match(name) is not None


def _survey(reason: str) -> Guess:
    return Guess(kind="survey", label="survey", reason=reason)


def _from_words(facts: LayerFacts, rows: Iterable[Words]) -> Guess | None:
    """The first kind that layer, file, values or folders name and whose shapes the layer has."""
    fitting = [row for row in rows if _fits(facts, row)]
    for place, words in _places(facts):
        hits = [(row, word) for row in fitting for word in sorted(words & row.words)]
        if hits:
            row, word = next((hit for hit in hits if _is_field_survey(hit[0], facts)), hits[0])
            return Guess(
                kind=row.kind,
                label=row.label,
                reason=f"{_shape_words(facts)}; {word!r} in {place}",
                column=_column_for(row.kind, facts),
                confidential=row.confidential,
                named=not place.startswith("its folder"),
            )
    return None


def _is_field_survey(row: Words, facts: LayerFacts) -> bool:
    """Whether "survey" or "crew" in a name counts more than the rest of it: creek_crew.gpx is no creek."""
    return row.kind == "survey" and (bool(facts.plants) or facts.suffix in (*_RECEIVER, ".csv", ".tsv", ".txt"))


def _places(facts: LayerFacts) -> list[tuple[str, set[str]]]:
    *folders, name = facts.file.split("/")
    places = [("its file's name", name_words(name.rpartition(".")[0]))]
    if facts.layer and facts.layer not in _GPX_PARTS:
        places.insert(0, ("its layer's name", name_words(facts.layer)))
    for column in facts.columns:
        if re.sub(r"[\W_]+", "", column.name).lower() in _SAYS_KIND:
            places += [(f"its column {column.name!r}", _common_words(column))]
    return places + [(f"its folder {folder!r}", name_words(folder)) for folder in reversed(folders)]


def _common_words(column: ColumnFacts) -> set[str]:
    """Words of the values that at least a quarter of the features have."""
    total = sum(count for _, count in column.common)
    return {word for value, count in column.common if 4 * count >= total for word in name_words(value)}


def _fits(facts: LayerFacts, row: Words) -> bool:
    fitting = sum(number for shape, number in enumerate(facts.shapes) if shape in row.shapes)
    return 100 * fitting >= _FITS_PCT * facts.count


def _column_for(kind: Kind, facts: LayerFacts) -> str:
    if kind == "stands":
        return column_named(facts, _STAND_NAMES) or _own_column(facts)
    return column_named(facts, _WAY_CLASSES, most=MOST_CLASSES) if kind == "ways" else ""


def _looks_like_stands(facts: LayerFacts) -> str:
    """The column that names them, where polygons are few and lie side by side as stands do."""
    if facts.shapes[2] != facts.count or not 1 < facts.count <= _MOST_STANDS or not facts.tiles:
        return ""
    named = column_named(facts, _STAND_NAMES)
    return named if any(c.name == named and c.distinct == facts.count for c in facts.columns) else ""


def _own_column(facts: LayerFacts) -> str:
    """The first column that has another value in every feature, and is no measure of it."""
    every = [c.name for c in facts.columns if not c.blank and c.distinct == facts.count + facts.lost]
    return next((name for name in every if not name_words(name) & _MEASURES), "")


def _singular(word: str) -> str:
    if word.endswith("ies") and len(word) > 4:
        return f"{word[:-3]}y"
    if word.endswith(("ches", "shes")):
        return word[:-2]
    return word[:-1] if word.endswith("s") and not word.endswith("ss") and len(word) > 3 else word


def _shape_words(facts: LayerFacts) -> str:
    names = ("points", "lines", "polygons")
    counted = [(number, name) for number, name in zip(facts.shapes, names, strict=True) if number]
    return ", ".join(f"{number} {name if number > 1 else name[:-1]}" for number, name in counted)


def _listed(facts: LayerFacts) -> str:
    names = [column.name for column in facts.columns]
    return ", ".join(names[:6]) + (" …" if len(names) > 6 else "") if names else "none"
