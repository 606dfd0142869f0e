"""A depot that is made because somebody named it, once, however many name it at the same moment."""

from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from service.store.repositories.fleet import find_depot
from service.store.tables.organisation import Depot


def add_depot_once(session: Session, depot: Depot) -> tuple[Depot, bool]:
    """Add a depot; gives the one that is stored, and whether it is this one."""
    try:
        with session.begin_nested():
            session.add(depot)
    except IntegrityError:
        other = find_depot(session, depot.organisation_id, depot.reference)
        if other is None:
            raise
        return other, False
    return depot, True
