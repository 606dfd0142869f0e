"""OpenTelemetry behind a switch: a span for each request, a child of the caller's; nothing is imported while it is off.

Where spans go is said by the standard's own variables, OTEL_EXPORTER_OTLP_ENDPOINT and the like.
"""

from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import TYPE_CHECKING, Any, Final

from fastapi import FastAPI
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.api.metrics import template_of
from service.errors import InvalidInputError

if TYPE_CHECKING:
    from opentelemetry.sdk.trace import SpanProcessor, TracerProvider
    from opentelemetry.trace import Span

SERVICE: Final = "sumpwise"
FIRST_FAULT: Final = 500
CARRIED: Final = ("traceparent", "tracestate")


class Traced:
    """ASGI middleware around everything else."""

    def __init__(self, app: ASGIApp, *, begin: Callable[[Request], "AbstractContextManager[Span]"]) -> None:
        self._app = app
        self._begin = begin

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on within a span."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request = Request(scope)
        with self._begin(request) as span:
            request.state.trace_id = f"{span.get_span_context().trace_id:032x}"

            async def send_noted(message: Message) -> None:
                if message["type"] == "http.response.start":
                    _describe(span, scope, message["status"])
                await send(message)

            await self._app(scope, receive, send_noted)


def install_tracing(app: FastAPI, processor: "SpanProcessor | None" = None) -> "TracerProvider":
    """Let every request have a span; whoever asked for this shuts the provider down at the end.

    Raises
    ------
    InvalidInputError
        If the packages are not installed.
    """
    try:
        from opentelemetry.exporter.otlp.proto.http.trace_exporter import OTLPSpanExporter
        from opentelemetry.sdk.resources import Resource
        from opentelemetry.sdk.trace import TracerProvider
        from opentelemetry.sdk.trace.export import BatchSpanProcessor
        from opentelemetry.trace import SpanKind
        from opentelemetry.trace.propagation.tracecontext import TraceContextTextMapPropagator
    except ImportError as error:
        raise InvalidInputError("SUMPWISE_TELEMETRY needs the extra “telemetry” to be installed.") from error
    provider = TracerProvider(resource=Resource.create({"service.name": SERVICE}))
    provider.add_span_processor(processor or BatchSpanProcessor(OTLPSpanExporter()))
    tracer, propagator = provider.get_tracer(SERVICE), TraceContextTextMapPropagator()

    def begin(request: Request) -> "AbstractContextManager[Span]":
        carried = {name: request.headers[name] for name in CARRIED if name in request.headers}
        return tracer.start_as_current_span(
            request.method, context=propagator.extract(carried), kind=SpanKind.SERVER
        )

    app.add_middleware(Traced, begin=begin)
    return provider


def _describe(span: "Span", scope: Scope, status: int) -> None:
    """Say what was asked and answered, by the route's template: no id, name or secret gets into a span."""
    route = template_of(scope)
    facts: dict[str, Any] = {
        "http.request.method": scope["method"],
        "http.response.status_code": status,
        "http.route": route,
        "url.scheme": scope["scheme"],
    }
    span.update_name(f"{scope['method']} {route}")
    span.set_attributes(facts)
    if status >= FIRST_FAULT:
        from opentelemetry.trace import StatusCode

        span.set_status(StatusCode.ERROR)
