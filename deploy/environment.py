"""The virtual environment in `.venv`: made from a hash lock, and from nothing else."""

import hashlib
import importlib.util
import os
import shlex
import shutil
import subprocess
import tomllib
import venv
from dataclasses import dataclass
from enum import Enum
from pathlib import Path

from deploy.failures import SetupError, advice_for, check_writable
from deploy.progress import step
from deploy.turns import Turn, take_turn

ENTRANCES = (
    "service.cli.app",
    "service.api.application",
    "service.web.application",
    "service.jobs.chunk_queue",
)


class Lock(Enum):
    """Which lock file to install; development is a superset of runtime."""

    RUNTIME = "requirements.lock"
    DEVELOPMENT = "requirements-dev.lock"


@dataclass(frozen=True, kw_only=True, slots=True)
class Project:
    """The project's folder, and what setting up puts into it."""

    root: Path

    @property
    def environment(self) -> Path:
        """The virtual environment."""
        return self.root / ".venv"

    @property
    def programs(self) -> Path:
        """Where the environment's commands are."""
        return self.environment / "bin"

    @property
    def python(self) -> Path:
        """The environment's interpreter."""
        return self.programs / "python"

    @property
    def stamp(self) -> Path:
        """Written last: which lock the environment was made from."""
        return self.environment / "installed-from"

    def lock(self, wanted: Lock) -> Path:
        """Find the lock file."""
        return self.root / "deploy" / wanted.value

    def stamp_text(self, wanted: Lock) -> str:
        """Say what the stamp holds when this lock is installed here; a moved folder needs a new one."""
        return f"{hashlib.sha256(self.lock(wanted).read_bytes()).hexdigest()} {self.root}\n"


def child_environment(project: Project) -> dict[str, str]:
    """Keep the caller's variables, less those that would bring in packages from elsewhere."""
    kept = {
        k: v for k, v in os.environ.items() if k not in {"PYTHONPATH", "PYTHONHOME", "PIP_USER", "PIP_TARGET"}
    }
    return kept | {
        "VIRTUAL_ENV": str(project.environment),
        "PATH": f"{project.programs}{os.pathsep}{os.environ.get('PATH', os.defpath)}",
    }


def is_ready(project: Project, wanted: Lock) -> bool:
    """Whether the environment holds `wanted` or the development lock, and its Python still runs."""
    if not any(_is_installed(project, lock) for lock in {wanted, Lock.DEVELOPMENT}):
        return False
    return _python_runs(project, "pass")


def ensure_environment(project: Project, wanted: Lock) -> None:
    """Make `.venv` what the lock says; about 20 milliseconds when it is already."""
    if is_ready(project, wanted):
        return
    check_writable(project.root, "setting up")
    with take_turn(project.root / ".venv.lock") as turn:
        if is_ready(project, wanted):
            return
        in_place = not turn.is_unfinished and wanted is Lock.DEVELOPMENT and _can_grow(project)
        if not in_place:
            _refuse_foreign(project, turn)
        turn.begin()
        project.stamp.unlink(missing_ok=True)
        if not in_place:
            _make_empty(project)
        _install(project, wanted, turn)
        _put_project_on_path(project)
        _compile(project)
        project.stamp.write_text(project.stamp_text(wanted), encoding="utf-8")
        turn.finish()


def _is_installed(project: Project, lock: Lock) -> bool:
    try:
        return project.stamp.read_text(encoding="utf-8") == project.stamp_text(lock)
    except FileNotFoundError:
        return False


def _python_runs(project: Project, code: str) -> bool:
    try:
        done = subprocess.run([project.python, "-I", "-c", code], capture_output=True, check=False)
    except OSError:
        return False
    return done.returncode == 0


def _can_grow(project: Project) -> bool:
    """Whether the tools can be added to a sound runtime environment, under a demo that may be running."""
    code = "pass" if shutil.which("uv") else "import pip"
    return _is_installed(project, Lock.RUNTIME) and _python_runs(project, code)


def _refuse_foreign(project: Project, turn: Turn) -> None:
    """Never delete an environment that somebody else made."""
    place = project.environment
    ours = project.stamp.exists() or turn.is_unfinished or not os.path.lexists(place)
    empty = place.is_dir() and not place.is_symlink() and not any(place.iterdir())
    if not (ours or empty):
        raise SetupError(
            f"{place} was not made by this command, so it is left alone. "
            "Remove it or rename it, then run the command again."
        )


def _make_empty(project: Project) -> None:
    has_uv = shutil.which("uv") is not None
    if not has_uv and importlib.util.find_spec("ensurepip") is None:
        raise SetupError(
            "This Python comes without the parts that make a virtual environment. On Debian and Ubuntu: "
            "apt install python3-venv (as root). Then run the command again."
        )
    if project.environment.exists():
        shutil.rmtree(project.environment)
    with step("Making a virtual environment in .venv"):
        try:
            venv.EnvBuilder(symlinks=True, with_pip=not has_uv).create(project.environment)
        except subprocess.CalledProcessError as error:
            raise SetupError(f"The virtual environment could not be made: {error}") from error


def _install(project: Project, wanted: Lock, turn: Turn) -> None:
    lock = project.lock(wanted)
    with step(f"Installing what deploy/{lock.name} names, each file checked against its hash"):
        done = subprocess.run(
            [
                *_installer(project),
                "--no-deps",
                "--require-hashes",
                "--only-binary",
                ":all:",
                "--requirement",
                lock,
            ],
            env=child_environment(project),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            errors="replace",
            check=False,
            pass_fds=(turn.descriptor,),
        )
        if done.returncode != 0:
            shown = "\n".join(f"    {line[:160]}" for line in done.stdout.strip().splitlines()[-12:])
            advice = advice_for(done.stdout)
            raise SetupError(f"The packages could not be installed. The installer said:\n{shown}\n{advice}")


def _installer(project: Project) -> list[str]:
    """Prefer uv where it is: the same result in a quarter of the time."""
    uv = shutil.which("uv")
    if uv is not None:
        return [uv, "pip", "install", "--quiet", "--python", str(project.python)]
    options = ["--quiet", "--no-input", "--disable-pip-version-check"]
    return [str(project.python), "-m", "pip", "install", *options]


def _compile(project: Project) -> None:
    """Import everything once, so that it is compiled: a service that may not write would compile at every start."""
    variables = child_environment(project)
    variables.pop("PYTHONDONTWRITEBYTECODE", None)
    with step("Compiling what the service needs, so that it starts fast"):
        # A fault in it is told by the command that is run next.
        subprocess.run(
            [project.python, "-P", "-c", f"import {', '.join(ENTRANCES)}"],
            env=variables,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            check=False,
        )


def _put_project_on_path(project: Project) -> None:
    """Let the environment import this folder and start its command, without building anything."""
    packages = next(project.environment.glob("lib/python3.*/site-packages"))
    (packages / "sumpwise.pth").write_text(f"{project.root}\n", encoding="utf-8")
    settings = tomllib.loads((project.root / "pyproject.toml").read_text(encoding="utf-8"))
    for name, entry in settings["project"]["scripts"].items():
        module, function = entry.split(":")
        command = project.programs / name
        command.write_text(
            f"#!/bin/sh\n'''exec' {shlex.quote(str(project.python))} -P \"$0\" \"$@\"\n' '''\n"
            f"import sys\n\nfrom {module} import {function}\n\nsys.exit({function}())\n",
            encoding="utf-8",
        )
        command.chmod(0o755)
