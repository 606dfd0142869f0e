"""Each production file is read by the tool it is for, and agrees with the program that it starts."""

import asyncio
import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import yaml  # type: ignore[import-untyped]
from uvicorn.middleware.proxy_headers import ProxyHeadersMiddleware

from service.settings import Settings
from tests.house.sources import ROOT, project_files, python_files, text_of

DEPLOY = Path("deploy")
UNITS = sorted((ROOT / DEPLOY / "systemd").iterdir())


def program(name: str) -> str:
    """Find a tool; where the run promises to have it, it must be there."""
    found = shutil.which(name, path=f"{os.environ['PATH']}:/usr/sbin:/sbin")
    if found is None and os.environ.get("SUMPWISE_REQUIRE_OPERATIONS") != "1":
        pytest.skip(f"{name} is not installed; .ci/run installs it and insists")
    assert found is not None, f"{name} is not installed"
    return found


def settings_named_in(text: str) -> set[str]:
    return {name.lower() for name in re.findall(r"\bSUMPWISE_([A-Z_]+[A-Z])\b", text)}


def test_every_variable_that_the_files_set_is_a_setting() -> None:
    """Two are for the proxy and one for the database container; a test run has its own."""
    others = {"upstream", "server_name", "database_password"}
    for path in project_files():
        if path.is_relative_to(DEPLOY) and path.suffix not in {".py", ".lock"}:
            unknown = settings_named_in(text_of(path)) - set(Settings.model_fields) - others
            assert unknown == set(), path


def test_systemd_accepts_the_units(tmp_path: Path) -> None:
    analyze = program("systemd-analyze")
    for unit in UNITS:
        text = unit.read_text(encoding="utf-8")
        # The verifier insists that the program exists; the command line is checked below.
        (tmp_path / unit.name).write_text(
            re.sub(r"(?m)^(Exec\w+=)/\S+", r"\1/bin/true", text), encoding="utf-8"
        )
    files = [str(tmp_path / unit.name) for unit in UNITS]
    done = subprocess.run([analyze, "verify", *files], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr.strip()) == (0, "")


def test_systemd_calls_the_services_well_confined(tmp_path: Path) -> None:
    """systemd's own rating runs from 0 to 10 (unsafe); "OK" ends at 4.5."""
    analyze = program("systemd-analyze")
    for unit in UNITS:
        if unit.suffix == ".service":
            shutil.copy(unit, tmp_path)
            rating = [analyze, "security", "--offline=true", "--threshold=20", str(tmp_path / unit.name)]
            done = subprocess.run(rating, capture_output=True, text=True, check=False)
            assert done.returncode == 0, done.stdout[-2000:]


def test_units_wait_for_a_database_that_is_away_however_long() -> None:
    """By default systemd gives a unit up that failed five times in ten seconds (systemd.unit(5))."""
    for unit in UNITS:
        text = unit.read_text(encoding="utf-8")
        if "Restart=" in text:
            assert "\nRestart=on-failure\n" in text, unit
            assert "\nStartLimitIntervalSec=0\n" in text, unit


