"""Limits for laboratory values that an organisation has set itself."""

from sqlalchemy import delete
from sqlmodel import Session, col, select

from service.store.dialects import insert_into
from service.store.tables.alarm_limits import OwnAlarmLimit
from service.store.tables.vehicles import Compartment

_PLACE = ("organisation_id", "kind", "laboratory_property", "basis")


def list_own_limits(session: Session, organisation_id: int, kind: str | None = None) -> list[OwnAlarmLimit]:
    """Own limits of one kind of fluid or of all, by kind, property and basis."""
    query = select(OwnAlarmLimit).where(OwnAlarmLimit.organisation_id == organisation_id)
    if kind is not None:
        query = query.where(OwnAlarmLimit.kind == kind)
    order = (col(OwnAlarmLimit.kind), col(OwnAlarmLimit.laboratory_property), col(OwnAlarmLimit.basis))
    return list(session.exec(query.order_by(*order)))


def put_own_limit(session: Session, limit: OwnAlarmLimit) -> OwnAlarmLimit:
    """Store a limit in place of the one that the organisation had there; two at the same moment leave one."""
    statement = insert_into(session, OwnAlarmLimit).values(limit.model_dump(exclude={"id"}))
    changed = ("caution", "critical", "source", "set_by", "set_at")
    session.execute(
        statement.on_conflict_do_update(
            index_elements=list(_PLACE), set_={name: statement.excluded[name] for name in changed}
        )
    )
    query = select(OwnAlarmLimit).where(
        *(getattr(OwnAlarmLimit, name) == getattr(limit, name) for name in _PLACE)
    )
    return session.exec(query.execution_options(populate_existing=True)).one()


def delete_own_limits(session: Session, rows: list[OwnAlarmLimit]) -> None:
    """Remove some limits; the defaults hold again."""
    session.execute(delete(OwnAlarmLimit).where(col(OwnAlarmLimit.id).in_([row.id for row in rows])))


def vehicle_ids_with_kind(session: Session, organisation_id: int, kind: str) -> list[int]:
    """Vehicles that hold a kind of fluid, in ascending order."""
    query = select(Compartment.vehicle_id).where(
        Compartment.organisation_id == organisation_id, Compartment.kind == kind
    )
    return list(session.exec(query.distinct().order_by(col(Compartment.vehicle_id))))
