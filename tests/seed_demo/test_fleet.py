"""The demonstration shows what it promises, whatever day it starts."""

from collections import Counter
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest

from seed_demo.fleet import DemoFleet, build_demo_fleet
from service.domain.due_reasons import Limit
from service.domain.duties import Duty
from service.domain.fluid_kinds import FluidKind
from service.domain.vehicle_classes import VehicleClass
from service.domain.vin import vin_warning
from service.errors import InvalidInputError

MOMENTS = (
    datetime(2026, 5, 4, 0, 0, tzinfo=UTC),  # a Monday's first minute
    datetime(2026, 11, 29, 23, 59, tzinfo=UTC),  # a Sunday's last one
    datetime(2028, 2, 29, 0, 5, tzinfo=UTC),  # a leap day
    datetime(2026, 7, 31, 12, 0, tzinfo=UTC),  # a 31st
    datetime(2027, 1, 1, 6, 0, tzinfo=UTC),  # ISO week 53 of the year before
)


@pytest.fixture(scope="module", params=MOMENTS, ids=lambda moment: moment.strftime("%Y-%m-%d"))
def moment_and_fleet(request: pytest.FixtureRequest) -> tuple[datetime, DemoFleet]:
    return request.param, build_demo_fleet(request.param)


def test_same_moment_and_seed_give_the_same_fleet(fleet: DemoFleet, now: datetime) -> None:
    again = build_demo_fleet(now)
    assert again.vehicles == fleet.vehicles
    assert again.compartments == fleet.compartments
    assert again.readings == fleet.readings
    assert again.services == fleet.services
    assert again.samples == fleet.samples
    assert again.stock_movements == fleet.stock_movements
    assert again.orders == fleet.orders
    assert again.truth.compartments == fleet.truth.compartments
    np.testing.assert_array_equal(again.truth.usage.distance_km, fleet.truth.usage.distance_km)


def test_the_offset_of_the_moment_does_not_matter(fleet: DemoFleet, now: datetime) -> None:
    elsewhere = build_demo_fleet(now.astimezone(timezone(timedelta(hours=13))))
    assert elsewhere.readings == fleet.readings
    assert elsewhere.services == fleet.services


def test_another_seed_gives_another_history(fleet: DemoFleet, now: datetime) -> None:
    other = build_demo_fleet(now, seed=8)
    assert other.readings != fleet.readings
    assert other.services != fleet.services


def test_a_moment_without_offset_is_refused() -> None:
    with pytest.raises(InvalidInputError):
        build_demo_fleet(datetime(2026, 5, 1))  # noqa: DTZ001 - this is what is refused


def test_about_sixty_vehicles_of_six_classes_in_two_depots(fleet: DemoFleet) -> None:
    counts = Counter(vehicle.vehicle_class for vehicle in fleet.vehicles)
    assert set(counts) == {str(vehicle_class) for vehicle_class in VehicleClass}
    assert 55 <= counts.total() <= 65
    assert {vehicle.depot for vehicle in fleet.vehicles} == {depot.depot for depot in fleet.depots}
    assert len(fleet.depots) == 2
    assert len({vehicle.vehicle for vehicle in fleet.vehicles}) == counts.total()


def test_one_vehicle_reads_miles_and_a_few_read_hours(fleet: DemoFleet) -> None:
    in_miles = {vehicle.vehicle for vehicle in fleet.vehicles if vehicle.odometer_unit == "mi"}
    assert len(in_miles) == 1
    assert {reading.unit for reading in fleet.readings if reading.vehicle in in_miles} == {"mi"}
    with_hours = {reading.vehicle for reading in fleet.readings if reading.engine_hours is not None}
    assert 5 <= len(with_hours) <= 15


def test_it_says_that_it_is_invented(fleet: DemoFleet) -> None:
    assert "Invented" in fleet.organisation.name
    assert all("invented" in (item.maker_notes or "").lower() for item in fleet.compartments)
    assert all("invented" in movement.note.lower() for movement in fleet.stock_movements)
    assert all("INVENTED" in text for fluid in fleet.fluids for text in fluid.specifications)


def test_vehicle_identification_numbers_have_right_check_digits_and_no_maker(fleet: DemoFleet) -> None:
    """Check digit after 49 CFR 565.15; the first sign 0 stands for no region, ISO 3780."""
    vins = [vehicle.vin for vehicle in fleet.vehicles if vehicle.vin is not None]
    assert 0 < len(vins) < len(fleet.vehicles)
    assert all(vin_warning(vin) is None and vin.startswith("000DEM") for vin in vins)


