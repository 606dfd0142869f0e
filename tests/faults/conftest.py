"""A database of each kind that several processes can open."""

from pathlib import Path

import pytest

from service.store.session import Database
from tests.faults.nodes import Store


@pytest.fixture
def store(database: Database, tmp_path: Path) -> Store:
    """Empty store with the present schema; its address is what other processes are given."""
    return Store(database.engine.url.render_as_string(hide_password=False), database, tmp_path)
