"""The pictures that a tract's settings name, each attached to its patch, with their account."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

import geopandas as gpd
import pandas as pd

from invasimap.core.crs import require_crs
from invasimap.core.errors import Fault, LayerError
from invasimap.core.survey_settings import LimitsSection, PhotosSection
from invasimap.inputs.formats.photos import SUFFIXES, read_photos
from invasimap.inputs.photos import PHOTO_COLUMNS, attach_photos, photo_ledger
from invasimap.inputs.survey import matching_files, no_file, path_label


@dataclass(frozen=True, kw_only=True)
class TractPhotos:
    """Pictures with the patch each belongs to (see ``attach_photos``), their account, those set aside, and what is to
    be said of files that are none."""

    table: pd.DataFrame
    ledger: pd.DataFrame
    set_aside: gpd.GeoDataFrame
    files: list[Path]
    notes: list[str]

    @property
    def attached(self) -> int:
        """How many belong to a patch."""
        return int((self.table["patch"] != "").sum())


def read_tract_photos(
    sections: Sequence[PhotosSection], patches: gpd.GeoDataFrame, *, folder: Path, timezone: ZoneInfo,
    limits: LimitsSection,
) -> TractPhotos:  # fmt: skip
    """Every picture of the ``[[photos]]`` blocks.

    Parameters
    ----------
    sections
        The blocks.
    patches
        The survey's patches, in the working system.
    folder
        Where relative paths start.
    timezone
        The tract's.
    limits
        What is refused.

    Raises
    ------
    LayerError
        Lists every pattern without a picture and every picture named in two blocks.
    """
    found, faults, notes = _find(sections, folder=folder)
    if faults:
        raise LayerError(faults)
    crs = require_crs(patches, "patches")
    tables = [pd.DataFrame(columns=list(PHOTO_COLUMNS))]
    for section, paths in zip(sections, found, strict=True):
        photos = read_photos(paths, labels=[path_label(path, folder) for path in paths], limits=limits)
        tables.append(attach_photos(photos, patches, crs=crs, within_m=section.within_m, timezone=timezone))
    table = pd.concat(tables[1:] or tables, ignore_index=True)
    ledger, aside = photo_ledger(table, crs=crs)
    files = [path for paths in found for path in paths]
    return TractPhotos(table=table, ledger=ledger, set_aside=aside, files=files, notes=notes)


def _find(sections: Sequence[PhotosSection], *, folder: Path) -> tuple[list[list[Path]], list[Fault], list[str]]:
    """The pictures of each block, the faults met, and a note for each pattern that also matches other files."""
    found: list[list[Path]] = []
    faults: list[Fault] = []
    notes: list[str] = []
    seen: dict[Path, int] = {}
    for number, section in enumerate(sections, 1):
        paths: list[Path] = []
        for pattern in section.files:
            files = matching_files(folder, pattern)
            matched = [path for path in files if path.suffix.lower() in SUFFIXES]
            notes += _passed_over([path for path in files if path not in matched], f"[[photos]] {number}: {pattern}")
            faults += [] if matched else [no_file(f"[[photos]] {number}", pattern, folder)]
            paths += [path for path in matched if seen.setdefault(path.resolve(), number) == number]
            twice = [path for path in matched if seen[path.resolve()] != number]
            faults += [_twice(path_label(path, folder), seen[path.resolve()], number) for path in twice]
        found.append(list(dict.fromkeys(paths)))
    return found, faults, notes


def _passed_over(files: list[Path], where: str) -> list[str]:
    if not files:
        return []
    kinds = ", ".join(sorted({path.suffix.lower() or "no suffix" for path in files}))
    return [f"{where}: files that are no pictures of a kind that is read: {len(files):,} ({kinds}) passed over"]


def _twice(label: str, first: int, second: int) -> Fault:
    what = f"is named in [[photos]] {first} and {second}: it would count twice"
    return Fault(where=label, what=what, mend="name it in one block")
