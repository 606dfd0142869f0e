"""What kind of vehicle each one is: even or restless, drifting or always coming back to its own level."""

from dataclasses import replace
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from service.engine.usage.filter import filter_readings, initial_state, update
from service.engine.usage.hyperparameters import (
    DEFAULT_HYPERPARAMETERS,
    Hyperparameters,
    VehicleHyperparameters,
)
from service.engine.usage.priors import RatePriors
from service.engine.usage.scale import scale_km_per_day, squared_innovations
from service.engine.usage.state import UsageState

Floats: TypeAlias = NDArray[np.float64]
Integers: TypeAlias = NDArray[np.int64]

VARIED: Final = ("reversion_per_day", "temporary_sd", "noise_sd", "drift_per_day")
# Common practice, no source; picked on simulated fleets. Factors on the fleet's hyperparameters in the order of
# VARIED, and how many vehicles of a fleet are expected to be like that.
CHARACTERS: Final = (
    ((1.0, 1.0, 1.0, 1.0), 0.50),  # ordinary
    ((1.3, 0.5, 0.8, 2.0), 0.25),  # even from day to day, with lasting changes
    ((0.6, 1.1, 0.9, 0.25), 0.25),  # spells of weeks, and back to its own level
)

CHECKPOINT_GROWTH: Final = 1.05
_CHECKPOINTS: Final = np.unique(np.floor(CHECKPOINT_GROWTH ** np.arange(400)).astype(np.int64))


def fit_characters(
    time_days: Floats,
    odometer_km: Floats,
    offsets: Integers,
    priors: RatePriors,
    hyperparameters: Hyperparameters = DEFAULT_HYPERPARAMETERS,
) -> VehicleHyperparameters:
    """Adapt the fleet's hyperparameters to every vehicle's own history.

    Parameters
    ----------
    time_days, odometer_km, offsets, priors, hyperparameters
        As for `filter_readings`.

    Returns
    -------
    VehicleHyperparameters
        Geometric means over the characters, weighted by how well each explains the vehicle's readings; the
        prior's for vehicles with few readings.

    Notes
    -----
    The evidence of a character is the filter's likelihood with the vehicle's dispersion integrated out (a
    Student law with `dispersion_weight` degrees of freedom to start with). Three runs of the filter.
    """
    tried = [_varied(hyperparameters, factors) for factors, _ in CHARACTERS]
    evidence = np.stack([log_evidence(time_days, odometer_km, offsets, priors, one) for one in tried])
    evidence += np.log(np.array([share for _, share in CHARACTERS]))[:, None]
    weight = np.exp(evidence - np.max(evidence, axis=0))
    weight /= np.sum(weight, axis=0)
    n = offsets.size - 1
    columns = {name: np.full(n, getattr(hyperparameters, name)) for name in hyperparameters.__slots__}
    for place, name in enumerate(VARIED):
        logs = np.log(np.array([factors[place] for factors, _ in CHARACTERS]))
        columns[name] = columns[name] * np.exp(np.sum(weight * logs[:, None], axis=0))
    return VehicleHyperparameters(**columns)


def log_evidence(
    time_days: Floats,
    odometer_km: Floats,
    offsets: Integers,
    priors: RatePriors,
    hyperparameters: Hyperparameters,
) -> Floats:
    """Log density of every vehicle's readings, up to a constant of its own, shape (n,)."""
    log_variance = np.zeros(offsets.size - 1)
    state = update(
        initial_state(priors, hyperparameters), time_days, odometer_km, offsets, log_variance=log_variance
    )
    degrees = np.maximum(state.n_used - 1.0, 0.0)
    start = state.dispersion_weight
    squares = np.log(start + squared_innovations(state))
    logs = log_variance + (start + degrees) * squares
    return np.asarray(-0.5 * logs - degrees * np.log(scale_km_per_day(state)))


def estimate_usage(
    time_days: Floats,
    odometer_km: Floats,
    offsets: Integers,
    priors: RatePriors,
    hyperparameters: Hyperparameters = DEFAULT_HYPERPARAMETERS,
) -> UsageState:
    """Estimate every vehicle's usage with hyperparameters of its own: the service's way from readings to states.

    Parameters and result are those of `filter_readings`.

    Notes
    -----
    The states carry the vehicles' hyperparameters, which are chosen from the first `settled_count` readings of
    each. So `update` gives what this function would give over the whole history, until the count reaches the
    next checkpoint; then the vehicle has to be estimated anew, once for every twentieth that its history grows by.
    """
    counts = np.diff(offsets)
    settled = settled_count(counts)
    kept = np.arange(time_days.size) - np.repeat(offsets[:-1], counts) < np.repeat(settled, counts)
    early = np.concatenate([[0], np.cumsum(settled)]).astype(np.int64)
    own = fit_characters(time_days[kept], odometer_km[kept], early, priors, hyperparameters)
    return filter_readings(time_days, odometer_km, offsets, priors, own)


def settled_count(n_readings: Integers) -> Integers:
    """How many of so many readings the choice of a vehicle's character rests on: the last checkpoint reached."""
    place = np.searchsorted(_CHECKPOINTS, n_readings, side="right") - 1
    return np.where(place < 0, 0, _CHECKPOINTS[np.maximum(place, 0)])


def _varied(hyperparameters: Hyperparameters, factors: tuple[float, ...]) -> Hyperparameters:
    values = {
        name: getattr(hyperparameters, name) * factor for name, factor in zip(VARIED, factors, strict=True)
    }
    return replace(hyperparameters, **values)
