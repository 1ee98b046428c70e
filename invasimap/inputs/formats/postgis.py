"""Tables, views and queries of a PostGIS database, only ever read."""

from __future__ import annotations

import asyncio
import dataclasses
from collections.abc import AsyncIterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager, suppress
from typing import Any, Final

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from pyproj.exceptions import CRSError as NoCRS

from invasimap.core.database_address import checked_address, without_password
from invasimap.core.errors import Fault, InputError, LayerError
from invasimap.core.survey_settings import LimitsSection
from invasimap.inputs.cells import Cells
from invasimap.inputs.formats import postgis_sql as sql
from invasimap.inputs.formats.located import LonLat, has_position, locate, table_layer
from invasimap.inputs.formats.raw import NO_GEOMETRY, RawLayer, marks, unique_name

CONNECT_S: Final = 10.0
STATEMENT_S: Final = 30.0
QUERY: Final = "query"  # what a query is called where a table has its name
_BATCH_B: Final = 8e6
_BATCH_ROWS: Final = 2_000
_CURVE: Final = "arcs drawn as short straight lines"
_SETTINGS: Final = (
    f"set local statement_timeout = {STATEMENT_S * 1000:.0f}", "set local timezone = 'UTC'",
    "set local datestyle = 'ISO, YMD'", "set local intervalstyle = 'iso_8601'", "set local extra_float_digits = 1",
)  # fmt: skip
_Rows = list[list[Any]]  # one list a column


@dataclasses.dataclass(frozen=True, kw_only=True)
class _Wish:
    """What is read of which database, and how much of it at most."""

    address: str
    label: str
    layers: tuple[str, ...]
    query: str
    lonlat: LonLat
    limits: LimitsSection


def read_postgis(
    address: str,
    *,
    label: str,
    layers: Sequence[str] = (),
    query: str | None = None,
    lonlat: LonLat = (None, None),
    limits: LimitsSection | None = None,
) -> list[RawLayer]:
    """Every record of tables, views or a query, one layer each, in the order of the primary key where there is one.

    The connection is one read-only transaction; a statement may take 30 s. User, password and options that the address
    lacks come from PGUSER, PGPASSWORD, PGPASSFILE, ``~/.pgpass`` and a ``service`` named in it.

    Parameters
    ----------
    address
        Such as ``postgresql://user@host:5432/database``.
    label
        What stands for it in messages and tables (``postgis_label``): the address itself may hold a password.
    layers
        Tables or views as "table", "schema.table" or, where one has several columns of geometry,
        "schema.table.column"; may be empty where the database has one table with geometry only.
    query
        A select of the user's own, run as it is; instead of ``layers``.
    lonlat
        Columns that hold the position where there is no geometry and their names do not say so.
    limits
        ``file`` of all that is read of a layer, and ``vertices`` of a shape (one with more is set aside).

    Raises
    ------
    LayerError
        When the driver is not installed, the server does not answer or refuses, or what is asked for is not there,
        takes too long or is too large. No message holds the password.
    """
    wish = _Wish(
        address=checked_address(address, label=label), label=label, layers=tuple(layers), query=_bare(query or ""),
        lonlat=lonlat, limits=limits or LimitsSection(),
    )  # fmt: skip
    if wish.query and wish.layers:
        raise LayerError(Fault(where=label, what="layers and query are both given", mend="keep one of them"))
    _require_driver(label)
    with ThreadPoolExecutor(1) as thread:  # of its own: a notebook's thread already runs a loop
        return thread.submit(asyncio.run, _read(wish)).result()


def _bare(query: str) -> str:
    """A query without the semicolon at its end."""
    return query.strip().rstrip(";").rstrip()


def _require_driver(label: str) -> None:
    try:
        import asyncpg  # noqa: F401
    except ImportError as error:
        what = "is a database, and asyncpg, which reads it, is not installed"
        raise LayerError(Fault(where=label, what=what, mend="pip install 'invasimap[postgis]'")) from error