def test_compose_is_what_its_specification_allows(tmp_path: Path) -> None:
    """The schema is the Compose Specification's own, as the checking program carries it; a slip of the pen is seen."""
    check = [sys.executable, "-m", "check_jsonschema", "--builtin-schema", "vendor.compose-spec"]
    done = subprocess.run([*check, DEPLOY / "compose.yaml"], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout
    slip = tmp_path / "compose.yaml"
    slip.write_text(text_of(DEPLOY / "compose.yaml").replace("restart:", "restrt:", 1), encoding="utf-8")
    assert subprocess.run([*check, slip], capture_output=True, check=False).returncode == 1


def test_compose_starts_every_part_in_its_order() -> None:
    compose = yaml.safe_load(text_of(DEPLOY / "compose.yaml"))
    services = compose["services"]
    assert set(services) == {"database", "migrations", "api", "scheduler", "worker", "proxy"}
    for name in ("api", "scheduler", "worker"):
        assert services[name]["depends_on"]["migrations"]["condition"] == "service_completed_successfully"
        assert services[name]["cap_drop"] == ["ALL"]
    assert services["migrations"]["depends_on"]["database"]["condition"] == "service_healthy"
    published = {name for name, service in services.items() if service.get("ports")}
    assert published == {"proxy"}, "nothing else is reachable from outside"
    assert compose["networks"]["inside"]["internal"] is True
    assert services["database"]["networks"] == ["inside"]


def test_behind_the_proxy_of_compose_the_service_sees_the_client() -> None:
    """A network of containers hands out addresses; were the proxy's not believed, all clients would share one limit."""
    environment = yaml.safe_load(text_of(DEPLOY / "compose.yaml"))["services"]["api"]["environment"]
    seen: list[Any] = []

    async def service(scope: Any, receive: Any, send: Any) -> None:
        seen.append((scope["client"][0], scope["scheme"]))

    forwarded = [(b"x-forwarded-for", b"203.0.113.9"), (b"x-forwarded-proto", b"https")]
    scope = {"type": "http", "client": ("172.18.0.5", 40000), "scheme": "http", "headers": forwarded}
    believing = ProxyHeadersMiddleware(service, trusted_hosts=environment["SUMPWISE_TRUSTED_PROXIES"])
    asyncio.run(believing(scope, None, None))  # type: ignore[arg-type]
    assert seen == [("203.0.113.9", "https")]


def test_no_secret_has_a_default() -> None:
    for name in ("SECRET_KEY", "DATABASE_PASSWORD"):
        given = re.findall(rf"\$\{{SUMPWISE_{name}(.*?)\}}", text_of(DEPLOY / "compose.yaml"))
        assert given
        assert all(rest == "" or rest.startswith(":?") for rest in given), (
            "compose refuses to start without it"
        )
        assert f"\nSUMPWISE_{name}=\n" in text_of(DEPLOY / "environment.example")


def test_the_container_copies_what_exists_and_runs_without_root() -> None:
    text = text_of(DEPLOY / "Containerfile")
    copied = re.findall(r"^COPY (?!--from)(\S+)", text, re.MULTILINE)
    assert copied
    assert [name for name in copied if not (ROOT / name).exists()] == []
    assert re.findall(r"^FROM (\S+)", text, re.MULTILINE) == ["python:3.11-slim"] * 2
    assert re.search(r"^USER [1-9]\d*$", text, re.MULTILINE), (
        "a number, so that an orchestrator can see it is not root"
    )
    assert "--require-hashes --only-binary :all:" in text


def test_the_containers_health_check_asks_a_path_that_exists() -> None:
    command = re.search(r"HEALTHCHECK.*?CMD (\[.*?\])\n", text_of(DEPLOY / "Containerfile"), re.DOTALL)
    assert command is not None
    script = json.loads(command[1])[-1]
    compile(script, "health check", "exec")
    path = re.search(r"(/\w+)'", script)
    assert path is not None
    assert any(f'"{path[1]}"' in text_of(file) for file in python_files("service") if "routes" in file.parts)


def test_the_proxy_has_the_limits_of_the_settings() -> None:
    text = text_of(DEPLOY / "nginx.conf.template")
    sizes = [int(size) * 1024 * 1024 for size in re.findall(r"client_max_body_size\s+(\d+)m;", text)]
    defaults = Settings.model_fields
    assert sizes == [defaults["max_body_bytes"].default, defaults["max_upload_bytes"].default]
    patience = {float(seconds) for seconds in re.findall(r"client_(?:header|body)_timeout\s+(\d+)s;", text)}
    assert patience == {defaults["receive_timeout_seconds"].default}


def test_every_alert_says_what_to_do() -> None:
    rules = [
        rule for group in yaml.safe_load(text_of(DEPLOY / "alerts.yaml"))["groups"] for rule in group["rules"]
    ]
    assert rules
    for rule in rules:
        assert rule["labels"]["severity"] in {"page", "ticket"}
        assert {"summary", "action"} <= set(rule["annotations"])


def test_prometheus_accepts_the_alerts_and_they_go_off_when_they_should() -> None:
    promtool = program("promtool")
    for arguments in (
        ["check", "rules", "deploy/alerts.yaml"],
        ["test", "rules", "tests/deploy/alerts_test.yaml"],
    ):
        done = subprocess.run([promtool, *arguments], cwd=ROOT, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stdout + done.stderr


def test_alerts_watch_metrics_that_the_service_exports() -> None:
    """Compared as soon as the service exports any; `up` is Prometheus' own."""
    sources = "".join(text_of(path) for path in python_files("service"))
    watched = set(re.findall(r"\bsumpwise_\w+", text_of(DEPLOY / "alerts.yaml")))
    assert watched
    if "prometheus_client" in sources:
        exported = {
            name for name in watched if re.search(rf'"{re.sub("_(total|bucket)$", "", name)}', sources)
        }
        assert watched - exported == set()
