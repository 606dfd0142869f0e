"""The program works under the list of system calls that its units allow.

What systemd.exec(5) does by seccomp, strace does here by injection: a call that the list forbids is answered with the
unit's error number, or, where the unit names none, ends the process by SIGSYS. Linear algebra asks for memory of its
own processor with mbind(2), which "@resources" holds.
"""

import os
import re
import subprocess
import sys
from functools import cache
from pathlib import Path

from tests.deploy.test_production_files import UNITS, program
from tests.faults.syscalls import require_tracer
from tests.house.sources import ROOT

SERVICES = [unit for unit in UNITS if unit.suffix == ".service"]
COMMANDS = [
    ["migrate"],
    ["organisations", "create", "My workshop"],
    ["exchange", "--kind", "cvt", "--total", "7", "--drainable", "3"],
]


@cache
def calls_in(group: str) -> frozenset[str]:
    """System calls of one of systemd's groups."""
    listed = subprocess.run(
        [program("systemd-analyze"), "syscall-filter", group], capture_output=True, text=True, check=True
    )
    names = [line.strip() for line in listed.stdout.splitlines()[1:]]
    named = frozenset(name for name in names if re.fullmatch("[a-z]\\w*", name))
    return named.union(*(calls_in(name) for name in names if name.startswith("@")))


def forbidden_by(unit: str) -> frozenset[str]:
    """Every call that the unit does not let through: filters are read in their order."""
    allowed: frozenset[str] = frozenset()
    for filtered in re.findall(r"(?m)^SystemCallFilter=(.+)$", unit):
        for group in filtered.removeprefix("~").split():
            allowed = allowed - calls_in(group) if filtered.startswith("~") else allowed | calls_in(group)
    return calls_in("@known") - allowed - calls_in("@default")


def injection_of(unit: Path) -> str:
    """What the unit does to the calls that it forbids, in strace's words."""
    text = unit.read_text(encoding="utf-8")
    number = re.search(r"(?m)^SystemCallErrorNumber=(\w+)$", text)
    refused = ",".join(f"?{name}" for name in sorted(forbidden_by(text)))
    return f"inject={refused}:{f'error={number[1]}' if number else 'signal=SIGSYS'}"


def test_no_call_that_a_unit_forbids_ends_the_program(tmp_path: Path) -> None:
    require_tracer(tmp_path)
    variables = os.environ | {"SUMPWISE_DATABASE_URL": "sqlite:///fleet.sqlite", "PYTHONPATH": str(ROOT)}
    for number, injection in enumerate(sorted({injection_of(unit) for unit in SERVICES})):
        folder = tmp_path / str(number)
        folder.mkdir()
        for arguments in COMMANDS:
            confined = ["strace", "-f", "-qq", "-o", os.devnull, "-e", injection]
            command = [*confined, sys.executable, "-m", "service", *arguments]
            done = subprocess.run(
                command, cwd=folder, env=variables, capture_output=True, text=True, check=False
            )
            assert done.returncode == 0, f"{arguments}: {done.returncode} {done.stderr[-500:]}"
