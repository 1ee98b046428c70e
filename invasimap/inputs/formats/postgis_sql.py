"""What is asked of a PostGIS database: which table is meant by a name, and the one statement that reads it."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Protocol

from invasimap.core.errors import Fault, LayerError

SHAPES: Final = ("geometry", "geography")
_SEGMENTS: Final = 128  # of a quarter circle: an arc's area is true to 3 parts in 100,000
_AS_THEY_ARE: Final = ("bool", "int2", "int4", "int8", "float8")
_TIMES: Final = ("date", "timestamp", "timestamptz")
_UNREAD: Final = ("bytea", "raster")  # pictures and the like: told by their size alone
_MAX_NAMED: Final = 12

# every table and view but those of the server and of its extensions, with its columns of shapes and its primary key
RELATIONS: Final = """
select n.nspname::text as schema, c.relname::text as name, c.relkind::text as kind,
  exists (select from pg_catalog.pg_inherits h where h.inhrelid = c.oid) as is_part,
  array(select a.attname::text from pg_catalog.pg_attribute a join pg_catalog.pg_type t on t.oid = a.atttypid
    where a.attrelid = c.oid and a.attnum > 0 and not a.attisdropped
    and coalesce(nullif(t.typbasetype, 0), t.oid) = any($1::oid[]) order by a.attnum) as shapes,
  array(select a.attname::text from pg_catalog.pg_index i
    cross join lateral unnest(i.indkey) with ordinality k(number, place)
    join pg_catalog.pg_attribute a on a.attrelid = c.oid and a.attnum = k.number
    where i.indrelid = c.oid and i.indisprimary order by k.place) as key,
  coalesce(array_position(current_schemas(false), n.nspname), 0) as place
from pg_catalog.pg_class c join pg_catalog.pg_namespace n on n.oid = c.relnamespace
where c.relkind in ('r', 'v', 'm', 'f', 'p') and n.nspname <> 'information_schema' and n.nspname !~ '^pg_'
  and not exists (select from pg_catalog.pg_depend d
    where d.classid = 'pg_catalog.pg_class'::regclass and d.objid = c.oid and d.deptype = 'e')
order by 1, 2
"""


class Kind(Protocol):
    """A column's type as the server tells it."""

    @property
    def oid(self) -> int:
        """Its number."""

    @property
    def name(self) -> str:
        """Its name, such as int4 or date."""

    @property
    def kind(self) -> str:
        """Scalar, array, composite or range."""


class Column(Protocol):
    """A column of a result as the server tells it."""

    @property
    def name(self) -> str:
        """As in the table or after ``as``."""

    @property
    def type(self) -> Kind:
        """Its type."""


@dataclass(frozen=True, kw_only=True)
class Relation:
    """A table or view: ``shapes`` are its columns of geometry, ``key`` those of its primary key; ``place`` is that of
    its schema in the search path (0: not in it); ``shape`` the column that the user named, or ""."""

    schema: str
    name: str
    kind: str
    is_part: bool
    shapes: tuple[str, ...]
    key: tuple[str, ...]
    place: int
    shape: str = ""

    def __str__(self) -> str:
        return f"{self.schema}.{self.name}"


@dataclass(frozen=True, kw_only=True)
class PostGIS:
    """Where PostGIS is in a database: its schema, which need not be in the search path, and its types of shapes."""

    schema: str
    oids: tuple[int, ...]


def quoted(name: str) -> str:
    """A name as SQL takes it whatever stands in it.

    Examples
    --------
    >>> quoted('North "A"; drop table x')
    '"North ""A""; drop table x"'
    """
    return '"' + name.replace('"', '""') + '"'


def find_relation(wanted: str, relations: Sequence[Relation], *, label: str) -> Relation:
    """The table or view that "table", "schema.table" or "schema.table.column" means, with the column as ``shape``.

    Names are held against those in the database, first as written, then without regard to capitals.

    Raises
    ------
    LayerError
        When there is none (near names are told), or there are several in schemas that come before no other.
    """
    plain = wanted.strip().replace('"', "")
    found = _named(plain, relations) or _named(plain.lower(), relations, lower=True)
    first = min((r.place for r, _ in found if r.place), default=0)
    found = [(r, shape) for r, shape in found if not first or r.place == first]
    if len(found) == 1:
        relation, shape = found[0]
        return Relation(**{**vars(relation), "shape": shape})
    if found:
        mend = f"write which: {', '.join(str(r) for r, _ in found)}"
        raise LayerError(Fault(where=label, what=f"layers: {wanted!r} could be several tables", mend=mend))
    names = [str(r) for r in relations]
    near = difflib.get_close_matches(plain, [*names, *(r.name for r in relations)], n=3, cutoff=0.6)
    mend = f"near are: {', '.join(near)}" if near else _listed("tables with geometry", relations)
    raise LayerError(Fault(where=label, what=f"layers: there is no table or view {wanted!r}", mend=mend))


