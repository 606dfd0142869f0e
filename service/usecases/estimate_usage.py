"""How far and how long vehicles run: the filter's states, from accepted readings."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray
from sqlmodel import Session

from service.engine.due.limits import Meter
from service.engine.usage.characters import estimate_usage as estimate_states
from service.engine.usage.predict import outlook_moments, outlook_of, positive_mean
from service.engine.usage.state import STATE_WIDTH, UsageState
from service.store.repositories import projections, readings
from service.usecases.engine_time import days_of
from service.usecases.usage_model import known_usage, vehicle_classes


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetUsage:
    """The two meters of n vehicles, one row a vehicle."""

    odometer: UsageState
    hours: UsageState


def estimate_usage(session: Session, organisation_id: int, vehicle_ids: Sequence[int]) -> FleetUsage:
    """Run the filter over all accepted readings of some vehicles."""
    km = readings.meter_history(session, organisation_id, vehicle_ids, "used_km")
    hours = readings.meter_history(session, organisation_id, vehicle_ids, "used_hours")
    known = known_usage(session, organisation_id)
    classes = vehicle_classes(session, organisation_id, vehicle_ids)
    return FleetUsage(
        odometer=estimate_states(
            km.time_days, km.value, km.offsets, known.odometer_priors(classes), known.hyperparameters
        ),
        hours=estimate_states(hours.time_days, hours.value, hours.offsets, known.hours_priors(classes)),
    )


def current_usage(session: Session, organisation_id: int, vehicle_ids: Sequence[int]) -> FleetUsage:
    """Give the stored states; those of vehicles whose readings changed since are computed anew, not stored."""
    rows = projections.read_usage(session, organisation_id, vehicle_ids)
    stale = [key for key in vehicle_ids if key not in rows]
    fresh = estimate_usage(session, organisation_id, stale)
    return FleetUsage(
        odometer=_joined({key: rows[key].usage_state for key in rows}, stale, fresh.odometer, vehicle_ids),
        hours=_joined({key: rows[key].hours_state for key in rows}, stale, fresh.hours, vehicle_ids),
    )


def store_usage(session: Session, organisation_id: int, vehicle_ids: Sequence[int], now: datetime) -> None:
    """Compute the states of some vehicles from all their readings and store them."""
    usage = estimate_usage(session, organisation_id, vehicle_ids)
    odometer, hours = usage.odometer.to_array(), usage.hours.to_array()
    rows = [
        {
            "vehicle_id": key,
            "organisation_id": organisation_id,
            "usage_state": odometer[place].tobytes(),
            "hours_state": hours[place].tobytes(),
            "n_readings": int(usage.odometer.n_readings[place]),
            "is_stale": False,
            "updated_at": now,
        }
        for place, key in enumerate(vehicle_ids)
    ]
    projections.replace_usage(session, vehicle_ids, rows)


def _joined(
    stored: Mapping[int, bytes], stale: Sequence[int], fresh: UsageState, vehicle_ids: Sequence[int]
) -> UsageState:
    """Put stored and fresh states in the order asked for."""
    table = np.empty((len(vehicle_ids), STATE_WIDTH))
    place_of = {key: place for place, key in enumerate(vehicle_ids)}
    if stale:
        table[[place_of[key] for key in stale]] = fresh.to_array()
    is_fresh = set(vehicle_ids).difference(stale)
    kept = [key for key in vehicle_ids if key in is_fresh]
    if kept:
        blobs = b"".join(stored[key] for key in kept)
        table[[place_of[key] for key in kept]] = np.frombuffer(blobs, dtype=np.float64).reshape(len(kept), -1)
    return UsageState.from_array(table)


def meter(state: UsageState, now: datetime) -> Meter:
    """Describe a meter to the due forecast; a vehicle without a reading has none."""
    is_known = state.n_readings > 0
    outlook = outlook_of(state)

    def moments(
        rows: NDArray[np.int64], days: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Mean and variance of the increment, as the forecast asks for them: the vehicle axis last."""
        mean, variance = outlook_moments(outlook.take(rows), days)
        return positive_mean(mean, variance), variance

    return Meter(
        last_reading=np.where(is_known, state.last_odometer_km, np.nan),
        days_since_reading=np.where(is_known, np.maximum(days_of(now) - state.last_time_days, 0.0), 0.0),
        moments=moments,
    )
