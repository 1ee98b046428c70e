"""Layers of GeoPackage, shapefile, file geodatabase, FlatGeobuf and GeoParquet.

The first bytes are looked at before GDAL opens a file, so that none opens as another format.
"""

from __future__ import annotations

import codecs
import dataclasses
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final, cast

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
from numpy.typing import NDArray
from pyproj import CRS

from invasimap.core.errors import Fault, LayerError
from invasimap.core.files import GDB, GDB_CATALOGUE
from invasimap.core.survey_settings import LimitsSection
from invasimap.inputs.formats.bounds import MAX_RECORDS, first_lines, missing, over_size
from invasimap.inputs.formats.gdal_files import is_encoded, plainly_named
from invasimap.inputs.formats.gpkg import Table, gpkg_tables
from invasimap.inputs.formats.raw import NO_GEOMETRY, RawLayer, marks
from invasimap.inputs.formats.wkb import CURVES, is_deep, lost_shapes

_COUNTED: Final = (".fgb", ".gdb")  # the header's count holds; a GeoPackage's may be out of date
_BATCH: Final = 10_000  # rows of a table that are unpacked at once to see how much they take
_NUMBERS: Final = ("fid", "ogc_fid", "objectid", "feature_id", "featureid", "id", "record")


def read_gpkg(path: Path, *, label: str, only: str | None = None) -> list[RawLayer]:
    """Every layer of a GeoPackage that holds geometry; where there is one of the name ``only``, that alone.

    Raises
    ------
    LayerError
        When it is no GeoPackage or has no layer with geometry.
    """
    require_start(path, b"SQLite format 3\0", label=label, name="GeoPackage")
    tables, listed = gpkg_tables(path, label=label)
    return _layers(path, suffix=".gpkg", label=label, tables=tables, listed=listed, only=only)


def read_gdb(path: Path, *, label: str, only: str | None = None) -> list[RawLayer]:
    """Every layer of a file geodatabase (a folder named ``.gdb``) that holds geometry; ``only`` as in ``read_gpkg``.

    Raises
    ------
    LayerError
        When it is no file geodatabase or has no layer with geometry.
    """
    if not (path / GDB_CATALOGUE).is_file():
        what = f"is no whole file geodatabase: it lacks {GDB_CATALOGUE}"
        raise LayerError(Fault(where=label, what=what, mend="copy the whole .gdb folder"))
    return _layers(path, suffix=GDB, label=label, tables={}, only=only)


def read_flatgeobuf(path: Path, *, label: str) -> list[RawLayer]:
    """A FlatGeobuf file; its rows, which it keeps sorted by place, in the order of a column of whole numbers that tells
    them apart (fid, id, …) where there is one."""
    require_start(path, b"fgb\x03fgb", label=label, name="FlatGeobuf")
    with plainly_named(path, suffix=".fgb") as plain:
        raw = read_one(plain, label=label, layer=path.stem)
    name = next((str(c) for c in raw.frame.columns if str(c).lower() in _NUMBERS and _tells_apart(raw.frame[c])), "")
    if not name:
        return [raw]
    order = np.argsort(pd.to_numeric(raw.frame[name]).to_numpy(), kind="stable")
    frame, marked = (part.iloc[order].reset_index(drop=True) for part in (raw.frame, raw.marks))
    return [dataclasses.replace(raw, frame=frame, marks=marked, geometry=raw.shapes[order])]


def read_parquet(path: Path, *, label: str, limits: LimitsSection | None = None) -> list[RawLayer]:
    """A GeoParquet file.

    Raises
    ------
    LayerError
        When it is no Parquet file, unpacks to more than ``limits`` allow, or pyarrow, which reads it, is not installed.
    """
    limits = limits or LimitsSection()
    require_start(path, b"PAR1", label=label, name="Parquet file")
    try:
        import pyarrow  # noqa: F401
        from pyarrow.parquet import ParquetFile
    except ImportError as error:
        what = "is GeoParquet, and pyarrow, which reads it, is not installed"
        raise LayerError(Fault(where=label, what=what, mend="pip install 'invasimap[cluster]'")) from error
    with path.open("rb") as stream:
        meta = ParquetFile(stream).metadata
        size_B = sum(meta.row_group(k).total_byte_size for k in range(meta.num_row_groups))
        if size_B > limits.unpacked_B:
            raise over_size(
                f"unpacks to {size_B / 1e6:,.0f} MB", where=label, setting="unpacked", limit_B=limits.unpacked_B
            )
        _refuse_many(int(meta.num_rows), label=label)
        _refuse_unpacked(ParquetFile(stream), label=label, limits=limits)
        _refuse_deep(ParquetFile(stream), label=label)
        stream.seek(0)
        frame = gpd.read_parquet(cast(Any, stream))  # a stream: a path may be taken for an address
    notes = [f"{label}: {name} has signs that are not UTF-8: shown as \ufffd" for name in _mend_texts(frame)]
    return [_from_frame(frame, label=label, layer=path.stem, notes=notes)]


