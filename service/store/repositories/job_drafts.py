"""Job sheets that were begun and not finished."""

from sqlalchemy import delete
from sqlmodel import Session, col, select

from service.store.tables.job_drafts import JobDraft


def find_draft(session: Session, organisation_id: int, vehicle_id: int) -> JobDraft | None:
    """What has been filled in of a vehicle's sheet."""
    query = select(JobDraft).where(
        JobDraft.organisation_id == organisation_id, JobDraft.vehicle_id == vehicle_id
    )
    return session.exec(query).first()


def delete_draft(session: Session, organisation_id: int, vehicle_id: int) -> None:
    """Forget it."""
    session.execute(
        delete(JobDraft).where(
            col(JobDraft.organisation_id) == organisation_id, col(JobDraft.vehicle_id) == vehicle_id
        )
    )
