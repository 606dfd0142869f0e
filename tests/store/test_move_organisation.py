"""What an organisation owns leaves one database and arrives whole in another.

The oracle is the exported text itself: exported again from the other database, every table is the same byte for byte.
"""

import io
import json
import shutil
import zipfile
from datetime import timedelta

import pytest
from sqlalchemy import func, select, text
from typer.testing import CliRunner

from service.cli.app import app
from service.domain.weeks import IsoWeek
from service.errors import ConflictError, InvalidInputError, NotFoundError
from service.store.repositories import fleet, whole_organisation
from service.store.session import Database
from service.store.tables.readings import Reading
from service.store.tables.vehicles import Vehicle
from service.usecases.access.found_organisation import find_organisation
from service.usecases.access.move_organisation import export_organisation, restore_organisation
from service.usecases.week.publish_due_list import draft_list
from tests.service_fixtures import START

SCHEMA = "0001"


def exported(database: Database, organisation_id: int = 1) -> io.BytesIO:
    target = io.BytesIO()
    with database.snapshot() as session:
        export_organisation(session, organisation_id, SCHEMA, START, target)
    return target


def restored(database: Database, file: io.BytesIO, *, under_new_ids: bool = False):
    file.seek(0)
    with database.transaction() as session:
        return restore_organisation(session, SCHEMA, file, under_new_ids=under_new_ids)


def members(file: io.BytesIO) -> dict[str, bytes]:
    with zipfile.ZipFile(file) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def changed(file: io.BytesIO, name: str, change) -> io.BytesIO:
    """The same file with one member changed."""
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w") as archive:
        for member, content in members(file).items():
            archive.writestr(member, change(content) if member == name else content)
    return target


def test_everything_arrives_and_stays_what_it_was(full: Database, database: Database):
    """From SQLite to a database of each kind: counts, sums, every value, and the due list that follows from them."""
    file = exported(full)
    contents = restored(database, file)
    assert contents.n_rows["reading"] > 10_000
    filled = {name for name, n_rows in contents.n_rows.items() if n_rows > 0}
    assert filled >= {
        "vehicle",
        "compartment",
        "service",
        "round",
        "sample",
        "due_list_line",
        "stock_movement",
    }
    assert filled >= {"token", "outbox_message", "purchase_order", "audit_entry", "compartment_state"}
    assert members(exported(database)) == members(file)
    sums = select(func.count(), func.sum(Reading.odometer_km), func.max(Reading.taken_at))
    week, now = IsoWeek.of((START + timedelta(days=14)).date()), START + timedelta(days=12)
    found = []
    for one in (full, database):
        with one.snapshot() as session:
            count, total, latest = session.execute(sums).one()
            lines = draft_list(session, 1, week, now)
        found.append((count, pytest.approx(total, rel=1e-12), latest, lines))
    assert found[0] == found[1]


def test_new_rows_get_new_keys_afterwards(full: Database, database: Database):
    restored(database, exported(full))
    with database.transaction() as session:
        highest = session.execute(select(func.max(Vehicle.id))).scalar_one()
        depot_id = session.execute(select(Vehicle.depot_id).limit(1)).scalar_one()
        vehicle = Vehicle(
            organisation_id=1, depot_id=depot_id, reference="NEW", vehicle_class="van", created_at=START
        )
        session.add(vehicle)
        session.flush()
        assert vehicle.id == highest + 1


def test_the_same_organisation_does_not_arrive_twice(full: Database, database: Database):
    file = exported(full)
    restored(database, file)
    before = members(exported(database))
    for under_new_ids in (False, True):
        with pytest.raises(ConflictError, match=r"here already.* a database of its own") as refused:
            restored(database, file, under_new_ids=under_new_ids)
        assert "--new-ids" not in refused.value.detail, "which would be refused too"
    assert members(exported(database)) == before


def test_new_ids_do_not_help_where_somebody_signs_in_by_the_same_name(full: Database, database: Database):
    """Nor is that said: names of people and secrets are in a database once."""
    file = exported(full)
    restored(database, file)
    with database.transaction() as session:
        fleet.get_organisation(session, 1).name = "Renamed since"
    for under_new_ids, told in (
        (False, "restore it with --new-ids, or"),
        (True, "though its ids are new; restore it"),
    ):
        with pytest.raises(ConflictError, match=rf"clashes.*{told} into a database of its own"):
            restored(database, file, under_new_ids=under_new_ids)


