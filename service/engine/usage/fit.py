"""Fitting the hyperparameters to a fleet, by how well its own past would have been forecast."""

from collections.abc import Callable
from dataclasses import replace
from typing import Final

import numpy as np

from service.engine.arrays import Floats, Integers
from service.engine.usage.hyperparameters import DEFAULT_HYPERPARAMETERS, Hyperparameters
from service.engine.usage.predict import FAR_DAYS, gamma_quantiles, gamma_scores
from service.engine.usage.priors import RatePriors
from service.engine.usage.ragged import of_vehicles
from service.engine.usage.rehearsal import HORIZONS_DAYS, Rehearsal, rehearse

FITTED: Final = ("reversion_per_day", "temporary_sd", "noise_sd", "drift_per_day")
LEVELS: Final = np.array([0.1, 0.5, 0.9])
# The central share between the first and the last level, and the normal score that bounds it: exact to 5 places.
CENTRAL_SHARE: Final = 0.8
CENTRAL_SCORE: Final = 1.28155
# Common practice, no source; kept because simulated fleets were forecast better with them.
LEAST_VEHICLES: Final = 5
DEFAULTS_VEHICLES: Final = 3.0
FLEET_VEHICLES: Final = 10.0
"""How many vehicles the defaults are worth to a fleet, and the fleet to a class."""
PRIOR_LOG_SD: Final = np.array([0.5, 0.4, 0.4, 0.8])
WIDTH_PRIOR_VEHICLES: Final = 10.0
LARGEST_WIDTH_LOG: Final = 1.1
MOST_EVALUATIONS: Final = 40


def fit_hyperparameters(
    time_days: Floats,
    odometer_km: Floats,
    offsets: Integers,
    priors: RatePriors,
    start: Hyperparameters = DEFAULT_HYPERPARAMETERS,
    start_weight: float = DEFAULTS_VEHICLES,
) -> Hyperparameters:
    """Fit how a fleet's daily distances vary.

    Parameters
    ----------
    time_days, odometer_km, offsets, priors
        Accepted readings of n vehicles, as for `filter_readings`.
    start
        Values that a fleet with little to say keeps.
    start_weight
        How many vehicles these values are worth.

    Returns
    -------
    Hyperparameters
        `start` where fewer than `LEAST_VEHICLES` vehicles have a past to forecast from.

    Notes
    -----
    Minimises the mean pinball loss of the 10, 50 and 90 % points at 30 to 365 days from rolling origins, every
    vehicle and horizon weighing the same and every loss relative to the vehicle's distance with `start`; plus a
    penalty on log parameters worth `start_weight` vehicles. Fitting at the horizons that matter rather than one
    step ahead keeps the year-ahead interval honest where the model is wrong. Then the variance is widened or
    narrowed so that eight in ten of the distances that came lie between the outer points, as far as the number of
    vehicles bears it out. Deterministic; about 0.3 s, however large the fleet.
    """
    rehearsal = rehearse(time_days, odometer_km, offsets, priors, start.period_days)
    if rehearsal is None:
        return start
    n_vehicles = int(np.unique(rehearsal.vehicle).size)
    if n_vehicles < LEAST_VEHICLES:
        return start
    weight = _weights(rehearsal) / _usual_distance(rehearsal, start)

    def objective(shift: Floats) -> float:
        mean, variance = rehearsal.moments(_shifted(start, shift))
        error = rehearsal.distance_km[:, None] - gamma_quantiles(mean, variance, LEVELS)
        loss = np.sum(np.maximum(LEVELS * error, (LEVELS - 1.0) * error), axis=1)
        penalty = 0.5 * start_weight / n_vehicles * np.sum((shift / PRIOR_LOG_SD) ** 2)
        return float(np.log(np.sum(weight * loss)) + penalty)

    return _with_widths(rehearsal, _shifted(start, _minimum(objective)))


