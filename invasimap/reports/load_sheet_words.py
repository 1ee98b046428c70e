"""What the load sheet says: amounts by the jug, what is typed from the label, limits and dates, in words."""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np
import pandas as pd

from invasimap.core.legible import visible
from invasimap.core.mix_settings import MixSection
from invasimap.core.settings import Tract
from invasimap.core.units import L_PER_GAL, METRIC, ShownUnits
from invasimap.prescription.plan import Plan
from invasimap.reports.wording import rounded, rows_of, shown_hours

MOST_STOPS: Final = 8  # patches named with the volume to stop at, or more where so many are at a limit
NEAR_LIMIT: Final = 0.75  # of a limit: a third more mix than planned reaches it
M_PER_S_OF_MPH, M_PER_S_OF_KMH = 0.44704, 1 / 3.6
NOT_TYPED: Final = "not typed, read it off the label"
ORDER: Final = "Put into the tank in the order the label says."


def tank_unit(shown: ShownUnits) -> tuple[str, float]:
    """The unit of tanks and water, and its litres."""
    return ("l", 1.0) if shown is METRIC else ("gal", L_PER_GAL)


def jug_unit(shown: ShownUnits) -> tuple[str, float]:
    """The unit of what is measured into a tank, and its litres."""
    return ("ml", 1e-3) if shown is METRIC else ("fl oz", L_PER_GAL / 128)


def figure(value: float, *, up: bool | None = None) -> str:
    """A figure with at most two decimals, to the nearest or all to one side.

    Examples
    --------
    >>> figure(25.0), figure(24.629), figure(1034.999, up=False), figure(3.001, up=True), figure(float("nan"))
    ('25', '24.63', '1,034.99', '3.01', 'not known')
    """
    if math.isnan(value):
        return "not known"
    found = round(value, 2) if up is None else float(rounded(value, decimals=2, up=up))
    text = f"{found:,.2f}"
    return text.rstrip("0").rstrip(".")


def said_volume(litres: float, shown: ShownUnits) -> str:
    """A volume of mix or water: in tank units, or in the jug's where it is less than a quarter of a gallon or litre.

    Examples
    --------
    >>> from invasimap.core.units import US
    >>> said_volume(25 * 3.785411784, US), said_volume(0.2996, US), said_volume(0.2996, METRIC)
    ('25 gal', '10.13 fl oz', '0.3 l')
    """
    (small, small_L), (large, large_L) = jug_unit(shown), tank_unit(shown)
    if math.isnan(litres):
        return "not known"
    unit, size = (small, small_L) if litres < large_L / 4 else (large, large_L)
    return f"{figure(litres / size)} {unit}"


def jug_amount(litres: float, shown: ShownUnits) -> str:
    """An amount to bring, rounded up, by the jug; with the larger unit where it is much.

    Examples
    --------
    >>> from invasimap.core.units import US
    >>> jug_amount(158.4 * 3.785411784 / 128, US), jug_amount(0.25, METRIC)
    ('158.4 fl oz (1.24 gal)', '250 ml')
    """
    (small, small_L), (large, large_L) = jug_unit(shown), tank_unit(shown)
    said = f"{figure(litres / small_L, up=True)} {small}"
    return f"{said} ({figure(litres / large_L, up=True)} {large})" if litres >= large_L else said


def mix_words(mix: MixSection) -> str:
    """What is in a mix: product, registration, what is added, and the rates as typed."""
    registration = f"registration {mix.registration}" if mix.registration else f"registration {NOT_TYPED}"
    parts = [f"{mix.product} ({registration}), {mix.rate.text}"]
    parts += [f"{extra.name}, {extra.rate.text}" for extra in (mix.adjuvant, mix.dye) if extra is not None]
    return f"{visible('; '.join(parts))}."


def label_words(mix: MixSection, shown: ShownUnits) -> str:
    """Wind, temperature, rain-free time and re-entry as typed; rounded so that no bound is wider than typed."""
    metric = shown is METRIC
    speed, unit = (M_PER_S_OF_KMH, "km/h") if metric else (M_PER_S_OF_MPH, "mph")
    wind = _between(mix.wind_m_per_s, unit, by=lambda metres_per_s: metres_per_s / speed)
    by = (lambda c: c) if metric else (lambda c: c * 1.8 + 32)
    temperature = _between(mix.temperature_c, "°C" if metric else "°F", by=by)
    parts = {
        "wind": wind, "temperature": temperature, "rain-free": _hours(mix.rain_free_min),
        "re-entry": _hours(mix.reentry_min),
    }  # fmt: skip
    typed = [f"{name} {said}" for name, said in parts.items() if said]
    lacking = [name for name, said in parts.items() if not said]
    said = [f"As typed from the label: {'; '.join(typed)}."] if typed else []
    said += [f"Not typed, read it off the label: {', '.join(lacking)}."] if lacking else []
    return " ".join([*said, ORDER])


