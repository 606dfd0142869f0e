"""What a partial exchange counts for, and building a state."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.exchange.credit import (
    amount_since_full_service,
    keepable_interval_share,
    rounds_needed,
    schedule_credit,
    steady_life_used,
)
from service.engine.exchange.mixing import leak, top_up
from service.engine.exchange.rounds import exchange_rounds
from service.engine.exchange.state import fluid_state
from service.errors import InvalidInputError


@pytest.mark.parametrize(
    ("volume", "drained", "for_quarter", "for_tenth"),
    [(8, 4, 2, 4), (9, 3.5, 3, 5), (10, 4, 3, 5), (12, 4, 4, 6), (6.6, 4.5, 2, 3)],
)
def test_rounds_for_a_quarter_and_for_a_tenth_of_old_fluid(
    volume: float, drained: float, for_quarter: int, for_tenth: int
) -> None:
    """⌈ln f* / ln(1 − d/V)⌉; derived. 6.6/4.5 L, a published capacity, needs 3 since f₂ = 0.10124."""
    np.testing.assert_array_equal(
        rounds_needed(drained / volume, np.array([0.25, 0.10])), [for_quarter, for_tenth]
    )


def test_nothing_to_do_needs_no_round_and_a_full_change_needs_one() -> None:
    assert rounds_needed(0.5, 1.0) == 0
    assert rounds_needed(1.0, 0.1) == 1
    # Reached exactly, though the quotient of the logarithms is a little above 4 and 3.
    assert rounds_needed(0.1, 0.9**4) == 4
    assert rounds_needed(0.35, 0.65**3) == 3


def test_nine_tenths_new_from_42_percent_rounds_needs_five() -> None:
    """ρ = .58, .3364, .1951, .1132, .0656, so at least 90 % new needs 5 rounds; derived."""
    np.testing.assert_allclose(
        1.0 - schedule_credit(0.42, np.arange(1, 6)), [0.58, 0.3364, 0.1951, 0.1132, 0.0656], atol=5e-5
    )
    assert rounds_needed(0.42, 0.1) == 5


def test_partial_service_repeated_for_ever() -> None:
    """ρ .5 and φ .45: peaks .5, .775, .9263, 1.0094 … 1.1111 and trough .6111; derived."""
    state, peaks = fluid_state(1.0), []
    for _ in range(200):
        state = fluid_state(1.0, life_used=state.life_used + 0.5)
        peaks.append(state.life_used[0])
        state = exchange_rounds(state, np.array([0.45]), np.array([0.45])).state
    np.testing.assert_allclose(peaks[:4], [0.5, 0.775, 0.9263, 1.0094], atol=5e-5)
    steady = steady_life_used(0.5, 0.45)
    assert steady == pytest.approx(1.1111, abs=5e-5)
    assert peaks[-1] == pytest.approx(float(steady))
    assert state.life_used[0] == pytest.approx(0.6111, abs=5e-5)


def test_the_interval_that_partial_exchanges_can_keep() -> None:
    """Peak at most 0.8: ρ ≤ .28, .36, .40, .544 for φ .35, .45, .5, .68; derived."""
    shares = keepable_interval_share(np.array([0.35, 0.45, 0.5, 0.68]), 0.8)
    np.testing.assert_allclose(shares, [0.28, 0.36, 0.40, 0.544], atol=1e-12)
    np.testing.assert_allclose(steady_life_used(shares, np.array([0.35, 0.45, 0.5, 0.68])), 0.8)


@pytest.mark.parametrize("share", [-0.01, 1.01, np.nan])
def test_shares_beyond_the_whole_are_refused(share: float) -> None:
    for refused in (keepable_interval_share, schedule_credit, rounds_needed):
        with pytest.raises(InvalidInputError):
            refused(share, 0.5)
    with pytest.raises(InvalidInputError):
        steady_life_used(0.5, share)


def test_no_exchange_keeps_no_interval() -> None:
    assert keepable_interval_share(0.0, 0.8) == 0.0


def test_a_partial_exchange_is_never_credited_as_a_full_one() -> None:
    """60 000 km since the last full service, two rounds of half: a quarter of it stays on the clock."""
    credit = schedule_credit(0.5, 2)
    assert credit == 0.75
    assert amount_since_full_service(60_000.0, credit) == 15_000.0


@settings(max_examples=50, deadline=None)
@given(share=st.floats(0.0, 1.0), n_rounds=st.integers(0, 6), km=st.floats(0.0, 1e6))
def test_credit_equals_the_mean_age_of_the_mixture(share: float, n_rounds: int, km: float) -> None:
    """The clock after the service is the volume-weighted mean distance of the charge."""
    aged = fluid_state(1.0, life_used=km / 1e5)
    if n_rounds:
        portions = np.full(n_rounds, share)
        aged = exchange_rounds(aged, portions, portions).state
    clock = amount_since_full_service(km, schedule_credit(share, n_rounds))
    assert clock == pytest.approx(aged.life_used[0] * 1e5, rel=1e-9, abs=1e-6)


def test_state_spreads_numbers_and_keeps_arrays() -> None:
    volume = np.array([8.0, 5.0])
    state = fluid_state(volume, life_used=0.4)
    assert len(state) == 2
    np.testing.assert_array_equal(state.life_used, [0.4, 0.4])
    assert not state.life_used.flags.writeable


@pytest.mark.parametrize(
    "wrong",
    [
        {"volume_15c_litres": -1.0},
        {"volume_15c_litres": np.nan},
        {"volume_15c_litres": np.inf},
        {"volume_15c_litres": 8.0, "life_used": -0.1},
        {"volume_15c_litres": 8.0, "life_used_variance": -0.1},
        {"volume_15c_litres": 8.0, "water_mass_fraction": 1.1},
        {"volume_15c_litres": 8.0, "iron_mg_per_kg": -5.0},
        {"volume_15c_litres": 8.0, "glycol_fraction": 1.5},
        {"volume_15c_litres": np.ones(3), "life_used": np.ones(2)},
    ],
)
def test_a_state_that_cannot_be_is_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(InvalidInputError):
        fluid_state(**wrong)


def test_an_empty_box_that_gets_nothing_stays_empty_and_a_refused_leak_says_how_much() -> None:
    empty = fluid_state(0.0, life_used=0.5)
    assert top_up(empty, 0.0).life_used[0] == 0.5
    with pytest.raises(InvalidInputError, match=r"1\.000 L more"):
        leak(fluid_state(4.0), 5.0)
    with pytest.raises(InvalidInputError):
        top_up(empty, -1.0)
