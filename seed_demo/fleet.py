"""The invented fleet as a whole: what its operator would have recorded, and the truth behind it."""

from dataclasses import dataclass
from datetime import UTC, date, datetime

import numpy as np

from seed_demo import cast
from seed_demo.instruments import Instruments, build_instruments
from seed_demo.mistakes import plant_mistakes
from seed_demo.process import TrueUsage, simulate_usage
from seed_demo.readings import build_readings
from seed_demo.records import (
    DemoClusterReplacement,
    DemoCompartment,
    DemoDepot,
    DemoFluid,
    DemoMistake,
    DemoMovement,
    DemoOrder,
    DemoOrganisation,
    DemoReading,
    DemoSample,
    DemoService,
    DemoVehicle,
    TrueCompartment,
)
from seed_demo.roster import (
    DEPOTS,
    ORGANISATION,
    build_compartments,
    build_exceptions,
    build_vehicles,
    class_numbers,
    habits_of_fleet,
)
from seed_demo.samples import draw_samples
from seed_demo.shelf import FLUIDS, keep_shelf
from seed_demo.timetable import draw_timetables, planned_day
from seed_demo.upkeep import Upkeep, Work, carry_out, tell_truth
from service.errors import InvalidInputError


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedTruth:
    """A compartment that was made to fall due in the running week."""

    vehicle: str
    compartment: str
    limit: str
    due_on: date


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownTruth:
    """What no operator knows; tests compare projections with it."""

    usage: TrueUsage
    """Row i is `vehicles[i]`; it runs a year past now."""
    compartments: tuple[TrueCompartment, ...]
    """In the order of the fleet's compartments."""
    due_this_week: tuple[PlannedTruth, ...]
    contaminated: tuple[str, str]
    mistakes: tuple[DemoMistake, ...]
    cluster_replacement: DemoClusterReplacement
    changed_route: tuple[str, ...]
    parked_lately: str
    on_hand_litres: dict[str, float]
    short_fluid: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoFleet:
    """Everything that is loaded into the service, and the truth, which is not."""

    organisation: DemoOrganisation
    depots: tuple[DemoDepot, ...]
    vehicles: tuple[DemoVehicle, ...]
    fluids: tuple[DemoFluid, ...]
    compartments: tuple[DemoCompartment, ...]
    readings: tuple[DemoReading, ...]
    """In the order in which they were sent."""
    services: tuple[DemoService, ...]
    samples: tuple[DemoSample, ...]
    stock_movements: tuple[DemoMovement, ...]
    orders: tuple[DemoOrder, ...]
    truth: KnownTruth


def build_demo_fleet(now: datetime, seed: int = 7) -> DemoFleet:
    """Build the same fleet for the same moment and seed.

    With the default seed every limit makes something due in the week of `now`; with others nearly always.
    """
    if now.tzinfo is None:
        raise InvalidInputError("The moment of the demonstration needs its offset from UTC.")
    now = now.astimezone(UTC)
    vehicles = build_vehicles(now, seed)
    exceptions = build_exceptions(vehicles, seed)
    usage = simulate_usage(
        habits_of_fleet(), tuple(vehicle.in_service_on for vehicle in vehicles), exceptions, now, seed
    )
    instruments = build_instruments(vehicles, usage)
    classes = {vehicle.vehicle: vehicle.vehicle_class for vehicle in vehicles}
    readings, mistakes = plant_mistakes(build_readings(instruments, now, seed), classes, seed)
    compartments = build_compartments(vehicles)
    upkeeps = _keep_up(vehicles, compartments, usage, now, seed)
    services = _group_visits(upkeeps, instruments)
    shelf = keep_shelf(services, now)
    now_day = usage.day_number(now)
    truth = KnownTruth(
        usage=usage,
        compartments=tuple(tell_truth(upkeep, now_day, usage.first_on) for upkeep in upkeeps),
        due_this_week=tuple(
            PlannedTruth(
                vehicle=plan.vehicle,
                compartment=plan.compartment,
                limit=plan.limit,
                due_on=planned_day(plan, now.date()),
            )
            for plan in cast.DUE_THIS_WEEK
        ),
        contaminated=cast.CONTAMINATED,
        mistakes=tuple(mistakes),
        cluster_replacement=instruments.replacement(),
        changed_route=tuple(
            vehicle.vehicle
            for vehicle, changes in zip(vehicles, exceptions.changes_route.tolist(), strict=True)
            if changes
        ),
        parked_lately=cast.PARKED_LATELY,
        on_hand_litres=shelf.on_hand_litres,
        short_fluid=cast.SHORT_FLUID,
    )
    return DemoFleet(
        organisation=ORGANISATION,
        depots=DEPOTS,
        vehicles=vehicles,
        fluids=FLUIDS,
        compartments=compartments,
        readings=tuple(readings),
        services=services,
        samples=draw_samples(upkeeps, instruments, now, seed),
        stock_movements=shelf.movements,
        orders=shelf.orders,
        truth=truth,
    )


def _keep_up(
    vehicles: tuple[DemoVehicle, ...],
    compartments: tuple[DemoCompartment, ...],
    usage: TrueUsage,
    now: datetime,
    seed: int,
) -> list[Upkeep]:
    usual_rounds = [
        compartment.n_rounds for blueprint, _, _ in class_numbers() for compartment in blueprint.compartments
    ]
    planned = tuple(zip(compartments, usual_rounds, strict=True))
    rng = np.random.default_rng([seed, 8])
    return [carry_out(table, rng) for table in draw_timetables(vehicles, planned, usage, now.date(), seed)]


def _group_visits(upkeeps: list[Upkeep], instruments: Instruments) -> tuple[DemoService, ...]:
    """Put the works on one vehicle at one time into one service; oldest first."""
    visits: dict[tuple[int, int], list[Work]] = {}
    for upkeep in upkeeps:
        for work in upkeep.works:
            visits.setdefault((work.row, round(work.day * 1440.0)), []).append(work)
    services = []
    for number, ((row, _), works) in enumerate(
        sorted(visits.items(), key=lambda visit: (visit[1][0].day, visit[0][0])), start=1
    ):
        vehicle, day = instruments.vehicles[row], works[0].day
        services.append(
            DemoService(
                vehicle=vehicle.vehicle,
                done_at=instruments.usage.at_day(day),
                odometer=instruments.odometer(row, day, "workshop"),
                unit=vehicle.odometer_unit,
                engine_hours=instruments.engine_hours(row, day),
                reference=f"JOB-{number:05d}",
                compartments=tuple(work.work for work in works),
            )
        )
    return tuple(services)