def _between(ends: tuple[float, float] | None, unit: str, *, by: Any) -> str:
    if ends is None:
        return ""
    low, high = (float(rounded(by(end), decimals=1, up=up)) + 0.0 for end, up in zip(ends, (True, False), strict=True))
    return f"{low:g}-{high:g} {unit}" if low >= 0 else f"{low:g} to {high:g} {unit}"


def _hours(minutes: float | None) -> str:
    """A time that must pass, rounded up: minutes up to two hours, else hours to a tenth."""
    if minutes is None:
        return ""
    whole = math.ceil(minutes - 1e-6)
    if whole < 120 and whole % 60:
        return f"{whole} min"
    return f"{float(rounded(minutes / 60, decimals=1, up=True)):g} h"


def calibration_words(settings: Tract, *, rig: str, technique: str) -> str:
    """When the rig was calibrated for a technique, and how long that holds."""
    held = next((one for one in settings.rig if one.name == rig), None)
    days = sorted({one.date for one in held.calibration if one.serves(technique)}) if held else []
    if not days:
        return "No calibration of this rig for it is typed."
    age = f"{settings.spray.calibration_age_days:g} days"
    return f"Calibrated {', '.join(map(str, days))}: if that is over {age} before the day of spraying, calibrate again."


def stop_words(jobs: pd.DataFrame, mix: MixSection | None, shown: ShownUnits) -> str:
    """At which volume to stop on the patches that come near a limit; empty text where none does."""
    stops = jobs["stop_at_L"].astype(float)
    held = jobs[np.isfinite(stops)].assign(stop=stops[np.isfinite(stops)])
    once, year = (
        held[f"{name}_kg_per_ha"].astype(float) / (getattr(mix, f"max_per_{name}_kg_per_ha", None) or math.nan)
        for name in ("application", "year")
    )
    held = held.assign(met=held["at_limit"].eq(True), used=np.fmax(once, year))
    held = held[held["met"] | (held["used"] >= NEAR_LIMIT)]
    if not len(held):
        return ""
    held = held.sort_values(["met", "used", "stop"], ascending=[False, False, True], kind="stable")
    count = max(int(held["met"].sum()), MOST_STOPS)
    named = [
        f"{visible(str(job.patch))}: {_no_more(job.stop, shown)}{' (planned at it)' if job.met else ''}"
        for job in rows_of(held.head(count))
    ]
    more = f"; {len(held) - count} more in tables/techniques.csv" if len(held) > count else ""
    return f"Patches near a limit of the label, and at which volume of mix to stop there: {'; '.join(named)}{more}."


def _no_more(litres: float, shown: ShownUnits) -> str:
    """A volume not to be passed, rounded down."""
    (small, small_L), (large, large_L) = jug_unit(shown), tank_unit(shown)
    unit, size = (small, small_L) if litres < large_L / 4 else (large, large_L)
    said = figure(litres / size, up=False)
    return f"{'<0.01' if said == '0' and litres > 0 else said} {unit}"


def note_words(jobs: pd.DataFrame) -> str:
    """What to know of a work's jobs, each note once with the patches it is of."""
    found: dict[str, list[str]] = {}
    for job in rows_of(jobs):
        for note in str(job.notes or "").split(";"):
            if note.strip():
                found.setdefault(note.strip(), []).append(visible(str(job.patch)))
    said = [f"{visible(note)} ({_few(list(dict.fromkeys(patches)))})" for note, patches in found.items()]
    return f"Notes: {'; '.join(said)}." if said else ""


def _few(names: list[str], most: int = 6) -> str:
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")


def hours_words(schedule: pd.DataFrame) -> str:
    """Hours of some rows of the schedule together.

    Examples
    --------
    >>> hours_words(pd.DataFrame({"hours": [1.0, 2.5]})), hours_words(pd.DataFrame({"hours": [1.0, None]}))
    ('3.5', 'not known')
    """
    return shown_hours(float(schedule["hours"].astype(float).sum(skipna=False)) if len(schedule) else math.nan)


def mix_of(plan: Plan, name: str) -> MixSection | None:
    """The mix of a name in the settings."""
    return next((mix for mix in plan.settings.mix if mix.name == name), None)
