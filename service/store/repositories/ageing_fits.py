"""Ageing rates that were fitted from samples and accepted."""

from sqlmodel import Session, col, select

from service.domain.external_ids import IdKind
from service.store.own_rows import get_own
from service.store.tables.ageing_fits import AgeingFit


def list_fits(session: Session, organisation_id: int) -> list[AgeingFit]:
    """All fits, the latest first, reverted ones too."""
    query = select(AgeingFit).where(AgeingFit.organisation_id == organisation_id)
    return list(session.exec(query.order_by(col(AgeingFit.id).desc())))


def fits_in_force(session: Session, organisation_id: int) -> dict[tuple[str, str, str], AgeingFit]:
    """Latest fit that is not reverted, by fluid kind, duty and class of vehicles."""
    query = select(AgeingFit).where(
        AgeingFit.organisation_id == organisation_id, col(AgeingFit.reverted_at).is_(None)
    )
    rows = session.exec(query.order_by(col(AgeingFit.id)))
    return {(row.kind, row.duty, row.vehicle_class): row for row in rows}


def get_fit(session: Session, organisation_id: int, reference: str) -> AgeingFit:
    """Fit by its id.

    Raises
    ------
    NotFoundError
        If the organisation has none.
    """
    return get_own(
        session, AgeingFit, organisation_id, IdKind.AGEING_FIT, reference, "There is no fit with this id."
    )
