"""One vehicle as a page: its use, its fluids, what is next, what happened."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from zoneinfo import ZoneInfo

from service.documents.presentation import Presentation
from service.domain.duties import DUTY_DEFAULTS, Duty
from service.domain.exchange_methods import ExchangeMethod
from service.domain.external_ids import IdKind, format_id
from service.domain.fluid_exchange_defaults import EXCHANGE_DEFAULTS
from service.domain.fluid_kinds import KIND_LABELS, FluidKind
from service.domain.units_of_distance import DistanceUnit
from service.domain.vehicle_classes import CLASS_DEFAULTS, VehicleClass
from service.store.tables.access import AuditEntry, Token
from service.store.tables.services import ReturnVisit
from service.store.tables.visits import VisitPin
from service.usecases.fluids.own_ageing import wear_by_temperature
from service.usecases.plans.show_vehicle import CompartmentView, VehicleView
from service.web.catalogue import tell, translate
from service.web.forms import FormState
from service.web.views.charts import life_chart, odometer_chart
from service.web.views.compartment_warnings import early_wear_words, shown_less_words
from service.web.views.days import pin_words
from service.web.views.due_rows import DueRow, due_rows
from service.web.views.exchange import ExchangeTable, exchange_table
from service.web.views.history import Event, history_events
from service.web.views.returns import ReturnForm, return_form
from service.web.views.shown_chart import ShownChart
from service.web.views.vehicle_doubts import vehicle_doubts
from service.web.views.vehicle_readings import HeldReading, ReadingLines, held_readings, reading_lines


@dataclass(frozen=True, slots=True, kw_only=True)
class CompartmentCard:
    """One compartment."""

    compartment_id: str
    name: str
    kind: str
    facts: tuple[tuple[str, str], ...]
    warnings: tuple[str, ...]
    limit: str
    chart: ShownChart
    exchange: ExchangeTable | None
    returns: ReturnForm
    has_rounds: bool
    """Whether it is changed by draining: what is flushed through has no rounds to choose from."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkRow:
    """A link by which whoever drives posts readings."""

    link_id: str
    name: str
    ends: str
    used: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What people arranged for a vehicle: links for drivers, a day, plans to come back; what else they said of it."""

    links: Sequence[Token] = ()
    pin: VisitPin | None = None
    returns: Mapping[int, Sequence[ReturnVisit]]
    voidings: Sequence[AuditEntry] = ()
    same_vin: Sequence[str] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class VehiclePage:
    """The whole page."""

    vehicle: str
    vehicle_id: str
    facts: tuple[tuple[str, str], ...]
    doubts: tuple[str, ...]
    next_due: tuple[DueRow, ...]
    odometer: ShownChart | None
    held: tuple[HeldReading, ...]
    readings: ReadingLines
    compartments: tuple[CompartmentCard, ...]
    events: tuple[Event, ...]
    links: tuple[LinkRow, ...]
    pinned: str
    distance_unit: str
    may_read: bool
    may_decide: bool
    may_work: bool
    form: FormState
    now_local: str
    unit: str


def vehicle_page(
    view: VehicleView,
    presentation: Presentation,
    zone: ZoneInfo,
    now: datetime,
    form: FormState,
    rights: dict[str, bool],
    asked: Asked,
    readings_page: int | None = None,
) -> VehiclePage:
    """Fill the page of a vehicle."""
    vehicle = view.projection.vehicle
    return VehiclePage(
        vehicle=vehicle.reference,
        vehicle_id=format_id(IdKind.VEHICLE, vehicle.id),
        facts=tuple(_facts(view, presentation)),
        doubts=tuple(vehicle_doubts(asked.same_vin, view.readings, presentation, zone)),
        next_due=due_rows(view, presentation),
        odometer=odometer_chart(view, presentation, zone),
        held=held_readings(view.readings, presentation, zone),
        readings=reading_lines(view.readings, readings_page, presentation, zone),
        compartments=tuple(
            _card(view, one, presentation, zone, asked.returns.get(one.compartment.id or 0, ()))
            for one in view.compartments
        ),
        events=history_events(view, asked.voidings, presentation, zone),
        links=tuple(_link(token, presentation, zone) for token in asked.links),
        pinned="" if asked.pin is None else pin_words(asked.pin, presentation),
        distance_unit=presentation.distance_unit,
        may_read=rights["read"],
        may_decide=rights["decide"],
        may_work=rights["work"],
        form=form,
        now_local=f"{now.astimezone(zone):%Y-%m-%dT%H:%M}",
        unit=vehicle.odometer_unit,
    )


def _facts(view: VehicleView, presentation: Presentation) -> Iterator[tuple[str, str]]:
    projection, vehicle = view.projection, view.projection.vehicle
    yield translate("fact_class"), tell(CLASS_DEFAULTS[VehicleClass(vehicle.vehicle_class)].label)
    yield translate("fact_depot"), view.depot
    yield translate("fact_duty"), tell(DUTY_DEFAULTS[Duty(vehicle.duty)].label)
    if projection.odometer_km is not None:
        low, middle, high = (presentation.distance(float(value)) for value in projection.odometer_km)
        yield translate("fact_odometer"), translate("fact_spread", middle=middle, low=low, high=high)
        if vehicle.odometer_unit != presentation.distance_unit:
            own = replace(presentation, distance_unit=DistanceUnit(vehicle.odometer_unit))
            in_unit = translate("fact_odometer_in", unit=translate(f"unit_{own.distance_unit}"))
            yield in_unit, own.distance(float(projection.odometer_km[1]))
        low, middle, high = (presentation.distance(float(value)) for value in projection.km_per_day)
        yield translate("fact_use"), translate("fact_per_day", middle=middle, low=low, high=high)
    yield translate("fact_readings"), presentation.number(int(projection.usage.odometer.n_readings[0]))
    if vehicle.vin:
        yield translate("fact_vin"), vehicle.vin
    if vehicle.in_service_on:
        yield translate("fact_since"), presentation.day(vehicle.in_service_on)


def _link(token: Token, presentation: Presentation, zone: ZoneInfo) -> LinkRow:
    ends, used = (
        None if at is None else at.astimezone(zone).date() for at in (token.expires_at, token.last_used_at)
    )
    return LinkRow(
        link_id=format_id(IdKind.TOKEN, token.id),
        name=token.name,
        ends=presentation.day(ends),
        used=translate("link_unused") if used is None else presentation.day(used),
    )


def due_span(low: date | None, high: date | None, presentation: Presentation) -> str:
    """Say from when to when it is due in 8 cases of 10; what lies beyond the horizon has no date."""
    if low is None:
        return "–"
    if high is None:
        return translate("line_beyond", day=presentation.day(low))
    return f"{presentation.day(low)} – {presentation.day(high)}"


def _card(
    view: VehicleView,
    one: CompartmentView,
    presentation: Presentation,
    zone: ZoneInfo,
    returns: Sequence[ReturnVisit],
) -> CompartmentCard:
    fluids, compartment = view.projection.fluids, one.compartment
    low, middle, high = (column[one.place] for column in fluids.due_dates)
    limit = fluids.limit_of(one.place)
    life, spread = (
        float(fluids.fluid_now.life_used[one.place]),
        float(fluids.fluid_now.life_used_variance[one.place]) ** 0.5,
    )
    recommended = view.projection.recommended
    listed = recommended.method[one.place], int(recommended.n_rounds[one.place])
    has_rounds = EXCHANGE_DEFAULTS[FluidKind(compartment.kind)].method is ExchangeMethod.DRAIN_AND_FILL
    intervals = ", ".join(_intervals(one, presentation))
    facts = [
        (translate("next_due"), presentation.day(middle) if middle else translate("next_beyond")),
        *([(translate("next_span"), due_span(low, high, presentation))] if low != high else []),
        (translate("next_life"), f"{presentation.percent(life)} ± {presentation.percent(spread)}"),
        (
            translate("next_fresh"),
            _fresh(one, fluids.compartments["fresh_fraction"][one.place], presentation),
        ),
        (translate("next_holds"), _holds(one, presentation)),
        (translate("next_interval"), intervals or "–"),
        (translate("next_from"), _counted_from(one, presentation)),
        (translate("next_specification"), compartment.specification or "–"),
    ]
    if compartment.oil_temperatures:
        wear = wear_by_temperature(FluidKind(compartment.kind), compartment.oil_temperatures)
        told = translate(
            "next_wear_as",
            times=presentation.number(wear.multiplier, 2),
            celsius=presentation.celsius(wear.as_at_celsius),
        )
        facts.append((translate("next_wear"), told))
    if compartment.level_min_celsius is not None:
        window = (
            f"{presentation.celsius(compartment.level_min_celsius)} – "
            f"{presentation.celsius(compartment.level_max_celsius)}"
        )
        facts.append((translate("next_window"), window))
    return CompartmentCard(
        compartment_id=format_id(IdKind.COMPARTMENT, compartment.id),
        name=compartment.reference,
        kind=tell(KIND_LABELS[FluidKind(compartment.kind)]),
        facts=tuple(facts),
        warnings=(
            *early_wear_words(one.early_wear, presentation),
            *shown_less_words(one.shown_less, presentation),
        ),
        limit=translate(f"limit_{limit}" if limit else "limit_none"),
        chart=life_chart(view, one, presentation, zone),
        exchange=exchange_table(one.plan, presentation, listed) if has_rounds and one.plan else None,
        returns=return_form(returns, one.plan, presentation),
        has_rounds=has_rounds,
    )


def _fresh(one: CompartmentView, share: float, presentation: Presentation) -> str:
    """Nothing is known to be new where nobody told of a change."""
    if not share and not one.history.steps[-1].after.is_history_known:
        return translate("fresh_unknown")
    return presentation.percent(share)


def _holds(one: CompartmentView, presentation: Presentation) -> str:
    return translate(
        "holds",
        total=presentation.volume(one.compartment.total_litres),
        drainable=presentation.volume(one.compartment.drainable_litres),
    )


def _counted_from(one: CompartmentView, presentation: Presentation) -> str:
    """Say where the interval begins: at the last change, later for one that renewed a part, or at a guess."""
    last = one.history.steps[-1].after
    start, told = last.start, []
    if start.on is not None:
        told.append(presentation.day(start.on))
    if start.odometer_km is not None:
        told.append(presentation.distance(start.odometer_km))
    if start.engine_hours is not None and one.compartment.interval_hours:
        told.append(translate("hours", n=presentation.number(start.engine_hours)))
    point = ", ".join(told)
    return point if last.is_history_known else translate("from_guess", point=point)


def _intervals(one: CompartmentView, presentation: Presentation) -> Iterator[str]:
    compartment = one.compartment
    if compartment.interval_km:
        yield presentation.distance(compartment.interval_km)
    if compartment.interval_months:
        yield translate("months", n=compartment.interval_months)
    if compartment.interval_hours:
        yield translate("hours", n=presentation.number(compartment.interval_hours))
