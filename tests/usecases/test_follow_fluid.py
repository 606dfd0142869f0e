"""The order in which a fluid's history is followed."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from service.domain.exchange_methods import ExchangeMethod
from service.domain.fluid_kinds import FluidKind
from service.domain.limits import limits_for
from service.store.repositories.services import DoneItem
from service.store.tables.services import Round, Sample, Service, ServiceItem
from service.store.tables.vehicles import Compartment
from service.usecases.fluids.fluid_parameters import parameters_of
from service.usecases.fluids.follow_fluid import FluidHistory, MetersAt, follow
from service.usecases.fluids.weigh_sample import observer_for

AT = datetime(2026, 5, 4, 8, tzinfo=UTC)
NO_METERS = MetersAt(km_days=[], km=[], hours_days=[], hours=[])
OWNED = {"organisation_id": 1, "recorded_at": AT, "recorded_by": "test"}


def test_a_sample_of_the_same_instant_as_a_service_is_of_the_old_fluid():
    """Iron of 200 mg/kg before half of the fluid went: 100 stay (mass balance), and half of what was sampled is new."""
    compartment = Compartment(
        id=1,
        organisation_id=1,
        vehicle_id=1,
        reference="axle",
        kind="axle",
        total_litres=2.0,
        created_at=AT,
        baseline_on=date(2025, 1, 1),
    )
    service = Service(id=1, vehicle_id=1, done_at=AT, **OWNED)
    item = ServiceItem(
        id=1, organisation_id=1, service_id=1, compartment_id=1, method=ExchangeMethod.DRAIN_AND_FILL
    )
    half = Round(organisation_id=1, item_id=1, number=1, drained_litres=1.0, filled_litres=1.0)
    sample = Sample(
        id=1,
        compartment_id=1,
        taken_at=AT,
        utc_offset_minutes=0,
        has_values=True,
        laboratory={"iron_mg_per_kg": 200.0},
        new_values={},
        is_contaminated=False,
        **OWNED,
    )
    steps = follow(
        FluidHistory(
            compartment=compartment,
            parameters=parameters_of(["axle"], ["car"], ["normal"], [{}]),
            meters=NO_METERS,
            zone=ZoneInfo("UTC"),
            items=[DoneItem(service=service, item=item, rounds=(half,))],
            samples=[sample],
            observe=observer_for(FluidKind.AXLE, None, limits_for(FluidKind.AXLE)),
        )
    )
    assert [step.kind for step in steps] == ["start", "sample", "service"]
    assert steps[-1].after.fluid.iron_mg_per_kg[0] == pytest.approx(100.0)
    assert steps[-1].after.fresh_fraction == pytest.approx(0.5)
