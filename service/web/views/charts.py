"""Charts for a page: the drawing and its table."""

from datetime import date
from typing import Final
from zoneinfo import ZoneInfo

from service.documents.presentation import Presentation
from service.domain.due_reasons import Limit
from service.domain.zones import local_date
from service.store.tables.readings import Reading
from service.usecases.fluids.explain_history import ToldHistory, ToldStep
from service.usecases.plans.show_vehicle import CompartmentView, Course, VehicleView
from service.web.charts.models import (
    DistanceLimit,
    FanPoint,
    LifePoint,
    LifeUsedChart,
    OdometerChart,
    OdometerReading,
    SampleMark,
    ServiceMark,
)
from service.web.views.shown_chart import ShownChart, show_chart

Z_90: Final = 1.2815515655446004
"""Standard normal quantile at 0.9 (ISO 16269-4 tables): 8 in 10 cases lie within this many deviations."""


def odometer_chart(view: VehicleView, presentation: Presentation, zone: ZoneInfo) -> ShownChart | None:
    """Draw the odometer with its fan, or nothing for a vehicle without readings."""
    if not view.readings:
        return None
    chart = OdometerChart(
        chart_id="odometer",
        vehicle=view.projection.vehicle.reference,
        today=view.projection.fluids.today,
        readings=tuple(reading for row in view.readings if (reading := _reading(row, zone)) is not None),
        fan=_fan(view.odometer_course),
        limits=tuple(limit for one in view.compartments if (limit := _distance_limit(view, one)) is not None),
    )
    return show_chart(chart, presentation)


def life_chart(
    view: VehicleView, one: CompartmentView, presentation: Presentation, zone: ZoneInfo
) -> ShownChart:
    """Draw the life used of one compartment."""
    parameters = view.projection.fluids.parameters
    chart = LifeUsedChart(
        chart_id=f"life-{one.place}",
        vehicle=view.projection.vehicle.reference,
        compartment=one.compartment.reference,
        today=view.projection.fluids.today,
        history=tuple(_points(one.history, zone)),
        services=tuple(_service(step, zone) for step in one.history.steps if step.event == "service"),
        samples=tuple(_sample(step, zone) for step in one.history.steps if step.event == "sample"),
        projection=_fan(one.life_course),
        limit_fraction=1.0 - float(parameters.planning_reserve_fraction[one.place]),
    )
    return show_chart(chart, presentation)


def _reading(row: Reading, zone: ZoneInfo) -> OdometerReading | None:
    if row.odometer_km is None or row.outcome == "rejected":
        return None
    return OdometerReading(
        taken_at=row.taken_at.astimezone(zone), odometer_km=row.odometer_km, is_held=row.outcome == "held"
    )


def _distance_limit(view: VehicleView, one: CompartmentView) -> DistanceLimit | None:
    fluids = view.projection.fluids
    at_km = fluids.compartments["due_odometer_km"][one.place]
    if at_km is None:
        return None
    low, middle, high = (column[one.place] for column in fluids.due_dates)
    is_first = fluids.limit_of(one.place) is Limit.DISTANCE
    return DistanceLimit(
        label=one.compartment.reference,
        odometer_km=at_km,
        due_p10_on=_from_today(low, fluids.today) if is_first else None,
        due_p50_on=_from_today(middle, fluids.today) if is_first else None,
        due_p90_on=_from_today(high, fluids.today) if is_first else None,
    )


def _from_today(day: date | None, today: date) -> date | None:
    """What is due already is drawn at today."""
    return None if day is None else max(day, today)


def _fan(course: Course) -> tuple[FanPoint, ...]:
    return tuple(
        FanPoint(on=day, p10=float(low), p50=float(middle), p90=float(high))
        for day, (low, middle, high) in zip(course.days, course.quantiles, strict=True)
    )


def _points(history: ToldHistory, zone: ZoneInfo) -> list[LifePoint]:
    """Before and after every event: the drop between the two is what it did."""
    points = []
    for step in history.steps:
        at = step.at.astimezone(zone)
        if step.event not in {"start", "now"}:
            points.append(LifePoint(at=at, life_used_fraction=float(step.before.fluid.life_used[0])))
        points.append(LifePoint(at=at, life_used_fraction=float(step.after.fluid.life_used[0])))
    return points


def _service(step: ToldStep, zone: ZoneInfo) -> ServiceMark:
    return ServiceMark(on=local_date(step.at, zone), label=step.why)


def _sample(step: ToldStep, zone: ZoneInfo) -> SampleMark:
    fluid = step.after.fluid
    life, spread = float(fluid.life_used[0]), Z_90 * float(fluid.life_used_variance[0]) ** 0.5
    return SampleMark(
        on=local_date(step.at, zone),
        life_used_fraction=life,
        low_fraction=max(life - spread, 0.0),
        high_fraction=life + spread,
        label=step.why,
    )
