"""Every check the project holds itself to, cheapest first."""

import os
import subprocess
from collections.abc import Sequence
from pathlib import Path

from deploy.environment import Project, child_environment
from deploy.progress import say, step

N_WORKERS = min(4, (os.cpu_count() or 1) + 1)
"""One more than there are cores: tests of faults wait for servers, locks and timeouts much of their time."""

WHOLE_SUITE = ("-n", str(N_WORKERS), "--dist", "loadfile", "--no-loadscope-reorder", "-m", "not bench")
"""In their own order: else files with few tests come last, which are the long tests of faults, and all of them wait."""

ONE_THREAD = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
"""Workers are processes already; threads of the linear algebra below them only get in each other's way."""


def run_tests(project: Project, arguments: Sequence[str]) -> int:
    """Run the static checks and the whole test suite, or with arguments only pytest; 0 when all is well."""
    if arguments:
        return _run_pytest(project, arguments)
    programs = project.programs
    static: dict[str, list[str | Path]] = {
        "Lint (ruff check)": [programs / "ruff", "check", "--quiet", "."],
        "Format (ruff format --check)": [programs / "ruff", "format", "--check", "--quiet", "."],
        "Types (mypy --strict)": [programs / "mypy", "--no-error-summary"],
        "Layers (lint-imports)": [programs / "lint-imports"],
    }
    failed = [name for name, command in static.items() if not _passes(project, name, command)]
    if _run_pytest(project, WHOLE_SUITE) != 0:
        failed.append("Tests (pytest)")
    if failed:
        say(f"FAILED: {', '.join(failed)}")
    return 1 if failed else 0


def _passes(project: Project, name: str, command: Sequence[str | Path]) -> bool:
    """Run one static check and show its output only when it fails."""
    with step(name) as outcome:
        done = subprocess.run(
            command,
            cwd=project.root,
            env=child_environment(project),
            capture_output=True,
            text=True,
            check=False,
        )
        outcome.succeeded = done.returncode == 0
    if not outcome.succeeded:
        say((done.stdout + done.stderr).rstrip())
    return outcome.succeeded


def _run_pytest(project: Project, arguments: Sequence[str]) -> int:
    """Hand the terminal to pytest; after Ctrl-C wait while it stops the servers it started."""
    pytest = subprocess.Popen(
        [str(project.python), "-m", "pytest", *arguments],
        cwd=project.root,
        env=ONE_THREAD | child_environment(project),
    )
    while True:
        try:
            return pytest.wait()
        except KeyboardInterrupt:
            continue
