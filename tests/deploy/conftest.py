"""A small project folder with a real lock, and a shelf of wheels that stands in for the package index."""

import base64
import hashlib
import os
import shutil
import subprocess
import sys
import zipfile
from dataclasses import dataclass, field
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@dataclass
class SmallProject:
    """A copy of deploy/ in a folder of its own, whose locks name two invented packages."""

    root: Path
    shelf: Path
    variables: dict[str, str] = field(default_factory=dict)

    def start(self, *arguments: str, **variables: str) -> subprocess.Popen[str]:
        """Start `python3 deploy …` without waiting for it."""
        return subprocess.Popen(
            [sys.executable, "deploy", *arguments],
            cwd=self.root,
            env=self.environment() | variables,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )

    def run(self, *arguments: str, **variables: str) -> tuple[int, str, str]:
        """Run `python3 deploy …` to its end: exit code, standard output, standard error."""
        process = self.start(*arguments, **variables)
        out, err = process.communicate(timeout=120)
        return process.returncode, out, err

    def environment(self) -> dict[str, str]:
        """Only the shelf is a source of packages; nothing of the caller's index settings is seen."""
        kept = {key: value for key, value in os.environ.items() if not key.startswith(("PIP_", "UV_"))}
        shelf = str(self.shelf)
        quiet = {"PIP_CONFIG_FILE": os.devnull, "PYTHONDONTWRITEBYTECODE": "1"}
        only_the_shelf = {
            "PIP_NO_INDEX": "1",
            "PIP_FIND_LINKS": shelf,
            "UV_NO_INDEX": "1",
            "UV_FIND_LINKS": shelf,
        }
        return kept | quiet | only_the_shelf | self.variables

    def imports(self, module: str) -> bool:
        """Whether the environment's Python finds `module`."""
        command = [str(self.root / ".venv" / "bin" / "python"), "-I", "-c", f"import {module}"]
        return subprocess.run(command, capture_output=True, check=False).returncode == 0

    def write_lock(self, name: str, *pins: str) -> None:
        """Write a lock file in the real one's form."""
        (self.root / "deploy" / name).write_text("".join(pins), encoding="utf-8")


def _digest(data: bytes) -> str:
    return base64.urlsafe_b64encode(hashlib.sha256(data).digest()).rstrip(b"=").decode()


def make_wheel(shelf: Path, name: str) -> str:
    """Put a wheel of one module on the shelf (binary distribution format, PEP 427) and return its pin."""
    info = f"{name}-1.0.dist-info"
    files = {
        f"{name}.py": b'"""Invented."""\n',
        f"{info}/METADATA": f"Metadata-Version: 2.1\nName: {name}\nVersion: 1.0\n".encode(),
        f"{info}/WHEEL": b"Wheel-Version: 1.0\nGenerator: test\nRoot-Is-Purelib: true\nTag: py3-none-any\n",
    }
    record = "".join(f"{path},sha256={_digest(data)},{len(data)}\n" for path, data in files.items())
    path = shelf / f"{name}-1.0-py3-none-any.whl"
    with zipfile.ZipFile(path, "w") as wheel:
        for inside, data in files.items():
            wheel.writestr(inside, data)
        wheel.writestr(f"{info}/RECORD", f"{record}{info}/RECORD,,\n")
    return f"{name}==1.0 \\\n    --hash=sha256:{hashlib.sha256(path.read_bytes()).hexdigest()}\n"


@pytest.fixture
def pins(tmp_path: Path) -> dict[str, str]:
    """Pins of the packages on the shelf."""
    shelf = tmp_path / "shelf"
    shelf.mkdir()
    return {name: make_wheel(shelf, name) for name in ("oil_at_run_time", "tool_for_tests")}


@pytest.fixture
def project(tmp_path: Path, pins: dict[str, str]) -> SmallProject:
    """A folder as a fresh clone would be, in a place with a space in its name."""
    root = tmp_path / "a fresh clone"
    (root / "deploy").mkdir(parents=True)
    for module in (ROOT / "deploy").glob("*.py"):
        shutil.copy(module, root / "deploy")
    (root / "service.py").write_text(
        "import os, sys\n\ndef main():\n    print(os.getpid(), *sys.argv[1:])\n    return 7\n",
        encoding="utf-8",
    )
    (root / "pyproject.toml").write_text('[project.scripts]\nsumpwise = "service:main"\n', encoding="utf-8")
    small = SmallProject(root=root, shelf=tmp_path / "shelf")
    small.write_lock("requirements.lock", pins["oil_at_run_time"])
    small.write_lock("requirements-dev.lock", pins["oil_at_run_time"], pins["tool_for_tests"])
    return small


@pytest.fixture
def without_uv(project: SmallProject, tmp_path: Path) -> SmallProject:
    """The same project on a machine that has only Python."""
    programs = tmp_path / "programs"
    programs.mkdir()
    for name in ("sh", "env"):
        found = shutil.which(name)
        assert found is not None
        (programs / name).symlink_to(found)
    project.variables["PATH"] = str(programs)
    return project
