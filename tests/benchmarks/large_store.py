"""A large invented fleet put straight into the tables, with its usage states, as after a nightly refresh."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any, Final

import numpy as np
from sqlalchemy import insert
from sqlmodel import Session

from seed_demo.blueprints import BLUEPRINTS
from seed_demo.large import N_COMPARTMENTS, LargeFleet, build_fleet_of, vehicle_name
from service.domain.vehicle_classes import VehicleClass
from service.engine.usage.filter import filter_readings
from service.engine.usage.priors import configured_priors
from service.store.session import Database
from service.store.tables.organisation import Depot, Organisation
from service.store.tables.projections import CompartmentState
from service.store.tables.readings import VehicleUsage
from service.store.tables.vehicles import Compartment, Vehicle
from service.usecases.usage.engine_time import days_of, instant_of

BLOCK: Final = 10_000
N_READINGS: Final = 20
MONTHS: Final = 60
LASTING: Final = {"life_km": 1e6, "life_days": 4_000.0, "life_hours": 1e5}
"""Fluids that outlast their intervals, so that a fleet that has just begun to be recorded is not due all at once."""


def load_large_fleet(
    database: Database, n_vehicles: int, n_depots: int, now: datetime, bay_minutes_a_day: int
) -> int:
    """Store an organisation with depots, vehicles, three compartments each and their states; gives its key."""
    fleet = build_fleet_of(n_vehicles, N_READINGS, now)
    with database.transaction() as session:
        organisation = Organisation(name="Large Invented Fleet", created_at=now)
        session.add(organisation)
        session.flush()
        key = organisation.id or 0
        minutes = [bay_minutes_a_day] * 5 + [0, 0]
        for number in range(n_depots):
            session.add(
                Depot(organisation_id=key, reference=f"D{number:02d}", bay_minutes=minutes, created_at=now)
            )
        session.flush()
    for start in range(0, n_vehicles, BLOCK):
        places = np.arange(start, min(start + BLOCK, n_vehicles))
        with database.transaction() as session:
            session.execute(insert(Vehicle), list(_vehicles(fleet, key, places, n_depots, now)))
            session.execute(insert(Compartment), list(_compartments(fleet, key, places, now)))
            session.execute(insert(CompartmentState), list(_states(fleet, key, places)))
            _store_usage(session, fleet, key, places, now)
    return key


def _vehicles(
    fleet: LargeFleet, key: int, places: np.ndarray, n_depots: int, now: datetime
) -> Iterator[dict[str, Any]]:
    for place in places.tolist():
        yield {
            "id": place + 1,
            "organisation_id": key,
            "depot_id": place % n_depots + 1,
            "reference": vehicle_name(place),
            "vehicle_class": fleet.class_names[fleet.class_index[place]],
            "available_weekdays": 127 if place % 5 else 0b0011111,
            "created_at": now,
        }


def _compartments(fleet: LargeFleet, key: int, places: np.ndarray, now: datetime) -> Iterator[dict[str, Any]]:
    for place in places.tolist():
        plans = BLUEPRINTS[VehicleClass(fleet.class_names[fleet.class_index[place]])].compartments
        for row in range(N_COMPARTMENTS):
            yield {
                "id": place * N_COMPARTMENTS + row + 1,
                "organisation_id": key,
                "vehicle_id": place + 1,
                "reference": f"{row + 1} {plans[row % len(plans)].compartment}"[:40],
                "kind": fleet.kind_names[fleet.kind_index[place, row]],
                "total_litres": float(fleet.total_litres[place, row]),
                "drainable_litres": float(fleet.drainable_litres[place, row]),
                "interval_km": float(fleet.interval_km[place, row]),
                "interval_months": MONTHS,
                "seals": [{"part": "drain plug washer", "pieces": 1}],
                "ageing": LASTING,
                "created_at": now,
            }


def _states(fleet: LargeFleet, key: int, places: np.ndarray) -> Iterator[dict[str, Any]]:
    epoch_days = days_of(fleet.epoch)
    for place in places.tolist():
        for row in range(N_COMPARTMENTS):
            as_of = epoch_days + float(fleet.last_service_days[place, row])
            odometer = float(fleet.last_service_odometer_km[place, row])
            yield {
                "compartment_id": place * N_COMPARTMENTS + row + 1,
                "organisation_id": key,
                "vehicle_id": place + 1,
                "as_of_days": as_of,
                "odometer_km": odometer,
                "volume_15c_litres": float(fleet.total_litres[place, row]),
                "life_used": 0.02,
                "life_used_variance": 1e-4,
                "due_on": (instant_of(as_of) + timedelta(days=30.4 * MONTHS)).date(),
                "due_odometer_km": odometer + float(fleet.interval_km[place, row]),
            }


def _store_usage(session: Session, fleet: LargeFleet, key: int, places: np.ndarray, now: datetime) -> None:
    n = places.size
    first, last = int(fleet.offsets[places[0]]), int(fleet.offsets[places[-1] + 1])
    offsets = fleet.offsets[places[0] : places[-1] + 2] - first
    time_days = days_of(fleet.epoch) + fleet.time_days[first:last]
    odometer = filter_readings(
        time_days, fleet.odometer_km[first:last], offsets, configured_priors(n)
    ).to_array()
    empty = np.zeros(0)
    hours = filter_readings(empty, empty, np.zeros(n + 1, np.int64), configured_priors(n)).to_array()
    rows = [
        {
            "vehicle_id": place + 1,
            "organisation_id": key,
            "usage_state": odometer[row].tobytes(),
            "hours_state": hours[row].tobytes(),
            "n_readings": N_READINGS,
            "is_stale": False,
            "updated_at": now,
        }
        for row, place in enumerate(places.tolist())
    ]
    session.execute(insert(VehicleUsage), rows)
