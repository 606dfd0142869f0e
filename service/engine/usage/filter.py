"""The filter over whole fleets: from readings to states, all at once or a few readings at a time."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from service.engine.arrays import Floats, Integers
from service.engine.parts import for_every_part, vehicle_blocks
from service.engine.usage.hyperparameters import (
    DEFAULT_HYPERPARAMETERS,
    Hyperparameters,
    VehicleHyperparameters,
)
from service.engine.usage.initial import MEMORY_OF_STATE, initial_state
from service.engine.usage.kernel import MOMENTS, Dynamics, Memory, assimilate, propagate
from service.engine.usage.priors import RatePriors
from service.engine.usage.ragged import (
    check_offsets,
    check_readings,
    count_active,
    first_of_each_period,
    of_vehicles,
    select,
    within_vehicles,
)
from service.engine.usage.state import UsageState
from service.errors import InvalidInputError

BLOCK_VEHICLES: Final = 20_000
"""Vehicles worked on at once: enough to outweigh the calls, and that threads pass the interpreter on. Measured."""
PART_READINGS: Final = 500_000
"""Readings of one part of a fleet, so that what is computed on the way is small and its memory used again."""

_CHANGED: Final = (
    *MEMORY_OF_STATE.values(),
    "n_readings", "n_used", "first_time_days", "first_odometer_km",
    "used_time_days", "used_odometer_km", "last_time_days", "last_odometer_km",
)  # fmt: skip


def filter_readings(
    time_days: Floats,
    odometer_km: Floats,
    offsets: Integers,
    priors: RatePriors,
    hyperparameters: Hyperparameters | VehicleHyperparameters = DEFAULT_HYPERPARAMETERS,
) -> UsageState:
    """Estimate odometer, rate and long-run rate of every vehicle from its accepted readings.

    Parameters
    ----------
    time_days : ndarray, shape (r,), float64
        Times of the readings of all vehicles, one vehicle after the other, not decreasing within one. [d]
    odometer_km : ndarray, shape (r,), float64
        Accepted readings, without the jumps of replaced instruments. [km]
    offsets : ndarray, shape (n + 1,), int64
        Where each vehicle's readings begin.
    priors
        Log rates that the vehicles' classes suggest, each shape (n,).
    hyperparameters
        How the fleet's, or each vehicle's, daily distances vary.

    Returns
    -------
    UsageState
        One state a vehicle; vehicles with one reading or none have the rate of their class.

    Raises
    ------
    InvalidInputError
        If the shapes disagree, a value is not finite or a vehicle's times decrease.

    Notes
    -----
    Three-state Kalman filter in closed form, see `kernel`. The first reading of each period moves the filter
    for good; the last one of all is taken in when the state is asked about the future. O(r), about 30 ns a reading.
    """
    return update(initial_state(priors, hyperparameters), time_days, odometer_km, offsets)


def update(
    state: UsageState,
    time_days: Floats,
    odometer_km: Floats,
    offsets: Integers,
    block_vehicles: int = BLOCK_VEHICLES,
    part_readings: int = PART_READINGS,
) -> UsageState:
    """Take in further readings; the same answer as `filter_readings` over the whole history.

    Parameters
    ----------
    state
        States of n vehicles.
    time_days, odometer_km, offsets
        New accepted readings of these vehicles, as for `filter_readings`; a vehicle may have none.
    block_vehicles
        Vehicles worked on at once; the answer does not depend on it.
    part_readings
        Readings of the parts into which the fleet is cut, which threads may share; likewise.

    Returns
    -------
    UsageState
        New states; the ones given are not changed.

    Raises
    ------
    InvalidInputError
        If a new reading is older than the last one taken in (such a vehicle has to be filtered anew).
    """
    check_offsets(time_days, odometer_km, offsets)
    if offsets.size != len(state) + 1:
        raise InvalidInputError.at("/offsets", "must have one entry more than there are vehicles")
    some = np.flatnonzero((np.diff(offsets) > 0) & (state.n_readings > 0))
    if bool(np.any(time_days[offsets[some]] < state.last_time_days[some])):
        raise InvalidInputError.at("/time_days", "a reading is older than the last one taken in")
    result = replace(state, **{name: np.empty(len(state)) for name in _CHANGED})

    def update_part(part: tuple[int, int]) -> None:
        vehicles, own = slice(*part), offsets[part[0] : part[1] + 1]
        inside = slice(int(own[0]), int(own[-1]))
        readings = time_days[inside], odometer_km[inside], own - own[0]
        check_readings(*readings)
        updated = _updated(state.take(vehicles), *readings, block_vehicles)
        for name in _CHANGED:
            getattr(result, name)[vehicles] = getattr(updated, name)

    for_every_part(update_part, vehicle_blocks(offsets, part_readings))
    return result


def _updated(
    state: UsageState, time_days: Floats, odometer_km: Floats, offsets: Integers, block_vehicles: int
) -> UsageState:
    has_history = state.n_readings > 0
    used = first_of_each_period(
        time_days,
        offsets,
        np.where(has_history, state.first_time_days, np.nan),
        np.where(has_history, state.used_time_days, np.nan),
        state.period_days,
    )
    result = _note_latest(state, time_days, odometer_km, offsets)
    if not bool(np.all(used)):
        time_days, odometer_km, offsets = time_days[used], odometer_km[used], select(used, offsets)
    result, starts = _note_first(result, time_days, odometer_km, offsets)
    return _run(result, _Readings(time_days, odometer_km, starts, offsets[1:]), block_vehicles)


def _note_latest(state: UsageState, time_days: Floats, odometer_km: Floats, offsets: Integers) -> UsageState:
    """Note count, last time and highest odometer of the new readings."""
    counts = np.diff(offsets)
    some = np.flatnonzero(counts > 0)
    last_time, last_odometer = state.last_time_days.copy(), state.last_odometer_km.copy()
    if some.size:
        last_time[some] = time_days[offsets[1:][some] - 1]
        highest = _highest(odometer_km, offsets)[some]
        known = state.n_readings[some] > 0
        last_odometer[some] = np.where(known, np.maximum(last_odometer[some], highest), highest)
    return replace(
        state,
        n_readings=state.n_readings + counts,
        last_time_days=last_time,
        last_odometer_km=last_odometer,
    )


def _highest(odometer_km: Floats, offsets: Integers) -> Floats:
    """Highest reading of every vehicle, anything where there is none: the last one, for it seldom falls."""
    highest = odometer_km.take(offsets[1:] - 1, mode="clip")
    falls = np.flatnonzero(within_vehicles(odometer_km[1:] < odometer_km[:-1], offsets))
    fallen = np.unique(np.searchsorted(offsets, falls, side="right") - 1)
    if fallen.size:
        at, begins = of_vehicles(fallen, offsets)
        highest[fallen] = np.maximum.reduceat(odometer_km[at], begins[:-1])
    return highest


def _note_first(
    state: UsageState, time_days: Floats, odometer_km: Floats, offsets: Integers
) -> tuple[UsageState, Integers]:
    """Let a vehicle's very first reading fix its odometer; return where its further readings begin."""
    fresh = (state.n_used == 0) & (np.diff(offsets) > 0)
    rows, at = np.flatnonzero(fresh), offsets[:-1][fresh]
    columns = {
        "n_used": (rows, 1.0),
        "first_time_days": (rows, time_days[at]),
        "first_odometer_km": (rows, odometer_km[at]),
        "used_time_days": (rows, time_days[at]),
        "used_odometer_km": (rows, odometer_km[at]),
    }
    changed = {}
    for name, (index, value) in columns.items():
        column = getattr(state, name).copy()
        column[index] = value
        changed[name] = column
    return replace(state, **changed), offsets[:-1] + fresh


