"""What the locks pin, by machine."""

import re
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.house.sources import text_of

RUNTIME = Path("deploy/requirements.lock")
DEVELOPMENT = Path("deploy/requirements-dev.lock")

PIN = re.compile(
    r"^(?P<requirement>[\w.\-\[\]]+==.+?) \\\n(?P<hashes>(?:    --hash=\S+(?: \\)?\n)+)", re.MULTILINE
)
SHA256 = re.compile(r"--hash=sha256:[0-9a-f]{64}\b")


def pins_of(lock: Path) -> list[tuple[Requirement, frozenset[str]]]:
    """Every pin with its marker, and its hashes."""
    return [
        (Requirement(found["requirement"]), frozenset(SHA256.findall(found["hashes"])))
        for found in PIN.finditer(text_of(lock))
    ]


def installed_on(machine: dict[str, str], lock: Path) -> dict[str, tuple[str, frozenset[str]]]:
    """What the lock installs on one kind of machine: name → version and hashes."""
    return {
        canonicalize_name(pin.name): (str(pin.specifier), hashes)
        for pin, hashes in pins_of(lock)
        if pin.marker is None or pin.marker.evaluate(machine)
    }
