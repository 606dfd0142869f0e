"""When an organisation publishes, and which weeks are to be published now."""

from collections.abc import Collection
from datetime import datetime, time
from typing import Final

from sqlmodel import Session

from service.domain.weeks import (
    IsoWeek,
    PublishingRule,
    last_week_to_publish,
    publishing_instant,
    weeks_to_catch_up,
)
from service.store.repositories import due_lists, fleet
from service.store.tables.organisation import Organisation

MAX_CATCH_UP_WEEKS: Final = 8
"""After a longer outage only the latest weeks are made good: nobody works through older lists."""


def publishing_rule(session: Session, organisation_id: int) -> PublishingRule:
    """When an organisation publishes."""
    return rule_of(fleet.get_organisation(session, organisation_id))


def rule_of(organisation: Organisation) -> PublishingRule:
    """When this organisation publishes."""
    hour, minute = divmod(organisation.publishing_minute, 60)
    return PublishingRule(
        zone=organisation.zone,
        iso_weekday=organisation.publishing_weekday,
        at=time(hour, minute),
    )


def due_weeks(
    session: Session, organisation_id: int, now: datetime
) -> tuple[PublishingRule, tuple[IsoWeek, ...]]:
    """Weeks whose publishing instant has come and that have no list."""
    organisation = fleet.get_organisation(session, organisation_id)
    published = due_lists.list_weeks(session, organisation_id).get(organisation_id, set())
    return rule_of(organisation), missing_weeks(published, organisation, now)


def missing_weeks(
    published: Collection[str], organisation: Organisation, now: datetime
) -> tuple[IsoWeek, ...]:
    """Weeks to publish now, given those that have a list; one published ahead of its time hides none before it.

    What fell due before the organisation was there was not missed. Published at once, its first list would be that of
    a fleet which somebody is only registering, and stay so for the week; a draft follows, and anybody who plans may
    publish it.
    """
    rule = rule_of(organisation)
    first = min((IsoWeek.parse(week) for week in published), default=None)
    # A rule changed after the first list may make the week before it the latest one: that one is over.
    if first is not None and first > last_week_to_publish(now, rule).shifted(1):
        first = None
    weeks = weeks_to_catch_up(first, now, rule)[-MAX_CATCH_UP_WEEKS:]
    return tuple(
        week
        for week in weeks
        if str(week) not in published and publishing_instant(week, rule) >= organisation.created_at
    )
