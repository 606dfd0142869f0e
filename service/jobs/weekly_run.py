"""Publish what is to be published: every organisation, every week that has come, once."""

from datetime import datetime

import structlog

from service.domain.weeks import IsoWeek, publishing_instant
from service.errors import ServiceError, UnavailableError
from service.jobs.each_organisation import each_organisation
from service.store.repositories import jobs
from service.store.session import Database
from service.usecases.access.caller import Caller, system_caller
from service.usecases.week.publish_due_list import JOB, draft_list, publish_list
from service.usecases.week.weekly_rule import due_weeks

log = structlog.get_logger("weekly_run")


def run_weekly(database: Database, now: datetime, node: str) -> int:
    """Publish all lists that are due at `now`; returns how many. One organisation's trouble stops no other."""
    return each_organisation(database, JOB, lambda key: _run_organisation(database, key, now, node))


def _run_organisation(database: Database, organisation_id: int, now: datetime, node: str) -> int:
    caller = system_caller(organisation_id, JOB)
    try:
        with database.snapshot() as session:
            rule, weeks = due_weeks(session, organisation_id, now)
    except UnavailableError:
        raise
    except Exception as error:
        # Which weeks they are is what cannot be told; the present one stands for them.
        _note_failure(database, caller, IsoWeek.of(now.date()), now, node, error)
        return 0
    n_published = 0
    for week in weeks:
        is_published = _publish(database, caller, week, publishing_instant(week, rule), now, node)
        if is_published is None:
            break  # a later list would hide that this one is missing
        n_published += is_published
    return n_published


def _publish(
    database: Database,
    caller: Caller,
    week: IsoWeek,
    due_at: datetime,
    now: datetime,
    node: str,
) -> bool | None:
    """Draft on a snapshot, so that the writers' lock is held only while the list is written; none if it failed."""
    try:
        with database.snapshot() as session:
            draft = draft_list(session, caller.organisation_id, week, now)
        with database.transaction() as session:
            published = publish_list(session, caller, week, due_at, now, node, draft)
    except Exception as error:
        _note_failure(database, caller, week, now, node, error)
        return None
    if published is None:
        return False
    log.info(
        "due_list_published",
        organisation_id=caller.organisation_id,
        week=str(week),
        n_lines=published.n_lines,
    )
    return True


def _note_failure(
    database: Database, caller: Caller, week: IsoWeek, now: datetime, node: str, error: Exception
) -> None:
    log.error("weekly_run_failed", exc_info=error, organisation_id=caller.organisation_id, week=str(week))
    code = error.code if isinstance(error, ServiceError) else type(error).__name__
    with database.transaction() as session:
        jobs.note_failure(session, caller.organisation_id, JOB, str(week), now, node, (code, str(error)))