@dataclass(frozen=True, slots=True)
class _Readings:
    """New readings of all vehicles and where each vehicle's begin and end."""

    time_days: Floats
    odometer_km: Floats
    starts: Integers
    ends: Integers


def _run(state: UsageState, readings: _Readings, block_vehicles: int) -> UsageState:
    """Filter block by block, longest histories first, so that step k concerns a prefix of the block."""
    counts = readings.ends - readings.starts
    order = np.argsort(-counts, kind="stable")
    order = order[: int(np.count_nonzero(counts))]
    out = {name: getattr(state, name).copy() for name in MEMORY_OF_STATE.values()}
    n_blocks = -(-order.size // block_vehicles)
    for rows in np.array_split(order, n_blocks) if n_blocks else ():
        memory = _run_block(state, rows, readings)
        for key, name in MEMORY_OF_STATE.items():
            out[name][rows] = getattr(memory, key)
    last = np.maximum(readings.ends - 1, 0)
    moved = counts > 0
    if readings.time_days.size:
        out["used_time_days"] = np.where(moved, readings.time_days[last], state.used_time_days)
        out["used_odometer_km"] = np.where(moved, readings.odometer_km[last], state.used_odometer_km)
    out["n_used"] = state.n_used + counts
    return replace(state, **out)


def _run_block(state: UsageState, rows: Integers, readings: _Readings) -> Memory:
    """Take in the readings of some vehicles, most readings first, the k-th ones of all at once."""
    whole = memory = memory_of(state, rows)
    dynamics = dynamics_of(state, rows)
    starts = readings.starts[rows]
    n_active = count_active(readings.ends[rows] - starts)
    before = np.stack([state.used_time_days[rows], state.used_odometer_km[rows]])
    now, step = np.empty_like(before), np.empty_like(before)
    for size in n_active.tolist():
        memory, dynamics = memory.prefix(size), dynamics.prefix(size)
        starts, before, now, step = starts[:size], before[:, :size], now[:, :size], step[:, :size]
        readings.time_days.take(starts, out=now[0], mode="clip")
        readings.odometer_km.take(starts, out=now[1], mode="clip")
        np.subtract(now, before, out=step)
        propagate(memory, dynamics, step[0])
        assimilate(memory, dynamics, step[1])
        before, now = now, before
        starts += 1
    return whole


def memory_of(state: UsageState, rows: Integers) -> Memory:
    """Copy the moments of some vehicles of a state."""
    memory = Memory.empty(rows.size)
    for moment, row in zip(MOMENTS, memory.matrix, strict=False):
        getattr(state, MEMORY_OF_STATE[moment]).take(rows, out=row, mode="clip")
    return memory


def dynamics_of(state: UsageState, rows: Integers | tuple[slice | None, ...]) -> Dynamics:
    """Take the equations' coefficients for some vehicles of a state."""
    theta = state.reversion_per_day[rows]
    inverse_theta, temporary_variance = 1.0 / theta, state.temporary_variance[rows]
    settling = 2.0 * temporary_variance * inverse_theta
    return Dynamics(
        minus_theta=-theta,
        inverse_theta=inverse_theta,
        temporary_variance=temporary_variance,
        settling=settling,
        diffusion=settling + state.noise_variance[rows],
        drift=state.drift_per_day[rows],
        reading_variance=state.reading_variance[rows],
    )
