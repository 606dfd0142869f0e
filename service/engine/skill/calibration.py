"""Whether forecasts mean what they say: the probability integral transform, and means by vehicle."""

import numpy as np

from service.engine.arrays import Floats, Integers


def interval_censored_pit(low: Floats, high: Floats, n_bins: int = 10) -> Floats:
    """Histogram of the probability integral transform where events are known to an interval only.

    Parameters
    ----------
    low, high : ndarray, shape (n,), float64
        Forecast probability of the event up to the interval's beginning and up to its end; for an event that had
        not come when watching ended, `high` is 1.
    n_bins
        Bins of the histogram.

    Returns
    -------
    ndarray, shape (n_bins,), float64
        Share of the forecasts in each bin; all 1 / n_bins if the forecasts are calibrated.

    Notes
    -----
    Each forecast's weight is spread evenly over [low, high] [1]_.

    References
    ----------
    .. [1] Czado, Gneiting and Held, "Predictive model assessment for count data", Biometrics 65, 2009.
    """
    edges = np.linspace(0.0, 1.0, n_bins + 1)
    width = np.maximum(high - low, 1e-12)
    start = np.minimum(low, 1.0 - 1e-12)
    reached = np.clip((edges[None, :] - start[:, None]) / width[:, None], 0.0, 1.0)
    return np.asarray(np.mean(np.diff(reached, axis=1), axis=0))


def mean_over_vehicles(values: Floats, vehicle: Integers) -> float:
    """Mean of vehicles' means, so that one read daily weighs as much as one read monthly; NaN without any."""
    if values.size == 0:
        return float("nan")
    _, place = np.unique(vehicle, return_inverse=True)
    counts = np.bincount(place)
    return float(np.mean(np.bincount(place, weights=values) / counts))