async def _read(wish: _Wish) -> list[RawLayer]:
    async with _opened(wish) as connection:
        here = await _find_postgis(connection, label=wish.label)
        if wish.query:
            return await _read_one(connection, wish, here, relation=None)
        rows = await connection.fetch(sql.RELATIONS, here.oids)
        relations = [
            sql.Relation(**{**row, "shapes": tuple(row["shapes"]), "key": tuple(row["key"])}) for row in map(dict, rows)
        ]
        found: list[RawLayer] = []
        for relation in _chosen(relations, wish):
            found += await _read_one(connection, wish, here, relation=relation)
        return found


def _chosen(relations: Sequence[sql.Relation], wish: _Wish) -> list[sql.Relation]:
    """The tables asked for, each once; every name that is none is told."""
    if not wish.layers:
        return [sql.only_relation(relations, label=wish.label)]
    chosen: list[sql.Relation] = []
    faults: list[Fault] = []
    for wanted in wish.layers:
        try:
            chosen.append(sql.find_relation(wanted, relations, label=wish.label))
        except LayerError as error:
            faults += error.faults
    if faults:
        raise LayerError(faults)
    return list({str(relation): relation for relation in chosen}.values())


@asynccontextmanager
async def _opened(wish: _Wish) -> AsyncIterator[Any]:
    """A connection in a read-only transaction; what goes wrong in it comes out as one clear error."""
    import asyncpg

    connection = None
    try:
        connection = await asyncpg.connect(
            wish.address, timeout=CONNECT_S, command_timeout=STATEMENT_S + 5, statement_cache_size=0
        )
        async with connection.transaction(isolation="repeatable_read", readonly=True):
            for setting in _SETTINGS:
                await connection.execute(setting)
            yield connection
    except InputError:
        raise
    except Exception as error:  # noqa: BLE001 (the format door; the driver's own words may hold the address)
        raise LayerError(_fault(error, wish, connected=connection is not None)) from None
    finally:
        if connection is not None:
            with suppress(OSError, asyncpg.PostgresError, asyncpg.InterfaceError):
                await connection.close(timeout=CONNECT_S)


def _fault(error: Exception, wish: _Wish, *, connected: bool) -> Fault:
    """What is said of an error of the driver or the server: the first of the cases that it is."""
    import asyncpg as pg

    said = without_password(str(getattr(error, "message", None) or error), wish.address)
    stopped = (pg.QueryCanceledError, TimeoutError) if connected else (pg.QueryCanceledError,)
    refused = (pg.InvalidPasswordError, pg.InvalidAuthorizationSpecificationError)
    asked = (pg.SyntaxOrAccessError, pg.FeatureNotSupportedError) if wish.query else ()
    silent = "the connection was lost" if connected else f"no database answers there within {CONNECT_S:.0f} s"
    unusable = () if connected or isinstance(error, pg.PostgresError) else (Exception,)
    cases: tuple[tuple[tuple[type[Exception], ...], str, str], ...] = (
        (stopped, f"took over {STATEMENT_S:.0f} s and was stopped", "read less of it with a query"),
        ((pg.ReadOnlySQLTransactionError,), "the query would change the database, which is only ever read",
         "write a query that selects"),
        ((pg.InsufficientPrivilegeError,), f"may not be read: {said}", "ask the keeper of the database for the right"),
        (refused, "the server refused the user or the password",
         "they come from the address, else from PGUSER, PGPASSWORD and ~/.pgpass"),
        ((pg.InvalidCatalogNameError,), "the server has no database of this name", "check the name after the host"),
        (asked, f"the query cannot be run: {said}", "it must be one select; try it in the database's own program"),
        ((OSError, pg.PostgresConnectionError), silent, "check host and port, the network and the server"),
        (unusable, "the connection cannot be set up", "check the address, its options and ~/.pgpass"),
        ((Exception,), f"cannot be read: {said}", ""),
    )  # fmt: skip
    what, mend = next((what, mend) for kinds, what, mend in cases if isinstance(error, kinds))
    return Fault(where=wish.label, what=what, mend=mend)


