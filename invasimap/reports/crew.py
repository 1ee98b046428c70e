"""Crew files: for each access class what its crew may work, for receivers (GPX) and for phones (KML)."""

from __future__ import annotations

from pathlib import Path

from invasimap.prescription.plan import Plan
from invasimap.reports.crew_parts import crew_sheets
from invasimap.reports.gpx import gpx_bytes
from invasimap.reports.kml import kml_bytes
from invasimap.reports.wording import TREATABLE


def write_crew_files(plan: Plan, folder: Path) -> None:
    """Write ``crew/*.gpx`` and ``crew/*.kml`` into ``folder``, which exists; a class without zones gets no file.

    A class whose zones one receiver would not hold gets several GPX files, ``foot_1.gpx`` and so on, stand by stand. A
    phone holds any number of places: its file has all of them.
    """
    for access in TREATABLE:
        sheets = list(crew_sheets(plan, access, most_marks=plan.settings.crew.waypoints))
        for number, sheet in enumerate(sheets, 1):
            (folder / "crew").mkdir(exist_ok=True)
            name = f"{access}_{number}" if len(sheets) > 1 else access
            (folder / "crew" / f"{name}.gpx").write_bytes(gpx_bytes(sheet))
        for sheet in sheets if len(sheets) == 1 and not sheets[0].limited else crew_sheets(plan, access):
            (folder / "crew" / f"{access}.kml").write_bytes(kml_bytes(sheet))
