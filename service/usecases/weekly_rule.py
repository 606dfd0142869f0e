"""When an organisation publishes, and which weeks are to be published now."""

from datetime import datetime, time
from typing import Final

from sqlmodel import Session

from service.domain.weeks import IsoWeek, PublishingRule, weeks_to_catch_up
from service.domain.zones import zone_named
from service.store.repositories import due_lists, fleet

MAX_CATCH_UP_WEEKS: Final = 8
"""After a longer outage only the latest weeks are made good: nobody works through older lists."""


def publishing_rule(session: Session, organisation_id: int) -> PublishingRule:
    """When an organisation publishes."""
    organisation = fleet.get_organisation(session, organisation_id)
    hour, minute = divmod(organisation.publishing_minute, 60)
    return PublishingRule(
        zone=zone_named("/time_zone", organisation.time_zone),
        iso_weekday=organisation.publishing_weekday,
        at=time(hour, minute),
    )


def due_weeks(
    session: Session, organisation_id: int, now: datetime
) -> tuple[PublishingRule, tuple[IsoWeek, ...]]:
    """Weeks whose publishing instant has come and that have no list."""
    rule = publishing_rule(session, organisation_id)
    latest = due_lists.latest_list(session, organisation_id)
    last = None if latest is None else IsoWeek.parse(latest.iso_week)
    return rule, weeks_to_catch_up(last, now, rule)[-MAX_CATCH_UP_WEEKS:]
