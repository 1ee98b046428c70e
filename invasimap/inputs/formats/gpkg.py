"""What a GeoPackage really holds, counted before GDAL opens it: the counts that it keeps itself may be a lie."""

from __future__ import annotations

import sqlite3
import time
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Final
from urllib.parse import quote

from invasimap.core.errors import Fault, LayerError
from invasimap.inputs.formats.bounds import MAX_RECORDS
from invasimap.inputs.formats.raw import MAX_BYTES
from invasimap.inputs.formats.wkb import is_curved

_MOST_TABLES: Final = 200  # each is opened among all others
_SECONDS: Final = 5.0  # for counting all tables: a view may be made to count without end
_STEPS: Final = 100_000
_HEADER: Final = 8  # bytes of a GeoPackage geometry before its envelope
_ENVELOPES: Final = (0, 32, 48, 48, 64, 0, 0, 0)
_LISTED: Final = """
    SELECT table_name FROM gpkg_contents WHERE data_type = 'features'
    AND lower(table_name) IN (SELECT lower(name) FROM sqlite_master) LIMIT 201
"""
_TABLES: Final = """
    SELECT table_name, column_name, (SELECT type FROM sqlite_master WHERE lower(name) = lower(table_name))
    FROM gpkg_geometry_columns LIMIT 201
"""


@dataclass(frozen=True, kw_only=True)
class Table:
    """Records of a table with geometry, and whether any of its shapes is curved."""

    count: int
    curved: bool


def gpkg_tables(path: Path, *, label: str) -> tuple[dict[str, Table], list[str]]:
    """The tables of a GeoPackage that hold geometry, and the names of those that its contents list as such.

    Raises
    ------
    LayerError
        When the file is damaged, a table cannot be counted in 5 seconds, or what it works out fills the memory.
    """
    until = time.monotonic() + _SECONDS
    busy = Path(f"{path}-wal")
    still = not (busy.exists() and busy.stat().st_size)  # what another program is writing is not in the file yet
    address = f"file:{quote(str(path.resolve()))}?mode=ro" + "&immutable=1" * still
    try:
        with closing(sqlite3.connect(address, uri=True)) as database:
            database.set_progress_handler(lambda: int(time.monotonic() > until), _STEPS)
            database.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, MAX_BYTES)  # of one value, which a view may work out
            rows = database.execute(_TABLES).fetchall()
            if len(rows) > _MOST_TABLES:
                raise LayerError(
                    Fault(where=label, what=f"has over {_MOST_TABLES:,} layers", mend="export what is needed")
                )
            listed = [str(name) for (name,) in database.execute(_LISTED)]
            there = [(str(name), str(column)) for name, column, kind in rows if kind]
            made = [name for name, _ in there if _made_B(database, name) > MAX_BYTES]
            if made:
                what = f"its view {made[0]!r} gives over {MAX_BYTES / 1e6:,.0f} MB"
                raise LayerError(Fault(where=label, what=what, mend="export its layers again"))
            return {name: _table(database, name, column) for name, column in there}, listed
    except sqlite3.OperationalError as error:
        if "interrupted" in str(error):
            what = "has a table or view that does not end"
            raise LayerError(Fault(where=label, what=what, mend="export its layers again")) from error
        raise _damaged(error, label=label) from error
    except sqlite3.DatabaseError as error:
        raise _damaged(error, label=label) from error


def _damaged(error: Exception, *, label: str) -> LayerError:
    return LayerError(Fault(where=label, what=f"is no whole GeoPackage: {error}", mend="export it again"))


def _made_B(database: sqlite3.Connection, name: str) -> float:
    """Bytes, or signs, of what a view gives or a table works out; what is stored is bound by the size of the file."""
    quoted = name.replace('"', '""')
    view = database.execute("SELECT 1 FROM sqlite_master WHERE lower(name) = lower(?) AND type = 'view'", (name,))
    whole = view.fetchone() is not None
    told = database.execute(f'PRAGMA table_xinfo("{quoted}")').fetchall()
    columns = [str(column).replace('"', '""') for _, column, *_, hidden in told if whole or hidden]
    sizes = " + ".join(f'coalesce(length("{column}"), 0)' for column in columns)
    rows = f'SELECT * FROM "{quoted}" LIMIT {MAX_RECORDS}'
    return float(database.execute(f"SELECT total({sizes}) FROM ({rows})").fetchone()[0]) if columns else 0.0


def _table(database: sqlite3.Connection, name: str, column: str) -> Table:
    table, shape = (text.replace('"', '""') for text in (name, column))
    most = MAX_RECORDS + 1
    (count,) = database.execute(f'SELECT count(*) FROM (SELECT 1 FROM "{table}" LIMIT {most})').fetchone()
    starts = database.execute(
        f'SELECT DISTINCT substr("{shape}", 4, 1), CASE WHEN substr("{shape}", 1, 2) = x\'4750\' THEN 1 ELSE 0 END '
        f'FROM "{table}" WHERE typeof("{shape}") = \'blob\' LIMIT 256'
    ).fetchall()
    curved = False
    for flags, is_gpkg in starts:
        if not is_gpkg or not isinstance(flags, bytes) or not flags:
            continue
        at = _HEADER + _ENVELOPES[flags[0] >> 1 & 7]
        kinds = database.execute(
            f'SELECT DISTINCT substr("{shape}", ?, 5) FROM "{table}" WHERE substr("{shape}", 4, 1) = ? LIMIT 64',
            (at + 1, flags),
        ).fetchall()
        curved = curved or any(isinstance(start, bytes) and is_curved(start) for (start,) in kinds)
    return Table(count=int(count), curved=curved)
