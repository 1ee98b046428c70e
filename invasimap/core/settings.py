"""What a ``tract.toml`` may say: one frozen model a section, every quantity in SI with its unit in the name.

In the file the keys are short and the values carry units (``no_spray = "25 ft"``); here they are numbers with the unit
in the name (``no_spray_m``). Nothing that a label or a rule sets has a default.
"""

from __future__ import annotations

import secrets
import string
from pathlib import Path
from typing import Annotated, Literal, Self
from zoneinfo import ZoneInfo, available_timezones

from pydantic import AfterValidator, Field, PrivateAttr, SecretStr, StrictBool, model_validator

from invasimap.core import units
from invasimap.core.book_settings import EmergencySection, MapbookSection
from invasimap.core.crew_settings import CrewSection
from invasimap.core.files import whole_path
from invasimap.core.map_settings import MapSection
from invasimap.core.mix_settings import MixSection, SpraySection
from invasimap.core.quantities import (
    Factor,
    Flow,
    Length,
    Minutes,
    PositiveLength,
    Pressure,
    Section,
    Share,
    Slope,
)  # fmt: skip
from invasimap.core.rig_settings import LabourSection, RigSection
from invasimap.core.schedule_settings import BudgetSection, ScheduleSection
from invasimap.core.season_settings import SeasonSection, TechniqueSection, WindowSection
from invasimap.core.survey_settings import (
    FileName,
    IntakeSection,
    Layer,
    PhotosSection,
    SurveySection,
)  # fmt: skip

Means = Literal["tractor", "atv", "foot"]


class TractSection(Section):
    """``[tract]``: the tract's name, the units it is shown in (and which acre, of two) and its time zone."""

    name: str = Field(min_length=1)
    units: Literal["us", "metric"] = "us"
    acre: Literal["international", "us survey"] = "international"
    timezone: str = "UTC"

    @model_validator(mode="after")
    def _known_timezone(self) -> Self:
        if self.timezone not in available_timezones():
            raise ValueError(f'timezone {self.timezone!r} is not known: write one such as "America/Chicago"')
        return self

    @property
    def zone(self) -> ZoneInfo:
        """The time zone of the tract."""
        return ZoneInfo(self.timezone)


class StandsSection(Layer):
    """``[stands]``: the stands of the tract and the column that names them."""

    id: str = "stand"


class ProtectSection(Layer):
    """``[[protect]]``: one kind of protected feature and how far spray stays away from it."""

    kind: str = Field(min_length=1)
    no_spray_m: Length = Field(alias="no_spray")
    hand_only_m: Length | None = Field(None, alias="hand_only")
    width_m: Length = Field(0.0, alias="width")
    rule: str = ""
    blocks: frozenset[Literal["tractor", "atv", "hose", "foot"]] = frozenset()
    per_slope_m: Length = Field(0.0, alias="per_slope")
    position_error_m: Length = Field(0.0, alias="position_error")
    confidential: StrictBool = False

    @model_validator(mode="after")
    def _hand_only_is_wider(self) -> Self:
        if self.hand_only_m is not None and self.hand_only_m < self.no_spray_m:
            raise ValueError(
                "hand_only is narrower than no_spray: both are measured from the feature's edge, so hand_only "
                "must be the larger"
            )
        return self


LEAST_WORDS = 16  # letters: fewer are soon tried through
HIDES_WITHIN_FT = (100, 5280)


def _hard_to_guess(words: SecretStr) -> SecretStr:
    if len(words.get_secret_value().strip()) < LEAST_WORDS:
        raise ValueError(f"too short: take {LEAST_WORDS} letters or more that nobody guesses, {_such_as()}")
    return words


def _hides(distance_m: float) -> float:
    least, most = (feet * units.M_PER_FT for feet in HIDES_WITHIN_FT)
    if not least - 1e-9 <= distance_m <= most + 1e-9:
        raise ValueError("hide_within lies from 100 ft to 5280 ft (about 30 to 1609 m)")
    return distance_m


def fresh_words() -> str:
    """Words for ``[confidential]`` drawn by chance, never the same again; well over a hundred bits."""
    letters = [secrets.choice(string.ascii_lowercase) for _ in range(25)]
    return "-".join("".join(letters[at : at + 5]) for at in range(0, 25, 5))


def _such_as() -> str:
    return f"such as these, drawn just now: {fresh_words()}"


