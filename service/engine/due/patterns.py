"""Sorting compartments by the kinds of limit they have, so that each block does only the work it needs."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.arrays import Codes, Floats, Integers
from service.engine.due.block import LimitBlock
from service.engine.due.condition import Ageing
from service.engine.due.limits import CompartmentLimits, Limit, Meter
from service.engine.due.passage import root_remaining

_BIT_OF_LIMIT: Final = {Limit.DISTANCE: np.int8(1), Limit.HOURS: np.int8(2), Limit.CONDITION: np.int8(4)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Meters:
    """The meters of all vehicles, and how strongly km and hours go together."""

    odometer: Meter
    hour_meter: Meter | None
    km_hours_correlation: float


def limit_patterns(limits: CompartmentLimits, meters: Meters) -> Codes:
    """Kinds of limit that each compartment has and that its vehicle's meters can answer, as a sum of bits."""
    pattern = (
        _has_reading(meters.odometer, limits.distance_km, limits.vehicle_row) * _BIT_OF_LIMIT[Limit.DISTANCE]
    )
    if meters.hour_meter is not None:
        has_hours = _has_reading(meters.hour_meter, limits.hours, limits.vehicle_row)
        pattern += has_hours * _BIT_OF_LIMIT[Limit.HOURS]
    if limits.condition is not None:
        has_condition = (~np.isnan(limits.condition.life_used_fraction)).astype(np.int8)
        pattern += has_condition * _BIT_OF_LIMIT[Limit.CONDITION]
    return pattern


def block_of(
    limits: CompartmentLimits, meters: Meters, rows: Integers, order: Integers, pattern: int
) -> LimitBlock:
    """Gather what the scores of the given rows need, in the given order; all of them have the given pattern."""
    present = tuple(limit for limit, bit in _BIT_OF_LIMIT.items() if pattern & bit)
    neighbours = limits.vehicle_row[rows]
    is_head = np.ones(rows.size, dtype=np.bool_)
    np.not_equal(neighbours[1:], neighbours[:-1], out=is_head[1:])
    vehicles, rows = neighbours[order], rows[order]
    ageing = None
    if limits.condition is not None and Limit.CONDITION in present:
        ageing = Ageing.of(limits.condition, rows, _age_days(meters.odometer, vehicles))
    needs_hours = Limit.HOURS in present or (ageing is not None and bool((ageing.life_per_hour > 0.0).any()))
    hour_meter = meters.hour_meter if needs_hours else None
    return LimitBlock(
        present=present,
        vehicle_row=vehicles,
        heads=neighbours[is_head],
        repeat=(np.cumsum(is_head) - 1)[order],
        root_remaining_km=_root_remaining(meters.odometer, limits.distance_km[rows], vehicles),
        root_remaining_hours=_root_remaining(hour_meter, limits.hours[rows], vehicles),
        ageing=ageing,
        odometer=meters.odometer if present and present != (Limit.HOURS,) else None,
        hour_meter=hour_meter,
        km_hours_correlation=meters.km_hours_correlation,
    )


def _has_reading(meter: Meter, limit: Floats, vehicles: Integers) -> Codes:
    has_none = np.isnan(meter.last_reading)[vehicles]
    has_none |= np.isnan(limit)
    return (~has_none).astype(np.int8)


def _root_remaining(meter: Meter | None, limit: Floats, vehicles: Integers) -> Floats:
    if meter is None:
        return np.zeros(vehicles.size)
    return root_remaining(limit, meter.last_reading[vehicles])


def _age_days(odometer: Meter, vehicles: Integers) -> Floats:
    return np.where(np.isnan(odometer.last_reading[vehicles]), 0.0, odometer.days_since_reading[vehicles])
