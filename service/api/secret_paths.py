"""Addresses that are secrets themselves: they must not reach a log."""

from typing import Final

PREFIXES: Final = ("/v1/calendar/", "/v1/unsubscribe/", "/sign-in/", "/driver/")


def loggable_path(path: str) -> str:
    """Give the path as it may be logged."""
    prefix = next((prefix for prefix in PREFIXES if path.startswith(prefix)), None)
    return path if prefix is None else f"{prefix}…"
