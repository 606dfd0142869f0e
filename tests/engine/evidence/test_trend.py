"""Rate of change between samples."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.ageing.age import AgeingRates, Exposure, age
from service.engine.evidence.trend import SamplePairs, rate_of_change
from service.engine.exchange.rounds import exchange_rounds
from service.engine.exchange.state import fluid_state
from service.errors import InvalidInputError

NO_EXCHANGE = np.empty((0, 1))


def test_without_exchange_it_is_the_difference_by_the_distance() -> None:
    """(x₀ − x₋₁)/(t₀ − t₋₁), published in an article on time-dependent limits."""
    pairs = SamplePairs(
        earlier_value=20.0, later_value=30.0, earlier_km=40_000.0, later_km=60_000.0, value_sd=1.0
    )
    seen = rate_of_change(
        pairs, exchanged_at_km=NO_EXCHANGE, retained_share=NO_EXCHANGE, highest_rate_per_km=4e-4
    )
    assert seen.rate_per_km[0] == pytest.approx(5e-4)
    assert seen.rate_sd_per_km[0] == pytest.approx(np.sqrt(2.0) / 20_000.0)
    assert seen.is_alarm[0]


def test_after_a_full_drain_the_earlier_value_counts_as_nought() -> None:
    """x₋₁ = 0 for wear after a drain; published in the same article."""
    pairs = SamplePairs(earlier_value=20.0, later_value=10.0, earlier_km=40_000.0, later_km=60_000.0)
    seen = rate_of_change(
        pairs,
        exchanged_at_km=np.array([[40_000.0]]),
        retained_share=np.zeros((1, 1)),
        highest_rate_per_km=6e-4,
    )
    assert seen.rate_per_km[0] == pytest.approx(10.0 / 20_000.0)
    assert not seen.is_alarm[0]


def test_after_half_an_exchange_the_mixed_value_counts() -> None:
    """20 mg/kg, half exchanged, 30 after 40 000 km more: 5e-4 per km, not 2.5e-4; derived."""
    pairs = SamplePairs(earlier_value=20.0, later_value=30.0, earlier_km=40_000.0, later_km=80_000.0)
    seen = rate_of_change(
        pairs,
        exchanged_at_km=np.array([[40_000.0], [np.nan]]),
        retained_share=np.array([[0.5], [np.nan]]),
        highest_rate_per_km=4e-4,
    )
    assert seen.rate_per_km[0] == pytest.approx(5e-4)
    assert seen.is_alarm[0]


def test_new_fluid_that_brings_some_itself() -> None:
    """20 mg/kg, half exchanged for fluid with 5, 30 after 40 000 km more: from 12.5 on; derived."""
    pairs = SamplePairs(
        earlier_value=20.0, later_value=30.0, earlier_km=40_000.0, later_km=80_000.0, new_fluid_value=5.0
    )
    seen = rate_of_change(
        pairs,
        exchanged_at_km=np.array([[40_000.0]]),
        retained_share=np.array([[0.5]]),
        highest_rate_per_km=1.0,
    )
    assert seen.rate_per_km[0] == pytest.approx(17.5 / 40_000.0)


@settings(max_examples=40, deadline=None)
@given(
    wear=st.floats(1e-5, 1e-2),
    start=st.floats(0.0, 200.0),
    legs=st.lists(st.floats(100.0, 50_000.0), min_size=1, max_size=4),
    share=st.floats(0.0, 0.9),
)
def test_the_rate_that_the_ageing_model_put_in_comes_out(
    wear: float, start: float, legs: list[float], share: float
) -> None:
    """Exchanges between the samples do not change the estimated wear."""
    rates, state = AgeingRates(iron_mg_per_kg_per_km=wear), fluid_state(1.0, iron_mg_per_kg=start)
    at, km = [], 1000.0
    for leg in legs:
        state, km = age(state, Exposure(distance_km=leg), rates), km + leg
        state = exchange_rounds(state, np.array([share]), np.array([share])).state
        at.append([km])
    state, km = age(state, Exposure(distance_km=5000.0), rates), km + 5000.0
    pairs = SamplePairs(earlier_value=start, later_value=state.iron_mg_per_kg, earlier_km=1000.0, later_km=km)
    seen = rate_of_change(
        pairs,
        exchanged_at_km=np.array(at),
        retained_share=np.full((len(at), 1), 1.0 - share),
        highest_rate_per_km=1.0,
    )
    assert seen.rate_per_km[0] == pytest.approx(wear, rel=1e-6)


@pytest.mark.parametrize(
    ("earlier", "later", "exchanged", "share"),
    [
        (10.0, 10.0, np.nan, np.nan),
        (10.0, 5.0, np.nan, np.nan),
        (10.0, 20.0, 5.0, 0.5),
        (10.0, 20.0, 25.0, 0.5),
        (10.0, 20.0, 15.0, 1.01),
        (10.0, 20.0, 15.0, -0.01),
        (-1.0, 20.0, 15.0, 0.5),
    ],
)
def test_samples_that_cannot_be_compared_are_refused(
    earlier: float, later: float, exchanged: float, share: float
) -> None:
    pairs = SamplePairs(earlier_value=1.0, later_value=2.0, earlier_km=earlier, later_km=later)
    with pytest.raises(InvalidInputError):
        rate_of_change(
            pairs,
            exchanged_at_km=np.array([[exchanged]]),
            retained_share=np.array([[share]]),
            highest_rate_per_km=1.0,
        )
