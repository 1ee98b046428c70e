"""Infested ground on the field map: patches and faces, with what the reader's switches need to count and hide them."""

from __future__ import annotations

from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from invasimap.land.words import OUTSIDE
from invasimap.prescription.plan import Plan
from invasimap.reports import style
from invasimap.reports.answers import common_names
from invasimap.reports.packed import WebLayer
from invasimap.reports.patterns import area_look, mark_look
from invasimap.reports.wording import (
    ACCESS_WORDS,
    OUTCOME_WORDS,
    OUTCOMES,
    outcome,
    rows_of,
    shown_area,
    shown_date,
    shown_number,
)

PATCH_PT = 5.0
LEAST_SHARE = 0.005  # parts of a patch smaller than this share are slivers of drawing, not work
ACCESS: Final = tuple(ACCESS_WORDS)
ZONES: Final = {
    "open": "open to spray",
    "hand_only": "hand work only",
    "no_spray": "no spray",
    OUTSIDE: "in no stand",
}
# what the switches say: each counts its ground whatever the other group says of it, and so is no row of the legend,
# which counts what can be done; only a switch that shows exactly a row's ground has that row's words and fill
SWITCHES: Final = {
    "tractor": "a tractor gets there",
    "atv_hose": "a hose from an ATV gets there",
    "foot": "only people on foot get there",
    "out_of_reach": "nothing gets there",
    "open": "open to spray",
    "hand_only": "hand-only ground",
    "no_spray": OUTCOME_WORDS["no_spray"],
    OUTSIDE: OUTCOME_WORDS["outside"],
}
EVERY: Final = 2 ** (len(ZONES) * len(ACCESS)) - 1  # a patch that lies on ground of every kind


def zone_codes(ground: pd.DataFrame) -> Any:
    """Which of ``ZONES`` each piece of ground is shown under: no-spray first, then what lies in no stand."""
    names = list(ZONES)
    zone = ground["zone"].map(names.index).to_numpy(np.int64)
    outside = (ground["stand"] == OUTSIDE).to_numpy() & (zone != names.index("no_spray"))
    return np.where(outside, names.index(OUTSIDE), zone)


def access_codes(ground: pd.DataFrame) -> Any:
    """Which of ``ACCESS`` reaches each piece of ground."""
    return ground["access"].map(ACCESS.index).to_numpy(np.int64)


def species_list(plan: Plan) -> list[str]:
    """Every species of the plan, in the order of its switches."""
    return sorted({str(name) for name in plan.patches["species"]})


def switches(plan: Plan) -> dict[str, Any]:
    """The three groups of switches that combine: access, zone and species.

    Each with its words, what a tap says of such ground, and a fill of the legend or -1.
    """
    common = common_names(plan)
    fills = {"no_spray": OUTCOMES.index("no_spray"), OUTSIDE: OUTCOMES.index("outside")}
    said = {"access": ACCESS_WORDS, "zone": ZONES}
    return {
        group: [{"words": SWITCHES[name], "said": texts[name], "look": fills.get(name, -1)} for name in texts]
        for group, texts in said.items()
    } | {
        "species": [{"words": str(common.get(name, "") or ""), "latin": name} for name in species_list(plan)],
    }


def faces_layer(plan: Plan) -> WebLayer:
    """The partition of infested ground, filled by what can be done; each face with its area and codes."""
    faces = _single_faces(plan)
    sets, of_set = np.unique(faces["species"].to_numpy(str), return_inverse=True)
    number = {name: place for place, name in enumerate(species_list(plan))}
    names = outcome(faces)
    at = {key: place for place, key in enumerate(_keys(plan.treatment_zones))}
    more = {
        "area": faces.area.round(2).tolist(),
        "zone": zone_codes(faces).tolist(),
        "access": access_codes(faces).tolist(),
        "sets": [[number[name] for name in text.split(";") if name in number] for text in sets],
        "set": of_set.tolist(),
        "treatment": [at.get(key, -1) for key in _keys(faces)],
        "treatment_rows": _zone_facts(plan),
        "outcomes": [OUTCOME_WORDS[name] for name in OUTCOMES],
    }
    return WebLayer(
        name="faces", shapes=faces.geometry.to_numpy(), look=[OUTCOMES.index(name) for name in names],
        looks=[area_look(style.OUTCOME[name]) | {"edge": "", "width": 0} for name in OUTCOMES], more=more,
    )  # fmt: skip


