"""How a report was computed, as tables: systems, units, draws, settings, versions and the files that went in."""

from __future__ import annotations

from invasimap.core.files import PROGRAM
from invasimap.mosaic.simulation import SEED
from invasimap.prescription.plan import Plan
from invasimap.reports.report_tables import PrintedTable
from invasimap.reports.run_record import versions
from invasimap.reports.wording import shown_length


def method_report(plan: Plan) -> PrintedTable:
    """What the figures rest on, a row each."""
    rows = [
        ["Tract", plan.settings.tract.name],
        ["Program", f"{PROGRAM}, run {plan.made.astimezone(plan.settings.tract.zone):%Y-%m-%d %H:%M %Z}"],
        ["Areas", f"map (horizontal) {plan.shown.area_said}; the surface of a slope is larger"],
        ["Coordinates", _system(plan)],
        ["Slope and reach", f"worked in cells of {shown_length(plan.settings.access.cell_m, plan.shown)}"],
        ["Elevation", _elevation(plan)],
        ["Ranges", _draws(plan)],
        *_intake(plan),
        ["Versions", ", ".join(f"{name} {version}" for name, version in versions().items())],
    ]
    return PrintedTable(
        caption="What the figures rest on", heads=["Of", "Taken"], rows=rows,
        note="Every setting, hash and check is in run.json.",
    )  # fmt: skip


def files_report(plan: Plan) -> PrintedTable:
    """The files that went in, with their hashes."""
    rows = [[file.shown, file.sha256 or "not told: it reads what is confidential"] for file in plan.inputs]
    return PrintedTable(
        caption="Files that went in", heads=["File", "SHA-256 of its content"], rows=rows,
        note="The same files and settings give the same figures.", folded="Files that went in, with their hashes",
    )  # fmt: skip


def _system(plan: Plan) -> str:
    """The working system by its method and centre."""
    operation = plan.crs.coordinate_operation
    if operation is None:
        return plan.crs.name
    centre = {p.name: p.value for p in operation.params}
    lat, lon = (centre.get(f"{name} of natural origin") for name in ("Latitude", "Longitude"))
    at = "" if lat is None or lon is None else f", centred at {lat:.3f}, {lon:.3f}"
    return f"{operation.method_name}{at} (WGS 84), in metres: area on the map is area on the ground"


def _elevation(plan: Plan) -> str:
    if plan.terrain.flat:
        return "none: level ground was assumed"
    own = plan.terrain.source_cell_m
    cells = f", of cells of {shown_length(own, plan.shown)}" if own else ""
    return f"the raster named in the settings{cells}; ground without elevation is out of reach, not free"


def _draws(plan: Plan) -> str:
    said = plan.settings.uncertainty
    if not said.draws:
        return "none were drawn"
    return (
        f"90 %, of {said.draws} surveys drawn with the errors of this one (seed {SEED}): sizes "
        f"{said.size_error_pct:g} %, covers of one figure {said.cover_error_pct:g} % either way; an accuracy "
        f"holds {said.accuracy_is} of the fixes"
    )


def _intake(plan: Plan) -> list[list[str]]:
    said, shown = plan.settings.intake, plan.shown
    kept = "put right where one mistake explains them" if said.repair_positions else "left as they are"
    copies = "counted once" if said.merge_copies else "kept"
    return [
        ["Survey", f"a walk whose ends are within {shown_length(said.closing_gap_m, shown)} is an outline; positions "
         f"farther than {shown_length(said.far_m, shown)} from the stands are {kept}; records that came twice are "
         f"{copies}; an outline that mending changes by more than {said.mend_limit_pct:g} % is set aside"],
        ["Overlaps", "of one species the newest survey holds, then the higher cover, and the ground counts once; "
         "several species on one spot count once in ground and once in each species"],
    ]  # fmt: skip
