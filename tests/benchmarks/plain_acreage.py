"""The acreage table as one would write it with geopandas alone, on a folder of ``make_county``: the peer.

``careful``: patches dissolved by species and exploded, zones unioned and exploded, then one overlay after another.
``tiled``: the same with access and zones cut to small pieces first, which a practised hand does for large polygons.
"""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

LAYERS = ("patches", "stands", "access", "water", "sensitive")
QUAD_SEGS = 8


def read(folder: Path) -> dict[str, gpd.GeoDataFrame]:
    """The layers of a county."""
    return {name: layer_of(folder, name) for name in LAYERS}


def layer_of(folder: Path, name: str) -> gpd.GeoDataFrame:
    """One of them."""
    return gpd.read_parquet(folder / f"{name}.parquet")


def plain_acreage(folder: Path, *, tiled: bool) -> pd.Series:
    """Square metres by stand, species, access and zone (no_spray round water, hand_only round sensitive points)."""
    county = read(folder)
    patches, access = county["patches"], county["access"]
    point = patches["radius"].notna()
    shapes = patches.geometry.copy()
    shapes[point] = shapes[point].buffer(patches.loc[point, "radius"], quad_segs=QUAD_SEGS)
    found = patches.set_geometry(shapes)[["species", "geometry"]].dissolve("species").reset_index()
    found = found.explode(ignore_index=True)
    wet = county["water"].geometry.buffer(county["water"]["buf"], quad_segs=QUAD_SEGS).union_all()
    near = county["sensitive"].geometry.buffer(county["sensitive"]["buf"], quad_segs=QUAD_SEGS).union_all()
    zones = gpd.GeoDataFrame({"zone": ["no_spray", "hand_only"]}, geometry=[wet, near.difference(wet)], crs=found.crs)
    zones = zones.explode(ignore_index=True)
    if tiled:
        zones, access = _tiled(zones), _tiled(access)
    for layer in (county["stands"], access):
        found = gpd.overlay(found, layer, how="intersection")
    parts = [
        gpd.overlay(found, zones, how="intersection"),
        gpd.overlay(found, zones, how="difference").assign(zone="open"),
    ]
    table = pd.concat([part.assign(area=part.area) for part in parts])
    return table.groupby(["stand", "species", "cls", "zone"])["area"].sum()


def _tiled(layer: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    pieces, of = [], []
    for number, shape in enumerate(layer.geometry.to_numpy()):
        waiting = [(shape, *shape.bounds)]
        while waiting:
            piece, left, bottom, right, top = waiting.pop()
            if shapely.get_num_coordinates(piece) < 200 or max(right - left, top - bottom) < 30:
                pieces.append(piece)
                of.append(number)
                continue
            across, up = (left + right) / 2, (bottom + top) / 2
            wide = right - left > top - bottom
            halves = (
                [(left, bottom, across, top), (across, bottom, right, top)]
                if wide
                else [(left, bottom, right, up), (left, up, right, top)]
            )
            cut = [(shapely.clip_by_rect(piece, *half), *half) for half in halves]
            waiting += [one for one in cut if not one[0].is_empty]
    frame = layer.iloc[np.array(of)].drop(columns="geometry").reset_index(drop=True)
    return gpd.GeoDataFrame(frame, geometry=pieces, crs=layer.crs).explode(ignore_index=True)
