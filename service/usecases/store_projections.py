"""Project vehicles in bulk and store the results: for lists, and for programs that read the database's own figures."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any

import numpy as np
from scipy.special import ndtri
from sqlmodel import Session

from service.domain.zones import zone_named
from service.engine.usage.predict import odometer_quantiles
from service.store.repositories import fleet, projections
from service.usecases.engine_time import days_of
from service.usecases.estimate_usage import FleetUsage, current_usage
from service.usecases.project_due import DUE_PROBABILITIES, FleetProjection, project_due
from service.usecases.recommend_exchange import recommend_exchange


def store_projections(
    session: Session, organisation_id: int, vehicle_ids: Sequence[int], now: datetime
) -> int:
    """Project some vehicles from what is stored and keep the result; returns how many compartments."""
    zone = zone_named("/time_zone", fleet.get_organisation(session, organisation_id).time_zone)
    usage = current_usage(session, organisation_id, vehicle_ids)
    projection = project_due(session, organisation_id, vehicle_ids, usage, now, zone)
    rows = list(_rows(organisation_id, usage, projection))
    projections.replace_projections(session, projection.compartments["id"], rows)
    return len(rows)


def _rows(organisation_id: int, usage: FleetUsage, projection: FleetProjection) -> Iterator[dict[str, Any]]:
    probabilities = np.array(DUE_PROBABILITIES)
    at_days = usage.season.operational_days(np.full(len(usage.odometer), days_of(projection.now)))
    odometer = odometer_quantiles(usage.odometer, at_days, probabilities)[projection.vehicle_row].tolist()
    is_read = (usage.odometer.n_readings > 0)[projection.vehicle_row].tolist()
    spread = np.sqrt(projection.fluid_now.life_used_variance)[:, np.newaxis] * ndtri(probabilities)
    life_used = np.maximum(projection.fluid_now.life_used[:, np.newaxis] + spread, 0.0).tolist()
    recommended = recommend_exchange(projection.compartments)
    weeks = np.ascontiguousarray(projection.due.week_probability, dtype=np.float32)
    overdue = projection.due.overdue_probability.tolist()
    for place, key in enumerate(projection.compartments["id"]):
        limit = projection.limit_of(place)
        low, middle, high = odometer[place] if is_read[place] else (None, None, None)
        yield {
            "compartment_id": key,
            "organisation_id": organisation_id,
            "vehicle_id": projection.compartments["vehicle_id"][place],
            "as_of": projection.now,
            "odometer_q10_km": low,
            "odometer_q50_km": middle,
            "odometer_q90_km": high,
            "life_used_q10": life_used[place][0],
            "life_used_q50": life_used[place][1],
            "life_used_q90": life_used[place][2],
            "due_q10_on": projection.due_dates[0][place],
            "due_q50_on": projection.due_dates[1][place],
            "due_q90_on": projection.due_dates[2][place],
            "limit_reached": "none" if limit is None else str(limit),
            "probability_by_limit": projection.limit_probabilities(place),
            "overdue_probability": overdue[place],
            "week_probabilities": weeks[place].tobytes(),
            "litres": float(recommended.litres[place]),
            "n_rounds": int(recommended.n_rounds[place]),
            "method": str(recommended.method[place]),
        }
