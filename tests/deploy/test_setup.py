"""`python3 deploy setup` as a new user meets it: real virtual environments from a shelf of small wheels."""

import os
import signal
import socket
import time
from pathlib import Path

from tests.deploy.conftest import SmallProject


def test_a_fresh_folder_is_set_up_and_the_second_run_changes_nothing(project: SmallProject) -> None:
    code, out, err = project.run("setup")
    assert code == 0, err
    assert project.imports("oil_at_run_time")
    assert not project.imports("tool_for_tests")
    assert out == ""
    assert len(err.splitlines()) <= 4, "success is quiet: a line a step"
    stamp = project.root / ".venv" / "installed-from"
    before = stamp.stat().st_mtime_ns
    started = time.monotonic()
    code, _, err = project.run("setup")
    assert code == 0
    assert "Installing" not in err
    assert stamp.stat().st_mtime_ns == before
    assert time.monotonic() - started < 5


def test_what_the_service_needs_is_compiled_once(project: SmallProject) -> None:
    """A service that may not write its program's files would else compile them at every start (PEP 3147)."""
    package = project.root / "service"
    (project.root / "service.py").unlink()
    (package / "cli").mkdir(parents=True)
    for file in (package / "__init__.py", package / "cli" / "__init__.py", package / "cli" / "app.py"):
        file.write_text('"""Invented."""\n', encoding="utf-8")
    code, _, err = project.run("setup")
    assert code == 0, err
    assert [path.name.split(".")[0] for path in (package / "cli" / "__pycache__").glob("app.*")] == ["app"]


def test_pip_alone_is_enough_and_packages_from_elsewhere_stay_out(
    without_uv: SmallProject, tmp_path: Path
) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    code, _, err = without_uv.run("setup", "--dev", PYTHONPATH=str(elsewhere), PIP_TARGET=str(elsewhere))
    assert code == 0, err
    assert without_uv.imports("oil_at_run_time")
    assert without_uv.imports("tool_for_tests")
    assert list(elsewhere.iterdir()) == []


def test_the_command_runs_from_any_folder_with_the_project_on_its_path(
    project: SmallProject, tmp_path: Path
) -> None:
    assert project.run("setup")[0] == 0
    command = project.root / ".venv" / "bin" / "sumpwise"
    read_end, write_end = os.pipe()
    child = os.posix_spawn(
        command,
        [str(command), "week", "--json"],
        os.environ,
        file_actions=[(os.POSIX_SPAWN_DUP2, write_end, 1)],
    )
    os.close(write_end)
    with os.fdopen(read_end) as output:
        said = output.read().split()
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 7
    assert said[1:] == ["week", "--json"]


def test_the_demo_takes_the_place_of_the_set_up_so_that_signals_reach_it(project: SmallProject) -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
    process = project.start("demo", "--port", str(port), "--quick")
    out, err = process.communicate(timeout=120)
    assert process.returncode == 7, err
    assert out.split() == [str(process.pid), "demo", "--port", str(port), "--quick"]


def test_a_runtime_environment_grows_into_one_for_development_in_place(project: SmallProject) -> None:
    assert project.run("setup")[0] == 0
    mark = project.root / ".venv" / "kept"
    mark.touch()
    assert project.run("setup", "--dev")[0] == 0
    assert project.imports("tool_for_tests")
    assert mark.exists(), "a demo that runs from it must not lose its packages"
    code, _, err = project.run("setup")
    assert code == 0
    assert "Installing" not in err, "development is a superset of runtime"


def test_another_lock_means_another_environment(project: SmallProject, pins: dict[str, str]) -> None:
    assert project.run("setup")[0] == 0
    project.write_lock("requirements.lock", pins["tool_for_tests"])
    code, _, err = project.run("setup")
    assert code == 0, err
    assert project.imports("tool_for_tests")
    assert not project.imports("oil_at_run_time"), "nothing stays that the lock does not name"


def test_a_moved_folder_is_set_up_again(project: SmallProject, tmp_path: Path) -> None:
    assert project.run("setup")[0] == 0
    project.root = project.root.rename(tmp_path / "moved")
    code, _, err = project.run("setup")
    assert code == 0
    assert "Installing" in err


def test_a_file_that_is_not_the_locked_one_is_refused(project: SmallProject, pins: dict[str, str]) -> None:
    wrong = pins["oil_at_run_time"].replace("sha256:", "sha256:0000")[:-5] + "\n"
    project.write_lock("requirements.lock", wrong)
    code, _, err = project.run("setup")
    assert code == 1
    assert "not the one that the lock names" in err
    assert not project.imports("oil_at_run_time")


def test_a_set_up_that_failed_is_repaired_by_the_next(project: SmallProject) -> None:
    hidden = project.shelf.rename(project.shelf.with_name("hidden"))
    project.shelf.mkdir()
    assert project.run("setup")[0] == 1
    (project.root / ".venv" / "leftover").touch()
    project.shelf.rmdir()
    hidden.rename(project.shelf)
    code, _, err = project.run("setup")
    assert code == 0, err
    assert project.imports("oil_at_run_time")
    assert not (project.root / ".venv" / "leftover").exists()


def test_a_killed_set_up_is_repaired_by_the_next(without_uv: SmallProject) -> None:
    process = without_uv.start("setup")
    deadline = time.monotonic() + 60
    while not (without_uv.root / ".venv" / "pyvenv.cfg").exists() and time.monotonic() < deadline:
        time.sleep(0.01)
    process.send_signal(signal.SIGKILL)
    process.communicate()
    code, _, err = without_uv.run("setup")
    assert code == 0, err
    assert without_uv.imports("oil_at_run_time")


def test_two_set_ups_at_once_take_turns(project: SmallProject) -> None:
    processes = [project.start("setup", *arguments) for arguments in ((), ("--dev",), ())]
    said = [process.communicate(timeout=120) for process in processes]
    assert [process.returncode for process in processes] == [0, 0, 0], said
    assert project.imports("tool_for_tests")


def test_an_environment_that_somebody_else_made_is_left_alone(project: SmallProject) -> None:
    theirs = project.root / ".venv" / "theirs"
    theirs.parent.mkdir()
    theirs.write_text("mine", encoding="utf-8")
    code, _, err = project.run("setup")
    assert code == 1
    assert "was not made by this command" in err
    assert theirs.read_text(encoding="utf-8") == "mine"
