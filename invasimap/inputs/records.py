"""One raw layer of a survey cleaned: every record becomes a patch, or is set aside with its reason."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS

from invasimap.core.survey_settings import DateOrder, SurveySection
from invasimap.inputs.cells import Cells, join_cells, stack_cells
from invasimap.inputs.cover import Cover, parse_cover
from invasimap.inputs.cover_scales import Scale, choose_scale
from invasimap.inputs.dates import read_dates
from invasimap.inputs.formats.raw import RawLayer
from invasimap.inputs.outlines import read_sizes, said_length
from invasimap.inputs.patches import Footprints, footprints
from invasimap.inputs.place import Placed, place, system_notes
from invasimap.inputs.recognise import Recognised
from invasimap.inputs.roles import role_cells, said_absent
from invasimap.inputs.rounding import rounding_m
from invasimap.inputs.site import Site
from invasimap.inputs.species import JOINER, Catalogue, aside_reason, plain_name
from invasimap.inputs.stands_box import moves
from invasimap.inputs.values import Count, Upper, parse_count, parse_size, parse_upper


@dataclass(frozen=True, kw_only=True)
class Records:
    """Records column by column: what they say, where they lie, and what became of each.

    A record with a ``reason`` is set aside; one without, but with a ``how``, is repaired. ``text`` and ``number`` hold
    the columns of the patches; own_cover and own_size are 1 where the record itself says them, said_height and
    said_stem tell apart what records say of them (NaN where nothing). Points are drawn when the patches are asked for:
    ``xy`` (n x 2, m) is where they lie, a_m and b_m are their semi-axes along and across bearing_deg. ``geometry`` is
    the ground of all others and ``placed`` what was mapped.
    """

    text: dict[str, Cells]
    number: dict[str, NDArray[np.float64]]
    known: NDArray[np.bool_]
    xy: NDArray[np.float64]
    geometry: NDArray[np.object_]
    placed: NDArray[np.object_]
    reason: Cells
    how: Cells

    def __len__(self) -> int:
        return len(self.known)


@dataclass(frozen=True, kw_only=True)
class Cleaned:
    """A layer as read and as cleaned, what its columns were taken for, and what is to be said aloud."""

    raw: RawLayer
    records: Records
    columns: list[Recognised]
    notes: list[str]


def clean_layer(raw: RawLayer, section: SurveySection, *, crs: CRS | None, site: Site) -> Cleaned:
    """Clean one layer; ``crs`` is what its ``[[survey]]`` block says, used only where the file does not."""
    roles = role_cells(raw, section, site.species)
    texts, notes = roles.cells, [*roles.notes]
    choice = choose_scale(
        roles.cover_header, texts["cover"].texts, own=site.intake.cover_scales, wanted=section.cover_scale,
        filled=int((~texts["cover"].blank).sum()),
    )  # fmt: skip
    notes += [f"{raw.label}: {choice.note}"] if choice.note else []
    source = source_crs(raw, crs)
    placed = place(raw, source=source, site=site)
    source = source if source is not None and moves(source, site.crs) else None
    notes += system_notes(raw, placed, source=source, site=site)
    sizes = read_sizes(texts)
    walked = raw.marks["walked"].to_numpy()
    drawn = footprints(placed, walked=walked, sizes=sizes, defaults=section.defaults, intake=site.intake)
    notes += _size_notes(raw, drawn, far_m=site.intake.far_m)
    rounded_m, rounding_notes = rounding_m(raw, roles.columns, source=source)
    notes += rounding_notes
    told = _told(texts, section, site, scale=choice.scale, utc=raw.utc, rounded_m=rounded_m)
    told = replace(told, reason=join_cells(said_absent(raw), told.reason))
    records = _records(raw, placed, drawn, told)
    return Cleaned(raw=raw, records=records, columns=roles.columns, notes=notes)


def _size_notes(raw: RawLayer, drawn: Footprints, *, far_m: float) -> list[str]:
    """What to say of points whose size reaches further than a record may lie from the stands."""
    reach_m = np.fmax(drawn.axes.a_m, drawn.axes.b_m)
    point = drawn.shape.each([shape == "point" for shape in drawn.shape.texts], dtype=bool)
    rows = np.flatnonzero(point & drawn.reason.blank & (reach_m > far_m))
    if not len(rows):
        return []
    return [
        f"{raw.label}: points that reach over {far_m:,.0f} m by their size: {len(rows)}, such as record {rows[0] + 1} "
        f"({reach_m[rows[0]]:,.0f} m): check its unit"
    ]


@dataclass(frozen=True, kw_only=True)
class _Told:
    """What the cells of records say, beside place and ground."""

    text: dict[str, Cells]
    number: dict[str, NDArray[np.float64]]
    known: NDArray[np.bool_]
    reason: Cells
    how: Cells


def _told(
    texts: dict[str, Cells], section: SurveySection, site: Site, *, scale: Scale | None, utc: bool,
    rounded_m: NDArray[np.float64],
) -> _Told:  # fmt: skip
    named = read_names(texts["species"], site.species)
    cover = read_cover(texts["cover"], default=section.defaults.cover_pct, scale=scale)
    date = read_date(texts["date"], site, utc=utc, order=section.date_order)
    height = read_upper(texts["height"], role="height", default_m=section.defaults.height_m)
    stem = read_upper(texts["stem_diameter"], role="stem_diameter")
    accuracy, accuracy_how = _accuracy_m(texts["accuracy"])
    if section.gps_accuracy_m is not None:
        accuracy = np.where(np.isnan(accuracy), section.gps_accuracy_m, accuracy)
    if (short := np.flatnonzero(rounded_m)).size:
        accuracy = np.array(accuracy)
        accuracy[short] = np.hypot(np.nan_to_num(accuracy[short]), rounded_m[short])
    stems = [parse_count(text) for text in texts["stems"].texts]
    return _Told(
        text={
            "species": named.species,
            "common_name": named.common_name,
            "date": date.date,
            "observer": texts["observer"].or_else(Cells.same(section.observer or "", len(texts["observer"]))),
            "stems": texts["stems"].with_texts([_said_stems(count) for count in stems]),
            "notes": texts["notes"],
        },
        number={
            **cover.number,
            "height_m": height.value_m,
            "stem_mm": 1000 * stem.value_m,
            "accuracy_m": accuracy,
            "own_cover": (~texts["cover"].blank).astype(float),
            "said_height": height.stated,
            "said_stem": stem.stated,
        },
        known=named.known,
        reason=join_cells(named.reason, cover.reason, date.reason),
        how=join_cells(
            named.how,
            cover.how,
            date.how,
            height.how,
            stem.how,
            accuracy_how,
            texts["stems"].with_texts([count.how for count in stems]),
        ),
    )


def _records(raw: RawLayer, placed: Placed, drawn: Footprints, told: _Told) -> Records:
    """The columns of a layer's records, and what became of each."""
    return Records(
        text={**told.text, "shape": drawn.shape, "file": Cells.same(raw.label, len(raw.frame))},
        number={
            **told.number,
            "record": np.arange(1.0, len(raw.frame) + 1),
            "a_m": drawn.axes.a_m,
            "b_m": drawn.axes.b_m,
            "bearing_deg": drawn.axes.bearing_deg,
            "own_size": drawn.axes.own.astype(float),
        },
        known=told.known,
        xy=placed.xy,
        geometry=drawn.geometry,
        placed=placed.shapes,
        reason=join_cells(placed.reason, join_cells(told.reason, drawn.reason).where(~_says_nothing(raw))),
        how=join_cells(Cells.of(raw.marks["repair"]), placed.how, told.how, drawn.how),
    )


