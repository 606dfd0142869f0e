"""The vehicles of the invented operator, their compartments and its depots."""

from datetime import date, datetime, timedelta
from typing import Final

import numpy as np

from seed_demo import cast
from seed_demo.blueprints import BLUEPRINTS, ClassBlueprint, CompartmentBlueprint
from seed_demo.process import Exceptions, Habit
from seed_demo.records import DemoCompartment, DemoDepot, DemoOrganisation, DemoVehicle
from service.domain.fluid_exchange_defaults import EXCHANGE_DEFAULTS
from service.domain.fluid_kinds import FluidKind
from service.domain.service_work import USUAL_PLACE
from service.domain.units_of_distance import DistanceUnit

ORGANISATION: Final = DemoOrganisation(
    name="Invented Demo Haulage", time_zone="UTC", currency="EUR", distance_unit=DistanceUnit.KM.value
)
DEPOTS: Final = (
    DemoDepot(
        depot="North yard",
        bay_minutes=(960, 960, 960, 960, 960, 240, 0),
        used_fluid_capacity_litres=2000.0,
        used_fluid_capacity_by_stream={"lubricating_oil": 800.0, "coolant": 400.0, "brake_fluid": 60.0},
    ),
    DemoDepot(
        depot="South yard",
        bay_minutes=(960, 960, 960, 960, 720, 0, 0),
        used_fluid_capacity_litres=1500.0,
        used_fluid_capacity_by_stream={"lubricating_oil": 600.0, "coolant": 200.0, "hydraulic_oil": 200.0},
    ),
)
YOUNGEST_YEARS: Final = 4.5
OLDEST_YEARS: Final = 7.0
CHANCE_OF_ROUTE_CHANGE: Final = 1 / 6

INVENTED_VINS: Final = {
    "CAR-01": "000DEM00X00000001",
    "CAR-02": "000DEM00100000002",
    "CAR-03": "000DEM00300000003",
}
"""No maker can own these, for region code 0 is not given out; their check digits are right."""


def class_numbers() -> list[tuple[ClassBlueprint, str, int]]:
    """List blueprint, class and running number of every vehicle, in the order of the fleet."""
    return [
        (blueprint, vehicle_class.value, number)
        for vehicle_class, blueprint in BLUEPRINTS.items()
        for number in range(1, blueprint.n_vehicles + 1)
    ]


def build_vehicles(now: datetime, seed: int) -> tuple[DemoVehicle, ...]:
    """Draw when each vehicle came into service, and name it."""
    members = class_numbers()
    rng = np.random.default_rng([seed, 2])
    age_days = rng.uniform(YOUNGEST_YEARS, OLDEST_YEARS, len(members)) * 365.25
    return tuple(
        _vehicle(blueprint, vehicle_class, number, now.date() - timedelta(days=round(days)))
        for (blueprint, vehicle_class, number), days in zip(members, age_days.tolist(), strict=True)
    )


def build_exceptions(vehicles: tuple[DemoVehicle, ...], seed: int) -> Exceptions:
    """Mark the vehicles whose history is not left to chance."""
    rng = np.random.default_rng([seed, 3])
    names = np.array([vehicle.vehicle for vehicle in vehicles])
    planned = [plan.vehicle for plan in cast.DUE_THIS_WEEK]
    return Exceptions(
        keeps_usual_pace=np.isin(names, planned),
        parked_lately=names == cast.PARKED_LATELY,
        changes_route=(rng.random(names.size) < CHANCE_OF_ROUTE_CHANGE) & ~np.isin(names, planned)
        | (names == cast.CHANGED_ROUTE),
    )


def habits_of_fleet() -> tuple[Habit, ...]:
    """List the habit of every vehicle, in the order of the fleet."""
    return tuple(blueprint.habit for blueprint, _, _ in class_numbers())


def build_compartments(vehicles: tuple[DemoVehicle, ...]) -> tuple[DemoCompartment, ...]:
    """Describe every place that holds a fluid."""
    return tuple(
        _compartment(vehicle.vehicle, compartment)
        for vehicle, (blueprint, _, _) in zip(vehicles, class_numbers(), strict=True)
        for compartment in blueprint.compartments
    )


def _vehicle(blueprint: ClassBlueprint, vehicle_class: str, number: int, in_service_on: date) -> DemoVehicle:
    name = f"{blueprint.prefix}-{number:02d}"
    return DemoVehicle(
        vehicle=name,
        vehicle_class=vehicle_class,
        depot=DEPOTS[(number + 1) % len(DEPOTS)].depot,
        duty=blueprint.duties[(number - 1) % len(blueprint.duties)].value,
        odometer_unit=(DistanceUnit.MI if name == cast.IN_MILES else DistanceUnit.KM).value,
        vin=INVENTED_VINS.get(name),
        in_service_on=in_service_on,
    )


def _compartment(vehicle: str, blueprint: CompartmentBlueprint) -> DemoCompartment:
    window = EXCHANGE_DEFAULTS[blueprint.kind].level_window_celsius
    return DemoCompartment(
        vehicle=vehicle,
        compartment=blueprint.compartment,
        place=USUAL_PLACE[blueprint.kind].value,
        kind=blueprint.kind.value,
        fluid=blueprint.fluid,
        specification=f"INVENTED {blueprint.fluid.removeprefix('DEMO-')}",
        total_litres=blueprint.total_litres,
        drainable_litres=blueprint.drainable_litres,
        interval_km=blueprint.interval_km,
        interval_months=blueprint.interval_months,
        interval_hours=blueprint.interval_hours,
        level_min_celsius=None if window is None else window.low,
        level_max_celsius=None if window is None else window.high,
        has_fluid_counter=blueprint.has_fluid_counter,
        partial_is_full=blueprint.kind is not FluidKind.AUTOMATIC_TRANSMISSION_CAR,
        ageing=dict(blueprint.ageing),
        seals=blueprint.seals,
        maker_notes="Invented for the demonstration. Plugs, tools and torque: see the real maker's procedure.",
    )
