"""Rolling origins: pairs of readings, one to forecast from and a later one to be forecast."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.arrays import Floats, Integers

# Common practice, no source: a reading counts as lying at a horizon from a tenth before to a quarter after it.
NEAREST_FRACTION: Final = 0.9
FURTHEST_FRACTION: Final = 1.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Origins:
    """Forecasting exercises over n vehicles' histories, each shape (p,).

    Attributes
    ----------
    vehicle
        Row of the vehicle.
    origin, target
        Positions of the last reading known and of the one to forecast, among all readings.
    horizon_days
        Horizon the target stands for. [d]
    """

    vehicle: Integers
    origin: Integers
    target: Integers
    horizon_days: Floats

    def __len__(self) -> int:
        return self.vehicle.size


def rolling_origins(
    time_days: Floats,
    offsets: Integers,
    horizons_days: Floats,
    least_readings: int = 5,
    origins_per_vehicle: int = 12,
) -> Origins:
    """Choose origins along every history, with a target near each horizon.

    Parameters
    ----------
    time_days : ndarray, shape (r,), float64
        Times of readings, in order within each vehicle. [d]
    offsets : ndarray, shape (n + 1,), int64
        Where each vehicle's readings begin.
    horizons_days : ndarray, shape (h,), float64
        Horizons asked for. [d]
    least_readings
        Readings that have to be known at an origin.
    origins_per_vehicle
        Most origins of a vehicle and horizon, spread evenly along its history.

    Returns
    -------
    Origins
        Ordered by horizon, vehicle and time.

    Notes
    -----
    An origin needs a history of a quarter of the horizon. O(h r log r).
    """
    counts = np.diff(offsets)
    vehicle = np.repeat(np.arange(counts.size), counts)
    rank = np.arange(time_days.size) - offsets[:-1][vehicle]
    start = time_days[offsets[:-1][vehicle]] if time_days.size else time_days
    span = float(np.ptp(time_days)) + 1.0 if time_days.size else 1.0
    key = vehicle * (2.0 * span + float(np.max(horizons_days)) * 2.0) + (
        time_days - np.min(time_days, initial=0.0)
    )
    parts = []
    for horizon in horizons_days:
        target = np.searchsorted(key, key + NEAREST_FRACTION * horizon, side="left")
        inside = target < time_days.size
        safe = np.where(inside, target, 0)
        fits = inside & (vehicle[safe] == vehicle) & (rank >= least_readings - 1)
        fits &= time_days[safe] - time_days <= FURTHEST_FRACTION * horizon
        fits &= (time_days - start >= 0.25 * horizon) & (safe > np.arange(time_days.size))
        chosen = _spread_evenly(np.flatnonzero(fits), vehicle, origins_per_vehicle)
        parts.append((vehicle[chosen], chosen, safe[chosen], np.full(chosen.size, float(horizon))))
    columns = [np.concatenate(column) for column in zip(*parts, strict=True)]
    return Origins(vehicle=columns[0], origin=columns[1], target=columns[2], horizon_days=columns[3])


def _spread_evenly(candidates: Integers, vehicle: Integers, most: int) -> Integers:
    """Keep at most so many candidates of each vehicle, evenly spread, first and last included."""
    owner = vehicle[candidates]
    _, first, count = np.unique(owner, return_index=True, return_counts=True)
    place = np.arange(candidates.size) - np.repeat(first, count)
    total = np.repeat(count, count)
    kept = np.minimum(total, most)
    slot = np.floor(place * (kept - 1) / np.maximum(total - 1, 1) + 1e-9)
    before = np.floor((place - 1) * (kept - 1) / np.maximum(total - 1, 1) + 1e-9)
    return np.asarray(candidates[(place == 0) | (slot > before)])


def histories_up_to(origins: Origins, offsets: Integers) -> tuple[Integers, Integers]:
    """Lay out the history known at every origin, one after the other.

    Returns
    -------
    positions : ndarray, shape (s,), int64
        Positions among all readings.
    offsets : ndarray, shape (p + 1,), int64
        Where each origin's history begins among `positions`.
    """
    start = offsets[:-1][origins.vehicle]
    lengths = origins.origin - start + 1
    new_offsets = np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64)
    positions = np.arange(new_offsets[-1]) - np.repeat(new_offsets[:-1], lengths) + np.repeat(start, lengths)
    return positions, new_offsets
