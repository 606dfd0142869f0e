"""When each compartment was serviced: chosen backwards from how much of its life is to be used up now."""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np

from seed_demo import cast
from seed_demo.process import HISTORY_DAYS, LIFE_DAYS, TrueUsage
from seed_demo.records import DemoCompartment, DemoVehicle
from seed_demo.wear import Fill, Past, Wear, find_fill_day, find_fill_minute, wear_of

LEAST_USED: Final = 0.05
LEAST_USED_OF_CONTAMINATED: Final = 0.45
"""Its last service lies well before the sample that finds the coolant."""
MOST_USED: Final = 0.93
SHARED_VISIT_DAYS: Final = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Timetable:
    """The services of one compartment, oldest first, as day numbers."""

    row: int
    compartment: DemoCompartment
    wear: Wear
    past: Past
    days: tuple[float, ...]
    planned: cast.PlannedDue | None
    due_day: float | None
    """Day number of the afternoon on which it is planned to fall due."""
    n_rounds: int


def planned_day(plan: cast.PlannedDue, today: date) -> date:
    """Keep the planned day inside the running ISO week, and on a day that can be planned exactly.

    Months are counted back from a day that every month has; use may reach a limit a day early, so not on a Monday.
    """
    monday = today - timedelta(days=today.weekday())
    wanted = today + timedelta(days=plan.days_from_now)
    week = [monday + timedelta(days=offset) for offset in range(7)]
    allowed = [day for day in week if day.day <= 28] if plan.limit == "calendar" else week[1:]
    return min(allowed, key=lambda day: (abs((day - wanted).days), day))


def months_before(day: date, months: int) -> date:
    """Go back whole months; the day of the month must exist everywhere."""
    years, month = divmod(day.year * 12 + day.month - 1 - months, 12)
    return date(years, month + 1, day.day)


def draw_timetables(
    vehicles: tuple[DemoVehicle, ...],
    compartments: tuple[tuple[DemoCompartment, int], ...],
    usage: TrueUsage,
    today: date,
    seed: int,
) -> list[Timetable]:
    """Choose the service days of every compartment; each comes with its usual number of rounds."""
    rng = np.random.default_rng([seed, 6])
    rows = {vehicle.vehicle: row for row, vehicle in enumerate(vehicles)}
    visits: dict[str, set[int]] = {vehicle.vehicle: set() for vehicle in vehicles}
    tables = []
    for compartment, n_rounds in compartments:
        row = rows[compartment.vehicle]
        planner = _Planner(
            wear=wear_of(compartment, vehicles[row].duty),
            past=Past(
                distance_km=usage.distance_km[row], engine_hours=np.nan_to_num(usage.engine_hours[row])
            ),
            compartment=compartment,
            plan=cast.planned_for(compartment.vehicle, compartment.compartment),
            usual_rounds=n_rounds,
            first_on=usage.first_on,
            earliest=(vehicles[row].in_service_on - usage.first_on).days + 30.0,
            time_of_day=0.35 + 0.01 * (row % 12),
        )
        tables.append(planner.draw(row, visits[compartment.vehicle], today, rng))
    return tables


@dataclass(frozen=True, slots=True, kw_only=True)
class _Planner:
    """Everything that decides about the services of one compartment."""

    wear: Wear
    past: Past
    compartment: DemoCompartment
    plan: cast.PlannedDue | None
    usual_rounds: int
    first_on: date
    earliest: float
    time_of_day: float

    @property
    def n_rounds(self) -> int:
        """One round for fluid that is to be worn out early, else the usual number."""
        return 1 if self.plan is not None and self.plan.limit == "condition" else self.usual_rounds

    def draw(self, row: int, visits: set[int], today: date, rng: np.random.Generator) -> Timetable:
        """Choose the last service, then those before it until one lies before the readings."""
        due_day = None
        if self.plan is None:
            days = [self._last_by_chance(rng)]
        else:
            due_on = planned_day(self.plan, today)
            due_day = (due_on - self.first_on).days + 0.7
            days = [self._last_for_plan(due_on, due_day)]
        while days[-1] > LIFE_DAYS - HISTORY_DAYS:
            before = self._walk(days[-1], float(np.clip(rng.normal(0.95, 0.04), 0.85, 1.0)))
            if before is None or before < self.earliest:
                break
            days.append(self._join_visit(before, days[-1], visits))
        visits.update(int(day) for day in days)
        return Timetable(
            row=row,
            compartment=self.compartment,
            wear=self.wear,
            past=self.past,
            days=tuple(reversed(days)),
            planned=self.plan,
            due_day=due_day,
            n_rounds=self.n_rounds,
        )

    def _carried(self) -> Fill:
        """Return what an average service leaves behind."""
        left = (1.0 - self.compartment.drainable_litres / self.compartment.total_litres) ** self.n_rounds
        return Fill(
            day=self.time_of_day,
            life_used=left * self.wear.life_at_due,
            schedule_used=0.0 if self.compartment.partial_is_full else left * 0.95,
            fresh_share=1.0 - left,
        )

    def _last_by_chance(self, rng: np.random.Generator) -> float:
        carried = self._carried()
        least = max(carried.schedule_used, carried.life_used / self.wear.life_at_due) + LEAST_USED
        if (self.compartment.vehicle, self.compartment.compartment) == cast.CONTAMINATED:
            least = max(least, LEAST_USED_OF_CONTAMINATED)
        day = self._walk(float(LIFE_DAYS), float(rng.uniform(least, MOST_USED)))
        return self.earliest if day is None else max(self._on_a_workday(day), self.earliest)

    def _last_for_plan(self, due_on: date, due_day: float) -> float:
        months = self.compartment.interval_months
        if self.plan is not None and self.plan.limit == "calendar" and months is not None:
            return (months_before(due_on, months) - self.first_on).days + self.time_of_day
        day = find_fill_minute(self.wear, self.past, due_day, self._carried())
        return self.earliest if day is None else day

    def _walk(self, end: float, target: float) -> float | None:
        return find_fill_day(self.wear, self.past, end, target, self._carried())

    def _join_visit(self, day: float, after: float, visits: set[int]) -> float:
        """Come together with other work on the vehicle if there is some within a few days."""
        near = [visit for visit in visits if int(day) <= visit <= int(day) + SHARED_VISIT_DAYS]
        if near and min(near) + 20 < after:
            return min(near) + self.time_of_day
        return max(self._on_a_workday(day), self.earliest)

    def _on_a_workday(self, day: float) -> float:
        weekday = (self.first_on + timedelta(days=int(day))).weekday()
        return day - max(0, weekday - 4)
