"""A service as it is told, before anything is looked up."""

from dataclasses import dataclass
from datetime import datetime

from service.domain.exchange_methods import ExchangeMethod


@dataclass(frozen=True, slots=True, kw_only=True)
class NewRound:
    """One drain and one fill."""

    drained_litres: float
    filled_litres: float


@dataclass(frozen=True, slots=True, kw_only=True)
class NewWork:
    """What was done to one compartment; `compartment` is its name on the vehicle or its id."""

    compartment: str
    method: ExchangeMethod
    rounds: tuple[NewRound, ...] = ()
    passed_litres: float | None = None
    fluid: str | None = None
    """Article name or id; the compartment's usual fluid if not given."""

    level_celsius: float | None = None
    excess_drained_litres: float | None = None
    counter_reset: bool | None = None
    seals_renewed: bool | None = None
    old_fluid_grade: str | None = None
    override_reason: str | None = None

    @property
    def filled_litres(self) -> float:
        """Everything that came from the shelf."""
        return sum(one.filled_litres for one in self.rounds) + (self.passed_litres or 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class NewService:
    """One visit's work on a vehicle."""

    vehicle: str
    done_at: datetime
    compartments: tuple[NewWork, ...]
    odometer: float | None = None
    unit: str | None = None
    engine_hours: float | None = None
    done_by: str | None = None
    note: str | None = None
    reference: str | None = None
    late_entry: bool = False
    """Older than a service that is on record already, and meant to be."""
