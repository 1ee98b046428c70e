"""One raw layer of a survey cleaned: every record becomes a patch, or is set aside with its reason."""

from __future__ import annotations

import datetime as dt
import json
import re
from dataclasses import dataclass
from typing import Any, Final, get_args
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from invasimap.core.survey_settings import Role, SurveySection
from invasimap.inputs.cells import cell_text, join_reasons, map_unique, text_column
from invasimap.inputs.fields import find_columns, header_words, role_text
from invasimap.inputs.formats.raw import RawLayer
from invasimap.inputs.outlines import read_sizes, said_length
from invasimap.inputs.patches import footprints
from invasimap.inputs.place import place
from invasimap.inputs.species import JOINER, Catalogue, Match, plain_name
from invasimap.inputs.values import Cover, parse_cover, parse_size, read_dates

ROLES: Final = (*get_args(Role), "size", "bearing")
_WORDS: Final = ("species", "date", "observer", "notes")  # no numbers: a comma in them stays one
_LABELS: Final = ("type", "name", "title", "cmt", "desc", "description", "sym")
_PAIR: Final = re.compile(r"([^\W\d][\w ()%]*?)\s*[:=]\s*([^;|\n\r<>]+)")
_NO_SPECIES: Final = 'no column names the species: set columns = { species = "…" } in its [[survey]] block'


@dataclass(frozen=True, kw_only=True)
class Site:
    """What the records of a tract are held against."""

    crs: CRS
    near: shapely.Polygon
    timezone: ZoneInfo
    species: Catalogue
    today: dt.date


@dataclass(frozen=True, kw_only=True)
class Cleaned:
    """A layer's records: patches, set aside and repaired ones, and what is to be said aloud."""

    patches: gpd.GeoDataFrame
    set_aside: gpd.GeoDataFrame
    repaired: pd.DataFrame
    ledger: dict[str, Any]
    notes: list[str]


def clean_layer(raw: RawLayer, section: SurveySection, *, crs: CRS | None, site: Site) -> Cleaned:
    """Clean one layer; ``crs`` is what its ``[[survey]]`` block says, used only where the file does not."""
    texts, notes = role_texts(raw, section, site.species)
    notes += _fraction_note(raw, texts["cover"])
    source = source_crs(raw, crs)
    if source is None:
        notes.append(
            f"{raw.label}: no CRS: all {len(raw.frame)} records are set aside; set crs in its [[survey]] block"
        )
    placed = place(raw.geometry, raw.marks["problem"], source=source, crs=site.crs, near=site.near)
    named = read_names(texts["species"], site.species)
    cover = read_cover(texts["cover"], default=section.defaults.cover_pct)
    usable = pd.Series(placed["geometry"].to_numpy(), dtype=object).where(placed["reason"] == "", None)
    drawn = footprints(
        usable, walked=raw.marks["walked"].to_numpy(), sizes=read_sizes(texts), defaults=section.defaults
    )
    fields = read_fields(texts, section, site, utc=raw.utc)
    reason = join_reasons(named["reason"], cover["reason"], drawn["reason"])
    blank = raw.marks["problem"] == "the row is blank"
    reason = join_reasons(placed["reason"], reason.mask(blank, ""))
    how = join_reasons(raw.marks["repair"], named["how"], cover["how"], drawn["how"], fields["how"])
    table = pd.concat(
        [named[["species", "common_name", "known"]], fields.drop(columns="how"),
         cover[["cover_pct", "cover_low_pct", "cover_high_pct"]], drawn[["shape", "geometry"]]], axis=1,
    )  # fmt: skip
    table["file"], table["record"] = raw.label, np.arange(1, len(table) + 1)
    return _sort_out(raw, table, placed["geometry"], reason=reason, how=how, notes=notes, crs=site.crs)


def role_texts(
    raw: RawLayer, section: SurveySection, species: Catalogue
) -> tuple[dict[str, pd.Series[Any]], list[str]]:
    """Text of every role, and notes where the species had to be found in a label."""
    overrides = {str(role): name for role, name in section.columns.items()}
    found = find_columns(raw.frame.columns, overrides=overrides)
    texts = {
        role: role_text(raw.frame, found.get(role, ()), decimal_comma="never" if role in _WORDS else raw.decimal_comma)
        for role in ROLES
    }
    for column in (c for c in raw.frame.columns if str(c).lower() in ("desc", "cmt", "description")):
        _take_pairs(text_column(raw.frame[column]), texts, found)
    notes = list(raw.notes)
    if "species" not in found and (texts["species"] == "").all():
        for column in (c for label in _LABELS for c in raw.frame.columns if str(c).lower() == label):
            cells = text_column(raw.frame[column])
            known = [species.match(text).known for text in cells[cells != ""].unique()]
            if known and np.mean(known) >= 0.5:
                texts["species"] = cells
                return texts, [*notes, f"{raw.label}: species taken from column {column!r}"]
        notes.append(f"{raw.label}: {_NO_SPECIES}")
    return texts, notes


def _take_pairs(cells: pd.Series[Any], texts: dict[str, pd.Series[Any]], found: dict[str, Any]) -> None:
    """Read "cover: 25 %; radius = 10 ft" in a description into the roles that have no column."""
    for row, cell in cells.items():
        for header, value in _PAIR.findall(cell):
            role, unit = _role_of(header)
            if role and role not in found and texts[role].at[row] == "":
                frame = pd.DataFrame({f"x ({unit})" if unit else "x": [value.strip()]})
                texts[role].at[row] = _said(frame, unit)


def _said(frame: pd.DataFrame, unit: str) -> str:
    cell = str(frame.iat[0, 0])
    return f"{cell} {unit}" if unit and re.fullmatch(r"[-+.\d\s]+", cell) else cell


