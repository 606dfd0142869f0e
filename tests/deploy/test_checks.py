"""`python3 deploy test` fails when one check fails, and says which."""

from pathlib import Path

import pytest

from deploy.checks import run_tests
from deploy.environment import Project

PASS = "#!/bin/sh\nexit 0\n"
FAIL = "#!/bin/sh\necho what is wrong\nexit 3\n"


@pytest.fixture
def project(tmp_path: Path) -> Project:
    """A project whose tools are scripts; each writes down how it was called."""
    programs = tmp_path / ".venv" / "bin"
    programs.mkdir(parents=True)
    for name in ("ruff", "mypy", "lint-imports", "python"):
        _write(programs / name, f'#!/bin/sh\necho "{name} $@" >>"{tmp_path}/called"\n')
    return Project(root=tmp_path)


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8")
    path.chmod(0o755)


def called(project: Project) -> list[str]:
    return (project.root / "called").read_text(encoding="utf-8").splitlines()


def test_every_check_is_run_once_and_pytest_last(project: Project) -> None:
    assert run_tests(project, []) == 0
    assert [line.split()[0] for line in called(project)] == ["ruff", "ruff", "mypy", "lint-imports", "python"]
    assert "--dist loadfile" in called(project)[-1]


def test_arguments_run_pytest_alone(project: Project) -> None:
    assert run_tests(project, ["tests/engine", "-k", "usage"]) == 0
    assert called(project) == ["python -m pytest tests/engine -k usage"]


@pytest.mark.parametrize(
    ("tool", "name"), [("ruff", "Lint"), ("mypy", "Types"), ("lint-imports", "Layers"), ("python", "Tests")]
)
def test_one_failing_check_fails_the_run_and_is_named_last(
    project: Project, capsys: pytest.CaptureFixture[str], tool: str, name: str
) -> None:
    _write(project.programs / tool, FAIL)
    assert run_tests(project, []) == 1
    said = capsys.readouterr().err
    assert name in said.splitlines()[-1]
    assert said.splitlines()[-1].startswith("FAILED: ")
    if tool != "python":
        assert "what is wrong" in said
        assert called(project)[-1].startswith("python"), "the tests are run all the same"


def test_no_tests_at_all_is_a_failure(project: Project) -> None:
    """Pytest documents exit code 5 for a run that collected nothing."""
    _write(project.programs / "python", "#!/bin/sh\nexit 5\n")
    assert run_tests(project, []) == 1
