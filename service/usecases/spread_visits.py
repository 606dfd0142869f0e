"""Give the vehicles on a list their days: one visit a vehicle, the most urgent first, as the bays have room."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime

import holidays
from sqlmodel import Session

from service.domain.service_work import VISIT_SETUP_MINUTES
from service.domain.weeks import IsoWeek
from service.domain.zones import local_date, zone_named
from service.store.repositories import fleet
from service.store.tables.organisation import Depot
from service.store.tables.vehicles import Vehicle
from service.usecases.compile_due_list import ListedLine


def spread_visits(
    session: Session, organisation_id: int, week: IsoWeek, now: datetime, lines: Sequence[ListedLine]
) -> list[ListedLine]:
    """Plan the day of every line; a line whose day is set keeps it, one that does not fit has none."""
    zone = zone_named("/time_zone", fleet.get_organisation(session, organisation_id).time_zone)
    today = local_date(now, zone)
    room = {
        depot.reference: open_minutes(depot, [day for day in week.days() if day >= today])
        for depot in fleet.list_depots(session, organisation_id)
    }
    vehicles = {row.id: row for row in fleet.list_vehicles(session, organisation_id)}
    days: dict[int, date | None] = {}
    for line in lines:
        if line.vehicle_id not in days:
            own = [one for one in lines if one.vehicle_id == line.vehicle_id]
            days[line.vehicle_id] = _choose(room.get(line.depot, {}), vehicles.get(line.vehicle_id), own)
    return [replace(line, planned_on=line.planned_on or days[line.vehicle_id]) for line in lines]


def open_minutes(depot: Depot, days: Sequence[date]) -> dict[date, float]:
    """Bay minutes on each of these days; closing days and public holidays have none and are left out."""
    closed = {date.fromisoformat(text) for text in depot.closed_on}
    if depot.holiday_region and days:
        country, _, subdivision = depot.holiday_region.partition("-")
        years = {day.year for day in days}
        closed |= set(holidays.country_holidays(country, subdiv=subdivision or None, years=years))
    minutes = {day: float(depot.bay_minutes[day.isoweekday() - 1]) for day in days if day not in closed}
    return {day: value for day, value in minutes.items() if value > 0}


def _choose(room: dict[date, float], vehicle: Vehicle | None, lines: Sequence[ListedLine]) -> date | None:
    """First day on which the vehicle can come and the bay has room; the room is taken."""
    needed = VISIT_SETUP_MINUTES.value + sum(line.labour_minutes for line in lines)
    pinned = next((line.planned_on for line in lines if line.planned_on is not None), None)
    for day in sorted(room):
        if pinned is not None and day != pinned:
            continue
        can_come = vehicle is None or bool(vehicle.available_weekdays & (1 << (day.isoweekday() - 1)))
        if can_come and (room[day] >= needed or pinned == day):
            room[day] -= needed
            return day
    return pinned
