"""What one service does to a fluid: how much of the old one stays, and what was in the unit before.

Derived: a round leaves what was not drained, by what is in the unit afterwards; a line exchange of one charge leaves at
most 1/e of it, which is the well-mixed unit.
"""

from datetime import UTC, datetime
from math import exp

import numpy as np
import pytest

from service.domain.exchange_methods import ExchangeMethod
from service.engine.exchange.line import retained_tanks_in_series
from service.engine.exchange.state import fluid_state
from service.store.repositories.services import DoneItem
from service.store.tables.services import Round, Service, ServiceItem
from service.store.tables.vehicles import Compartment
from service.usecases.fluids.exchange_fluid import Exchanged, exchange_fluid

NOW = datetime(2026, 5, 4, 8, tzinfo=UTC)
UNIT = Compartment(
    id=1, organisation_id=1, vehicle_id=1, reference="gearbox", kind="axle", total_litres=8.0, created_at=NOW
)


def serviced(*litres: tuple[float, float], held: float = 8.0, **more: object) -> Exchanged:
    """Exchange fluid of which half the life is used."""
    facts = {"method": ExchangeMethod.DRAIN_AND_FILL, **more}
    item = ServiceItem(id=1, organisation_id=1, service_id=1, compartment_id=1, **facts)
    rounds = tuple(
        Round(organisation_id=1, item_id=1, number=number, drained_litres=out, filled_litres=into)
        for number, (out, into) in enumerate(litres, start=1)
    )
    service = Service(id=1, organisation_id=1, vehicle_id=1, done_at=NOW, recorded_at=NOW)
    return exchange_fluid(
        UNIT, fluid_state(held, life_used=0.5), DoneItem(service=service, item=item, rounds=rounds)
    )


def test_a_line_exchange_after_a_round_acts_on_what_the_round_left():
    found = serviced((4.0, 4.0), method=ExchangeMethod.LINE_EXCHANGE, passed_litres=8.0)
    by_line = float(retained_tanks_in_series(np.array([1.0]))[0])
    assert exp(-1.0) >= by_line
    assert found.retained_share == pytest.approx(0.5 * by_line)
    assert found.filled_litres == 12.0


def test_a_measured_excess_tells_what_was_in_the_unit_before():
    """8 L at the mark, 1 L run off, 4 L out and 4 L in: there were 9 L, of which 5 stayed under 4 L of new fluid."""
    found = serviced((4.0, 4.0), level_celsius=40.0, excess_drained_litres=1.0)
    assert found.volume_before_litres == pytest.approx(9.0)
    assert found.retained_share == pytest.approx(5.0 / 9.0)


def test_an_excess_that_no_level_explains_changes_nothing_before():
    found = serviced((4.0, 4.0), level_celsius=40.0, excess_drained_litres=1.3)
    assert found.volume_before_litres == pytest.approx(8.0)


@pytest.mark.parametrize(
    ("litres", "held", "before"),
    [
        (((5.0, 5.0),), 3.0, 5.0),
        (((5.0, 5.0), (5.0, 5.0)), 3.0, 5.0),
        (((2.0, 1.0), (2.0, 3.0)), 2.0, 3.0),
        (((2.0, 4.0), (4.0, 4.0)), 2.0, 2.0),
    ],
    ids=[
        "more than was thought",
        "filled up in between",
        "left short in between",
        "what was filled comes out again",
    ],
)
def test_whoever_drained_more_than_was_thought_to_be_there_found_more_there(litres, held, before):
    assert serviced(*litres, held=held).volume_before_litres == pytest.approx(before)
