"""Damage done to field files on purpose: bytes, XML, JSON, cells, archives, databases; the same for the same seed."""

from __future__ import annotations

import copy
import csv
import io
import json
import random
import sqlite3
import tempfile
import warnings
import zipfile
import zlib
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree as ET

import openpyxl

ODD = (
    "", " ", "NaN", "nan", "inf", "-inf", "1e400", "-1e400", "1e308", "5e-324", "0", "-0", "-1", "1_000", "0x10", "١٢",
    "1,5", "1.234,5", "1;2", "null", "None", "#N/A", "#DIV/0!", "=1+1", "=HYPERLINK(\"http://a.invalid\")", "+1", "@x",
    "<b>x</b>", "<script>1</script>", "&amp;", "&x;", "]]>", "'; DROP TABLE a; --", "{{x}}", "%s%n", "\\", "\"", "'",
    "\"\"", "a\nb", "a\r\nb", "a\tb", "a|b", "\u2028", "\u00a0", "\u200b", "\u202e", "\ufeff", "\U0001f33f",
    "e\u0301" * 20,
    "x" * 5_000, "9" * 400, "-" * 50, "2024-02-30", "0000-00-00", "9999-12-31", "31/12/2024", "24-1-1T25:61:61Z",
    "1e10", "45000", "100 %", "101 %", "-5 %", "50-20", ">100", "5-", "1e9 ft", "0 ft", "-3 m", "12' 6\"", "10 ac",
    "-80.0001", "38.0001", "80", "380", "90", "-90", "180", "-180", "1e-300", "38 0.06 N", "N91", "17S 587800 4206000",
    "17SNB", "0 0 0", "POINT(-80 38)", "POINT EMPTY", "POLYGON((0 0,1 1,0 0))", "POINT(nan nan)", "POLYGON((", "true",
)  # fmt: skip
ODD_JSON = (
    None, True, False, 0, -1, 1e308, float("nan"), float("inf"), 10**400, 2**63, "", "x", "NaN", "\ud800", "\0",
    "1e400",
    [], [[]], {}, {"a": {}}, [None], [1], [1, 2, 3, 4, 5], ["a", "b"], [[0, 0], [1, 1]], [[[0, 0], [1, 1], [0, 0]]],
    "Point", "Polygon", "Feature", "FeatureCollection", "GeometryCollection", {"type": "Point"},
    {"type": "Point", "coordinates": [-80, 38]}, {"type": "GeometryCollection", "geometries": []}, -80.0, 38.0, 1e5,
)  # fmt: skip
ENTITIES = (
    b"&x;", b"&", b"&#0;", b"&#x110000;", b"&#xD800;", b"<![CDATA[", b"]]>", b"<!--", b"-->", b"<?x", b"<x>", b"</x>",
    b"<!DOCTYPE a [<!ENTITY x 'y'>]>", b"<!DOCTYPE a SYSTEM 'http://a.invalid/a.dtd'>", b"<a:b/>", b"<", b">", b"\x00",
    b"<!DOCTYPE a [<!ENTITY x SYSTEM 'file:///etc/hostname'>]>", b"\xff\xfe", b"\x1e", b"<?xml version='1.0'?>",
)  # fmt: skip
BYTES = (
    b"\0",
    b"\xff",
    b"\x7f",
    b"\x80",
    b"\0\0\0\0",
    b"\xff\xff\xff\xff",
    b"\x7f\xff\xff\xff",
    b"\n",
    b'"',
    b",",
    b"{",
    b"<",
)
NAMES = (
    "../../out.{}", "/{}", "a/../../../out.{}", "..\\..\\out.{}", ".hidden.{}", "__MACOSX/a.{}", "a:b*?.{}", "a.{}/",
    "x" * 200 + ".{}", "é\u202e.{}", "con.{}", "a\n.{}",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Base:
    """A file before it is damaged: its parts by name, the first of them the one that is read."""

    name: str
    kind: str
    parts: dict[str, bytes]

    @property
    def main(self) -> str:
        """Name of the part that is read."""
        return next(iter(self.parts))


@dataclass(frozen=True, kw_only=True)
class Mutant:
    """A damaged file; ``records`` are those it must still have, where the damage says so."""

    base: str
    kind: str
    main: str
    parts: dict[str, bytes]
    steps: tuple[str, ...]
    records: int | None = None


def mutant(bases: list[Base], *, seed: int, number: int) -> Mutant:
    """The mutant of this number: of one of the bases, damaged once to three times."""
    rng = random.Random(f"{seed}:{bases[0].kind}:{number}")
    base = rng.choice(bases)
    whole = _WHOLE.get(base.kind)
    if whole is not None and rng.random() < 0.5:
        return whole(base, rng)
    part = base.main if rng.random() < 0.6 else rng.choice(list(base.parts))
    data, steps = base.parts[part], []
    for _ in range(rng.choice((1, 1, 2, 3))):
        own = _OWN.get(part.rpartition(".")[2].lower()) if rng.random() < 0.6 else None
        data = (own or damaged_bytes)(data, rng)
        steps.append((own or damaged_bytes).__name__)
    parts = {**base.parts, part: data}
    if len(parts) > 1 and rng.random() < 0.1:
        lost = rng.choice([name for name in parts if name != base.main])
        parts.pop(lost)
        steps.append(f"without {lost}")
    return Mutant(base=base.name, kind=base.kind, main=base.main, parts=parts, steps=tuple(steps))


def damaged_bytes(data: bytes, rng: random.Random) -> bytes:
    """Some bytes flipped, set, taken out, put in, doubled, swapped, or all cut off behind a place."""
    at, length = _span(data, rng)
    piece = data[at : at + length]
    other = _span(data, rng)[0]
    kinds: list[Callable[[], bytes]] = [
        lambda: data[:at] + bytes([data[at] ^ 1 << rng.randrange(8)]) + data[at + 1 :] if data else b"",
        lambda: data[:at] + rng.choice(BYTES) + data[at + 1 :],
        lambda: data[:at] + data[at + length :],
        lambda: data[:at] + rng.randbytes(length) + data[at:],
        lambda: data[:at] + piece + data[at:],
        lambda: data[:at],
        lambda: data[:other] + piece + data[other + length :],
        lambda: data[:at] + rng.choice(ODD).encode() + data[at + length :],
    ]
    return rng.choice(kinds)()


def _span(data: bytes, rng: random.Random) -> tuple[int, int]:
    """A place, half the time near the start, where headers are, and a short length."""
    most = max(len(data), 1)
    return rng.randrange(most if rng.random() < 0.5 else min(most, 200)), rng.choice((1, 1, 2, 4, 8, 30))


def damaged_xml(data: bytes, rng: random.Random) -> bytes:
    """An element dropped, doubled, moved, renamed, emptied or with odd text or attributes; or signs XML forbids."""
    try:
        root = ET.fromstring(data)
    except (ET.ParseError, ValueError, LookupError):
        root = None
    if root is None or rng.random() < 0.25:
        at = _span(data, rng)[0] if rng.random() < 0.5 else max(data.find(b">", _span(data, rng)[0]) + 1, 0)
        return data[:at] + rng.choice(ENTITIES) + data[at:]
    pairs = [(parent, child) for parent in root.iter() for child in parent]
    parent, child = rng.choice(pairs or [(root, root)])
    other = rng.choice(pairs)[0] if pairs else root
    _change_element(parent, child, other, rng)
    try:
        return ET.tostring(root, encoding=rng.choice(("utf-8", "utf-8", "us-ascii", "utf-16")))
    except (ValueError, RecursionError):
        return data[: len(data) // 2]


def _change_element(parent: ET.Element, child: ET.Element, other: ET.Element, rng: random.Random) -> None:  # noqa: C901 (one branch a damage)
    kind = rng.randrange(9)
    if kind == 0 and child in list(parent):
        parent.remove(child)
    elif kind == 1 and child in list(parent):
        parent.insert(rng.randrange(len(parent) + 1), copy.deepcopy(child))
    elif kind == 2:
        other.append(copy.deepcopy(child))
    elif kind == 3:
        child.tag = rng.choice((parent.tag, other.tag, "x", "name", "Placemark", "trkseg", "coordinates", "kml", "gpx"))
    elif kind == 4 and child.attrib:
        child.set(rng.choice(list(child.attrib)), rng.choice(ODD))
    elif kind == 5 and child.attrib:
        child.attrib.pop(rng.choice(list(child.attrib)))
    elif kind == 6:
        child.attrib = {"lat": rng.choice(ODD), "lon": rng.choice(ODD), "name": rng.choice(ODD)}
    elif kind == 7 and len(child):
        child[:] = rng.sample(list(child), len(child))
    else:
        child.text = rng.choice(ODD)


def damaged_json(data: bytes, rng: random.Random) -> bytes:  # noqa: C901 (one branch a damage)
    """A value dropped, doubled, wrapped, moved or put in place of another."""
    try:
        document = json.loads(data)
    except (ValueError, RecursionError):
        return damaged_bytes(data, rng)
    places = list(_places(document))
    if not places:
        return json.dumps(rng.choice(ODD_JSON)).encode()
    holder, key = rng.choice(places)
    other, other_key = rng.choice(places)
    kind = rng.randrange(7)
    if kind == 0:
        del holder[key]
    elif kind == 1 and isinstance(holder, list):
        holder.insert(key, copy.deepcopy(holder[key]))
    elif kind == 1:
        holder[rng.choice(ODD)] = holder.pop(key)
    elif kind == 2:
        holder[key] = copy.deepcopy(other[other_key])
    elif kind == 3:
        holder[key] = [holder[key]]
    elif kind == 4:
        holder[key] = rng.choice(ODD)
    else:
        holder[key] = copy.deepcopy(rng.choice(ODD_JSON))
    text = json.dumps(document, ensure_ascii=rng.random() < 0.5)
    return text.replace("1e+308", "1e400").encode("utf-8", "surrogatepass")


def _places(value: object) -> list[tuple[dict | list, str | int]]:
    keys = list(value) if isinstance(value, dict) else range(len(value)) if isinstance(value, list) else []
    found = [(value, key) for key in keys]
    return found + [place for key in keys for place in _places(value[key])]


def damaged_lines(data: bytes, rng: random.Random) -> bytes:
    """One line of a sequence damaged as JSON or cut; lines dropped, doubled, joined."""
    lines = data.split(b"\n")
    at = rng.randrange(len(lines))
    kind = rng.randrange(5)
    if kind < 2:
        lines[at] = damaged_json(lines[at], rng)
    elif kind == 2:
        lines[at] = lines[at][: rng.randrange(len(lines[at]) + 1)]
    elif kind == 3:
        lines.insert(at, lines[at])
    else:
        lines[at] += lines[-1]
    return b"\n".join(lines)


def damaged_table(base: Base, rng: random.Random) -> Mutant:
    """One to three cells of the rows replaced by odd values: every row is still there."""
    data = base.parts[base.main]
    wide = data[:2] in (b"\xff\xfe", b"\xfe\xff")
    text = data.decode("utf-16") if wide else data.decode("utf-8-sig", errors="replace")
    head = text.partition("\n")[0]
    mark = max(",;\t|", key=head.count)
    rows = [row for row in csv.reader(io.StringIO(text, newline=""), delimiter=mark) if row]
    steps = []
    for _ in range(rng.choice((1, 2, 3))):
        row = rng.choice(rows[1:])
        at = rng.randrange(len(row))
        row[at] = rng.choice(ODD)
        steps.append(f"cell {at} = {row[at][:30]!r}")
    stream = io.StringIO()
    csv.writer(stream, delimiter=mark, quoting=rng.choice((csv.QUOTE_MINIMAL, csv.QUOTE_ALL))).writerows(rows)
    made = stream.getvalue().encode("utf-16" if wide else "utf-8")
    return Mutant(
        base=base.name, kind=base.kind, main=base.main, parts={base.main: made}, steps=tuple(steps),
        records=len(rows) - 1,
    )  # fmt: skip


def damaged_book(base: Base, rng: random.Random) -> Mutant:
    """Cells of a workbook replaced, by numbers, dates and formulas too; or one of its inner files damaged."""
    if rng.random() < 0.5:
        return damaged_zip(base, rng)
    book = openpyxl.load_workbook(io.BytesIO(base.parts[base.main]))
    sheet = book.worksheets[0]
    steps = []
    for _ in range(rng.choice((1, 2, 3))):
        row, column = rng.randrange(2, sheet.max_row + 1), rng.randrange(1, sheet.max_column + 1)
        value = rng.choice((*ODD, 1e308, 10**20, True, -1, 0.35, 45000.5))
        sheet.cell(row, column).value = value
        sheet.cell(row, column).number_format = rng.choice(("General", "0%", "yyyy-mm-dd", "[h]:mm", "@", "0.00E+00"))
        steps.append(f"cell {row},{column} = {str(value)[:30]!r}")
    stream = io.BytesIO()
    count = sheet.max_row - 1
    book.save(stream)
    return Mutant(
        base=base.name, kind=base.kind, main=base.main, parts={base.main: stream.getvalue()}, steps=tuple(steps),
        records=count,
    )  # fmt: skip


def damaged_zip(base: Base, rng: random.Random) -> Mutant:
    """A member of an archive damaged, cut, renamed, dropped or doubled, then packed again."""
    try:
        with zipfile.ZipFile(io.BytesIO(base.parts[base.main])) as archive:
            members = [(info.filename, archive.read(info)) for info in archive.infolist()]
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, zlib.error):
        members = []
    if not members:
        data = damaged_bytes(base.parts[base.main], rng)
        return Mutant(base=base.name, kind=base.kind, main=base.main, parts={base.main: data}, steps=("bytes",))
    at = rng.randrange(len(members))
    name, data = members[at]
    suffix = name.rpartition(".")[2].lower()
    kind = rng.randrange(6)
    if kind == 0:
        members[at] = (rng.choice(NAMES).format(suffix), data)
    elif kind == 1:
        members.pop(at)
    elif kind == 2:
        members.append(members[at])
    elif kind == 3:
        members[at] = (name, data[: rng.randrange(len(data) + 1)])
    else:
        members[at] = (name, _OWN.get(suffix, damaged_bytes)(data, rng))
    return Mutant(
        base=base.name, kind=base.kind, main=base.main, parts={base.main: packed(members)},
        steps=("zip", str(kind), name),
    )  # fmt: skip


def packed(members: list[tuple[str, bytes]]) -> bytes:
    """A zip archive of these members; two may have one name."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive, warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # of two members of one name, which is meant
        for name, data in members:
            archive.writestr(name, data)
    return stream.getvalue()


def damaged_database(base: Base, rng: random.Random) -> Mutant:
    """A cell of a GeoPackage's own table, or of those that describe it, replaced: no row is lost."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.gpkg"
        path.write_bytes(base.parts[base.main])
        with closing(sqlite3.connect(path)) as database:
            step = _change_database(database, rng)
            database.commit()
        data = path.read_bytes()
    return Mutant(base=base.name, kind=base.kind, main=base.main, parts={base.main: data}, steps=(step,))


def _change_database(database: sqlite3.Connection, rng: random.Random) -> str:
    (table, shape) = database.execute("SELECT table_name, column_name FROM gpkg_geometry_columns").fetchone()
    for (trigger,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        database.execute(f'DROP TRIGGER "{trigger}"')  # they call functions that only GDAL has
    about = ("gpkg_contents", "gpkg_geometry_columns", "gpkg_spatial_ref_sys")
    name = table if rng.random() < 0.7 else rng.choice(about)
    columns = [row[1] for row in database.execute(f'PRAGMA table_info("{name}")') if not row[5]]
    column = shape if name == table and rng.random() < 0.5 else rng.choice(columns)
    rows = [row[0] for row in database.execute(f'SELECT rowid FROM "{name}"')]
    row = rng.choice(rows)
    (old,) = database.execute(f'SELECT "{column}" FROM "{name}" WHERE rowid = ?', (row,)).fetchone()
    new = damaged_bytes(old, rng) if isinstance(old, bytes) else rng.choice((*ODD, None, b"\0\1", 1e308, -1, 2**62))
    try:
        database.execute(f'UPDATE "{name}" SET "{column}" = ? WHERE rowid = ?', (new, row))
    except sqlite3.IntegrityError as error:
        return f"refused by the database: {error}"
    return f"{name}.{column}[{row}] = {str(new)[:30]!r}"


_OWN: dict[str, Callable[[bytes, random.Random], bytes]] = {
    "gpx": damaged_xml, "kml": damaged_xml, "xml": damaged_xml, "rels": damaged_xml, "geojson": damaged_json,
    "json": damaged_json, "geojsonl": damaged_lines,
}  # fmt: skip
_WHOLE: dict[str, Callable[[Base, random.Random], Mutant]] = {
    "csv": damaged_table, "tsv": damaged_table, "xlsx": damaged_book, "kmz": damaged_zip, "zip": damaged_zip,
    "gpkg": damaged_database,
}  # fmt: skip
