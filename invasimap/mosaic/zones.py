"""Layers made from the faces: the mosaic by what grows where, and the treatment zones a crew works in."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from invasimap.mosaic.faces import Faces

MEANS = ("tractor", "atv_hose", "foot")


def mosaic_layer(faces: Faces) -> gpd.GeoDataFrame:
    """Faces of equal labels joined: ``stand, zone, access, species, cover_pct, area_m2``.

    ``species`` is semicolon-joined and sorted; ``cover_pct`` gives the cover of each in the same order.
    """
    growth = faces.growth.sort_values(["face", "species"], kind="stable")
    growth = growth.assign(cover_text=[f"{cover:g}" for cover in growth["cover_pct"]])
    labels = growth.groupby("face")[["species", "cover_text"]].agg(";".join)
    labels = labels.rename(columns={"cover_text": "cover_pct"})
    named = faces.ground.join(labels)
    return _joined(named, ["stand", "zone", "access", "species", "cover_pct"], "area_m2")


def treatment_zones(faces: Faces) -> gpd.GeoDataFrame:
    """Infested ground of one stand, zone and access class.

    Columns: ``id, stand, zone, access, species`` (all that grow there), ``gross_m2`` (every spot once), and how much of
    it each class reaches, so that a lesser one can be taken: ``tractor_m2, atv_hose_m2, foot_m2``.
    """
    keys = ["stand", "zone", "access"]
    layer = _joined(faces.ground, keys, "gross_m2")
    growth = faces.growth.join(faces.ground[keys], on="face")
    species = growth.groupby(keys)["species"].agg(lambda names: ";".join(sorted(set(names))))
    layer.insert(
        3,
        "species",
        pd.Series(species.reindex(pd.MultiIndex.from_frame(layer[keys])).to_numpy(), dtype=object),
    )
    for means in MEANS:
        held = np.array([means in text.split(";") for text in faces.ground["reached_by"]], bool)
        reached = faces.ground[held]
        area = reached.groupby(keys)["area_m2"].sum()
        found = area.reindex(pd.MultiIndex.from_frame(layer[keys]), fill_value=0.0)
        layer.insert(len(layer.columns) - 1, f"{means}_m2", np.minimum(found.to_numpy(float), layer["gross_m2"]))
    layer.insert(0, "id", [f"Z{number:03d}" for number in range(1, len(layer) + 1)])
    return layer


def zone_of(pieces: pd.DataFrame, zones: pd.DataFrame) -> npt.NDArray[np.object_]:
    """The ``id`` of the treatment zone that each piece, with ``stand, zone, access``, lies in."""
    keys = ["stand", "zone", "access"]
    ids = zones.set_index(keys)["id"]
    return ids.reindex(pd.MultiIndex.from_frame(pieces[keys])).to_numpy(object)


def _joined(faces: gpd.GeoDataFrame, keys: list[str], area: str) -> gpd.GeoDataFrame:
    """One row a set of equal keys, sorted; the faces share their edges exactly, so joining them keeps the area."""
    rows: list[dict[str, Any]] = []
    shapes = faces.geometry.to_numpy()
    groups: dict[Any, Any] = dict(faces.groupby(keys, sort=True).indices)
    for values, index in sorted(groups.items()):
        joined = shapely.coverage_union_all(shapes[np.asarray(index)])
        rows.append({**dict(zip(keys, values, strict=True)), area: shapely.area(joined), "geometry": joined})
    return gpd.GeoDataFrame(pd.DataFrame(rows, columns=[*keys, area, "geometry"]), geometry="geometry", crs=faces.crs)
