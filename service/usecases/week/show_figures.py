"""How the service itself is doing, for those who operate it."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from service.errors import InvalidInputError
from service.store.repositories import due_lists, figures, fleet, jobs
from service.store.tables.organisation import Organisation
from service.usecases.week.publish_due_list import JOB
from service.usecases.week.weekly_rule import missing_weeks


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """Instants are none where nothing of the kind has happened yet."""

    last_tick_at: datetime | None
    last_weekly_run_at: datetime | None
    n_overdue_organisations: int
    n_open_messages: int
    oldest_open_message_at: datetime | None
    oldest_projection_at: datetime | None


def show_figures(session: Session, now: datetime) -> Figures:
    """Read all figures in one snapshot."""
    published = due_lists.list_weeks(session)
    n_overdue = sum(
        _is_overdue(published.get(one.id or 0, set()), one, now) for one in fleet.list_organisations(session)
    )
    return Figures(
        last_tick_at=jobs.latest_heartbeat(session),
        last_weekly_run_at=jobs.latest_run(session, JOB),
        n_overdue_organisations=n_overdue,
        n_open_messages=figures.count_open_messages(session),
        oldest_open_message_at=figures.oldest_open_message(session),
        oldest_projection_at=figures.oldest_projection(session),
    )


def _is_overdue(published: Collection[str], organisation: Organisation, now: datetime) -> bool:
    """Whether a list is missing; where that cannot be told, none can come out either, and somebody has to look."""
    try:
        return bool(missing_weeks(published, organisation, now))
    except InvalidInputError:
        return True
