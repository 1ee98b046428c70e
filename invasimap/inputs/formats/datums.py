"""The datum that a table says its positions are in, by a column of its own."""

from __future__ import annotations

import re
from typing import Final

import pandas as pd
from pyproj import CRS
from pyproj.exceptions import CRSError

from invasimap.inputs.cells import Cells
from invasimap.inputs.fields import header_words

_COLUMNS: Final = ("datum", "geodeticdatum", "horizontaldatum", "horizdatum", "gpsdatum", "mapdatum", "coordinatedatum")
_WGS84: Final = 4326
_MOST_SAID: Final = 3


def said_datum(
    frame: pd.DataFrame, crs: CRS | None, *, label: str, as_read: bool
) -> tuple[CRS | None, tuple[str, ...]]:
    """The system of positions in degrees by the table's column of datums, and what is to be said of it.

    Parameters
    ----------
    crs
        The system where the column says nothing; None (no degrees) stays None.
    as_read
        Whether positions are degrees as they stand in the table, so that another datum may be put to them.
    """
    names = [name for name in map(str, frame.columns) if header_words(name)[0] in _COLUMNS]
    texts = [text for text in Cells.of(frame[names[0]]).texts if text] if names and crs is not None else []
    codes = {declared_datum(text) for text in texts}
    dates = codes == {None} and all(text[0].isdigit() for text in texts)  # "Datum" is a date in several languages
    if codes <= {_WGS84} or dates:
        return crs, ()
    code = codes.pop() if len(codes) == 1 else None
    if code is not None and as_read:
        found = CRS.from_epsg(code)
        return found, (f"{label}: positions are in {found.name}, as column {names[0]!r} says, unless crs is set",)
    said = ", ".join(repr(text) for text in texts[:_MOST_SAID])
    return crs, (
        f"{label}: column {names[0]!r} says {said}: all positions are read as WGS 84 and may be off by 200 m; "
        "write them in one datum",
    )


def declared_datum(text: str) -> int | None:
    """EPSG code of the geographic system that the text of a "datum" column means; None where it is not known.

    Examples
    --------
    >>> declared_datum("WGS 84"), declared_datum("NAD83 CONUS"), declared_datum("NAD27"), declared_datum("local")
    (4326, 4269, 4267, None)
    """
    words = re.sub(r"[^a-z0-9]+", "", text.lower())
    code = re.fullmatch(r"epsg(\d{4,5})", words)
    if code:
        return _geographic(int(code[1]))
    return next((epsg for pattern, epsg in _DATUMS if pattern.fullmatch(words)), None)


def _geographic(code: int) -> int | None:
    try:
        return code if CRS.from_epsg(code).is_geographic else None
    except CRSError:
        return None


# a datum's usual names without blanks and signs; the region after NAD27 or NAD83 only names the grid of its shift
_REGION: Final = r"(?:conus|us|usa|alaska|canada|mean(?:forconus)?|northamerica|continentalus)?"
_DATUMS: Final = tuple(
    (re.compile(pattern), code)
    for pattern, code in (
        (r"(?:d|gcs|datum)?(?:wgs(?:19)?84|worldgeodeticsystem(?:of)?1984)(?:ensemble)?(?:g\d{3,4})?", 4326),
        (r"(?:d|gcs)?(?:nad(?:19)?83|northamerican?(?:datum(?:of)?)?1983)" + _REGION, 4269),
        (r"(?:d|gcs)?nad(?:19)?83(?:harn|hpgn)", 4152),
        (r"(?:d|gcs)?nad(?:19)?83(?:nsrs)?2007", 4759),
        (r"(?:d|gcs)?nad(?:19)?83(?:ns(?:rs)?)?2011", 6318),
        (r"(?:d|gcs)?nad(?:19)?83csrs(?:98)?", 4617),
        (r"(?:d|gcs)?(?:nad(?:19)?27|northamerican?(?:datum(?:of)?)?1927)" + _REGION, 4267),
        (r"(?:d|gcs)?wgs(?:19)?72", 4322),
        (r"(?:d|gcs)?etrs(?:19)?89", 4258),
        (r"(?:d|gcs)?(?:ed(?:19)?50|europeandatum1950)", 4230),
        (r"(?:d|gcs)?osgb(?:19)?36", 4277),
        (r"(?:d|gcs)?gda(?:19)?94", 4283),
        (r"(?:d|gcs)?gda2020", 7844),
        (r"(?:d|gcs)?nzgd2000", 4167),
        (r"(?:d|gcs)?sirgas2000", 4674),
        (r"itrf2014", 9000),
    )
)  # fmt: skip
