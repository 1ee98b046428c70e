"""What a patch is worth to the schedule: infested area x the stand's priority x a weight for lying far out.

The weights are the user's judgements (``[schedule]``), nothing measured. Patches of one species within
``cluster_distance`` of each other, also in a row, are a cluster; how far out a patch lies is the distance from its
cluster to the nearest cluster of its species that is as large or larger. Of two as large as each other both lie out;
the largest does not.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from invasimap.core.schedule_settings import ScheduleSection

Ints = npt.NDArray[np.intp]


def outlying_distance_m(patches: pd.DataFrame, *, cluster_distance_m: float, looked_for_within_m: float) -> pd.Series:
    """How far each patch's cluster lies from the nearest of its species that is as large or larger.

    Parameters
    ----------
    patches
        ``species`` and ``geometry``, in metres.
    cluster_distance_m
        Patches this near each other are one cluster.
    looked_for_within_m
        Where nothing so large lies within this distance, the distance is infinite; 0 for the largest cluster of a
        species where it is alone in its size: nothing is farther in.

    Returns
    -------
    pandas.Series
        ``outlying_m`` on the patches' index.
    """
    shapes = np.asarray(patches["geometry"], object)
    species = pd.factorize(patches["species"])[0]
    distance = np.zeros(len(shapes))
    for code in np.unique(species):
        of_it = np.flatnonzero(species == code)
        distance[of_it] = _distances(shapes[of_it], cluster_distance_m, looked_for_within_m)
    return pd.Series(distance, index=patches.index, name="outlying_m")


def outlying_weights(outlying_m: pd.Series, *, settings: ScheduleSection) -> pd.Series:
    """The weight of each patch by how far out it lies: 1 at 0, ``outlying_weight`` from ``outlying_distance`` on.

    The distances may come from ``outlying_distance_m`` or from the user's own table; unknown ones (NaN) weigh 1.

    Examples
    --------
    >>> settings = ScheduleSection(outlying_weight=3, outlying_distance="100 m")
    >>> outlying_weights(pd.Series([0.0, 25, 400]), settings=settings).tolist()
    [1.0, 1.5, 3.0]
    """
    share = (outlying_m / settings.outlying_distance_m).clip(0, 1).fillna(0.0)
    return (1 + (settings.outlying_weight - 1) * share).rename("outlying_weight")


def stand_weights(stands: pd.Series, *, priority: Mapping[str, float]) -> pd.Series:
    """The priority of each patch's stand; 1 for a stand that is not named."""
    return stands.astype(str).map(lambda name: float(priority.get(name, 1.0))).astype(float).rename("stand_weight")


def priorities(patches: pd.DataFrame, *, settings: ScheduleSection) -> pd.DataFrame:
    """What each patch is worth, and of what.

    Parameters
    ----------
    patches
        ``species, stand, infested_m2`` and either ``outlying_m`` (a table's own distances) or ``geometry`` in metres.

    Returns
    -------
    pandas.DataFrame
        On the patches' index: ``outlying_m, outlying_weight, stand_weight, value_m2`` (weighted infested square
        metres). An unknown infested area stays unknown. The value of a job is the sum over its patches.
    """
    far: Any = patches["outlying_m"] if "outlying_m" in patches else outlying_distance_m(
        patches, cluster_distance_m=settings.cluster_distance_m, looked_for_within_m=settings.outlying_distance_m
    )  # fmt: skip
    outlying = outlying_weights(far, settings=settings)
    stand = stand_weights(patches["stand"], priority=settings.stand_priority)
    value = (patches["infested_m2"] * stand * outlying).rename("value_m2")
    return pd.concat([far.rename("outlying_m"), outlying, stand, value], axis=1)


def _distances(shapes: npt.NDArray[np.object_], cluster_m: float, within_m: float) -> npt.NDArray[np.float64]:
    """The distances of the patches of one species."""
    tree = shapely.STRtree(shapes)
    near = tree.query(shapes, predicate="dwithin", distance=cluster_m)
    linked = sparse.coo_array((np.ones(near.shape[1]), (near[0], near[1])), shape=(len(shapes), len(shapes)))
    cluster = connected_components(linked, directed=False)[1]
    area = np.bincount(cluster, weights=shapely.area(shapes))
    least = np.full(len(area), np.inf)
    one, other = tree.query(shapes, predicate="dwithin", distance=within_m)
    farther_in = (cluster[one] != cluster[other]) & (area[cluster[other]] >= area[cluster[one]] * (1 - 1e-9))
    one, other = one[farther_in], other[farther_in]
    np.minimum.at(least, cluster[one], shapely.distance(shapes[one], shapes[other]))
    largest = np.flatnonzero(area >= area.max() * (1 - 1e-9))
    if len(largest) == 1:
        least[largest] = 0.0
    return least[cluster]
