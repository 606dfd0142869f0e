"""The limits that make a fluid due, and the one sentence a mechanic reads about each."""

from datetime import date
from enum import StrEnum

from service.domain.fluid_contamination import COOLANT_IN_AUTOMATIC
from service.domain.fluid_kinds import AUTOMATIC_KINDS, FluidKind
from service.domain.units_of_distance import DistanceUnit


class Limit(StrEnum):
    """What makes a fluid due. The first three are the hard schedule."""

    DISTANCE = "distance"
    CALENDAR = "calendar"
    HOURS = "hours"
    CONDITION = "condition"
    CONTAMINATION = "contamination"


class Contaminant(StrEnum):
    """What should not be in the fluid."""

    WATER = "water"
    COOLANT = "coolant"
    WATER_OR_COOLANT = "water or coolant"
    """It looks milky and nobody has measured which."""


def distance_reason(left: float, unit: DistanceUnit) -> str:
    """Say how far the interval still reaches, in the organisation's unit."""
    return _interval_reason(left, unit)


def calendar_reason(months: int, due_on: date, today: date) -> str:
    """Say when the months since the last full service are over."""
    verb = "end" if due_on >= today else "ended"
    return f"{_counted(months, 'month')} since the last full service {verb} on {due_on.isoformat()}."


def hours_reason(left: float) -> str:
    """Say how many running hours are left."""
    return _interval_reason(left, "running hour" if abs(round(left)) == 1 else "running hours")


def _interval_reason(left: float, unit: str) -> str:
    whole = round(left)
    if whole > 0:
        return f"The interval ends in about {whole:,} {unit}."
    return f"The interval ended about {-whole:,} {unit} ago." if whole < 0 else "The interval ends now."


def condition_reason(life_used: float, planned_limit: float, *, sampled: bool) -> str:
    """Say how much life the fluid has used, and whether anybody looked at it."""
    basis = "its last sample and the work since" if sampled else "the work it has done; no sample yet"
    return (
        f"About {life_used:.0%} of the fluid's life is used, planned limit {planned_limit:.0%}, from {basis}."
    )


def with_unknown_start(reason: str) -> str:
    """Add to a reason that it counts from a guess."""
    return f"{reason} Nobody told of its last change: half of everything is taken as gone by then."


def contamination_reason(
    contaminant: Contaminant, found_fraction: float | None, limit_fraction: float | None, kind: FluidKind
) -> str:
    """Say what was found in a fluid of this kind."""
    limit = "" if limit_fraction is None else f", limit {limit_fraction:.2%}"
    shown = (
        f"{contaminant} in the fluid"
        if found_fraction is None
        else f"{found_fraction:.2%} {contaminant}{limit}"
    )
    may_be_coolant = contaminant is not Contaminant.WATER
    onward = f" {COOLANT_IN_AUTOMATIC}" if may_be_coolant and kind in AUTOMATIC_KINDS else ""
    return f"The last sample shows {shown}: due now, find the cause first.{onward}"


def return_visit_reason(n_rounds: int, due_on: date | None, left: float | None, unit: DistanceUnit) -> str:
    """Say that somebody planned to come back, and when."""
    when = [] if due_on is None else [f"on {due_on.isoformat()}"]
    if left is not None:
        when.append(f"in about {left:,.0f} {unit}" if left > 0 else f"about {-left:,.0f} {unit} ago")
    return f"Return visit for {_counted(n_rounds, 'more round')}, planned {' or '.join(when)}."


def unknown_reason() -> str:
    """Say why nothing can be due yet."""
    return "No interval and no reading yet: nothing can be said about when this fluid is due."


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
