"""The one place where transactions begin and end.

A request, a job run or a command is one transaction; everybody else may `flush()`. A writer takes its lock when it
begins: on SQLite a transaction that reads first and writes later fails at once when somebody else wrote in between,
however long the busy timeout is, so writers say BEGIN IMMEDIATE and wait their turn.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final

from pydantic_core import to_json
from sqlalchemy import Connection, Engine, create_engine, event, make_url, text
from sqlalchemy.exc import DataError, DBAPIError, IntegrityError, InterfaceError, OperationalError
from sqlalchemy.exc import TimeoutError as PoolTimeoutError
from sqlalchemy.pool import ConnectionPoolEntry
from sqlmodel import Session

from service.errors import ConflictError, DuplicateError, InvalidInputError, ServiceError, UnavailableError
from service.store.bulk import BINARY_OPTION
from service.store.writer_queue import WriterQueue

CACHE_KIBIBYTES: Final = 2048
"""Of each connection to SQLite: what a server holds after hours of work is this for every thread that works. Sixteen
times as much took nothing off a bulk call: the operating system keeps the file's pages too, and once for all
connections.
"""

STATEMENT_TIMEOUT_FACTOR: Final = 2
"""On PostgreSQL a statement may take this many times the wait for a lock."""

LONGEST_PAUSE_SECONDS: Final = 600
"""On PostgreSQL a transaction in which nothing happens for so long is ended: whoever holds it stands still or is gone,
and what it has locked waits. Fitting a fleet, the longest computation within one, takes seconds.
"""

BUSY: Final = "The database is busy or away; nothing was stored, send the same call again."

_RUINED: Final = ("file is not a database", "database disk image is malformed")
"""How SQLite begins to speak of a file that no call can be answered from."""

_TRANSIENT_POSTGRES_STATES: Final = frozenset(
    {"25P03", "40001", "40P01", "55P03", "57014", "57P01", "57P02", "57P03", "53100", "53200", "53300"}
)


class Database:
    """An engine and the two ways to use it."""

    def __init__(
        self, url: str, *, pool_size: int = 8, timeout_seconds: float = 15.0, sqlite_synchronous: str = "FULL"
    ) -> None:
        self.is_sqlite = make_url(url).get_backend_name() == "sqlite"
        self.pool_size = pool_size
        self.timeout_seconds = timeout_seconds
        self._writers = WriterQueue()
        if self.is_sqlite:
            self.engine = _sqlite_engine(url, pool_size, timeout_seconds, sqlite_synchronous)
        else:
            self.engine = _postgresql_engine(url, pool_size, timeout_seconds)

    @contextmanager
    def transaction(self) -> Iterator[Session]:
        """Open a writing transaction; committed when the block ends, rolled back when it raises."""
        with self._turn(), as_service_errors(), Session(self.engine, expire_on_commit=False) as session:
            session.connection(execution_options={"sqlite_begin": "IMMEDIATE"})
            yield session
            session.commit()

    @contextmanager
    def _turn(self) -> Iterator[None]:
        """Wait in line for SQLite's one place to write; PostgreSQL has as many as there are connections."""
        if not self.is_sqlite:
            yield
            return
        if not self._writers.take(self.timeout_seconds):
            raise UnavailableError(BUSY)
        try:
            yield
        finally:
            self._writers.leave()

    @contextmanager
    def snapshot(self) -> Iterator[Session]:
        """Open a reading transaction: one consistent view, never queued behind a writer, never committed."""
        with as_service_errors(), Session(self.engine, expire_on_commit=False) as session:
            options: dict[str, Any] = {} if self.is_sqlite else {"isolation_level": "REPEATABLE READ"}
            session.connection(execution_options=options)
            yield session

    def is_reachable(self) -> bool:
        """Whether a trivial query is answered."""
        try:
            with self.engine.connect() as connection:
                connection.execute(text("SELECT 1"))
        except DBAPIError:
            return False
        except PoolTimeoutError:
            return False
        return True

    def close(self) -> None:
        """Give all connections back."""
        self.engine.dispose()


@contextmanager
def as_service_errors() -> Iterator[None]:
    """Turn a busy, full or missing database into an error that says: nothing changed, try again."""
    try:
        yield
    except PoolTimeoutError as error:
        raise UnavailableError("All database connections are busy; send the same call again.") from error
    except DBAPIError as error:
        told = _told(_first_of(error))
        if told is None:
            raise
        raise told from error


def _first_of(error: DBAPIError) -> DBAPIError:
    """What went wrong first: SQLite ends the transaction when its disk is full, and then misses the savepoint in it."""
    before = error.__context__
    while before is not None and not isinstance(before, DBAPIError):
        before = before.__context__
    return error if before is None or "no such savepoint" not in str(error.orig) else _first_of(before)


