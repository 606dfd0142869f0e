"""Everything that a person wants to see of one vehicle: use, fluids, plans, what was recorded, what is to come."""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from datetime import date, datetime, timedelta
from typing import Final

import numpy as np
from sqlmodel import Session

from service.domain import plausibility
from service.domain.external_ids import IdKind, format_id
from service.engine.ageing.age import AgeingRates, Exposure, age
from service.engine.ageing.outlook import life_used_quantiles
from service.engine.arrays import Floats
from service.engine.exchange.state import FluidState
from service.engine.usage.predict import odometer_quantiles
from service.engine.usage.season import NO_SEASON, Season
from service.engine.usage.state import UsageState
from service.errors import InvalidInputError
from service.store.repositories import fleet, vehicle_search
from service.store.tables.access import AuditEntry
from service.store.tables.readings import Reading
from service.store.tables.vehicles import Compartment
from service.usecases.access.caller import Caller
from service.usecases.due.project_due import DUE_PROBABILITIES
from service.usecases.due.show_projection import VehicleProjection, show_projection
from service.usecases.fluids.explain_history import ToldHistory, explain_history
from service.usecases.fluids.own_ageing import EarlyWear, early_wear, reads_hours
from service.usecases.fluids.told_meters import ShownLess, told_in_vain
from service.usecases.plans.plan_exchange import PlannedExchange, plan_exchange
from service.usecases.usage.engine_time import days_of
from service.usecases.usage.estimate_usage import meter

N_READINGS: Final = 800
N_CHANGES: Final = 60
SHORTEST_OUTLOOK_WEEKS: Final = 13
LONGEST_OUTLOOK_WEEKS: Final = 52


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """How something will go on: a day, and P10, P50 and P90 on it."""

    days: tuple[date, ...]
    quantiles: Floats
    """Shape (days, 3)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CompartmentView:
    """One compartment, with its place in the projection's columns."""

    compartment: Compartment
    place: int
    history: ToldHistory
    life_course: Course
    plan: PlannedExchange | None
    """None where the stored numbers do not make a plan."""

    early_wear: Sequence[EarlyWear]
    shown_less: Sequence[ShownLess]
    """What speaks against the meters that were told of its last service."""


@dataclass(frozen=True, slots=True, kw_only=True)
class VehicleView:
    """The whole picture."""

    projection: VehicleProjection
    depot: str
    readings: Sequence[Reading]
    odometer_course: Course
    compartments: Sequence[CompartmentView]
    changes: Sequence[AuditEntry]


def show_vehicle(session: Session, caller: Caller, now: datetime, reference: str) -> VehicleView:
    """Gather the picture of a vehicle."""
    projection = show_projection(session, caller, now, reference)
    vehicle = projection.vehicle
    key = vehicle.id or 0
    compartments = {row.id: row for row in fleet.list_compartments(session, caller.organisation_id, key)}
    depots = fleet.depot_names(session, caller.organisation_id)
    readings = vehicle_search.latest_readings(session, caller.organisation_id, key, N_READINGS)
    ahead = _days_ahead(projection)
    has_hours = reads_hours(session, caller.organisation_id, key)
    in_vain = told_in_vain(session, caller.organisation_id, list(compartments.values()))
    return VehicleView(
        projection=projection,
        depot=depots[vehicle.depot_id],
        readings=readings,
        odometer_course=_odometer_course(projection, now, ahead),
        compartments=[
            CompartmentView(
                compartment=compartments[row],
                place=place,
                history=explain_history(session, caller, now, format_id(IdKind.COMPARTMENT, row)),
                life_course=_course(projection, ahead, _life_course(projection, place, now, ahead)),
                plan=_plan(session, caller, now, format_id(IdKind.COMPARTMENT, row)),
                early_wear=early_wear(compartments[row], has_hours=has_hours),
                shown_less=in_vain.get(row, ()),
            )
            for place, row in enumerate(projection.fluids.compartments["id"])
        ],
        changes=vehicle_search.changes_of(
            session,
            caller.organisation_id,
            [
                ("vehicle", [key]),
                ("compartment", [row for row in compartments if row is not None]),
                ("reading", [reading.id or 0 for reading in readings if reading.decided_by]),
            ],
            N_CHANGES,
        ),
    )


