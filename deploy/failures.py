"""What can go wrong while setting up, and the sentence that helps."""

import os
import platform
from pathlib import Path

SIGNS: dict[str, tuple[str, ...]] = {
    "mismatch": ("do not match the hashes", "hash mismatch"),
    "full": ("no space left on device", "disk quota exceeded"),
    "certificate": ("certificate_verify_failed", "invalid peer certificate", "certificate verify failed"),
    "network": (
        "name resolution",
        "name or service not known",
        "nodename nor servname",
        "dns error",
        "failed to establish a new connection",
        "connection refused",
        "connection reset",
        "network is unreachable",
        "no route to host",
        "timed out",
        "proxyerror",
        "error sending request",
        "tunnel connection failed",
    ),
    "unwritable": ("permission denied", "read-only file system"),
    "unavailable": (
        "no matching distribution",
        "could not find a version",
        "has no wheels",
        "no solution found",
    ),
}
"""What the installers print, in lower case; the first kind that matches is the cause."""


class SetupError(Exception):
    """Setting up cannot go on; the message says what to do."""


def advice_for(output: str) -> str:
    """Turn an installer's output into what the person at the keyboard can do about it."""
    lowered = output.lower()
    kind = next((kind for kind, signs in SIGNS.items() if any(sign in lowered for sign in signs)), "unknown")
    machine = f"Python {platform.python_version()}, {platform.system()} {platform.machine()}"
    return {
        "mismatch": (
            "A downloaded file is not the one that the lock names, so nothing of it was used. "
            "If you go through a mirror or a proxy, ask whoever keeps it; otherwise try again."
        ),
        "full": "The disk is full. About 1 GB is needed.",
        "certificate": (
            "The package index's certificate is not trusted here. Behind a proxy that re-signs traffic, "
            "set SSL_CERT_FILE to its certificate and run the command again."
        ),
        "network": (
            "The package index could not be reached. Check the network connection; behind a proxy, "
            "set HTTPS_PROXY. Then run the command again: it starts over cleanly."
        ),
        "unwritable": "A folder cannot be written. Check who owns the project folder and your home's cache.",
        "unavailable": (
            f"A locked package does not exist for this machine ({machine}). "
            "The lock is made for Python 3.11 to 3.13 on Linux and macOS."
        ),
        "unknown": "The installer stopped for a reason of its own, shown above.",
    }[kind]


def check_writable(folder: Path, purpose: str) -> None:
    """Refuse early when nothing can be written where `folder` is or would be made."""
    existing = next(place for place in (folder, *folder.parents) if place.exists())
    if not existing.is_dir():
        raise SetupError(f"{existing} is a file, but {purpose} needs a folder there.")
    if not os.access(existing, os.W_OK | os.X_OK):
        raise SetupError(
            f"The folder {existing} cannot be written by this user, and {purpose} needs to. "
            "Change its owner or its permissions, or choose another place."
        )
