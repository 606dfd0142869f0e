"""Follow the fluid in a compartment from event to event: what each did to its state, and why.

The state is computed anew from the first event whenever one is added, corrected or voided, so a correction in the
past reaches everything that follows.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from service.domain.exchange_methods import ExchangeMethod
from service.domain.intervals import Interval, ServicePoint, credited_start, due_point, months_after
from service.domain.zones import first_instant, local_date
from service.engine.ageing.age import Exposure, age
from service.engine.exchange.state import FluidState, fluid_state
from service.store.repositories.services import DoneItem
from service.store.tables.services import ReturnVisit, Sample
from service.store.tables.vehicles import Compartment
from service.usecases.fluids.exchange_fluid import exchange_fluid, service_credit, why_service
from service.usecases.fluids.fluid_parameters import CompartmentParameters
from service.usecases.fluids.recommend_exchange import FULL_EQUIVALENT_SHARE
from service.usecases.fluids.told_start import SLACK_HOURS, SLACK_KM, borne_out, day_over
from service.usecases.usage.engine_time import days_of

UNKNOWN_LIFE_USED: Final = 0.5
UNKNOWN_LIFE_USED_SD: Final = 0.29
"""Nothing known of the past: anywhere between new and condemned (uniform on 0 … 1 has this spread)."""

UNKNOWN_INTERVAL_SHARE: Final = 0.5
"""And half of the interval is taken as gone. Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MetersAt:
    """Reads a vehicle's meters at any instant of its past, interpolated between accepted readings."""

    km_days: Sequence[float]
    km: Sequence[float]
    hours_days: Sequence[float]
    hours: Sequence[float]

    def odometer_km(self, at_days: float) -> float | None:
        """Odometer on the continuous series; outside the readings, the nearest one."""
        return float(np.interp(at_days, self.km_days, self.km)) if len(self.km) else None

    def engine_hours(self, at_days: float) -> float | None:
        """Hour meter, likewise."""
        return float(np.interp(at_days, self.hours_days, self.hours)) if len(self.hours) else None


@dataclass(frozen=True, slots=True, kw_only=True)
class FluidPoint:
    """The fluid, and where its schedule starts, after an event; the engine's arrays have one entry."""

    at: datetime
    odometer_km: float | None
    engine_hours: float | None
    fluid: FluidState
    start: ServicePoint
    is_contaminated: bool = False
    is_sampled: bool = False
    fresh_fraction: float = 0.0
    is_history_known: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One event of a compartment's history with the state before (aged to it) and after."""

    kind: str
    why: str
    before: FluidPoint
    after: FluidPoint
    source_id: int | None = None
    figures: dict[str, float] = field(default_factory=dict)


Observe = Callable[[FluidPoint, Sample | str], FluidPoint]


@dataclass(frozen=True, slots=True, kw_only=True)
class FluidHistory:
    """Everything that one compartment's state depends on."""

    compartment: Compartment
    parameters: CompartmentParameters
    meters: MetersAt
    zone: ZoneInfo
    items: Sequence[DoneItem]
    samples: Sequence[Sample]
    observe: Observe
    """Weighs a sample, or the grade of old fluid, against the estimate."""

    return_visit: ReturnVisit | None = None
    """An accepted plan to come back that is still to come."""


def follow(history: FluidHistory) -> list[Step]:
    """Replay a compartment's history; the last step's `after` is its state."""
    events = list(_events(history))
    point = _beginning(history, min((at for at, _ in events), default=None))
    steps = [Step(kind="start", why=_why_start(history, point), before=point, after=point)]
    began = point.at
    for at, event in events:
        step = _too_old(event, point) if at < began else _step(history, aged(history, point, at), event)
        steps.append(step)
        point = step.after
    return steps


def aged(history: FluidHistory, point: FluidPoint, at: datetime) -> FluidPoint:
    """Let a point age to a later instant by what the meters say."""
    days = days_of(at)
    km, hours = history.meters.odometer_km(days), history.meters.engine_hours(days)
    exposure = Exposure(
        distance_km=_gained(point.odometer_km, km),
        days=max(days - days_of(point.at), 0.0),
        hours=_gained(point.engine_hours, hours),
        duty_multiplier=history.parameters.duty_multiplier,
    )
    fluid = age(point.fluid, exposure, history.parameters.rates)
    return replace(point, at=at, odometer_km=km, engine_hours=hours, fluid=fluid)


def due_points(compartment: Compartment, point: FluidPoint) -> ServicePoint:
    """Where each limit of the hard schedule is reached."""
    interval = Interval(
        km=compartment.interval_km, months=compartment.interval_months, hours=compartment.interval_hours
    )
    return due_point(interval, point.start)


def _events(history: FluidHistory) -> Iterator[tuple[datetime, DoneItem | Sample]]:
    """Services and samples in the order of time; of the same instant, the sample first: it is of the old fluid."""
    dated: list[tuple[datetime, int, DoneItem | Sample]] = [
        (done.service.done_at, 1, done) for done in history.items
    ]
    dated += [(sample.taken_at, 0, sample) for sample in history.samples]
    for at, _, event in sorted(dated, key=lambda entry: entry[:2]):
        yield at, event


