"""Claims of runs, and the runs that failed."""

from datetime import datetime

from sqlalchemy import func, text
from sqlmodel import Session, col, select

from service.store.dialects import insert_into
from service.store.tables.operations import JobFailure, JobRun, NodeHeartbeat


def claim_run(
    session: Session,
    organisation_id: int,
    job: str,
    period: str,
    scheduled_at: datetime,
    now: datetime,
    node: str,
) -> bool:
    """Take a run for this transaction; false if another one has done it.

    A concurrent claim waits here until the other transaction ends, and then sees that the run is done.
    """
    statement = (
        insert_into(session, JobRun)
        .values(
            organisation_id=organisation_id,
            job=job,
            period=period,
            scheduled_at=scheduled_at,
            finished_at=now,
            node=node,
        )
        .on_conflict_do_nothing()
        .returning(col(JobRun.id))
    )
    return session.execute(statement).first() is not None


def is_claimed(session: Session, organisation_id: int, job: str, period: str) -> bool:
    """Whether a run has been done."""
    query = select(JobRun.id).where(
        JobRun.organisation_id == organisation_id, JobRun.job == job, JobRun.period == period
    )
    return session.exec(query).first() is not None


def note_failure(
    session: Session,
    organisation_id: int,
    job: str,
    period: str,
    now: datetime,
    node: str,
    reason: tuple[str, str],
) -> None:
    """Keep a failed run, its code and what was said, for somebody to see; failing likewise again renews that row."""
    code, detail = reason[0], reason[1][:1000]
    before = latest_failure(session, organisation_id, job, period)
    if before is not None and (before.code, before.detail) == (code, detail):
        before.at, before.node = now, node
        session.add(before)
        return
    session.add(
        JobFailure(
            organisation_id=organisation_id,
            job=job,
            period=period,
            at=now,
            code=code,
            detail=detail,
            node=node,
        )
    )


def latest_failure(session: Session, organisation_id: int, job: str, period: str) -> JobFailure | None:
    """Why a run failed when it was tried last."""
    query = select(JobFailure).where(
        JobFailure.organisation_id == organisation_id, JobFailure.job == job, JobFailure.period == period
    )
    return session.exec(query.order_by(col(JobFailure.id).desc()).limit(1)).first()


def note_heartbeat(session: Session, node: str, now: datetime) -> None:
    """Remember that a scheduler looked for due work."""
    statement = insert_into(session, NodeHeartbeat).values(node=node, ticked_at=now)
    session.execute(statement.on_conflict_do_update(index_elements=["node"], set_={"ticked_at": now}))


def latest_heartbeat(session: Session) -> datetime | None:
    """When any scheduler last looked for due work."""
    return session.exec(select(func.max(col(NodeHeartbeat.ticked_at)))).one()


def latest_run(session: Session, job: str) -> datetime | None:
    """When a job last succeeded for any organisation."""
    return session.exec(select(func.max(col(JobRun.finished_at))).where(JobRun.job == job)).one()


def database_time(session: Session) -> datetime:
    """Present time by the database server's clock; PostgreSQL only."""
    instant: datetime = session.connection().execute(text("SELECT clock_timestamp()")).scalar_one()
    return instant
