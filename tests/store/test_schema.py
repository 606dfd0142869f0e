"""Asking for the schema's revision, as every readiness probe does, leaves nothing behind; and where it may be made."""

import gc
import sys
from uuid import uuid4

import pytest
from sqlalchemy import create_engine

from service.errors import ConflictError
from service.store.schema import current_revision, newest_revision, upgrade_schema
from service.store.session import Database
from tests.lent_databases import with_database

N_PROBES = 100
MOST_LEFT = 5
"""Objects a probe; a statement that is compiled and kept takes some 150."""


def test_asking_for_the_revision_again_and_again_keeps_nothing(database):
    assert current_revision(database) == newest_revision()
    gc.collect()
    before = sys.getallocatedblocks()
    for _ in range(N_PROBES):
        current_revision(database)
    gc.collect()
    assert sys.getallocatedblocks() - before < MOST_LEFT * N_PROBES


@pytest.mark.postgres
@pytest.mark.parametrize("encoding", ["SQL_ASCII", "LATIN1"])
def test_a_database_that_cannot_hold_every_text_is_refused(postgres_url, encoding):
    """A cluster that was made without a locale, as in a bare container, gives such databases unasked."""
    server = create_engine(postgres_url, isolation_level="AUTOCOMMIT")
    name = f"t{uuid4().hex[:12]}"
    with server.connect() as connection:
        connection.exec_driver_sql(
            f"CREATE DATABASE {name} TEMPLATE template0 ENCODING '{encoding}' LOCALE 'C'"
        )
    database = Database(with_database(postgres_url, name))
    try:
        assert database.is_reachable()
        with pytest.raises(ConflictError, match=f"{encoding}.*ENCODING 'UTF8'"):
            upgrade_schema(database)
        assert current_revision(database) is None
    finally:
        database.close()
        with server.connect() as connection:
            connection.exec_driver_sql(f"DROP DATABASE {name}")
        server.dispose()
