"""Pressure in a hose, against the trade's worked figures."""

import pytest

from invasimap.land.hose import friction_kPa, highest_lift_m

PSI = 6.894757293168361
GPM = 3.785411784
INCH, FT = 0.0254, 0.3048


@pytest.mark.parametrize(
    ("inches", "gpm", "psi"),
    [
        (0.375, 3, 131.542130308),
        (0.375, 4, 223.976025456),
        (0.375, 5, 338.442627248),
        (0.5, 3, 32.4050893782),
        (0.5, 4, 55.1759585045),
        (0.5, 5, 83.3745322482),
    ],
)
def test_friction_in_300_feet(inches, gpm, psi):
    lost = friction_kPa(length_m=300 * FT, diameter_m=inches * INCH, flow_L_per_min=gpm * GPM, roughness=140)
    assert lost / PSI == pytest.approx(psi, rel=1e-6)


@pytest.mark.parametrize(
    ("inches", "gpm", "roughness", "psi_per_100_ft"),
    [
        (0.375, 3, 130.40761763, 50),
        (0.375, 5, 129.670681341, 130),
        (0.5, 3, 126.660384309, 13),
        (0.5, 5, 125.543621148, 34),
        (0.625, 5, 135.198381015, 10),
    ],
)
def test_a_printed_hose_table_is_met(inches, gpm, roughness, psi_per_100_ft):
    lost = friction_kPa(length_m=100 * FT, diameter_m=inches * INCH, flow_L_per_min=gpm * GPM, roughness=roughness)
    assert lost / PSI == pytest.approx(psi_per_100_ft, rel=1e-6)


def lift_ft(pump_psi, *, nozzle_psi, length_ft, gpm, inches=0.5):
    return (
        highest_lift_m(
            pump_pressure_kPa=pump_psi * PSI,
            nozzle_pressure_kPa=nozzle_psi * PSI,
            length_m=length_ft * FT,
            diameter_m=inches * INCH,
            flow_L_per_min=gpm * GPM,
            roughness=140,
        )
        / FT
    )


def test_lift_spends_what_nozzle_and_friction_leave():
    assert lift_ft(98.3850893782, nozzle_psi=40, length_ft=300, gpm=3) == pytest.approx(60, rel=1e-6)
    assert lift_ft(60, nozzle_psi=30, length_ft=418.284022101, gpm=2) == pytest.approx(20, rel=1e-6)


def test_water_weighs_0_433_psi_a_foot_and_pushes_downhill():
    assert lift_ft(40 + 25.98, nozzle_psi=40, length_ft=0, gpm=3) == pytest.approx(60, rel=1e-6)
    assert lift_ft(98.3850893782 - 2 * 25.98, nozzle_psi=40, length_ft=300, gpm=3) == pytest.approx(-60, rel=1e-6)


def test_a_thin_hose_passes_only_so_much():
    assert lift_ft(100, nozzle_psi=40, length_ft=300, gpm=1.96265344977, inches=0.375) == pytest.approx(0, abs=1e-4)
    assert lift_ft(100, nozzle_psi=40, length_ft=300, gpm=3, inches=0.375) < 0


def test_a_hose_without_a_pump_and_a_pump_too_weak_for_its_hose_are_said():
    from invasimap.core.settings import AccessSection
    from invasimap.land.machines import hose_notes

    rig = {"max_slope": "12 %", "max_side_slope": "8 %", "clearance": "6 ft", "hose_length": "300 ft"}
    pump = {"hose_diameter": "0.5 in", "flow": "3 gal/min", "hose_roughness": 140, "nozzle_pressure": "40 psi"}
    (unchecked,) = hose_notes(AccessSection.model_validate({"atv": rig}), cell_m=3.0)
    assert "was not checked" in unchecked
    # 40 psi at the nozzle and 32.405089 psi of friction: 60 psi fall short by 12.405 psi, which 28.65 ft of water give
    (weak,) = hose_notes(AccessSection.model_validate({"atv": rig | pump | {"pump_pressure": "60 psi"}}), cell_m=3.0)
    assert "TOO WEAK" in weak and "29 ft" in weak
    strong = AccessSection.model_validate({"atv": rig | pump | {"pump_pressure": "150 psi"}})
    assert hose_notes(strong, cell_m=3.0) == []
