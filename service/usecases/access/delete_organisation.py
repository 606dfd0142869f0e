"""Take an organisation out of the database for good, with everything that it owns."""

import time
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import datetime
from typing import Final

from sqlmodel import Session

from service.errors import UnavailableError
from service.store.repositories import whole_organisation

MOST_TRIES: Final = 10
SECONDS_BETWEEN: Final = 0.5


def delete_for_good(
    transact: Callable[[], AbstractContextManager[Session]], organisation_id: int, now: datetime
) -> int:
    """Let nobody in any more, then delete everything; returns how many rows there were.

    Whoever is at work for it already may hold a row of it and ask for the next: PostgreSQL then breaks one of both
    off, and if that is the deletion, it begins again. Nobody begins anew meanwhile, so that this ends.
    """
    with transact() as session:
        whole_organisation.shut_out(session, organisation_id, now)
    for n_left in reversed(range(MOST_TRIES)):
        try:
            with transact() as session:
                return delete_organisation(session, organisation_id)
        except UnavailableError:
            if not n_left:
                raise
            time.sleep(SECONDS_BETWEEN)
    return 0


def delete_organisation(session: Session, organisation_id: int) -> int:
    """Delete every row of it, its audit trail too; returns how many. Only backups and exports still hold them.

    Whoever writes for it at that moment waits, and is refused then, or is broken off.
    """
    whole_organisation.lock(session, organisation_id)
    return sum(
        whole_organisation.delete_rows(session, table, organisation_id)
        for table in reversed(whole_organisation.tables_with_an_owner())
    )
