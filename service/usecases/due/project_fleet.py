"""A whole fleet's projection as work in parts, each a transaction that may be done twice, anywhere and in any order."""

from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import Final

from sqlmodel import Session

from service.domain.zones import first_instant
from service.store.repositories import fleet, fleet_ranges, projections
from service.store.repositories.fleet_ranges import VehicleRange
from service.store.tables.projections import UsageModel
from service.usecases.due.refresh_fleet import refresh_vehicles
from service.usecases.due.store_projections import store_projections

VEHICLES_A_CHUNK: Final = 500
"""So that whoever keys a reading for one of them waits less than a second."""

AT: Final = time(3, 0)
"""When the fleet sleeps, by the organisation's clock."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Chunk:
    """One part of a fleet's projection."""

    part: VehicleRange
    since: datetime
    """A projection that is not older than this is good enough: the part was done already."""

    as_of: datetime
    """Instant that is projected from; the same for all parts, whoever does them and when."""


def due_since(session: Session, organisation_id: int, now: datetime) -> datetime:
    """Latest instant after which the whole fleet is to be projected again: last night, or the latest fit."""
    organisation = fleet.get_organisation(session, organisation_id)
    today = organisation.today(now)
    night = first_instant(today, AT, organisation.zone)
    if night > now:
        night = first_instant(today - timedelta(days=1), AT, organisation.zone)
    model = session.get(UsageModel, organisation_id)
    return night if model is None else max(night, model.fitted_at)


def chunks_of(session: Session, organisation_id: int, since: datetime, as_of: datetime) -> list[Chunk]:
    """Cut a fleet's projection into parts."""
    parts = fleet_ranges.list_ranges(session, organisation_id, VEHICLES_A_CHUNK)
    return [Chunk(part=part, since=since, as_of=as_of) for part in parts]


def project_chunk(session: Session, chunk: Chunk) -> int:
    """Bring a part's states up to date and store its projections; returns how many compartments, 0 if it was done."""
    part = chunk.part
    fleet_ranges.forget_retired(session, part)
    if fleet_ranges.is_projected_since(session, part, chunk.since):
        return 0
    vehicle_ids = fleet_ranges.vehicles_in(session, part)
    fleet.lock_vehicles(session, part.organisation_id, vehicle_ids)
    current = projections.current_vehicles(session, part.organisation_id, vehicle_ids)
    stale = [key for key in vehicle_ids if key not in current]
    refresh_vehicles(session, part.organisation_id, stale, chunk.as_of)
    return store_projections(session, part.organisation_id, vehicle_ids, chunk.as_of)