async def _find_postgis(connection: Any, *, label: str) -> sql.PostGIS:
    rows = await connection.fetch(
        "select n.nspname::text as schema, t.oid from pg_catalog.pg_extension e"
        " join pg_catalog.pg_namespace n on n.oid = e.extnamespace"
        " join pg_catalog.pg_type t on t.typnamespace = n.oid and t.typname = any($1::text[])"
        " where e.extname = 'postgis'",
        sql.SHAPES,
    )
    if not rows:
        mend = "run: create extension postgis"
        raise LayerError(Fault(where=label, what="the database has no PostGIS", mend=mend))
    return sql.PostGIS(schema=rows[0]["schema"], oids=tuple(row["oid"] for row in rows))


async def _read_one(
    connection: Any, wish: _Wish, here: sql.PostGIS, *, relation: sql.Relation | None
) -> list[RawLayer]:
    """The layers of one table, view or query: one, or one for each system that its shapes are in."""
    layer = str(relation) if relation else QUERY
    label = f"{wish.label}:{layer}"
    inner = sql.whole_table(relation) if relation else wish.query
    columns = (await connection.prepare(inner)).get_attributes()
    wanted = relation.shape if relation else ""
    shape = sql.shape_column(columns, oids=here.oids, wanted=wanted, label=label)
    key = relation.key if relation else ()
    limit = wish.limits.vertices
    statement = sql.reading(inner, columns, shape=shape, here=here, vertices=limit, key=key)
    rows = await _fetch(connection, statement, count=len(columns) + 4, limit_B=wish.limits.file_B, label=label)
    kept = [column.name for column in columns if column.type.oid not in here.oids]
    frame = _frame(kept, rows[4:], count=len(rows[0]))
    if shape is None:
        return [_without_geometry(frame, wish, label=label, layer=layer)]
    others = [c.name for k, c in enumerate(columns) if c.type.oid in here.oids and k != shape]
    notes = [f"{label}: other columns of geometry are not read: {', '.join(others)}"] if others else []
    whole = _with_geometry(frame, rows[:4], label=label, layer=layer, limit=limit)
    whole = dataclasses.replace(whole, notes=tuple(notes))
    return await _by_system(connection, whole, srid=rows[0], postgis=here.schema)


async def _fetch(connection: Any, statement: str, *, count: int, limit_B: float, label: str) -> _Rows:
    """All rows of a statement, column by column, in batches that stay small however large a row is."""
    columns: _Rows = [[] for _ in range(count)]
    cursor = await connection.cursor(statement)
    size_B, asked = 0.0, 20
    while batch := await cursor.fetch(asked):
        batch_B = 0.0
        for column, values in zip(columns, zip(*batch, strict=True), strict=False):
            column.extend(values)
            batch_B += sum(len(value) if isinstance(value, str | bytes) else 8 for value in values)
        size_B += batch_B
        if size_B > limit_B:
            what = f"is over {limit_B / 1e6:,.0f} MB: {len(columns[0]):,} records were read by then"
            mend = "read fewer rows or columns with a query, or raise file in [intake.limits]"
            raise LayerError(Fault(where=label, what=what, mend=mend))
        asked = int(np.clip(_BATCH_B * len(batch) / batch_B, 1, min(_BATCH_ROWS, asked * 4)))
    return columns


def _frame(names: Sequence[str], columns: _Rows, *, count: int) -> pd.DataFrame:
    """A table of cells as read; columns of one name are numbered."""
    table: dict[str, pd.Series[Any]] = {}
    for name, values in zip(names, columns, strict=False):
        table[unique_name(name, table)] = pd.Series(values, dtype=object, index=pd.RangeIndex(count))
    return pd.DataFrame(table, index=pd.RangeIndex(count))


