"""What each chart is drawn from: plain values that a page fills in."""

from dataclasses import dataclass
from datetime import date, datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class OdometerReading:
    """One reading, believed or held back."""

    taken_at: datetime
    odometer_km: float
    is_held: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class FanPoint:
    """The forecast of one day; its unit is the chart's."""

    on: date
    p10: float
    p50: float
    p90: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DistanceLimit:
    """An odometer value at which something is due, and when it will be reached."""

    label: str
    odometer_km: float
    due_p10_on: date | None = None
    due_p50_on: date | None = None
    due_p90_on: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class OdometerChart:
    """A vehicle's odometer: history and the fan to the due dates, in kilometres."""

    chart_id: str
    """Unique on its page; letters, digits and hyphens."""
    vehicle: str
    today: date
    readings: tuple[OdometerReading, ...]
    fan: tuple[FanPoint, ...] = ()
    limits: tuple[DistanceLimit, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LifePoint:
    """Life used at a moment; two points of one moment make the drop at a service."""

    at: datetime
    life_used_fraction: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ServiceMark:
    """A service, on the day it was done."""

    on: date
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleMark:
    """What a sample said about life used, with the range it leaves open."""

    on: date
    life_used_fraction: float
    low_fraction: float
    high_fraction: float
    label: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LifeUsedChart:
    """Life used of one compartment: sawtooth, services, samples, limit and the projection as fractions."""

    chart_id: str
    vehicle: str
    compartment: str
    today: date
    history: tuple[LifePoint, ...]
    services: tuple[ServiceMark, ...] = ()
    samples: tuple[SampleMark, ...] = ()
    projection: tuple[FanPoint, ...] = ()
    limit_fraction: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class StockWeek:
    """The stock of one fluid at the end of a week, in litres, and what happens in that week."""

    iso_week: str
    p10_litres: float
    p50_litres: float
    p90_litres: float
    receipt_litres: float = 0.0
    is_order_by: bool = False
    run_out_probability: float = 0.0
    is_running_out: bool = False
    """The caller's judgement against the service level."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StockChart:
    """The stock of one fluid, week by week."""

    chart_id: str
    fluid: str
    weeks: tuple[StockWeek, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CoverageAtHorizon:
    """How often the truth fell inside the range we gave, for forecasts made that far ahead."""

    horizon: str
    """In words, e.g. "4 weeks"."""
    n_forecasts: int
    covered_fraction: float
    low_fraction: float
    high_fraction: float
    """The range that chance alone leaves open for the covered fraction."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CoverageChart:
    """Coverage by horizon against what was promised."""

    chart_id: str
    nominal_fraction: float
    horizons: tuple[CoverageAtHorizon, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartTable:
    """The same values as a table to stand below the chart."""

    caption: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
