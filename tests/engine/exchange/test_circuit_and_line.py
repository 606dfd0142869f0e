"""Sump with converter, and line exchange: worked values and bounds."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import gamma

from service.engine.exchange.circuit import circuit_rounds
from service.engine.exchange.line import (
    exchange_line,
    retained_tanks_in_series,
    retained_well_mixed,
)
from service.engine.exchange.state import fluid_state
from service.errors import InvalidInputError


@pytest.mark.parametrize(
    ("efficiency", "expected"),
    [
        (1.0, [0.55556, 0.30864, 0.17147]),
        (0.9, [0.55556, 0.32444, 0.19004]),
        (0.5, [0.55556, 0.38765, 0.28472]),
        (0.0, [0.55556, 0.46667, 0.44889]),
    ],
)
def test_a_converter_that_mixes_badly_spoils_later_rounds(efficiency: float, expected: list[float]) -> None:
    """Sump 5, converter 4, drained 4: mean old share after 1, 2, 3 rounds; derived."""
    shares = circuit_rounds(
        sump_litres=5.0, converter_litres=4.0, drained_litres=np.full(3, 4.0), efficiency=efficiency
    )
    np.testing.assert_allclose(shares.mean[:, 0], expected, atol=5e-6)


def test_unmixed_converter_is_a_floor() -> None:
    """With ε = 0 no number of rounds gets below C/V = 0.44444; derived."""
    shares = circuit_rounds(
        sump_litres=5.0, converter_litres=4.0, drained_litres=np.full(60, 4.0), efficiency=0.0
    )
    assert shares.mean[-1, 0] == pytest.approx(4.0 / 9.0, abs=1e-12)
    assert shares.sump[-1, 0] < 1e-12


def test_circuit_refuses_what_cannot_be() -> None:
    with pytest.raises(InvalidInputError):
        circuit_rounds(sump_litres=5.0, converter_litres=4.0, drained_litres=np.array([5.1]), efficiency=1.0)
    with pytest.raises(InvalidInputError):
        circuit_rounds(sump_litres=5.0, converter_litres=4.0, drained_litres=np.array([4.0]), efficiency=1.1)


TURNOVERS = np.array([0.5, 1.0, 1.5, 2.0])


@pytest.mark.parametrize(
    ("n_tanks", "expected"),
    [
        (1, [0.60653, 0.36788, 0.22313, 0.13534]),
        (2, [0.55182, 0.27067, 0.12447, 0.05495]),
        (3, [0.52993, 0.22404, 0.08193, 0.02727]),
        (5, [0.51239, 0.17547, 0.04334, 0.00858]),
    ],
)
def test_tanks_in_series(n_tanks: int, expected: list[float]) -> None:
    """Residence times of equal tanks in a row, N = 1 is the mixed vessel; derived."""
    np.testing.assert_allclose(retained_tanks_in_series(TURNOVERS, n_tanks), expected, atol=5e-6)


@pytest.mark.parametrize("n_tanks", [1, 2, 3, 7])
def test_tanks_are_the_integral_of_the_washout_curve(n_tanks: int) -> None:
    """Reference: old share = ∫_θ^∞ of the survival of an Erlang residence time, by scipy."""
    for turnovers in (0.3, 1.0, 2.5):
        washout = quad(lambda x: gamma.sf(x, n_tanks, scale=1.0 / n_tanks), turnovers, np.inf, epsabs=1e-12)[
            0
        ]
        assert retained_tanks_in_series(turnovers, n_tanks) == pytest.approx(washout, abs=1e-9)


def test_the_turnovers_for_nine_tenths() -> None:
    """A mixed vessel needs ln 10 = 2.302585 turnovers for 90 % new; derived."""
    assert retained_well_mixed(2.302585) == pytest.approx(0.1, abs=1e-7)


def test_twelve_litres_by_rounds_or_by_flush() -> None:
    """Three times 4 L in 8 L leave 12.5 %, 12 L by ideal flush 22.3 %; derived."""
    assert retained_well_mixed(12.0 / 8.0) == pytest.approx(0.223, abs=5e-4)


@settings(max_examples=50, deadline=None)
@given(turnovers=st.floats(0.0, 20.0), n_tanks=st.integers(1, 12))
def test_plug_is_best_and_one_vessel_worst(turnovers: float, n_tanks: int) -> None:
    """If nothing mixes, max(0, 1 − θ) stays."""
    tanks = retained_tanks_in_series(turnovers, n_tanks)
    assert max(0.0, 1.0 - turnovers) <= tanks + 1e-14
    assert tanks <= retained_well_mixed(turnovers) + 1e-14
    assert retained_tanks_in_series(turnovers, n_tanks + 1) <= tanks + 1e-14


def test_line_exchange_of_a_fleet() -> None:
    state = fluid_state(np.array([8.0, 10.0]), life_used=0.9, water_mass_fraction=0.002)
    after = exchange_line(state, np.array([8.0, 20.0]))
    np.testing.assert_allclose(after.life_used, 0.9 * np.array([0.27067, 0.05495]), atol=5e-6)
    np.testing.assert_allclose(after.water_mass_fraction, 0.002 * np.array([0.27067, 0.05495]), atol=1e-8)
    np.testing.assert_array_equal(after.volume_15c_litres, state.volume_15c_litres)


@pytest.mark.parametrize("litres", [-1.0, np.nan])
def test_line_exchange_refuses_what_cannot_be(litres: float) -> None:
    with pytest.raises(InvalidInputError):
        exchange_line(fluid_state(8.0), litres)
    with pytest.raises(InvalidInputError):
        exchange_line(fluid_state(0.0), 5.0)
    with pytest.raises(InvalidInputError):
        retained_tanks_in_series(1.0, 0)
