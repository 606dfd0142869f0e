"""A backup of the running service's database: whole, checked, and never half a file under its final name."""

import os
import re
import shutil
import sqlite3
import subprocess
from contextlib import closing
from datetime import datetime
from pathlib import Path
from urllib.parse import unquote, urlsplit, urlunsplit

from deploy.failures import SetupError

NAME = re.compile(r"sumpwise-\d{8}T\d{6}Z\.(sqlite|dump)")
LOCK_WAIT_SECONDS = 60.0


def back_up(database_url: str, folder: Path, keep: int, now: datetime) -> Path:
    """Write one backup into `folder`, and remove all but the newest `keep`."""
    if keep < 1:
        raise SetupError("--keep must be 1 or more.")
    is_sqlite = store_kind(database_url) == "sqlite"
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"sumpwise-{now:%Y%m%dT%H%M%SZ}.{'sqlite' if is_sqlite else 'dump'}"
    if path.exists():
        raise SetupError(f"{path} exists already; a backup is never overwritten.")
    partial = path.with_name(path.name + ".partial")
    partial.unlink(missing_ok=True)
    try:
        if is_sqlite:
            _copy_sqlite(database_url, partial)
        else:
            _dump_postgresql(database_url, partial)
        make_durable(partial, path)
    finally:
        partial.unlink(missing_ok=True)
    for old in sorted((file for file in folder.iterdir() if NAME.fullmatch(file.name)), reverse=True)[keep:]:
        old.unlink()
    return path


def store_kind(database_url: str) -> str:
    """Say which of the two stores an address is of."""
    backend = re.match(r"(sqlite|postgresql)(\+\w+)?://", database_url)
    if backend is None:
        raise SetupError("SUMPWISE_DATABASE_URL must begin with sqlite:// or postgresql://.")
    return backend[1]


def sqlite_path(database_url: str) -> Path:
    """Where the file is."""
    return Path(unquote(urlsplit(database_url).path[1:]))


def check_sqlite(path: Path) -> None:
    """Ask SQLite whether a file is a sound database."""
    with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as connection:
        faults = [row[0] for row in connection.execute("PRAGMA integrity_check")]
    if faults != ["ok"]:
        raise SetupError(f"{path} is not sound: {'; '.join(faults[:3])}.")


def _copy_sqlite(database_url: str, target: Path) -> None:
    """Copy with VACUUM INTO: one moment's state, however much is being written."""
    source = sqlite_path(database_url)
    if not source.is_file():
        raise SetupError(f"There is no database at {source.resolve()}.")
    try:
        address = f"{source.resolve().as_uri()}?mode=rw"
        with closing(sqlite3.connect(address, uri=True, timeout=LOCK_WAIT_SECONDS)) as connection:
            connection.execute("VACUUM INTO ?", (str(target),))
        check_sqlite(target)
    except sqlite3.Error as error:
        raise SetupError(f"SQLite could not copy {source}: {error}.") from error


def _dump_postgresql(database_url: str, target: Path) -> None:
    """Dump with PostgreSQL's own tool, then read the dump's table of contents back."""
    address, password = postgresql_address(database_url)
    for name, *arguments in (
        ["pg_dump", "--no-password", "--format=custom", f"--file={target}", f"--dbname={address}"],
        ["pg_restore", "--list", str(target)],
    ):
        command = [found_program(name), *arguments]
        done = subprocess.run(command, env=os.environ | password, capture_output=True, text=True, check=False)
        if done.returncode != 0:
            raise SetupError(f"{name} failed: {done.stderr.strip()}")


def postgresql_address(database_url: str) -> tuple[str, dict[str, str]]:
    """Address for PostgreSQL's tools, and its password as a variable, so that it stays out of the process list."""
    url = urlsplit(database_url)
    password = {"PGPASSWORD": unquote(url.password)} if url.password else {}
    user, _, place = url.netloc.rpartition("@")
    without_password = f"{user.split(':')[0]}@{place}" if user else place
    return urlunsplit(("postgresql", without_password, url.path, url.query, "")), password


def found_program(name: str) -> str:
    """Find one of PostgreSQL's tools."""
    program = shutil.which(name)
    if program is None:
        raise SetupError(f"{name} is not installed. On Debian and Ubuntu: apt install postgresql-client.")
    return program


def make_durable(partial: Path, path: Path) -> None:
    """Give the file its name only when its bytes are on the disk."""
    with partial.open("rb+") as file:
        os.fsync(file.fileno())
    partial.rename(path)
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
