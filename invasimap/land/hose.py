"""What a pump can push through a hose and how high."""

from __future__ import annotations

from invasimap.core.units import L_PER_GAL, M_PER_FT

KPA_PER_PSI = 6.894757293168361
PSI_PER_FT_OF_WATER = 0.433


def friction_kPa(*, length_m: float, diameter_m: float, flow_L_per_min: float, roughness: float) -> float:
    """Pressure lost to friction in a hose (Hazen-Williams).

    ``p = 4.52 Q^1.85 / (C^1.85 d^4.87)`` psi per foot, Q in US gallons a minute, d the inside diameter in inches.

    Examples
    --------
    >>> loss = friction_kPa(length_m=91.44, diameter_m=0.0127, flow_L_per_min=3 * 3.785411784, roughness=140)
    >>> round(loss / 6.894757293168361, 6)
    32.405089
    """
    gallons = flow_L_per_min / L_PER_GAL
    inches = diameter_m / (M_PER_FT / 12)
    psi_per_ft = 4.52 * gallons**1.85 / (roughness**1.85 * inches**4.87)
    return psi_per_ft * length_m / M_PER_FT * KPA_PER_PSI


def highest_lift_m(
    *,
    pump_pressure_kPa: float,
    nozzle_pressure_kPa: float,
    length_m: float,
    diameter_m: float,
    flow_L_per_min: float,
    roughness: float,
) -> float:
    """How far above the pump the nozzle may stand and still get its pressure; negative when it must stand below.

    The whole hose counts for friction: mix runs through all of it, on the reel or off. Water weighs 0.433 psi
    a foot.

    Examples
    --------
    >>> psi = 6.894757293168361
    >>> lift = highest_lift_m(pump_pressure_kPa=98.385089 * psi, nozzle_pressure_kPa=40 * psi, length_m=91.44,
    ...                       diameter_m=0.0127, flow_L_per_min=3 * 3.785411784, roughness=140)
    >>> round(lift / 0.3048, 4)
    60.0
    """
    friction = friction_kPa(
        length_m=length_m, diameter_m=diameter_m, flow_L_per_min=flow_L_per_min, roughness=roughness
    )
    spare_psi = (pump_pressure_kPa - nozzle_pressure_kPa - friction) / KPA_PER_PSI
    return spare_psi / PSI_PER_FT_OF_WATER * M_PER_FT
