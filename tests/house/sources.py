"""The project's own files, as git sees them: what is tracked and what is about to be."""

import ast
import subprocess
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


@cache
def project_files() -> tuple[Path, ...]:
    """Every file that is tracked or would be by `git add`, relative to the root."""
    command = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    listed = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stdout
    return tuple(sorted({Path(name) for name in listed.split("\0") if name and (ROOT / name).is_file()}))


def python_files(*rooms: str) -> tuple[Path, ...]:
    """Python files below the given top-level folders."""
    return tuple(path for path in project_files() if path.suffix == ".py" and path.parts[0] in rooms)


def tree_of(path: Path) -> ast.Module:
    """Parse one file."""
    return ast.parse(text_of(path), filename=str(path))


@cache
def text_of(path: Path) -> str:
    """Read one file."""
    return (ROOT / path).read_text(encoding="utf-8")