def _mend_texts(frame: pd.DataFrame) -> list[str]:
    """Put right the columns whose bytes are not the text they claim to be, which pyarrow reads unseen; their names."""
    import pyarrow

    mended = []
    for name in frame.columns:
        kind = frame[name].dtype
        if not isinstance(kind, pd.StringDtype) or kind.storage != "pyarrow":
            continue
        values = pyarrow.array(frame[name])
        try:
            values.validate(full=True)
        except pyarrow.ArrowInvalid:
            cells = values.cast(pyarrow.large_binary(), safe=False).to_pylist()
            frame[name] = np.array([None if one is None else one.decode("utf-8", "replace") for one in cells], object)
            mended.append(str(name))
    return mended


def _refuse_unpacked(file: Any, *, label: str, limits: LimitsSection) -> None:
    """Refuse a file whose rows take more than they say: a value kept once may stand in every row."""
    size_B = 0
    for batch in file.iter_batches(batch_size=_BATCH):
        size_B += batch.nbytes
        if size_B > limits.unpacked_B:
            said = f"unpacks to over {limits.unpacked_B / 1e6:,.0f} MB"
            raise over_size(said, where=label, setting="unpacked", limit_B=limits.unpacked_B)


def _refuse_deep(file: Any, *, label: str) -> None:
    """Refuse shapes of collections in collections without end; looked at in every column of bytes."""
    for name in (column.name for column in file.schema_arrow if "binary" in str(column.type)):
        for batch in file.iter_batches(columns=[name]):
            if any(is_deep(blob) for blob in batch.column(0).to_pylist() if blob is not None):
                raise LayerError(Fault(where=label, what="has a shape that is nested too deep", mend="export it again"))


def _tells_apart(column: pd.Series[Any]) -> bool:
    return bool(pd.api.types.is_integer_dtype(column) and column.is_unique and column.notna().all())


def _layers(
    path: Path, *, suffix: str, label: str, tables: dict[str, Table], listed: Sequence[str] = (),
    only: str | None = None,
) -> list[RawLayer]:  # fmt: skip
    """Every layer with geometry, or the one of a name, each under its own label where the file has several."""
    with plainly_named(path, suffix=suffix) as plain:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what matters is said again when the layer is read
            kinds = {str(name): kind for name, kind in pyogrio.list_layers(plain)}
        spatial = [name for name, kind in kinds.items() if kind is not None]
        if not spatial:
            raise LayerError(Fault(where=label, what="has no layer with geometry"))
        half = [name for name in dict.fromkeys((*listed, *tables)) if kinds.get(name) is None]
        others = [name for name in kinds if name not in (*spatial, *half)]
        notes = [f"{label}: tables without geometry are not read: {', '.join(others)}"] if others else []
        if half:
            notes.append(f"{label}: layers that it registers by half are not read: {', '.join(half)}; export it again")
        single = len(spatial) == 1
        return [
            read_one(
                plain, label=label if single else f"{label}:{name}", layer=name, name=name, table=tables.get(name),
                notes=notes if k == 0 else [],
            )
            for k, name in enumerate(spatial)
            if only not in spatial or name == only
        ]  # fmt: skip


def require_start(path: Path, start: bytes, *, label: str, name: str) -> None:
    """Refuse a file that does not start as its format must.

    Raises
    ------
    LayerError
        When its first bytes are another format's.
    """
    with path.open("rb") as stream:
        if stream.read(len(start)) != start:
            raise LayerError(Fault(where=label, what=f"is no {name}: its first bytes are another format's"))


def read_one(
    path: Path, *, label: str, layer: str, name: str | None = None, table: Table | None = None,
    notes: Sequence[str] = (),
) -> RawLayer:  # fmt: skip
    """A layer that GDAL reads, with a record set aside for each that the file counts and that does not come out.

    Parameters
    ----------
    path
        The file under a plain name.
    label, layer
        Names of the file and of the layer in messages.
    name
        The layer to read; the only one when None.
    table
        What is known of a GeoPackage's table: its count of records and its kinds of shapes.
    notes
        What is to be said besides.
    """
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        frame, counted, told = _read(path, name, table, label=label)
        geometry = _geometry(frame)
        lost = lost_shapes(path, name, geometry)
    heard = [_heard(str(w.message), path, layer) for w in caught if w.category is RuntimeWarning]
    said = [*heard, *told]
    raw = _from_frame(
        frame, label=label, layer=layer, notes=[*notes, *(f"{label}: {words}" for words in dict.fromkeys(said))]
    )
    return padded(_with_reasons(raw, lost), counted)


