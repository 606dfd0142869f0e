"""How well the forecasts of slow movers would have done on their own past."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.engine.demand.intermittent import (
    DEFAULT_SMOOTHING,
    IntermittentMethod,
    check_histories,
    estimate_intermittent,
)
from service.engine.demand.intermittent_lead_time import DEFAULT_HALF_LIFE_PERIODS, forecast_intermittent
from service.engine.demand.lattice import distribution_quantile
from service.errors import InsufficientDataError


@dataclass(frozen=True, slots=True, kw_only=True)
class IntermittentBacktest:
    """Scores over all series and origins; quantities in litres or pieces over the whole horizon."""

    n_forecasts: int
    methods: tuple[IntermittentMethod, ...]
    mean_error: NDArray[np.float64]
    """Shape (methods,): forecast less demand; above 0 is too much."""
    mean_absolute_error: NDArray[np.float64]
    """Shape (methods,)."""
    levels: NDArray[np.float64]
    """Shape (levels,): quantile levels asked for."""
    share_covered: NDArray[np.float64]
    """Shape (levels,): share of demands at or below the quantile; whole pieces lift it above the level."""
    mean_pinball: NDArray[np.float64]
    """Shape (levels,): of the distribution from past sizes and occurrences."""
    history_pinball: NDArray[np.float64]
    """Shape (levels,): of the plain quantiles of past sums over the same number of periods."""


def backtest_intermittent(
    values: NDArray[np.float64],
    offsets: NDArray[np.int64],
    n_periods: int,
    *,
    first_origin: int,
    origin_step: int,
    smoothing: float = DEFAULT_SMOOTHING,
    half_life_periods: float = DEFAULT_HALF_LIFE_PERIODS,
) -> IntermittentBacktest:
    """Forecast from rolling origins, each with the past only, and score against what came.

    Parameters
    ----------
    values, offsets
        Histories as in `estimate_intermittent`; whole pieces.
    n_periods : int
        Horizon of each forecast.
    first_origin, origin_step : int
        Periods of past in the first forecast, and between forecasts.
    smoothing : float
        For the rates.
    half_life_periods : float
        For the distribution.

    Returns
    -------
    IntermittentBacktest

    Raises
    ------
    InsufficientDataError
        If no history is as long as the first origin and the horizon.

    References
    ----------
    .. [1] Tashman, "Out-of-sample tests of forecasting accuracy", International Journal of Forecasting 16, 2000.
    """
    check_histories(values, offsets)
    count = np.diff(offsets)
    levels = np.array([0.5, 0.9, 0.95])
    methods = tuple(IntermittentMethod)
    origins = range(first_origin, int(count.max(initial=0)) - n_periods + 1, origin_step)
    if first_origin < n_periods or len(origins) == 0:
        raise InsufficientDataError("no history is as long as the first origin and the horizon together")
    errors, covered, pinball, plain = [], [], [], []
    for origin in origins:
        chosen = np.flatnonzero(count >= origin + n_periods)
        table = values[offsets[chosen][:, None] + np.arange(origin + n_periods)]
        past, came = table[:, :origin], table[:, origin:].sum(axis=1)
        bounds = origin * np.arange(chosen.size + 1)
        rates = [estimate_intermittent(past.ravel(), bounds, method, smoothing).rate for method in methods]
        errors.append(n_periods * np.stack(rates) - came)
        forecast = forecast_intermittent(past.ravel(), bounds, n_periods, half_life_periods=half_life_periods)
        quantiles = np.stack([distribution_quantile(forecast, level) for level in levels.tolist()])
        sums = np.lib.stride_tricks.sliding_window_view(past, n_periods, axis=1).sum(axis=2)
        history = np.quantile(sums, levels, axis=1, method="inverted_cdf")
        covered.append(came <= quantiles)
        pinball.append(_pinball(quantiles, came, levels))
        plain.append(_pinball(history, came, levels))
    all_errors = np.concatenate(errors, axis=1)
    return IntermittentBacktest(
        n_forecasts=all_errors.shape[1],
        methods=methods,
        mean_error=all_errors.mean(axis=1),
        mean_absolute_error=np.abs(all_errors).mean(axis=1),
        levels=levels,
        share_covered=np.concatenate(covered, axis=1).mean(axis=1),
        mean_pinball=np.concatenate(pinball, axis=1).mean(axis=1),
        history_pinball=np.concatenate(plain, axis=1).mean(axis=1),
    )


def _pinball(
    quantile: NDArray[np.float64], came: NDArray[np.float64], levels: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Pinball loss, shape (levels, series)."""
    error = came - quantile
    loss: NDArray[np.float64] = np.maximum(levels[:, None] * error, (levels[:, None] - 1.0) * error)
    return loss
