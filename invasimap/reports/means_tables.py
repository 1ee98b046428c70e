"""The report about the means at hand: what machines and people were taken to be, and what a pump gives its hose."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

from invasimap.core.settings import AccessSection, FootSection, HoseSection, TractorSection
from invasimap.core.units import L_PER_GAL, M_PER_FT, ShownUnits
from invasimap.land.hose import KPA_PER_PSI, PSI_PER_FT_OF_WATER, friction_kPa
from invasimap.land.machines import pump_lift_m
from invasimap.land.walking import tobler_km_per_h
from invasimap.prescription.plan import Plan
from invasimap.reports.access_chart import next_better
from invasimap.reports.report_tables import PrintedTable
from invasimap.reports.wording import rows_of, shown_area, shown_length, whole_length

KM_PER_MILE: Final = 5280 * M_PER_FT / 1000
NOT_TYPED: Final = "*"
# by the shown unit of length: name and size of the unit of pressure (kPa), flow (L/min), bore (m) and pace (km/h)
UNITS: Final = {
    "ft": {"pressure": ("psi", KPA_PER_PSI), "flow": ("gal/min", L_PER_GAL), "bore": ("in", M_PER_FT / 12),
           "pace": ("mph", KM_PER_MILE)},
    "m": {"pressure": ("bar", 100.0), "flow": ("L/min", 1.0), "bore": ("mm", 0.001), "pace": ("km/h", 1.0)},
}  # fmt: skip


def means_report(access: AccessSection, shown: ShownUnits) -> PrintedTable:
    """What the machines, their hoses and pumps, and people on foot were taken to be; what was not typed is marked."""
    rows = [["ground", f"worked in cells of {shown_length(access.cell_m, shown)}{_own(access, 'cell_m')}"]]
    for name, machine in (("tractor", access.tractor), ("ATV", access.atv)):
        rows += _machine_rows(name, machine, shown)
    rows += _foot_rows(access.foot, shown)
    note = "Which way a machine drives is not known: off the ways the whole slope counts as side slope too."
    if any(NOT_TYPED in text for _, text in rows):
        note += f" {NOT_TYPED} not typed: the program's own value."
    return PrintedTable(
        caption="What machines and people were taken to be", heads=["Means", "Taken to be"], rows=rows, note=note
    )


def _machine_rows(name: str, machine: TractorSection | None, shown: ShownUnits) -> list[list[str]]:
    if machine is None:
        return [[name, "not at hand"]]
    limits = (
        f"slope up to {machine.max_slope_pct:.3g} %, side slope up to {machine.max_side_slope_pct:.3g} %, "
        f"gaps of {shown_length(machine.clearance_m, shown)} or more"
    )
    if machine.hose_length_m is None:
        return [[name, limits]]
    hose = (
        f"{shown_length(machine.hose_length_m, shown)} long, {machine.hose_loss_pct:.3g} % of it"
        f"{_own(machine, 'hose_loss_pct')} lost to reel, trees and slack"
    )
    pump = "not typed: how high it lifts was not checked"
    if machine.pump_pressure_kPa and machine.nozzle_pressure_kPa and machine.flow_L_per_min and machine.hose_diameter_m:
        roughness = f"roughness C {machine.hose_roughness:.3g}{_own(machine, 'hose_roughness')} (Hazen-Williams)"
        hose += f"; {_figure(machine.hose_diameter_m, 'bore', shown)} inside, {roughness}"
        pump = (
            f"{_figure(machine.pump_pressure_kPa, 'pressure', shown)} at "
            f"{_figure(machine.flow_L_per_min, 'flow', shown)}; the nozzle needs "
            f"{_figure(machine.nozzle_pressure_kPa, 'pressure', shown)}"
        )
    return [[name, limits], [f"hose from the {name}", hose], [f"pump of the {name}", pump]]


def _foot_rows(foot: FootSection | None, shown: ShownUnits) -> list[list[str]]:
    if foot is None:
        return [["on foot", "not at hand"]]
    pace, size = UNITS[shown.length]["pace"]
    level = math.floor(float(tobler_km_per_h(0.0)) / size * 10) / 10
    return [
        ["on foot", f"slope up to {foot.max_slope_pct:.3g} %; carrying the sprayer at most {foot.max_walk_min:.3g} min "
         "one way, from the nearest place where a vehicle can stop"],
        ["pace on foot", f"{level:g} {pace} on a level way without a load, less on slopes; times {foot.off_way:g}"
         f"{_own(foot, 'off_way')} off the ways, times {foot.load:g}{_own(foot, 'load')} with the load"],
    ]  # fmt: skip


def _own(section: AccessSection | HoseSection | FootSection, name: str) -> str:
    """The mark of a value that the settings do not hold."""
    return "" if name in section.model_fields_set else NOT_TYPED


def _figure(value: float, kind: str, shown: ShownUnits) -> str:
    unit, size = UNITS[shown.length][kind]
    return f"{value / size:.4g} {unit}"


def pump_lines(plan: Plan) -> list[str]:
    """For each hose, how much infested ground within its length is too high for its pump, in words."""
    return [_pump_line(plan, access, name, rig) for access, name, rig in _hoses(plan.settings.access)]


def _pump_line(plan: Plan, access: str, name: str, rig: HoseSection) -> str:
    shown, lift_m = plan.shown, pump_lift_m(rig)
    if math.isinf(lift_m):
        return (
            f"No pump settings were typed for the hose from the {name}: how high it lifts was not checked, so it "
            "counts wherever it is long enough."
        )
    needed = _figure(rig.nozzle_pressure_kPa or 0.0, "pressure", shown)
    if lift_m < 0:
        tail = (
            f"the pump is too weak for it: the nozzle has its {needed} only {whole_length(-lift_m, shown)} or more "
            "below the pump."
        )
    else:
        down = math.floor(shown.length_of(lift_m) + 1e-6)
        tail = f"the nozzle keeps its {needed} up to {down:,} {shown.length} above the pump."
    too_high_m2 = sum(
        float(row.open_m2)
        for row in rows_of(plan.limits)
        if row.limit == "lift" and next_better(row.access, plan.settings.access) == access
    )
    much = shown_area(too_high_m2, shown) if too_high_m2 > 0 else "none"
    return f"Within the length of the hose from the {name}, but too high for its pump: {much}; {tail}"


def _hoses(access: AccessSection) -> Iterator[tuple[str, str, HoseSection]]:
    """Class, name and settings of each machine that has a hose."""
    for name, words, rig in (("tractor", "tractor", access.tractor), ("atv_hose", "ATV", access.atv)):
        if rig is not None and rig.hose_length_m is not None:
            yield name, words, rig


def pump_report(plan: Plan) -> PrintedTable:
    """What friction and height leave of a pump's pressure: on level ground, at the plan's highest and highest of all.

    Empty where no pump was typed.
    """
    shown, rows = plan.shown, list[list[str]]()
    unit, size = UNITS[shown.length]["pressure"]
    for access, name, rig in _hoses(plan.settings.access):
        lift_m = pump_lift_m(rig)
        if not math.isinf(lift_m):
            cases = _cases(plan, access, lift_m)
            rows += [[f"{name}: {words}", *_budget(rig, up_m, size, shown)] for words, up_m in cases]
    heads = ["Whole hose laid, nozzle", f"Pump gives {unit}", f"Friction takes {unit}", f"Height takes {unit}",
             f"Left at the nozzle {unit}", f"Nozzle needs {unit}"]  # fmt: skip
    return PrintedTable(
        caption="What the pump leaves at the nozzle", heads=heads, rows=rows, numeric=frozenset(range(1, 6)),
        note="Friction is that of the whole hose, on the reel or off. "
        f"Water weighs {'0.433 psi a foot' if shown.length == 'ft' else '0.098 bar a metre'}.",
    )  # fmt: skip


def _cases(plan: Plan, access: str, lift_m: float) -> list[tuple[str, float]]:
    """Heights of the nozzle above the pump, with their words."""
    shown, found = plan.shown, [("as high as the pump", 0.0)]
    stops = plan.parking.loc[plan.parking["access"] == access, "lift_m"]
    highest_m = float(stops.max()) if len(stops) else 0.0
    most = math.floor(shown.length_of(lift_m) + 1e-6)
    if 0 < highest_m <= most * shown.m:  # else the last foot's rounding would set it above the most
        found.append((f"{whole_length(highest_m, shown)} up, the highest in this plan", highest_m))
    if most > 0:
        found.append((f"{most:,} {shown.length} up, the most it can do", most * shown.m))
    return found


def _budget(rig: HoseSection, up_m: float, size: float, shown: ShownUnits) -> list[str]:
    """Pressures of the pump, lost to friction and height, left and needed, in the shown unit (``size`` kPa)."""
    pump, needed = rig.pump_pressure_kPa or 0.0, rig.nozzle_pressure_kPa or 0.0
    friction = friction_kPa(
        length_m=rig.hose_length_m or 0.0, diameter_m=rig.hose_diameter_m or 0.0,
        flow_L_per_min=rig.flow_L_per_min or 0.0, roughness=rig.hose_roughness,
    )  # fmt: skip
    height = up_m / M_PER_FT * PSI_PER_FT_OF_WATER * KPA_PER_PSI
    places = 1 if shown.length == "ft" else 2
    return [f"{value / size + 0.0:.{places}f}" for value in (pump, friction, height, pump - friction - height, needed)]
