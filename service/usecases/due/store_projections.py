"""Project vehicles in bulk and store the results: for lists, and for programs that read the database's own figures."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri
from sqlmodel import Session

from service.domain.zones import zone_named
from service.engine.usage.predict import odometer_quantiles
from service.store.bulk import rows_as_bytes
from service.store.repositories import fleet, projections
from service.usecases.due.project_due import DUE_PROBABILITIES, FleetProjection, project_due
from service.usecases.fluids.recommend_exchange import recommend_exchange
from service.usecases.usage.engine_time import days_of
from service.usecases.usage.estimate_usage import FleetUsage, current_usage


def store_projections(
    session: Session, organisation_id: int, vehicle_ids: Sequence[int], now: datetime
) -> int:
    """Project some vehicles from what is stored and keep the result; returns how many compartments."""
    zone = zone_named("/time_zone", fleet.get_organisation(session, organisation_id).time_zone)
    usage = current_usage(session, organisation_id, vehicle_ids)
    projection = project_due(
        session, organisation_id, vehicle_ids, usage, now, zone, projections.PROJECTED_COLUMNS
    )
    projections.put_projections(session, organisation_id, now, _columns(usage, projection))
    return len(projection)


def _columns(usage: FleetUsage, projection: FleetProjection) -> dict[str, Any]:
    """Columns of the table of projections."""
    probabilities = np.array(DUE_PROBABILITIES)
    at_days = usage.season.operational_days(np.full(len(usage.odometer), days_of(projection.now)))
    odometer = odometer_quantiles(usage.odometer, at_days, probabilities)
    odometer[usage.odometer.n_readings == 0] = np.nan
    odometer = odometer[projection.vehicle_row]
    spread = np.sqrt(projection.fluid_now.life_used_variance)[:, np.newaxis] * ndtri(probabilities)
    life_used = np.maximum(projection.fluid_now.life_used[:, np.newaxis] + spread, 0.0)
    recommended = recommend_exchange(projection.compartments)
    return {
        "compartment_id": np.array(projection.compartments["id"], np.int64),
        "vehicle_id": np.array(projection.compartments["vehicle_id"], np.int64),
        **_by_quantile("odometer_{}_km", odometer),
        **_by_quantile("life_used_{}", life_used),
        **_by_quantile("due_{}_on", projection.due_days),
        "limit_reached": projection.limit_names(),
        "limit_probabilities": rows_as_bytes(projection.probabilities_by_limit().astype(np.float32)),
        "overdue_probability": projection.due.overdue_probability,
        "week_probabilities": rows_as_bytes(projection.due.week_probability.astype(np.float32)),
        "litres": recommended.litres,
        "n_rounds": recommended.n_rounds,
        "method": np.array(recommended.method, dtype=np.str_),
    }


def _by_quantile(name: str, values: NDArray[Any]) -> dict[str, NDArray[Any]]:
    """Columns of the three quantiles."""
    return {name.format(quantile): values[:, place] for place, quantile in enumerate(("q10", "q50", "q90"))}
