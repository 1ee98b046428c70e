"""What a ``tract.toml`` may say about choice and schedule: money, weights and how long is searched."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, model_validator

from invasimap.core import units
from invasimap.core.quantities import Date, Minutes, Money, PositiveLength, Section, Share

Weight = Annotated[float, Field(ge=0, le=1000, allow_inf_nan=False)]


class BudgetSection(Section):
    """``[budget]``: what may be spent."""

    money: Money


class ScheduleSection(Section):
    """``[schedule]``: what counts as worth more, and how closely and how long the best schedule is searched for.

    ``start`` is the first day of work, by default the day the plan is made; ``weeks`` is how far ahead is planned.
    The weights are value judgements: ``stand_priority`` multiplies what lies in a stand (1 where it is not named),
    ``outlying_weight`` what lies ``outlying_distance`` or farther from the nearest cluster of its species that is as
    large or larger, with less of it in between. Patches within ``cluster_distance`` of each other are one cluster. That
    satellites come first is Moody and Mack's finding (1988, J. Appl. Ecol. 25:1009-1021); how much they do not say.
    ``gap`` ends the search once the answer is proven to be that close to the best, ``time_limit`` in any case;
    ``split_jobs`` lets any job be parted over two following weeks. A week counts for a window only if its
    first ``days_per_week`` days all lie in it. ``growth`` is the yearly rate of spread, without a default, and
    ``discount`` the yearly worth of money later, for what waiting costs. ``money_step`` is 1,000 of the budget's
    currency where it is not given.
    """

    start: Date | None = None
    weeks: int = Field(52, ge=1, le=104)
    stand_priority: dict[str, Weight] = Field(default_factory=dict)
    outlying_weight: Annotated[float, Field(ge=1, le=1000, allow_inf_nan=False)] = 2.0
    outlying_distance_m: PositiveLength = Field(300 * units.M_PER_FT, alias="outlying_distance")
    cluster_distance_m: PositiveLength = Field(100 * units.M_PER_FT, alias="cluster_distance")
    gap_pct: Share = Field(0.5, alias="gap")
    time_limit_min: Minutes = Field(1.0, alias="time_limit")
    split_jobs: bool = False
    days_per_week: int = Field(5, ge=1, le=7)
    money_step: Money | None = None
    curve_solves: int = Field(8, ge=2, le=100)
    growth_pct_per_year: Share | None = Field(None, alias="growth")
    discount_pct_per_year: Share = Field(5.0, alias="discount")

    @model_validator(mode="after")
    def _steps_of_money(self) -> Self:
        if self.money_step is not None and self.money_step.amount <= 0:
            raise ValueError('money_step must be above zero: write one such as "1000 USD"')
        return self

    @property
    def step(self) -> float:
        """What is added to the budget from point to point of the curve of money."""
        return 1000.0 if self.money_step is None else self.money_step.amount
