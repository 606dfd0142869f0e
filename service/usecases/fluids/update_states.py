"""Compute the stored states of compartments anew, from everything that happened to them."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from sqlmodel import Session, col, select

from service.domain.fluid_kinds import FluidKind
from service.store.repositories import fleet, fluids, projections, services
from service.store.repositories.meter_histories import MeterHistory, meter_histories
from service.store.tables.vehicles import Compartment, Vehicle
from service.usecases.fluids.alarm_limits import limits_in_force
from service.usecases.fluids.fitted_rates import with_fits
from service.usecases.fluids.fluid_parameters import parameters_of
from service.usecases.fluids.follow_fluid import FluidHistory, FluidPoint, MetersAt, Step, due_points, follow
from service.usecases.fluids.pending_return import brought_forward, pending_return
from service.usecases.fluids.weigh_sample import observer_for
from service.usecases.usage.engine_time import days_of


def update_states(session: Session, organisation_id: int, vehicle_ids: Sequence[int]) -> None:
    """Follow the fluids of all compartments of these vehicles and store where they stand."""
    if rows := state_rows(session, organisation_id, vehicle_ids):
        projections.put_states(session, {name: [row[name] for row in rows] for name in rows[0]})


def state_rows(session: Session, organisation_id: int, vehicle_ids: Sequence[int]) -> list[dict[str, Any]]:
    """Where the fluids of all compartments of these vehicles stand, as rows of `compartment_state`."""
    rows = []
    for history in load_histories(session, organisation_id, vehicle_ids):
        steps = follow(history)
        rows.append(_row(history, steps[-1].after, len(steps) - 1))
    return rows


def explain_state(
    session: Session, organisation_id: int, compartment: Compartment
) -> tuple[FluidHistory, list[Step]]:
    """Follow one compartment and give every step."""
    histories = load_histories(session, organisation_id, [compartment.vehicle_id])
    history = next(one for one in histories if one.compartment.id == compartment.id)
    return history, follow(history)


def load_histories(session: Session, organisation_id: int, vehicle_ids: Sequence[int]) -> list[FluidHistory]:
    """Load everything that the states of these vehicles' compartments depend on."""
    zone = fleet.get_organisation(session, organisation_id).zone
    pairs = _compartments(session, organisation_id, vehicle_ids)
    ids = [compartment.id for compartment, _ in pairs if compartment.id is not None]
    items = services.items_of_compartments(session, organisation_id, ids)
    samples = services.samples_of_compartments(session, organisation_id, ids)
    returns = services.return_visits_of_compartments(session, organisation_id, ids)
    limits = limits_in_force(session, organisation_id)
    known = {fluid.id: fluid for fluid in fluids.list_fluids(session, organisation_id)}
    meters = _meters(session, organisation_id, vehicle_ids)
    return [
        FluidHistory(
            compartment=compartment,
            parameters=parameters_of([compartment.kind], [vehicle.vehicle_class], [vehicle.duty], [ageing]),
            meters=meters[compartment.vehicle_id],
            zone=zone,
            items=items.get(compartment.id or 0, []),
            samples=samples.get(compartment.id or 0, []),
            observe=observer_for(
                FluidKind(compartment.kind),
                known.get(compartment.fluid_id),
                limits[FluidKind(compartment.kind)],
            ),
            return_visit=pending_return(
                returns.get(compartment.id or 0, []), items.get(compartment.id or 0, [])
            ),
        )
        for (compartment, vehicle), ageing in zip(
            pairs, _ageing(session, organisation_id, pairs), strict=True
        )
    ]


def _ageing(
    session: Session, organisation_id: int, pairs: Sequence[tuple[Compartment, Vehicle]]
) -> Sequence[Mapping[str, float]]:
    return with_fits(
        session,
        organisation_id,
        [compartment.kind for compartment, _ in pairs],
        [vehicle.vehicle_class for _, vehicle in pairs],
        [vehicle.duty for _, vehicle in pairs],
        [compartment.ageing for compartment, _ in pairs],
    )


def _compartments(
    session: Session, organisation_id: int, vehicle_ids: Sequence[int]
) -> list[tuple[Compartment, Vehicle]]:
    query = (
        select(Compartment, Vehicle)
        .join(Vehicle, col(Vehicle.id) == Compartment.vehicle_id)
        .where(Compartment.organisation_id == organisation_id, col(Compartment.vehicle_id).in_(vehicle_ids))
        .order_by(col(Compartment.vehicle_id), col(Compartment.id))
    )
    return list(session.exec(query).all())


def _meters(session: Session, organisation_id: int, vehicle_ids: Sequence[int]) -> dict[int, MetersAt]:
    km, hours = meter_histories(session, organisation_id, vehicle_ids)
    return {
        vehicle_id: MetersAt(
            km_days=_stretch(km, place, km.time_days),
            km=_stretch(km, place, km.value),
            hours_days=_stretch(hours, place, hours.time_days),
            hours=_stretch(hours, place, hours.value),
        )
        for place, vehicle_id in enumerate(vehicle_ids)
    }


def _stretch(history: MeterHistory, place: int, values: np.ndarray[Any, np.dtype[np.float64]]) -> Any:
    return values[history.offsets[place] : history.offsets[place + 1]]


def _row(history: FluidHistory, point: FluidPoint, n_events: int) -> dict[str, Any]:
    compartment, visit = history.compartment, history.return_visit
    due = brought_forward(due_points(compartment, point), visit)
    fluid = point.fluid
    return {
        "compartment_id": compartment.id,
        "organisation_id": compartment.organisation_id,
        "vehicle_id": compartment.vehicle_id,
        "as_of_days": days_of(point.at),
        "odometer_km": point.odometer_km,
        "engine_hours": point.engine_hours,
        "volume_15c_litres": float(fluid.volume_15c_litres[0]),
        "life_used": float(fluid.life_used[0]),
        "life_used_variance": float(fluid.life_used_variance[0]),
        "water_mass_fraction": float(fluid.water_mass_fraction[0]),
        "iron_mg_per_kg": float(fluid.iron_mg_per_kg[0]),
        "glycol_fraction": float(fluid.glycol_fraction[0]),
        "is_contaminated": point.is_contaminated,
        "is_sampled": point.is_sampled,
        "is_history_known": point.is_history_known,
        "schedule_on": point.start.on,
        "schedule_odometer_km": point.start.odometer_km,
        "schedule_engine_hours": point.start.engine_hours,
        "due_on": due.on,
        "due_odometer_km": due.odometer_km,
        "due_engine_hours": due.engine_hours,
        "return_on": None if visit is None else visit.due_on,
        "return_odometer_km": None if visit is None else visit.due_odometer_km,
        "return_rounds": None if visit is None else visit.n_rounds,
        "fresh_fraction": point.fresh_fraction,
        "n_events": n_events,
    }