def _without_geometry(frame: pd.DataFrame, wish: _Wish, *, label: str, layer: str) -> RawLayer:
    """The layer of a table whose positions are in plain columns."""
    if not has_position(frame.columns, wish.lonlat):
        listed = f"its columns are: {', '.join(frame.columns)}" if len(frame.columns) else "it has no column"
        mend = "read it by a query that makes one, such as ST_SetSRID(ST_MakePoint(lon, lat), 4326)"
        raise LayerError(Fault(where=label, what=f"has no column of geometry; {listed}", mend=mend))
    located = locate(frame, label=label, lonlat=wish.lonlat)
    return table_layer(frame, Cells.same("", len(frame)), located, label=label, layer=layer, comma="never")


def _with_geometry(frame: pd.DataFrame, told: _Rows, *, label: str, layer: str, limit: int) -> RawLayer:
    """The layer of rows with what the server told of each shape: SRID, arcs, vertices and WKB; no system yet."""
    _, arcs, vertices, wkb = told
    geometry, written = np.empty(len(frame), dtype=object), np.empty(len(frame), dtype=object)
    written[:] = wkb
    geometry[:] = shapely.from_wkb(written, on_invalid="ignore")
    counts = np.array([count or 0 for count in vertices], dtype=np.int64)
    lost = shapely.is_missing(geometry)
    problem = np.where(lost | shapely.is_empty(geometry), NO_GEOMETRY, "").astype(object)
    problem[lost & (counts > 0)] = "its shape is of a kind that has no place on a map, such as a surface in space"
    over = counts > limit
    problem[over] = [f"has {count:,} vertices; vertices in [intake.limits] allows {limit:,}" for count in counts[over]]
    return RawLayer(
        label=label,
        layer=layer,
        frame=frame,
        geometry=geometry,
        marks=marks(len(frame), problem=problem, repair=[_CURVE if arc else "" for arc in arcs]),
        crs=None,
    )


async def _by_system(connection: Any, whole: RawLayer, *, srid: list[int | None], postgis: str) -> list[RawLayer]:
    """A layer for each SRID of the shapes; records without one go with the first."""
    found = list(dict.fromkeys(number for number in srid if number is not None))
    numbers = np.array([found[0] if number is None else number for number in srid] if found else [0] * len(srid))
    if len(found) <= 1:
        return [await _in_system(connection, whole, srid=found[0] if found else 0, postgis=postgis)]
    listed = ", ".join(str(number) for number in found)
    note = f"{whole.label}: its shapes are in several systems (SRID {listed}): each is read as a layer of its own"
    parts = []
    for number in found:
        part = _rows_of(whole, numbers == number, label=f"{whole.label} (SRID {number})")
        parts.append(await _in_system(connection, part, srid=number, postgis=postgis))
    return [dataclasses.replace(parts[0], notes=(*parts[0].notes, note)), *parts[1:]]


def _rows_of(raw: RawLayer, rows: NDArray[np.bool_], *, label: str) -> RawLayer:
    frame, marked = (part[rows].reset_index(drop=True) for part in (raw.frame, raw.marks))
    return dataclasses.replace(raw, label=label, frame=frame, marks=marked, geometry=raw.shapes[rows])


async def _in_system(connection: Any, raw: RawLayer, *, srid: int, postgis: str) -> RawLayer:
    """The layer with the system that its SRID means; none where the database does not say."""
    if srid == 0:
        return raw
    row = await connection.fetchrow(
        f"select auth_name, auth_srid, srtext from {sql.quoted(postgis)}.spatial_ref_sys where srid = $1", srid
    )
    crs = _crs(dict(row)) if row else None
    note = f"{raw.label}: its SRID {srid} is described neither in the database nor by EPSG: set crs"
    return dataclasses.replace(raw, crs=crs, notes=raw.notes if crs else (*raw.notes, note))


def _crs(row: dict[str, Any]) -> CRS | None:
    """The system of a row of ``spatial_ref_sys``: by its authority, else by its text."""
    tries = [f"{row['auth_name']}:{row['auth_srid']}"] if row["auth_name"] and row["auth_srid"] else []
    for text in [*tries, row["srtext"]]:
        try:
            if text and str(text).strip():
                return CRS.from_user_input(text)
        except NoCRS:
            continue
    return None