def _single_faces(plan: Plan) -> gpd.GeoDataFrame:
    """The partition with each polygon by itself: a row of it may be scattered all over a stand."""
    return plan.mosaic.explode(ignore_index=True)


def _keys(ground: pd.DataFrame) -> list[tuple[str, str, str]]:
    """What names a treatment zone."""
    return [(str(row.stand), str(row.zone), str(row.access)) for row in rows_of(ground)]


def _zone_facts(plan: Plan) -> list[list[str]]:
    """Of each treatment zone its id, stand and area as they are shown."""
    return [
        [str(row.id), str(row.stand), shown_area(row.gross_m2, plan.shown)] for row in rows_of(plan.treatment_zones)
    ]


def patches_layer(plan: Plan) -> WebLayer:
    """Patch outlines with all that a crew asks of a patch, and the colour of the marks that stand for small ones."""
    patches = plan.patches
    pieces = patch_pieces(plan)
    main = (
        pieces.sort_values(["patch", "share"], ascending=[True, False], kind="stable").groupby("patch")["work"].first()
    )
    work = main.reindex(range(len(patches)), fill_value="out_of_reach")
    terms, rows = patch_facts(plan, _outcomes(plan, pieces))
    outcome_looks = [style.OUTCOME[name] for name in OUTCOMES]
    common = patches["common_name"].fillna("") if "common_name" in patches else [""] * len(patches)
    number = {name: place for place, name in enumerate(species_list(plan))}
    more = {
        "species": [number[str(name)] for name in patches["species"]],
        "mask": _masks(pieces, len(patches)),
        "ids": [str(name) for name in patches["id"]],
    }
    return WebLayer(
        name="patches", shapes=patches.geometry.to_numpy(),
        looks=[
            mark_look(look.mark, look.fill, size_pt=PATCH_PT) | {"dots": True} for look in outcome_looks
        ],
        look=[OUTCOMES.index(name) for name in work],
        titles=[f"{name}\n{latin}" for name, latin in zip(common, patches["species"], strict=True)],
        terms=terms, rows=rows, more=more,
    )  # fmt: skip


def _masks(pieces: pd.DataFrame, count: int) -> list[int]:
    """For each patch the kinds of ground it lies on, a bit each; every one where that is not known."""
    bits = np.zeros(count, np.int64)
    kinds = pieces["zone_code"].to_numpy() * len(ACCESS) + pieces["access_code"].to_numpy()
    np.bitwise_or.at(bits, pieces["patch"].to_numpy(), 1 << kinds)
    return np.where(bits == 0, EVERY, bits).tolist()


def patch_facts(plan: Plan, work: pd.DataFrame) -> tuple[list[str], list[list[str]]]:
    """The terms a patch is described by and, for each patch, their texts (empty: nothing to say)."""
    shown = plan.shown
    pictures = {} if plan.photos.empty else plan.photos.groupby("patch")["file"].agg(list).to_dict()
    repairs = {(str(row.file), int(row.record)): str(row.how) for row in rows_of(plan.repaired)}
    terms, rows = [], []
    for row in rows_of(plan.patches):
        height = shown.length_of(float(row.height_m)) if pd.notna(row.height_m) else None
        pairs = {
            "patch": str(row.id),
            "area": shown_area(row.gross_m2, shown),
            "cover": _figure(row.cover_pct, "%"),
            "height": _figure(height, shown.length),
            "seen": shown_date(row.date),
            "stand": work.loc[row.Index, "stand"],
            "what can be done": work.loc[row.Index, "work"],
            "notes": _noted(getattr(row, "notes", "")),
            "seen by": _noted(getattr(row, "observer", "")),
            "from": f"{row.file}, record {row.record}",
            "assumed or put right": repairs.get((str(row.file), int(row.record)), ""),
            "pictures": ", ".join(pictures.get(str(row.id), [])),
        }
        terms = list(pairs)
        rows.append([str(text) for text in pairs.values()])
    return terms, rows


