"""The filter's recursion against statsmodels 0.15 and published values.

Published: Durbin and Koopman, "Time Series Analysis by State Space Methods", 2nd ed. 2012, ch. 2, flow of the Nile
at Aswan 1871-1970 with variances 15099 and 1469.1. Data from statsmodels (statsmodels.datasets.nile).
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import expm
from statsmodels.datasets import nile
from statsmodels.tsa.statespace.kalman_filter import KalmanFilter
from statsmodels.tsa.statespace.structural import UnobservedComponents

from service.engine.usage.filter import dynamics_of, filter_readings, memory_of, update
from service.engine.usage.hyperparameters import Hyperparameters
from service.engine.usage.initial import initial_state
from service.engine.usage.kernel import Dynamics, Memory, assimilate, propagate
from service.engine.usage.predict import Outlook, outlook_moments, outlook_of
from service.engine.usage.priors import RatePriors
from service.engine.usage.scale import squared_innovations
from service.engine.usage.state import UsageState

IRREGULAR, LEVEL = 15099.0, 1469.1


def flow() -> np.ndarray:
    return nile.load_pandas().data["volume"].to_numpy(dtype=np.float64)


def local_level(
    readings: np.ndarray, at: np.ndarray, level: float, variance: float
) -> tuple[float, float, float]:
    """Run the kernel as a local level: log likelihood, last level and its variance."""
    memory = Memory.empty(1)
    memory.matrix[:] = 0.0
    memory.Pxx[:] = variance
    constants = {
        "minus_theta": -1.0, "inverse_theta": 1.0, "temporary_variance": 0.0, "settling": 0.0,
        "diffusion": LEVEL, "drift": 0.0, "reading_variance": IRREGULAR,
    }  # fmt: skip
    dynamics = Dynamics(**{name: np.array([value]) for name, value in constants.items()})
    log_likelihood, before, time = 0.0, level, at[0]
    for reading, now in zip(readings, at, strict=True):
        propagate(memory, dynamics, np.array([now - time]))
        innovation = reading - before - memory.data_x[0]
        F = assimilate(memory, dynamics, np.array([reading - before]))[0]
        log_likelihood -= 0.5 * (np.log(2 * np.pi * F) + innovation**2 / F)
        before, time = reading, now
    return log_likelihood, before + memory.data_x[0], memory.Pxx[0]


def test_the_nile_with_a_known_start_has_the_likelihood_of_the_reference_library():
    y = flow()
    model = UnobservedComponents(y, "llevel")
    model.ssm.initialize_known(np.array([1000.0]), np.array([[1e5]]))
    model.ssm.loglikelihood_burn = 0
    expected = model.smooth([IRREGULAR, LEVEL])
    log_likelihood, level, variance = local_level(y, np.arange(100.0), 1000.0, 1e5)
    assert log_likelihood == pytest.approx(expected.llf, abs=1e-8)
    assert log_likelihood == pytest.approx(-639.3007238142, abs=1e-8)
    assert level == pytest.approx(expected.filtered_state[0, -1], abs=1e-8)
    assert variance == pytest.approx(expected.filtered_state_cov[0, 0, -1], abs=1e-8)


def test_the_nile_from_its_first_value_has_the_published_end():
    """Durbin and Koopman: with a diffuse start the first value is taken as it is, a(100|100) = 798.37, P = 4032.16."""
    y = flow()
    log_likelihood, level, variance = local_level(y[1:], np.arange(1.0, 100.0), y[0], IRREGULAR + LEVEL)
    # The published value counts the constant of the first reading as well.
    assert log_likelihood - 0.5 * np.log(2 * np.pi) == pytest.approx(-633.4645636489, abs=1e-8)
    assert level == pytest.approx(798.3702926084, abs=1e-8)
    assert variance == pytest.approx(4032.1579418088, abs=1e-7)


def test_years_without_a_reading_are_a_longer_gap():
    y, at = flow(), np.arange(100.0)
    known = ~(((at >= 20) & (at < 40)) | ((at >= 60) & (at < 80)))
    model = UnobservedComponents(np.where(known, y, np.nan), "llevel")
    model.ssm.initialize_known(np.array([1000.0]), np.array([[1e5]]))
    model.ssm.loglikelihood_burn = 0
    expected = model.smooth([IRREGULAR, LEVEL])
    log_likelihood, level, variance = local_level(y[known], at[known], 1000.0, 1e5)
    assert log_likelihood == pytest.approx(expected.llf, abs=1e-8)
    assert level == pytest.approx(expected.filtered_state[0, -1], abs=1e-8)
    assert variance == pytest.approx(expected.filtered_state_cov[0, 0, -1], abs=1e-8)


def transition(h: Hyperparameters, days: float) -> tuple[np.ndarray, np.ndarray]:
    """Transition matrix and noise over a gap by Van Loan's matrix exponential, not by the closed form."""
    A = np.array([[0.0, 1.0, 1.0], [0.0, -h.reversion_per_day, 0.0], [0.0, 0.0, 0.0]])
    Q = np.diag([h.noise_sd**2, 2.0 * h.reversion_per_day * h.temporary_sd**2, h.drift_per_day])
    block = expm(np.block([[-A, Q], [np.zeros((3, 3)), A.T]]) * days)
    F = block[3:, 3:].T
    return F, F @ block[:3, 3:]


