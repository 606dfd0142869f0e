"""The locks say what is installed, by hash, and name no host."""

import re
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.house.locks import DEVELOPMENT, RUNTIME, installed_on, pins_of
from tests.house.sources import text_of

MACHINES = [
    {
        "python_full_version": f"{python}.0",
        "python_version": python,
        "sys_platform": system,
        "platform_machine": machine,
    }
    for python in ("3.11", "3.12", "3.13")
    for system, machine in (("linux", "x86_64"), ("linux", "aarch64"), ("darwin", "arm64"))
]


@pytest.mark.parametrize("lock", [RUNTIME, DEVELOPMENT])
def test_a_lock_names_no_host_and_sets_no_option(lock: Path) -> None:
    text = text_of(lock)
    assert "://" not in text
    options = [line for line in text.splitlines() if line.startswith("-")]
    assert options == [], "an option in a lock would override the user's own index settings"


@pytest.mark.parametrize("lock", [RUNTIME, DEVELOPMENT])
def test_every_pin_has_hashes(lock: Path) -> None:
    pinned = [line for line in text_of(lock).splitlines() if re.match(r"[A-Za-z0-9]", line)]
    pins = pins_of(lock)
    assert len(pins) == len(pinned) > 0
    assert [str(pin) for pin, hashes in pins if not hashes] == []


@pytest.mark.parametrize("machine", MACHINES, ids=lambda machine: "-".join(machine.values()))
def test_development_is_a_superset_of_runtime(machine: dict[str, str]) -> None:
    runtime, development = installed_on(machine, RUNTIME), installed_on(machine, DEVELOPMENT)
    assert runtime
    assert {name for name, pin in runtime.items() if development.get(name) != pin} == set()


@pytest.mark.parametrize("machine", MACHINES, ids=lambda machine: "-".join(machine.values()))
def test_every_dependency_is_locked_within_its_bounds(machine: dict[str, str]) -> None:
    project = tomllib.loads(text_of(Path("pyproject.toml")))
    wanted = {
        RUNTIME: [
            *project["project"]["dependencies"],
            *(
                line
                for extra in ("scale", "telemetry")
                for line in project["project"]["optional-dependencies"][extra]
            ),
        ],
        DEVELOPMENT: project["dependency-groups"]["dev"],
    }
    for lock, lines in wanted.items():
        locked = installed_on(machine, lock)
        for requirement in map(Requirement, lines):
            version, _ = locked[canonicalize_name(requirement.name)]
            assert requirement.specifier.contains(version.removeprefix("==")), requirement
