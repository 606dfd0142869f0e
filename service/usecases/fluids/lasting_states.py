"""Which stored states of fluids still hold after readings came in: those whose events lie behind what changed."""

from collections.abc import Sequence
from typing import Final

import numpy as np
from sqlmodel import Session

from service.engine.arrays import Booleans, Floats
from service.store.repositories import projections
from service.usecases.usage.estimate_usage import MARGIN_DAYS, FleetUsage, changed_days_of, states_of

START_DAYS: Final = 1.0


def vehicles_to_follow(
    session: Session, organisation_id: int, vehicle_ids: Sequence[int], usage: FleetUsage
) -> list[int]:
    """Those of some vehicles whose fluids have to be followed anew; `usage` rests on all their readings.

    A state depends on the meters at the events of its fluid. What a meter showed at an event is settled once the meter
    was read then or later, and readings that come after that one do not change it. Of the last full change that was
    told nobody knows the hour: it is settled once its day is over.
    """
    found = projections.read_changed(session, organisation_id, vehicle_ids)
    moved = [key for key, one in found.items() if one.is_fluid_stale]
    doubtful = [key for key, one in found.items() if not one.is_fluid_stale and one.changed_from is not None]
    known = [key for key in doubtful if found[key].usage_state and found[key].hours_state]
    moved += set(doubtful).difference(known)
    if known:
        place_of = {key: place for place, key in enumerate(vehicle_ids)}
        rows = np.array([place_of[key] for key in known], dtype=np.int64)
        last_event = projections.last_events(session, organisation_id, known, START_DAYS)
        event_days = np.array([last_event.get(key, -np.inf) for key in known])
        changed_days = np.array([changed_days_of(found[key].changed_from) for key in known])
        odometer = states_of([found[key].usage_state for key in known])
        hours = states_of([found[key].hours_state for key in known])
        odometer_days = usage.season.take(rows).calendar_days(odometer.last_time_days)
        lasts = _is_settled(
            event_days, changed_days, odometer_days, odometer.n_readings, usage.odometer.n_readings[rows]
        ) & _is_settled(
            event_days, changed_days, hours.last_time_days, hours.n_readings, usage.hours.n_readings[rows]
        )
        moved += [key for key, holds in zip(known, lasts.tolist(), strict=True) if not holds]
    return sorted(moved)


def _is_settled(
    event_days: Floats, changed_days: Floats, last_days: Floats, n_before: Floats, n_now: Floats
) -> Booleans:
    """Mark the vehicles of which a meter says at the last event what it said before the change."""
    last = np.where(n_before > 0.0, last_days, -np.inf)
    only_later = changed_days > last + MARGIN_DAYS
    return np.asarray(only_later & ((n_now == n_before) | (event_days <= last + MARGIN_DAYS)))
