"""What is locked, as a bill of materials, and the flaws that are known of it."""

import argparse
import subprocess
from collections.abc import Sequence
from pathlib import Path

from deploy.environment import Lock, Project, child_environment, ensure_environment
from deploy.failures import SetupError

OPEN_SOURCE_VULNERABILITIES = "https://api.osv.dev/v1/query"
"""The public collection that advisories of Python packages go to; it is told names and versions."""


def audit(project: Project, arguments: Sequence[str]) -> int:
    """Ask for known flaws of every locked package and write the bill of materials; 1 when there is a flaw.

    The bill is CycloneDX JSON: packages, versions, and what is known of each. Nothing is written when the collection
    could not be asked about every package, since a bill without flaws would look like a clean one.
    """
    parser = argparse.ArgumentParser(prog="python3 deploy audit", allow_abbrev=False)
    parser.add_argument("--out", type=Path, default=Path("sumpwise.cdx.json"), help="the bill of materials")
    parser.add_argument(
        "--source", default=OPEN_SOURCE_VULNERABILITIES, help="who is asked, by the OSV protocol"
    )
    chosen = parser.parse_args(arguments)
    ensure_environment(project, Lock.DEVELOPMENT)
    draft = chosen.out.with_name(f"{chosen.out.name}.part")
    draft.unlink(missing_ok=True)
    command: list[str | Path] = [project.programs / "pip-audit", "--strict", "--progress-spinner", "off"]
    command += ["--disable-pip", "--require-hashes", "--requirement", project.lock(Lock.RUNTIME)]
    command += ["--vulnerability-service", "osv", "--osv-url", chosen.source]
    command += ["--format", "cyclonedx-json", "--output", draft]
    done = subprocess.run(
        command, env=child_environment(project), capture_output=True, text=True, check=False
    )
    last_words = (done.stderr.strip().splitlines() or ["It said nothing."])[-1]
    if not draft.exists():
        raise SetupError(f"{chosen.source} could not be asked about every package. {last_words}")
    draft.replace(chosen.out)
    print(f"{last_words}\nThe bill of materials is in {chosen.out}.")
    return done.returncode
