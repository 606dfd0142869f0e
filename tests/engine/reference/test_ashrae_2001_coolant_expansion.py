"""Coolant expands less than oil: the glycol data of ASHRAE 2001, as CoolProp 8.0.0 holds them (by volume)."""

import pytest
from CoolProp.CoolProp import PropsSI

from service.engine.level.expansion import volume_correction_factor


def test_half_glycol_from_20_to_90_degrees() -> None:
    """Half glycol by volume: +4.11 %, about three quarters of what an oil does, as the docstring says."""
    cold, warm = (PropsSI("D", "T", t + 273.15, "P", 3e5, "INCOMP::AEG[0.5]") for t in (20.0, 90.0))
    assert cold / warm - 1.0 == pytest.approx(0.0411, abs=5e-5)
    before, after = (volume_correction_factor(t, 850.0) for t in (20.0, 90.0))
    assert before / after - 1.0 == pytest.approx(0.056, abs=5e-4)
