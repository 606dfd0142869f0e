"""The API as one application: routers, error handlers, guard, documentation."""

from collections.abc import Callable
from contextlib import AbstractAsyncContextManager

from fastapi import APIRouter, FastAPI
from fastapi_offline import FastAPIOffline

from service.api.documentation import install_documentation
from service.api.guard import Guard
from service.api.head_requests import HeadAsGet
from service.api.known_callers import KnownCallers
from service.api.limiter import Limiter
from service.api.metrics import Metrics
from service.api.openapi_document import install_document
from service.api.problems import install_problem_handlers
from service.api.routes import (
    accuracy,
    ageing_fits,
    audit,
    calendar_feed,
    clusters,
    compartments,
    due_lists,
    exchange_plans,
    fluids,
    health,
    history,
    limits,
    machine_data,
    machine_sources,
    organisation,
    parts,
    planning,
    policies,
    projections,
    purchase_orders,
    readings,
    samples,
    services,
    stock,
    stock_plans,
    subscriptions,
    tokens,
    vehicles,
    visits,
)
from service.api.turns import InTurn, Turns, threads_for
from service.api.units_of_work import ReplayedAnswer, replay
from service.clock import Clock, SystemClock
from service.store.session import Database

V1_ROUTERS: tuple[APIRouter, ...] = (
    vehicles.router,
    compartments.router,
    fluids.router,
    parts.router,
    planning.router,
    readings.router,
    clusters.router,
    projections.router,
    due_lists.router,
    visits.router,
    accuracy.router,
    stock.router,
    stock_plans.router,
    purchase_orders.router,
    services.router,
    organisation.router,
    subscriptions.router,
    calendar_feed.router,
    tokens.router,
    audit.router,
    samples.router,
    history.router,
    exchange_plans.router,
    ageing_fits.router,
    limits.router,
    policies.router,
    machine_sources.router,
    machine_data.router,
)


def build_api(
    *,
    database: Database,
    clock: Clock,
    lifespan: Callable[[FastAPI], AbstractAsyncContextManager[None]],
    max_body_bytes: int,
    max_upload_bytes: int,
    receive_timeout_seconds: float,
    public_url: str,
    limiter: Limiter,
) -> FastAPI:
    """Put the application together."""
    app = FastAPIOffline(
        title="Sumpwise",
        version="1",
        summary="Which vehicles need their fluids serviced this week, why, and what to have on the shelf.",
        lifespan=lifespan,
        docs_url=None,
        redoc_url=None,
        # A redirection would name the host that the sender named.
        redirect_slashes=False,
    )
    app.state.database = database
    app.state.clock = clock
    app.state.wire_clock = SystemClock()
    app.state.limiter = limiter
    app.state.known_callers = KnownCallers()
    app.state.public_url = public_url
    app.state.metrics = Metrics()
    install_problem_handlers(app)
    app.add_exception_handler(ReplayedAnswer, replay)
    app.include_router(health.router)
    for router in V1_ROUTERS:
        app.include_router(router, prefix="/v1")
    app.add_middleware(HeadAsGet)
    app.add_middleware(
        InTurn,
        turns=Turns(threads_for(database), is_one_writer=database.is_sqlite),
        known=app.state.known_callers,
    )
    app.add_middleware(
        Guard,
        max_body_bytes=max_body_bytes,
        max_upload_bytes=max_upload_bytes,
        receive_timeout=receive_timeout_seconds,
        metrics=app.state.metrics,
    )
    install_documentation(app)
    install_document(app)
    return app
