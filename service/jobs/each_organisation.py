"""Do the same for every organisation, and let the trouble of one be its own."""

from collections.abc import Callable

import structlog

from service.errors import UnavailableError
from service.store.repositories import fleet
from service.store.session import Database

log = structlog.get_logger("jobs")


def each_organisation(database: Database, job: str, work: Callable[[int], int]) -> int:
    """Do one's work for every organisation; returns the sum of what it gave.

    What fails for one is logged and stops no other; where the database is away, all would fail.
    """
    with database.snapshot() as session:
        organisation_ids = fleet.list_organisation_ids(session)
    total = 0
    for organisation_id in organisation_ids:
        try:
            total += work(organisation_id)
        except Exception as error:
            # A lock that is held on its rows is its own trouble; a database that is away is everybody's.
            if isinstance(error, UnavailableError) and not database.is_reachable():
                raise
            log.exception("job_failed", job=job, organisation_id=organisation_id)
    return total
