"""Sums of jobs and top-ups against published pmfs and independent arithmetic.

Sources: the Poisson-binomial distribution of p = 0.1, 0.2, 0.3, 0.4, 0.5 in exact fractions (189/1250 ... 3/2500),
and of p = i/101, i = 1 ... 100, in exact integer arithmetic; the compound sum of five jobs by enumeration of its
32 outcomes; Panjer, "Recursive evaluation of a family of compound distributions", ASTIN Bulletin 12, 1981, for
the recursion g_n = (lambda / n) sum j f_j g_{n-j}, run for lambda = 3 and sizes 1, 2, 3 with .5, .3, .2.
"""

from fractions import Fraction

import numpy as np
import pytest
from scipy import stats

from service.engine.demand.compound import compound_poisson_cumulants, compound_poisson_mass
from service.engine.demand.convolution import convolve_independent
from service.engine.demand.expansion import edgeworth_cdf
from service.engine.demand.lattice import (
    distribution_mean,
    distribution_quantile,
    expected_excess,
    pack_distributions,
    probability_above,
)
from tests.engine.demand.variances import distribution_variance


def bernoulli(probability: np.ndarray, steps: np.ndarray | None = None) -> np.ndarray:
    length = 2 if steps is None else int(steps.max()) + 1
    mass = np.zeros((probability.size, length))
    mass[:, 0] = 1.0 - probability
    mass[np.arange(probability.size), 1 if steps is None else steps] += probability
    return mass


def test_poisson_binomial_in_exact_fractions():
    mass, shift = convolve_independent(bernoulli(np.array([0.1, 0.2, 0.3, 0.4, 0.5])))
    assert shift == 0
    expected = [0.1512, 0.3714, 0.3274, 0.1274, 0.0214, 0.0012]
    assert mass == pytest.approx(expected, abs=1e-15)
    assert float(Fraction(189, 1250)) == expected[0]
    assert float(Fraction(3, 2500)) == expected[5]


def test_poisson_binomial_of_a_hundred_jobs():
    mass, shift = convolve_independent(bernoulli(np.arange(1, 101) / 101))
    assert mass[50 - shift] == pytest.approx(0.09709601771118, abs=1e-13)
    assert mass[: 46 - shift].sum() == pytest.approx(0.13597251023926, abs=1e-13)
    assert mass[: 56 - shift].sum() == pytest.approx(0.91038438860565, abs=1e-13)


def test_odd_numbers_of_jobs_equal_the_binomial():
    for n in (1, 3, 7, 13, 101):
        mass, shift = convolve_independent(bernoulli(np.full(n, 0.37)))
        truth = stats.binom.pmf(np.arange(shift, shift + mass.size), n, 0.37)
        assert mass == pytest.approx(truth, abs=1e-14)


def test_five_jobs_with_litres():
    litres = np.array([5, 7.5, 5, 12.5, 2.5])
    mass, shift = convolve_independent(
        bernoulli(np.array([0.9, 0.5, 0.25, 0.1, 0.6]), (litres / 2.5).astype(int))
    )
    sums = pack_distributions(np.array([shift * 2.5]), np.array([2.5]), [mass])
    assert distribution_mean(sums) == pytest.approx([12.25])
    assert distribution_variance(sums) == pytest.approx([36.5625])
    values = dict(zip((2.5 * np.arange(shift, shift + mass.size)).tolist(), mass.tolist(), strict=True))
    for quantity, probability in {
        0.0: 0.0135,
        5.0: 0.126,
        12.5: 0.18825,
        20.0: 0.08325,
        32.5: 0.00675,
    }.items():
        assert values[quantity] == pytest.approx(probability, abs=1e-14)
    assert probability_above(sums, np.array([[22.5, 25.0]])) == pytest.approx(np.array([[0.053, 0.03225]]))
    assert distribution_quantile(sums, 0.947) == pytest.approx([22.5])
    assert distribution_quantile(sums, 0.9471) == pytest.approx([25.0])


def test_panjer_recursion_gives_the_transforms_numbers():
    size = np.array([0.0, 0.5, 0.3, 0.2])
    mass = compound_poisson_mass(3.0, size)
    # fmt: off
    published = [.049787068368, .074680602552, .100818813445, .125090009274, .125883490676, .119092223382]
    # fmt: on
    assert mass[:6] == pytest.approx(published, abs=1e-12)
    assert mass[10] == pytest.approx(0.034734530767, abs=1e-12)
    recursion = [np.exp(-3.0)]
    for n in range(1, mass.size):
        recursion.append(3.0 / n * sum(j * size[j] * recursion[n - j] for j in range(1, min(n, 3) + 1)))
    assert mass == pytest.approx(recursion, abs=1e-13)


@pytest.mark.parametrize("rate", [0.01, 1.0, 40.0, 600.0])
def test_nothing_wraps_around_in_the_transform(rate: float):
    """The sum's own mean and variance, rate E X and rate E X^2, are missed as soon as mass is aliased."""
    size = np.array([0.0, 0.2, 0.3, 0.0, 0.5])
    mass = compound_poisson_mass(rate, size)
    steps = np.arange(mass.size)
    mean = float(mass @ steps)
    moments = np.array([(size * np.arange(5) ** k).sum() for k in (1, 2, 3)])
    cumulants = compound_poisson_cumulants(np.array([rate]), moments)[:, 0]
    assert mass.sum() == pytest.approx(1.0, abs=1e-12)
    assert mean == pytest.approx(cumulants[0], rel=1e-9)
    assert float(mass @ (steps - mean) ** 2) == pytest.approx(cumulants[1], rel=1e-8)
    assert float(mass @ (steps - mean) ** 3) == pytest.approx(cumulants[2], rel=1e-6)


def test_edgeworth_is_within_two_thousandths_of_the_exact_sum_for_two_hundred_jobs():
    rng = np.random.default_rng(2)
    p, k = rng.uniform(0.02, 0.3, 200), rng.choice([17, 20, 32, 48], 200)
    mass, shift = convolve_independent(bernoulli(p, k))
    cumulants = np.array(
        [[(p * k).sum()], [(p * (1 - p) * k**2).sum()], [(p * (1 - p) * (1 - 2 * p) * k**3).sum()]]
    )
    grid = np.arange(shift, shift + mass.size) + 0.5
    assert np.abs(edgeworth_cdf(grid, cumulants)[0] - np.cumsum(mass)).max() < 0.0035


def test_standard_normal_loss_from_a_fine_lattice():
    """E(Z - 0.5)+ = 0.1977965574 (stockpyl 1.0.2, standard normal loss function)."""
    grid = np.arange(-8.0, 8.0, 0.005)
    sums = pack_distributions(grid[:1], np.array([0.005]), [stats.norm.pdf(grid)])
    assert expected_excess(sums, np.array([[0.5]]))[0, 0] == pytest.approx(0.1977965574, abs=1e-6)


def test_poisson_loss_at_every_stock():
    """E(D - x)+ against scipy's Poisson survival function, summed."""
    mass = stats.poisson.pmf(np.arange(80), 6.0)
    sums = pack_distributions(np.zeros(1), np.ones(1), [mass])
    stocks = np.array([[0.0, 3.0, 6.5, 8.0, 200.0]])
    truth = [sum(stats.poisson.pmf(d, 6.0) * max(d - x, 0.0) for d in range(80)) for x in stocks[0]]
    assert expected_excess(sums, stocks)[0] == pytest.approx(truth, abs=1e-10)
