"""The runbook speaks of what exists: every alert has its section, every command can be called."""

import re
from pathlib import Path

import yaml  # type: ignore[import-untyped]

from deploy.commands import USAGE
from tests.house.sources import ROOT, project_files, text_of
from tests.house.test_documented import command_names

RUNBOOK = text_of(Path("deploy/RUNBOOK.md"))
HEADINGS = set(re.findall(r"(?m)^#+ (.+)$", RUNBOOK))


def test_every_alert_has_a_section_and_no_section_is_left_over() -> None:
    groups = yaml.safe_load(text_of(Path("deploy/alerts.yaml")))["groups"]
    alerts = {rule["alert"] for group in groups for rule in group["rules"]}
    assert alerts == {heading for heading in HEADINGS if heading.startswith("Sumpwise")}


def test_every_command_exists() -> None:
    commands = set(command_names()) | {"week", "tokens", "people", "organisations"}
    named = re.findall(r"(?<!/)\bsumpwise ([a-z]+)(?: ([a-z]+))?", RUNBOOK)
    assert len(named) > 8
    for first, second in named:
        assert first in commands, first
        if first in {"week", "tokens", "people", "organisations"}:
            assert second in commands, second
    for name in re.findall(r"python3 deploy (\w+)", RUNBOOK):
        assert f"python3 deploy {name}" in USAGE


def test_every_section_that_is_referred_to_exists() -> None:
    for name in re.findall(r"\"([A-Z][^\"]+)\"", RUNBOOK):
        assert name in HEADINGS | {"Upgraded"}, name


def test_stopping_the_service_leaves_the_timer_of_the_backup_running() -> None:
    """A pattern takes units of every kind (systemctl(1)); a timer that is stopped stays so until the next boot."""
    stopped = re.findall(r"systemctl stop '([^']+)'", RUNBOOK)
    assert stopped
    assert all(pattern.endswith(".service") for pattern in stopped)


def test_every_unit_and_setting_exists() -> None:
    units = {path.name for path in project_files() if path.parent.name == "systemd"}
    for name in re.findall(r"\b(sumpwise-[a-z]+@?)", RUNBOOK):
        assert name == "sumpwise-backups" or f"{name}.service" in units, name
    settings = text_of(Path("service/settings.py")).lower()
    for name in re.findall(r"\bSUMPWISE_([A-Z_]+)\b", RUNBOOK):
        assert f"    {name.lower()}:" in settings, name
    assert (ROOT / "deploy" / "nginx.conf.template").exists()