def words_needed() -> str:
    """How to mend settings without words."""
    return f'write words = "..." under [confidential]: your own, told to nobody, the same in every plan, {_such_as()}'


class ConfidentialSection(Section):
    """``[confidential]``: how confidential features are hidden in what is passed on.

    ``words`` are the owner's own and told to nobody: from them follows where the covers lie, alike in every plan.
    ``hide_within`` is how near nobody shall place a feature.
    """

    words: Annotated[SecretStr, AfterValidator(_hard_to_guess)]
    hide_within_m: Annotated[Length, AfterValidator(_hides)] = Field(300 * units.M_PER_FT, alias="hide_within")


class CrossingsLayer(Layer):
    """Bridges, fords and gates: where barriers and water can be crossed."""

    width_m: PositiveLength = Field(20 * units.M_PER_FT, alias="width")


class LandSection(Section):
    """``[land]``: elevation and what the ground is."""

    elevation: FileName | None = None
    elevation_unit: Literal["m", "ft", "us-ft"] | None = None
    elevation_crs: str | None = None
    open_ground: Layer | None = None
    barriers: Layer | None = None
    wet_ground: Layer | None = None
    crossings: CrossingsLayer | None = None


class WaysSection(Layer):
    """``[ways]``: roads and trails, and which means each class of them allows."""

    column: str
    allows: dict[str, frozenset[Means]] = Field(min_length=1)


class HoseSection(Section):
    """The hose on a machine and its pump; without pump settings no height stops the hose."""

    hose_length_m: Length | None = Field(None, alias="hose_length")
    hose_loss_pct: Share = Field(15.0, alias="hose_loss", lt=100)
    hose_diameter_m: PositiveLength | None = Field(None, alias="hose_diameter")
    hose_roughness: float = Field(125, ge=60, le=160)
    flow_L_per_min: Flow | None = Field(None, alias="flow")
    pump_pressure_kPa: Pressure | None = Field(None, alias="pump_pressure")
    nozzle_pressure_kPa: Pressure | None = Field(None, alias="nozzle_pressure")

    @model_validator(mode="after")
    def _pump_is_whole(self) -> Self:
        pump = {
            "hose_diameter": self.hose_diameter_m,
            "flow": self.flow_L_per_min,
            "pump_pressure": self.pump_pressure_kPa,
            "nozzle_pressure": self.nozzle_pressure_kPa,
        }
        missing = [key for key, value in pump.items() if value is None]
        if missing and len(missing) < len(pump):
            raise ValueError(
                f"lift needs all of hose_diameter, flow, pump_pressure, nozzle_pressure; missing: {', '.join(missing)}"
            )
        said = self.model_fields_set - {"max_slope_pct", "max_side_slope_pct", "clearance_m"}
        if said and self.hose_length_m is None:
            raise ValueError("a hose needs its hose_length; without a hose take the other hose and pump settings out")
        return self


class TractorSection(HoseSection):
    """``[access.tractor]``: where the tractor can work, and its hose and pump where it has one."""

    max_slope_pct: Slope = Field(alias="max_slope")
    max_side_slope_pct: Slope = Field(alias="max_side_slope")
    clearance_m: Length = Field(alias="clearance")


class AtvSection(TractorSection):
    """``[access.atv]``: where the ATV can go, its hose and its pump."""

    hose_length_m: Length = Field(alias="hose_length")


class FootSection(Section):
    """``[access.foot]``: how far a person carries a sprayer."""

    max_slope_pct: Slope = Field(alias="max_slope")
    max_walk_min: Minutes = Field(alias="max_walk")
    off_way: Factor = 0.6
    load: Factor = 0.7


class AccessSection(Section):
    """``[access]``: the grid's cell and the means at hand; a means without a section is not at hand."""

    cell_m: PositiveLength = Field(10 * units.M_PER_FT, alias="cell")
    tractor: TractorSection | None = None
    atv: AtvSection | None = None
    foot: FootSection | None = None

    @property
    def clearances_m(self) -> dict[str, float]:
        """How wide the machines at hand are, by name."""
        rigs = {"tractor": self.tractor, "atv": self.atv}
        return {name: rig.clearance_m for name, rig in rigs.items() if rig is not None}


LEAST_DRAWS = 100  # fewer say nothing of the twentieth part at either end


