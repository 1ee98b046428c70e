"""What a ``tract.toml`` may say about the crew files: what an old receiver takes, and whether patches go in."""

from __future__ import annotations

from pydantic import Field

from invasimap.core.quantities import Section


class CrewSection(Section):
    """``[crew]``: how much one file and one outline may hold, and whether the patches are marked too.

    The defaults fit receivers of twenty years ago. ``waypoints`` bounds GPX files alone: a phone's KML holds all.
    """

    waypoints: int = Field(default=500, ge=100, le=100_000)
    track_points: int = Field(default=2000, ge=100, le=100_000)
    patches: bool = False
