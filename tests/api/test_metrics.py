"""What operators see: health that tells the truth, and figures without anybody's names."""

import re
from datetime import timedelta
from pathlib import Path

import pytest
import yaml
from prometheus_client.parser import text_string_to_metric_families

from service.jobs.clock import Tick
from tests.house.sources import ROOT


def samples(client):
    answer = client.get("/metrics")
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/plain")
    return {
        (sample.name, *sorted(sample.labels.items())): sample.value
        for family in text_string_to_metric_families(answer.text)
        for sample in family.samples
    }


def test_the_service_exports_what_the_alerts_watch(client):
    client.get("/healthz")
    exported = {key[0] for key in samples(client)}
    rules = yaml.safe_load((ROOT / Path("deploy/alerts.yaml")).read_text(encoding="utf-8"))
    watched = {
        name
        for group in rules["groups"]
        for rule in group["rules"]
        for name in re.findall(r"\bsumpwise_\w+", rule["expr"])
    }
    assert watched
    assert watched <= exported


def test_requests_are_counted_by_the_template_of_their_route(operator, client):
    operator.post("/v1/vehicles", {"vehicle": "SECRET-PLATE", "class": "van"})
    operator.get("/v1/vehicles/SECRET-PLATE")
    operator.get("/v1/vehicles/SECRET-PLATE")
    client.get("/nothing/here/SECRET-PLATE")
    found = samples(client)
    route = ("route", "/v1/vehicles/{vehicle}")
    assert found["sumpwise_http_requests_total", ("method", "GET"), route, ("status", "200")] == 2
    assert found["sumpwise_http_request_duration_seconds_count", ("method", "GET"), route] == 2
    nowhere = (("method", "none"), ("route", "none"), ("status", "404"))
    assert found["sumpwise_http_requests_total", *nowhere] == 1
    assert "SECRET" not in client.get("/metrics").text


def test_a_method_that_nobody_takes_makes_no_series_of_its_own(client):
    for method in ("MADE-UP", "OTHER", "TRACE"):
        for path in ("/healthz", "/v1/vehicles", "/static/sumpwise.css"):
            assert client.request(method, path).status_code == 405
    found = samples(client)
    methods = {dict(labels).get("method", "none") for _, *labels in found}
    assert methods <= {"none", "GET"}


def test_readings_are_counted_by_outcome_once_they_are_stored(operator, client, clock):
    operator.post("/v1/vehicles", {"vehicle": "VAN-07", "class": "van"})
    row = {"vehicle": "VAN-07", "taken_at": clock.now().isoformat(), "odometer": 1000}
    key = {"Idempotency-Key": "k"}
    for _ in range(2):
        operator.post("/v1/readings", {"readings": [row, row, row | {"vehicle": "VAN-08"}]}, headers=key)
    operator.post("/v1/readings", {"readings": [row | {"vehicle": "VAN-09"}]})
    lines = "vehicle,taken_at,odometer\nVAN-07,2026-05-01T07:30:00Z,900\n"
    csv = operator.client.post(
        "/v1/readings", content=lines, headers=operator.headers | {"Content-Type": "text/csv"}
    )
    assert csv.status_code == 200, csv.text
    found = samples(client)
    counted = {
        outcome: found["sumpwise_readings_total", ("outcome", outcome)]
        for outcome in ("accepted", "held", "duplicate", "rejected")
    }
    assert counted == {"accepted": 2, "held": 0, "duplicate": 1, "rejected": 1}


def test_figures_follow_the_work(operator, client, database, clock):
    operator.post("/v1/subscriptions", {"channel": "mail", "target": "a@example.org"})
    before = samples(client)
    assert before["sumpwise_weekly_runs_overdue",] == 1
    assert before["sumpwise_scheduler_last_tick_timestamp_seconds",] == 0
    Tick(database, clock, checks_clock=False)()
    published_at = clock.now()
    clock.advance(timedelta(minutes=2))
    after = samples(client)
    assert after["sumpwise_weekly_runs_overdue",] == 0
    assert after["sumpwise_scheduler_last_tick_timestamp_seconds",] == published_at.timestamp()
    assert after["sumpwise_weekly_run_last_success_timestamp_seconds",] == published_at.timestamp()
    assert after["sumpwise_outbox_oldest_seconds",] == 120
    assert after["sumpwise_outbox_messages",] == 1


def test_health_tells_the_truth(client, database, clock):
    assert client.get("/healthz").json() == client.get("/livez").json() == {"status": "ok"}
    ready = client.get("/readyz").json()
    assert (ready["status"], ready["scheduler_age_seconds"]) == ("ok", None)
    Tick(database, clock, checks_clock=False)()
    clock.advance(timedelta(seconds=40))
    assert client.get("/readyz").json()["scheduler_age_seconds"] == 40
    assert client.get("/version").json()["schema_revision"] == ready["schema_revision"]


@pytest.mark.parametrize("revision", ["0000-older", None])
def test_a_database_at_another_schema_is_not_ready(client, database, revision):
    from sqlalchemy import text

    with database.engine.begin() as connection:
        connection.execute(text("DELETE FROM alembic_version"))
        if revision is not None:
            connection.execute(text("INSERT INTO alembic_version VALUES (:revision)"), {"revision": revision})
    answer = client.get("/readyz")
    assert (answer.status_code, answer.headers["content-type"]) == (503, "application/problem+json")
    assert client.get("/livez").status_code == 200
