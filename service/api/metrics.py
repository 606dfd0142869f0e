"""What Prometheus scrapes: requests and readings counted here, everything else read from the database.

No label carries a name, number or id: routes are given as their template.
"""

import threading
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from http import HTTPStatus
from typing import Final

from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram, generate_latest
from starlette.types import Scope

from service.domain.outcomes import ReadingOutcome
from service.store.session import Database
from service.usecases.week.show_figures import Figures, show_figures

READ_AFRESH_AFTER: Final = timedelta(seconds=10)
"""Figures are read from the database at most this often, however many scrape."""

DURATION_BUCKETS: Final = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 30.0)
NOWHERE: Final = "none"


@dataclass(slots=True)
class Metrics:
    """The metrics of one process."""

    registry: CollectorRegistry = field(default_factory=CollectorRegistry)
    requests: Counter = field(init=False)
    durations: Histogram = field(init=False)
    readings: Counter = field(init=False)
    gauges: dict[str, Gauge] = field(init=False)
    _read_at: datetime | None = None
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def __post_init__(self) -> None:
        self.requests = Counter(
            "sumpwise_http_requests", "Answers given.", ("method", "route", "status"), registry=self.registry
        )
        self.durations = Histogram(
            "sumpwise_http_request_duration_seconds",
            "Time from the request to the end of the answer.",
            ("method", "route"),
            buckets=DURATION_BUCKETS,
            registry=self.registry,
        )
        self.readings = Counter(
            "sumpwise_readings", "Readings received, by outcome.", ("outcome",), registry=self.registry
        )
        for outcome in ReadingOutcome:
            self.readings.labels(str(outcome))
        self.gauges = {name: Gauge(name, text, registry=self.registry) for name, text in GAUGES.items()}

    def note_request(self, scope: Scope, status: int, seconds: float) -> None:
        """Count an answer, and the readings that it told the outcome of."""
        route = template_of(scope)
        is_ours = route != NOWHERE and status != HTTPStatus.METHOD_NOT_ALLOWED
        # Any other method is a word of the caller's, and a series of its own for each would fill the memory.
        method = scope["method"] if is_ours else NOWHERE
        self.requests.labels(method, route, str(status or 499)).inc()
        self.durations.labels(method, route).observe(seconds)
        if 200 <= status < 300:
            counts: Mapping[str, int] = scope.get("state", {}).get("reading_counts", {})
            for outcome, count in counts.items():
                self.readings.labels(outcome).inc(count)

    def render(self, database: Database, now: datetime) -> bytes:
        """Write everything in the text format."""
        with self._lock:
            if self._read_at is None or abs(now - self._read_at) >= READ_AFRESH_AFTER:
                with database.snapshot() as session:
                    self._fill(show_figures(session, now), now)
                self._read_at = now
        return generate_latest(self.registry)

    def _fill(self, figures: Figures, now: datetime) -> None:
        values = {
            "sumpwise_scheduler_last_tick_timestamp_seconds": _timestamp(figures.last_tick_at),
            "sumpwise_weekly_run_last_success_timestamp_seconds": _timestamp(figures.last_weekly_run_at),
            "sumpwise_weekly_runs_overdue": figures.n_overdue_organisations,
            "sumpwise_outbox_messages": figures.n_open_messages,
            "sumpwise_outbox_oldest_seconds": _age(figures.oldest_open_message_at, now),
            "sumpwise_projection_oldest_seconds": _age(figures.oldest_projection_at, now),
        }
        for name, value in values.items():
            self.gauges[name].set(value)


GAUGES: Final = {
    "sumpwise_scheduler_last_tick_timestamp_seconds": "When any scheduler last looked for due work; 0 if never.",
    "sumpwise_weekly_run_last_success_timestamp_seconds": "When a due list was last published; 0 if never.",
    "sumpwise_weekly_runs_overdue": "Organisations without a list for a week that should be published.",
    "sumpwise_outbox_messages": "Messages that are not delivered yet.",
    "sumpwise_outbox_oldest_seconds": "Age of the oldest message that is not delivered yet; 0 if there is none.",
    "sumpwise_projection_oldest_seconds": "Age of the oldest projection; 0 if there is none.",
}


def template_of(scope: Scope) -> str:
    """Template of the route that answered, with the fixed prefix under which its router hangs; none for no route."""
    template: str | None = getattr(scope.get("route"), "path", None)
    if template is None:
        return NOWHERE
    parts = scope["path"].split("/")
    return "/".join(parts[: len(parts) - template.count("/")]) + template


def _timestamp(instant: datetime | None) -> float:
    return 0.0 if instant is None else instant.timestamp()


def _age(instant: datetime | None, now: datetime) -> float:
    return 0.0 if instant is None else max(0.0, (now - instant).total_seconds())