def fit_classes(
    time_days: Floats,
    odometer_km: Floats,
    offsets: Integers,
    priors: RatePriors,
    class_index: Integers,
    n_classes: int,
) -> tuple[Hyperparameters, ...]:
    """Fit to the whole fleet, and from there to every class that differs from it.

    Parameters and conditions are those of `fit_hyperparameters`; `class_index` has shape (n,), one class a vehicle.
    """
    whole = fit_hyperparameters(time_days, odometer_km, offsets, priors)
    if np.unique(class_index).size < 2:
        return (whole,) * n_classes
    fitted = []
    for one in range(n_classes):
        rows = np.flatnonzero(class_index == one)
        inside, own = of_vehicles(rows, offsets)
        fitted.append(
            fit_hyperparameters(
                time_days[inside], odometer_km[inside], own, priors.take(rows), whole, FLEET_VEHICLES
            )
        )
    return tuple(fitted)


def _minimum(objective: Callable[[Floats], float]) -> Floats:
    simplex = np.vstack([np.zeros(PRIOR_LOG_SD.size), np.diag(PRIOR_LOG_SD)])
    from scipy.optimize import minimize  # a sixth of a second, which a server's start need not wait for

    found = minimize(
        objective, simplex[0], method="Nelder-Mead",
        options={"initial_simplex": simplex, "maxfev": MOST_EVALUATIONS, "xatol": 0.02, "fatol": 1e-5},
    )  # fmt: skip
    return np.asarray(found.x, dtype=np.float64)


def _shifted(start: Hyperparameters, shift: Floats) -> Hyperparameters:
    values = {name: getattr(start, name) * float(np.exp(d)) for name, d in zip(FITTED, shift, strict=True)}
    return replace(start, **values)


def _weights(rehearsal: Rehearsal) -> Floats:
    """Weights by which every vehicle counts the same at every horizon."""
    cell = rehearsal.vehicle * (FAR_DAYS + 1.0) + rehearsal.horizon_days
    _, inverse, count = np.unique(cell, return_inverse=True, return_counts=True)
    return np.asarray(1.0 / count[inverse])


def _usual_distance(rehearsal: Rehearsal, start: Hyperparameters) -> Floats:
    """Make losses of different vehicles and horizons comparable."""
    mean, _ = rehearsal.moments(start)
    return np.asarray(mean / rehearsal.days**0.25)


def _with_widths(rehearsal: Rehearsal, fitted: Hyperparameters) -> Hyperparameters:
    """Move the variance factors so that intervals hold what they promise on the past."""
    plain = replace(fitted, near_variance_factor=1.0, far_variance_factor=1.0)
    score = np.abs(gamma_scores(*rehearsal.moments(plain), rehearsal.distance_km))
    weight = _weights(rehearsal)
    days, logs, words = [], [], []
    for horizon in HORIZONS_DAYS:
        at = np.flatnonzero(rehearsal.horizon_days == horizon)
        if at.size:
            reached = _weighted_quantile(score[at], weight[at], CENTRAL_SHARE)
            days.append(horizon / FAR_DAYS)
            logs.append(2.0 * np.log(max(reached, 0.1) / CENTRAL_SCORE))
            words.append(float(np.unique(rehearsal.vehicle[at]).size))
    # A line in time, drawn towards the factors of the start at either end.
    design = np.column_stack([1.0 - np.array(days), np.array(days)])
    own = design.T @ (np.array(words)[:, None] * design) + WIDTH_PRIOR_VEHICLES * np.eye(2)
    usual = np.log([fitted.near_variance_factor, fitted.far_variance_factor])
    ends = usual + np.linalg.solve(own, design.T @ (np.array(words) * (np.array(logs) - design @ usual)))
    near, far = np.exp(np.clip(ends, -LARGEST_WIDTH_LOG, LARGEST_WIDTH_LOG)).tolist()
    return replace(fitted, near_variance_factor=near, far_variance_factor=far)


def _weighted_quantile(values: Floats, weight: Floats, share: float) -> float:
    order = np.argsort(values)
    reached = np.cumsum(weight[order])
    return float(values[order][np.searchsorted(reached, share * reached[-1])])
