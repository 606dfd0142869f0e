"""Ageing: examples worked out by hand, refusals, and what holds for every compartment."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.ageing.age import AgeingRates, Exposure, age
from service.engine.exchange.rounds import exchange_rounds
from service.engine.exchange.state import fluid_state
from service.errors import InvalidInputError

RATES = AgeingRates(distance_limit_km=100_000.0, time_limit_days=3652.5)


def test_life_used_by_distance_and_time_and_after_two_exchanges() -> None:
    """50 000 km at duty 1.3 and 730.5 of 3652.5 days: 0.85; half drained 0.425, again 0.2125; derived."""
    exposure = Exposure(distance_km=50_000.0, days=730.5, duty_multiplier=1.3)
    used = age(fluid_state(8.0), exposure, RATES)
    assert used.life_used[0] == pytest.approx(0.85, abs=1e-12)
    halves = np.array([4.0, 4.0])
    np.testing.assert_allclose(exchange_rounds(used, halves[:1], halves[:1]).state.life_used, 0.425)
    np.testing.assert_allclose(exchange_rounds(used, halves, halves).state.life_used, 0.2125)


def test_a_temperature_factor_multiplies_distance_only() -> None:
    """D 2.0420 of a warm gearbox over 20 000 km, and 365.25 of 3652.5 days: .4084 + .1; derived."""
    exposure = Exposure(distance_km=20_000.0, days=365.25, temperature_factor=np.array([2.0420]))
    assert age(fluid_state(8.0), exposure, RATES).life_used[0] == pytest.approx(0.5084, abs=1e-12)


def test_hours_count_where_they_are_limited() -> None:
    used = age(fluid_state(20.0), Exposure(hours=500.0), AgeingRates(hours_limit=2000.0))
    assert used.life_used[0] == 0.25


def test_duty_and_temperature_together_are_refused() -> None:
    exposure = Exposure(distance_km=1.0, duty_multiplier=2.0, temperature_factor=2.0)
    with pytest.raises(InvalidInputError, match="twice"):
        age(fluid_state(8.0), exposure, RATES)


@pytest.mark.parametrize(
    ("exposure", "rates"),
    [
        (Exposure(distance_km=-1.0), RATES),
        (Exposure(days=np.nan), RATES),
        (Exposure(hours=np.inf), RATES),
        (Exposure(distance_km=1.0, duty_multiplier=-0.1), RATES),
        (Exposure(distance_km=1.0), AgeingRates(distance_limit_km=0.0)),
        (Exposure(days=1.0), AgeingRates(water_limit_mass_fraction=5.0, water_time_constant_days=1461.0)),
        (Exposure(distance_km=1.0), AgeingRates(life_coefficient_of_variation=-0.1)),
    ],
)
def test_what_cannot_be_is_refused(exposure: Exposure, rates: AgeingRates) -> None:
    with pytest.raises(InvalidInputError):
        age(fluid_state(8.0), exposure, rates)


def test_uncertainty_grows_with_the_life_used_and_faster_near_the_end() -> None:
    """σ += cv Δu, 1.5 times as fast above 0.7; common practice, no source for the 0.7 and the 1.5."""
    rates = AgeingRates(distance_limit_km=100_000.0, life_coefficient_of_variation=0.4)
    half = age(fluid_state(8.0), Exposure(distance_km=50_000.0), rates)
    assert np.sqrt(half.life_used_variance[0]) == pytest.approx(0.2, abs=1e-12)
    whole = age(half, Exposure(distance_km=50_000.0), rates)
    assert np.sqrt(whole.life_used_variance[0]) == pytest.approx(0.2 + 0.4 * (0.2 + 1.5 * 0.3), abs=1e-12)


def test_water_of_brake_fluid_over_five_years() -> None:
    """w∞ 5 %, τ 4 years: 1.106, 1.967, 2.638, 3.161, 3.567 % (derived; w∞, τ common practice, no source)."""
    rates = AgeingRates(water_limit_mass_fraction=0.05, water_time_constant_days=4 * 365.25)
    days = 365.25 * np.arange(1, 6)
    water = age(fluid_state(np.ones(5)), Exposure(days=days), rates).water_mass_fraction
    np.testing.assert_allclose(water * 100, [1.106, 1.967, 2.638, 3.161, 3.567], atol=5e-4)


def test_water_above_what_uptake_reaches_stays() -> None:
    rates = AgeingRates(water_limit_mass_fraction=0.05, water_time_constant_days=1461.0)
    soaked = fluid_state(1.0, water_mass_fraction=0.08)
    assert age(soaked, Exposure(days=900.0), rates).water_mass_fraction[0] == 0.08


def test_iron_of_a_tight_box_through_exchanges_and_of_a_leaking_one() -> None:
    """8 L of 0.85 kg/L, 3.4 mg per 1000 km: 20 at 40 000 km; halved to 10, then 30, 35, 37.5 before each
    later half exchange (limit 40). Leak 0.05 L per 1000 km: 17.696 at 40 000 km, 80 in the long run; derived.
    """
    kilograms = 8.0 * 0.85
    rates = AgeingRates(iron_mg_per_kg_per_km=3.4e-3 / kilograms)
    leg, half = Exposure(distance_km=40_000.0), np.array([4.0])
    state, readings = fluid_state(8.0), []
    for _ in range(4):
        state = age(state, leg, rates)
        readings.append(state.iron_mg_per_kg[0])
        state = exchange_rounds(state, half, half).state
    np.testing.assert_allclose(readings, [20.0, 30.0, 35.0, 37.5], atol=1e-10)
    leaking = AgeingRates(iron_mg_per_kg_per_km=3.4e-3 / kilograms, replaced_share_per_km=4.25e-5 / kilograms)
    assert age(fluid_state(8.0), leg, leaking).iron_mg_per_kg[0] == pytest.approx(17.696, abs=5e-4)
    forever = Exposure(distance_km=1e7)
    assert age(fluid_state(8.0), forever, leaking).iron_mg_per_kg[0] == pytest.approx(80.0, abs=1e-9)


@settings(max_examples=50, deadline=None)
@given(
    first=st.floats(0.0, 2e5),
    second=st.floats(0.0, 2e5),
    replaced=st.sampled_from([0.0, 1e-6, 1e-4]),
    water=st.floats(0.0, 0.1),
)
def test_two_legs_equal_one(first: float, second: float, replaced: float, water: float) -> None:
    rates = AgeingRates(
        distance_limit_km=90_000.0,
        iron_mg_per_kg_per_km=1e-3,
        replaced_share_per_km=replaced,
        life_coefficient_of_variation=0.4 if replaced == 0.0 else 0.0,
        water_limit_mass_fraction=0.05,
        water_time_constant_days=1461.0,
    )
    start = fluid_state(8.0, life_used=0.2, water_mass_fraction=water, iron_mg_per_kg=3.0)

    def leg(km: float) -> Exposure:
        return Exposure(distance_km=km, days=km / 100.0)

    apart = age(age(start, leg(first), rates), leg(second), rates)
    together = age(start, leg(first + second), rates)
    for name in ("life_used", "life_used_variance", "iron_mg_per_kg", "water_mass_fraction"):
        np.testing.assert_allclose(getattr(apart, name), getattr(together, name), rtol=1e-10, atol=1e-12)


@settings(max_examples=30, deadline=None)
@given(share=st.floats(0.01, 0.99), exposure_km=st.floats(0.0, 1e5), used=st.floats(0.0, 1.2))
def test_mixing_two_ages_needs_no_history(share: float, exposure_km: float, used: float) -> None:
    """Ageing a mixture equals mixing what has aged apart: life used is zero order and volume-linear."""
    mixed = exchange_rounds(fluid_state(1.0, life_used=used), np.array([share]), np.array([share])).state
    aged_mixture = age(mixed, Exposure(distance_km=exposure_km), RATES).life_used[0]
    old_part = age(fluid_state(1.0, life_used=used), Exposure(distance_km=exposure_km), RATES).life_used[0]
    new_part = age(fluid_state(1.0), Exposure(distance_km=exposure_km), RATES).life_used[0]
    assert aged_mixture == pytest.approx((1 - share) * old_part + share * new_part, abs=1e-12)
