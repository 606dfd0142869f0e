"""Slow movers: rates, the demand over a lead time, and the backtest."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.demand.intermittent import IntermittentMethod, estimate_intermittent
from service.engine.demand.intermittent_backtest import backtest_intermittent
from service.engine.demand.intermittent_lead_time import forecast_intermittent
from service.engine.demand.lattice import (
    distribution_mean,
    distribution_quantile,
    distribution_variance,
    probability_above,
)
from service.errors import InsufficientDataError, InvalidInputError


def ragged(*histories: list[float]) -> tuple[np.ndarray, np.ndarray]:
    values = np.concatenate([np.array(history, float) for history in histories])
    offsets = np.concatenate([[0], np.cumsum([len(history) for history in histories])]).astype(np.int64)
    values.setflags(write=False)
    return values, offsets


@pytest.mark.parametrize("method", list(IntermittentMethod))
def test_a_part_never_taken_has_rate_zero(method: IntermittentMethod):
    rates = estimate_intermittent(*ragged([0, 0, 0], []), method)
    assert rates.rate.tolist() == [0.0, 0.0]


def test_tsb_fades_out_and_croston_does_not():
    """Obsolescence is the reason for TSB (Teunter, Syntetos & Babai 2011)."""
    history = [2.0, 0, 2, 0, 2, 0, 2, 0] + [0.0] * 40
    croston = estimate_intermittent(*ragged(history[:8], history), IntermittentMethod.CROSTON).rate
    tsb = estimate_intermittent(*ragged(history[:8], history), IntermittentMethod.TSB).rate
    assert croston[1] == croston[0]
    assert tsb[1] == pytest.approx(tsb[0] * 0.9**40)


def test_constant_demand_every_period_is_its_own_rate():
    for method, rate in (
        (IntermittentMethod.CROSTON, 3.0),
        (IntermittentMethod.SBA, 2.85),
        (IntermittentMethod.TSB, 3.0),
    ):
        assert estimate_intermittent(*ragged([3.0] * 12), method).rate[0] == pytest.approx(rate)


def test_lead_time_demand_has_the_mean_and_variance_of_a_compound_sum():
    """Beta-binomial count, sizes 1 or 3: mean and variance by the laws of total expectation and variance."""
    history = [1.0, 0, 0, 3, 0, 0, 0, 1, 0, 0]
    forecast = forecast_intermittent(*ragged(history), 6, half_life_periods=1e12)
    taken, periods, prior = 3.0, 10.0, 4.0
    frequency = 3.5 / 11.0
    a, b = taken + prior * frequency, periods - taken + prior * (1 - frequency)
    count_mean = 6 * a / (a + b)
    count_variance = 6 * a * b * (a + b + 6) / ((a + b) ** 2 * (a + b + 1))
    size_mean, size_square = (2 * 1 + 3) / 3, (2 * 1 + 9) / 3
    size_variance = size_square - size_mean**2
    assert distribution_mean(forecast) == pytest.approx([count_mean * size_mean])
    assert distribution_variance(forecast) == pytest.approx(
        [count_mean * size_variance + count_variance * size_mean**2]
    )


def test_lead_time_demand_equals_simulation_of_its_model():
    history = [0.0, 2, 0, 0, 1, 0, 0, 0, 5, 0, 0, 1]
    forecast = forecast_intermittent(*ragged(history), 4, half_life_periods=1e12)
    rng = np.random.default_rng(8)
    frequency = 4.5 / 13.0
    p = rng.beta(4 + 4 * frequency, 8 + 4 * (1 - frequency), 200_000)
    size = rng.choice([2.0, 1.0, 5.0, 1.0], (200_000, 4))
    total = (size * (rng.random((200_000, 4)) < p[:, None])).sum(axis=1)
    stocks = np.array([[0.0, 1, 2, 4, 6]])
    # Four standard errors of a share estimated from 200,000 draws are at most 0.0045.
    assert probability_above(forecast, stocks)[0] == pytest.approx(
        [(total > x).mean() for x in stocks[0]], abs=0.0045
    )


def test_a_part_without_history_borrows_from_the_others():
    forecast = forecast_intermittent(*ragged([0, 2, 0, 2, 0, 2], [], [0, 0, 0, 0]), 8)
    mean = distribution_mean(forecast)
    assert mean[0] > mean[1] > mean[2] > 0.0


@settings(max_examples=30, deadline=None)
@given(st.lists(st.integers(0, 6), min_size=1, max_size=30), st.integers(1, 12))
def test_more_periods_never_need_less(history: list[int], n_periods: int):
    values = ragged([float(x) for x in history])
    for level in (0.5, 0.9, 0.99):
        shorter = distribution_quantile(forecast_intermittent(*values, n_periods), level)
        longer = distribution_quantile(forecast_intermittent(*values, n_periods + 1), level)
        assert longer[0] >= shorter[0]


def test_backtest_on_steady_parts_covers_at_least_its_level_and_knows_the_bias_of_croston():
    """Simulated truth: Bernoulli demand, sizes 1 to 4. Croston is biased upwards (Syntetos & Boylan 2001)."""
    rng = np.random.default_rng(9)
    table = np.where(rng.random((400, 120)) < 0.15, rng.integers(1, 5, (400, 120)), 0).astype(float)
    result = backtest_intermittent(
        table.ravel(), np.arange(401) * 120, 8, first_origin=60, origin_step=13, half_life_periods=52.0
    )
    assert result.n_forecasts == 400 * 5
    croston, sba, tsb = result.mean_error
    assert croston > sba
    assert abs(tsb) < 0.15
    assert np.all(result.share_covered >= result.levels - 0.02)
    assert np.all(result.share_covered[1:] <= result.levels[1:] + 0.05)
    assert np.all(result.mean_pinball < result.history_pinball * 1.02)


def test_impossible_histories_are_refused():
    with pytest.raises(InvalidInputError):
        estimate_intermittent(*ragged([1.0, -1.0]))
    with pytest.raises(InvalidInputError):
        estimate_intermittent(*ragged([1.0]), IntermittentMethod.SBA, 1.0)
    with pytest.raises(InvalidInputError):
        forecast_intermittent(*ragged([0.5]), 4)
    with pytest.raises(InvalidInputError):
        forecast_intermittent(*ragged([1.0]), 0)
    with pytest.raises(InvalidInputError):
        estimate_intermittent(np.ones(2), np.array([0, 3]))
    with pytest.raises(InsufficientDataError):
        backtest_intermittent(*ragged([1.0, 0, 0]), 4, first_origin=4, origin_step=1)
