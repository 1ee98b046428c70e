"""Crew files for receivers (GPX) and for phones (KML): what each access class may work, and what a day's work is."""

from __future__ import annotations

from pathlib import Path

from invasimap.prescription.plan import Plan
from invasimap.reports.crew_days import day_sheets
from invasimap.reports.crew_parts import crew_sheets
from invasimap.reports.crew_sheet import CrewSheet
from invasimap.reports.gpx import gpx_bytes
from invasimap.reports.kml import kml_bytes
from invasimap.reports.wording import TREATABLE


def write_crew_files(plan: Plan, folder: Path) -> None:
    """Write ``crew/*.gpx`` and ``crew/*.kml`` into ``folder``, which exists; what has no ground gets no file.

    One for each access class, and one for each day and rig of the schedule (``day_2026-08-03_RIG.gpx``). What one
    receiver would not hold gets several, ``foot_1.gpx`` and so on, stand by stand. A phone holds any number of places:
    its file of a class has all of them.
    """
    for access in TREATABLE:
        sheets = list(crew_sheets(plan, access, most_marks=plan.settings.crew.waypoints))
        whole = len(sheets) == 1 and not sheets[0].limited
        _write(access, sheets, sheets if whole else list(crew_sheets(plan, access)), folder)
    for name, sheets in day_sheets(plan):
        _write(name, sheets, sheets, folder)


def _write(name: str, receiver: list[CrewSheet], phone: list[CrewSheet], folder: Path) -> None:
    for kind, sheets, made in (("gpx", receiver, gpx_bytes), ("kml", phone, kml_bytes)):
        for number, sheet in enumerate(sheets, 1):
            (folder / "crew").mkdir(exist_ok=True)
            whole = f"{name}_{number}" if len(sheets) > 1 else name
            (folder / "crew" / f"{whole}.{kind}").write_bytes(made(sheet))
