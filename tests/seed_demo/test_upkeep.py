"""Services, samples and stock are physically possible and agree with the truth."""

from collections import defaultdict
from itertools import pairwise

import numpy as np
import pytest

from seed_demo import cast
from seed_demo.fleet import DemoFleet
from seed_demo.records import DemoCompartment
from seed_demo.shelf import litres_drawn
from seed_demo.wear import Fill, Past, used_by_limit, wear_of
from service.domain.exchange_methods import ExchangeMethod
from service.domain.fluid_kinds import AUTOMATIC_KINDS, FluidKind
from service.domain.laboratory import PROPERTY_RULES, LaboratoryProperty
from service.domain.plausibility import (
    COMPARTMENT_LITRES,
    EXCHANGED_LITRES,
    INTERVAL_HOURS,
    INTERVAL_KM,
    INTERVAL_MONTHS,
    LEAD_TIME_DAYS,
    LIFE_USED,
    PACK_LITRES,
    PRICE_MINOR,
)
from service.domain.visual_grades import VisualGrade


def _compartments(fleet: DemoFleet) -> dict[tuple[str, str], DemoCompartment]:
    return {(item.vehicle, item.compartment): item for item in fleet.compartments}


def test_compartments_are_possible(fleet: DemoFleet) -> None:
    for item in fleet.compartments:
        assert COMPARTMENT_LITRES.hold(item.total_litres)
        assert 0 < item.drainable_litres <= item.total_litres
        assert item.interval_km is None or INTERVAL_KM.hold(item.interval_km)
        assert item.interval_months is None or INTERVAL_MONTHS.hold(item.interval_months)
        assert item.interval_hours is None or INTERVAL_HOURS.hold(item.interval_hours)


def test_fluids_are_possible(fleet: DemoFleet) -> None:
    for fluid in fleet.fluids:
        assert LEAD_TIME_DAYS.hold(fluid.lead_time_days)
        assert all(
            PACK_LITRES.hold(pack.litres) and PRICE_MINOR.hold(pack.price_minor) for pack in fluid.packs
        )


def test_every_compartment_has_been_serviced(fleet: DemoFleet) -> None:
    done = {
        (service.vehicle, work.compartment) for service in fleet.services for work in service.compartments
    }
    assert done == set(_compartments(fleet))


def test_rounds_fit_the_compartment_and_leave_it_full(fleet: DemoFleet) -> None:
    """What went in, less the excess that the level check shed, is what came out: mass balance (derived)."""
    compartments = _compartments(fleet)
    for service in fleet.services:
        for work in service.compartments:
            if work.method == ExchangeMethod.TOP_UP:
                continue
            item = compartments[service.vehicle, work.compartment]
            drained = sum(done.drained_litres for done in work.rounds)
            filled = sum(done.filled_litres for done in work.rounds)
            assert all(EXCHANGED_LITRES.hold(done.filled_litres) for done in work.rounds)
            assert all(0 < done.drained_litres <= item.total_litres for done in work.rounds)
            assert filled - drained == pytest.approx(work.excess_drained_litres or 0.0, abs=0.011)
            if work.level_celsius is not None:
                assert item.level_min_celsius <= work.level_celsius <= item.level_max_celsius


def test_automatics_are_exchanged_in_rounds_and_graded(fleet: DemoFleet) -> None:
    compartments = _compartments(fleet)
    rounds = []
    for service in fleet.services:
        for work in service.compartments:
            if FluidKind(compartments[service.vehicle, work.compartment].kind) in AUTOMATIC_KINDS:
                rounds.append(len(work.rounds))
                assert work.counter_reset
                assert work.seals_renewed
                assert VisualGrade(work.old_fluid_grade)
    assert set(rounds) == {0, 1, 3}


def test_one_line_exchange_and_one_top_up(fleet: DemoFleet) -> None:
    by_method = defaultdict(list)
    for service in fleet.services:
        for work in service.compartments:
            by_method[work.method].append((service.vehicle, work.compartment, work.passed_litres))
    assert [entry[:2] for entry in by_method["line_exchange"]] == [cast.LINE_EXCHANGED]
    assert by_method["line_exchange"][0][2] > 0
    assert [entry[:2] for entry in by_method["top_up"]] == [cast.TOPPED_UP]
    assert set(by_method) == {str(method) for method in ExchangeMethod}


