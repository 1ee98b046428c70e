"""What a ``tract.toml`` may say of field files: ``[[survey]]``, ``[[photos]]`` and ``[intake]``."""

from __future__ import annotations

from typing import Annotated, Any, Final, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from invasimap.core.database_address import is_database, not_a_database, postgis_label
from invasimap.core.quantities import CoverRange, DataSize, Length, PositiveArea, PositiveLength, Section, Share

Role = Literal[
    "species", "cover", "radius", "diameter", "area", "length", "width", "height", "stems", "stem_diameter",
    "date", "observer", "accuracy", "notes", "lon", "lat",
]  # fmt: skip
COVER_SCALES = ("percent", "fraction", "daubenmire", "braun-blanquet")  # and those of [intake.cover_scales]
FileName = Annotated[str, AfterValidator(not_a_database)]
DateOrder = Literal["month-day-year", "day-month-year", "year-month-day"]


class Layer(Section):
    """A layer of a file, with the features that count."""

    file: str
    layer: str | None = None
    crs: str | None = None
    where: dict[str, Any] = Field(default_factory=dict)

    @property
    def shown(self) -> str:
        """The file as it may be shown: of a database's address without user and password."""
        return postgis_label(self.file) if is_database(self.file) else self.file


class Defaults(Section):
    """``defaults`` of a survey: taken, and marked in the ledger, where a record has none."""

    radius_m: PositiveLength | None = Field(None, alias="radius")
    diameter_m: PositiveLength | None = Field(None, alias="diameter")
    area_m2: PositiveArea | None = Field(None, alias="area")
    length_m: PositiveLength | None = Field(None, alias="length")
    width_m: PositiveLength | None = Field(None, alias="width")
    cover_pct: CoverRange | None = Field(None, alias="cover")
    height_m: PositiveLength | None = Field(None, alias="height")


class SurveySection(Section):
    """``[[survey]]``: files of one source and what to take where a record does not say.

    ``files`` are paths, globs or ``postgresql://`` addresses (of which ``layers`` or ``query`` says what is read);
    ``layers`` names those that are read of files with several (all, when empty). ``date_order`` and ``cover_scale``
    settle what the cells themselves leave open.
    """

    files: list[str] = Field(min_length=1)
    layers: list[str] = Field(default_factory=list)
    query: str | None = None
    crs: str | None = None
    observer: str | None = None
    gps_accuracy_m: PositiveLength | None = Field(None, alias="gps_accuracy")
    columns: dict[Role, str] = Field(default_factory=dict)
    date_order: DateOrder | None = None
    cover_scale: str | None = None
    defaults: Defaults = Defaults()

    @model_validator(mode="after")
    def _query_has_a_database(self) -> Self:
        if self.query is not None and not any(map(is_database, self.files)):
            raise ValueError('query is for a database: files = ["postgresql://…"]; for files with layers set layers')
        return self

    @model_validator(mode="after")
    def _layers_are_of_one_kind(self) -> Self:
        if self.layers and len({is_database(name) for name in self.files}) > 1:
            raise ValueError("layers is for files or for a database: write a block for each")
        return self


class PhotosSection(Section):
    """``[[photos]]``: geotagged pictures, and how far from a patch one may be taken to belong to it."""

    files: list[FileName] = Field(min_length=1)
    within_m: PositiveLength = Field(alias="within")


class LimitsSection(Section):
    """``[intake.limits]``: what is refused as a mistake or an attack: files and archives that are too large, tables
    with too many columns, shapes with too many vertices or parts, GPX and KML files with too many records, workbooks
    with too many cells and rows (the last two are slow to read: a CSV may be larger)."""

    file_B: DataSize = Field(200e6, alias="file")
    unpacked_B: DataSize = Field(200e6, alias="unpacked")
    members: int = Field(10_000, ge=1)
    vertices: int = Field(1_000_000, ge=4)
    parts: int = Field(50_000, ge=1)
    columns: int = Field(5_000, ge=1)
    xml_records: int = Field(250_000, ge=1)
    cells: int = Field(1_000_000, ge=1)


class IntakeSection(Section):
    """``[intake]``: how field files are read and cleaned.

    ``species`` is a file of the user's own plants, which add to the catalogue or replace its rows. A track whose ends
    are within ``closing_gap`` (or a tenth of its length) is a walked outline; with "0 m" no track is. An outline that
    mending changes by more than ``mend_limit`` of its area, and a record over ``far`` from the stands, is set aside.
    ``repair_positions`` and ``merge_copies`` turn those repairs off. ``cover_scales`` names classes of cover.
    """

    species: FileName | None = None
    closing_gap_m: Length = Field(20.0, alias="closing_gap")
    mend_limit_pct: Share = Field(1.0, alias="mend_limit")
    far_m: PositiveLength = Field(1000.0, alias="far")
    repair_positions: bool = True
    merge_copies: bool = True
    cover_scales: dict[str, dict[str, CoverRange]] = Field(default_factory=dict)
    limits: LimitsSection = LimitsSection()


INTAKE: Final = IntakeSection()
LIMITS: Final = LimitsSection()