def test_irregular_readings_give_the_state_of_the_reference_library():
    """One reading every 1 to 90 days; statsmodels runs the same model with matrices from a matrix exponential."""
    rng = np.random.default_rng(4)
    scale = 70.0
    h = Hyperparameters(
        reversion_per_day=1 / 18, temporary_sd=0.4, noise_sd=0.9, drift_per_day=2.5e-4,
        initial_sd=0.6, reading_sd_days=0.1, dispersion_weight=1e12, period_days=1e-6,
    )  # fmt: skip
    time = np.concatenate([[0.0], np.cumsum(rng.uniform(1.0, 90.0, 24))])
    odometer = 5000.0 + np.concatenate([[0.0], np.cumsum(rng.gamma(3.0, scale * np.diff(time) / 3.0))])
    priors = RatePriors(log_rate=np.log(np.array([scale])), log_rate_sd=np.array([1e-9]))
    offsets = np.array([0, time.size])
    state = update(initial_state(priors, h), time, odometer, offsets)

    gaps = np.diff(time)
    matrices = [transition(h, gap) for gap in gaps]
    model = KalmanFilter(k_endog=1, k_states=3)
    model.bind(((odometer[1:] - odometer[0]) / scale)[:, None])
    model["design"] = np.array([[1.0, 0.0, 0.0]])
    model["obs_cov"] = np.array([[h.reading_sd_days**2]])
    model["selection"] = np.eye(3)
    # In this library the matrices of period t lead to period t + 1, so the first gap goes into the start.
    model["transition"] = np.stack([F for F, _ in matrices[1:]] + [np.eye(3)], axis=-1)
    model["state_cov"] = np.stack([Q for _, Q in matrices[1:]] + [np.eye(3)], axis=-1)
    F, Q = matrices[0]
    start = np.diag([h.reading_sd_days**2, h.temporary_sd**2, h.initial_sd**2])
    model.initialize_known(F @ np.array([0.0, 0.0, 1.0]), F @ start @ F.T + Q)
    expected = model.filter()

    memory = memory_of(state, np.array([0]))
    x = (odometer[-1] - odometer[0]) / scale + memory.data_x[0] / scale + memory.prior_x[0]
    u = memory.data_u[0] / scale + memory.prior_u[0]
    m = memory.data_m[0] / scale + memory.prior_m[0]
    np.testing.assert_allclose([x, u, m], expected.filtered_state[:, -1], rtol=1e-8, atol=1e-8)
    P = expected.filtered_state_cov[:, :, -1]
    variance_u = memory.excess[0] + h.temporary_sd**2
    ours = [memory.Pxx[0], memory.Pxu[0], memory.Pxm[0], variance_u, memory.Pum[0], memory.Pmm[0]]
    np.testing.assert_allclose(ours, P[np.triu_indices(3)], rtol=1e-8, atol=1e-10)
    innovations = expected.forecasts_error[0]
    squares = np.sum(innovations**2 / expected.forecasts_error_cov[0, 0])
    assert squared_innovations(state)[0] == pytest.approx(squares, abs=1e-8)

    first = initial_state(priors, h)
    memory, dynamics = memory_of(first, np.array([0])), dynamics_of(first, np.array([0]))
    log_variances = 0.0
    for gap, distance in zip(gaps, np.diff(odometer), strict=True):
        propagate(memory, dynamics, np.array([gap]))
        log_variances += np.log(2.0 * np.pi * assimilate(memory, dynamics, np.array([distance]))[0])
    log_likelihood = -0.5 * (log_variances + squared_innovations(state)[0])
    assert log_likelihood == pytest.approx(expected.llf, abs=1e-8)


