"""The numbers that an exchange plan rests on: typed in, stored, or assumed, and which of these each one is."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

import numpy as np
from sqlmodel import Session

from service.domain.duties import DUTY_DEFAULTS, Duty
from service.domain.external_ids import IdKind, format_id
from service.domain.fluid_defaults import FluidDefaults, defaults_for
from service.domain.fluid_kinds import AUTOMATIC_KINDS, COOLANT_KINDS, FluidKind
from service.domain.sourced import Sourced
from service.domain.units_of_distance import DistanceUnit
from service.domain.vehicle_classes import CLASS_DEFAULTS, VehicleClass
from service.store.repositories import fleet, fluids, stock_items
from service.store.tables.organisation import Organisation
from service.store.tables.vehicles import Compartment
from service.units import DAYS_PER_MONTH
from service.usecases.access.caller import Caller
from service.usecases.due.show_projection import VehicleProjection, show_projection
from service.usecases.fluids.recommend_exchange import FLUSH_TURNOVERS, TARGET_FRESH_FRACTION
from service.usecases.fluids.update_states import explain_state
from service.usecases.plans.own_prices import own_prices

AMBIENT_CELSIUS: Final = 20.0
LEVEL_CELSIUS: Final = 40.0
"""Where the kind has no window. Common practice, no source."""

RETURN_DAYS: Final = 70.0
"""When to come back for further rounds, if nobody says otherwise. Common practice, no source."""

LINE_KINDS: Final = AUTOMATIC_KINDS | COOLANT_KINDS | {FluidKind.BRAKE_FLUID, FluidKind.POWER_STEERING}
"""Kinds whose fluid circulates, so that it can be pushed out by new fluid."""

GIVEN, STORED, ASSUMED = "given", "stored", "assumed"


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanNumbers:
    """Every number of a plan by its name, and where each comes from."""

    kind: FluidKind
    values: Mapping[str, float | None]
    basis: Mapping[str, str]
    currency: str
    distance_unit: DistanceUnit
    is_contaminated: bool = False
    is_one_round_the_full_service: bool = False

    def __getitem__(self, name: str) -> float:
        """Give a number that is there."""
        value = self.values[name]
        assert value is not None  # noqa: S101 - only the two intervals and the line may be none
        return value

    def get(self, name: str, otherwise: float) -> float:
        """Give a number that may be none."""
        value = self.values[name]
        return otherwise if value is None else value


def typed_numbers(
    session: Session,
    caller: Caller,
    kind: FluidKind,
    vehicle_class: VehicleClass,
    duty: Duty,
    typed: Mapping[str, float],
) -> PlanNumbers:
    """Put typed-in numbers over what is assumed of the kind."""
    organisation = fleet.get_organisation(session, caller.organisation_id)
    assumed = _assumed(defaults_for(kind, vehicle_class), duty, organisation)
    return _layered(kind, organisation, assumed, {}, typed)


def stored_numbers(
    session: Session, caller: Caller, now: datetime, reference: str, typed: Mapping[str, float]
) -> PlanNumbers:
    """Put typed-in numbers over what is stored and projected of a compartment."""
    organisation = fleet.get_organisation(session, caller.organisation_id)
    compartment = fleet.get_compartment(session, caller.organisation_id, reference)
    owner = fleet.get_vehicle_by_id(session, caller.organisation_id, compartment.vehicle_id)
    kind = FluidKind(compartment.kind)
    defaults = defaults_for(kind, VehicleClass(owner.vehicle_class))
    projection = show_projection(session, caller, now, format_id(IdKind.VEHICLE, owner.id))
    place = projection.fluids.compartments["id"].index(compartment.id)
    stored = {
        **_of_compartment(compartment),
        **_of_projection(projection, place, VehicleClass(owner.vehicle_class)),
        **_clocks(session, caller, compartment, projection),
        **_of_fluid(session, caller, compartment),
    }
    numbers = _layered(kind, organisation, _assumed(defaults, Duty(owner.duty), organisation), stored, typed)
    return replace(
        numbers,
        is_contaminated=bool(projection.fluids.compartments["is_contaminated"][place]),
        is_one_round_the_full_service=compartment.partial_is_full,
    )


def _layered(
    kind: FluidKind,
    organisation: Organisation,
    assumed: Mapping[str, float | None],
    stored: Mapping[str, float | None],
    typed: Mapping[str, float],
) -> PlanNumbers:
    values = {**assumed, **stored, **typed}
    if "total_litres" in typed and "drainable_litres" not in typed:
        share = _ratio(assumed["drainable_litres"], assumed["total_litres"])
        values["drainable_litres"] = typed["total_litres"] * share
    if "drainable_litres" in typed and "drainable_share_sd" not in typed:
        values["drainable_share_sd"] = 0.0
    if "line_litres" not in typed and values["line_litres"] is not None:
        values["line_litres"] = FLUSH_TURNOVERS * (values["total_litres"] or 0.0)
    basis = {name: GIVEN if name in typed else STORED if name in stored else ASSUMED for name in values}
    return PlanNumbers(
        kind=kind,
        values=values,
        basis=basis,
        currency=organisation.currency,
        distance_unit=DistanceUnit(organisation.distance_unit),
    )


def _ratio(part: float | None, whole: float | None) -> float:
    return (part or 0.0) / (whole or 1.0)


def _assumed(defaults: FluidDefaults, duty: Duty, organisation: Organisation) -> dict[str, float | None]:
    window, ageing, schedule = defaults.exchange.level_window_celsius, defaults.ageing, defaults.schedule
    months = _value(schedule.months)
    limit = 1.0 - ageing.planning_reserve_fraction.value
    rate = DUTY_DEFAULTS[duty].rate_multiplier.value
    usual = CLASS_DEFAULTS[defaults.vehicle_class]
    hours_limit = _value(ageing.life_hours)
    life_km = _value(ageing.life_km)
    hours_a_day = 0.0 if hours_limit is None else usual.engine_hours_per_day.value / hours_limit
    return {
        "total_litres": defaults.total_volume_litres.value,
        "drainable_litres": defaults.drainable_litres,
        "drainable_share_sd": defaults.exchange.drainable_fraction.standard_deviation or 0.0,
        "old_life_used": limit,
        "old_life_used_sd": 0.0,
        "target_fresh_share": TARGET_FRESH_FRACTION,
        "target_life_used": None,
        "highest_life_used": limit,
        "density_15c_kg_per_m3": defaults.exchange.density_15c_kg_per_m3.value,
        "ambient_celsius": AMBIENT_CELSIUS,
        "level_celsius": LEVEL_CELSIUS if window is None else 0.5 * (window.low + window.high),
        "overfill_litres": 0.0,
        "converter_litres": 0.0,
        "mixing_efficiency": 1.0,
        "line_litres": 0.0 if defaults.kind in LINE_KINDS else None,
        "km_per_day": usual.km_per_day.value,
        "life_used_per_km": 0.0 if life_km is None else rate / life_km,
        "life_used_per_day": 1.0 / ageing.life_days.value + hours_a_day,
        "interval_km": _value(schedule.km),
        "interval_days": None if months is None else months * DAYS_PER_MONTH,
        "km_since_full_service": 0.0,
        "days_since_full_service": 0.0,
        "shortest_return_days": 0.0,
        "return_days": RETURN_DAYS,
        **{name: price.value for name, price in own_prices(organisation.planning).items()},
    }


def _of_compartment(compartment: Compartment) -> dict[str, float | None]:
    low, high = compartment.level_min_celsius, compartment.level_max_celsius
    months = compartment.interval_months
    stored: dict[str, float | None] = {
        "total_litres": compartment.total_litres,
        "drainable_litres": compartment.drainable_litres,
        "interval_km": compartment.interval_km,
        "interval_days": None if months is None else months * DAYS_PER_MONTH,
    }
    if low is not None and high is not None:
        stored["level_celsius"] = 0.5 * (low + high)
    return stored


def _of_projection(
    projection: VehicleProjection, place: int, vehicle_class: VehicleClass
) -> dict[str, float | None]:
    parameters, fluid = projection.fluids.parameters, projection.fluids.fluid_now
    rates, duty = parameters.rates, float(parameters.duty_multiplier[place])
    # Running hours that nobody reads wear nothing in the projection, nor do they here.
    has_hours = bool(projection.usage.hours.n_readings[0] > 0)
    hours_a_day = CLASS_DEFAULTS[vehicle_class].engine_hours_per_day.value if has_hours else 0.0
    by_time = 1.0 / float(np.asarray(rates.time_limit_days)[place])
    return {
        "old_life_used": float(fluid.life_used[place]),
        "old_life_used_sd": float(fluid.life_used_variance[place]) ** 0.5,
        "highest_life_used": 1.0 - float(parameters.planning_reserve_fraction[place]),
        "km_per_day": float(projection.km_per_day[1]),
        "life_used_per_km": duty / float(np.asarray(rates.distance_limit_km)[place]),
        "life_used_per_day": by_time + hours_a_day / float(np.asarray(rates.hours_limit)[place]),
    }


def _clocks(
    session: Session, caller: Caller, compartment: Compartment, projection: VehicleProjection
) -> dict[str, float | None]:
    """Distance and days on the schedule's clock."""
    _, steps = explain_state(session, caller.organisation_id, compartment)
    start = steps[-1].after.start
    found: dict[str, float | None] = {}
    if start.odometer_km is not None and projection.odometer_km is not None:
        found["km_since_full_service"] = max(float(projection.odometer_km[1]) - start.odometer_km, 0.0)
    if start.on is not None:
        found["days_since_full_service"] = float(max((projection.fluids.today - start.on).days, 0))
    return found


def _of_fluid(session: Session, caller: Caller, compartment: Compartment) -> dict[str, float | None]:
    if compartment.fluid_id is None:
        return {}
    product = fluids.get_fluid(session, caller.organisation_id, format_id(IdKind.FLUID, compartment.fluid_id))
    found: dict[str, float | None] = {}
    if product.density_15c_kg_per_m3 is not None:
        found["density_15c_kg_per_m3"] = product.density_15c_kg_per_m3
    packs = stock_items.list_packs(session, caller.organisation_id, product)
    prices = [pack.price_minor / pack.quantity for pack in packs if pack.price_minor is not None]
    if prices:
        found["price_minor_per_litre"] = min(prices)
    return found


def _value(sourced: Sourced | None) -> float | None:
    return None if sourced is None else sourced.value
