"""What the fleet knows by itself of what machine sources speak of: dashboards, and identification numbers."""

from collections.abc import Collection, Iterable
from datetime import datetime
from typing import Final, NamedTuple

from sqlalchemy import Select, func, select
from sqlmodel import Session, col

from service.domain.machine_meters import Meter
from service.domain.outcomes import ReadingOutcome
from service.store.in_lists import in_lists, is_one_of
from service.store.repositories.fleet import in_use
from service.store.tables.machine_sources import MachineEquipment, MachineMeter, MachineReading
from service.store.tables.readings import Reading
from service.store.tables.vehicles import Vehicle

LATEST: Final = 9
"""Readings of a dashboard that are looked at."""


class Pair(NamedTuple):
    """A reading of a dashboard, and the believed values of a source that stand around it."""

    taken_at: datetime
    shown: float
    source: list[tuple[datetime, float]]


def latest_pairs(
    session: Session,
    organisation_id: int,
    meter_ids: Iterable[int],
    meter: Meter,
    sources: Collection[str],
    since: datetime,
) -> dict[int, list[Pair]]:
    """The latest readings of each meter's vehicle that no machine source sent, in the order of time.

    Held ones too: beside values that were taken for the dashboard's the dashboard itself looks wrong.
    """
    found: dict[int, list[Pair]] = {}
    for some in in_lists(sorted(set(meter_ids))):
        rows = session.execute(_query(organisation_id, some, meter, sources, since)).all()
        values = _values(session, organisation_id, some, {at for row in rows for at in row[3:] if at})
        for meter_id, taken_at, shown, *around in rows:
            known = [(at, values[meter_id, at]) for at in dict.fromkeys(around) if at is not None]
            found.setdefault(meter_id, []).append(Pair(taken_at, float(shown), known))
    return found


def vehicles_with_vin(session: Session, organisation_id: int, vins: Collection[str]) -> list[tuple[str, str]]:
    """Identification number and fleet number of the vehicles in use that have one of some numbers."""
    query = select(col(Vehicle.vin), col(Vehicle.reference)).where(
        *in_use(organisation_id), is_one_of(session, col(Vehicle.vin), list(vins))
    )
    return [(vin or "", reference) for vin, reference in session.execute(query)]


def _query(
    organisation_id: int, meter_ids: Collection[int], meter: Meter, sources: Collection[str], since: datetime
) -> Select[tuple[int, datetime, float, datetime | None, datetime | None]]:
    shown = (
        col(Reading.odometer_km)
        if meter is Meter.ODOMETER
        else func.coalesce(col(Reading.used_hours), col(Reading.engine_hours))
    )
    owned = (
        select(col(MachineMeter.id).label("meter_id"), col(MachineEquipment.vehicle_id).label("vehicle_id"))
        .join(MachineEquipment, col(MachineEquipment.id) == col(MachineMeter.equipment_id))
        .where(
            col(MachineMeter.organisation_id) == organisation_id,
            col(MachineMeter.id).in_(meter_ids),
            col(MachineEquipment.vehicle_id).is_not(None),
        )
        .subquery()
    )
    place = func.row_number().over(partition_by=owned.c.meter_id, order_by=col(Reading.taken_at).desc())
    numbered = (
        select(
            owned.c.meter_id,
            col(Reading.taken_at).label("taken_at"),
            shown.label("shown"),
            place.label("place"),
        )
        .join(Reading, col(Reading.vehicle_id) == owned.c.vehicle_id)
        .where(
            col(Reading.organisation_id) == organisation_id,
            col(Reading.source).not_in(sources),
            col(Reading.outcome).in_((ReadingOutcome.ACCEPTED, ReadingOutcome.HELD)),
            shown.is_not(None),
            col(Reading.taken_at) >= since,
        )
        .subquery()
    )
    believed = (
        col(MachineReading.organisation_id) == organisation_id,
        col(MachineReading.meter_id) == numbered.c.meter_id,
        col(MachineReading.outcome) == ReadingOutcome.ACCEPTED,
    )
    at = col(MachineReading.taken_at)
    before = select(func.max(at)).where(*believed, at <= numbered.c.taken_at).scalar_subquery()
    after = select(func.min(at)).where(*believed, at >= numbered.c.taken_at).scalar_subquery()
    return (
        select(numbered.c.meter_id, numbered.c.taken_at, numbered.c.shown, before, after)
        .where(numbered.c.place <= LATEST)
        .order_by(numbered.c.meter_id, numbered.c.taken_at)
    )


def _values(
    session: Session, organisation_id: int, meter_ids: Collection[int], instants: Collection[datetime]
) -> dict[tuple[int, datetime], float]:
    if not instants:
        return {}
    query = select(
        col(MachineReading.meter_id), col(MachineReading.taken_at), col(MachineReading.continued)
    ).where(
        col(MachineReading.organisation_id) == organisation_id,
        col(MachineReading.meter_id).in_(meter_ids),
        col(MachineReading.taken_at).in_(sorted(instants)),
    )
    return {(key, at): value for key, at, value in session.execute(query)}
