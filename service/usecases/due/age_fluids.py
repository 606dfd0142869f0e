"""Fluids aged from their last event to the vehicle's last reading, and on to now."""

from datetime import datetime
from typing import Any

import numpy as np

from service.engine.ageing.age import Exposure, age
from service.engine.arrays import Floats, Integers
from service.engine.exchange.state import FluidState, fluid_state
from service.engine.usage.state import UsageState
from service.usecases.fluids.fluid_parameters import CompartmentParameters
from service.usecases.usage.engine_time import days_of
from service.usecases.usage.estimate_usage import FleetUsage


def numbers_of(columns: dict[str, list[Any]], name: str) -> Floats:
    """One of the columns that were read, nothing as NaN."""
    return np.array(columns[name], dtype=np.float64)


def age_to_reading(
    columns: dict[str, list[Any]],
    parameters: CompartmentParameters,
    usage: FleetUsage,
    vehicle_row: Integers,
    now: datetime,
) -> FluidState:
    """Age the fluids from their last event to the vehicle's last reading, or to now where there is none."""
    # Only the life used is projected; it ages alike whatever else is in the fluid, so that nothing more is read.
    state = fluid_state(
        numbers_of(columns, "total_litres"),
        life_used=numbers_of(columns, "life_used"),
        life_used_variance=numbers_of(columns, "life_used_variance"),
    )
    last_days = np.where(usage.odometer.n_readings > 0, usage.last_read_days(), days_of(now))[vehicle_row]
    exposure = Exposure(
        distance_km=_since(usage.odometer, columns, "odometer_km", vehicle_row),
        days=np.maximum(last_days - numbers_of(columns, "as_of_days"), 0.0),
        hours=_since(usage.hours, columns, "engine_hours", vehicle_row),
        duty_multiplier=parameters.duty_multiplier,
    )
    return age(state, exposure, parameters.rates)


def _since(
    meter_state: UsageState, columns: dict[str, list[Any]], name: str, vehicle_row: Integers
) -> Floats:
    """What a meter has added since the event, where both are known."""
    grown = meter_state.last_odometer_km[vehicle_row] - numbers_of(columns, name)
    is_known = (meter_state.n_readings > 0)[vehicle_row] & np.isfinite(grown)
    return np.where(is_known, np.maximum(grown, 0.0), 0.0)


def age_to_now(
    at_reading: FluidState,
    parameters: CompartmentParameters,
    vehicle_row: Integers,
    since_reading: tuple[Floats, Floats, Floats],
) -> FluidState:
    """Age the fluids on by the kilometres, hours and days expected since each vehicle's last reading."""
    km, hours, days = since_reading
    exposure = Exposure(
        distance_km=km[vehicle_row],
        days=days[vehicle_row],
        hours=hours[vehicle_row],
        duty_multiplier=parameters.duty_multiplier,
    )
    return age(at_reading, exposure, parameters.rates)
