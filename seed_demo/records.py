"""What an invented operator knows about itself, as plain frozen values with the field names of the API."""

from dataclasses import dataclass, field
from datetime import date, datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoOrganisation:
    """The invented operator."""

    name: str
    time_zone: str
    currency: str
    distance_unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoDepot:
    """A place with bays; `bay_minutes` are those of Monday … Sunday."""

    depot: str
    bay_minutes: tuple[int, ...]
    used_fluid_capacity_litres: float
    used_fluid_capacity_by_stream: dict[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoVehicle:
    """A vehicle; the API calls `vehicle_class` plainly `class`."""

    vehicle: str
    vehicle_class: str
    depot: str
    duty: str
    odometer_unit: str
    vin: str | None
    in_service_on: date


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoSeal:
    """A part that is used once a service."""

    part: str
    pieces: int


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoCompartment:
    """A place in a vehicle that holds one fluid, with what its (invented) maker says."""

    vehicle: str
    compartment: str
    place: str
    kind: str
    fluid: str
    specification: str
    total_litres: float
    drainable_litres: float
    interval_km: float | None = None
    interval_months: int | None = None
    interval_hours: float | None = None
    level_min_celsius: float | None = None
    level_max_celsius: float | None = None
    has_fluid_counter: bool = False
    partial_is_full: bool = False
    """The maker calls one drain-and-fill the service."""
    ageing: dict[str, float] = field(default_factory=dict)
    """Limits of the ageing law that differ from the kind's defaults, by their name."""
    seals: tuple[DemoSeal, ...] = ()
    maker_notes: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoReading:
    """A reading as it was keyed, mistakes included."""

    vehicle: str
    taken_at: datetime
    odometer: float
    unit: str
    engine_hours: float | None
    source: str
    reference: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoRound:
    """One drain and one fill."""

    drained_litres: float
    filled_litres: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoCompartmentWork:
    """What was done to one compartment during a service."""

    compartment: str
    method: str
    rounds: tuple[DemoRound, ...]
    fluid: str
    passed_litres: float | None = None
    level_celsius: float | None = None
    excess_drained_litres: float | None = None
    counter_reset: bool | None = None
    seals_renewed: bool | None = None
    old_fluid_grade: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoService:
    """One visit's work on a vehicle; the odometer is what the instrument showed, in `unit`."""

    vehicle: str
    done_at: datetime
    odometer: float
    unit: str
    engine_hours: float | None
    reference: str
    compartments: tuple[DemoCompartmentWork, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoSample:
    """A look at the fluid (a grade) or what a laboratory said (property → value in its own unit)."""

    vehicle: str
    compartment: str
    taken_at: datetime
    odometer: float
    unit: str
    reference: str
    grade: str | None = None
    laboratory: dict[str, float] = field(default_factory=dict)
    is_contaminated: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoPack:
    """A size in which a fluid can be bought."""

    litres: float
    price_minor: int
    minimum_packs: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoFluid:
    """An invented product with the invented specifications it meets."""

    fluid: str
    kind: str
    specifications: tuple[str, ...]
    is_dyed: bool
    density_15c_kg_per_m3: float
    lead_time_days: float
    lead_time_sd_days: float
    shelf_life_days: int
    packs: tuple[DemoPack, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoMovement:
    """A line of the stock ledger; what services draw is not in it, for recording a service draws it."""

    fluid: str
    kind: str
    at: datetime
    litres: float
    """Signed change."""
    counted_litres: float | None
    """What was found, if this is a count."""
    expires_on: date | None
    reference: str
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoOrderLine:
    """Packs of one size in an order."""

    pack_litres: float
    n_packs: int
    price_minor: int


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoOrder:
    """Packs that were ordered and have not arrived."""

    fluid: str
    placed_on: date
    expected_on: date
    lines: tuple[DemoOrderLine, ...]
    reference: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoMistake:
    """A reading that was mistyped or sent twice, and what the instrument really showed."""

    reference: str
    vehicle: str
    kind: str
    true_odometer: float
    fate: str
    """`discarded` by somebody who looked at it, `waiting` for that, `refused` at the door, or a `duplicate`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoClusterReplacement:
    """An instrument cluster that was replaced: the last number of the old one, the first of the new one."""

    vehicle: str
    replaced_at: datetime
    old_odometer: float
    new_odometer: float
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueCompartment:
    """The true state of one compartment now, and the day on which it really falls due."""

    vehicle: str
    compartment: str
    life_used: float
    fresh_share: float
    last_service_on: date
    due_on: date | None
    """Nothing if no limit is reached within the year ahead."""
    limit: str | None