def _noted(value: object) -> str:
    return "" if value is None or pd.isna(value) else str(value)  # type: ignore[call-overload]


def _figure(value: float | None, unit: str) -> str:
    if value is None or pd.isna(value):
        return "not known"
    return f"{shown_number(float(value), decimals=0 if float(value) >= 10 else 1)} {unit}"


def patch_pieces(plan: Plan) -> pd.DataFrame:
    """For each patch (``patch``, its number) the kinds of ground under it with their ``share`` of it; no slivers."""
    pieces = _single_faces(plan)
    shapes, grounds = plan.patches.geometry.to_numpy(), pieces.geometry.to_numpy()
    patch, piece = shapely.STRtree(grounds).query(shapes, predicate="intersects")
    kinds = pd.DataFrame({
        "work": outcome(pieces).to_numpy(), "stand": pieces["stand"].astype(str).to_numpy(),
        "zone_code": zone_codes(pieces), "access_code": access_codes(pieces),
    })  # fmt: skip
    area = shapely.area(shapely.intersection(shapes[patch], grounds[piece]))
    long = kinds.iloc[piece].assign(patch=patch, area=area)
    long = long.groupby(["patch", *kinds.columns], as_index=False)["area"].sum()
    long["share"] = long["area"] / long.groupby("patch")["area"].transform("sum")
    return long[long["share"] > LEAST_SHARE]


def patch_outcomes(plan: Plan) -> pd.DataFrame:
    """For each patch ``stand`` and ``work``: what can be done, with the share of each where there are several."""
    return _outcomes(plan, patch_pieces(plan))


def _outcomes(plan: Plan, long: pd.DataFrame) -> pd.DataFrame:
    shares = long.groupby(["patch", "work"])["share"].sum().reset_index()
    shares = shares.sort_values(["patch", "share"], ascending=[True, False], kind="stable")
    stands = long[["patch", "stand"]].drop_duplicates().sort_values(["patch", "stand"])
    found = {"stand": stands["stand"].groupby(stands["patch"]), "work": _share_words(shares).groupby(shares["patch"])}
    table = pd.DataFrame({name: texts.agg(", ".join) for name, texts in found.items()}, dtype=object)
    return table.reindex(range(len(plan.patches)), fill_value="not known").set_axis(plan.patches.index)


def _share_words(shares: pd.DataFrame) -> pd.Series:
    """What can be done in words, with the share in percent where a patch has several."""
    several = shares["patch"].duplicated(keep=False)
    texts = [
        OUTCOME_WORDS[name] + (f" {share * 100:.0f}\N{NO-BREAK SPACE}%" if more else "")
        for name, share, more in zip(shares["work"], shares["share"], several, strict=True)
    ]
    return pd.Series(texts, index=shares.index, dtype=object)


def stands_layers(plan: Plan) -> list[WebLayer]:
    """The stands' edges, and their names at a place inside."""
    shapes = plan.stands.geometry.to_numpy()
    look = {"edge": style.GROUND["stand"].edge, "width": 2.5}
    names = [str(name) for name in plan.stands["stand"]]
    return [
        WebLayer(name="stands", switch="stands", shapes=shapes, looks=[look]),
        WebLayer(
            name="stand_names", switch="stands", shapes=shapely.point_on_surface(shapes), looks=[],
            more={"names": names},
        ),
    ]  # fmt: skip
