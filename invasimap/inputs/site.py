"""What the records of a tract are held against."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import shapely
from pyproj import CRS

from invasimap.core.survey_settings import INTAKE, IntakeSection
from invasimap.inputs.species import Catalogue


@dataclass(frozen=True, kw_only=True)
class Site:
    """The working system in metres, the stands' outline in it, the tract's clock, the plants and rules of intake."""

    crs: CRS
    near: shapely.Polygon
    timezone: ZoneInfo
    species: Catalogue
    today: dt.date
    intake: IntakeSection = INTAKE

    @property
    def bounds(self) -> shapely.Polygon:
        """The box round the stands."""
        return shapely.box(*self.near.bounds)