def _enough_draws(draws: int) -> int:
    if 0 < draws < LEAST_DRAWS:
        raise ValueError(f"{draws} draws are too few for a range: write 0 for none, or at least {LEAST_DRAWS}")
    return draws


class UncertaintySection(Section):
    """``[uncertainty]``: how the 90 % ranges are drawn.

    ``draws`` surveys are simulated; 0 for none, and no ranges. ``size_error`` is the standard deviation of a paced or
    guessed radius and of a stated width, as a share of it. ``accuracy_is`` says what the accuracies of records and of
    ``gps_accuracy`` are: the radius that holds 68 % or 95 % of fixes, or the root mean square of their distances. A
    cover written as one figure may be ``cover_error`` more or less: nobody estimates closer than about 5 percent
    (Daubenmire cover class method, rangelandsgateway.org/inventorymonitoring/daubenmire).
    """

    draws: Annotated[int, Field(ge=0, le=100_000), AfterValidator(_enough_draws)] = 500
    size_error_pct: Share = Field(20.0, alias="size_error")
    accuracy_is: Literal["68 %", "95 %", "rms"] = "68 %"
    cover_error_pct: Share = Field(5.0, alias="cover_error")


class Tract(Section):
    """A tract's settings; ``folder`` is where its relative paths start."""

    tract: TractSection
    survey: list[SurveySection] = Field(min_length=1)
    photos: list[PhotosSection] = Field(default_factory=list)
    intake: IntakeSection = IntakeSection()
    stands: StandsSection
    protect: list[ProtectSection] = Field(default_factory=list)
    confidential: ConfidentialSection | None = None
    land: LandSection = LandSection()
    ways: WaysSection | None = None
    entries: Layer | None = None
    access: AccessSection = AccessSection()
    uncertainty: UncertaintySection = UncertaintySection()
    season: SeasonSection = SeasonSection()
    window: list[WindowSection] = Field(default_factory=list)
    technique: TechniqueSection = TechniqueSection()
    mix: list[MixSection] = Field(default_factory=list)
    spray: SpraySection = SpraySection()
    rig: list[RigSection] = Field(default_factory=list)
    labour: LabourSection = LabourSection()
    budget: BudgetSection | None = None
    schedule: ScheduleSection = ScheduleSection()
    log: Layer | None = None
    mapbook: MapbookSection = MapbookSection()
    emergency: EmergencySection = EmergencySection()
    crew: CrewSection = CrewSection()
    map: MapSection = MapSection()
    _file: Path = PrivateAttr(default=Path("tract.toml"))
    _left_out: frozenset[str] = PrivateAttr(default=frozenset())
    _tried: tuple[str, ...] = PrivateAttr(default=())

    @model_validator(mode="after")
    def _told_apart(self) -> Self:
        for kind, blocks in (("mix", self.mix), ("rig", self.rig)):
            names = [block.name for block in blocks]
            if twice := sorted({name for name in names if names.count(name) > 1}):
                raise ValueError(f"two [[{kind}]] have the name {twice[0]!r}: rename one")
        return self

    @property
    def file(self) -> Path:
        """The settings file."""
        return self._file

    @property
    def left_out(self) -> frozenset[str]:
        """Which sections are there, but for a fault left out whole or in part (``toml_file.read_settings``)."""
        return self._left_out

    @property
    def tried(self) -> tuple[str, ...]:
        """Settings changed for this run alone, as they were typed (``trial.changed``)."""
        return self._tried

    @property
    def folder(self) -> Path:
        """The folder that relative paths start from."""
        return self._file.parent

    @property
    def shown(self) -> units.ShownUnits:
        """The units the tract is shown in."""
        survey_acres = self.tract.units == "us" and self.tract.acre == "us survey"
        return units.US_SURVEY if survey_acres else units.SHOWN[self.tract.units]

    @property
    def hides(self) -> bool:
        """Whether any protected feature is confidential."""
        return any(block.confidential for block in self.protect)

    def with_draws(self, draws: int) -> Tract:
        """The same settings with another number of draws.

        Raises
        ------
        ValueError
            When there are too few for a range.
        """
        UncertaintySection(draws=draws)  # refuses too few; a copy is not checked
        return self.model_copy(update={"uncertainty": self.uncertainty.model_copy(update={"draws": draws})})

    def path(self, name: str) -> Path:
        """A path written in the settings file, made whole."""
        return whole_path(self.folder, name)
