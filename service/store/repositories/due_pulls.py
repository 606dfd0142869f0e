"""Sources of machine data whose turn it is to be fetched from."""

from datetime import datetime, timedelta

from sqlmodel import Session, col, select
from sqlmodel.sql.expression import SelectOfScalar

from service.store.repositories.occupied import NOBODY, Occupied
from service.store.tables.machine_sources import MachineSource


def is_any_due(session: Session, now: datetime) -> bool:
    """Whether there is anything to fetch, so that an idle node takes no lock."""
    return session.exec(_due(now).limit(1)).first() is not None


def claim_due(
    session: Session, now: datetime, lease: timedelta, occupied: Occupied = NOBODY
) -> MachineSource | None:
    """Take the longest-waiting source, but none of the occupied; others leave it alone for the lease."""
    query = _due(now).where(
        col(MachineSource.id).not_in(occupied.ids),
        col(MachineSource.organisation_id).not_in(occupied.organisation_ids),
    )
    query = query.order_by(col(MachineSource.next_pull_at), col(MachineSource.id)).limit(1)
    source = session.exec(query.with_for_update(skip_locked=True)).first()
    if source is not None:
        source.next_pull_at = now + lease
        session.add(source)
        session.flush()
    return source


def _due(now: datetime) -> SelectOfScalar[MachineSource]:
    return select(MachineSource).where(
        col(MachineSource.next_pull_at) <= now, col(MachineSource.ended_at).is_(None)
    )
