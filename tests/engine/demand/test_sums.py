"""Sums of independent demands against the Poisson law's own addition (SciPy) and plain convolution (NumPy)."""

import numpy as np
import pytest
from scipy.stats import poisson

from service.engine.demand.lattice import (
    LatticeDistributions,
    distribution_mean,
    pack_distributions,
)
from service.engine.demand.sums import add_independent
from service.errors import InvalidInputError
from tests.engine.demand.variances import distribution_variance


def poisson_demand(*means: float, step: float = 1.0) -> LatticeDistributions:
    masses = [poisson.pmf(np.arange(60), mean) for mean in means]
    return pack_distributions(np.zeros(len(means)), np.full(len(means), step), masses)


def test_two_poisson_demands_add_up_to_a_poisson_demand():
    total = add_independent(poisson_demand(2.0, 5.0), poisson_demand(3.0, 0.5))
    for place, mean in enumerate((5.0, 5.5)):
        mass = total.probability[total.offsets[place] : total.offsets[place + 1]]
        points = total.first_quantity[place] + np.arange(mass.size)
        np.testing.assert_allclose(mass, poisson.pmf(points, mean), atol=1e-10)


def test_different_steps_keep_the_mean_and_nearly_the_variance():
    """Sharing between two points of the wider lattice adds at most a quarter of its squared step to the variance."""
    fine, coarse = poisson_demand(10.0, step=0.25), poisson_demand(4.0)
    total = add_independent(fine, coarse)
    assert distribution_mean(total)[0] == pytest.approx(2.5 + 4.0)
    exact = 10.0 / 16.0 + 4.0
    assert exact <= distribution_variance(total)[0] <= exact + 0.25


def test_as_many_of_one_as_of_the_other():
    with pytest.raises(InvalidInputError):
        add_independent(poisson_demand(1.0), poisson_demand(1.0, 2.0))