def test_nothing_of_another_organisation_leaves(full: Database, database: Database):
    with full.transaction() as session:
        session.execute(
            text(
                "INSERT INTO organisation (id, name, time_zone, locale, currency, distance_unit, volume_unit,"
                " publishing_weekday, publishing_minute, planning, created_at) SELECT 77, 'Secret Rival', time_zone,"
                " locale, currency, distance_unit, volume_unit, 5, 360, planning, created_at FROM organisation"
            )
        )
    file = exported(full)
    assert not [name for name, content in members(file).items() if b"Secret Rival" in content]
    only = restored(database, exported(full, 77))
    assert (only.organisation, only.total) == ("Secret Rival", 1)


@pytest.mark.parametrize("database", ["sqlite"], indirect=True)
@pytest.mark.parametrize(
    ("name", "change", "error", "sentence"),
    [
        (
            "tables/depot.jsonl",
            lambda content: content.replace(b'e":"', b'e":"x', 1),
            InvalidInputError,
            "not those that were exported",
        ),
        ("tables/reading.jsonl", lambda content: content[:-10], InvalidInputError, "damaged"),
        ("tables/vehicle.jsonl", lambda content: content + content.splitlines()[0], ConflictError, "clashes"),
        (
            "manifest.json",
            lambda content: content.replace(b'"format": 1', b'"format": 9'),
            ConflictError,
            "format 9",
        ),
        (
            "manifest.json",
            lambda content: content.replace(b'"0001"', b'"0009"'),
            ConflictError,
            "schema 0009",
        ),
        ("manifest.json", lambda _content: b"{}", InvalidInputError, "damaged"),
        (
            "tables/depot.jsonl",
            lambda content: content.replace(b'"organisation_id":1', b'"organisation_id":2'),
            InvalidInputError,
            "another organisation",
        ),
    ],
)
def test_a_file_that_is_not_whole_changes_nothing(full: Database, database, name, change, error, sentence):
    file = changed(exported(full), name, change)
    assert members(file) != members(exported(full))
    with pytest.raises(error, match=sentence):
        restored(database, file)
    with database.snapshot() as session:
        for table in whole_organisation.owned_tables():
            assert session.execute(select(func.count()).select_from(table)).scalar_one() == 0


def test_what_is_no_export_is_refused(database: Database):
    with pytest.raises(InvalidInputError, match="not an export"):
        restored(database, io.BytesIO(b"vehicle,taken_at,odometer\n"))


def test_every_table_of_the_schema_is_moved_or_said_not_to_be():
    from service.store.tables.all import metadata

    moved = {table.name for table in whole_organisation.owned_tables()}
    assert set(metadata.tables) - moved == whole_organisation.NOT_MOVED | {"node_heartbeat"}


def test_the_commands_move_an_organisation(full: Database, sqlite_template, tmp_path, monkeypatch):
    copy, target = tmp_path / "copy.sqlite", tmp_path / "out.zip"
    shutil.copyfile(sqlite_template, copy)
    calls = CliRunner()
    monkeypatch.setenv("SUMPWISE_DATABASE_URL", str(full.engine.url))
    assert calls.invoke(app, ["organisations", "export", str(target)]).exit_code == 0
    again = calls.invoke(app, ["organisations", "export", str(target)])
    assert (again.exit_code, "never overwritten" in again.output) == (1, True)
    assert target.stat().st_mode & 0o077 == 0, "nobody else may read it"
    monkeypatch.setenv("SUMPWISE_DATABASE_URL", f"sqlite:///{copy}")
    done = calls.invoke(app, ["organisations", "restore", str(target)])
    assert (done.exit_code, "rows restored" in done.output) == (0, True)
    assert calls.invoke(app, ["organisations", "restore", str(target)]).exit_code == 1
    assert sorted(path.name for path in tmp_path.iterdir() if "partial" in path.name) == []


def test_rows_are_one_json_object_a_line(full: Database):
    lines = members(exported(full))["tables/vehicle.jsonl"].splitlines()
    keys = [json.loads(line)["id"] for line in lines]
    assert keys == sorted(keys)


def test_whoever_begins_without_an_organisation_is_told_to_make_one(database: Database):
    with database.snapshot() as session, pytest.raises(NotFoundError, match="organisations create"):
        find_organisation(session, None)
    with database.snapshot() as session, pytest.raises(NotFoundError, match="organisations list"):
        find_organisation(session, "Nobody's")
