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
    columns = zip(
        projection.compartments["id"],
        projection.compartments["vehicle_id"],
        is_read,
        odometer,
        life_used,
        zip(*projection.due_dates, strict=True),
        projection.limit_names(),
        projection.probabilities_by_limit(),
        projection.due.overdue_probability.tolist(),
        weeks,
        recommended.litres.tolist(),
        recommended.n_rounds.tolist(),
        recommended.method,
        strict=True,
    )
    for key, vehicle_id, has_odometer, km, life, dates, limit, by_limit, overdue, week, *exchange in columns:
        low, middle, high = km if has_odometer else (None, None, None)
        yield {
            "compartment_id": key,
            "organisation_id": organisation_id,
            "vehicle_id": vehicle_id,
            "as_of": projection.now,
            "odometer_q10_km": low,
            "odometer_q50_km": middle,
            "odometer_q90_km": high,
            "life_used_q10": life[0],
            "life_used_q50": life[1],
            "life_used_q90": life[2],
            "due_q10_on": dates[0],
            "due_q50_on": dates[1],
            "due_q90_on": dates[2],
            "limit_reached": limit or "none",
            "probability_by_limit": by_limit,
            "overdue_probability": overdue,
            "week_probabilities": week.tobytes(),
            "litres": exchange[0],
            "n_rounds": exchange[1],
            "method": str(exchange[2]),
        }
