"""Why a visit is on its day, or has none: one word for programs and one sentence for people."""

from datetime import date
from enum import StrEnum

from service.domain.weeks import IsoWeek


class Placing(StrEnum):
    """What decided about the day of a visit."""

    IN_ITS_WEEK = "in_its_week"
    OVERDUE = "overdue"
    BROUGHT_FORWARD = "brought_forward"
    DELAYED = "delayed"
    PINNED = "pinned"
    MOVED = "moved"
    PUBLISHED = "published"
    DUE_LATER = "due_later"
    HELD_BACK = "held_back"
    BAYS_FULL = "bays_full"
    VEHICLE_NEVER_THERE = "vehicle_never_there"
    DEPOT_CLOSED = "depot_closed"
    LONGER_THAN_ANY_DAY = "longer_than_any_day"


def in_its_week(due: IsoWeek) -> str:
    """Say that a visit is when it should be."""
    return f"Due in {due}, and planned there."


def overdue(day: date) -> str:
    """Say that a visit is late already."""
    return f"Due already; {day.isoformat()} is a day that has room for it."


def brought_forward(due: IsoWeek, n_weeks: int, *, has_no_day: bool) -> str:
    """Say why a visit is before the week in which it falls due."""
    why = "it cannot come in then" if has_no_day else "the bays are better used that way"
    return f"Due in {due}; {_weeks(n_weeks)} earlier, because {why}."


def delayed(due: IsoWeek, day: date, depot: str, *, has_no_day: bool) -> str:
    """Say why a visit is after the week in which it falls due."""
    if has_no_day:
        return f"Due in {due}; {day.isoformat()} is the first day that can be had: vehicle and bays do not meet sooner."
    return f"Due in {due}; the bays of {depot} are full then, {day.isoformat()} is what can be had."


def fixed(day: date, by: str, *, origin: Placing) -> str:
    """Say who fixed the day."""
    who = f" by {by}" if by else ""
    if origin is Placing.PUBLISHED:
        return f"On the published list for {day.isoformat()}."
    return f"{'Pinned' if origin is Placing.PINNED else 'Moved'} to {day.isoformat()}{who}."


def closed_day(depot: str) -> str:
    """Warn that a fixed day is one without bay hours."""
    return f"{depot} has no bay hours on this day."


def overbooked(depot: str, minutes: float) -> str:
    """Warn that fixed visits need more than a day has."""
    return f"{depot} is overbooked by {minutes:.0f} minutes on this day."


def held_back(day: date, by: str) -> str:
    """Say that somebody does not want a visit within the weeks planned."""
    who = f" by {by}" if by else ""
    return f"Held back until {day.isoformat()}{who}, which leaves no day in these weeks."


def not_placed(placing: Placing, depot: str, minutes: float, n_weeks: int) -> str:
    """Say why a visit has no day."""
    weeks = _weeks(n_weeks)
    return {
        Placing.BAYS_FULL: f"The bays of {depot} are full for {weeks}: more hours or fewer visits are needed.",
        Placing.VEHICLE_NEVER_THERE: f"{depot} is open on no day of these {weeks} on which the vehicle may come.",
        Placing.DEPOT_CLOSED: f"{depot} has no bay hours in these {weeks}.",
        Placing.LONGER_THAN_ANY_DAY: f"It takes {minutes:.0f} minutes, more than any day of {depot} has.",
    }.get(placing, f"Due after these {weeks}.")


def together(compartments: list[str]) -> str:
    """Say why several jobs are one visit."""
    return f"In one visit, because that costs less than apart: {_listed(compartments)}."


def split() -> str:
    """Say why jobs that would go together do not."""
    return "One of several visits: together they are longer than any day of the depot."


def pulled_in(others: list[str], n_weeks: int) -> str:
    """Say why a fluid that is not due is changed: the vehicle is in the bay anyway."""
    due = f"Due in {_weeks(n_weeks)}" if n_weeks > 0 else "Due soon"
    return f"{due}; done with the visit for {_listed(others)}, because that is cheaper than a second visit."


def _listed(names: list[str]) -> str:
    """Name two at most: there is one line for a sentence."""
    if len(names) > 2:
        return f"{names[0]}, {names[1]} and {len(names) - 2} more"
    return " and ".join(names)


def _weeks(number: int) -> str:
    return "1 week" if number == 1 else f"{number} weeks"
