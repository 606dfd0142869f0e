"""What each document is made from: plain values that a caller fills in, nothing looked up or computed.

Texts are in the reader's language already; volumes are litres, distances kilometres, temperatures degrees
Celsius. How numbers, dates and headings are written is the business of `presentation.py`.
"""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

Change = Literal["new", "carried over", "moved"]
LineState = Literal["open", "done", "dropped"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PartNeed:
    """A part that is used once on a job, and how many of it."""

    name: str
    quantity: int


@dataclass(frozen=True, slots=True, kw_only=True)
class DueLine:
    """One compartment of one vehicle that is due."""

    line_id: str
    """Stable for as long as this piece of work stays undone, whichever weeks it is listed in."""
    vehicle: str
    compartment: str
    fluid: str
    reason: str
    limit: str
    """The limit that bites first, in words: distance, calendar, hours, condition, contamination."""
    first_listed_on: date
    depot: str = ""
    due_p10_on: date | None = None
    due_p50_on: date | None = None
    due_p90_on: date | None = None
    visit_on: date | None = None
    visit_id: str = ""
    """Lines done in one visit share it; empty: the line is a visit of its own, known by `line_id`."""
    visit_sequence: int = 0
    """How often the visit was changed after it was first published; never falls."""
    method: str = ""
    n_rounds: int | None = None
    volume_litres: float | None = None
    work_minutes: float | None = None
    """Without setting up the visit."""
    parts: tuple[PartNeed, ...] = ()
    change: Change = "new"
    is_overdue: bool = False
    caution: str = ""
    state: LineState = "open"
    """What became of it since the list was published."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfItem:
    """Something to take off the shelf for the week's work."""

    item: str
    volume_litres: float | None = None
    quantity: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CancelledVisit:
    """A visit that an earlier list gave and that no longer stands."""

    visit_id: str
    visit_sequence: int
    vehicle: str
    visit_on: date
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class DueList:
    """The list of one organisation for one ISO week."""

    organisation: str
    iso_week: str
    """ISO 8601, e.g. 2026-W20."""
    published_at: datetime
    """Aware, in the organisation's time zone, as it is to be printed; of a draft, when it was worked out."""
    calendar_domain: str
    """The right-hand side of calendar identifiers (RFC 7986 section 5.3), e.g. the service's host name."""
    lines: tuple[DueLine, ...]
    is_draft: bool = False
    litres_by_fluid: tuple[tuple[str, float], ...] = ()
    """What the week's open lines need of each fluid in all."""
    shelf: tuple[ShelfItem, ...] = ()
    bay_minutes: float | None = None
    """Of the open lines, with setting up each visit."""
    cancelled: tuple[CancelledVisit, ...] = ()
    """Told to calendars alone, which would else keep them."""

    notes: tuple[str, ...] = ()
    url: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundPlan:
    """One drain and one fill, as they should measure at the temperatures of the compartment."""

    drain_litres: float
    fill_litres: float
    fresh_share_after_fraction: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkStep:
    """One step of the order of work, with why it matters and the caution that belongs to it."""

    text: str
    why: str = ""
    caution: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class JobCompartment:
    """What is done to one compartment during a visit."""

    compartment: str
    reason: str
    specification_required: str
    fluid: str
    fluid_meets: str
    method: str
    rounds: tuple[RoundPlan, ...]
    steps: tuple[WorkStep, ...]
    cautions: tuple[str, ...] = ()
    """What this work alone asks for; what holds for the whole sheet stands at its head."""
    total_litres: float | None = None
    drainable_litres: float | None = None
    litres: float | None = None
    """All that goes in, where no rounds are planned."""
    drained_celsius: float | None = None
    """The temperature at which the old fluid is measured; none: the amounts are for no temperature."""
    filled_celsius: float | None = None
    """The same of the fluid from the shelf."""
    excess_expected_litres: float | None = None
    """Where as much goes in at the one temperature as came out at the other; it needs both."""
    has_level_check: bool = True
    """Whether the level is set at a temperature; a reservoir is filled to its mark."""

    level_low_celsius: float | None = None
    level_high_celsius: float | None = None
    parts: tuple[PartNeed, ...] = ()
    torques: tuple[str, ...] = ()
    """Fasteners to write a torque for; figures come from the maker's data alone, so none is proposed."""

    maker_notes: str = ""
    """Plugs, tools and torque in the maker's words."""

    has_fluid_counter: bool = False
    life_used_before_fraction: float | None = None
    grades: tuple[str, ...] = ()
    """The words of the grading ladder, lowest first, to tick before and after."""

    grades_caution: str = ""
    """How little the ladder says by itself."""


@dataclass(frozen=True, slots=True, kw_only=True)
class JobSheet:
    """The paper that goes with one vehicle through one visit."""

    organisation: str
    vehicle: str
    visit_on: date | None
    printed_at: datetime
    record_url: str
    facts: tuple[tuple[str, str], ...]
    """Label and value, e.g. ("Registration", "…"), in the order to print."""
    cautions: tuple[str, ...]
    compartments: tuple[JobCompartment, ...]
    depot: str = ""
    odometer_km: float | None = None
    engine_hours: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderLine:
    """One thing to order."""

    item: str
    pack: str
    n_packs: int
    order_by_on: date
    why: str
    volume_litres: float | None = None
    arrives_on: date | None = None
    cost_minor: int | None = None
    """In the smallest unit of the plan's currency."""
    if_not_ordered: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderPlan:
    """What to order, by when and why."""

    organisation: str
    planned_at: datetime
    n_weeks: int
    lines: tuple[OrderLine, ...]
    currency: str = ""
    """ISO 4217 code; empty when no prices are kept."""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class CountLine:
    """One item to count on the shelf."""

    item: str
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CountSheet:
    """A shelf count to fill in by hand; what the ledger says is left out, or nobody would count."""

    organisation: str
    printed_at: datetime
    lines: tuple[CountLine, ...]
    record_url: str


@dataclass(frozen=True, slots=True, kw_only=True)
class UsedFluidLabel:
    """The label of one container of used fluid."""

    required_words: str
    """What has to be read from afar; the law may ask for these very words."""

    stream: str
    depot: str
    organisation: str
    waste_codes: tuple[str, ...]
    never_with: str
    handling: tuple[str, ...]
    capacity_litres: float | None = None
    opened_on: date | None = None
    """Left to be written by hand if nobody knows."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DriverCard:
    """A card for the dashboard: where whoever drives posts what the odometer shows."""

    organisation: str
    vehicle: str
    address: str
    ends_on: date
