"""How long a calibration holds: what was measured long before is not mixed by."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

import pandas as pd

from invasimap.core.errors import Fault
from invasimap.core.rig_settings import RigSection
from invasimap.core.settings import Tract

AGAIN = "calibrate again, write the line under the rig and plan again"


def why_not_mixed(calibrated: Iterable[dt.date], *, day: dt.date, age_days: float) -> str:
    """Why nothing may be mixed on a day by some calibrations; empty where it may.

    Parameters
    ----------
    calibrated
        The days of the calibrations that amounts rest on.
    age_days
        Days for which a calibration holds.

    Examples
    --------
    >>> monday = {"day": dt.date(2026, 9, 7), "age_days": 30}
    >>> why_not_mixed([dt.date(2026, 8, 8)], **monday)
    ''
    >>> why_not_mixed([dt.date(2026, 8, 7)], **monday).partition(":")[0]
    'calibrated 2026-08-07, over 30 days before 2026-09-07'
    """
    days = sorted(set(calibrated))
    if old := [at for at in days if (day - at).days > age_days]:
        return f"calibrated {old[0]}, over {age_days:g} days before {day}: {AGAIN}"
    if late := [at for at in days if at > day]:
        return f"calibrated {late[-1]}, after {day}: {AGAIN}"
    return ""


def held_back_faults(loads: pd.DataFrame) -> list[Fault]:
    """Of each rig how many outings must not be mixed as they stand, and the first of them."""
    held = loads[loads["hold"] != ""]
    faults = []
    for rig, own in held.groupby("rig", sort=True):
        first = own.sort_values("day", kind="stable").iloc[0]
        count = own["outing"].nunique()
        said = f"{count:,} {'outing is' if count == 1 else 'outings are'} not to be mixed; the first:"
        faults.append(Fault(where=f"rig {rig!r}", what=f"{said} {first['hold'].partition(': ')[0]}", mend=AGAIN))
    return faults


def calibration_faults(settings: Tract, *, today: dt.date) -> list[Fault]:
    """Calibrations of days that have not come: nothing can have been measured then."""
    return [
        Fault(where=f"rig {rig.name!r}", what=f"calibration of {entry.date} is of a day to come (today is {today})",
              mend="correct the day it was measured")
        for rig in settings.rig
        for entry in rig.calibration
        if entry.date > today
    ]  # fmt: skip


def calibration_notes(settings: Tract, *, today: dt.date) -> list[str]:
    """Of each rig from when on its tanks are withheld, if that is before or on the first day of work."""
    first = settings.schedule.start or today
    age_days = settings.spray.calibration_age_days
    return [
        f"rig {rig.name!r}: calibrated {old[0]}, over {age_days:g} days before the first day of work, {first}: what "
        "goes into its tanks is withheld until it is calibrated again."
        for rig in settings.rig
        if (old := [day for day in _latest(rig) if (first - day).days > age_days])
    ]


def _latest(rig: RigSection) -> list[dt.date]:
    """The last day on which a rig was calibrated for each technique and height, the earliest first."""
    latest: dict[object, dt.date] = {}
    for entry in rig.calibration:
        key = (entry.technique, entry.up_to_m)
        latest[key] = max(entry.date, latest.get(key, entry.date))
    return sorted(latest.values())
