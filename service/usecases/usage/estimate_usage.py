"""How far and how long vehicles run: the filter's states, from accepted readings."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

import numpy as np
from sqlmodel import Session

from service.engine.arrays import Booleans, Floats, Integers
from service.engine.due.limits import Meter
from service.engine.usage.filter import filter_readings, update
from service.engine.usage.hyperparameters import DEFAULT_HYPERPARAMETERS
from service.engine.usage.initial import rests_on
from service.engine.usage.predict import outlook_moments, outlook_of, positive_mean
from service.engine.usage.season import NO_SEASON, Season
from service.engine.usage.state import STATE_WIDTH, UsageState
from service.store.bulk import Columns, rows_as_bytes
from service.store.repositories import projections
from service.store.repositories.meter_histories import MeterHistory, meter_histories
from service.store.repositories.projections import StoredUsage
from service.usecases.usage.engine_time import days_of
from service.usecases.usage.usage_model import known_usage, vehicle_classes

MARGIN_DAYS: Final = 1.0e-6
"""A reading within a tenth of a second of the last one may have been taken in already: databases round."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetUsage:
    """The two meters of n vehicles, one row a vehicle."""

    odometer: UsageState
    """Its times are on the clock of the vehicles' season: `season` translates."""

    hours: UsageState
    season: Season = NO_SEASON
    is_stored: bool = False
    """All of it is as it is stored: nothing that it rests on has changed since."""

    def last_read_days(self) -> Floats:
        """Time of the last odometer reading in days since 1970, one a vehicle; 0 without any."""
        last = self.season.calendar_days(self.odometer.last_time_days)
        return np.where(self.odometer.n_readings > 0, last, 0.0)


def estimate_usage(session: Session, organisation_id: int, vehicle_ids: Sequence[int]) -> FleetUsage:
    """Run the filter over all accepted readings of some vehicles."""
    known = known_usage(session, organisation_id)
    classes = vehicle_classes(session, organisation_id, vehicle_ids) if vehicle_ids else []
    km, hours = meter_histories(session, organisation_id, vehicle_ids)
    season = known.seasons_of(classes)
    return FleetUsage(
        odometer=filter_readings(
            operational_days(season, km),
            km.value,
            km.offsets,
            known.odometer_priors(classes),
            known.hyperparameters_of(classes),
        ),
        hours=filter_readings(hours.time_days, hours.value, hours.offsets, known.hours_priors(classes)),
        season=season,
    )


def current_usage(
    session: Session,
    organisation_id: int,
    vehicle_ids: Sequence[int],
    stored: Mapping[int, StoredUsage] | None = None,
) -> FleetUsage:
    """Give the stored states; those of vehicles whose readings changed since are brought up to date, not stored.

    Stored states that were read already may hold those of further vehicles.
    """
    if stored is None:
        rows: Mapping[int, StoredUsage] = projections.read_usage(session, organisation_id, vehicle_ids)
    else:
        rows = {key: stored[key] for key in vehicle_ids if key in stored}
    stale = [key for key in vehicle_ids if key not in rows]
    if len(stale) == len(vehicle_ids):
        return updated_usage(session, organisation_id, vehicle_ids)
    parts = [(list(rows), replace(_stored(rows.values()), is_stored=True))]
    if stale:
        parts.append((stale, updated_usage(session, organisation_id, stale)))
    return _joined(session, organisation_id, vehicle_ids, parts)


def updated_usage(session: Session, organisation_id: int, vehicle_ids: Sequence[int]) -> FleetUsage:
    """Take the new readings of some vehicles into their stored states; what that cannot do is estimated anew.

    The answer is that of `estimate_usage`. A vehicle needs all its readings again when one changed that was taken
    in already or came late, or when the numbers of its class are no longer those that its state rests on.
    """
    stored = projections.read_earlier_usage(session, organisation_id, vehicle_ids)
    known = [key for key in vehicle_ids if key in stored]
    kept, continued = _continued(session, organisation_id, known, stored) if known else ([], None)
    anew = sorted(set(vehicle_ids).difference(kept))
    fresh = estimate_usage(session, organisation_id, anew)
    if continued is None or not kept:
        return (
            fresh
            if anew == list(vehicle_ids)
            else _joined(session, organisation_id, vehicle_ids, [(anew, fresh)])
        )
    return _joined(session, organisation_id, vehicle_ids, [(kept, continued), (anew, fresh)])


