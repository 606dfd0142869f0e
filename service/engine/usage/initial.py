"""States of vehicles of which nothing has been read yet, and the numbers that every later state rests on."""

from dataclasses import fields
from typing import Final

import numpy as np

from service.engine.arrays import Booleans
from service.engine.usage.hyperparameters import Hyperparameters, VehicleHyperparameters
from service.engine.usage.priors import RatePriors
from service.engine.usage.state import UsageState

MEMORY_OF_STATE: Final = {
    "data_x": "data_odometer_km",
    "data_u": "data_temporary_km_per_day",
    "data_m": "data_long_run_km_per_day",
    "prior_x": "prior_odometer_days",
    "prior_u": "prior_temporary",
    "prior_m": "prior_long_run",
    "Pxx": "variance_odometer",
    "Pxu": "covariance_odometer_temporary",
    "Pxm": "covariance_odometer_long_run",
    "excess": "variance_temporary_excess",
    "Pum": "covariance_temporary_long_run",
    "Pmm": "variance_long_run",
    "squares_data": "squares_data",
    "squares_cross": "squares_cross",
    "squares_prior": "squares_prior",
}
NUMBERS_OF_STATE: Final = (
    "prior_log_rate",
    "prior_log_rate_sd",
    "reversion_per_day",
    "temporary_variance",
    "noise_variance",
    "drift_per_day",
    "reading_variance",
    "dispersion_weight",
    "period_days",
    "near_variance_factor",
    "far_variance_factor",
)


def initial_state(
    priors: RatePriors, hyperparameters: Hyperparameters | VehicleHyperparameters
) -> UsageState:
    """States of vehicles of which nothing has been read yet: the rate of their class."""
    n = priors.log_rate.size
    known = {
        "prior_long_run": 1.0,
        "variance_odometer": hyperparameters.reading_sd_days**2,
        "variance_long_run": hyperparameters.initial_sd**2,
        "reversion_per_day": hyperparameters.reversion_per_day,
        "temporary_variance": hyperparameters.temporary_sd**2,
        "noise_variance": hyperparameters.noise_sd**2,
        "drift_per_day": hyperparameters.drift_per_day,
        "reading_variance": hyperparameters.reading_sd_days**2,
        "dispersion_weight": hyperparameters.dispersion_weight,
        "period_days": hyperparameters.period_days,
        "near_variance_factor": hyperparameters.near_variance_factor,
        "far_variance_factor": hyperparameters.far_variance_factor,
    }
    # What is the same for all takes the room of one.
    columns = {
        field.name: np.broadcast_to(np.asarray(known.get(field.name, 0.0), dtype=np.float64), n)
        for field in fields(UsageState)
    }
    columns["prior_log_rate"] = priors.log_rate.astype(np.float64)
    columns["prior_log_rate_sd"] = priors.log_rate_sd.astype(np.float64)
    return UsageState(**columns)


def rests_on(
    state: UsageState, priors: RatePriors, hyperparameters: Hyperparameters | VehicleHyperparameters
) -> Booleans:
    """Mark the states that were computed with these numbers, which `update` can therefore go on with."""
    fresh = initial_state(priors, hyperparameters)
    same = np.ones(len(state), dtype=np.bool_)
    for name in NUMBERS_OF_STATE:
        same &= getattr(state, name) == getattr(fresh, name)
    return same