def _told(error: DBAPIError) -> ServiceError | None:
    """What a caller is told of a database's error; none where the fault is ours and trying again would not help."""
    if isinstance(error, IntegrityError):
        return _lost_race(error)
    if isinstance(error, DataError):
        return InvalidInputError(
            "Something in the request cannot be stored or looked up, such as an invisible character."
        )
    is_away = isinstance(error, OperationalError | InterfaceError) and not _is_our_mistake(error)
    is_away = is_away or str(error.orig).startswith(_RUINED)
    is_passing = (
        error.connection_invalidated or getattr(error.orig, "sqlstate", None) in _TRANSIENT_POSTGRES_STATES
    )
    return _unavailable(error) if is_away or is_passing else None


def _is_our_mistake(error: DBAPIError) -> bool:
    """Whether SQLite means a statement that fits no table: trying again would not help, and hiding it would hurt."""
    return str(error.orig).startswith(("no such", "near ", "table ", "unrecognized"))


def _unavailable(error: DBAPIError) -> UnavailableError:
    message = str(error.orig).lower()
    if message.startswith(_RUINED):
        return UnavailableError("The database's file is damaged, or is no database; nothing was stored.")
    if "full" in message or getattr(error.orig, "sqlstate", None) == "53100":
        return UnavailableError(
            "The disk of the database is full; nothing was stored.", retry_after_seconds=60
        )
    return UnavailableError(BUSY)


def _lost_race(error: IntegrityError) -> ServiceError | None:
    """What to say when somebody else was faster by a moment; none if a check of ours let something through."""
    code = getattr(error.orig, "sqlstate", None) or getattr(error.orig, "sqlite_errorname", "")
    if code in {"23505", "SQLITE_CONSTRAINT_UNIQUE", "SQLITE_CONSTRAINT_PRIMARYKEY"}:
        return DuplicateError("Somebody stored the same thing a moment ago; read it again.")
    if code in {"23503", "SQLITE_CONSTRAINT_FOREIGNKEY"}:
        return ConflictError("Something that this refers to was changed a moment ago; read it again.")
    return None


def _json_text(value: Any) -> str:
    """Write JSON at a tenth of the standard library's time."""
    return to_json(value).decode()


def _sqlite_engine(url: str, pool_size: int, timeout_seconds: float, synchronous: str) -> Engine:
    engine = create_engine(
        url,
        json_serializer=_json_text,
        hide_parameters=True,  # errors are logged
        connect_args={"isolation_level": None, "check_same_thread": False, "timeout": timeout_seconds},
        pool_size=pool_size,
        max_overflow=pool_size,
        pool_timeout=timeout_seconds,
        pool_use_lifo=True,  # the connection used last has its cache filled; the others need none
    )

    @event.listens_for(engine, "connect")
    def _set_pragmas(connection: sqlite3.Connection, _entry: ConnectionPoolEntry) -> None:
        for pragma in (
            "journal_mode=WAL",
            f"synchronous={synchronous}",
            "foreign_keys=ON",
            "temp_store=MEMORY",
            f"cache_size=-{CACHE_KIBIBYTES}",
        ):
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        mode = connection.get_execution_options().get("sqlite_begin", "DEFERRED")
        connection.exec_driver_sql(f"BEGIN {mode}")

    return engine


def _postgresql_engine(url: str, pool_size: int, timeout_seconds: float) -> Engine:
    milliseconds = int(timeout_seconds * 1000)
    settings = (
        f"-c lock_timeout={milliseconds} -c statement_timeout={milliseconds * STATEMENT_TIMEOUT_FACTOR}"
        f" -c idle_in_transaction_session_timeout={LONGEST_PAUSE_SECONDS * 1000}"
        " -c synchronous_commit=on -c timezone=UTC"
    )
    engine = create_engine(
        url,
        json_serializer=_json_text,
        hide_parameters=True,  # errors are logged
        connect_args={
            "options": settings,
            "client_encoding": "UTF8",
            "connect_timeout": max(2, int(timeout_seconds)),
            # Every query is planned for its values: a plan that is kept cuts a list that was sent as one for every row.
            "prepare_threshold": None,
        },
        pool_size=pool_size,
        max_overflow=pool_size,
        pool_timeout=timeout_seconds,
        pool_pre_ping=True,
    )

    @event.listens_for(engine, "before_cursor_execute")
    def _choose_form(
        _connection: Connection, cursor: Any, _statement: str, _values: Any, context: Any, _is_many: bool
    ) -> None:
        if context is not None and context.execution_options.get(BINARY_OPTION):
            cursor.format = 1

    return engine
