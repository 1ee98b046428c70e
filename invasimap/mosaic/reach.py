"""What access makes of the infested ground: how much of it each limit keeps from a better class."""

from __future__ import annotations

import numpy as np
import pandas as pd

from invasimap.land.access import Access
from invasimap.land.cell_areas import CellAreas, cell_areas
from invasimap.land.limits import CLASSES, LIMITS
from invasimap.land.terrain import Terrain
from invasimap.land.words import OUTSIDE
from invasimap.mosaic.faces import Faces


def sprayable_ground(faces: Faces, terrain: Terrain) -> CellAreas:
    """The infested ground in stands that is open to spray, by cell: what better access could make treatable."""
    counts = ((faces.ground["zone"] == "open") & (faces.ground["stand"] != OUTSIDE)).to_numpy()
    return cell_areas(faces.ground.geometry.to_numpy()[counts], terrain)


def limit_areas(access: Access, ground: CellAreas) -> pd.DataFrame:
    """Area by access class and by what keeps it from a better one: ``access, limit, open_m2``, the best class first.

    ``limit`` is empty where no better means is at hand, or where the best of them gets there. ``hose_only_m2`` is how
    much of it only the hose reaches: the machine of the class is not driven there.
    """
    mixed = access.code.astype(np.int64) * len(LIMITS) + access.limit
    sums = ground.sums(mixed, len(CLASSES) * len(LIMITS))
    hosed = np.where(access.hose_only, mixed, len(sums))
    hose_only = ground.sums(hosed, len(sums))[: len(sums)]
    code, limit = np.divmod(np.flatnonzero(sums), len(LIMITS))
    table = pd.DataFrame(
        {
            "access": np.asarray(CLASSES, object)[code],
            "limit": np.asarray(LIMITS, object)[limit],
            "open_m2": sums[np.flatnonzero(sums)],
            "hose_only_m2": hose_only[np.flatnonzero(sums)],
        }
    )
    order = np.lexsort((limit, -code))
    return table.iloc[order].reset_index(drop=True)
