"""Pictures with a position: what their EXIF says of place, direction and time. Pixels are never decoded."""

from __future__ import annotations

import datetime as dt
import io
import warnings
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import IO, Any, Final, cast

import numpy as np
import pandas as pd
from PIL import Image
from PIL.ExifTags import GPS, IFD, Base

from invasimap.core.survey_settings import LimitsSection

SUFFIXES: Final = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif")  # the last two are told, not read
COLUMNS: Final = ("file", "lon", "lat", "direction_deg", "direction_ref", "time", "error_m", "problem")
_MAX_READ_B: Final = 1_500_000  # of one picture: EXIF that asks for more leads in circles
_MAX_PARTS: Final = 10_000  # segments or chunks before the pixels
_TIFF: Final = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
_PIXELS: Final = (0xDA, 0xD9)  # the JPEG segments that start the pixels and end the picture
_WGS84: Final = ("", "WGS84", "WGS1984", "NAD83", "ETRS89", "GRS80", "JGD2000", "JGD2011")  # alike to 2 m
_NO_EXIF: Final = "has no EXIF: it was taken out, as when a picture is sent by a messenger"
_NO_GPS: Final = "has no position: was location off in the camera?"
_CUT: Final = "is cut off before its position: copy it from the camera again"
_DAMAGED: Final = "its EXIF is damaged: copy it from the camera again"


class _Problem(Exception):  # noqa: N818 (no error: a picture without position)
    """Why a picture has no position."""


class _Metered(io.RawIOBase):
    """A stream of which only so much can be read, so that entries that share their data cost no memory."""

    def __init__(self, stream: IO[bytes]) -> None:
        self._stream, self._left_B = stream, _MAX_READ_B

    def read(self, size: int = -1, /) -> bytes:
        """Like any stream's, until the measure is full."""
        data = self._stream.read(min(size, self._left_B + 1) if size >= 0 else self._left_B + 1)
        self._left_B -= len(data)
        if self._left_B < 0:
            raise OSError("EXIF asks for more than it can hold")
        return data

    def seek(self, offset: int, whence: int = 0, /) -> int:
        """Like any stream's."""
        return self._stream.seek(offset, whence)

    def tell(self) -> int:
        """Like any stream's."""
        return self._stream.tell()


def read_photos(paths: Sequence[Path], *, labels: Sequence[str], limits: LimitsSection | None = None) -> pd.DataFrame:
    """One row a picture, in the order given, whatever is wrong with it.

    Parameters
    ----------
    paths, labels
        JPEG, PNG or TIFF files, and their names in messages and tables. HEIC is told to be exported as JPEG.
    limits
        A picture over ``file`` is not opened.

    Returns
    -------
    DataFrame
        Columns file, lon, lat (WGS 84 degrees, or NaN), direction_deg (where the camera faced, clockwise from north),
        direction_ref (which north: "true", "magnetic", or "" where it is not said), time (ISO text, with an offset
        where the picture or its GPS says one; "" when unknown), error_m (as recorded, or NaN) and problem (why there
        is no position, or "").
    """
    most_B = (limits or LimitsSection()).file_B
    rows = [{"file": label, **_read_one(path, most_B=most_B)} for path, label in zip(paths, labels, strict=True)]
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    numbers = ["lon", "lat", "direction_deg", "error_m"]
    return table.astype({**dict.fromkeys(COLUMNS, object), **dict.fromkeys(numbers, float)})


