"""Which days somebody may choose for a visit: from today, as far ahead as anything is projected."""

from datetime import date, datetime

from sqlmodel import Session

from service.domain.weeks import IsoWeek
from service.errors import InvalidInputError
from service.store.repositories import fleet
from service.usecases.access.caller import Caller
from service.usecases.due import project_due


def require_visit_day(session: Session, caller: Caller, now: datetime, pointer: str, day: date) -> None:
    """Refuse a day that is over, and one of which the plan knows nothing, such as a year mistyped.

    Raises
    ------
    InvalidInputError
        At this pointer.
    """
    organisation = fleet.get_organisation(session, caller.organisation_id)
    today = organisation.today(now)
    if day < today:
        raise InvalidInputError.at(pointer, "This day is over.")
    last = IsoWeek.of(today).shifted(project_due.N_WEEKS - 1).last_day
    if day > last:
        raise InvalidInputError.at(
            pointer,
            f"Nothing is projected beyond {project_due.N_WEEKS} weeks ahead; choose a day up to {last}.",
        )
