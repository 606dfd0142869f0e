"""`python3 deploy restore`: a backup takes the place of a database, never under a running service."""

import os
import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import psycopg
import pytest

from deploy.backup import back_up
from deploy.commands import main
from deploy.failures import SetupError
from deploy.restore import restore
from service.store.session import Database
from tests.deploy.test_backup import postgresql_programs

NOW = datetime(2026, 5, 4, 2, 15, tzinfo=UTC)


@pytest.fixture
def source(tmp_path: Path) -> Path:
    path = tmp_path / "fleet.sqlite"
    with closing(sqlite3.connect(path)) as connection:
        connection.executescript("PRAGMA journal_mode=WAL; CREATE TABLE reading (id INTEGER)")
        connection.executemany("INSERT INTO reading VALUES (?)", [(number,) for number in range(1000)])
        connection.commit()
    return path


def n_readings(path: Path) -> int:
    with closing(sqlite3.connect(path)) as connection:
        return int(connection.execute("SELECT count(*) FROM reading").fetchone()[0])


def test_a_backup_takes_the_place_of_a_lost_file(source: Path, tmp_path: Path) -> None:
    copy = back_up(f"sqlite:///{source}", tmp_path / "backups", 3, NOW)
    source.unlink()
    restore(f"sqlite:///{source}", copy, replace=False)
    assert n_readings(source) == 1000


def test_a_database_is_replaced_only_when_asked_and_not_in_use(source: Path, tmp_path: Path) -> None:
    url = f"sqlite:///{source}"
    copy = back_up(url, tmp_path / "backups", 3, NOW)
    with closing(sqlite3.connect(source, isolation_level=None)) as service:
        service.execute("DELETE FROM reading WHERE id >= 10")
        with pytest.raises(SetupError, match="exists already"):
            restore(url, copy, replace=False)
        with pytest.raises(SetupError, match="in use"):
            restore(url, copy, replace=True)
        assert service.execute("SELECT count(*) FROM reading").fetchone() == (10,)
    restore(url, copy, replace=True)
    assert n_readings(source) == 1000
    assert sorted(path.name for path in tmp_path.iterdir()) == ["backups", "fleet.sqlite"]


def test_a_damaged_backup_changes_nothing(source: Path, tmp_path: Path) -> None:
    damaged = tmp_path / "damaged.sqlite"
    content = source.read_bytes()
    damaged.write_bytes(content[: len(content) // 2])
    with pytest.raises(SetupError, match="SQLite can read"):
        restore(f"sqlite:///{source}", damaged, replace=True)
    assert n_readings(source) == 1000
    with pytest.raises(SetupError, match="no backup at"):
        restore(f"sqlite:///{source}", tmp_path / "none", replace=True)


def test_a_damaged_database_can_be_replaced(source: Path, tmp_path: Path) -> None:
    copy = back_up(f"sqlite:///{source}", tmp_path / "backups", 3, NOW)
    source.write_bytes(b"not a database, and longer than a header of one hundred bytes" * 40)
    restore(f"sqlite:///{source}", copy, replace=True)
    assert n_readings(source) == 1000


def test_the_command_says_what_comes_next(
    source: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    copy = back_up(f"sqlite:///{source}", tmp_path / "backups", 3, NOW)
    monkeypatch.setenv("SUMPWISE_DATABASE_URL", f"sqlite:///{tmp_path / 'new.sqlite'}")
    assert main(["restore", str(copy)]) == 0
    assert "sumpwise migrate" in capsys.readouterr().out
    assert main(["restore", str(copy)]) == 1
    assert n_readings(tmp_path / "new.sqlite") == 1000


@pytest.mark.postgres
@pytest.mark.parametrize("database", ["postgres"], indirect=True)
def test_postgresql_is_replaced_whole_or_not_at_all(
    database: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", f"{postgresql_programs()}{os.pathsep}{os.environ['PATH']}")
    url = database.engine.url.render_as_string(hide_password=False)
    address = url.replace("+psycopg", "")
    with psycopg.connect(address, autocommit=True) as connection:
        connection.execute("INSERT INTO node_heartbeat VALUES ('before', now())")
        copy = back_up(url, tmp_path, 3, NOW)
        connection.execute("UPDATE node_heartbeat SET node = 'after'")
        connection.execute("CREATE TABLE of_a_newer_schema (id integer)")
    database.close()
    with pytest.raises(SetupError, match="not empty"):
        restore(url, copy, replace=False)
    with psycopg.connect(address), pytest.raises(SetupError, match="in use"):
        restore(url, copy, replace=True)
    damaged = tmp_path / "damaged.dump"
    damaged.write_bytes(copy.read_bytes()[:-20_000])
    with pytest.raises(SetupError, match="pg_restore failed"):
        restore(url, damaged, replace=True)
    with psycopg.connect(address) as connection:
        assert connection.execute("SELECT node FROM node_heartbeat").fetchall() == [("after",)]
    restore(url, copy, replace=True)
    with psycopg.connect(address) as connection:
        assert connection.execute("SELECT node FROM node_heartbeat").fetchall() == [("before",)]
        tables = "SELECT to_regclass('public.of_a_newer_schema'), to_regnamespace('before_restore')"
        assert connection.execute(tables).fetchone() == (None, None)