def _read_one(path: Path, *, most_B: float) -> dict[str, Any]:
    nowhere = {
        "lon": np.nan,
        "lat": np.nan,
        "direction_deg": np.nan,
        "direction_ref": "",
        "time": "",
        "error_m": np.nan,
    }
    try:
        if path.stat().st_size > most_B:
            raise _Problem(f"is over {most_B / 1e6:,.0f} MB: raise file in [intake.limits]")
        with path.open("rb") as stream, warnings.catch_warnings(record=True) as heard:
            warnings.simplefilter("always")  # Pillow's, on what is damaged
            info, gps = _blocks(stream)
    except _Problem as problem:
        return {**nowhere, "problem": str(problem)}
    except OSError as error:
        return {**nowhere, "problem": f"cannot be opened: {error.strerror or 'its end is missing'}"}
    except Exception:  # noqa: BLE001 (the format door: EXIF of any bytes; the row says it)
        return {**nowhere, "problem": _DAMAGED}
    said = {**nowhere, **_direction(gps), "time": _time(info, gps), "error_m": _error_m(gps)}
    try:
        lon, lat = _position(gps)
    except _Problem as problem:
        return {**said, "problem": _DAMAGED if heard and str(problem) == _NO_GPS else str(problem)}
    return {**said, "lon": lon, "lat": lat, "problem": ""}


def _blocks(stream: IO[bytes]) -> tuple[Mapping[int, Any], Mapping[int, Any]]:
    """The EXIF and GPS blocks of a picture; empty where it has none of them."""
    start = stream.read(12)
    stream.seek(0)
    if not start:
        raise _Problem("is empty (0 bytes)")
    if start[4:8] == b"ftyp":
        raise _Problem("is HEIC or a film, which is not read: export it as JPEG")
    if start[:4] in _TIFF:
        data = stream
    elif start.startswith(b"\xff\xd8"):
        data = io.BytesIO(_jpeg_exif(stream))
    elif start.startswith(b"\x89PNG\r\n\x1a\n"):
        data = io.BytesIO(_png_exif(stream))
    else:
        raise _Problem("is no JPEG, PNG or TIFF picture")
    exif = Image.Exif()
    exif.load_from_fp(cast(IO[bytes], _Metered(data)))
    return exif.get_ifd(IFD.Exif), exif.get_ifd(IFD.GPSInfo)


def _jpeg_exif(stream: IO[bytes]) -> bytes:
    """The EXIF segments of a JPEG, joined; what is cut off behind them does no harm."""
    found: list[bytes] = []
    stream.seek(2)
    try:
        for _ in range(_MAX_PARTS):
            marker, length = _segment(stream)
            if marker in _PIXELS:
                break
            here = stream.tell()
            if marker == 0xE1 and stream.read(6) == b"Exif\0\0":
                found.append(_exactly(stream, length - 6) if length > 6 else b"")
            stream.seek(here + length)
    except _Problem:
        if not found:
            raise
    if not any(found):
        raise _Problem(_NO_EXIF)
    return b"".join(found)


def _segment(stream: IO[bytes]) -> tuple[int, int]:
    """The kind of the JPEG segment that starts here, and how many bytes it holds."""
    marker = _exactly(stream, 2)
    for _ in range(_MAX_PARTS):
        if marker != b"\xff\xff":
            break
        marker = b"\xff" + _exactly(stream, 1)  # filling
    if marker[1] in _PIXELS:
        return marker[1], 0
    length = int.from_bytes(_exactly(stream, 2), "big") - 2
    if marker[0] != 0xFF or length < 0:
        raise _Problem(_DAMAGED)
    return marker[1], length


def _png_exif(stream: IO[bytes]) -> bytes:
    """The EXIF chunk of a PNG, which may stand after the pixels."""
    stream.seek(8)
    for _ in range(_MAX_PARTS):
        length, name = int.from_bytes(_exactly(stream, 4), "big"), _exactly(stream, 4)
        if name == b"eXIf":
            if length > _MAX_READ_B:
                raise _Problem(_DAMAGED)
            return _exactly(stream, length).removeprefix(b"Exif\0\0")
        if name == b"IEND":
            raise _Problem(_NO_EXIF)
        stream.seek(length + 4, io.SEEK_CUR)
    raise _Problem(_DAMAGED)


def _exactly(stream: IO[bytes], count: int) -> bytes:
    data = stream.read(count)
    if len(data) < count:
        raise _Problem(_CUT)
    return data


