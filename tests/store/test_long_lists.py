"""Questions about more rows than a database takes parameters (SQLite: 32,766; PostgreSQL: 65,535)."""

from datetime import UTC, datetime

from service.store.repositories import due_lists
from service.store.tables.due_lists import LineEvent
from tests.store.conftest import EARLY
