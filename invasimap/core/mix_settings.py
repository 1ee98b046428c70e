"""What a ``tract.toml`` may say about mixes and how amounts are reckoned; no figure of a label is ours."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from invasimap.core import units
from invasimap.core.quantities import (
    Days,
    DoseLimit,
    Minutes,
    Price,
    Rate,
    Section,
    Share,
    SpeedRange,
    Strength,
    TemperatureRange,
    Volume,
    YearStart,
)  # fmt: skip

Zone = Literal["open", "hand_only", "no_spray"]
SprayTechnique = Literal["foliar_spot", "foliar_broadcast", "cut_then_foliar", "cut_stump", "basal_bark"]


class Adjuvant(Section):
    """What is added to a mix beside the product: an adjuvant or a dye, with its price where money is reckoned."""

    name: str
    rate: Rate
    price_per_L: Price | None = Field(None, alias="price")


class MixSection(Section):
    """``[[mix]]``: a spray mixture as the user copied it from the label in hand.

    ``ingredient_name`` joins products that hold the same ingredient, so that their doses on the same ground are added;
    where one is not typed it may be the same.
    A yearly limit counts what was sprayed in the same year, which ``limit_year`` names: the calendar's, any
    ``365 days``, or one that begins on a day of the label's (``"10-01"``). A label without a limit is typed as "none on
    the label". ``technique`` is how the label lets it be put on; without it the mix is used for nothing.
    """

    name: str = Field(min_length=1)
    product: str = Field(min_length=1)
    registration: str | None = Field(None, min_length=1)  # two blank ones would be one product
    ingredient_name: str | None = Field(None, min_length=1)
    ingredient_kg_per_L: Strength | None = Field(None, alias="ingredient")
    rate: Rate
    max_per_application_kg_per_ha: DoseLimit | None = Field(None, alias="max_per_application")
    max_per_year_kg_per_ha: DoseLimit | None = Field(None, alias="max_per_year")
    limit_year: YearStart = "calendar"
    adjuvant: Adjuvant | None = None
    dye: Adjuvant | None = None
    price_per_L: Price | None = Field(None, alias="price")
    species: list[str] = Field(min_length=1)
    zones: frozenset[Zone] = Field(min_length=1)
    technique: frozenset[SprayTechnique] = frozenset()
    wind_m_per_s: SpeedRange | None = Field(None, alias="wind")
    temperature_c: TemperatureRange | None = Field(None, alias="temperature")
    rain_free_min: Minutes | None = Field(None, alias="rain_free")
    reentry_min: Minutes | None = Field(None, alias="reentry")

    @model_validator(mode="after")
    def _never_sprays_no_spray(self) -> Self:
        if "no_spray" in self.zones:
            raise ValueError('zones names "no_spray": nothing is sprayed there')
        return self

    @property
    def is_by_area(self) -> bool:
        """Whether a rate in it is by area, so that its strength hangs on what a rig puts on."""
        extras = (extra.rate for extra in (self.adjuvant, self.dye) if extra is not None)
        return any(rate.L_per_ha is not None for rate in (self.rate, *extras))


class SpraySection(Section):
    """``[spray]``: how volumes are reckoned and amounts measured.

    ``waste`` is mixed beyond what the plants take. Where it ends is not known, so it counts in every dose. ``surface``
    says which acres a mix by percent is spread over: the ``sloped`` ground, or that of the ``map``. ``jug_mark`` is the
    finest mark of the jug that product is measured with (0.5 fl oz, or 10 ml in a metric tract, where it is not given).
    A calibration older than ``calibration_age`` on the day of spraying is to be done again.
    """

    waste_pct: Share = Field(10.0, alias="waste")
    surface: Literal["sloped", "map"] = "sloped"
    jug_mark_L: Volume | None = Field(None, alias="jug_mark")
    calibration_age_days: Days = Field(30.0, alias="calibration_age")

    def mark_L(self, shown: units.ShownUnits) -> float:
        """The finest mark of the jug, in litres."""
        usual_L = 0.010 if shown is units.METRIC else units.L_PER_GAL / 256
        return usual_L if self.jug_mark_L is None else self.jug_mark_L