def _says_nothing(raw: RawLayer) -> NDArray[np.bool_]:
    """Records with a problem and no value at all: what they lack is not worth a word."""
    rows = np.flatnonzero(raw.marks["problem"] != "")
    for name in raw.frame.columns if len(rows) else ():
        rows = rows[Cells.of(raw.frame[name].iloc[rows].astype(object)).blank]
    found = np.zeros(len(raw.frame), dtype=bool)
    found[rows] = True
    return found


def stack_records(parts: Sequence[Records]) -> Records:
    """The records of several layers under one another."""
    if len(parts) == 1:
        return parts[0]
    return Records(
        text={name: stack_cells([part.text[name] for part in parts]) for name in parts[0].text},
        number={name: np.concatenate([part.number[name] for part in parts]) for name in parts[0].number},
        known=np.concatenate([part.known for part in parts]),
        xy=np.concatenate([part.xy for part in parts]),
        geometry=np.concatenate([part.geometry for part in parts]),
        placed=np.concatenate([part.placed for part in parts]),
        reason=stack_cells([part.reason for part in parts]),
        how=stack_cells([part.how for part in parts]),
    )


def source_crs(raw: RawLayer, crs: CRS | None) -> CRS | None:
    """The file's own system; the setting where it has none or only column names that mean degrees."""
    if raw.crs is None:
        return crs
    if raw.crs_assumed and crs is not None and crs.is_geographic:
        return crs
    return raw.crs


@dataclass(frozen=True, kw_only=True)
class Named:
    """Names as read: taxon, common name, whether the catalogue knows it, what was changed, and why it is no name."""

    species: Cells
    common_name: Cells
    known: NDArray[np.bool_]
    how: Cells
    reason: Cells


