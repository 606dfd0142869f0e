"""Two correlated limits: Owen's T function (Owen 1956) and the bivariate normal distribution, both of SciPy."""

import numpy as np
import pytest
from scipy import special, stats

from service.engine.arrays import Floats
from service.engine.due.bivariate import CORRELATION_BOUND, Dependence


def below_both(first: Floats, second: Floats, correlation: Floats) -> Floats:
    """P(X <= first, Y <= second) as the forecast puts it together."""
    apart = special.ndtr(first) * special.ndtr(second)
    return np.asarray(apart + Dependence.of(correlation).excess(first, second))


def owen(first: Floats, second: Floats, correlation: Floats) -> Floats:
    """Phi2 by Owen's T function (Owen 1956, equation 3.1), for bounds that are not zero."""
    root = np.sqrt(1.0 - correlation**2)
    half = (special.ndtr(first) + special.ndtr(second) - (first * second < 0.0)) / 2.0
    t_first = special.owens_t(first, (second / first - correlation) / root)
    t_second = special.owens_t(second, (first / second - correlation) / root)
    return half - t_first - t_second


@pytest.mark.parametrize(
    ("first", "second", "correlation"), [(0.5, -0.2, 0.8), (1.0, 1.0, 0.5), (-1.3, 0.4, -0.6)]
)
def test_single_values_against_scipy(first: float, second: float, correlation: float) -> None:
    """`scipy.stats.multivariate_normal`, itself good to about 1e-8."""
    ours = below_both(np.array([first]), np.array([second]), np.array([correlation]))
    normal = stats.multivariate_normal(cov=[[1.0, correlation], [correlation, 1.0]])
    assert ours[0] == pytest.approx(normal.cdf([first, second]), abs=2e-8)


@pytest.mark.parametrize(("bound", "tolerance"), [(0.5, 1e-11), (0.8, 2e-8), (CORRELATION_BOUND, 5e-6)])
def test_random_values_against_owens_t(bound: float, tolerance: float) -> None:
    rng = np.random.default_rng(1956)
    first, second = rng.normal(scale=2.0, size=(2, 20_000))
    correlation = rng.uniform(-bound, bound, 20_000)
    ours = below_both(first, second, correlation)
    np.testing.assert_allclose(ours, owen(first, second, correlation), atol=tolerance)


def test_km_and_hours_whichever_comes_first() -> None:
    """60±12 km/d, 24,000 km²/d, 9,000 km; 1.6±.4 h/d, .192 h²/d, 220 h; rates correlated .8; 400,000 paths (derived).

    Gaussian increments: bivariate closed form. The simulated shares of paths due by day 100, 130 and 160 were
    .0961, .4614 and .7574, each with a standard error below .0008.
    """
    days = np.array([100.0, 130.0, 160.0])
    km_score = (60.0 * days - 9000.0) / np.sqrt(144.0 * days**2 + 24000.0 * days)
    hour_score = (1.6 * days - 220.0) / np.sqrt(0.16 * days**2 + 0.192 * days)
    due = 1.0 - below_both(-km_score, -hour_score, np.full(3, 0.8))
    np.testing.assert_allclose(due, [0.0969082, 0.4612670, 0.7568198], atol=1e-7)
    np.testing.assert_allclose(due, [0.0961, 0.4614, 0.7574], atol=0.0024)