def _days_ahead(projection: VehicleProjection) -> Floats:
    """Weekly steps until a little after the last due date, within bounds."""
    dates = [day for column in projection.fluids.due_dates for day in column if day is not None]
    last = max(((day - projection.fluids.today).days / 7 for day in dates), default=0.0)
    n_weeks = int(np.clip(last * 1.15, SHORTEST_OUTLOOK_WEEKS, LONGEST_OUTLOOK_WEEKS))
    return np.arange(n_weeks + 1, dtype=np.float64) * 7.0


def _course(projection: VehicleProjection, ahead: Floats, quantiles: Floats) -> Course:
    today = projection.fluids.today
    return Course(days=tuple(today + timedelta(days=int(day)) for day in ahead), quantiles=quantiles)


def _odometer_course(projection: VehicleProjection, now: datetime, ahead: Floats) -> Course:
    if projection.odometer_km is None:
        return Course(days=(), quantiles=np.empty((0, len(DUE_PROBABILITIES))))
    many = projection.usage.odometer.take(np.zeros(ahead.size, dtype=np.int64))
    at_days = projection.usage.season.operational_days(days_of(now) + ahead)
    quantiles = odometer_quantiles(many, at_days, np.array(DUE_PROBABILITIES))
    return _course(projection, ahead, quantiles)


def _plan(session: Session, caller: Caller, now: datetime, key: str) -> PlannedExchange | None:
    try:
        return plan_exchange(
            session, caller, now, compartment=key, kind=None, vehicle_class=None, duty=None, typed={}
        )
    except InvalidInputError:
        return None


def _life_course(projection: VehicleProjection, place: int, now: datetime, ahead: Floats) -> Floats:
    """Let the fluid of one compartment age on by the expected use; the spread of the use adds to its error."""
    fluids = projection.fluids
    usage = projection.usage
    km, km_variance = _increments(usage.odometer, now, ahead, usage.season)
    hours, _ = _increments(usage.hours, now, ahead)
    duty = float(fluids.parameters.duty_multiplier[place])
    rates = AgeingRates(
        **{
            one.name: float(np.broadcast_to(getattr(fluids.parameters.rates, one.name), len(fluids))[place])
            for one in fields(AgeingRates)
        }
    )
    start = FluidState(
        **{
            one.name: np.full(ahead.size, getattr(fluids.fluid_now, one.name)[place])
            for one in fields(FluidState)
        }
    )
    exposure = Exposure(distance_km=km, days=ahead, hours=hours, duty_multiplier=duty)
    later = age(start, exposure, rates)
    spread = (duty / np.asarray(rates.distance_limit_km)) ** 2 * km_variance
    later = replace(later, life_used_variance=later.life_used_variance + spread)
    quantiles = life_used_quantiles(later, np.array(DUE_PROBABILITIES)).T
    return np.minimum(quantiles, plausibility.LIFE_USED.maximum)


def _increments(
    state: UsageState, now: datetime, ahead: Floats, season: Season = NO_SEASON
) -> tuple[Floats, Floats]:
    """Mean and variance of what a meter adds from now on; nothing for one that was never read."""
    if not bool(state.n_readings[0] > 0):
        return np.zeros_like(ahead), np.zeros_like(ahead)
    table = meter(state, now, season)
    mean, variance = table.moments(np.zeros(ahead.size, dtype=np.int64), table.days_since_reading[0] + ahead)
    return np.maximum(mean - mean[0], 0.0), np.maximum(variance - variance[0], 0.0)
