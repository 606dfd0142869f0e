"""Projections for given origins and dates, from entries as keyed: the engine's whole road in one call."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.arrays import Floats, Integers
from service.engine.screening.screen import Entries, screen_readings
from service.engine.usage.filter import filter_readings
from service.engine.usage.fit import fit_hyperparameters
from service.engine.usage.hyperparameters import DEFAULT_HYPERPARAMETERS, Hyperparameters
from service.engine.usage.predict import odometer_quantiles
from service.engine.usage.priors import configured_priors, fit_priors
from service.engine.usage.season import NO_SEASON, Season, fit_season
from service.errors import InvalidInputError

LEVELS: Final = (0.1, 0.5, 0.9)
REFIT_DAYS: Final = 60.0
"""What is learnt from the fleet is learnt anew so often. [d]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pasts:
    """What was known at each of o origins: entries as keyed, one origin after the other, in order of time.

    Attributes
    ----------
    time_days, keyed_km : shape (r,)
        Entries. [d], [km]
    offsets : shape (o + 1,)
        Where each origin's entries begin.
    vehicle : shape (o,)
        Number of the vehicle an origin belongs to.
    origin_days : shape (o,)
        Time of each origin; no entry lies after it. [d]
    """

    time_days: Floats
    keyed_km: Floats
    offsets: Integers
    vehicle: Integers
    origin_days: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class _Accepted:
    """Accepted readings of some origins."""

    time_days: Floats
    odometer_km: Floats
    offsets: Integers


def project_tasks(pasts: Pasts, task_origin: Integers, target_days: Floats) -> Floats:
    """Project the odometer from each task's origin to its date.

    Parameters
    ----------
    pasts
        What was known at each origin.
    task_origin : ndarray, shape (t,), int64
        Origin of every task.
    target_days : ndarray, shape (t,), float64
        Date to project to. [d]

    Returns
    -------
    ndarray, shape (t, 3), float64
        P10, P50 and P90 of the odometer, as the vehicle's instrument would show it. [km]

    Raises
    ------
    InvalidInputError
        If the shapes disagree or an origin has an entry later than itself.

    Notes
    -----
    A task rests on its own origin's entries. A file names no classes, so its vehicles may be of any kind: their
    rates have the prior of vehicles of which nothing is known. Season and hyperparameters are learnt from the
    fleet as it was known at the last of a row of dates `REFIT_DAYS` apart that is not later than the origin: from
    each vehicle's latest origin up to that date.
    """
    _check(pasts)
    period = np.floor((pasts.origin_days - np.min(pasts.origin_days, initial=0.0)) / REFIT_DAYS).astype(
        np.int64
    )
    quantiles = np.zeros((target_days.size, len(LEVELS)))
    learnt = _Learnt()
    for one in np.unique(period):
        rows = np.flatnonzero(period == one)
        accepted, last_factor, last_offset = _screen(pasts, rows, learnt.rate)
        priors = configured_priors(rows.size)
        clock = learnt.season.operational_days
        state = filter_readings(
            clock(accepted.time_days), accepted.odometer_km, accepted.offsets, priors, learnt.hyperparameters
        )
        tasks = np.flatnonzero(period[task_origin] == one)
        own = np.searchsorted(rows, task_origin[tasks])
        continued = odometer_quantiles(state.take(own), clock(target_days[tasks]), np.array(LEVELS))
        quantiles[tasks] = (continued - last_offset[own, None]) / last_factor[own, None]
        learnt.add(pasts.vehicle[rows], pasts.origin_days[rows], accepted)
        learnt.learn()
    return quantiles


def _check(pasts: Pasts) -> None:
    n = pasts.vehicle.size
    if pasts.offsets.shape != (n + 1,) or pasts.origin_days.shape != (n,):
        raise InvalidInputError.at("/offsets", "must have one entry more than there are origins")
    if bool(np.any(pasts.time_days > np.repeat(pasts.origin_days, np.diff(pasts.offsets)))):
        raise InvalidInputError.at("/time_days", "an entry is later than its origin")


def _screen(pasts: Pasts, rows: Integers, rate: float) -> tuple[_Accepted, Floats, Floats]:
    """Screen the entries of some origins; also return how their latest instrument continues the first."""
    lengths = np.diff(pasts.offsets)[rows]
    offsets = np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64)
    at = (
        np.arange(offsets[-1])
        - np.repeat(offsets[:-1], lengths)
        + np.repeat(pasts.offsets[:-1][rows], lengths)
    )
    screening = screen_readings(
        Entries.plain(pasts.time_days[at], pasts.keyed_km[at], offsets, np.full(rows.size, rate))
    )
    kept = screening.is_accepted
    new_offsets = np.concatenate([[0], np.cumsum(kept)])[offsets].astype(np.int64)
    accepted = _Accepted(
        time_days=pasts.time_days[at][kept], odometer_km=screening.odometer_km[kept], offsets=new_offsets
    )
    last = np.maximum(new_offsets[1:] - 1, 0)
    some = np.diff(new_offsets) > 0
    factor, offset = np.ones(rows.size), np.zeros(rows.size)
    if kept.any():
        factor[some] = screening.series_factor[kept][last[some]]
        offset[some] = screening.series_offset_km[kept][last[some]]
    return accepted, factor, offset


class _Learnt:
    """What the fleet has taught so far."""

    def __init__(self) -> None:
        self.hyperparameters: Hyperparameters = DEFAULT_HYPERPARAMETERS
        self.season: Season = NO_SEASON
        self.rate = float(np.exp(configured_priors(1).log_rate[0]))
        self._histories: dict[int, tuple[Floats, Floats]] = {}

    def add(self, vehicle: Integers, origin_days: Floats, accepted: _Accepted) -> None:
        """Keep each vehicle's history as of its latest origin."""
        for row in np.argsort(origin_days, kind="stable").tolist():
            own = slice(int(accepted.offsets[row]), int(accepted.offsets[row + 1]))
            self._histories[int(vehicle[row])] = (accepted.time_days[own], accepted.odometer_km[own])

    def learn(self) -> None:
        """Fit rates, season and hyperparameters to the histories kept."""
        keys = sorted(self._histories)
        time = np.concatenate([self._histories[key][0] for key in keys])
        odometer = np.concatenate([self._histories[key][1] for key in keys])
        lengths = [self._histories[key][0].size for key in keys]
        offsets = np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64)
        fleet = fit_priors(time, odometer, offsets, np.zeros(len(keys), dtype=np.int64), 1)
        self.rate = float(np.exp(fleet.log_rate[0]))
        self.season = fit_season(time, odometer, offsets)
        self.hyperparameters = fit_hyperparameters(
            self.season.operational_days(time), odometer, offsets, configured_priors(len(keys))
        )
