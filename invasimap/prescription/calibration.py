"""What a sprayer and its crew put on, from what was caught and timed: plot, boom and handgun.

The 1/128-acre method: a US gallon holds 128 fl oz, so the fl oz that fall on 1/128 acre are its gallons per acre. The
boom formula is ``GPM = GPA x MPH x inches / 5940``; both follow from the units alone and are worked in SI here.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import Final

from invasimap.core.errors import Fault, InputError
from invasimap.core.units import L_PER_GAL, M2_PER_ACRE, M2_PER_HA, M_PER_FT, METRIC, ShownUnits

PLOT_M2: Final = M2_PER_ACRE / 128
PLOT_RANGE_FT2: Final = (335.0, 345.0)  # what counts as a 1/128-acre plot, which is 340.3125 ft2
L_PER_HA_PER_GPA: Final = L_PER_GAL / (M2_PER_ACRE / M2_PER_HA)
_DIGITS: Final = 6


@dataclass(frozen=True, kw_only=True)
class Calibration:
    """A measured rate: litres per hectare, what it was worked from, and what must be said of it."""

    rate_L_per_ha: float
    worked_from: str
    notes: tuple[str, ...] = ()

    @property
    def gal_per_acre(self) -> float:
        """The rate in US gallons per acre."""
        return self.rate_L_per_ha / L_PER_HA_PER_GPA


def plot_rate(caught_L: float, *, plot_m2: float = PLOT_M2) -> Calibration:
    """The rate from what falls on a plot in the time that spraying it takes.

    Parameters
    ----------
    caught_L
        Caught in the time that spraying the plot took.
    plot_m2
        The plot as measured. One that is no 1/128 acre (335 to 345 ft2) is said to be scaled.

    Raises
    ------
    InputError
        When a figure is not above zero.

    Examples
    --------
    >>> round(plot_rate(7.5 * 3.785411784 / 128).gal_per_acre, 9)
    7.5
    """
    _above_zero("plot", caught_L=caught_L, plot_m2=plot_m2)
    worked = f"{_floz(caught_L)} caught on {_plot(plot_m2)}"
    return Calibration(
        rate_L_per_ha=caught_L / (plot_m2 / M2_PER_HA), worked_from=worked, notes=plot_notes(plot_m2)
    )  # fmt: skip


def timed_rate(flow_L_per_min: float, *, plot_min: float, plot_m2: float = PLOT_M2) -> Calibration:
    """The rate of a handgun: its flow, and how long spraying a plot as in the work takes.

    Raises
    ------
    InputError
        When a figure is not above zero.
    """
    _above_zero("handgun", flow_L_per_min=flow_L_per_min, plot_min=plot_min, plot_m2=plot_m2)
    rate = flow_L_per_min * plot_min / (plot_m2 / M2_PER_HA)
    flow = f"{flow_L_per_min / L_PER_GAL:.4g} gal/min ({flow_L_per_min:.4g} L/min)"
    worked = f"{flow} for {plot_min * 60:.4g} s on {_plot(plot_m2)}"
    return Calibration(rate_L_per_ha=rate, worked_from=worked, notes=plot_notes(plot_m2))


def boom_rate(flow_L_per_min: float, *, speed_m_per_s: float, width_m: float) -> Calibration:
    """The rate of a nozzle that moves: of a boom ``width_m`` is the nozzles' spacing, of a boomless one the swath.

    Raises
    ------
    InputError
        When a figure is not above zero.
    """
    _above_zero("boom", flow_L_per_min=flow_L_per_min, speed_m_per_s=speed_m_per_s, width_m=width_m)
    flow = f"{flow_L_per_min / L_PER_GAL:.4g} gal/min ({flow_L_per_min:.4g} L/min)"
    worked = f"{flow} at {_speed(speed_m_per_s)} over {_width(width_m)}"
    return Calibration(
        rate_L_per_ha=flow_L_per_min * M2_PER_HA / (speed_m_per_s * 60 * width_m), worked_from=worked
    )  # fmt: skip


def boom_flow_L_per_min(rate_L_per_ha: float, *, speed_m_per_s: float, width_m: float) -> float:
    """What each nozzle must give for a rate: ``boom_rate`` turned round.

    Raises
    ------
    InputError
        When a figure is not above zero.
    """
    _above_zero("boom", rate_L_per_ha=rate_L_per_ha, speed_m_per_s=speed_m_per_s, width_m=width_m)
    return rate_L_per_ha * speed_m_per_s * 60 * width_m / M2_PER_HA


def rate_at_speed(rate_L_per_ha: float, *, planned_m_per_s: float, actual_m_per_s: float) -> float:
    """The rate of a boom driven at another speed than planned: slower puts on more."""
    _above_zero("speed", rate_L_per_ha=rate_L_per_ha, planned_m_per_s=planned_m_per_s, actual_m_per_s=actual_m_per_s)
    return rate_L_per_ha * planned_m_per_s / actual_m_per_s


def course_length_m(swath_m: float, *, plot_m2: float = PLOT_M2) -> float:
    """How long a band of some width is that covers the plot."""
    _above_zero("course", swath_m=swath_m, plot_m2=plot_m2)
    return plot_m2 / swath_m


def plot_side_m(plot_m2: float = PLOT_M2) -> float:
    """The side of a square plot."""
    _above_zero("plot", plot_m2=plot_m2)
    return math.sqrt(plot_m2)


def plot_notes(plot_m2: float) -> tuple[str, ...]:
    """What must be said of a plot's size: nothing of a 1/128 acre.

    Examples
    --------
    >>> plot_notes(340 * 0.3048**2)
    ()
    >>> plot_notes(500 * 0.3048**2)
    ('The plot of 500 ft2 is no 1/128 acre (335 to 345 ft2): scaled by 340.3125 / 500 = 0.681.',)
    """
    ft2 = plot_m2 / M_PER_FT**2
    low, high = PLOT_RANGE_FT2
    if low - 1e-9 <= ft2 <= high + 1e-9:
        return ()
    scale = PLOT_M2 / plot_m2
    return (
        f"The plot of {ft2:.6g} ft2 is no 1/128 acre ({low:g} to {high:g} ft2): "
        f"scaled by 340.3125 / {ft2:.6g} = {scale:.3g}.",
    )


def setting_line(
    rate_L_per_ha: float,
    *,
    date: dt.date,
    shown: ShownUnits,
    up_to_m: float | None = None,
    technique: str | None = None,
) -> str:
    """The line for a ``[[rig]]`` block of ``tract.toml``; the rate is rounded up, so that no dose looks smaller.

    Examples
    --------
    >>> from invasimap.core.units import US
    >>> setting_line(7.5 * L_PER_HA_PER_GPA, date=dt.date(2026, 9, 1), shown=US)
    'calibration = [{ rate = "7.5 gal/acre", date = 2026-09-01 }]'
    """
    rate, unit = (rate_L_per_ha, "l/ha") if shown is METRIC else (rate_L_per_ha / L_PER_HA_PER_GPA, "gal/acre")
    parts = [f'rate = "{_plain(_up(rate))} {unit}"', f"date = {date.isoformat()}"]
    if up_to_m is not None:
        parts.append(f'up_to = "{_plain(round(up_to_m / shown.m, 6))} {shown.length}"')
    if technique is not None:
        parts.append(f'technique = "{technique}"')
    return f"calibration = [{{ {', '.join(parts)} }}]"


def _up(number: float) -> float:
    """Rounded up to some digits, but for what arithmetic itself adds."""
    step = 10.0 ** (math.floor(math.log10(number)) - _DIGITS + 1)
    return round(math.ceil(number / step - 1e-6) * step, 12)


def down(number: float, *, digits: int = 5) -> str:
    """A number rounded down to some digits, but for what arithmetic itself takes off.

    Examples
    --------
    >>> down(1.0666666), down(3.2)
    ('1.0666', '3.2')
    """
    step = 10.0 ** (math.floor(math.log10(number)) - digits + 1)
    return _plain(round(math.floor(number / step + 1e-6) * step, 9))


def _plain(number: float) -> str:
    """Digits without an exponent."""
    return f"{number:.12f}".rstrip("0").rstrip(".")


def _above_zero(where: str, **values: float) -> None:
    wrong = [name for name, value in values.items() if not (math.isfinite(value) and value > 0)]
    if wrong:
        said = ", ".join(f"{name} is {values[name]:g}" for name in wrong)
        raise InputError(Fault(where=where, what=f"{said}: must be above zero", mend="measure again"))


def _floz(litres: float) -> str:
    return f"{litres / L_PER_GAL * 128:.4g} fl oz ({litres * 1000:.4g} ml)"


def _plot(plot_m2: float) -> str:
    return f"{plot_m2 / M_PER_FT**2:.7g} ft2 ({plot_m2:.4g} m2)"


def _speed(metres_per_s: float) -> str:
    return f"{metres_per_s / 0.44704:.4g} mph ({metres_per_s * 3.6:.4g} km/h)"


def _width(metres: float) -> str:
    return f"{metres / M_PER_FT * 12:.4g} in ({metres:.4g} m)"