def _read(
    path: Path, name: str | None, table: Table | None, *, label: str
) -> tuple[gpd.GeoDataFrame | pd.DataFrame, int, list[str]]:
    """The frame of a layer, the records that the file counts, and what is to be said of its curves and columns."""
    info = pyogrio.read_info(path, layer=name)
    known = info["features"] if table is None else table.count
    _refuse_many(known, label=label)
    counted = known if table is not None or path.suffix.lower() in _COUNTED else 0
    curved = any(word in str(info["geometry_type"]) for word in CURVES) or (table is not None and table.curved)
    most = None if table is None else max(table.count, 1)  # the count that the file keeps may be a lie
    said = ["curves are drawn as chords"] if curved else []
    options: dict[str, Any] = {"layer": name, "on_invalid": "ignore", "max_features": most}
    kinds = dict(zip(map(str, info["fields"]), info["ogr_types"], strict=True))
    if pictures := [name for name, kind in kinds.items() if kind == "OFTBinary"]:  # one may be as large as the file
        options["columns"] = [name for name in kinds if name not in pictures]
        said.append(f"columns of binary data are not read: {first_lines(pictures)}")
    try:
        return pyogrio.read_dataframe(path, **options), counted, said
    except UnicodeDecodeError:
        frame = pyogrio.read_dataframe(path, **options, encoding="ISO-8859-1")
        for column in frame.select_dtypes(["object", "string"]).columns:
            frame[column] = _decoded(frame[column])
        return frame, counted, [*said, "text in it is not UTF-8, as it says"]


def _decoded(cells: pd.Series[Any]) -> list[Any]:
    """Cells of bytes that were taken as ISO 8859-1: UTF-8 where they are, also cut in a sign, else Windows-1252."""
    raw = [cell.encode("latin-1") if isinstance(cell, str) else cell for cell in cells]
    wide = any(isinstance(cell, bytes) and not cell.isascii() and is_encoded(cell, "utf-8") for cell in raw)
    decoder = codecs.getincrementaldecoder("utf-8")

    def text(cell: Any) -> Any:
        if not isinstance(cell, bytes):
            return cell
        try:
            return decoder().decode(cell, not wide)
        except UnicodeDecodeError:
            return cell.decode("cp1252", "replace")

    return [text(cell) for cell in raw]


def _refuse_many(count: int, *, label: str) -> None:
    if count > MAX_RECORDS:
        what = f"counts {count:,} records; the limit is {MAX_RECORDS:,}"
        raise LayerError(Fault(where=label, what=what, mend="split the file, or export it again if it has fewer"))


def _heard(message: str, path: Path, layer: str) -> str:
    return message.replace(str(path.with_suffix("")), layer).replace(path.name, layer)


def _geometry(frame: gpd.GeoDataFrame | pd.DataFrame) -> NDArray[np.object_]:
    if not isinstance(frame, gpd.GeoDataFrame):
        return np.full(len(frame), None, dtype=object)
    return frame.geometry.to_numpy(dtype=object)


def _from_frame(frame: gpd.GeoDataFrame | pd.DataFrame, *, label: str, layer: str, notes: Sequence[str]) -> RawLayer:
    spatial = isinstance(frame, gpd.GeoDataFrame)
    geometry = _geometry(frame)
    table = pd.DataFrame(frame.drop(columns=frame.geometry.name) if spatial else frame).reset_index(drop=True)
    lost = (frame.geometry.isna() | frame.geometry.is_empty).to_numpy() if spatial else np.full(len(frame), True)
    twice = table.columns.duplicated()
    if twice.any():  # GDAL gives the values of the last for all of them
        named = ", ".join(dict.fromkeys(map(str, table.columns[twice])))
        notes = [*notes, f"{label}: has several columns of one name, and the last of them is read: {named}"]
        table = table.loc[:, ~twice]
    return RawLayer(
        label=label,
        layer=layer,
        frame=table,
        geometry=geometry,
        marks=marks(len(table), problem=np.where(lost, NO_GEOMETRY, "").astype(object)),
        crs=_known(cast(Any, frame).crs) if spatial else None,
        notes=tuple(notes),
    )


def _with_reasons(raw: RawLayer, reasons: dict[int, str]) -> RawLayer:
    """With what is known of the shapes that did not come out."""
    if not reasons:
        return raw
    marked = raw.marks.copy()
    marked.loc[list(reasons), "problem"] = list(reasons.values())
    return dataclasses.replace(raw, marks=marked)


def padded(raw: RawLayer, counted: int) -> RawLayer:
    """With a record, set aside, for each that the file counts and that did not come out."""
    reasons = missing(counted, len(raw.frame))
    if not reasons:
        return raw
    return dataclasses.replace(
        raw,
        frame=raw.frame.reindex(range(len(raw.frame) + len(reasons))),
        geometry=np.concatenate([raw.geometry, np.full(len(reasons), None, dtype=object)]),
        marks=pd.concat([raw.marks, marks(len(reasons), problem=reasons)], ignore_index=True),
    )


def _known(crs: CRS | None) -> CRS | None:
    """The reference system, unless the file says that it is not known."""
    unknown = crs is None or crs.name.lower().startswith(("undefined", "unknown")) or crs.is_engineering
    return None if unknown else crs
