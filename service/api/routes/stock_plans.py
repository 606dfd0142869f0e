"""What the fleet will take, and what to order."""

from fastapi import APIRouter, Request, Response

from service.api.answers import describe_file, show, show_file
from service.api.inputs import NameQuery, WeeksAhead
from service.api.problems import describe_problems
from service.api.schemas.order_plan import StockPlanRead
from service.api.schemas.stock_forecast import StockForecastRead
from service.api.schemas.used_fluid import UsedFluidPlanRead
from service.api.units_of_work import Reading
from service.domain.used_fluid import WasteStream
from service.usecases.forecast.forecast_stock import forecast_stock
from service.usecases.orders.plan_collections import plan_collections
from service.usecases.orders.plan_orders import plan_stock_orders
from service.usecases.orders.render_stock_papers import (
    PlanFileKind,
    render_order_plan,
    render_used_fluid_label,
)

router = APIRouter(tags=["stock"])


@router.get(
    "/stock/forecast",
    operation_id="get_stock_forecast",
    summary="Forecast litres, used fluid and seals",
    response_model=StockForecastRead,
    responses=describe_problems(422),
)
def get_forecast(request: Request, unit: Reading, weeks: WeeksAhead | None = None) -> Response:
    """Demand of every fluid a week as a distribution, the shelf beside it, used fluid and seals."""
    forecast = forecast_stock(unit.session, unit.caller, unit.now, weeks)
    return show(request, StockForecastRead.of(forecast))


@router.get(
    "/used-fluid",
    operation_id="get_used_fluid",
    summary="Plan the collection of used fluid",
    response_model=UsedFluidPlanRead,
    responses=describe_problems(422),
)
def get_used_fluid(request: Request, unit: Reading, weeks: WeeksAhead | None = None) -> Response:
    """How full the container of every stream is at every depot, what will come, and when it has to be fetched."""
    plan = plan_collections(unit.session, unit.caller, unit.now, weeks)
    return show(request, UsedFluidPlanRead.of(plan))


@router.get(
    "/used-fluid/label.pdf",
    operation_id="get_used_fluid_label",
    summary="Print the label of a container of used fluid",
    response_class=Response,
    responses={**describe_problems(404, 422), **describe_file("The label, to stick on.", "pdf")},
)
def get_used_fluid_label(request: Request, depot: NameQuery, stream: WasteStream, unit: Reading) -> Response:
    """What is in the container, since when, its waste codes and what never goes in."""
    content, name = render_used_fluid_label(unit.session, unit.caller, depot, stream)
    return show_file(request, content, name)


@router.get(
    "/stock/order-plan.{kind}",
    operation_id="get_order_plan_file",
    summary="Fetch the order plan as a file",
    response_class=Response,
    responses={**describe_problems(422), **describe_file("The plan as a file.", *PlanFileKind)},
)
def get_order_plan_file(
    request: Request, kind: PlanFileKind, unit: Reading, weeks: WeeksAhead | None = None
) -> Response:
    """Fetch the order plan as CSV, XLSX or PDF."""
    content, name = render_order_plan(unit.session, unit.caller, unit.now, kind, weeks)
    return show_file(request, content, name)


@router.get(
    "/stock/order-plan",
    operation_id="get_order_plan",
    summary="Plan orders",
    response_model=StockPlanRead,
    responses=describe_problems(422),
)
def get_order_plan(request: Request, unit: Reading, weeks: WeeksAhead | None = None) -> Response:
    """Which packs to order by when, why, and what happens if nothing is ordered."""
    plan = plan_stock_orders(unit.session, unit.caller, unit.now, weeks)
    return show(request, StockPlanRead.of(plan))
