"""Traces by W3C Trace Context, level 1: the caller's trace is continued, and nothing else of a header gets anywhere."""

import json
import subprocess
import sys
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer

import pytest
from fastapi.testclient import TestClient
from opentelemetry.proto.collector.trace.v1.trace_service_pb2 import ExportTraceServiceRequest
from opentelemetry.sdk.trace.export import SimpleSpanProcessor
from opentelemetry.sdk.trace.export.in_memory_span_exporter import InMemorySpanExporter
from structlog.testing import capture_logs

from service.api.trace_context import trace_of
from service.api.tracing import install_tracing
from service.main import build_app
from service.settings import Settings

TRACE = "4bf92f3577b34da6a3ce929d0e0e4736"
PARENT = "00f067aa0ba902b7"
EXAMPLE = f"00-{TRACE}-{PARENT}-01"
"""The example of the recommendation."""


def test_the_example_of_the_recommendation_is_read():
    assert trace_of(EXAMPLE) == TRACE
    assert trace_of(f"cc-{TRACE}-{PARENT}-01-what-the-future-holds") == TRACE, "a later version may be longer"


@pytest.mark.parametrize(
    "header",
    [
        "",
        EXAMPLE.upper(),
        EXAMPLE[:-1],
        EXAMPLE + "-more",
        EXAMPLE + "\n",
        f"ff-{TRACE}-{PARENT}-01",
        f"00-{'0' * 32}-{PARENT}-01",
        f"00-{TRACE}-{'0' * 16}-01",
        f"cc-{TRACE}-{PARENT}-01{'-' * 600}",
        f"00-{TRACE[:-1]}g-{PARENT}-01",
    ],
)
def test_a_header_that_is_not_valid_is_passed_over(header):
    assert trace_of(header) is None


def test_a_span_continues_the_caller_s_trace_and_names_the_route_only(database, clock):
    spans = InMemorySpanExporter()
    app = build_app(Settings(environment="test", scheduler=False), database, clock)
    provider = install_tracing(app, SimpleSpanProcessor(spans))
    with TestClient(app, raise_server_exceptions=False) as client:
        client.get("/v1/vehicles/VAN-07", headers={"traceparent": EXAMPLE})
        client.get("/livez")
    provider.shutdown()
    first, second = spans.get_finished_spans()
    assert first.name == "GET /v1/vehicles/{vehicle}"
    assert (f"{first.context.trace_id:032x}", f"{first.parent.span_id:016x}") == (TRACE, PARENT)
    assert dict(first.attributes) == {
        "http.request.method": "GET",
        "http.response.status_code": 401,
        "http.route": "/v1/vehicles/{vehicle}",
        "url.scheme": "http",
    }
    assert second.parent is None
    assert second.context.trace_id != first.context.trace_id


@pytest.fixture
def collector() -> Iterator[tuple[str, list[tuple[str, str, bytes]]]]:
    """A receiver of OTLP over HTTP: its address, and what came as path, type and body."""
    came: list[tuple[str, str, bytes]] = []

    class Receiver(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            came.append((self.path, self.headers["Content-Type"], body))
            self.send_response(200)
            self.send_header("Content-Type", "application/x-protobuf")
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *_: object) -> None:
            pass

    with HTTPServer(("127.0.0.1", 0), Receiver) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        yield f"http://127.0.0.1:{server.server_port}", came
        server.shutdown()
        thread.join()


def test_spans_reach_a_collector_by_the_standard_s_protocol(database, clock, collector, monkeypatch):
    """OTLP 1.x over HTTP: binary protobuf, posted to /v1/traces; read here by the messages of the specification."""
    address, came = collector
    monkeypatch.setenv("OTEL_EXPORTER_OTLP_ENDPOINT", address)
    app = build_app(Settings(environment="test", scheduler=False, telemetry=True), database, clock)
    with TestClient(app) as client:
        client.get("/livez", headers={"traceparent": EXAMPLE})
    ((path, kind, body),) = came
    assert (path, kind) == ("/v1/traces", "application/x-protobuf")
    (resource,) = ExportTraceServiceRequest.FromString(body).resource_spans
    names = {one.key: one.value.string_value for one in resource.resource.attributes}
    assert names["service.name"] == "sumpwise"
    ((span,),) = [scope.spans for scope in resource.scope_spans]
    assert (span.name, span.trace_id.hex(), span.parent_span_id.hex()) == ("GET /livez", TRACE, PARENT)


def test_the_log_names_the_trace_and_nothing_else_of_the_header(client):
    with capture_logs() as lines:
        client.get("/livez", headers={"traceparent": EXAMPLE})
        client.get("/livez", headers={"traceparent": f"{EXAMPLE} forged"})
    assert [line.get("trace_id") for line in lines if line["event"] == "request"] == [TRACE, None]


def test_switched_off_nothing_of_it_is_loaded(tmp_path):
    program = (
        "import sys, json; from service.main import build_app; from service.settings import Settings;"
        f"build_app(Settings(environment='test', scheduler=False, database_url='sqlite:///{tmp_path}/x.sqlite'));"
        "print(json.dumps([name for name in sys.modules if name.startswith('opentelemetry.sdk')]))"
    )
    ran = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert json.loads(ran.stdout.splitlines()[-1]) == []
