"""A sample as it is told, before anything is looked up, and what became of it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

from service.errors import ServiceError
from service.store.tables.services import Sample


class SampleOutcome(StrEnum):
    """What became of a sample that was sent."""

    ACCEPTED = "accepted"
    DUPLICATE = "duplicate"
    """Stored already; nothing changed."""

    REJECTED = "rejected"
    """Not stored."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NewSample:
    """A look at a fluid: a grade, or values by property in the units named beside them."""

    compartment: str
    """Its id, or its name on `vehicle`."""

    taken_at: datetime
    vehicle: str | None = None
    odometer: float | None = None
    unit: str | None = None
    engine_hours: float | None = None
    grade: str | None = None
    laboratory: Mapping[str, float] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    """Units by property; the property's own where none is named."""

    new_values: Mapping[str, float] = field(default_factory=dict)
    source: str = "api"
    reference: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class SampleResult:
    """What became of one sample; the error says why it was not stored."""

    outcome: SampleOutcome
    sample: Sample | None = None
    error: ServiceError | None = None
