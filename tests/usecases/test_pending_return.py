"""Which accepted return visit is still to come."""

from datetime import UTC, datetime, timedelta

import pytest

from service.domain.exchange_methods import ExchangeMethod
from service.store.repositories.services import DoneItem
from service.store.tables.services import ReturnVisit, Service, ServiceItem
from service.usecases.fluids.pending_return import ReturnState, pending_return, return_state

NOW = datetime(2026, 5, 4, 8, tzinfo=UTC)


def visit(days_ago: int, *, is_cancelled: bool = False) -> ReturnVisit:
    return ReturnVisit(
        id=100 - days_ago,
        organisation_id=1,
        compartment_id=1,
        n_rounds=2,
        accepted_at=NOW - timedelta(days=days_ago),
        cancelled_at=NOW if is_cancelled else None,
    )


def done(days_ago: int, method: ExchangeMethod) -> DoneItem:
    at = NOW - timedelta(days=days_ago)
    return DoneItem(
        service=Service(id=1, organisation_id=1, vehicle_id=1, done_at=at, recorded_at=NOW),
        item=ServiceItem(id=1, organisation_id=1, service_id=1, compartment_id=1, method=method),
        rounds=(),
    )


@pytest.mark.parametrize(
    ("days_ago", "method", "state"),
    [
        (1, ExchangeMethod.DRAIN_AND_FILL, ReturnState.FULFILLED),
        (1, ExchangeMethod.LINE_EXCHANGE, ReturnState.FULFILLED),
        (1, ExchangeMethod.TOP_UP, ReturnState.OPEN),
        (3, ExchangeMethod.DRAIN_AND_FILL, ReturnState.OPEN),
    ],
    ids=["rounds", "a line exchange", "a top-up", "before it was accepted"],
)
def test_a_visit_is_fulfilled_by_a_change_after_it_was_accepted(days_ago, method, state):
    assert return_state(visit(2), [done(days_ago, method)]) is state


def test_a_newer_plan_replaces_an_older_one_unless_it_was_cancelled():
    older, newer = visit(5), visit(2)
    assert pending_return([older, newer], []) is newer
    assert pending_return([older, visit(2, is_cancelled=True)], []) is older
    assert pending_return([older, newer], [done(3, ExchangeMethod.DRAIN_AND_FILL)]) is newer
    assert pending_return([older, newer], [done(1, ExchangeMethod.DRAIN_AND_FILL)]) is None
