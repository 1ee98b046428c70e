"""What the settings lack of labels, and days in them that look wrong: said before anything is planned."""

from __future__ import annotations

import datetime as dt
from typing import Final

from invasimap.core.mix_settings import MixSection
from invasimap.core.settings import Tract
from invasimap.prescription.mix import not_typed

ON_THE_DAY: Final = {
    "registration": "registration", "wind": "wind_m_per_s", "temperature": "temperature_c",
    "rain_free": "rain_free_min", "reentry": "reentry_min",
}  # fmt: skip
DAYS_BACK, DAYS_AHEAD = 366, 731  # of a first day of work that is no slip of the year


def label_notes(settings: Tract) -> list[str]:
    """Figures of labels that are not typed, and what is left undone for it; a line a mix and cause."""
    return [note for mix in settings.mix for note in _of_mix(mix)]


def _of_mix(mix: MixSection) -> list[str]:
    said = []
    if not mix.technique:
        said.append(
            f"mix {mix.name!r}: no technique is typed, so it is used for nothing: type how its label allows it."
        )
    if lacking := not_typed(mix):
        said.append(
            f"mix {mix.name!r}: without {', '.join(lacking)} nothing is planned with it: type this from the label."
        )
    if blank := [key for key, name in ON_THE_DAY.items() if getattr(mix, name) is None]:
        said.append(f"mix {mix.name!r}: {', '.join(blank)} not typed: the load sheet says to read it off the label.")
    return said


def start_notes(settings: Tract, *, today: dt.date) -> list[str]:
    """That the first day of work lies so far off that its year may be a slip."""
    start = settings.schedule.start
    if start is None or -DAYS_BACK <= (start - today).days <= DAYS_AHEAD:
        return []
    return [f"[schedule] start = {start} lies far from today, {today}: check its year."]
