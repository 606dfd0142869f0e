"""Publish the list of the present or a coming week ahead of its time."""

from datetime import datetime

from sqlmodel import Session

from service.domain.roles import Scope
from service.domain.weeks import publishing_instant
from service.errors import NotFoundError
from service.store.repositories import due_lists
from service.usecases.access.caller import Caller
from service.usecases.week.publish_due_list import draft_list, publish_list
from service.usecases.week.show_due_list import CURRENT, ShownList, show_due_list, week_named
from service.usecases.week.weekly_rule import publishing_rule


def publish_now(session: Session, caller: Caller, now: datetime, name: str, node: str) -> ShownList:
    """Fix a week's list; a published one stays as it is.

    Raises
    ------
    NotFoundError
        If the week is over.
    """
    caller.require(Scope.PLANNING)
    week = week_named(session, caller, name, now)
    if week < week_named(session, caller, CURRENT, now):
        raise NotFoundError("This week is over.")
    if due_lists.find_list(session, caller.organisation_id, str(week)) is None:
        draft = draft_list(session, caller.organisation_id, week, now)
        due_at = publishing_instant(week, publishing_rule(session, caller.organisation_id))
        publish_list(session, caller, week, due_at, now, node, draft)
    return show_due_list(session, caller, now, str(week))