def _role_of(header: str) -> tuple[str, str]:
    found = find_columns([header.strip()])
    return next(iter(found), ""), header_words(header.strip())[1]


def source_crs(raw: RawLayer, crs: CRS | None) -> CRS | None:
    """The file's own system; the setting where it has none or only column names that mean degrees."""
    if raw.crs is None:
        return crs
    if raw.crs_assumed and crs is not None and crs.is_geographic:
        return crs
    return raw.crs


def read_names(cells: pd.Series[Any], species: Catalogue) -> pd.DataFrame:
    """Columns species, common_name, known, how and reason."""

    def read(text: str) -> tuple[str, str, bool, str, str]:
        if not text:
            return "", "", False, "", "species is blank"
        plain = plain_name(text)
        if not plain:
            return "", "", False, "", f"species {text!r} is no name"
        found: Match = species.match(plain)
        if found.suggestions:
            return (
                text,
                "",
                False,
                "",
                f"species {text!r} is not clear: nearest are {', '.join(found.suggestions)}",
            )
        kept = found.scientific_name.replace(JOINER, ",")
        cleaned = f"species {text!r} written as {kept!r}" if plain != text or kept != found.scientific_name else ""
        return kept, found.common_name, found.known, "; ".join(filter(None, (cleaned, found.how))), ""

    rows = map_unique(cells, read)
    return pd.DataFrame(rows, columns=["species", "common_name", "known", "how", "reason"], index=cells.index)


def read_cover(cells: pd.Series[Any], *, default: tuple[float, float] | None) -> pd.DataFrame:
    """Columns cover_pct, cover_low_pct, cover_high_pct, reason and how; blank is the default, else 100 %."""
    if default is None:
        filled, said = Cover(100.0, 100.0, 100.0), "cover not recorded: counted as 100 %"
    else:
        filled = Cover((default[0] + default[1]) / 2, *default)
        shown = f"{default[0]:g}" if default[0] == default[1] else f"{default[0]:g}-{default[1]:g}"
        said = f"cover from defaults: {shown} %"
    rows = map_unique(cells, lambda text: (*parse_cover(text), "") if text else (*filled, said))
    columns = ["cover_pct", "cover_low_pct", "cover_high_pct", "reason", "how"]
    return pd.DataFrame(rows, columns=columns, index=cells.index)


def read_fields(texts: dict[str, pd.Series[Any]], section: SurveySection, site: Site, *, utc: bool) -> pd.DataFrame:
    """Columns date, height_m, accuracy_m, observer, notes and how."""
    dates = read_dates(texts["date"], timezone=site.timezone, utc=utc, today=site.today)
    height = _side_length(texts["height"], role="height", default=section.defaults.height_m)
    accuracy = _side_length(texts["accuracy"], role="accuracy", default=None)
    if section.gps_accuracy_m is not None:
        accuracy["value"] = accuracy["value"].fillna(section.gps_accuracy_m)
    observer = texts["observer"]
    return pd.DataFrame(
        {
            "date": dates["date"],
            "height_m": height["value"],
            "accuracy_m": accuracy["value"],
            "observer": observer.mask(observer == "", section.observer or ""),
            "notes": texts["notes"],
            "how": join_reasons(dates["how"], height["how"], accuracy["how"]),
        }
    )


def _side_length(cells: pd.Series[Any], *, role: str, default: float | None) -> pd.DataFrame:
    """A length that is told beside the patch: what is wrong with it costs the value, not the record."""

    def read(text: str) -> tuple[float, str]:
        if not text and default is not None:
            return default, f"{role} from defaults: {said_length(default)}"
        size = parse_size(text, role=role, dimension="length")
        return size.value, f"{size.problem.partition(':')[0]}: not used" if size.problem else ""

    return pd.DataFrame(map_unique(cells, read), columns=["value", "how"], index=cells.index)


def _fraction_note(raw: RawLayer, cells: pd.Series[Any]) -> list[str]:
    numbers = pd.to_numeric(cells.str.removesuffix(" %"), errors="coerce").dropna()
    if len(numbers) and (numbers <= 1).all() and (numbers % 1 != 0).any():
        return [f"{raw.label}: no cover is above 1 %: are they fractions? Then write the header as 'cover (fraction)'"]
    return []


def _sort_out(
    raw: RawLayer, table: pd.DataFrame, placed: pd.Series[Any], *, reason: pd.Series[Any], how: pd.Series[Any],
    notes: list[str], crs: CRS,
) -> Cleaned:  # fmt: skip
    good = reason == ""
    mended = good & (how != "")
    aside = table.loc[~good, ["file", "record"]].assign(
        reason=reason[~good], raw=[_raw_json(row) for row in raw.frame[~good.to_numpy()].to_dict("records")]
    )
    return Cleaned(
        patches=gpd.GeoDataFrame(table[good], geometry="geometry", crs=crs),
        set_aside=gpd.GeoDataFrame(aside, geometry=placed[~good].to_numpy(dtype=object), crs=crs),
        repaired=table.loc[mended, ["file", "record"]].assign(how=how[mended]),
        ledger={
            "file": raw.label,
            "records": len(table),
            "accepted": int((good & ~mended).sum()),
            "repaired": int(mended.sum()),
            "set_aside": int((~good).sum()),
        },
        notes=notes,
    )


def _raw_json(row: dict[Any, Any]) -> str:
    """Raw values as JSON; a missing value is null."""
    values = {str(k): None if cell_text(v) == "" and not isinstance(v, str) else v for k, v in row.items()}
    return json.dumps(values, ensure_ascii=False, default=_plain)


def _plain(value: Any) -> Any:
    return value.item() if isinstance(value, np.generic) else str(value)
