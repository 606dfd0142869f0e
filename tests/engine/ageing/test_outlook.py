"""Quantiles of life used."""

import numpy as np
import pytest
from scipy.stats import norm

from service.engine.ageing.outlook import life_used_quantiles
from service.engine.exchange.state import fluid_state
from service.errors import InvalidInputError


def test_quantiles_are_those_of_a_normal_error_and_never_negative() -> None:
    """Reference: scipy's normal distribution."""
    state = fluid_state(8.0, life_used=np.array([0.6, 0.05]), life_used_variance=0.15**2)
    seen = life_used_quantiles(state, np.array([0.1, 0.5, 0.9]))
    np.testing.assert_allclose(seen[:, 0], norm.ppf([0.1, 0.5, 0.9], 0.6, 0.15), rtol=1e-12)
    assert seen[0, 1] == 0.0
    assert np.all(np.diff(seen, axis=0) >= 0.0)


def test_senseless_probabilities_are_refused() -> None:
    with pytest.raises(InvalidInputError):
        life_used_quantiles(fluid_state(8.0), np.array([0.0, 0.5]))
