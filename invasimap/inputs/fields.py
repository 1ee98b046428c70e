"""Which column says what: roles and units read from the headers crews write."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Final, Literal

DecimalComma = Literal["never", "always", "unless_thousands"]


@dataclass(frozen=True, kw_only=True)
class Column:
    """A column of a file and the unit its header gives ("" for none)."""

    name: str
    unit: str = ""


_UNITS: Final = {
    "ft": "ft", "feet": "ft", "foot": "ft", "m": "m", "meter": "m", "meters": "m", "metre": "m", "metres": "m",
    "in": "in", "inch": "in", "inches": "in", "yd": "yd", "yards": "yd", "mm": "mm", "cm": "cm", "km": "km", "mi": "mi",
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
CLASS_UNIT: Final = "class"  # marks cells of a column whose header says that it holds classes of cover
_LENGTH_UNITS: Final = frozenset({"", "ft", "m", "in", "yd", "cm", "km", "mi"})
# units a role may have in its header: infested acres are no cover, a radius in acres is no radius
_FITTING: Final = {
    "cover": frozenset({"", "%", "fraction", CLASS_UNIT}),
    "area": AREA_UNITS | {""},
    **dict.fromkeys(("radius", "diameter", "length", "width", "size", "height", "accuracy"), _LENGTH_UNITS),
    "stem_diameter": frozenset({"", "mm", "cm", "in"}),
}

# role -> header words run together, the surer names first; a cell is taken from the first column that has one
NAMES: Final[dict[str, tuple[str, ...]]] = {
    "species": (
        "scientificname", "sciname", "scinam", "scientific", "species", "speciesname", "speciesnam", "latinname",
        "botanicalname", "acceptedname", "acceptedscientificname", "genusspecies", "taxon", "taxonname", "spp",
        "sp", "sppname", "spname", "plantspecies", "invasivespecies", "invspecies", "invasive", "invasiveplant",
        "targetspecies", "targetspe", "target", "weed", "weedname", "weedspecies", "plant", "plantname",
        "speciescode", "spcode", "sppcode", "plantcode", "symbol", "usdasymbol", "usdacode", "plantssymbol",
        "plantsymbol", "code", "commonname", "comname", "vernacularname", "common", "subject",
    ),
    "cover": (
        "cover", "cov", "cvr", "plantcover", "speciescover", "sppcover", "covervalue",
        "coverestimate", "estimatedcover", "estcover", "estcov", "infested", "abscover", "absolutecover",
        "foliarcover", "aerialcover", "arealcover", "invasivecover", "weedcover", "coverage", "covermidpoint",
        "covermid", "covmid", "coverfraction", "fractioncover", "fractionalcover", "coverfrac", "covfrac", "fraccover",
        "infestation", "infest", "co", "in",
        "coverclass", "coverclas", "covclass", "covercl", "covcl", "covercls", "covercode", "covcode", "coverclasscode",
        "coverclassid", "classcover", "covercat", "covercategory", "coverrank", "coverrating",
        "daubenmire", "daub", "daubclass", "daubcover", "coverdaub", "daubenmireclass",
        "daubenmirecover", "coverdaubenmire", "daubenmirecoverclass", "daubcoverclass", "bb", "bbclass", "bbcover",
        "coverbb", "bbcoverclass", "braunblanquet", "braunblan", "braunblanquetclass", "braunblanquetcover",
        "coverbraunblanquet", "braunblanquetcoverclass",
        "canopycover", "covercanopy", "canopycoverclass", "canopyclass",
    ),
    "radius": ("radius", "rad", "patchradius", "bufferradius"),
    "diameter": ("diameter", "diam", "dia", "patchdiameter", "patchdiam"),
    "area": (
        "area", "patcharea", "grossarea", "gross", "areagross", "totalarea", "patchsize", "estarea", "estimatedarea",
        "areaest", "areaestimate", "patch", "est", "total",
    ),
    "length": ("length", "len", "patchlength", "patchlen"),
    "width": ("width", "wid", "patchwidth", "swath", "linewidth"),
    "size": ("size", "patchdimensions", "dimensions", "plotsize", "lxw", "lengthxwidth"),
    "bearing": ("bearing", "azimuth", "longaxis"),
    "height": (
        "height", "ht", "hgt", "plantheight", "plantht", "avgheight", "avght", "averageheight", "meanheight",
        "maxheight", "maxht", "shrubheight", "shrubht",
    ),
    "stems": (
        "stems", "stemcount", "stemct", "count", "stemscount", "nstems", "numstems", "nostems", "numberofstems",
        "plantcount", "numplants", "nplants", "noplants", "numberofplants", "individualcount",
    ),
    "stem_diameter": (
        "stemdiameter", "stemdiam", "stemdia", "largeststem", "largeststemdiameter", "maxstemdiameter", "maxstem",
        "stemsize", "stem", "dbh", "maxdbh", "rcd", "rootcollardiameter", "basaldiameter",
    ),
    "date": (
        "date", "surveydate", "datesurveyed", "survdate", "dateofsurvey", "obsdate", "observationdate", "observeddate",
        "dateobserved", "dateobs", "observedon", "visitdate", "datevisited", "collectiondate", "datecollected",
        "collectdate", "eventdate", "mapdate", "datemapped", "recorddate", "daterecorded", "datefound", "fielddate",
        "inspectiondate", "inventorydate", "monitoringdate", "gpsdate", "datetime", "timestamp", "gpsdatetime",
        "fixdatetime", "when", "time", "gpstime", "utctime", "creationdate", "datecreated", "createddate", "createdat",
        "today",
    ),
    "observer": (
        "observer", "observers", "observername", "surveyor", "surveyors", "surveyorname", "surveyedby", "recordedby",
        "recorder", "collector", "collectedby", "mapper", "mappedby", "crew", "crewname", "fieldcrew", "crewlead",
        "examiner", "examiners", "observedby", "inspector", "botanist", "creator", "createdby",
    ),
    "accuracy": (
        "accuracy", "gpsaccuracy", "horizontalaccuracy", "horizaccuracy", "haccuracy", "hacc", "gpsacc", "gpsaccur",
        "acc", "precision", "gpsprecision", "gpsprec", "horizontalprecision", "horizprecision", "horzprec", "horizprec",
        "horzprecision", "hprec", "gpshorizontalaccuracy", "positionaccuracy", "positionalaccuracy",
        "locationaccuracy", "locationprecision", "coordinateuncertainty", "coordinateaccuracy", "hprecision", "epe",
        "gpserror", "positionerror", "uncertainty",
    ),
    "notes": (
        "notes", "note", "fieldnotes", "surveynotes", "comments", "comment", "remarks", "remark", "description", "desc",
        "cmt", "memo",
    ),
    "lon": (
        "longitude", "lon", "long", "lng", "decimallongitude", "decimallon", "gpslongitude", "gpslon", "gpslong",
        "lonwgs84", "longitudewgs84", "xlon", "xlong", "londd", "longdd", "declong", "declon", "longdec", "londec",
        "longitudedecimal", "locationlongitude", "x", "xcoord", "xcoordinate", "coordx", "pointx", "easting",
        "eastings", "east", "utmx", "utme", "utmeasting", "xutm",
    ),
    "lat": (
        "latitude", "lat", "decimallatitude", "decimallat", "gpslatitude", "gpslat", "latwgs84", "latitudewgs84",
        "ylat", "latdd", "declat", "latdec", "latitudedecimal", "locationlatitude", "y", "ycoord", "ycoordinate",
        "coordy", "pointy", "northing", "northings", "north", "utmy", "utmn", "utmnorthing", "yutm",
    ),
}  # fmt: skip
# header words that say a role only with one of its units: "patch" alone is no area, "infestation" alone no cover, and
# of "DBH" alone nobody knows the unit
_ONLY_WITH_UNIT: Final = frozenset({
    "patch", "est", "total", "infestation", "infest", "co", "in", "stem", "dbh", "maxdbh", "rcd",
})  # fmt: skip
_STEM_UNITS: Final = frozenset({"cm", "in"})  # nobody measures a patch in them, and everybody a stem
_CLASS_WORDS: Final = ("class", "clas", "cl", "cls", "code", "id", "cat", "category", "rank", "rating")
_SCALE_WORDS: Final = ("daub", "daubenmire", "bb", "braun", "braunblanquet")
_DBF_NAME: Final = 10  # signs that a DBF keeps of a column's name
_PARTED: Final = re.compile(r"[^\W_][\W_]+[^\W_]|[a-z][A-Z]")  # words that stand apart
_RANK: Final = {name: (role, rank) for role, names in NAMES.items() for rank, name in enumerate(names)}
_MEASURED: Final = re.compile(
    r"(?:st|sde)?shape\w*(?:area|leng|length|len)|st(?:area|length|perimeter)\w*|perimeter|(?:gis|calc|geo|poly)\w*(?:area|length|acres?)?"
)
_GROUPED: Final = re.compile(r"[1-9]\d{0,2}(?:,\d{3})+")
_PLAIN: Final = r"[-+]?\d[\d.,]*|[-+]?\.\d+"
_FRACTION: Final = r"\d+\s*/\s*\d+|\d+\s+\d+\s*/\s*\d+"
_OPENING: Final = (
    r"[<>≤≥~≈]=?|less than|under|below|up to|at most|more than|over|above|at least|about|approx\.?|ca\.?|circa"
)
_ONE: Final = rf"(?:(?:{_OPENING})\s*)?(?:{_FRACTION}|{_PLAIN})\s*\+?"
_BARE: Final = re.compile(rf"\s*{_ONE}(?:\s*(?:-|–|—|to|x|×|\*|by)\s*{_ONE})?\s*", re.I)  # noqa: RUF001


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
    if words in (["percent", "in"], ["pct", "in"]):  # Percent_Infested or Percent_Invasive, cut
        return "in", "%"
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
    computed = {name for name, _ in set_apart(columns)}
    ranked = [(*role_of(name), name) for name in columns if name not in computed]
    found: dict[str, list[Column]] = {}
    for role, _, name in sorted(ranked, key=lambda item: item[1]):
        if role:
            found.setdefault(role, []).append(column_of(name, role))
    own = [column for column in found.get("cover", []) if "canopy" not in column.name.casefold()]
    if own:  # beside a cover of the plant's own the canopy may be the forest's: it fills no blank of it
        found["cover"] = own
    for role, wanted in (overrides or {}).items():
        if name := match_name(wanted, columns):
            found[role] = [column_of(name, role)]
    return found


def column_of(header: str, role: str) -> Column:
    """A column with the unit its header gives; a column of cover classes has the unit "class".

    Examples
    --------
    >>> column_of("CoverClass", "cover"), column_of("HeightFt", "height")
    (Column(name='CoverClass', unit='class'), Column(name='HeightFt', unit='ft'))
    """
    words, unit = _whole_words(header)
    if role == "cover" and (words.endswith((*_CLASS_WORDS, *_SCALE_WORDS)) or words.startswith(_SCALE_WORDS)):
        unit = CLASS_UNIT
    return Column(name=header, unit=unit)


def role_of(header: str) -> tuple[str, int]:
    """The role a header names ("" for none) and how surely (0 is the surest)."""
    words, unit = _whole_words(header)
    role, rank = _RANK.get(words, ("", 0))
    if words == "" and unit in AREA_UNITS:
        role, rank = "area", len(NAMES["area"])
    if role == "size" and unit in AREA_UNITS:
        role = "area"
    if (words in _ONLY_WITH_UNIT and not unit) or (role == "diameter" and unit in _STEM_UNITS):
        return "", 0
    return (role, rank) if unit in _FITTING.get(role, {unit}) else ("", 0)


def of_stems(columns: Iterable[str]) -> list[str]:
    """Columns of a diameter that is by its unit a stem's, not a patch's.

    Examples
    --------
    >>> of_stems(["Diameter (cm)", "Diameter (ft)", "DBH"])
    ['Diameter (cm)']
    """
    read = {name: _whole_words(name) for name in columns}
    return [name for name, (words, unit) in read.items() if words in NAMES["diameter"] and unit in _STEM_UNITS]


def set_apart(columns: Iterable[str]) -> list[tuple[str, str]]:
    """Columns that look like a size of a patch and are none, each with why it is not used.

    Examples
    --------
    >>> set_apart(["INFEST_AC", "Shape_Area", "species"])
    [('INFEST_AC', 'infested ground is not the whole patch'), ('Shape_Area', 'a program measured the drawn shape')]
    """
    columns = list(columns)
    words = {name: header_words(name) for name in columns}
    drawn = any(run == "perimeter" for run, _ in words.values())
    found = []
    for name, (run, unit) in words.items():
        if ("infest" in run and unit in AREA_UNITS) or re.fullmatch(r"infest\w*area|(?:area|acres?)infest\w*", run):
            found.append((name, "infested ground is not the whole patch"))
        elif _MEASURED.fullmatch(run) or (drawn and run in ("area", "length", "perimeter") and not unit):
            found.append((name, "a program measured the drawn shape"))
    return found


def _split_run(words: str, unit: str) -> tuple[str, str]:
    """Words and unit of a header that runs them together, such as HEIGHTFT; only for roles that are measured."""
    if unit or words in _RANK:
        return words, unit
    for start in ("percent", "pct"):
        if (rest := words.removeprefix(start)) != words and _RANK.get(rest, ("", 0))[0] == "cover":
            return rest, "%"
    for end in sorted(_UNITS, key=len, reverse=True):
        rest = words.removesuffix(end)
        role = _RANK.get(rest, ("", 0))[0] if rest != words else ""
        if role in _FITTING and _UNITS[end] in _FITTING[role]:
            return rest, _UNITS[end]
    return words, unit


def _whole_words(header: str) -> tuple[str, str]:
    """Words and unit of a header, also where they are run together or where a DBF cut them to ten signs."""
    words, unit = _split_run(*header_words(header))
    if len(header) != _DBF_NAME or words in _RANK:
        return words, unit
    run = "".join(re.findall(r"[^\W_]+", header.lower()))
    return _before_cut(run, parted=bool(_PARTED.search(header))) or (words, unit)


def _before_cut(run: str, *, parted: bool) -> tuple[str, str] | None:
    """The name and unit that a cut run of letters may come from, where all that it may come from agree."""
    share = 0.7 if parted else 0.85
    whole = [
        (*_RANK[name], name, unit)
        for text, (name, unit) in _written_out().items()
        if text.startswith(run) and len(run) >= share * len(text)
    ]
    whole = [one for one in whole if not one[-1]] or whole  # no more is read into a name than it needs
    if len({(role, unit) for role, _, _, unit in whole}) != 1:
        return None
    _, _, name, unit = max(whole)
    return name, unit


@cache
def _written_out() -> dict[str, tuple[str, str]]:
    """Every name run together with every unit it may have, and the two apart."""
    found = {name: (name, "") for name in _RANK.keys() - _ONLY_WITH_UNIT}
    for name, (role, _) in _RANK.items():
        fitting = _FITTING.get(role, frozenset())
        found |= {f"{name}{text}": (name, unit) for text, unit in _UNITS.items() if unit in fitting}
        if role == "cover" and name not in _ONLY_WITH_UNIT:
            found |= {f"{text}{name}": (name, "%") for text in ("percent", "pct")}
    return found


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
    """A cell with the unit of its header where it has none itself; a class of cover is marked as one.

    Examples
    --------
    >>> with_unit("<3", "ft"), with_unit("2 m", "ft"), with_unit("+", "class"), with_unit("25-50 %", "class")
    ('<3 ft', '2 m', '+ class', '25-50 %')
    """
    if unit == CLASS_UNIT:
        return f"{cell} {unit}" if cell and "%" not in cell else cell
    return f"{cell} {unit}" if cell and _BARE.fullmatch(cell) else cell
