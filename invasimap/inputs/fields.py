"""Which column says what: roles and units read from the headers crews write."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final, Literal

DecimalComma = Literal["never", "always", "unless_thousands"]


@dataclass(frozen=True, kw_only=True)
class Column:
    """A column of a file and the unit its header gives ("" for none)."""

    name: str
    unit: str = ""


_UNITS: Final = {
    "ft": "ft", "feet": "ft", "foot": "ft", "m": "m", "meter": "m", "meters": "m", "metre": "m", "metres": "m",
    "in": "in", "inch": "in", "inches": "in", "yd": "yd", "yards": "yd", "cm": "cm", "km": "km", "mi": "mi",
    "acre": "acre", "acres": "acre", "ac": "acre", "ha": "ha", "hectare": "ha", "hectares": "ha",
    "sqft": "sq ft", "ft2": "sq ft", "sqm": "sq m", "m2": "sq m",
    "pct": "%", "percent": "%", "percentage": "%", "fraction": "fraction", "proportion": "fraction", "deg": "deg",
    "degrees": "deg",
}  # fmt: skip
_SQUARE: Final = {
    "ft": "sq ft",
    "feet": "sq ft",
    "m": "sq m",
    "meters": "sq m",
    "metres": "sq m",
    "meter": "sq m",
}
AREA_UNITS: Final = frozenset({"acre", "ha", "sq ft", "sq m"})
_LENGTH_UNITS: Final = frozenset({"", "ft", "m", "in", "yd", "cm", "km", "mi"})
# units a role may have in its header: infested acres are no cover, a radius in acres is no radius
_FITTING: Final = {
    "cover": frozenset({"", "%", "fraction"}),
    "area": AREA_UNITS | {""},
    **dict.fromkeys(("radius", "diameter", "length", "width", "size", "height", "accuracy"), _LENGTH_UNITS),
}

# role -> header words run together, the surer names first; a cell is taken from the first column that has one
NAMES: Final[dict[str, tuple[str, ...]]] = {
    "species": (
        "scientificname", "sciname", "species", "speciesname", "latinname", "botanicalname", "taxon", "taxonname",
        "spp", "sp", "plantspecies", "invasivespecies", "invasive", "targetspecies", "target", "weed", "weedname",
        "plant", "plantname", "speciescode", "spcode", "sppcode", "plantcode", "symbol", "usdasymbol", "usdacode",
        "plantssymbol", "plantsymbol", "code", "commonname", "common", "subject",
    ),
    "cover": (
        "cover", "canopycover", "covercanopy", "cov", "plantcover", "speciescover", "covervalue", "coverestimate",
        "infested", "abscover", "foliarcover",
    ),
    "radius": ("radius", "rad", "patchradius", "bufferradius"),
    "diameter": ("diameter", "diam", "dia", "patchdiameter", "patchdiam"),
    "area": ("area", "patcharea", "grossarea", "gross", "areagross", "totalarea", "patchsize"),
    "length": ("length", "len", "patchlength", "patchlen"),
    "width": ("width", "wid", "patchwidth", "swath", "linewidth"),
    "size": ("size", "patchdimensions", "dimensions", "plotsize", "lxw", "lengthxwidth"),
    "bearing": ("bearing", "azimuth", "longaxis"),
    "height": ("height", "ht", "hgt", "plantheight", "plantht", "avgheight", "meanheight", "shrubheight"),
    "stems": ("stems", "stemcount", "count", "stemscount", "nstems", "numstems", "numberofstems"),
    "date": (
        "date", "surveydate", "datesurveyed", "obsdate", "observationdate", "observeddate", "dateobserved", "visitdate",
        "datevisited", "collectiondate", "datecollected", "eventdate", "mapdate", "datemapped", "datetime", "timestamp",
        "when", "time", "creationdate", "datecreated",
    ),
    "observer": (
        "observer", "observers", "surveyor", "surveyors", "surveyedby", "recordedby", "recorder", "collector",
        "mapper", "mappedby", "crew", "examiner", "observedby",
    ),
    "accuracy": (
        "accuracy", "gpsaccuracy", "horizontalaccuracy", "horizaccuracy", "hacc", "gpsacc", "acc", "precision",
        "gpsprecision", "positionaccuracy", "coordinateuncertainty", "coordinateaccuracy", "hprecision", "epe",
        "gpserror", "uncertainty",
    ),
    "notes": ("notes", "note", "comments", "comment", "remarks", "remark", "description", "desc", "cmt"),
    "lon": (
        "longitude", "lon", "long", "lng", "decimallongitude", "gpslongitude", "gpslon", "lonwgs84", "xlon", "londd",
        "longdd", "declong", "x", "xcoord", "xcoordinate", "pointx", "easting", "east", "utmx", "utme", "utmeasting",
    ),
    "lat": (
        "latitude", "lat", "decimallatitude", "gpslatitude", "gpslat", "latwgs84", "ylat", "latdd", "declat", "y",
        "ycoord", "ycoordinate", "pointy", "northing", "north", "utmy", "utmn", "utmnorthing",
    ),
}  # fmt: skip
_RANK: Final = {name: (role, rank) for role, names in NAMES.items() for rank, name in enumerate(names)}
_GROUPED: Final = re.compile(r"[1-9]\d{0,2}(?:,\d{3})+")
_PLAIN: Final = r"[-+]?\d[\d.,]*|[-+]?\.\d+"
_BARE: Final = re.compile(rf"\s*(?:{_PLAIN})(?:\s*(?:-|–|—|to|x|×|\*|by)\s*(?:{_PLAIN}))?\s*", re.I)  # noqa: RUF001


def header_words(header: str) -> tuple[str, str]:
    """The words of a header run together, and its unit.

    Examples
    --------
    >>> header_words("Radius (ft)"), header_words("PCT_COV"), header_words("gross_ac")
    (('radius', 'ft'), ('cov', '%'), ('gross', 'acre'))
    """
    text = re.sub(r"(?<=[a-z0-9])(?=[A-Z])", " ", header)
    text = re.sub(r"\^2|²", "2", text.lower()).replace("%", " pct ")
    words = re.findall(r"[^\W_]+", text)
    unit = ""
    if len(words) > 1 and words[-2] in ("sq", "square") and words[-1] in _SQUARE:
        unit, words = _SQUARE[words[-1]], words[:-2]
    elif words and words[-1] in _UNITS:
        unit, words = _UNITS[words[-1]], words[:-1]
        words = words[:-1] if words and words[-1] == "in" else words
    elif words and words[0] in ("pct", "percent", "percentage"):
        unit, words = "%", words[1:]
    return "".join(words), unit


def is_lonlat(header: str) -> bool:
    """Whether a header names a longitude or latitude, not just an x or y."""
    words = header_words(header)[0]
    return any(part in words for part in ("lon", "lng", "lat")) and words in _RANK


def find_columns(columns: Iterable[str], *, overrides: Mapping[str, str] | None = None) -> dict[str, list[Column]]:
    """The columns that fill each role, the surest first; an override stands alone for its role.

    Examples
    --------
    >>> find_columns(["SPP", "radius_ft"])["radius"]
    [Column(name='radius_ft', unit='ft')]
    """
    columns = list(columns)
    ranked = [(*role_of(name), name) for name in columns]
    found: dict[str, list[Column]] = {}
    for role, _, name in sorted(ranked, key=lambda item: item[1]):
        if role:
            found.setdefault(role, []).append(Column(name=name, unit=header_words(name)[1]))
    for role, wanted in (overrides or {}).items():
        if name := match_name(wanted, columns):
            found[role] = [Column(name=name, unit=header_words(name)[1])]
    return found


def role_of(header: str) -> tuple[str, int]:
    """The role a header names ("" for none) and how surely (0 is the surest)."""
    words, unit = header_words(header)
    role, rank = _RANK.get(words, ("", 0))
    if words == "" and unit in AREA_UNITS:
        role, rank = "area", len(NAMES["area"])
    if role == "size" and unit in AREA_UNITS:
        role = "area"
    return (role, rank) if unit in _FITTING.get(role, {unit}) else ("", 0)


def match_name(wanted: str, columns: Iterable[str]) -> str:
    """The column meant by a name: as written, else whatever its case; "" when there is none."""
    columns = list(columns)
    if wanted in columns:
        return wanted
    return next((c for c in columns if c.strip().casefold() == wanted.strip().casefold()), "")


def plain_number(text: str, *, thousands: bool) -> str:
    """Numbers in a text written with a decimal comma, with a point; with ``thousands`` "1,200" is left as it is.

    Examples
    --------
    >>> plain_number("0,5 ha", thousands=True), plain_number("1,200", thousands=True)
    ('0.5 ha', '1,200')
    """

    def plain(match: re.Match[str]) -> str:
        return match[0] if thousands and _GROUPED.fullmatch(match[0]) else match[0].replace(",", ".")

    return re.sub(r"\d+(?:,\d+)+", plain, text)


def with_unit(cell: str, unit: str) -> str:
    """A cell that is only a number or a pair of them, with the unit of its header."""
    return f"{cell} {unit}" if unit and cell and _BARE.fullmatch(cell) else cell
