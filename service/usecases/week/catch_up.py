"""What happened to the vehicles of a list while it was drafted: nobody else could say it of lines not yet stored."""

from collections.abc import Sequence
from datetime import datetime, timedelta, timezone
from typing import Final

from sqlmodel import Session

from service.domain.exchange_methods import ExchangeMethod
from service.store.repositories import fleet, services
from service.usecases.access.caller import Caller
from service.usecases.week.describe_line import ListedLine
from service.usecases.week.mark_lines import drop_lines
from service.usecases.week.tick_off import tick_off

LONGEST_WRITE: Final = timedelta(minutes=1)
"""Work whose recording began earlier than that before the draft has ended by then, and the draft has seen it."""

LEFT: Final = "The vehicle left the fleet."
"""Why its lines are dropped."""


def catch_up(session: Session, caller: Caller, now: datetime, lines: Sequence[ListedLine]) -> None:
    """Drop stored lines of vehicles that left since the draft was begun, and tick off what was done; `now` is when.

    The vehicles are locked first: whoever works on one has either ended, and is seen here, or will see the lines.
    """
    organisation_id = caller.organisation_id
    vehicle_ids = sorted({line.vehicle_id for line in lines})
    fleet.lock_vehicles(session, organisation_id, vehicle_ids)
    places = {line.compartment_id: line.vehicle_id for line in lines}
    gone = fleet.retired_among(session, organisation_id, vehicle_ids)
    drop_lines(session, caller, now, [place for place, owner in places.items() if owner in gone], LEFT)
    for done in services.items_recorded_since(session, organisation_id, vehicle_ids, now - LONGEST_WRITE):
        place, service = done.item.compartment_id, done.service
        if place in places and done.item.method != ExchangeMethod.TOP_UP:
            zone = timezone(timedelta(minutes=service.utc_offset_minutes))
            tick_off(session, caller, now, service, service.done_at.astimezone(zone).date(), [place])
