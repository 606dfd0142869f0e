"""What a line of a due list says: one compartment, when it is due and why, and how its fluid should be changed."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import cache
from typing import Any

from service.domain import due_reasons
from service.domain.cautions import cautions_for
from service.domain.due_reasons import Limit
from service.domain.exchange_methods import ExchangeMethod
from service.domain.fluid_kinds import FluidKind
from service.domain.units_of_distance import DistanceUnit
from service.usecases.due.project_due import FleetProjection
from service.usecases.due.return_reason import return_reason
from service.usecases.fluids.recommend_exchange import Recommendation
from service.usecases.visits.fleet_names import FleetNames


@dataclass(slots=True, kw_only=True)
class ListedLine:
    """One compartment that is due, with everything that is known of it."""

    vehicle_id: int
    compartment_id: int
    vehicle: str
    compartment: str
    depot: str
    kind: str
    fluid: str | None
    reason: str
    limit_reached: str
    due_q10_on: date | None
    due_q50_on: date | None
    due_q90_on: date | None
    overdue_probability: float
    method: str
    n_rounds: int
    litres: float
    labour_minutes: int
    planned_on: date | None = None
    change: str = "new"
    first_listed_week: str = ""
    detail: dict[str, Any] = field(default_factory=dict)


def line_of(
    names: FleetNames,
    projection: FleetProjection,
    recommended: Recommendation,
    place: int,
    contaminated: Mapping[int, str],
) -> ListedLine:
    """Describe one compartment as a line; why a contaminated one is due is given by key."""
    columns = projection.compartments
    vehicle = names.vehicles[columns["vehicle_id"][place]]
    limit = projection.limit_of(place)
    unit = DistanceUnit(names.organisation.distance_unit)
    method = recommended.method[place]
    low, middle, high = projection.due_dates_of(place)
    return ListedLine(
        vehicle_id=columns["vehicle_id"][place],
        compartment_id=columns["id"][place],
        vehicle=vehicle.reference,
        compartment=columns["reference"][place],
        depot=names.depots[vehicle.depot_id],
        kind=columns["kind"][place],
        fluid=names.fluids.get(columns["fluid_id"][place]),
        reason=return_reason(projection, place, limit, unit)
        or reason_of(names, projection, place, limit, contaminated),
        limit_reached="none" if limit is None else str(limit),
        due_q10_on=low,
        due_q50_on=middle,
        due_q90_on=high,
        overdue_probability=round(float(projection.due.overdue_probability[place]), 4),
        method=str(method),
        n_rounds=int(recommended.n_rounds[place]),
        litres=round(float(recommended.litres[place]), 2),
        labour_minutes=round(float(recommended.labour_minutes[place])),
        detail=_detail(projection, recommended, place, method),
    )


def reason_of(
    names: FleetNames,
    projection: FleetProjection,
    place: int,
    limit: Limit | None,
    contaminated: Mapping[int, str],
) -> str:
    """Say why a compartment is due."""
    columns = projection.compartments
    if limit is Limit.CONTAMINATION:
        return contaminated[columns["id"][place]]
    if limit is None:
        return due_reasons.unknown_reason()
    reason = _reason_of_wear(names, projection, place, limit)
    return reason if columns["is_history_known"][place] else due_reasons.with_unknown_start(reason)


def _reason_of_wear(names: FleetNames, projection: FleetProjection, place: int, limit: Limit) -> str:
    columns = projection.compartments
    if limit is Limit.CONDITION:
        life_used = float(projection.fluid_now.life_used[place])
        planned = 1.0 - float(projection.parameters.planning_reserve_fraction[place])
        return due_reasons.condition_reason(life_used, planned, sampled=bool(columns["is_sampled"][place]))
    if limit is Limit.CALENDAR:
        months = columns["interval_months"][place] or 0
        return due_reasons.calendar_reason(months, _as_date(columns["due_on"][place]), projection.today)
    if limit is Limit.DISTANCE:
        left = columns["due_odometer_km"][place] - float(
            projection.expected_odometer_km[projection.vehicle_row[place]]
        )
        unit = DistanceUnit(names.organisation.distance_unit)
        return due_reasons.distance_reason(unit.of_km(left), unit)
    row = projection.vehicle_row[place]
    return due_reasons.hours_reason(
        columns["due_engine_hours"][place] - float(projection.expected_hours[row])
    )


def _detail(
    projection: FleetProjection, recommended: Recommendation, place: int, method: ExchangeMethod
) -> dict[str, Any]:
    probabilities = projection.limit_probabilities(place)
    return {
        "probability_by_limit": {name: round(value, 4) for name, value in probabilities.items()},
        "life_used": round(float(projection.fluid_now.life_used[place]), 4),
        "fresh_share_after": round(float(recommended.fresh_fraction_after[place]), 4),
        "seals": list(projection.compartments["seals"][place]),
        "cautions": list(_first_cautions(FluidKind(projection.compartments["kind"][place]), method)),
    }


@cache
def _first_cautions(kind: FluidKind, method: ExchangeMethod) -> tuple[str, ...]:
    """The first cautions only; the job sheet carries them all."""
    return tuple(caution.text for caution in cautions_for(kind, method)[:3])


def _as_date(value: Any) -> date:
    return value if isinstance(value, date) else date.fromisoformat(str(value))
