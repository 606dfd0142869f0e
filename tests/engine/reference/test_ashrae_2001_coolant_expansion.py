"""Expansion of coolant against the glycol data of ASHRAE 2001, as CoolProp 8.0.0 holds them (by volume)."""

import pytest
from CoolProp.CoolProp import PropsSI

from service.engine.level.expansion import volume_change_litres, volume_correction_factor


def test_half_glycol_from_20_to_90_degrees() -> None:
    """Half glycol by volume from 20 to 90 °C: +4.11 % (densities of CoolProp 8.0.0, ASHRAE 2001)."""
    densities = [PropsSI("D", "T", t + 273.15, "P", 3e5, "INCOMP::AEG[0.5]") for t in (20.0, 90.0)]
    coolant = volume_change_litres(1.0, *densities)
    assert coolant == pytest.approx(0.0411, abs=5e-5)
    oil = volume_change_litres(1.0, *(volume_correction_factor(t, 850.0) for t in (20.0, 90.0)))
    assert coolant < oil
