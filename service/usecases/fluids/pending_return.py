"""Whether an accepted return visit is still to come, and what it does to the due points."""

from collections.abc import Sequence
from dataclasses import replace
from enum import StrEnum

from service.domain.exchange_methods import ExchangeMethod
from service.domain.intervals import ServicePoint
from service.store.repositories.services import DoneItem
from service.store.tables.services import ReturnVisit


class ReturnState(StrEnum):
    """Where a return visit stands."""

    OPEN = "open"
    FULFILLED = "fulfilled"
    """The fluid was changed after the visit was accepted."""

    CANCELLED = "cancelled"


def return_state(visit: ReturnVisit, items: Sequence[DoneItem]) -> ReturnState:
    """Tell from what was done since whether a visit is still to come; a top-up fulfils nothing."""
    if visit.cancelled_at is not None:
        return ReturnState.CANCELLED
    is_done = any(
        done.service.done_at > visit.accepted_at and done.item.method != ExchangeMethod.TOP_UP
        for done in items
    )
    return ReturnState.FULFILLED if is_done else ReturnState.OPEN


def pending_return(visits: Sequence[ReturnVisit], items: Sequence[DoneItem]) -> ReturnVisit | None:
    """Latest visit that is still to come; a newer plan replaces an older one."""
    is_open = [visit for visit in visits if return_state(visit, items) is ReturnState.OPEN]
    return is_open[-1] if is_open else None


def brought_forward(due: ServicePoint, visit: ReturnVisit | None) -> ServicePoint:
    """Take the earlier of the schedule and the return visit, limit by limit; it never puts a date off."""
    if visit is None:
        return due
    return replace(
        due,
        on=min((day for day in (due.on, visit.due_on) if day is not None), default=None),
        odometer_km=min(
            (km for km in (due.odometer_km, visit.due_odometer_km) if km is not None), default=None
        ),
    )
