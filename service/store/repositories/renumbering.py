"""New keys for a whole organisation that comes into a database where its own are taken.

All keys of a table grow by the same number, so that their order, and with it every page and replay, stays what it was.
"""

import re
from collections.abc import Mapping
from typing import Any, Final

from sqlalchemy import JSON, Table, func, select
from sqlmodel import Session

from service.domain.external_ids import IdKind
from service.store.repositories.whole_organisation import Row, owned_tables, owner_column
from service.store.tables.all import metadata

LEFT_OUT: Final = frozenset({"idempotency_key"})
"""Answers to calls, which name the old ids: a call that is sent again under the new ones is another call."""

UNDECLARED: Final[Mapping[tuple[str, str], str]] = {
    ("token", "vehicle_id"): "vehicle",
    ("due_list_line", "vehicle_id"): "vehicle",
    ("due_list_line", "compartment_id"): "compartment",
    ("line_event", "service_id"): "service",
    ("stock_movement", "service_id"): "service",
    ("compartment_state", "vehicle_id"): "vehicle",
}
"""Columns that hold a key of another table without a foreign key, for speed or because history outlives its object."""

AUDITED: Final = {
    "delivery": "outbox_message",
    "visit": "visit_pin",
    "machine value": "machine_reading",
    "planning terms": "organisation",
}
"""Objects of the audit trail whose word is not the name of their table."""

TABLE_BY_KIND: Final = {
    IdKind.VEHICLE: "vehicle",
    IdKind.COMPARTMENT: "compartment",
    IdKind.READING: "reading",
    IdKind.SERVICE: "service",
    IdKind.SAMPLE: "sample",
    IdKind.FLUID: "fluid",
    IdKind.PART: "part",
    IdKind.DEPOT: "depot",
    IdKind.MOVEMENT: "stock_movement",
    IdKind.PURCHASE_ORDER: "purchase_order",
    IdKind.DUE_LIST_LINE: "due_list_line",
    IdKind.TOKEN: "token",
    IdKind.PERSON: "person",
    IdKind.SUBSCRIPTION: "subscription",
    IdKind.DELIVERY: "outbox_message",
    IdKind.CALENDAR_FEED: "calendar_feed",
    IdKind.AUDIT_ENTRY: "audit_entry",
    IdKind.RETURN_VISIT: "return_visit",
    IdKind.AGEING_FIT: "ageing_fit",
    IdKind.VISIT_PIN: "visit_pin",
    IdKind.MACHINE_SOURCE: "machine_source",
    IdKind.MACHINE_EQUIPMENT: "machine_equipment",
    IdKind.MACHINE_VALUE: "machine_reading",
}
_ID: Final = re.compile(rf"\b({'|'.join(IdKind)})_([1-9][0-9]{{0,17}})\b")
_OF_A_MACHINE: Final = re.compile(rf"{IdKind.MACHINE_EQUIPMENT}_[1-9][0-9]* \w+ \S+")


class Renumbering:
    """By how much the keys of each table grow in one database."""

    def __init__(self, session: Session) -> None:
        self._steps = {
            table.name: _highest(session, table)
            for table in owned_tables()
            if "id" in table.primary_key.columns
        }
        self._columns = {table.name: _referring(table) for table in owned_tables()}

    def change(self, table: Table, row: Row) -> Row:
        """Give a row its new keys, and what it says of others theirs."""
        changed = dict(row)
        for name, target in self._columns[table.name].items():
            if row[name] is not None:
                changed[name] = row[name] + self._steps[target]
        for column in table.columns:
            if isinstance(column.type, JSON):
                changed[column.name] = self._renamed(row[column.name])
        if table.name == "audit_entry" and row["object_id"] is not None:
            word = row["object_type"]
            changed["object_id"] = row["object_id"] + self._steps[AUDITED.get(word, word.replace(" ", "_"))]
        if table.name == "reading" and _OF_A_MACHINE.fullmatch(row["reference"] or ""):
            changed["reference"] = self._renamed(row["reference"])
        if table.name == "vehicle_usage":
            changed["reading_end"] = None  # names a reading in binary; it is found anew
        return changed

    def _renamed(self, value: Any) -> Any:
        """Replace ids within texts, however deep they are."""
        if isinstance(value, str):
            return _ID.sub(self._new_id, value)
        if isinstance(value, list):
            return [self._renamed(one) for one in value]
        if isinstance(value, dict):
            return {name: self._renamed(one) for name, one in value.items()}
        return value

    def _new_id(self, found: re.Match[str]) -> str:
        return f"{found[1]}_{int(found[2]) + self._steps[TABLE_BY_KIND[IdKind(found[1])]]}"


def _referring(table: Table) -> dict[str, str]:
    """Columns with keys, and whose."""
    columns = {name: target for (owner, name), target in UNDECLARED.items() if owner == table.name}
    for constraint in table.foreign_key_constraints:
        for element in constraint.elements:
            if element.column.name == "id":
                columns[element.parent.name] = element.column.table.name
    columns[owner_column(table)] = "organisation"
    if "id" in table.primary_key.columns:
        columns["id"] = table.name
    return columns


def _highest(session: Session, table: Table) -> int:
    key = metadata.tables[table.name].c.id
    return int(session.execute(select(func.coalesce(func.max(key), 0))).scalar_one())
