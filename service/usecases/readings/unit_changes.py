"""Where an odometer is taken to count on in the other unit: the numbers go on, and only their unit is told anew."""

from collections.abc import Sequence
from typing import Final, NamedTuple

from sqlmodel import Session

from service.domain.outcomes import ReadingOutcome, ReadingReason
from service.store.repositories.vehicle_search import latest_readings
from service.store.tables.readings import Reading
from service.store.tables.vehicles import Vehicle

LATEST: Final = 60
"""Readings that are looked through: it is told of for so long."""

_REASONS: Final = frozenset({ReadingReason.MILES_FOR_KM, ReadingReason.KM_FOR_MILES})


class UnitChange(NamedTuple):
    """The first believed reading that was told in another unit, and went on all the same."""

    reading: Reading
    told: str
    before: str


def unit_change(readings: Sequence[Reading]) -> UnitChange | None:
    """Find the latest one among some readings.

    What a vehicle covers is counted in the unit of before. Whoever corrects a vehicle's unit means the other one.
    """
    found = [row for row in readings if row.outcome == ReadingOutcome.ACCEPTED and row.reason in _REASONS]
    if not found:
        return None
    latest = max(found, key=lambda row: row.taken_at)
    return UnitChange(latest, latest.unit, "km" if latest.unit == "mi" else "mi")


def unit_warnings(session: Session, vehicle: Vehicle) -> list[str]:
    """Say it to programs."""
    latest = latest_readings(session, vehicle.organisation_id, vehicle.id or 0, LATEST)
    change = unit_change(latest)
    if change is None:
        return []
    since = change.reading.taken_at.date()
    return [
        f"Since {since} the odometer is told in {change.told}, and its numbers go on from those "
        f"told in {change.before}, so distances are still counted in {change.before}. If it always showed "
        f"{change.told}, discard the readings before that day and send them again with this unit; if it shows "
        f"{change.before}, correct odometer_unit."
    ]
