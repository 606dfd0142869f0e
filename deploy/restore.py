"""Put a backup in the place of the database: all of it or nothing, and never under a running service."""

import os
import shutil
import sqlite3
import subprocess
import time
from contextlib import closing
from pathlib import Path

from deploy.backup import (
    check_sqlite,
    found_program,
    make_durable,
    postgresql_address,
    sqlite_path,
    store_kind,
)
from deploy.failures import SetupError

TABLES = "SELECT 1 FROM pg_tables WHERE schemaname = 'public' LIMIT 1"
IN_USE = (
    "SELECT count(*) FROM pg_stat_activity"
    " WHERE datname = current_database() AND usename = current_user AND pid <> pg_backend_pid()"
)
LOOKS = 10
PAUSE_SECONDS = 0.3
"""Whoever has just gone, as our own last question, is listed for a moment longer."""

ASIDE = "before_restore"
DROP_OLD = f"DROP SCHEMA IF EXISTS {ASIDE} CASCADE"
SET_ASIDE = (
    f"DROP SCHEMA IF EXISTS work_queue CASCADE; ALTER SCHEMA public RENAME TO {ASIDE};"
    " CREATE SCHEMA public AUTHORIZATION pg_database_owner"
)
TAKE_BACK = f"DROP SCHEMA public CASCADE; ALTER SCHEMA {ASIDE} RENAME TO public"
"""Of the work queue nothing is kept: it holds only what the next night would plan again."""


def restore(database_url: str, backup: Path, *, replace: bool) -> None:
    """Restore a backup; what is there already is only replaced if that is asked for."""
    if not backup.is_file():
        raise SetupError(f"There is no backup at {backup}.")
    if store_kind(database_url) == "sqlite":
        _restore_sqlite(database_url, backup, replace=replace)
    else:
        _restore_postgresql(database_url, backup, replace=replace)


def _restore_sqlite(database_url: str, backup: Path, *, replace: bool) -> None:
    target = sqlite_path(database_url)
    if target.exists():
        if not replace:
            raise SetupError(f"{target} exists already. Stop the service and say --replace if it is to go.")
        _take_out_of_use(target)
    partial = target.with_name(f"{target.name}.partial")
    partial.unlink(missing_ok=True)
    try:
        shutil.copyfile(backup, partial)
        check_sqlite(partial)
        if target.exists():
            shutil.copystat(target, partial)
            owner = target.stat()
            os.chown(partial, owner.st_uid, owner.st_gid)
        for companion in ("-wal", "-shm"):
            target.with_name(target.name + companion).unlink(missing_ok=True)
        make_durable(partial, target)
    except sqlite3.Error as error:
        raise SetupError(f"{backup} is not a database that SQLite can read: {error}.") from error
    finally:
        partial.unlink(missing_ok=True)


def _take_out_of_use(target: Path) -> None:
    """Close the write-ahead log, which SQLite refuses while anybody else has the database open."""
    try:
        with closing(sqlite3.connect(target, timeout=1.0, isolation_level=None)) as connection:
            (mode,) = connection.execute("PRAGMA journal_mode=DELETE").fetchone()
    except sqlite3.OperationalError as error:
        raise SetupError(f"{target} is in use ({error}). Stop the service first.") from error
    except sqlite3.DatabaseError:
        return  # damaged: what it is to be replaced for
    if mode != "delete":
        raise SetupError(f"{target} is in use. Stop the service first.")


def _restore_postgresql(database_url: str, backup: Path, *, replace: bool) -> None:
    """Put what is there aside, restore beside it in one transaction, and drop it only then."""
    address, password = postgresql_address(database_url)

    def run(program: str, *arguments: str) -> str:
        command = [found_program(program), "--no-password", f"--dbname={address}", *arguments]
        done = subprocess.run(command, env=os.environ | password, capture_output=True, text=True, check=False)
        if done.returncode != 0:
            raise SetupError(f"{program} failed: {done.stderr.strip()}")
        return done.stdout.strip()

    def tell(statement: str) -> str:
        return run(
            "psql",
            "--no-psqlrc",
            "--quiet",
            "--tuples-only",
            "--set=ON_ERROR_STOP=1",
            "--single-transaction",
            f"--command={statement}",
        )

    if tell(TABLES) and not replace:
        raise SetupError("The database is not empty. Stop the service and say --replace if it is to go.")
    looks = 1
    while in_use := int(tell(IN_USE)):
        if looks == LOOKS:
            raise SetupError(
                f"The database is in use ({in_use} connections of its user). Stop the service first."
            )
        looks += 1
        time.sleep(PAUSE_SECONDS)
    tell(SET_ASIDE)
    try:
        run("pg_restore", "--single-transaction", "--exit-on-error", "--no-owner", str(backup))
    except SetupError:
        tell(TAKE_BACK)
        raise
    tell(DROP_OLD)
