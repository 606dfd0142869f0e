"""Take an organisation out of the database for good, with everything that it owns."""

from sqlmodel import Session

from service.store.repositories import whole_organisation


def delete_organisation(session: Session, organisation_id: int) -> int:
    """Delete every row of it, its audit trail too; returns how many. Only backups and exports still hold them.

    Whoever writes for it at that moment waits, and is refused then.
    """
    whole_organisation.lock(session, organisation_id)
    return sum(
        whole_organisation.delete_rows(session, table, organisation_id)
        for table in reversed(whole_organisation.tables_with_an_owner())
    )
