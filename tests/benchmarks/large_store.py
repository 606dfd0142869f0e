"""A large invented fleet put straight into the tables, with its usage states, as after a nightly refresh.

A block of vehicles at a time, so that memory does not grow with the fleet; on PostgreSQL by COPY, a million vehicles in
minutes.
"""

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from typing import Any, Final

import numpy as np
from sqlalchemy import Table
from sqlmodel import Session

from seed_demo.blueprints import BLUEPRINTS
from service.domain.vehicle_classes import VehicleClass
from service.engine.usage.filter import filter_readings
from service.engine.usage.priors import configured_priors
from service.store.bulk import insert_columns
from service.store.records import FLUID, as_bytes
from service.store.session import Database
from service.store.tables.organisation import Depot, Organisation
from service.store.tables.projections import CompartmentState
from service.store.tables.readings import VehicleUsage
from service.store.tables.vehicles import Compartment, Vehicle
from service.usecases.usage.engine_time import days_of
from tests.benchmarks.large_fleet import (
    CHUNK_VEHICLES,
    N_COMPARTMENTS,
    LargeFleet,
    build_fleet_of,
    vehicle_name,
)

N_READINGS: Final = 20
MONTHS: Final = 60
DAYS_A_MONTH: Final = 30.4
SEED: Final = 7
WORKDAYS: Final = 0b0011111
LASTING: Final = {"life_km": 1e6, "life_days": 4_000.0, "life_hours": 1e5}
"""Fluids that outlast their intervals, so that a fleet that has just begun to be recorded is not due all at once."""

Columns = Mapping[str, Any]
"""An array a column, its values as the driver takes them, or one value for all rows."""


def load_large_fleet(
    database: Database, n_vehicles: int, n_depots: int, now: datetime, bay_minutes_a_day: int
) -> int:
    """Store an organisation with depots, vehicles, three compartments each and their states; gives its key."""
    with database.transaction() as session:
        organisation = Organisation(name="Large Invented Fleet", created_at=now - timedelta(weeks=52))
        session.add(organisation)
        session.flush()
        key = organisation.id or 0
        minutes = [bay_minutes_a_day] * 5 + [0, 0]
        for number in range(n_depots):
            session.add(
                Depot(organisation_id=key, reference=f"D{number:02d}", bay_minutes=minutes, created_at=now)
            )
    for number, start in enumerate(range(0, n_vehicles, CHUNK_VEHICLES)):
        n = min(CHUNK_VEHICLES, n_vehicles - start)
        fleet = build_fleet_of(n, N_READINGS, now, SEED + number)
        with database.transaction() as session:
            _store_block(session, fleet, key, start, n_depots, now)
    return key


def _store_block(
    session: Session, fleet: LargeFleet, key: int, start: int, n_depots: int, now: datetime
) -> None:
    ids = start + 1 + np.arange(fleet.class_index.size)
    common = {"organisation_id": key, "created_at": now}
    _insert(session, Vehicle, common | _vehicles(fleet, ids, n_depots))
    owners = {"vehicle_id": np.repeat(ids, N_COMPARTMENTS)}
    places = start * N_COMPARTMENTS + 1 + np.arange(ids.size * N_COMPARTMENTS)
    _insert(session, Compartment, common | owners | {"id": places} | _compartments(fleet))
    due_on = _due_on(session, fleet)
    states = {"organisation_id": key, "compartment_id": places, "due_on": due_on} | owners | _states(fleet)
    _insert(session, CompartmentState, states)
    usage = {"organisation_id": key, "vehicle_id": ids, "updated_at": now} | _usage(fleet)
    _insert(session, VehicleUsage, usage)


def _insert(session: Session, entity: Any, columns: Columns) -> None:
    """Store rows below the object layer; what is not said of a column is its default."""
    table: Table = entity.__table__
    defaults = {
        column.name: column.default.arg
        for column in table.columns
        if column.name not in columns and column.default is not None
    }
    n = next(values.size for values in columns.values() if isinstance(values, np.ndarray))
    said = {**defaults, **columns}.items()
    insert_columns(
        session,
        table,
        {name: value if isinstance(value, np.ndarray) else [value] * n for name, value in said},
    )


def _objects(values: Iterable[Any]) -> np.ndarray:
    """Values as the driver takes them, which are no numbers."""
    listed = list(values)
    column = np.empty(len(listed), dtype=object)
    column[:] = listed
    return column


def _vehicles(fleet: LargeFleet, ids: np.ndarray, n_depots: int) -> Columns:
    places = ids - 1
    return {
        "id": ids,
        "depot_id": places % n_depots + 1,
        "reference": _objects(map(vehicle_name, places.tolist())),
        "vehicle_class": np.array(fleet.class_names, dtype=object)[fleet.class_index],
        "available_weekdays": np.where(places % 5 > 0, 127, WORKDAYS),
    }


def _compartments(fleet: LargeFleet) -> Columns:
    names = {}
    for index, name in enumerate(fleet.class_names):
        plans = BLUEPRINTS[VehicleClass(name)].compartments
        names[index] = [
            f"{row + 1} {plans[row % len(plans)].compartment}"[:40] for row in range(N_COMPARTMENTS)
        ]
    return {
        "reference": _objects(name for index in fleet.class_index.tolist() for name in names[index]),
        "kind": np.array(fleet.kind_names, dtype=object)[fleet.kind_index.ravel()],
        "total_litres": fleet.total_litres.ravel(),
        "drainable_litres": fleet.drainable_litres.ravel(),
        "interval_km": fleet.interval_km.ravel(),
        "interval_months": MONTHS,
        "seals": [{"part": "drain plug washer", "pieces": 1}],
        "ageing": LASTING,
        "oil_temperatures": [],
    }


def _states(fleet: LargeFleet) -> Columns:
    odometer = fleet.last_service_odometer_km.ravel()
    fluid = np.zeros(odometer.size, FLUID)
    fluid["as_of_days"] = days_of(fleet.epoch) + fleet.last_service_days.ravel()
    fluid["odometer_km"], fluid["engine_hours"] = odometer, np.nan
    fluid["volume_15c_litres"] = fleet.total_litres.ravel()
    fluid["life_used"], fluid["life_used_variance"] = 0.02, 1e-4
    return {"fluid": as_bytes(fluid), "due_odometer_km": odometer + fleet.interval_km.ravel()}


def _due_on(session: Session, fleet: LargeFleet) -> np.ndarray:
    """Days on which the months have run out."""
    days = np.floor(days_of(fleet.epoch) + fleet.last_service_days.ravel() + DAYS_A_MONTH * MONTHS)
    dates = days.astype("datetime64[D]")
    is_sqlite = session.get_bind().dialect.name == "sqlite"
    return _objects((np.datetime_as_string(dates) if is_sqlite else dates).tolist())


def _usage(fleet: LargeFleet) -> Columns:
    n = fleet.class_index.size
    time_days = days_of(fleet.epoch) + fleet.time_days
    odometer = filter_readings(time_days, fleet.odometer_km, fleet.offsets, configured_priors(n))
    empty = np.zeros(0)
    hours = filter_readings(empty, empty, np.zeros(n + 1, np.int64), configured_priors(n))
    return {
        "usage_state": _objects(row.tobytes() for row in odometer.to_array()),
        "hours_state": _objects(row.tobytes() for row in hours.to_array()),
        "n_readings": N_READINGS,
        "is_stale": False,
    }
