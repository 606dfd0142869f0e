"""Publish the list of the present or a coming week ahead of its time."""

from datetime import datetime
from typing import Final

from sqlmodel import Session

from service.domain.roles import Scope
from service.domain.weeks import IsoWeek, publishing_instant
from service.errors import InvalidInputError, NotFoundError
from service.store.repositories import due_lists
from service.usecases.access.caller import Caller
from service.usecases.week.publish_due_list import draft_list, publish_list
from service.usecases.week.show_due_list import CURRENT, ShownList, show_due_list, week_named
from service.usecases.week.weekly_rule import publishing_rule

MOST_WEEKS_AHEAD: Final = 4
"""Own choice."""


def week_to_publish(session: Session, caller: Caller, now: datetime, name: str) -> IsoWeek:
    """Give the week of this name, if its list can be fixed by hand.

    Raises
    ------
    NotFoundError
        If the week is over.
    InvalidInputError
        If it is so far ahead that whoever asks has mistaken it: a list that is fixed stays for good.
    """
    caller.require(Scope.PLANNING)
    week = week_named(session, caller, name, now)
    present = week_named(session, caller, CURRENT, now)
    if week < present:
        raise NotFoundError("This week is over.")
    if present.weeks_until(week) > MOST_WEEKS_AHEAD:
        raise InvalidInputError.at(
            "/iso_week",
            f"A list can be fixed up to {MOST_WEEKS_AHEAD} weeks ahead, and this week is later; nobody knows its work.",
        )
    return week


def publish_now(session: Session, caller: Caller, now: datetime, name: str, node: str) -> ShownList:
    """Fix a week's list; a published one stays as it is. Refuses the weeks that `week_to_publish` refuses."""
    week = week_to_publish(session, caller, now, name)
    if due_lists.find_list(session, caller.organisation_id, str(week)) is None:
        draft = draft_list(session, caller.organisation_id, week, now)
        due_at = publishing_instant(week, publishing_rule(session, caller.organisation_id))
        publish_list(session, caller, week, due_at, now, node, draft)
    return show_due_list(session, caller, now, str(week))