def only_relation(relations: Sequence[Relation], *, label: str) -> Relation:
    """The one table with geometry of a database of which no layer is named.

    Raises
    ------
    LayerError
        When there is none, or several: which of them hold the survey is not guessed.
    """
    tables = [r for r in relations if r.shapes and r.kind in ("r", "p", "f") and not r.is_part]
    if len(tables) == 1:
        return tables[0]
    what = "layers does not say which of its tables is read" if tables else "has no table with geometry"
    mend = _listed('set layers = ["schema.table"]; with geometry are', relations)
    raise LayerError(Fault(where=label, what=what, mend=mend))


def shape_column(columns: Sequence[Column], *, oids: Sequence[int], wanted: str, label: str) -> int | None:
    """Which column of a result is the geometry; None when none is.

    Raises
    ------
    LayerError
        When several are and ``wanted`` names none of them.
    """
    shapes = [k for k, column in enumerate(columns) if column.type.oid in oids]
    chosen = [k for k in shapes if columns[k].name == wanted] if wanted else shapes
    if len(chosen) <= 1:
        return chosen[0] if chosen else None
    names = ", ".join(columns[k].name for k in chosen)
    mend = f'name one: layers = ["schema.table.{columns[chosen[0]].name}"], or a query that selects only one'
    raise LayerError(Fault(where=label, what=f"has several columns of geometry: {names}", mend=mend))


def whole_table(relation: Relation) -> str:
    """The statement that gives a table or view as it is."""
    return f"select * from {quoted(relation.schema)}.{quoted(relation.name)}"


def reading(
    inner: str,
    columns: Sequence[Column],
    *,
    shape: int | None,
    here: PostGIS,
    vertices: int,
    key: Sequence[str] = (),
) -> str:
    """The statement that reads every row of ``inner``, in the order of ``key`` where there is one.

    The first four columns tell of the shape: its SRID, whether it has arcs, its vertices, and itself as WKB (null where
    they are over ``vertices``); then come all columns but those of geometry.
    """
    g = quoted(here.schema)
    alias = [f"c{k}" for k in range(len(columns))]
    told, line = ["null::int4", "false", "0", "null::bytea"], ""
    if shape is not None:
        whole = f"{alias[shape]}::{g}.geometry"
        line = f", {g}.ST_CurveToLine({whole}, {_SEGMENTS}::float8, 0, 0) as line"
        wkb = f"case when {g}.ST_NPoints(line) <= {vertices:d} then {g}.ST_AsBinary(line) end"
        told = [f"{g}.ST_SRID({whole})", f"{g}.ST_HasArc({whole})", f"{g}.ST_NPoints(line)", wkb]
    cells = [_cell(a, c.type) for a, c in zip(alias, columns, strict=True) if c.type.oid not in here.oids]
    order = [alias[k] for name in key for k, column in enumerate(columns) if column.name == name]
    tail = f" order by {', '.join(order)}" if order else ""
    once = f"select p.*{line} from (\n{inner}\n) as p({', '.join(alias)}){tail} offset 0"  # worked once a row
    return f"select {', '.join([*told, *cells])} from ({once}) as q"


def _cell(name: str, kind: Kind) -> str:
    """A cell as a plain value, or as the text that a person would type."""
    if kind.kind == "scalar" and kind.name in _AS_THEY_ARE:
        return name
    if kind.name in _UNREAD:
        return f"case when {name} is not null then '(not read: {kind.name})' end"
    if kind.name in _TIMES:
        return f"to_json({name}) #>> '{{}}'"  # ISO 8601 whatever the server's settings
    return f"to_json({name})::text" if kind.kind in ("array", "composite") else f"{name}::text"


def _named(plain: str, relations: Sequence[Relation], *, lower: bool = False) -> list[tuple[Relation, str]]:
    """Tables of this name, each with the column of geometry that the name ends with, if it does."""
    found = []
    for relation in relations:
        for column in ("", *relation.shapes):
            tail = f".{column}" if column else ""
            names = (name.replace('"', "") for name in (f"{relation}{tail}", f"{relation.name}{tail}"))
            if plain in (name.lower() if lower else name for name in names):
                found.append((relation, column))
    return found


def _listed(head: str, relations: Sequence[Relation]) -> str:
    names = [str(r) for r in relations if r.shapes and not r.is_part]
    more = f" and {len(names) - _MAX_NAMED} more" if len(names) > _MAX_NAMED else ""
    return f"{head}: {', '.join(names[:_MAX_NAMED]) or 'none'}{more}"