def test_the_odometer_at_services_is_that_of_the_instrument(fleet: DemoFleet) -> None:
    by_vehicle = defaultdict(list)
    for service in fleet.services:
        by_vehicle[service.vehicle].append(service)
    for vehicle, services in by_vehicle.items():
        odometers = [service.odometer for service in services]
        falls = sum(after < before for before, after in pairwise(odometers))
        assert falls == (1 if vehicle == cast.CLUSTER_REPLACED else 0)


def test_stock_never_falls_below_nothing_and_ends_as_told(fleet: DemoFleet) -> None:
    events = [(movement.at, 0, movement.fluid, movement.litres) for movement in fleet.stock_movements]
    for service in fleet.services:
        events += [(service.done_at, 1, fluid, -litres) for fluid, litres in litres_drawn(service).items()]
    on_hand: dict[str, float] = defaultdict(float)
    for _, _, fluid, litres in sorted(events):
        on_hand[fluid] += litres
        assert on_hand[fluid] >= -1e-6
    for fluid, litres in fleet.truth.on_hand_litres.items():
        assert on_hand[fluid] == pytest.approx(litres, abs=0.02)


def test_deliveries_are_whole_packs(fleet: DemoFleet) -> None:
    packs = {fluid.fluid: [pack.litres for pack in fluid.packs] for fluid in fleet.fluids}
    for movement in fleet.stock_movements:
        if movement.kind == "receipt":
            assert any(movement.litres % litres == 0 for litres in packs[movement.fluid])


def test_samples_look_like_the_true_state(fleet: DemoFleet) -> None:
    assert len(fleet.samples) >= 20
    contaminated = [sample for sample in fleet.samples if sample.is_contaminated]
    assert [(sample.vehicle, sample.compartment) for sample in contaminated] == [cast.CONTAMINATED]
    assert contaminated[0].grade == VisualGrade.MILKY
    for sample in fleet.samples:
        assert sample.grade is not None or sample.laboratory
        assert sample.grade is None or VisualGrade(sample.grade)
        for name, value in sample.laboratory.items():
            assert PROPERTY_RULES[LaboratoryProperty(name)].bounds.hold(value)


def test_coolant_was_found_after_the_last_service(fleet: DemoFleet) -> None:
    found = next(sample.taken_at for sample in fleet.samples if sample.is_contaminated)
    services = [
        service.done_at
        for service in fleet.services
        for work in service.compartments
        if (service.vehicle, work.compartment) == cast.CONTAMINATED
    ]
    assert max(services) < found


def test_true_states_are_possible(fleet: DemoFleet) -> None:
    for item in fleet.truth.compartments:
        assert LIFE_USED.hold(item.life_used)
        assert 0 < item.fresh_share <= 1


def test_life_used_follows_the_linear_law() -> None:
    """50,000 km at duty 1.3 and 100,000 km, plus 730.5 of 3652.5 days: 0.65 + 0.20 = 0.85 (worked by hand)."""
    item = DemoCompartment(
        vehicle="V",
        compartment="gearbox",
        place="transmission",
        kind="automatic_transmission_car",
        fluid="F",
        specification="S",
        total_litres=8.0,
        drainable_litres=4.0,
        interval_km=100_000.0,
        interval_months=120,
    )
    edges = np.arange(732.0)
    past = Past(distance_km=edges * (50_000.0 / 730.5), engine_hours=np.zeros(edges.size))
    fill = Fill(day=0.0, life_used=0.0, schedule_used=0.0, fresh_share=1.0)
    used = used_by_limit(wear_of(item, "mixed"), past, fill, 730.5)
    assert float(used["condition"]) * 0.8 == pytest.approx(0.85)
    assert float(used["distance"]) == pytest.approx(0.5)
    assert float(used["calendar"]) == pytest.approx(0.2)
    assert float(used["hours"]) == 0.0
