"""An organisation comes into a database where its ids are taken, under new ones.

The oracle is the exported text on both sides: nothing but ids differs, each id by one number for its whole table, and
every column or text that names an id names a new one.
"""

import dataclasses
import json
import re
from datetime import timedelta
from typing import Any

import pytest

from service.domain.external_ids import IdKind
from service.domain.weeks import IsoWeek
from service.errors import ConflictError
from service.store.repositories.renumbering import LEFT_OUT, TABLE_BY_KIND
from service.store.session import Database
from service.store.tables.organisation import Depot, Organisation
from service.usecases.access.move_organisation import restore_organisation
from service.usecases.week.publish_due_list import draft_list
from tests.service_fixtures import START
from tests.store.conftest import add_odd_vehicle
from tests.store.test_move_organisation import SCHEMA, exported, members, restored

IN_TEXT = re.compile(rf"\b({'|'.join(IdKind)})_(\d+)\b")

Tables = dict[str, list[dict[str, Any]]]


def occupied(database: Database) -> None:
    """Somebody else is here already, under the same numbers."""
    with database.transaction() as session:
        organisation = Organisation(name="Earlier Guest", created_at=START)
        session.add(organisation)
        session.flush()
        depot = Depot(
            organisation_id=organisation.id or 0, reference="Main", bay_minutes=[480] * 7, created_at=START
        )
        session.add(depot)
        session.flush()
        for name in ("G-1", "G-2", "G-3"):
            add_odd_vehicle(session, organisation.id or 0, depot.id or 0, name)


def tables_of(file) -> Tables:
    return {
        name.removeprefix("tables/").removesuffix(".jsonl"): [json.loads(line) for line in text.splitlines()]
        for name, text in members(file).items()
        if name.startswith("tables/")
    }


def without_ids(value: Any) -> Any:
    """The same with every id taken out."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        value = dataclasses.asdict(value)
    if isinstance(value, dict):
        return {
            name: without_ids(one) for name, one in value.items() if name != "id" and not name.endswith("_id")
        }
    if isinstance(value, list | tuple):
        return [without_ids(one) for one in value]
    return IN_TEXT.sub(r"\1", value) if isinstance(value, str) else value


def steps_of(old: Tables, new: Tables) -> dict[str, set[int]]:
    """By how much each column of ids grew."""
    found: dict[str, set[int]] = {}
    for table in old.keys() - LEFT_OUT:
        for before, after in zip(old[table], new[table], strict=True):
            for name, value in before.items():
                if (name == "id" or name.endswith("_id")) and isinstance(value, int) and name != "object_id":
                    found.setdefault(f"{table}.{name}", set()).add(after[name] - value)
    return found


def move(full: Database, database: Database) -> tuple[Tables, Tables]:
    occupied(database)
    file = exported(full)
    with pytest.raises(ConflictError, match="--new-ids"):
        restored(database, file)
    file.seek(0)
    with database.transaction() as session:
        restore_organisation(session, SCHEMA, file, under_new_ids=True)
    return tables_of(file), tables_of(exported(database, 2))


def check_that_ids_alone_differ(old: Tables, new: Tables) -> None:
    for table in old.keys() - LEFT_OUT:
        assert [without_ids(row) | {"reading_end": None} for row in new[table]] == [
            without_ids(row) | {"reading_end": None} for row in old[table]
        ], table
    steps = steps_of(old, new)
    assert {name for name, found in steps.items() if len(found) != 1} == set()
    came_among_others = {"organisation", "depot", "vehicle", "reading", "vehicle_usage"}
    assert {
        name
        for name, (step,) in ((one, tuple(found)) for one, found in steps.items())
        if step == 0 and (name.endswith(".vehicle_id") or name.endswith(".organisation_id"))
    } == set()
    assert {steps[f"{name}.organisation_id"].copy().pop() for name in ("vehicle", "reading", "sample")} == {1}
    assert all(0 not in steps[f"{name}.id"] for name in came_among_others - {"vehicle_usage"})


def check_ids_in_texts(old: Tables, new: Tables) -> None:
    """They, and the audit trail, name rows that are there."""
    keys = {name: {row["id"] for row in rows if "id" in row} for name, rows in new.items()}
    n_found = 0
    for table in new.keys() - LEFT_OUT:
        before_text, after_text = (json.dumps(one[table]) for one in (old, new))
        for (kind, before), (_, after) in zip(
            IN_TEXT.findall(before_text), IN_TEXT.findall(after_text), strict=True
        ):
            target = TABLE_BY_KIND[IdKind(kind)]
            if int(before) in {row["id"] for row in old[target]}:
                n_found += 1
                assert int(after) in keys[target], (table, kind, after)
    assert n_found > 0
    vehicles = [row for row in new["audit_entry"] if row["object_type"] == "vehicle"]
    assert vehicles
    assert {row["object_id"] for row in vehicles} <= keys["vehicle"]


def test_an_organisation_arrives_under_new_ids_and_life_goes_on(full: Database, database: Database):
    old, new = move(full, database)
    check_that_ids_alone_differ(old, new)
    check_ids_in_texts(old, new)
    week, now = IsoWeek.of((START + timedelta(days=14)).date()), START + timedelta(days=12)
    drafts = []
    for one, key in ((full, 1), (database, 2)):
        with one.snapshot() as session:
            drafts.append(without_ids(draft_list(session, key, week, now)))
    assert drafts[0] == drafts[1]
    with database.transaction() as session:
        depot = new["depot"][0]["id"]
        add_odd_vehicle(session, 2, depot, "came later")


def test_every_kind_of_id_is_known():
    assert set(TABLE_BY_KIND) == set(IdKind)
