"""Rolling-origin backtest: how the projections of a stored history would have turned out."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import gammainc

from service.engine.arrays import Floats, Integers
from service.engine.skill.baselines import Baseline, baseline_quantiles
from service.engine.skill.calibration import interval_censored_pit, mean_over_vehicles
from service.engine.skill.scores import crps_gamma, pinball_loss
from service.engine.usage.filter import filter_readings
from service.engine.usage.hyperparameters import (
    DEFAULT_HYPERPARAMETERS,
    Hyperparameters,
    VehicleHyperparameters,
)
from service.engine.usage.origins import Origins, histories_up_to, rolling_origins
from service.engine.usage.predict import gamma_quantiles, increment_moments
from service.engine.usage.priors import RatePriors

HORIZONS_DAYS: Final = (14.0, 30.0, 90.0, 180.0, 365.0)
LEVELS: Final = np.array([0.1, 0.5, 0.9])
ALL_HORIZONS: Final = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Scorecard:
    """How one method did at one horizon (0 for all together); means over vehicles, NaN without any exercise."""

    method: str
    horizon_days: float
    n_vehicles: int
    n_exercises: int
    absolute_error_km: float
    absolute_error_days: float
    pinball_km: float
    crps_km: float
    coverage_fraction: float
    below_fraction: float
    above_fraction: float
    pit_fraction: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Projected:
    """What a method said and what came, one row an exercise."""

    quantiles_km: Floats
    crps_km: Floats
    transform: Floats


def backtest(
    time_days: Floats,
    odometer_km: Floats,
    offsets: Integers,
    priors: RatePriors,
    hyperparameters: Hyperparameters | VehicleHyperparameters = DEFAULT_HYPERPARAMETERS,
    horizons_days: tuple[float, ...] = HORIZONS_DAYS,
    operational_days: Floats | None = None,
) -> list[Scorecard]:
    """Score the service's projection and the plain ones from rolling origins along every history.

    Parameters
    ----------
    time_days, odometer_km, offsets, priors, hyperparameters
        Accepted readings of n vehicles, as for `filter_readings`.
    horizons_days
        Horizons to score. [d]
    operational_days : ndarray, shape (r,), float64
        The same times on the clock of the vehicles' season, where they have one, for the service's projection. [d]

    Returns
    -------
    list of Scorecard
        For the service and each baseline: all horizons together, then each one.

    Notes
    -----
    At an origin only the readings up to it are known to the vehicle's projection; what is shared by the fleet
    (priors, hyperparameters) is taken as given. Baselines have neither CRPS nor PIT: they state three
    quantiles, not a law.
    """
    origins = rolling_origins(time_days, offsets, np.array(horizons_days))
    observed = odometer_km[origins.target] - odometer_km[origins.origin]
    clock = time_days if operational_days is None else operational_days
    said = {"service": _service(clock, odometer_km, offsets, priors, hyperparameters, origins)}
    for baseline in Baseline:
        said[baseline.value] = _plain(baseline, time_days, odometer_km, offsets, origins)
    pace = _pace(time_days, odometer_km, offsets, origins)
    cards = []
    for name, projected in said.items():
        for horizon in (ALL_HORIZONS, *horizons_days):
            rows = np.flatnonzero((origins.horizon_days == horizon) | (horizon == ALL_HORIZONS))
            cards.append(_card(name, horizon, rows, origins, observed, pace, projected))
    return cards


def _service(
    time_days: Floats,
    odometer_km: Floats,
    offsets: Integers,
    priors: RatePriors,
    hyperparameters: Hyperparameters | VehicleHyperparameters,
    origins: Origins,
) -> _Projected:
    at, own = histories_up_to(origins, offsets)
    state = filter_readings(
        time_days[at],
        odometer_km[at],
        own,
        priors.take(origins.vehicle),
        hyperparameters.take(origins.vehicle),
    )
    days = time_days[origins.target] - time_days[origins.origin]
    mean, variance = increment_moments(state, days)
    observed = np.maximum(odometer_km[origins.target] - odometer_km[origins.origin], 0.0)
    return _Projected(
        quantiles_km=gamma_quantiles(mean, variance, LEVELS),
        crps_km=crps_gamma(observed, mean, variance),
        transform=np.asarray(gammainc(mean**2 / variance, observed * mean / variance)),
    )


def _plain(
    baseline: Baseline, time_days: Floats, odometer_km: Floats, offsets: Integers, origins: Origins
) -> _Projected:
    quantiles = baseline_quantiles(baseline, time_days, odometer_km, offsets, origins)
    nothing = np.full(len(origins), np.nan)
    return _Projected(quantiles_km=quantiles, crps_km=nothing, transform=nothing)


def _pace(time_days: Floats, odometer_km: Floats, offsets: Integers, origins: Origins) -> Floats:
    """Average distance a day up to each origin, to express errors in days of use; at least 0.1 km/d."""
    first = offsets[:-1][origins.vehicle]
    days = np.maximum(time_days[origins.origin] - time_days[first], 1.0)
    return np.asarray(np.maximum((odometer_km[origins.origin] - odometer_km[first]) / days, 0.1))


def _card(
    method: str,
    horizon: float,
    rows: Integers,
    origins: Origins,
    observed: Floats,
    pace: Floats,
    said: _Projected,
) -> Scorecard:
    vehicle, y, quantiles = origins.vehicle[rows], observed[rows], said.quantiles_km[rows]
    error = np.abs(y - quantiles[:, 1])
    below, above = y < quantiles[:, 0], y > quantiles[:, 2]
    transform = said.transform[rows]
    has_law = rows.size > 0 and not bool(np.isnan(transform[0]))
    return Scorecard(
        method=method,
        horizon_days=horizon,
        n_vehicles=int(np.unique(vehicle).size),
        n_exercises=int(rows.size),
        absolute_error_km=mean_over_vehicles(error, vehicle),
        absolute_error_days=mean_over_vehicles(error / pace[rows], vehicle),
        pinball_km=mean_over_vehicles(np.mean(pinball_loss(y, quantiles, LEVELS), axis=1), vehicle),
        crps_km=mean_over_vehicles(said.crps_km[rows], vehicle),
        coverage_fraction=mean_over_vehicles((~below & ~above).astype(np.float64), vehicle),
        below_fraction=mean_over_vehicles(below.astype(np.float64), vehicle),
        above_fraction=mean_over_vehicles(above.astype(np.float64), vehicle),
        pit_fraction=tuple(interval_censored_pit(transform, transform).tolist()) if has_law else (),
    )