def _beginning(history: FluidHistory, first_event: datetime | None) -> FluidPoint:
    compartment = history.compartment
    volume = np.array([compartment.total_litres])
    told = (compartment.baseline_on, compartment.baseline_odometer_km, compartment.baseline_engine_hours)
    if any(one is not None for one in told):
        on = compartment.baseline_on
        at = min(compartment.created_at, first_event or compartment.created_at)
        at = at if on is None else first_instant(on, time(), history.zone)
        km, hours = _borne_out(history)
        start = ServicePoint(
            on=on or local_date(at, history.zone),
            odometer_km=km if km is not None else history.meters.odometer_km(days_of(at)),
            engine_hours=hours if hours is not None else history.meters.engine_hours(days_of(at)),
        )
        return FluidPoint(
            at=at,
            odometer_km=start.odometer_km,
            engine_hours=start.engine_hours,
            fluid=fluid_state(volume),
            start=start,
            fresh_fraction=1.0,
        )
    at = min(compartment.created_at, first_event or compartment.created_at)
    days = days_of(at)
    km, hours = history.meters.odometer_km(days), history.meters.engine_hours(days)
    return FluidPoint(
        at=at,
        odometer_km=km,
        engine_hours=hours,
        fluid=fluid_state(volume, life_used=UNKNOWN_LIFE_USED, life_used_variance=UNKNOWN_LIFE_USED_SD**2),
        start=_half_gone(compartment, local_date(at, history.zone), km, hours),
        is_history_known=False,
    )


def _borne_out(history: FluidHistory) -> tuple[float | None, float | None]:
    """Kilometres and hours of the last full change as they were told, unless a later reading shows less."""
    row, meters = history.compartment, history.meters
    since = None if row.baseline_on is None else day_over(row.baseline_on, history.zone)
    return (
        borne_out(row.baseline_odometer_km, SLACK_KM, meters.km_days, meters.km, since),
        borne_out(row.baseline_engine_hours, SLACK_HOURS, meters.hours_days, meters.hours, since),
    )


def _half_gone(compartment: Compartment, on: date, km: float | None, hours: float | None) -> ServicePoint:
    months = compartment.interval_months
    return ServicePoint(
        on=on if months is None else months_after(on, -round(months * UNKNOWN_INTERVAL_SHARE)),
        odometer_km=_less(km, compartment.interval_km),
        engine_hours=_less(hours, compartment.interval_hours),
    )


def _less(shown: float | None, interval: float | None) -> float | None:
    return shown if shown is None or interval is None else shown - UNKNOWN_INTERVAL_SHARE * interval


def _step(history: FluidHistory, before: FluidPoint, event: DoneItem | Sample) -> Step:
    if isinstance(event, Sample):
        return _sampled(history, before, event)
    return _serviced(history, before, event)


def _too_old(event: DoneItem | Sample, point: FluidPoint) -> Step:
    is_sample = isinstance(event, Sample)
    return Step(
        kind="sample" if is_sample else "service",
        why="Older than the full change that was told when the compartment was registered: changes nothing.",
        before=point,
        after=point,
        source_id=event.id if isinstance(event, Sample) else event.service.id,
    )


def _why_start(history: FluidHistory, point: FluidPoint) -> str:
    if point.is_history_known:
        return "New fluid at the last full change that was told when the compartment was registered."
    return "Nothing is known of the past: half of the life and of the interval are taken as used."


def _sampled(history: FluidHistory, before: FluidPoint, sample: Sample) -> Step:
    after = history.observe(before, sample)
    if sample.is_contaminated:
        why = "The sample is contaminated: due now."
    elif sample.grade is not None and not sample.has_values:
        is_moved = not np.array_equal(after.fluid.life_used, before.fluid.life_used)
        effect = "A bad look moves the estimate a little." if is_moved else "A look puts no date off."
        why = f"Looked at: {sample.grade.replace('_', ' ')}. {effect}"
    else:
        why = "Laboratory values were weighed against the estimate."
    return Step(kind="sample", why=why, before=before, after=after, source_id=sample.id)


def _serviced(history: FluidHistory, before: FluidPoint, done: DoneItem) -> Step:
    item, compartment = done.item, history.compartment
    looked = before if item.old_fluid_grade is None else history.observe(before, item.old_fluid_grade)
    result = exchange_fluid(compartment, looked.fluid, done)
    is_top_up = item.method == ExchangeMethod.TOP_UP
    fresh = 1.0 - result.retained_share
    credit = service_credit(compartment, done, result.retained_share)
    here = ServicePoint(
        on=local_date(done.service.done_at, history.zone),
        odometer_km=before.odometer_km,
        engine_hours=before.engine_hours,
    )
    after = replace(
        looked,
        fluid=result.fluid,
        start=credited_start(looked.start, here, credit),
        is_contaminated=looked.is_contaminated and fresh < FULL_EQUIVALENT_SHARE,
        fresh_fraction=1.0 - (1.0 - looked.fresh_fraction) * result.retained_share if is_top_up else fresh,
        is_history_known=looked.is_history_known or credit >= FULL_EQUIVALENT_SHARE,
    )
    return Step(
        kind="service",
        why=why_service(done, result.retained_share, credit),
        before=before,
        after=after,
        source_id=done.service.id,
        figures={
            "volume_before_litres": result.volume_before_litres,
            "drained_litres": result.drained_litres,
            "filled_litres": result.filled_litres,
            "released_litres": result.released_litres,
            "fresh_share": fresh,
            "schedule_credit": credit,
        },
    )


def _gained(before: float | None, after: float | None) -> float:
    return 0.0 if before is None or after is None else max(after - before, 0.0)
