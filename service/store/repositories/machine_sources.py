"""Sources of machine data, their machines, meters and values."""

from collections.abc import Collection, Iterable, Sequence
from datetime import datetime
from typing import Any, Final

from sqlalchemy import func, insert, update
from sqlmodel import Session, col, select

from service.domain.external_ids import IdKind, parse_id
from service.domain.machine_meters import Meter, ValueUse
from service.domain.outcomes import ReadingOutcome
from service.errors import NotFoundError
from service.store.in_lists import in_lists
from service.store.row_locks import locked
from service.store.tables.machine_sources import MachineEquipment, MachineMeter, MachineReading, MachineSource
from service.store.tables.readings import Reading

WINDOW: Final = 60
"""Values of a meter that are judged anew with the next one."""


def list_sources(session: Session, organisation_id: int) -> list[MachineSource]:
    """All sources, the ended ones too, oldest first."""
    query = select(MachineSource).where(MachineSource.organisation_id == organisation_id)
    return list(session.exec(query.order_by(col(MachineSource.id))))


def get_source(
    session: Session, organisation_id: int, reference: str, *, for_update: bool = False
) -> MachineSource:
    """Source by its id; locked if anything of it will be changed.

    Raises
    ------
    NotFoundError
        If the organisation has none.
    """
    number = parse_id(IdKind.MACHINE_SOURCE, reference)
    query = select(MachineSource).where(
        MachineSource.organisation_id == organisation_id, MachineSource.id == number
    )
    if for_update:
        query = locked(query)
    row = None if number is None else session.exec(query).first()
    if row is None:
        raise NotFoundError("There is no machine source with this id.")
    return row


def find_open_source(session: Session, reference: str) -> MachineSource | None:
    """Source of whichever organisation that has not ended, for a caller who proves itself by its secret."""
    number = parse_id(IdKind.MACHINE_SOURCE, reference)
    query = select(MachineSource).where(MachineSource.id == number, col(MachineSource.ended_at).is_(None))
    return None if number is None else session.exec(query).first()


def list_equipment(
    session: Session, organisation_id: int, source_id: int, *, after_id: int, limit: int
) -> list[MachineEquipment]:
    """Machines of a source in the order in which they were first heard of."""
    query = select(MachineEquipment).where(
        MachineEquipment.organisation_id == organisation_id,
        MachineEquipment.source_id == source_id,
        col(MachineEquipment.id) > after_id,
    )
    return list(session.exec(query.order_by(col(MachineEquipment.id)).limit(limit)))


def get_equipment(session: Session, organisation_id: int, source_id: int, reference: str) -> MachineEquipment:
    """Machine of a source by its id.

    Raises
    ------
    NotFoundError
        If the source has none.
    """
    number = parse_id(IdKind.MACHINE_EQUIPMENT, reference)
    query = select(MachineEquipment).where(
        MachineEquipment.organisation_id == organisation_id,
        MachineEquipment.source_id == source_id,
        MachineEquipment.id == number,
    )
    row = None if number is None else session.exec(query).first()
    if row is None:
        raise NotFoundError("This source has no machine with this id.")
    return row


def equipment_by_reference(
    session: Session, organisation_id: int, source_id: int, references: Iterable[str]
) -> dict[str, MachineEquipment]:
    """Machines by the source's own names; what is unknown is missing."""
    found: dict[str, MachineEquipment] = {}
    for chunk in in_lists(sorted(set(references))):
        query = select(MachineEquipment).where(
            MachineEquipment.organisation_id == organisation_id,
            MachineEquipment.source_id == source_id,
            col(MachineEquipment.reference).in_(chunk),
        )
        found |= {row.reference: row for row in session.exec(query)}
    return found


def meters_of(
    session: Session, organisation_id: int, equipment_ids: Iterable[int]
) -> dict[tuple[int, str], MachineMeter]:
    """Meters of some machines, by machine and kind."""
    found: dict[tuple[int, str], MachineMeter] = {}
    for chunk in in_lists(sorted(set(equipment_ids))):
        query = select(MachineMeter).where(
            MachineMeter.organisation_id == organisation_id, col(MachineMeter.equipment_id).in_(chunk)
        )
        found |= {(row.equipment_id, row.meter): row for row in session.exec(query)}
    return found


def latest_values(
    session: Session, organisation_id: int, meter_ids: Iterable[int]
) -> dict[int, list[MachineReading]]:
    """The last values of some meters, each meter's in the order of time."""
    found: dict[int, list[MachineReading]] = {}
    for chunk in in_lists(sorted(set(meter_ids))):
        numbered = (
            select(
                MachineReading.id,
                func.row_number()
                .over(partition_by=col(MachineReading.meter_id), order_by=col(MachineReading.taken_at).desc())
                .label("place"),
            )
            .where(MachineReading.organisation_id == organisation_id, col(MachineReading.meter_id).in_(chunk))
            .subquery()
        )
        query = (
            select(MachineReading)
            .join(numbered, numbered.c.id == MachineReading.id)
            .where(numbered.c.place <= WINDOW)
            .order_by(col(MachineReading.meter_id), col(MachineReading.taken_at))
        )
        for row in session.exec(query):
            found.setdefault(row.meter_id, []).append(row)
    return found


