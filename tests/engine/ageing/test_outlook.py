"""Quantiles and probabilities of life used."""

import numpy as np
import pytest
from scipy.stats import norm

from service.engine.ageing.outlook import life_used_quantiles, probability_above
from service.engine.exchange.state import fluid_state
from service.errors import InvalidInputError


def test_quantiles_are_those_of_a_normal_error_and_never_negative() -> None:
    """Reference: scipy's normal distribution."""
    state = fluid_state(8.0, life_used=np.array([0.6, 0.05]), life_used_variance=0.15**2)
    seen = life_used_quantiles(state, np.array([0.1, 0.5, 0.9]))
    np.testing.assert_allclose(seen[:, 0], norm.ppf([0.1, 0.5, 0.9], 0.6, 0.15), rtol=1e-12)
    assert seen[0, 1] == 0.0
    assert np.all(np.diff(seen, axis=0) >= 0.0)


def test_probability_of_being_beyond_the_planning_limit() -> None:
    """u .677855, σ .070588: P(u > 0.8) = .04178; derived."""
    state = fluid_state(8.0, life_used=0.677855, life_used_variance=0.070588**2)
    assert probability_above(state, 0.8)[0] == pytest.approx(0.04178, abs=5e-6)


def test_what_is_known_exactly_is_beyond_or_not() -> None:
    state = fluid_state(np.full(3, 8.0), life_used=np.array([0.7, 0.8, 0.9]))
    np.testing.assert_array_equal(probability_above(state, 0.8), [0.0, 0.0, 1.0])


def test_senseless_probabilities_are_refused() -> None:
    with pytest.raises(InvalidInputError):
        life_used_quantiles(fluid_state(8.0), np.array([0.0, 0.5]))
