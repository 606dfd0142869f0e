"""Project vehicles in bulk and keep the results, all as of one instant."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri
from sqlmodel import Session

from service.engine.usage.predict import odometer_quantiles
from service.store.records import FIGURES, bytes_by_owner
from service.store.repositories import fleet, projections
from service.usecases.due.project_due import DUE_PROBABILITIES, FleetProjection, project_due
from service.usecases.fluids.recommend_exchange import recommend_exchange
from service.usecases.usage.engine_time import days_of
from service.usecases.usage.estimate_usage import FleetUsage, current_usage


def store_projections(
    session: Session, organisation_id: int, vehicle_ids: Sequence[int], now: datetime
) -> int:
    """Project some vehicles from what is stored and keep the result; returns how many compartments."""
    zone = fleet.get_organisation(session, organisation_id).zone
    usage = current_usage(session, organisation_id, vehicle_ids)
    projection = project_due(
        session, organisation_id, vehicle_ids, usage, now, zone, projections.PROJECTED_COLUMNS
    )
    projections.put_projections(session, organisation_id, now, _columns(usage, projection))
    return len(projection)


def _columns(usage: FleetUsage, projection: FleetProjection) -> dict[str, Any]:
    """Columns of the table of projections, a row a vehicle that has compartments."""
    vehicle_ids, starts = np.unique(projection.compartments["vehicle_id"], return_index=True)
    at_days = usage.season.operational_days(np.full(len(usage.odometer), days_of(projection.now)))
    odometer = odometer_quantiles(usage.odometer, at_days, np.array(DUE_PROBABILITIES))
    odometer[usage.odometer.n_readings == 0] = np.nan
    low, middle, high = odometer[projection.vehicle_row[starts]].T
    return {
        "vehicle_id": vehicle_ids,
        "odometer_q10_km": low,
        "odometer_q50_km": middle,
        "odometer_q90_km": high,
        "figures": bytes_by_owner(_figures(projection), starts),
    }


def _figures(projection: FleetProjection) -> NDArray[np.void]:
    """What is projected of each compartment."""
    sd = np.sqrt(projection.fluid_now.life_used_variance)[:, np.newaxis]
    life_used = projection.fluid_now.life_used[:, np.newaxis] + sd * ndtri(DUE_PROBABILITIES)
    recommended = recommend_exchange(projection.compartments)
    figures = np.empty(len(projection), FIGURES)
    figures["due_on"] = projection.due_days
    figures["limit_reached"] = projection.limit_names()
    figures["limit_probability"] = projection.probabilities_by_limit()
    figures["overdue_probability"] = projection.due.overdue_probability
    figures["week_probability"] = projection.due.week_probability
    figures["life_used"] = np.maximum(life_used, 0.0)
    figures["litres"] = recommended.litres
    figures["n_rounds"] = recommended.n_rounds
    return figures
