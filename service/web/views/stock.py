"""The shelf as a page: what is there, what the weeks will take, what to order."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from service.documents.presentation import Presentation
from service.domain.external_ids import IdKind, format_id
from service.domain.fluid_kinds import KIND_LABELS, FluidKind
from service.domain.stock_entries import MovementKind, OrderState
from service.domain.used_fluid import WasteStream
from service.domain.weeks import IsoWeek
from service.store.tables.parts import Part
from service.usecases.orders.not_ordered import NotOrdered, not_ordered
from service.usecases.orders.plan_orders import ItemPlan, PlannedOrder, StockPlan
from service.usecases.stock.show_stock import OpenOrder, StockLine, StockOverview
from service.web.catalogue import tell, translate
from service.web.charts.models import StockChart, StockWeek
from service.web.forms import FormState
from service.web.views.shown_chart import ShownChart, show_chart
from service.web.views.stock_summary import SummaryRow, Told, worst_first
from service.web.views.used_fluid import UsedFluid

BY_HAND: Final = (
    MovementKind.RECEIPT,
    MovementKind.COUNT,
    MovementKind.CORRECTION,
    MovementKind.USED,
    MovementKind.DISCARDED,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedRow:
    """One order that the plan advises."""

    packs: str
    packs_field: str
    order_by: str
    arrives: str
    cost: str
    why: str
    is_late: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenOrderRow:
    """One purchase order that is not done."""

    order_id: str
    litres: str
    expected: str
    state: str
    is_planned: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemCard:
    """One fluid or part."""

    item: str
    path: str
    is_part: bool
    kind: str
    on_hand: str
    on_order: str
    expires: str
    need: str
    warnings: tuple[str, ...]
    sentence: str
    planned: tuple[PlannedRow, ...]
    open_orders: tuple[OpenOrderRow, ...]
    notes: tuple[str, ...]
    chart: ShownChart | None
    """None for parts: their table says it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StockPage:
    """The whole page."""

    summary: tuple[SummaryRow, ...]
    items: tuple[ItemCard, ...]
    used: UsedFluid
    without: tuple[tuple[str, str, str], ...]
    """What is needed and in no order: its name, how much, and why."""

    choices: tuple[tuple[str, str], ...]
    depots: tuple[tuple[str, str], ...]
    streams: tuple[tuple[str, str], ...]
    kinds: tuple[tuple[str, str], ...]
    volume_unit: str
    n_weeks: int
    may_act: bool
    may_plan: bool
    form: FormState


def stock_page(
    overview: StockOverview,
    plan: StockPlan,
    depots: Sequence[str],
    presentation: Presentation,
    form: FormState,
    *,
    used: UsedFluid,
    may_act: bool,
    may_plan: bool,
) -> StockPage:
    """Fill the page."""
    forecast = plan.forecast
    planned = (*plan.plans, *plan.parts)
    items = tuple(_card(place, one, plan, presentation) for place, one in enumerate(planned))
    told = [_told(one, card, presentation) for one, card in zip(planned, items, strict=True)]
    return StockPage(
        summary=worst_first(plan, planned, told, presentation),
        items=items,
        used=used,
        without=tuple(_without(one, presentation) for one in not_ordered(plan)),
        choices=tuple(_choice(line, presentation) for line in (*overview.lines, *overview.parts)),
        depots=tuple((name, name) for name in depots),
        streams=tuple((str(stream), translate(f"stream_{stream}")) for stream in WasteStream),
        kinds=tuple((str(kind), translate(f"movement_{kind}")) for kind in BY_HAND),
        volume_unit=presentation.volume_unit,
        n_weeks=len(forecast.weeks),
        may_act=may_act,
        may_plan=may_plan,
        form=form,
    )


def _card(place: int, one: ItemPlan, plan: StockPlan, presentation: Presentation) -> ItemCard:
    line, total = one.forecast.line, one.forecast.total

    def amount(quantity: float) -> str:
        return _amount(line, quantity, presentation)

    return ItemCard(
        item=line.item.reference,
        path=f"/stock/parts/{format_id(IdKind.PART, line.item.id)}"
        if _is_part(line)
        else f"/stock/fluids/{format_id(IdKind.FLUID, line.item.id)}",
        is_part=_is_part(line),
        kind=translate("stock_part")
        if isinstance(line.item, Part)
        else tell(KIND_LABELS[FluidKind(line.item.kind)]),
        on_hand=_on_hand(line, presentation),
        on_order=amount(line.on_order_quantity),
        expires=presentation.day(line.next_expiry_on),
        need=translate(
            "stock_need",
            middle=amount(float(total.q50[0])),
            low=amount(float(total.q10[0])),
            high=amount(float(total.q90[0])),
        ),
        warnings=tuple(presentation.sentence(tell(warning)) for warning in line.warnings),
        sentence=presentation.sentence(tell(one.if_nothing_is_ordered)),
        planned=tuple(_planned(order, line, plan, presentation) for order in one.orders),
        open_orders=tuple(_open(order, line, presentation) for order in line.open_orders),
        notes=tuple(presentation.sentence(tell(note)) for note in one.notes if note not in line.warnings),
        chart=None if _is_part(line) else _chart(place, one, plan.forecast.weeks, presentation),
    )