def law_of_the_filter(state: UsageState) -> Outlook:
    """The filter's own normal law: before what experience and the vehicle's level multiply its variance with."""
    outlook = outlook_of(state)
    return replace(outlook, near_variance_factor=np.ones(len(state)), slope=np.zeros(len(state)))


def test_the_golden_vector_is_that_of_a_dense_gaussian_model():
    """Mean and variance of a later odometer from the joint normal law of all readings, without any recursion."""
    t = np.array([0.0, 12.0, 40.0, 41.0, 75.0, 130.0])
    z = np.array([120000.0, 120730.0, 122310.0, 122380.0, 124560.0, 127700.0])
    scale, theta, su, sw, omega, q = 58.0, 1 / 26, 0.45, 0.8, 0.64, 9e-5
    h = Hyperparameters(
        reversion_per_day=theta, temporary_sd=su, noise_sd=sw, drift_per_day=q, initial_sd=omega,
        reading_sd_days=3.0 / scale, dispersion_weight=1e12, period_days=1e-6,
    )  # fmt: skip
    priors = RatePriors(log_rate=np.log(np.array([scale])), log_rate_sd=np.array([1e-9]))
    state = filter_readings(t, z, np.array([0, 6]), priors, h)

    def covariance(a: np.ndarray, b: np.ndarray) -> np.ndarray:
        a, b = np.minimum(a, b), np.maximum(a, b)
        temporary = 2 * theta * a - 1 + np.exp(-theta * a) + np.exp(-theta * b) - np.exp(-theta * (b - a))
        drift = q * a * a * (3 * b - a) / 6
        return scale**2 * (su**2 / theta**2 * temporary + sw**2 * a + omega**2 * a * b + drift)

    R, later = 9.0, 230.0
    inner = (
        covariance(t[1:, None], t[None, 1:]) + R + R * np.eye(5)
    )  # the first reading's error is in every distance
    across = covariance(t[1:], np.full(5, later)) + R
    weights = np.linalg.solve(inner, across)
    mean = z[0] + scale * later + weights @ (z[1:] - z[0] - scale * t[1:])
    variance = covariance(np.array([later]), np.array([later]))[0] + R - weights @ across
    ours, spread = outlook_moments(law_of_the_filter(state), np.array([later - 130.0]))
    assert z[-1] + ours[0] == pytest.approx(mean, rel=1e-10)
    assert spread[0] == pytest.approx(variance, rel=1e-8)


@pytest.mark.parametrize(
    ("drift", "now_km", "sixty_days", "hundred_days"),
    [
        (0.0, 128271.46454504, (4070.288824, 1499.379104), (6421.951757, 2198.113288)),
        (9e-5, 128271.10493971, (4066.697643, 1529.434004), (6415.913112, 2262.493965)),
    ],
)
def test_the_golden_vector_of_the_derivation(drift, now_km, sixty_days, hundred_days):
    """Derived: values of an independent prototype of the equations, read ten days after the last reading."""
    h = Hyperparameters(
        reversion_per_day=1 / 26, temporary_sd=0.45, noise_sd=0.8, drift_per_day=drift, initial_sd=0.64,
        reading_sd_days=3.0 / 58.0, dispersion_weight=1e12, period_days=1e-6,
    )  # fmt: skip
    priors = RatePriors(log_rate=np.log(np.array([58.0])), log_rate_sd=np.array([1e-9]))
    time = np.array([0.0, 12.0, 40.0, 41.0, 75.0, 130.0])
    odometer = np.array([120000.0, 120730.0, 122310.0, 122380.0, 124560.0, 127700.0])
    outlook = law_of_the_filter(filter_readings(time, odometer, np.array([0, 6]), priors, h))
    for days, (mean_km, sd_km) in ((70.0, sixty_days), (110.0, hundred_days)):
        mean, variance = outlook_moments(outlook, np.array([days]))
        assert mean[0] == pytest.approx(mean_km, abs=2e-6)
        assert np.sqrt(variance[0]) == pytest.approx(sd_km, abs=2e-6)
    assert 127700.0 + outlook_moments(outlook, np.array([10.0]))[0][0] == pytest.approx(now_km, abs=1e-6)
