"""What a ``tract.toml`` may say about rigs, their calibrations and costs, and a crew's day."""

from __future__ import annotations

from typing import Annotated, Final, Literal, Self

from pydantic import Field, model_validator

from invasimap.core.quantities import (
    DailyMoney,
    Date,
    Days,
    Factor,
    Flow,
    HourlyMoney,
    Minutes,
    Money,
    Pace,
    Percent,
    PositiveLength,
    Price,
    Section,
    Share,
    Speed,
    Spread,
    Volume,
)  # fmt: skip

AccessClass = Literal["tractor", "atv_hose", "foot"]
Technique = Literal[
    "foliar_spot", "foliar_broadcast", "cut_then_foliar", "cut_stump", "basal_bark", "pull", "mow"
]  # fmt: skip
FOLIAR: Final = ("foliar_spot", "foliar_broadcast", "cut_then_foliar")
Years = Annotated[float, Field(gt=0, le=100, allow_inf_nan=False)]


class CalibrationSection(Section):
    """``[[rig.calibration]]``: what this rig and crew were measured to put on plants that stand close, and when.

    It serves plants up to ``up_to``, whatever their height where that is not given; the foliar techniques, or the
    ``technique`` it names. ``rate`` is per area of plants (``foliar_spot``: of leaf cover, not of the whole patch).
    """

    date: Date
    rate_L_per_ha: Spread = Field(alias="rate")
    up_to_m: PositiveLength | None = Field(None, alias="up_to")
    technique: Technique | None = None

    @model_validator(mode="after")
    def _sprays(self) -> Self:
        if self.technique in ("pull", "mow"):
            raise ValueError(f"technique {self.technique!r} sprays nothing: there is nothing to calibrate")
        return self

    def serves(self, technique: str) -> bool:
        """Whether it was measured for this technique."""
        return technique == self.technique or (self.technique is None and technique in FOLIAR)


class PaceSection(Section):
    """``[[rig.pace]]``: person-hours that a technique takes per area worked, from your own records.

    ``jobs`` is how many jobs the figure rests on, printed with it. That of ``cut_then_foliar`` is of the cutting; its
    resprouts go by the pace of ``foliar_spot``, where there is one.
    """

    technique: Technique
    hours_h_per_ha: Pace = Field(alias="hours")
    jobs: int | None = Field(None, ge=1)


class MachineCosts(Section):
    """``[rig.machine_costs]``: what a machine's hour costs, without its driver, from what it cost to buy and run.

    Repair is a share of depreciation, lube one of fuel (FAO, Cost control in forest harvesting, chapter 3).
    """

    price: Money
    salvage: Money
    life_years: Years
    use_h_per_year: Annotated[float, Field(gt=0, le=8784, allow_inf_nan=False)] = Field(alias="hours_per_year")
    interest_pct: Share = Field(alias="interest")
    insurance_pct: Share = Field(alias="insurance")
    repair_pct: Percent = Field(alias="repair")
    fuel_L_per_min: Flow | None = Field(None, alias="fuel")
    fuel_price_per_L: Price | None = Field(None, alias="fuel_price")
    lube_pct: Share = Field(0.0, alias="lube")

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if self.salvage.amount > self.price.amount:
            raise ValueError("salvage is more than the price")
        if (self.fuel_L_per_min is None) is not (self.fuel_price_per_L is None):
            raise ValueError("fuel and fuel_price go together: write both or neither")
        return self


class RigSection(Section):
    """``[[rig]]``: a sprayer with the people who run it; ``tank`` and ``output`` are of the whole rig.

    ``trigger_share`` of the time at the plants mix flows; ``fill`` is what filling and mixing a tank takes, once there.
    ``refill_trip`` is the way from the water to the work, one way; people on foot walk as the map of their reach says
    where it is not given. ``ground_speed`` and ``swath`` bound how soon the ground is covered; without them the output
    alone does.
    """

    name: str = Field(min_length=1)
    access: AccessClass
    tank_L: Volume = Field(alias="tank")
    output_L_per_min: Flow = Field(alias="output")
    crew: int = Field(ge=1)
    wage: HourlyMoney
    machine: HourlyMoney | None = None
    machine_costs: MachineCosts | None = None
    available_days: Days | None = Field(None, alias="available")
    trigger_share: Factor = 0.6
    fill_min: Minutes = Field(12.0, alias="fill")
    refill_trip_min: Minutes | None = Field(None, alias="refill_trip")
    ground_speed_m_per_s: Speed | None = Field(None, alias="ground_speed")
    swath_m: PositiveLength | None = Field(None, alias="swath")
    calibration: list[CalibrationSection] = Field(default_factory=list)
    pace: list[PaceSection] = Field(default_factory=list)

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        if self.machine is not None and self.machine_costs is not None:
            raise ValueError("machine and machine_costs are both given: write one of them")
        if (self.ground_speed_m_per_s is None) is not (self.swath_m is None):
            raise ValueError("ground_speed and swath go together: write both or neither")
        paced = [pace.technique for pace in self.pace]
        if twice := sorted({name for name in paced if paced.count(name) > 1}):
            raise ValueError(f"pace has two entries for {', '.join(twice)}")
        return self

    def pace_of(self, technique: str) -> PaceSection | None:
        """The pace typed for a technique."""
        return next((pace for pace in self.pace if pace.technique == technique), None)


class LabourSection(Section):
    """``[labour]``: a crew's day. Pay covers ``paid``; of it ``productive`` is left after travel, weather and rest.

    ``travel_cost`` is per crew and day. ``spray_day_chance`` is the share of days on which the weather lets a crew
    spray. ``least_part``: for less no work is begun at the end of a day, nor left to the next.
    """

    productive_min: Minutes = Field(390.0, alias="productive", gt=0, le=1440)
    paid_min: Minutes = Field(480.0, alias="paid", gt=0, le=1440)
    travel_cost: DailyMoney | None = None
    spray_day_chance: Factor = 0.45
    least_part_min: Minutes = Field(30.0, alias="least_part")

    @model_validator(mode="after")
    def _paid_for_work(self) -> Self:
        if self.productive_min > self.paid_min:
            raise ValueError("productive is longer than paid: pay covers every hour worked")
        return self
