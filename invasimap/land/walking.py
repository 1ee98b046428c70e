"""How long a loaded walk takes on a slope."""

from __future__ import annotations

from typing import Any

import numpy as np


def tobler_km_per_h(rise_over_run: Any) -> Any:
    """Walking speed on a slope: ``6 exp(-3.5 |S + 0.05|)`` km/h, S rise over run, uphill positive (Tobler 1993).

    Examples
    --------
    >>> round(float(tobler_km_per_h(0.0)), 6), round(float(tobler_km_per_h(0.25) * 0.6), 6)
    (5.036742, 1.259776)
    """
    return 6.0 * np.exp(-3.5 * np.abs(np.asarray(rise_over_run, float) + 0.05))


def walk_min(distance_m: Any, *, rise_m: Any, factor: Any) -> Any:
    """Minutes to walk a map distance with a rise; ``factor`` slows the walk for load and rough ground.

    Examples
    --------
    >>> round(float(walk_min(400.0, rise_m=100.0, factor=0.6)), 3)
    19.051
    """
    speed_m_per_min = tobler_km_per_h(np.asarray(rise_m) / distance_m) * np.asarray(factor) * (1000 / 60)
    return distance_m / speed_m_per_min