def _told(one: ItemPlan, card: ItemCard, presentation: Presentation) -> Told:
    return Told(
        item=card.item,
        on_hand=card.on_hand,
        on_order=card.on_order if one.forecast.line.on_order_quantity else "",
        middle=_amount(one.forecast.line, float(one.forecast.total.q50[0]), presentation),
        packs=card.planned[0].packs if card.planned else "",
    )


def _without(one: NotOrdered, presentation: Presentation) -> tuple[str, str, str]:
    amount = (
        translate("stock_pieces", n=presentation.number(one.quantity, 1))
        if one.is_part
        else presentation.volume(one.quantity)
    )
    if one.n_compartments is not None:
        n = presentation.number(one.n_compartments)
        amount = translate("without_compartments", amount=amount, n=n)
    return one.name if one.kind is None else tell(one.name), amount, tell(one.why)


def _is_part(line: StockLine) -> bool:
    return isinstance(line.item, Part)


def _amount(line: StockLine, quantity: float, presentation: Presentation) -> str:
    """Write litres of a fluid or pieces of a part."""
    if _is_part(line):
        return translate("stock_pieces", n=presentation.number(quantity))
    return presentation.volume(quantity)


def _on_hand(line: StockLine, presentation: Presentation) -> str:
    """Write what the plan takes to be there, and the ledger beside it where that cannot be."""
    held = _amount(line, line.held_quantity, presentation)
    if line.shelf.quantity >= 0.0:
        return held
    ledger = _amount(line, line.shelf.quantity, presentation)
    return translate("stock_by_ledger", held=held, ledger=ledger)


def _pack(line: StockLine, size: float, presentation: Presentation) -> str:
    return _amount(line, size, presentation) if _is_part(line) else presentation.pack_size(size)


def _choice(line: StockLine, presentation: Presentation) -> tuple[str, str]:
    name = line.item.reference
    if _is_part(line):
        return f"part:{name}", translate("movement_of_part", part=name)
    return f"fluid:{name}", translate("movement_of_fluid", fluid=name, unit=presentation.volume_unit)


def _planned(order: PlannedOrder, line: StockLine, plan: StockPlan, presentation: Presentation) -> PlannedRow:
    money = presentation.money(order.cost_minor, plan.currency)
    return PlannedRow(
        packs=", ".join(
            translate("stock_packs", n=count, size=_pack(line, size, presentation))
            for size, count in order.packs
        ),
        packs_field=",".join(f"{litres!r}={count}" for litres, count in order.packs),
        order_by=presentation.day(order.order_by),
        arrives=presentation.day(order.arrives_on),
        cost=f"{money}\u00a0{plan.currency}",
        why=presentation.sentence(tell(order.why)),
        is_late=order.order_by <= plan.forecast.today,
    )


def _open(order: OpenOrder, line: StockLine, presentation: Presentation) -> OpenOrderRow:
    return OpenOrderRow(
        order_id=format_id(IdKind.PURCHASE_ORDER, order.order_id),
        litres=_amount(line, order.quantity, presentation),
        expected=presentation.day(order.expected_on),
        state=translate(f"order_{order.state}"),
        is_planned=order.state is OrderState.PLANNED,
    )


def _chart(place: int, one: ItemPlan, weeks: Sequence[IsoWeek], presentation: Presentation) -> ShownChart:
    stock, line = one.forecast.stock, one.forecast.line
    ordered = {IsoWeek.of(order.order_by) for order in one.orders}
    chart = StockChart(
        chart_id=f"stock-{place}",
        fluid=line.fluid.reference,
        weeks=tuple(
            StockWeek(
                iso_week=str(week),
                p10_litres=float(stock.stock_q10[number]),
                p50_litres=float(stock.stock_q50[number]),
                p90_litres=float(stock.stock_q90[number]),
                receipt_litres=_arriving(line.open_orders, week),
                is_order_by=week in ordered,
                run_out_probability=float(stock.run_out_probability[number]),
                is_running_out=float(stock.run_out_probability[number]) > 1.0 - line.fluid.service_level,
            )
            for number, week in enumerate(weeks)
        ),
    )
    return show_chart(chart, presentation)


def _arriving(orders: Sequence[OpenOrder], week: IsoWeek) -> float:
    return sum(
        order.quantity
        for order in orders
        if order.state is OrderState.PLACED and _is_in(order.expected_on, week)
    )


def _is_in(day: date, week: IsoWeek) -> bool:
    return week.first_day <= day <= week.last_day