def read_names(cells: Cells, species: Catalogue) -> Named:
    """The species of each record."""
    read = [_read_name(text, species) for text in cells.texts]
    return Named(
        species=cells.with_texts([row[0] for row in read]),
        common_name=cells.with_texts([row[1] for row in read]),
        known=cells.each([row[2] for row in read], dtype=bool),
        how=cells.with_texts([row[3] for row in read]),
        reason=cells.with_texts([row[4] for row in read]),
    )


def _read_name(text: str, species: Catalogue) -> tuple[str, str, bool, str, str]:
    """Taxon, common name, known, how and reason of one written name."""
    if not text:
        return "", "", False, "", "species is blank"
    plain = plain_name(text)
    if not plain:
        return "", "", False, "", f"species {text!r} is no name"
    found = species.match(plain)
    if why := aside_reason(found):
        return text, "", False, "", why
    kept = found.scientific_name.replace(JOINER, ",")
    cleaned = f"species {text!r} written as {kept!r}" if plain != text or kept != found.scientific_name else ""
    return kept, found.common_name, found.known, "; ".join(filter(None, (cleaned, found.how))), ""


@dataclass(frozen=True, kw_only=True)
class Covers:
    """Cover of each record: cover_pct, cover_low_pct and cover_high_pct, cover_told (1 where the record itself says how
    much it is), why it is none, and what was taken."""

    number: dict[str, NDArray[np.float64]]
    reason: Cells
    how: Cells


def read_cover(cells: Cells, *, default: tuple[float, float] | None, scale: Scale | None = None) -> Covers:
    """The cover of each record; blank is the default, else 100 %."""
    if default is None:
        filled = Cover(100.0, 100.0, 100.0, how="cover not recorded: counted as 100 %", told=False)
    else:
        shown = f"{default[0]:g}" if default[0] == default[1] else f"{default[0]:g}-{default[1]:g}"
        filled = Cover((default[0] + default[1]) / 2, *default, how=f"cover from defaults: {shown} %", told=False)
    read = [parse_cover(text, scale=scale) if text else filled for text in cells.texts]
    columns = ("cover_pct", "cover_low_pct", "cover_high_pct")
    return Covers(
        number={name: cells.each([row[k] for row in read]) for k, name in enumerate(columns)}
        | {"cover_told": cells.each([float(row.told) for row in read])},
        reason=cells.with_texts([row.reason for row in read]),
        how=cells.with_texts([row.how for row in read]),
    )


@dataclass(frozen=True, kw_only=True)
class Dated:
    """Date of each record (ISO text or ""), what was changed or not read, and why a record cannot be used."""

    date: Cells
    how: Cells
    reason: Cells


def read_date(cells: Cells, site: Site, *, utc: bool, order: DateOrder | None = None) -> Dated:
    """The date of each record; ``order`` settles what the column leaves open."""
    read = read_dates(cells.texts, timezone=site.timezone, utc=utc, today=site.today, order=order)
    return Dated(
        date=cells.with_texts(read.date.tolist()),
        how=cells.with_texts(read.how.tolist()),
        reason=cells.with_texts(read.reason.tolist()),
    )


def _said_stems(count: Count) -> str:
    """Stems as a number or a range; nothing where none were counted."""
    if np.isnan(count.value):
        return ""
    if count.low == count.high:
        return f"{count.value:.0f}"
    return f"over {count.low:.0f}" if np.isinf(count.high) else f"{count.low:.0f}-{count.high:.0f}"


@dataclass(frozen=True, kw_only=True)
class Uppers:
    """Upper end of a size of each record (m; NaN where not known), what it states of it, and what was taken."""

    value_m: NDArray[np.float64]
    stated: NDArray[np.float64]
    how: Cells


def read_upper(
    cells: Cells, *, role: Literal["height", "stem_diameter"], default_m: float | None = None
) -> Uppers:  # fmt: skip
    """The upper end of each record's height or stem; blank is the default, where there is one."""
    filled = Upper(math.nan, math.nan)
    if default_m is not None:
        filled = Upper(default_m, math.nan, f"{role} from defaults: {said_length(default_m)}")
    read = [parse_upper(text, role=role) if text else filled for text in cells.texts]
    return Uppers(
        value_m=cells.each([row.value for row in read]),
        stated=cells.each([row.stated for row in read]),
        how=cells.with_texts([row.how for row in read]),
    )


def _accuracy_m(cells: Cells) -> tuple[NDArray[np.float64], Cells]:
    """Accuracies; what is wrong with one costs the value, not the record."""
    read = [parse_size(text, role="accuracy", dimension="length") for text in cells.texts]
    said = [f"{size.problem.partition(':')[0]}: not used" if size.problem else size.how for size in read]
    return cells.each([size.value for size in read]), cells.with_texts(said)
