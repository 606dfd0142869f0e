"""What `python3 deploy …` does: set up, then hand over."""

import argparse
import errno
import os
import socket
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from deploy.audit import audit
from deploy.backup import back_up
from deploy.checks import run_tests
from deploy.environment import Lock, Project, child_environment, ensure_environment
from deploy.failures import SetupError, check_writable
from deploy.progress import say
from deploy.restore import restore

ROOT = Path(__file__).resolve().parent.parent
DEFAULT_HOST = "127.0.0.1"
DEFAULT_PORT = 8000
USAGE = """\
usage: python3 deploy demo [--port PORT] [--host HOST] [--dir FOLDER]
       python3 deploy test [PYTEST ARGUMENTS]
       python3 deploy setup [--dev]
       python3 deploy backup --dir FOLDER [--keep COUNT]
       python3 deploy restore FILE [--replace]
       python3 deploy audit [--out FILE] [--source ADDRESS]

demo   set up, make an invented fleet in a SQLite file and serve it on this machine
test   set up and pass every check; with arguments, run only pytest with them
setup  only make the environment in .venv (--dev: with the tools for `test`)
backup copy the database that SUMPWISE_DATABASE_URL names, while the service runs
restore put such a copy in its place, while the service does not run
audit  ask for known flaws of what is locked and write the bill of materials; needs the network

Everything lands in .venv inside the project; remove that folder to start afresh."""


def main(arguments: Sequence[str]) -> int:
    """Run one command; 0 is success, 1 a failure with a sentence, 2 a wrong call."""
    if not arguments or arguments[0] in {"-h", "--help", "help"}:
        print(USAGE)
        return 0 if arguments else 2
    commands = {
        "demo": demo,
        "test": test,
        "setup": setup,
        "backup": backup,
        "restore": put_back,
        "audit": audit,
    }
    name, rest = arguments[0], arguments[1:]
    if name not in commands:
        say(f"There is no command {name!r}.\n{USAGE}")
        return 2
    try:
        return commands[name](Project(root=ROOT), rest)
    except SetupError as error:
        say(f"\nNot done: {error}")
        return 1
    except OSError as error:
        say(f"\nNot done: {error}. Check the project folder's owner, its permissions and the free space.")
        return 1
    except KeyboardInterrupt:
        say("\nStopped. Run the same command again; what was left half is made anew.")
        return 130


def demo(project: Project, arguments: Sequence[str]) -> int:
    """Set up, then become `sumpwise demo` with the same arguments."""
    parser = argparse.ArgumentParser(
        prog="python3 deploy demo", usage=USAGE, add_help=False, allow_abbrev=False
    )
    parser.add_argument("--host", default=DEFAULT_HOST)
    parser.add_argument("--port", type=int, default=DEFAULT_PORT)
    parser.add_argument("--dir", type=Path, default=Path.cwd())
    known, _ = parser.parse_known_args(arguments)
    if not {"-h", "--help"} & set(arguments):
        check_port(known.host, known.port)
        check_writable(known.dir.resolve(), "the demo's database")
    ensure_environment(project, Lock.RUNTIME)
    os.environ.update(child_environment(project))
    command = [str(project.python), "-P", str(project.programs / "sumpwise"), "demo", *arguments]
    os.execv(command[0], command)  # noqa: S606 -- the server takes this process's place, so Ctrl-C reaches it


def test(project: Project, arguments: Sequence[str]) -> int:
    """Set up with the tools, then check everything, or run pytest alone with `arguments`."""
    ensure_environment(project, Lock.DEVELOPMENT)
    return run_tests(project, arguments)


def setup(project: Project, arguments: Sequence[str]) -> int:
    """Only make the environment."""
    unknown = [argument for argument in arguments if argument != "--dev"]
    if unknown:
        say(f"setup does not know {' '.join(unknown)}.\n{USAGE}")
        return 2
    ensure_environment(project, Lock.DEVELOPMENT if arguments else Lock.RUNTIME)
    say(f"Ready: {project.programs / 'sumpwise'}")
    return 0


def backup(_project: Project, arguments: Sequence[str]) -> int:
    """Back up the database, without needing the environment."""
    parser = argparse.ArgumentParser(prog="python3 deploy backup", allow_abbrev=False)
    parser.add_argument("--dir", type=Path, required=True, help="folder for the backups")
    parser.add_argument("--keep", type=int, default=14, help="how many to keep (default 14)")
    chosen = parser.parse_args(arguments)
    now = datetime.now(UTC)  # noqa: TID251 -- the name of a file, outside the service and its clock
    path = back_up(os.environ.get("SUMPWISE_DATABASE_URL", ""), chosen.dir, chosen.keep, now)
    print(f"{path} ({path.stat().st_size} bytes)")
    return 0


def put_back(_project: Project, arguments: Sequence[str]) -> int:
    """Restore a backup, without needing the environment."""
    parser = argparse.ArgumentParser(prog="python3 deploy restore", allow_abbrev=False)
    parser.add_argument("file", type=Path, help="a backup that `python3 deploy backup` made")
    parser.add_argument("--replace", action="store_true", help="drop what the database holds now")
    chosen = parser.parse_args(arguments)
    restore(os.environ.get("SUMPWISE_DATABASE_URL", ""), chosen.file, replace=chosen.replace)
    print("Restored. Run `sumpwise migrate` before the service is started.")
    return 0


def check_port(host: str, port: int) -> None:
    """Find out before anything is installed that the demo could not listen."""
    if not 0 <= port <= 65535:
        raise SetupError(f"{port} is not a port; choose one from 1024 to 65535.")
    try:
        family, kind, protocol, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        with socket.socket(family, kind, protocol) as listener:
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            listener.bind(address)
    except socket.gaierror as error:
        raise SetupError(f"The host {host} is not known here ({error.strerror}). Use 127.0.0.1.") from error
    except OSError as error:
        raise SetupError(_port_advice(host, port, error)) from error


def _port_advice(host: str, port: int, error: OSError) -> str:
    if error.errno == errno.EADDRINUSE:
        return (
            f"Port {port} on {host} is taken, perhaps by a demo that already runs. "
            f"Stop that one, or choose another port: python3 deploy demo --port {_free_port(host, port)}"
        )
    if error.errno in {errno.EACCES, errno.EPERM}:
        return f"This user may not listen on port {port}; ports below 1024 are reserved. Try --port 8000."
    return f"This machine cannot listen on {host} port {port}: {error.strerror}. Use --host 127.0.0.1."


def _free_port(host: str, taken: int) -> int:
    """Find a neighbour that is free; any free port if none is."""
    for port in (*range(taken + 1, min(taken + 20, 65536)), 0):
        try:
            with socket.create_server((host, port)) as listener:
                free: int = listener.getsockname()[1]
                return free
        except OSError:
            continue
    return DEFAULT_PORT
