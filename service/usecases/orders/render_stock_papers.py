"""Papers of the stock: the sheet to count the shelf with, and the order plan as a file."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime
from enum import StrEnum
from typing import Final

from sqlmodel import Session

from service.documents.count_sheet import count_sheet_pdf
from service.documents.file_names import attachment_name
from service.documents.models import CountLine, CountSheet, OrderLine, OrderPlan, UsedFluidLabel
from service.documents.order_plan import order_plan_csv, order_plan_pdf, order_plan_xlsx
from service.documents.presentation import Presentation
from service.documents.used_fluid_label import used_fluid_label_pdf
from service.domain.roles import Scope
from service.domain.used_fluid import ANYWHERE, KEEPING_RULES, STREAM_RULES, WasteStream, codes_in
from service.errors import NotFoundError
from service.store.repositories import fleet, stock
from service.store.repositories.stock import Container
from service.store.tables.parts import Part
from service.usecases.access.caller import Caller
from service.usecases.orders.not_ordered import NotOrdered, not_ordered
from service.usecases.orders.plan_orders import ItemPlan, PlannedOrder, StockPlan, plan_stock_orders
from service.usecases.stock.show_stock import show_stock
from service.usecases.week.render_due_list import presentation_of


class PlanFileKind(StrEnum):
    """Forms in which an order plan can be fetched."""

    CSV = "csv"
    XLSX = "xlsx"
    PDF = "pdf"


_WRITERS: Final[dict[PlanFileKind, Callable[[OrderPlan, Presentation], bytes]]] = {
    PlanFileKind.CSV: order_plan_csv,
    PlanFileKind.XLSX: order_plan_xlsx,
    PlanFileKind.PDF: order_plan_pdf,
}


def render_count_sheet(session: Session, caller: Caller, now: datetime, public_url: str) -> tuple[bytes, str]:
    """Write a blind count sheet: nobody counts what they have just read."""
    overview = show_stock(session, caller, now)
    organisation = fleet.get_organisation(session, caller.organisation_id)
    presentation = presentation_of(organisation)
    sheet = CountSheet(
        organisation=organisation.name,
        printed_at=now.astimezone(organisation.zone),
        lines=(
            *(CountLine(item=line.item.reference, unit=presentation.volume_unit) for line in overview.lines),
            *(
                CountLine(item=line.item.reference, unit=presentation.labels["pieces"])
                for line in overview.parts
            ),
        ),
        record_url=f"{public_url}/stock",
    )
    return count_sheet_pdf(sheet, presentation), attachment_name(
        "count-sheet", str(overview.today), suffix="pdf"
    )


def render_used_fluid_label(
    session: Session, caller: Caller, depot_name: str, stream: WasteStream
) -> tuple[bytes, str]:
    """Write the label of a stream's container: in use since it was emptied last, as far as anybody knows.

    Raises
    ------
    NotFoundError
        If the organisation has no such depot.
    """
    caller.require(Scope.READ)
    depot = fleet.find_depot(session, caller.organisation_id, depot_name)
    if depot is None:
        raise NotFoundError("There is no depot with this name or id.")
    organisation = fleet.get_organisation(session, caller.organisation_id)
    presentation = presentation_of(organisation)
    rule = STREAM_RULES[stream]
    is_oil = stream in {WasteStream.LUBRICATING_OIL, WasteStream.HYDRAULIC_OIL}
    emptied_at = stock.last_emptied(session, caller.organisation_id).get(Container(depot.id or 0, stream))
    label = UsedFluidLabel(
        required_words=presentation.labels["used_oil"] if is_oil else rule.label,
        stream=rule.label,
        depot=depot.reference,
        organisation=organisation.name,
        waste_codes=tuple(
            f"{one.code}{'*' if one.hazardous else ''}" for one in codes_in(stream, depot.holiday_region)
        ),
        never_with=rule.never_with,
        handling=tuple(one.text for one in KEEPING_RULES if one.jurisdiction == ANYWHERE),
        capacity_litres=depot.used_fluid_capacity_by_stream.get(stream),
        opened_on=None if emptied_at is None else emptied_at.astimezone(organisation.zone).date(),
    )
    return used_fluid_label_pdf(label, presentation), attachment_name(
        "used-fluid", depot.reference, stream, suffix="pdf"
    )


def render_order_plan(
    session: Session, caller: Caller, now: datetime, kind: PlanFileKind, n_weeks: int | None
) -> tuple[bytes, str]:
    """Write the order plan of the coming weeks as a file, what has to be ordered first above all else."""
    plan = plan_stock_orders(session, caller, now, n_weeks)
    organisation = fleet.get_organisation(session, caller.organisation_id)
    presentation = presentation_of(organisation)
    orders = [(one, order) for one in (*plan.plans, *plan.parts) for order in one.orders]
    orders.sort(key=lambda found: found[1].order_by)
    document = OrderPlan(
        organisation=organisation.name,
        planned_at=now.astimezone(organisation.zone),
        n_weeks=len(plan.forecast.weeks),
        lines=tuple(line for one, order in orders for line in _lines(one, order, presentation)),
        currency=plan.currency,
        notes=tuple(_in_no_order(one, plan, presentation) for one in not_ordered(plan)),
    )
    return _WRITERS[kind](document, presentation), attachment_name(
        "order-plan", str(plan.forecast.today), suffix=kind
    )


def _in_no_order(one: NotOrdered, plan: StockPlan, presentation: Presentation) -> str:
    words = presentation.labels
    amount = (
        f"{presentation.number(one.quantity, 1)} {words['pieces']}"
        if one.is_part
        else presentation.volume(one.quantity)
    )
    weeks = f"{len(plan.forecast.weeks)} {words['weeks']}"
    return f"{one.name}: {words['in_no_order']}, {amount} / {weeks}. {one.why}"


def _lines(one: ItemPlan, order: PlannedOrder, presentation: Presentation) -> Iterator[OrderLine]:
    """Write one row a size of pack with its price, and one for what placing and taking in the order costs."""
    common = OrderLine(
        item=one.forecast.line.item.reference,
        pack=presentation.labels["placing_the_order"],
        n_packs=1,
        order_by_on=order.order_by,
        why=order.why,
        arrives_on=order.arrives_on,
        cost_minor=order.ordering_minor,
        if_not_ordered=one.if_nothing_is_ordered,
    )
    is_part = isinstance(one.forecast.line.item, Part)
    for (size, count), goods_minor in zip(order.packs, order.goods_minor, strict=True):
        pieces = f"{presentation.number(size)} {presentation.labels['pieces']}"
        yield replace(
            common,
            pack=pieces if is_part else presentation.pack_size(size),
            n_packs=count,
            volume_litres=None if is_part else size * count,
            cost_minor=goods_minor,
        )
    if order.ordering_minor:
        yield common
