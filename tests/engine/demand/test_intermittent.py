"""Slow movers: the demand over a lead time."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.demand.intermittent_lead_time import forecast_intermittent
from service.engine.demand.lattice import (
    distribution_mean,
    distribution_quantile,
    probability_above,
)
from service.engine.skill.scores import pinball_loss
from service.errors import InvalidInputError
from tests.engine.demand.variances import distribution_variance


def ragged(*histories: list[float]) -> tuple[np.ndarray, np.ndarray]:
    values = np.concatenate([np.array(history, float) for history in histories])
    offsets = np.concatenate([[0], np.cumsum([len(history) for history in histories])]).astype(np.int64)
    values.setflags(write=False)
    return values, offsets


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


def test_steady_parts_are_covered_as_promised_and_scored_no_worse_than_by_their_own_past():
    """Simulated truth: Bernoulli demand, sizes 1 to 4, so that eight periods take 8 x 0.15 x 2.5 = 3 on average."""
    rng = np.random.default_rng(9)
    table = np.where(rng.random((400, 120)) < 0.15, rng.integers(1, 5, (400, 120)), 0).astype(float)
    levels, means, covered, own, plain = np.array([0.5, 0.9, 0.95]), [], [], [], []
    for origin in range(60, 113, 13):
        past, came = table[:, :origin], table[:, origin : origin + 8].sum(axis=1)
        forecast = forecast_intermittent(past.ravel(), origin * np.arange(401), 8, half_life_periods=52.0)
        quantiles = np.stack([distribution_quantile(forecast, level) for level in levels.tolist()], axis=1)
        sums = np.lib.stride_tricks.sliding_window_view(past, 8, axis=1).sum(axis=2)
        history = np.quantile(sums, levels, axis=1, method="inverted_cdf").T
        means.append(distribution_mean(forecast))
        covered.append(came[:, None] <= quantiles)
        own.append(pinball_loss(came, quantiles, levels))
        plain.append(pinball_loss(came, history, levels))
    assert np.mean(means) == pytest.approx(3.0, abs=0.15)
    share_covered = np.concatenate(covered).mean(axis=0)
    assert np.all(share_covered >= levels - 0.02)
    assert np.all(share_covered[1:] <= levels[1:] + 0.05)  # whole pieces lift it above the level
    assert np.all(np.concatenate(own).mean(axis=0) < np.concatenate(plain).mean(axis=0) * 1.02)


@pytest.mark.parametrize(
    ("values", "offsets", "n_periods"),
    [
        ([1.0, -1.0], [0, 2], 4),
        ([np.nan], [0, 1], 4),
        ([0.5], [0, 1], 4),
        ([1.0], [0, 1], 0),
        ([1.0, 1.0], [0, 3], 4),
        ([1.0, 1.0], [0, 2, 1, 2], 4),
    ],
)
def test_impossible_histories_are_refused(values: list[float], offsets: list[int], n_periods: int):
    with pytest.raises(InvalidInputError):
        forecast_intermittent(np.array(values), np.array(offsets), n_periods)
