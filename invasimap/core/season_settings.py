"""What a ``tract.toml`` may say about technique and season: ``[season]``, ``[[window]]`` and ``[technique]``.

Starting values are those of the trade handbook where it has one (reach 6 ft, low volume to 7 ft and 1,500 stems an
acre, 3 days after leaf drop, none after the freeze, base 50 F, upper 86 F); the others are general knowledge of the
trade, to be confirmed locally. None is a label's.
"""

from __future__ import annotations

from typing import Annotated, Final, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from invasimap.core import units
from invasimap.core.quantities import Days, Length, MonthDay, PositiveArea, PositiveLength, Section, Share
from invasimap.core.survey_settings import FileName

Technique = Literal[
    "foliar_spot", "foliar_broadcast", "cut_then_foliar", "cut_stump", "basal_bark", "pull", "mow", "none"
]
Sign = Literal["native_leaf_drop", "killing_freeze", "full_leaf", "leaf_colour"]
SIGNS: Final[tuple[Sign, ...]] = ("native_leaf_drop", "killing_freeze", "full_leaf", "leaf_colour")


def _wait(value: object) -> tuple[float, float]:
    low, high = units.quantity_range(value, "days")
    if low < 0:
        raise ValueError(f"{value!r} is below zero")
    return low, high


def _above_zero_per_area(value: object) -> float:
    number = units.quantity(value, "density")
    if number <= 0:
        raise ValueError(f"{value!r} must be above zero")
    return number


Wait = Annotated[tuple[float, float], BeforeValidator(_wait)]
Density = Annotated[float, BeforeValidator(_above_zero_per_area)]
Temperature = Annotated[float, BeforeValidator(units.temperature_c)]


class SeenDates(Section):
    """Dates that were seen at a place, the same every year: when natives have dropped their leaves, the first killing
    freeze, when leaves are full, and the last day that leaves of plants that drop theirs are green."""

    native_leaf_drop: MonthDay | None = None
    killing_freeze: MonthDay | None = None
    full_leaf: MonthDay | None = None
    leaf_colour: MonthDay | None = None


class ReferencePlace(SeenDates):
    """``[season.reference]``: a place whose dates are known; from them those of the tract are estimated.

    Latitude and longitude are degrees, north and east above zero.
    """

    name: str = Field(min_length=1)
    latitude: float = Field(ge=-90, le=90)
    longitude: float = Field(ge=-180, le=180)
    elevation_m: Annotated[float, BeforeValidator(lambda value: units.quantity(value, "length"))] = Field(
        alias="elevation"
    )

    @model_validator(mode="after")
    def _knows_a_date(self) -> Self:
        if all(getattr(self, name) is None for name in SIGNS):
            raise ValueError(f"a reference place needs a date: {', '.join(SIGNS)}")
        return self


class DegreeDaysSection(Section):
    """``[season.degree_days]``: how heat is summed, from each day's lowest and highest temperature."""

    base_c: Temperature = Field(10.0, alias="base")
    upper_c: Temperature | None = Field(30.0, alias="upper")
    method: Literal["average", "limited average", "single sine"] = "single sine"

    @model_validator(mode="after")
    def _upper_is_higher(self) -> Self:
        if self.upper_c is not None and self.upper_c <= self.base_c:
            raise ValueError("upper is not above base")
        return self


class SeasonSection(SeenDates):
    """``[season]``: dates seen on the place, how many days windows keep from them, and what is estimated from where.

    ``sap_flow`` is the first and last day of strong sap flow, when stumps are not treated.
    """

    after_leaf_drop_days: Days = Field(3.0, alias="after_leaf_drop", le=60)
    after_freeze_days: Days = Field(0.0, alias="after_freeze", le=60)
    sap_flow: tuple[MonthDay, MonthDay] | None = None
    reference: ReferencePlace | None = None
    degree_days: DegreeDaysSection = DegreeDaysSection()


class WindowSection(Section):
    """``[[window]]``: your own dates for some species and techniques; they go before what is worked out.

    ``species`` are scientific names, or ``["*"]``. Without ``technique`` the block is for what is sprayed on leaves.
    ``first`` and ``last`` may run over the turn of the year; for leaves one of them may be left out. ``wait`` is how
    long resprouts grow before they are sprayed.
    """

    species: list[str] = Field(min_length=1)
    technique: list[Technique] = Field(default_factory=list)
    first: MonthDay | None = None
    last: MonthDay | None = None
    wait_days: Wait | None = Field(None, alias="wait")

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if self.first is None and self.last is None and self.wait_days is None:
            raise ValueError('says nothing: write first, last or wait, such as last = "11-15"')
        if "none" in self.technique:
            raise ValueError('technique "none" has no window')
        return self


class TechniqueSection(Section):
    """``[technique]``: the table of rules, and the limits that its rows name.

    ``rules`` is a table of your own in place of the one that comes with the package. ``reach`` is how high foliage is
    sprayed from the ground; ``pull_height`` and ``few`` (infested ground) are what is still pulled; ``dense`` is the
    cover above which it is sprayed all over; ``basal_stem`` is the thickest stem for bark. Up to ``low_volume_stems``
    and below ``low_volume_height`` is low volume (a manufacturer's guidance page, both to be set to your own
    calibration). ``wait`` is how long resprouts grow before they are sprayed. Pieces of a patch
    smaller than ``least_piece`` go with its largest in the same stand and zone.
    """

    rules: FileName | None = None
    reach_m: PositiveLength = Field(6 * units.M_PER_FT, alias="reach")
    pull_height_m: Length = Field(2 * units.M_PER_FT, alias="pull_height")
    few_m2: PositiveArea = Field(500 * units.M_PER_FT**2, alias="few")
    dense_pct: Share = Field(50.0, alias="dense")
    basal_stem_m: PositiveLength = Field(6 * units.M_PER_FT / 12, alias="basal_stem")
    low_volume_height_m: PositiveLength = Field(7 * units.M_PER_FT, alias="low_volume_height")
    low_volume_stems_per_m2: Density = Field(1500 / units.M2_PER_ACRE, alias="low_volume_stems")
    wait_days: Wait = Field((56.0, 70.0), alias="wait")
    least_piece_m2: PositiveArea = Field(100 * units.M_PER_FT**2, alias="least_piece")