def _position(gps: Mapping[int, Any]) -> tuple[float, float]:
    """Longitude and latitude in degrees; a problem where they are missing or cannot be."""
    if not any(tag in gps for tag in (GPS.GPSLatitude, GPS.GPSLongitude)):
        raise _Problem(_NO_GPS)
    datum = "".join(filter(str.isalnum, _text(gps.get(GPS.GPSMapDatum)))).upper()
    if datum not in _WGS84:
        raise _Problem(f"its position is in {datum}, not in WGS 84: put it into the survey by a file that says so")
    lat = _degrees(gps, GPS.GPSLatitude, GPS.GPSLatitudeRef, "NS", most=90)
    lon = _degrees(gps, GPS.GPSLongitude, GPS.GPSLongitudeRef, "EW", most=180)
    if lon == 0 and lat == 0:
        raise _Problem("coordinates are 0, 0: no position was recorded")
    return lon, lat


def _degrees(gps: Mapping[int, Any], tag: GPS, ref: GPS, letters: str, *, most: float) -> float:
    """Degrees, minutes and seconds with their letter; without the letter the half of the globe is not guessed."""
    name = "latitude" if most == 90 else "longitude"
    parts, letter = _numbers(gps.get(tag)), _text(gps.get(ref)).upper()
    if len(parts) != 3 or not np.isfinite(parts).all():
        raise _Problem(f"its {name} is not three numbers: degrees, minutes and seconds")
    if letter not in tuple(letters):
        raise _Problem(
            f"its {name} lacks the letter {letters[0]} or {letters[1]}: which half of the globe is not known"
        )
    value = parts[0] + parts[1] / 60 + parts[2] / 3600
    if min(parts) < 0 or max(parts[1:]) > 60 or value > most:
        raise _Problem(f"its {name} {parts[0]:g} {parts[1]:g} {parts[2]:g} {letter} cannot be")
    return -value if letter in ("S", "W") else value


def _direction(gps: Mapping[int, Any]) -> dict[str, Any]:
    """Where the camera faced, and from which north that is counted."""
    value = _number(gps.get(GPS.GPSImgDirection))
    if not 0 <= value <= 360:
        return {}
    ref = {"T": "true", "M": "magnetic"}.get(_text(gps.get(GPS.GPSImgDirectionRef)).upper(), "")
    return {"direction_deg": value, "direction_ref": ref}


def _error_m(gps: Mapping[int, Any]) -> float:
    value = _number(gps.get(GPS.GPSHPositioningError))
    return value if value >= 0 else float("nan")


def _time(info: Mapping[int, Any], gps: Mapping[int, Any]) -> str:
    """When the picture was taken: with its own offset, else by the GPS in UTC, else as the camera's clock said."""
    taken = _clock(_text(info.get(Base.DateTimeOriginal)))
    offset = _text(info.get(Base.OffsetTimeOriginal))
    if taken and offset:
        try:
            return dt.datetime.fromisoformat(taken + offset).isoformat()
        except ValueError:
            offset = ""
    hours = _numbers(gps.get(GPS.GPSTimeStamp))
    if len(hours) == 3 and np.isfinite(hours).all():
        parts = [int(part) for part in hours]
        sent = _clock(f"{_text(gps.get(GPS.GPSDateStamp))} {parts[0]:02d}:{parts[1]:02d}:{parts[2]:02d}")
        return f"{sent}+00:00" if sent else taken
    return taken


def _clock(text: str) -> str:
    """A time as EXIF writes it in ISO form; "" when it is none."""
    try:
        return dt.datetime.strptime(text, "%Y:%m:%d %H:%M:%S").isoformat()
    except ValueError:
        return ""


def _text(value: Any) -> str:
    text = value.decode("ascii", "replace") if isinstance(value, bytes) else value if isinstance(value, str) else ""
    return text.strip(" \0")


def _numbers(value: Any) -> list[float]:
    """The numbers of a field, NaN for one divided by nothing; empty when it holds none."""
    try:
        return [float(part) for part in (value if isinstance(value, tuple) else (value,))]
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        return []


def _number(value: Any) -> float:
    numbers = _numbers(value)
    return numbers[0] if len(numbers) == 1 and np.isfinite(numbers[0]) else float("nan")
