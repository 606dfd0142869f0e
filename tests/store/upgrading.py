"""The process that upgrades and is killed: forked from one that has imported what it takes, so that ten are quick."""

import multiprocessing
from pathlib import Path

from service.store import schema
from service.store.session import Database

START_FAST = multiprocessing.get_context("forkserver")
START_FAST.set_forkserver_preload([__name__, "service.store.tables.all"])


def upgrade_with(folder: Path, url: str) -> None:
    """What `sumpwise migrate` of the next program would do."""
    schema.MIGRATIONS = folder
    schema.upgrade_schema(Database(url))
