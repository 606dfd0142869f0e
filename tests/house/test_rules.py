"""Rules that no linter knows: who commits, who reads the clock, and that the layers hold."""

import ast
from pathlib import Path

from importlinter.cli import lint_imports

from tests.house.sources import ROOT, python_files, tree_of

THE_ONLY_COMMITTER = Path("service/store/session.py")
THE_ONLY_CLOCK = Path("service/clock.py")
READS_THE_CLOCK = {
    ("datetime", "now"),
    ("datetime", "utcnow"),
    ("datetime", "today"),
    ("date", "today"),
    ("time", "time"),
    ("time", "time_ns"),
}


def _calls(path: Path) -> list[ast.Call]:
    return [node for node in ast.walk(tree_of(path)) if isinstance(node, ast.Call)]


def _owner_and_name(call: ast.Call) -> tuple[str, str]:
    """For `datetime.datetime.now(…)` give ("datetime", "now")."""
    if not isinstance(call.func, ast.Attribute):
        return "", ""
    owner = call.func.value
    name = owner.id if isinstance(owner, ast.Name) else owner.attr if isinstance(owner, ast.Attribute) else ""
    return name, call.func.attr


def test_only_the_session_commits() -> None:
    """One request, one job run or one command is one transaction, committed before the answer leaves."""
    committers = {
        path
        for path in python_files("service")
        for call in _calls(path)
        if _owner_and_name(call)[1] == "commit"
    }
    assert committers <= {THE_ONLY_COMMITTER}
    assert committers, "the rule looks for something that exists"


def test_only_the_clock_reads_the_time() -> None:
    """Everything else receives `now`, so that a week can be rehearsed in a second."""
    readers = {
        path
        for path in python_files("service")
        for call in _calls(path)
        if _owner_and_name(call) in READS_THE_CLOCK
    }
    assert readers <= {THE_ONLY_CLOCK}
    assert readers, "the rule looks for something that exists"


def test_the_layers_hold() -> None:
    assert lint_imports(config_filename=str(ROOT / "pyproject.toml"), no_cache=True) == 0
