"""Files are small, say one thing, are named after what they know, and nothing strange lies at the top."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

from tests.house.sources import ROOT, project_files, python_files, text_of, tree_of

MAX_LINES = 300
MAX_TEST_LINES = 400
GENERATED = Path("service/store/migrations/versions")
"""A migration records the schema of one moment; it is written once by a tool and never worked on again."""

NAMES_THAT_SAY_NOTHING = {"utils", "util", "common", "helpers", "helper", "misc", "shared", "tools"}
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "service", "tests", "deploy", "seed_demo"}


def test_the_top_level_holds_these_and_nothing_else_that_is_visible() -> None:
    visible = {path.parts[0] for path in project_files() if not path.parts[0].startswith(".")}
    assert visible == TOP_LEVEL


@pytest.mark.parametrize(
    ("rooms", "limit"), [(("service", "seed_demo", "deploy"), MAX_LINES), (("tests",), MAX_TEST_LINES)]
)
def test_no_file_is_longer_than_one_idea(rooms: tuple[str, ...], limit: int) -> None:
    worked_on = [path for path in python_files(*rooms) if not path.is_relative_to(GENERATED)]
    lengths = {str(path): len(text_of(path).splitlines()) for path in worked_on}
    assert lengths
    assert {path: length for path, length in lengths.items() if length > limit} == {}


def test_files_are_named_after_what_they_know() -> None:
    vague = [str(path) for path in project_files() if path.stem.lower() in NAMES_THAT_SAY_NOTHING]
    assert vague == []


def test_package_files_hold_a_docstring_and_nothing_else() -> None:
    packages = [path for path in python_files("service", "seed_demo", "deploy") if path.name == "__init__.py"]
    assert packages
    full = [str(path) for path in packages if not _is_only_docstring(path)]
    assert full == []


def _is_only_docstring(path: Path) -> bool:
    body = tree_of(path).body
    return len(body) == 1 and ast.get_docstring(tree_of(path)) is not None


def test_setting_up_needs_nothing_but_python() -> None:
    """deploy/ runs before anything is installed."""
    outside = {
        f"{path}: {name}"
        for path in python_files("deploy")
        for node in ast.walk(tree_of(path))
        for name in _imported(node)
        if name.split(".")[0] not in sys.stdlib_module_names | {"deploy"}
    }
    assert outside == set()


def _imported(node: ast.AST) -> list[str]:
    if isinstance(node, ast.Import):
        return [alias.name for alias in node.names]
    if isinstance(node, ast.ImportFrom):
        return [node.module or ""]
    return []


def test_ci_runs_the_readme_test_command() -> None:
    steps = text_of(Path(".ci/run"))
    assert "\npython3 deploy test\n" in steps
    assert "python3 deploy test\n" in text_of(Path("README.md"))
    checked = subprocess.run(["bash", "-n", ROOT / ".ci" / "run"], capture_output=True, check=False)
    assert checked.returncode == 0, checked.stderr