def values_at(
    session: Session, organisation_id: int, meter_ids: Iterable[int], instants: Collection[datetime]
) -> set[tuple[int, datetime]]:
    """Which of some instants some meters have a value of already."""
    found: set[tuple[int, datetime]] = set()
    first, last = min(instants), max(instants)
    for chunk in in_lists(sorted(set(meter_ids))):
        query = select(MachineReading.meter_id, MachineReading.taken_at).where(
            MachineReading.organisation_id == organisation_id,
            col(MachineReading.meter_id).in_(chunk),
            col(MachineReading.taken_at).between(first, last),
        )
        found |= set(session.exec(query))
    return found


def list_values(
    session: Session, organisation_id: int, meter_ids: Sequence[int], *, after_id: int, limit: int
) -> list[MachineReading]:
    """Values of a machine's meters in the order in which they came, a page at a time."""
    query = select(MachineReading).where(
        MachineReading.organisation_id == organisation_id,
        col(MachineReading.meter_id).in_(meter_ids),
        col(MachineReading.id) > after_id,
    )
    return list(session.exec(query.order_by(col(MachineReading.id)).limit(limit)))


def get_value(
    session: Session, organisation_id: int, equipment_id: int, reference: str
) -> tuple[MachineReading, MachineMeter]:
    """Value of a machine by its id, and its meter.

    Raises
    ------
    NotFoundError
        If the machine has none.
    """
    number = parse_id(IdKind.MACHINE_VALUE, reference)
    query = (
        select(MachineReading, MachineMeter)
        .join(MachineMeter, col(MachineMeter.id) == col(MachineReading.meter_id))
        .where(
            MachineReading.organisation_id == organisation_id,
            MachineReading.id == number,
            MachineMeter.organisation_id == organisation_id,
            MachineMeter.equipment_id == equipment_id,
        )
    )
    found = None if number is None else session.exec(query).first()
    if found is None:
        raise NotFoundError("This machine has no value with this id.")
    return found[0], found[1]


def insert_values(session: Session, rows: Sequence[dict[str, Any]]) -> None:
    """Store values in bulk."""
    if rows:
        session.execute(insert(MachineReading), list(rows))


def waiting_values(
    session: Session, organisation_id: int, meter_ids: Iterable[int]
) -> dict[int, list[MachineReading]]:
    """Believed values that did not become readings yet, each meter's in the order of time."""
    found: dict[int, list[MachineReading]] = {}
    for chunk in in_lists(sorted(set(meter_ids))):
        query = select(MachineReading).where(
            MachineReading.organisation_id == organisation_id,
            col(MachineReading.meter_id).in_(chunk),
            MachineReading.use == ValueUse.WAITING,
            MachineReading.outcome == ReadingOutcome.ACCEPTED,
        )
        for row in session.exec(query.order_by(col(MachineReading.taken_at))):
            found.setdefault(row.meter_id, []).append(row)
    return found


def passed_on_between(
    session: Session, organisation_id: int, meter_ids: Iterable[int], first: datetime, last: datetime
) -> set[tuple[int, datetime]]:
    """When values of some meters became readings, within a span."""
    found: set[tuple[int, datetime]] = set()
    for chunk in in_lists(sorted(set(meter_ids))):
        query = select(MachineReading.meter_id, MachineReading.taken_at).where(
            MachineReading.organisation_id == organisation_id,
            col(MachineReading.meter_id).in_(chunk),
            col(MachineReading.taken_at).between(first, last),
            MachineReading.use == ValueUse.PASSED_ON,
        )
        found |= set(session.exec(query))
    return found


def passed_on_values(session: Session, organisation_id: int, meter_id: int) -> list[MachineReading]:
    """Values of a meter that became readings."""
    query = select(MachineReading).where(
        MachineReading.organisation_id == organisation_id,
        MachineReading.meter_id == meter_id,
        MachineReading.use == ValueUse.PASSED_ON,
    )
    return list(session.exec(query))


def readings_of_source(
    session: Session, organisation_id: int, vehicle_id: int, source: str
) -> list[tuple[int, str]]:
    """Keys and references of a vehicle's readings that came of a source and that nobody discarded."""
    query = select(col(Reading.id), col(Reading.reference)).where(
        Reading.organisation_id == organisation_id,
        Reading.vehicle_id == vehicle_id,
        Reading.source == source,
        Reading.outcome != ReadingOutcome.REJECTED,
        col(Reading.reference).is_not(None),
    )
    return [(key or 0, reference or "") for key, reference in session.exec(query)]


def mark_use(session: Session, rows: Sequence[MachineReading], use: ValueUse) -> None:
    """Say what came of some values."""
    if rows:
        session.execute(update(MachineReading), [{"id": row.id, "use": str(use)} for row in rows])


def dashboard_values(
    session: Session,
    organisation_id: int,
    vehicle_ids: Iterable[int],
    meter: str,
    sources: Collection[str],
    since: datetime,
) -> dict[int, list[tuple[datetime, float]]]:
    """Believed readings of some vehicles that no machine source sent, as their instruments showed them."""
    value = Reading.odometer_km if meter == Meter.ODOMETER else Reading.used_hours
    found: dict[int, list[tuple[datetime, float]]] = {}
    for chunk in in_lists(sorted(set(vehicle_ids))):
        query = select(Reading.vehicle_id, Reading.taken_at, value).where(
            Reading.organisation_id == organisation_id,
            col(Reading.vehicle_id).in_(chunk),
            col(Reading.source).not_in(sources),
            Reading.outcome == ReadingOutcome.ACCEPTED,
            col(value).is_not(None),
            col(Reading.taken_at) >= since,
        )
        for vehicle_id, taken_at, shown in session.exec(query.order_by(col(Reading.taken_at))):
            found.setdefault(vehicle_id, []).append((taken_at, float(shown or 0.0)))
    return found
