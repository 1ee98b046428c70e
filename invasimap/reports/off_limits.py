"""Why infested ground is closed to spray: how much of it each kind of protected feature closes, stand by stand."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from invasimap.prescription.plan import Plan

MOST_POINTS: Final = 400  # of a polygon that others are cut with: a stream of a county is quartered until it has fewer
_DEEPEST: Final = 12
COLUMNS: Final = ["stand", "zone", "kind", "rule", "ground_m2"]
Shapes = npt.NDArray[np.object_]


def closed_ground(plan: Plan) -> pd.DataFrame:
    """Infested ground by stand, zone (``no_spray``, ``hand_only``), kind and rule: ``COLUMNS``, every spot once.

    What decided a spot is what ``plan.protection`` says of it: the stricter zone, within a zone the widest rule. A rule
    that nobody named is an empty text.
    """
    faces = plan.mosaic[plan.mosaic["zone"] != "open"].explode(ignore_index=True)
    cause, grounds = _protected(plan)
    if not len(faces) or not len(grounds):
        return pd.DataFrame(columns=COLUMNS).astype({"ground_m2": float})
    face, part = shapely.STRtree(grounds).query(faces.geometry.to_numpy(), predicate="intersects")
    same = faces["zone"].to_numpy()[face] == cause["zone"].to_numpy()[part]
    face, part = face[same], part[same]
    area = shapely.area(shapely.intersection(faces.geometry.to_numpy()[face], grounds[part]))
    found = cause.iloc[part].assign(stand=faces["stand"].astype(str).to_numpy()[face], ground_m2=area)
    sums = found[found["ground_m2"] > 0].groupby(COLUMNS[:-1], as_index=False)["ground_m2"].sum()
    return sums.sort_values(["ground_m2", "kind"], ascending=[False, True], kind="stable", ignore_index=True)


def by_kind(closed: pd.DataFrame) -> pd.DataFrame:
    """Closed ground by kind, the most first: ``kind, no_spray, hand_only`` in square metres."""
    wide = closed.pivot_table(index="kind", columns="zone", values="ground_m2", aggfunc="sum", fill_value=0.0)
    wide = wide.reindex(columns=["no_spray", "hand_only"], fill_value=0.0).astype(float)
    return wide.sort_values(["no_spray", "hand_only"], ascending=False, kind="stable").reset_index(names="kind")


def _protected(plan: Plan) -> tuple[pd.DataFrame, Shapes]:
    """Protected ground in parts of few points, and of each what decided it: ``zone, kind, rule``."""
    layer = plan.protection
    shapes, owner = quartered(layer.geometry.to_numpy())
    cause = pd.DataFrame(layer)[["zone", "kind", "rule"]]
    return cause.fillna({"kind": "", "rule": ""}).iloc[owner], shapes  # groups leave out missing names


def quartered(shapes: Any, *, most_points: int = MOST_POINTS) -> tuple[Shapes, npt.NDArray[np.intp]]:
    """Polygons cut into quarters until each part has few points, and which of them each part is of.

    Examples
    --------
    >>> parts, owner = quartered([shapely.Point(0, 0).buffer(1, quad_segs=64)], most_points=100)
    >>> len(parts), bool(abs(shapely.area(parts).sum() - 3.1413) < 1e-3)
    (4, True)
    """
    parts, owner = shapely.get_parts(np.asarray(shapes, object), return_index=True)
    done: list[tuple[Shapes, npt.NDArray[np.intp]]] = []
    for _ in range(_DEEPEST):
        big = shapely.get_num_coordinates(parts) > most_points
        done.append((parts[~big], owner[~big]))
        parts, owner = _quarters(parts[big], owner[big])
        if not len(parts):
            break
    done.append((parts, owner))
    return np.concatenate([one for one, _ in done]), np.concatenate([one for _, one in done])


def _quarters(parts: Shapes, owner: npt.NDArray[np.intp]) -> tuple[Shapes, npt.NDArray[np.intp]]:
    cut: list[Any] = []
    for part in parts:
        left, bottom, right, top = part.bounds
        x, y = (left + right) / 2, (bottom + top) / 2
        boxes = ((left, bottom, x, y), (x, bottom, right, y), (left, y, x, top), (x, y, right, top))
        cut += [shapely.clip_by_rect(part, *box) for box in boxes]
    found, of = shapely.get_parts(np.asarray(cut, object), return_index=True)
    areas = shapely.get_dimensions(found) == 2
    return found[areas], np.repeat(owner, 4)[of[areas]]
