"""All outputs of a plan into one folder: first the data, then the pages people read, last the record of the run."""

from __future__ import annotations

import json
from pathlib import Path

from invasimap.core.files import MARK
from invasimap.prescription.plan import Plan
from invasimap.reports.apart import BOOK, LOADS, Pictures
from invasimap.reports.crew import write_crew_files
from invasimap.reports.geopackage import write_geopackage
from invasimap.reports.run_record import run_record
from invasimap.reports.tables import write_tables


def write_data(plan: Plan, folder: Path) -> None:
    """Layers, tables and crew files into ``folder``, which exists."""
    write_geopackage(plan, folder / "plan.gpkg")
    write_tables(plan, folder)
    write_crew_files(plan, folder)


def write_pages(plan: Plan, folder: Path, *, pictures: Pictures) -> None:
    """Maps and report into ``folder``, which exists; ``pictures`` gives the printed ones when asked."""
    from invasimap.reports.report import report_html  # the map's library takes a second to load
    from invasimap.reports.webmap import map_html

    write_text(folder / "map.html", map_html(plan))
    drawn, maps = pictures(), folder / "maps"
    maps.mkdir(exist_ok=True)
    for name, picture in drawn.items():
        file = folder / f"{name}.pdf" if name in (BOOK, LOADS) else maps / f"{name}.png"
        file.write_bytes(picture)
    page = report_html(plan, pictures=drawn)
    write_text(folder / "report.html", page)


def mark_files(folder: Path, leads: str) -> None:
    """Lead the name of every file by a word that goes with it, however it is passed on: tables can bear no other."""
    for path in [path for path in folder.rglob("*") if path.is_file()]:
        path.rename(path.with_name(f"{leads}{path.name}"))


def write_run_record(plan: Plan, folder: Path) -> None:
    """``run.json``: versions, settings, input hashes, ledger, checks, seconds; its presence marks a whole result."""
    written = sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file())
    text = json.dumps(run_record(plan, outputs=written), indent=2, ensure_ascii=False, allow_nan=False)
    write_text(folder / MARK, text + "\n")


def write_text(path: Path, text: str) -> None:
    """UTF-8 text with the same line ends on every system; a sign that is none, as names of files hold, as its code."""
    path.write_text(text, encoding="utf-8", errors="backslashreplace", newline="\n")