def _continued(
    session: Session, organisation_id: int, known: Sequence[int], stored: Mapping[int, StoredUsage]
) -> tuple[list[int], FleetUsage]:
    """Go on from the stored states of those vehicles of which that gives the answer."""
    classes = vehicle_classes(session, organisation_id, known)
    shared = known_usage(session, organisation_id)
    season = shared.seasons_of(classes)
    changed = np.array([changed_days_of(stored[key].changed_from) for key in known])
    before = _stored([stored[key] for key in known])
    goes_on = (
        _goes_on(before.odometer, season.calendar_days(before.odometer.last_time_days), changed)
        & _goes_on(before.hours, before.hours.last_time_days, changed)
        & rests_on(before.odometer, shared.odometer_priors(classes), shared.hyperparameters_of(classes))
        & rests_on(before.hours, shared.hours_priors(classes), DEFAULT_HYPERPARAMETERS)
    )
    rows = np.flatnonzero(goes_on)
    kept = [known[row] for row in rows.tolist()]
    own = season.take(rows)
    km, hours = meter_histories(session, organisation_id, kept, only_changed=True)
    return kept, FleetUsage(
        odometer=update(before.odometer.take(rows), operational_days(own, km), km.value, km.offsets),
        hours=update(before.hours.take(rows), hours.time_days, hours.value, hours.offsets),
        season=own,
    )


def store_usage(
    session: Session, organisation_id: int, vehicle_ids: Sequence[int], usage: FleetUsage, now: datetime
) -> None:
    """Store states that rest on all readings of some vehicles."""
    columns: Columns = {
        "vehicle_id": np.array(vehicle_ids, np.int64),
        "usage_state": rows_as_bytes(usage.odometer.to_array()),
        "hours_state": rows_as_bytes(usage.hours.to_array()),
        "n_readings": usage.odometer.n_readings.astype(np.int64),
        "last_odometer_km": usage.odometer.last_odometer_km,
    }
    current = {"is_stale": False, "is_fluid_stale": False, "changed_from": None, "updated_at": now}
    projections.put_usage(session, organisation_id, columns, current)


def operational_days(season: Season, history: MeterHistory) -> Floats:
    """Times of readings on the clock of their vehicles' season."""
    owner = np.repeat(np.arange(history.offsets.size - 1), np.diff(history.offsets))
    return season.take(owner).operational_days(history.time_days)


def changed_days_of(changed_from: datetime | None) -> float:
    """Time of the earliest reading that changed; never where none did."""
    return np.inf if changed_from is None else days_of(changed_from)


def states_of(blobs: Sequence[bytes]) -> UsageState:
    """Stored states of some vehicles."""
    rows = np.frombuffer(b"".join(blobs), dtype=np.float64)
    return UsageState.from_array(rows.reshape(len(blobs), STATE_WIDTH))


def _goes_on(state: UsageState, last_days: Floats, changed: Floats) -> Booleans:
    """Mark the meters on which all that changed comes after what was taken in."""
    return np.asarray((state.n_readings == 0.0) | (changed > last_days + MARGIN_DAYS))


def _stored(rows: Iterable[StoredUsage]) -> FleetUsage:
    """Both meters' states as they are stored."""
    odometers, hours = zip(*((row.usage_state, row.hours_state) for row in rows), strict=True)
    return FleetUsage(odometer=states_of(odometers), hours=states_of(hours))


def _joined(
    session: Session,
    organisation_id: int,
    vehicle_ids: Sequence[int],
    parts: Sequence[tuple[Sequence[int], FleetUsage]],
) -> FleetUsage:
    """Put the states of several groups of vehicles in the order asked for."""
    season = _seasons(session, organisation_id, vehicle_ids)
    is_stored = all(usage.is_stored for _, usage in parts)
    if len(parts) == 1 and parts[0][0] == list(vehicle_ids):
        return replace(parts[0][1], season=season)
    place_of = {key: place for place, key in enumerate(vehicle_ids)}
    tables = np.empty((2, len(vehicle_ids), STATE_WIDTH))
    for keys, usage in parts:
        if keys:
            places = [place_of[key] for key in keys]
            tables[0, places], tables[1, places] = usage.odometer.to_array(), usage.hours.to_array()
    return FleetUsage(
        odometer=UsageState.from_array(tables[0]),
        hours=UsageState.from_array(tables[1]),
        season=season,
        is_stored=is_stored,
    )


def _seasons(session: Session, organisation_id: int, vehicle_ids: Sequence[int]) -> Season:
    known = known_usage(session, organisation_id)
    return known.seasons_of(
        [] if known.has_one_season else vehicle_classes(session, organisation_id, vehicle_ids)
    )


def meter(state: UsageState, now: datetime, season: Season = NO_SEASON) -> Meter:
    """Describe a meter to the due forecast; a vehicle without a reading has none."""
    is_known = state.n_readings > 0
    outlook = outlook_of(state)
    last_days = season.calendar_days(state.last_time_days)

    def moments(rows: Integers, days: Floats) -> tuple[Floats, Floats]:
        """Mean and variance of the increment, as the forecast asks for them: the vehicle axis last."""
        if not season.is_flat:
            at_days = season.take(rows).operational_days(last_days[rows] + days)
            days = np.maximum(at_days - state.last_time_days[rows], 0.0)
        mean, variance = outlook_moments(outlook.take(rows), days)
        return positive_mean(mean, variance), variance

    return Meter(
        last_reading=np.where(is_known, state.last_odometer_km, np.nan),
        days_since_reading=np.where(is_known, np.maximum(days_of(now) - last_days, 0.0), 0.0),
        moments=moments,
    )
