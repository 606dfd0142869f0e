"""How the fluid in one compartment ages and when it falls due: the linear law over a true history of use."""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np

from seed_demo.process import Floats
from seed_demo.records import DemoCompartment
from service.domain.duties import DUTY_DEFAULTS, Duty
from service.domain.fluid_ageing import AGEING_DEFAULTS
from service.domain.fluid_kinds import FluidKind

DAYS_PER_MONTH: Final = 365.25 / 12.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Wear:
    """Limits of one compartment; `inf` where there is none. Rates in life or schedule used per unit."""

    life_per_km: float
    life_per_day: float
    life_per_hour: float
    life_at_due: float
    """Life used at which it is due by condition."""
    interval_km: float
    interval_days: float
    interval_hours: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Fill:
    """A charge of fluid: when it came in, and what it has behind it."""

    day: float
    life_used: float
    schedule_used: float
    """Share of the schedule that a partial exchange leaves in place."""
    fresh_share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Past:
    """True distance and hours at each midnight of one vehicle; hours are all zero without a meter."""

    distance_km: Floats
    engine_hours: Floats

    def growth(self, start: float | Floats, end: float | Floats) -> tuple[Floats, Floats, Floats]:
        """Kilometres, days and hours between two day numbers."""
        edges = np.arange(self.distance_km.size, dtype=np.float64)
        first, last = np.asarray(start, dtype=np.float64), np.asarray(end, dtype=np.float64)
        km = np.interp(last, edges, self.distance_km) - np.interp(first, edges, self.distance_km)
        hours = np.interp(last, edges, self.engine_hours) - np.interp(first, edges, self.engine_hours)
        return np.asarray(km), last - first, np.asarray(hours)


def wear_of(compartment: DemoCompartment, duty: str) -> Wear:
    """Combine the kind's ageing defaults, the compartment's own limits and the duty."""
    ageing = AGEING_DEFAULTS[FluidKind(compartment.kind)]
    own = compartment.ageing
    life_km = own.get("life_km", ageing.life_km.value if ageing.life_km else np.inf)
    life_hours = own.get("life_hours", ageing.life_hours.value if ageing.life_hours else np.inf)
    return Wear(
        life_per_km=DUTY_DEFAULTS[Duty(duty)].rate_multiplier.value / life_km,
        life_per_day=1.0 / own.get("life_days", ageing.life_days.value),
        life_per_hour=1.0 / life_hours,
        life_at_due=1.0 - ageing.planning_reserve_fraction.value,
        interval_km=compartment.interval_km or np.inf,
        interval_days=(compartment.interval_months or np.inf) * DAYS_PER_MONTH,
        interval_hours=compartment.interval_hours or np.inf,
    )


def life_grown(wear: Wear, past: Past, start: float | Floats, end: float | Floats) -> Floats:
    """Life used up between two day numbers."""
    km, days, hours = past.growth(start, end)
    return wear.life_per_km * km + wear.life_per_day * days + wear.life_per_hour * hours


def used_by_limit(wear: Wear, past: Past, fill: Fill, end: float | Floats) -> dict[str, Floats]:
    """Share of each limit that is used up at day numbers; 1 means due."""
    km, days, hours = past.growth(fill.day, end)
    return {
        "distance": fill.schedule_used + km / wear.interval_km,
        "calendar": fill.schedule_used + days / wear.interval_days,
        "hours": fill.schedule_used + hours / wear.interval_hours,
        "condition": (fill.life_used + life_grown(wear, past, fill.day, end)) / wear.life_at_due,
    }


def find_fill_day(wear: Wear, past: Past, end: float, target: float, carried: Fill) -> float | None:
    """Find the latest day on which a charge must have come in to have used the target share by `end`."""
    days = np.asarray(np.arange(np.floor(end)) + carried.day % 1.0, dtype=np.float64)
    found = np.flatnonzero((_used_since(wear, past, days, end, carried) >= target) & (days < end))
    return float(days[found[-1]]) if found.size else None


def find_fill_minute(wear: Wear, past: Past, end: float, carried: Fill) -> float | None:
    """Find the latest minute at which a charge must have come in to be due by `end`."""
    day = find_fill_day(wear, past, end, 1.0, carried)
    if day is None:
        return None
    minutes = np.asarray(day + np.arange(1440) / 1440.0, dtype=np.float64)
    used = _used_since(wear, past, minutes, end, carried)
    return float(minutes[np.flatnonzero(used >= 1.0)[-1]])


def _used_since(wear: Wear, past: Past, starts: Floats, end: float, carried: Fill) -> Floats:
    """Share of the first limit to bite, used up at `end` by charges that came in at `starts`."""
    km, span, hours = past.growth(starts, end)
    schedule = np.maximum.reduce(
        [km / wear.interval_km, span / wear.interval_days, hours / wear.interval_hours]
    )
    life = carried.life_used + life_grown(wear, past, starts, end)
    used = np.maximum(carried.schedule_used + schedule, life / wear.life_at_due)
    return np.asarray(used, dtype=np.float64)


def first_due(
    wear: Wear, past: Past, fill: Fill, first_on: date, calendar_due_on: date | None
) -> tuple[date, str] | None:
    """Find the first day on which a limit is reached, and which; nothing if none is within the history."""
    ends = np.arange(np.ceil(fill.day), past.distance_km.size, dtype=np.float64)
    reached: list[tuple[date, str]] = []
    for limit, used in used_by_limit(wear, past, fill, ends).items():
        over = np.flatnonzero(used >= 1.0)
        if limit == "calendar" and calendar_due_on is not None:
            reached.append((calendar_due_on, limit))
        elif over.size:
            reached.append((first_on + timedelta(days=float(ends[over[0]]) - 1.0), limit))
    return min(reached) if reached else None
