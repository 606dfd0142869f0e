"""One vehicle's projection, from all its readings, as of now."""

from dataclasses import dataclass
from datetime import datetime

import numpy as np
from sqlmodel import Session

from service.domain.roles import Scope
from service.engine.arrays import Floats
from service.engine.usage.predict import odometer_quantiles, rate_quantiles
from service.store.repositories import fleet
from service.store.tables.vehicles import Vehicle
from service.usecases.access.caller import Caller
from service.usecases.due.project_due import DUE_PROBABILITIES, FleetProjection, project_due
from service.usecases.fluids.recommend_exchange import Recommendation, recommend_exchange
from service.usecases.usage.engine_time import days_of
from service.usecases.usage.estimate_usage import FleetUsage, current_usage


@dataclass(frozen=True, slots=True, kw_only=True)
class VehicleProjection:
    """What is known of a vehicle's use and of its fluids."""

    vehicle: Vehicle
    usage: FleetUsage
    odometer_km: Floats | None
    """P10, P50 and P90 now; none without a reading."""

    engine_hours: Floats | None
    """The same of the hour meter."""

    km_per_day: Floats
    fluids: FleetProjection
    recommended: Recommendation


def show_projection(session: Session, caller: Caller, now: datetime, reference: str) -> VehicleProjection:
    """Project one vehicle."""
    caller.require(Scope.READ)
    vehicle = fleet.get_vehicle(session, caller.organisation_id, reference)
    caller.require_vehicle(vehicle.id or 0)
    zone = fleet.get_organisation(session, caller.organisation_id).zone
    ids = [vehicle.id or 0]
    usage = current_usage(session, caller.organisation_id, ids)
    fluids = project_due(session, caller.organisation_id, ids, usage, now, zone)
    present = np.array([days_of(now)])
    at_days, season_now = usage.season.operational_days(present), usage.season.rate(present)
    probabilities = np.array(DUE_PROBABILITIES)
    has_reading = bool(usage.odometer.n_readings[0] > 0)
    has_hours = bool(usage.hours.n_readings[0] > 0)
    return VehicleProjection(
        vehicle=vehicle,
        usage=usage,
        odometer_km=odometer_quantiles(usage.odometer, at_days, probabilities)[0] if has_reading else None,
        engine_hours=odometer_quantiles(usage.hours, present, probabilities)[0] if has_hours else None,
        km_per_day=rate_quantiles(usage.odometer, at_days, probabilities)[0] * season_now,
        fluids=fluids,
        recommended=recommend_exchange(fluids.compartments),
    )