def test_everything_refers_to_something_that_exists(fleet: DemoFleet) -> None:
    vehicles = {vehicle.vehicle for vehicle in fleet.vehicles}
    places = {(item.vehicle, item.compartment) for item in fleet.compartments}
    kinds = {fluid.fluid: fluid.kind for fluid in fleet.fluids}
    specifications = {text for fluid in fleet.fluids for text in fluid.specifications}
    assert {reading.vehicle for reading in fleet.readings} == vehicles
    assert {(sample.vehicle, sample.compartment) for sample in fleet.samples} <= places
    for item in fleet.compartments:
        assert kinds[item.fluid] == item.kind
        assert item.specification in specifications
    for service in fleet.services:
        assert {(service.vehicle, work.compartment) for work in service.compartments} <= places
        assert {work.fluid for work in service.compartments} <= set(kinds)
    assert {movement.fluid for movement in fleet.stock_movements} == set(kinds)
    assert {FluidKind(kind) for kind in kinds.values()}
    assert {Duty(vehicle.duty) for vehicle in fleet.vehicles} == set(Duty)


def test_references_are_unique(fleet: DemoFleet) -> None:
    repeated = {row.reference for row in fleet.truth.mistakes if row.kind == "duplicate"}
    counts = Counter(reading.reference for reading in fleet.readings)
    assert {reference for reference, count in counts.items() if count > 1} == repeated
    for records in (fleet.services, fleet.samples, fleet.stock_movements, fleet.orders):
        assert max(Counter(record.reference for record in records).values()) == 1


def test_work_is_due_this_week_by_every_limit(moment_and_fleet: tuple[datetime, DemoFleet]) -> None:
    moment, fleet = moment_and_fleet
    week = moment.isocalendar()[:2]
    truth = {(item.vehicle, item.compartment): item for item in fleet.truth.compartments}
    limits = Counter()
    for plan in fleet.truth.due_this_week:
        item = truth[plan.vehicle, plan.compartment]
        assert plan.due_on.isocalendar()[:2] == week
        assert item.limit == plan.limit
        assert item.due_on is not None
        assert abs((item.due_on - plan.due_on).days) <= 1
        assert item.due_on.isocalendar()[:2] == week
        limits[plan.limit] += 1
    assert all(limits[limit] >= 2 for limit in (Limit.DISTANCE, Limit.CALENDAR, Limit.HOURS, Limit.CONDITION))
    spoilt = truth[fleet.truth.contaminated]
    assert (spoilt.limit, spoilt.due_on) == (Limit.CONTAMINATION, moment.date())


def test_the_rest_is_spread_over_the_year(moment_and_fleet: tuple[datetime, DemoFleet]) -> None:
    moment, fleet = moment_and_fleet
    due = [(item.due_on - moment.date()).days for item in fleet.truth.compartments if item.due_on is not None]
    assert min(due) >= -7
    assert 10 <= sum(days < 28 for days in due) <= 45
    assert sum(days >= 28 for days in due) >= 100


def test_readings_wait_for_a_decision(moment_and_fleet: tuple[datetime, DemoFleet]) -> None:
    moment, fleet = moment_and_fleet
    waiting = {mistake.reference for mistake in fleet.truth.mistakes if mistake.fate == "waiting"}
    assert 3 <= len(waiting) <= 8
    taken = [reading.taken_at for reading in fleet.readings if reading.reference in waiting]
    assert all(timedelta(0) < moment - at < timedelta(days=1) for at in taken)


def test_one_fluid_runs_short_before_it_could_arrive(moment_and_fleet: tuple[datetime, DemoFleet]) -> None:
    """What is due within the lead time needs more than is there, and none of it is on order."""
    moment, fleet = moment_and_fleet
    short = next(fluid for fluid in fleet.fluids if fluid.fluid == fleet.truth.short_fluid)
    needed = sum(
        item.drainable_litres
        for item, truth in zip(fleet.compartments, fleet.truth.compartments, strict=True)
        if item.fluid == short.fluid
        and truth.due_on is not None
        and truth.due_on <= moment.date() + timedelta(days=short.lead_time_days)
    )
    assert 0 < fleet.truth.on_hand_litres[short.fluid] < needed
    assert short.fluid not in {order.fluid for order in fleet.orders}


def test_one_order_is_open(moment_and_fleet: tuple[datetime, DemoFleet]) -> None:
    moment, fleet = moment_and_fleet
    (order,) = fleet.orders
    packs = {fluid.fluid: {pack.litres for pack in fluid.packs} for fluid in fleet.fluids}
    assert order.placed_on < moment.date() < order.expected_on
    assert all(line.n_packs > 0 and line.pack_litres in packs[order.fluid] for line in order.lines)


def test_nothing_recorded_lies_in_the_future(moment_and_fleet: tuple[datetime, DemoFleet]) -> None:
    moment, fleet = moment_and_fleet
    mistyped = {mistake.reference for mistake in fleet.truth.mistakes if mistake.kind == "future"}
    assert all(row.taken_at < moment for row in fleet.readings if row.reference not in mistyped)
    assert all(service.done_at < moment for service in fleet.services)
    assert all(sample.taken_at < moment for sample in fleet.samples)
    assert all(movement.at < moment for movement in fleet.stock_movements)
